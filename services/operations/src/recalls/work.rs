//! The work of a recall at the sites: each lot is pulled, and somebody says by name what was found.

use std::collections::HashSet;

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::recall::Outcome;
use tubtrail_domain::say;
use tubtrail_storage::WriteTx;
use tubtrail_storage::recalls::{RecallConfirmationRow, RecallRow, WITHDRAWN, ending_of};
use tubtrail_storage::stock::MovementRow;
use utoipa::ToSchema;

use super::{CAUTION, addressed};
use crate::error::{OperationError, Result};
use crate::index::{Index, lot_ix};
use crate::items::mass;
use crate::lots::{self, movement};
use crate::quantities::{Grams, in_grams};
use crate::reach::{self, Request};
use crate::standing::Standing;
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};

/// Most lines in one command.
const MOST_LINES: usize = 500;

/// What became of a lot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LineOutcome {
    /// It was found, and put aside.
    Found,
    /// It was found, and destroyed.
    Destroyed,
    /// It was looked for, and not found.
    NotFound,
    /// It is not to be had, and it is known why.
    Explained,
}

impl LineOutcome {
    const ALL: [(Self, Outcome); 4] = [
        (Self::Found, Outcome::Found),
        (Self::Destroyed, Outcome::Destroyed),
        (Self::NotFound, Outcome::NotFound),
        (Self::Explained, Outcome::Explained),
    ];

    /// The word for it in the database and in every answer.
    pub fn word(self) -> &'static str {
        Self::ALL.iter().find(|(outcome, _)| *outcome == self).map_or("", |(_, outcome)| outcome.word())
    }
}

impl From<Outcome> for LineOutcome {
    fn from(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Found => Self::Found,
            Outcome::Destroyed => Self::Destroyed,
            Outcome::NotFound => Self::NotFound,
            Outcome::Explained => Self::Explained,
        }
    }
}

/// What a site found of some lots of a recall.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"site": "harbour-shop", "name": "Nora Shop",
    "lines": [{"lot": "261125-0042-7", "outcome": "destroyed"}]}))]
pub struct NewConfirmations {
    /// The site's code.
    #[schema(max_length = 40)]
    pub site: String,
    /// Who says so, by name; it need not be who types it.
    #[schema(max_length = 100)]
    pub name: String,
    /// When; now, if absent.
    #[serde(default)]
    pub at: Option<DateTime<Utc>>,
    /// One a lot.
    #[schema(min_items = 1, max_items = 500)]
    pub lines: Vec<NewConfirmation>,
}

/// What a site found of a lot.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewConfirmation {
    /// Our number for it.
    #[schema(max_length = 40)]
    pub lot: String,
    /// What. What is destroyed goes off the book as thrown away, what is not found as a count difference.
    pub outcome: LineOutcome,
    /// How much was found or destroyed; all that is here by the book, if absent. What is missing from that goes off the book as
    /// a count difference. More than the book has here is to be counted first.
    #[serde(default)]
    pub grams: Option<Grams>,
    /// Remarks; the explanation, where that is the outcome.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

/// What was confirmed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"recall": 5810, "site": "harbour-shop", "name": "Nora Shop", "at": "2026-11-25T10:00:00Z",
    "lines": [{"lot": "261125-0042-7", "outcome": "destroyed", "grams": 4590, "discarded_grams": 4590,
        "missing_grams": 0}], "caution": "This is what was recorded.", "entry": 9140}))]
pub struct Confirmed {
    /// The recall's number.
    pub recall: i64,
    /// The site's code.
    pub site: String,
    /// Who said so.
    pub name: String,
    /// When.
    pub at: DateTime<Utc>,
    /// One a lot.
    pub lines: Vec<ConfirmedLine>,
    /// What it does not say.
    pub caution: String,
    /// The journal entry that holds it.
    pub entry: i64,
}

/// What was confirmed of a lot, and what it changed in the book.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ConfirmedLine {
    /// Our number for it.
    pub lot: String,
    /// What was found.
    pub outcome: LineOutcome,
    /// How much it speaks of.
    pub grams: Grams,
    /// How much went off the book as thrown away.
    pub discarded_grams: Grams,
    /// How much went off the book as a count difference.
    pub missing_grams: Grams,
}

