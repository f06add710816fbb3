//! The lines of a proposed delivery: each article and lot once, with what the house knows of the article.

use std::collections::{BTreeSet, HashMap};

use chrono::{Datelike as _, NaiveDate};
use tubtrail_domain::gs1::epc::{self, Named};
use tubtrail_domain::quantity::Mass;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::AnyConnection;
use tubtrail_storage::gtins::{ItemGtinRow, gtin_in_force};
use tubtrail_storage::master_data::Item;

use super::document::{Object, Shipped};
use super::{Gap, ProposedLine};
use crate::deliveries::{Expiry, MOST_LINES};
use crate::error::{OperationError, Result};
use crate::gtins::item_of;
use crate::items::counting;
use crate::problems;
use crate::quantities::{Amount, QuantityEntered};

/// Puts lines together.
pub(super) struct Lines<'c> {
    conn: &'c mut AnyConnection,
    today: NaiveDate,
    /// How good what was read so far is: what left the supplier, else what arrived, else what was made.
    rank: Option<u8>,
    said: Vec<Line>,
    /// The last days of lots, by what names them.
    days: HashMap<String, Expiry>,
}

/// What came of it.
#[derive(Default)]
pub(super) struct Done {
    pub lines: Vec<ProposedLine>,
    pub missing: Vec<Gap>,
    pub cautions: Vec<Saying>,
    /// The suppliers that the articles name, by row id.
    pub suppliers: Vec<i64>,
    /// The rank of the events that the lines are of.
    pub rank: Option<u8>,
}

/// What a number stands for, and the item.
type Known = (ItemGtinRow, Item);

/// A line as the document says it.
struct Line {
    uri: String,
    named: Option<Named>,
    lot: Option<String>,
    expiry: Option<Expiry>,
    /// How much, each with its unit; in packages where there is none.
    amounts: Vec<(String, Option<String>)>,
}

impl<'c> Lines<'c> {
    pub fn new(conn: &'c mut AnyConnection, today: NaiveDate) -> Self {
        Self { conn, today, rank: None, said: Vec::new(), days: HashMap::new() }
    }

    /// Takes in an event.
    pub fn add(&mut self, shipped: &Shipped) -> Result<()> {
        if shipped.objects.is_empty() {
            return Ok(());
        }
        if self.rank.is_none_or(|rank| shipped.step.rank() < rank) {
            self.rank = Some(shipped.step.rank());
            self.said.clear();
        }
        for object in &shipped.objects {
            let line = self.read(shipped, object)?;
            if let Some(expiry) = line.expiry {
                self.days.insert(line.key(), expiry);
            }
            if self.rank == Some(shipped.step.rank()) {
                self.put(object, line)?;
            }
        }
        Ok(())
    }

    fn read(&self, shipped: &Shipped, object: &Object) -> Result<Line> {
        let mut named = epc::goods(&object.uri, self.today.year())
            .map_err(|why| OperationError::invalid(object.at.clone(), say!("{uri}: {why}", uri = object.uri, why)))?;
        let lot = named.as_mut().and_then(|named| named.lot.take()).or_else(|| shipped.lot.clone());
        let amounts = match &object.amount {
            Some(amount) => vec![(amount.clone(), object.unit.clone())],
            None if named.as_ref().is_some_and(|named| named.serial.is_some()) => vec![("1".to_owned(), None)],
            None => Vec::new(),
        };
        Ok(Line { uri: object.uri.clone(), named, lot, expiry: shipped.expiry, amounts })
    }

    fn put(&mut self, object: &Object, line: Line) -> Result<()> {
        if let Some(same) = self.said.iter_mut().find(|same| same.key() == line.key()) {
            same.amounts.extend(line.amounts);
            return Ok(());
        }
        if self.said.len() == MOST_LINES {
            let detail = say!("a delivery has at most {most} lines: divide the document", most = MOST_LINES);
            return Err(OperationError::new(&problems::TOO_LARGE, detail).at(object.at.clone()));
        }
        self.said.push(line);
        Ok(())
    }

    /// The lines, with what the house knows of them.
    pub fn done(mut self) -> Result<Done> {
        let mut done = Done { rank: self.rank, ..Done::default() };
        let mut suppliers = BTreeSet::new();
        for (at, mut line) in std::mem::take(&mut self.said).into_iter().enumerate() {
            line.expiry = line.expiry.or_else(|| self.days.get(&line.key()).copied());
            let proposed = self.propose(&line, at, &mut done, &mut suppliers)?;
            done.lines.push(proposed);
        }
        if done.lines.is_empty() {
            done.missing.push(Gap { field: "lines".into(), why: say!("the document tells of nothing that was sent") });
        }
        done.suppliers = suppliers.into_iter().collect();
        Ok(done)
    }

