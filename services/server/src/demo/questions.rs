//! Four questions, answered as the API answers them, each answer held against a recount of every fact that uses neither the
//! lot graph nor the balances.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use serde_json::json;
use tubtrail_operations::allergen_checks::AllergenCheck;
use tubtrail_operations::allergen_words::Answer as AnswerWord;
use tubtrail_operations::known::Origin;
use tubtrail_operations::lots::{LotKind, LotSearch};
use tubtrail_operations::recalls::RecallCase;
use tubtrail_operations::recount::Recount;
use tubtrail_operations::trace::{Direction, TraceHead, TracedLot};
use tubtrail_operations::{Grams, OperationError, Request, Tubtrail};

use super::cast;
use super::days::read;

/// Grams may differ by this much between an answer (rounded to the microgram) and the recount.
const ROUNDING_GRAMS: f64 = 0.000_01;

/// What was asked, what is answered, and where the recount disagrees.
pub struct Answer {
    /// In a sentence.
    pub question: String,
    /// In plain words, several lines.
    pub in_words: String,
    /// One line each; none, if all is well.
    pub contradictions: Vec<String>,
}

/// Asks and answers.
pub struct Questions<'a> {
    house: &'a Tubtrail,
    request: Request,
    recount: Recount,
}

type Asked = Result<Answer, OperationError>;

impl<'a> Questions<'a> {
    /// Reads every fact, to hold the answers against.
    pub fn new(house: &'a Tubtrail) -> Result<Self, OperationError> {
        Ok(Self { house, request: Request::system(), recount: house.recount()? })
    }

    /// Is there hazelnut in this tub?
    pub fn hazelnut_in(&self, tub: &str) -> Asked {
        let (head, lots) = self.trace(tub, Direction::Backward)?;
        let name = lots.first().map_or("", |lot| lot.name.as_str()).to_owned();
        let found: Vec<_> =
            lots.iter().filter(|lot| lot.kind == LotKind::Received && lot.item.contains("hazelnut")).collect();
        let mut answer = String::new();
        for lot in &found {
            let path = self.house.show_path(&self.request, &lot.lot, tub)?;
            line(&mut answer, &format!("Yes: {:.1} g of {}.", lot.grams, described(lot)));
            line(&mut answer, &path.in_words.to_string());
        }
        if found.is_empty() {
            line(&mut answer, "None was recorded in it.");
        }
        line(&mut answer, &format!("As of journal entry {}. {}", head.journal_position, head.caution));
        let question = format!("Is there hazelnut in tub {tub} ({name})?");
        Ok(Answer { question, in_words: answer, contradictions: self.recount_backward(tub, &lots) })
    }

    /// A supplier lot is recalled: which tubs, where are they, what was eaten?
    pub fn recalled(&self, supplier: &str, supplier_lot_code: &str) -> Asked {
        let search = LotSearch {
            supplier: Some(supplier.to_owned()),
            supplier_lot_code: Some(supplier_lot_code.to_owned()),
            ..LotSearch::default()
        };
        let found = self.house.list_lots(&self.request, &search, "", 2)?.items;
        let question = format!("Lot {supplier_lot_code} of {supplier} is recalled: which tubs, where, what was eaten?");
        let [seed] = found.as_slice() else {
            let contradictions = vec![format!("{} lots bear that code", found.len())];
            return Ok(Answer { question, in_words: String::new(), contradictions });
        };
        let (head, lots) = self.trace(&seed.lot, Direction::Forward)?;
        let tubs: Vec<_> = lots.iter().filter(|lot| lot.kind == LotKind::Tub).collect();
        let mut answer = String::new();
        line(&mut answer, &format!("Our lot {} ({}). {} tubs hold some of it:", seed.lot, seed.name, tubs.len()));
        answer.push_str(&by_place(&tubs));
        if let Some(balance) = head.balance {
            line(
                &mut answer,
                &format!(
                    "Of its {:.1} g, {:.1} g lie or went with these lots, {:.1} g were lost in the making, {:.1} g are in open batches.",
                    balance.seed_grams, balance.held_grams, balance.lost_grams, balance.in_open_batches_grams
                ),
            );
        }
        let case = self.drill(supplier, supplier_lot_code)?;
        line(&mut answer, &said_of(&case));
        let mut contradictions = self.recount_forward(&seed.lot, &lots);
        contradictions.extend(self.recount_case(&seed.lot, &case));
        line(&mut answer, &format!("As of journal entry {}. {}", head.journal_position, head.caution));
        Ok(Answer { question, in_words: answer, contradictions })
    }

