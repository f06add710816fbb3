//! The counter: what the customer must avoid, and what is recorded of it in every tub that stands open here.

use std::collections::HashSet;

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use tubtrail_domain::allergens::{Group, Substance};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_operations::allergen_checks::{AllergenAnswer, AllergenCheck, CheckedTub, NewAllergenCheck, Served};
use tubtrail_operations::allergen_words::Answer;
use tubtrail_operations::master_data::Page;
use tubtrail_operations::reach::Role;
use tubtrail_operations::recalls::{Recall, RecallsAsked};
use tubtrail_operations::sites::Site;
use tubtrail_operations::stock::{StockAsked, StockRow};
use tubtrail_operations::tubs::{Emptying, Opening};
use tubtrail_operations::{OperationError, Request, Tubtrail, problems};

use super::fields::Fields;
use super::forms::Form;
use super::marks::once;
use super::page::{Frame, Shown, Unable, next_path, render, see};
use super::places;
use super::scanning::lot_scanned;
use super::texts::Texts;
use super::visitor::{Sent, Visitor};
use crate::house::{House, off_thread};

/// Most tubs shown of the shelf.
const SHELF: u32 = 60;
/// Most recalls under way that are linked to.
const MOST_RECALLS: u32 = 5;

/// What customers name most, first: each category of Regulation (EU) 1169/2011 Annex II once, then alcohol.
const NAMED_FIRST: [&str; 15] = [
    Group::TreeNuts.word(),
    Substance::Milk.word(),
    Substance::Egg.word(),
    Group::GlutenCereals.word(),
    Substance::Peanut.word(),
    Substance::Soy.word(),
    Substance::Sesame.word(),
    Substance::Sulphites.word(),
    Substance::Alcohol.word(),
    Substance::Lupin.word(),
    Substance::Mustard.word(),
    Substance::Celery.word(),
    Substance::Fish.word(),
    Substance::Crustaceans.word(),
    Substance::Molluscs.word(),
];

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(choose_counter).service(counter).service(counter_answers).service(counter_deed);
}

#[derive(Template)]
#[template(path = "counter.html")]
struct Counter {
    frame: Frame,
    site: Site,
    first: Vec<Choice>,
    more: Vec<Choice>,
    /// Something of the others is chosen.
    more_chosen: bool,
    /// What was scanned, where it is no tub's code.
    scan: Form,
    answers: Answers,
}

/// What stands open and what lies on the shelf: the part of the page that changes.
#[derive(Template)]
#[template(path = "answers.html")]
struct Answers {
    texts: &'static Texts,
    site: Site,
    check: Option<AllergenCheck>,
    as_of: String,
    entry: String,
    served: &'static str,
    tubs: Vec<Tub>,
    /// One tub alone is looked at.
    lot: Option<String>,
    shelf: Vec<OnShelf>,
    shelf_has_more: bool,
    /// Recalls under way: the address of what this site has of each, and its words.
    recalls: Vec<(String, String)>,
    /// The question, as it stands in the address.
    question: String,
    mark: String,
}

/// Something to avoid.
struct Choice {
    word: &'static str,
    chosen: bool,
}

/// A tub with its answers.
struct Tub {
    name: String,
    lot: String,
    is_open: bool,
    /// Why it must not be served; nothing, where it may.
    halt: Vec<String>,
    /// The word of the worst answer, where something was asked.
    worst: &'static str,
    answers: Vec<Told>,
    /// For the forms of its own.
    once: String,
}

/// An answer in words.
struct Told {
    word: &'static str,
    text: String,
    because: Vec<Saying>,
    members: Vec<String>,
}

/// A tub that can be opened.
struct OnShelf {
    row: StockRow,
    last_day: Option<String>,
    kilograms: String,
    once: String,
}

/// What is asked at a counter.
struct Question {
    site: String,
    avoid: Vec<String>,
    lot: Option<String>,
}

/// What is read of the house for an answer.
struct Found {
    site: Site,
    check: Option<AllergenCheck>,
    shelf: Page<StockRow>,
    /// Recalls under way, for those who may see them.
    recalls: Vec<Recall>,
}

/// Which counter.
#[get("/counter")]
async fn choose_counter(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    places::choose(house, visitor, request, "/counter", &Role::ALL).await
}

