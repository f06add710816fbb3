//! Answers in plain words: the chains of the index with the names, papers and times of the database.

use std::collections::HashMap;
use std::collections::hash_map::Entry;

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::allergens::Substance;
use tubtrail_storage::cleans::equipment_voids_of;
use tubtrail_storage::contents::{StatedInput, stated_lots};
use tubtrail_storage::lots::{BatchEquipmentRow, LotRow, equipment_of_batch, lots_by_ids};
use tubtrail_storage::master_data::{Equipment, Noun, Site};
use tubtrail_storage::search::{NamedBatch, item_labels, named_batches, untracked_of_batches};
use tubtrail_storage::statements::{StatementRow, statements_by_ids};
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::ToSchema;

use super::amounts::Amounts;
use super::asked::{Asked, AskedLot, Bare, Question};
use super::case::Beside;
use super::evidence::{Chain, ChainSource, Link};
use super::{AllergenAnswer, CheckedTub, MemberAnswer};
use crate::allergen_words::Answer;
use crate::error::Result;
use crate::fields;
use crate::index::Index;
use crate::known::{Known, Origin};
use crate::lots::{self, HoldShown};
use crate::names::Names;
use crate::quantities::Grams;

/// A link of the chain that explains an answer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case", tag = "kind")]
// A batch has steps too, and a description one name for one thing.
#[schema(as = EvidenceStep)]
pub enum Step {
    /// What was stated of a lot, or that nothing was.
    Statement {
        /// The lot's number.
        lot: String,
        /// The code of what it is.
        item: String,
        /// The statement's number; absent: nobody stated anything, or the lot is a plain spirit.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        statement: Option<i64>,
        /// The paper it stands on.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        document: Option<String>,
    },
    /// Something kept without lots went into a batch.
    Input {
        /// The batch's number.
        batch: i64,
        /// The code of what it was.
        item: String,
        /// The statement's number; absent: nobody stated anything.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        statement: Option<i64>,
    },
    /// A lot went into a batch.
    Use {
        /// The lot's number.
        lot: String,
        /// The batch's number.
        batch: i64,
    },
    /// A batch ran on equipment before another, or beside it.
    Contact {
        /// The equipment's code.
        equipment: String,
        /// The batch from which something may have got over.
        before: i64,
        /// From when it ran there.
        before_from: DateTime<Utc>,
        /// Until when, where that was written down.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        before_until: Option<DateTime<Utc>>,
        /// The batch into which it may have got.
        after: i64,
        /// From when it ran there.
        after_from: DateTime<Utc>,
        /// Until when, where that was written down.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        after_until: Option<DateTime<Utc>>,
    },
    /// A batch made a lot.
    Made {
        /// The batch's number.
        batch: i64,
        /// The lot's number.
        lot: String,
    },
    /// A tub stood open in the same case, and one scoop served both, or may have.
    Scoop {
        /// The other tub.
        lot: String,
        /// When it was opened.
        from: DateTime<Utc>,
        /// When the last of it left the case; absent while it is there.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        until: Option<DateTime<Utc>>,
        /// It stood open at the same time as the tub asked about; otherwise with one that did.
        direct: bool,
        /// The site said that one scoop serves all; otherwise it has not said how it serves.
        said: bool,
    },
}

/// Everything the chains of a check name.
struct Words<'a> {
    site: &'a Site,
    rows: HashMap<i64, LotRow>,
    known: Known,
    batches: HashMap<i64, NamedBatch>,
    sites: HashMap<i64, Site>,
    equipment: HashMap<i64, Equipment>,
    runs: HashMap<i64, Vec<BatchEquipmentRow>>,
    /// The statements about a source lot, and whether it is a plain spirit.
    stated: HashMap<i64, (Vec<StatementRow>, bool)>,
    /// By batch and substance, what was kept without lots and its statement.
    inputs: HashMap<(i64, Substance), (String, String, Option<i64>)>,
}

