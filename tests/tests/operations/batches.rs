//! Batches from beginning to end, lists of them, and write-ups.

use serde_json::{Value, json};
use tubtrail_domain::lot_number::LotNumber;
use tubtrail_operations::batch_equipment::NewEquipmentRuns;
use tubtrail_operations::batches::{Batch, NewBatch, WhichBatches};
use tubtrail_operations::completions::OutputKind::{Base, Remainder, Tub};
use tubtrail_operations::items::ItemKind;
use tubtrail_operations::readings::NewReadings;
use tubtrail_operations::sites::SiteKind;
use tubtrail_operations::trace::Direction;
use tubtrail_operations::uses::NewUses;
use tubtrail_operations::{Key, OperationError, Request, Role};
use tubtrail_tests::batches::{because, of, out, refused, sheet, untracked};
use tubtrail_tests::house::{KITCHEN, SHOP, day, equipment, site};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    from_milk_to_tubs,
    a_write_up_does_what_the_steps_do,
    a_refused_write_up_leaves_nothing,
    a_write_up_sent_twice_is_done_once,
    bad_sheets_name_the_field,
    equipment_and_readings_are_kept,
    who_may_not_see_a_batch_does_not,
    lists_narrow_and_turn_pages,
    days_are_asked_for_over_any_number_of_sites,
);

/// Two recipes and the lots for them: milk 8000, cream 2000, sugar 2000, pistachio paste 1000.
struct Stocked {
    house: TestHouse,
    milk: String,
    cream: String,
    sugar: String,
    paste: String,
}

fn stocked(backend: Backend) -> Stocked {
    let house = TestHouse::new(backend);
    house.recipe("white", "white-base", &[("milk", 6000), ("cream", 1500), ("sugar", 1500), ("water", 500)], 9300);
    house.recipe("pistachio-10", "pistachio", &[("white-base", 9000), ("pistachio-paste", 900)], 9700);
    let milk = house.receive("dairy", "milk", "M-1", 8000);
    let cream = house.receive("dairy", "cream", "C-1", 2000);
    let sugar = house.receive("dairy", "sugar", "S-1", 2000);
    let paste = house.receive("nut-mill", "pistachio-paste", "24-118", 1000);
    Stocked { house, milk, cream, sugar, paste }
}

fn whole(grams: tubtrail_operations::Grams) -> i64 {
    assert_eq!(grams.mg() % 1000, 0, "whole grams here");
    grams.mg() / 1000
}

// On paper:
//   base    in  6000 milk + 1500 cream + 1500 sugar + 500 water = 9500   out 9300                      lost 200
//   flavour in  9000 base + 900 paste                           = 9900   out 4800 + 4800 + 150 = 9750  lost 150
//   left    2000 milk, 500 cream, 500 sugar, 300 base, 100 paste
//   milk in a tub: 6000 x 9300/9500 x 9000/9300 x 4800/9900 = 2755.980861 g
fn from_milk_to_tubs(backend: Backend) {
    let Stocked { house, milk, cream, sugar, paste } = stocked(backend);
    let id = house.start("white");
    house.add(id, vec![of(&milk, 6000), of(&cream, 1500)]).expect("added");
    let added = house.add(id, vec![of(&sugar, 1500), untracked("water", 500)]).expect("added");
    assert_eq!((added.uses.len(), added.untracked.len(), whole(added.in_grams)), (1, 1, 9500));
    let done = house.complete(id, vec![out(Base, 9300)]).expect("completed");
    assert_eq!((whole(done.completion.in_grams), whole(done.completion.loss_grams)), (9500, 200));
    let base = done.outputs[0].lot.clone();
    assert!(base.starts_with("261102-0005-"), "the fifth lot of the day: {base}");
    // 06:00, and twelve hours on (common practice, no source).
    assert_eq!(done.outputs[0].mature_at, Some(day(2, 18)));

    let kept = house.tubtrail.get_lot(&Request::system(), &base).expect("it is there");
    assert_eq!((kept.came_to_be_at, kept.mature_at), (day(2, 6), done.outputs[0].mature_at));

    house.clock.set(day(3, 8));
    let flavour = house.start("pistachio-10");
    house.add(flavour, vec![of(&base, 9000), of(&paste, 900)]).expect("added");
    let done = house.complete(flavour, vec![out(Tub, 4800), out(Tub, 4800), out(Remainder, 150)]).expect("completed");
    assert_eq!((whole(done.completion.out_grams), whole(done.completion.loss_grams)), (9750, 150));
    let numbers: Vec<_> = done.outputs.iter().map(|made| &made.lot[..12]).collect();
    assert_eq!(numbers, ["261103-0001-", "261103-0002-", "261103-0003-"]);
    assert!(done.outputs.iter().all(|made| made.mature_at.is_none()), "a flavour does not rest");

    let left = [&milk, &cream, &sugar, &base, &paste].map(|lot| house.on_shelf(lot));
    assert_eq!(left, [2000, 500, 500, 300, 100]);
    assert_eq!(house.on_shelf(&done.outputs[0].lot), 4800);
    let trace = house.tubtrail.trace_lot(&Request::system(), &milk, Direction::Forward, "", 100).expect("a trace");
    let tub = trace.lots.iter().find(|lot| lot.lot == done.outputs[0].lot).expect("the milk is in the tub");
    assert!((tub.grams - 2_755.980_861).abs() < 0.000_001, "{}", tub.grams);

    let batch = house.batch(flavour);
    assert_eq!((batch.makes.as_str(), batch.recipe.as_str(), batch.recipe_version), ("pistachio", "pistachio-10", 1));
    assert_eq!((whole(batch.in_grams), whole(batch.out_grams), batch.loss_grams.map(whole)), (9900, 9750, Some(150)));
    assert!(batch.uses.iter().all(|one| one.in_recipe), "{:?}", batch.uses);
}

