//! The lines of a recall, read for many lots at a time: what became of each at a site, and who confirmed it.

use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, HashMap};

use chrono::NaiveDateTime;
use tubtrail_domain::recall::Outcome;
use tubtrail_storage::lots::{self as stored, LotRow, lots_by_ids};
use tubtrail_storage::recall_lines::{Served, brought_in, consigned_of, servings_of};
use tubtrail_storage::recalls::{RecallConfirmationRow, RecallRow, confirmations_of, ending_of};
use tubtrail_storage::stock::{BalanceRow, MovementRow, balances_of};
use tubtrail_storage::{AnyConnection, StorageError};

use super::lines::{CHUNK, ConfirmationShown, ConsignedTo, RecallLine, RecallPlace, ReceivedFrom};
use super::outline::Reached;
use super::places::{Fate, Part, parts};
use super::work::LineOutcome;
use crate::error::Result;
use crate::fields;
use crate::known::Known;
use crate::lots::{LotKind, number};
use crate::names::Names;
use crate::quantities::Grams;

/// What a line of a recall is made of, for many lots at a time.
struct Read {
    lots: HashMap<i64, LotRow>,
    known: Known,
    balances: HashMap<i64, Vec<BalanceRow>>,
    served: HashMap<(i64, i64), Served>,
    consigned: HashMap<(i64, i64), Vec<MovementRow>>,
    confirmed: HashMap<(i64, i64), RecallConfirmationRow>,
    brought_in: HashMap<(i64, i64), i64>,
    names: Names,
    documents: HashMap<i64, String>,
}

impl Read {
    fn of(conn: &mut AnyConnection, recall_id: i64, reached: &[Reached]) -> Result<Self> {
        let ids: Vec<i64> = reached.iter().map(|lot| lot.row).collect();
        let rows = lots_by_ids(conn, &ids)?;
        let known = Known::of(conn, &rows)?;
        let mut balances: HashMap<i64, Vec<BalanceRow>> = HashMap::new();
        for row in balances_of(conn, &ids)? {
            balances.entry(row.lot_id).or_default().push(row);
        }
        let mut consigned: HashMap<(i64, i64), Vec<MovementRow>> = HashMap::new();
        for row in consigned_of(conn, &ids)? {
            consigned.entry((row.lot_id, row.to_site_id)).or_default().push(row);
        }
        let confirmed = confirmations_of(conn, recall_id, &ids)?;
        Ok(Self {
            lots: rows.into_iter().map(|row| (row.id, row)).collect(),
            known,
            balances,
            served: servings_of(conn, &ids)?,
            consigned,
            confirmed: confirmed.into_iter().map(|row| ((row.lot_id, row.site_id), row)).collect(),
            brought_in: brought_in(conn, &ids)?,
            names: Names::default(),
            documents: HashMap::new(),
        })
    }

    fn received_from(&mut self, conn: &mut AnyConnection, lot: &LotRow) -> Result<Option<ReceivedFrom>> {
        let (Some(supplier), Some(delivery)) = (lot.supplier_id, lot.delivery_id) else { return Ok(None) };
        let missing = || StorageError::Corrupt(format!("lot row {}: its delivery is missing", lot.id));
        let document = match self.documents.entry(delivery) {
            Entry::Occupied(known) => known.into_mut(),
            Entry::Vacant(gap) => gap.insert(stored::delivery(conn, delivery)?.ok_or_else(missing)?.document),
        };
        let document = document.clone();
        let partner = self.names.partner(conn, supplier)?;
        let (name, contact) = (partner.current.name.clone(), partner.current.contact.clone());
        Ok(Some(ReceivedFrom { name, contact, document }))
    }

    /// Adds the lines of a lot, one for each site that is wanted.
    fn lines(
        &mut self,
        conn: &mut AnyConnection,
        reached: &Reached,
        overdue: bool,
        wanted: impl Fn(i64, i64) -> bool,
        into: &mut Vec<RecallLine>,
    ) -> Result<()> {
        let missing = || StorageError::Corrupt(format!("lot row {} is in the graph alone", reached.row));
        let lot = self.lots.remove(&reached.row).ok_or_else(missing)?;
        let balances = self.balances.get(&lot.id).map_or(&[][..], Vec::as_slice);
        let mut by_site: BTreeMap<i64, Vec<Part>> = BTreeMap::new();
        for part in parts(&lot, reached, balances)? {
            if wanted(lot.id, part.site_id) {
                by_site.entry(part.site_id).or_default().push(part);
            }
        }
        for (site_id, parts) in by_site {
            into.push(self.line(conn, &lot, reached, site_id, &parts, overdue)?);
        }
        Ok(())
    }

