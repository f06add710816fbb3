//! What a recall begins with: lots named, what a supplier brought, what ran on equipment, what lay at a place.

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::lot_codes::{CodeRange, CodeRangeError};
use tubtrail_domain::say;
use tubtrail_lineage::LotIx;
use tubtrail_storage::master_data::{Equipment, Noun};
use tubtrail_storage::recall_seeds::lots_of_seed;
use tubtrail_storage::recalls::RecallSeedRow;
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use super::Standpoint;
use crate::clock::to_microseconds;
use crate::error::{OperationError, Result};
use crate::index::lot_ix;
use crate::names::{Names, partner_code};
use crate::{fields, lots, problems};

/// Most of these in one recall.
const MOST_SEEDS: usize = 100;
/// Most lots or codes in one of them.
const MOST_NAMED: usize = 500;

/// What a recall begins with, in one of seven ways.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case", tag = "by", deny_unknown_fields)]
pub enum SeedAsked {
    /// These lots.
    Lots {
        /// Our numbers for them.
        #[schema(min_items = 1, max_items = 500)]
        lots: Vec<String>,
    },
    /// What a supplier brought under these codes of their own. A run of digits counts as a number: 24-9 is 24-09.
    SupplierLots {
        /// The supplier's code.
        #[schema(max_length = 40)]
        supplier: String,
        /// Only of this item, by code.
        #[serde(default)]
        #[schema(max_length = 40)]
        item: Option<String>,
        /// The supplier's own lot codes.
        #[schema(min_items = 1, max_items = 500)]
        codes: Vec<String>,
    },
    /// What a supplier brought under a code that begins like this.
    SupplierLotPrefix {
        /// The supplier's code.
        #[schema(max_length = 40)]
        supplier: String,
        /// Only of this item, by code.
        #[serde(default)]
        #[schema(max_length = 40)]
        item: Option<String>,
        /// How the supplier's own lot code begins.
        #[schema(max_length = 60)]
        prefix: String,
    },
    /// What a supplier brought under a code from one to another, as a person would count: 24-9 is before 24-110.
    SupplierLotRange {
        /// The supplier's code.
        #[schema(max_length = 40)]
        supplier: String,
        /// Only of this item, by code.
        #[serde(default)]
        #[schema(max_length = 40)]
        item: Option<String>,
        /// The first of the supplier's own lot codes.
        #[schema(max_length = 60)]
        from: String,
        /// The last.
        #[schema(max_length = 60)]
        until: String,
    },
    /// What a supplier brought on these days, as they are counted where it arrived.
    SupplierDays {
        /// The supplier's code.
        #[schema(max_length = 40)]
        supplier: String,
        /// Only of this item, by code.
        #[serde(default)]
        #[schema(max_length = 40)]
        item: Option<String>,
        /// The first day.
        #[serde(deserialize_with = "crate::days::day")]
        from: NaiveDate,
        /// The last day.
        #[serde(deserialize_with = "crate::days::day")]
        until: NaiveDate,
    },
    /// What batches yielded that ran on equipment within a time.
    Equipment {
        /// The equipment's code.
        #[schema(max_length = 40)]
        equipment: String,
        /// From when.
        from: DateTime<Utc>,
        /// Until when; without an end, if absent.
        #[serde(default)]
        until: Option<DateTime<Utc>>,
    },
    /// What lay at a site within a time.
    Place {
        /// The site's code.
        #[schema(max_length = 40)]
        site: String,
        /// Only what stood there in this way.
        #[serde(default)]
        state: Option<Standpoint>,
        /// From when.
        from: DateTime<Utc>,
        /// Until when; without an end, if absent.
        #[serde(default)]
        until: Option<DateTime<Utc>>,
    },
}

/// What a recall begins with, as it was written down: one lot or one code each.
pub type SeedShown = SeedAsked;

/// What a recall begins with, found and not yet written down.
pub(super) struct Seeds {
    rows: Vec<(String, RecallSeedRow)>,
}

impl Seeds {
    /// As they are written down, each under an id of its own.
    pub(super) fn of_recall(self, tx: &mut WriteTx<'_>, recall_id: i64) -> Vec<RecallSeedRow> {
        let rows = self.rows.into_iter();
        rows.map(|(_, row)| RecallSeedRow { id: tx.id(), entry: tx.entry(), recall_id, ..row }).collect()
    }
}

