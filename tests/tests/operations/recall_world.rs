//! Hundreds of random commands with recalls among them, against a model of plain lists that shares nothing with the program:
//! it finds what a recall reaches, and how much of it is where, from the beginning every time.

// A run moves some tonnes at most; 2^53 mg are a little more.
#![allow(clippy::cast_precision_loss)]

use std::collections::{BTreeSet, HashMap};

use chrono::{DateTime, Duration, Utc};
use tubtrail_operations::completions::OutputKind;
use tubtrail_operations::discards::Discard;
use tubtrail_operations::recalls::SeedAsked;
use tubtrail_operations::tubs::Opening;
use tubtrail_operations::voids::UseVoid;
use tubtrail_operations::write_ups::NewWriteUp;
use tubtrail_operations::{Grams, OperationError, Request};
use tubtrail_tests::batches::{because, of, sheet};
use tubtrail_tests::house::{KITCHEN, SHOP, day, grams};
use tubtrail_tests::{Backend, Dice, TestHouse, on_both};

use crate::recalled::{assert_adds_up, assert_sums_are_of_the_lines, case, closing, codes, lines, lots, recall, serve};
use crate::shelf::{all_as_sent, done, house, output, parcel};

on_both!(random_recalls_agree_with_plain_lists);

/// Commands of one run.
const COMMANDS: usize = 300;
/// Commands between two comparisons.
const BETWEEN: usize = 30;
/// How far one place of a lot may be from its exact share, in milligrams: less than one for the lot, less than one in it.
const ROUNDING: f64 = 2.0;

/// All masses in grams; every command moves whole grams, and happens a minute after the one before.
#[derive(Default)]
struct Model {
    lots: Vec<Lot>,
    batches: Vec<Batch>,
    uses: Vec<Use>,
    recalls: Vec<Recall>,
}

struct Lot {
    number: String,
    code: Option<u32>,
    made_by: Option<usize>,
    mass: i64,
    came: i64,
    kitchen: i64,
    shop: i64,
    open: i64,
    served: i64,
    discarded: i64,
    /// From when to when it was at the shop, in minutes.
    at_shop: Option<(i64, Option<i64>)>,
}

struct Batch {
    id: i64,
    at: i64,
    out: i64,
}

struct Use {
    id: i64,
    lot: usize,
    batch: usize,
    mass: i64,
    voided: bool,
}

struct Recall {
    id: i64,
    at: i64,
    seeds: Seeds,
    withdrawn: bool,
}

enum Seeds {
    Codes(Vec<u32>),
    Lots(Vec<usize>),
    /// What was at the shop from this minute on.
    AtShop(i64),
}

impl Model {
    fn live(&self) -> impl Iterator<Item = &Use> {
        self.uses.iter().filter(|one| !one.voided)
    }

    fn used(&self, at: usize) -> i64 {
        self.live().filter(|one| one.lot == at).map(|one| one.mass).sum()
    }

    fn is_seed(&self, recall: &Recall, at: usize) -> bool {
        let lot = &self.lots[at];
        match &recall.seeds {
            Seeds::Codes(codes) => lot.code.is_some_and(|code| codes.contains(&code)),
            Seeds::Lots(lots) => lots.contains(&at),
            Seeds::AtShop(from) => lot.at_shop.is_some_and(|(_, left)| left.is_none_or(|left| left >= *from)),
        }
    }

    fn reaches(&self, recall: &Recall, at: usize) -> bool {
        self.is_seed(recall, at)
            || self.lots[at].made_by.is_some_and(|batch| {
                self.live().filter(|one| one.batch == batch).any(|one| self.reaches(recall, one.lot))
            })
    }

    /// The oldest recall that keeps a lot.
    fn keeper(&self, at: usize) -> Option<&Recall> {
        self.recalls.iter().find(|recall| !recall.withdrawn && self.reaches(recall, at))
    }

    fn went_in(&self, batch: usize) -> i64 {
        self.live().filter(|one| one.batch == batch).map(|one| one.mass).sum()
    }

    /// Grams of the seeds a lot was made with.
    fn share(&self, recall: &Recall, at: usize, known: &mut HashMap<usize, f64>) -> f64 {
        if self.is_seed(recall, at) {
            return self.lots[at].mass as f64;
        }
        if let Some(share) = known.get(&at) {
            return *share;
        }
        let Some(batch) = self.lots[at].made_by else { return 0.0 };
        let mut inside = 0.0;
        for one in self.live().filter(|one| one.batch == batch) {
            inside += self.share(recall, one.lot, known) * one.mass as f64 / self.lots[one.lot].mass as f64;
        }
        let whole = self.went_in(batch).max(self.batches[batch].out) as f64;
        let share = if inside == 0.0 { 0.0 } else { inside * self.lots[at].mass as f64 / whole };
        known.insert(at, share);
        share
    }
}

