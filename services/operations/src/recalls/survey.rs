//! Every line of a recall by what is to be done about it, and all that the lines come to. Worked out of the index; the database
//! is asked only for what was written down about the recall itself. All of it is as of one journal entry.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

use parking_lot::Mutex;
use tubtrail_domain::place::State;
use tubtrail_domain::recall::Outcome;
use tubtrail_lineage::{LotIx, Reach, Scratch};
use tubtrail_storage::contents::CONTENTS;
use tubtrail_storage::lots::lots_by_ids;
use tubtrail_storage::particulars::moved_between;
use tubtrail_storage::recall_lines::{Found, brought_after, found_of, is_written_of, mixed_between, returned_of};
use tubtrail_storage::recalls::{RecallRow, seeds_of};
use tubtrail_storage::{AnyConnection, Follower as _, StorageError, journal};

use super::browse::LineStand;
use super::case::{RecallMass, RecallSite};
use super::lines::CHUNK;
use super::outline::{Outline, Reached};
use super::places::{Fate, Sums, divided};
use crate::error::Result;
use crate::index::{Answered, Index, Inside, Unanswered, Unread, lot_ix, lots_of_seeds};
use crate::names::Names;
use crate::quantities::Grams;
use crate::reach::Request;
use crate::tubtrail::Tubtrail;

/// How many recalls are kept as they were worked out last.
const MOST_KEPT: usize = 4;
/// After more entries than these a recall is worked out anew without a look at them.
const LOOKED_AT: i64 = 500;

/// A recall, line by line.
pub(super) struct Survey {
    /// Its lots.
    pub outline: Outline,
    /// Lots at sites, in order of lot and then of site.
    pub lines: Vec<Line>,
    /// The lots of which customers were handed any, by row.
    pub consigned: Vec<i64>,
    sites: BTreeMap<i64, SiteTally>,
    received_mg: i64,
    placed_mg: i64,
    /// Milligrams of the seeds by word of the place.
    seed_mg: BTreeMap<&'static str, i64>,
}

/// A lot at a site.
#[derive(Clone, Copy)]
pub(super) struct Line {
    /// Its place among the lots of the outline.
    pub at: usize,
    /// The site.
    pub site_id: i64,
    /// How much of it is there, in milligrams.
    pub on_hand_mg: i64,
    /// What is to be done about it.
    pub stand: LineStand,
}

impl Line {
    /// Whether any of it is there.
    pub const fn is_on_hand(&self) -> bool {
        self.on_hand_mg != 0
    }
}

#[derive(Default)]
struct SiteTally {
    lots: usize,
    lots_on_hand: usize,
    on_hand_mg: i64,
    served_mg: i64,
    open_mg: i64,
    open: usize,
    confirmed: usize,
    not_found: usize,
}

/// A survey as far as the index knows it.
pub(super) struct Draft {
    survey: Survey,
    /// Lots of which the row is wanted too: those it begins with, and what was received.
    waiting: Vec<(usize, Sums)>,
}

/// The recalls that were worked out last, as long as nothing was written down.
#[derive(Default)]
pub(crate) struct Surveys {
    kept: Mutex<Vec<Kept>>,
    /// One at a time, so that many who look at a recall do not all work it out.
    working: Mutex<()>,
}

struct Kept {
    recall_id: i64,
    survey: Arc<Survey>,
}

impl Tubtrail {
    /// A recall line by line, as of a journal entry that is no older than the request. Must not be called with a connection in
    /// hand.
    pub(super) fn survey(&self, request: &Request, row: &RecallRow) -> Result<Arc<Survey>> {
        let _one_at_a_time = self.surveys.working.lock();
        let now = self.index_for(request)?.position();
        if let Some(survey) = self.surveys.find(row.id)
            && survey.outline.position >= now
        {
            return Ok(survey);
        }
        let draft = self.draft(request, row)?;
        let survey = Arc::new(self.read_at_once(|conn| draft.settle(conn, Some(row.id)))?);
        self.surveys.keep(row.id, &survey);
        Ok(survey)
    }