/// What was answered of each lot, in words.
pub(super) fn tubs(
    conn: &mut AnyConnection,
    index: &Index,
    site: &Site,
    question: &Question,
    asked: &Asked,
) -> Result<Vec<CheckedTub>> {
    let words = Words::of(conn, index, site, asked)?;
    let mut names = Names::default();
    let mut amounts = Amounts::default();
    let mut found = Vec::with_capacity(asked.lots.len());
    for lot in &asked.lots {
        let row = words.row(lot.lot_id)?;
        let portion_mg = names.item(conn, row.item_id)?.current.portion_mg;
        let answers = lot.answers.iter().map(|bare| {
            let answer = words.answer(lot, bare)?;
            amounts.beside(conn, index, lot, bare, portion_mg, answer)
        });
        let allergens = answers.collect::<Result<Vec<_>>>()?;
        let (item, name) = words.known.item(row)?;
        found.push(CheckedTub {
            lot: lots::number(row)?.to_string(),
            item,
            name,
            open: lot.open,
            on_hold: words.known.hold(row).map(|hold| HoldShown { hold: hold.id, reason: hold.reason.clone() }),
            recalls: words.known.recalls(row),
            rejected: words.known.rejection(row),
            portion_grams: portion_mg.map(Grams::from_mg),
            worst: allergens.iter().map(|answer| answer.answer).min().unwrap_or(Answer::NotRecorded),
            allergens,
        });
    }
    debug_assert!(found.iter().all(|tub| tub.allergens.len() == question.names.len()), "an answer for each name");
    Ok(found)
}

impl<'a> Words<'a> {
    fn of(conn: &mut AnyConnection, index: &Index, site: &'a Site, asked: &Asked) -> Result<Self> {
        let bare = || asked.lots.iter().flat_map(|lot| &lot.answers);
        let chains = || bare().filter_map(|bare| Some((bare.chain.as_ref()?, bare.substance)));
        let links = || chains().flat_map(|(chain, _)| &chain.links);
        let mut lot_ids: Vec<i64> = asked.lots.iter().map(|lot| lot.lot_id).collect();
        lot_ids.extend(bare().filter_map(|bare| bare.scoop).map(|scoop| scoop.lot_id));
        lot_ids.extend(links().filter_map(|link| if let Link::Lot(lot) = link { Some(*lot) } else { None }));
        lot_ids.sort_unstable();
        lot_ids.dedup();
        let rows = lots_by_ids(conn, &lot_ids)?;
        let known = Known::of(conn, &rows)?.recalled(index)?;
        let batch_ids: Vec<i64> =
            links().filter_map(|link| if let Link::Batch(id) = link { Some(*id) } else { None }).collect();
        let batches = named_batches(conn, &batch_ids)?;
        let mut words = Self {
            site,
            rows: rows.into_iter().map(|row| (row.id, row)).collect(),
            known,
            sites: sites_of(conn, &batches)?,
            batches,
            equipment: HashMap::new(),
            runs: HashMap::new(),
            stated: HashMap::new(),
            inputs: HashMap::new(),
        };
        for link in links() {
            if let Link::Contact { before, after, equipment } = *link {
                words.look_up_contact(conn, before, after, equipment)?;
            }
        }
        for (chain, substance) in chains() {
            match chain.source {
                ChainSource::Lot(lot) => words.look_up_statements(conn, index, lot)?,
                ChainSource::Batch(batch) => words.look_up_input(conn, index, batch, substance)?,
            }
        }
        Ok(words)
    }

    fn look_up_contact(&mut self, conn: &mut AnyConnection, before: i64, after: i64, equipment: i64) -> Result<()> {
        if let Entry::Vacant(gap) = self.equipment.entry(equipment) {
            let found = Equipment::by_id(conn, equipment)?;
            gap.insert(found.ok_or_else(|| missing("equipment", equipment))?);
        }
        for batch in [before, after] {
            if self.runs.contains_key(&batch) {
                continue;
            }
            let mut runs = equipment_of_batch(conn, batch)?;
            let voids = equipment_voids_of(conn, &runs.iter().map(|run| run.id).collect::<Vec<_>>())?;
            runs.retain(|run| voids.iter().all(|void| void.batch_equipment_id != run.id));
            self.runs.insert(batch, runs);
        }
        Ok(())
    }

