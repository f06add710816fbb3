//! What the tests of moving stock share: tubs to move, people to move them, and what the book says.

use chrono::NaiveDate;
use diesel::sql_types::{BigInt, Text};
use diesel::{QueryableByName, RunQueryDsl, sql_query};
use tubtrail_operations::completions::{NewOutput, OutputKind};
use tubtrail_operations::deliveries::{Expiry, ExpiryKind};
use tubtrail_operations::items::{CountedBy, Item, ItemKind, Keeping};
use tubtrail_operations::receipts::NewReceipt;
use tubtrail_operations::transfers::{NewTransfer, NewTransferLine, Transfer};
use tubtrail_operations::tubs::Opening;
use tubtrail_operations::uses::NewUse;
use tubtrail_operations::write_ups::NewWriteUp;
use tubtrail_operations::{Actor, Answered, Grams, Grant, OperationError, Request, Role};
use tubtrail_tests::house::{KITCHEN, grams};
use tubtrail_tests::{Backend, TestHouse};

/// What an operation answers.
pub type Operated<T> = Result<Answered<T>, OperationError>;

/// A house that makes tubs of `gianduja`, a flavour with portions of 80 g.
pub fn house(backend: Backend) -> TestHouse {
    let house = TestHouse::new(backend);
    house.put(Item {
        code: "gianduja".into(),
        name: "Gianduja".into(),
        kind: ItemKind::Flavour,
        counted: CountedBy::Mass,
        tracked: true,
        kept: Keeping::Frozen,
        warmest_arrival_celsius: None,
        portion_grams: Some(Grams::from_mg(80_000)),
        shelf_life_days: None,
        warn_days: None,
        active: true,
        version: None,
    });
    house.recipe("gianduja", "gianduja", &[("hazelnut-paste", 1000)], 1000);
    house
}

/// Makes tubs of so many grams at the kitchen, good until the end of the year.
#[track_caller]
pub fn tubs(house: &TestHouse, masses: &[u32]) -> Vec<String> {
    let made = make(house, masses.iter().map(|mass| output(OutputKind::Tub, *mass)).collect());
    assert_eq!(made.len(), masses.len());
    made
}

/// Makes one tub of so many grams at the kitchen.
#[track_caller]
pub fn tub(house: &TestHouse, mass: u32) -> String {
    tubs(house, &[mass]).remove(0)
}

/// An output of a batch, good until the end of the year.
pub fn output(kind: OutputKind, mass: u32) -> NewOutput {
    let on = NaiveDate::from_ymd_opt(2026, 12, 31).unwrap();
    NewOutput { kind, quantity: grams(mass), item: None, expiry: Some(Expiry { kind: ExpiryKind::BestBefore, on }) }
}

/// Makes one batch with these outputs at the kitchen, from paste received for it; answers their lot numbers.
#[track_caller]
pub fn make(house: &TestHouse, outputs: Vec<NewOutput>) -> Vec<String> {
    static PASTE: std::sync::atomic::AtomicU32 = std::sync::atomic::AtomicU32::new(1);
    let code = format!("P-{}", PASTE.fetch_add(1, std::sync::atomic::Ordering::Relaxed));
    let paste = house.receive("nut-mill", "hazelnut-paste", &code, 100_000);
    let new = NewWriteUp {
        recipe: "gianduja".into(),
        site: KITCHEN.into(),
        started_at: None,
        note: None,
        uses: vec![NewUse { lot: Some(paste), item: None, quantity: grams(100_000), used_at: None, reason: None }],
        equipment: Vec::new(),
        readings: Vec::new(),
        completed_at: None,
        outputs,
    };
    let batch = done(house.tubtrail.write_up_batch(&Request::system(), new));
    batch.outputs.into_iter().map(|made| made.lot).collect()
}

/// What was answered, where it was done.
#[track_caller]
pub fn done<T>(operated: Operated<T>) -> T {
    operated.unwrap_or_else(|error| panic!("{}: {error}", error.problem.word)).answer
}

/// The problem's word and the field at fault, where it was refused.
#[track_caller]
pub fn refused<T>(operated: Result<T, OperationError>) -> (&'static str, String) {
    match operated {
        Ok(_) => panic!("it was done"),
        Err(error) => (error.problem.word, error.field.unwrap_or_default()),
    }
}

/// A word and a field, to compare with [`refused`].
pub fn problem(word: &'static str, field: &str) -> (&'static str, String) {
    (word, field.to_owned())
}

