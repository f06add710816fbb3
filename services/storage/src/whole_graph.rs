//! The whole lot graph, as a server reads it when it starts.
//!
//! Each table is gone through once in the order in which it lies, which is the order of writing. Asked for by entry, or in order
//! of id, the database would look up every row by itself, and sort millions of them. The largest tables are handed on row by
//! row, so that they need not lie in memory, and read straight from their backend: by way of [`AnyConnection`] each field of
//! each row would be asked which one it is.

use std::collections::HashSet;

use chrono::NaiveDateTime;
use diesel::connection::DefaultLoadingMode;
use diesel::dsl::sql;
use diesel::pg::PgRowByRowLoadingMode;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Bool};

use crate::cleans::{clean_kind_versions, clean_voids, cleans, equipment_voids};
use crate::contents::{ContentChanges, EquipmentClean, EquipmentRun, StatedInput, stated_input, statement_changes};
use crate::graph_changes::{GraphLot, GraphUse};
use crate::lean::{Day, Moment};
use crate::lots::{batch_equipment, batches, lots, untracked_inputs, use_voids, uses};
use crate::{AnyConnection, StorageError};

/// Gives every row of a query to `take`, whichever backend it comes from.
macro_rules! each_row {
    ($conn:expr, $query:expr, $row:ty, $take:expr) => {{
        let mut take = $take;
        match $conn {
            AnyConnection::Sqlite(conn) => {
                for row in $query.load_iter::<$row, DefaultLoadingMode>(conn)? {
                    take(row?)?;
                }
            }
            AnyConnection::Postgres(conn) => {
                for row in $query.load_iter::<$row, PgRowByRowLoadingMode>(conn)? {
                    take(row?)?;
                }
            }
        }
        Ok(())
    }};
}

type Taken = Result<(), StorageError>;

/// Whether a row was written by an entry or before. The plus keeps SQLite from the index of entries.
macro_rules! is_in {
    ($entry:literal, $until:expr) => {
        sql::<Bool>(concat!("+", $entry, " <= ")).bind::<BigInt, _>($until)
    };
}

/// The batches up to and including an entry, in order of id.
pub fn whole_batches(conn: &mut AnyConnection, until: i64) -> Result<Vec<i64>, StorageError> {
    let mut all = Vec::new();
    let taken: Taken =
        each_row!(conn, batches::table.filter(is_in!("batches.entry", until)).select(batches::id), i64, |id| {
            all.push(id);
            Taken::Ok(())
        });
    taken?;
    all.sort_unstable();
    Ok(all)
}

type LotColumns = (i64, Option<i64>, i64, i64, Option<i64>, Day);

/// Gives every lot up to and including an entry to `take`, nearly always in order of id.
pub fn each_lot(conn: &mut AnyConnection, until: i64, mut take: impl FnMut(GraphLot) -> Taken) -> Taken {
    let columns = (lots::id, lots::batch_id, lots::mass_mg, lots::item_id, lots::supplier_id, lots::day);
    each_row!(conn, lots::table.filter(is_in!("lots.entry", until)).select(columns), LotColumns, |(
        id,
        batch_id,
        mass_mg,
        item_id,
        supplier_id,
        Day(day),
    )| {
        take(GraphLot { id, batch_id, mass_mg, item_id, supplier_id, day })
    })
}

type UseColumns = (i64, i64, i64, i64);

/// Gives every use up to and including an entry that was not voided by then to `take`, nearly always in order of id.
pub fn each_use(conn: &mut AnyConnection, until: i64, mut take: impl FnMut(GraphUse) -> Taken) -> Taken {
    let voids = use_voids::table.filter(is_in!("use_voids.entry", until)).select(use_voids::use_id);
    let voided: HashSet<i64> = voids.load(conn)?.into_iter().collect();
    each_row!(
        conn,
        uses::table.filter(is_in!("uses.entry", until)).select((uses::id, uses::lot_id, uses::batch_id, uses::mass_mg)),
        UseColumns,
        |(id, lot_id, batch_id, mass_mg)| {
            if voided.contains(&id) { Ok(()) } else { take(GraphUse { id, lot_id, batch_id, mass_mg }) }
        }
    )
}

/// What went into batches without lots up to and including an entry: batch and milligrams.
pub fn whole_untracked(conn: &mut AnyConnection, until: i64) -> Result<Vec<(i64, i64)>, StorageError> {
    let all = untracked_inputs::table.filter(is_in!("untracked_inputs.entry", until));
    Ok(all.select((untracked_inputs::batch_id, untracked_inputs::mass_mg)).load(conn)?)
}

/// The same, as far as it decides which statement holds for it.
pub fn whole_inputs(conn: &mut AnyConnection, until: i64) -> Result<Vec<StatedInput>, StorageError> {
    let all = untracked_inputs::table.inner_join(batches::table).filter(is_in!("untracked_inputs.entry", until));
    Ok(all.select(stated_input()).load(conn)?)
}

/// The statements, proteins, spirits and time zones up to and including an entry; nothing else of [`ContentChanges`].
pub fn whole_statements(conn: &mut AnyConnection, until: i64) -> Result<ContentChanges, StorageError> {
    statement_changes(conn, 0, until)
}

type RunColumns = (i64, i64, i64, Moment, Option<Moment>);

/// What ran up to and including an entry and was not voided by then, in order of id.
pub fn whole_runs(conn: &mut AnyConnection, until: i64) -> Result<Vec<EquipmentRun>, StorageError> {
    let voids = equipment_voids::table.filter(is_in!("equipment_voids.entry", until));
    let voided: HashSet<i64> = voids.select(equipment_voids::batch_equipment_id).load(conn)?.into_iter().collect();
    let mut all = Vec::new();
    let columns = (
        batch_equipment::id,
        batch_equipment::batch_id,
        batch_equipment::equipment_id,
        batch_equipment::used_from,
        batch_equipment::used_until,
    );
    let taken: Taken = each_row!(
        conn,
        batch_equipment::table.filter(is_in!("batch_equipment.entry", until)).select(columns),
        RunColumns,
        |(id, batch_id, equipment_id, Moment(from), until): RunColumns| {
            if !voided.contains(&id) {
                let until: Option<NaiveDateTime> = until.map(|Moment(until)| until);
                all.push(EquipmentRun { id, batch_id, equipment_id, from, until });
            }
            Taken::Ok(())
        }
    );
    taken?;
    all.sort_unstable_by_key(|run| run.id);
    Ok(all)
}

/// The cleans up to and including an entry that were not voided by then, in order of id.
pub fn whole_cleans(conn: &mut AnyConnection, until: i64) -> Result<Vec<EquipmentClean>, StorageError> {
    let voids = clean_voids::table.filter(is_in!("clean_voids.entry", until)).select(clean_voids::clean_id);
    let voided: HashSet<i64> = voids.load(conn)?.into_iter().collect();
    let all = cleans::table.inner_join(clean_kind_versions::table).filter(is_in!("cleans.entry", until));
    let columns = (cleans::id, cleans::equipment_id, cleans::cleaned_at, clean_kind_versions::clears);
    let mut all: Vec<EquipmentClean> = all.select(columns).load(conn)?;
    all.retain(|clean| !voided.contains(&clean.id));
    all.sort_unstable_by_key(|clean| clean.id);
    Ok(all)
}