/// A counter.
#[get("/counter/{site}")]
async fn counter(house: House, visitor: Visitor, request: HttpRequest, site: web::Path<String>) -> Shown {
    let asked = Fields::parse(request.query_string().as_bytes());
    let question = Question::of(&site, &asked);
    let mut scan = Form::new(&visitor, Fields::default());
    if let Some(text) = asked.get("scan").map(str::to_owned) {
        let (house, asks, at) = (house.clone(), visitor.asks(), site.clone());
        match off_thread(move || lot_scanned(&house.tubtrail, &asks, &at, &text)).await {
            Ok(lot) => return Ok(see(&Question { lot: Some(lot), ..question }.address())),
            Err(problem) => {
                scan =
                    Form::refused(&visitor, asked, problem, |_| Some("scan".into())).map_err(Unable::of(&request))?;
            }
        }
    }
    let chosen: HashSet<String> = question.avoid.iter().cloned().collect();
    let asks = visitor.asks();
    let found = off_thread(move || {
        let me = house.tubtrail.show_me(&asks)?;
        Ok((me, find(&house.tubtrail, &asks, &question)?, question))
    });
    let (me, found, question) = found.await.map_err(Unable::of(&request))?;
    let choice = |word: &'static str| Choice { word, chosen: chosen.contains(word) };
    let more: Vec<Choice> = others().map(choice).collect();
    let page = Counter {
        frame: Frame::of(&visitor, &request, me),
        site: found.site.clone(),
        first: NAMED_FIRST.into_iter().map(choice).collect(),
        more_chosen: more.iter().any(|choice| choice.chosen),
        more,
        answers: Answers::of(found, &question, &visitor),
        scan,
    };
    Ok(render(page.scan.status(), &page))
}

/// The part that changes, by itself.
#[get("/counter/{site}/answers")]
async fn counter_answers(house: House, visitor: Visitor, request: HttpRequest, site: web::Path<String>) -> Shown {
    let question = Question::of(&site, &Fields::parse(request.query_string().as_bytes()));
    let asks = visitor.asks();
    let found = off_thread(move || Ok((find(&house.tubtrail, &asks, &question)?, question)));
    let (found, question) = found.await.map_err(Unable::of(&request))?;
    Ok(render(StatusCode::OK, &Answers::of(found, &question, &visitor)))
}

/// Opens a tub, or says that one is empty.
#[post("/counter/{site}/tubs/{lot}/{deed}")]
async fn counter_deed(
    house: House,
    sent: Sent,
    request: HttpRequest,
    path: web::Path<(String, String, String)>,
) -> Shown {
    let (site, lot, deed) = path.into_inner();
    let commands = sent.commands(request.path());
    let then = next_path(sent.fields.get("next")).to_owned();
    let done = off_thread(move || {
        let site = Some(site);
        match deed.as_str() {
            "open" => house.tubtrail.open_tub(&commands, &lot, Opening { site, opened_at: None }),
            "empty" => house.tubtrail.empty_tub(&commands, &lot, Emptying { site, emptied_at: None }),
            _ => Err(OperationError::new(&problems::NOT_FOUND, say!("nobody can {deed} a tub", deed))),
        }
    });
    done.await.map_err(Unable::of(&request))?;
    Ok(see(&then))
}

impl Question {
    fn of(site: &str, asked: &Fields) -> Self {
        let avoid = asked.all("avoid").map(str::to_owned).collect();
        Self { site: site.to_owned(), avoid, lot: asked.get("lot").map(str::to_owned) }
    }

    fn query(&self) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        query.extend_pairs(self.avoid.iter().map(|word| ("avoid", word)));
        query.extend_pairs(self.lot.iter().map(|lot| ("lot", lot)));
        query.finish()
    }

    fn address(&self) -> String {
        format!("/counter/{}?{}", self.site, self.query())
    }
}

impl Answers {
    fn of(found: Found, question: &Question, visitor: &Visitor) -> Self {
        let Found { site, check, shelf, recalls } = found;
        let zone: Tz = site.time_zone.parse().unwrap_or(Tz::UTC);
        let clock = |at: DateTime<Utc>| at.with_timezone(&zone).format("%H:%M:%S").to_string();
        let texts = visitor.texts;
        let served = check.as_ref().map_or("", |check| match check.served {
            Served::SharedScoop => "served-shared",
            Served::OwnScoops => "served-own",
            Served::NotSaid => "served-not-said",
        });
        let tubs = check.iter().flat_map(|check| check.tubs.iter().cloned());
        Self {
            texts,
            as_of: check.as_ref().map_or_else(String::new, |check| clock(check.asked_at)),
            entry: check.as_ref().map_or_else(String::new, |check| check.journal_position.to_string()),
            served,
            tubs: tubs.map(|tub| Tub::of(texts, tub)).collect(),
            check,
            lot: question.lot.clone(),
            shelf_has_more: shelf.next.is_some(),
            shelf: shelf.items.into_iter().map(|row| OnShelf::of(texts, row)).collect(),
            recalls: recalls.iter().map(|recall| recall_here(texts, recall, &site.code)).collect(),
            question: question.address(),
            site,
            mark: visitor.mark.clone(),
        }
    }

    fn names_nothing(&self) -> bool {
        self.tubs.iter().all(|tub| tub.answers.is_empty())
    }
}

