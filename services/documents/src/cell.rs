//! How a cell is written: exact figures, days and times, and text that no program takes for something else.

use std::borrow::Cow;

use crate::report::{Cell, Column, ColumnKind};

/// Stands in for a character that cannot be written: U+FFFD REPLACEMENT CHARACTER.
pub(crate) const REPLACEMENT: char = '\u{fffd}';

/// What is added to the heading of a date and time for the column of its zone.
const ZONE: &str = "zone";

/// What a person reads. Times to the minute, with their zone.
pub(crate) fn shown(cell: &Cell, kind: ColumnKind) -> Cow<'_, str> {
    match cell {
        Cell::Empty => Cow::Borrowed(""),
        Cell::Text(text) => Cow::Borrowed(text),
        Cell::DateTime { local, zone } => Cow::Owned(format!("{} {zone}", local.format("%Y-%m-%d %H:%M"))),
        Cell::Mass(_) | Cell::Whole(_) | Cell::Decimal { .. } | Cell::Date(_) => Cow::Owned(figure(cell, kind)),
    }
}

/// Whether a cell is a figure, which stands on the right.
pub(crate) fn is_figure(cell: &Cell) -> bool {
    matches!(cell, Cell::Mass(_) | Cell::Whole(_) | Cell::Decimal { .. })
}

/// A figure or a day as a machine reads it; empty for other cells.
pub(crate) fn figure(cell: &Cell, kind: ColumnKind) -> String {
    match cell {
        Cell::Mass(mg) if kind == ColumnKind::Kilograms => without_needless_zeros(&decimal_text(*mg, 6)).to_owned(),
        Cell::Mass(mg) => without_needless_zeros(&decimal_text(*mg, 3)).to_owned(),
        Cell::Whole(number) => number.to_string(),
        Cell::Decimal { unscaled, decimals } => decimal_text(*unscaled, *decimals),
        Cell::Date(day) => day.to_string(),
        Cell::Empty | Cell::Text(_) | Cell::DateTime { .. } => String::new(),
    }
}

/// `unscaled` divided by ten to the power of `decimals`, with all of these: `-0.050`.
pub(crate) fn decimal_text(unscaled: i64, decimals: u8) -> String {
    let decimals = usize::from(decimals);
    let sign = if unscaled < 0 { "-" } else { "" };
    let digits = format!("{:0>width$}", unscaled.unsigned_abs(), width = decimals + 1);
    let (whole, fraction) = digits.split_at(digits.len() - decimals);
    if decimals == 0 { format!("{sign}{whole}") } else { format!("{sign}{whole}.{fraction}") }
}

fn without_needless_zeros(decimal: &str) -> &str {
    decimal.trim_end_matches('0').trim_end_matches('.')
}

/// The headings of a column in a file for machines: a date and time has one more for its zone.
pub(crate) fn headings(column: &Column) -> Vec<String> {
    let title = column.title.clone();
    match column.kind {
        ColumnKind::DateTime => {
            let zone = format!("{title}, {ZONE}");
            vec![title, zone]
        }
        _ => vec![title],
    }
}

/// How many fields a cell of a column takes: as many as the column has [`headings`].
pub(crate) const fn fields_of(kind: ColumnKind) -> usize {
    if matches!(kind, ColumnKind::DateTime) { 2 } else { 1 }
}

/// A cell in a file for machines: a field for each of the [`headings`] of its column. Times to the second.
pub(crate) fn fields(cell: &Cell, kind: ColumnKind) -> impl Iterator<Item = Cow<'_, str>> {
    let (first, zone) = match cell {
        Cell::Text(text) => (harmless(text), None),
        Cell::DateTime { local, zone } => {
            let time = local.format("%Y-%m-%d %H:%M:%S");
            if kind == ColumnKind::DateTime {
                (time.to_string().into(), Some(harmless(zone)))
            } else {
                (format!("{time} {}", plain(zone)).into(), None)
            }
        }
        _ => (figure(cell, kind).into(), None),
    };
    let second = (fields_of(kind) == 2).then(|| zone.unwrap_or_default());
    std::iter::once(first).chain(second)
}

/// The text, with an apostrophe before it if a spreadsheet program would take it for a formula.
pub(crate) fn harmless(text: &str) -> Cow<'_, str> {
    let plain = plain(text);
    if looks_like_a_formula(text) { Cow::Owned(format!("'{plain}")) } else { plain }
}

