//! What a hand scanner or a telephone's camera sent: what the thing is, or what is wrong with the code, and where. Reads
//! only.

mod looked_up;

use chrono::Datelike as _;
use serde::{Deserialize, Serialize};
use tubtrail_domain::gs1::goods::Goods;
use tubtrail_domain::gs1::scanned::{self, Code, Label, Scanned};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::StorageError;
use utoipa::ToSchema;

use self::looked_up::Asked;
use crate::deliveries::Expiry;
use crate::error::{OperationError, Result};
use crate::fields;
use crate::index::Unanswered;
use crate::index::names::KeptSite;
use crate::lots::Lot;
use crate::quantities::QuantityEntered;
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;

/// Most characters that are looked at.
const MOST_CHARACTERS: usize = 400;
/// Most further codes of one label.
const MOST_ALSO: usize = 4;

/// What was sent.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"site": "quay-kitchen", "text": "]C101095201234567883103010000172612091024-118"}))]
pub struct NewScan {
    /// The code of the site at which it was scanned.
    #[schema(max_length = 40)]
    pub site: String,
    /// Everything the scanner sent, with the control character GS where it sends one, and with the symbology identifier in
    /// front, as in `]C1`, where it sends that; or what a person typed.
    #[schema(min_length = 1, max_length = 400)]
    pub text: String,
    /// The symbology identifier, where it came apart from the text, as in `]C1`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(pattern = "^][A-Za-z][0-9A-Za-z]$")]
    pub symbology: Option<String>,
    /// The other codes of the same label, where it carries several and one says only a half: the article in one, lot and date
    /// in the other.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 4)]
    pub also: Vec<AlsoScanned>,
}

/// Another code of the same label.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"text": "]C1172612091024-118"}))]
pub struct AlsoScanned {
    /// Everything the scanner sent.
    #[schema(min_length = 1, max_length = 400)]
    pub text: String,
    /// The symbology identifier, where it came apart from the text.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(pattern = "^][A-Za-z][0-9A-Za-z]$")]
    pub symbology: Option<String>,
}

/// An identifier of GS1's and its value, as it stands in a code.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"identifier": "10", "title": "lot", "value": "24-118", "position": 38, "code": 1}))]
pub struct SaidElement {
    /// Its digits.
    pub identifier: String,
    /// What it stands for.
    pub title: String,
    /// Its value.
    pub value: String,
    /// Where it begins, in characters of what was sent, from 1.
    pub position: usize,
    /// In which code: 1 is `text`, 2 the first of `also`.
    #[serde(default = "first_code")]
    pub code: usize,
}

const fn first_code() -> usize {
    1
}

/// As much of a line of a delivery as the code says, in the form in which a delivery takes it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"item": "whole-milk", "supplier_lot_code": "24-118",
    "quantity": {"amount": "10.000", "unit": "kg"}, "expiry": {"kind": "use_by", "on": "2026-12-09"}}))]
pub struct ScannedLine {
    /// The item's code.
    pub item: String,
    /// The supplier's own code for the lot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supplier_lot_code: Option<String>,
    /// How much it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quantity: Option<QuantityEntered>,
    /// Its last day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expiry: Option<Expiry>,
}

/// What was scanned.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case", tag = "kind")]
#[schema(example = json!({"kind": "delivery_line", "name": "Whole milk", "gtin": "09520123456788",
    "supplier": "hollow-farm", "line": {"item": "whole-milk", "supplier_lot_code": "24-118",
    "quantity": {"amount": "10.000", "unit": "kg"}, "expiry": {"kind": "use_by", "on": "2026-12-09"}},
    "missing": [], "cautions": [], "said": [{"identifier": "10", "title": "lot", "value": "24-118", "position": 38,
    "code": 1}]}))]
pub enum Scan {
    /// A lot of ours, a tub among them, with its places and the hold that keeps it.
    Lot {
        /// The lot as it stands.
        lot: Box<Lot>,
    },
    /// What a supplier brings: it can go into a delivery when what is missing is filled in.
    DeliveryLine {
        /// The item's name.
        name: String,
        /// The number of the article, in fourteen digits.
        gtin: String,
        /// The code of the supplier who brings it, where that is known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        supplier: Option<String>,
        /// The line, as far as it goes.
        line: ScannedLine,
        /// What the delivery still needs and the code does not say: supplier, `supplier_lot_code`, quantity.
        missing: Vec<String>,
        /// What to look at before it is received.
        #[schema(value_type = Vec<String>)]
        cautions: Vec<Saying>,
        /// What to do about what is missing, where another code of the label may say it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schema(value_type = Option<String>)]
        hint: Option<Saying>,
        /// The number of the pallet it stands on.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        sscc: Option<String>,
        /// All that the code says.
        said: Vec<SaidElement>,
    },
    /// A site of ours.
    Place {
        /// Its code.
        site: String,
        /// Its name.
        name: String,
        /// Its GS1 location number.
        gln: String,
        /// All that the code says.
        said: Vec<SaidElement>,
    },
    /// A pallet or a parcel by its number alone, which does not say what is on it.
    LogisticUnit {
        /// Its number.
        sscc: String,
        /// All that the code says.
        said: Vec<SaidElement>,
    },
    /// An article, but nobody has given its number to an item.
    UnknownItem {
        /// In fourteen digits.
        gtin: String,
        /// As it stands under the bars.
        printed: String,
        /// All that the code says.
        said: Vec<SaidElement>,
    },
    /// Half of what a label says: well formed, but by itself it does not tell of what. Scan the label's other code too, and
    /// send both together.
    Half {
        /// What it does say.
        said: Vec<SaidElement>,
        /// What another code has to say: `gtin`, `count`, `sscc`, or other identifiers by their digits.
        missing: Vec<String>,
        /// What to do, in a sentence.
        #[schema(value_type = String)]
        hint: Saying,
    },
    /// It cannot be read, or stands for nothing here.
    Wrong {
        /// Where, in characters of what was sent, from 1; one past the end where something is missing there.
        position: usize,
        /// In which code: 1 is `text`, 2 the first of `also`.
        #[serde(default = "first_code")]
        code: usize,
        /// What is wrong, in a sentence.
        #[schema(value_type = String)]
        reason: Saying,
    },
}