    fn propose(
        &mut self,
        line: &Line,
        at: usize,
        done: &mut Done,
        suppliers: &mut BTreeSet<i64>,
    ) -> Result<ProposedLine> {
        let mut lacks =
            |field: &str, why: Saying| done.missing.push(Gap { field: format!("lines[{at}].{field}"), why });
        let known = match self.known(line)? {
            Ok(known) => Some(known),
            Err(why) => {
                lacks("item", why);
                None
            }
        };
        if line.lot.is_none() {
            lacks("supplier_lot_code", say!("{uri} says no lot", uri = line.uri));
        }
        let quantity = match quantity(line, known.as_ref()) {
            Ok(quantity) => Some(quantity),
            Err(why) => {
                lacks("quantity", why);
                None
            }
        };
        suppliers.extend(known.as_ref().and_then(|(row, _)| row.supplier_id));
        if let Some(expiry) = line.expiry.filter(|expiry| expiry.on < self.today) {
            done.cautions.push(say!(
                "lines[{at}]: its last day was {on}: the line can only be rejected",
                at,
                on = expiry.on
            ));
        }
        Ok(ProposedLine {
            item: known.map(|(_, item)| item.row.code),
            supplier_lot_code: line.lot.clone(),
            quantity,
            expiry: line.expiry,
        })
    }

    /// The item, or why there is none that can be received.
    fn known(&mut self, line: &Line) -> Result<std::result::Result<Known, Saying>> {
        let Some(named) = &line.named else {
            return Ok(Err(say!("{uri} is the sender's own and names no article", uri = line.uri)));
        };
        let Some(row) = gtin_in_force(self.conn, &named.gtin.to_string())? else {
            let why = say!("nobody has given {printed} to an item", printed = named.gtin.printed());
            return Ok(Err(why));
        };
        let item = item_of(self.conn, &row)?;
        let why = match &item {
            item if item.row.kind != "ingredient" => say!("{item} is made here", item = item.current.name),
            item if !item.current.tracked => say!("{item} is not kept by lot", item = item.current.name),
            item if !item.current.active => say!("{item} is no longer in use", item = item.current.name),
            _ => return Ok(Ok((row, item))),
        };
        Ok(Err(why))
    }
}

impl Line {
    /// What tells it from others: the article and the lot, or the identifier.
    fn key(&self) -> String {
        let lot = self.lot.as_deref().unwrap_or("");
        match &self.named {
            Some(named) => format!("{}/{lot}", named.gtin),
            None => format!("{}/{lot}", self.uri),
        }
    }
}

/// How much it is, as a delivery takes it: as it stands there where it stands there once, else the sum in grams.
fn quantity(line: &Line, known: Option<&Known>) -> std::result::Result<QuantityEntered, Saying> {
    let said = line.amounts.iter().map(|(amount, unit)| entered(amount, unit.as_deref(), known));
    let said = said.collect::<std::result::Result<Vec<_>, Saying>>()?;
    let Some(first) = said.first() else { return Err(say!("the document does not say how much")) };
    let Some((_, item)) = known else {
        return if said.len() == 1 { Ok(first.clone()) } else { Err(say!("it stands there in several parts")) };
    };
    let counting = counting(&item.current).map_err(|error| error.detail)?;
    let masses = said.iter().map(|one| one.to_mass(&counting).map_err(|error| error.detail));
    let masses = masses.collect::<std::result::Result<Vec<Mass>, Saying>>()?;
    if said.len() == 1 {
        return Ok(first.clone());
    }
    let sum = Mass::from_mg(masses.iter().map(|mass| mass.mg()).sum()).map_err(|error| error.saying())?;
    Ok(QuantityEntered { amount: Amount(sum.grams_text()), unit: "g".to_owned() })
}

/// A figure in our units; packages by what is in one.
fn entered(amount: &str, unit: Option<&str>, known: Option<&Known>) -> std::result::Result<QuantityEntered, Saying> {
    let in_unit = |unit: &str| Ok(QuantityEntered { amount: Amount(amount.to_owned()), unit: unit.to_owned() });
    // UN/ECE Recommendation 20 (from memory, but for KGM, GRM, LTR and MLT).
    match unit {
        Some("KGM") => in_unit("kg"),
        Some("GRM") => in_unit("g"),
        Some("MGM") => in_unit("mg"),
        Some("LBR") => in_unit("lb"),
        Some("ONZ") => in_unit("oz"),
        Some("LTR") => in_unit("l"),
        Some("CLT") => in_unit("cl"),
        Some("MLT") => in_unit("ml"),
        Some("GLL") => in_unit("us_gal"),
        Some("EA" | "H87" | "C62") | None => packages(amount, known),
        Some(other) => Err(say!("{amount} {other}: this unit is not known here", amount, other)),
    }
}

fn packages(amount: &str, known: Option<&Known>) -> std::result::Result<QuantityEntered, Saying> {
    let unit_mg = known.and_then(|(row, _)| row.unit_mg);
    let Some(unit_mg) = unit_mg else {
        return Ok(QuantityEntered { amount: Amount(amount.to_owned()), unit: "piece".to_owned() });
    };
    let count: i64 = amount.parse().map_err(|_| say!("{amount} packages are no whole number", amount))?;
    let mass = Mass::from_mg(unit_mg.saturating_mul(count)).map_err(|error| error.saying())?;
    Ok(QuantityEntered { amount: Amount(mass.grams_text()), unit: "g".to_owned() })
}
