//! The case of a site: what stands open in it, and what touched what by the scoop.
//!
//! A tub may have in it what stood open with it, and what stood open with that one before it was opened itself, since the
//! scoop carries on what it found there.

use chrono::NaiveDateTime;
use tubtrail_lineage::Content;
use tubtrail_storage::open_tubs::OpenTub;

use super::told::Told;
use super::{NewAllergenCheck, Served};
use crate::error::{OperationError, Result};
use crate::index::cases::{CaseOf, Mixed};
use crate::index::{Answered, Inside, Unread, lot_ix};
use crate::serving_ways::SharedSpans;

/// What stands open at a site, and what stood open beside it.
pub(crate) struct Case<'a> {
    now: NaiveDateTime,
    tubs: &'a CaseOf,
    spans: &'a SharedSpans,
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

impl<'a> Case<'a> {
    /// As the book has it.
    pub(crate) fn at(inside: &'a Inside, site_id: i64, now: NaiveDateTime) -> Answered<Self> {
        let tubs = inside.beside.cases.of(site_id).ok_or(Unread::Case(site_id))?;
        Ok(Self { now, tubs, spans: inside.beside.kept.spans(site_id) })
    }

    /// The lots that stand open.
    pub(crate) fn open_lots(&self) -> Vec<i64> {
        self.tubs.open.iter().map(|tub| tub.lot_id).collect()
    }

    /// Whether a lot stands open.
    pub(crate) fn is_open(&self, lot_id: i64) -> bool {
        self.open_tub(lot_id).is_some()
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
        let mut beside: Vec<Beside> = self.each_beside(lot_id).collect();
        beside.sort_by_key(|other| (!other.direct, std::cmp::Reverse(other.from), other.lot_id));
        beside
    }

    /// What may have got into a lot by the scoop.
    pub(crate) fn mixed(&self, inside: &Inside, lot_id: i64) -> Result<Mixed> {
        let work_out = || {
            let nothing = Mixed { content: Content::NOTHING, is_any: false };
            self.each_beside(lot_id).try_fold(nothing, |sum, other| {
                let there = inside.graph.content(lot_ix(other.lot_id)?);
                Ok::<_, OperationError>(Mixed { content: sum.content.union(by_scoop(there)), is_any: true })
            })
        };
        if self.is_settled() { self.tubs.mixed(lot_id, work_out) } else { work_out() }
    }

    /// What was answered to a question since the index last changed, where time alone changes nothing of it.
    pub(crate) fn told(&self, question: &NewAllergenCheck) -> Option<Told> {
        if self.is_settled() { self.tubs.told(question) } else { None }
    }

    /// Keeps what was answered until the index changes.
    pub(crate) fn keep(&self, question: &NewAllergenCheck, told: Told) {
        if self.is_settled() {
            self.tubs.keep(question, told);
        }
    }

    /// Whether nothing changes any more but by a new fact.
    fn is_settled(&self) -> bool {
        self.tubs.latest <= self.now && self.spans.is_settled(self.now)
    }

    /// What is in a lot by all that is recorded, the scoop's doing too.
    pub(crate) fn content(&self, inside: &Inside, lot_id: i64) -> Result<Content> {
        Ok(inside.graph.content(lot_ix(lot_id)?).union(self.mixed(inside, lot_id)?.content))
    }

    /// As [`Self::beside`], in no order.
    fn each_beside(&self, lot_id: i64) -> impl Iterator<Item = Beside> {
        self.open_tub(lot_id).into_iter().flat_map(move |tub| {
            let own = self.while_open(tub);
            let others = || self.tubs.open.iter().chain(&self.tubs.gone).filter(move |other| other.lot_id != lot_id);
            let with_it = others().filter(|other| self.spans.shared(self.while_open(other), own).is_some());
            let first = with_it.map(|other| other.opened_at).min().map_or(own.0, |first| first.min(own.0));
            others().filter_map(move |other| {
                let direct = self.spans.shared(self.while_open(other), own);
                let span = direct.or_else(|| self.spans.shared(self.while_open(other), (first, self.now)))?;
                Some(Beside {
                    lot_id: other.lot_id,
                    from: other.opened_at,
                    until: other.gone_at,
                    direct: direct.is_some(),
                    said: span.said,
                })
            })
        })
    }

    fn open_tub(&self, lot_id: i64) -> Option<&'a OpenTub> {
        let at = self.tubs.open.binary_search_by_key(&lot_id, |tub| tub.lot_id).ok()?;
        self.tubs.open.get(at)
    }

    fn while_open(&self, tub: &OpenTub) -> (NaiveDateTime, NaiveDateTime) {
        (tub.opened_at, tub.gone_at.unwrap_or(self.now))
    }
}

/// What a scoop brings of a content: nothing of it for certain.
pub(crate) fn by_scoop(content: Content) -> Content {
    Content { contains: 0, may_contain: content.contains | content.may_contain, unknown: content.unknown }
}
