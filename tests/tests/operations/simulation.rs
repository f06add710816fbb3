//! Hundreds of random commands against a model of plain lists, which shares nothing with the program: it adds up balances
//! and shares by their definitions, recursively and from the beginning every time.

// A run moves some tonnes at most; 2^53 g are a little more.
#![allow(clippy::cast_precision_loss)]

use std::collections::HashMap;

use tubtrail_operations::completions::OutputKind;
use tubtrail_operations::counts::{NewCount, NewCountLine};
use tubtrail_operations::discards::Discard;
use tubtrail_operations::receipts::NewReceipt;
use tubtrail_operations::recipes::Recipe;
use tubtrail_operations::trace::{Direction, Trace};
use tubtrail_operations::transfers::{NewTransfer, NewTransferLine};
use tubtrail_operations::{OperationError, Request};
use tubtrail_tests::house::{KITCHEN, SHOP, day, grams, recipe};
use tubtrail_tests::{Backend, Dice, TestHouse, on_both};

use crate::bench::{begin, try_to_add_water, try_to_complete, try_to_use, try_to_void};
use crate::kept::{assert_kept_as_read, listed};

on_both!(random_days_agree_with_plain_lists);

/// Commands of one run.
const COMMANDS: usize = 360;
/// Commands between two comparisons.
const BETWEEN: usize = 60;

/// All masses in grams; every command moves whole grams.
#[derive(Debug, Default)]
struct Model {
    lots: Vec<Lot>,
    batches: Vec<Batch>,
    uses: Vec<Use>,
}

#[derive(Debug)]
struct Lot {
    number: String,
    is_tub: bool,
    came_at: i64,
    made_by: Option<usize>,
    came: i64,
    found: i64,
    at_kitchen: i64,
    at_shop: i64,
    discarded: i64,
    missing: i64,
}

#[derive(Debug)]
struct Batch {
    id: i64,
    makes: OutputKind,
    water: i64,
    done: bool,
    done_at: i64,
}

#[derive(Debug)]
struct Use {
    id: i64,
    lot: usize,
    batch: usize,
    mass: i64,
    voided: bool,
}

impl Model {
    fn live(&self) -> impl Iterator<Item = &Use> {
        self.uses.iter().filter(|one| !one.voided)
    }

    fn mass(&self, lot: usize) -> i64 {
        self.lots[lot].came + self.lots[lot].found
    }

    fn used(&self, lot: usize) -> i64 {
        self.live().filter(|one| one.lot == lot).map(|one| one.mass).sum()
    }

    fn went_in(&self, batch: usize) -> i64 {
        self.batches[batch].water + self.live().filter(|one| one.batch == batch).map(|one| one.mass).sum::<i64>()
    }

    fn outputs(&self, batch: usize) -> impl Iterator<Item = usize> {
        (0..self.lots.len()).filter(move |lot| self.lots[*lot].made_by == Some(batch))
    }

    fn came_out(&self, batch: usize) -> i64 {
        self.outputs(batch).map(|lot| self.mass(lot)).sum()
    }

    fn whole(&self, batch: usize) -> f64 {
        self.went_in(batch).max(self.came_out(batch)) as f64
    }

    /// Whether a lot holds any of another.
    fn holds(&self, lot: usize, seed: usize) -> bool {
        lot == seed
            || self.lots[lot]
                .made_by
                .is_some_and(|batch| self.live().filter(|one| one.batch == batch).any(|one| self.holds(one.lot, seed)))
    }

    /// Grams of `seed` a lot was made with.
    fn share(&self, lot: usize, seed: usize, known: &mut HashMap<usize, f64>) -> f64 {
        if lot == seed {
            return self.mass(seed) as f64;
        }
        if let Some(share) = known.get(&lot) {
            return *share;
        }
        let Some(batch) = self.lots[lot].made_by else { return 0.0 };
        let inside = self.in_batch(batch, seed, known);
        let share = if inside == 0.0 { 0.0 } else { inside * self.mass(lot) as f64 / self.whole(batch) };
        known.insert(lot, share);
        share
    }