    fn look_up_statements(&mut self, conn: &mut AnyConnection, index: &Index, lot: i64) -> Result<()> {
        if self.stated.contains_key(&lot) {
            return Ok(());
        }
        let stated = stated_lots(conn, &[], &[lot], i64::MAX)?;
        let (ids, is_spirit) = index.look(|inside, _| {
            let holding: Vec<_> = stated.iter().map(|lot| inside.contents.statements.of_lot(lot)).collect();
            let ids = holding.iter().flat_map(|holding| &holding.by).map(|stated| stated.id).collect::<Vec<_>>();
            (ids, holding.iter().any(|holding| holding.is_spirit))
        });
        self.stated.insert(lot, (statements_by_ids(conn, &ids)?, is_spirit));
        Ok(())
    }

    fn look_up_input(
        &mut self,
        conn: &mut AnyConnection,
        index: &Index,
        batch: i64,
        substance: Substance,
    ) -> Result<()> {
        let row = &self.batch(batch)?.batch;
        let (site_id, started_at, batch_entry) = (row.site_id, row.started_at, row.entry);
        let inputs = untracked_of_batches(conn, &[batch])?;
        let stated = |item_id| StatedInput { batch_id: batch, item_id, site_id, started_at, batch_entry };
        let found = index.look(|inside, _| {
            let contents = &inside.contents;
            let mut found = None;
            for input in &inputs {
                let content = contents.of_inputs(&contents.statements, &[stated(input.item_id)])?;
                if (content.contains | content.may_contain | content.unknown) & substance.bit() != 0 {
                    found = Some((input.item_id, contents.statement_of_input(&stated(input.item_id))?));
                    break;
                }
            }
            Ok::<_, StorageError>(found)
        })?;
        if let Some((item, statement)) = found {
            let label = item_labels(conn, &[item])?.remove(&item).ok_or_else(|| missing("item", item))?;
            self.inputs.insert((batch, substance), (label.0, label.1, statement));
        }
        Ok(())
    }

    fn row(&self, lot: i64) -> Result<&LotRow> {
        Ok(self.rows.get(&lot).ok_or_else(|| missing("lot", lot))?)
    }

    fn batch(&self, id: i64) -> Result<&NamedBatch> {
        Ok(self.batches.get(&id).ok_or_else(|| missing("batch", id))?)
    }

    /// A lot in a sentence.
    fn lot(&self, id: i64) -> Result<String> {
        let row = self.row(id)?;
        let what = if row.kind == "tub" { "tub" } else { "lot" };
        Ok(format!("{what} {} of {}", lots::number(row)?, self.known.item(row)?.1))
    }

    /// A batch in a sentence.
    fn batch_in_words(&self, id: i64) -> Result<String> {
        let named = self.batch(id)?;
        let site = self.sites.get(&named.batch.site_id).unwrap_or(self.site);
        Ok(format!("batch {id} ({}, begun {})", named.name, fields::wall_clock(site, named.batch.started_at)?))
    }

    fn answer(&self, lot: &AskedLot, bare: &Bare) -> Result<AllergenAnswer> {
        let (mut because, mut steps) = (Vec::new(), Vec::new());
        match &bare.chain {
            Some(chain) => {
                let end = bare.scoop.map_or(lot.lot_id, |scoop| scoop.lot_id);
                self.tell(chain, end, bare.substance, &mut because, &mut steps)?;
                if let Some(scoop) = bare.scoop {
                    self.tell_scoop(lot.lot_id, &scoop, &mut because, &mut steps)?;
                }
            }
            None => because.push(format!(
                "Every statement it rests on was made by a list that asks for {0}, or settles {0}, and none names it. That \
                 clears nothing.",
                bare.named.name()
            )),
        }
        let members = bare.members.iter().map(|(member, answer)| MemberAnswer {
            allergen: member.word().to_owned(),
            answer: *answer,
            estimate: None,
        });
        Ok(AllergenAnswer {
            allergen: bare.named.word().to_owned(),
            name: bare.named.name().to_owned(),
            answer: bare.answer,
            because,
            steps,
            members: members.collect(),
            estimate: None,
            ethanol: None,
        })
    }

