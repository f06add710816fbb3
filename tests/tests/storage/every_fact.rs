//! A small world with at least two rows in every fact table, written through the writer: milk and pistachio paste come
//! in, a base is made and churned into tubs, tubs travel, are counted, held and turned away. In every second row what may be
//! absent is absent.

use chrono::{NaiveDate, NaiveDateTime};
use tubtrail_domain::place::State;
use tubtrail_storage::cleans::{
    CarryOverDefaultRow, CleanKindRow, CleanKindVersionRow, CleanRow, CleanVoidRow, EquipmentVoidRow, ResidueRow,
    ServingWayRow,
};
use tubtrail_storage::documents::{self, DeliveryDocumentRow};
use tubtrail_storage::gtins::{GtinWithdrawalRow, ItemGtinRow};
use tubtrail_storage::lots::{
    BatchEquipmentRow, BatchRow, CompletionRow, DeliveryLineRow, DeliveryRow, LotRow, UntrackedInputRow, UseRow,
    UseVoidRow,
};
use tubtrail_storage::master_data::{
    EquipmentRow, EquipmentVersionRow, ItemRow, ItemVersionRow, PartnerRow, PartnerVersionRow, RecipeLineRow,
    RecipeRow, RecipeVersionRow, ReorderLevelRow, SiteRow, SiteVersionRow,
};
use tubtrail_storage::people::{DeviceRevocationRow, DeviceRow, LoginAttemptRow, UserRoleRow, UserRow, UserVersionRow};
use tubtrail_storage::readings::{ReadingRow, ReadingVoidRow};
use tubtrail_storage::statements::{StatementProteinRow, StatementRow};
use tubtrail_storage::stock::{
    CountLineRow, CountRow, HoldReleaseRow, HoldRow, LotRejectionRow, MovementRow, ReceiptLineRow, ReceiptRow,
    TransferLineRow, TransferRow,
};
use tubtrail_storage::{Fact, StorageError, WriteTx};

use crate::house::{House, add};

mod labels;
mod recalls;
mod webhooks;

/// Tables that hold no facts; every other one does.
pub const NO_FACTS: [&str; 5] =
    ["__diesel_schema_migrations", "balances", "document_pieces", "journal", "journal_head"];

/// Journal entries that [`write`] makes.
pub const ENTRIES: i64 = 14;

const KG: i64 = 1_000_000;

/// Writes the world twice, the second time with other codes and with what may be absent left out.
pub fn write(house: &House) {
    write_parts(house, true);
}

/// The same without a recall.
pub fn write_without_recalls(house: &House) {
    write_parts(house, false);
}

fn write_parts(house: &House, recalls: bool) {
    for full in [true, false] {
        let places = house.command(move |tx| master_data(tx, full)).unwrap().answer;
        house.command(move |tx| people(tx, full, places.0)).unwrap();
        let lots = house.command(move |tx| lots(tx, full, places)).unwrap().answer;
        house.command(move |tx| stock(tx, full, places, lots)).unwrap();
        house.command(move |tx| allergens(tx, full, places, lots.0)).unwrap();
        house.command(move |tx| labels::labels(tx, full, places, lots.1)).unwrap();
        if recalls {
            house.command(move |tx| recalls::recall(tx, full, places, lots)).unwrap();
        }
    }
}

/// Kitchen, shop, supplier, item, recipe version, equipment.
type Places = (i64, i64, i64, i64, i64, i64);

fn text(full: bool, text: &str) -> Option<String> {
    full.then(|| text.to_owned())
}

fn day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 6, 1).unwrap()
}

fn at(hour: u32) -> NaiveDateTime {
    day().and_hms_micro_opt(hour, 30, 15, 123_456).unwrap()
}

