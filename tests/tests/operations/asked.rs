//! What a commit asks of the database while recalls are in force: of what it brought, and never through all that a supplier sent, a
//! machine made or a site held. Nobody sees the difference but in a large house, so that the plans are looked at.

use std::cell::Cell;
use std::collections::BTreeSet;
use std::sync::Mutex;

use diesel::connection::{Instrumentation, InstrumentationEvent, set_default_instrumentation};
use diesel::sql_types::Text;
use diesel::{QueryableByName, RunQueryDsl, sql_query};
use tubtrail_operations::Request;
use tubtrail_operations::discards::Discard;
use tubtrail_operations::holds::Because;
use tubtrail_operations::items::ItemKind;
use tubtrail_operations::recalls::SeedAsked;
use tubtrail_operations::tubs::Emptying;
use tubtrail_operations::voids::UseVoid;
use tubtrail_tests::Backend;
use tubtrail_tests::batches::of;
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, day};

use crate::counts::{count, found};
use crate::recall_seeds::ran;
use crate::recalled::{begin, codes, lots, serve};
use crate::shelf::{bring, done, house, open_at, tub};

/// What was asked by the thread that writes.
static ASKED: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());

thread_local! {
    /// Whether the connections that are made here are listened to: other tests may run beside.
    static LISTENS: Cell<bool> = const { Cell::new(false) };
}

fn listen() -> Option<Box<dyn Instrumentation>> {
    if LISTENS.get() { Some(Box::new(hear)) } else { None }
}

#[expect(clippy::needless_pass_by_value, reason = "diesel calls it so")]
fn hear(event: InstrumentationEvent<'_>) {
    if let InstrumentationEvent::StartQuery { query, .. } = event
        && std::thread::current().name() == Some("writer")
    {
        let text = query.to_string();
        let text = text.split(" -- binds").next().unwrap_or_default();
        ASKED.lock().unwrap().insert(text.to_owned());
    }
}

#[derive(QueryableByName)]
struct Step {
    #[diesel(sql_type = Text)]
    detail: String,
}

/// Tables that grow with what is made and moved.
const GROWING: [&str; 20] = [
    "balances",
    "batch_equipment",
    "batches",
    "completions",
    "deliveries",
    "delivery_lines",
    "equipment_voids",
    "hold_releases",
    "holds",
    "journal",
    "lots",
    "movements",
    "readings",
    "receipt_lines",
    "receipts",
    "transfer_lines",
    "transfers",
    "untracked_inputs",
    "use_voids",
    "uses",
];

/// What few rows of such a table have in common. All that a supplier sent, or that happened at a site, are not few.
const SHARED_BY_FEW: [&str; 17] = [
    "(actor=? AND idempotency_key=?",
    "(batch_equipment_id=?",
    "(batch_id=?",
    // The last number of a day is found at the end of that index.
    "COVERING INDEX sqlite_autoindex_lots_2 (day=?)",
    "(day=? AND serial=?",
    "(delivery_id=?",
    "(entry=?",
    "(entry>? AND entry<?",
    "(hold_id=?",
    "(id=?",
    "(id>? AND id<?",
    "(lot_id=?",
    "(receipt_id=?",
    "(seq=?",
    "(supplier_id=? AND document=?",
    "(transfer_id=?",
    "(use_id=?",
];

/// Whether a step goes through more of a growing table the larger the house is.
fn is_wide(step: &str) -> bool {
    let mut words = step.split(' ').skip_while(|word| !["SCAN", "SEARCH"].contains(word)).skip(1);
    let grows = words.next().is_some_and(|table| GROWING.contains(&table));
    grows && !SHARED_BY_FEW.iter().any(|shared| step.contains(shared))
}

#[test]
fn a_commit_looks_at_what_it_brought() {
    LISTENS.set(true);
    set_default_instrumentation(listen).unwrap();
    let house = house(Backend::Sqlite);
    house.clock.set(day(2, 20));
    house.equipment("freezer", &[ItemKind::Flavour]);
    let recalled = house.receive("nut-mill", "hazelnut-paste", "24-118", 1000);
    ran(&house, "freezer", 9, 10);
    let sent = tub(&house, 1000);
    bring(&house, OTHER_SHOP, &[&sent]);
    let days = SeedAsked::SupplierDays {
        supplier: "nut-mill".into(),
        item: Some("hazelnut-paste".into()),
        from: day(1, 0).date_naive(),
        until: day(3, 0).date_naive(),
    };
    let swab = SeedAsked::Equipment { equipment: "freezer".into(), from: day(2, 9), until: Some(day(2, 11)) };
    let place = SeedAsked::Place { site: OTHER_SHOP.into(), state: None, from: day(2, 19), until: None };
    for seed in [days, codes(&["24-118"]), lots(&[&recalled]), swab, place] {
        begin(&house, vec![seed]);
    }
    ASKED.lock().unwrap().clear();

    house.clock.set(day(4, 20));
    ran(&house, "freezer", 12, 13);
    let (late, dented) = (tub(&house, 1000), tub(&house, 1000));
    bring(&house, OTHER_SHOP, &[&late]);
    let open = open_at(&house, SHOP, 1000);
    done(serve(&house, &open, 80));
    done(house.tubtrail.empty_tub(&Request::system(), &open, Emptying::default()));
    let because = || Because { reason: Some("a dent".into()) };
    let hold = done(house.tubtrail.hold_lot(&Request::system(), &dented, because()));
    done(house.tubtrail.release_hold(&Request::system(), hold.id, because()));
    done(
        house
            .tubtrail
            .count_site(&Request::system(), count(KITCHEN, vec![found(&dented, 900, "a spoonful is missing")])),
    );
    let thrown =
        Discard { site: None, state: None, quantity: None, reason: Some("it fell".into()), discarded_at: None };
    done(house.tubtrail.discard_lot(&Request::system(), &dented, thrown));
    let paste = house.receive("nut-mill", "hazelnut-paste", "24-119", 1000);
    let batch = house.start("gianduja");
    let used = house.add(batch, vec![of(&paste, 1000)]).expect("it is used");
    let void = UseVoid { reason: "it was another sack".into() };
    done(house.tubtrail.void_use(&Request::system(), used.uses[0].id, void));

    let asked = ASKED.lock().unwrap().clone();
    let looked_up = |text: &&String| ["SELECT", "UPDATE"].iter().any(|verb| text.starts_with(verb));
    // Of an empty list nothing is looked up, whatever the plan.
    let asked: Vec<&String> = asked.iter().filter(looked_up).filter(|text| !text.contains("(1=0)")).collect();
    for table in ["batch_equipment", "equipment_voids", "lots", "movements"] {
        let by_entry = format!("FROM `{table}` WHERE ((`{table}`.`entry` >");
        assert!(asked.iter().any(|text| text.contains(&by_entry)), "news of {table} are not asked for: {asked:#?}");
    }
    let conn = &mut house.database().connect();
    for text in asked {
        let steps: Vec<Step> = sql_query(format!("EXPLAIN QUERY PLAN {text}")).load(conn).unwrap();
        for step in steps {
            assert!(!is_wide(&step.detail), "{}\n{text}", step.detail);
        }
    }
}