fn a_write_up_does_what_the_steps_do(backend: Backend) {
    let Stocked { house, milk, cream, sugar, .. } = stocked(backend);
    let uses = || vec![of(&milk, 3000), of(&cream, 750), of(&sugar, 750), untracked("water", 250)];
    let steps = house.start("white");
    house.add(steps, uses()).expect("added");
    house.complete(steps, vec![out(Base, 4650)]).expect("completed");
    let at_once = house.make("white", uses(), vec![out(Base, 4650)]);
    assert_eq!(in_short(&house.batch(steps)), in_short(&at_once));
    assert_eq!(house.batch(at_once.id), at_once, "what was answered is what stands");
    assert_eq!([&milk, &cream, &sugar].map(|lot| house.on_shelf(lot)), [2000, 500, 500]);
}

/// What two batches of the same have in common.
fn in_short(batch: &Batch) -> Value {
    let uses: Vec<_> = batch.uses.iter().map(|one| (&one.lot, one.grams, one.used_at, one.in_recipe)).collect();
    let made: Vec<_> = batch.outputs.iter().map(|made| (made.kind, made.grams, made.mature_at)).collect();
    let untracked: Vec<_> = batch.untracked.iter().map(|one| (&one.item, one.grams, one.in_recipe)).collect();
    json!([batch.started_at, uses, untracked, made, batch.in_grams, batch.out_grams, batch.loss_grams])
}

fn a_refused_write_up_leaves_nothing(backend: Backend) {
    let Stocked { house, milk, sugar, .. } = stocked(backend);
    // 8000 of milk are there: 5000 and 3000 are, and 1 more is not.
    let uses = vec![of(&milk, 5000), of(&sugar, 1000), of(&milk, 3000), of(&milk, 1)];
    let short = house.tubtrail.write_up_batch(&Request::system(), sheet("white", uses, vec![out(Base, 8000)]));
    let field = "uses[3].quantity.amount".to_owned();
    assert_eq!(refused(short), ("not-enough", field, vec![milk.clone()]));
    assert_eq!([&milk, &sugar].map(|lot| house.on_shelf(lot)), [8000, 2000]);
    let all = house.tubtrail.list_batches(&Request::system(), &WhichBatches { limit: 10, ..WhichBatches::default() });
    assert_eq!(all.expect("a list").items, []);
    let base = house.make("white", vec![of(&milk, 5000), of(&milk, 3000)], vec![out(Base, 8000)]);
    assert!(base.outputs[0].lot.starts_with("261102-0005-"), "the refused one took no number");
}

