//! Serving ways: whether one scoop serves all that is open in a site's case. Where a site has not said so, one may.

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::AnyConnection;
use tubtrail_storage::cleans::{ServingWayRow, serving_ways_of};
use tubtrail_storage::master_data::{Noun, Site};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::fields;
use crate::reach::{self, Actor, Operation, Request};
use crate::tubtrail::{Answered, Tubtrail};

/// How a site serves, as it is said.
#[derive(Clone, Copy, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"shared_scoop": true, "since": "2026-11-25T09:00:00Z"}))]
pub struct NewServingWay {
    /// One scoop serves all that is open in the case; otherwise each tub has its own.
    pub shared_scoop: bool,
    /// From when on; now, if absent.
    #[serde(default)]
    pub since: Option<DateTime<Utc>>,
}

/// How a site serves.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"site": "quay-shop", "shared_scoop": true, "since": "2026-11-25T09:00:00Z", "entry": 8320}))]
pub struct ServingWay {
    /// The site's code.
    pub site: String,
    /// One scoop serves all that is open in the case; otherwise each tub has its own.
    pub shared_scoop: bool,
    /// From when on.
    pub since: DateTime<Utc>,
    /// The journal entry that brought it.
    pub entry: i64,
}

impl Tubtrail {
    /// Says how a site serves from a moment on.
    pub fn set_serving_way(&self, request: &Request, site: &str, new: NewServingWay) -> Result<Answered<ServingWay>> {
        request.actor.may_anywhere(&reach::SET_SERVING_WAY)?;
        let (actor, site) = (request.actor.clone(), site.to_owned());
        self.write(request, &reach::SET_SERVING_WAY, move |tx| {
            let site = site_addressed(tx.conn()?, &actor, &reach::SET_SERVING_WAY, &site)?;
            let since = fields::occurred_at("since", new.since, tx.now())?;
            tx.at_site(site.row.id);
            let row = ServingWayRow {
                id: tx.id(),
                entry: tx.entry(),
                site_id: site.row.id,
                since,
                shared_scoop: new.shared_scoop,
            };
            tx.record(&row)?;
            Ok(answer(&site, &row))
        })
    }

    /// How a site served, the oldest first; the last that began is in force. Empty: it has not said.
    pub fn list_serving_ways(&self, request: &Request, site: &str) -> Result<Vec<ServingWay>> {
        self.read_at_once(|conn| {
            let site = site_addressed(conn, &request.actor, &reach::LIST_SERVING_WAYS, site)?;
            Ok(serving_ways_of(conn, site.row.id)?.iter().map(|row| answer(&site, row)).collect())
        })
    }
}

fn answer(site: &Site, row: &ServingWayRow) -> ServingWay {
    ServingWay {
        site: site.row.code.clone(),
        shared_scoop: row.shared_scoop,
        since: fields::utc(row.since),
        entry: row.entry,
    }
}

/// The site a request's address names, for someone who may do this there.
pub(crate) fn site_addressed(
    conn: &mut AnyConnection,
    actor: &Actor,
    operation: &Operation,
    code: &str,
) -> Result<Site> {
    let found = Site::by_code(conn, code)?.filter(|site| actor.reaches(site.row.id));
    let site = found.ok_or_else(|| OperationError::not_found(say!("site"), code))?;
    actor.may(operation, site.row.id)?;
    Ok(site)
}

/// The spans in which one scoop served a case, or may have, for a site has said nothing of them; the first from the
/// beginning of time, the last until its end.
#[derive(Debug)]
pub(crate) struct SharedSpans {
    spans: Vec<Span>,
}

/// Those of a site that has said nothing.
impl Default for SharedSpans {
    fn default() -> Self {
        Self::of(&[])
    }
}

/// A span in which one scoop served a case, or may have.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Span {
    pub from: NaiveDateTime,
    pub until: NaiveDateTime,
    /// The site said so.
    pub said: bool,
}

impl SharedSpans {
    /// Those of a site that served in these ways, the oldest first.
    pub(crate) fn of(ways: &[ServingWayRow]) -> Self {
        let mut spans = Vec::new();
        let mut open = Some((NaiveDateTime::MIN, false));
        for way in ways {
            if let Some((from, said)) = open.take() {
                spans.push(Span { from, until: way.since, said });
            }
            open = way.shared_scoop.then_some((way.since, true));
        }
        spans.extend(open.map(|(from, said)| Span { from, until: NaiveDateTime::MAX, said }));
        Self { spans }
    }

    /// Whether nothing begins or ends after a moment.
    pub(crate) fn is_settled(&self, at: NaiveDateTime) -> bool {
        self.spans.iter().all(|span| span.from <= at && (span.until <= at || span.until == NaiveDateTime::MAX))
    }

    /// The first span that has a moment in common with two others at once; what merely touches at an end has one.
    pub(crate) fn shared(
        &self,
        one: (NaiveDateTime, NaiveDateTime),
        other: (NaiveDateTime, NaiveDateTime),
    ) -> Option<Span> {
        let (from, until) = (one.0.max(other.0), one.1.min(other.1));
        self.spans.iter().find(|span| span.from.max(from) <= span.until.min(until)).map(|span| Span {
            from: span.from.max(from),
            until: span.until.min(until),
            said: span.said,
        })
    }

    /// How the site serves at a moment: `None` where it has not said.
    pub(crate) fn way_at(&self, at: NaiveDateTime) -> Option<bool> {
        match self.spans.iter().rev().find(|span| span.from <= at && at < span.until) {
            Some(span) if span.said => Some(true),
            Some(_) => None,
            None => Some(false),
        }
    }
}