    /// Whether what was written down after a journal entry, up to another, changes anything of a recall. It reached so many
    /// lots then, where that is known.
    pub(super) fn concerns(
        &self,
        conn: &mut AnyConnection,
        recall_id: i64,
        (after, lots): (i64, Option<usize>),
        until: i64,
        holds: impl Fn(i64) -> bool,
    ) -> Result<bool> {
        if until - after > LOOKED_AT {
            return Ok(true);
        }
        let reached = self.index.look(|inside, _| {
            inside.recalls.get(recall_id).map(|recalled| (recalled.reach.len(), recalled.reach.with_contact()))
        });
        if reached.zip(lots).is_some_and(|((reached, _), lots)| reached != lots) {
            return Ok(true);
        }
        let touched = journal::touched(conn, after, until)?;
        // Of one that ended the index does not know what it would reach by now.
        if reached.is_none() && touched.any(&["lots", "uses", "use_voids", "untracked_inputs"]) {
            return Ok(true);
        }
        // Whatever else goes into a batch, or is taken out again, changes how much of the recall is in each gram of it.
        if touched.any(&["uses", "use_voids", "untracked_inputs"])
            && mixed_between(conn, after, until)?.into_iter().any(&holds)
        {
            return Ok(true);
        }
        // One lot may have joined by contact as another left.
        if reached.is_some_and(|(_, with_contact)| with_contact) && touched.any(&CONTENTS) {
            return Ok(true);
        }
        let of_recalls = ["recall_confirmations", "recall_replies", "recall_endings"];
        if touched.any(&of_recalls) && is_written_of(conn, recall_id, after, until)? {
            return Ok(true);
        }
        if !touched.any(&["movements"]) {
            return Ok(false);
        }
        Ok(moved_between(conn, after, until)?.iter().any(|moved| holds(moved.lot_id)))
    }

    /// What a recall begins with, where the index does not keep what it reaches; else nothing.
    pub(super) fn beginning(&self, request: &Request, row: &RecallRow) -> Result<Vec<LotIx>> {
        let index = self.index_for(request)?;
        self.read(|conn| beginning(conn, index, row))
    }

    fn draft(&self, request: &Request, row: &RecallRow) -> Result<Draft> {
        let beginning = self.beginning(request, row)?;
        self.answer_of(request, |inside, scratch| match inside.recalls.get(row.id) {
            Some(recalled) => Draft::of(inside, scratch, &recalled.reach),
            None => Draft::of(inside, scratch, &Reach::of(&inside.graph, &beginning, row.with_contact)),
        })
    }
}

impl Surveys {
    fn find(&self, recall_id: i64) -> Option<Arc<Survey>> {
        let kept = self.kept.lock();
        kept.iter().find(|kept| kept.recall_id == recall_id).map(|kept| Arc::clone(&kept.survey))
    }

    fn keep(&self, recall_id: i64, survey: &Arc<Survey>) {
        let mut kept = self.kept.lock();
        kept.retain(|kept| kept.recall_id != recall_id);
        kept.truncate(MOST_KEPT - 1);
        kept.insert(0, Kept { recall_id, survey: Arc::clone(survey) });
    }
}

/// What a recall that holds nothing any more begins with: what it reaches, the index keeps no more.
fn beginning(conn: &mut AnyConnection, index: &Index, row: &RecallRow) -> Result<Vec<LotIx>> {
    if index.look(|inside, _| inside.recalls.get(row.id).is_some()) {
        return Ok(Vec::new());
    }
    let seeds = seeds_of(conn, row.id)?;
    Ok(lots_of_seeds(conn, &seeds, index.position())?)
}

impl Draft {
    /// Draws what some lots reach.
    pub fn of(inside: &Inside, scratch: &mut Scratch, reach: &Reach) -> Answered<Self> {
        let unread = unread_of(inside, reach);
        if !unread.is_empty() {
            return Err(Unanswered::Unread(unread));
        }
        let mut draft = Self { survey: Survey::empty(Outline::of(inside, scratch, reach)), waiting: Vec::new() };
        for at in 0..draft.survey.outline.lots.len() {
            let reached = draft.survey.outline.lots[at];
            let lot = lot_ix(reached.row)?;
            let mut sums = Sums::new();
            for (batch, mg) in inside.graph.uses_of(lot) {
                *sums.entry((inside.batch_card(batch)?.site_id, Fate::Used)).or_insert(0) += mg;
            }
            for (place, mg) in inside.beside.particulars.places(&inside.graph, &inside.lot_card(lot)?) {
                *sums.entry((place.site_id, Fate::In(place.state))).or_insert(0) += mg;
            }
            if reached.is_seed || inside.graph.made_by(lot).is_none() {
                draft.waiting.push((at, sums));
            } else {
                draft.add(at, sums);
            }
        }
        Ok(draft)
    }

