//! The report of a recall: a row a lot and place.

use tubtrail_documents::report::{Cell, Column, ColumnKind, Head, Row, Table, TableFoot, TableHead};
use tubtrail_domain::say;
use tubtrail_operations::known::Origin;
use tubtrail_operations::recalls::{
    CAUTION, ConsignedTo, RecallCase, RecallKind, RecallLine, RecallMass, RecallPlace, RecallStream,
};
use tubtrail_operations::{Grams, OperationError, Request, Tubtrail};

use super::{Source, column, grams, text, time, wall};

/// Reads a recall for a report.
pub fn recall(
    tubtrail: &Tubtrail,
    request: &Request,
    id: i64,
) -> Result<Source<RecallStream, RecallLine>, OperationError> {
    let case = tubtrail.get_recall(request, id)?;
    let state = tubtrail.stream_recall_lines(request, id)?;
    let whole = serde_json::to_value(&case).map_err(|error| {
        let problem = &tubtrail_operations::problems::INTERNAL;
        OperationError::new(problem, say!("the case cannot be written: {error}", error = error.to_string()))
    })?;
    Ok(Source {
        name: format!("recall-{id}"),
        whole,
        head: head(&case),
        summary: summary(&case.sums.mass),
        title: "Lots and places",
        columns: columns(),
        more: Tubtrail::more_recall_lines,
        rows,
        total: state.head.total_lots,
        read: RecallStream::read,
        state,
    })
}

fn head(case: &RecallCase) -> Head {
    let recall = &case.recall;
    let kind = if recall.kind == RecallKind::Drill { "Recall drill" } else { "Recall" };
    let fact = |label: &str, value: String| (label.to_owned(), value);
    let mut facts = vec![
        fact("Class", recall.class.to_string()),
        fact("Hazard", recall.hazard.clone()),
        fact("Heard of", wall(recall.noticed_at)),
        fact("Begun", format!("{} by {}", wall(recall.begun_at), recall.begun_by)),
        fact("To be confirmed by", wall(recall.due_at)),
        fact("Contacts followed", yes(recall.with_contact).to_owned()),
        fact("Lots it begins with", case.sums.seed_lots.to_string()),
        fact("Lots reached", case.sums.reached_lots.to_string()),
        fact("Of them by contact alone", case.sums.by_contact_lots.to_string()),
        fact("Lines to be confirmed", case.open_lines.to_string()),
        fact("Of them overdue", case.overdue_lines.to_string()),
        fact("Lots to be answered for by customers", case.open_replies.to_string()),
        fact("Notice to trace, seconds", case.times.notice_to_trace_seconds.to_string()),
    ];
    let last = case.times.trace_to_last_confirmation_seconds;
    facts.extend(last.map(|seconds| fact("Trace to last confirmation, seconds", seconds.to_string())));
    let ended = recall.ending.as_ref();
    facts.extend(ended.map(|ending| fact("Ended", format!("{}, {}: {}", wall(ending.at), ending.name, ending.reason))));
    facts.extend(recall.instructions.clone().map(|instructions| fact("Instructions", instructions)));
    facts.push(fact("Journal position", case.sums.journal_position.to_string()));
    Head {
        title: format!("{kind} {}", recall.recall),
        subtitle: (recall.kind == RecallKind::Drill).then(|| "This is a drill.".to_owned()),
        facts,
        notices: vec![CAUTION.to_string()],
        footer: format!("{kind} {}, journal position {}", recall.recall, case.sums.journal_position),
        language: "en".into(),
    }
}

fn yes(yes: bool) -> &'static str {
    if yes { "yes" } else { "no" }
}

