//! What a reader says of what it cannot read, for people.

use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;

const NO_TIME: [&str; 5] = [
    "premature end of input",
    "input contains invalid characters",
    "input is out of range",
    "trailing input",
    "input is not enough for unique date and time",
];

const NO_NUMBER: [&str; 4] = [
    "invalid digit found in string",
    "cannot parse integer from empty string",
    "number too large to fit in target type",
    "number too small to fit in target type",
];

/// In our words: the path says where, so line and column would only confuse, and the names of our types mean nothing to
/// people. What no pattern of a reader's fits is left as it is.
pub fn in_plain_words(said: &str) -> Saying {
    let said = said.split(" at line ").next().unwrap_or(said);
    if NO_TIME.contains(&said) {
        return say!("write a day as 2026-11-25, and a time as 2026-11-25T08:00:00Z");
    }
    if NO_NUMBER.contains(&said) {
        return say!("write a whole number here");
    }
    if let Some(field) = said.strip_prefix("missing field ") {
        return say!("missing field {field}", field);
    }
    if let Some(field) = said.strip_prefix("duplicate field ") {
        return say!("{field} stands here more than once", field);
    }
    let (what, due) = said.split_once(", expected ").unwrap_or((said, ""));
    let due = (!due.is_empty()).then(|| expected(due));
    match (what.split_once(' ').map(|(first, rest)| (first, rest.split_once(' '))), due) {
        (Some(("unknown", Some(("variant", word)))), Some(due)) => {
            say!("unknown word {word}, expected {due}", word, due)
        }
        (Some(("unknown", Some(("field", field)))), Some(due)) => {
            say!("there is no field {field}, expected {due}", field, due)
        }
        (Some(("invalid", Some(("type:", found)))), Some(due)) => {
            say!("invalid type: {found}, expected {due}", found, due)
        }
        (Some(("invalid", Some(("value:", found)))), Some(due)) => {
            say!("invalid value: {found}, expected {due}", found, due)
        }
        (Some(("unknown", Some(("field", rest)))), None) => say!("there is no field {field}", field = rest),
        _ => ours(said),
    }
}

/// What should stand there.
fn expected(due: &str) -> Saying {
    if due.starts_with("struct ") {
        return say!("an object");
    }
    if let Some(words) = due.strip_prefix("one of ") {
        return say!("one of {words}", words);
    }
    if let Some((one, other)) = due.split_once(" or ").filter(|_| due.starts_with('`')) {
        return say!("{one} or {other}", one, other);
    }
    match due {
        "f64" | "u32" | "i32" | "i64" => say!("a number"),
        "a string" => say!("a string"),
        "a boolean" => say!("a boolean"),
        _ => Saying::as_it_is(due),
    }
}

/// What our own readers say.
fn ours(said: &str) -> Saying {
    match said {
        "a day lies in the years 2000 to 9998" => say!("a day lies in the years 2000 to 9998"),
        "not a mass in grams" => say!("not a mass in grams"),
        "grams have at most three decimals" => say!("grams have at most three decimals"),
        _ => Saying::as_it_is(said),
    }
}

#[cfg(test)]
mod tests {
    use super::in_plain_words;

    /// What serde, chrono and we say, and what is told of it.
    #[test]
    fn readers_are_put_into_plain_words() {
        for (said, told) in [
            ("trailing input at line 1 column 20", "write a day as 2026-11-25, and a time as 2026-11-25T08:00:00Z"),
            ("missing field `name` at line 1 column 2", "missing field `name`"),
            ("duplicate field `name` at line 1 column 2", "`name` stands here more than once"),
            ("invalid digit found in string", "write a whole number here"),
            (
                "unknown variant `jar`, expected one of `tub`, `base`",
                "unknown word `jar`, expected one of `tub`, `base`",
            ),
            ("unknown variant `a`, expected `b` or `c`", "unknown word `a`, expected `b` or `c`"),
            ("unknown variant `a`, expected `b`", "unknown word `a`, expected `b`"),
            ("unknown field `x`, expected `y` or `z`", "there is no field `x`, expected `y` or `z`"),
            ("unknown field `x`, there are no fields", "there is no field `x`, there are no fields"),
            ("invalid type: string \"5\", expected u32", "invalid type: string \"5\", expected a number"),
            ("invalid type: null, expected struct NewBatch", "invalid type: null, expected an object"),
            ("invalid value: integer `-1`, expected u32", "invalid value: integer `-1`, expected a number"),
            ("grams have at most three decimals", "grams have at most three decimals"),
            ("a page has 1 to 500 rows", "a page has 1 to 500 rows"),
        ] {
            assert_eq!(in_plain_words(said).to_string(), told);
        }
        assert!(in_plain_words("invalid type: map, expected a string").foreign().is_none());
    }
}
