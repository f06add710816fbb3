//! Which lots are under recall. What a recall begins with is asked anew with every commit, and what it reaches follows the
//! graph, so that what is made or written down later joins it.

use std::collections::{BTreeMap, HashSet};

use chrono::NaiveDateTime;
use tubtrail_lineage::{BatchIx, ContactChange, Graph, LotIx, Reach};
use tubtrail_storage::graph_changes::GraphChanges;
use tubtrail_storage::journal::Touched;
use tubtrail_storage::recall_seeds::{lots_of_seed, news_of_seed};
use tubtrail_storage::recalls::{RecallRow, RecallSeedRow, freed_between, recalls_between, seeds_of};
use tubtrail_storage::search::authors;
use tubtrail_storage::{AnyConnection, StorageError};

use super::lot_ix;

/// A recall in force: one that was not withdrawn, nor a drill that was closed.
pub struct Recalled {
    /// As it was written down.
    pub row: RecallRow,
    /// When that was.
    pub since: NaiveDateTime,
    /// What it reaches.
    pub reach: Reach,
    seeds: Vec<RecallSeedRow>,
}

/// The recalls in force.
#[derive(Default)]
pub struct Recalls {
    by_id: BTreeMap<i64, Recalled>,
}

/// What new facts mean for the recalls, read before the graph takes them in.
#[derive(Default)]
pub(super) struct News {
    begun: Vec<Begun>,
    freed: Vec<i64>,
    seeds: BTreeMap<i64, SeedsChanged>,
}

struct Begun {
    row: RecallRow,
    since: NaiveDateTime,
    seeds: Vec<RecallSeedRow>,
    lots: Vec<LotIx>,
}

#[derive(Default)]
struct SeedsChanged {
    joined: Vec<LotIx>,
    /// All of them, where one is none any more.
    all: Option<Vec<LotIx>>,
}

/// What the graph has taken in.
#[derive(Default)]
pub(super) struct Grown {
    /// Uses that were not voided at once.
    pub uses: Vec<(LotIx, BatchIx)>,
    pub lots: Vec<LotIx>,
    pub contacts: Vec<(BatchIx, BatchIx)>,
    /// Lots of which a use was voided.
    pub voided: Vec<LotIx>,
    /// A contact was taken away.
    pub contact_removed: bool,
}

impl Recalls {
    /// Those that keep a lot on hold, the oldest first.
    pub fn holding(&self, lot: LotIx) -> impl Iterator<Item = &Recalled> {
        self.by_id.values().filter(move |recalled| recalled.row.holds && recalled.reach.holds(lot))
    }

    /// All of them, by row id.
    pub fn all(&self) -> impl Iterator<Item = (i64, &Recalled)> {
        self.by_id.iter().map(|(id, recalled)| (*id, recalled))
    }

    /// One of them, by row id.
    pub fn get(&self, id: i64) -> Option<&Recalled> {
        self.by_id.get(&id)
    }

    /// The first in which others, at the same position over the same graph, are not like these: row id and what.
    pub(super) fn first_difference(&self, other: &Self) -> Option<(i64, &'static str)> {
        let (ours, theirs) = (self.by_id.keys(), other.by_id.keys());
        if !ours.eq(theirs) {
            let missing = self.by_id.keys().chain(other.by_id.keys());
            let one = missing.into_iter().find(|id| self.by_id.contains_key(id) != other.by_id.contains_key(id));
            return Some((one.copied().unwrap_or(0), "one index has the recall and the other not"));
        }
        self.by_id.iter().zip(other.by_id.values()).find_map(|((id, one), other)| Some((*id, differs(one, other)?)))
    }

    pub(super) fn take_in(&mut self, graph: &Graph, news: News, grown: &Grown) {
        for id in &news.freed {
            self.by_id.remove(id);
        }
        let nothing = SeedsChanged::default();
        for (id, recalled) in &mut self.by_id {
            recalled.take_in(graph, news.seeds.get(id).unwrap_or(&nothing), grown);
        }
        for Begun { row, since, seeds, lots } in news.begun {
            let reach = Reach::of(graph, &lots, row.with_contact);
            self.by_id.insert(row.id, Recalled { row, since, reach, seeds });
        }
    }
}

impl Recalled {
    fn take_in(&mut self, graph: &Graph, changed: &SeedsChanged, grown: &Grown) {
        let was_voided = grown.voided.iter().any(|lot| self.reach.holds(*lot));
        let lost_contact = grown.contact_removed && self.reach.with_contact();
        if changed.all.is_some() || was_voided || lost_contact {
            let mut seeds = changed.all.clone().unwrap_or_else(|| self.reach.seeds().to_vec());
            seeds.extend(&changed.joined);
            self.reach = Reach::of(graph, &seeds, self.reach.with_contact());
            return;
        }
        self.reach.add_seeds(graph, &changed.joined);
        self.reach.grow(graph, &grown.uses, &grown.lots, &grown.contacts);
    }
}