    /// The recall begun as a drill that leaves the stock where it is, as a case.
    fn drill(&self, supplier: &str, supplier_lot_code: &str) -> Result<RecallCase, OperationError> {
        let drill = json!({"kind": "drill", "class": 2, "hazard": "glass", "holds": false,
            "seeds": [{"by": "supplier_lots", "supplier": supplier, "codes": [supplier_lot_code]}]});
        let begun = self.house.begin_recall(&self.request, read(drill)?)?.answer;
        self.house.get_recall(&self.request, begun.recall.recall)
    }

    /// What may be said at the counter to someone who avoids an allergen?
    pub fn open_now(&self, site: &str, avoid: &str) -> Asked {
        let asked = json!({"site": site, "avoid": [avoid]});
        let check = self.house.check_allergens(&self.request, &read(asked)?)?;
        let mut answer = String::new();
        for tub in &check.tubs {
            let because = tub.allergens.first().and_then(|one| one.because.last());
            let because = because.map_or_else(String::new, ToString::to_string);
            let word = said(tub.worst);
            line(&mut answer, &format!("{word:<13} {:<28} {} {because}", tub.name, tub.lot));
        }
        line(&mut answer, &format!("As of journal entry {}. {}", check.journal_position, check.caution));
        let question =
            format!("Someone at the {site} shop avoids {avoid}: what is recorded of what is open there now?");
        Ok(Answer { question, in_words: answer, contradictions: self.recount_check(&check, avoid)? })
    }

    /// A tub contains it if, and only if, it was made with a lot of which that is stated.
    fn recount_check(&self, check: &AllergenCheck, avoid: &str) -> Result<Vec<String>, OperationError> {
        let mut seeds = Vec::new();
        for (item, contains, _) in cast::STATEMENTS {
            if contains.contains(&avoid) {
                let search = LotSearch { item: Some((*item).to_owned()), ..LotSearch::default() };
                let lots = self.house.list_lots(&self.request, &search, "", 500)?.items;
                seeds.extend(lots.into_iter().map(|lot| lot.lot));
            }
        }
        let made_with = self.recount.forward(&seeds);
        let wrong = check.tubs.iter().filter_map(|tub| {
            let (answered, due) = (tub.worst == AnswerWord::Contains, made_with.contains_key(&tub.lot));
            (answered != due).then(|| format!("{}: {} is answered, the facts say {due}", tub.lot, said(tub.worst)))
        });
        Ok(wrong.collect())
    }

    fn recount_case(&self, seed: &str, case: &RecallCase) -> Vec<String> {
        let expected = self.recount.forward(&[seed.to_owned()]).len();
        let mut wrong = Vec::new();
        if case.sums.reached_lots != expected {
            wrong.push(format!("the case reaches {} lots, the facts {expected}", case.sums.reached_lots));
        }
        if case.sums.mass.unaccounted_grams != Grams::default() {
            wrong.push(format!("{} g of it are not accounted for", in_grams(case.sums.mass.unaccounted_grams)));
        }
        wrong
    }

