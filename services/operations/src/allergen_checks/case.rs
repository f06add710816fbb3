//! The case of a site: what stands open in it, and what touched what by the scoop.
//!
//! A tub may have in it what stood open with it, and what stood open with that one before it was opened itself, since the
//! scoop carries on what it found there.

use chrono::NaiveDateTime;
use tubtrail_lineage::Content;
use tubtrail_storage::AnyConnection;
use tubtrail_storage::open_tubs::{OpenTub, gone_since, open_now};

use super::Served;
use crate::error::Result;
use crate::index::{Inside, lot_ix};
use crate::serving_ways::SharedSpans;

/// What stands open at a site, and what stood open beside it.
pub(crate) struct Case {
    now: NaiveDateTime,
    open: Vec<OpenTub>,
    gone: Vec<OpenTub>,
    spans: SharedSpans,
}

/// A tub from which something may have got into another by the scoop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Beside {
    pub lot_id: i64,
    /// When it was opened.
    pub from: NaiveDateTime,
    /// When the last of it left the case; none while it is there.
    pub until: Option<NaiveDateTime>,
    /// It stood open with the tub itself, and not only with one that did.
    pub direct: bool,
    /// The site said that one scoop serves all.
    pub said: bool,
}

impl Case {
    /// As the book has it.
    pub(crate) fn at(conn: &mut AnyConnection, site_id: i64, now: NaiveDateTime) -> Result<Self> {
        let open = open_now(conn, site_id)?;
        let spans = SharedSpans::of(conn, site_id)?;
        let mut gone = Vec::new();
        if let Some(first) = open.iter().map(|tub| tub.opened_at).min() {
            gone = gone_since(conn, site_id, first, &open)?;
            if let Some(earlier) = gone.iter().map(|tub| tub.opened_at).min().filter(|earlier| *earlier < first) {
                gone = gone_since(conn, site_id, earlier, &open)?;
            }
        }
        Ok(Self { now, open, gone, spans })
    }

    /// The lots that stand open.
    pub(crate) fn open_lots(&self) -> Vec<i64> {
        self.open.iter().map(|tub| tub.lot_id).collect()
    }

    /// Whether a lot stands open.
    pub(crate) fn is_open(&self, lot_id: i64) -> bool {
        self.open.iter().any(|tub| tub.lot_id == lot_id)
    }

    /// How the site serves at a moment.
    pub(crate) fn served_at(&self, at: NaiveDateTime) -> Served {
        match self.spans.way_at(at) {
            Some(true) => Served::SharedScoop,
            Some(false) => Served::OwnScoops,
            None => Served::NotSaid,
        }
    }

    /// The tubs from which something may have got into a lot by the scoop: those that stood open with it first, then those
    /// opened last. None for a lot that is not open.
    pub(crate) fn beside(&self, lot_id: i64) -> Vec<Beside> {
        let Some(tub) = self.open.iter().find(|tub| tub.lot_id == lot_id) else { return Vec::new() };
        let own = self.while_open(tub);
        let others = || self.open.iter().chain(&self.gone).filter(|other| other.lot_id != lot_id);
        let with_it = others().filter(|other| self.spans.shared(self.while_open(other), own).is_some());
        let first = with_it.map(|other| other.opened_at).min().map_or(own.0, |first| first.min(own.0));
        let beside = others().filter_map(|other| {
            let direct = self.spans.shared(self.while_open(other), own);
            let span = direct.or_else(|| self.spans.shared(self.while_open(other), (first, self.now)))?;
            Some(Beside {
                lot_id: other.lot_id,
                from: other.opened_at,
                until: other.gone_at,
                direct: direct.is_some(),
                said: span.said,
            })
        });
        let mut beside: Vec<Beside> = beside.collect();
        beside.sort_by_key(|other| (!other.direct, std::cmp::Reverse(other.from), other.lot_id));
        beside
    }

    /// What is in a lot by all that is recorded, the scoop's doing too.
    pub(crate) fn content(&self, inside: &Inside, lot_id: i64) -> Result<Content> {
        let own = inside.graph.content(lot_ix(lot_id)?);
        self.beside(lot_id).iter().try_fold(own, |sum, other| {
            let there = inside.graph.content(lot_ix(other.lot_id)?);
            Ok(sum.union(by_scoop(there)))
        })
    }

    fn while_open(&self, tub: &OpenTub) -> (NaiveDateTime, NaiveDateTime) {
        (tub.opened_at, tub.gone_at.unwrap_or(self.now))
    }
}

/// What a scoop brings of a content: nothing of it for certain.
pub(crate) fn by_scoop(content: Content) -> Content {
    Content { contains: 0, may_contain: content.contains | content.may_contain, unknown: content.unknown }
}
