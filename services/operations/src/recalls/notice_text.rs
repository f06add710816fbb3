//! What a customer is told of a recall, in words to read out or to send.

use tubtrail_domain::recall::RecallClass;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::StorageError;
use tubtrail_storage::recalls::RecallRow;

use super::ConsigneeLot;
use crate::error::Result;
use crate::quantities::in_grams;

/// What to tell a customer. What must be in it is for local rules and the responsible person to say.
pub(super) fn notice_text(row: &RecallRow, name: &str, lots: &[ConsigneeLot]) -> Result<Saying> {
    let corrupt = || StorageError::Corrupt(format!("recall {}: class {}", row.id, row.class));
    let class = RecallClass::from_number(i64::from(row.class)).ok_or_else(corrupt)?;
    let drill = row.is_drill.then(|| {
        say!("THIS IS A DRILL: we are trying how fast we can find these lots. Please answer as if they were recalled.\n\n")
    });
    let head = say!(
        "RECALL {recall}, class {class}: {hazard}\nTo: {name}\n\nYou received from us:\n",
        recall = row.id,
        class = class.number().to_string(),
        hazard = row.hazard,
        name
    );
    let what = say!(
        "\nDo not serve, sell or use them. Put them aside, mark them, and keep them apart from everything else. Tell us for \
         each lot number whether you found it, destroyed it, or no longer have it, and to whom you passed any of it on.\n"
    );
    let instructions = row.instructions.as_ref().map(|text| say!("\n{instructions}\n", instructions = text));
    let due = row.due_at.format("%Y-%m-%d %H:%M").to_string();
    let due = say!("\nPlease answer before {due} UTC.\n", due);
    let parts = drill.into_iter().chain([head]).chain(lots.iter().map(handed_over)).chain([what]).chain(instructions);
    let whole = Saying::joined(parts.chain([due]), |one, other| say!("{one}{other}", one, other));
    Ok(whole.unwrap_or(Saying::plain("")))
}

/// The line of a lot.
fn handed_over(one: &ConsigneeLot) -> Saying {
    let (lot, name, grams, at) = (&one.lot, &one.name, in_grams(one.grams.mg()), one.at.date_naive());
    if one.documents.is_empty() {
        return say!("- lot {lot}, {name}, {grams}, handed over {at}\n", lot, name, grams, at);
    }
    let documents = one.documents.join(", ");
    say!("- lot {lot}, {name}, {grams}, handed over {at}, with {documents}\n", lot, name, grams, at, documents)
}
