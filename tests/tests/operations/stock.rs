//! What is where, and that it is what the movements say.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use tubtrail_operations::completions::{NewOutput, OutputKind};
use tubtrail_operations::deliveries::{Expiry, ExpiryKind, NewDeliveryLine};
use tubtrail_operations::discards::Discard;
use tubtrail_operations::holds::Because;
use tubtrail_operations::items::{Item, ItemKind};
use tubtrail_operations::reorder_levels::NewReorderLevel;
use tubtrail_operations::sites::{Site, SiteKind};
use tubtrail_operations::stock::{StockAsked, StockRow, SumsAsked};
use tubtrail_operations::transfers::{NewTransfer, NewTransferLine};
use tubtrail_operations::tubs::Serving;
use tubtrail_operations::{Grams, Request, Role};
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, day, grams, item, line};
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::shelf::{
    all_as_sent, bring, done, house, make, number, on_book, open_at, output, parcel, problem, refused, send, someone,
    to_grams, tub, tubs,
};

on_both!(
    stock_is_the_sum_of_the_movements,
    stock_narrows,
    a_page_at_a_time_it_is_the_same,
    what_expires_soon_depends_on_where,
    what_expires_soon_depends_on_what_it_is,
    totals_add_up,
    what_is_below_its_level_is_told,
    stock_keeps_to_the_reach,
    bad_questions_name_their_field,
);

fn asked() -> StockAsked {
    StockAsked { limit: 500, ..StockAsked::default() }
}

fn sums() -> SumsAsked {
    SumsAsked { limit: 500, ..SumsAsked::default() }
}

fn show(house: &TestHouse, request: &Request, asked: &StockAsked) -> Vec<StockRow> {
    house.tubtrail.show_stock(request, asked).unwrap_or_else(|error| panic!("{error}")).items
}

/// Site, state, lot and grams of a row.
fn short(rows: &[StockRow]) -> Vec<(&str, &str, &str, i64)> {
    rows.iter().map(|row| (row.site.as_str(), row.state.as_str(), row.lot.as_str(), row.grams.mg() / 1000)).collect()
}

/// Something of everything: on the shelf, in the case, on the way, served, thrown away, missing.
fn busy(house: &TestHouse) -> BTreeMap<&'static str, String> {
    let system = Request::system();
    let milk = house.receive("dairy", "milk", "M-1", 8000);
    let opened = open_at(house, SHOP, 4000);
    done(house.tubtrail.serve_tub(&system, &opened, Serving { portions: Some(5), ..Serving::default() }));
    let lots = tubs(house, &[5000, 3000, 2000]);
    bring(house, SHOP, &[&lots[0]]);
    send(house, OTHER_SHOP, &[&lots[1]]);
    let part = NewTransferLine { lot: milk.clone(), quantity: Some(grams(1500)) };
    let sent = NewTransfer { lines: vec![part], ..parcel(SHOP, &[]) };
    let sent = done(house.tubtrail.dispatch_transfer(&system, sent)).id;
    done(house.tubtrail.receive_transfer(&system, sent, all_as_sent()));
    let bin = Discard {
        site: Some(KITCHEN.into()),
        state: None,
        quantity: Some(grams(500)),
        reason: Some("spilled".into()),
        discarded_at: None,
    };
    done(house.tubtrail.discard_lot(&system, &milk, bin));
    BTreeMap::from([
        ("milk", milk),
        ("opened", opened),
        ("shop", lots[0].clone()),
        ("away", lots[1].clone()),
        ("kitchen", lots[2].clone()),
    ])
}

fn stock_is_the_sum_of_the_movements(backend: Backend) {
    let house = house(backend);
    let lots = busy(&house);
    let rows = show(&house, &Request::system(), &asked());
    let mut expected = vec![
        (KITCHEN, "available", lots["milk"].as_str(), 6000),
        (KITCHEN, "available", lots["kitchen"].as_str(), 2000),
        (KITCHEN, "in_transit", lots["away"].as_str(), 3000),
        (SHOP, "available", lots["milk"].as_str(), 1500),
        (SHOP, "available", lots["shop"].as_str(), 5000),
        (SHOP, "open", lots["opened"].as_str(), 3600),
    ];
    let mut found = short(&rows);
    expected.sort_unstable();
    found.sort_unstable();
    assert_eq!(found, expected);
    for row in &rows {
        let booked = on_book(&house, &row.lot, &row.site, &row.state);
        assert!((to_grams(row.grams.mg()) - booked).abs() < f64::EPSILON, "{row:?}: {booked} g by its movements");
    }
}