    /// Grams of `seed` that went into a batch.
    fn in_batch(&self, batch: usize, seed: usize, known: &mut HashMap<usize, f64>) -> f64 {
        let mut sum = 0.0;
        for one in self.live().filter(|one| one.batch == batch) {
            let of = self.mass(one.lot).max(self.used(one.lot)) as f64;
            sum += self.share(one.lot, seed, known) * one.mass as f64 / of;
        }
        sum
    }

    /// Grams of a lot in `target`.
    fn origin(&self, lot: usize, target: usize, known: &mut HashMap<usize, f64>) -> f64 {
        if lot == target {
            return self.mass(target) as f64;
        }
        if let Some(origin) = known.get(&lot) {
            return *origin;
        }
        let mut sum = 0.0;
        for one in self.live().filter(|one| one.lot == lot) {
            let through: f64 = self.outputs(one.batch).map(|output| self.origin(output, target, known)).sum();
            if through > 0.0 {
                sum += through * one.mass as f64 / self.whole(one.batch);
            }
        }
        known.insert(lot, sum);
        sum
    }
}

/// The program and the model, side by side.
struct Both {
    house: TestHouse,
    model: Model,
    dice: Dice,
    minutes: i64,
    /// What was refused, by problem: a run in which nothing is proves little.
    refused: HashMap<&'static str, usize>,
    supplier_lots: u32,
}

fn random_days_agree_with_plain_lists(backend: Backend) {
    let house = TestHouse::new(backend);
    for (code, makes) in [("base-at-once", "white-base"), ("praline-at-once", "praline"), ("tubs-at-once", "pistachio")]
    {
        house.put(Recipe { maturing_minutes: Some(0), ..recipe(code, makes, &[("milk", 1000)], 900) });
    }
    let dice = Dice::roll();
    let mut both = Both { house, model: Model::default(), dice, minutes: 0, refused: HashMap::new(), supplier_lots: 0 };
    for _ in 0..5 {
        both.receive();
    }
    for number in 1..=COMMANDS {
        both.minutes += 1;
        both.house.clock.set(day(2, 6) + chrono::Duration::minutes(both.minutes));
        both.step();
        if number % BETWEEN == 0 {
            both.compare();
        }
    }
    for problem in ["not-enough", "more-out-than-in", "out-of-order"] {
        assert!(both.refused.contains_key(problem), "{problem} never came up: {:?}", both.refused);
    }
    let verified = both.house.tubtrail.verify().unwrap();
    assert_eq!(verified.wrong, None);
    assert_eq!(verified.lots, both.model.lots.len() as u64);
    assert_eq!(verified.graph_uses, both.model.live().count() as u64);
}

impl Both {
    fn step(&mut self) {
        match self.dice.usize(..100) {
            0..8 => self.receive(),
            8..19 => self.begin(),
            19..56 => self.put_in(),
            56..60 => self.water(),
            60..68 => self.void(),
            68..84 => self.complete(),
            84..89 => self.discard(),
            89..94 => self.count(),
            _ => self.transfer(),
        }
    }

    /// Both must come to the same: done, or refused with this problem. Whether it was done.
    #[track_caller]
    fn agree<T>(&mut self, outcome: Result<T, OperationError>, expected: Option<&'static str>) -> Option<T> {
        match (outcome, expected) {
            (Ok(answer), None) => Some(answer),
            (Err(error), Some(problem)) if error.problem.word == problem => {
                *self.refused.entry(problem).or_insert(0) += 1;
                None
            }
            (Ok(_), Some(problem)) => panic!("it was done, and should be refused as {problem}: {:#?}", self.model),
            (Err(error), expected) => panic!("{error:?}; expected {expected:?}: {:#?}", self.model),
        }
    }

    fn any_lot(&mut self) -> usize {
        self.dice.usize(..self.model.lots.len())
    }

    fn add_lot(&mut self, number: String, made: Option<(usize, OutputKind)>, came: i64) {
        self.model.lots.push(Lot {
            number,
            is_tub: made.is_some_and(|(_, kind)| kind == OutputKind::Tub),
            came_at: self.minutes,
            made_by: made.map(|(batch, _)| batch),
            came,
            found: 0,
            at_kitchen: came,
            at_shop: 0,
            discarded: 0,
            missing: 0,
        });
    }

