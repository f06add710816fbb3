//! The reference world: a chain of kitchens over years, made by a seeded generator, to measure on. Nothing in the test suite
//! fails on a clock; what is measured is printed.
//!
//! Every day each kitchen receives some sixteen supplier lots, makes six bases from six lots each and two components from
//! three, and churns thirty-five flavours from one of yesterday's bases and five to nine lots more into six tubs each. The tubs
//! go to three shops the next day, are opened the day after and empty two days later; one in twenty goes to a restaurant.
//! Ten kitchens over five years come to 4.3 million lots and 5.7 million uses.

mod papers;
mod rows;

use chrono::{Days, NaiveDate, NaiveDateTime, NaiveTime};

pub use papers::add_papers;
pub use rows::fill;

/// How large a world is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Size {
    /// Kitchens, each with three shops.
    pub kitchens: u32,
    /// Days that are played.
    pub days: u32,
}

impl Size {
    /// Ten kitchens, five years.
    pub const FULL: Self = Self { kitchens: 10, days: 1826 };
}

/// Shops of a kitchen.
pub const SHOPS: u32 = 3;
/// Machines of a kitchen: heaters, then churns, then a kettle.
pub const MACHINES: u32 = 8;
/// Ingredients, by number from 0; each comes from one supplier, `ingredient % SUPPLIERS`.
pub const INGREDIENTS: u32 = 32;
/// Suppliers.
pub const SUPPLIERS: u32 = 8;
/// Bases, components and flavours that are made.
pub const BASES: u32 = 6;
/// See [`BASES`].
pub const COMPONENTS: u32 = 4;
/// See [`BASES`].
pub const FLAVOURS: u32 = 40;

const BASES_A_DAY: u32 = 6;
const COMPONENTS_A_DAY: u32 = 2;
const FLAVOURS_A_DAY: u32 = 35;
const TUBS_A_BATCH: u32 = 6;
/// Every ingredient comes every other day.
const EVERY: u32 = 2;

/// What something is made of, or is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Item {
    /// By number.
    Ingredient(u32),
    /// By number.
    Base(u32),
    /// By number.
    Component(u32),
    /// By number.
    Flavour(u32),
}

/// A supplier lot on a delivery of its own.
#[derive(Clone, Copy, Debug)]
pub struct Received {
    /// From 1, dense, together with what is made.
    pub lot: u32,
    /// Which ingredient.
    pub ingredient: u32,
    /// At which kitchen, from 0.
    pub kitchen: u32,
    /// On which day, from 0.
    pub day: u32,
    /// Milligrams.
    pub mass_mg: i64,
}

/// A batch.
#[derive(Clone, Copy, Debug)]
pub struct Batch {
    /// From 1, dense.
    pub batch: u32,
    /// What it makes.
    pub makes: Item,
    /// At which kitchen, from 0.
    pub kitchen: u32,
    /// On which day, from 0.
    pub day: u32,
    /// Minutes after midnight.
    pub minute: u32,
    /// On which machine of the kitchen.
    pub machine: u32,
}

/// So much of a lot went into the batch told last.
#[derive(Clone, Copy, Debug)]
pub struct Use {
    /// Of which lot.
    pub lot: u32,
    /// Milligrams.
    pub mass_mg: i64,
}

/// A lot that the batch told last yielded.
#[derive(Clone, Copy, Debug)]
pub struct Made {
    /// From 1, dense, together with what is received.
    pub lot: u32,
    /// base, component, tub or rework.
    pub kind: &'static str,
    /// Milligrams.
    pub mass_mg: i64,
}

/// Whoever is told the story, in order.
pub trait Listener {
    /// A supplier lot came.
    fn received(&mut self, received: Received);
    /// A batch began.
    fn batch(&mut self, batch: Batch);
    /// Something went into it.
    fn used(&mut self, used: Use);
    /// Something came of it.
    fn made(&mut self, made: Made);
}

/// What a kitchen has on its shelves.
#[derive(Clone, Default)]
struct Shelves {
    /// The newest lot of each ingredient, and the one before.
    ingredients: Vec<[u32; 2]>,
    /// Yesterday's bases: number and lot.
    bases: Vec<(u32, u32)>,
    components: Vec<(u32, u32)>,
    rework: Option<u32>,
}

struct Story<'l, L> {
    listener: &'l mut L,
    dice: fastrand::Rng,
    lots: u32,
    batches: u32,
}

/// Tells the story of a world. The same seed tells the same.
pub fn tell(size: Size, seed: u64, listener: &mut impl Listener) {
    let mut story = Story { listener, dice: fastrand::Rng::with_seed(seed), lots: 0, batches: 0 };
    let empty = Shelves { ingredients: vec![[0; 2]; INGREDIENTS as usize], ..Shelves::default() };
    let mut kitchens = vec![empty; size.kitchens as usize];
    for day in 0..size.days {
        for (kitchen, shelves) in (0..).zip(&mut kitchens) {
            story.play(day, kitchen, shelves);
        }
    }
}

/// The first day of every world.
///
/// # Panics
/// Never.
pub fn first_day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2021, 11, 1).expect("a day")
}

/// A moment of a day, minutes after midnight.
pub fn at(day: u32, minute: u32) -> NaiveDateTime {
    let midnight = (first_day() + Days::new(day.into())).and_time(NaiveTime::MIN);
    midnight + chrono::Duration::minutes(minute.into())
}