fn a_write_up_sent_twice_is_done_once(backend: Backend) {
    let Stocked { house, milk, .. } = stocked(backend);
    let keyed = |hash: &str| Request {
        key: Some(Key { key: "sheet-17".into(), request_hash: hash.into() }),
        ..Request::system()
    };
    let sheet = || sheet("white", vec![of(&milk, 5000)], vec![out(Base, 4900)]);
    let first = house.tubtrail.write_up_batch(&keyed("a"), sheet()).expect("done");
    let second = house.tubtrail.write_up_batch(&keyed("a"), sheet()).expect("answered");
    assert_eq!((first.replayed, second.replayed, first.entry), (false, true, second.entry));
    assert_eq!(first.answer, second.answer);
    assert_eq!(house.on_shelf(&milk), 3000);
    assert_eq!(refused(house.tubtrail.write_up_batch(&keyed("b"), sheet())).0, "key-reused");
}

fn bad_sheets_name_the_field(backend: Backend) {
    let Stocked { house, milk, paste, .. } = stocked(backend);
    house.put(site("other-kitchen", SiteKind::Kitchen));
    house.put(equipment("tank", KITCHEN, &[ItemKind::Base]));
    house.put(equipment("far-tank", "other-kitchen", &[ItemKind::Base]));
    let good = json!({"recipe": "white", "site": KITCHEN, "started_at": "2026-11-02T05:00:00Z",
        "uses": [{"lot": milk, "quantity": {"amount": 1, "unit": "kg"}, "used_at": "2026-11-02T06:00:00Z"},
            {"item": "water", "quantity": {"amount": 100, "unit": "g"}}],
        "equipment": [{"equipment": "tank", "from": "2026-11-02T05:00:00Z", "until": "2026-11-02T05:30:00Z"}],
        "readings": [{"step": "heating", "temperature_celsius": 85, "held_seconds": 16, "taken_at": "2026-11-02T05:20:00Z"}],
        "completed_at": "2026-11-02T06:00:00Z",
        "outputs": [{"kind": "base", "quantity": {"amount": 1000, "unit": "g"}}]});
    let mistyped = format!("{}{}", &milk[..milk.len() - 1], (milk.as_bytes()[milk.len() - 1] - b'0' + 1) % 10);
    let unknown = LotNumber::new(day(2, 0).date_naive(), 999).expect("a number").to_string();
    let many = |one: &str, count: usize| json!(vec![good.pointer(one).expect("a field").clone(); count]);
    let table: Vec<(&str, Value, &str, &str)> = vec![
        ("/recipe", json!("black"), "unknown-code", "recipe"),
        ("/site", json!("nowhere"), "unknown-code", "site"),
        ("/started_at", json!("2026-11-02T06:06:00Z"), "in-the-future", "started_at"),
        ("/started_at", json!("1999-11-02T06:00:00Z"), "invalid", "started_at"),
        ("/note", json!("a\u{0}b"), "invalid", "note"),
        ("/uses", many("/uses/0", 101), "invalid", "uses"),
        ("/uses/0/lot", json!(mistyped), "bad-lot-number", "uses[0].lot"),
        ("/uses/0/lot", json!(unknown), "unknown-code", "uses[0].lot"),
        ("/uses/0/lot", Value::Null, "invalid", "uses[0].lot"),
        ("/uses/0/item", json!("milk"), "invalid", "uses[0].item"),
        ("/uses/0/quantity/amount", json!(0), "bad-quantity", "uses[0].quantity.amount"),
        ("/uses/0/quantity/amount", json!("-1"), "bad-quantity", "uses[0].quantity.amount"),
        ("/uses/0/quantity/unit", json!("l"), "bad-quantity", "uses[0].quantity.unit"),
        ("/uses/0/quantity/unit", json!("stone"), "bad-quantity", "uses[0].quantity.unit"),
        ("/uses/0/quantity/amount", json!(9), "not-enough", "uses[0].quantity.amount"),
        ("/uses/0/used_at", json!("2026-11-02T07:00:00Z"), "in-the-future", "uses[0].used_at"),
        ("/uses/0/used_at", json!("2026-11-02T05:59:59Z"), "out-of-order", "uses[0].used_at"),
        ("/uses/0/reason", json!("x".repeat(2001)), "invalid", "uses[0].reason"),
        ("/uses/1/item", json!("milk"), "wrong-kind", "uses[1].item"),
        ("/uses/1/item", json!("oil"), "unknown-code", "uses[1].item"),
        ("/uses/1/used_at", json!("2026-11-02T05:00:00Z"), "invalid", "uses[1].used_at"),
        ("/equipment/0/equipment", json!("pan"), "unknown-code", "equipment[0].equipment"),
        ("/equipment/0/equipment", json!("far-tank"), "equipment-elsewhere", "equipment[0].equipment"),
        ("/equipment/0/until", json!("2026-11-02T04:59:00Z"), "out-of-order", "equipment[0].until"),
        ("/equipment/0/from", json!("2026-11-03T05:00:00Z"), "in-the-future", "equipment[0].from"),
        ("/equipment", many("/equipment/0", 51), "invalid", "equipment"),
        ("/readings/0/temperature_celsius", json!(301), "invalid", "readings[0].temperature_celsius"),
        ("/readings/0/held_seconds", json!(-1), "invalid", "readings[0].held_seconds"),
        ("/readings/0/taken_at", json!("2026-11-03T05:00:00Z"), "in-the-future", "readings[0].taken_at"),
        ("/readings", many("/readings/0", 101), "invalid", "readings"),
        ("/completed_at", json!("2026-11-02T05:59:00Z"), "out-of-order", "completed_at"),
        ("/completed_at", json!("2026-11-02T06:06:00Z"), "in-the-future", "completed_at"),
        ("/outputs", json!([]), "needs-reason", "note"),
        ("/outputs", many("/outputs/0", 501), "invalid", "outputs"),
        ("/outputs/0/kind", json!("tub"), "wrong-kind", "outputs[0].kind"),
        ("/outputs/0/kind", json!("component"), "wrong-kind", "outputs[0].kind"),
        ("/outputs/0/item", json!("yellow-base"), "wrong-kind", "outputs[0].item"),
        ("/outputs/0/item", json!("green-base"), "unknown-code", "outputs[0].item"),
        ("/outputs/0/quantity/amount", json!(1101), "more-out-than-in", "outputs"),
        ("/outputs/0/quantity/unit", json!("piece"), "bad-quantity", "outputs[0].quantity.unit"),
        ("/outputs/0/expiry", json!({"kind": "use_by", "on": "2026-11-01"}), "invalid", "outputs[0].expiry.on"),
    ];
    for (pointer, value, word, field) in table {
        let mut bad = good.clone();
        set(&mut bad, pointer, value.clone());
        let sheet = serde_json::from_value(bad).expect("the form is right");
        let outcome = house.tubtrail.write_up_batch(&Request::system(), sheet);
        let (found, at, _) = refused(outcome);
        assert_eq!((found, at.as_str()), (word, field), "{pointer} = {value}");
    }
    assert_eq!([&milk, &paste].map(|lot| house.on_shelf(lot)), [8000, 1000], "none of them took anything");
    let sheet = serde_json::from_value(good).expect("the form is right");
    house.tubtrail.write_up_batch(&Request::system(), sheet).expect("the sheet they all began with is a good one");
}

