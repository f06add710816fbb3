//! Identifiers of events. The numbers and their URNs stand beside one another in the EPC Tag Data Standard (from memory), and in
//! the example documents of EPCIS 2.0.

use tubtrail_domain::gs1::epc::{Named, goods, place};

fn named(gtin: &str, lot: Option<&str>, serial: Option<&str>) -> Named {
    let gtin = gtin.parse().expect("a GTIN");
    Named { gtin, lot: lot.map(str::to_owned), serial: serial.map(str::to_owned) }
}

#[test]
fn goods_are_named_by_urn_and_by_link() {
    let sgtin = goods("urn:epc:id:sgtin:0614141.112345.400", 2026);
    assert_eq!(sgtin, Ok(Some(named("10614141123459", None, Some("400")))), "Tag Data Standard");
    let lot = goods("urn:epc:class:lgtin:4012345.012345.998877", 2026);
    assert_eq!(lot, Ok(Some(named("04012345123456", Some("998877"), None))), "example 9.6.2");
    assert_eq!(goods("urn:epc:idpat:sgtin:4012345.012345.*", 2026), Ok(Some(named("04012345123456", None, None))));
    let link = goods("https://id.gs1.org/01/09520123456788/10/ABC123", 2026);
    assert_eq!(link, Ok(Some(named("09520123456788", Some("ABC123"), None))));
    let other_server = goods("https://farm.example/shop/01/09520123456788/21/7", 2026);
    assert_eq!(other_server, Ok(Some(named("09520123456788", None, Some("7")))));
    let slash = goods("urn:epc:class:lgtin:4012345.012345.24%2F118", 2026);
    assert_eq!(slash, Ok(Some(named("04012345123456", Some("24/118"), None))));
}

#[test]
fn what_is_somebodys_own_names_nothing_and_what_is_ill_formed_is_refused() {
    assert_eq!(goods("https://farm.example/lots/17", 2026), Ok(None));
    assert_eq!(goods("urn:uuid:374d95fc-9457-4a51-bd6a-0bba133845a8", 2026), Ok(None));
    assert!(goods("urn:epc:class:lgtin:4012345.12345.998877", 2026).is_err(), "a digit is missing");
    assert!(goods("urn:epc:class:lgtin:4012345.998877", 2026).is_err(), "a part is missing");
    assert!(goods("https://id.gs1.org/01/09520123456780/10/ABC123", 2026).is_err(), "the check digit");
    assert!(place("urn:epc:id:sgln:0614141.1234.400", 2026).is_err(), "a digit is missing");
}

#[test]
fn places_and_parties_have_a_location_number() {
    let number = |uri: &str| place(uri, 2026).expect("well formed").map(|gln| gln.to_string());
    assert_eq!(number("urn:epc:id:sgln:0614141.12345.400").as_deref(), Some("0614141123452"), "Tag Data Standard");
    assert_eq!(number("urn:epc:id:pgln:0614141.12345").as_deref(), Some("0614141123452"));
    assert_eq!(number("https://id.gs1.org/414/9520123456788").as_deref(), Some("9520123456788"));
    assert_eq!(number("https://id.gs1.org/417/9520123456788").as_deref(), Some("9520123456788"));
    assert_eq!(number("https://farm.example/dairy"), None);
}