    fn tell(
        &self,
        chain: &Chain,
        end: i64,
        substance: Substance,
        because: &mut Vec<String>,
        steps: &mut Vec<Step>,
    ) -> Result<()> {
        match chain.source {
            ChainSource::Lot(lot) => self.tell_statement(lot, chain.stated, substance, because, steps)?,
            ChainSource::Batch(batch) => self.tell_input(batch, chain.stated, substance, because, steps)?,
        }
        let mut links = chain.links.iter().peekable();
        while let Some(link) = links.next() {
            match (*link, links.peek()) {
                (Link::Lot(lot), Some(Link::Batch(batch))) => {
                    because.push(format!("{} went into {}.", capital(&self.lot(lot)?), self.batch_in_words(*batch)?));
                    steps.push(Step::Use { lot: lots::number(self.row(lot)?)?.to_string(), batch: *batch });
                }
                (Link::Batch(batch), Some(Link::Lot(lot))) => {
                    let made = if *lot == end { self.lot(*lot)? } else { format!("{}, used further", self.lot(*lot)?) };
                    because.push(format!("{} made {made}.", capital(&self.batch_in_words(batch)?)));
                    steps.push(Step::Made { batch, lot: lots::number(self.row(*lot)?)?.to_string() });
                }
                (Link::Contact { before, after, equipment }, _) => {
                    self.tell_contact((before, after, equipment), substance, because, steps)?;
                }
                _ => {}
            }
        }
        Ok(())
    }

    fn tell_statement(
        &self,
        lot: i64,
        stated: Answer,
        substance: Substance,
        because: &mut Vec<String>,
        steps: &mut Vec<Step>,
    ) -> Result<()> {
        let row = self.row(lot)?;
        let by = match self.known.origin(row)? {
            Origin::Delivery { supplier, supplier_lot_code, .. } => {
                format!(" ({supplier}, their lot {supplier_lot_code})")
            }
            Origin::Batch { .. } => String::new(),
        };
        let nothing = (Vec::new(), false);
        let (statements, is_spirit) = self.stated.get(&lot).unwrap_or(&nothing);
        let says = says(stated, substance);
        let named = capital(&self.lot(lot)?);
        because.push(match statements.as_slice() {
            [] if *is_spirit && substance == Substance::Alcohol => {
                format!("{named}{by}: it is counted as a plain spirit.")
            }
            [] => format!("{named}{by}: nobody has stated what is in it."),
            several => {
                let papers: Vec<_> =
                    several.iter().map(|row| format!("statement {} ({})", row.id, row.document)).collect();
                format!("{named}{by}: {} {says}.", papers.join(" with "))
            }
        });
        steps.push(Step::Statement {
            lot: lots::number(row)?.to_string(),
            item: self.known.item(row)?.0,
            statement: statements.first().map(|row| row.id),
            document: statements.first().map(|row| row.document.clone()),
        });
        Ok(())
    }

    fn tell_input(
        &self,
        batch: i64,
        stated: Answer,
        substance: Substance,
        because: &mut Vec<String>,
        steps: &mut Vec<Step>,
    ) -> Result<()> {
        let Some((item, name, statement)) = self.inputs.get(&(batch, substance)) else { return Ok(()) };
        let said = match statement {
            Some(id) => format!("statement {id} {}", says(stated, substance)),
            None => "nobody has stated what is in it".to_owned(),
        };
        because.push(format!("{name}, kept without lots, went into {}: {said}.", self.batch_in_words(batch)?));
        steps.push(Step::Input { batch, item: item.clone(), statement: *statement });
        Ok(())
    }

