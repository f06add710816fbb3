//! The order of a day's batches: sums on paper, and every order of small days tried out.

use tubtrail_domain::allergens::{Declared, Substance};
use tubtrail_domain::work_order::{Step, plan, to_clear};

const NOTHING: Declared = Declared { contains: 0, may_contain: 0, unknown: 0 };

fn mask(words: &str) -> u64 {
    let words = words.split(',').filter(|word| !word.is_empty());
    words.fold(0, |mask, word| mask | Substance::from_word(word).expect(word).bit())
}

/// A batch that contains these.
fn batch(contains: &str) -> Declared {
    Declared { contains: mask(contains), ..NOTHING }
}

/// The order as it would be written on the board: `0 1 | 2` with a bar for each clean.
fn board(steps: &[Step]) -> String {
    let step = |step: &Step| format!("{}{}", if step.needs_clean() { "| " } else { "" }, step.batch);
    steps.iter().map(step).collect::<Vec<_>>().join(" ")
}

fn cleans(steps: &[Step]) -> usize {
    steps.iter().filter(|step| step.needs_clean()).count()
}

#[test]
fn what_holds_less_goes_before_what_holds_more() {
    let day = [batch("milk,egg"), batch(""), batch("milk,egg,hazelnut"), batch("milk")];
    assert_eq!(board(&plan(&day, None)), "1 3 0 2");
}

#[test]
fn hazelnut_and_pistachio_need_one_clean() {
    // Whatever the order, between hazelnut and pistachio there has to be one. Sorbet and milk go first, as they hold
    // least, and then the clean is about hazelnut alone.
    let day = [batch("milk,hazelnut"), batch("milk,pistachio"), batch("milk"), batch("")];
    let steps = plan(&day, None);
    assert_eq!(board(&steps), "3 2 0 | 1");
    assert_eq!(steps[3].to_clear, mask("hazelnut"));
}

#[test]
fn the_machine_as_it_stands_comes_first() {
    // Yesterday ended with hazelnut: hazelnut goes on as it is, then a clean, then what holds more and more.
    let day = [batch(""), batch("milk"), batch("milk,pistachio"), batch("milk,hazelnut")];
    let steps = plan(&day, Some(batch("milk,hazelnut")));
    assert_eq!(board(&steps), "3 | 0 1 2");
    assert_eq!(steps[1].to_clear, mask("milk,hazelnut"));
}

#[test]
fn where_nothing_may_follow_what_is_on_the_machine_it_is_cleaned_first() {
    let steps = plan(&[batch("milk")], Some(batch("milk,peanut")));
    assert_eq!(steps, [Step { batch: 0, to_clear: mask("peanut") }]);
    assert_eq!(plan(&[batch("milk")], Some(NOTHING)), [Step { batch: 0, to_clear: 0 }]);
}

#[test]
fn a_day_without_batches_has_no_steps() {
    assert_eq!(plan(&[], None), []);
    assert_eq!(plan(&[], Some(batch("milk"))), []);
}

#[test]
fn batches_that_declare_the_same_stay_in_the_order_given() {
    let day = [batch("milk"), batch(""), batch("milk"), batch("milk"), batch("")];
    assert_eq!(board(&plan(&day, None)), "1 4 0 2 3");
    assert_eq!(board(&plan(&day, Some(batch("milk")))), "0 2 3 | 1 4");
}

#[test]
fn what_may_be_there_is_as_good_as_what_is_and_unknown_is_worse_than_neither() {
    let possible = Declared { may_contain: mask("egg"), ..batch("milk") };
    let unknown = Declared { unknown: mask("egg"), ..batch("milk") };
    assert_eq!(to_clear(&possible, &batch("milk,egg")), 0);
    assert_eq!(to_clear(&batch("milk,egg"), &possible), 0);
    assert_eq!(to_clear(&unknown, &possible), 0, "what is unknown before may be there after");
    assert_eq!(to_clear(&possible, &unknown), mask("egg"), "unknown would become may contain");
    assert_eq!(to_clear(&unknown, &batch("milk")), mask("egg"), "not recorded would become unknown");
    assert_eq!(to_clear(&unknown, &unknown), 0);
}

/// Whether `after` answers every question as before when it may hold all that `before` may have left: by the answers
/// themselves, not by masks.
fn changes_no_answer(before: &Declared, after: &Declared) -> bool {
    let together = Declared {
        contains: after.contains,
        may_contain: after.may_contain | before.contains | before.may_contain,
        unknown: after.unknown | before.unknown,
    };
    Substance::ALL.into_iter().all(|substance| together.answer(substance) == after.answer(substance))
}

