//! Names of sheets that every spreadsheet program takes.

use std::collections::HashSet;

/// The longest name, in UTF-16 code units.
const LONGEST: usize = 31;

/// The names that are taken.
#[derive(Default)]
pub(super) struct Names {
    /// In small letters, for case makes no difference.
    taken: HashSet<String>,
}

impl Names {
    /// A name for a part of a table, counted from 1, that no other sheet has: the title as far as it may stand in a
    /// name, and the number of the part from the second on.
    ///
    /// The rules are those of the common programs: no `[]:*?/\`, no apostrophe at either end, not “History”, 31
    /// characters.
    pub(super) fn take(&mut self, title: &str, part: u32) -> String {
        let base = allowed(title);
        let wanted = std::iter::once(if part == 1 { String::new() } else { format!(" ({part})") });
        let others = (2..).map(|number: u32| format!(" ({part}-{number})"));
        for suffix in wanted.chain(others) {
            let name = format!("{}{suffix}", shortened(&base, LONGEST - suffix.len()));
            if self.taken.insert(name.to_lowercase()) {
                return name;
            }
        }
        // There are not that many sheets.
        base
    }
}

fn allowed(title: &str) -> String {
    let bad = |character: char| character.is_control() || r"[]:*?/\".contains(character) || character > '\u{fffd}';
    let plain = title.replace(bad, "-");
    let name = plain.trim_matches(|end: char| end == '\'' || end.is_whitespace());
    match name.to_lowercase().as_str() {
        "" => "Table".to_owned(),
        "history" => "History -".to_owned(),
        _ => name.to_owned(),
    }
}

fn shortened(name: &str, most: usize) -> &str {
    let mut units = 0;
    for (at, character) in name.char_indices() {
        units += character.len_utf16();
        if units > most {
            return name[..at].trim_end_matches(|end: char| end == '\'' || end.is_whitespace());
        }
    }
    name
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_taken_once() {
        let mut names = Names::default();
        assert_eq!(names.take("Tubs", 1), "Tubs");
        assert_eq!(names.take("Tubs", 2), "Tubs (2)");
        assert_eq!(names.take("TUBS", 1), "TUBS (1-2)");
        assert_eq!(names.take("Where is it? [now/then]", 1), "Where is it- -now-then-");
        assert_eq!(names.take("'quoted'", 1), "quoted");
        assert_eq!(names.take(" ", 1), "Table");
        assert_eq!(names.take("History", 1), "History -");
        assert_eq!(names.take("a\0b🍨c", 1), "a-b-c");
    }

    #[test]
    fn a_long_name_keeps_its_number() {
        let mut names = Names::default();
        let title = "x".repeat(500);
        assert_eq!(names.take(&title, 1), "x".repeat(31));
        assert_eq!(names.take(&title, 12), format!("{} (12)", "x".repeat(26)));
        assert_eq!(names.take(&title, 1), format!("{} (1-2)", "x".repeat(25)));
    }
}