/// Sends lots whole, from the kitchen to a site.
#[track_caller]
pub fn send(house: &TestHouse, to: &str, lots: &[&str]) -> Transfer {
    done(house.tubtrail.dispatch_transfer(&Request::system(), parcel(to, lots)))
}

/// Lots whole, from the kitchen to a site.
pub fn parcel(to: &str, lots: &[&str]) -> NewTransfer {
    let lines = lots.iter().map(|lot| NewTransferLine { lot: (*lot).into(), quantity: None }).collect();
    NewTransfer { from: KITCHEN.into(), to: to.into(), lines, dispatched_at: None, note: None }
}

/// Everything as it was sent.
pub fn all_as_sent() -> NewReceipt {
    NewReceipt { all_as_sent: true, ..NewReceipt::default() }
}

/// Sends lots whole from the kitchen to a site, and receives them there.
#[track_caller]
pub fn bring(house: &TestHouse, to: &str, lots: &[&str]) {
    let transfer = send(house, to, lots);
    done(house.tubtrail.receive_transfer(&Request::system(), transfer.id, all_as_sent()));
}

/// A tub of so many grams, open at a shop.
#[track_caller]
pub fn open_at(house: &TestHouse, shop: &str, mass: u32) -> String {
    let lot = tub(house, mass);
    bring(house, shop, &[&lot]);
    done(house.tubtrail.open_tub(&Request::system(), &lot, Opening::default()));
    lot
}

/// Someone with one role at one site.
pub fn someone(house: &TestHouse, role: Role, site: &str) -> Request {
    let site_id = number(house, &format!("SELECT id AS number FROM sites WHERE code = '{site}'"));
    Request::of(Actor {
        name: format!("user:{}-{site}", role.word()),
        grants: vec![Grant { role, site_id: Some(site_id) }],
    })
}

/// The grams a place holds of a lot, as the sum of its movements: a second reckoning beside the program's.
pub fn on_book(house: &TestHouse, lot: &str, site: &str, state: &str) -> f64 {
    let (day, serial) = (&lot[..6], lot[7..].split('-').next().unwrap());
    let (year, month, day) = (&day[..2], &day[2..4], &day[4..]);
    let end_of = |end: &str, sign: &str| {
        format!(
            "SELECT {sign}m.mass_mg AS mg FROM movements m JOIN lots l ON l.id = m.lot_id JOIN sites s \
             ON s.id = m.{end}_site_id WHERE l.day = '20{year}-{month}-{day}' AND l.serial = {serial} \
             AND s.code = '{site}' AND m.{end}_state = '{state}'"
        )
    };
    let query = format!(
        "SELECT CAST(COALESCE(SUM(mg), 0) AS BIGINT) AS number FROM ({} UNION ALL {}) AS sides",
        end_of("to", ""),
        end_of("from", "-")
    );
    to_grams(number(house, &query))
}

#[allow(clippy::cast_precision_loss)] // No test weighs more than nine thousand tonnes.
pub fn to_grams(mg: i64) -> f64 {
    mg as f64 / 1000.0
}

/// Asserts what the places of a lot hold, in grams.
#[track_caller]
pub fn assert_places(house: &TestHouse, lot: &str, places: &[(&str, &str, f64)]) {
    let found: Vec<_> =
        places.iter().map(|(site, state, _)| (*site, *state, on_book(house, lot, site, state))).collect();
    assert_eq!(found, places, "lot {lot}");
}

/// The one number of a query, in a column named `number`.
pub fn number(house: &TestHouse, query: &str) -> i64 {
    #[derive(QueryableByName)]
    struct Row {
        #[diesel(sql_type = BigInt)]
        number: i64,
    }
    let row: Row = sql_query(query).get_result(&mut house.database().connect()).unwrap();
    row.number
}

/// The kinds of a lot's movements, oldest first.
pub fn kinds(house: &TestHouse, lot: &str) -> Vec<String> {
    #[derive(QueryableByName)]
    struct Row {
        #[diesel(sql_type = Text)]
        kind: String,
    }
    let serial = lot[7..].split('-').next().unwrap();
    let query = format!(
        "SELECT m.kind FROM movements m JOIN lots l ON l.id = m.lot_id WHERE l.serial = {serial} \
         AND l.day = '20{}-{}-{}' ORDER BY m.id",
        &lot[..2],
        &lot[2..4],
        &lot[4..6]
    );
    let rows: Vec<Row> = sql_query(query).load(&mut house.database().connect()).unwrap();
    rows.into_iter().map(|row| row.kind).collect()
}