    /// Which supplier lots are in this tub, and how much of each?
    pub fn what_is_in(&self, tub: &str) -> Asked {
        let (head, lots) = self.trace(tub, Direction::Backward)?;
        let name = lots.first().map_or("", |lot| lot.name.as_str()).to_owned();
        let mut received: Vec<_> = lots.iter().filter(|lot| lot.kind == LotKind::Received).collect();
        received.sort_by(|a, b| b.grams.total_cmp(&a.grams));
        let mut answer = String::new();
        for lot in &received {
            line(&mut answer, &format!("{:>9.1} g  {}", lot.grams, described(lot)));
        }
        line(&mut answer, &format!("As of journal entry {}. {}", head.journal_position, head.caution));
        let question = format!("Which supplier lots went into tub {tub} ({name}), and how much of each?");
        Ok(Answer { question, in_words: answer, contradictions: self.recount_backward(tub, &lots) })
    }

    fn trace(&self, lot: &str, direction: Direction) -> Result<(TraceHead, Vec<TracedLot>), OperationError> {
        let mut stream = self.house.stream_lot_trace(&self.request, lot, direction)?;
        let mut lots = Vec::new();
        loop {
            let more = self.house.more_of_trace(&mut stream)?;
            if more.is_empty() {
                return Ok((stream.head, lots));
            }
            lots.extend(more);
        }
    }

    fn recount_forward(&self, seed: &str, lots: &[TracedLot]) -> Vec<String> {
        let mut expected = self.recount.forward(&[seed.to_owned()]);
        let mut wrong = Vec::new();
        for lot in lots {
            let Some(holding) = expected.remove(&lot.lot) else {
                wrong.push(format!("{} is answered, the facts do not reach it", lot.lot));
                continue;
            };
            if (holding.seed_mg / 1000.0 - lot.grams).abs() > ROUNDING_GRAMS {
                wrong.push(format!("{}: {} g are answered, the facts say {} mg", lot.lot, lot.grams, holding.seed_mg));
            }
            let answered: BTreeMap<_, _> =
                lot.places.iter().map(|place| ((place.site.clone(), place.state.clone()), place.grams.mg())).collect();
            let mut recounted = holding.places;
            recounted.retain(|(_, state), _| state != "supplier" && state != "production");
            if answered != recounted {
                wrong.push(format!("{}: it is at {answered:?}, the facts say {recounted:?}", lot.lot));
            }
        }
        wrong.extend(expected.keys().map(|lot| format!("{lot} is missing from the answer")));
        wrong
    }

    fn recount_backward(&self, tub: &str, lots: &[TracedLot]) -> Vec<String> {
        let answered: BTreeMap<&str, f64> =
            lots.iter().filter(|lot| lot.kind == LotKind::Received).map(|lot| (lot.lot.as_str(), lot.grams)).collect();
        let mut wrong = Vec::new();
        for received in self.recount.received() {
            let in_tub = self.recount.forward(&[received.to_owned()]).get(tub).map(|holding| holding.seed_mg / 1000.0);
            match (in_tub, answered.get(received)) {
                (None, None) => {}
                (Some(facts), Some(answer)) if (facts - answer).abs() <= ROUNDING_GRAMS => {}
                (facts, answer) => {
                    wrong.push(format!("{received}: {answer:?} g are answered, the facts say {facts:?} g"));
                }
            }
        }
        wrong
    }
}

/// To a tenth.
fn in_grams(grams: Grams) -> String {
    format!("{}.{}", grams.mg() / 1000, grams.mg() % 1000 / 100)
}

const fn said(answer: AnswerWord) -> &'static str {
    match answer {
        AnswerWord::Contains => "contains",
        AnswerWord::MayContain => "may contain",
        AnswerWord::Unknown => "unknown",
        AnswerWord::NotRecorded => "not recorded",
    }
}

/// A case in two sentences.
fn said_of(case: &RecallCase) -> String {
    let mass = &case.sums.mass;
    format!(
        "As a drill: {} lots reached, {} lines to confirm, {} customers to tell. Of {} g received, {} g were served, {} g \
         handed to customers, {} g lie on shelves, {} g are open; {} g are not accounted for.",
        case.sums.reached_lots,
        case.open_lines,
        case.sums.consignees,
        in_grams(mass.received_grams),
        in_grams(mass.served_grams),
        in_grams(mass.consigned_grams),
        in_grams(mass.available_grams),
        in_grams(mass.open_grams),
        in_grams(mass.unaccounted_grams)
    )
}