impl Tub {
    fn of(texts: &Texts, tub: CheckedTub) -> Self {
        let mut halt = Vec::new();
        halt.extend(tub.on_hold.map(|hold| texts.say_of("held", "reason", texts.reason(&hold.reason)).into_owned()));
        if !tub.recalls.is_empty() {
            let recalls = tub.recalls.iter().map(i64::to_string).collect::<Vec<_>>().join(", ");
            halt.push(texts.say_of("recalled", "recalls", recalls).into_owned());
        }
        halt.extend(tub.rejected.map(|reason| texts.say_of("rejected", "reason", reason).into_owned()));
        Self {
            worst: if tub.allergens.is_empty() { "" } else { word(tub.worst) },
            answers: tub.allergens.into_iter().map(|answer| Told::of(texts, answer)).collect(),
            name: tub.name,
            lot: tub.lot,
            is_open: tub.open,
            halt,
            once: once(),
        }
    }
}

impl Told {
    fn of(texts: &Texts, answer: AllergenAnswer) -> Self {
        let members = answer.members.iter().map(|member| told(texts, member.answer, &member.allergen));
        Self {
            word: word(answer.answer),
            text: told(texts, answer.answer, &answer.allergen),
            members: members.collect(),
            because: answer.because,
        }
    }
}

impl OnShelf {
    fn of(texts: &Texts, row: StockRow) -> Self {
        let last_day = row.expiry.as_ref().map(|expiry| {
            let name = format!("last-day-{}", expiry.kind.word());
            texts.say_of(&name, "day", expiry.on.to_string()).into_owned()
        });
        // A till's figure, for telling tubs apart: exact grams stand in the book.
        let tenths = (row.grams.mg() + 50_000) / 100_000;
        let kilograms = format!("{}{}{}", tenths / 10, texts.say("point"), tenths % 10);
        Self { row, last_day, kilograms, once: once() }
    }
}

/// The word of an answer, as it stands in the names of texts and styles.
const fn word(answer: Answer) -> &'static str {
    match answer {
        Answer::Contains => "contains",
        Answer::MayContain => "may_contain",
        Answer::Unknown => "unknown",
        Answer::NotRecorded => "not_recorded",
    }
}

fn told(texts: &Texts, answer: Answer, allergen: &str) -> String {
    texts.say_of(&format!("answer-{}", word(answer)), "what", texts.say(allergen)).into_owned()
}

fn find(tubtrail: &Tubtrail, asks: &Request, question: &Question) -> Result<Found, OperationError> {
    let site: Site = tubtrail.get(asks, &question.site)?;
    let lots = question.lot.clone().map(|lot| vec![lot]);
    // What stands open is shown before anything is named; an answer it is only then.
    let avoid =
        if question.avoid.is_empty() { vec![Substance::Milk.word().to_owned()] } else { question.avoid.clone() };
    let new = NewAllergenCheck { site: site.code.clone(), avoid, lots };
    let mut check = tubtrail.check_allergens(asks, &new)?;
    if question.avoid.is_empty() {
        for tub in &mut check.tubs {
            tub.allergens.clear();
        }
        check.tubs.sort_by(|one, other| one.name.cmp(&other.name));
    }
    let asked = StockAsked {
        site: Some(site.code.clone()),
        kind: Some("tub".into()),
        state: Some("available".into()),
        limit: SHELF,
        ..StockAsked::default()
    };
    let recalls = recalls_under_way(tubtrail, asks)?;
    Ok(Found { shelf: tubtrail.show_stock(asks, &asked)?, check: Some(check), site, recalls })
}

/// Recalls and drills that are not over; none for a till, which looks after none.
fn recalls_under_way(tubtrail: &Tubtrail, asks: &Request) -> Result<Vec<Recall>, OperationError> {
    let asked = RecallsAsked { kind: None, open: Some(true), after: String::new(), limit: MOST_RECALLS };
    match tubtrail.list_recalls(asks, &asked) {
        Err(error) if error.problem == &problems::FORBIDDEN => Ok(Vec::new()),
        listed => Ok(listed?.items),
    }
}

fn recall_here(texts: &Texts, recall: &Recall, site: &str) -> (String, String) {
    let title = super::recalls::title(texts, recall);
    let link = format!("/recalls/{}/sites/{site}", recall.recall);
    (link, texts.say_of("recall-here", "title", title).into_owned())
}

/// Every other word; for the kinds nobody stated, their groups speak.
fn others() -> impl Iterator<Item = &'static str> {
    let groups = Group::ALL.into_iter().map(Group::word);
    let substances = Substance::ALL.into_iter().filter(|one| !one.is_unspecified()).map(Substance::word);
    groups.chain(substances).filter(|word| !NAMED_FIRST.contains(word))
}
