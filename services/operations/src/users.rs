//! Users: people who may come in, and what they are where.

use std::collections::HashSet;

use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_domain::saying::Quoted;
use tubtrail_storage::master_data::{Noun, Site};
use tubtrail_storage::people::{self as stored, UserRoleRow, UserRow, UserVersionRow};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::master_data::{MOST, Page};
use crate::passwords::Password;
use crate::reach::{self, Grant, Operation, Request, Role};
use crate::sites::yes;
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};

/// Most roles of one person.
const MOST_ROLES: usize = 50;

/// A role, at one site or everywhere.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"role": "shop", "site": "harbour-shop"}))]
pub struct RoleAt {
    /// Which role.
    pub role: Role,
    /// At which site; absent is everywhere.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 40)]
    pub site: Option<String>,
}

/// A person who may come in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"login": "ines", "name": "Ines at the harbour", "active": true,
    "roles": [{"role": "shop", "site": "harbour-shop"}], "version": 1}))]
pub struct User {
    /// What they type; it never changes.
    #[schema(max_length = 40)]
    pub login: String,
    /// As shown.
    pub name: String,
    /// May come in.
    pub active: bool,
    /// What they are, where.
    pub roles: Vec<RoleAt>,
    /// The version in force.
    pub version: i32,
}

/// Someone new.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"login": "ines", "name": "Ines at the harbour", "password": "three scoops, one cone",
    "roles": [{"role": "shop", "site": "harbour-shop"}]}))]
pub struct NewUser {
    /// What they will type: a code.
    #[schema(max_length = 40, pattern = "^[a-z0-9][a-z0-9-]*$")]
    pub login: String,
    /// As shown.
    #[schema(max_length = 120)]
    pub name: String,
    /// 12 to 128 characters.
    pub password: Password,
    /// What they are, where: 1 to 50.
    #[schema(min_items = 1, max_items = 50)]
    pub roles: Vec<RoleAt>,
}

/// A person as they shall be: the whole, as of the version it was read at.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Ines at the harbour", "active": true,
    "roles": [{"role": "shop", "site": "harbour-shop"}, {"role": "shop", "site": "market-shop"}], "version": 1}))]
pub struct UserChange {
    /// As shown.
    #[schema(max_length = 120)]
    pub name: String,
    /// May come in.
    #[serde(default = "yes")]
    pub active: bool,
    /// What they are, where: 1 to 50.
    #[schema(min_items = 1, max_items = 50)]
    pub roles: Vec<RoleAt>,
    /// A new password, 12 to 128 characters; every session of theirs is then over. Absent: as it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub password: Option<Password>,
    /// The version it was read at.
    pub version: i32,
}

impl Tubtrail {
    /// People, by login.
    pub fn list_users(&self, request: &Request, after: &str, limit: u32) -> Result<Page<User>> {
        request.actor.may_everywhere(&reach::LIST_USERS)?;
        fields::after_code("after", after)?;
        let limit = limit.clamp(1, MOST);
        self.read(|conn| {
            let users = stored::users_page(conn, after, i64::from(limit) + 1)?;
            let users = users.into_iter().map(|user| answer(conn, user)).collect::<Result<Vec<_>>>()?;
            Ok(Page::cut(users, limit as usize, |user| user.login.clone()))
        })
    }

    /// Lets someone new come in.
    pub fn create_user(&self, request: &Request, new: NewUser) -> Result<Answered<User>> {
        request.actor.may_everywhere(&reach::CREATE_USER)?;
        fields::code("login", &new.login)?;
        let hash = self.passwords.hash("password", &new.password)?;
        let request = without_secrets(request, &reach::CREATE_USER, &new)?;
        let password = new.password.clone();
        let answered = self.write(&request, &reach::CREATE_USER, move |tx| create(tx, &new, hash))?;
        self.same_password(answered, Some(&password))
    }

    /// Changes what is known of someone.
    pub fn change_user(&self, request: &Request, login: &str, next: UserChange) -> Result<Answered<User>> {
        request.actor.may_everywhere(&reach::CHANGE_USER)?;
        let hash = next.password.as_ref().map(|password| self.passwords.hash("password", password)).transpose()?;
        let login = login.to_owned();
        let request = without_secrets(request, &reach::CHANGE_USER, &(&login, &next))?;
        let password = next.password.clone();
        let answered = self.write(&request, &reach::CHANGE_USER, move |tx| change(tx, &login, &next, hash))?;
        self.same_password(answered, password.as_ref())
    }

    /// What was done before under a key was done with this password; with another it is another request.
    fn same_password(&self, answered: Answered<User>, password: Option<&Password>) -> Result<Answered<User>> {
        let Some(password) = password.filter(|_| answered.replayed) else { return Ok(answered) };
        let brought = self.read(|conn| Ok(stored::version_of_entry(conn, answered.entry)?))?;
        let missing = || StorageError::Corrupt(format!("journal entry {} brought nobody", answered.entry));
        let hash = brought.ok_or_else(missing)?.password_hash;
        if self.passwords.check(password, Some(&hash))? { Ok(answered) } else { Err(StorageError::KeyReused.into()) }
    }
}

fn create(tx: &mut WriteTx<'_>, new: &NewUser, password_hash: String) -> Result<User> {
    let name = fields::name("name", &new.name)?;
    let grants = grants(tx.conn()?, &new.roles)?;
    if stored::user_by_login(tx.conn()?, &new.login)?.is_some() {
        let detail = say!("there is a user {login} already", login = Quoted(&new.login));
        return Err(OperationError::new(&problems::CODE_TAKEN, detail).at("login"));
    }
    let user_id = tx.id();
    tx.record(&UserRow { id: user_id, entry: tx.entry(), login: new.login.clone() })?;
    let row = UserVersionRow { id: 0, entry: 0, user_id, version: 1, name, password_hash, active: true };
    record_version(tx, row, &grants)?;
    now(tx, &new.login)
}