/// Checks the form of what a recall begins with and finds what it names.
pub(super) fn check(conn: &mut AnyConnection, asked: &[SeedAsked]) -> Result<Seeds> {
    fields::between("seeds", asked.len(), 1, MOST_SEEDS)?;
    let mut rows = Vec::new();
    for (position, seed) in asked.iter().enumerate() {
        let under = format!("seeds[{position}]");
        let found = rows_of(conn, seed).map_err(|error| error.under(&under))?;
        rows.extend(found.into_iter().map(|(field, row)| (format!("{under}{field}"), row)));
    }
    Ok(Seeds { rows })
}

/// The lots they stand for up to an entry; refuses one that stands for none, for that is more likely mistyped than harmless.
pub(super) fn fitting(conn: &mut AnyConnection, seeds: &Seeds, until: i64) -> Result<Vec<LotIx>> {
    let mut found = Vec::new();
    for (field, row) in &seeds.rows {
        let lots = lots_of_seed(conn, row, until)?;
        if lots.is_empty() {
            let detail =
                say!("no lot fits this: look at it again, or begin with the deliveries or days it may have come on");
            return Err(OperationError::new(&problems::NOTHING_FITS, detail).at(field.clone()));
        }
        found.extend(lots.into_iter().map(lot_ix).collect::<std::result::Result<Vec<_>, _>>()?);
    }
    found.sort_unstable();
    found.dedup();
    Ok(found)
}

type Found = Vec<(String, RecallSeedRow)>;

/// The rows a seed comes to, each with the field it stands in, as in `.codes[2]`.
fn rows_of(conn: &mut AnyConnection, asked: &SeedAsked) -> Result<Found> {
    let whole = |row: RecallSeedRow| Ok(vec![(String::new(), row)]);
    match asked {
        SeedAsked::Lots { lots } => each("lots", lots, |field, number| {
            let lot_id = Some(lots::named(conn, field, number)?.id);
            Ok(RecallSeedRow { lot_id, ..empty("lot") })
        }),
        SeedAsked::SupplierLots { supplier, item, codes } => {
            let of = supplied(conn, supplier, item.as_deref())?;
            each("codes", codes, |field, code| {
                let code_from = Some(fields::foreign_code(field, code)?);
                Ok(RecallSeedRow { code_from, ..of.clone().into_row(empty("supplier_lot")) })
            })
        }
        SeedAsked::SupplierLotPrefix { supplier, item, prefix } => {
            let of = supplied(conn, supplier, item.as_deref())?;
            let code_from = Some(fields::foreign_code("prefix", prefix)?);
            whole(RecallSeedRow { code_from, ..of.into_row(empty("supplier_lot_prefix")) })
        }
        SeedAsked::SupplierLotRange { supplier, item, from, until } => {
            let of = supplied(conn, supplier, item.as_deref())?;
            let range = CodeRange::new(from, until).map_err(|error| refused_range(&error))?;
            let (code_from, code_until) = (Some(range.from().to_owned()), Some(range.to().to_owned()));
            whole(RecallSeedRow { code_from, code_until, ..of.into_row(empty("supplier_lot_range")) })
        }
        SeedAsked::SupplierDays { supplier, item, from, until } => {
            let of = supplied(conn, supplier, item.as_deref())?;
            if until < from {
                return Err(OperationError::invalid("until", say!("the last day lies before the first")));
            }
            let (day_from, day_until) = (Some(*from), Some(*until));
            whole(RecallSeedRow { day_from, day_until, ..of.into_row(empty("supplier_days")) })
        }
        SeedAsked::Equipment { equipment, from, until } => {
            let named: Equipment = fields::named(conn, say!("equipment"), "equipment", equipment)?;
            let equipment_id = Some(named.row.id);
            let (time_from, time_until) = window(*from, *until)?;
            whole(RecallSeedRow { equipment_id, time_from, time_until, ..empty("equipment") })
        }
        SeedAsked::Place { site, state, from, until } => {
            let site_id = Some(fields::filter_site(conn, "site", site)?);
            let (time_from, time_until) = window(*from, *until)?;
            let state = state.map(|state| state.state().word().to_owned());
            whole(RecallSeedRow { site_id, state, time_from, time_until, ..empty("place") })
        }
    }
}

fn each(name: &str, values: &[String], mut row: impl FnMut(&str, &str) -> Result<RecallSeedRow>) -> Result<Found> {
    fields::between(name, values.len(), 1, MOST_NAMED)?;
    let named = (0..values.len()).map(|position| format!("{name}[{position}]"));
    named.zip(values).map(|(field, value)| Ok((format!(".{field}"), row(&field, value)?))).collect()
}

