//! What every noun of the master data shares: list, look up, create, change, and the versions of it.
//!
//! A noun has one type, sent and answered alike: `version` is absent when it is created, names the version it was read at
//! when it is changed, and is always there in answers.

use serde::de::DeserializeOwned;
use serde::{Deserialize, Deserializer, Serialize};
use tubtrail_domain::say;
use tubtrail_domain::saying::Quoted;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::master_data::Noun;
use tubtrail_storage::{AnyConnection, WriteTx};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::reach::{Actor, Operation, Request};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{fields, problems};

/// Most rows of one page.
pub const MOST: u32 = 500;

/// Reads how many rows a page shall have, 1 to [`MOST`].
///
/// # Errors
/// If it is no such number.
pub fn limit<'de, D: Deserializer<'de>>(deserializer: D) -> std::result::Result<u32, D::Error> {
    let limit = u32::deserialize(deserializer)?;
    if (1..=MOST).contains(&limit) {
        Ok(limit)
    } else {
        Err(serde::de::Error::custom(format_args!("a page has 1 to {MOST} rows")))
    }
}

/// One page of a list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Page<T> {
    /// What is on it.
    pub items: Vec<T>,
    /// Send this as `after` for the next page; absent on the last.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
}

impl<T> Page<T> {
    /// Cuts a list that was asked one row longer than the page, naming the last row on it.
    pub fn cut(mut rows: Vec<T>, limit: usize, key: impl Fn(&T) -> String) -> Self {
        let more = rows.len() > limit;
        rows.truncate(limit);
        let next = if more { rows.last().map(key) } else { None };
        Self { items: rows, next }
    }
}

