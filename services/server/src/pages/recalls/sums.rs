//! What matters first of a recall, from sums: how long it goes on, how it stands at every site, what is missing, and whether it
//! adds up.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, web};
use askama::Template;
use chrono::{DateTime, Utc};
use tubtrail_operations::recalls::{RecallCase, RecallSite};
use tubtrail_operations::sessions::Me;
use tubtrail_operations::{Grams, reach};

use super::balance::{MassRow, mass_rows};
use super::{clock, ended};
use crate::house::{House, off_thread};
use crate::pages::figures::{exact, in_grams, in_thousands};
use crate::pages::page::{Shown, Unable, render};
use crate::pages::rights::may_at;
use crate::pages::texts::Texts;
use crate::pages::visitor::Visitor;

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(case_sums);
}

/// All of it.
#[derive(Template)]
#[template(path = "recall_sums.html")]
pub(super) struct Sums {
    texts: &'static Texts,
    case: RecallCase,
    ended: Option<String>,
    since: String,
    due: String,
    is_late: bool,
    figures: Vec<(String, String)>,
    sites: Vec<SiteRow>,
    mass: Vec<MassRow>,
    adds_up: String,
}

struct SiteRow {
    code: String,
    name: String,
    /// Within the reach of whoever looks.
    is_theirs: bool,
    lots: String,
    on_hand: String,
    served: String,
    open: usize,
    /// To be confirmed: how many, how much.
    to_confirm: String,
    confirmed: String,
    not_found: String,
    overdue: bool,
}

/// The sums alone.
#[get("/recalls/{recall}/sums")]
async fn case_sums(house: House, visitor: Visitor, request: HttpRequest, recall: web::Path<i64>) -> Shown {
    let asks = visitor.asks();
    let found = off_thread(move || Ok((house.tubtrail.show_me(&asks)?, house.tubtrail.get_recall(&asks, *recall)?)));
    let (me, found) = found.await.map_err(Unable::of(&request))?;
    Ok(render(StatusCode::OK, &Sums::of(visitor.texts, &me, found)))
}

impl Sums {
    pub(super) fn of(texts: &'static Texts, me: &Me, case: RecallCase) -> Self {
        let now = Utc::now();
        let until = case.recall.ending.as_ref().map_or(now, |ending| ending.at);
        let figure = |name: &str, figure: String| (texts.say(name).into_owned(), figure);
        let sum = |of: fn(&RecallSite) -> usize| in_thousands(case.sums.sites.iter().map(of).sum::<usize>());
        let adds_up = case.sums.mass.unaccounted_grams == Grams::default();
        Self {
            ended: ended(texts, &case.recall),
            since: span(texts, case.recall.begun_at, until),
            due: clock(case.recall.due_at),
            is_late: case.recall.ending.is_none() && now > case.recall.due_at,
            figures: vec![
                figure("reached-lots", in_thousands(case.sums.reached_lots)),
                figure("to-confirm", in_thousands(case.open_lines)),
                figure("confirmed-lines", sum(|site| site.confirmed_lines)),
                figure("not-found-lines", sum(|site| site.not_found_lines)),
                figure("customers", in_thousands(case.sums.consignees)),
                figure("replies-open", in_thousands(case.open_replies)),
                figure("unaccounted", exact(texts, case.sums.mass.unaccounted_grams)),
            ],
            sites: case.sums.sites.iter().map(|site| SiteRow::of(texts, me, site)).collect(),
            mass: mass_rows(texts, &case.sums.mass),
            adds_up: texts.say(if adds_up { "adds-up" } else { "adds-not-up" }).into_owned(),
            texts,
            case,
        }
    }
}

impl SiteRow {
    fn of(texts: &Texts, me: &Me, site: &RecallSite) -> Self {
        let grams = |grams: Grams| in_grams(texts, grams);
        let open = in_thousands(site.open_lines);
        Self {
            code: site.site.clone(),
            name: site.name.clone(),
            is_theirs: may_at(me, &reach::SHOW_PULL_LIST, &site.site),
            lots: in_thousands(site.lots_on_hand),
            on_hand: grams(site.on_hand_grams),
            served: grams(site.served_grams),
            open: site.open_lines,
            to_confirm: if site.open_lines == 0 { open } else { format!("{open} ({})", grams(site.open_grams)) },
            confirmed: in_thousands(site.confirmed_lines),
            not_found: in_thousands(site.not_found_lines),
            overdue: site.overdue_lines > 0,
        }
    }
}

/// A span of time in days, hours and minutes.
fn span(texts: &Texts, from: DateTime<Utc>, until: DateTime<Utc>) -> String {
    let minutes = (until - from).num_minutes().max(0);
    let (days, hours, minutes) = (minutes / 1440, minutes / 60 % 24, minutes % 60);
    let told = [("days", days.to_string()), ("hours", hours.to_string()), ("minutes", minutes.to_string())];
    let told: Vec<(&str, &str)> = told.iter().map(|(name, value)| (*name, value.as_str())).collect();
    texts.say_with(if days > 0 { "span-days" } else { "span-hours" }, &told).into_owned()
}
