//! How much protein of an allergen is in something, as a statement's form has it: a row for each, some more, and those that
//! stay empty are left out.

use tubtrail_domain::allergens::Substance;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::statements::Protein;

use crate::pages::fields::Fields;
use crate::pages::figures::number;
use crate::pages::texts::Texts;

/// Rows that a form has at least, and at most.
const ROWS: (usize, usize) = (2, 40);
/// What a row asks for.
const PARTS: [&str; 2] = ["allergen", "percent"];

/// How many rows a form shows: those that are filled in, and one more.
pub(super) fn rows_shown(fields: &Fields) -> usize {
    let last = said_rows(fields).max().map_or(0, |last| last + 1);
    (last + 1).clamp(ROWS.0, ROWS.1)
}

/// What the form says.
pub(super) fn read(texts: &Texts, fields: &Fields) -> Vec<Protein> {
    let text = |row: usize, part: &str| fields.get(&name(row, part)).unwrap_or("").trim().to_owned();
    let protein =
        |row| Protein { allergen: text(row, "allergen"), percent: Amount(number(texts, &text(row, "percent"))) };
    said_rows(fields).map(protein).collect()
}

/// The fields of a form that say this.
pub(super) fn written(proteins: &[Protein]) -> Vec<(String, String)> {
    let rows = proteins.iter().enumerate();
    rows.flat_map(|(row, one)| {
        [(name(row, "allergen"), one.allergen.clone()), (name(row, "percent"), one.percent.0.clone())]
    })
    .collect()
}

/// The field of the form that shows a field of the operation.
pub(super) fn place(field: &str, fields: &Fields) -> Option<String> {
    let (position, part) = field.strip_prefix("proteins[")?.split_once("].")?;
    let row = said_rows(fields).nth(position.parse().ok()?)?;
    Some(name(row, part))
}

/// Whether something holds protein at all: sulphites and alcohol do not, and of a kind that nobody named no paper gives it.
pub(super) fn has_protein(substance: Substance) -> bool {
    !substance.is_unspecified() && !matches!(substance, Substance::Sulphites | Substance::Alcohol)
}

fn name(row: usize, part: &str) -> String {
    format!("proteins[{row}].{part}")
}

fn said_rows(fields: &Fields) -> impl Iterator<Item = usize> + '_ {
    (0..ROWS.1).filter(|row| PARTS.iter().any(|part| fields.get(&name(*row, part)).is_some()))
}

#[cfg(test)]
mod tests {
    use super::{Fields, Texts, place, read, rows_shown};

    #[test]
    fn rows_left_empty_are_left_out_and_faults_still_find_their_row() {
        let fields = Fields::parse(
            b"proteins[0].allergen=&proteins[0].percent=&proteins[2].allergen=milk&proteins[2].percent=3,3",
        );
        let read = read(&Texts::all()[0], &fields);
        assert_eq!(read.len(), 1);
        assert_eq!((read[0].allergen.as_str(), read[0].percent.0.as_str()), ("milk", "3.3"));
        assert_eq!(place("proteins[0].percent", &fields).as_deref(), Some("proteins[2].percent"));
        assert_eq!(place("document", &fields), None);
        assert_eq!((rows_shown(&fields), rows_shown(&Fields::default())), (4, 2));
    }
}