/// Sets a field that may not be there yet.
fn set(sheet: &mut Value, pointer: &str, value: Value) {
    let (parent, name) = pointer.rsplit_once('/').expect("a pointer");
    sheet.pointer_mut(parent).expect("its parent is there")[name] = value;
}

fn equipment_and_readings_are_kept(backend: Backend) {
    let Stocked { house, .. } = stocked(backend);
    house.put(equipment("tank", KITCHEN, &[ItemKind::Base]));
    house.put(equipment("case", SHOP, &[ItemKind::Flavour]));
    let batch = house.start("white");
    let runs: NewEquipmentRuns = serde_json::from_value(
        json!({"equipment": [{"equipment": "tank", "from": day(2, 5), "until": day(2, 6)}, {"equipment": "tank", "from": day(2, 6)}]}),
    )
    .expect("the form is right");
    let kept = house.tubtrail.add_batch_equipment(&Request::system(), batch, runs).expect("kept").answer;
    assert_eq!(kept.equipment, house.batch(batch).equipment);
    assert_eq!((kept.equipment[0].until, kept.equipment[1].until), (Some(day(2, 6)), None));
    let elsewhere: NewEquipmentRuns =
        serde_json::from_value(json!({"equipment": [{"equipment": "case", "from": day(2, 5)}]})).expect("the form");
    let elsewhere = house.tubtrail.add_batch_equipment(&Request::system(), batch, elsewhere);
    assert_eq!(refused(elsewhere).0, "equipment-elsewhere");

    let readings: NewReadings = serde_json::from_value(json!({"readings": [
        {"step": "cooling", "temperature_celsius": 3.96, "taken_at": day(2, 6)},
        {"step": "heating", "temperature_celsius": 85.25, "held_seconds": 16, "taken_at": day(2, 5)}]}))
    .expect("the form is right");
    let kept = house.tubtrail.add_readings(&Request::system(), batch, readings).expect("kept").answer.readings;
    assert_eq!(kept, house.batch(batch).readings);
    let temperatures: Vec<f64> = kept.iter().map(|reading| reading.temperature_celsius).collect();
    assert_eq!(temperatures, [85.3, 4.0], "in order of time, to a tenth");
    assert_eq!((kept[0].held_seconds, kept[1].held_seconds), (Some(16), None));
    let none = house.tubtrail.add_readings(&Request::system(), batch, NewReadings { readings: Vec::new() });
    let (word, field, _) = refused(none);
    assert_eq!((word, field.as_str()), ("invalid", "readings"));
}