/// Whether a spreadsheet program could take a text for a formula.
///
/// OWASP ASVS 5.0.0, 1.2.10: `=`, `+`, `-`, `@`, tab and NUL as the first character. OWASP's page on CSV injection has
/// carriage return besides, and line feed and the full-width forms (these two from memory). Blanks before them are
/// passed over, for some programs drop blanks (common practice, no source).
pub(crate) fn looks_like_a_formula(text: &str) -> bool {
    const STARTS: [char; 8] = ['=', '+', '-', '@', '＝', '＋', '－', '＠'];
    text.starts_with(['\t', '\r', '\n', '\0']) || text.trim_start().starts_with(STARTS)
}

/// The text with its control characters replaced, except for tabs and line ends.
pub(crate) fn plain(text: &str) -> Cow<'_, str> {
    let bad = |character: char| {
        character.is_control() && !matches!(character, '\t' | '\n' | '\r')
            || matches!(character, '\u{fffe}' | '\u{ffff}')
    };
    if text.contains(bad) { Cow::Owned(text.replace(bad, "\u{fffd}")) } else { Cow::Borrowed(text) }
}

/// The text on a single line: each tab and each line end becomes a blank.
pub(crate) fn one_line(text: &str) -> String {
    let ends = ['\t', '\n', '\r', '\u{b}', '\u{c}', '\u{85}', '\u{2028}', '\u{2029}'];
    plain(&text.replace("\r\n", " ").replace(ends, " ")).into_owned()
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;

    fn all(cell: &Cell, kind: ColumnKind) -> Vec<Cow<'_, str>> {
        fields(cell, kind).collect()
    }

    #[test]
    fn a_mass_is_exact_in_grams_and_in_kilograms() {
        let grams = |mg| figure(&Cell::Mass(mg), ColumnKind::Grams);
        let kilograms = |mg| figure(&Cell::Mass(mg), ColumnKind::Kilograms);
        assert_eq!([0, 1, 10, 1000, 359_500].map(grams), ["0", "0.001", "0.01", "1", "359.5"]);
        assert_eq!([0, 1, 1000, 1_000_000].map(kilograms), ["0", "0.000001", "0.001", "1"]);
        // 29 280 g of milk, half a gram of it missing: 29 279.5 g = 29.2795 kg
        assert_eq!(grams(29_279_500), "29279.5");
        assert_eq!(kilograms(29_279_500), "29.2795");
        assert_eq!(grams(-50), "-0.05");
        assert_eq!(grams(100_000), "100", "the zeros before the point stay");
        assert_eq!(grams(i64::MIN), "-9223372036854775.808");
    }

    #[test]
    fn a_decimal_keeps_its_decimals() {
        assert_eq!(decimal_text(1250, 2), "12.50");
        assert_eq!(decimal_text(5, 0), "5");
        assert_eq!(decimal_text(-5, 3), "-0.005");
        assert_eq!(decimal_text(1, 255).len(), 257);
    }

    #[test]
    fn a_time_has_its_zone_beside_it() {
        let local = NaiveDate::from_ymd_opt(2026, 11, 25).and_then(|day| day.and_hms_opt(8, 30, 5)).expect("a time");
        let cell = Cell::DateTime { local, zone: "Europe/Rome".to_owned() };
        assert_eq!(shown(&cell, ColumnKind::DateTime), "2026-11-25 08:30 Europe/Rome");
        assert_eq!(all(&cell, ColumnKind::DateTime), ["2026-11-25 08:30:05", "Europe/Rome"]);
        assert_eq!(all(&cell, ColumnKind::Text), ["2026-11-25 08:30:05 Europe/Rome"]);
        assert_eq!(all(&Cell::text("not yet"), ColumnKind::DateTime), ["not yet", ""]);
    }

    #[test]
    fn text_is_never_a_formula_and_figures_stay_figures() {
        assert_eq!(harmless("=1+1"), "'=1+1");
        assert_eq!(harmless("milk"), "milk");
        assert_eq!(harmless("24-118"), "24-118");
        assert_eq!(all(&Cell::Mass(-5000), ColumnKind::Grams), ["-5"]);
        assert_eq!(all(&Cell::text("-5"), ColumnKind::Grams), ["'-5"]);
    }

    #[test]
    fn what_cannot_be_written_is_replaced_visibly() {
        assert_eq!(plain("a\0b\u{1b}c\td\n"), "a\u{fffd}b\u{fffd}c\td\n");
        assert_eq!(one_line("a\r\nb\tc\u{2028}d"), "a b c d");
    }
}
