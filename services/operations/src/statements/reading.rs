//! A statement as it is sent, checked and found, recorded, and answered.

use std::collections::HashMap;

use chrono::NaiveDateTime;
use tubtrail_domain::allergens::{self, Declared, Named, StatementError, StatementGiven, Substance};
use tubtrail_domain::decimal::Decimal;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::lots::{LotRow, lots_by_ids};
use tubtrail_storage::master_data::{Item, Noun, Partner};
use tubtrail_storage::search::{authors, partner_codes};
use tubtrail_storage::statements::{StatementProteinRow, StatementRow, corrections_of, proteins_of, statement};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};

use super::{NewStatement, Protein, Statement};
use crate::allergen_words::{all_named, substance};
use crate::batches::{code_of, item_codes};
use crate::error::{OperationError, Result};
use crate::index::stated::given;
use crate::quantities::Amount;
use crate::reach::{self, Actor};
use crate::{fields, lots, problems};

/// Most names in a list.
const MOST_NAMES: usize = 40;

/// A statement whose form is good.
pub(super) struct Checked {
    given: StatementGiven,
    sulphites_ppm: Option<String>,
    alcohol_percent_vol: Option<String>,
    proteins: Vec<(Substance, String)>,
    document: String,
    note: Option<String>,
    reason: Option<String>,
}

/// What a statement names.
pub(super) struct Found {
    item_id: i64,
    supplier_id: Option<i64>,
    lot: Option<LotRow>,
    in_force_from: Option<chrono::NaiveDate>,
    /// The statement it stands in for.
    pub corrected: Option<StatementRow>,
}

/// Checks the form.
pub(super) fn checked(new: &NewStatement) -> Result<Checked> {
    fields::between("lists", new.lists.len(), 0, allergens::AllergenList::ALL.len())?;
    fields::between("contains", new.contains.len(), 0, MOST_NAMES)?;
    fields::between("may_contain", new.may_contain.len(), 0, MOST_NAMES)?;
    fields::between("proteins", new.proteins.len(), 0, MOST_NAMES)?;
    let given = StatementGiven {
        lists: new.lists.iter().map(|list| (*list).into()).collect(),
        contains: all_named("contains", &new.contains)?,
        may_contain: all_named("may_contain", &new.may_contain)?,
        sulphites_ppm: figure("sulphites_ppm", new.sulphites_ppm.as_ref())?,
        alcohol_percent_vol: figure("alcohol_percent_vol", new.alcohol_percent_vol.as_ref())?,
    };
    let declared = given.check().map_err(|error| refusal(&given, error))?;
    let text = |amount: &Option<Amount>| amount.as_ref().map(|amount| amount.0.trim().to_owned());
    let reason = match (new.corrects, &new.reason) {
        (None, Some(_)) => return Err(OperationError::invalid("reason", say!("a reason goes with what it corrects"))),
        (None, None) => None,
        (Some(_), reason) => Some(fields::reason("reason", reason.as_deref())?),
    };
    Ok(Checked {
        sulphites_ppm: text(&new.sulphites_ppm),
        alcohol_percent_vol: text(&new.alcohol_percent_vol),
        proteins: proteins(&new.proteins, &declared)?,
        document: fields::foreign_code("document", &new.document)?,
        note: fields::optional_note("note", new.note.as_deref())?,
        reason,
        given,
    })
}

fn figure(field: &str, amount: Option<&Amount>) -> Result<Option<Decimal>> {
    let parse = |amount: &Amount| amount.0.parse().map_err(|error| OperationError::invalid(field, error));
    amount.map(parse).transpose()
}

fn proteins(new: &[Protein], declared: &Declared) -> Result<Vec<(Substance, String)>> {
    let mut known: Vec<(Substance, String)> = Vec::new();
    for (position, protein) in new.iter().enumerate() {
        let field = |name: &str| format!("proteins[{position}].{name}");
        let named = substance(&field("allergen"), &protein.allergen)?;
        if known.iter().any(|(substance, _)| *substance == named) {
            let detail = say!("the protein of {named} is given twice", named);
            return Err(OperationError::new(&problems::REPEATED, detail).at(field("allergen")));
        }
        if declared.contains & named.bit() == 0 {
            let detail =
                say!("protein is given of what is in there, and the statement does not say that {named} is", named);
            return Err(OperationError::invalid(field("allergen"), detail));
        }
        let percent = figure(&field("percent"), Some(&protein.percent))?;
        if percent.is_none_or(|percent| percent > Decimal::from_integer(100)) {
            return Err(OperationError::invalid(field("percent"), say!("no more than 100 grams are in a hundred")));
        }
        known.push((named, protein.percent.0.trim().to_owned()));
    }
    Ok(known)
}

