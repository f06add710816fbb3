//! Hundreds of random statements, corrections, uses, runs, cleans and voids against a model of plain lists, which shares
//! nothing with the program: it works out every content by its definition, from the beginning every time.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate, Utc};
use tubtrail_operations::Request;
use tubtrail_operations::allergen_words::AllergenList;
use tubtrail_operations::batch_equipment::{NewEquipmentRun, NewEquipmentRuns};
use tubtrail_operations::cleans::NewClean;
use tubtrail_operations::completions::OutputKind;
use tubtrail_operations::recipes::Recipe;
use tubtrail_operations::statements::NewStatement;
use tubtrail_tests::house::{day, recipe};
use tubtrail_tests::{Backend, Dice, TestHouse, on_both};

use crate::bench::{begin, try_to_add_water, try_to_complete, try_to_use, try_to_void};
use crate::nuts::{because, kind};
use crate::shelf::done;

on_both!(random_weeks_agree_with_plain_lists);

/// Commands of one run.
const COMMANDS: usize = 400;
/// So many, should those prove little.
const MOST: usize = 5 * COMMANDS;
/// Commands between two comparisons.
const BETWEEN: usize = 50;
/// How much later each command is than the one before, in minutes: a run takes three weeks and more.
const MINUTES: i64 = 80;

/// Three that statements name, and one of each sort that none does: on both lists, on the EU's alone, on the United States'
/// alone, on neither.
const WORDS: [&str; 7] = ["milk", "hazelnut", "celery", "egg", "lupin", "pine_nut", "coconut"];
const NAMED: usize = 3;

fn asks(list: AllergenList, word: &str) -> bool {
    match list {
        AllergenList::Eu => matches!(word, "milk" | "hazelnut" | "celery" | "egg" | "lupin"),
        AllergenList::Us => matches!(word, "milk" | "hazelnut" | "egg" | "pine_nut"),
        AllergenList::Ca => panic!("no statement here is by that list"),
    }
}

/// Sets of places in [`WORDS`].
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Inside {
    contains: BTreeSet<usize>,
    possible: BTreeSet<usize>,
    unknown: BTreeSet<usize>,
}

impl Inside {
    fn add(&mut self, other: &Self) {
        self.contains.extend(&other.contains);
        self.possible.extend(&other.possible);
        self.unknown.extend(&other.unknown);
    }

    /// c, m, u or - for each word.
    fn answers(&self) -> String {
        let answer = |word: usize| match word {
            word if self.contains.contains(&word) => 'c',
            word if self.possible.contains(&word) => 'm',
            word if self.unknown.contains(&word) => 'u',
            _ => '-',
        };
        (0..WORDS.len()).map(answer).collect()
    }
}

#[derive(Clone, Debug)]
struct Stated {
    id: i64,
    item: &'static str,
    supplier: Option<&'static str>,
    lot: Option<usize>,
    from: Option<NaiveDate>,
    lists: Vec<AllergenList>,
    contains: BTreeSet<usize>,
    possible: BTreeSet<usize>,
    corrected: bool,
}

impl Stated {
    fn says(&self) -> Inside {
        let is_settled = |word: &usize| {
            self.contains.contains(word)
                || self.possible.contains(word)
                || self.lists.iter().any(|list| asks(*list, WORDS[*word]))
        };
        let unknown = (0..WORDS.len()).filter(|word| !is_settled(word)).collect();
        Inside { contains: self.contains.clone(), possible: self.possible.clone(), unknown }
    }
}

#[derive(Debug)]
struct Lot {
    number: String,
    item: &'static str,
    supplier: Option<&'static str>,
    made_by: Option<usize>,
    is_tub: bool,
    day: NaiveDate,
}

