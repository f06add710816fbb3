//! People and devices, and their attempts to come in.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use tubtrail_domain::text;

use crate::{AnyConnection, StorageError};

fact! {
    /// A person who may come in.
    users => UserRow {
        /// What they type.
        login: String => Text,
    }
}

fact! {
    /// What is known of a person, version by version.
    user_versions => UserVersionRow {
        /// Whose.
        user_id: i64 => BigInt,
        /// From 1.
        version: i32 => Integer,
        /// As shown.
        name: String => Text,
        /// Argon2id, PHC text.
        password_hash: String => Text,
        /// May come in.
        active: bool => Bool,
    }
}

fact! {
    /// A role of a version of a person, at one site or (null) at all.
    user_roles => UserRoleRow {
        /// Which version of whom.
        user_version_id: i64 => BigInt,
        /// owner, kitchen, shop or inspector.
        role: String => Text,
        /// Where; null is everywhere.
        site_id: Option<i64> => Nullable<BigInt>,
    }
}

fact! {
    /// A till, scale or printer with a token of its own.
    devices => DeviceRow {
        /// What it is called in addresses.
        code: String => Text,
        /// As shown.
        name: String => Text,
        /// Where it stands.
        site_id: i64 => BigInt,
        /// SHA-256 of its token, hex.
        token_hash: String => Text,
    }
}

fact! {
    /// A device that may come in no more.
    device_revocations => DeviceRevocationRow {
        /// Which.
        device_id: i64 => BigInt,
        /// Why.
        reason: String => Text,
    }
}

fact! {
    /// A known person tried to come in.
    login_attempts => LoginAttemptRow {
        /// Who.
        user_id: i64 => BigInt,
        /// When.
        attempted_at: NaiveDateTime => Timestamp,
        /// Whether the password was right.
        succeeded: bool => Bool,
    }
}

/// A person as they stand now.
#[derive(Clone, Debug)]
pub struct User {
    /// Row id.
    pub id: i64,
    /// What they type.
    pub login: String,
    /// The version in force.
    pub current: UserVersionRow,
    /// Its roles.
    pub roles: Vec<UserRoleRow>,
}

/// Everyone, by login.
pub fn all_users(conn: &mut AnyConnection) -> Result<Vec<User>, StorageError> {
    let rows: Vec<UserRow> = users::table.order(users::login).load(conn)?;
    rows.into_iter().map(|row| with_version(conn, row)).collect()
}

/// The next people after a login, by login.
pub fn users_page(conn: &mut AnyConnection, after: &str, limit: i64) -> Result<Vec<User>, StorageError> {
    let rows: Vec<UserRow> = users::table.filter(users::login.gt(after)).order(users::login).limit(limit).load(conn)?;
    rows.into_iter().map(|row| with_version(conn, row)).collect()
}

/// One person by login.
pub fn user_by_login(conn: &mut AnyConnection, login: &str) -> Result<Option<User>, StorageError> {
    // What cannot be a login is nobody's; and PostgreSQL takes no NUL.
    if text::code(login).is_err() {
        return Ok(None);
    }
    let row: Option<UserRow> = users::table.filter(users::login.eq(login)).first(conn).optional()?;
    row.map(|row| with_version(conn, row)).transpose()
}

/// The version of a person that an entry brought, if it brought one.
pub fn version_of_entry(conn: &mut AnyConnection, entry: i64) -> Result<Option<UserVersionRow>, StorageError> {
    Ok(user_versions::table.filter(user_versions::entry.eq(entry)).first(conn).optional()?)
}

fn with_version(conn: &mut AnyConnection, row: UserRow) -> Result<User, StorageError> {
    let current: UserVersionRow = user_versions::table
        .filter(user_versions::user_id.eq(row.id))
        .order(user_versions::version.desc())
        .first(conn)?;
    let roles =
        user_roles::table.filter(user_roles::user_version_id.eq(current.id)).order(user_roles::id).load(conn)?;
    Ok(User { id: row.id, login: row.login, current, roles })
}

/// How many times in a row, up to now, a person gave a wrong password, and when last; counts at most `limit`.
pub fn failures_in_a_row(
    conn: &mut AnyConnection,
    user_id: i64,
    limit: i64,
) -> Result<(u32, Option<NaiveDateTime>), StorageError> {
    let attempts: Vec<LoginAttemptRow> = login_attempts::table
        .filter(login_attempts::user_id.eq(user_id))
        .order(login_attempts::id.desc())
        .limit(limit)
        .load(conn)?;
    let failures: Vec<_> = attempts.iter().take_while(|attempt| !attempt.succeeded).collect();
    Ok((u32::try_from(failures.len()).unwrap_or(u32::MAX), failures.first().map(|attempt| attempt.attempted_at)))
}

/// A device as it stands now.
#[derive(Clone, Debug)]
pub struct Device {
    /// Its row.
    pub row: DeviceRow,
    /// Why it may come in no more.
    pub revoked: Option<String>,
}

/// The next devices after a code, by code; only those at the given sites, where sites are given.
pub fn devices_page(
    conn: &mut AnyConnection,
    after: &str,
    sites: Option<Vec<i64>>,
    limit: i64,
) -> Result<Vec<Device>, StorageError> {
    let mut query =
        devices::table.filter(devices::code.gt(after.to_owned())).order(devices::code).limit(limit).into_boxed();
    if let Some(sites) = sites {
        query = query.filter(devices::site_id.eq_any(sites));
    }
    let rows: Vec<DeviceRow> = query.load(conn)?;
    rows.into_iter().map(|row| with_revocation(conn, row)).collect()
}

/// One device by code.
pub fn device_by_code(conn: &mut AnyConnection, code: &str) -> Result<Option<Device>, StorageError> {
    // As of people.
    if text::code(code).is_err() {
        return Ok(None);
    }
    let row: Option<DeviceRow> = devices::table.filter(devices::code.eq(code)).first(conn).optional()?;
    row.map(|row| with_revocation(conn, row)).transpose()
}

/// One device by the hash of its token.
pub fn device_by_token_hash(conn: &mut AnyConnection, hash: &str) -> Result<Option<Device>, StorageError> {
    let row: Option<DeviceRow> = devices::table.filter(devices::token_hash.eq(hash)).first(conn).optional()?;
    row.map(|row| with_revocation(conn, row)).transpose()
}

fn with_revocation(conn: &mut AnyConnection, row: DeviceRow) -> Result<Device, StorageError> {
    let revoked = device_revocations::table
        .filter(device_revocations::device_id.eq(row.id))
        .select(device_revocations::reason)
        .first(conn)
        .optional()?;
    Ok(Device { row, revoked })
}
