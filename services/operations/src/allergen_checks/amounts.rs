//! How much: of an allergen that may have been carried over, and of the ethanol a flavour is made with. Estimates for the
//! responsible person; they clear nothing.

use std::collections::{BTreeSet, HashMap};

use serde::{Deserialize, Serialize};
use tubtrail_domain::alcohol::ethanol_fraction;
use tubtrail_domain::allergens::Substance;
use tubtrail_domain::doses::{action_level, reference_dose};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_lineage::{BatchIx, Contact, LotIx, Scratch};
use tubtrail_storage::contents::StatedLot;
use utoipa::ToSchema;

use super::AllergenAnswer;
use super::asked::{AskedLot, Bare};
use crate::allergen_words::Answer;
use crate::error::Result;
use crate::index::{Answered, Inside, lot_ix, lot_row};
use crate::items::counting;

/// How many contacts one after another are followed; each leaves a small part of the one before.
const DEPTH: usize = 4;

/// What stands beside an estimate.
const NO_CLEARANCE: &str = "An estimate for the responsible person, as if everything were mixed evenly; a lump is more. Below \
    the reference dose is not the same as absent: the dose is one at which one allergic person in twenty is expected to \
    react. It clears nothing.";

/// What stands beside grams of ethanol.
const NO_LOSS: &str = "As if nothing were lost in heating and everything were mixed evenly.";

/// How much protein of an allergen a portion may hold by what stayed behind on equipment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Estimate {
    /// Milligrams of protein of it in a portion.
    pub protein_mg_per_portion: f64,
    /// The protein of something in it is not stated, so all of that was taken as protein: the true figure is lower.
    pub upper_bound: bool,
    /// The published dose of protein, milligrams, where there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference_dose_mg: Option<f64>,
    /// Who published it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference_source: Option<String>,
    /// Milligrams of protein in a kilogram at which a portion holds that dose.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub action_level_mg_per_kg: Option<f64>,
    /// What is not in the figure, for nobody knows how much it is: the true figure is higher.
    #[schema(value_type = Vec<String>)]
    pub leaves_out: Vec<Saying>,
    /// What it is not.
    pub caution: String,
}

/// How much ethanol a portion holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Ethanol {
    /// Grams of ethanol in a portion.
    pub grams_per_portion: f64,
    /// What is not in the figure, for nobody knows how much it is: the true figure is higher.
    #[schema(value_type = Vec<String>)]
    pub leaves_out: Vec<Saying>,
    /// What was taken for granted.
    pub assumes: String,
}

/// Reckons amounts.
#[derive(Clone, Copy)]
pub(super) struct Amounts<'a> {
    pub inside: &'a Inside,
}

impl Amounts<'_> {
    /// An answer with the amounts that can be told beside it.
    pub(super) fn beside(
        self,
        scratch: &mut Scratch,
        lot: &AskedLot,
        bare: &Bare,
        portion_mg: Option<i64>,
        mut answer: AllergenAnswer,
    ) -> Answered<AllergenAnswer> {
        let Some(portion_mg) = portion_mg else { return Ok(answer) };
        if bare.substance == Substance::Alcohol {
            if bare.answer == Answer::Contains {
                answer.ethanol = self.ethanol(scratch, lot.lot_id, portion_mg)?;
            }
            return Ok(answer);
        }
        if bare.members.is_empty() && bare.answer == Answer::MayContain {
            answer.estimate = self.estimate(lot, bare.substance, portion_mg)?;
        }
        for (member, of_member) in bare.members.iter().zip(&mut answer.members) {
            if of_member.answer == Answer::MayContain {
                of_member.estimate = self.estimate(lot, member.0, portion_mg)?;
            }
        }
        Ok(answer)
    }

    fn estimate(self, lot: &AskedLot, substance: Substance, portion_mg: i64) -> Answered<Option<Estimate>> {
        let (names, residues) = (&self.inside.beside.names, self.inside.beside.kept.carry_over());
        let sources = sources(self.inside, lot.lot_id, substance)?;
        let stated = sources.into_iter().map(|lot| self.inside.stated_lot(lot)).collect::<Answered<Vec<_>>>()?;
        let reckoner = Reckoner::new(self.inside, residues, substance, &stated);
        let Some(carried) = reckoner.carried_into(lot_ix(lot.lot_id)?) else { return Ok(None) };
        let mut leaves_out = Vec::new();
        for equipment in &carried.unmeasured {
            let name = &names.equipment(*equipment)?.current.name;
            leaves_out.push(say!(
                "what stays behind on {name}: it was not measured, and its site reckons with nothing",
                name
            ));
        }
        if carried.possible {
            leaves_out.push(say!("lots of which it is stated only that {name} may be in them", name = substance));
        }
        if lot.beside_others {
            leaves_out.push(say!("what a scoop may carry from other tubs in the case"));
        }
        let dose = reference_dose(substance);
        let level = dose.and_then(|dose| action_level(dose.protein_mg, to_mg(portion_mg) / 1000.0).ok());
        Ok(Some(Estimate {
            protein_mg_per_portion: rounded(carried.share * to_mg(portion_mg)),
            upper_bound: carried.upper_bound,
            reference_dose_mg: dose.map(|dose| dose.protein_mg),
            reference_source: dose.map(|dose| dose.source.to_owned()),
            action_level_mg_per_kg: level.map(rounded),
            leaves_out,
            caution: NO_CLEARANCE.to_owned(),
        }))
    }

    /// What every lot in it brings by its strength, in proportion.
    fn ethanol(self, scratch: &mut Scratch, lot_id: i64, portion_mg: i64) -> Answered<Option<Ethanol>> {
        let (origins, untracked) = origins_of_alcohol(self.inside, scratch, lot_id)?;
        let (mut share, mut known, mut leaves_out) = (0.0, false, Vec::new());
        for (lot, part) in origins {
            let stated = self.inside.stated_lot(lot)?;
            let item = self.inside.beside.names.item(stated.item_id)?;
            let holding = self.inside.contents.statements.of_lot(&stated);
            let percent = holding.by.iter().find_map(|stated| stated.alcohol_percent_vol);
            match ethanol_fraction(&counting(&item.current)?, percent.as_ref()) {
                Ok(Some(fraction)) => {
                    share += part * fraction;
                    known = true;
                }
                Ok(None) => {
                    let name = &item.current.name;
                    leaves_out.push(say!("{name}: its strength or its density is not known", name));
                }
                Err(error) => {
                    leaves_out.push(say!("{name}: {error}", name = item.current.name, error));
                }
            }
        }
        if untracked {
            leaves_out.push(say!("what was kept without lots"));
        }
        leaves_out.sort_by_cached_key(Saying::to_string);
        leaves_out.dedup();
        Ok(known.then(|| Ethanol {
            grams_per_portion: rounded(share * to_mg(portion_mg) / 1000.0),
            leaves_out,
            assumes: NO_LOSS.to_owned(),
        }))
    }
}

