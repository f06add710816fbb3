//! Allergen checks: what is recorded of allergens in the tubs of a site, with the evidence.
//!
//! An answer follows from what was really made: from every lot that went in, from what ran on the same equipment before, and
//! from what stood open in the same case and was served with the same scoop. None of the answers says no.

mod amounts;
mod asked;
pub(crate) mod case;
mod evidence;
pub(crate) mod told;
mod words;

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::allergens::{Named, Substance};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_lineage::Scratch;
use utoipa::ToSchema;

pub use self::amounts::{Estimate, Ethanol};
use self::asked::{Asked, Question};
use self::case::Case;
use self::told::Told;
pub use self::words::Step;
use crate::allergen_words::{Answer, Says, all_named};
use crate::error::{OperationError, Result};
use crate::index::contents::declares;
use crate::index::{Answered, Inside};
use crate::lots::HoldShown;
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;
use crate::{fields, problems};

/// What stands beside every answer about allergens.
pub const CAUTION: Saying = say!(
    "This is what was written down: statements, uses, runs, cleans and openings. It clears nothing: what \
    was not written down, or written down wrongly, is not in it. Ask the responsible person, and tell the customer so; \
    local rules decide."
);

/// Most names to avoid in one check.
const MOST_NAMES: usize = 40;
/// Most lots of one check.
const MOST_LOTS: usize = 20;
/// Most answers, lots times names, that are worked out on the thread that asks the network.
const AT_HAND: usize = 40;

/// What is to be avoided, and in what.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"site": "quay-shop", "avoid": ["hazelnut", "gluten_cereals", "alcohol"]}))]
pub struct NewAllergenCheck {
    /// The code of the site where it is asked.
    #[schema(max_length = 40)]
    pub site: String,
    /// Words of allergens, or of groups of them.
    #[schema(min_items = 1, max_items = 40)]
    pub avoid: Vec<String>,
    /// The lots it is asked of: one tub, or all that go into one portion. Absent: everything that stands open there now.
    #[serde(default)]
    #[schema(min_items = 1, max_items = 20)]
    pub lots: Option<Vec<String>>,
}

/// How a site serves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Served {
    /// One scoop serves all that is open in the case.
    SharedScoop,
    /// Each tub has its own scoop.
    OwnScoops,
    /// The site has not said; one scoop is taken to serve all.
    NotSaid,
}

/// What is recorded of allergens in the tubs of a site.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"site": "quay-shop", "asked_at": "2026-11-25T14:10:00Z", "journal_position": 9120,
    "caution": "This is what was written down: statements, uses, runs, cleans and openings. It clears nothing: what was not written down, or written down wrongly, is not in it. Ask the responsible person, and tell the customer so; local rules decide.",
    "served": "own_scoops", "tubs": [{"lot": "261125-0042-7", "item": "gianduja", "name": "Gianduja", "open": true,
    "worst": "contains", "portion_grams": 80, "allergens": [{"allergen": "hazelnut", "name": "hazelnut",
    "answer": "contains", "because": ["Lot 261120-0004-3 of Hazelnut paste (nut-mill, their lot 24-118): statement 6101 (Specification 12) says that it contains hazelnut.",
        "Lot 261120-0004-3 of Hazelnut paste went into batch 12 (Gianduja, begun 2026-11-25 09:00 (Europe/Lisbon)), which made lot 261125-0042-7 of Gianduja."],
    "steps": [{"kind": "statement", "lot": "261120-0004-3", "item": "hazelnut-paste", "statement": 6101,
        "document": "Specification 12"}, {"kind": "use", "lot": "261120-0004-3", "batch": 12},
        {"kind": "made", "batch": 12, "lot": "261125-0042-7"}], "members": []}]}]}))]
pub struct AllergenCheck {
    /// The site's code.
    pub site: String,
    /// When it was asked.
    pub asked_at: DateTime<Utc>,
    /// The last journal entry it takes into account.
    pub journal_position: i64,
    /// What it does not say.
    pub caution: String,
    /// How the site serves.
    pub served: Served,
    /// What is to be said beside it: that nothing stands open, say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>)]
    pub note: Option<Saying>,
    /// Of all the lots asked of together, as of one portion: the worst answer of any; absent unless there are several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub portion: Option<Vec<PortionAnswer>>,
    /// Each lot, the worst first, then by name.
    pub tubs: Vec<CheckedTub>,
}

