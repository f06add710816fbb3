//! Coming in with a password, and having to wait.

use chrono::{DateTime, Duration, Utc};
use tubtrail_operations::passwords::Password;
use tubtrail_operations::sessions::{Credentials, Welcome};
use tubtrail_operations::users::{NewUser, RoleAt, UserChange};
use tubtrail_operations::{OperationError, Request, Role};
use tubtrail_tests::house::{SHOP, day};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    the_wait_grows_with_wrong_passwords,
    a_stranger_waits_like_anybody,
    who_is_right_in_time_begins_afresh,
    whoever_may_come_in_no_more_is_out,
    a_new_password_ends_every_session,
    of_many_attempts_at_once_few_are_looked_at,
);

const RIGHT: &str = "three scoops, one cone";
const WRONG: &str = "three scoops, two cones";

struct Tries {
    house: TestHouse,
    now: DateTime<Utc>,
}

impl Tries {
    fn new(backend: Backend) -> Self {
        let tries = Self { house: TestHouse::new(backend), now: day(2, 9) };
        tries.house.clock.set(tries.now);
        let roles = vec![RoleAt { role: Role::Shop, site: Some(SHOP.into()) }];
        let new = NewUser { login: "ines".into(), name: "Ines".into(), password: Password(RIGHT.into()), roles };
        tries.house.tubtrail.create_user(&Request::system(), new).expect("ines is new");
        tries
    }

    fn later(&mut self, seconds: i64) {
        self.now += Duration::seconds(seconds);
        self.house.clock.set(self.now);
    }

    fn attempt(&self, login: &str, password: &str) -> Result<Welcome, OperationError> {
        let credentials = Credentials { login: login.into(), password: Password(password.into()) };
        self.house.tubtrail.sign_in(&credentials, None)
    }

    /// The problem's word, and how long to wait.
    #[track_caller]
    fn refused(&self, login: &str, password: &str) -> (&'static str, Option<u32>) {
        let error = self.attempt(login, password).expect_err("it is refused");
        (error.problem.word, error.retry_after_seconds)
    }

    fn position(&self) -> i64 {
        self.house.tubtrail.is_ready().expect("the house is up")
    }

    fn change(&self, active: bool, password: Option<&str>) {
        let change = UserChange {
            name: "Ines".into(),
            active,
            roles: vec![RoleAt { role: Role::Shop, site: Some(SHOP.into()) }],
            password: password.map(|password| Password(password.into())),
            version: 1,
        };
        self.house.tubtrail.change_user(&Request::system(), "ines", change).expect("it is changed");
    }
}

/// Five failures cost nothing, then 30 s that double up to 15 min (common practice, no source).
fn the_wait_grows_with_wrong_passwords(backend: Backend) {
    let mut tries = Tries::new(backend);
    for _ in 0..5 {
        assert_eq!(tries.refused("ines", WRONG), ("wrong-password", None));
    }
    for wait in [30, 60, 120, 240, 480, 900, 900] {
        let before = tries.position();
        assert_eq!(tries.refused("ines", RIGHT), ("too-many-attempts", Some(wait)), "even the right one has to wait");
        tries.later(i64::from(wait) - 1);
        assert_eq!(tries.refused("ines", WRONG), ("too-many-attempts", Some(1)));
        assert_eq!(tries.position(), before, "an attempt that is not looked at is not written down");
        tries.later(1);
        assert_eq!(tries.refused("ines", WRONG), ("wrong-password", None));
        assert_eq!(tries.position(), before + 1, "one that is looked at is");
    }
    tries.later(900);
    assert_eq!(tries.attempt("ines", RIGHT).expect("she waited long enough").login, "ines");
}

fn a_stranger_waits_like_anybody(backend: Backend) {
    let mut tries = Tries::new(backend);
    let before = tries.position();
    for _ in 0..5 {
        assert_eq!(tries.refused("nobody", WRONG), ("wrong-password", None));
    }
    assert_eq!(tries.refused("nobody", WRONG), ("too-many-attempts", Some(30)));
    tries.later(30);
    assert_eq!(tries.refused("nobody", WRONG), ("wrong-password", None));
    assert_eq!(tries.refused("nobody", WRONG), ("too-many-attempts", Some(60)));
    assert_eq!(tries.position(), before, "strangers leave nothing in the journal");
}

fn who_is_right_in_time_begins_afresh(backend: Backend) {
    let tries = Tries::new(backend);
    for _ in 0..3 {
        for _ in 0..4 {
            assert_eq!(tries.refused("ines", WRONG).0, "wrong-password");
        }
        let welcome = tries.attempt("ines", RIGHT).expect("four failures cost nothing");
        assert_eq!(welcome.roles, [RoleAt { role: Role::Shop, site: Some(SHOP.into()) }]);
    }
}

fn whoever_may_come_in_no_more_is_out(backend: Backend) {
    let tries = Tries::new(backend);
    let welcome = tries.attempt("ines", RIGHT).expect("she may come in");
    let tubtrail = &tries.house.tubtrail;
    assert_eq!(tubtrail.user_of_session("ines", &welcome.mark).expect("she is in").name, "user:ines");
    tries.change(false, None);
    let error = tubtrail.user_of_session("ines", &welcome.mark).expect_err("her session is over at once");
    assert_eq!(error.problem.word, "session-over");
    assert!(tubtrail.user_at_hand("ines", &welcome.mark, tubtrail.last_commit().unwrap()).is_none());
    assert_eq!(tries.refused("ines", RIGHT), ("wrong-password", None), "and is told nothing more");
}

fn a_new_password_ends_every_session(backend: Backend) {
    let tries = Tries::new(backend);
    let before = tries.attempt("ines", RIGHT).expect("she may come in");
    let tubtrail = &tries.house.tubtrail;
    tubtrail.user_of_session("ines", &before.mark).expect("her session holds");
    tries.change(true, Some("four scoops, no cone"));
    assert_eq!(tubtrail.user_of_session("ines", &before.mark).expect_err("it is over").problem.word, "session-over");
    assert_eq!(tries.refused("ines", RIGHT).0, "wrong-password");
    let after = tries.attempt("ines", "four scoops, no cone").expect("the new one is right");
    tubtrail.user_of_session("ines", &after.mark).expect("the new session holds");
}

fn of_many_attempts_at_once_few_are_looked_at(backend: Backend) {
    let tries = Tries::new(backend);
    // Whether there is somebody of that name or not: the number of each answer must not tell.
    for login in ["ines", "nobody"] {
        let words: Vec<_> = std::thread::scope(|scope| {
            let attempts: Vec<_> = (0..18).map(|_| scope.spawn(|| tries.refused(login, WRONG).0)).collect();
            attempts.into_iter().map(|attempt| attempt.join().expect("it is refused")).collect()
        });
        let wrong = words.iter().filter(|word| **word == "wrong-password").count();
        assert_eq!(wrong, 5, "{login}: {words:?}");
        let due = ["wrong-password", "too-many-attempts", "busy"];
        assert!(words.iter().all(|word| due.contains(word)), "{login}: {words:?}");
    }
}
