//! Labels: what the one of a lot says, from what really went in and by the law of the place.
//!
//! Looked at only; what is printed is written down ([`crate::prints`]). Law changes and differs by place: the authority on
//! the spot and the responsible person have the last word.

mod codes;
mod media;
mod outline;
mod words;

use chrono::{NaiveDate, NaiveDateTime};
use serde::{Deserialize, Serialize};
use tubtrail_domain::labels::Despite;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::AnyConnection;
use tubtrail_storage::lots::LotRow;
use utoipa::ToSchema;

pub use self::media::{Dpi, LabelSize};
use self::outline::Outline;
use self::words::Words;
use crate::allergen_words::AllergenList;
use crate::error::Result;
use crate::index::Index;
use crate::lots::{LotKind, addressed, within_reach};
use crate::reach::{self, Request};
use crate::standing::{Keeper, Standing};
use crate::tubtrail::{Tubtrail, at_once};

/// What stands beside every label.
pub const CAUTION: Saying = say!(
    "This label says what was written down. What was not written down, or written down wrongly, is not on it; \
    it clears nothing. The responsible person looks at it before it is used; local rules decide."
);

/// What a label says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"lot": "261125-0042-7", "item": "pistachio", "kind": "tub", "jurisdiction": "eu", "language": "en",
    "name": "Pistachio gelato", "subtitle": "Tub 3 of 5",
    "ingredients": [{"text": "Ingredients:", "tone": "heading"}, {"text": " whole ", "tone": "plain"},
        {"text": "milk", "tone": "allergen"}, {"text": ", sugar, ", "tone": "plain"},
        {"text": "pistachio", "tone": "allergen"}, {"text": " paste", "tone": "plain"}],
    "statements": [[{"text": "May contain:", "tone": "heading"}, {"text": " ", "tone": "plain"},
        {"text": "hazelnuts", "tone": "allergen"}]],
    "net_quantity": "4.75 kg", "dates": [{"label": "Best before", "date": "25 May 2027", "on": "2027-05-25"}],
    "storage": ["Keep at −18 °C or below."], "maker": ["Northquay Gelato", "1 Harbour Street", "Northquay"],
    "gtin": "09520123456788", "codes": [{"symbology": "gs1_data_matrix", "text": "0109520123456788152705251026112500427"}],
    "least_letters_micrometres": 1200, "warnings": [],
    "caution": "This label says what was written down. What was not written down, or written down wrongly, is not on it; it clears nothing. The responsible person looks at it before it is used; local rules decide."}))]
pub struct Label {
    /// Our number for the lot.
    pub lot: String,
    /// Its item's code.
    pub item: String,
    /// What sort of lot it is.
    pub kind: LotKind,
    /// Whose law it follows.
    pub jurisdiction: AllergenList,
    /// The language of its words, as a tag of BCP 47.
    pub language: String,
    /// What it is called.
    pub name: String,
    /// What sort of thing it is, below the name.
    pub subtitle: String,
    /// The list of ingredients by what really went in; empty where there is none.
    #[serde(default)]
    pub ingredients: Vec<LabelPiece>,
    /// What follows the list with nothing between: contains, may contain.
    #[serde(default)]
    pub statements: Vec<Vec<LabelPiece>>,
    /// What must not be overlooked: that something is unknown, or that it is under recall.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notices: Vec<String>,
    /// The net quantity as it stood when it came to be.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub net_quantity: Option<String>,
    /// Dates in the form of the law.
    pub dates: Vec<LabelDate>,
    /// How to keep it, a sentence each.
    #[serde(default)]
    pub storage: Vec<String>,
    /// Who made it, and where: a line each; empty where it says no maker.
    #[serde(default)]
    pub maker: Vec<String>,
    /// The number under the bars, in fourteen digits, where the item has one of ours.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gtin: Option<String>,
    /// The codes for scanners; a small label has room for the first only.
    pub codes: Vec<LabelCode>,
    /// How high a small “x” must be at least, in micrometres.
    pub least_letters_micrometres: u32,
    /// What whoever prints it should know; it does not stand on the label.
    #[serde(default)]
    #[schema(value_type = Vec<String>)]
    pub warnings: Vec<Saying>,
    /// What it does not say.
    pub caution: String,
}

/// A piece of text on a label.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LabelPiece {
    /// The text, with the blanks that belong to it.
    pub text: String,
    /// How it stands out.
    pub tone: LabelTone,
}

/// How a piece of text stands on a label.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LabelTone {
    /// As the rest.
    Plain,
    /// What opens a list or a statement.
    Heading,
    /// The name of an allergen, which must stand out.
    Allergen,
}

/// A date on a label.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LabelDate {
    /// What it is, as in “Best before”.
    pub label: String,
    /// As it stands there.
    pub date: String,
    /// The day.
    pub on: NaiveDate,
}

/// A code for scanners.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LabelCode {
    /// How it is drawn.
    pub symbology: Symbology,
    /// What it holds: an element string with U+001D where an element ends early, a link, or our own number.
    pub text: String,
}

/// How a code is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Symbology {
    /// GS1 `DataMatrix`.
    Gs1DataMatrix,
    /// QR code.
    Qr,
}

impl Tubtrail {
    /// What the label of a lot says. Refused while something in it is unknown or speaks against it; only a print may be
    /// ordered despite that, with a reason.
    pub fn show_label(&self, request: &Request, lot: &str, jurisdiction: Option<AllergenList>) -> Result<Label> {
        let now = (self.clock)();
        self.read(|conn| {
            let lot = addressed(conn, lot)?;
            within_reach(conn, &request.actor, &reach::SHOW_LABEL, &lot)?;
            let index = self.current_index(conn)?;
            loop {
                let at = index.look(|inside, _| inside.position);
                let label = at_once(conn, |conn| label_of(conn, index, &lot, jurisdiction, None, now))?;
                // Someone may have written meanwhile; what is on one label must stand in one place of the journal.
                if index.look(|inside, _| inside.position) == at {
                    return Ok(label);
                }
            }
        })
    }
}

/// What the label of a lot says, with an order to print it although something speaks against that or without. The index must
/// hold all that was written before.
pub(crate) fn label_of(
    conn: &mut AnyConnection,
    index: &Index,
    lot: &LotRow,
    jurisdiction: Option<AllergenList>,
    despite: Option<&Despite>,
    now: NaiveDateTime,
) -> Result<Label> {
    let standing = Standing::of(conn, lot)?;
    let recalled = Keeper::of(index, lot.id)?;
    let outline = index.look(|inside, _| Outline::draw(inside, lot.id))?;
    let words = Words::of(conn, index, lot, jurisdiction, now)?;
    words.label(conn, &outline, &standing, recalled.as_ref(), despite)
}