/// Names the field at fault.
fn refusal(given: &StatementGiven, error: StatementError) -> OperationError {
    let field_of = |fits: &dyn Fn(Named) -> bool| {
        if given.contains.iter().any(|named| fits(*named)) { "contains" } else { "may_contain" }
    };
    let twice = |list: &[Named], named| list.iter().filter(|one| **one == named).count() > 1;
    let (problem, field) = match error {
        StatementError::SaysNothing => (&problems::SAYS_NOTHING, "lists"),
        StatementError::RepeatedList { .. } => (&problems::REPEATED, "lists"),
        StatementError::Repeated { named } => {
            (&problems::REPEATED, if twice(&given.contains, named) { "contains" } else { "may_contain" })
        }
        StatementError::ContainedAndPossible { .. } => (&problems::REPEATED, "may_contain"),
        StatementError::AlcoholNamed => {
            (&problems::INVALID, field_of(&|named| named == Named::Substance(Substance::Alcohol)))
        }
        StatementError::UnspecifiedNamed => {
            let is_unspecified = |named| matches!(named, Named::Substance(substance) if substance.is_unspecified());
            (&problems::INVALID, field_of(&is_unspecified))
        }
        StatementError::SulphitesOutOfRange => (&problems::INVALID, "sulphites_ppm"),
        StatementError::AlcoholOutOfRange => (&problems::INVALID, "alcohol_percent_vol"),
    };
    OperationError::new(problem, error).at(field)
}

/// Finds what it names; who writes it must reach the lot it is about, and the one it takes back.
pub(super) fn find(conn: &mut AnyConnection, actor: &Actor, new: &NewStatement) -> Result<Found> {
    let lot = new.lot.as_deref().map(|number| lot_within(conn, actor, number)).transpose()?;
    let item = item(conn, new, lot.as_ref())?;
    let supplier_id = new.supplier.as_deref().map(|code| supplier(conn, code, &item, lot.as_ref())).transpose()?;
    let in_force_from = match (&lot, new.in_force_from) {
        (None, None) => return Err(OperationError::invalid("in_force_from", say!("say from which day on it holds"))),
        (Some(_), Some(_)) => {
            let detail = say!("a statement about one lot holds for that lot, whatever the day");
            return Err(OperationError::invalid("in_force_from", detail));
        }
        (_, from) => from,
    };
    let corrected = new.corrects.map(|id| corrected(conn, actor, id)).transpose()?;
    Ok(Found { item_id: item.row.id, supplier_id, lot, in_force_from, corrected })
}

fn lot_within(conn: &mut AnyConnection, actor: &Actor, number: &str) -> Result<LotRow> {
    let lot = lots::named(conn, "lot", number)?;
    lots::within_reach(conn, actor, &reach::CREATE_STATEMENT, &lot).map_err(|error| error.at("lot"))?;
    Ok(lot)
}

fn item(conn: &mut AnyConnection, new: &NewStatement, lot: Option<&LotRow>) -> Result<Item> {
    let Some(lot) = lot else {
        let code =
            new.item.as_deref().ok_or_else(|| OperationError::invalid("item", say!("say which item it is about")))?;
        return fields::named(conn, say!("item"), "item", code);
    };
    let item = Item::by_id(conn, lot.item_id)?
        .ok_or_else(|| StorageError::Corrupt(format!("item row {} is missing", lot.item_id)))?;
    if new.item.as_ref().is_some_and(|code| *code != item.row.code) {
        let detail = say!("lot {lot} is of {item}", lot = lots::number(lot)?, item = item.row.code);
        return Err(OperationError::invalid("item", detail));
    }
    Ok(item)
}

fn supplier(conn: &mut AnyConnection, code: &str, item: &Item, lot: Option<&LotRow>) -> Result<i64> {
    let partner: Partner = fields::named(conn, say!("partner"), "supplier", code)?;
    let wrong = |detail: Saying| Err(OperationError::new(&problems::WRONG_KIND, detail).at("supplier"));
    if !partner.current.supplies {
        return wrong(say!("{partner} is no supplier", partner = partner.current.name));
    }
    if let Some(lot) = lot
        && lot.supplier_id != Some(partner.row.id)
    {
        return wrong(say!(
            "lot {lot} is not from {partner}",
            lot = lots::number(lot)?,
            partner = partner.current.name
        ));
    }
    if item.row.kind != "ingredient" {
        return wrong(say!("{item} is made here: what is said of it is the maker's own", item = item.current.name));
    }
    Ok(partner.row.id)
}

fn corrected(conn: &mut AnyConnection, actor: &Actor, id: i64) -> Result<StatementRow> {
    let unknown = || OperationError::unknown(say!("statement"), &id.to_string(), "corrects");
    let row = statement(conn, id)?.ok_or_else(unknown)?;
    if let Some(lot_id) = row.lot_id {
        let lot = tubtrail_storage::lots::lot(conn, lot_id)?;
        lots::within_reach(conn, actor, &reach::CREATE_STATEMENT, &lot).map_err(|_| unknown())?;
    }
    if let Some(by) = corrections_of(conn, &[id])?.get(&id) {
        let detail = say!("statement {id} was corrected by statement {by}: correct that one", id, by);
        return Err(OperationError::new(&problems::ALREADY_CORRECTED, detail).at("corrects"));
    }
    Ok(row)
}

