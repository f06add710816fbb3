//! Plays thirty days: deliveries at dawn, bases in the morning, flavours from yesterday's bases, tubs to the shops, scoops
//! until the evening. Some days go wrong as days do; what went wrong is put right the way it would be.

use std::collections::{BTreeMap, VecDeque};

use chrono::{DateTime, Duration, NaiveDate, Utc};
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use tubtrail_domain::saying::Saying;
use tubtrail_operations::batches::Batch;
use tubtrail_operations::picks::{Pick, PicksWanted};
use tubtrail_operations::{Grams, OperationError, Request, Steps, Tubtrail};

use super::cast;
use super::opening::PORTION_GRAMS;

/// How many days are played.
pub const DAYS: u64 = 30;
/// The supplier's code for the lot that is recalled at the end.
pub const RECALLED: &str = "24-118";
/// The day the recalled lot arrives.
const RECALLED_ARRIVES: u64 = 10;
/// Cream arrives too warm.
const WARM_CREAM: u64 = 12;
/// What was left of Praline night is kept, and goes into Dark harbour two days later.
const REWORK_KEPT: u64 = 10;
/// A bag of sugar is written down the day after it was used.
const SUGAR_FORGOTTEN: u64 = 14;
/// Almond paste is scanned where pistachio paste went in.
const WRONG_SCAN: u64 = 18;
/// A tub arrives broken.
const BROKEN_TUB: u64 = 8;
/// A tub does not arrive.
const LOST_TUB: u64 = 19;

/// Churn 1 is not washed in the evening.
const WASH_FORGOTTEN: u64 = 28;

/// Who does what.
pub struct Hands {
    /// In the kitchen.
    pub kitchen: Request,
    /// In each shop.
    pub shops: BTreeMap<&'static str, Request>,
    /// Answers for it all.
    pub owner: Request,
}

/// What the people on the floor know without asking: which tubs stand where.
pub struct Days<'a> {
    house: &'a Tubtrail,
    clock: &'a Steps,
    hands: &'a Hands,
    first: NaiveDate,
    today: u64,
    shelves: BTreeMap<&'static str, VecDeque<Tub>>,
    cases: BTreeMap<&'static str, Vec<OpenTub>>,
    at_kitchen: Vec<Tub>,
    rework: Option<Taken>,
    forgotten_sugar: Option<(i64, Vec<Taken>)>,
    /// A tub of Dark harbour made with what was left of Praline night.
    pub dark_with_rework: Option<String>,
    /// A tub with rum in it.
    pub with_rum: Option<String>,
}

#[derive(Clone, Debug)]
struct Tub {
    lot: String,
    flavour: &'static str,
    grams: i64,
}

#[derive(Clone, Debug)]
struct OpenTub {
    tub: Tub,
    left: i64,
    since: u64,
}

/// What was taken off the shelf for a batch: so much of a lot, or of an item without lots.
#[derive(Clone, Debug)]
struct Taken {
    item: String,
    lot: Option<String>,
    mg: i64,
}

impl Taken {
    fn as_use(&self) -> Value {
        let quantity = json!({"amount": self.mg, "unit": "mg"});
        match &self.lot {
            Some(lot) => json!({"lot": lot, "quantity": quantity}),
            None => json!({"item": self.item, "quantity": quantity}),
        }
    }
}

fn as_uses(taken: &[Taken]) -> Vec<Value> {
    taken.iter().map(Taken::as_use).collect()
}

fn total_grams(taken: &[Taken]) -> i64 {
    taken.iter().map(|one| one.mg).sum::<i64>() / 1000
}

type Done = Result<(), OperationError>;

impl<'a> Days<'a> {
    /// Begins on `first`.
    pub fn new(house: &'a Tubtrail, clock: &'a Steps, hands: &'a Hands, first: NaiveDate) -> Self {
        Self {
            house,
            clock,
            hands,
            first,
            today: 0,
            shelves: cast::SHOPS.iter().map(|shop| (*shop, VecDeque::new())).collect(),
            cases: cast::SHOPS.iter().map(|shop| (*shop, Vec::new())).collect(),
            at_kitchen: Vec::new(),
            rework: None,
            forgotten_sugar: None,
            dark_with_rework: None,
            with_rum: None,
        }
    }

