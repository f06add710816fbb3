//! The report of a trace: a row a lot and place.

use tubtrail_documents::report::{Cell, Column, ColumnKind, Head, Row, Table, TableFoot, TableHead};
use tubtrail_domain::say;
use tubtrail_operations::known::{Holding, Origin};
use tubtrail_operations::trace::{CAUTION, Direction, TraceHead, TraceStream, TracedLot};
use tubtrail_operations::{OperationError, Tubtrail};

use super::{Source, column, text, time};

/// A trace for a report, called after what it is of.
pub fn trace(state: TraceStream, of: &str) -> Result<Source<TraceStream, TracedLot>, OperationError> {
    let whole = serde_json::to_value(&state.head).map_err(|error| {
        let problem = &tubtrail_operations::problems::INTERNAL;
        OperationError::new(problem, say!("the trace cannot be written: {error}", error = error.to_string()))
    })?;
    Ok(Source {
        name: format!("trace-{of}"),
        whole,
        head: head(&state.head, of),
        summary: summary(&state.head),
        title: "Lots and places",
        columns: columns(),
        more: Tubtrail::more_of_trace,
        rows,
        total: state.head.total,
        read: TraceStream::read,
        state,
    })
}

fn head(trace: &TraceHead, of: &str) -> Head {
    let direction = match trace.direction {
        Direction::Forward => "forward: every lot that holds any of it",
        Direction::Backward => "backward: every lot that is in it",
    };
    let fact = |label: &str, value: String| (label.to_owned(), value);
    Head {
        title: format!("Trace of {of}"),
        subtitle: None,
        facts: vec![
            fact("Direction", direction.to_owned()),
            fact("Lots", trace.total.to_string()),
            fact("Journal position", trace.journal_position.to_string()),
        ],
        notices: vec![CAUTION.to_string()],
        footer: format!("Trace of {of}, journal position {}", trace.journal_position),
        language: "en".into(),
    }
}

/// Where what a forward trace begins with is.
fn summary(trace: &TraceHead) -> Table {
    let columns = vec![Column::new("What it begins with", ColumnKind::Text), Column::new("Grams", ColumnKind::Grams)];
    let balance = trace.balance.as_ref().map(|balance| {
        [
            ("Received or made", balance.seed_grams),
            ("In lots, wherever they are or went", balance.held_grams),
            ("In open batches", balance.in_open_batches_grams),
            ("Lost in the making", balance.lost_grams),
            ("In others it begins with", balance.in_seeds_grams),
        ]
    });
    let row = |(what, grams): (&str, f64)| vec![Cell::text(what), mass(grams)];
    Table {
        head: TableHead { title: "Where it is".into(), columns },
        rows: balance.into_iter().flatten().map(row).collect(),
        foot: TableFoot::default(),
    }
}

#[expect(clippy::cast_possible_truncation, reason = "milligrams are far below 2^53")]
fn mass(grams: f64) -> Cell {
    Cell::Mass((grams * 1000.0).round() as i64)
}

/// The columns; the rule each is of stands beside those of a recall.
fn columns() -> Vec<(Column, bool)> {
    use ColumnKind::{Date, DateTime, Grams, Number, Text};
    vec![
        column("Traceability lot code", Text, true),
        column("Supplier's lot code", Text, true),
        column("Item", Text, false),
        column("Product description", Text, true),
        column("Kind", Text, true),
        column("Batches away", Number, true),
        column("Lot (g)", Grams, false),
        column("Of what is traced (g)", Grams, true),
        column("Site", Text, true),
        column("Place", Text, true),
        column("Quantity (g)", Grams, true),
        column("Previous source", Text, true),
        column("Made from", DateTime, false),
        column("Reference document type", Text, false),
        column("Reference document number", Text, false),
        column("Last day", Date, false),
        column("On hold", Text, true),
        column("Recalls", Text, true),
        column("Rejected", Text, false),
    ]
}

/// The rows of a lot: one a place, or one without where it is nowhere any more.
fn rows(lot: &TracedLot) -> Vec<Row> {
    if lot.places.is_empty() {
        return vec![row(lot, None)];
    }
    lot.places.iter().map(|place| row(lot, Some(place))).collect()
}

fn row(lot: &TracedLot, place: Option<&Holding>) -> Row {
    let (code, source, begun, document_type, document) = match &lot.came_from {
        Origin::Delivery { delivery, supplier, supplier_lot_code } => {
            (Some(supplier_lot_code.clone()), supplier.clone(), None, "delivery", delivery)
        }
        Origin::Batch { batch, recipe, started_at, .. } => (None, recipe.clone(), Some(*started_at), "batch", batch),
    };
    let recalls: Vec<String> = lot.recalls.iter().map(ToString::to_string).collect();
    vec![
        Cell::text(&lot.lot),
        text(code),
        Cell::text(&lot.item),
        Cell::text(&lot.name),
        Cell::text(lot.kind.word()),
        Cell::Whole(i64::from(lot.generation)),
        Cell::Mass(lot.mass_grams.mg()),
        mass(lot.grams),
        text(place.map(|place| place.site.clone())),
        text(place.map(|place| place.state.replace('_', " "))),
        place.map_or(Cell::Empty, |place| Cell::Mass(place.grams.mg())),
        Cell::text(source),
        time(begun),
        Cell::text(document_type),
        Cell::text(document.to_string()),
        lot.expiry.as_ref().map_or(Cell::Empty, |expiry| Cell::Date(expiry.on)),
        text(lot.on_hold.as_ref().map(|hold| hold.reason.clone())),
        Cell::text(recalls.join(", ")),
        text(lot.rejected.clone()),
    ]
}
