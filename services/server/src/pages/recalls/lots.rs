//! The lots of a recall on its page: so many at a time, in an order that stays; of a site, by what is to be done, by number.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, web};
use askama::Template;
use tubtrail_operations::recalls::{LineStand, LinesFound, LinesWanted, RecallLine};
use tubtrail_operations::sessions::Me;
use tubtrail_operations::{Grams, reach};

use super::clock;
use crate::house::{House, off_thread};
use crate::pages::addresses::Address;
use crate::pages::fields::Fields;
use crate::pages::figures::{exact, in_thousands};
use crate::pages::page::{Shown, Unable, render};
use crate::pages::rights::may_at;
use crate::pages::texts::Texts;
use crate::pages::visitor::Visitor;

/// Most lines on a page.
const MOST_LINES: u32 = 50;
/// Asks for lines whatever is to be done about them.
const ANY: &str = "any";
/// What an address says of the lines it asks for.
const FIELDS: [&str; 4] = ["site", "stand", "lot", "from"];

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(case_lots);
}

/// Which lots the page shows: those still to be confirmed, unless its address says otherwise.
pub(super) struct Narrowed {
    /// As the operation is asked.
    pub wanted: LinesWanted,
    asked: Fields,
}

/// The lots.
#[derive(Template)]
#[template(path = "recall_lots.html")]
pub(super) struct Lots {
    texts: &'static Texts,
    recall: i64,
    /// By what is to be done: words, how many, the address, and whether these are shown.
    sorts: Vec<(String, String, String, bool)>,
    /// Which of how many are shown.
    shown: String,
    rows: Vec<Row>,
    /// Somebody said something of some of them.
    is_any_said: bool,
    earlier: Option<String>,
    next: Option<String>,
    /// What the address says that it asks for.
    pub stand: String,
    pub site: String,
    pub lot: String,
}

#[expect(clippy::struct_excessive_bools, reason = "each is something of its own that the page shows or does not")]
struct Row {
    lot: String,
    name: String,
    site: String,
    site_name: String,
    /// The site is within the reach of whoever looks; there is nothing to be seen behind a link that is not.
    is_theirs: bool,
    grams: String,
    by_contact: bool,
    is_open: bool,
    overdue: bool,
    outcome: String,
    note: String,
    who: String,
}

/// The lots alone.
#[get("/recalls/{recall}/lots")]
async fn case_lots(house: House, visitor: Visitor, request: HttpRequest, recall: web::Path<i64>) -> Shown {
    let (asks, recall, narrowed) = (visitor.asks(), *recall, Narrowed::of(&request));
    let wanted = narrowed.wanted.clone();
    let found = off_thread(move || {
        Ok((house.tubtrail.show_me(&asks)?, house.tubtrail.find_recall_lines(&asks, recall, &wanted)?))
    });
    let (me, found) = found.await.map_err(Unable::of(&request))?;
    Ok(render(StatusCode::OK, &Lots::of(visitor.texts, &me, recall, found, narrowed)))
}

impl Narrowed {
    /// As an address says.
    pub fn of(request: &HttpRequest) -> Self {
        let asked = Fields::parse(request.query_string().as_bytes());
        let text = |name: &str| asked.get(name).map(str::trim).filter(|text| !text.is_empty()).map(str::to_owned);
        let stand = match asked.get("stand") {
            Some(ANY) => None,
            Some(word) => Some(LineStand::from_word(word).unwrap_or(LineStand::Open)),
            // Whoever looks for a number wants to see it, whatever is to be done about it.
            None => text("lot").is_none().then_some(LineStand::Open),
        };
        let wanted = LinesWanted { site: text("site"), stand, lot: text("lot"), from: text("from"), limit: MOST_LINES };
        Self { wanted, asked }
    }

    /// The address of these lots alone.
    pub fn part(&self, recall: i64) -> Address {
        Address::of(&format!("/recalls/{recall}/lots"), &self.asked, &FIELDS)
    }

    fn page(&self, recall: i64) -> Address {
        Address::of(&format!("/recalls/{recall}"), &self.asked, &FIELDS)
    }

    fn stand(&self) -> &'static str {
        self.wanted.stand.map_or(ANY, LineStand::word)
    }
}

impl Lots {
    pub(super) fn of(texts: &'static Texts, me: &Me, recall: i64, found: LinesFound, narrowed: Narrowed) -> Self {
        let page = narrowed.page(recall).without("from", "");
        let at = |address: Address| format!("{address}#lots");
        let stand = narrowed.stand();
        let all = found.open_lines + found.not_found_lines + found.confirmed_lines + found.gone_lines;
        let counts = [
            (LineStand::Open.word(), found.open_lines),
            (LineStand::NotFound.word(), found.not_found_lines),
            (LineStand::Confirmed.word(), found.confirmed_lines),
            (LineStand::Gone.word(), found.gone_lines),
            (ANY, all),
        ];
        let sort = |(word, count): (&'static str, usize)| {
            let address = at(page.without("stand", "").with("stand", word));
            (texts.say(&format!("stand-{word}")).into_owned(), in_thousands(count), address, word == stand)
        };
        let last = found.first + found.lines.len().saturating_sub(1);
        let told =
            [("first", in_thousands(found.first)), ("last", in_thousands(last)), ("count", in_thousands(found.found))];
        let told: Vec<(&str, &str)> = told.iter().map(|(name, value)| (*name, value.as_str())).collect();
        let is_all_confirmed = narrowed.wanted.stand == Some(LineStand::Open) && narrowed.wanted.lot.is_none();
        let none = if is_all_confirmed { "missing-none" } else { "lines-none" };
        Self {
            texts,
            recall,
            sorts: counts.map(sort).into(),
            shown: if found.lines.is_empty() { texts.say(none) } else { texts.say_with("lines-shown", &told) }
                .into_owned(),
            is_any_said: found.lines.iter().any(|line| line.confirmation.is_some()),
            rows: found.lines.iter().map(|line| Row::of(texts, me, line)).collect(),
            earlier: found.earlier.map(|lot| at(page.with("from", &lot))),
            next: found.next.map(|lot| at(page.with("from", &lot))),
            stand: narrowed.asked.get("stand").unwrap_or("").to_owned(),
            site: narrowed.wanted.site.unwrap_or_default(),
            lot: narrowed.wanted.lot.unwrap_or_default(),
        }
    }
}

impl Row {
    fn of(texts: &Texts, me: &Me, line: &RecallLine) -> Self {
        let said = line.confirmation.as_ref();
        let here: i64 = line.places.iter().filter(|place| is_here(&place.state)).map(|place| place.grams.mg()).sum();
        let grams = said.filter(|_| !line.open).map_or(here, |said| said.grams.mg());
        let outcome = said.map(|said| texts.say(&format!("outcome-{}", said.outcome.word())).into_owned());
        Self {
            lot: line.lot.clone(),
            name: line.name.clone(),
            site: line.site.clone(),
            site_name: line.site_name.clone(),
            is_theirs: may_at(me, &reach::SHOW_PULL_LIST, &line.site),
            grams: exact(texts, Grams::from_mg(grams)),
            by_contact: line.by_contact,
            is_open: line.open,
            overdue: line.overdue,
            outcome: outcome.unwrap_or_default(),
            note: said.and_then(|said| said.note.clone()).unwrap_or_default(),
            who: said.map_or_else(String::new, |said| format!("{}, {}", said.name, clock(said.at))),
        }
    }
}

/// Whether what stands so is in the house.
pub(super) fn is_here(state: &str) -> bool {
    matches!(state, "available" | "open" | "in_transit")
}
