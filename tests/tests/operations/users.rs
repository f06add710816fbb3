//! Who may come in, and who may say so.

use tubtrail_operations::passwords::Password;
use tubtrail_operations::users::{NewUser, RoleAt, User, UserChange};
use tubtrail_operations::{Actor, Grant, OperationError, Request, Role};
use tubtrail_tests::house::{KITCHEN, SHOP};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    a_person_is_known_by_their_newest_version,
    what_makes_no_sense_is_blamed_on_its_field,
    somebody_remains_who_may_do_everything,
    only_owners_everywhere_decide,
    a_password_is_nowhere_to_be_read,
);

fn at(role: Role, site: Option<&str>) -> RoleAt {
    RoleAt { role, site: site.map(Into::into) }
}

fn new(login: &str, roles: Vec<RoleAt>) -> NewUser {
    NewUser { login: login.into(), name: login.into(), password: Password("a gelato a day".into()), roles }
}

fn change(version: i32, active: bool, roles: Vec<RoleAt>) -> UserChange {
    UserChange { name: "Someone".into(), active, roles, password: None, version }
}

fn create(house: &TestHouse, new: NewUser) -> Result<User, OperationError> {
    Ok(house.tubtrail.create_user(&Request::system(), new)?.answer)
}

fn alter(house: &TestHouse, login: &str, change: UserChange) -> Result<User, OperationError> {
    Ok(house.tubtrail.change_user(&Request::system(), login, change)?.answer)
}

fn blame(error: &OperationError) -> (&'static str, &str) {
    (error.problem.word, error.field.as_deref().unwrap_or("-"))
}

fn a_person_is_known_by_their_newest_version(backend: Backend) {
    let house = TestHouse::new(backend);
    let added = create(&house, new("karl", vec![at(Role::Kitchen, Some(KITCHEN))])).expect("karl is new");
    assert_eq!((added.version, added.active), (1, true));
    let roles = vec![at(Role::Shop, Some(SHOP)), at(Role::Kitchen, None)];
    let changed = alter(&house, "karl", change(1, true, roles.clone())).expect("it is version 1");
    assert_eq!((changed.version, &changed.roles, changed.name.as_str()), (2, &roles, "Someone"));
    let error = alter(&house, "karl", change(1, true, roles)).expect_err("it is version 2");
    assert_eq!(blame(&error), ("version-moved", "version"));
    let page = house.tubtrail.list_users(&Request::system(), "", 100).expect("the system may read");
    assert_eq!(page.items, [changed]);
    assert_eq!(page.next, None);
}

fn what_makes_no_sense_is_blamed_on_its_field(backend: Backend) {
    let house = TestHouse::new(backend);
    let owner = || vec![at(Role::Owner, None)];
    create(&house, new("olga", owner())).expect("olga is new");
    let short = NewUser { password: Password("too short".into()), ..new("karl", owner()) };
    let nameless = NewUser { name: " ".into(), ..new("karl", owner()) };
    let cases = [
        (new("Karl!", owner()), ("invalid", "login")),
        (short, ("invalid", "password")),
        (nameless, ("invalid", "name")),
        (new("karl", vec![]), ("invalid", "roles")),
        (new("karl", vec![at(Role::Shop, Some("nowhere"))]), ("unknown-code", "roles[0].site")),
        (new("karl", vec![at(Role::Owner, None), at(Role::Device, Some(SHOP))]), ("invalid", "roles[1].role")),
        (new("karl", vec![at(Role::Shop, None), at(Role::Shop, None)]), ("repeated", "roles[1].role")),
        (new("olga", owner()), ("code-taken", "login")),
    ];
    for (new, due) in cases {
        let error = create(&house, new).expect_err(due.1);
        assert_eq!(blame(&error), due);
    }
    let error = alter(&house, "nobody", change(1, true, owner())).expect_err("there is no nobody");
    assert_eq!(error.problem.word, "not-found");
}

