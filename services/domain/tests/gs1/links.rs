//! GS1 Digital Links.

use tubtrail_domain::gs1::Gs1Error;
use tubtrail_domain::gs1::digital_link::{CANONICAL_STEM, DigitalLink, build};

use super::{YEAR, read};

fn link(uri: &str) -> Result<DigitalLink, Gs1Error> {
    DigitalLink::parse(uri, 1, YEAR)
}

/// `dl.c`, parseDLuri, the "Examples from DL specification" among them. A number that is too short was let through there
/// only on request; two are left out whose pallet number fails the check digit that `dl.c` does not look at.
#[test]
fn links_as_published() {
    for (uri, raw) in [
        ("http://a/00/006141411234567890", "^00006141411234567890"),
        ("HTTP://a/00/006141411234567890", "^00006141411234567890"),
        ("HTTPS://a/00/006141411234567890", "^00006141411234567890"),
        ("https://a/01/12312312312333", "^0112312312312333"),
        ("https://xn--fsq.xn--0zwm56d/01/12312312312333", "^0112312312312333"),
        ("https://a./01/12312312312333", "^0112312312312333"),
        ("https://a:65535/01/12312312312333", "^0112312312312333"),
        ("https://192.0.2.1/01/12312312312333", "^0112312312312333"),
        ("https://[2001:db8::1]/01/12312312312333", "^0112312312312333"),
        ("https://a/more/stem/00/006141411234567890", "^00006141411234567890"),
        ("https://a/00/faux/00/006141411234567890", "^00006141411234567890"),
        ("https://a/01/12312312312333/22/TEST/10/ABC/21/XYZ", "^011231231231233322TEST^10ABC^21XYZ"),
        ("https://a/01/12312312312333/235/TEST", "^0112312312312333235TEST"),
        ("https://a/253/1231231231232", "^2531231231231232"),
        ("https://a/253/1231231231232TEST5678901234567", "^2531231231231232TEST5678901234567"),
        ("https://a/8018/123456789012345675/8019/123", "^8018123456789012345675^8019123"),
        ("https://a/stem/00/006141411234567890?", "^00006141411234567890"),
        ("https://a/stem/00/006141411234567890?99=ABC", "^0000614141123456789099ABC"),
        ("https://a/stem/401/12345678?99=ABC", "^40112345678^99ABC"),
        ("https://a/01/12312312312333?&&&99=ABC&&&&&&98=XYZ&&&", "^011231231231233399ABC^98XYZ"),
        ("https://a/01/12312312312333?99=ABC&unknown=666&98=XYZ", "^011231231231233399ABC^98XYZ"),
        ("https://a/01/12312312312333?singleton&99=ABC&98=XYZ", "^011231231231233399ABC^98XYZ"),
        ("https://a/01/12312312312333/22/ABC%2d123?99=ABC&98=XYZ%2f987", "^011231231231233322ABC-123^99ABC^98XYZ/987"),
        ("https://a/01/12312312312333/22/ABC+123?99=ABC&98=XYZ%2f987", "^011231231231233322ABC+123^99ABC^98XYZ/987"),
        ("https://a/01/12312312312333/22/test/10/abc/21/xyz#fragment", "^011231231231233322test^10abc^21xyz"),
        ("https://a/stem/00/006141411234567890?99=ABC#", "^0000614141123456789099ABC"),
        ("https://id.gs1.org/01/09520123456788", "^0109520123456788"),
        ("https://id.gs1.org/01/09520123456788/22/2A", "^0109520123456788222A"),
        ("https://id.gs1.org/01/09520123456788/10/ABC123", "^010952012345678810ABC123"),
        ("https://id.gs1.org/01/09520123456788/21/12345", "^01095201234567882112345"),
        ("https://id.gs1.org/01/09520123456788/10/ABC1/21/12345?17=180426", "^010952012345678810ABC1^2112345^17180426"),
        ("https://id.gs1.org/01/09520123456788?3103=000195", "^01095201234567883103000195"),
        (
            "https://example.com/01/09520123456788?3103=000195&3922=0299&17=201225",
            "^0109520123456788310300019539220299^17201225",
        ),
        ("https://id.gs1.org/00/952012345678912345", "^00952012345678912345"),
        (
            "https://id.gs1.org/00/952012345678912345?02=09520123456788&37=25&10=ABC123",
            "^0095201234567891234502095201234567883725^10ABC123",
        ),
        ("https://id.gs1.org/414/9520123456788", "^4149520123456788"),
        ("https://id.gs1.org/414/9520123456788/254/32a%2Fb", "^414952012345678825432a/b"),
        ("https://id.gs1.org/01/09520123456788/235/XYZ?10=ABC123", "^0109520123456788235XYZ^10ABC123"),
    ] {
        let read = link(uri).unwrap_or_else(|error| panic!("{uri}: {error}"));
        assert_eq!(format!("^{}", read.says.raw().replace('\u{1d}', "^")), raw, "{uri}");
    }
}

