//! Reading the journal.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use tubtrail_operations::Request;
use tubtrail_operations::deliveries::NewDelivery;
use tubtrail_operations::journal::{JournalEntry, JournalSearch};
use tubtrail_operations::reach::Role;
use tubtrail_tests::house::{KITCHEN, SHOP, line};
use tubtrail_tests::{Backend, TestHouse, on_both};

use crate::bench::{everywhere, someone};

on_both!(
    entries_are_found_by_who_what_and_where,
    the_journal_is_read_backward_page_by_page_and_followed_forward,
    only_owner_and_inspector_of_the_whole_house_may_read_it,
    whoever_listens_hears_of_every_commit,
);

fn deliver(house: &TestHouse, request: &Request, document: &str) {
    let new = NewDelivery {
        supplier: "dairy".into(),
        site: KITCHEN.into(),
        document: document.into(),
        arrived_at: None,
        note: None,
        lines: vec![line("milk", document, 100)],
    };
    house.tubtrail.receive_delivery(request, new).unwrap_or_else(|error| panic!("{error}"));
}

fn list(house: &TestHouse, search: &JournalSearch) -> Vec<JournalEntry> {
    house.tubtrail.list_journal(&Request::system(), search, 200).unwrap_or_else(|error| panic!("{error}")).items
}

fn entries_are_found_by_who_what_and_where(backend: Backend) {
    let house = TestHouse::new(backend);
    let someone = someone(&house, Role::Kitchen, KITCHEN);
    deliver(&house, &someone, "D-1");
    deliver(&house, &Request::system(), "D-2");
    let all = JournalSearch::default;
    let documents = |search: JournalSearch| -> Vec<String> {
        let entries = list(&house, &search);
        let answers = entries.iter().filter_map(|entry| entry.answer.as_ref()?["document"].as_str());
        answers.map(str::to_owned).collect()
    };
    assert_eq!(documents(all()), ["D-2", "D-1"]);
    assert_eq!(documents(JournalSearch { actor: Some("user:someone".into()), ..all() }), ["D-1"]);
    assert_eq!(documents(JournalSearch { operation: Some("receive_delivery".into()), ..all() }), ["D-2", "D-1"]);
    assert_eq!(documents(JournalSearch { operation: Some("create_item".into()), ..all() }), [""; 0]);
    assert_eq!(list(&house, &JournalSearch { site: Some(KITCHEN.into()), ..all() }).len(), 2);
    assert_eq!(list(&house, &JournalSearch { site: Some(SHOP.into()), ..all() }).len(), 0);
    let entry = &list(&house, &all())[0];
    // The clock of this house stands still.
    let until = |moment| documents(JournalSearch { until: Some(moment), ..all() });
    assert_eq!(until(entry.recorded_at), [""; 0]);
    assert_eq!(until(entry.recorded_at + chrono::Duration::seconds(1)), ["D-2", "D-1"]);
    let tables: Vec<_> = entry.changes.iter().map(|change| (change.table.as_str(), change.count)).collect();
    assert_eq!(tables, [("deliveries", 1), ("lots", 1), ("movements", 1), ("delivery_lines", 1)]);
    assert_eq!((entry.actor.as_str(), entry.site.as_deref()), ("system", Some(KITCHEN)));
    let unknown = JournalSearch { site: Some("nowhere".into()), ..all() };
    let refused = house.tubtrail.list_journal(&Request::system(), &unknown, 1).unwrap_err();
    assert_eq!((refused.problem.word, refused.field.as_deref()), ("unknown-code", Some("site")));
}

fn the_journal_is_read_backward_page_by_page_and_followed_forward(backend: Backend) {
    let house = TestHouse::new(backend);
    for document in 0..5 {
        deliver(&house, &Request::system(), &format!("D-{document}"));
    }
    let (mut backward, mut search) = (Vec::new(), JournalSearch::default());
    loop {
        let page = house.tubtrail.list_journal(&Request::system(), &search, 4).unwrap();
        assert!(page.items.len() <= 4);
        backward.extend(page.items);
        let Some(next) = page.next else { break };
        search.before = Some(next);
    }
    let (mut forward, mut after): (Vec<JournalEntry>, i64) = (Vec::new(), 0);
    loop {
        let more = house.tubtrail.follow_changes(&Request::system(), after, 3).unwrap();
        let Some(last) = more.last() else { break };
        after = last.seq;
        forward.extend(more);
    }
    backward.reverse();
    assert_eq!(forward, backward);
    assert!(forward.iter().zip(1..).all(|(entry, seq)| entry.seq == seq), "no entry is missing");
    assert!(forward.windows(2).all(|pair| pair[1].previous_hash == pair[0].hash), "each follows the one before");
    for beyond in [after + 1, -1] {
        let refused = house.tubtrail.follow_changes(&Request::system(), beyond, 3).unwrap_err();
        assert_eq!((refused.problem.word, refused.field.as_deref()), ("invalid", Some("after")));
    }
}

fn only_owner_and_inspector_of_the_whole_house_may_read_it(backend: Backend) {
    let house = TestHouse::new(backend);
    let asked = |request: &Request| {
        let listed = house.tubtrail.list_journal(request, &JournalSearch::default(), 1);
        let followed = house.tubtrail.follow_changes(request, 0, 1);
        (listed.map_err(|error| error.problem.word).is_ok(), followed.map_err(|error| error.problem.word).is_ok())
    };
    assert_eq!(asked(&everywhere(Role::Owner)), (true, true));
    assert_eq!(asked(&everywhere(Role::Inspector)), (true, true));
    for role in [Role::Kitchen, Role::Shop, Role::Device] {
        assert_eq!(asked(&everywhere(role)), (false, false), "{role:?}");
    }
    for role in Role::ALL {
        assert_eq!(asked(&someone(&house, role, KITCHEN)), (false, false), "{role:?} at one site");
    }
}

fn whoever_listens_hears_of_every_commit(backend: Backend) {
    let house = TestHouse::new(backend);
    let heard = Arc::new(AtomicI64::new(0));
    let ear = Arc::clone(&heard);
    house.tubtrail.on_commit(move |position| ear.store(position, Ordering::SeqCst));
    for document in 0..3 {
        deliver(&house, &Request::system(), &format!("D-{document}"));
        let last = list(&house, &JournalSearch::default())[0].seq;
        assert_eq!(heard.load(Ordering::SeqCst), last, "it was told before the command was answered");
    }
}