fn who_may_not_see_a_batch_does_not(backend: Backend) {
    let Stocked { house, milk, .. } = stocked(backend);
    house.put(site("other-kitchen", SiteKind::Kitchen));
    let batch = house.make("white", vec![of(&milk, 1000)], vec![out(Base, 900)]);
    let open = house.start("white");
    let ours = house.someone(Role::Kitchen, Some(KITCHEN));
    let theirs = house.someone(Role::Kitchen, Some("other-kitchen"));
    let shop = house.someone(Role::Shop, Some(KITCHEN));
    let inspector = house.someone(Role::Inspector, None);
    let reads = |who: &Request| house.tubtrail.get_batch(who, open).map_err(|error| error.problem.word).map(|_| "read");
    assert_eq!(
        [&ours, &theirs, &shop, &inspector].map(reads),
        [Ok("read"), Err("not-found"), Err("forbidden"), Ok("read")]
    );
    let adds = |who: &Request| {
        let added = house.tubtrail.add_uses(who, open, NewUses { uses: vec![of(&milk, 10)] });
        added.map_err(|error| error.problem.word).map(|_| "added")
    };
    assert_eq!(
        [&ours, &theirs, &shop, &inspector].map(adds),
        [Ok("added"), Err("not-found"), Err("forbidden"), Err("forbidden")]
    );
    let starts = |who: &Request| {
        let new = NewBatch { recipe: "white".into(), site: KITCHEN.into(), started_at: None, note: None };
        refused(house.tubtrail.start_batch(who, new))
    };
    assert_eq!([&theirs, &shop].map(|who| starts(who).0), ["not-found", "forbidden"]);
    // A lot of ours is unknown to them, in a batch of theirs.
    let new = NewBatch { recipe: "white".into(), site: "other-kitchen".into(), started_at: None, note: None };
    let their_batch = house.tubtrail.start_batch(&theirs, new).expect("begun").answer.id;
    let taken = house.tubtrail.add_uses(&theirs, their_batch, NewUses { uses: vec![of(&milk, 1)] });
    assert_eq!(refused(taken), ("unknown-code", "uses[0].lot".to_owned(), vec![]));
    let listed = |who: &Request| {
        let page = house.tubtrail.list_batches(who, &WhichBatches { limit: 10, ..WhichBatches::default() });
        page.expect("a list").items.iter().map(|batch| batch.id).collect::<Vec<_>>()
    };
    assert_eq!(listed(&ours), [open, batch.id]);
    assert_eq!(listed(&theirs), [their_batch]);
    assert_eq!(listed(&inspector), [their_batch, open, batch.id]);
}