#[test]
fn links_that_are_refused() {
    for (uri, at, sentence) in [
        // dl.c, parseDLuri
        ("", 1, "begins with https"),
        ("ftp://a/01/12312312312333", 1, "begins with https"),
        ("http://", 8, "no name of a server"),
        ("http:///", 8, "no name of a server"),
        ("http://a", 8, "names no article"),
        ("http://a/", 10, "names no article"),
        ("http://a/b/", 10, "names no article"),
        ("HtTp://a/b/00/006141411234567890", 1, "begins with https"),
        ("https://00/006141411234567890", 12, "names no article"),
        ("https://[fe80::1%25lo]/01/12312312312333", 9, "no name of a server"),
        ("https://$a/006141411234567890", 9, "no name of a server"),
        ("https://a/gtin/12312312312333", 11, "names no article"),
        ("https://a/01/2112345678900", 27, "too short"),
        ("https://a/01/416000336108", 26, "too short"),
        ("https://a/01/02345673", 22, "too short"),
        ("https://a/253/1231231231232TEST56789012345678", 45, "at most 30"),
        ("https://a/stem/00/006141411234567890/", 11, "names no article"),
        ("https://a/01/12312312312333?99=", 32, "nothing follows (99)"),
        ("https://a/01/12312312312333?99=ABC&999=faux", 36, "“999” is none we know"),
        ("https://a/01/12312312312333/22/ABC%2d123?99=ABC&98=XYZ+987", 55, "“ ” does not belong in (98)"),
        ("https://example.com/01/09520123456788?10=ABC123", 39, "(10) lot must not stand behind the question mark"),
        (
            "https://id.gs1.org/01/09520123456788/10/ABC123?99=XYZ789&01=09520123456788",
            58,
            "(01) article (GTIN) stands in this address twice",
        ),
        (
            "https://id.gs1.org/01/09520123456788/10/ABC123?99=XYZ789&10=ABC123",
            58,
            "(10) lot stands in this address twice",
        ),
        ("https://id.gs1.org/01/09520123456788/10/ABC123?99=XYZ789&99=XYZ789", 58, "twice"),
        ("https://example.com/01/09520123456788/89/ABC123?99=XYZ", 21, "names no article"),
        ("https://example.com/01/09520123456788?99=XYZ&89=ABC123", 46, "“89” is none we know"),
        // In another order, or of another way, than the dictionary has it.
        ("https://a/01/09520123456788/21/A/10/B", 34, "not in this order"),
        ("https://a/01/09520123456788/10/A/235/B", 34, "not in this order"),
        ("https://a/01/09520123456788/10/A/10/B", 34, "not in this order"),
        ("https://a/01/09520123456788?21=A", 29, "(21) serial number must not stand behind"),
        // A value is wrong where it is wrong, also behind percent codes.
        ("https://a/01/09520123456789", 14, "check digit"),
        ("https://a/01/09520123456788/10/A%2", 33, "hexadecimal"),
        ("https://a/01/09520123456788/10/A%ZZ", 33, "hexadecimal"),
        ("https://a/01/09520123456788/10/%41%20B", 35, "“ ” does not belong in (10) lot"),
        ("https://a/01/09520123456788/10/A%00B", 33, "does not belong in (10) lot"),
        ("https://a/01/09520123456788/10/Ä", 32, "belongs in no code"),
        ("https://a/01/09520123456788/10/A B", 33, "belongs in no code"),
        (
            "https://a/01/09520123456788?37=5",
            11,
            "(01) article (GTIN) and (37) number of articles inside cannot both be true",
        ),
        ("https://a/01/09520123456788?17=261131", 32, "no calendar"),
    ] {
        match link(uri) {
            Ok(read) => panic!("{uri} is let through: {}", read.says.bracketed()),
            Err(error) => {
                let said = error.fault.to_string();
                assert!(said.contains(sentence) && error.position == at, "{uri}\n  {at} {sentence}\n  {error}");
            }
        }
    }
}

/// Cases of `dl.c`, and its examples' way back.
#[test]
fn links_are_made_as_published() {
    for (stem, says, uri) in [
        (
            "https://example.com",
            "(21)XYZ(01)12312312312333(10)ABC(99)XYZ",
            "https://example.com/01/12312312312333/10/ABC/21/XYZ?99=XYZ",
        ),
        ("https://example.com/", "(01)12312312312333(22)ABC+123", "https://example.com/01/12312312312333/22/ABC%2B123"),
        (CANONICAL_STEM, "(01)09520123456788", "https://id.gs1.org/01/09520123456788"),
        (
            CANONICAL_STEM,
            "(01)09520123456788(10)ABC1(21)12345(17)180426",
            "https://id.gs1.org/01/09520123456788/10/ABC1/21/12345?17=180426",
        ),
        (CANONICAL_STEM, "(414)9520123456788(254)32a/b", "https://id.gs1.org/414/9520123456788/254/32a%2Fb"),
        (
            CANONICAL_STEM,
            "(00)952012345678912345(10)ABC123(02)09520123456788(37)25",
            "https://id.gs1.org/00/952012345678912345?02=09520123456788&10=ABC123&37=25",
        ),
        ("https://a", "(01)09520123456788(10)A(235)B", "https://a/01/09520123456788/10/A?235=B"),
    ] {
        let says = read(says).expect(says);
        match build(stem, &says) {
            Ok(made) => {
                assert_eq!(made, uri);
                let back = link(&made).unwrap_or_else(|error| panic!("{made}: {error}"));
                assert_eq!(back.stem, stem.trim_end_matches('/'));
            }
            // The serial number given by law has no place beside the lot.
            Err(error) => assert!(uri.contains("?235=") && error.to_string().contains("(235)"), "{uri}: {error}"),
        }
    }
    let says = read("(90)OURS").expect("it stands alone");
    assert!(build(CANONICAL_STEM, &says).is_err(), "there is no key in it");
}
