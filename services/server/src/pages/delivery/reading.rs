//! What a code that was scanned at the door does to the delivery.

use tubtrail_domain::saying::Saying;
use tubtrail_operations::scans::{AlsoScanned, NewScan, Scan};
use tubtrail_operations::{OperationError, Request, Tubtrail};

use super::Read;
use super::draft::Draft;

/// Most further codes of one label, as the operation has it.
const MOST_ALSO: usize = 4;

/// What is said after a scan.
pub enum Notice {
    /// The name of a text.
    Text(&'static str),
    /// The name of a text, and what goes into it.
    TextOf(&'static str, String),
    /// As the operation says it.
    Said(Vec<Saying>),
}

/// What came of a scan: the line that was touched, and what is to be said.
pub type Came = (Option<usize>, Option<Notice>);

/// Takes in a code. One that fits to the half of a label that waits, is read together with it; any other by itself.
pub fn scan(
    tubtrail: &Tubtrail,
    asks: &Request,
    read: &Read,
    draft: &mut Draft,
    text: Option<&str>,
) -> Result<Came, OperationError> {
    let Some(text) = text.map(str::trim).filter(|text| !text.is_empty()) else { return Ok((None, None)) };
    let mut waiting = draft.half.clone();
    waiting.truncate(MOST_ALSO);
    if let Some((first, rest)) = waiting.split_first() {
        let also = rest.iter().map(String::as_str).chain([text]);
        let together = ask(tubtrail, asks, &read.site.code, first, also)?;
        if matches!(together, Scan::DeliveryLine { .. } | Scan::Half { .. }) {
            return Ok(take(read, draft, together, [waiting, vec![text.to_owned()]].concat()));
        }
    }
    let alone = ask(tubtrail, asks, &read.site.code, text, std::iter::empty())?;
    draft.wait_for_nothing();
    Ok(take(read, draft, alone, vec![text.to_owned()]))
}

fn ask<'a>(
    tubtrail: &Tubtrail,
    asks: &Request,
    site: &str,
    text: &str,
    also: impl Iterator<Item = &'a str>,
) -> Result<Scan, OperationError> {
    let also = also.map(|text| AlsoScanned { text: text.to_owned(), symbology: None }).collect();
    tubtrail.scan(asks, &NewScan { site: site.to_owned(), text: text.to_owned(), symbology: None, also })
}

fn take(read: &Read, draft: &mut Draft, scan: Scan, codes: Vec<String>) -> Came {
    match scan {
        Scan::DeliveryLine { supplier, line, mut cautions, hint, .. } => {
            let at = draft.take(&line, &read.known);
            draft.wait_for_nothing();
            if hint.is_some() {
                (draft.half, draft.half_line) = (codes, Some(at));
            }
            if let Some(supplier) = supplier {
                if draft.supplier.is_empty() {
                    draft.supplier = supplier;
                } else if draft.supplier != supplier {
                    let name = read.known.supplier(&supplier);
                    return (Some(at), Some(Notice::TextOf("delivery-other-supplier", name)));
                }
            }
            cautions.extend(hint);
            (Some(at), Some(cautions).filter(|said| !said.is_empty()).map(Notice::Said))
        }
        Scan::Half { hint, .. } => {
            draft.half = codes;
            (None, Some(Notice::Said(vec![hint])))
        }
        Scan::Lot { lot } => (None, Some(Notice::TextOf("delivery-own-lot", lot.lot))),
        Scan::UnknownItem { printed, .. } => (None, Some(Notice::TextOf("delivery-unknown-article", printed))),
        Scan::LogisticUnit { .. } => (None, Some(Notice::Text("delivery-pallet"))),
        Scan::Place { .. } => (None, Some(Notice::Text("delivery-place"))),
        Scan::Wrong { reason, .. } => (None, Some(Notice::Said(vec![reason]))),
    }
}
