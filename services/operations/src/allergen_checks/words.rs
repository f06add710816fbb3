//! Answers in plain words: the chains of the index with the names, papers and times that it keeps.

use std::fmt;

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::allergens::Substance;
use tubtrail_domain::lot_number::LotNumber;
use tubtrail_lineage::{LotIx, Scratch};
use utoipa::ToSchema;

use super::amounts::Amounts;
use super::asked::{Asked, AskedLot, Bare, Question};
use super::case::Beside;
use super::evidence::{Chain, ChainSource, Link};
use super::{AllergenAnswer, CheckedTub, MemberAnswer};
use crate::allergen_words::Answer;
use crate::fields::{self, WallClock};
use crate::index::contents::RanOn;
use crate::index::names::KeptSite;
use crate::index::particulars::{BatchCard, LotCard};
use crate::index::{Answered, Inside, Unanswered, lot_ix};
use crate::lots::LotKind;
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

/// What names the links of chains.
struct Words<'a> {
    inside: &'a Inside,
    site: &'a KeptSite,
}

/// What was answered of each lot, in words.
pub(super) fn tubs(
    inside: &Inside,
    scratch: &mut Scratch,
    site: &KeptSite,
    question: &Question,
    asked: &Asked,
) -> Answered<Vec<CheckedTub>> {
    let words = Words { inside, site };
    let amounts = Amounts { inside };
    let mut found = Vec::with_capacity(asked.lots.len());
    for lot in &asked.lots {
        let (ix, card) = words.card(lot.lot_id)?;
        let item = inside.beside.names.item(card.sort.item_id)?;
        let portion_mg = item.current.portion_mg;
        let answers = lot.answers.iter().map(|bare| {
            let answer = words.answer(lot, bare)?;
            amounts.beside(scratch, lot, bare, portion_mg, answer)
        });
        let allergens = answers.collect::<Answered<Vec<_>>>()?;
        found.push(CheckedTub {
            lot: card.number.to_string(),
            item: item.row.code.clone(),
            name: item.current.name.clone(),
            open: lot.open,
            on_hold: inside.hold_shown(lot.lot_id),
            recalls: inside.recalls_keeping(ix),
            rejected: inside.beside.kept.rejection(lot.lot_id).map(str::to_owned),
            portion_grams: portion_mg.map(Grams::from_mg),
            worst: allergens.iter().map(|answer| answer.answer).min().unwrap_or(Answer::NotRecorded),
            allergens,
        });
    }
    debug_assert!(found.iter().all(|tub| tub.allergens.len() == question.names.len()), "an answer for each name");
    Ok(found)
}

/// A lot as a sentence names it.
#[derive(Clone, Copy)]
struct LotInWords<'a> {
    is_tub: bool,
    number: LotNumber,
    name: &'a str,
    /// The sentence begins with it.
    begins: bool,
}

/// A batch as a sentence names it.
#[derive(Clone, Copy)]
struct BatchInWords<'a> {
    id: i64,
    name: &'a str,
    begun: WallClock,
    begins: bool,
}

impl LotInWords<'_> {
    const fn capital(self) -> Self {
        Self { begins: true, ..self }
    }
}

impl BatchInWords<'_> {
    const fn capital(self) -> Self {
        Self { begins: true, ..self }
    }
}

impl fmt::Display for LotInWords<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let what = match (self.is_tub, self.begins) {
            (true, true) => "Tub",
            (true, false) => "tub",
            (false, true) => "Lot",
            (false, false) => "lot",
        };
        write!(f, "{what} {} of {}", self.number, self.name)
    }
}

impl fmt::Display for BatchInWords<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let batch = if self.begins { "Batch" } else { "batch" };
        write!(f, "{batch} {} ({}, begun {})", self.id, self.name, self.begun)
    }
}

impl<'a> Words<'a> {
    fn card(&self, lot: i64) -> Answered<(LotIx, LotCard<'a>)> {
        let ix = lot_ix(lot)?;
        Ok((ix, self.inside.lot_card(ix)?))
    }

    fn number(&self, lot: i64) -> Answered<String> {
        Ok(self.card(lot)?.1.number.to_string())
    }

    fn batch(&self, id: i64) -> Answered<BatchCard> {
        self.inside.batch_card(self.inside.batch(id)?)
    }

