//! Tills and printers with a token of their own.

use tubtrail_operations::devices::{NewDevice, Revocation};
use tubtrail_operations::items::ItemKind;
use tubtrail_operations::{Actor, Grant, Request, Role, Tubtrail};
use tubtrail_tests::house::{KITCHEN, OTHER_SHOP, SHOP, item};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(a_device_acts_at_its_site_until_it_is_revoked, a_token_is_shown_once, devices_are_within_reach_or_not_there,);

fn till(site: &str) -> NewDevice {
    NewDevice { code: format!("{site}-till"), name: "Till".into(), site: site.into() }
}

/// An owner at the site of a device that is there.
fn owner_at(tubtrail: &Tubtrail, site: &str) -> Request {
    let spy = NewDevice { code: format!("{site}-spy"), name: "Spy".into(), site: site.into() };
    let token = tubtrail.create_device(&Request::system(), spy).expect("it is new").answer.token;
    let device = tubtrail.device_of_token(&token).expect("it is known");
    let grants = device.grants.iter().map(|grant| Grant { role: Role::Owner, site_id: grant.site_id }).collect();
    Request::of(Actor { name: "user:otto".into(), grants })
}

fn stolen() -> Revocation {
    Revocation { reason: "Stolen.".into() }
}

fn a_device_acts_at_its_site_until_it_is_revoked(backend: Backend) {
    let house = TestHouse::new(backend);
    let tubtrail = &house.tubtrail;
    let created = tubtrail.create_device(&Request::system(), till(SHOP)).expect("it is new").answer;
    assert!(created.token.starts_with("tubtrail_device_") && created.token.len() == 16 + 43, "{}", created.token);
    let actor = tubtrail.device_of_token(&created.token).expect("its token is good");
    assert_eq!(actor.name, "device:harbour-shop-till");
    assert!(actor.grants.len() == 1 && actor.grants[0].role == Role::Device && actor.grants[0].site_id.is_some());
    let at_hand = || tubtrail.device_at_hand(&created.token, tubtrail.last_commit().expect("there was one"));
    house.put(item("honey", ItemKind::Ingredient, true));
    assert_eq!(at_hand().expect("nobody became another").name, "device:harbour-shop-till");
    let wrong = created.token.replace("tubtrail_device_", "tubtrail_device_A");
    assert_eq!(tubtrail.device_of_token(&wrong).expect_err("it is nobody's").problem.word, "not-signed-in");

    let empty = Revocation { reason: " ".into() };
    let error = tubtrail.revoke_device(&Request::system(), "harbour-shop-till", empty).expect_err("no reason");
    assert_eq!((error.problem.word, error.field.as_deref()), ("needs-reason", Some("reason")));
    let revoked =
        tubtrail.revoke_device(&Request::system(), "harbour-shop-till", stolen()).expect("it is there").answer;
    assert_eq!((revoked.active, revoked.revoked_because.as_deref()), (false, Some("Stolen.")));
    assert!(at_hand().is_none());
    assert_eq!(tubtrail.device_of_token(&created.token).expect_err("it is revoked").problem.word, "not-signed-in");
    let error = tubtrail.revoke_device(&Request::system(), "harbour-shop-till", stolen()).expect_err("it was already");
    assert_eq!(error.problem.word, "already-revoked");
}

fn a_token_is_shown_once(backend: Backend) {
    let house = TestHouse::new(backend);
    let key = tubtrail_operations::Key { key: "k".into(), request_hash: "h".into() };
    let request = Request { key: Some(key), ..Request::system() };
    let created = house.tubtrail.create_device(&request, till(SHOP)).expect("it is new");
    let again = house.tubtrail.create_device(&request, till(SHOP)).err().expect("it is not shown again");
    assert_eq!(again.problem.word, "answer-shown-once");
    let mut conn = house.database().connect();
    let entries = tubtrail_storage::journal::entries_after(&mut conn, created.entry - 1, 10).expect("it can be read");
    assert_eq!(entries[0].answer, None, "the journal keeps no token");
}

fn devices_are_within_reach_or_not_there(backend: Backend) {
    let house = TestHouse::new(backend);
    let tubtrail = &house.tubtrail;
    let otto = owner_at(tubtrail, SHOP);
    tubtrail.create_device(&otto, till(SHOP)).expect("his own shop");
    let error = tubtrail.create_device(&otto, till(OTHER_SHOP)).err().expect("not his shop");
    assert_eq!(error.problem.word, "not-found");
    tubtrail.create_device(&Request::system(), till(KITCHEN)).expect("it is new");
    let error = tubtrail.revoke_device(&otto, "kitchen-till", stolen()).expect_err("not his kitchen");
    assert_eq!(error.problem.word, "not-found");
    let seen = tubtrail.list_devices(&otto, "", 10).expect("he may read").items;
    assert_eq!(
        seen.iter().map(|device| device.code.as_str()).collect::<Vec<_>>(),
        ["harbour-shop-spy", "harbour-shop-till"]
    );
    let error = tubtrail.create_device(&otto, till(SHOP)).err().expect("it is there");
    assert_eq!((error.problem.word, error.field.as_deref()), ("code-taken", Some("code")));
    let page = tubtrail.list_devices(&Request::system(), "", 2).expect("the system may read");
    assert_eq!((page.items.len(), page.next.as_deref()), (2, Some("harbour-shop-till")));
    let rest = tubtrail.list_devices(&Request::system(), "harbour-shop-till", 2).expect("the system may read");
    assert_eq!((rest.items.len(), rest.next), (1, None));
}