fn master_data(tx: &mut WriteTx<'_>, full: bool) -> Result<Places, StorageError> {
    let entry = tx.entry();
    let mark = if full { "a" } else { "b" };
    let mut sites = [0; 2];
    for (site_id, kind) in sites.iter_mut().zip(["kitchen", "shop"]) {
        *site_id = tx.id();
        tx.record(&SiteRow { id: *site_id, entry, code: format!("{kind}-{mark}") })?;
        add(tx, |id| SiteVersionRow {
            id,
            entry,
            site_id: *site_id,
            version: 1,
            name: format!("{kind} {mark}"),
            kind: kind.into(),
            time_zone: "Europe/Rome".into(),
            gln: text(full, "9501101530003"),
            active: true,
            address: text(full, "Via Breve 3, Northquay"),
        })?;
    }
    let [kitchen, shop] = sites;
    let supplier = add(tx, |id| PartnerRow { id, entry, code: format!("dairy-{mark}") })?;
    add(tx, |id| PartnerVersionRow {
        id,
        entry,
        partner_id: supplier,
        version: 1,
        name: "Latteria".into(),
        supplies: true,
        takes_tubs: false,
        contact: text(full, "+39 02 555 0100"),
        active: true,
        gln: text(full, "9501101530003"),
        address: text(full, "Via Lunga 1, Northquay"),
    })?;
    let item = add(tx, |id| ItemRow { id, entry, code: format!("milk-{mark}"), kind: "ingredient".into() })?;
    add(tx, |id| ItemVersionRow {
        id,
        entry,
        item_id: item,
        version: 1,
        name: "Milk".into(),
        counted_by: "volume".into(),
        density_g_per_m3: full.then_some(1_030_000),
        piece_mg: full.then_some(5),
        strength: text(full, "0"),
        tracked: true,
        kept: "chilled".into(),
        warmest_arrival_tenths: full.then_some(60),
        portion_mg: full.then_some(80_000),
        shelf_life_days: full.then_some(3),
        active: true,
        warn_days: full.then_some(1),
    })?;
    add(tx, |id| ReorderLevelRow { id, entry, item_id: item, site_id: kitchen, level_mg: 20 * KG })?;
    add(tx, |id| ItemGtinRow {
        id,
        entry,
        gtin: "09520123456788".into(),
        item_id: item,
        supplier_id: full.then_some(supplier),
        unit_mg: full.then_some(KG),
        since: at(6),
        reason: text(full, "the other milk"),
    })?;
    add(tx, |id| GtinWithdrawalRow { id, entry, gtin: "09520123456788".into(), since: at(5), reason: "gone".into() })?;
    let recipe = add(tx, |id| RecipeRow { id, entry, code: format!("base-{mark}"), item_id: item })?;
    let version = add(tx, |id| RecipeVersionRow {
        id,
        entry,
        recipe_id: recipe,
        version: 1,
        name: "White base".into(),
        expected_yield_mg: 10 * KG,
        maturing_minutes: 720,
        method: text(full, "Heat, cool, wait"),
        active: true,
    })?;
    add(tx, |id| RecipeLineRow { id, entry, recipe_version_id: version, line: 1, item_id: item, mass_mg: 6 * KG })?;
    let machine = add(tx, |id| EquipmentRow { id, entry, code: format!("churn-{mark}") })?;
    add(tx, |id| EquipmentVersionRow {
        id,
        entry,
        equipment_id: machine,
        version: 1,
        name: "Churn".into(),
        site_id: kitchen,
        touches: "base,flavour".into(),
        active: true,
    })?;
    Ok((kitchen, shop, supplier, item, version, machine))
}