impl Tubtrail {
    /// Writes down what a site found of lots of a recall: all of it, or nothing. What it changes in the book is in the same
    /// command.
    pub fn confirm_recall_lines(
        &self,
        request: &Request,
        id: i64,
        new: NewConfirmations,
    ) -> Result<Answered<Confirmed>> {
        request.actor.may_anywhere(&reach::CONFIRM_RECALL_LINES)?;
        let actor = request.actor.clone();
        self.write_with_recalls(request, &reach::CONFIRM_RECALL_LINES, move |tx, index| {
            let recall = addressed(tx.conn()?, id)?;
            let site = fields::site_for(tx.conn()?, "site", &new.site, &actor, &reach::CONFIRM_RECALL_LINES)?;
            let name = fields::name("name", &new.name)?;
            let at = fields::occurred_at("at", new.at, tx.now())?;
            fields::between("lines", new.lines.len(), 1, MOST_LINES)?;
            refuse_freed(tx, &recall)?;
            tx.at_site(site.row.id);
            let mut seen = HashSet::new();
            let mut lines = Vec::new();
            for (position, line) in new.lines.iter().enumerate() {
                let under = |error: OperationError| error.in_list("lines", position);
                let found = Line::check(tx, index, &recall, site.row.id, line).map_err(under)?;
                if !seen.insert(found.standing.lot.id) {
                    let detail = say!("lot {lot} stands on two lines", lot = line.lot);
                    return Err(under(OperationError::new(&problems::REPEATED, detail).at("lot")));
                }
                lines.push(found.record(tx, &recall, &name, at)?);
            }
            let (recall, at, caution) = (recall.id, fields::utc(at), CAUTION.to_string());
            Ok(Confirmed { recall, site: site.row.code, name, at, lines, caution, entry: tx.entry() })
        })
    }
}

/// Refuses what belongs to a recall that was none, or to a drill that is over.
pub(super) fn refuse_freed(tx: &mut WriteTx<'_>, recall: &RecallRow) -> Result<()> {
    match ending_of(tx.conn()?, recall.id)?.filter(|ending| recall.is_freed_by(ending)) {
        None => Ok(()),
        Some(ending) => {
            let (id, reason) = (recall.id, ending.reason);
            let detail = match (recall.is_drill, ending.way == WITHDRAWN) {
                (true, true) => say!("drill {id} was withdrawn: {reason}", id, reason),
                (true, false) => say!("drill {id} was closed: {reason}", id, reason),
                (false, true) => say!("recall {id} was withdrawn: {reason}", id, reason),
                (false, false) => say!("recall {id} was closed: {reason}", id, reason),
            };
            Err(OperationError::new(&problems::RECALL_ENDED, detail))
        }
    }
}

/// A line that may be recorded.
struct Line {
    standing: Standing,
    site_id: i64,
    outcome: LineOutcome,
    /// How much it speaks of, in milligrams.
    mass_mg: i64,
    note: Option<String>,
}

impl Line {
    fn check(
        tx: &mut WriteTx<'_>,
        index: &Index,
        recall: &RecallRow,
        site_id: i64,
        new: &NewConfirmation,
    ) -> Result<Self> {
        // Whoever pulls it has it before them: it may be any lot the recall reaches.
        let lot = lots::named(tx.conn()?, "lot", &new.lot)?;
        let reached = lot_ix(lot.id)?;
        let standing = Standing::of(tx.conn()?, &lot)?;
        let is_reached =
            index.look(|inside, _| inside.recalls.get(recall.id).is_some_and(|recalled| recalled.reach.holds(reached)));
        if !is_reached {
            let detail = say!(
                "recall {recall} does not reach lot {lot}: look at the number again",
                recall = recall.id,
                lot = new.lot
            );
            return Err(OperationError::new(&problems::NOT_RECALLED, detail).at("lot").about([standing.number()?]));
        }
        let note = match new.outcome {
            LineOutcome::Explained => Some(fields::reason("note", new.note.as_deref())?),
            _ => fields::optional_note("note", new.note.as_deref())?,
        };
        let mut line = Self { standing, site_id, outcome: new.outcome, mass_mg: 0, note };
        line.mass_mg = line.speaks_of(new.grams)?;
        Ok(line)
    }

