//! Statements that count, and which of them holds for a lot.

use std::collections::{HashMap, HashSet};

use chrono::NaiveDate;
use tubtrail_domain::allergens::{AllergenList, Declared, Named, StatementGiven, Substance};
use tubtrail_domain::decimal::Decimal;
use tubtrail_lineage::{Answer, Content};
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

/// What is declared of a lot, or of an item without lots, and by which statements.
#[derive(Clone, Debug)]
pub struct Holding<'a> {
    /// What is declared of it itself.
    pub own: Content,
    /// By which statements, the one that counts most first; none: nobody stated anything, or a made lot has nothing of its own.
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
        let after = list.partition_point(|other| rank(other) < rank(&stated));
        list.insert(after, stated);
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
    /// Of a received one by three voices, one after the other, each asked only for what those before it left unknown: the
    /// statements about that very lot; those of its item and its supplier that were in force when it came; the maker's own
    /// likewise. In each of them the newest counts ([`ask`]). What the maker says of a lot it made, or of its item, only
    /// adds to what went in.
    pub fn of_lot(&self, lot: &StatedLot) -> Holding<'_> {
        let mut by = Vec::new();
        let own = self.own(lot, |stated| by.push(stated));
        Holding { own, by, is_spirit: lot.batch_id.is_none() && self.spirits.contains(&lot.item_id) }
    }

    /// What is declared of a lot ([`Self::of_lot`]), whoever says so.
    pub fn own_of_lot(&self, lot: &StatedLot) -> Content {
        self.own(lot, |_| ())
    }

    fn own<'a>(&'a self, lot: &StatedLot, mut by: impl FnMut(&'a Stated)) -> Content {
        let about_it = self.of_lot.get(&lot.id).into_iter().flat_map(|list| list.iter().rev());
        let makers = self.in_force(lot.item_id, lot.day, |stated| stated.supplier_id.is_none());
        if lot.batch_id.is_some() {
            let (own, items) = (heard(about_it, &mut by), heard(makers, &mut by));
            return additions(own).union(additions(items));
        }
        let mut own = heard(about_it, &mut by);
        if let Some(supplier) = lot.supplier_id {
            let theirs = self.in_force(lot.item_id, lot.day, move |stated| stated.supplier_id == Some(supplier));
            ask(&mut own, theirs, &mut by);
        }
        ask(&mut own, makers, &mut by);
        self.with_spirit(lot.item_id, own)
    }

    /// What is declared of an item kept without lots that went into a batch on a day: by the statements in force then,
    /// whoever's, the newest-dated counting most.
    pub fn of_input(&self, item_id: i64, day: NaiveDate) -> Holding<'_> {
        let mut by = Vec::new();
        let own = heard(self.in_force(item_id, day, |_| true), |stated| by.push(stated));
        Holding { own: self.with_spirit(item_id, own), by, is_spirit: self.spirits.contains(&item_id) }
    }

    /// What may be in an item of which nothing is on hand: all that any supplier, or else the maker, says of it on a day.
    pub fn of_item_on(&self, item_id: i64, day: NaiveDate) -> Content {
        let list = self.of_item.get(&item_id).map_or(&[][..], Vec::as_slice);
        let mut suppliers: Vec<Option<i64>> = list.iter().map(|stated| stated.supplier_id).collect();
        suppliers.sort_unstable();
        suppliers.dedup();
        let said = suppliers.into_iter().filter_map(|by| {
            let mut theirs = self.in_force(item_id, day, move |stated| stated.supplier_id == by).peekable();
            theirs.peek().is_some().then(|| heard(theirs, |_| ()))
        });
        self.with_spirit(item_id, said.reduce(Content::union).unwrap_or(Content::UNKNOWN))
    }

    /// An item's statements that were in force on a day, the newest-dated first; of those of one date the last entered.
    fn in_force<'a>(
        &'a self,
        item_id: i64,
        day: NaiveDate,
        fits: impl Fn(&Stated) -> bool + 'a,
    ) -> impl Iterator<Item = &'a Stated> + 'a {
        let list = self.of_item.get(&item_id).into_iter().flat_map(|list| list.iter().rev());
        list.filter(move |stated| stated.in_force_from.is_some_and(|from| from <= day) && fits(stated))
    }

    fn with_spirit(&self, item_id: i64, content: Content) -> Content {
        if self.spirits.contains(&item_id) {
            return Content { contains: content.contains | ALCOHOL, unknown: content.unknown & !ALCOHOL, ..content };
        }
        content
    }
}

impl Holding<'_> {
    /// The statements that say this of a substance; all of them where none of them says it alone, as with the unknown.
    pub fn saying(&self, substance: Substance, answer: Answer) -> Vec<i64> {
        let says = |content: Content| match answer {
            Answer::Contains => content.contains & substance.bit() != 0,
            Answer::MayContain => content.may_contain & substance.bit() != 0,
            Answer::Unknown | Answer::NotRecorded => false,
        };
        let mut saying: Vec<i64> = self.by.iter().filter(|by| says(by.content)).map(|by| by.id).collect();
        if saying.is_empty() {
            saying.extend(self.by.iter().map(|by| by.id));
        }
        saying
    }
}

/// The order of statements about one thing, the newest-dated last; of those of one date the last entered.
fn rank(stated: &Stated) -> (Option<NaiveDate>, i64) {
    (stated.in_force_from, stated.id)
}

/// What one voice alone says ([`ask`]).
fn heard<'a>(voice: impl Iterator<Item = &'a Stated>, by: impl FnMut(&'a Stated)) -> Content {
    let mut sum = Content::UNKNOWN;
    ask(&mut sum, voice, by);
    sum
}

/// Asks one voice, its newest statement first, for what is unknown so far, and tells which of its statements had a part in
/// the answer. What the newest leaves unknown, an older one that names it still puts there; it rules nothing out any more.
fn ask<'a>(sum: &mut Content, voice: impl Iterator<Item = &'a Stated>, mut by: impl FnMut(&'a Stated)) {
    for (place, stated) in voice.enumerate() {
        let Content { contains, may_contain, unknown } = stated.content;
        let named = (contains | may_contain) & sum.unknown;
        if place > 0 && named == 0 {
            continue;
        }
        if sum.unknown == 0 {
            return;
        }
        by(stated);
        sum.contains |= contains & sum.unknown;
        sum.may_contain |= may_contain & sum.unknown;
        sum.unknown &= if place == 0 { unknown & !named } else { !named };
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
