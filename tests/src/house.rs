//! A small house to test the operations in: one kitchen, two shops, a supplier, a restaurant, a few items, and a clock that
//! stands where it is set.

use chrono::{DateTime, TimeZone, Utc};
use tubtrail_operations::deliveries::{Delivery, Expiry, ExpiryKind, NewDelivery, NewDeliveryLine};
use tubtrail_operations::equipment::Equipment;
use tubtrail_operations::items::{CountedBy, Item, ItemKind, Keeping};
use tubtrail_operations::master_data::Master;
use tubtrail_operations::partners::Partner;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::recipes::{Recipe, RecipeLine};
use tubtrail_operations::sites::{Site, SiteKind};
use tubtrail_operations::{Grams, OperationError, QuantityEntered, Request, Steps, Tubtrail};

use crate::{Backend, TestDatabase};

/// The kitchen's code.
pub const KITCHEN: &str = "kitchen";
/// The first shop's code.
pub const SHOP: &str = "harbour-shop";
/// The second shop's code.
pub const OTHER_SHOP: &str = "market-shop";

/// An open house over a database of its own. It begins on Monday, 2 November 2026, 06:00 UTC.
pub struct TestHouse {
    /// The operations.
    pub tubtrail: Tubtrail,
    /// Its clock.
    pub clock: Steps,
    // Dropped last: it checks the books.
    database: TestDatabase,
}

impl TestHouse {
    /// Opens one with sites, partners and items, and nothing in stock.
    ///
    /// # Panics
    /// If the house cannot be opened.
    pub fn new(backend: Backend) -> Self {
        let database = TestDatabase::new(backend);
        let clock = Steps::new(day(2, 6));
        let tubtrail = Tubtrail::open(&database.address(), clock.clock()).expect("the house opens");
        let house = Self { tubtrail, clock, database };
        house.put(site(KITCHEN, SiteKind::Kitchen));
        house.put(site(SHOP, SiteKind::Shop));
        house.put(site(OTHER_SHOP, SiteKind::Shop));
        house.put(partner("dairy", true));
        house.put(partner("nut-mill", true));
        house.put(partner("bistro", false));
        for name in ["milk", "cream", "sugar", "pistachio-paste", "hazelnut-paste"] {
            house.put(item(name, ItemKind::Ingredient, true));
        }
        house.put(item("water", ItemKind::Ingredient, false));
        for name in ["white-base", "yellow-base"] {
            house.put(item(name, ItemKind::Base, true));
        }
        house.put(item("praline", ItemKind::Component, true));
        for name in ["pistachio", "hazelnut"] {
            house.put(item(name, ItemKind::Flavour, true));
        }
        house
    }

    /// The same house after its server was stopped and started again: all that it knows was read from the database.
    ///
    /// # Panics
    /// If the house cannot be opened.
    #[must_use]
    pub fn restarted(self) -> Self {
        let Self { tubtrail, clock, database } = self;
        drop(tubtrail);
        let tubtrail = Tubtrail::open(&database.address(), clock.clock()).expect("the house opens");
        Self { tubtrail, clock, database }
    }

    /// The database beneath.
    pub fn database(&self) -> &TestDatabase {
        &self.database
    }

    /// Creates a noun of the master data.
    ///
    /// # Panics
    /// If it is refused.
    #[track_caller]
    pub fn put<M: Master>(&self, new: M) -> M {
        self.tubtrail.create(&Request::system(), new).unwrap_or_else(|error| panic!("{error}")).answer
    }

    /// Creates a recipe: what it makes, what goes in in grams, and what that should come to; a base rests as long as bases do.
    ///
    /// # Panics
    /// If it is refused.
    #[track_caller]
    pub fn recipe(&self, code: &str, makes: &str, lines: &[(&str, u32)], expected_yield_grams: u32) -> Recipe {
        self.put(recipe(code, makes, lines, expected_yield_grams))
    }

    /// Creates a machine at the kitchen that touches some kinds of item.
    ///
    /// # Panics
    /// If it is refused.
    #[track_caller]
    pub fn equipment(&self, code: &str, touches: &[ItemKind]) -> Equipment {
        self.put(equipment(code, KITCHEN, touches))
    }