    /// The same of a recall that was written down, within a command: the index holds all that was written before it.
    pub fn within(conn: &mut AnyConnection, index: &Index, row: &RecallRow) -> Result<Self> {
        let beginning = beginning(conn, index, row)?;
        let drawn = index.look(|inside, scratch| match inside.recalls.get(row.id) {
            Some(recalled) => Self::of(inside, scratch, &recalled.reach),
            None => Self::of(inside, scratch, &Reach::of(&inside.graph, &beginning, row.with_contact)),
        });
        match drawn {
            Ok(draft) => Ok(draft),
            Err(Unanswered::Refused(error)) => Err(*error),
            // Whoever begins the command has it read before.
            Err(Unanswered::Unread(_) | Unanswered::NotHere) => Err(StorageError::Busy.into()),
        }
    }

    /// Adds what only the database has: masses of what was received, and what was found of a recall, if there is one yet.
    pub fn settle(mut self, conn: &mut AnyConnection, recall_id: Option<i64>) -> Result<Survey> {
        self.add_waiting(conn)?;
        let Self { mut survey, .. } = self;
        survey.lines.sort_by_key(|line| (line.at, line.site_id));
        survey.consigned.sort_unstable();
        let until = survey.outline.position;
        let (found, brought) = match recall_id {
            Some(recall_id) => (found_of(conn, recall_id, until)?, brought_after(conn, recall_id, until)?),
            None => (HashMap::new(), HashMap::new()),
        };
        let Survey { lines, sites, outline, .. } = &mut survey;
        for line in lines {
            let at = (outline.lots[line.at].row, line.site_id);
            line.stand = stand(line.is_on_hand(), found.get(&at), brought.get(&at));
            let site = sites.entry(line.site_id).or_default();
            match line.stand {
                LineStand::Open => {
                    site.open += 1;
                    site.open_mg += line.on_hand_mg;
                }
                LineStand::Confirmed => site.confirmed += 1,
                LineStand::NotFound => site.not_found += 1,
                LineStand::Gone => {}
            }
        }
        Ok(survey)
    }

    fn add_waiting(&mut self, conn: &mut AnyConnection) -> Result<()> {
        let until = self.survey.outline.position;
        let waiting = std::mem::take(&mut self.waiting);
        let row = |at: usize| self.survey.outline.lots[at].row;
        let ids: Vec<i64> = waiting.iter().map(|(at, _)| row(*at)).collect();
        let mut lots = Vec::with_capacity(ids.len());
        for ids in ids.chunks(CHUNK) {
            lots.extend(lots_by_ids(conn, ids)?);
        }
        let mut back = Vec::new();
        for (lot, (at, sums)) in lots.iter().zip(&waiting) {
            if lot.id != row(*at) {
                return Err(StorageError::Corrupt(format!("lot row {} is in the graph alone", row(*at))).into());
            }
            // What lies nowhere and went into no batch is with the supplier again.
            if lot.batch_id.is_none() && sums.values().sum::<i64>() != lot.mass_mg {
                back.push(lot.id);
            }
        }
        let mut returned: HashMap<i64, Vec<(i64, i64)>> = HashMap::new();
        for (lot, site, mg) in returned_of(conn, &back, until)? {
            returned.entry(lot).or_default().push((site, mg));
        }
        for (lot, (at, mut sums)) in lots.into_iter().zip(waiting) {
            for (site, mg) in returned.remove(&lot.id).into_iter().flatten() {
                *sums.entry((site, Fate::Returned)).or_insert(0) += mg;
            }
            if self.survey.outline.lots[at].is_seed {
                self.survey.received_mg += lot.mass_mg;
            }
            self.add(at, sums);
        }
        Ok(())
    }

