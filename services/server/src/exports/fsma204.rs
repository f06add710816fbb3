//! The electronic sortable spreadsheet of 21 CFR 1.1455(c)(3)(ii): a row a lot and critical tracking event.

use tubtrail_documents::report::{Cell, Column, ColumnKind, Row};
use tubtrail_operations::Tubtrail;
use tubtrail_operations::exports::{EventKind, Goods, PaperKind, Party, TrackingEvent, TrackingEvents};

use super::{Gaps, head, lot_code, party, summary};
use crate::reports::{Source, column, text};

const NOTICES: [&str; 2] = [
    "All items are in it unless some were asked for: which foods are on the Food Traceability List, and whether an exemption \
     holds, the responsible person decides.",
    "Where a key data element is not recorded its cell is empty, and the last column names it. What was served to consumers is \
     no critical tracking event.",
];

/// The elements, after 21 CFR 1.1340 (shipping), 1.1345 (receiving) and 1.1350 (transformation; from memory).
const ELEMENTS: [(&str, &str); 8] = [
    (
        "Traceability lot code",
        "1.1340(a)(1), 1.1345(a)(1), 1.1350(a): of what is received as its supplier gave it, of what is \
      made here our own number",
    ),
    ("Quantity (kg)", "1.1340(a)(2), 1.1345(a)(2), 1.1350(a): quantity and unit of measure"),
    ("Product description", "1.1340(a)(3), 1.1345(a)(3), 1.1350(a)"),
    ("Location", "Where it was received, shipped from or transformed; of a transformation the source of the new code"),
    ("Immediate previous source", "1.1345(a)(4), receiving"),
    ("Immediate subsequent recipient", "1.1340(a)(4), shipping"),
    ("Traceability lot code source", "1.1340(a)(7), 1.1345(a)(7)"),
    (
        "Reference document",
        "1.1340(a)(8), 1.1345(a)(8), 1.1350(a): its type and number; a batch ties what went in to what came out",
    ),
];

/// The spreadsheet of some events.
pub fn source(events: TrackingEvents) -> Source<TrackingEvents, TrackingEvent> {
    Source {
        name: "fsma204".into(),
        whole: serde_json::json!({}),
        head: head("Traceability records, 21 CFR part 1 subpart S", &NOTICES, &events),
        summary: summary("Key data elements", &ELEMENTS),
        title: "Critical tracking events",
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
        column("Critical tracking event", Text, true),
        column("Date", Date, true),
        column("Traceability lot code", Text, true),
        column("Quantity (kg)", Kilograms, true),
        column("Unit of measure", Text, false),
        column("Product description", Text, true),
        column("Item", Text, false),
        column("Location", Text, true),
        column("Location address", Text, false),
        column("Location GLN", Text, false),
        column("Immediate previous source", Text, true),
        column("Immediate previous source address", Text, false),
        column("Immediate previous source GLN", Text, false),
        column("Immediate subsequent recipient", Text, true),
        column("Immediate subsequent recipient address", Text, false),
        column("Immediate subsequent recipient GLN", Text, false),
        column("Traceability lot code source", Text, true),
        column("Traceability lot code source address", Text, false),
        column("Traceability lot code source GLN", Text, false),
        column("Reference document type", Text, true),
        column("Reference document number", Text, true),
        column("Our lot number", Text, false),
        column("Journal entry", ColumnKind::Number, false),
        column("Not recorded", Text, false),
    ]
}

/// The rows of an event. One that was put right since is told as it was; what was thrown away, counted, missed, put into
/// a transfer or taken out of it is no critical tracking event.
fn rows(event: &TrackingEvent) -> Vec<Row> {
    if event.withdrawn.is_some() {
        return Vec::new();
    }
    let each = |name: &'static str, goods: &[Goods]| goods.iter().map(|one| row(event, name, one)).collect::<Vec<_>>();
    match event.kind {
        EventKind::Received | EventKind::Arrived => each("receiving", &event.goods),
        EventKind::Dispatched | EventKind::Consigned | EventKind::Returned => each("shipping", &event.goods),
        EventKind::Transformed => {
            let mut rows = each("transformation, food used", &event.goods);
            rows.extend(each("transformation, food produced", &event.made));
            rows
        }
        EventKind::Packed | EventKind::Unpacked | EventKind::Missed | EventKind::Destroyed | EventKind::Counted => {
            Vec::new()
        }
    }
}

fn row(event: &TrackingEvent, name: &'static str, goods: &Goods) -> Row {
    let (is_receiving, is_shipping) = (name == "receiving", name == "shipping");
    let other = event.other.as_deref();
    let code = lot_code(goods);
    let (kind, number) = event.paper.as_ref().map(|paper| (paper_kind(paper.kind), paper.number.clone())).unzip();
    let mut gaps = Gaps::default();
    gaps.note(code.is_none(), "traceability lot code");
    gaps.place(Some(&event.site), "location");
    if is_receiving {
        gaps.place(other, "immediate previous source");
    }
    if is_shipping {
        gaps.place(other, "immediate subsequent recipient");
    }
    gaps.place(goods.source.as_deref(), "traceability lot code source");
    gaps.note(number.is_none(), "reference document");
    let mut row = vec![
        Cell::text(name),
        Cell::Date(event.day()),
        text(code),
        Cell::Mass(goods.grams.mg()),
        Cell::text("kg"),
        Cell::text(&*goods.name),
        Cell::text(&*goods.item),
    ];
    row.extend(place(Some(&event.site)));
    row.extend(place(other.filter(|_| is_receiving)));
    row.extend(place(other.filter(|_| is_shipping)));
    row.extend(place(goods.source.as_deref()));
    row.extend([text(kind), text(number), text(goods.lot.clone()), Cell::Whole(event.entry), gaps.cell()]);
    row
}

/// Name, address and location number.
fn place(place: Option<&Party>) -> [Cell; 3] {
    let [name, address] = party(place);
    [name, address, text(place.and_then(|place| place.gln.clone()))]
}

const fn paper_kind(kind: PaperKind) -> &'static str {
    match kind {
        PaperKind::Delivery => "delivery note of the supplier",
        PaperKind::Batch => "batch",
        PaperKind::Transfer => "transfer",
        PaperKind::Consignment => "delivery note",
    }
}