fn change(tx: &mut WriteTx<'_>, login: &str, next: &UserChange, password_hash: Option<String>) -> Result<User> {
    let user =
        stored::user_by_login(tx.conn()?, login)?.ok_or_else(|| OperationError::not_found(say!("user"), login))?;
    let name = fields::name("name", &next.name)?;
    let grants = grants(tx.conn()?, &next.roles)?;
    if next.version != user.current.version {
        let detail =
            say!("version {version} is in force; read it again before you change it", version = user.current.version);
        return Err(OperationError::new(&problems::VERSION_MOVED, detail).at("version"));
    }
    let was = user.current.active && grants_of(&user)?.iter().any(is_owner_everywhere);
    let remains = next.active && grants.iter().any(is_owner_everywhere);
    if was && !remains {
        refuse_without_owner(tx.conn()?, user.id)?;
    }
    let row = UserVersionRow {
        version: user.current.version + 1,
        name,
        active: next.active,
        password_hash: password_hash.unwrap_or(user.current.password_hash),
        ..user.current
    };
    record_version(tx, row, &grants)?;
    now(tx, login)
}

fn record_version(tx: &mut WriteTx<'_>, row: UserVersionRow, grants: &[Grant]) -> Result<()> {
    let row = UserVersionRow { id: tx.id(), entry: tx.entry(), ..row };
    tx.record(&row)?;
    for grant in grants {
        let role = grant.role.word().to_owned();
        let id = tx.id();
        tx.record(&UserRoleRow { id, entry: tx.entry(), user_version_id: row.id, role, site_id: grant.site_id })?;
    }
    Ok(())
}

fn now(tx: &mut WriteTx<'_>, login: &str) -> Result<User> {
    let user =
        stored::user_by_login(tx.conn()?, login)?.ok_or_else(|| OperationError::not_found(say!("user"), login))?;
    answer(tx.conn()?, user)
}

/// The roles a request names, each once, each at a site there is.
fn grants(conn: &mut AnyConnection, roles: &[RoleAt]) -> Result<Vec<Grant>> {
    fields::between("roles", roles.len(), 1, MOST_ROLES)?;
    let mut seen = HashSet::new();
    let mut grants = Vec::with_capacity(roles.len());
    for (index, at) in roles.iter().enumerate() {
        let field = |name: &str| format!("roles[{index}].{name}");
        if at.role == Role::Device {
            return Err(OperationError::invalid(field("role"), say!("a person is no device; add a device instead")));
        }
        if !seen.insert(at) {
            return Err(OperationError::new(&problems::REPEATED, say!("this role is named twice")).at(field("role")));
        }
        let site_id = match &at.site {
            None => None,
            Some(code) => {
                let site = Site::by_code(conn, code)?;
                Some(site.ok_or_else(|| OperationError::unknown(say!("site"), code, field("site")))?.row.id)
            }
        };
        grants.push(Grant { role: at.role, site_id });
    }
    Ok(grants)
}

fn is_owner_everywhere(grant: &Grant) -> bool {
    grant.role == Role::Owner && grant.site_id.is_none()
}

/// Refuses where nobody but this person is an owner everywhere.
fn refuse_without_owner(conn: &mut AnyConnection, but: i64) -> Result<()> {
    for user in stored::all_users(conn)? {
        let remains = user.id != but && user.current.active;
        if remains && grants_of(&user)?.iter().any(is_owner_everywhere) {
            return Ok(());
        }
    }
    let detail = say!("nobody else may do everything everywhere; make another owner first");
    Err(OperationError::new(&problems::LAST_OWNER, detail).at("roles"))
}

/// What a person is, where.
pub(crate) fn grants_of(user: &stored::User) -> Result<Vec<Grant>> {
    let grant = |row: &UserRoleRow| {
        let role = Role::from_word(&row.role).ok_or_else(|| StorageError::Corrupt(format!("role {:?}", row.role)))?;
        Ok(Grant { role, site_id: row.site_id })
    };
    user.roles.iter().map(grant).collect()
}

/// Roles as answered: by site code.
pub(crate) fn roles_at(conn: &mut AnyConnection, grants: &[Grant]) -> Result<Vec<RoleAt>> {
    let mut named = |grant: &Grant| {
        let site = match grant.site_id {
            None => None,
            Some(id) => {
                let site = Site::by_id(conn, id)?;
                Some(site.ok_or_else(|| StorageError::Corrupt(format!("site row {id}")))?.row.code)
            }
        };
        Ok(RoleAt { role: grant.role, site })
    };
    grants.iter().map(&mut named).collect()
}

fn answer(conn: &mut AnyConnection, user: stored::User) -> Result<User> {
    let roles = roles_at(conn, &grants_of(&user)?)?;
    let stored::User { login, current, .. } = user;
    Ok(User { login, name: current.name, active: current.active, roles, version: current.version })
}

/// The journal keeps the hash of a request under its key. A fast hash over a password would let whoever reads the journal
/// try passwords at leisure, so that one leaves it out; whether a retry brings the same password, the slow hash tells.
fn without_secrets(request: &Request, operation: &Operation, sent: &impl Serialize) -> Result<Request> {
    let mut request = request.clone();
    if let Some(key) = &mut request.key {
        let sent = serde_json::to_vec(&(operation.id, sent)).map_err(StorageError::from)?;
        key.request_hash = crate::digest::sha256_hex(&sent);
    }
    Ok(request)
}
