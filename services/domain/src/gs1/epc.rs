//! The identifiers that stand in events of EPCIS: web addresses (Digital Link), and the URNs they are older than.
//!
//! A URN divides a number after its company prefix and leaves its check digit out (EPC Tag Data Standard, from memory; its own
//! examples `0614141.112345` and `0614141.12345` are in the tests).

use super::digital_link::DigitalLink;
use super::gtin::{Gln, Gtin, NumberError, check_digit};
use crate::say;
use crate::saying::Saying;

/// What an identifier of goods says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Named {
    /// Which article.
    pub gtin: Gtin,
    /// Its lot, as its maker writes it.
    pub lot: Option<String>,
    /// Which one of them, where it is a single one.
    pub serial: Option<String>,
}

/// The article that an identifier names, with its lot. None if it is somebody's own, which says nothing to others.
///
/// # Errors
/// What is wrong with it, where it is one of GS1's and ill-formed. Days in it are read in `year`.
pub fn goods(uri: &str, year: i32) -> Result<Option<Named>, Saying> {
    if let Some(parts) = urn(uri, &["urn:epc:class:lgtin:", "urn:epc:id:sgtin:", "urn:epc:idpat:sgtin:"]) {
        let [prefix, item, last] = three(parts)?;
        let gtin = article(prefix, item)?;
        let last = decoded(last).filter(|last| last != "*");
        return Ok(Some(if uri.starts_with("urn:epc:class:lgtin:") {
            Named { gtin, lot: last, serial: None }
        } else {
            Named { gtin, lot: None, serial: last }
        }));
    }
    let Some(link) = link(uri, year)? else { return Ok(None) };
    let Some(gtin) = link.says.value("01") else { return Ok(None) };
    let gtin = gtin.parse().map_err(|error: NumberError| error.saying())?;
    let value = |number| link.says.value(number).map(str::to_owned);
    Ok(Some(Named { gtin, lot: value("10"), serial: value("21") }))
}

/// The location number that an identifier of a place or a party holds. None if it is somebody's own.
///
/// # Errors
/// What is wrong with it, where it is one of GS1's and ill-formed.
pub fn place(uri: &str, year: i32) -> Result<Option<Gln>, Saying> {
    if let Some(parts) = urn(uri, &["urn:epc:id:sgln:", "urn:epc:id:pgln:"]) {
        let mut parts = parts.split('.');
        let (Some(prefix), Some(reference)) = (parts.next(), parts.next()) else {
            return Err(say!("a number of a place has a company prefix, a point and the rest"));
        };
        let body = format!("{prefix}{reference}");
        return whole(&body, 12)
            .and_then(|digits| digits.parse().map(Some).map_err(|error: NumberError| error.saying()));
    }
    let Some(link) = link(uri, year)? else { return Ok(None) };
    let number = ["414", "417"].iter().find_map(|number| link.says.value(number));
    number.map(|digits| digits.parse().map_err(|error: NumberError| error.saying())).transpose()
}

fn urn<'a>(uri: &'a str, begins: &[&str]) -> Option<&'a str> {
    begins.iter().find_map(|begin| uri.strip_prefix(begin))
}

/// Addresses that are no links of GS1's are somebody's own.
fn link(uri: &str, year: i32) -> Result<Option<DigitalLink>, Saying> {
    match DigitalLink::parse(uri, 1, year) {
        Ok(link) => Ok(Some(link)),
        Err(error) if uri.starts_with("https://id.gs1.org/") => Err(error.fault.saying()),
        Err(_) => Ok(None),
    }
}

fn three(parts: &str) -> Result<[&str; 3], Saying> {
    let split: Vec<&str> = parts.splitn(3, '.').collect();
    <[&str; 3]>::try_from(split).map_err(|_| say!("it has three parts with points between them"))
}

/// The number of an article: the first digit of its second part goes before the company prefix.
fn article(prefix: &str, item: &str) -> Result<Gtin, Saying> {
    let (Some(indicator), Some(rest)) = (item.get(..1), item.get(1..)) else {
        return Err(say!("the part behind the company prefix is missing"));
    };
    let digits = whole(&format!("{indicator}{prefix}{rest}"), 13)?;
    digits.parse().map_err(|error: NumberError| error.saying())
}

/// So many digits, with their check digit behind them.
fn whole(body: &str, due: usize) -> Result<String, Saying> {
    match check_digit(body).filter(|_| body.len() == due) {
        Some(check) => Ok(format!("{body}{check}")),
        None => Err(say!("company prefix and reference are {due} digits together", due)),
    }
}

/// A text with its percent codes read, as it stands where one is broken; none where nothing is left.
pub fn decoded(text: &str) -> Option<String> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let Some((first, behind)) = rest.split_first() {
        let code = behind.get(..2).filter(|code| *first == b'%' && code.iter().all(u8::is_ascii_hexdigit));
        let code = code.and_then(|code| std::str::from_utf8(code).ok());
        if let Some(byte) = code.and_then(|code| u8::from_str_radix(code, 16).ok()) {
            bytes.push(byte);
            rest = &behind[2..];
        } else {
            bytes.push(*first);
            rest = behind;
        }
    }
    let text = String::from_utf8(bytes).unwrap_or_else(|_| text.to_owned());
    (!text.is_empty()).then_some(text)
}