impl<L: Listener> Story<'_, L> {
    fn play(&mut self, day: u32, kitchen: u32, shelves: &mut Shelves) {
        for ingredient in 0..INGREDIENTS {
            if (day + ingredient).is_multiple_of(EVERY) || day == 0 {
                let lot = self.next_lot();
                // More than can be used of it; what is left is thrown away in the end.
                let mass_mg = 1_000_000_000;
                self.listener.received(Received { lot, ingredient, kitchen, day, mass_mg });
                let [newest, _] = shelves.ingredients[ingredient as usize];
                shelves.ingredients[ingredient as usize] = [lot, if day == 0 { lot } else { newest }];
            }
        }
        let bases: Vec<_> = (0..BASES_A_DAY).map(|turn| self.base(day, kitchen, shelves, turn)).collect();
        for turn in 0..COMPONENTS_A_DAY {
            self.component(day, kitchen, shelves, turn);
        }
        if day > 0 {
            for turn in 0..FLAVOURS_A_DAY {
                self.flavour(day, kitchen, shelves, turn);
            }
        }
        shelves.bases = bases;
    }

    fn base(&mut self, day: u32, kitchen: u32, shelves: &Shelves, turn: u32) -> (u32, u32) {
        let base = turn % BASES;
        self.begin(Item::Base(base), (kitchen, day, 360 + 40 * turn), turn % 3);
        // Milk, cream, sugar, dextrose, powder, and one that tells it from the others.
        for (ingredient, mass_mg) in
            [(0, 42_000_000), (1, 8_000_000), (2, 8_000_000), (3, 2_000_000), (4, 2_000_000), (5 + base, 1_500_000)]
        {
            self.take(shelves, ingredient, mass_mg);
        }
        (base, self.yields("base", 62_000_000))
    }

    fn component(&mut self, day: u32, kitchen: u32, shelves: &mut Shelves, turn: u32) {
        let component = (day * COMPONENTS_A_DAY + turn) % COMPONENTS;
        self.begin(Item::Component(component), (kitchen, day, 480 + 60 * turn), 7);
        for (ingredient, mass_mg) in [(2, 3_000_000), (11 + component, 5_000_000), (15 + component, 1_000_000)] {
            self.take(shelves, ingredient, mass_mg);
        }
        let lot = self.yields("component", 8_600_000);
        shelves.components.retain(|(known, _)| *known != component);
        shelves.components.push((component, lot));
    }

    fn flavour(&mut self, day: u32, kitchen: u32, shelves: &mut Shelves, turn: u32) {
        let flavour = (day + turn) % FLAVOURS;
        self.begin(Item::Flavour(flavour), (kitchen, day, 600 + 12 * turn), 3 + turn % 4);
        let (_, base) = shelves.bases[(flavour % BASES) as usize];
        self.listener.used(Use { lot: base, mass_mg: 8_500_000 });
        for (ingredient, mass_mg) in [(2, 300_000), (3, 100_000), (4, 50_000), (12 + flavour % 20, 900_000)] {
            self.take(shelves, ingredient, mass_mg);
        }
        for extra in 0..self.dice.u32(1..=3) {
            self.take(shelves, 5 + (flavour + 7 * extra) % 27, 150_000);
        }
        if self.dice.u32(..10) < 4 && !shelves.components.is_empty() {
            let (_, lot) = shelves.components[self.dice.usize(..shelves.components.len())];
            self.listener.used(Use { lot, mass_mg: 100_000 });
        }
        if let Some(lot) = shelves.rework.take() {
            self.listener.used(Use { lot, mass_mg: 200_000 });
        }
        for _ in 0..TUBS_A_BATCH {
            self.yields("tub", 1_600_000);
        }
        if self.dice.u32(..30) == 0 {
            shelves.rework = Some(self.yields("rework", 200_000));
        }
    }

    fn begin(&mut self, makes: Item, (kitchen, day, minute): (u32, u32, u32), machine: u32) {
        self.batches += 1;
        self.listener.batch(Batch { batch: self.batches, makes, kitchen, day, minute, machine });
    }

    /// Mostly of the newest lot, now and then of the one before.
    fn take(&mut self, shelves: &Shelves, ingredient: u32, mass_mg: i64) {
        let [newest, before] = shelves.ingredients[ingredient as usize];
        let lot = if self.dice.u32(..5) == 0 { before } else { newest };
        self.listener.used(Use { lot, mass_mg });
    }

    fn yields(&mut self, kind: &'static str, mass_mg: i64) -> u32 {
        let lot = self.next_lot();
        self.listener.made(Made { lot, kind, mass_mg });
        lot
    }

    fn next_lot(&mut self) -> u32 {
        self.lots += 1;
        self.lots
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Default)]
    struct Counted {
        lots: u32,
        batches: u32,
        uses: u32,
    }

    impl Listener for Counted {
        fn received(&mut self, received: Received) {
            self.lots += 1;
            assert_eq!(received.lot, self.lots, "lots are told in order");
        }

        fn batch(&mut self, batch: Batch) {
            self.batches += 1;
            assert_eq!(batch.batch, self.batches, "batches are told in order");
        }

        fn used(&mut self, used: Use) {
            self.uses += 1;
            assert!((1..=self.lots).contains(&used.lot), "a lot is used after it came to be");
        }

        fn made(&mut self, made: Made) {
            self.lots += 1;
            assert_eq!(made.lot, self.lots, "lots are told in order");
        }
    }

    #[test]
    fn a_day_of_a_kitchen_is_as_large_as_it_is_said_to_be() {
        let mut counted = Counted::default();
        let size = Size { kitchens: 2, days: 300 };
        tell(size, 7, &mut counted);
        let a_day = |count: u32| count / size.kitchens / size.days;
        // 4.3 and 5.7 million over ten kitchens and 1826 days.
        assert!((230..240).contains(&a_day(counted.lots)), "{} lots a day", a_day(counted.lots));
        assert!((300..330).contains(&a_day(counted.uses)), "{} uses a day", a_day(counted.uses));
    }
}