    /// Plays one day, from 0.
    pub fn play(&mut self, day: u64) -> Done {
        self.today = day;
        self.receive()?;
        self.enter_forgotten_sugar()?;
        self.make_bases()?;
        self.make_components()?;
        self.make_flavours()?;
        self.wash()?;
        self.send_tubs()?;
        for (number, shop) in cast::SHOPS.iter().enumerate() {
            self.serve_at(shop, number as u64)?;
        }
        if day % 7 == 6 {
            self.count_at(cast::SHOPS[(day / 7) as usize % cast::SHOPS.len()])?;
        }
        Ok(())
    }

    fn at(&self, hour: i64, minute: i64) -> DateTime<Utc> {
        let midnight = (self.first + chrono::Days::new(self.today)).and_time(chrono::NaiveTime::MIN).and_utc();
        midnight + Duration::hours(hour) + Duration::minutes(minute)
    }

    fn receive(&self) -> Done {
        self.clock.set(self.at(6, 30));
        let mut by_supplier: BTreeMap<&str, Vec<Value>> = BTreeMap::new();
        for (position, ingredient) in cast::INGREDIENTS.iter().enumerate() {
            if self.today.is_multiple_of(ingredient.every_days) {
                by_supplier.entry(ingredient.supplier).or_default().push(self.line(ingredient, position));
            }
        }
        for (supplier, lines) in by_supplier {
            let document = format!("{}-{}", supplier.split('-').next().unwrap_or(supplier), 4000 + self.today);
            let delivery = json!({"supplier": supplier, "site": "kitchen", "document": document, "lines": lines});
            let delivery = self.house.receive_delivery(&self.hands.kitchen, read(delivery)?)?.answer;
            for line in delivery.lines.iter().filter(|line| line.temperature_celsius == Some(8.4)) {
                let lot = line.lot.clone().unwrap_or_default();
                let reason = json!({"reason": "warm on arrival, and the dairy agreed to take it back"});
                self.house.reject_lot(&self.hands.owner, &lot, read(reason)?)?;
            }
        }
        Ok(())
    }

    fn line(&self, ingredient: &cast::Ingredient, position: usize) -> Value {
        let (amount, unit) = ingredient.comes;
        let best_before = self.first + chrono::Days::new(self.today + ingredient.good_for_days);
        let code = if ingredient.code == "pistachio-paste" && self.today == RECALLED_ARRIVES {
            RECALLED.to_owned()
        } else {
            format!("{:02}-{:03}", 31 + position, 200 + self.today)
        };
        let celsius = match ingredient.kept {
            "frozen" => json!(-19.5),
            "ambient" => Value::Null,
            _ if ingredient.code == "cream" && self.today == WARM_CREAM => json!(8.4),
            _ => json!(3.8),
        };
        json!({"item": ingredient.code, "supplier_lot_code": code, "quantity": {"amount": amount, "unit": unit},
            "expiry": {"kind": if ingredient.kept == "ambient" { "best_before" } else { "use_by" }, "on": best_before},
            "temperature_celsius": celsius})
    }

    fn make_bases(&mut self) -> Done {
        let bases: &[&str] = match self.today % 6 {
            0 => &["yellow-base", "sorbet-base", "white-base"],
            2 | 4 => &["yellow-base", "white-base"],
            3 => &["cocoa-base", "sorbet-base"],
            _ => &["cocoa-base"],
        };
        for (position, base) in bases.iter().enumerate() {
            let start = self.at(7, 20 * i64::try_from(position).unwrap_or(0));
            self.clock.set(start + Duration::minutes(90));
            let Some(mut taken) = self.take_for(base)? else { continue };
            let forgotten = if self.today == SUGAR_FORGOTTEN && *base == "white-base" {
                taken.extract_if(.., |one| one.item == "sugar").collect()
            } else {
                Vec::new()
            };
            let tank = if position == 0 { "tank-1" } else { "tank-2" };
            let (hot, cold) = (start + Duration::minutes(25), start + Duration::minutes(70));
            let body = json!({"recipe": base, "site": "kitchen", "started_at": start,
                "completed_at": start + Duration::minutes(80), "uses": as_uses(&taken),
                "outputs": [{"kind": "base", "quantity": in_grams(total_grams(&taken) * 97 / 100)}],
                "equipment": [{"equipment": "heater-1", "from": start, "until": start + Duration::minutes(40)},
                    {"equipment": tank, "from": start + Duration::minutes(40)}],
                "readings": [{"step": "heating", "temperature_celsius": 85.0, "held_seconds": 40, "taken_at": hot},
                    {"step": "cooling", "temperature_celsius": 4.0, "taken_at": cold}]});
            let batch = self.house.write_up_batch(&self.hands.kitchen, read(body)?)?.answer;
            if !forgotten.is_empty() {
                self.forgotten_sugar = Some((batch.id, forgotten));
            }
        }
        Ok(())
    }