struct Run {
    house: TestHouse,
    model: Model,
    dice: fastrand::Rng,
    minute: i64,
}

fn begin() -> DateTime<Utc> {
    day(2, 6)
}

impl Run {
    fn now(&self) -> DateTime<Utc> {
        begin() + Duration::minutes(self.minute)
    }

    /// Any of the lots of which this is true.
    fn any(&mut self, fits: impl Fn(&Lot) -> bool) -> Option<usize> {
        let all: Vec<usize> = (0..self.model.lots.len()).filter(|at| fits(&self.model.lots[*at])).collect();
        self.dice.choice(&all).copied()
    }

    /// Whether a command was done; whatever a recall keeps must be refused for that, and nothing else for that.
    #[track_caller]
    fn taken<T>(&self, kept: bool, outcome: Result<T, OperationError>) -> Option<T> {
        match outcome {
            Ok(done) => {
                assert!(!kept, "minute {}: it is recalled, and was done", self.minute);
                Some(done)
            }
            Err(error) => {
                let recalled = error.problem.word == "lot-recalled";
                assert_eq!(recalled, kept, "minute {}: {error}", self.minute);
                None
            }
        }
    }

    fn step(&mut self) {
        self.minute += 1;
        self.house.clock.set(self.now());
        match self.dice.u8(0..20) {
            0..=2 => self.receive(),
            3..=6 => self.make(),
            7..=8 => self.bring(),
            9..=11 => self.serve(),
            12 => self.discard(),
            13..=14 => self.void(),
            15..=16 => self.use_late(),
            17..=18 => self.recall(),
            _ => self.withdraw(),
        }
    }

    fn receive(&mut self) {
        let (code, mass) = (self.dice.u32(1..7), self.dice.i64(500..3000));
        let number =
            self.house.receive("nut-mill", "hazelnut-paste", &format!("24-{code}"), u32::try_from(mass).unwrap_or(0));
        self.came(number, Some(code), None, mass);
    }

    fn came(&mut self, number: String, code: Option<u32>, made_by: Option<usize>, mass: i64) {
        let (came, kitchen) = (self.minute, mass);
        let lot = Lot {
            number,
            code,
            made_by,
            mass,
            came,
            kitchen,
            shop: 0,
            open: 0,
            served: 0,
            discarded: 0,
            at_shop: None,
        };
        self.model.lots.push(lot);
    }

    fn make(&mut self) {
        let mut uses: Vec<(usize, i64)> = Vec::new();
        for _ in 0..self.dice.usize(1..4) {
            if let Some(lot) = self.any(|lot| lot.kitchen > 100)
                && uses.iter().all(|(known, _)| *known != lot)
            {
                uses.push((lot, self.dice.i64(50..self.model.lots[lot].kitchen)));
            }
        }
        let all: i64 = uses.iter().map(|(_, mass)| mass).sum();
        if uses.is_empty() || all < 100 {
            return;
        }
        let first = all * self.dice.i64(20..60) / 100;
        let masses = [first, all * 9 / 10 - first];
        let written =
            uses.iter().map(|(lot, mass)| of(&self.model.lots[*lot].number, u32::try_from(*mass).unwrap_or(0)));
        let outputs = masses.iter().map(|mass| output(OutputKind::Tub, u32::try_from(*mass).unwrap_or(0)));
        let new: NewWriteUp = sheet("gianduja", written.collect(), outputs.collect());
        let kept = uses.iter().any(|(lot, _)| self.model.keeper(*lot).is_some());
        let outcome = self.house.tubtrail.write_up_batch(&Request::system(), new);
        let Some(made) = self.taken(kept, outcome) else { return };
        let batch = self.model.batches.len();
        self.model.batches.push(Batch { id: made.answer.id, at: self.minute, out: masses.iter().sum() });
        for ((lot, mass), written) in uses.into_iter().zip(&made.answer.uses) {
            self.model.lots[lot].kitchen -= mass;
            self.model.uses.push(Use { id: written.id, lot, batch, mass, voided: false });
        }
        for (made, mass) in made.answer.outputs.iter().zip(masses) {
            self.came(made.lot.clone(), None, Some(batch), mass);
        }
    }

