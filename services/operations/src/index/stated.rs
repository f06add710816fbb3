//! Statements that count, and which of them holds for a lot.

use std::collections::{HashMap, HashSet};

use chrono::NaiveDate;
use tubtrail_domain::allergens::{AllergenList, Declared, Named, StatementGiven, Substance};
use tubtrail_domain::decimal::Decimal;
use tubtrail_lineage::Content;
use tubtrail_storage::StorageError;
use tubtrail_storage::contents::StatedLot;
use tubtrail_storage::statements::{StatementProteinRow, StatementRow};

/// A statement, read.
#[derive(Clone, Debug)]
pub struct Stated {
    /// Its row.
    pub id: i64,
    /// About which item.
    pub item_id: i64,
    /// About which lot alone, if so.
    pub lot_id: Option<i64>,
    /// By which supplier; none: the maker's.
    pub supplier_id: Option<i64>,
    /// From which day on, if about an item.
    pub in_force_from: Option<NaiveDate>,
    /// What it comes to.
    pub content: Content,
    /// How much of it by mass is protein of a substance, 0 to 1, where that is said.
    pub proteins: Vec<(Substance, f64)>,
    /// Its strength in % vol, where that is said.
    pub alcohol_percent_vol: Option<Decimal>,
}

/// The statements that count: none of them was corrected.
#[derive(Clone, Debug, Default)]
pub struct Statements {
    of_item: HashMap<i64, Vec<Stated>>,
    of_lot: HashMap<i64, Vec<Stated>>,
    /// Items that are, or ever were, counted as a plain spirit: there is alcohol in them, whatever is stated.
    spirits: HashSet<i64>,
}

/// What is declared of a lot, and by which statements.
#[derive(Clone, Debug)]
pub struct Holding<'a> {
    /// What is declared of the lot itself.
    pub own: Content,
    /// By which statements; none: nobody stated anything, or a made lot has nothing of its own.
    pub by: Vec<&'a Stated>,
    /// It is a plain spirit.
    pub is_spirit: bool,
}

const ALCOHOL: u64 = Substance::Alcohol.bit();

impl Stated {
    /// Reads a row.
    pub fn read(row: &StatementRow, proteins: &[&StatementProteinRow]) -> Result<Self, StorageError> {
        let corrupt = |what: &str| StorageError::Corrupt(format!("statement {}: its {what}", row.id));
        let given = given(row)?;
        let declared = given.check().map_err(|error| corrupt(&error.to_string()))?;
        let proteins = proteins.iter().map(|row| {
            let substance = Substance::from_word(&row.substance).ok_or_else(|| corrupt("protein"))?;
            let percent: Decimal = row.percent.parse().map_err(|_| corrupt("protein"))?;
            Ok((substance, to_f64(percent) / 100.0))
        });
        Ok(Self {
            id: row.id,
            item_id: row.item_id,
            lot_id: row.lot_id,
            supplier_id: row.supplier_id,
            in_force_from: row.in_force_from,
            content: content(declared),
            proteins: proteins.collect::<Result<_, StorageError>>()?,
            alcohol_percent_vol: given.alcohol_percent_vol,
        })
    }
}

impl Statements {
    /// Adds one.
    pub fn add(&mut self, stated: Stated) {
        let list = match stated.lot_id {
            Some(lot) => self.of_lot.entry(lot).or_default(),
            None => self.of_item.entry(stated.item_id).or_default(),
        };
        list.push(stated);
    }

    /// Takes out one that no longer counts.
    pub fn remove(&mut self, item_id: i64, lot_id: Option<i64>, id: i64) {
        let list = match lot_id {
            Some(lot) => self.of_lot.get_mut(&lot),
            None => self.of_item.get_mut(&item_id),
        };
        if let Some(list) = list {
            list.retain(|stated| stated.id != id);
        }
    }

    pub(super) fn add_spirits(&mut self, items: &[i64]) {
        self.spirits.extend(items);
    }