fn somebody_remains_who_may_do_everything(backend: Backend) {
    let house = TestHouse::new(backend);
    create(&house, new("olga", vec![at(Role::Owner, None)])).expect("olga is new");
    create(&house, new("otto", vec![at(Role::Owner, Some(SHOP))])).expect("otto is new");
    let less = [(true, vec![at(Role::Owner, Some(SHOP))]), (false, vec![at(Role::Owner, None)])];
    for (active, roles) in less {
        let error = alter(&house, "olga", change(1, active, roles)).expect_err("otto is an owner at one site only");
        assert_eq!(blame(&error), ("last-owner", "roles"));
    }
    alter(&house, "otto", change(1, true, vec![at(Role::Owner, None)])).expect("otto rises");
    alter(&house, "olga", change(1, false, vec![at(Role::Owner, None)])).expect("otto remains");
    let error = alter(&house, "otto", change(2, false, vec![at(Role::Owner, None)])).expect_err("olga is gone");
    assert_eq!(error.problem.word, "last-owner", "whoever may come in no more does not count");
}

fn only_owners_everywhere_decide(backend: Backend) {
    let house = TestHouse::new(backend);
    let of = |role, site_id| Request::of(Actor { name: "user:x".into(), grants: vec![Grant { role, site_id }] });
    for request in [of(Role::Owner, Some(1)), of(Role::Kitchen, None), of(Role::Inspector, None)] {
        let refused = house.tubtrail.create_user(&request, new("karl", vec![at(Role::Owner, None)]));
        assert_eq!(refused.expect_err("they may not").problem.word, "forbidden");
    }
    house.tubtrail.list_users(&of(Role::Inspector, None), "", 10).expect("an inspector of the house reads all");
    let refused = house.tubtrail.list_users(&of(Role::Inspector, Some(1)), "", 10);
    assert_eq!(refused.expect_err("one of a single site does not").problem.word, "forbidden");
}

/// Neither in an answer nor in what the journal keeps of the request: not even as a fast hash.
fn a_password_is_nowhere_to_be_read(backend: Backend) {
    let house = TestHouse::new(backend);
    let key = |hash: &str| {
        let key = tubtrail_operations::Key { key: "k".into(), request_hash: hash.into() };
        Request { key: Some(key), ..Request::system() }
    };
    let karl = || new("karl", vec![at(Role::Kitchen, None)]);
    let first = house.tubtrail.create_user(&key("a hash of the whole body"), karl()).expect("karl is new");
    let again = house.tubtrail.create_user(&key("the same"), karl()).expect("it is a retry");
    assert!(again.replayed && again.answer == first.answer, "the hash that came along plays no part");
    let other = NewUser { name: "Carl".into(), ..karl() };
    let refused = house.tubtrail.create_user(&key("the same"), other).expect_err("it is another request");
    assert_eq!(refused.problem.word, "key-reused");
    let other = NewUser { password: Password("a gelato a week".into()), ..karl() };
    let refused = house.tubtrail.create_user(&key("the same"), other).expect_err("nobody has that password now");
    assert_eq!(refused.problem.word, "key-reused");
    let with = |password: Option<&str>| UserChange {
        password: password.map(|password| Password(password.into())),
        ..change(1, true, vec![at(Role::Kitchen, None)])
    };
    let second = |with: UserChange| {
        let key = tubtrail_operations::Key { key: "k2".into(), request_hash: String::new() };
        house.tubtrail.change_user(&Request { key: Some(key), ..Request::system() }, "karl", with)
    };
    assert!(!second(with(Some("two gelati a day"))).expect("it is changed").replayed);
    // The password of that time counts, not the one in force.
    let later = UserChange { password: Some(Password("a cone will do".into())), version: 2, ..with(None) };
    alter(&house, "karl", later).expect("it is version 2");
    assert!(second(with(Some("two gelati a day"))).expect("it is a retry").replayed);
    for password in [Some("a cone will do"), None] {
        assert_eq!(second(with(password)).expect_err("it is another request").problem.word, "key-reused");
    }
    let mut conn = house.database().connect();
    let entries = tubtrail_storage::journal::entries_after(&mut conn, 0, 1000).expect("the journal can be read");
    for entry in entries {
        let answer = entry.answer.unwrap_or_default();
        assert!(!answer.contains("password") && !answer.contains("argon2"), "{answer}");
        assert_ne!(entry.request_hash.as_deref(), Some("a hash of the whole body"));
    }
}
