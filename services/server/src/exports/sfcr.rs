//! The single plain file of the Safe Food for Canadians Regulations (SOR/2018-108), sections 90 and 91: what was supplied to us, by
//! whom, what went into what, and what was provided to whom.

use tubtrail_documents::report::{Cell, Column, ColumnKind, Row};
use tubtrail_operations::Tubtrail;
use tubtrail_operations::exports::{EventKind, Goods, PaperKind, TrackingEvent, TrackingEvents};

use super::{Gaps, head, lot_code, party, summary};
use crate::reports::{Source, column, text};

/// The file of some events.
pub fn source(events: TrackingEvents) -> Source<TrackingEvents, TrackingEvent> {
    Source {
        name: "sfcr".into(),
        whole: serde_json::json!({}),
        head: head("Traceability documents, SFCR sections 90 and 91", &[], &events),
        summary: summary("Records", &[]),
        title: "Records",
        columns: columns(),
        more: Tubtrail::more_tracking_events,
        rows,
        // Sent as they are made: nobody waits for the whole.
        total: 0,
        read: |_| 0,
        state: events,
    }
}

fn columns() -> Vec<(Column, bool)> {
    use ColumnKind::{Date, Kilograms, Text};
    vec![
        column("Record", Text, true),
        column("Date", Date, true),
        // 90(1)(a)(i) and (iii).
        column("Common name", Text, true),
        column("Lot code", Text, true),
        column("Our lot number", Text, true),
        column("Quantity (kg)", Kilograms, true),
        // 90(1)(c), and of what was incorporated 90(1)(d).
        column("Supplied by", Text, true),
        column("Supplied by, address", Text, true),
        column("Date supplied", Date, true),
        // 90(1)(a)(ii).
        column("Made by", Text, true),
        column("Made by, address", Text, true),
        // 90(1)(b).
        column("Provided to", Text, true),
        column("Provided to, address", Text, true),
        // What went into a batch, and what it made.
        column("Batch", Text, true),
        column("Document", Text, true),
        column("Not recorded", Text, true),
    ]
}

/// The rows of an event. What stays within the house is provided to nobody.
fn rows(event: &TrackingEvent) -> Vec<Row> {
    if event.withdrawn.is_some() {
        return Vec::new();
    }
    let each =
        |record: &'static str, goods: &[Goods]| goods.iter().map(|one| row(event, record, one)).collect::<Vec<_>>();
    match event.kind {
        EventKind::Received => each("supplied", &event.goods),
        EventKind::Consigned => each("provided", &event.goods),
        EventKind::Returned => each("returned", &event.goods),
        EventKind::Transformed => {
            let mut rows = each("incorporated", &event.goods);
            rows.extend(each("made", &event.made));
            rows
        }
        EventKind::Packed
        | EventKind::Dispatched
        | EventKind::Arrived
        | EventKind::Unpacked
        | EventKind::Missed
        | EventKind::Destroyed
        | EventKind::Counted => Vec::new(),
    }
}

fn row(event: &TrackingEvent, record: &'static str, goods: &Goods) -> Row {
    let is_received = goods.supplier_lot_code.is_some();
    let (supplier, maker) = if is_received { (goods.source.as_deref(), None) } else { (None, goods.source.as_deref()) };
    let recipient = event.other.as_deref().filter(|_| matches!(event.kind, EventKind::Consigned | EventKind::Returned));
    let is_provided = matches!(event.kind, EventKind::Consigned | EventKind::Returned);
    let code = lot_code(goods);
    let batch = event.paper.as_ref().filter(|paper| paper.kind == PaperKind::Batch);
    let document = event.paper.as_ref().filter(|paper| paper.kind != PaperKind::Batch);
    let mut gaps = Gaps::default();
    gaps.note(code.is_none(), "lot code");
    gaps.place(goods.source.as_deref(), if is_received { "supplier" } else { "maker" });
    if is_provided {
        gaps.place(recipient, "recipient");
    }
    let mut row = vec![
        Cell::text(record),
        Cell::Date(event.day()),
        Cell::text(&*goods.name),
        text(code),
        text(goods.lot.clone()),
        Cell::Mass(goods.grams.mg()),
    ];
    row.extend(party(supplier));
    row.push(goods.since.filter(|_| is_received).map_or(Cell::Empty, Cell::Date));
    row.extend(party(maker));
    row.extend(party(recipient));
    row.extend([batch, document].map(|paper| text(paper.map(|paper| paper.number.clone()))));
    row.push(gaps.cell());
    row
}
