//! What was scanned, where a lot of ours is meant.

use chrono::{Datelike as _, Utc};
use tubtrail_domain::gs1::goods::Goods;
use tubtrail_domain::gs1::scanned::{self, Code, Label, Scanned};
use tubtrail_domain::lot_number::LotNumber;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_operations::lots::LotSearch;
use tubtrail_operations::scans::{NewScan, Scan, ScannedLine};
use tubtrail_operations::{OperationError, Request, Tubtrail, problems};

/// The field in which pages take what was scanned.
const FIELD: &str = "scan";

/// The number on what somebody has in hand, who need not have had it before: what comes with a transfer, what is found on the
/// shelf. Ours is read off the code alone; a supplier's is looked up.
pub fn lot_in_hand(tubtrail: &Tubtrail, asks: &Request, site: &str, text: &str) -> Result<String, OperationError> {
    own_number(text).map_or_else(|| lot_scanned(tubtrail, asks, site, text), Ok)
}

/// Our own number for a lot, where the code says one.
fn own_number(text: &str) -> Option<String> {
    let year = Utc::now().year();
    let label = scanned::read_label(&[Code { text: text.trim(), symbology: None }], year).ok()?;
    let lot = |says| Goods::of(says, year).lot?.parse().ok();
    let number: LotNumber = match &label {
        Label::Whole(Scanned::LotNumber(number) | Scanned::LotNumberOrArticle(number, _)) => *number,
        Label::Whole(Scanned::Elements(says)) | Label::Together(says, _) => lot(says)?,
        Label::Whole(Scanned::Link(link)) => lot(&link.says)?,
        Label::Whole(Scanned::Article(_)) | Label::Half(..) => return None,
    };
    Some(number.to_string())
}

/// The number of the lot that was scanned at a site: by our own label, or by the supplier's where that tells of one lot alone.
pub fn lot_scanned(tubtrail: &Tubtrail, asks: &Request, site: &str, text: &str) -> Result<String, OperationError> {
    let new = NewScan { site: site.to_owned(), text: text.trim().to_owned(), symbology: None, also: Vec::new() };
    match tubtrail.scan(asks, &new)? {
        Scan::Lot { lot } => Ok(lot.lot),
        Scan::DeliveryLine { line, name, .. } => lot_of_supplier(tubtrail, asks, site, &line, &name),
        Scan::Wrong { reason, .. } => Err(OperationError::invalid(FIELD, reason)),
        Scan::Half { hint, .. } => Err(OperationError::invalid(FIELD, hint)),
        Scan::Place { .. } | Scan::LogisticUnit { .. } | Scan::UnknownItem { .. } => {
            let detail = say!("this is the code of something else, and of no lot of ours");
            Err(OperationError::new(&problems::NOT_FOUND, detail).at(FIELD))
        }
    }
}

fn lot_of_supplier(
    tubtrail: &Tubtrail,
    asks: &Request,
    site: &str,
    line: &ScannedLine,
    name: &str,
) -> Result<String, OperationError> {
    let Some(code) = &line.supplier_lot_code else {
        let detail = say!("this says {name}, but not of which lot: type the number that we gave it", name);
        return Err(OperationError::invalid(FIELD, detail));
    };
    let search = LotSearch {
        item: Some(line.item.clone()),
        supplier_lot_code: Some(code.clone()),
        site: Some(site.to_owned()),
        ..LotSearch::default()
    };
    let found = tubtrail.list_lots(asks, &search, "", 2)?.items;
    match found.as_slice() {
        [lot] => Ok(lot.lot.clone()),
        [] => {
            let detail = say!("{name}, lot {code}: it was never received here", name, code);
            Err(OperationError::new(&problems::NOT_FOUND, detail).at(FIELD))
        }
        several => {
            let numbers = several.iter().map(|lot| Saying::as_it_is(&lot.lot));
            let numbers = Saying::joined(numbers, |one, other| say!("{one} or {other}", one, other));
            let numbers = numbers.unwrap_or(Saying::plain(""));
            let detail =
                say!("{name}, lot {code}, came more than once: type one number, as {numbers}", name, code, numbers);
            Err(OperationError::invalid(FIELD, detail))
        }
    }
}