/// The received lots in a lot that are declared to hold alcohol, each with its part of the lot's mass; and whether anything
/// kept without lots brought some too.
fn origins_of_alcohol(inside: &Inside, scratch: &mut Scratch, lot_id: i64) -> Result<(Vec<(LotIx, f64)>, bool)> {
    let graph = &inside.graph;
    let target = lot_ix(lot_id)?;
    let whole = to_mg(graph.mass(target));
    let alcohol = Substance::Alcohol.bit();
    let origins = graph.origins(scratch, target).to_vec();
    let untracked = origins.iter().filter_map(|share| graph.made_by(share.lot));
    let untracked = untracked.into_iter().any(|batch| graph.declared_of_batch(batch).contains & alcohol != 0);
    let holds = |lot: LotIx| graph.made_by(lot).is_none() && graph.declared_of_lot(lot).contains & alcohol != 0;
    let part = |mg: f64| if whole > 0.0 { mg / whole } else { 0.0 };
    let found = origins.iter().filter(|share| holds(share.lot)).map(|share| (share.lot, part(share.mg)));
    Ok((found.collect(), untracked))
}

/// The received lots that are declared to contain a substance, in a lot or in anything that ran before what it was made of.
fn sources(inside: &Inside, lot_id: i64, substance: Substance) -> Result<Vec<LotIx>> {
    let graph = &inside.graph;
    let mut found = BTreeSet::new();
    let mut seen: HashMap<BatchIx, usize> = HashMap::new();
    let mut waiting: Vec<(BatchIx, usize)> =
        graph.made_by(lot_ix(lot_id)?).into_iter().map(|batch| (batch, DEPTH)).collect();
    while let Some((batch, depth)) = waiting.pop() {
        if seen.get(&batch).is_some_and(|known| *known >= depth) {
            continue;
        }
        seen.insert(batch, depth);
        for (lot, _) in graph.uses_in(batch) {
            match graph.made_by(lot) {
                Some(maker) => waiting.push((maker, depth)),
                None if graph.declared_of_lot(lot).contains & substance.bit() != 0 => {
                    found.insert(lot);
                }
                None => {}
            }
        }
        if depth > 0 {
            let carrying = graph.contacts_before(batch).filter(|contact| contact.carries & substance.bit() != 0);
            waiting.extend(carrying.map(|contact| (contact.other, depth - 1)));
        }
    }
    Ok(found.into_iter().collect())
}

/// What was carried into a lot.
struct Carried {
    /// Milligrams of protein in a milligram of it.
    share: f64,
    upper_bound: bool,
    /// Some of it may come from lots that only may contain it.
    possible: bool,
    /// Equipment of which nobody knows how much stays behind.
    unmeasured: BTreeSet<i64>,
    /// A contact was counted.
    counted: bool,
}

/// Follows a substance from the lots it is in, by uses and contacts.
struct Reckoner<'a> {
    inside: &'a Inside,
    residues: &'a HashMap<i64, i64>,
    mask: u64,
    /// The protein of each source, 0 to 1, where it is stated.
    proteins: HashMap<i64, Option<f64>>,
    known: HashMap<(BatchIx, usize), f64>,
    carried: Carried,
}

