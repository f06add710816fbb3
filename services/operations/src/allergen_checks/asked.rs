//! What is asked, of which lots, and what the index answers: bare, with the chain that explains each answer.

use std::cell::OnceCell;

use tubtrail_domain::allergens::{Named, Substance};
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::say;
use tubtrail_lineage::{Content, Scratch};
use tubtrail_storage::AnyConnection;
use tubtrail_storage::master_data::Site;

use super::case::{Beside, Case, by_scoop};
use super::evidence::{Chain, chain};
use super::{MOST_LOTS, members};
use crate::allergen_words::Answer;
use crate::error::{OperationError, Result};
use crate::index::contents::declares;
use crate::index::names::KeptSite;
use crate::index::{Answered, Inside, Unanswered, lot_ix, lot_row};
use crate::reach::Request;
use crate::standing::Standing;
use crate::{fields, problems};

/// What is to be avoided.
pub(super) struct Question {
    pub names: Vec<Named>,
}

/// What the index answers.
pub(super) struct Asked {
    pub lots: Vec<AskedLot>,
}

/// What the index answers of a lot.
pub(super) struct AskedLot {
    pub lot_id: i64,
    pub open: bool,
    /// Something may have got into it by the scoop.
    pub beside_others: bool,
    pub answers: Vec<Bare>,
}

/// An answer without words.
pub(super) struct Bare {
    pub named: Named,
    /// The substance that the chain is about: of a group, the first member with its worst answer.
    pub substance: Substance,
    pub answer: Answer,
    pub members: Vec<(Substance, Answer)>,
    /// How it got in; none where nothing put it there.
    pub chain: Option<Chain>,
    /// By the scoop, from the tub at the end of the chain.
    pub scoop: Option<Beside>,
}

/// The lots a request names, all of which must lie at the site, each once; by the index, which leaves it to the database to
/// say why one does not.
pub(super) fn lots_here(inside: &Inside, site: &KeptSite, numbers: &[String]) -> Answered<Vec<i64>> {
    fields::between("lots", numbers.len(), 1, MOST_LOTS)?;
    let mut ids: Vec<i64> = Vec::with_capacity(numbers.len());
    for (position, text) in numbers.iter().enumerate() {
        let number = text.parse().map_err(|_| Unanswered::NotHere)?;
        let lot = inside.beside.particulars.find(number).ok_or(Unanswered::NotHere)?;
        let card = inside.lot_card(lot)?;
        let is_here =
            |place: &Place| place.site_id == site.site.row.id && matches!(place.state, State::Available | State::Open);
        if !inside.beside.particulars.places(&inside.graph, &card).any(|(place, mg)| is_here(&place) && mg > 0) {
            return Err(Unanswered::NotHere);
        }
        let id = lot_row(lot);
        if ids.contains(&id) {
            let field = format!("lots[{position}]");
            return Err(OperationError::new(&problems::REPEATED, say!("lot {text} is named twice", text))
                .at(field)
                .into());
        }
        ids.push(id);
    }
    Ok(ids)
}

/// The same by the database.
pub(super) fn lots_at(
    conn: &mut AnyConnection,
    request: &Request,
    site: &Site,
    numbers: &[String],
) -> Result<Vec<i64>> {
    fields::between("lots", numbers.len(), 1, MOST_LOTS)?;
    let mut ids: Vec<i64> = Vec::with_capacity(numbers.len());
    for (position, number) in numbers.iter().enumerate() {
        let field = format!("lots[{position}]");
        let standing = Standing::named(conn, &request.actor, &field, number)?;
        let here = |state| standing.at(Place::new(site.row.id, state));
        if here(State::Available) + here(State::Open) <= 0 {
            let detail = say!("the book has nothing of lot {number} at {site}", number, site = site.row.code);
            let error = OperationError::new(&problems::LOT_ELSEWHERE, detail);
            return Err(error.at(field).about([standing.number()?]));
        }
        if ids.contains(&standing.lot.id) {
            return Err(OperationError::new(&problems::REPEATED, say!("lot {number} is named twice", number)).at(field));
        }
        ids.push(standing.lot.id);
    }
    Ok(ids)
}

impl Asked {
    /// Asks the index.
    pub(super) fn answer(
        inside: &Inside,
        scratch: &mut Scratch,
        case: &Case<'_>,
        lot_ids: &[i64],
        question: &Question,
    ) -> Result<Self> {
        let mut lots = Vec::with_capacity(lot_ids.len());
        for lot_id in lot_ids {
            let own = inside.graph.content(lot_ix(*lot_id)?);
            let about = About { inside, case, own, lot_id: *lot_id, beside: OnceCell::new() };
            let all = case.content(inside, *lot_id)?;
            let answers = question.names.iter().map(|named| about.bare(scratch, all, *named));
            lots.push(AskedLot {
                lot_id: *lot_id,
                open: case.is_open(*lot_id),
                beside_others: case.mixed(inside, *lot_id)?.is_any,
                answers: answers.collect::<Result<_>>()?,
            });
        }
        Ok(Self { lots })
    }
}

struct About<'a> {
    inside: &'a Inside,
    case: &'a Case<'a>,
    own: Content,
    lot_id: i64,
    /// Looked up when it is needed: mostly a lot's own making accounts for what is in it.
    beside: OnceCell<Vec<Beside>>,
}

impl About<'_> {
    fn bare(&self, scratch: &mut Scratch, all: Content, named: Named) -> Result<Bare> {
        let declared = declares(all);
        let answer: Answer = declared.answer(named).into();
        let of_members: Vec<(Substance, Answer)> =
            members(named).into_iter().map(|member| (member, declared.answer(member).into())).collect();
        let substance = match named {
            Named::Substance(substance) => substance,
            Named::Group(group) => {
                let worst = of_members.iter().find(|(_, of_member)| *of_member == answer).map(|(member, _)| *member);
                worst.or(group.unspecified()).unwrap_or(Substance::Walnut)
            }
        };
        let (chain, scoop) = self.explain(scratch, substance, answer)?;
        Ok(Bare { named, substance, answer, members: of_members, chain, scoop })
    }

    /// By the lot's own making, if that accounts for it; else by the scoop.
    fn explain(
        &self,
        scratch: &mut Scratch,
        substance: Substance,
        answer: Answer,
    ) -> Result<(Option<Chain>, Option<Beside>)> {
        if Answer::from(declares(self.own).answer(substance)) == answer {
            return Ok((chain(self.inside, scratch, self.lot_id, substance, answer)?, None));
        }
        for other in self.beside.get_or_init(|| self.case.beside(self.lot_id)) {
            let there = self.inside.graph.content(lot_ix(other.lot_id)?);
            if Answer::from(declares(by_scoop(there)).answer(substance)) != answer {
                continue;
            }
            let answer_there = declares(there).answer(substance).into();
            let chain = chain(self.inside, scratch, other.lot_id, substance, answer_there)?;
            return Ok((chain, Some(*other)));
        }
        Ok((None, None))
    }
}
