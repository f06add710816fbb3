//! Sessions: people come in with a password, and are known again by what their session says of them.

use std::collections::HashMap;

use chrono::NaiveDateTime;
use parking_lot::{Mutex, RwLock};
use serde::{Deserialize, Serialize};
use tubtrail_domain::lockout::wait_after;
use tubtrail_domain::say;
use tubtrail_storage::people::{self as stored, LoginAttemptRow, failures_in_a_row, user_by_login};
use tubtrail_storage::{AnyConnection, journal};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::passwords::Password;
use crate::reach::{Actor, Grant, Operation, Request, Role};
use crate::tubtrail::Tubtrail;
use crate::users::{RoleAt, grants_of, roles_at};
use crate::{devices, digest, problems};

/// Coming in asks for no role, so it is not among the operations of [`crate::reach`].
static SIGN_IN: Operation = Operation { id: "sign_in", roles: &[] };

/// Failures counted; the wait is the longest by then.
const COUNTED: i64 = 16;
/// Logins of nobody whose failures are remembered.
const STRANGERS: usize = 10_000;
/// Longest login that is looked at, in bytes.
const LOGIN: usize = 200;

/// What someone who comes in gives.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"login": "ines", "password": "three scoops, one cone"}))]
pub struct Credentials {
    /// Their login.
    #[schema(max_length = 40)]
    pub login: String,
    /// Their password.
    pub password: Password,
}

/// Someone who came in.
#[derive(Clone, Debug)]
pub struct Welcome {
    /// Their login.
    pub login: String,
    /// As shown.
    pub name: String,
    /// What they are, where.
    pub roles: Vec<RoleAt>,
    /// Goes into the session: it changes with the password, which ends every session begun with the one before.
    pub mark: String,
}

/// Who asks.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"actor": "user:ines", "name": "Ines at the harbour",
    "roles": [{"role": "shop", "site": "harbour-shop"}]}))]
pub struct Me {
    /// `user:LOGIN` or `device:CODE`, as in the journal.
    pub actor: String,
    /// As shown.
    pub name: String,
    /// What they are, where.
    pub roles: Vec<RoleAt>,
}

/// Who has come in lately, and who tried.
#[derive(Default)]
pub struct People {
    // By `user:LOGIN` or `device:HASH`, with the journal position it was read at.
    known: RwLock<HashMap<String, (i64, Known)>>,
    // Failures under logins that nobody has: an answer must not tell them from those of people.
    strangers: Mutex<Strangers>,
}

/// How often in a row somebody failed under a login, and when last.
type Strangers = HashMap<String, (u32, NaiveDateTime)>;

#[derive(Clone)]
struct Known {
    actor: Actor,
    mark: String,
}

impl Tubtrail {
    /// Lets someone in who gives the right password. After five wrong ones in a row they wait, longer each time.
    pub fn sign_in(&self, credentials: &Credentials, request_id: Option<String>) -> Result<Welcome> {
        let login = credentials.login.trim();
        let user = if login.len() > LOGIN { None } else { self.read(|conn| Ok(user_by_login(conn, login)?))? };
        match user {
            Some(user) => self.sign_in_known(user, &credentials.password, request_id),
            None => self.sign_in_stranger(login, &credentials.password),
        }
    }

    fn sign_in_known(&self, user: stored::User, typed: &Password, request_id: Option<String>) -> Result<Welcome> {
        let now = (self.clock)();
        self.read(|conn| refuse_while_waiting(conn, user.id, now))?;
        let is_right = self.passwords.check(typed, Some(&user.current.password_hash))? && user.current.active;
        let name = if is_right { format!("user:{}", user.login) } else { Actor::system().name };
        let request = Request { request_id, ..Request::of(Actor { name, grants: Vec::new() }) };
        let user_id = user.id;
        self.write(&request, &SIGN_IN, move |tx| {
            // Others may have tried meanwhile; of many at once only as many are looked at as one after another.
            let now = tx.now();
            refuse_while_waiting(tx.conn()?, user_id, now)?;
            let (id, entry) = (tx.id(), tx.entry());
            Ok(tx.record(&LoginAttemptRow { id, entry, user_id, attempted_at: now, succeeded: is_right })?)
        })?;
        if !is_right {
            return Err(wrong_password());
        }
        let roles = self.read(|conn| roles_at(conn, &grants_of(&user)?))?;
        let mark = mark(&user.current.password_hash);
        Ok(Welcome { login: user.login, name: user.current.name, roles, mark })
    }

    fn sign_in_stranger(&self, login: &str, typed: &Password) -> Result<Welcome> {
        // A long one is remembered by its beginning: nobody's login is that long.
        let remembered: String = login.chars().take(LOGIN).collect();
        refuse_stranger(&self.people.strangers.lock(), &remembered, (self.clock)())?;
        self.passwords.check(typed, None)?;
        // Others may have tried meanwhile, and it must look as if somebody's attempts were counted one after another.
        let mut strangers = self.people.strangers.lock();
        let now = (self.clock)();
        refuse_stranger(&strangers, &remembered, now)?;
        if strangers.len() >= STRANGERS && !strangers.contains_key(&remembered) {
            forget_oldest(&mut strangers);
        }
        let entry = strangers.entry(remembered).or_insert((0, now));
        *entry = (entry.0.saturating_add(1), now);
        Err(wrong_password())
    }

