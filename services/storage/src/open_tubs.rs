//! Which tubs stood open in a case, from when until when.

use std::fmt::Write as _;

use chrono::NaiveDateTime;
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::{BigInt, Nullable, Timestamp};

use crate::ids::{CHUNK, listed};
use crate::{AnyConnection, StorageError};

/// A tub in the case of a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq, QueryableByName)]
pub struct OpenTub {
    /// Which lot.
    #[diesel(sql_type = BigInt)]
    pub lot_id: i64,
    /// When it was first opened there.
    #[diesel(sql_type = Timestamp)]
    pub opened_at: NaiveDateTime,
    /// When the last of it left the case; none while some of it is in there.
    #[diesel(sql_type = Nullable<Timestamp>)]
    pub gone_at: Option<NaiveDateTime>,
}

/// The tubs of which some lies in the case of a site now, in order of lot.
pub fn open_now(conn: &mut AnyConnection, site_id: i64) -> Result<Vec<OpenTub>, StorageError> {
    // The plus keeps the database from the index of what ever came to the site.
    let query = "SELECT b.lot_id, MIN(m.occurred_at) AS opened_at, CAST(NULL AS TIMESTAMP) AS gone_at FROM balances b \
                 JOIN movements m ON m.lot_id = b.lot_id AND +m.to_site_id = b.site_id AND m.to_state = 'open' \
                 WHERE b.site_id = $1 AND b.state = 'open' AND b.mass_mg > 0 \
                 AND b.state IN ('available', 'open', 'in_transit') GROUP BY b.lot_id ORDER BY b.lot_id";
    Ok(sql_query(query).bind::<BigInt, _>(site_id).load(conn)?)
}

/// The tubs of which some left the case of a site at a moment or later and none is in there any more, in order of lot; at
/// most so many, those that left last first.
pub fn gone_since(
    conn: &mut AnyConnection,
    site_id: i64,
    since: NaiveDateTime,
    open_now: &[OpenTub],
) -> Result<Vec<OpenTub>, StorageError> {
    // The index movements_from_open serves where its condition stands word for word.
    let mut query = "SELECT g.lot_id, (SELECT MIN(m.occurred_at) FROM movements m WHERE m.lot_id = g.lot_id \
                     AND +m.to_site_id = $1 AND m.to_state = 'open') AS opened_at, g.gone_at FROM \
                     (SELECT f.lot_id, MAX(f.occurred_at) AS gone_at FROM movements f WHERE f.from_state = 'open' \
                     AND f.from_site_id = $1 AND f.occurred_at >= $2 GROUP BY f.lot_id) AS g"
        .to_owned();
    if !open_now.is_empty() {
        let ids: Vec<i64> = open_now.iter().map(|tub| tub.lot_id).collect();
        let _ = write!(query, " WHERE g.lot_id NOT IN ({})", listed(&ids));
    }
    query.push_str(" ORDER BY g.lot_id");
    Ok(sql_query(query).bind::<BigInt, _>(site_id).bind::<Timestamp, _>(since).load(conn)?)
}

/// A lot that is, or was, in the case of a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq, QueryableByName)]
pub struct Stay {
    /// Which lot.
    #[diesel(sql_type = BigInt)]
    pub lot_id: i64,
    /// When it was first opened there.
    #[diesel(sql_type = Nullable<Timestamp>)]
    pub opened_at: Option<NaiveDateTime>,
    /// When some of it last left the case.
    #[diesel(sql_type = Nullable<Timestamp>)]
    pub left_at: Option<NaiveDateTime>,
    /// How much of it is in there.
    #[diesel(sql_type = BigInt)]
    pub mass_mg: i64,
}

/// How some lots stayed in the case of a site by all that a journal entry and those before it brought; those that never were
/// in it are left out.
pub fn stays_of(
    conn: &mut AnyConnection,
    site_id: i64,
    lot_ids: &[i64],
    until: i64,
) -> Result<Vec<Stay>, StorageError> {
    let mut found = Vec::new();
    for chunk in lot_ids.chunks(CHUNK) {
        let (into, out) =
            ("m.to_state = 'open' AND +m.to_site_id = $1", "m.from_state = 'open' AND +m.from_site_id = $1");
        let query = format!(
            "SELECT m.lot_id, MIN(CASE WHEN {into} THEN m.occurred_at END) AS opened_at, \
             MAX(CASE WHEN {out} THEN m.occurred_at END) AS left_at, \
             CAST(SUM(CASE WHEN {into} THEN m.mass_mg ELSE 0 END) - SUM(CASE WHEN {out} THEN m.mass_mg ELSE 0 END) \
             AS BIGINT) AS mass_mg FROM movements m \
             WHERE m.lot_id IN ({}) AND m.entry <= $2 AND (({into}) OR ({out})) GROUP BY m.lot_id ORDER BY m.lot_id",
            listed(chunk)
        );
        found.extend(sql_query(query).bind::<BigInt, _>(site_id).bind::<BigInt, _>(until).load::<Stay>(conn)?);
    }
    Ok(found)
}
