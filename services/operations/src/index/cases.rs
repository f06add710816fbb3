//! What stands open in the case of each site, and what stood open beside it. A site's case is read when it is first asked for,
//! and from then on follows the journal.

use std::collections::{BTreeMap, HashMap};

use chrono::{Duration, NaiveDateTime};
use parking_lot::Mutex;
use tubtrail_domain::place::State;
use tubtrail_lineage::Content;
use tubtrail_storage::open_tubs::{OpenTub, Stay, gone_since, open_now, stays_of};
use tubtrail_storage::particulars::Moved;
use tubtrail_storage::{AnyConnection, StorageError};

use crate::allergen_checks::NewAllergenCheck;
use crate::allergen_checks::told::Told;
use crate::error::Result;

/// The cases that were read, by site.
#[derive(Debug, Default)]
pub struct Cases {
    of_site: HashMap<i64, CaseOf>,
}

/// What may have got into a tub by the scoop.
#[derive(Clone, Copy, Debug)]
pub struct Mixed {
    /// All of it together.
    pub content: Content,
    /// It is from anything at all.
    pub is_any: bool,
}

/// The case of a site.
#[derive(Debug, Default)]
pub struct CaseOf {
    /// By lot.
    stays: BTreeMap<i64, Stay>,
    /// All that left the case then or later is among them.
    since: NaiveDateTime,
    /// What stands open, in order of lot.
    pub open: Vec<OpenTub>,
    /// What may have touched the same scoop as that, and is gone; in order of lot.
    pub gone: Vec<OpenTub>,
    /// The last moment at which a tub was opened or left; what comes after it changes nothing by itself.
    pub latest: NaiveDateTime,
    /// By lot, what was worked out since the index last changed.
    mixed: Mutex<HashMap<i64, Mixed>>,
    /// What was answered since then.
    told: Mutex<HashMap<NewAllergenCheck, Told>>,
}

/// A case that was read.
pub struct ReadCase {
    site_id: i64,
    stays: Vec<Stay>,
    since: NaiveDateTime,
}

/// What new facts mean for the cases.
#[derive(Default)]
pub(super) struct CaseNews {
    /// Sites that are new: nothing ever stood open there.
    pub sites: Vec<i64>,
    /// Lots that were not known to have been in a case, by site.
    stays: HashMap<i64, Vec<Stay>>,
}

/// Tubs of a case beyond which those that left it long ago are forgotten.
const MANY: usize = 2000;
/// Most answers that are kept of a site.
const MOST_TOLD: usize = 200;
/// How much longer than they are needed tubs that left a case are remembered: what is written down late is not read anew.
const SLACK: Duration = Duration::days(3);

impl Cases {
    /// The case of a site; none if it was not read yet.
    pub fn of(&self, site_id: i64) -> Option<&CaseOf> {
        self.of_site.get(&site_id)
    }

    /// Keeps a case that was read.
    pub fn keep(&mut self, read: ReadCase) {
        let stays = read.stays.into_iter().map(|stay| (stay.lot_id, stay)).collect();
        let mut case = CaseOf { stays, since: read.since, ..CaseOf::default() };
        if case.arrange() {
            self.of_site.insert(read.site_id, case);
        }
    }

    /// Forgets what was worked out: something has changed.
    pub(super) fn forget(&mut self) {
        for case in self.of_site.values_mut() {
            case.mixed.get_mut().clear();
            case.told.get_mut().clear();
        }
    }

    pub(super) fn take_in(&mut self, moved: &[Moved], news: CaseNews) {
        for site in news.sites {
            self.of_site.insert(site, CaseOf { since: NaiveDateTime::MIN, ..CaseOf::default() });
        }
        let mut changed: Vec<i64> = news.stays.keys().copied().collect();
        for (site, one) in moved.iter().flat_map(steps) {
            let Some(case) = self.of_site.get_mut(&site) else { continue };
            let is_read = news.stays.get(&site).is_some_and(|stays| stays.iter().any(|stay| stay.lot_id == one.lot_id));
            if !is_read {
                case.step(&one);
            }
            changed.push(site);
        }
        for (site, stays) in news.stays {
            if let Some(case) = self.of_site.get_mut(&site) {
                case.stays.extend(stays.into_iter().map(|stay| (stay.lot_id, stay)));
            }
        }
        changed.sort_unstable();
        changed.dedup();
        for site in changed {
            // What is needed of it was forgotten: it is read anew when it is asked for.
            if self.of_site.get_mut(&site).is_some_and(|case| !case.arrange()) {
                self.of_site.remove(&site);
            }
        }
    }

    /// The first site of whose case both keep something, and not the same.
    pub(super) fn first_difference(&self, other: &Self) -> Option<i64> {
        let both = self.of_site.iter().filter_map(|(site, one)| Some((*site, one, other.of(*site)?)));
        both.filter(|(_, one, other)| one.open != other.open || one.gone != other.gone).map(|(site, ..)| site).min()
    }
}

impl CaseOf {
    /// What may have got into a tub by the scoop, worked out where that was not done since the index last changed.
    pub fn mixed(&self, lot_id: i64, work_out: impl FnOnce() -> Result<Mixed>) -> Result<Mixed> {
        if let Some(known) = self.mixed.lock().get(&lot_id) {
            return Ok(*known);
        }
        let mixed = work_out()?;
        self.mixed.lock().insert(lot_id, mixed);
        Ok(mixed)
    }