/// A noun of the master data.
pub trait Master: Clone + PartialEq + Serialize + DeserializeOwned + Send + 'static {
    /// What it is called in sentences and in import addresses.
    const NOUN: Saying;
    /// How it is stored.
    type Stored: Noun;
    /// The operations on it.
    const LIST: &'static Operation;
    /// See [`Self::LIST`].
    const GET: &'static Operation;
    /// See [`Self::LIST`].
    const VERSIONS: &'static Operation;
    /// See [`Self::LIST`].
    const CREATE: &'static Operation;
    /// See [`Self::LIST`].
    const CHANGE: &'static Operation;

    /// It concerns every site: whoever creates or changes it must have the role everywhere.
    const OF_THE_WHOLE_HOUSE: bool = false;

    /// Its code.
    fn code(&self) -> &str;
    /// Its version, as sent or answered.
    fn version(&self) -> Option<i32>;
    /// The same at another version.
    #[must_use]
    fn at_version(self, version: Option<i32>) -> Self;
    /// Its row id.
    fn id_of(stored: &Self::Stored) -> i64;
    /// The version in force.
    fn version_of(stored: &Self::Stored) -> i32;
    /// As answered.
    fn answer(conn: &mut AnyConnection, stored: &Self::Stored) -> Result<Self>;
    /// An earlier version, as answered.
    fn answer_version(
        conn: &mut AnyConnection,
        stored: &Self::Stored,
        version: <Self::Stored as Noun>::Version,
    ) -> Result<Self>;
    /// Checks the form, tidies it, and fills in defaults.
    fn checked(self, conn: &mut AnyConnection) -> Result<Self>;
    /// Refuses a change that cannot be made to what stands: another kind, say.
    fn may_become(_conn: &mut AnyConnection, _stored: &Self::Stored, _next: &Self) -> Result<()> {
        Ok(())
    }
    /// The site it belongs to, by row id; most belong to the whole house.
    fn lies_at(&self, _conn: &mut AnyConnection) -> Result<Option<i64>> {
        Ok(None)
    }
    /// Records the identity; returns its row id.
    fn record_identity(&self, tx: &mut WriteTx<'_>) -> Result<i64>;
    /// Records a version.
    fn record_version(&self, tx: &mut WriteTx<'_>, id: i64, version: i32) -> Result<()>;
}

/// What every noun says of itself in the same words, inside its `impl Master`.
macro_rules! noun {
    ($noun:expr, $stored:ty, [$list:ident $get:ident $versions:ident $create:ident $change:ident]) => {
        const NOUN: tubtrail_domain::saying::Saying = $noun;
        type Stored = $stored;
        const LIST: &'static crate::reach::Operation = &crate::reach::$list;
        const GET: &'static crate::reach::Operation = &crate::reach::$get;
        const VERSIONS: &'static crate::reach::Operation = &crate::reach::$versions;
        const CREATE: &'static crate::reach::Operation = &crate::reach::$create;
        const CHANGE: &'static crate::reach::Operation = &crate::reach::$change;

        fn code(&self) -> &str {
            &self.code
        }

        fn version(&self) -> Option<i32> {
            self.version
        }

        fn at_version(self, version: Option<i32>) -> Self {
            Self { version, ..self }
        }

        fn id_of(stored: &$stored) -> i64 {
            stored.row.id
        }

        fn version_of(stored: &$stored) -> i32 {
            stored.current.version
        }

        fn answer(conn: &mut AnyConnection, stored: &$stored) -> Result<Self> {
            Self::answer_version(conn, stored, stored.current.clone())
        }
    };
}
pub(crate) use noun;

impl Tubtrail {
    /// The next ones after a code, as far as they are in reach.
    pub fn list<M: Master>(&self, request: &Request, after: &str, limit: u32) -> Result<Page<M>> {
        request.actor.may_anywhere(M::LIST)?;
        fields::after_code("after", after)?;
        let limit = limit.clamp(1, MOST);
        self.read(|conn| {
            let stored = M::Stored::page(conn, after, i64::from(limit) + 1)?;
            let rows = stored.iter().map(|stored| M::answer(conn, stored)).collect::<Result<Vec<_>>>()?;
            let mut page = Page::cut(rows, limit as usize, |row| row.code().to_owned());
            let in_reach = page.items.iter().map(|row| in_reach(conn, &request.actor, M::LIST, row));
            let mut in_reach = in_reach.collect::<Result<Vec<_>>>()?.into_iter();
            page.items.retain(|_| in_reach.next().unwrap_or(false));
            Ok(page)
        })
    }

    /// One, by code.
    pub fn get<M: Master>(&self, request: &Request, code: &str) -> Result<M> {
        request.actor.may_anywhere(M::GET)?;
        self.read(|conn| Ok(addressed::<M>(conn, &request.actor, M::GET, code)?.1))
    }

    /// Every version of one, oldest first.
    pub fn versions<M: Master>(&self, request: &Request, code: &str) -> Result<Vec<M>> {
        request.actor.may_anywhere(M::VERSIONS)?;
        self.read(|conn| {
            let (stored, _) = addressed::<M>(conn, &request.actor, M::VERSIONS, code)?;
            let versions = M::Stored::versions(conn, M::id_of(&stored))?;
            versions.into_iter().map(|version| M::answer_version(conn, &stored, version)).collect()
        })
    }

    /// Creates one.
    pub fn create<M: Master>(&self, request: &Request, new: M) -> Result<Answered<M>> {
        may_write::<M>(request, M::CREATE)?;
        let actor = request.actor.clone();
        self.write(request, M::CREATE, move |tx| {
            if let Some(site_id) = new.lies_at(tx.conn()?)? {
                actor.may(M::CREATE, site_id).map_err(|error| error.at("site"))?;
                tx.at_site(site_id);
            }
            create(tx, new)
        })
    }

    /// Changes one: the whole of it, as of the version it was read at.
    pub fn change<M: Master>(&self, request: &Request, code: &str, next: M) -> Result<Answered<M>> {
        may_write::<M>(request, M::CHANGE)?;
        let (actor, code) = (request.actor.clone(), code.to_owned());
        self.write(request, M::CHANGE, move |tx| {
            let (stored, _) = addressed::<M>(tx.conn()?, &actor, M::CHANGE, &code)?;
            if next.code() != code {
                return Err(OperationError::invalid("code", say!("a code never changes")));
            }
            if let Some(site_id) = next.lies_at(tx.conn()?)? {
                actor.may(M::CHANGE, site_id).map_err(|error| error.at("site"))?;
                tx.at_site(site_id);
            }
            match next.version() {
                None => Err(OperationError::invalid("version", say!("say which version this changes"))),
                Some(version) if version != M::version_of(&stored) => Err(OperationError::new(
                    &problems::VERSION_MOVED,
                    say!(
                        "version {version} is in force; read it again before you change it",
                        version = M::version_of(&stored)
                    ),
                )
                .at("version")),
                Some(_) => change(tx, &stored, next),
            }
        })
    }
}

/// What a request's address names, as stored and as answered; what lies at a site out of reach is not found.
fn addressed<M: Master>(
    conn: &mut AnyConnection,
    actor: &Actor,
    operation: &Operation,
    code: &str,
) -> Result<(M::Stored, M)> {
    let not_found = || OperationError::not_found(M::NOUN, code);
    let stored = M::Stored::by_code(conn, code)?.ok_or_else(not_found)?;
    let row = M::answer(conn, &stored)?;
    match row.lies_at(conn)? {
        Some(site_id) if !actor.reaches(site_id) => Err(not_found()),
        Some(site_id) => actor.may(operation, site_id).map(|()| (stored, row)),
        None => Ok((stored, row)),
    }
}

fn in_reach<M: Master>(conn: &mut AnyConnection, actor: &Actor, operation: &Operation, row: &M) -> Result<bool> {
    Ok(row.lies_at(conn)?.is_none_or(|site_id| actor.is_any_at(operation.roles, site_id)))
}

fn may_write<M: Master>(request: &Request, operation: &Operation) -> Result<()> {
    if M::OF_THE_WHOLE_HOUSE { request.actor.may_everywhere(operation) } else { request.actor.may_anywhere(operation) }
}

fn create<M: Master>(tx: &mut WriteTx<'_>, new: M) -> Result<M> {
    if new.version().is_some() {
        return Err(OperationError::invalid("version", say!("what is new has no version yet")));
    }
    fields::code("code", new.code())?;
    let new = new.checked(tx.conn()?)?;
    if M::Stored::by_code(tx.conn()?, new.code())?.is_some() {
        let detail = say!("there is a {noun} {code} already", noun = M::NOUN, code = Quoted(&new.code()));
        return Err(OperationError::new(&problems::CODE_TAKEN, detail).at("code"));
    }
    let id = new.record_identity(tx)?;
    new.record_version(tx, id, 1)?;
    Ok(new.at_version(Some(1)))
}

fn change<M: Master>(tx: &mut WriteTx<'_>, stored: &M::Stored, next: M) -> Result<M> {
    let next = next.checked(tx.conn()?)?;
    M::may_become(tx.conn()?, stored, &next)?;
    let version = M::version_of(stored) + 1;
    next.record_version(tx, M::id_of(stored), version)?;
    Ok(next.at_version(Some(version)))
}

/// What came of a row of an import.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Put {
    /// It was not there.
    Created,
    /// It was there and differed.
    Changed,
    /// It was there, just so.
    Unchanged,
}

/// Creates what is new and changes what differs, `keep`ing of what stands what the row does not speak of; for imports.
pub(crate) fn put<M: Master>(tx: &mut WriteTx<'_>, row: M, keep: impl FnOnce(M, &M) -> M) -> Result<Put> {
    let Some(stored) = M::Stored::by_code(tx.conn()?, row.code())? else {
        create(tx, row.at_version(None))?;
        return Ok(Put::Created);
    };
    let stands = M::answer(tx.conn()?, &stored)?;
    let next = keep(row, &stands).checked(tx.conn()?)?.at_version(Some(M::version_of(&stored)));
    if stands == next {
        return Ok(Put::Unchanged);
    }
    change(tx, &stored, next)?;
    Ok(Put::Changed)
}