/// Where what the recall begins with is: the rows after the first two come to the first two.
fn summary(mass: &RecallMass) -> Table {
    let columns = vec![Column::new("What it begins with", ColumnKind::Text), Column::new("Grams", ColumnKind::Grams)];
    let rows = [
        ("Received or made", mass.received_grams),
        ("Found by counts beyond that", mass.found_grams),
        ("On the shelf", mass.available_grams),
        ("Open in a case", mass.open_grams),
        ("On the way between sites", mass.in_transit_grams),
        ("Served", mass.served_grams),
        ("Handed to customers", mass.consigned_grams),
        ("Discarded", mass.discarded_grams),
        ("Returned to the supplier", mass.returned_grams),
        ("Missing at counts", mass.count_difference_grams),
        ("In open batches", mass.in_open_batches_grams),
        ("Lost in the making", mass.lost_grams),
        ("In others it begins with", mass.in_seeds_grams),
        ("Not accounted for", mass.unaccounted_grams),
    ];
    let row = |(what, grams): (&str, Grams)| vec![Cell::text(what), Cell::Mass(grams.mg())];
    let note = Some("The first two lines together are the sum of all the others.".to_owned());
    Table {
        head: TableHead { title: "Where it is".into(), columns },
        rows: rows.into_iter().map(row).collect(),
        foot: TableFoot { total: None, note },
    }
}

/// The columns, with the data element each carries: 21 CFR 1.1340 (shipping), 1.1345 (receiving), 1.1350 (transformation),
/// all from memory, and SFCR (SOR/2018-108) s. 90(1), from memory.
fn columns() -> Vec<(Column, bool)> {
    use ColumnKind::{DateTime, Grams, Text};
    vec![
        // 1.1340(a)(1), 1.1345(a)(1), 1.1350(a)(2)(i): traceability lot code. SFCR 90(1)(a)(iii): lot code.
        column("Traceability lot code", Text, true),
        // SFCR 90(1)(a)(iii): a lot code or other unique identifier, as the supplier gave it.
        column("Supplier's lot code", Text, true),
        // 1.1340(a)(3), 1.1345(a)(3), 1.1350(a)(2)(iii): product description. SFCR 90(1)(a)(i): common name.
        column("Item", Text, false),
        column("Product description", Text, true),
        column("Kind", Text, false),
        column("Reached", Text, true),
        // 1.1340(a)(5)-(6), 1.1345(a)(5)-(6), 1.1350: location description.
        column("Site", Text, true),
        column("Location description", Text, false),
        column("Global Location Number", Text, false),
        column("Place", Text, true),
        // 1.1340(a)(2), 1.1345(a)(2), 1.1350(a)(2)(iv): quantity and unit of measure. The unit is the gram.
        column("Quantity (g)", Grams, true),
        column("Recalled in it (g)", Grams, true),
        // 1.1340(a)(7), 1.1345(a)(7): traceability lot code source.
        column("Traceability lot code source", Text, false),
        // 1.1345(a)(5): immediate previous source. SFCR 90(1)(c): who provided it, with their address.
        column("Previous source", Text, false),
        column("Previous source contact", Text, false),
        // 1.1345(a)(4), 1.1350(a)(2)(ii): date received; date transformation was completed. SFCR 90(1)(c): when it was provided.
        column("Received or made", DateTime, false),
        column("Served from", DateTime, true),
        column("Served until", DateTime, true),
        // 1.1340(a)(5): immediate subsequent recipient. SFCR 90(1)(b): to whom it was provided, with their address.
        column("Subsequent recipient", Text, true),
        column("Subsequent recipient contact", Text, false),
        // 1.1340(a)(4): date shipped. SFCR 90(1)(b): when it was provided.
        column("Shipped", DateTime, false),
        // 1.1340(a)(8), 1.1345(a)(8), 1.1350(a)(2)(v): reference document type and number.
        column("Reference document type", Text, false),
        column("Reference document number", Text, false),
        column("Confirmation", Text, true),
        column("Confirmed (g)", Grams, false),
        column("Confirmed by", Text, true),
        column("Confirmed at", DateTime, false),
        column("Note", Text, false),
        column("Still open", Text, true),
    ]
}