fn people(tx: &mut WriteTx<'_>, full: bool, kitchen: i64) -> Result<(), StorageError> {
    let entry = tx.entry();
    let mark = if full { "a" } else { "b" };
    let user = add(tx, |id| UserRow { id, entry, login: format!("paola-{mark}") })?;
    let version = add(tx, |id| UserVersionRow {
        id,
        entry,
        user_id: user,
        version: 1,
        name: "Paola".into(),
        password_hash: "$argon2id$v=19$...".into(),
        active: true,
    })?;
    add(tx, |id| UserRoleRow {
        id,
        entry,
        user_version_id: version,
        role: "kitchen".into(),
        site_id: full.then_some(kitchen),
    })?;
    let device = add(tx, |id| DeviceRow {
        id,
        entry,
        code: format!("scale-{mark}"),
        name: "Scale".into(),
        site_id: kitchen,
        token_hash: format!("{mark:0>64}"),
    })?;
    add(tx, |id| DeviceRevocationRow { id, entry, device_id: device, reason: "broken".into() })?;
    add(tx, |id| LoginAttemptRow { id, entry, user_id: user, attempted_at: at(5), succeeded: full })?;
    webhooks::webhook(tx, full, mark)
}

/// Milk that came in and, of some of it, a base. Returns both lots and the use.
fn lots(tx: &mut WriteTx<'_>, full: bool, places: Places) -> Result<(i64, i64, i64), StorageError> {
    let milk = milk(tx, full, places)?;
    let milk_id = milk.id;
    let (base, used) = base(tx, full, places, milk)?;
    Ok((milk_id, base, used))
}

fn milk(tx: &mut WriteTx<'_>, full: bool, places: Places) -> Result<LotRow, StorageError> {
    let (kitchen, _, supplier, item, ..) = places;
    let entry = tx.entry();
    let delivery = add(tx, |id| DeliveryRow {
        id,
        entry,
        supplier_id: supplier,
        site_id: kitchen,
        document: "DDT 118".into(),
        arrived_at: at(6),
        note: text(full, "by the back door"),
    })?;
    let file = b"what a telephone saw";
    let document = add(tx, |id| DeliveryDocumentRow {
        id,
        entry,
        delivery_id: delivery,
        name: "note.jpg".into(),
        media_type: "image/jpeg".into(),
        size_bytes: 20,
        width: full.then_some(3024),
        height: full.then_some(4032),
        sha256: documents::sha256(file),
    })?;
    documents::keep(tx, document, file)?;
    let milk = tx.lot_id();
    let received = LotRow {
        id: milk,
        entry,
        day: day(),
        serial: i32::try_from(milk).unwrap(),
        item_id: item,
        site_id: kitchen,
        kind: "received".into(),
        supplier_id: Some(supplier),
        supplier_lot_code: text(full, "24-118"),
        delivery_id: full.then_some(delivery),
        batch_id: None,
        mass_mg: 12 * KG,
        came_to_be_at: at(6),
        mature_at: None,
        expires_on: full.then(day),
        expiry_kind: text(full, "use_by"),
    };
    tx.record(&received)?;
    add(tx, |id| DeliveryLineRow {
        id,
        entry,
        delivery_id: delivery,
        line: 1,
        item_id: item,
        supplier_lot_code: "24-118".into(),
        entered_amount: "11.65".into(),
        entered_unit: "l".into(),
        mass_mg: 12 * KG,
        expires_on: full.then(day),
        expiry_kind: text(full, "use_by"),
        temperature_tenths: full.then_some(-5),
        decision: if full { "put_aside" } else { "rejected" }.into(),
        reason: text(full, "a dented can"),
        lot_id: full.then_some(milk),
    })?;
    Ok(received)
}

