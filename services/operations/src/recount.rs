//! An independent recount: every fact read afresh and added up the slow, plain way, with neither the lot graph nor the
//! balances. What it finds must agree with the answers; the demonstration and the tests hold one against the other.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use tubtrail_storage::lots::{LotRow, UntrackedInputRow, UseRow, UseVoidRow};
use tubtrail_storage::master_data::SiteRow;
use tubtrail_storage::stock::MovementRow;
use tubtrail_storage::{AnyConnection, Fact};

use crate::error::Result;
use crate::lots::number;
use crate::tubtrail::Tubtrail;

/// Rows read at a time.
const PAGE: i64 = 5000;

/// Every fact about lots, added up.
#[derive(Debug, Default)]
pub struct Recount {
    lots: BTreeMap<i64, Lot>,
    row_of: HashMap<String, i64>,
    uses: Vec<UseRow>,
    untracked_mg: HashMap<i64, i64>,
    sites: HashMap<i64, String>,
}

#[derive(Debug)]
struct Lot {
    number: String,
    batch_id: Option<i64>,
    made_mg: i64,
    found_mg: i64,
    places: Places,
}

/// Site code and state, and how many milligrams; nothing where that is zero.
pub type Places = BTreeMap<(String, String), i64>;

/// A lot that holds some of the seeds.
#[derive(Clone, Debug, PartialEq)]
pub struct Holding {
    /// Its number.
    pub lot: String,
    /// How much of the seeds it was made with, in milligrams.
    pub seed_mg: f64,
    /// Where it is or went, suppliers and production too.
    pub places: Places,
}

impl Tubtrail {
    /// Reads every fact and adds up. Slow, and holds them all; for demonstrations and tests.
    pub fn recount(&self) -> Result<Recount> {
        self.read(|conn| {
            let mut recount = Recount::default();
            each(conn, |lot: LotRow| recount.add_lot(&lot))?;
            each(conn, |site: SiteRow| {
                recount.sites.insert(site.id, site.code);
                Ok(())
            })?;
            let mut voided = HashSet::new();
            each(conn, |void: UseVoidRow| {
                voided.insert(void.use_id);
                Ok(())
            })?;
            each(conn, |one: UseRow| {
                if !voided.contains(&one.id) {
                    recount.uses.push(one);
                }
                Ok(())
            })?;
            each(conn, |input: UntrackedInputRow| {
                *recount.untracked_mg.entry(input.batch_id).or_insert(0) += input.mass_mg;
                Ok(())
            })?;
            each(conn, |movement: MovementRow| {
                recount.add_movement(&movement);
                Ok(())
            })?;
            Ok(recount)
        })
    }
}

fn each<F: Fact>(conn: &mut AnyConnection, mut take: impl FnMut(F) -> Result<()>) -> Result<()> {
    let mut from = 0;
    loop {
        let page = F::page(conn, from, PAGE).map_err(tubtrail_storage::StorageError::from)?;
        let Some(last) = page.last() else { return Ok(()) };
        from = last.id() + 1;
        page.into_iter().try_for_each(&mut take)?;
    }
}

impl Recount {
    fn add_lot(&mut self, row: &LotRow) -> Result<()> {
        let lot = Lot {
            number: number(row)?.to_string(),
            batch_id: row.batch_id,
            made_mg: row.mass_mg,
            found_mg: 0,
            places: BTreeMap::new(),
        };
        self.row_of.insert(lot.number.clone(), row.id);
        self.lots.insert(row.id, lot);
        Ok(())
    }

    fn add_movement(&mut self, movement: &MovementRow) {
        let Some(lot) = self.lots.get_mut(&movement.lot_id) else { return };
        let site = |id| self.sites.get(id).cloned().unwrap_or_default();
        *lot.places.entry((site(&movement.from_site_id), movement.from_state.clone())).or_insert(0) -= movement.mass_mg;
        *lot.places.entry((site(&movement.to_site_id), movement.to_state.clone())).or_insert(0) += movement.mass_mg;
        // What was found beyond what was missed was there from the beginning.
        let differences = lot.places.iter().filter(|((_, state), _)| state == "count_difference");
        let missed_mg: i64 = differences.map(|(_, mg)| mg).sum();
        lot.found_mg = (-missed_mg).max(0);
        lot.places.retain(|_, mg| *mg != 0);
    }