/// The rows of a line: one a place, and one for each time some of it was handed over.
fn rows(line: &RecallLine) -> Vec<Row> {
    let mut rows = Vec::new();
    for place in &line.places {
        if place.state != "consigned" || line.consigned_to.is_empty() {
            rows.push(row(line, place, None));
            continue;
        }
        let mut left_mg = place.seed_grams.map(Grams::mg);
        let last = line.consigned_to.len() - 1;
        for (at, to) in line.consigned_to.iter().enumerate() {
            let seed_mg = left_mg.map(|left| if at == last { left } else { part(place, to, left) });
            left_mg = left_mg.zip(seed_mg).map(|(left, seed)| left - seed);
            let handed =
                RecallPlace { state: place.state.clone(), grams: to.grams, seed_grams: seed_mg.map(Grams::from_mg) };
            rows.push(row(line, &handed, Some(to)));
        }
    }
    rows
}

/// What of the seed in a place went with a part of it, rounded down; no more than is left.
fn part(place: &RecallPlace, to: &ConsignedTo, left_mg: i64) -> i64 {
    let (seed_mg, all_mg) = (place.seed_grams.map_or(0, Grams::mg), place.grams.mg().max(1));
    let share = i128::from(seed_mg) * i128::from(to.grams.mg()) / i128::from(all_mg);
    i64::try_from(share).unwrap_or(left_mg).min(left_mg)
}

fn row(line: &RecallLine, place: &RecallPlace, to: Option<&ConsignedTo>) -> Row {
    let (supplier_lot_code, made_in) = match &line.came_from {
        Origin::Delivery { supplier_lot_code, .. } => (Some(supplier_lot_code.clone()), None),
        Origin::Batch { batch, .. } => (None, Some(*batch)),
    };
    let reached = match (line.is_seed, line.by_contact) {
        (true, _) => "begins with it",
        (false, true) => "by contact, amount not known",
        (false, false) => "by use",
    };
    let is_served = place.state == "served";
    let from = line.received_from.as_ref();
    let document = match (to, from, made_in) {
        (Some(to), ..) => to.document.clone().map(|number| ("consignment", number)),
        (None, Some(from), _) => Some(("delivery", from.document.clone())),
        (None, None, Some(batch)) => Some(("batch", batch.to_string())),
        (None, None, None) => None,
    };
    let (document_type, document) = document.unzip();
    let confirmation = line.confirmation.as_ref();
    let open = match (line.open, line.overdue) {
        (_, true) => "overdue",
        (true, false) => "yes",
        (false, false) => "no",
    };
    vec![
        Cell::text(&line.lot),
        text(supplier_lot_code),
        Cell::text(&line.item),
        Cell::text(&line.name),
        Cell::text(line.kind.word()),
        Cell::text(reached),
        Cell::text(&line.site),
        Cell::text(&line.site_name),
        text(line.site_gln.clone()),
        Cell::text(place.state.replace('_', " ")),
        Cell::Mass(place.grams.mg()),
        grams(place.seed_grams),
        Cell::text(from.map_or(&line.came_to_be_at_site, |from| &from.name)),
        Cell::text(from.map_or(&line.came_to_be_at_site, |from| &from.name)),
        text(from.and_then(|from| from.contact.clone())),
        time(Some(line.came_to_be_at)),
        time(line.served_from.filter(|_| is_served)),
        time(line.served_until.filter(|_| is_served)),
        text(to.map(|to| to.name.clone())),
        text(to.and_then(|to| to.contact.clone())),
        time(to.map(|to| to.at)),
        text(document_type),
        text(document),
        text(confirmation.map(|confirmation| confirmation.outcome.word().replace('_', " "))),
        grams(confirmation.map(|confirmation| confirmation.grams)),
        text(confirmation.map(|confirmation| confirmation.name.clone())),
        time(confirmation.map(|confirmation| confirmation.at)),
        text(confirmation.and_then(|confirmation| confirmation.note.clone())),
        Cell::text(open),
    ]
}