#[derive(Debug)]
struct Batch {
    id: i64,
    makes: (&'static str, OutputKind),
    day: NaiveDate,
    water: bool,
    done: bool,
}

#[derive(Debug)]
struct Run {
    id: i64,
    batch: usize,
    on: usize,
    from: i64,
    until: i64,
    voided: bool,
}

#[derive(Debug)]
struct Clean {
    id: i64,
    on: usize,
    at: i64,
    kind: &'static str,
    voided: bool,
}

#[derive(Debug, Default)]
struct Model {
    stated: Vec<Stated>,
    lots: Vec<Lot>,
    batches: Vec<Batch>,
    /// Id, lot, batch, voided.
    uses: Vec<(i64, usize, usize, bool)>,
    runs: Vec<Run>,
    cleans: Vec<Clean>,
}

/// Word by word: of each voice the newest, unless that leaves it unknown and an older one names it; the first voice that
/// knows.
fn asked_in_turn(voices: &[Vec<Inside>]) -> Inside {
    let mut sum = Inside::default();
    for word in 0..WORDS.len() {
        let names = |said: &&Inside| said.contains.contains(&word) || said.possible.contains(&word);
        let settles = |said: &&Inside| !said.unknown.contains(&word);
        let heard = voices.iter().find_map(|voice| {
            let newest = voice.first().filter(settles);
            newest.or_else(|| voice.iter().find(names))
        });
        let Some(said) = heard else {
            sum.unknown.insert(word);
            continue;
        };
        sum.contains.extend(said.contains.get(&word));
        sum.possible.extend(said.possible.get(&word));
    }
    sum
}

impl Model {
    /// An item's statements in force on a day, the newest-dated first, of one date the last entered.
    fn in_force(&self, item: &str, on: NaiveDate, fits: impl Fn(&Stated) -> bool) -> Vec<Inside> {
        let counts =
            |stated: &&Stated| !stated.corrected && stated.lot.is_none() && stated.item == item && fits(stated);
        let mut found: Vec<&Stated> =
            self.stated.iter().filter(counts).filter(|stated| stated.from.unwrap() <= on).collect();
        found.sort_by_key(|stated| stated.from);
        found.into_iter().rev().map(Stated::says).collect()
    }

    fn own(&self, at: usize) -> Inside {
        let lot = &self.lots[at];
        let of_it = self.stated.iter().rev().filter(|stated| !stated.corrected && stated.lot == Some(at));
        let of_it: Vec<Inside> = of_it.map(Stated::says).collect();
        let makers = self.in_force(lot.item, lot.day, |stated| stated.supplier.is_none());
        if lot.made_by.is_some() {
            let mut added = asked_in_turn(&[of_it]);
            added.add(&asked_in_turn(&[makers]));
            added.unknown.clear();
            return added;
        }
        let suppliers = self.in_force(lot.item, lot.day, |stated| stated.supplier == lot.supplier);
        asked_in_turn(&[of_it, suppliers, makers])
    }

    /// From which batch, into which, and which words get over.
    fn contacts(&self) -> Vec<(usize, usize, BTreeSet<usize>)> {
        let all: BTreeSet<usize> = (0..WORDS.len()).collect();
        let mut found = Vec::new();
        for on in 0..2 {
            let mut runs: Vec<&Run> = self.runs.iter().filter(|run| run.on == on && !run.voided).collect();
            runs.sort_by_key(|run| (run.from, run.id));
            let overlap =
                |one: &Run, other: &Run| one.from == other.from || (one.from < other.until && other.from < one.until);
            for (at, run) in runs.iter().enumerate() {
                for other in runs.iter().filter(|other| other.id != run.id && overlap(run, other)) {
                    found.push((other.batch, run.batch, all.clone()));
                }
                let Some(before) = at.checked_sub(1).map(|before| runs[before]).filter(|before| !overlap(before, run))
                else {
                    continue;
                };
                let mut left = all.clone();
                for clean in self.cleans.iter().filter(|clean| clean.on == on && !clean.voided) {
                    let while_it_ran = runs.iter().any(|run| run.from < clean.at && clean.at < run.until);
                    if clean.at < before.until || clean.at > run.from || while_it_ran {
                        continue;
                    }
                    match clean.kind {
                        "allergen-clean" => left.clear(),
                        "hazelnut-clean" => drop(left.remove(&1)),
                        _ => {}
                    }
                }
                found.push((before.batch, run.batch, left));
            }
        }
        found
    }