fn stock_narrows(backend: Backend) {
    let house = house(backend);
    let lots = busy(&house);
    let system = Request::system();
    let lots_of = |asked: StockAsked| -> Vec<String> {
        let mut lots: Vec<_> = show(&house, &system, &asked).into_iter().map(|row| row.lot).collect();
        lots.sort_unstable();
        lots
    };
    let named = |names: &[&str]| {
        let mut lots: Vec<_> = names.iter().map(|name| lots[*name].clone()).collect();
        lots.sort_unstable();
        lots
    };
    let at = |site: &str| StockAsked { site: Some(site.into()), ..asked() };
    assert_eq!(lots_of(at(SHOP)), named(&["milk", "shop", "opened"]));
    assert!(lots_of(at(OTHER_SHOP)).is_empty(), "what is on the way counts as the sender's");
    let kind = |kind: &str| StockAsked { kind: Some(kind.into()), ..asked() };
    assert_eq!(lots_of(kind("tub")), named(&["opened", "shop", "away", "kitchen"]));
    assert_eq!(lots_of(kind("received")), named(&["milk", "milk"]));
    assert!(lots_of(kind("base")).is_empty());
    let state = |state: &str| StockAsked { state: Some(state.into()), ..asked() };
    assert_eq!(lots_of(state("open")), named(&["opened"]));
    assert_eq!(lots_of(state("in_transit")), named(&["away"]));
    assert_eq!(lots_of(StockAsked { item: Some("milk".into()), ..asked() }), named(&["milk", "milk"]));
    assert_eq!(lots_of(StockAsked { lot: Some(lots["shop"].clone()), ..asked() }), named(&["shop"]));
    let both = StockAsked { item: Some("gianduja".into()), ..at(SHOP) };
    assert_eq!(lots_of(both), named(&["shop", "opened"]));

    let because = Because { reason: Some("recalled".into()) };
    done(house.tubtrail.hold_lot(&system, &lots["shop"], because));
    let rows = show(&house, &system, &asked());
    let held: Vec<_> = rows.iter().filter(|row| row.on_hold).map(|row| row.lot.as_str()).collect();
    assert_eq!(held, [lots["shop"].as_str()]);
    let row = rows.iter().find(|row| row.lot == lots["shop"]).unwrap();
    let on = NaiveDate::from_ymd_opt(2026, 12, 31).unwrap();
    assert_eq!((row.item.as_str(), row.name.as_str(), row.kind.as_str()), ("gianduja", "Gianduja", "tub"));
    assert_eq!((row.expiry, row.mature_at), (Some(Expiry { kind: ExpiryKind::BestBefore, on }), None));
}

fn a_page_at_a_time_it_is_the_same(backend: Backend) {
    let house = house(backend);
    busy(&house);
    let system = Request::system();
    let whole = show(&house, &system, &asked());
    assert_eq!(whole.len(), 6);
    for limit in [1, 2, 4, 5, 6] {
        let mut pages = Vec::new();
        let mut after = String::new();
        loop {
            let page = house.tubtrail.show_stock(&system, &StockAsked { limit, after, ..asked() }).unwrap();
            assert!(page.items.len() <= limit as usize && !page.items.is_empty(), "{limit}: {}", page.items.len());
            pages.extend(page.items);
            let Some(next) = page.next else { break };
            after = next;
        }
        assert_eq!(pages, whole, "pages of {limit}");
    }
    let first = house.tubtrail.total_stock(&system, &SumsAsked { limit: 1, ..sums() }).unwrap();
    let rest = SumsAsked { after: first.next.unwrap(), ..sums() };
    let rest = house.tubtrail.total_stock(&system, &rest).unwrap();
    assert_eq!((first.items.len() + rest.items.len(), rest.next), (2, None), "milk and gianduja");
}

