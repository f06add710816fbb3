//! A recall, what was found of it, who was told, and its end.

use tubtrail_storage::recalls::{
    RecallConfirmationRow, RecallEndingRow, RecallNoticeRow, RecallReplyRow, RecallRow, RecallSeedRow,
};
use tubtrail_storage::webhooks::RecallReachRow;
use tubtrail_storage::{StorageError, WriteTx};

use super::{KG, Places, at, day, text};
use crate::house::add;

/// A recall of the milk: one confirmation, one consignee told, one reply, closed.
pub fn recall(
    tx: &mut WriteTx<'_>,
    full: bool,
    (kitchen, shop, partner, item, _, machine): Places,
    (milk, base, _): (i64, i64, i64),
) -> Result<(), StorageError> {
    let entry = tx.entry();
    let recall = add(tx, |id| RecallRow {
        id,
        entry,
        is_drill: full,
        class: 2,
        hazard: "glass".into(),
        with_contact: full,
        holds: true,
        noticed_at: at(16),
        due_at: at(20),
        instructions: text(full, "put it aside"),
    })?;
    add(tx, |id| RecallSeedRow {
        id,
        entry,
        recall_id: recall,
        kind: "lot".into(),
        lot_id: full.then_some(milk),
        supplier_id: full.then_some(partner),
        item_id: full.then_some(item),
        code_from: text(full, "24-1"),
        code_until: text(full, "24-9"),
        day_from: full.then(day),
        day_until: full.then(day),
        equipment_id: full.then_some(machine),
        site_id: full.then_some(kitchen),
        state: text(full, "available"),
        time_from: full.then(|| at(1)),
        time_until: full.then(|| at(2)),
    })?;
    add(tx, |id| RecallConfirmationRow {
        id,
        entry,
        recall_id: recall,
        lot_id: base,
        site_id: shop,
        outcome: "found".into(),
        mass_mg: KG,
        confirmed_by: "Paola".into(),
        confirmed_at: at(17),
        note: text(full, "in the back"),
    })?;
    add(tx, |id| RecallNoticeRow {
        id,
        entry,
        recall_id: recall,
        partner_id: partner,
        way: "by telephone".into(),
        told_by: "Paola".into(),
        told_at: at(17),
    })?;
    add(tx, |id| RecallReplyRow {
        id,
        entry,
        recall_id: recall,
        partner_id: partner,
        lot_id: base,
        outcome: "destroyed".into(),
        replied_by: "Bruno".into(),
        replied_at: at(18),
        note: text(full, "in the bin"),
    })?;
    add(tx, |id| RecallReachRow {
        id,
        entry,
        recall_id: recall,
        reached_lots: 3,
        reached_before: 2,
        digest: "5f1c".into(),
    })?;
    add(tx, |id| RecallEndingRow {
        id,
        entry,
        recall_id: recall,
        way: "closed".into(),
        ended_by: "Paola".into(),
        reason: "all found".into(),
    })?;
    Ok(())
}