/// One of a kind, not written down yet.
fn empty(kind: &str) -> RecallSeedRow {
    RecallSeedRow {
        id: 0,
        entry: 0,
        recall_id: 0,
        kind: kind.to_owned(),
        lot_id: None,
        supplier_id: None,
        item_id: None,
        code_from: None,
        code_until: None,
        day_from: None,
        day_until: None,
        equipment_id: None,
        site_id: None,
        state: None,
        time_from: None,
        time_until: None,
    }
}

#[derive(Clone)]
struct Supplied {
    supplier_id: i64,
    item_id: Option<i64>,
}

impl Supplied {
    fn into_row(self, row: RecallSeedRow) -> RecallSeedRow {
        RecallSeedRow { supplier_id: Some(self.supplier_id), item_id: self.item_id, ..row }
    }
}

/// What belongs to a supplier that may be out of use by now.
fn supplied(conn: &mut AnyConnection, supplier: &str, item: Option<&str>) -> Result<Supplied> {
    let supplier_id = fields::filter_partner(conn, "supplier", supplier)?;
    let item_id = item.map(|code| fields::filter_item(conn, "item", code)).transpose()?;
    Ok(Supplied { supplier_id, item_id })
}

fn refused_range(error: &CodeRangeError) -> OperationError {
    let field = if matches!(error, CodeRangeError::From(_)) { "from" } else { "until" };
    OperationError::invalid(field, error.saying())
}

type Window = (Option<NaiveDateTime>, Option<NaiveDateTime>);

fn window(from: DateTime<Utc>, until: Option<DateTime<Utc>>) -> Result<Window> {
    let (from, until) = (to_microseconds(from.naive_utc()), until.map(|until| to_microseconds(until.naive_utc())));
    let years = 2000..=9998;
    for (field, time) in [("from", Some(from)), ("until", until)] {
        if time.is_some_and(|time| !years.contains(&chrono::Datelike::year(&time))) {
            return Err(OperationError::invalid(field, say!("a time lies in the years 2000 to 9998")));
        }
    }
    if until.is_some_and(|until| until < from) {
        return Err(OperationError::invalid("until", say!("it ends before it begins")));
    }
    Ok((Some(from), until))
}

/// What a recall begins with, as answers show it.
pub(super) fn show(conn: &mut AnyConnection, rows: &[RecallSeedRow]) -> Result<Vec<SeedShown>> {
    let mut names = Names::default();
    rows.iter().map(|row| show_row(conn, &mut names, row)).collect()
}

fn show_row(conn: &mut AnyConnection, names: &mut Names, row: &RecallSeedRow) -> Result<SeedShown> {
    let corrupt = || StorageError::Corrupt(format!("recall seed {}: {} without what belongs to it", row.id, row.kind));
    let text = |text: &Option<String>| text.clone().ok_or_else(corrupt);
    let supplier = row.supplier_id.map(|id| partner_code(conn, id)).transpose()?;
    let supplier = || supplier.clone().ok_or_else(corrupt);
    let item = row.item_id.map(|id| Ok::<_, OperationError>(names.item(conn, id)?.row.code.clone())).transpose()?;
    let from = row.time_from.map(fields::utc).ok_or_else(corrupt);
    let until = row.time_until.map(fields::utc);
    Ok(match row.kind.as_str() {
        "lot" => {
            let lot = tubtrail_storage::lots::lot(conn, row.lot_id.ok_or_else(corrupt)?)?;
            SeedShown::Lots { lots: vec![lots::number(&lot)?.to_string()] }
        }
        "supplier_lot" => SeedShown::SupplierLots { supplier: supplier()?, item, codes: vec![text(&row.code_from)?] },
        "supplier_lot_prefix" => {
            SeedShown::SupplierLotPrefix { supplier: supplier()?, item, prefix: text(&row.code_from)? }
        }
        "supplier_lot_range" => {
            let (from, until) = (text(&row.code_from)?, text(&row.code_until)?);
            SeedShown::SupplierLotRange { supplier: supplier()?, item, from, until }
        }
        "supplier_days" => {
            let (from, until) = (row.day_from.ok_or_else(corrupt)?, row.day_until.ok_or_else(corrupt)?);
            SeedShown::SupplierDays { supplier: supplier()?, item, from, until }
        }
        "equipment" => {
            let found = Equipment::by_id(conn, row.equipment_id.ok_or_else(corrupt)?)?.ok_or_else(corrupt)?;
            SeedShown::Equipment { equipment: found.row.code, from: from?, until }
        }
        "place" => {
            let site = names.site_code(conn, row.site_id.ok_or_else(corrupt)?)?;
            let state = row.state.as_deref().and_then(Standpoint::from_word);
            SeedShown::Place { site, state, from: from?, until }
        }
        _ => return Err(corrupt().into()),
    })
}