    /// What lies here by the book that someone can lay a hand on.
    fn here(&self) -> i64 {
        self.places().map(|place| self.standing.at(place)).sum()
    }

    fn places(&self) -> impl Iterator<Item = Place> + use<> {
        let site_id = self.site_id;
        [State::Open, State::Available].into_iter().map(move |state| Place::new(site_id, state))
    }

    fn speaks_of(&self, said: Option<Grams>) -> Result<i64> {
        let here_mg = self.here();
        let number = self.standing.number()?;
        let is_found = matches!(self.outcome, LineOutcome::Found | LineOutcome::Destroyed);
        let Some(said) = said else {
            if is_found && here_mg == 0 {
                let detail =
                    say!("the book has nothing of lot {number} here: count it here first, then confirm it", number);
                return Err(OperationError::new(&problems::LOT_ELSEWHERE, detail).at("lot").about([number]));
            }
            return Ok(here_mg);
        };
        if !is_found {
            let detail =
                say!("how much is said only of what was found or destroyed; the rest is what the book has here");
            return Err(OperationError::invalid("grams", detail));
        }
        let said_mg = mass("grams", said)?.mg();
        if said_mg > here_mg {
            let detail =
                say!("the book has {mass} of lot {number} here: count it here first", mass = in_grams(here_mg), number);
            return Err(OperationError::new(&problems::NOT_ENOUGH, detail).at("grams").about([number]));
        }
        Ok(said_mg)
    }

    fn record(self, tx: &mut WriteTx<'_>, recall: &RecallRow, name: &str, at: NaiveDateTime) -> Result<ConfirmedLine> {
        let number = self.standing.number()?;
        let (discarded_mg, missing_mg) = match self.outcome {
            LineOutcome::Found => (0, self.here() - self.mass_mg),
            LineOutcome::Destroyed => (self.mass_mg, self.here() - self.mass_mg),
            LineOutcome::NotFound => (0, self.here()),
            LineOutcome::Explained => (0, 0),
        };
        let row = RecallConfirmationRow {
            id: tx.id(),
            entry: tx.entry(),
            recall_id: recall.id,
            lot_id: self.standing.lot.id,
            site_id: self.site_id,
            outcome: self.outcome.word().to_owned(),
            mass_mg: self.mass_mg,
            confirmed_by: name.to_owned(),
            confirmed_at: at,
            note: self.note.clone(),
        };
        tx.record(&row)?;
        let reason = format!("recall {}: {}", recall.id, self.outcome.word().replace('_', " "));
        self.take_off(tx, &reason, at, discarded_mg, missing_mg)?;
        Ok(ConfirmedLine {
            lot: number,
            outcome: self.outcome,
            grams: Grams::from_mg(self.mass_mg),
            discarded_grams: Grams::from_mg(discarded_mg),
            missing_grams: Grams::from_mg(missing_mg),
        })
    }

    /// Takes what is destroyed and what is missing off the book, from the case first.
    fn take_off(
        &self,
        tx: &mut WriteTx<'_>,
        reason: &str,
        at: NaiveDateTime,
        discarded_mg: i64,
        missing_mg: i64,
    ) -> Result<()> {
        let mut left = [("discarded", State::Discarded, discarded_mg), ("counted", State::CountDifference, missing_mg)];
        for place in self.places() {
            let mut there_mg = self.standing.at(place);
            for (kind, state, left_mg) in &mut left {
                let mass_mg = there_mg.min(*left_mg);
                if mass_mg == 0 {
                    continue;
                }
                (there_mg, *left_mg) = (there_mg - mass_mg, *left_mg - mass_mg);
                let moved = movement(tx, &self.standing.lot, kind, place, Place::new(self.site_id, *state));
                let reason = Some(reason.to_owned());
                tx.move_mass(&MovementRow { mass_mg, occurred_at: at, reason, ..moved })?;
            }
        }
        Ok(())
    }
}