/// It is 3 November, 20:00 UTC: in Lisbon still the 3rd, in Auckland (UTC+13 in November) already the 4th.
fn what_expires_soon_depends_on_where(backend: Backend) {
    let house = house(backend);
    house.put(Site {
        code: "far-store".into(),
        name: "Far".into(),
        kind: SiteKind::StoreRoom,
        time_zone: "Pacific/Auckland".into(),
        gln: None,
        address: None,
        active: true,
        version: None,
    });
    let on = |day| NaiveDate::from_ymd_opt(2026, 11, day).unwrap();
    let good_until = |code: &str, day| NewDeliveryLine {
        expiry: Some(Expiry { kind: ExpiryKind::UseBy, on: on(day) }),
        ..line("milk", code, 1000)
    };
    let lines = vec![good_until("A", 3), good_until("B", 4), good_until("C", 5), good_until("D", 5)];
    let delivery = house.deliver("dairy", lines).unwrap();
    let undated = house.deliver("dairy", vec![NewDeliveryLine { expiry: None, ..line("sugar", "S", 1000) }]).unwrap();
    let lots: Vec<String> = delivery.lines.iter().chain(&undated.lines).map(|line| line.lot.clone().unwrap()).collect();
    bring(&house, "far-store", &[&lots[3]]);
    house.clock.set(day(3, 20));
    let soon = |asked: StockAsked| -> Vec<String> {
        let mut lots: Vec<_> = show(&house, &Request::system(), &asked).into_iter().map(|row| row.lot).collect();
        lots.sort_unstable();
        lots
    };
    let within = |days| StockAsked { expires_within_days: Some(days), ..asked() };
    assert_eq!(soon(within(0)), lots[..1]);
    assert_eq!(soon(within(1)), [&lots[0], &lots[1], &lots[3]].map(Clone::clone), "tomorrow is the 5th in Auckland");
    assert_eq!(soon(within(2)), lots[..4]);
    assert_eq!(soon(StockAsked { site: Some("far-store".into()), ..within(1) }), lots[3..4]);
    assert_eq!(soon(StockAsked { expires_by: Some(on(4)), ..asked() }), lots[..2]);
    assert!(soon(StockAsked { expires_by: Some(on(2)), ..asked() }).is_empty());
    house.clock.set(day(10, 8));
    assert_eq!(soon(within(0)), lots[..4], "what is past its date is among it; what has none is not");
}

/// It is 3 November. Milk is told of a day before its last one, butter a month before, and sugar says nothing of it: three days.
fn what_expires_soon_depends_on_what_it_is(backend: Backend) {
    let house = house(backend);
    house.clock.set(day(2, 8));
    house.put(Item { warn_days: Some(30), ..item("butter", ItemKind::Ingredient, true) });
    let with = |warn_days| {
        let milk: Item = house.tubtrail.get(&Request::system(), "milk").unwrap();
        let changed = Item { warn_days, ..milk };
        house.tubtrail.change(&Request::system(), "milk", changed).unwrap().answer
    };
    with(Some(5));
    assert_eq!(with(Some(1)).warn_days, Some(1), "the newest version counts");
    let good_until = |item: &str, code: &str, day| NewDeliveryLine {
        expiry: Some(Expiry { kind: ExpiryKind::BestBefore, on: NaiveDate::from_ymd_opt(2026, 11, day).unwrap() }),
        ..line(item, code, 1000)
    };
    let lines = vec![
        good_until("milk", "A", 2),
        good_until("milk", "B", 4),
        good_until("milk", "C", 5),
        good_until("butter", "D", 30),
        good_until("sugar", "E", 6),
        good_until("sugar", "F", 7),
    ];
    let lots: Vec<String> =
        house.deliver("dairy", lines).unwrap().lines.iter().map(|line| line.lot.clone().unwrap()).collect();
    house.clock.set(day(3, 8));
    let soon = |asked: StockAsked| -> Vec<usize> {
        let rows = show(&house, &Request::system(), &asked);
        lots.iter().enumerate().filter(|(_, lot)| rows.iter().any(|row| row.lot == **lot)).map(|(at, _)| at).collect()
    };
    let expires_soon = || StockAsked { expires_soon: true, ..asked() };
    assert_eq!(soon(expires_soon()), [0, 1, 3, 4], "what is past its date is among it");
    let four = StockAsked { expires_within_days: Some(4), ..expires_soon() };
    assert_eq!(soon(four), [0, 1, 3, 4, 5], "the figure is for what has none of its own");
    let within = StockAsked { expires_within_days: Some(2), ..asked() };
    assert_eq!(soon(within), [0, 1, 2], "a figure alone is for everything");
    let rows = show(&house, &Request::system(), &StockAsked { lot: Some(lots[3].clone()), ..asked() });
    assert_eq!(rows[0].warn_days, Some(30));
    with(None);
    assert_eq!(soon(expires_soon()), [0, 1, 2, 3, 4]);
}