    /// What is in every lot: again and again until nothing grows.
    fn contents(&self) -> Vec<Inside> {
        let own: Vec<Inside> = (0..self.lots.len()).map(|lot| self.own(lot)).collect();
        let contacts = self.contacts();
        let mut batches = vec![Inside::default(); self.batches.len()];
        loop {
            let lot = |at: usize, batches: &[Inside]| {
                let mut inside = own[at].clone();
                self.lots[at].made_by.iter().for_each(|batch| inside.add(&batches[*batch]));
                inside
            };
            let mut next = batches.clone();
            for (at, batch) in self.batches.iter().enumerate().filter(|(_, batch)| batch.water) {
                next[at].add(&asked_in_turn(&[self.in_force("water", batch.day, |_| true)]));
            }
            for (_, used, batch, voided) in &self.uses {
                if !voided {
                    next[*batch].add(&lot(*used, &batches));
                }
            }
            for (before, after, over) in contacts.iter().filter(|(before, after, _)| before != after) {
                let there = &batches[*before];
                next[*after].possible.extend(there.contains.union(&there.possible).filter(|word| over.contains(word)));
                next[*after].unknown.extend(there.unknown.intersection(over));
            }
            if next == batches {
                return (0..self.lots.len()).map(|at| lot(at, &batches)).collect();
            }
            batches = next;
        }
    }
}

struct Both {
    house: TestHouse,
    model: Model,
    dice: Dice,
    now: i64,
    corrections: usize,
    flipped: usize,
}

impl Both {
    /// Some weeks are dull: then they go on.
    fn prove_little(&self) -> bool {
        self.corrections <= 3 || self.flipped <= 3
    }
}

fn random_weeks_agree_with_plain_lists(backend: Backend) {
    let house = TestHouse::new(backend);
    for (code, makes) in [("base-at-once", "white-base"), ("tubs-at-once", "pistachio")] {
        house.put(Recipe { maturing_minutes: Some(0), ..recipe(code, makes, &[("milk", 1000)], 900) });
    }
    for freezer in FREEZERS {
        house.equipment(freezer, &[tubtrail_operations::items::ItemKind::Flavour]);
    }
    kind(&house, "allergen-clean", &["everything"]);
    kind(&house, "rinse", &[]);
    kind(&house, "hazelnut-clean", &["hazelnut"]);
    let mut both = Both { house, model: Model::default(), dice: Dice::roll(), now: 0, corrections: 0, flipped: 0 };
    for _ in 0..4 {
        both.receive();
    }
    let mut number = 0;
    while number < COMMANDS || (both.prove_little() && number < MOST) {
        number += 1;
        both.now += MINUTES;
        both.house.clock.set(at(both.now));
        both.step();
        if number % BETWEEN == 0 {
            both.compare();
        }
    }
    assert!(both.corrections > 3, "{} corrections prove little", both.corrections);
    assert!(both.flipped > 3, "{} tubs that answered otherwise prove little", both.flipped);
    assert_eq!(both.house.tubtrail.verify().unwrap().wrong, None);
}

const FREEZERS: [&str; 2] = ["freezer-1", "freezer-2"];

fn at(minutes: i64) -> DateTime<Utc> {
    day(2, 6) + chrono::Duration::minutes(minutes)
}

impl Both {
    fn step(&mut self) {
        match self.dice.usize(..100) {
            0..7 => self.receive(),
            7..17 => self.begin(),
            17..42 => self.put_in(),
            42..45 => self.water(),
            45..50 => self.void_use(),
            50..62 => self.complete(),
            62..74 => self.run(),
            74..78 => self.void_run(),
            78..84 => self.clean(),
            84..87 => self.void_clean(),
            _ => self.state(),
        }
    }

    fn day(&self) -> NaiveDate {
        at(self.now).date_naive()
    }

    fn any<T>(&mut self, list: &[T]) -> Option<usize> {
        if list.is_empty() { None } else { Some(self.dice.usize(..list.len())) }
    }

    fn receive(&mut self) {
        let item = ["milk", "hazelnut-paste", "pistachio-paste"][self.dice.usize(..3)];
        let supplier = ["dairy", "nut-mill"][self.dice.usize(..2)];
        let number = self.house.receive(supplier, item, &format!("L-{}", self.model.lots.len()), 100_000);
        let day = self.day();
        let supplier = Some(supplier);
        self.model.lots.push(Lot { number, item, supplier, made_by: None, is_tub: false, day });
    }

    fn begin(&mut self) {
        let (recipe, makes) =
            [("base-at-once", ("white-base", OutputKind::Base)), ("tubs-at-once", ("pistachio", OutputKind::Tub))]
                [self.dice.usize(..2)];
        let id = begin(&self.house, recipe);
        let day = self.day();
        self.model.batches.push(Batch { id, makes, day, water: false, done: false });
    }

