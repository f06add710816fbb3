//! Element strings.

use tubtrail_domain::gs1::table::{Characters, Identifier};

use super::{fault, read, well_formed};

/// `ai.c`, parseAIdata: brackets and what a scanner sends.
#[test]
fn brackets_and_separators_as_published() {
    for (bracketed, raw) in [
        ("(01)12345678901231", "^0112345678901231"),
        ("(10)12345", "^1012345"),
        ("(01)12345678901231(10)12345", "^01123456789012311012345"),
        ("(3100)123456(10)12345", "^31001234561012345"),
        ("(10)12345(11)991225", "^1012345^11991225"),
        ("(3100)123456(99)ABC(11)991225", "^310012345699ABC^11991225"),
    ] {
        assert!(well_formed(bracketed), "{bracketed}");
        assert!(well_formed(raw), "{raw}");
        // Both say the same where each is whole.
        let whole = format!("(01)12345678901231{}", bracketed.replace("(01)12345678901231", ""));
        let says = read(&whole).unwrap_or_else(|error| panic!("{whole}: {error}"));
        assert_eq!(says.bracketed(), whole);
        let sent = says.raw().replace('\u{1d}', "^");
        assert_eq!(format!("^{sent}"), format!("^0112345678901231{}", raw[1..].replace("0112345678901231", "")));
    }
}

/// The verdicts are the published ones; the places are counted by hand in what stands here, from 1.
#[test]
fn what_is_refused_as_published() {
    for (text, at, what) in [
        // ai.c, parseAIdata
        ("(10)(11)98765", 5, "NoValue"),
        ("(17)9(90)217", 6, "TooShort"),
        ("(01)", 5, "NoValue"),
        ("(9)1234", 1, "NoIdentifier"),
        ("(01", 1, "Bracket"),
        // ai.c, processAIdata
        ("^", 1, "Nothing"),
        ("^0112345678901234", 4, "CheckDigit"),
        ("^2421234567", 11, "TooLong"),
        ("^891234", 2, "NoIdentifier"),
        ("^99~ABC", 4, "Character"),
        ("^99ABC~", 7, "Character"),
        ("^01A2345678901231", 4, "Character"),
        ("^011234567890123A", 17, "Character"),
        ("^011234567890123", 17, "TooShort"),
        ("^011234567890123^", 17, "TooShort"),
        ("^01123456789012312", 18, "NoIdentifier"),
        ("^01123456789012345^", 4, "CheckDigit"),
        ("^8111123", 9, "TooShort"),
        ("^811112345", 10, "TooLong"),
        ("^80011234123451239", 19, "TooShort"),
        ("^70072112252", 13, "TooShort"),
        ("^70072112252212311", 18, "TooLong"),
        ("^800302112345678901ABC", 7, "CheckDigit"),
        ("^723012", 8, "TooShort"),
        // ai.c, linters
        ("(4309)18000000010000000000", 7, "Malformed"),
        ("(4309)00000000003600000001", 17, "Malformed"),
        ("(4330)000000X", 13, "Malformed"),
        ("(01)95012345678902(3103)000123", 5, "CheckDigit"),
        ("(01)95012345678903(11)131313", 23, "NotADay"),
    ] {
        assert_eq!(fault(text), (at, what.to_owned()), "{text}: {:?}", read(text).map(|_| ()));
    }
}

/// `ai.c`, processAIdata.
#[test]
fn what_is_let_through_as_published() {
    for text in [
        "^991234",
        "^0112345678901231",
        "^0112345678901231^",
        "^0112345678901231991234",
        "^0112345678901231^991234",
        "^2421",
        "^242123456",
        "^242123456^10ABC123",
        "^242123456^",
        "^81111234",
        "^81111234^10ABC123",
        "^800112341234512398",
        "^800112341234512398^0112345678901231",
        "^7007211225211231",
        "^7007211225",
        "^800302112345678900ABC",
        "^800302112345678900",
        "^800302112345678900^10ABC123",
        "^800302112345678900ABCDEFGHIJKLMNOP",
        "^7230121234567890123456789012345678",
        "^7230123",
        "(01)95012345678903(3103)000123",
    ] {
        assert!(well_formed(text), "{text}: {:?}", read(text).map(|_| ()));
    }
}

/// `ai.c`, validateAIassociations.
#[test]
fn what_belongs_together_as_published() {
    for (text, what) in [
        ("(400)ABC", ""),
        ("(400)ABC(400)ABC", ""),
        ("(400)ABC(99)DEF(400)ABC", ""),
        ("(400)ABC(400)AB", "Repeated"),
        ("(400)ABC(99)DEF(400)XYZ", "Repeated"),
        ("(01)12345678901231(02)12345678901231", "NotTogether"),
        ("(01)12345678901231(99)ABC123(02)12345678901231", "NotTogether"),
        ("(01)12345678901231(255)5412345000150", "NotTogether"),
        ("(01)12345678901231(37)123", "NotTogether"),
        ("(21)ABC123(235)XYZ", "NotTogether"),
        ("(3940)1234(3941)9999", "NotTogether"),
        ("(3955)123456(3929)123", "NotTogether"),
        ("(02)12345678901231", "Alone"),
        ("(02)12345678901231(37)123", "Alone"),
        ("(02)12345678901231(37)123(00)123456789012345675", ""),
        ("(91)XXX(02)12345678901231(92)YYY(37)123(93)ZZZ(00)123456789012345675", ""),
        ("(21)ABC123", "Alone"),
        ("(21)ABC123(01)12345678901231", ""),
        ("(21)ABC123(8006)123456789012310510", ""),
        ("(01)12345678901231(250)ABC123", "Alone"),
        ("(01)12345678901231(21)XYZ999(250)ABC123", ""),
        ("(01)12345678901231(3925)12599", "Alone"),
        ("(01)12345678901231(3925)12599(30)123", ""),
        ("(01)12345678901231(3925)12599(3105)654321", ""),
        ("(01)12345678901231(3925)12599(3695)654321", ""),
        // The dictionary: only one of 3100 to 3105.
        ("(01)12345678901231(3103)000195(3102)000020", "NotTogether"),
        ("(10)L26", "Alone"),
        ("(01)12345678901231(10)L26", ""),
    ] {
        let said = match read(text) {
            Ok(_) => String::new(),
            Err(_) => fault(text).1,
        };
        assert_eq!(said, what, "{text}");
    }
}