    fn bring(&mut self) {
        let Some(at) = self.any(|lot| lot.made_by.is_some() && lot.kitchen > 0 && lot.at_shop.is_none()) else {
            return;
        };
        let number = self.model.lots[at].number.clone();
        let kept = self.model.keeper(at).is_some();
        let sent = self.house.tubtrail.dispatch_transfer(&Request::system(), parcel(SHOP, &[&number]));
        let Some(sent) = self.taken(kept, sent) else { return };
        done(self.house.tubtrail.receive_transfer(&Request::system(), sent.answer.id, all_as_sent()));
        let (minute, lot) = (self.minute, &mut self.model.lots[at]);
        lot.shop = std::mem::take(&mut lot.kitchen);
        lot.at_shop = Some((minute, None));
        // What arrived at a place that is watched is recalled from then on.
        let kept = self.model.keeper(at).is_some();
        let opened = self.house.tubtrail.open_tub(&Request::system(), &number, Opening::default());
        if self.taken(kept, opened).is_some() {
            let lot = &mut self.model.lots[at];
            lot.open = std::mem::take(&mut lot.shop);
        }
    }

    fn serve(&mut self) {
        let Some(at) = self.any(|lot| lot.open > 0) else { return };
        let mass = if self.dice.u8(0..4) == 0 {
            self.model.lots[at].open
        } else {
            self.dice.i64(1..=self.model.lots[at].open)
        };
        let kept = self.model.keeper(at).is_some();
        let served = serve(&self.house, &self.model.lots[at].number, mass);
        if self.taken(kept, served).is_none() {
            return;
        }
        let (minute, lot) = (self.minute, &mut self.model.lots[at]);
        lot.open -= mass;
        lot.served += mass;
        if lot.open == 0 {
            lot.at_shop = lot.at_shop.map(|(came, _)| (came, Some(minute)));
        }
    }

    /// Anything may be thrown away, recalled or not.
    fn discard(&mut self) {
        let Some(at) = self.any(|lot| lot.kitchen > 0) else { return };
        let mass = self.dice.i64(1..=self.model.lots[at].kitchen);
        let quantity = Some(grams(u32::try_from(mass).unwrap_or(0)));
        let (site, reason) = (Some(KITCHEN.to_owned()), Some("spilt".to_owned()));
        let discard = Discard { site, state: None, quantity, reason, discarded_at: None };
        done(self.house.tubtrail.discard_lot(&Request::system(), &self.model.lots[at].number, discard));
        let lot = &mut self.model.lots[at];
        lot.kitchen -= mass;
        lot.discarded += mass;
    }

    fn void(&mut self) {
        let live: Vec<usize> = (0..self.model.uses.len()).filter(|at| !self.model.uses[*at].voided).collect();
        let Some(at) = self.dice.choice(&live).copied() else { return };
        let void = UseVoid { reason: "another sack".into() };
        let voided = self.house.tubtrail.void_use(&Request::system(), self.model.uses[at].id, void);
        if self.taken(false, voided).is_some() {
            let one = &mut self.model.uses[at];
            one.voided = true;
            self.model.lots[one.lot].kitchen += one.mass;
        }
    }

    /// Something went into a batch while it was made, and is written down only now.
    fn use_late(&mut self) {
        if self.model.batches.is_empty() {
            return;
        }
        let batch = self.dice.usize(0..self.model.batches.len());
        let Some(at) = self.any(|lot| lot.kitchen > 10) else { return };
        let mass = self.dice.i64(1..self.model.lots[at].kitchen);
        let made_at = self.model.batches[batch].at;
        let kept = self.model.keeper(at).is_some_and(|recall| made_at >= recall.at);
        let one = because("found on the sheet", of(&self.model.lots[at].number, u32::try_from(mass).unwrap_or(0)));
        let outcome = self.house.add(self.model.batches[batch].id, vec![one]);
        // A loop is found before the lot itself is looked at.
        if outcome.as_ref().is_err_and(|error| error.problem.word == "would-loop") {
            return;
        }
        assert!(outcome.is_err() || self.model.lots[at].came <= made_at, "it was not there yet");
        if let Some(added) = self.taken(kept, outcome) {
            self.model.lots[at].kitchen -= mass;
            self.model.uses.push(Use { id: added.uses[0].id, lot: at, batch, mass, voided: false });
        }
    }