/// An answer for a portion of several flavours.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PortionAnswer {
    /// The word that was asked for.
    pub allergen: String,
    /// The worst answer of any lot in it.
    pub answer: Answer,
}

/// What is recorded of one lot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CheckedTub {
    /// Its number.
    pub lot: String,
    /// The code of what it is.
    pub item: String,
    /// The name of what it is.
    pub name: String,
    /// It stands open in the case.
    pub open: bool,
    /// The hold that keeps it: it must not be served, whatever is answered of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on_hold: Option<HoldShown>,
    /// The numbers of the recalls that keep it: it must not be served, whatever is answered of it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub recalls: Vec<i64>,
    /// Why it was turned away.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rejected: Option<String>,
    /// One portion, where the item has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub portion_grams: Option<Grams>,
    /// The worst answer of those below.
    pub worst: Answer,
    /// An answer for each word that was asked for, in that order.
    pub allergens: Vec<AllergenAnswer>,
}

/// What is recorded of an allergen, or a group of them, in a lot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct AllergenAnswer {
    /// The word that was asked for.
    pub allergen: String,
    /// Its name in a sentence.
    pub name: String,
    /// The answer; of a group, the worst of its members'.
    pub answer: Answer,
    /// Why, in plain words: a shortest chain, from what was stated to the lot.
    #[schema(value_type = Vec<String>)]
    pub because: Vec<Saying>,
    /// The same, link by link.
    pub steps: Vec<Step>,
    /// Of a group, each member.
    pub members: Vec<MemberAnswer>,
    /// How much protein of it a portion may hold, where it may be in there and how much stays behind on equipment is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub estimate: Option<Estimate>,
    /// How much ethanol a portion holds, where it is made with alcohol.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ethanol: Option<Ethanol>,
}

/// What is recorded of a member of a group.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MemberAnswer {
    /// Its word.
    pub allergen: String,
    /// The answer.
    pub answer: Answer,
    /// As for a single allergen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub estimate: Option<Estimate>,
}

/// All that is recorded of what is in a lot.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"lot": "261125-0042-7", "journal_position": 9120,
    "says": {"contains": ["milk"], "may_contain": ["hazelnut"], "unknown": ["coconut"]},
    "declared": {"contains": [], "may_contain": [], "unknown": []}, "statements": [],
    "caution": "This is what was written down: statements, uses, runs, cleans and openings. It clears nothing: what was not written down, or written down wrongly, is not in it. Ask the responsible person, and tell the customer so; local rules decide."}))]
pub struct LotContents {
    /// The lot's number.
    pub lot: String,
    /// The last journal entry it takes into account.
    pub journal_position: i64,
    /// What follows from all that went in and all that ran before it; what happened to it in a case is not in this.
    pub says: Says,
    /// What is declared of the lot itself.
    pub declared: Says,
    /// The numbers of the statements that declare it.
    pub statements: Vec<i64>,
    /// What it does not say.
    pub caution: String,
}

impl Tubtrail {
    /// What is recorded of some allergens in one tub, in a portion of several flavours, or in everything open at a site.
    pub fn check_allergens(&self, request: &Request, new: &NewAllergenCheck) -> Result<AllergenCheck> {
        request.actor.may_anywhere(&reach::CHECK_ALLERGENS)?;
        let now = (self.clock)();
        let check = |inside: &Inside, scratch: &mut Scratch| check(inside, scratch, request, new, now);
        self.answer(request, check, |conn| {
            let site = fields::site_for(conn, "site", &new.site, &request.actor, &reach::CHECK_ALLERGENS)?;
            asked::lots_at(conn, request, &site, new.lots.as_deref().unwrap_or_default())
        })
    }

    /// The same as JSON, where it is asked of a few lots and the answer is at hand; says nothing where it is not. Does not
    /// block.
    pub fn check_allergens_at_hand(&self, request: &Request, new: &NewAllergenCheck) -> Option<Result<String>> {
        let questions = new.lots.as_ref()?.len() * new.avoid.len();
        if questions > AT_HAND || request.actor.may_anywhere(&reach::CHECK_ALLERGENS).is_err() {
            return None;
        }
        let now = (self.clock)();
        self.answer_at_hand(request, |inside, scratch| tell(inside, scratch, request, new, now))
    }