    /// A lot in a sentence.
    fn lot(&self, id: i64) -> Answered<LotInWords<'a>> {
        let (_, card) = self.card(id)?;
        let name = &self.inside.beside.names.item(card.sort.item_id)?.current.name;
        Ok(LotInWords { is_tub: card.sort.kind == LotKind::Tub, number: card.number, name, begins: false })
    }

    /// A batch in a sentence.
    fn batch_in_words(&self, id: i64) -> Answered<BatchInWords<'a>> {
        let card = self.batch(id)?;
        let names = &self.inside.beside.names;
        let (_, name) = names.recipe_version(card.recipe_version_id)?;
        let begun = WallClock { zone: names.site(card.site_id)?.zone, time: card.started_at };
        Ok(BatchInWords { id, name, begun, begins: false })
    }

    fn answer(&self, lot: &AskedLot, bare: &Bare) -> Answered<AllergenAnswer> {
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
    ) -> Answered<()> {
        match chain.source {
            ChainSource::Lot(lot) => self.tell_statement(lot, chain.stated, substance, because, steps)?,
            ChainSource::Batch(batch) => self.tell_input(batch, chain.stated, substance, because, steps)?,
        }
        let mut links = chain.links.iter().peekable();
        while let Some(link) = links.next() {
            match (*link, links.peek()) {
                (Link::Lot(lot), Some(Link::Batch(batch))) => {
                    because.push(format!("{} went into {}.", self.lot(lot)?.capital(), self.batch_in_words(*batch)?));
                    steps.push(Step::Use { lot: self.number(lot)?, batch: *batch });
                }
                (Link::Batch(batch), Some(Link::Lot(lot))) => {
                    let further = if *lot == end { "" } else { ", used further" };
                    let made = self.lot(*lot)?;
                    because.push(format!("{} made {made}{further}.", self.batch_in_words(batch)?.capital()));
                    steps.push(Step::Made { batch, lot: self.number(*lot)? });
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
    ) -> Answered<()> {
        let (ix, card) = self.card(lot)?;
        let names = &self.inside.beside.names;
        let by = match (card.brought, card.sort.supplier_id) {
            (Some(brought), Some(supplier)) => {
                format!(" ({}, their lot {})", names.partner(supplier)?, brought.supplier_lot_code)
            }
            _ => String::new(),
        };
        let contents = &self.inside.contents;
        let holding = contents.statements.of_lot(&self.inside.stated_lot(ix)?);
        let mut ids = holding.saying(substance, stated.in_graph());
        ids.sort_unstable();
        let papers = ids.iter().map(|id| Ok((*id, contents.document(*id)?))).collect::<Answered<Vec<_>>>()?;
        let says = says(stated, substance);
        let lot_named = self.lot(lot)?.capital();
        because.push(match papers.as_slice() {
            [] if holding.is_spirit && substance == Substance::Alcohol => {
                format!("{lot_named}{by}: it is counted as a plain spirit.")
            }
            [] => format!("{lot_named}{by}: nobody has stated what is in it."),
            several => {
                let papers: Vec<_> =
                    several.iter().map(|(id, document)| format!("statement {id} ({document})")).collect();
                format!("{lot_named}{by}: {} {says}.", papers.join(" with "))
            }
        });
        steps.push(Step::Statement {
            lot: card.number.to_string(),
            item: names.item(card.sort.item_id)?.row.code.clone(),
            statement: papers.first().map(|(id, _)| *id),
            document: papers.first().map(|(_, document)| (*document).to_owned()),
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
    ) -> Answered<()> {
        let Some((item, statements)) = self.input(batch, substance, stated)? else { return Ok(()) };
        let item = self.inside.beside.names.item(item)?;
        let papers: Vec<String> = statements.iter().map(|id| format!("statement {id}")).collect();
        let said = if papers.is_empty() {
            "nobody has stated what is in it".to_owned()
        } else {
            format!("{} {}", papers.join(" with "), says(stated, substance))
        };
        let name = &item.current.name;
        because.push(format!("{name}, kept without lots, went into {}: {said}.", self.batch_in_words(batch)?));
        steps.push(Step::Input { batch, item: item.row.code.clone(), statement: statements.first().copied() });
        Ok(())
    }

    /// What went into a batch without a lot and brought a substance, or may have, and the statements that say so.
    fn input(&self, batch: i64, substance: Substance, stated: Answer) -> Answered<Option<(i64, Vec<i64>)>> {
        let contents = &self.inside.contents;
        let ix = self.inside.batch(batch)?;
        for (item_id, day) in self.inside.inputs_of(ix) {
            let holding = contents.statements.of_input(item_id, day);
            if (holding.own.contains | holding.own.may_contain | holding.own.unknown) & substance.bit() != 0 {
                return Ok(Some((item_id, holding.saying(substance, stated.in_graph()))));
            }
        }
        Ok(None)
    }

    fn tell_contact(
        &self,
        (before, after, equipment): (i64, i64, i64),
        substance: Substance,
        because: &mut Vec<String>,
        steps: &mut Vec<Step>,
    ) -> Answered<()> {
        let (names, contents) = (&self.inside.beside.names, &self.inside.contents);
        let machine = names.equipment(equipment)?;
        let runs = |batch: i64| Ok::<_, Unanswered>(contents.runs_on(equipment, self.inside.batch(batch)?));
        let (befores, afters) = (runs(before)?, runs(after)?);
        let pairs = befores.iter().flat_map(|one| afters.iter().map(move |other| (one, other)));
        let Some((one, other)) = pairs.min_by_key(|(one, other)| gap(one, other)) else { return Ok(()) };
        let zone = names.site(self.batch(after)?.site_id)?.zone;
        let span = |run: &RanOn| {
            let from = fields::wall_clock_in(zone, run.from);
            let until = run.until.map(|until| fields::wall_clock_in(zone, until));
            until.map_or(format!("from {from}"), |until| format!("from {from} until {until}"))
        };
        let how = if overlap(one, other) {
            "ran on it at the same time".to_owned()
        } else {
            format!("ran on it next, and no clean between the two that clears {} is written down", substance.name())
        };
        because.push(format!(
            "{} ran on {} {}; {}, {}, {how}.",
            self.batch_in_words(before)?.capital(),
            machine.current.name,
            span(one),
            self.batch_in_words(after)?,
            span(other),
        ));
        steps.push(Step::Contact {
            equipment: machine.row.code.clone(),
            before,
            before_from: fields::utc(one.from),
            before_until: one.until.map(fields::utc),
            after,
            after_from: fields::utc(other.from),
            after_until: other.until.map(fields::utc),
        });
        Ok(())
    }

    fn tell_scoop(&self, lot: i64, scoop: &Beside, because: &mut Vec<String>, steps: &mut Vec<Step>) -> Answered<()> {
        let clock = |at: NaiveDateTime| fields::wall_clock_in(self.site.zone, at);
        let until = scoop.until.map(clock).map_or("and still does".to_owned(), |until| format!("until {until}"));
        let how = if scoop.said {
            "one scoop serves all that is open there"
        } else {
            "the site has not said how it serves, so one scoop is taken to serve all"
        };
        let with = if scoop.direct { "" } else { "tubs that stood open with " };
        let lot_named = self.lot(lot)?;
        because.push(format!(
            "{} stood open from {} {until}, in the same case as {with}{lot_named}; {how}.",
            self.lot(scoop.lot_id)?.capital(),
            clock(scoop.from)
        ));
        steps.push(Step::Scoop {
            lot: self.number(scoop.lot_id)?,
            from: fields::utc(scoop.from),
            until: scoop.until.map(fields::utc),
            direct: scoop.direct,
            said: scoop.said,
        });
        Ok(())
    }
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

fn overlap(one: &RanOn, other: &RanOn) -> bool {
    let end = |run: &RanOn| run.until.unwrap_or(run.from);
    one.from == other.from || (one.from < end(other) && other.from < end(one))
}

/// How far apart two runs are: of several of two batches, the nearest explain the contact.
fn gap(one: &RanOn, other: &RanOn) -> (bool, i64) {
    if overlap(one, other) {
        return (false, 0);
    }
    let apart = other.from - one.until.unwrap_or(one.from);
    (apart.num_microseconds().unwrap_or(i64::MAX) < 0, apart.num_microseconds().unwrap_or(i64::MAX).abs())
}
