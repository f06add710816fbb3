//! What a hand scanner or a telephone's camera sent: what the thing is, or what is wrong with the code, and where. Reads
//! only.

use chrono::{Datelike as _, NaiveDate};
use serde::{Deserialize, Serialize};
use tubtrail_domain::gs1::Gs1Error;
use tubtrail_domain::gs1::element_string::{Element, ElementString};
use tubtrail_domain::gs1::goods::{Goods, LastDay};
use tubtrail_domain::gs1::gtin::{Gln, Gtin};
use tubtrail_domain::gs1::scanned::{self, Code, Label, Scanned};
use tubtrail_domain::lot_number::LotNumber;
use tubtrail_domain::quantity::{Counting, Mass};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::AnyConnection;
use tubtrail_storage::gtins::{ItemGtinRow, gtin_in_force, site_with_gln};
use tubtrail_storage::master_data::Item;
use utoipa::ToSchema;

use crate::deliveries::{Expiry, ExpiryKind};
use crate::error::{OperationError, Result};
use crate::gtins::item_of;
use crate::index::Index;
use crate::items::counting;
use crate::lots::{self, Lot};
use crate::names::partner_code;
use crate::quantities::{Amount, QuantityEntered};
use crate::reach::{self, Actor, Request};
use crate::tubtrail::Tubtrail;
use crate::{fields, problems};

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

fn wrong(position: usize, reason: Saying) -> Scan {
    Scan::Wrong { position, code: first_code(), reason }
}

/// Who asks, where it is looked up, and which day it is there.
struct Asked<'a> {
    conn: &'a mut AnyConnection,
    index: &'a Index,
    actor: &'a Actor,
    today: NaiveDate,
    /// In which code each element stands, from 0, in the order of the elements; in the first, where it is not said.
    codes: Vec<usize>,
}

impl Asked<'_> {
    fn lot(&mut self, number: LotNumber) -> Result<Scan> {
        let not_here = || wrong(1, say!("there is no lot {number} within your reach", number));
        let Some(row) = lots::find(self.conn, number)? else { return Ok(not_here()) };
        match lots::show_one(self.conn, self.index, self.actor, &reach::SCAN, &row) {
            Ok(lot) => Ok(Scan::Lot { lot: Box::new(lot) }),
            Err(error) if error.problem == &problems::NOT_FOUND => Ok(not_here()),
            Err(error) => Err(error),
        }
    }

    /// What every element says, and where.
    fn said(&self, elements: &[Element]) -> Vec<SaidElement> {
        let code = |index: usize| self.codes.get(index).map_or(first_code(), |code| code + 1);
        elements.iter().enumerate().map(|(index, element)| said(element, code(index))).collect()
    }

    fn half(&self, says: &ElementString, lacks: &Gs1Error) -> Scan {
        let missing = missing_beside(says);
        let hint = say!("{fault}: scan the label's other code too, and send it as `also`", fault = lacks.fault);
        Scan::Half { said: self.said(says.elements()), missing, hint }
    }

    fn elements(&mut self, says: &ElementString) -> Result<Scan> {
        let goods = Goods::of(says, self.today.year());
        if let Some(gtin) = goods.article {
            let mut scan = self.article(gtin, &goods, says.elements())?;
            if let (Scan::DeliveryLine { cautions, .. }, Some(hidden)) =
                (&mut scan, says.run_together(self.today.year()))
            {
                let caution = say!(
                    "the code ends in what could be {hidden}: if the label says so, the scanner drops separators (FNC1)",
                    hidden
                );
                cautions.push(caution);
            }
            return Ok(scan);
        }
        if let Some(sscc) = goods.pallet {
            return Ok(Scan::LogisticUnit { sscc: sscc.to_string(), said: self.said(says.elements()) });
        }
        if let Some(gln) = goods.place {
            return self.place(&gln, says);
        }
        let first = says.elements().first().map_or(1, |element| element.position);
        Ok(wrong(first, say!("this code is well formed, but names no article, pallet or place")))
    }

    fn place(&mut self, gln: &Gln, says: &ElementString) -> Result<Scan> {
        let gln = gln.to_string();
        if let Some(site) = site_with_gln(self.conn, &gln)? {
            let said = self.said(says.elements());
            return Ok(Scan::Place { site: site.row.code, name: site.current.name, gln, said });
        }
        let position = says.elements().iter().find(|element| element.value == gln).map_or(1, |one| one.position);
        Ok(wrong(position, say!("no site of ours has the location number {gln}", gln)))
    }

    fn article(&mut self, gtin: Gtin, goods: &Goods, elements: &[Element]) -> Result<Scan> {
        let Some(known) = gtin_in_force(self.conn, &gtin.to_string())? else {
            return Ok(Scan::UnknownItem {
                gtin: gtin.to_string(),
                printed: gtin.printed(),
                said: self.said(elements),
            });
        };
        let item = item_of(self.conn, &known)?;
        if item.row.kind != "ingredient" {
            return self.of_our_making(&item, goods, elements);
        }
        if !item.current.tracked {
            return Ok(wrong(1, say!("this is {item}, which is not kept by lot", item = item.current.name)));
        }
        self.delivery_line(gtin, &known, &item, goods, elements)
    }

    /// What we make is known by lot: the number of the article alone says too little.
    fn of_our_making(&mut self, item: &Item, goods: &Goods, elements: &[Element]) -> Result<Scan> {
        let number = goods.lot.as_deref().and_then(|lot| lot.parse::<LotNumber>().ok());
        let row = match number {
            Some(number) => lots::find(self.conn, number)?.filter(|row| row.item_id == item.row.id),
            None => None,
        };
        if let (Some(number), Some(_)) = (number, row) {
            return self.lot(number);
        }
        let position = elements.iter().find(|element| element.number == "10").map_or(1, |element| element.position);
        let reason =
            say!("this is {item}, which is made here, and no lot of it: scan its own number", item = item.current.name);
        Ok(wrong(position, reason))
    }

    fn delivery_line(
        &mut self,
        gtin: Gtin,
        known: &ItemGtinRow,
        item: &Item,
        goods: &Goods,
        elements: &[Element],
    ) -> Result<Scan> {
        let supplier = known.supplier_id.map(|id| partner_code(self.conn, id)).transpose()?;
        let expiry = goods.last_day.map(expiry);
        let quantity = quantity(goods, known.unit_mg, &counting(&item.current)?);
        let line = ScannedLine {
            item: item.row.code.clone(),
            supplier_lot_code: goods.lot.clone(),
            quantity: quantity.clone(),
            expiry,
        };
        let missing = [
            ("supplier", supplier.is_none()),
            ("supplier_lot_code", goods.lot.is_none()),
            ("quantity", quantity.is_none()),
        ];
        Ok(Scan::DeliveryLine {
            name: item.current.name.clone(),
            gtin: gtin.to_string(),
            supplier,
            line,
            missing: missing.into_iter().filter(|(_, is_missing)| *is_missing).map(|(name, _)| name.into()).collect(),
            cautions: self.cautions(item, goods, expiry, quantity.is_some()),
            sscc: goods.pallet.as_ref().map(ToString::to_string),
            hint: hint(goods),
            said: self.said(elements),
        })
    }

    fn cautions(&self, item: &Item, goods: &Goods, expiry: Option<Expiry>, has_quantity: bool) -> Vec<Saying> {
        let mut cautions = Vec::new();
        if !item.current.active {
            cautions.push(say!("{item} is no longer in use, so it cannot be received", item = item.current.name));
        }
        if let Some(expiry) = expiry.filter(|expiry| expiry.on < self.today) {
            cautions.push(say!("its last day was {on}: the line can only be rejected", on = expiry.on));
        }
        if !has_quantity && !goods.measures.is_empty() {
            cautions.push(say!(
                "the code gives a measure in which {item} is not counted: weigh it",
                item = item.current.name
            ));
        }
        cautions
    }
}

