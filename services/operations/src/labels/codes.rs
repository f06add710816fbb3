//! What the codes on a label hold.

use chrono::{Datelike, NaiveDate};
use tubtrail_domain::gs1::digital_link;
use tubtrail_domain::gs1::element_string::ElementString;
use tubtrail_storage::StorageError;

use super::{LabelCode, Symbology};
use crate::deliveries::{Expiry, ExpiryKind};
use crate::error::Result;

/// Of something with a number under its bars: article, last day and lot as an element string, the lot last so that nothing
/// needs a separator; and the same as a link.
pub(super) fn of_article(gtin: &str, lot: &str, expiry: Option<Expiry>, stem: &str) -> Result<Vec<LabelCode>> {
    let day = expiry.map_or_else(String::new, last_day);
    let text = format!("01{gtin}{day}10{lot}");
    let year = expiry.map_or(0, |expiry| expiry.on.year());
    let corrupt = |error| StorageError::Corrupt(format!("the code of lot {lot}: {error}"));
    let says = ElementString::parse(&text, 1, year).map_err(corrupt)?;
    let link = digital_link::build(stem, &says).map_err(corrupt)?;
    Ok(vec![
        LabelCode { symbology: Symbology::Gs1DataMatrix, text },
        LabelCode { symbology: Symbology::Qr, text: link },
    ])
}

/// Of anything else our own number.
pub(super) fn of_number(lot: &str) -> Vec<LabelCode> {
    vec![LabelCode { symbology: Symbology::Qr, text: lot.to_owned() }]
}

/// Best before is element 15, use by is 17; the year in two digits.
fn last_day(expiry: Expiry) -> String {
    let identifier = match expiry.kind {
        ExpiryKind::BestBefore => "15",
        ExpiryKind::UseBy => "17",
    };
    format!("{identifier}{}", yymmdd(expiry.on))
}

fn yymmdd(day: NaiveDate) -> String {
    format!("{:02}{:02}{:02}", day.year().rem_euclid(100), day.month(), day.day())
}