impl<'a> Reckoner<'a> {
    fn new(inside: &'a Inside, residues: &'a HashMap<i64, i64>, substance: Substance, sources: &[StatedLot]) -> Self {
        let protein = |lot: &StatedLot| {
            let by = inside.contents.statements.of_lot(lot).by;
            by.iter().flat_map(|stated| &stated.proteins).find(|(of, _)| *of == substance).map(|(_, part)| *part)
        };
        Self {
            inside,
            residues,
            mask: substance.bit(),
            proteins: sources.iter().map(|lot| (lot.id, protein(lot))).collect(),
            known: HashMap::new(),
            carried: Carried {
                share: 0.0,
                upper_bound: false,
                possible: false,
                unmeasured: BTreeSet::new(),
                counted: false,
            },
        }
    }

    /// What was carried into a lot; none where no contact of which it is known how much stays behind brought any of it.
    fn carried_into(mut self, lot: LotIx) -> Option<Carried> {
        let batch = self.inside.graph.made_by(lot)?;
        // Each batch after all that went into it and ran before it. With every contact the depth falls, so nothing goes
        // round in a circle.
        let mut waiting = vec![((batch, DEPTH), false)];
        while let Some((node, are_known)) = waiting.pop() {
            if self.known.contains_key(&node) {
                continue;
            }
            if are_known {
                let share = self.share(node);
                self.known.insert(node, share);
                continue;
            }
            waiting.push((node, true));
            waiting.extend(self.before(node).into_iter().map(|before| (before, false)));
        }
        let share = self.known.get(&(batch, DEPTH)).copied().unwrap_or(0.0);
        self.carried.counted.then_some(Carried { share, ..self.carried })
    }

    /// The batches whose shares count in that of one.
    fn before(&self, (batch, depth): (BatchIx, usize)) -> Vec<(BatchIx, usize)> {
        let graph = &self.inside.graph;
        let made = graph.uses_in(batch).filter_map(|(lot, _)| graph.made_by(lot)).map(|maker| (maker, depth));
        let mut before: Vec<_> = made.collect();
        if depth > 0 {
            before.extend(self.contacts(batch).map(|contact| (contact.other, depth - 1)));
        }
        before
    }

    /// The contacts that bring any of it.
    fn contacts(&self, batch: BatchIx) -> impl Iterator<Item = Contact> {
        let graph = &self.inside.graph;
        graph.contacts_before(batch).filter(|contact| {
            let there = graph.batch_content(contact.other);
            contact.carries & (there.contains | there.may_contain) & self.mask != 0
        })
    }

    /// The part of a batch: what went in over all that came out, as if none of it were lost with what was.
    fn share(&mut self, (batch, depth): (BatchIx, usize)) -> f64 {
        let graph = &self.inside.graph;
        let own = graph.declared_of_batch(batch);
        self.carried.possible |= (own.contains | own.may_contain) & self.mask != 0;
        let uses: Vec<(LotIx, i64)> = graph.uses_in(batch).collect();
        let went_in = uses.iter().map(|(_, mg)| mg).sum::<i64>() + graph.untracked(batch);
        let came_out: i64 = graph.outputs(batch).map(|lot| graph.mass(lot)).sum();
        let whole = to_mg(if came_out > 0 { came_out } else { went_in });
        let mut sum = 0.0;
        for (lot, mg) in uses {
            sum += to_mg(mg) * self.share_of_lot(lot, depth);
        }
        if depth > 0 {
            sum += self.over_contacts(batch, depth, whole);
        }
        if whole > 0.0 { sum / whole } else { 0.0 }
    }

    fn share_of_lot(&mut self, lot: LotIx, depth: usize) -> f64 {
        let graph = &self.inside.graph;
        let declared = graph.declared_of_lot(lot);
        self.carried.possible |= declared.may_contain & self.mask != 0;
        if let Some(batch) = graph.made_by(lot) {
            self.carried.possible |= declared.contains & self.mask != 0;
            return self.known.get(&(batch, depth)).copied().unwrap_or(0.0);
        }
        if declared.contains & self.mask == 0 {
            return 0.0;
        }
        let protein = self.proteins.get(&lot_row(lot)).copied().flatten();
        self.carried.upper_bound |= protein.is_none();
        protein.unwrap_or(1.0)
    }

    fn over_contacts(&mut self, batch: BatchIx, depth: usize, whole: f64) -> f64 {
        let mut sum = 0.0;
        for contact in self.contacts(batch).collect::<Vec<_>>() {
            let equipment = self.inside.contents.equipment_row(contact.via);
            let Some(residue) = self.residues.get(&equipment) else {
                self.carried.unmeasured.insert(equipment);
                continue;
            };
            self.carried.counted = true;
            let there = self.known.get(&(contact.other, depth - 1)).copied().unwrap_or(0.0);
            sum += to_mg(*residue).min(whole) * there;
        }
        sum
    }
}

/// To a millionth: figures of estimates, not of a balance.
fn rounded(figure: f64) -> f64 {
    (figure * 1_000_000.0).round() / 1_000_000.0
}

#[allow(clippy::cast_precision_loss)] // No batch weighs nine thousand tonnes.
fn to_mg(mg: i64) -> f64 {
    mg as f64
}