    /// Yesterday's sugar is written down today: it went into a base that was finished, and partly churned, since.
    fn enter_forgotten_sugar(&mut self) -> Done {
        let Some((batch, sugar)) = self.forgotten_sugar.take() else { return Ok(()) };
        self.clock.set(self.at(6, 45));
        let mut uses = as_uses(&sugar);
        for one in &mut uses {
            one["used_at"] = json!(self.at(6, 45) - Duration::hours(23));
            one["reason"] = json!("the bag went in yesterday and was not scanned");
        }
        self.house.add_uses(&self.hands.kitchen, batch, read(json!({"uses": uses}))?)?;
        Ok(())
    }

    fn make_components(&mut self) -> Done {
        let due: &[(&str, u64)] = &[("hazelnut-praline", 8), ("raspberry-ripple", 5)];
        for (component, every) in due {
            if self.today % every != 1 {
                continue;
            }
            let start = self.at(9, 0);
            self.clock.set(start + Duration::minutes(60));
            let Some(taken) = self.take_for(component)? else { continue };
            let body = json!({"recipe": component, "site": "kitchen", "started_at": start,
                "completed_at": start + Duration::minutes(50), "uses": as_uses(&taken),
                "outputs": [{"kind": "component", "quantity": in_grams(total_grams(&taken) * 96 / 100)}],
                "equipment": [{"equipment": "kettle-1", "from": start}]});
            self.house.write_up_batch(&self.hands.kitchen, read(body)?)?;
        }
        Ok(())
    }

    fn make_flavours(&mut self) -> Done {
        let white = ["pistachio", "hazelnut", "sea-salt-milk", "almond-fig", "raspberry-wave"];
        let is_due = |position: usize| position as u64 % 2 == self.today % 2;
        let mut plan: Vec<&'static str> = white
            .into_iter()
            .enumerate()
            .filter(|(position, _)| is_due(*position))
            .map(|(_, flavour)| flavour)
            .collect();
        let yellow = ["lighthouse", "custard", "coffee"];
        match self.today % 2 {
            0 => plan.extend(["praline-night", "dark-harbour"]),
            _ => plan.extend([yellow[(self.today / 2 % 3) as usize], yellow[((self.today / 2 + 1) % 3) as usize]]),
        }
        if self.today % 3 == 1 {
            plan.extend(["raspberry-sorbet", "lemon-sorbet"]);
        }
        for (position, flavour) in plan.into_iter().enumerate() {
            self.churn(flavour, i64::try_from(position).unwrap_or(0))?;
        }
        Ok(())
    }

    /// Everything is washed after the day's work; between two batches there is no more than a rinse.
    fn wash(&self) -> Done {
        self.clock.set(self.at(13, 30));
        for (equipment, ..) in cast::EQUIPMENT {
            if self.today == WASH_FORGOTTEN && *equipment == "churn-1" {
                continue;
            }
            let clean = json!({"equipment": equipment, "kind": "full-wash"});
            self.house.record_clean(&self.hands.kitchen, read(clean)?)?;
        }
        Ok(())
    }

    fn churn(&mut self, flavour: &'static str, position: i64) -> Done {
        let start = self.at(10, 15 * position);
        self.clock.set(start + Duration::minutes(40));
        let Some(mut taken) = self.take_for(flavour)? else { return Ok(()) };
        let rework = if flavour == "dark-harbour" && self.today > REWORK_KEPT { self.rework.take() } else { None };
        taken.extend(rework.clone());
        let scans_wrongly = flavour == "pistachio" && self.today == WRONG_SCAN;
        let wrong_scan = if scans_wrongly { self.scan_almond(&mut taken)? } else { None };
        let keeps_rest = flavour == "praline-night" && self.today == REWORK_KEPT;
        let tubs = if keeps_rest { 3 } else { 4 };
        let each = total_grams(&taken) * 975 / 1000 / 4;
        let mut outputs = vec![json!({"kind": "tub", "quantity": in_grams(each)}); tubs];
        if keeps_rest {
            outputs.push(json!({"kind": "rework", "quantity": in_grams(each)}));
        }
        let churn = if position % 2 == 0 { "churn-1" } else { "churn-2" };
        let body = json!({"recipe": flavour, "site": "kitchen", "started_at": start, "uses": as_uses(&taken), "outputs": outputs,
            "completed_at": start + Duration::minutes(30), "equipment": [{"equipment": churn, "from": start}],
            "readings": [{"step": "churning", "temperature_celsius": -8.5, "taken_at": start + Duration::minutes(20)}]});
        let batch = self.house.write_up_batch(&self.hands.kitchen, read(body)?)?.answer;
        if let Some((almond, pistachio)) = wrong_scan {
            self.put_right(&batch, &almond, &pistachio)?;
        }
        for (position, made) in batch.outputs.iter().enumerate() {
            if position < tubs {
                self.at_kitchen.push(Tub { lot: made.lot.clone(), flavour, grams: each });
            } else {
                self.rework = Some(Taken { item: flavour.into(), lot: Some(made.lot.clone()), mg: each * 1000 });
            }
        }
        let first = batch.outputs.first().map(|made| made.lot.clone());
        if rework.is_some() {
            self.dark_with_rework.clone_from(&first);
        }
        if flavour == "lighthouse" {
            self.with_rum = first;
        }
        Ok(())
    }