    fn receive(&mut self) {
        let item = ["milk", "cream", "sugar", "pistachio-paste"][self.dice.usize(..4)];
        let mass = self.dice.u32(100..5000);
        self.supplier_lots += 1;
        let number = self.house.receive("dairy", item, &format!("L-{}", self.supplier_lots), mass);
        self.add_lot(number, None, mass.into());
    }

    fn begin(&mut self) {
        let (recipe, makes) = [
            ("base-at-once", OutputKind::Base),
            ("praline-at-once", OutputKind::Component),
            ("tubs-at-once", OutputKind::Tub),
        ][self.dice.usize(..3)];
        let id = begin(&self.house, recipe);
        self.model.batches.push(Batch { id, makes, water: 0, done: false, done_at: 0 });
    }

    fn any_batch(&mut self, done: bool) -> Option<usize> {
        let all: Vec<usize> =
            (0..self.model.batches.len()).filter(|batch| self.model.batches[*batch].done == done).collect();
        if all.is_empty() { None } else { Some(all[self.dice.usize(..all.len())]) }
    }

    fn put_in(&mut self) {
        let late = self.dice.usize(..4) == 0;
        let Some(batch) = self.any_batch(late) else { return };
        let lot = self.any_lot();
        let here = self.model.lots[lot].at_kitchen;
        let mass = if self.dice.usize(..12) == 0 { here + 1 } else { self.dice.i64(1..=(here / 2).max(1)) };
        let closes_loop = late && self.model.outputs(batch).any(|output| self.model.holds(lot, output));
        let expected = if closes_loop {
            Some("would-loop")
        } else if here == 0 && self.model.lots[lot].at_shop > 0 {
            Some("lot-elsewhere")
        } else if late && self.model.lots[lot].came_at > self.model.batches[batch].done_at {
            Some("out-of-order")
        } else if mass > here {
            Some("not-enough")
        } else {
            None
        };
        let reason = late.then_some("found on the sheet");
        let (id, number) = (self.model.batches[batch].id, self.model.lots[lot].number.clone());
        let outcome = try_to_use(&self.house, id, &number, u32::try_from(mass).unwrap(), reason);
        if let Some(added) = self.agree(outcome, expected) {
            self.model.uses.push(Use { id: added.uses[0].id, lot, batch, mass, voided: false });
            self.model.lots[lot].at_kitchen -= mass;
        }
    }

    fn water(&mut self) {
        let late = self.dice.usize(..4) == 0;
        let Some(batch) = self.any_batch(late) else { return };
        let mass = self.dice.u32(1..500);
        let reason = late.then_some("found on the sheet");
        let outcome = try_to_add_water(&self.house, self.model.batches[batch].id, mass, reason);
        if self.agree(outcome, None).is_some() {
            self.model.batches[batch].water += i64::from(mass);
        }
    }

    fn void(&mut self) {
        if self.model.uses.is_empty() {
            return;
        }
        let at = self.dice.usize(..self.model.uses.len());
        let (lot, batch, mass) = (self.model.uses[at].lot, self.model.uses[at].batch, self.model.uses[at].mass);
        let yielded: i64 = self.model.outputs(batch).map(|output| self.model.lots[output].came).sum();
        let expected = if self.model.uses[at].voided {
            Some("already-voided")
        } else if self.model.batches[batch].done && self.model.went_in(batch) - mass < yielded {
            Some("more-out-than-in")
        } else {
            None
        };
        let outcome = try_to_void(&self.house, self.model.uses[at].id);
        if self.agree(outcome, expected).is_some() {
            self.model.uses[at].voided = true;
            self.model.lots[lot].at_kitchen += mass;
        }
    }