/// Tubs, their grams and the grams of the seed in them, by site and state.
fn by_place(tubs: &[&TracedLot]) -> String {
    let mut sums: BTreeMap<(&str, &str), (usize, i64, f64)> = BTreeMap::new();
    for tub in tubs {
        for place in &tub.places {
            let sum = sums.entry((&place.site, &place.state)).or_default();
            sum.0 += 1;
            sum.1 += place.grams.mg();
            #[allow(clippy::cast_precision_loss)] // Far below 2^53.
            let part = place.grams.mg() as f64 / tub.mass_grams.mg() as f64;
            sum.2 += tub.grams * part;
        }
    }
    let mut table = String::new();
    for ((site, state), (tubs, mg, seed)) in sums {
        line(
            &mut table,
            &format!("{site:>10}  {state:<16} {:>9} g from {tubs:>3} tubs, {seed:>8.1} g of it in them", mg / 1000),
        );
    }
    table
}

fn described(lot: &TracedLot) -> String {
    match &lot.came_from {
        Origin::Delivery { supplier, supplier_lot_code, .. } => {
            format!("{} (lot {}, {supplier} {supplier_lot_code})", lot.name, lot.lot)
        }
        Origin::Batch { .. } => format!("{} (lot {})", lot.name, lot.lot),
    }
}

fn line(text: &mut String, line: &str) {
    // Writing to a string cannot fail.
    let _ = writeln!(text, "  {line}");
}

#[cfg(test)]
mod tests {
    use chrono::Utc;
    use serde_json::from_value;
    use tubtrail_operations::{DatabaseUrl, Steps};

    use super::*;

    /// A tub of Pistachio in a house of its own.
    fn one_tub(folder: &std::path::Path) -> (Tubtrail, String) {
        let database = DatabaseUrl::Sqlite(folder.join("tubtrail.db"));
        let house = Tubtrail::open(&database, Steps::new(Utc::now()).clock()).expect("the house opens");
        crate::demo::opening::write_master_data(&house).expect("the master data is in order");
        let delivery = json!({"supplier": "kestrel-nuts", "site": "kitchen", "document": "D", "lines": [
            {"item": "pistachio-paste", "supplier_lot_code": "P", "quantity": {"amount": 1, "unit": "kg"}}]});
        let request = Request::system();
        let delivery =
            house.receive_delivery(&request, from_value(delivery).expect("a delivery")).expect("it is taken");
        let paste = delivery.answer.lines[0].lot.clone().expect("an accepted line has a lot");
        let batch = json!({"recipe": "pistachio", "site": "kitchen",
            "uses": [{"lot": paste, "quantity": {"amount": 900, "unit": "g"}}],
            "outputs": [{"kind": "tub", "quantity": {"amount": 800, "unit": "g"}}]});
        let batch = house.write_up_batch(&request, from_value(batch).expect("a batch")).expect("it is taken");
        (house, batch.answer.outputs[0].lot.clone())
    }

    #[test]
    fn a_recount_that_agrees_is_silent_and_one_that_does_not_is_named() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let (house, tub) = one_tub(folder.path());
        let mut questions = Questions::new(&house).expect("the facts can be read");
        let backward = |questions: &Questions| questions.what_is_in(&tub).expect("an answer").contradictions;
        let forward =
            |questions: &Questions| questions.recalled("kestrel-nuts", "P").expect("an answer").contradictions;
        assert_eq!((backward(&questions), forward(&questions)), (vec![], vec![]));
        let discard = from_value(json!({"reason": "dropped"})).expect("a discard");
        house.discard_lot(&Request::system(), &tub, discard).expect("it is taken");
        assert_eq!(forward(&questions).len(), 1, "the tub has moved since the facts were read");
        questions.recount = Recount::default();
        assert_eq!(
            forward(&questions).len(),
            3,
            "neither the paste nor the tub is in the facts, and the case has two lots"
        );
    }
}