fn totals_add_up(backend: Backend) {
    let house = house(backend);
    busy(&house);
    let total = |request: &Request, asked: &SumsAsked| -> Vec<(String, i64, i64, i64)> {
        let page = house.tubtrail.total_stock(request, asked).unwrap();
        let row = |sum: &tubtrail_operations::stock::StockSum| {
            let [available, open, in_transit] =
                [sum.available_grams, sum.open_grams, sum.in_transit_grams].map(|grams| grams.mg() / 1000);
            (sum.item.clone(), available, open, in_transit)
        };
        page.items.iter().map(row).collect()
    };
    let all = [("milk".to_owned(), 7500, 0, 0), ("gianduja".to_owned(), 7000, 3600, 3000)];
    assert_eq!(total(&Request::system(), &sums()), all);
    let shop = [("milk".to_owned(), 1500, 0, 0), ("gianduja".to_owned(), 5000, 3600, 0)];
    assert_eq!(total(&Request::system(), &SumsAsked { site: Some(SHOP.into()), ..sums() }), shop);
    assert_eq!(total(&someone(&house, Role::Shop, SHOP), &sums()), shop);
    // The same, straight from the movements.
    let moved = number(
        &house,
        "SELECT CAST(SUM(CASE WHEN to_state IN ('available', 'open', 'in_transit') THEN mass_mg ELSE 0 END \
         - CASE WHEN from_state IN ('available', 'open', 'in_transit') THEN mass_mg ELSE 0 END) AS BIGINT) AS number \
         FROM movements",
    );
    let grams: i64 = all.iter().map(|(_, available, open, in_transit)| available + open + in_transit).sum();
    assert_eq!(moved, grams * 1000);
}

fn what_is_below_its_level_is_told(backend: Backend) {
    let house = house(backend);
    let system = Request::system();
    house.receive("dairy", "milk", "M-1", 8000);
    house.receive("dairy", "milk", "M-2", 2000);
    let set = |item: &str, site: &str, mass: i64| {
        let new = NewReorderLevel { grams: Grams::from_mg(mass * 1000) };
        done(house.tubtrail.set_reorder_level(&system, item, site, new));
    };
    let below = |site: Option<&str>| -> Vec<(String, String, i64, i64)> {
        let asked = SumsAsked { site: site.map(Into::into), ..sums() };
        let page = house.tubtrail.list_below_reorder_level(&system, &asked).unwrap();
        let rows = page.items.into_iter();
        rows.map(|row| (row.item, row.site, row.level_grams.mg() / 1000, row.on_hand_grams.mg() / 1000)).collect()
    };
    let row = |item: &str, site: &str, level, on_hand| (item.to_owned(), site.to_owned(), level, on_hand);
    set("milk", KITCHEN, 10_000);
    assert!(below(None).is_empty(), "exactly the level is not below it");
    set("milk", KITCHEN, 10_001);
    set("sugar", KITCHEN, 5000);
    set("gianduja", SHOP, 6000);
    let all = [row("gianduja", SHOP, 6000, 0), row("milk", KITCHEN, 10_001, 10_000), row("sugar", KITCHEN, 5000, 0)];
    assert_eq!(below(None), all, "what there is nothing of is told too");
    assert_eq!(below(Some(KITCHEN)), all[1..]);
    // On the way is not yet on hand; in the case is.
    let lot = tub(&house, 5000);
    send(&house, SHOP, &[&lot]);
    open_at(&house, SHOP, 900);
    assert_eq!(below(Some(SHOP)), [row("gianduja", SHOP, 6000, 900)]);
    // The newest level counts, and zero is none.
    set("milk", KITCHEN, 0);
    set("sugar", KITCHEN, 1);
    assert_eq!(below(Some(KITCHEN)), [row("sugar", KITCHEN, 1, 0)]);
    let first = house.tubtrail.list_below_reorder_level(&system, &SumsAsked { limit: 1, ..sums() }).unwrap();
    let rest = SumsAsked { after: first.next.unwrap(), ..sums() };
    let rest = house.tubtrail.list_below_reorder_level(&system, &rest).unwrap();
    assert_eq!((first.items[0].item.as_str(), rest.items[0].item.as_str(), rest.next), ("gianduja", "sugar", None));
}