    /// All that is recorded of what is in a lot, for whoever reaches it.
    pub fn lot_contents(&self, request: &Request, number: &str) -> Result<LotContents> {
        let lot = self.lot_addressed(request, &reach::SHOW_LOT_CONTENTS, number)?;
        let show = |inside: &Inside, _: &mut Scratch| {
            let by = inside.contents.statements.of_lot(&inside.stated_lot(lot)?).by;
            Ok(LotContents {
                lot: inside.lot_card(lot)?.number.to_string(),
                journal_position: inside.position,
                says: declares(inside.graph.content(lot)).into(),
                declared: declares(inside.graph.declared_of_lot(lot)).into(),
                statements: by.iter().map(|stated| stated.id).collect(),
                caution: CAUTION.to_string(),
            })
        };
        self.answer_of(request, show)
    }
}

/// What the index answers, as JSON: told as it was last told if nothing has changed since.
fn tell(
    inside: &Inside,
    scratch: &mut Scratch,
    request: &Request,
    new: &NewAllergenCheck,
    now: NaiveDateTime,
) -> Answered<String> {
    let operation = &reach::CHECK_ALLERGENS;
    let site = fields::site_kept_for(&inside.beside.names, "site", &new.site, &request.actor, operation)?;
    let case = Case::at(inside, site.site.row.id, now)?;
    if let Some(told) = case.told(new) {
        return told.at(fields::utc(now));
    }
    let told = Told::of(&check(inside, scratch, request, new, now)?)?;
    case.keep(new, told.clone());
    told.at(fields::utc(now))
}

/// What the index answers.
fn check(
    inside: &Inside,
    scratch: &mut Scratch,
    request: &Request,
    new: &NewAllergenCheck,
    now: NaiveDateTime,
) -> Answered<AllergenCheck> {
    let operation = &reach::CHECK_ALLERGENS;
    let site = fields::site_kept_for(&inside.beside.names, "site", &new.site, &request.actor, operation)?;
    let question = question(new)?;
    let lot_ids = new.lots.as_deref().map(|lots| asked::lots_here(inside, site, lots)).transpose()?;
    let case = Case::at(inside, site.site.row.id, now)?;
    let lot_ids = lot_ids.unwrap_or_else(|| case.open_lots());
    let asked = Asked::answer(inside, scratch, &case, &lot_ids, &question)?;
    let mut tubs = words::tubs(inside, scratch, site, &question, &asked)?;
    tubs.sort_by(|one, other| (one.worst, &one.name, &one.lot).cmp(&(other.worst, &other.name, &other.lot)));
    let nothing_open = new.lots.is_none() && tubs.is_empty();
    let several = new.lots.as_ref().is_some_and(|lots| lots.len() > 1);
    Ok(AllergenCheck {
        site: site.site.row.code.clone(),
        asked_at: fields::utc(now),
        journal_position: inside.position,
        caution: CAUTION.to_string(),
        served: case.served_at(now),
        note: nothing_open.then(|| say!("Nothing stands open at {site} now.", site = site.site.current.name)),
        portion: several.then(|| portion(&question, &tubs)),
        tubs,
    })
}

/// What is to be avoided: each word once.
fn question(new: &NewAllergenCheck) -> Result<Question> {
    fields::between("avoid", new.avoid.len(), 1, MOST_NAMES)?;
    let names = all_named("avoid", &new.avoid)?;
    for (position, named) in names.iter().enumerate() {
        if names[..position].contains(named) {
            let detail = say!("{name} is named twice", name = named.name());
            return Err(OperationError::new(&problems::REPEATED, detail).at(format!("avoid[{position}]")));
        }
    }
    Ok(Question { names })
}

fn portion(question: &Question, tubs: &[CheckedTub]) -> Vec<PortionAnswer> {
    let worst = |at: usize| tubs.iter().filter_map(|tub| tub.allergens.get(at)).map(|answer| answer.answer).min();
    let each = question.names.iter().enumerate();
    each.filter_map(|(at, named)| Some(PortionAnswer { allergen: named.word().to_owned(), answer: worst(at)? }))
        .collect()
}

/// The substances of a group, in order; of one substance none.
pub(crate) fn members(named: Named) -> Vec<Substance> {
    match named {
        Named::Group(group) => Substance::of_mask(group.members()).collect(),
        Named::Substance(_) => Vec::new(),
    }
}