    fn complete(&mut self) {
        let again = self.dice.usize(..15) == 0;
        let Some(batch) = self.any_batch(again) else { return };
        let makes = self.model.batches[batch].makes;
        let went_in = self.model.went_in(batch);
        let too_much = self.dice.usize(..10) == 0;
        let count = self.dice.i64(1..=3);
        let mut outputs: Vec<(OutputKind, u32)> = Vec::new();
        for at in 0..count {
            let mass = u32::try_from((went_in * self.dice.i64(60..=100) / 100 / count).max(1)).unwrap();
            let kind = if at == 2 { OutputKind::Rework } else { makes };
            outputs.push((kind, mass));
        }
        if too_much {
            outputs.push((OutputKind::Remainder, u32::try_from(went_in + 1).unwrap()));
        }
        let came_out: i64 = outputs.iter().map(|(_, mass)| i64::from(*mass)).sum();
        let expected = if again {
            Some("batch-completed")
        } else if came_out > went_in {
            Some("more-out-than-in")
        } else {
            None
        };
        let outcome = try_to_complete(&self.house, self.model.batches[batch].id, &outputs);
        if let Some(done) = self.agree(outcome, expected) {
            self.model.batches[batch].done = true;
            self.model.batches[batch].done_at = self.minutes;
            for ((kind, mass), made) in outputs.iter().zip(done.outputs) {
                self.add_lot(made.lot, Some((batch, *kind)), i64::from(*mass));
            }
        }
    }

    fn discard(&mut self) {
        let lot = self.any_lot();
        let here = self.model.lots[lot].at_kitchen;
        if here == 0 {
            return;
        }
        let mass = self.dice.i64(1..=here);
        let discard = Discard {
            site: Some(KITCHEN.into()),
            state: None,
            quantity: Some(grams(u32::try_from(mass).unwrap())),
            reason: Some("it fell".into()),
            discarded_at: None,
        };
        let outcome = self.house.tubtrail.discard_lot(&Request::system(), &self.model.lots[lot].number, discard);
        if self.agree(outcome, None).is_some() {
            self.model.lots[lot].at_kitchen -= mass;
            self.model.lots[lot].discarded += mass;
        }
    }

    /// Counts what lies in the kitchen of a lot: more or less than the book says.
    fn count(&mut self) {
        let lot = self.any_lot();
        let here = self.model.lots[lot].at_kitchen;
        if here == 0 {
            return;
        }
        let there = self.dice.i64(0..=here + here / 4 + 1);
        let line = NewCountLine {
            lot: self.model.lots[lot].number.clone(),
            state: None,
            found: grams(u32::try_from(there).unwrap()),
            reason: Some("weighed again".into()),
        };
        let new = NewCount {
            site: KITCHEN.into(),
            counted_at: None,
            lines: vec![line],
            complete: false,
            reason: None,
            note: None,
        };
        // A tub stands in one place, and holds no more than it was filled with.
        let model = &self.model.lots[lot];
        let expected = if !model.is_tub || there <= here {
            None
        } else if model.at_shop > 0 {
            Some("lot-elsewhere")
        } else if there - here > model.missing.max(0) {
            Some("invalid")
        } else {
            None
        };
        let outcome = self.house.tubtrail.count_site(&Request::system(), new);
        if self.agree(outcome, expected).is_some() {
            let lot = &mut self.model.lots[lot];
            lot.at_kitchen = there;
            lot.missing += here - there;
            // What turned up beyond what was missing was there from the beginning.
            lot.found = (-lot.missing).max(0);
        }
    }

    /// All there is of a lot goes to the shop.
    fn transfer(&mut self) {
        let lot = self.any_lot();
        if self.model.lots[lot].at_kitchen == 0 {
            return;
        }
        let line = NewTransferLine { lot: self.model.lots[lot].number.clone(), quantity: None };
        let new =
            NewTransfer { from: KITCHEN.into(), to: SHOP.into(), lines: vec![line], dispatched_at: None, note: None };
        let sent = self.house.tubtrail.dispatch_transfer(&Request::system(), new);
        let sent = self.agree(sent, None).unwrap().answer.id;
        let receipt = NewReceipt { all_as_sent: true, ..NewReceipt::default() };
        let received = self.house.tubtrail.receive_transfer(&Request::system(), sent, receipt);
        self.agree(received, None);
        let lot = &mut self.model.lots[lot];
        lot.at_shop += std::mem::take(&mut lot.at_kitchen);
    }