    /// Puts a lot of almond paste where pistachio paste was taken; answers the wrong lot and what was really taken.
    fn scan_almond(&self, taken: &mut [Taken]) -> Result<Option<(String, Taken)>, OperationError> {
        let almond = self.take_for("almond-fig")?.into_iter().flatten().find(|one| one.item == "almond-paste");
        let pistachio = taken.iter_mut().find(|one| one.item == "pistachio-paste");
        let (Some(Taken { lot: Some(almond), .. }), Some(pistachio)) = (almond, pistachio) else { return Ok(None) };
        let right = pistachio.clone();
        pistachio.lot = Some(almond.clone());
        Ok(Some((almond, right)))
    }

    /// The jar on the bench was pistachio after all: write down what went in, and take back what did not.
    fn put_right(&self, batch: &Batch, almond: &str, pistachio: &Taken) -> Done {
        let mut right = pistachio.as_use();
        right["reason"] = json!("the jar used was pistachio; the label beside it was scanned");
        self.house.add_uses(&self.hands.kitchen, batch.id, read(json!({"uses": [right]}))?)?;
        if let Some(wrong) = batch.uses.iter().find(|one| one.lot == almond) {
            self.house.void_use(&self.hands.kitchen, wrong.id, read(json!({"reason": "wrong label scanned"}))?)?;
        }
        Ok(())
    }

    /// What to take for a recipe, first expired first; nothing where stock is short.
    fn take_for(&self, recipe: &str) -> Result<Option<Vec<Taken>>, OperationError> {
        let wanted = PicksWanted { site: "kitchen".into(), grams: None };
        let picks = self.house.propose_picks(&self.hands.kitchen, recipe, &wanted)?;
        if picks.lines.iter().any(|line| line.tracked && line.short_grams > Grams::default()) {
            return Ok(None);
        }
        let mut taken = Vec::new();
        for line in picks.lines {
            if line.tracked {
                let of_lot = |pick: Pick| Taken { item: line.item.clone(), lot: Some(pick.lot), mg: pick.grams.mg() };
                taken.extend(line.picks.into_iter().map(of_lot));
            } else {
                taken.push(Taken { item: line.item, lot: None, mg: line.grams.mg() });
            }
        }
        Ok(Some(taken))
    }

    fn send_tubs(&mut self) -> Done {
        self.clock.set(self.at(14, 0));
        let mut tubs = std::mem::take(&mut self.at_kitchen);
        if self.today % 6 == 4 {
            for tub in tubs.drain(..tubs.len().min(2)).collect::<Vec<_>>() {
                let body = json!({"customer": "blue-door", "document": format!("BD-{}", self.today)});
                self.house.consign_lot(&self.hands.kitchen, &tub.lot, read(body)?)?;
            }
        }
        let mut loads: BTreeMap<&'static str, Vec<Tub>> = BTreeMap::new();
        // The first tub of the day goes to another shop every day.
        let turn = usize::try_from(self.today).unwrap_or(0);
        for (position, tub) in tubs.into_iter().enumerate() {
            loads.entry(cast::SHOPS[(position + turn) % cast::SHOPS.len()]).or_default().push(tub);
        }
        for (shop, load) in loads {
            self.send(shop, &load)?;
        }
        Ok(())
    }

