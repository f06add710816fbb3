//! Photos and papers that came with a delivery.

use diesel::RunQueryDsl as _;
use tubtrail_operations::{Actor, Grant, OperationError, Request, Role};
use tubtrail_tests::house::{KITCHEN, SHOP, line};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    a_paper_is_kept_as_it_was_sent,
    what_is_no_paper_is_not_kept,
    out_of_reach_it_is_not_there,
    a_changed_file_is_found
);

/// A document of so many bytes, which no other has.
fn paper(bytes: usize, mark: u8) -> Vec<u8> {
    let mut file = b"%PDF-1.7\n".to_vec();
    file.resize(bytes - 6, mark);
    file.extend(b"%%EOF\n");
    file
}

#[track_caller]
fn delivery(house: &TestHouse) -> i64 {
    house.deliver("dairy", vec![line("milk", "M-1", 8000)]).expect("it is accepted").id
}

fn attach(house: &TestHouse, id: i64, name: &str, file: Vec<u8>) -> Result<i64, OperationError> {
    let done = house.tubtrail.attach_document(&Request::system(), id, name.to_owned(), file)?;
    Ok(done.answer.document)
}

/// 600 000 bytes lie in three pieces of 262 144 at most.
fn a_paper_is_kept_as_it_was_sent(backend: Backend) {
    let house = TestHouse::new(backend);
    let id = delivery(&house);
    let file = paper(600_000, b'a');
    let document = attach(&house, id, "Note 20417", file.clone()).expect("it is kept");
    let (shown, kept) = house.tubtrail.show_document(&Request::system(), document).expect("it is there");
    assert_eq!((kept == file, shown.bytes, shown.media_type.as_str()), (true, 600_000, "application/pdf"));
    assert_eq!((shown.name.as_str(), shown.width, shown.is_picture()), ("Note 20417", None, false));
    let listed = house.tubtrail.list_documents(&Request::system(), id).expect("they are there");
    assert_eq!((listed.delivery, listed.documents), (id, vec![shown]));
}

fn what_is_no_paper_is_not_kept(backend: Backend) {
    let house = TestHouse::new(backend);
    let id = delivery(&house);
    let refused = |name: &str, file: Vec<u8>| {
        let error = attach(&house, id, name, file).expect_err("it is not kept");
        (error.problem.word, error.field.unwrap_or_default())
    };
    assert_eq!(refused("note", b"<script>alert(1)</script>".to_vec()), ("invalid", "file".into()));
    assert_eq!(refused("note", Vec::new()), ("invalid", "file".into()));
    assert_eq!(refused("note", paper(8 * 1024 * 1024 + 1, b'a')), ("too-large", "file".into()));
    assert_eq!(refused(" ", paper(100, b'a')), ("invalid", "name".into()));
    for mark in 0..10 {
        attach(&house, id, "note", paper(100, mark)).expect("ten are kept");
    }
    assert_eq!(refused("again", paper(100, 3)), ("repeated", "file".into()));
    assert_eq!(refused("one more", paper(100, 11)), ("invalid", "file".into()));
    let listed = house.tubtrail.list_documents(&Request::system(), id).expect("they are there");
    assert_eq!(listed.documents.len(), 10, "what was refused left nothing");
}

fn out_of_reach_it_is_not_there(backend: Backend) {
    let house = TestHouse::new(backend);
    let id = delivery(&house);
    let document = attach(&house, id, "note", paper(100, b'a')).expect("it is kept");
    let mut conn = house.database().connect();
    let id_of = |conn: &mut _, code: &str| {
        let site = <tubtrail_storage::master_data::Site as tubtrail_storage::master_data::Noun>::by_code(conn, code);
        site.expect("it can be read").expect("it is there").row.id
    };
    let (shop, kitchen) = (id_of(&mut conn, SHOP), id_of(&mut conn, KITCHEN));
    let request = |role, site_id| {
        Request::of(Actor { name: "user:x".into(), grants: vec![Grant { role, site_id: Some(site_id) }] })
    };
    let word = |asks: &Request| {
        let listed = house.tubtrail.list_documents(asks, id).map(drop);
        let shown = house.tubtrail.show_document(asks, document).map(drop);
        let attached = house.tubtrail.attach_document(asks, id, "x".into(), paper(100, b'b')).map(drop);
        [listed, shown, attached].map(|done| done.map_or_else(|error| error.problem.word, |()| "done"))
    };
    assert_eq!(word(&request(Role::Kitchen, shop)), ["not-found"; 3]);
    assert_eq!(word(&request(Role::Shop, kitchen)), ["forbidden"; 3]);
    assert_eq!(word(&request(Role::Inspector, kitchen)), ["done", "done", "forbidden"]);
    assert_eq!(word(&request(Role::Kitchen, kitchen)), ["done"; 3]);
}

/// Whoever gets past the triggers is found out by the hash in the journal.
fn a_changed_file_is_found(backend: Backend) {
    let house = TestHouse::new(backend);
    let id = delivery(&house);
    let document = attach(&house, id, "note", paper(300_000, b'a')).expect("it is kept");
    house.database().spoiled();
    let mut conn = house.database().connect();
    let change = format!("UPDATE document_pieces SET bytes = bytes WHERE document_id = {document}");
    assert!(diesel::sql_query(&change).execute(&mut conn).is_err(), "the trigger refuses it");
    let extra = match backend {
        Backend::Sqlite => format!("INSERT INTO document_pieces VALUES ({document}, 3, x'00')"),
        Backend::Postgres => format!("INSERT INTO document_pieces VALUES ({document}, 3, '\\x00')"),
    };
    diesel::sql_query(&extra).execute(&mut conn).expect("nothing but the hash keeps one from adding");
    let wrong = house.tubtrail.verify().expect("it can be read").wrong.expect("it is found");
    assert_eq!((wrong.table.as_str(), wrong.row), ("document_pieces", document.to_string()));
    let shown = house.tubtrail.show_document(&Request::system(), document).expect_err("it is not shown");
    assert_eq!(shown.problem.word, "internal");
}