    /// Who a session stands for: still active, with the password it was begun with; their roles are today's.
    pub fn user_of_session(&self, login: &str, session_mark: &str) -> Result<Actor> {
        let over = || OperationError::of(&problems::SESSION_OVER);
        let known = self.known(format!("user:{login}"), |conn, name| {
            let Some(user) = user_by_login(conn, login)?.filter(|user| user.current.active) else { return Ok(None) };
            let actor = Actor { name: name.to_owned(), grants: grants_of(&user)? };
            Ok(Some(Known { actor, mark: mark(&user.current.password_hash) }))
        })?;
        known.filter(|known| known.mark == session_mark).map(|known| known.actor).ok_or_else(over)
    }

    /// Which device a token stands for, unless it was revoked.
    pub fn device_of_token(&self, token: &str) -> Result<Actor> {
        let refused =
            || OperationError::new(&problems::NOT_SIGNED_IN, say!("this device's token is not known, or was revoked"));
        let hash = devices::token_hash(token);
        let known = self.known(format!("device:{hash}"), |conn, _| {
            let device = stored::device_by_token_hash(conn, &hash)?.filter(|device| device.revoked.is_none());
            let known = |device: stored::Device| {
                let grants = vec![Grant { role: Role::Device, site_id: Some(device.row.site_id) }];
                Known { actor: Actor { name: format!("device:{}", device.row.code), grants }, mark: String::new() }
            };
            Ok(device.map(known))
        })?;
        known.map(|known| known.actor).ok_or_else(refused)
    }

    /// As [`Self::user_of_session`], as of an entry, where the answer is at hand; says nothing where it is not. Does not block.
    pub fn user_at_hand(&self, login: &str, session_mark: &str, as_of: i64) -> Option<Actor> {
        self.at_hand(&format!("user:{login}"), as_of)
            .filter(|known| known.mark == session_mark)
            .map(|known| known.actor)
    }

    /// As [`Self::device_of_token`], as of an entry, where the answer is at hand; says nothing where it is not. Does not block.
    pub fn device_at_hand(&self, token: &str, as_of: i64) -> Option<Actor> {
        self.at_hand(&format!("device:{}", devices::token_hash(token)), as_of).map(|known| known.actor)
    }

    /// Who someone is, as of an entry, where nothing that was committed up to it has changed that since it was read.
    fn at_hand(&self, name: &str, as_of: i64) -> Option<Known> {
        let (position, changed) = self.index.people();
        let all = self.people.known.read();
        let known =
            all.get(name).filter(|(read_at, _)| as_of <= *read_at || (as_of <= position && changed <= *read_at));
        known.map(|(_, known)| known.clone())
    }

    /// Reads who someone is, unless nothing was committed anywhere since it was last read.
    fn known(
        &self,
        name: String,
        read: impl FnOnce(&mut AnyConnection, &str) -> Result<Option<Known>>,
    ) -> Result<Option<Known>> {
        self.read(|conn| {
            let position = journal::position(conn)?;
            if let Some((read_at, known)) = self.people.known.read().get(&name)
                && *read_at == position
            {
                return Ok(Some(known.clone()));
            }
            let known = read(conn, &name)?;
            let mut all = self.people.known.write();
            match &known {
                Some(known) => all.insert(name, (position, known.clone())),
                None => all.remove(&name),
            };
            Ok(known)
        })
    }

    /// Who asks.
    pub fn show_me(&self, request: &Request) -> Result<Me> {
        request.actor.may_anywhere(&crate::reach::SHOW_ME)?;
        self.read(|conn| {
            let actor = &request.actor;
            let name = match actor.name.split_once(':') {
                Some(("user", login)) => user_by_login(conn, login)?.map(|user| user.current.name),
                Some(("device", code)) => stored::device_by_code(conn, code)?.map(|device| device.row.name),
                _ => None,
            };
            let name = name.unwrap_or_else(|| actor.name.clone());
            Ok(Me { actor: actor.name.clone(), name, roles: roles_at(conn, &actor.grants)? })
        })
    }
}

fn refuse_while_waiting(conn: &mut AnyConnection, user_id: i64, now: NaiveDateTime) -> Result<()> {
    match failures_in_a_row(conn, user_id, COUNTED)? {
        (failures, Some(last)) => refuse_until(failures, last, now),
        (_, None) => Ok(()),
    }
}

fn refuse_stranger(strangers: &Strangers, login: &str, now: NaiveDateTime) -> Result<()> {
    strangers.get(login).map_or(Ok(()), |(failures, last)| refuse_until(*failures, *last, now))
}

fn refuse_until(failures: u32, last: NaiveDateTime, now: NaiveDateTime) -> Result<()> {
    let remaining = last + wait_after(failures) - now;
    if remaining <= chrono::Duration::zero() {
        return Ok(());
    }
    // Rounded up: whoever comes back when told must not be told again.
    let seconds = remaining.num_seconds() + i64::from(remaining.subsec_nanos() > 0);
    let detail = say!("too many wrong passwords; wait {seconds} s before the next", seconds);
    let mut error = OperationError::new(&problems::TOO_MANY_ATTEMPTS, detail);
    error.retry_after_seconds = u32::try_from(seconds).ok();
    Err(error)
}

fn wrong_password() -> OperationError {
    OperationError::of(&problems::WRONG_PASSWORD)
}

/// The hash holds a random salt, so that a few bytes of its digest tell nothing of the password.
fn mark(password_hash: &str) -> String {
    digest::sha256_hex(password_hash.as_bytes())[..16].to_owned()
}

fn forget_oldest(strangers: &mut Strangers) {
    let oldest = strangers.iter().min_by_key(|(_, (_, last))| *last).map(|(login, _)| login.clone());
    if let Some(oldest) = oldest {
        strangers.remove(&oldest);
    }
}