    /// A lot at a site, of which so much came to this and to that.
    fn line(
        &mut self,
        conn: &mut AnyConnection,
        lot: &LotRow,
        reached: &Reached,
        site_id: i64,
        parts: &[Part],
        overdue: bool,
    ) -> Result<RecallLine> {
        let at = (lot.id, site_id);
        let received_from = self.received_from(conn, lot)?;
        let handed = self.consigned.get(&at).map_or(&[][..], Vec::as_slice);
        let consigned_to = consigned_to(conn, &mut self.names, handed)?;
        let came_to_be_at_site = self.names.site(conn, lot.site_id)?.current.name.clone();
        let site = self.names.site(conn, site_id)?;
        let (item, name) = self.known.item(lot)?;
        let served = self.served.get(&at);
        let confirmation = self.confirmed.get(&at);
        let on_hand = parts.iter().any(|part| part.fate.is_on_hand());
        let open = on_hand && is_open(confirmation, self.brought_in.get(&at));
        Ok(RecallLine {
            lot: number(lot)?.to_string(),
            item,
            name,
            kind: LotKind::of(lot)?,
            came_from: self.known.origin(lot)?,
            received_from,
            came_to_be_at: fields::utc(lot.came_to_be_at),
            came_to_be_at_site,
            site: site.row.code.clone(),
            site_name: site.current.name.clone(),
            site_gln: site.current.gln.clone(),
            is_seed: reached.is_seed,
            by_contact: reached.by_contact,
            places: parts.iter().map(|part| show_place(reached, part)).collect(),
            served_from: served.map(|served| fields::utc(served.from)),
            served_until: served.map(|served| fields::utc(served.until)),
            consigned_to,
            confirmation: confirmation.map(show_confirmation).transpose()?,
            open,
            overdue: open && overdue,
        })
    }
}

/// Whether what is on hand of a lot at a site is still to be confirmed: nobody has since the last of it came there.
fn is_open(confirmation: Option<&RecallConfirmationRow>, brought_in: Option<&i64>) -> bool {
    confirmation.is_none_or(|confirmation| brought_in.is_some_and(|entry| *entry > confirmation.entry))
}

/// Whether what is open is late: nothing of a recall that has ended is.
pub(super) fn is_late(conn: &mut AnyConnection, row: &RecallRow, now: NaiveDateTime) -> Result<bool> {
    Ok(now > row.due_at && ending_of(conn, row.id)?.is_none())
}

/// The lines of some lots.
pub(super) fn show(
    conn: &mut AnyConnection,
    row: &RecallRow,
    reached: &[Reached],
    now: NaiveDateTime,
) -> Result<Vec<RecallLine>> {
    show_at(conn, row, reached, now, |_, _| true)
}

/// The lines of some lots at the sites that are wanted, by lot and site.
pub(super) fn show_at(
    conn: &mut AnyConnection,
    row: &RecallRow,
    reached: &[Reached],
    now: NaiveDateTime,
    wanted: impl Fn(i64, i64) -> bool,
) -> Result<Vec<RecallLine>> {
    let overdue = is_late(conn, row, now)?;
    let mut lines = Vec::with_capacity(reached.len());
    for chunk in reached.chunks(CHUNK) {
        let mut read = Read::of(conn, row.id, chunk)?;
        for lot in chunk {
            read.lines(conn, lot, overdue, &wanted, &mut lines)?;
        }
    }
    Ok(lines)
}

fn show_place(reached: &Reached, part: &Part) -> RecallPlace {
    let is_known = !reached.by_contact && part.fate != Fate::Used;
    RecallPlace {
        state: part.fate.word().to_owned(),
        grams: Grams::from_mg(part.mass_mg),
        seed_grams: is_known.then_some(Grams::from_mg(part.seed_mg)),
    }
}

fn show_confirmation(row: &RecallConfirmationRow) -> Result<ConfirmationShown> {
    let corrupt = || StorageError::Corrupt(format!("recall confirmation {}: outcome {:?}", row.id, row.outcome));
    Ok(ConfirmationShown {
        outcome: Outcome::from_word(&row.outcome).map(LineOutcome::from).ok_or_else(corrupt)?,
        grams: Grams::from_mg(row.mass_mg),
        name: row.confirmed_by.clone(),
        at: fields::utc(row.confirmed_at),
        note: row.note.clone(),
        entry: row.entry,
    })
}

fn consigned_to(conn: &mut AnyConnection, names: &mut Names, rows: &[MovementRow]) -> Result<Vec<ConsignedTo>> {
    let mut found = Vec::new();
    for row in rows {
        let missing = || StorageError::Corrupt(format!("movement {}: its customer is missing", row.id));
        let partner = names.partner(conn, row.partner_id.ok_or_else(missing)?)?;
        found.push(ConsignedTo {
            customer: partner.row.code.clone(),
            name: partner.current.name.clone(),
            contact: partner.current.contact.clone(),
            grams: Grams::from_mg(row.mass_mg),
            document: row.document.clone(),
            at: fields::utc(row.occurred_at),
        });
    }
    Ok(found)
}