fn lists_narrow_and_turn_pages(backend: Backend) {
    let Stocked { house, milk, .. } = stocked(backend);
    // Lisbon keeps UTC in November; Auckland is 13 hours ahead (IANA time zone database).
    let far = house.put(tubtrail_operations::sites::Site {
        time_zone: "Pacific/Auckland".into(),
        ..site("far-kitchen", SiteKind::Kitchen)
    });
    let at = |site: &str, started_at| {
        let new = NewBatch { recipe: "white".into(), site: site.into(), started_at: Some(started_at), note: None };
        house.tubtrail.start_batch(&Request::system(), new).expect("begun").answer.id
    };
    house.clock.set(day(9, 6));
    let (here_1, here_2) = (at(KITCHEN, day(3, 23)), at(KITCHEN, day(4, 0)));
    let (far_1, far_2) = (at(&far.code, day(3, 10)), at(&far.code, day(3, 11)));
    let made = house.make("white", vec![of(&milk, 1000)], vec![out(Base, 900)]).id;
    let flavour = house.start("pistachio-10");
    let ids = |which: WhichBatches| -> Result<Vec<i64>, OperationError> {
        let page = house.tubtrail.list_batches(&Request::system(), &WhichBatches { limit: 10, ..which })?;
        Ok(page.items.iter().map(|batch| batch.id).collect())
    };
    let all = WhichBatches::default;
    let on = |day: u32| chrono::NaiveDate::from_ymd_opt(2026, 11, day);
    assert_eq!(ids(all()).unwrap(), [flavour, made, far_2, far_1, here_2, here_1]);
    assert_eq!(ids(WhichBatches { site: Some("far-kitchen".into()), ..all() }).unwrap(), [far_2, far_1]);
    assert_eq!(ids(WhichBatches { recipe: Some("pistachio-10".into()), ..all() }).unwrap(), [flavour]);
    assert_eq!(
        ids(WhichBatches { open: true, until: on(30), ..all() }).unwrap(),
        [flavour, far_2, far_1, here_2, here_1]
    );
    // Midnight of 4 November is 00:00 UTC here and 11:00 UTC of the day before there.
    assert_eq!(ids(WhichBatches { until: on(3), ..all() }).unwrap(), [far_1, here_1]);
    assert_eq!(ids(WhichBatches { from: on(4), until: on(4), ..all() }).unwrap(), [far_2, here_2]);
    assert_eq!(ids(WhichBatches { from: on(5), until: on(8), ..all() }).unwrap(), [0; 0]);
    let (word, field, _) = refused(ids(WhichBatches { from: on(5), until: on(4), ..all() }));
    assert_eq!((word, field.as_str()), ("invalid", "until"));

    let first = house.tubtrail.list_batches(&Request::system(), &WhichBatches { limit: 4, ..all() }).expect("a page");
    assert_eq!(
        first.items.iter().map(|batch| batch.completed_at.is_some()).collect::<Vec<_>>(),
        [false, true, false, false]
    );
    let rest = WhichBatches { after: first.next.expect("there is more"), ..all() };
    assert_eq!(ids(rest).unwrap(), [here_2, here_1]);
    assert_eq!(refused(ids(WhichBatches { after: "x".into(), ..all() })).1, "after");
    let late = house.add(made, vec![because("forgotten", of(&milk, 1))]);
    assert_eq!(late.expect("added").batch, made);
}

/// In three time zones, each with a day of its own: 2 November begins in Auckland (UTC+13) on the 1st at 11:00 UTC.
fn days_are_asked_for_over_any_number_of_sites(backend: Backend) {
    let Stocked { house, .. } = stocked(backend);
    let zones = ["Europe/Lisbon", "Pacific/Auckland", "America/Lima"];
    let rows = (0..1500).map(|number| format!("s-{number},S {number},kitchen,{},,\n", zones[number % 3]));
    let file = format!("code,name,kind,time_zone,gln,active\n{}", rows.collect::<String>());
    let imported = house.tubtrail.import(&Request::system(), "sites", file.as_bytes()).expect("they are new");
    assert_eq!(imported.answer.created, 1500);
    let start = |site: &str, at| {
        let new = NewBatch { recipe: "white".into(), site: site.into(), started_at: Some(at), note: None };
        house.tubtrail.start_batch(&Request::system(), new).expect("it begins").answer.id
    };
    house.clock.set(day(5, 6));
    let in_lisbon = start("s-1497", day(2, 12));
    let in_auckland = start("s-1498", day(2, 12));
    let in_lima = start("s-1499", day(3, 4));
    let on = |day: u32| {
        let day = chrono::NaiveDate::from_ymd_opt(2026, 11, day);
        let which = WhichBatches { from: day, until: day, limit: 10, ..WhichBatches::default() };
        let page = house.tubtrail.list_batches(&Request::system(), &which).expect("however many sites there are");
        page.items.iter().map(|batch| batch.id).collect::<Vec<_>>()
    };
    assert_eq!(on(2), [in_lima, in_lisbon], "in Lima the 3rd begins at 05:00 UTC");
    assert_eq!(on(3), [in_auckland]);
    assert_eq!(on(4), [0; 0]);
}