    fn tell_contact(
        &self,
        (before, after, equipment): (i64, i64, i64),
        substance: Substance,
        because: &mut Vec<String>,
        steps: &mut Vec<Step>,
    ) -> Result<()> {
        let machine = self.equipment.get(&equipment).ok_or_else(|| missing("equipment", equipment))?;
        let none = Vec::new();
        let runs =
            |batch: i64| self.runs.get(&batch).unwrap_or(&none).iter().filter(|run| run.equipment_id == equipment);
        let pairs = runs(before).flat_map(|one| runs(after).map(move |other| (one, other)));
        let Some((one, other)) = pairs.min_by_key(|(one, other)| gap(one, other)) else { return Ok(()) };
        let site = self.sites.get(&self.batch(after)?.batch.site_id).unwrap_or(self.site);
        let span = |run: &BatchEquipmentRow| -> Result<String> {
            let from = fields::wall_clock(site, run.used_from)?;
            let until = run.used_until.map(|until| fields::wall_clock(site, until)).transpose()?;
            Ok(until.map_or(format!("from {from}"), |until| format!("from {from} until {until}")))
        };
        let how = if overlap(one, other) {
            "ran on it at the same time".to_owned()
        } else {
            format!("ran on it next, and no clean between the two that clears {} is written down", substance.name())
        };
        because.push(format!(
            "{} ran on {} {}; {}, {}, {how}.",
            capital(&self.batch_in_words(before)?),
            machine.current.name,
            span(one)?,
            self.batch_in_words(after)?,
            span(other)?,
        ));
        steps.push(Step::Contact {
            equipment: machine.row.code.clone(),
            before,
            before_from: fields::utc(one.used_from),
            before_until: one.used_until.map(fields::utc),
            after,
            after_from: fields::utc(other.used_from),
            after_until: other.used_until.map(fields::utc),
        });
        Ok(())
    }

    fn tell_scoop(&self, lot: i64, scoop: &Beside, because: &mut Vec<String>, steps: &mut Vec<Step>) -> Result<()> {
        let clock = |at: NaiveDateTime| fields::wall_clock(self.site, at);
        let until =
            scoop.until.map(clock).transpose()?.map_or("and still does".to_owned(), |until| format!("until {until}"));
        let how = if scoop.said {
            "one scoop serves all that is open there"
        } else {
            "the site has not said how it serves, so one scoop is taken to serve all"
        };
        let with = if scoop.direct { self.lot(lot)? } else { format!("tubs that stood open with {}", self.lot(lot)?) };
        because.push(format!(
            "{} stood open from {} {until}, in the same case as {with}; {how}.",
            capital(&self.lot(scoop.lot_id)?),
            clock(scoop.from)?
        ));
        steps.push(Step::Scoop {
            lot: lots::number(self.row(scoop.lot_id)?)?.to_string(),
            from: fields::utc(scoop.from),
            until: scoop.until.map(fields::utc),
            direct: scoop.direct,
            said: scoop.said,
        });
        Ok(())
    }
}

fn sites_of(conn: &mut AnyConnection, batches: &HashMap<i64, NamedBatch>) -> Result<HashMap<i64, Site>> {
    let mut sites = HashMap::new();
    for named in batches.values() {
        let id = named.batch.site_id;
        if let Entry::Vacant(gap) = sites.entry(id) {
            gap.insert(Site::by_id(conn, id)?.ok_or_else(|| missing("site", id))?);
        }
    }
    Ok(sites)
}

/// What a statement says of a substance, after its name.
fn says(stated: Answer, substance: Substance) -> String {
    match stated {
        Answer::Contains if substance == Substance::Alcohol => "says that it is made with alcohol".to_owned(),
        Answer::Contains => format!("says that it contains {}", substance.name()),
        Answer::MayContain => format!("says that it may contain {}", substance.name()),
        Answer::Unknown | Answer::NotRecorded => format!("does not say whether {} is in it", substance.name()),
    }
}

fn overlap(one: &BatchEquipmentRow, other: &BatchEquipmentRow) -> bool {
    let end = |run: &BatchEquipmentRow| run.used_until.unwrap_or(run.used_from);
    one.used_from == other.used_from || (one.used_from < end(other) && other.used_from < end(one))
}

/// How far apart two runs are: of several of two batches, the nearest explain the contact.
fn gap(one: &BatchEquipmentRow, other: &BatchEquipmentRow) -> (bool, i64) {
    if overlap(one, other) {
        return (false, 0);
    }
    let apart = other.used_from - one.used_until.unwrap_or(one.used_from);
    (apart.num_microseconds().unwrap_or(i64::MAX) < 0, apart.num_microseconds().unwrap_or(i64::MAX).abs())
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

fn missing(noun: &str, id: i64) -> StorageError {
    StorageError::Corrupt(format!("{noun} row {id} is named and missing"))
}
