//! What was scanned, looked up: whose number it is, what a delivery still needs, and what to look at before.

use chrono::{Datelike as _, NaiveDate};
use tubtrail_domain::gs1::Gs1Error;
use tubtrail_domain::gs1::element_string::{Element, ElementString};
use tubtrail_domain::gs1::goods::{Goods, LastDay};
use tubtrail_domain::gs1::gtin::{Gln, Gtin};
use tubtrail_domain::lot_number::LotNumber;
use tubtrail_domain::quantity::{Counting, Mass};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::AnyConnection;
use tubtrail_storage::gtins::{ItemGtinRow, gtin_in_force, site_with_gln};
use tubtrail_storage::master_data::Item;

use super::{SaidElement, Scan, ScannedLine, first_code};
use crate::deliveries::{Expiry, ExpiryKind};
use crate::error::Result;
use crate::gtins::item_of;
use crate::index::Index;
use crate::items::counting;
use crate::lots;
use crate::names::partner_code;
use crate::problems;
use crate::quantities::{Amount, QuantityEntered};
use crate::reach::{self, Actor};

fn wrong(position: usize, reason: Saying) -> Scan {
    Scan::Wrong { position, code: first_code(), reason }
}

/// Who asks, where it is looked up, and which day it is there.
pub(super) struct Asked<'a> {
    pub conn: &'a mut AnyConnection,
    pub index: &'a Index,
    pub actor: &'a Actor,
    pub today: NaiveDate,
    /// In which code each element stands, from 0, in the order of the elements; in the first, where it is not said.
    pub codes: Vec<usize>,
}

impl Asked<'_> {
    /// A lot of ours.
    pub fn lot(&mut self, number: LotNumber) -> Result<Scan> {
        let kept = self.index.look(|inside, _| {
            let lot = inside.lot_reached(self.actor, &reach::SCAN, number)?;
            inside.lot_shown(lot).ok()
        });
        if let Some(lot) = kept {
            return Ok(Scan::Lot { lot: Box::new(lot) });
        }
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

    /// Half of what a label says.
    pub fn half(&self, says: &ElementString, lacks: &Gs1Error) -> Scan {
        let missing = missing_beside(says);
        let hint = say!("{fault}: scan the label's other code too, and send it as `also`", fault = lacks.fault);
        Scan::Half { said: self.said(says.elements()), missing, hint }
    }

    /// What elements say: an article, else a pallet, else a place.
    pub fn elements(&mut self, says: &ElementString) -> Result<Scan> {
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

    /// An article, with what else was said of it.
    pub fn article(&mut self, gtin: Gtin, goods: &Goods, elements: &[Element]) -> Result<Scan> {
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