fn base(
    tx: &mut WriteTx<'_>,
    full: bool,
    (kitchen, _, _, item, recipe_version_id, machine): Places,
    received: LotRow,
) -> Result<(i64, i64), StorageError> {
    let (entry, milk) = (tx.entry(), received.id);
    let batch = add(tx, |id| BatchRow {
        id,
        entry,
        recipe_version_id,
        site_id: kitchen,
        started_at: at(7),
        note: text(full, "a double one"),
    })?;
    let used = add(tx, |id| UseRow {
        id,
        entry,
        batch_id: batch,
        lot_id: milk,
        mass_mg: 4 * KG,
        entered_amount: "4".into(),
        entered_unit: "kg".into(),
        used_at: at(7),
        in_recipe: full,
        override_reason: text(full, "the chef says so"),
    })?;
    let voided = add(tx, |id| UseRow {
        id,
        entry,
        batch_id: batch,
        lot_id: milk,
        mass_mg: KG,
        entered_amount: "1".into(),
        entered_unit: "kg".into(),
        used_at: at(7),
        in_recipe: true,
        override_reason: None,
    })?;
    add(tx, |id| UseVoidRow { id, entry, use_id: voided, reason: "scanned twice".into() })?;
    add(tx, |id| UntrackedInputRow {
        id,
        entry,
        batch_id: batch,
        item_id: item,
        mass_mg: KG,
        entered_amount: "1".into(),
        entered_unit: "kg".into(),
        reason: text(full, "forgotten"),
    })?;
    add(tx, |id| BatchEquipmentRow {
        id,
        entry,
        batch_id: batch,
        equipment_id: machine,
        used_from: at(7),
        used_until: full.then(|| at(8)),
    })?;
    let reading = add(tx, |id| ReadingRow {
        id,
        entry,
        batch_id: batch,
        step: "heating".into(),
        celsius_tenths: 850,
        held_seconds: full.then_some(16),
        taken_at: at(8),
    })?;
    add(tx, |id| ReadingVoidRow { id, entry, reading_id: reading, reason: "mistyped".into() })?;
    add(tx, |id| CompletionRow {
        id,
        entry,
        batch_id: batch,
        completed_at: at(9),
        in_mg: 5 * KG,
        out_mg: 5 * KG,
        note: text(full, "smooth"),
    })?;
    let base = tx.lot_id();
    tx.record(&LotRow {
        id: base,
        serial: i32::try_from(base).unwrap(),
        kind: "base".into(),
        supplier_id: None,
        supplier_lot_code: None,
        delivery_id: None,
        batch_id: Some(batch),
        mass_mg: 5 * KG,
        came_to_be_at: at(9),
        mature_at: full.then(|| at(21)),
        ..received
    })?;
    Ok((base, used))
}

/// Every milligram of the two lots on its way; some of the base is sent, counted, held and turned away.
fn stock(
    tx: &mut WriteTx<'_>,
    full: bool,
    places: Places,
    (milk, base, used): (i64, i64, i64),
) -> Result<(), StorageError> {
    let (kitchen, shop, supplier, ..) = places;
    let entry = tx.entry();
    let transfer = add(tx, |id| TransferRow {
        id,
        entry,
        from_site_id: kitchen,
        to_site_id: shop,
        dispatched_at: at(10),
        note: text(full, "by bicycle"),
    })?;
    add(tx, |id| TransferLineRow { id, entry, transfer_id: transfer, lot_id: base, mass_mg: 3 * KG })?;
    let receipt = add(tx, |id| ReceiptRow {
        id,
        entry,
        transfer_id: transfer,
        received_at: at(11),
        note: text(full, "all cold"),
    })?;
    add(tx, |id| ReceiptLineRow {
        id,
        entry,
        receipt_id: receipt,
        lot_id: base,
        sent_mg: 3 * KG,
        received_mg: 3 * KG,
        damaged_mg: 0,
        reason: text(full, "none"),
    })?;
    let count =
        add(tx, |id| CountRow { id, entry, site_id: kitchen, counted_at: at(12), note: text(full, "in a hurry") })?;
    add(tx, |id| CountLineRow {
        id,
        entry,
        count_id: count,
        lot_id: base,
        state: "available".into(),
        expected_mg: 2 * KG,
        found_mg: 2 * KG + 500_000,
        reason: text(full, "weighed badly before"),
    })?;
    let hold = add(tx, |id| HoldRow { id, entry, lot_id: base, reason: "a smell".into() })?;
    add(tx, |id| HoldReleaseRow { id, entry, hold_id: hold, reason: "the drain".into() })?;
    add(tx, |id| LotRejectionRow { id, entry, lot_id: milk, reason: "sour".into() })?;

    let here = (kitchen, State::Available);
    let moves = [
        (milk, (kitchen, State::Supplier), here, 12 * KG),
        (milk, here, (kitchen, State::Production), 4 * KG),
        (base, (kitchen, State::Production), here, 5 * KG),
        (base, here, (kitchen, State::InTransit), 3 * KG),
        (base, (kitchen, State::InTransit), (shop, State::Available), 3 * KG),
        (base, (kitchen, State::CountDifference), here, 500_000),
        (base, (shop, State::Available), (shop, State::Open), KG),
        (base, (shop, State::Open), (shop, State::Served), KG / 4),
        (base, (shop, State::Open), (shop, State::Discarded), KG / 4),
        (base, (shop, State::Available), (shop, State::Consigned), KG),
    ];
    for (lot_id, from, to, mass_mg) in moves {
        let movement = MovementRow {
            id: tx.id(),
            entry,
            lot_id,
            kind: "test".into(),
            from_site_id: from.0,
            from_state: from.1.word().into(),
            to_site_id: to.0,
            to_state: to.1.word().into(),
            mass_mg,
            occurred_at: at(13),
            reason: text(full, "so it was"),
            use_id: full.then_some(used),
            transfer_id: full.then_some(transfer),
            count_id: full.then_some(count),
            partner_id: full.then_some(supplier),
            document: text(full, "DN-7"),
        };
        tx.move_mass(&movement)?;
    }
    Ok(())
}