fn stock_keeps_to_the_reach(backend: Backend) {
    let house = house(backend);
    let lots = busy(&house);
    let device = someone(&house, Role::Device, SHOP);
    let rows = show(&house, &device, &asked());
    assert_eq!(rows.len(), 3);
    assert!(rows.iter().all(|row| row.site == SHOP));
    let elsewhere = StockAsked { site: Some(KITCHEN.into()), ..asked() };
    assert_eq!(refused(house.tubtrail.show_stock(&device, &elsewhere)), problem("not-found", "site"));
    let hidden = StockAsked { lot: Some(lots["kitchen"].clone()), ..asked() };
    assert_eq!(refused(house.tubtrail.show_stock(&device, &hidden)), problem("unknown-code", "lot"));
    assert_eq!(refused(house.tubtrail.total_stock(&device, &sums())), problem("forbidden", ""));
    assert_eq!(refused(house.tubtrail.list_below_reorder_level(&device, &sums())), problem("forbidden", ""));
    let nobody = Request::of(tubtrail_operations::Actor { name: "user:nobody".into(), grants: Vec::new() });
    assert_eq!(refused(house.tubtrail.show_stock(&nobody, &asked())), problem("forbidden", ""));
}

fn bad_questions_name_their_field(backend: Backend) {
    let house = house(backend);
    let remainder = NewOutput { item: Some("pistachio".into()), ..output(OutputKind::Remainder, 100) };
    make(&house, vec![remainder]);
    let with = |change: fn(&mut StockAsked)| {
        let mut asked = asked();
        change(&mut asked);
        asked
    };
    let bad = [
        (with(|asked| asked.site = Some("nowhere".into())), "unknown-code", "site"),
        (with(|asked| asked.item = Some("nothing".into())), "unknown-code", "item"),
        (with(|asked| asked.lot = Some("123".into())), "bad-lot-number", "lot"),
        (with(|asked| asked.kind = Some("barrel".into())), "invalid", "kind"),
        (with(|asked| asked.state = Some("served".into())), "invalid", "state"),
        (with(|asked| asked.expires_within_days = Some(3651)), "invalid", "expires_within_days"),
        (
            with(|asked| {
                (asked.expires_within_days, asked.expires_by) = (Some(1), NaiveDate::from_ymd_opt(2026, 11, 1));
            }),
            "invalid",
            "expires_within_days",
        ),
        (
            with(|asked| {
                (asked.expires_soon, asked.expires_by) = (true, NaiveDate::from_ymd_opt(2026, 11, 1));
            }),
            "invalid",
            "expires_soon",
        ),
        (with(|asked| asked.after = "1.open".into()), "invalid", "after"),
        (with(|asked| asked.after = "1.melted.2".into()), "invalid", "after"),
        (with(|asked| asked.after = "x.open.2".into()), "invalid", "after"),
        (with(|asked| asked.after = "1.open.2.3".into()), "invalid", "after"),
    ];
    for (asked, word, field) in bad {
        assert_eq!(refused(house.tubtrail.show_stock(&Request::system(), &asked)), problem(word, field), "{asked:?}");
    }
    assert_eq!(show(&house, &Request::system(), &with(|asked| asked.kind = Some("remainder".into()))).len(), 1);
}