impl News {
    /// Reads what the entries in `(after, until]` mean for the recalls known at `after`.
    pub fn read(
        conn: &mut AnyConnection,
        known: &Recalls,
        touched: &Touched,
        after: i64,
        until: i64,
    ) -> Result<Self, StorageError> {
        if known.by_id.is_empty() && !touched.any(&["recalls", "recall_endings"]) {
            return Ok(Self::default());
        }
        let freed = freed_between(conn, after, until)?;
        let mut begun = Vec::new();
        let rows = recalls_between(conn, after, until)?;
        let since = authors(conn, &rows.iter().map(|row| row.entry).collect::<Vec<_>>())?;
        for row in rows.into_iter().filter(|row| !freed.contains(&row.id)) {
            let missing = || StorageError::Corrupt(format!("recall {}: its journal entry is missing", row.id));
            let (_, since) = since.get(&row.entry).ok_or_else(missing)?;
            let seeds = seeds_of(conn, row.id)?;
            begun.push(Begun { since: *since, lots: lots_of_seeds(conn, &seeds, until)?, row, seeds });
        }
        let mut seeds = BTreeMap::new();
        for (id, recalled) in known.by_id.iter().filter(|(id, _)| !freed.contains(id)) {
            seeds.insert(*id, SeedsChanged::read(conn, recalled, touched, (after, until))?);
        }
        Ok(Self { begun, freed, seeds })
    }
}

impl SeedsChanged {
    fn read(
        conn: &mut AnyConnection,
        recalled: &Recalled,
        touched: &Touched,
        (after, until): (i64, i64),
    ) -> Result<Self, StorageError> {
        let (mut joined, mut left) = (Vec::new(), Vec::new());
        for seed in &recalled.seeds {
            let news = news_of_seed(conn, seed, touched, (after, until))?;
            joined.extend(lots(&news.joined)?);
            left.extend(lots(&news.left)?);
        }
        // Most commits bring nothing: then the seeds, which may be very many, are not gone through.
        if joined.is_empty() && left.is_empty() {
            return Ok(Self::default());
        }
        let known: HashSet<LotIx> = recalled.reach.seeds().iter().copied().collect();
        joined.retain(|lot| !known.contains(lot));
        let has_left = left.iter().any(|lot| known.contains(lot));
        let all = has_left.then(|| lots_of_seeds(conn, &recalled.seeds, until)).transpose()?;
        Ok(Self { joined, all })
    }
}

impl Grown {
    /// What some changes bring to the graph.
    pub fn of(
        changes: &GraphChanges,
        contacts: &[ContactChange],
        batch: impl Fn(i64) -> Result<BatchIx, StorageError>,
    ) -> Result<Self, StorageError> {
        let voided: HashSet<i64> = changes.voids.iter().map(|(_, voided)| voided.id).collect();
        let live = changes.uses.iter().filter(|one| !voided.contains(&one.id));
        let added = contacts.iter().filter(|contact| contact.carries != 0);
        Ok(Self {
            uses: live
                .map(|one| Ok((lot_ix(one.lot_id)?, batch(one.batch_id)?)))
                .collect::<Result<_, StorageError>>()?,
            lots: changes.lots.iter().map(|lot| lot_ix(lot.id)).collect::<Result<_, _>>()?,
            contacts: added.map(|contact| (contact.before, contact.after)).collect(),
            voided: changes.voids.iter().map(|(_, voided)| lot_ix(voided.lot_id)).collect::<Result<_, _>>()?,
            contact_removed: contacts.iter().any(|contact| contact.carries == 0),
        })
    }
}

/// The lots that what a recall begins with stands for, each once.
pub(crate) fn lots_of_seeds(
    conn: &mut AnyConnection,
    seeds: &[RecallSeedRow],
    until: i64,
) -> Result<Vec<LotIx>, StorageError> {
    let mut found = Vec::new();
    for seed in seeds {
        found.extend(lots(&lots_of_seed(conn, seed, until)?)?);
    }
    found.sort_unstable();
    found.dedup();
    Ok(found)
}

fn lots(rows: &[i64]) -> Result<Vec<LotIx>, StorageError> {
    rows.iter().map(|row| lot_ix(*row)).collect()
}

fn differs(one: &Recalled, other: &Recalled) -> Option<&'static str> {
    let seeds = |recalled: &Recalled| recalled.reach.seeds().iter().copied().collect::<HashSet<_>>();
    if seeds(one) != seeds(other) {
        return Some("it begins with other lots");
    }
    if !one.reach.lots().eq(other.reach.lots()) {
        return Some("it reaches other lots");
    }
    let by_contact = |recalled: &Recalled| -> Vec<LotIx> {
        recalled.reach.lots().filter(|lot| recalled.reach.by_contact_only(*lot)).collect()
    };
    (by_contact(one) != by_contact(other)).then_some("it reaches other lots by contact alone")
}