    /// How many lots there are.
    pub fn lots(&self) -> usize {
        self.lots.len()
    }

    /// The numbers of every received lot, in order.
    pub fn received(&self) -> impl Iterator<Item = &str> {
        self.lots.values().filter(|lot| lot.batch_id.is_none()).map(|lot| lot.number.as_str())
    }

    /// Every lot that holds any of the seeds, the seeds among them, by number.
    ///
    /// Shares are found by going over all batches again and again until nothing changes any more.
    pub fn forward(&self, seeds: &[String]) -> BTreeMap<String, Holding> {
        let seeds: BTreeSet<i64> = seeds.iter().filter_map(|seed| self.row_of.get(seed).copied()).collect();
        let mut shares: HashMap<i64, f64> = seeds.iter().map(|seed| (*seed, self.mass(*seed))).collect();
        let mut reached = seeds.clone();
        loop {
            let next = self.relax(&seeds, &shares);
            let newly: BTreeSet<i64> = self.reach_once(&reached);
            if next == shares && newly == reached {
                break;
            }
            shares = next;
            reached = newly;
        }
        reached
            .into_iter()
            .map(|row| {
                let lot = &self.lots[&row];
                let seed_mg = shares.get(&row).copied().unwrap_or(0.0);
                (lot.number.clone(), Holding { lot: lot.number.clone(), seed_mg, places: lot.places.clone() })
            })
            .collect()
    }

    fn reach_once(&self, reached: &BTreeSet<i64>) -> BTreeSet<i64> {
        let batches: HashSet<i64> =
            self.uses.iter().filter(|one| reached.contains(&one.lot_id)).map(|one| one.batch_id).collect();
        let made = self.lots.iter().filter(|(_, lot)| lot.batch_id.is_some_and(|batch| batches.contains(&batch)));
        reached.iter().copied().chain(made.map(|(row, _)| *row)).collect()
    }

    #[allow(clippy::cast_precision_loss)] // Masses stay far below 2^53 milligrams.
    fn relax(&self, seeds: &BTreeSet<i64>, shares: &HashMap<i64, f64>) -> HashMap<i64, f64> {
        let mut used_of_lot: HashMap<i64, i64> = HashMap::new();
        for one in &self.uses {
            *used_of_lot.entry(one.lot_id).or_insert(0) += one.mass_mg;
        }
        let mut into: HashMap<i64, (f64, i64)> =
            self.untracked_mg.iter().map(|(batch, mg)| (*batch, (0.0, *mg))).collect();
        for one in &self.uses {
            let whole = self.mass(one.lot_id).max(used_of_lot[&one.lot_id] as f64);
            let share = shares.get(&one.lot_id).copied().unwrap_or(0.0) * one.mass_mg as f64 / whole;
            let batch = into.entry(one.batch_id).or_insert((0.0, 0));
            batch.0 += share;
            batch.1 += one.mass_mg;
        }
        let mut out: HashMap<i64, f64> = HashMap::new();
        for lot in self.lots.values() {
            if let Some(batch) = lot.batch_id {
                *out.entry(batch).or_insert(0.0) += (lot.made_mg + lot.found_mg) as f64;
            }
        }
        let mut next: HashMap<i64, f64> = seeds.iter().map(|seed| (*seed, self.mass(*seed))).collect();
        for (row, lot) in self.lots.iter().filter(|(row, _)| !seeds.contains(row)) {
            let Some(batch) = lot.batch_id else { continue };
            let Some((share, total_in)) = into.get(&batch) else { continue };
            let whole = (*total_in as f64).max(out[&batch]);
            if *share > 0.0 && whole > 0.0 {
                next.insert(*row, share * self.mass(*row) / whole);
            }
        }
        next
    }

    #[allow(clippy::cast_precision_loss)]
    fn mass(&self, row: i64) -> f64 {
        self.lots.get(&row).map_or(0.0, |lot| (lot.made_mg + lot.found_mg) as f64)
    }
}