    fn recall(&mut self) {
        if self.model.recalls.iter().filter(|recall| !recall.withdrawn).count() >= 2 {
            return;
        }
        let (seeds, asked) = match self.dice.u8(0..3) {
            0 => {
                let code = self.dice.u32(1..7);
                (Seeds::Codes(vec![code]), codes(&[&format!("24-0{code}")]))
            }
            1 => {
                let Some(at) = self.any(|_| true) else { return };
                (Seeds::Lots(vec![at]), lots(&[&self.model.lots[at].number]))
            }
            _ => {
                let from = self.minute - self.dice.i64(0..20);
                let at = begin() + Duration::minutes(from);
                let place = SeedAsked::Place { site: SHOP.into(), state: None, from: at, until: None };
                (Seeds::AtShop(from), place)
            }
        };
        let begun = self.house.tubtrail.begin_recall(&Request::system(), recall(vec![asked]));
        let new = Recall { id: 0, at: self.minute, seeds, withdrawn: false };
        let fits = (0..self.model.lots.len()).any(|at| self.model.is_seed(&new, at));
        match begun {
            Ok(begun) => {
                assert!(fits, "minute {}: nothing fits it", self.minute);
                self.model.recalls.push(Recall { id: begun.answer.recall.recall, ..new });
            }
            Err(error) => assert_eq!((error.problem.word, fits), ("nothing-fits", false), "{error}"),
        }
    }

    fn withdraw(&mut self) {
        let open: Vec<usize> = (0..self.model.recalls.len()).filter(|at| !self.model.recalls[*at].withdrawn).collect();
        let Some(at) = self.dice.choice(&open).copied() else { return };
        done(self.house.tubtrail.withdraw_recall(&Request::system(), self.model.recalls[at].id, closing()));
        self.model.recalls[at].withdrawn = true;
    }

    /// All recalls, withdrawn ones too, reach what the lists say, hold as much of it in each place, and add up.
    fn compare(&self) {
        for recall in &self.model.recalls {
            let shown = lines(&self.house, recall.id);
            let found: BTreeSet<&str> = shown.iter().map(|line| line.lot.as_str()).collect();
            let reached: Vec<usize> = (0..self.model.lots.len()).filter(|at| self.model.reaches(recall, *at)).collect();
            let expected: BTreeSet<&str> = reached.iter().map(|at| self.model.lots[*at].number.as_str()).collect();
            assert_eq!(found, expected, "minute {}: recall {}", self.minute, recall.id);
            let mut known = HashMap::new();
            for at in reached {
                let lot = &self.model.lots[at];
                let in_a_gram = self.model.share(recall, at, &mut known) / lot.mass as f64;
                let places = [
                    (KITCHEN, "available", lot.kitchen),
                    (SHOP, "available", lot.shop),
                    (SHOP, "open", lot.open),
                    (SHOP, "served", lot.served),
                    (KITCHEN, "discarded", lot.discarded),
                ];
                assert_eq!(places.iter().map(|(_, _, mass)| mass).sum::<i64>() + self.model.used(at), lot.mass);
                for (site, state, mass) in places {
                    let line = shown.iter().find(|line| line.lot == lot.number && line.site == site);
                    let place = line.and_then(|line| line.places.iter().find(|place| place.state == state));
                    let (grams, seed) =
                        place.map_or((0, 0), |place| (place.grams.mg() / 1000, place.seed_grams.map_or(0, Grams::mg)));
                    assert_eq!(grams, mass, "minute {}: {} {site} {state}", self.minute, lot.number);
                    let exact = in_a_gram * mass as f64 * 1000.0;
                    assert!(
                        (seed as f64 - exact).abs() < ROUNDING,
                        "minute {}: {} {site} {state}: {seed} mg, and {exact} by the lists",
                        self.minute,
                        lot.number
                    );
                }
            }
            assert_adds_up(&case(&self.house, recall.id));
            assert_sums_are_of_the_lines(&self.house, recall.id);
        }
    }
}

fn random_recalls_agree_with_plain_lists(backend: Backend) {
    let mut run = Run { house: house(backend), model: Model::default(), dice: Dice::roll().fork(0), minute: 0 };
    for command in 1..=COMMANDS {
        run.step();
        if command % BETWEEN == 0 {
            run.compare();
        }
    }
    assert!(run.model.recalls.len() > 2, "a run has recalls");
    let verified = run.house.tubtrail.verify().expect("it can be verified");
    assert_eq!(verified.wrong, None);
}