    /// What is refused (loops, what came later, what is not enough) is tested elsewhere; here it just does not happen.
    fn put_in(&mut self) {
        let (Some(lot), Some(batch)) = (self.dice_lot(), self.dice_batch()) else { return };
        let number = self.model.lots[lot].number.clone();
        let reason = self.model.batches[batch].done.then_some("from the sheet");
        let used = try_to_use(&self.house, self.model.batches[batch].id, &number, 100, reason);
        if let Ok(added) = used {
            self.model.uses.push((added.uses[0].id, lot, batch, false));
        }
    }

    fn dice_lot(&mut self) -> Option<usize> {
        let count = self.model.lots.len();
        (count > 0).then(|| self.dice.usize(..count))
    }

    fn dice_batch(&mut self) -> Option<usize> {
        let count = self.model.batches.len();
        (count > 0).then(|| self.dice.usize(..count))
    }

    fn water(&mut self) {
        let Some(batch) = self.dice_batch() else { return };
        let reason = self.model.batches[batch].done.then_some("from the sheet");
        if try_to_add_water(&self.house, self.model.batches[batch].id, 10, reason).is_ok() {
            self.model.batches[batch].water = true;
        }
    }

    fn void_use(&mut self) {
        let count = self.model.uses.len();
        if count == 0 {
            return;
        }
        let at = self.dice.usize(..count);
        if try_to_void(&self.house, self.model.uses[at].0).is_ok() {
            self.model.uses[at].3 = true;
        }
    }

    fn complete(&mut self) {
        let open: Vec<usize> = (0..self.model.batches.len()).filter(|batch| !self.model.batches[*batch].done).collect();
        let Some(at) = self.any(&open) else { return };
        let batch = open[at];
        let (item, kind) = self.model.batches[batch].makes;
        let outputs = [(kind, 40), (kind, 40)];
        let Ok(completed) = try_to_complete(&self.house, self.model.batches[batch].id, &outputs) else { return };
        self.model.batches[batch].done = true;
        let day = self.day();
        for output in completed.outputs {
            let is_tub = kind == OutputKind::Tub;
            let number = output.lot;
            self.model.lots.push(Lot { number, item, supplier: None, made_by: Some(batch), is_tub, day });
        }
    }

    fn run(&mut self) {
        let Some(batch) = self.dice_batch() else { return };
        let on = self.dice.usize(..2);
        // Within the last day, and now and then in the very minute of something else.
        let from = self.now - self.dice.i64(0..18) * MINUTES;
        let length = self.dice.i64(0..3) * MINUTES;
        let until = (length > 0 && from + length <= self.now).then_some(from + length);
        let equipment = FREEZERS[on].into();
        let new = NewEquipmentRun { equipment, from: at(from), until: until.map(at) };
        let new = NewEquipmentRuns { equipment: vec![new] };
        let id = self.model.batches[batch].id;
        let runs = done(self.house.tubtrail.add_batch_equipment(&Request::system(), id, new));
        let id = runs.equipment.last().unwrap().id;
        self.model.runs.push(Run { id, batch, on, from, until: until.unwrap_or(from), voided: false });
    }

    fn void_run(&mut self) {
        let count = self.model.runs.len();
        if count == 0 {
            return;
        }
        let at = self.dice.usize(..count);
        let voided = self.house.tubtrail.void_equipment_run(&Request::system(), self.model.runs[at].id, because("no"));
        assert_eq!(voided.is_err(), self.model.runs[at].voided);
        self.model.runs[at].voided = true;
    }

    fn clean(&mut self) {
        let on = self.dice.usize(..2);
        let kind = ["allergen-clean", "hazelnut-clean", "rinse"][self.dice.usize(..3)];
        let cleaned = self.now - self.dice.i64(0..36) * MINUTES / 2;
        let new =
            NewClean { equipment: FREEZERS[on].into(), kind: kind.into(), cleaned_at: Some(at(cleaned)), note: None };
        let id = done(self.house.tubtrail.record_clean(&Request::system(), new)).id;
        self.model.cleans.push(Clean { id, on, at: cleaned, kind, voided: false });
    }

    fn void_clean(&mut self) {
        let count = self.model.cleans.len();
        if count == 0 {
            return;
        }
        let at = self.dice.usize(..count);
        let voided = self.house.tubtrail.void_clean(&Request::system(), self.model.cleans[at].id, because("no"));
        assert_eq!(voided.is_err(), self.model.cleans[at].voided);
        self.model.cleans[at].voided = true;
    }

