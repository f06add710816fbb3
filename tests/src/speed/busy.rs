//! The commands of the busiest hours besides a hold: scoops from open tubs, and uses of lots in open batches.

use std::sync::atomic::{AtomicUsize, Ordering};

use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::BigInt;
use tubtrail_operations::batches::NewBatch;
use tubtrail_operations::quantities::{Amount, Grams, QuantityEntered};
use tubtrail_operations::tubs::Serving;
use tubtrail_operations::uses::{NewUse, NewUses};
use tubtrail_operations::{Request, Tubtrail};

use super::Failure;
use super::worlds::{Named, named};
use crate::TestDatabase;
use crate::reference::at;

/// Most tubs that are served from, and lots that are used.
const MOST: i64 = 500;
/// Batches that are begun, so that none takes more than a batch does.
const BATCHES: usize = 500;

/// What can be served and used.
pub struct Busy {
    tubs: Vec<Named>,
    milk: Vec<Named>,
    batches: Vec<i64>,
    midnight: DateTime<Utc>,
    turn: AtomicUsize,
}

#[derive(QueryableByName)]
struct Row {
    #[diesel(sql_type = BigInt)]
    lot_id: i64,
}

impl Busy {
    /// Finds open tubs and what is left of supplier lots at the first kitchen, and begins batches there at
    /// the end of the last day, before anything is past its date.
    pub fn of(database: &TestDatabase, tubtrail: &Tubtrail, days: u32) -> Result<Self, Failure> {
        let mut conn = database.connect();
        let mut lots = |condition: &str| -> Result<Vec<Named>, Failure> {
            let query = format!(
                "SELECT b.lot_id FROM balances b JOIN lots l ON l.id = b.lot_id LEFT JOIN holds h ON h.lot_id = l.id \
                 WHERE h.id IS NULL AND b.mass_mg > 1000000 AND {condition} ORDER BY b.lot_id DESC LIMIT {MOST}"
            );
            let rows: Vec<Row> = sql_query(query).load(&mut conn)?;
            let ids: Vec<u32> = rows.iter().map(|row| u32::try_from(row.lot_id - 1)).collect::<Result<_, _>>()?;
            named(&mut conn, &ids)
        };
        let tubs = lots("b.state = 'open' AND l.kind = 'tub'")?;
        let milk = lots(
            "b.state = 'available' AND l.kind = 'received' AND b.site_id = (SELECT id FROM sites WHERE code = 'kitchen-0')",
        )?;
        let midnight = at(days, 0).and_utc();
        let batch =
            NewBatch { recipe: "base-0".into(), site: "kitchen-0".into(), started_at: Some(midnight), note: None };
        let begin = |_| Ok(tubtrail.start_batch(&Request::system(), batch.clone())?.answer.id);
        let batches = (0..BATCHES).map(begin).collect::<Result<_, Failure>>()?;
        Ok(Self { tubs, milk, batches, midnight, turn: AtomicUsize::new(0) })
    }

    /// Whether a tub is served from, so that it must not be held.
    pub fn serves(&self, row: i64) -> bool {
        self.tubs.iter().any(|tub| tub.row == row)
    }

    /// Serves a gram.
    pub fn serve(&self, tubtrail: &Tubtrail) -> Result<(), Failure> {
        let turn = self.turn.fetch_add(1, Ordering::Relaxed);
        let serving = Serving { grams: Some(Grams::from_mg(1_000)), ..Serving::default() };
        tubtrail.serve_tub(&Request::system(), &self.tubs[turn % self.tubs.len()].number, serving)?;
        Ok(())
    }

    /// Uses a gram.
    pub fn add_use(&self, tubtrail: &Tubtrail) -> Result<(), Failure> {
        let turn = self.turn.fetch_add(1, Ordering::Relaxed);
        let one = NewUse {
            lot: Some(self.milk[turn % self.milk.len()].number.clone()),
            item: None,
            quantity: QuantityEntered { amount: Amount("1".into()), unit: "g".into() },
            used_at: Some(self.midnight),
            reason: None,
        };
        let batch = self.batches[turn % self.batches.len()];
        tubtrail.add_uses(&Request::system(), batch, NewUses { uses: vec![one] })?;
        Ok(())
    }
}