    /// Receives one supplier lot of so many grams at the kitchen, good for 60 days; answers our lot number.
    ///
    /// # Panics
    /// If it is refused.
    #[track_caller]
    pub fn receive(&self, supplier: &str, item: &str, supplier_lot_code: &str, grams: u32) -> String {
        let delivery = self.deliver(supplier, vec![line(item, supplier_lot_code, grams)]);
        let delivery = delivery.unwrap_or_else(|error| panic!("{error}"));
        delivery.lines[0].lot.clone().expect("an accepted line has a lot")
    }

    /// Receives lines at the kitchen under a document of their own.
    ///
    /// # Errors
    /// As [`Tubtrail::receive_delivery`].
    pub fn deliver(&self, supplier: &str, lines: Vec<NewDeliveryLine>) -> Result<Delivery, OperationError> {
        static DOCUMENT: std::sync::atomic::AtomicU32 = std::sync::atomic::AtomicU32::new(1);
        let document = DOCUMENT.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
        let new = NewDelivery {
            supplier: supplier.into(),
            site: KITCHEN.into(),
            document: format!("DN-{document}"),
            arrived_at: None,
            note: None,
            lines,
        };
        Ok(self.tubtrail.receive_delivery(&Request::system(), new)?.answer)
    }
}

/// An hour of a day in November 2026, UTC.
///
/// # Panics
/// If there is no such day or hour.
pub fn day(day: u32, hour: u32) -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2026, 11, day, hour, 0, 0).single().expect("an hour in November")
}

/// So many grams.
pub fn grams(grams: u32) -> QuantityEntered {
    QuantityEntered { amount: Amount(grams.to_string()), unit: "g".into() }
}

/// A line of a delivery, good until the end of the year.
///
/// # Panics
/// Never.
pub fn line(item: &str, supplier_lot_code: &str, mass: u32) -> NewDeliveryLine {
    let on = chrono::NaiveDate::from_ymd_opt(2026, 12, 31).expect("a day");
    NewDeliveryLine {
        item: item.into(),
        supplier_lot_code: supplier_lot_code.into(),
        quantity: grams(mass),
        expiry: Some(Expiry { kind: ExpiryKind::BestBefore, on }),
        temperature_celsius: None,
        rejected: false,
        reason: None,
    }
}

/// A recipe, not yet created.
pub fn recipe(code: &str, makes: &str, lines: &[(&str, u32)], expected_yield_grams: u32) -> Recipe {
    Recipe {
        code: code.into(),
        item: makes.into(),
        name: code.into(),
        lines: lines.iter().map(|(item, mass)| recipe_line(item, *mass)).collect(),
        expected_yield_grams: Grams::from_mg(i64::from(expected_yield_grams) * 1000),
        maturing_minutes: None,
        method: None,
        active: true,
        version: None,
    }
}

fn recipe_line(item: &str, mass: u32) -> RecipeLine {
    RecipeLine { item: item.into(), grams: Grams::from_mg(i64::from(mass) * 1000) }
}

/// A machine, not yet created.
pub fn equipment(code: &str, site: &str, touches: &[ItemKind]) -> Equipment {
    Equipment {
        code: code.into(),
        name: code.into(),
        site: site.into(),
        touches: touches.to_vec(),
        active: true,
        version: None,
    }
}

/// A site, not yet created.
pub fn site(code: &str, kind: SiteKind) -> Site {
    Site {
        code: code.into(),
        name: code.into(),
        kind,
        time_zone: "Europe/Lisbon".into(),
        gln: None,
        address: None,
        active: true,
        version: None,
    }
}

/// A partner, not yet created: a supplier, or one that takes tubs.
pub fn partner(code: &str, supplies: bool) -> Partner {
    Partner {
        code: code.into(),
        name: code.into(),
        supplies,
        takes_tubs: !supplies,
        contact: None,
        gln: None,
        address: None,
        active: true,
        version: None,
    }
}

/// An item counted by mass, not yet created.
pub fn item(code: &str, kind: ItemKind, tracked: bool) -> Item {
    Item {
        code: code.into(),
        name: code.into(),
        kind,
        counted: CountedBy::Mass,
        tracked,
        kept: Keeping::Ambient,
        warmest_arrival_celsius: None,
        portion_grams: None,
        shelf_life_days: None,
        warn_days: None,
        active: true,
        version: None,
    }
}