const fn expiry(last_day: LastDay) -> Expiry {
    match last_day {
        LastDay::BestBefore(on) => Expiry { kind: ExpiryKind::BestBefore, on },
        LastDay::UseBy(on) => Expiry { kind: ExpiryKind::UseBy, on },
    }
}

/// How much it is: as weighed or measured, else so many packages of a known weight, else so many pieces.
fn quantity(goods: &Goods, unit_mg: Option<i64>, counting: &Counting) -> Option<QuantityEntered> {
    let entered = |amount: String, unit: &str| QuantityEntered { amount: Amount(amount), unit: unit.to_owned() };
    let measured = goods.measures.iter().map(|measure| entered(measure.amount.clone(), measure.unit.symbol()));
    if let Some(measured) = measured.into_iter().find(|quantity| quantity.to_mass(counting).is_ok()) {
        return Some(measured);
    }
    if let Some(unit_mg) = unit_mg {
        let mg = unit_mg.saturating_mul(i64::from(goods.articles.unwrap_or(1)));
        // More than any delivery is no quantity.
        return Mass::from_mg(mg).ok().map(|mass| entered(mass.grams_text(), "g"));
    }
    let pieces = goods.items.map(|items| entered(items.to_string(), "piece"));
    pieces.filter(|quantity| quantity.to_mass(counting).is_ok())
}

fn said(element: &Element, code: usize) -> SaidElement {
    SaidElement {
        identifier: element.number.clone(),
        title: element.identifier.title.to_owned(),
        value: element.value.clone(),
        position: element.position,
        code,
    }
}

/// What another code of the label has to say.
fn missing_beside(says: &ElementString) -> Vec<String> {
    let word = |pattern: &str| match pattern {
        "01" | "02" | "03" => "gtin".to_owned(),
        "37" => "count".to_owned(),
        "00" => "sscc".to_owned(),
        other => other.to_owned(),
    };
    says.missing().into_iter().map(word).collect()
}

/// What to do about an article whose lot is not said.
fn hint(goods: &Goods) -> Option<Saying> {
    let hint = say!(
        "this says which article it is, and not which lot: if the label has another code, scan it too, and send it as \
        `also`; otherwise read the lot and the date from the label"
    );
    goods.lot.is_none().then_some(hint)
}