    /// A statement about an item or a lot, now and then in place of another.
    fn state(&mut self) {
        let standing: Vec<usize> =
            (0..self.model.stated.len()).filter(|stated| !self.model.stated[*stated].corrected).collect();
        let corrects = if self.dice.usize(..3) == 0 { self.any(&standing).map(|at| standing[at]) } else { None };
        let lot = if self.dice.usize(..4) == 0 { self.dice_lot() } else { None };
        let item = match lot {
            Some(lot) => self.model.lots[lot].item,
            None => {
                ["milk", "hazelnut-paste", "pistachio-paste", "water", "white-base", "pistachio"][self.dice.usize(..6)]
            }
        };
        let is_made = matches!(item, "white-base" | "pistachio");
        let supplier = match lot {
            Some(lot) => self.model.lots[lot].supplier.filter(|_| self.dice.bool()),
            None if is_made => None,
            None => [None, Some("dairy"), Some("nut-mill")][self.dice.usize(..3)],
        };
        let mut stated = Stated {
            id: 0,
            item,
            supplier,
            lot,
            from: lot.is_none().then(|| {
                let back = chrono::Days::new(self.dice.u64(0..12));
                self.day().checked_add_days(chrono::Days::new(3)).unwrap().checked_sub_days(back).unwrap()
            }),
            lists: [vec![AllergenList::Eu], vec![AllergenList::Us], vec![AllergenList::Eu, AllergenList::Us], vec![]]
                [self.dice.usize(..4)]
            .clone(),
            contains: BTreeSet::new(),
            possible: BTreeSet::new(),
            corrected: false,
        };
        for word in 0..NAMED {
            match self.dice.usize(..5) {
                0 => drop(stated.contains.insert(word)),
                1 => drop(stated.possible.insert(word)),
                _ => {}
            }
        }
        if stated.lists.is_empty() && stated.contains.is_empty() && stated.possible.is_empty() {
            stated.lists.push(AllergenList::Eu);
        }
        self.write(stated, corrects);
    }

    fn write(&mut self, mut stated: Stated, corrects: Option<usize>) {
        let words = |words: &BTreeSet<usize>| words.iter().map(|word| WORDS[*word].to_owned()).collect();
        let new = NewStatement {
            item: Some(stated.item.into()),
            supplier: stated.supplier.map(str::to_owned),
            lot: stated.lot.map(|lot| self.model.lots[lot].number.clone()),
            in_force_from: stated.from,
            lists: stated.lists.clone(),
            contains: words(&stated.contains),
            may_contain: words(&stated.possible),
            document: "Specification".into(),
            corrects: corrects.map(|at| self.model.stated[at].id),
            reason: corrects.map(|_| "mistyped".to_owned()),
            ..NewStatement::default()
        };
        let before: Vec<String> = self.model.contents().iter().map(Inside::answers).collect();
        let written = done(self.house.tubtrail.create_statement(&Request::system(), new));
        stated.id = written.statement.id;
        self.model.stated.push(stated);
        if let Some(at) = corrects {
            self.model.stated[at].corrected = true;
            self.corrections += 1;
        }
        let after: Vec<String> = self.model.contents().iter().map(Inside::answers).collect();
        let differ: Vec<usize> = (0..before.len()).filter(|lot| before[*lot] != after[*lot]).collect();
        let tubs: BTreeSet<&str> = differ
            .iter()
            .map(|lot| &self.model.lots[*lot])
            .filter(|lot| lot.is_tub)
            .map(|lot| lot.number.as_str())
            .collect();
        let listed: BTreeSet<&str> = written.changed.listed.iter().map(|lot| lot.lot.as_str()).collect();
        assert_eq!((written.changed.lots, listed), (differ.len(), tubs.clone()), "{:#?}", self.model);
        self.flipped += tubs.len();
    }

    fn compare(&self) {
        for (lot, due) in self.model.lots.iter().zip(self.model.contents()) {
            let found = self.house.tubtrail.lot_contents(&Request::system(), &lot.number).unwrap().says;
            let answer = |word: &&str| {
                let is_in = |words: &[String]| words.iter().any(|one| one == word);
                match () {
                    () if is_in(&found.contains) => 'c',
                    () if is_in(&found.may_contain) => 'm',
                    () if is_in(&found.unknown) => 'u',
                    () => '-',
                }
            };
            let found: String = WORDS.iter().map(answer).collect();
            assert_eq!(found, due.answers(), "lot {}: {:#?}", lot.number, self.model);
        }
    }
}