    fn send(&mut self, shop: &'static str, load: &[Tub]) -> Done {
        self.clock.set(self.at(14, 10));
        let lines: Vec<_> = load.iter().map(|tub| json!({"lot": tub.lot})).collect();
        let body = json!({"from": "kitchen", "to": shop, "lines": lines});
        let transfer = self.house.dispatch_transfer(&self.hands.kitchen, read(body)?)?.answer;
        self.clock.set(self.at(15, 0));
        let goes_wrong = shop == "pier" && (self.today == BROKEN_TUB || self.today == LOST_TUB);
        let (first, rest) = load.split_first().map_or((None, &[][..]), |(first, rest)| (Some(first), rest));
        let receipt = match first.filter(|_| goes_wrong) {
            None => json!({"all_as_sent": true}),
            Some(tub) => {
                let mut lines: Vec<_> =
                    rest.iter().map(|tub| json!({"lot": tub.lot, "received": in_grams(tub.grams)})).collect();
                lines.push(if self.today == BROKEN_TUB {
                    json!({"lot": tub.lot, "damaged": in_grams(tub.grams), "reason": "dropped from the van; the lid broke"})
                } else {
                    json!({"lot": tub.lot, "received": in_grams(0), "reason": "not in the van"})
                });
                json!({"lines": lines})
            }
        };
        self.house.receive_transfer(&self.hands.shops[shop], transfer.id, read(receipt)?)?;
        let arrived = if goes_wrong { rest } else { load };
        self.shelves.entry(shop).or_default().extend(arrived.iter().cloned());
        Ok(())
    }

    fn serve_at(&mut self, shop: &'static str, number: u64) -> Done {
        self.fill_case(shop)?;
        let mut case = std::mem::take(self.cases.entry(shop).or_default());
        let mut still_open = Vec::new();
        for (position, mut open) in case.drain(..).enumerate() {
            // The pier is windy: fewer come.
            for (hour, rush) in if shop == "pier" { [(17, 1), (20, 4)] } else { [(17, 5), (20, 9)] } {
                let portions = (rush + (self.today + number + position as u64) % 5)
                    .min(u64::try_from(open.left / PORTION_GRAMS).unwrap_or(0));
                if portions > 0 {
                    self.clock.set(self.at(hour, i64::try_from(position).unwrap_or(0)));
                    self.house.serve_tub(
                        &self.hands.shops[shop],
                        &open.tub.lot,
                        read(json!({"portions": portions}))?,
                    )?;
                    open.left -= i64::try_from(portions).unwrap_or(0) * PORTION_GRAMS;
                }
            }
            self.clock.set(self.at(21, i64::try_from(position).unwrap_or(0)));
            if open.left < 2 * PORTION_GRAMS {
                self.house.empty_tub(&self.hands.shops[shop], &open.tub.lot, read(json!({}))?)?;
            } else if self.today > open.since + 3 {
                let body = json!({"reason": "open too long"});
                self.house.discard_lot(&self.hands.shops[shop], &open.tub.lot, read(body)?)?;
            } else {
                still_open.push(open);
            }
        }
        self.cases.insert(shop, still_open);
        Ok(())
    }

    /// Opens a tub of every flavour on the shelf that is not in the case yet, while the case has room.
    fn fill_case(&mut self, shop: &'static str) -> Done {
        self.clock.set(self.at(16, 0));
        let case = self.cases.entry(shop).or_default();
        let tubs = self.shelves.entry(shop).or_default();
        let mut waiting = VecDeque::new();
        while let Some(tub) = tubs.pop_front() {
            if case.len() >= 12 || case.iter().any(|open| open.tub.flavour == tub.flavour) {
                waiting.push_back(tub);
                continue;
            }
            self.house.open_tub(&self.hands.shops[shop], &tub.lot, read(json!({}))?)?;
            case.push(OpenTub { left: tub.grams, since: self.today, tub });
        }
        *tubs = waiting;
        Ok(())
    }

    /// Sunday's count: one open tub holds less than the book says, for scoops are generous.
    fn count_at(&mut self, shop: &'static str) -> Done {
        self.clock.set(self.at(22, 0));
        let Some(open) = self.cases.get_mut(shop).and_then(|case| case.first_mut()) else { return Ok(()) };
        open.left -= 45;
        let body = json!({"site": shop, "lines": [{"lot": open.tub.lot, "state": "open", "found": in_grams(open.left),
            "reason": "weighed; the scoops were generous"}]});
        self.house.count_site(&self.hands.shops[shop], read(body)?)?;
        Ok(())
    }
}

/// What the API would take, as the operations take it.
pub(super) fn read<T: DeserializeOwned>(body: Value) -> Result<T, OperationError> {
    serde_json::from_value(body)
        .map_err(|error| OperationError::invalid("demonstration", Saying::as_it_is(error.to_string())))
}

fn in_grams(grams: i64) -> Value {
    json!({"amount": grams, "unit": "g"})
}