/// `lint_cset82.c`.
#[test]
fn the_characters_of_set_82() {
    let set = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789!\"%&'()*+,-./:;<=>?_";
    assert_eq!(set.len(), 82);
    for character in (0..=255_u8).map(char::from) {
        assert_eq!(Characters::Text.hold(character), set.contains(character), "{character:?}");
    }
}

/// Fixed in length and yet followed by a separator: they are not in the table of predefined lengths.
#[test]
fn fixed_is_not_predefined() {
    let says = read("(01)09520123456788(7003)2611251200(10)L26").expect("it is whole");
    assert_eq!(says.raw(), "010952012345678870032611251200\u{1d}10L26");
    assert_eq!(fault("^01095201234567887003261125120010L26"), (32, "TooLong".into()), "without the separator");
    assert_eq!(fault("^0109520123456788422620^422724"), (25, "Repeated".into()));
    assert_eq!(fault("^0109520123456788422620422724"), (24, "TooLong".into()));
    assert_eq!(fault("^0109520123456788422999"), (21, "NotACountry".into()));
}

/// GS1 General Specifications, "Element strings with predefined length using GS1 Application Identifiers": 00 (20 with
/// the identifier), 01 to 03 (16), 04 (18), 11 to 19 (8), 20 (4), 31 to 36 (10), 41 (16). From memory; 04, 14, 18 and 19 are
/// not given out.
#[test]
fn the_predefined_lengths() {
    let length = |number: &str| match &number[..2] {
        "00" => Some(20),
        "01" | "02" | "03" | "41" => Some(16),
        "04" => Some(18),
        "11" | "12" | "13" | "14" | "15" | "16" | "17" | "18" | "19" => Some(8),
        "20" => Some(4),
        "31" | "32" | "33" | "34" | "35" | "36" => Some(10),
        _ => None,
    };
    for identifier in Identifier::all() {
        let due = length(identifier.first);
        let has = identifier.predefined.then(|| identifier.first.len() + identifier.longest());
        assert_eq!(has, due, "({})", identifier.first);
    }
}

/// No identifier begins another, so that it is plain where one ends; and every needed or excluded one is known.
#[test]
fn the_table_is_sound() {
    let all = Identifier::all();
    for (index, one) in all.iter().enumerate() {
        assert!(one.first <= one.last && one.first.len() == one.last.len(), "({})", one.first);
        for other in &all[index + 1..] {
            assert!(one.last < other.first, "({}) stands before ({})", one.first, other.first);
            assert!(!other.first.starts_with(one.first), "({}) begins ({})", one.first, other.first);
        }
        let named = [one.needs, one.not_with, one.key.unwrap_or_default()];
        for pattern in named.iter().flat_map(|list| list.split([',', '+', '|'])).filter(|pattern| !pattern.is_empty()) {
            let number = pattern.replace("nn", "00").replace('n', "0");
            assert!(Identifier::of_number(&number).is_some(), "({}) speaks of ({pattern})", one.first);
        }
        let (last, before) = one.parts.split_last().expect("it has a value");
        assert!(before.iter().all(|part| part.least == part.most), "({}): only the last may vary", one.first);
        assert!(one.parts.is_sorted_by_key(|part| part.optional), "({}): only the last may be missing", one.first);
        assert!(last.most > 0 && last.least <= last.most);
    }
}

#[test]
fn people_may_leave_blanks_and_write_brackets_in_values() {
    let says = read("(01) 09520123456788 (10) L26 ").expect("blanks around values do not count");
    assert_eq!(says.bracketed(), "(01)09520123456788(10)L26");
    let says = read(r"(01)09520123456788(10)L\(2\)6").map(|_| ());
    assert_eq!(says.map_err(|error| error.position), Err(27), "only an opening bracket is written so");
    let says = read(r"(01)09520123456788(10)L\(2)6").expect("a bracket in a value");
    assert_eq!(says.value("10"), Some("L(2)6"));
    assert_eq!(says.raw(), "010952012345678810L(2)6");
    assert_eq!(says.bracketed(), r"(01)09520123456788(10)L\(2)6");
    assert_eq!(fault("(01)09520123456788x(10)L26"), (19, "TooLong".into()));
    assert_eq!(fault("(01)09520123456788(10)L26(xx)1"), (26, "Bracket".into()));
}

/// A scanner that drops separators makes one lot of a lot and a day; nobody can be sure, but it can be said.
#[test]
fn what_may_have_been_run_together_is_said() {
    let run_together = |text: &str| read(text).expect(text).run_together(super::YEAR);
    assert_eq!(run_together("010952012345678810L2617261231").as_deref(), Some("(17)261231"));
    assert_eq!(run_together("010952012345678810L263103001500").as_deref(), Some("(3103)001500"));
    assert_eq!(run_together("010952012345678810L26"), None);
    assert_eq!(run_together("010952012345678810L2617261331"), None, "there is no month 13");
    assert_eq!(run_together("011234567890123117261231"), None, "nothing of open length stands at the end");
}