impl Tubtrail {
    /// What [`Self::scan`] says as JSON, where it is a number of a lot of ours and the answer is at hand; says nothing where it is
    /// not. Does not block.
    pub fn scan_at_hand(&self, request: &Request, new: &NewScan) -> Option<Result<String>> {
        if !new.also.is_empty() {
            return None;
        }
        let now = (self.clock)();
        let scan = self.answer_at_hand(request, |inside, _| {
            let KeptSite { zone, .. } =
                fields::site_kept_for(&inside.beside.names, "site", &new.site, &request.actor, &reach::SCAN)?;
            check(new)?;
            let year = now.and_utc().with_timezone(zone).year();
            let label = scanned::read_label(&[code(&new.text, new.symbology.as_deref())], year);
            let Ok(Label::Whole(Scanned::LotNumber(number) | Scanned::LotNumberOrArticle(number, _))) = label else {
                return Err(Unanswered::NotHere);
            };
            let lot = inside.lot_reached(&request.actor, &reach::SCAN, number).ok_or(Unanswered::NotHere)?;
            Ok(Scan::Lot { lot: Box::new(inside.lot_shown(lot)?) })
        })?;
        Some(scan.and_then(|scan| Ok(serde_json::to_string(&scan).map_err(StorageError::from)?)))
    }

    /// Says what was scanned at a site: a lot of ours, a supplier's case, a place, a pallet, or what is wrong with the code.
    pub fn scan(&self, request: &Request, new: &NewScan) -> Result<Scan> {
        let now = (self.clock)();
        self.read_at_once(|conn| {
            let site = fields::site_for(conn, "site", &new.site, &request.actor, &reach::SCAN)?;
            check(new)?;
            let today = fields::day_at(&site, now)?;
            let also = new.also.iter().map(|also| code(&also.text, also.symbology.as_deref()));
            let codes: Vec<_> = std::iter::once(code(&new.text, new.symbology.as_deref())).chain(also).collect();
            let label = match scanned::read_label(&codes, today.year()) {
                Ok(label) => label,
                Err((at, error)) => {
                    let (code, position, reason) = (at + 1, error.position, error.fault.saying());
                    return Ok(Scan::Wrong { position, code, reason });
                }
            };
            let index = self.current_index(conn)?;
            let mut asked = Asked { conn, index, actor: &request.actor, today, codes: Vec::new() };
            let scanned = match label {
                Label::Whole(scanned) => scanned,
                Label::Together(says, codes) => {
                    asked.codes = codes;
                    Scanned::Elements(says)
                }
                Label::Half(says, codes, lacks) => {
                    asked.codes = codes;
                    return Ok(asked.half(&says, &lacks));
                }
            };
            match scanned {
                Scanned::LotNumber(number) => asked.lot(number),
                Scanned::Article(gtin) => asked.article(gtin, &Goods::default(), &[]),
                Scanned::LotNumberOrArticle(number, gtin) => match asked.lot(number)? {
                    Scan::Wrong { .. } => asked.article(gtin, &Goods::default(), &[]),
                    lot => Ok(lot),
                },
                Scanned::Elements(says) => asked.elements(&says),
                Scanned::Link(link) => asked.elements(&link.says),
            }
        })
    }
}

const fn code<'a>(text: &'a str, symbology: Option<&'a str>) -> Code<'a> {
    Code { text, symbology }
}

fn check(new: &NewScan) -> Result<()> {
    check_code(&new.text, new.symbology.as_deref())?;
    fields::between("also", new.also.len(), 0, MOST_ALSO)?;
    for (index, also) in new.also.iter().enumerate() {
        check_code(&also.text, also.symbology.as_deref()).map_err(|error| error.in_list("also", index))?;
    }
    Ok(())
}

fn check_code(text: &str, symbology: Option<&str>) -> Result<()> {
    if text.is_empty() {
        return Err(OperationError::invalid("text", say!("this must not be empty")));
    }
    if text.chars().count() > MOST_CHARACTERS {
        return Err(OperationError::invalid(
            "text",
            say!("this is longer than {most} characters", most = MOST_CHARACTERS),
        ));
    }
    if text.contains('\0') {
        return Err(OperationError::invalid("text", say!("this holds a NUL, which no scanner sends")));
    }
    match symbology {
        Some(symbology) if !scanned::is_symbology_identifier(symbology) => {
            let detail = say!("a symbology identifier is a closing bracket, a letter and a digit, as in ]C1");
            Err(OperationError::invalid("symbology", detail))
        }
        _ => Ok(()),
    }
}
