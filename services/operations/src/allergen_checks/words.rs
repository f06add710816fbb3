//! Answers in plain words: the chains of the index with the names, papers and times that it keeps.

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::allergens::Substance;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
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

/// Where a lot or a batch stands in a sentence: what begins it begins with a capital.
#[derive(Clone, Copy)]
enum Stands {
    First,
    Within,
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
    fn lot(&self, id: i64, stands: Stands) -> Answered<Saying> {
        let (_, card) = self.card(id)?;
        let (number, name) = (card.number, &self.inside.beside.names.item(card.sort.item_id)?.current.name);
        Ok(match (card.sort.kind == LotKind::Tub, stands) {
            (true, Stands::First) => say!("Tub {number} of {name}", number, name),
            (true, Stands::Within) => say!("tub {number} of {name}", number, name),
            (false, Stands::First) => say!("Lot {number} of {name}", number, name),
            (false, Stands::Within) => say!("lot {number} of {name}", number, name),
        })
    }

    /// A batch in a sentence.
    fn batch_in_words(&self, id: i64, stands: Stands) -> Answered<Saying> {
        let card = self.batch(id)?;
        let names = &self.inside.beside.names;
        let (_, name) = names.recipe_version(card.recipe_version_id)?;
        let begun = WallClock { zone: names.site(card.site_id)?.zone, time: card.started_at };
        Ok(match stands {
            Stands::First => say!("Batch {id} ({name}, begun {begun})", id, name, begun),
            Stands::Within => say!("batch {id} ({name}, begun {begun})", id, name, begun),
        })
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
            None => because.push(say!(
                "Every statement it rests on was made by a list that asks for {name}, or settles {name}, and none names \
                 it. That clears nothing.",
                name = bare.named
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
        because: &mut Vec<Saying>,
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
                    let went = self.lot(lot, Stands::First)?;
                    let into = self.batch_in_words(*batch, Stands::Within)?;
                    because.push(say!("{lot} went into {batch}.", lot = went, batch = into));
                    steps.push(Step::Use { lot: self.number(lot)?, batch: *batch });
                }
                (Link::Batch(batch), Some(Link::Lot(lot))) => {
                    let made = self.lot(*lot, Stands::Within)?;
                    let maker = self.batch_in_words(batch, Stands::First)?;
                    because.push(if *lot == end {
                        say!("{batch} made {lot}.", batch = maker, lot = made)
                    } else {
                        say!("{batch} made {lot}, used further.", batch = maker, lot = made)
                    });
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
        because: &mut Vec<Saying>,
        steps: &mut Vec<Step>,
    ) -> Answered<()> {
        let (ix, card) = self.card(lot)?;
        let names = &self.inside.beside.names;
        let lot_named = self.lot(lot, Stands::First)?;
        let lot_named = match (card.brought, card.sort.supplier_id) {
            (Some(brought), Some(supplier)) => say!(
                "{lot} ({supplier}, their lot {code})",
                lot = lot_named,
                supplier = names.partner(supplier)?,
                code = brought.supplier_lot_code
            ),
            _ => lot_named,
        };
        let contents = &self.inside.contents;
        let holding = contents.statements.of_lot(&self.inside.stated_lot(ix)?);
        let mut ids = holding.saying(substance, stated.in_graph());
        ids.sort_unstable();
        let papers = ids.iter().map(|id| Ok((*id, contents.document(*id)?))).collect::<Answered<Vec<_>>>()?;
        let each = papers.iter().map(|(id, document)| say!("statement {id} ({document})", id, document));
        because.push(match together(each) {
            None if holding.is_spirit && substance == Substance::Alcohol => {
                say!("{lot}: it is counted as a plain spirit.", lot = lot_named)
            }
            None => say!("{lot}: nobody has stated what is in it.", lot = lot_named),
            Some(papers) => {
                say!("{lot}: {papers} {says}.", lot = lot_named, papers, says = says(stated, substance))
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
        because: &mut Vec<Saying>,
        steps: &mut Vec<Step>,
    ) -> Answered<()> {
        let Some((item, statements)) = self.input(batch, substance, stated)? else { return Ok(()) };
        let item = self.inside.beside.names.item(item)?;
        let said = match together(statements.iter().map(|id| say!("statement {id}", id))) {
            None => say!("nobody has stated what is in it"),
            Some(papers) => say!("{papers} {says}", papers, says = says(stated, substance)),
        };
        let (name, into) = (&item.current.name, self.batch_in_words(batch, Stands::Within)?);
        because.push(say!("{name}, kept without lots, went into {batch}: {said}.", name, batch = into, said));
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
        because: &mut Vec<Saying>,
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
            match until {
                None => say!("from {from}", from),
                Some(until) => say!("from {from} until {until}", from, until),
            }
        };
        let how = if overlap(one, other) {
            say!("ran on it at the same time")
        } else {
            say!("ran on it next, and no clean between the two that clears {name} is written down", name = substance)
        };
        because.push(say!(
            "{before} ran on {machine} {then}; {after}, {later}, {how}.",
            before = self.batch_in_words(before, Stands::First)?,
            machine = machine.current.name,
            then = span(one),
            after = self.batch_in_words(after, Stands::Within)?,
            later = span(other),
            how
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

    fn tell_scoop(&self, lot: i64, scoop: &Beside, because: &mut Vec<Saying>, steps: &mut Vec<Step>) -> Answered<()> {
        let clock = |at: NaiveDateTime| fields::wall_clock_in(self.site.zone, at);
        let until = match scoop.until.map(clock) {
            None => say!("and still does"),
            Some(until) => say!("until {until}", until),
        };
        let how = if scoop.said {
            say!("one scoop serves all that is open there")
        } else {
            say!("the site has not said how it serves, so one scoop is taken to serve all")
        };
        let lot_named = self.lot(lot, Stands::Within)?;
        let beside = if scoop.direct { lot_named } else { say!("tubs that stood open with {lot}", lot = lot_named) };
        because.push(say!(
            "{other} stood open from {from} {until}, in the same case as {beside}; {how}.",
            other = self.lot(scoop.lot_id, Stands::First)?,
            from = clock(scoop.from),
            until,
            beside,
            how
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

/// Several statements as a sentence names them; none of none.
fn together(papers: impl Iterator<Item = Saying>) -> Option<Saying> {
    Saying::joined(papers, |one, other| say!("{one} with {other}", one, other))
}

/// What a statement says of a substance, after its name.
fn says(stated: Answer, substance: Substance) -> Saying {
    match stated {
        Answer::Contains if substance == Substance::Alcohol => say!("says that it is made with alcohol"),
        Answer::Contains => say!("says that it contains {name}", name = substance),
        Answer::MayContain => say!("says that it may contain {name}", name = substance),
        Answer::Unknown | Answer::NotRecorded => say!("does not say whether {name} is in it", name = substance),
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