    /// What was answered to a question since the index last changed.
    pub fn told(&self, question: &NewAllergenCheck) -> Option<Told> {
        self.told.lock().get(question).cloned()
    }

    /// Keeps an answer until the index changes.
    pub fn keep(&self, question: &NewAllergenCheck, answer: Told) {
        let mut told = self.told.lock();
        if told.len() >= MOST_TOLD {
            told.clear();
        }
        told.insert(question.clone(), answer);
    }

    fn step(&mut self, step: &Step) {
        let known = self.stays.entry(step.lot_id);
        let stay = known.or_insert(Stay { lot_id: step.lot_id, opened_at: None, left_at: None, mass_mg: 0 });
        if step.is_into {
            stay.mass_mg += step.mass_mg;
            stay.opened_at = Some(stay.opened_at.map_or(step.at, |at| at.min(step.at)));
        } else {
            stay.mass_mg -= step.mass_mg;
            stay.left_at = Some(stay.left_at.map_or(step.at, |at| at.max(step.at)));
        }
    }

    /// Puts in order what stands open and what stood beside it; whether nothing that it takes was forgotten.
    fn arrange(&mut self) -> bool {
        let tubs = self.stays.values().filter_map(|stay| Some((stay, stay.opened_at?)));
        let shown = |stay: &Stay, opened_at, gone_at| OpenTub { lot_id: stay.lot_id, opened_at, gone_at };
        self.open = tubs.clone().filter(|(stay, _)| stay.mass_mg > 0).map(|(stay, at)| shown(stay, at, None)).collect();
        self.gone = Vec::new();
        let moments = self.stays.values().flat_map(|stay| [stay.opened_at, stay.left_at]);
        self.latest = moments.flatten().max().unwrap_or_default();
        let Some(first) = self.open.iter().map(|tub| tub.opened_at).min() else { return true };
        let gone_since = |since: NaiveDateTime| -> Vec<OpenTub> {
            let gone = tubs.clone().filter(|(stay, _)| stay.mass_mg <= 0);
            gone.filter_map(|(stay, at)| Some(shown(stay, at, Some(stay.left_at.filter(|left| *left >= since)?))))
                .collect()
        };
        self.gone = gone_since(first);
        let earlier = self.gone.iter().map(|tub| tub.opened_at).min().filter(|earlier| *earlier < first);
        if let Some(earlier) = earlier {
            self.gone = gone_since(earlier);
        }
        let needed = earlier.unwrap_or(first);
        if needed < self.since {
            return false;
        }
        if self.stays.len() > MANY
            && let Some(since) = needed.checked_sub_signed(SLACK).filter(|since| *since > self.since)
        {
            self.stays.retain(|_, stay| stay.mass_mg > 0 || stay.left_at.is_none_or(|left| left >= since));
            self.since = since;
        }
        true
    }
}

impl ReadCase {
    /// Reads the case of a site as of an entry, which is the last.
    pub fn of(conn: &mut AnyConnection, site_id: i64, position: i64) -> std::result::Result<Self, StorageError> {
        let open = open_now(conn, site_id)?;
        let ids: Vec<i64> = open.iter().map(|tub| tub.lot_id).collect();
        let mut stays = stays_of(conn, site_id, &ids, position)?;
        let (mut gone, mut since) = (Vec::new(), NaiveDateTime::MAX);
        if let Some(first) = open.iter().map(|tub| tub.opened_at).min() {
            since = first;
            gone = gone_since(conn, site_id, since, &open)?;
            if let Some(earlier) = gone.iter().map(|tub| tub.opened_at).min().filter(|earlier| *earlier < first) {
                since = earlier;
                gone = gone_since(conn, site_id, since, &open)?;
            }
        }
        stays.extend(gone.into_iter().map(|tub| Stay {
            lot_id: tub.lot_id,
            opened_at: Some(tub.opened_at),
            left_at: tub.gone_at,
            mass_mg: 0,
        }));
        Ok(Self { site_id, stays, since })
    }
}

impl CaseNews {
    /// Reads of the lots that moved into or out of a case what is not known of them.
    pub fn read(
        conn: &mut AnyConnection,
        known: &Cases,
        moved: &[Moved],
        sites: Vec<i64>,
        until: i64,
    ) -> std::result::Result<Self, StorageError> {
        let mut unknown: HashMap<i64, Vec<i64>> = HashMap::new();
        for (site, step) in moved.iter().flat_map(steps) {
            if known.of(site).is_some_and(|case| !case.stays.contains_key(&step.lot_id)) {
                unknown.entry(site).or_default().push(step.lot_id);
            }
        }
        let mut stays = HashMap::new();
        for (site, mut lots) in unknown {
            lots.sort_unstable();
            lots.dedup();
            stays.insert(site, stays_of(conn, site, &lots, until)?);
        }
        Ok(Self { sites, stays })
    }
}

/// Some of a lot went into a case, or left it.
struct Step {
    lot_id: i64,
    is_into: bool,
    mass_mg: i64,
    at: NaiveDateTime,
}

/// What a movement does to cases, by site.
fn steps(moved: &Moved) -> impl Iterator<Item = (i64, Step)> + use<> {
    let open = State::Open.word();
    let step =
        |site, is_into| (site, Step { lot_id: moved.lot_id, is_into, mass_mg: moved.mass_mg, at: moved.occurred_at });
    let out = (moved.from_state == open).then(|| step(moved.from_site_id, false));
    let into = (moved.to_state == open).then(|| step(moved.to_site_id, true));
    out.into_iter().chain(into)
}