    fn add(&mut self, at: usize, sums: Sums) {
        let survey = &mut self.survey;
        let reached: Reached = survey.outline.lots[at];
        let mut last: Option<Line> = None;
        for part in divided(sums, &reached) {
            survey.placed_mg += part.seed_mg;
            *survey.seed_mg.entry(part.fate.word()).or_insert(0) += part.seed_mg;
            let site = survey.sites.entry(part.site_id).or_default();
            let here = last.take_if(|line| line.site_id == part.site_id);
            let mut line = here.unwrap_or_else(|| {
                site.lots += 1;
                survey.lines.extend(last);
                Line { at, site_id: part.site_id, on_hand_mg: 0, stand: LineStand::Gone }
            });
            match part.fate {
                Fate::In(State::Served) => site.served_mg += part.mass_mg,
                Fate::In(State::Consigned) if survey.consigned.last() != Some(&reached.row) => {
                    survey.consigned.push(reached.row);
                }
                fate if fate.is_on_hand() => {
                    site.lots_on_hand += usize::from(!line.is_on_hand());
                    site.on_hand_mg += part.mass_mg;
                    line.on_hand_mg += part.mass_mg;
                }
                _ => {}
            }
            last = Some(line);
        }
        survey.lines.extend(last);
    }
}

impl Survey {
    fn empty(outline: Outline) -> Self {
        Self {
            outline,
            lines: Vec::new(),
            consigned: Vec::new(),
            sites: BTreeMap::new(),
            received_mg: 0,
            placed_mg: 0,
            seed_mg: BTreeMap::new(),
        }
    }

    /// The lines still to be confirmed.
    pub fn open(&self) -> impl Iterator<Item = &Line> {
        self.lines.iter().filter(|line| line.stand == LineStand::Open)
    }

    /// Where what it begins with is.
    pub fn mass(&self) -> RecallMass {
        let outline = &self.outline;
        let of = |word: &str| Grams::from_mg(self.seed_mg.get(word).copied().unwrap_or(0));
        let held_mg: i64 = outline.lots.iter().map(|lot| lot.seed_mg).sum();
        RecallMass {
            received_grams: Grams::from_mg(self.received_mg),
            found_grams: Grams::from_mg(outline.seed_mg - self.received_mg),
            available_grams: of("available"),
            open_grams: of("open"),
            in_transit_grams: of("in_transit"),
            served_grams: of("served"),
            consigned_grams: of("consigned"),
            discarded_grams: of("discarded"),
            returned_grams: of("returned"),
            count_difference_grams: of("count_difference"),
            in_open_batches_grams: Grams::from_mg(outline.in_open_batches_mg),
            lost_grams: Grams::from_mg(outline.lost_mg),
            in_seeds_grams: Grams::from_mg(outline.in_seeds_mg),
            unaccounted_grams: Grams::from_mg(outline.difference_mg + held_mg - self.placed_mg),
        }
    }

    /// What each site has and had of it; what is open is late, or not.
    pub fn sites(&self, conn: &mut AnyConnection, late: bool) -> Result<Vec<RecallSite>> {
        let mut names = Names::default();
        let shown = self.sites.iter().map(|(id, site)| {
            let found = names.site(conn, *id)?;
            Ok(RecallSite {
                site: found.row.code.clone(),
                name: found.current.name.clone(),
                lots: site.lots,
                lots_on_hand: site.lots_on_hand,
                on_hand_grams: Grams::from_mg(site.on_hand_mg),
                served_grams: Grams::from_mg(site.served_mg),
                open_lines: site.open,
                open_grams: Grams::from_mg(site.open_mg),
                confirmed_lines: site.confirmed,
                not_found_lines: site.not_found,
                overdue_lines: if late { site.open } else { 0 },
            })
        });
        shown.collect()
    }
}

/// What must be read of the index before a recall can be worked out.
fn unread_of(inside: &Inside, reach: &Reach) -> BTreeSet<Unread> {
    let mut unread = inside.unread_of(reach.lots());
    for (batch, _) in reach.lots().flat_map(|lot| inside.graph.uses_of(lot)) {
        if inside.batch_card(batch).is_err() {
            unread.insert(Unread::of_batch(batch));
        }
    }
    unread
}

/// What is to be done about a line: what is on hand is to be confirmed, unless somebody has since the last of it came.
fn stand(is_on_hand: bool, found: Option<&Found>, brought: Option<&i64>) -> LineStand {
    match found {
        Some(found) if !is_on_hand || brought.is_none_or(|entry| *entry <= found.entry) => {
            if found.outcome == Outcome::NotFound.word() { LineStand::NotFound } else { LineStand::Confirmed }
        }
        _ if is_on_hand => LineStand::Open,
        _ => LineStand::Gone,
    }
}