/// What is in the milk, and what was cleaned and measured; the first statement is put right by the second.
fn allergens(tx: &mut WriteTx<'_>, full: bool, places: Places, milk: i64) -> Result<(), StorageError> {
    let (kitchen, shop, supplier, item, _, machine) = places;
    let entry = tx.entry();
    let mut wrong = None;
    for lot in [false, true] {
        let statement = add(tx, |id| StatementRow {
            id,
            entry,
            item_id: item,
            supplier_id: full.then_some(supplier),
            lot_id: lot.then_some(milk),
            in_force_from: (!lot).then(day),
            lists: "eu,ca".into(),
            contains: "milk".into(),
            may_contain: String::new(),
            sulphites_ppm: text(full, "10"),
            alcohol_percent_vol: text(full, "0.5"),
            document: "S-1".into(),
            note: text(full, "by letter"),
            corrects_id: wrong,
            reason: wrong.map(|_| "mistyped".to_owned()),
        })?;
        wrong = full.then_some(statement);
        add(tx, |id| StatementProteinRow {
            id,
            entry,
            statement_id: statement,
            substance: "milk".into(),
            percent: "3.3".into(),
        })?;
    }
    let mark = if full { "a" } else { "b" };
    let kind = add(tx, |id| CleanKindRow { id, entry, code: format!("wash-{mark}") })?;
    let version = add(tx, |id| CleanKindVersionRow {
        id,
        entry,
        clean_kind_id: kind,
        version: 1,
        name: "Wash".into(),
        clears: "everything".into(),
        active: true,
    })?;
    let clean = add(tx, |id| CleanRow {
        id,
        entry,
        equipment_id: machine,
        clean_kind_version_id: version,
        cleaned_at: at(14),
        note: text(full, "by hand"),
    })?;
    add(tx, |id| CleanVoidRow { id, entry, clean_id: clean, reason: "the other machine".into() })?;
    let run = BatchEquipmentRow::page(tx.conn()?, 0, 1000)?.pop().expect("a run of this round");
    add(tx, |id| EquipmentVoidRow { id, entry, batch_equipment_id: run.id, reason: "the other machine".into() })?;
    add(tx, |id| ServingWayRow { id, entry, site_id: shop, since: at(8), shared_scoop: full })?;
    add(tx, |id| ResidueRow {
        id,
        entry,
        equipment_id: machine,
        measured_at: at(15),
        mass_mg: 12_000,
        note: text(full, "weighed"),
    })?;
    add(tx, |id| CarryOverDefaultRow { id, entry, site_id: kitchen, mass_mg: 20_000 })?;
    Ok(())
}