    fn compare(&mut self) {
        for lot in 0..self.model.lots.len() {
            self.compare_places(lot);
        }
        for _ in 0..6 {
            let seed = self.any_lot();
            self.compare_forward(seed);
            let target = self.any_lot();
            self.compare_backward(target);
        }
    }

    fn compare_places(&self, lot: usize) {
        let model = &self.model.lots[lot];
        let shown = self.house.tubtrail.get_lot(&Request::system(), &model.number).unwrap();
        let at = |site: &str, state: &str| {
            let places = shown.places.iter().filter(|place| place.site == site && place.state == state);
            places.map(|place| place.grams.mg()).sum::<i64>()
        };
        let found = [
            at(KITCHEN, "available"),
            at(SHOP, "available"),
            at(KITCHEN, "discarded"),
            at(KITCHEN, "count_difference"),
            shown.used_grams.mg(),
            shown.grams.mg(),
            shown.returned_grams.mg(),
        ];
        let used = self.model.used(lot);
        let expected = [model.at_kitchen, model.at_shop, model.discarded, model.missing, used, model.came, 0]
            .map(|grams| grams * 1000);
        assert_eq!(found, expected, "{model:?}: {shown:?}");
        let trace = self.trace(lot, Direction::Forward);
        assert_kept_as_read(&trace.lots[0], &shown);
        assert_eq!(listed(&self.house, &model.number), shown, "the database says it otherwise");
        let places: i64 = shown.places.iter().map(|place| place.grams.mg()).sum();
        assert_eq!(places + shown.used_grams.mg(), shown.grams.mg(), "all of it is somewhere: {shown:?}");
    }

    fn trace(&self, lot: usize, direction: Direction) -> Trace {
        let number = &self.model.lots[lot].number;
        let trace = self.house.tubtrail.trace_lot(&Request::system(), number, direction, "", 500).unwrap();
        assert!(trace.next.is_none(), "this run is too long for one page");
        trace
    }

    fn compare_forward(&self, seed: usize) {
        let trace = self.trace(seed, Direction::Forward);
        let mut known = HashMap::new();
        let lots = 0..self.model.lots.len();
        let expected: HashMap<&str, f64> = lots
            .filter(|lot| self.model.holds(*lot, seed))
            .map(|lot| (self.model.lots[lot].number.as_str(), self.model.share(lot, seed, &mut known)))
            .collect();
        same(&trace, &expected);
        let open: f64 = (0..self.model.batches.len())
            .filter(|batch| self.model.outputs(*batch).next().is_none())
            .map(|batch| self.model.in_batch(batch, seed, &mut known))
            .sum();
        let balance = trace.head.balance.unwrap();
        close(balance.in_open_batches_grams, open, "in open batches");
        close(balance.seed_grams, self.model.mass(seed) as f64, "the seed");
        let sum = balance.held_grams + balance.in_open_batches_grams + balance.lost_grams + balance.in_seeds_grams;
        close(sum, balance.seed_grams, "all of the seed is somewhere");
    }

    fn compare_backward(&self, target: usize) {
        let trace = self.trace(target, Direction::Backward);
        let mut known = HashMap::new();
        let lots = 0..self.model.lots.len();
        let expected: HashMap<&str, f64> = lots
            .filter(|lot| self.model.holds(target, *lot))
            .map(|lot| (self.model.lots[lot].number.as_str(), self.model.origin(lot, target, &mut known)))
            .collect();
        same(&trace, &expected);
    }
}

fn same(trace: &Trace, expected: &HashMap<&str, f64>) {
    let mut found: Vec<&str> = trace.lots.iter().map(|lot| lot.lot.as_str()).collect();
    let mut wanted: Vec<&str> = expected.keys().copied().collect();
    found.sort_unstable();
    wanted.sort_unstable();
    assert_eq!(found, wanted, "{:?}", trace.head);
    for lot in &trace.lots {
        close(lot.grams, expected[lot.lot.as_str()], &lot.lot);
    }
}

/// Answers are rounded to the microgram.
fn close(found: f64, expected: f64, what: &str) {
    assert!((found - expected).abs() <= 5e-6 + 1e-9 * expected.abs(), "{what}: {found} g, expected {expected} g");
}