/// Splitmix64: the same numbers for a seed on every machine.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    fn below(&mut self, bound: u64) -> u64 {
        self.next() % bound
    }

    /// A batch of a few substances: each of them is in there, may be, is unknown, or (mostly) nothing of it.
    fn batch(&mut self, substances: u32) -> Declared {
        let mut batch = NOTHING;
        for bit in (0..substances).map(|substance| 1 << substance) {
            match self.below(7) {
                0 | 1 => batch.contains |= bit,
                2 => batch.may_contain |= bit,
                3 => batch.unknown |= bit,
                _ => {}
            }
        }
        batch
    }
}

/// The fewest cleans of any order, by trying every one.
fn fewest_cleans(day: &[Declared], last: Option<&Declared>) -> usize {
    let rest = |taken: usize| {
        let mut rest = day.to_vec();
        rest.remove(taken);
        rest
    };
    let after = |taken: usize| {
        let clean = last.is_some_and(|last| !changes_no_answer(last, &day[taken]));
        usize::from(clean) + fewest_cleans(&rest(taken), Some(&day[taken]))
    };
    (0..day.len()).map(after).min().unwrap_or(0)
}

/// Makes the day in this order, wiping off before each batch only what the step names, and holds every answer of every
/// batch against all that is on the machine by then.
fn assert_made_without_a_changed_answer(day: &[Declared], start: Option<Declared>, steps: &[Step]) {
    let mut machine = start.unwrap_or(NOTHING);
    for step in steps {
        let wiped = |mask: u64| mask & !step.to_clear;
        machine = Declared {
            contains: wiped(machine.contains),
            may_contain: wiped(machine.may_contain),
            unknown: wiped(machine.unknown),
        };
        let batch = &day[step.batch];
        assert!(changes_no_answer(&machine, batch), "batch {} of {day:?} in {steps:?}", step.batch);
        machine.contains |= batch.contains;
        machine.may_contain |= batch.may_contain;
        machine.unknown |= batch.unknown;
    }
}

fn assert_each_once(day: &[Declared], steps: &[Step]) {
    let mut batches: Vec<usize> = steps.iter().map(|step| step.batch).collect();
    batches.sort_unstable();
    assert!(batches.into_iter().eq(0..day.len()), "{steps:?}");
    for (place, step) in steps.iter().enumerate() {
        let earlier = steps[..place].iter().filter(|earlier| day[earlier.batch] == day[step.batch]);
        assert!(earlier.into_iter().all(|earlier| earlier.batch < step.batch), "the same, out of order: {steps:?}");
    }
}

#[test]
fn no_order_of_a_small_day_needs_fewer_cleans() {
    let (mut cleaned, mut uncleaned) = (0, 0);
    for seed in 0..600 {
        let mut dice = Dice(seed);
        // Mostly days of five or six, since seven have 5040 orders.
        let batches = if seed % 20 == 0 { 7 } else { dice.below(7) };
        let substances = 1 + u32::try_from(dice.below(4)).unwrap();
        let day: Vec<Declared> = (0..batches).map(|_| dice.batch(substances)).collect();
        let start = (dice.below(2) == 0).then(|| dice.batch(substances));
        let steps = plan(&day, start);
        assert_each_once(&day, &steps);
        assert_made_without_a_changed_answer(&day, start, &steps);
        assert_eq!(cleans(&steps), fewest_cleans(&day, start.as_ref()), "seed {seed}: {day:?} after {start:?}");
        assert_eq!(plan(&day, start), steps, "seed {seed}: the same day, the same order");
        cleaned += cleans(&steps);
        uncleaned += steps.len() - cleans(&steps);
    }
    assert!(cleaned > 300 && uncleaned > 300, "{cleaned} and {uncleaned}");
}

#[test]
fn a_clean_is_needed_where_an_answer_would_change_and_nowhere_else() {
    let mut dice = Dice(7);
    let mut needed = 0;
    for _ in 0..20_000 {
        let (before, after) = (dice.batch(3), dice.batch(3));
        let mask = to_clear(&before, &after);
        needed += usize::from(mask != 0);
        assert_eq!(mask == 0, changes_no_answer(&before, &after), "{before:?} {after:?}");
    }
    assert!((2000..18_000).contains(&needed), "{needed}");
}

#[test]
fn a_long_day_of_ten_families_needs_nine_cleans() {
    // Each family has three substances of its own, one more in each second batch: six batches, one chain. No batch of
    // one family may follow one of another.
    let mut day: Vec<Declared> = Vec::new();
    for (family, size) in (0..10).flat_map(|family| (0..6).map(move |size| (family, size))) {
        let contains = [0b001, 0b001, 0b011, 0b011, 0b111, 0b111][size] << (3 * family);
        day.push(Declared { contains, ..NOTHING });
    }
    for seed in 0..20 {
        let mut dice = Dice(seed);
        for last in (1..day.len()).rev() {
            day.swap(last, usize::try_from(dice.below(last as u64 + 1)).unwrap());
        }
        let steps = plan(&day, None);
        assert_each_once(&day, &steps);
        assert_eq!(cleans(&steps), 9, "seed {seed}");
        assert_made_without_a_changed_answer(&day, None, &steps);
    }
}