    /// What is declared of a lot.
    ///
    /// Of a received one: by the newest statement about that very lot; else by the newest-dated one of its item and its
    /// supplier that was in force when it came; else by the maker's own likewise; else nothing is known. What the maker
    /// says of a lot it made, or of its item, only adds to what went in.
    pub fn of_lot(&self, lot: &StatedLot) -> Holding<'_> {
        let about_it = self.of_lot.get(&lot.id).and_then(|list| list.iter().max_by_key(|stated| stated.id));
        let makers = || self.in_force(lot.item_id, lot.day, |stated| stated.supplier_id.is_none());
        if lot.batch_id.is_some() {
            let by: Vec<&Stated> = about_it.into_iter().chain(makers()).collect();
            let own = by.iter().fold(Content::NOTHING, |sum, stated| sum.union(additions(stated.content)));
            return Holding { own, by, is_spirit: false };
        }
        let suppliers = || self.in_force(lot.item_id, lot.day, |stated| stated.supplier_id == lot.supplier_id);
        let by = about_it.or_else(suppliers).or_else(makers);
        let is_spirit = self.spirits.contains(&lot.item_id);
        let own = self.with_spirit(lot.item_id, by.map_or(Content::UNKNOWN, |stated| stated.content));
        Holding { own, by: by.into_iter().collect(), is_spirit }
    }

    /// What is declared of an item kept without lots that went into a batch on a day: by the newest-dated statement in
    /// force then, whoever's.
    pub fn of_input(&self, item_id: i64, day: NaiveDate) -> Content {
        let by = self.in_force(item_id, day, |_| true);
        self.with_spirit(item_id, by.map_or(Content::UNKNOWN, |stated| stated.content))
    }

    /// The statement that says it of an item kept without lots on a day.
    pub fn holding_input(&self, item_id: i64, day: NaiveDate) -> Option<&Stated> {
        self.in_force(item_id, day, |_| true)
    }

    /// What may be in an item of which nothing is on hand: all that any supplier, or else the maker, says of it on a day.
    pub fn of_item_on(&self, item_id: i64, day: NaiveDate) -> Content {
        let list = self.of_item.get(&item_id).map_or(&[][..], Vec::as_slice);
        let mut suppliers: Vec<Option<i64>> = list.iter().map(|stated| stated.supplier_id).collect();
        suppliers.sort_unstable();
        suppliers.dedup();
        let said =
            suppliers.into_iter().filter_map(|by| self.in_force(item_id, day, |stated| stated.supplier_id == by));
        let said = said.map(|stated| stated.content).reduce(Content::union);
        self.with_spirit(item_id, said.unwrap_or(Content::UNKNOWN))
    }

    /// The newest-dated of an item's statements that were in force on a day; of those of one date the last entered.
    fn in_force(&self, item_id: i64, day: NaiveDate, fits: impl Fn(&Stated) -> bool) -> Option<&Stated> {
        let list = self.of_item.get(&item_id)?;
        let in_force =
            list.iter().filter(|stated| stated.in_force_from.is_some_and(|from| from <= day) && fits(stated));
        in_force.max_by_key(|stated| (stated.in_force_from, stated.id))
    }

    fn with_spirit(&self, item_id: i64, content: Content) -> Content {
        if self.spirits.contains(&item_id) {
            return Content { contains: content.contains | ALCOHOL, unknown: content.unknown & !ALCOHOL, ..content };
        }
        content
    }
}

/// What a row says, as it was given.
pub fn given(row: &StatementRow) -> Result<StatementGiven, StorageError> {
    let corrupt = |what: &str| StorageError::Corrupt(format!("statement {}: its {what}", row.id));
    let decimal = |text: &Option<String>| text.as_deref().map(str::parse).transpose().map_err(|_| corrupt("figures"));
    Ok(StatementGiven {
        lists: words(&row.lists).map(AllergenList::from_word).collect::<Option<_>>().ok_or_else(|| corrupt("lists"))?,
        contains: words(&row.contains).map(Named::from_word).collect::<Option<_>>().ok_or_else(|| corrupt("words"))?,
        may_contain: words(&row.may_contain)
            .map(Named::from_word)
            .collect::<Option<_>>()
            .ok_or_else(|| corrupt("words"))?,
        sulphites_ppm: decimal(&row.sulphites_ppm)?,
        alcohol_percent_vol: decimal(&row.alcohol_percent_vol)?,
    })
}

/// The words between the commas.
fn words(text: &str) -> impl Iterator<Item = &str> {
    text.split(',').filter(|word| !word.is_empty())
}

/// What a statement comes to, as the graph keeps it.
pub fn content(declared: Declared) -> Content {
    Content { contains: declared.contains, may_contain: declared.may_contain, unknown: declared.unknown }
}

fn additions(content: Content) -> Content {
    Content { unknown: 0, ..content }
}

/// A figure to reckon estimates with.
#[allow(clippy::cast_precision_loss)] // Twenty digits are more than an estimate needs.
pub fn to_f64(decimal: Decimal) -> f64 {
    decimal.units() as f64 / 10_f64.powi(i32::try_from(decimal.scale()).unwrap_or(0))
}