/// Records it.
pub(super) fn record(
    tx: &mut WriteTx<'_>,
    found: &Found,
    checked: &Checked,
) -> Result<(StatementRow, Vec<StatementProteinRow>)> {
    if let Some(lot) = &found.lot {
        tx.at_site(lot.site_id);
    }
    let words = |names: &[Named]| names.iter().map(|named| named.word()).collect::<Vec<_>>().join(",");
    let lists: Vec<_> = checked.given.lists.iter().map(|list| list.word()).collect();
    let row = StatementRow {
        id: tx.id(),
        entry: tx.entry(),
        item_id: found.item_id,
        supplier_id: found.supplier_id,
        lot_id: found.lot.as_ref().map(|lot| lot.id),
        in_force_from: found.in_force_from,
        lists: lists.join(","),
        contains: words(&checked.given.contains),
        may_contain: words(&checked.given.may_contain),
        sulphites_ppm: checked.sulphites_ppm.clone(),
        alcohol_percent_vol: checked.alcohol_percent_vol.clone(),
        document: checked.document.clone(),
        note: checked.note.clone(),
        corrects_id: found.corrected.as_ref().map(|row| row.id),
        reason: checked.reason.clone(),
    };
    tx.record(&row)?;
    let mut proteins = Vec::new();
    for (substance, percent) in &checked.proteins {
        let protein = StatementProteinRow {
            id: tx.id(),
            entry: tx.entry(),
            statement_id: row.id,
            substance: substance.word().to_owned(),
            percent: percent.clone(),
        };
        tx.record(&protein)?;
        proteins.push(protein);
    }
    Ok((row, proteins))
}

/// Statements as they stand.
pub(super) fn answers(conn: &mut AnyConnection, rows: Vec<StatementRow>) -> Result<Vec<Statement>> {
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let corrections = corrections_of(conn, &ids)?;
    let by = authors(conn, &rows.iter().map(|row| row.entry).collect::<Vec<_>>())?;
    let mut proteins: HashMap<i64, Vec<StatementProteinRow>> = HashMap::new();
    for protein in proteins_of(conn, &ids)? {
        proteins.entry(protein.statement_id).or_default().push(protein);
    }
    let mut found = Vec::with_capacity(rows.len());
    for row in rows {
        let missing = || StorageError::Corrupt(format!("journal entry {} is missing", row.entry));
        let by = by.get(&row.entry).cloned().ok_or_else(missing)?;
        let (proteins, corrected_by) = (proteins.remove(&row.id).unwrap_or_default(), corrections.get(&row.id));
        found.push(answer(conn, row, proteins, corrected_by.copied(), by)?);
    }
    Ok(found)
}

/// A statement as it stands, by whom it was written down and when.
pub(super) fn answer(
    conn: &mut AnyConnection,
    row: StatementRow,
    proteins: Vec<StatementProteinRow>,
    corrected_by: Option<i64>,
    by: (String, NaiveDateTime),
) -> Result<Statement> {
    let given = given(&row)?;
    let corrupt = |error: StatementError| StorageError::Corrupt(format!("statement {}: {error}", row.id));
    let says = given.check().map_err(corrupt)?.into();
    let item = code_of(&item_codes(conn, [row.item_id])?, row.item_id)?;
    let supplier = row.supplier_id.map(|id| partner_codes(conn, &[id])).transpose()?;
    let lot_ids: Vec<i64> = row.lot_id.into_iter().collect();
    let lot = lots_by_ids(conn, &lot_ids)?.first().map(lots::number).transpose()?;
    let words = |names: &[Named]| names.iter().map(|named| named.word().to_owned()).collect();
    Ok(Statement {
        id: row.id,
        item,
        supplier: supplier.and_then(|codes| codes.into_values().next()),
        lot: lot.map(|number| number.to_string()),
        in_force_from: row.in_force_from,
        lists: given.lists.iter().map(|list| (*list).into()).collect(),
        contains: words(&given.contains),
        may_contain: words(&given.may_contain),
        sulphites_ppm: row.sulphites_ppm,
        alcohol_percent_vol: row.alcohol_percent_vol,
        proteins: proteins
            .into_iter()
            .map(|protein| Protein { allergen: protein.substance, percent: Amount(protein.percent) })
            .collect(),
        document: row.document,
        note: row.note,
        says,
        corrects: row.corrects_id,
        reason: row.reason,
        corrected_by,
        recorded_at: fields::utc(by.1),
        recorded_by: by.0,
        entry: row.entry,
    })
}
