//! In the house: what must be decided today at a site, and what lies there.

mod counting;
mod moving;
mod receiving;
mod today;

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, get, web};
use askama::Template;
use chrono::Days;
use tubtrail_operations::reach::{self, Role};
use tubtrail_operations::sites::Site;
use tubtrail_operations::stock::{StockRow, USUAL_WARN_DAYS};

use self::today::{Found, Today, find};
use super::fields::Fields;
use super::forms::Form;
use super::page::{Frame, Shown, Unable, render, see};
use super::places;
use super::rights::may_at;
use super::scanning::lot_scanned;
use super::visitor::Visitor;
use crate::house::{House, off_thread};

/// Whoever has stock in hand, or looks into it.
pub const ROLES: &[Role] = &[Role::Owner, Role::Kitchen, Role::Shop, Role::Inspector];
/// How many days ahead one may look for last days; the first is the usual one.
const DAYS_AHEAD: [u32; 3] = [USUAL_WARN_DAYS, 7, 14];

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(choose_stock).service(stock_page).service(stock_today);
    counting::configure(config);
    moving::configure(config);
    receiving::configure(config);
}

#[derive(Template)]
#[template(path = "stock.html")]
struct Stock {
    frame: Frame,
    site: Site,
    today: Today,
    scan: Form,
    /// Where the part that changes is asked for.
    follow: String,
    may_count: bool,
    may_send: bool,
}

/// What is asked of a site's stock.
#[derive(Clone, Debug)]
struct Asked {
    site: String,
    /// How far ahead last days are looked for.
    days: u32,
    /// The item whose lots are looked at, where there are too many to show them all.
    item: Option<String>,
}

impl Asked {
    fn of(site: &str, fields: &Fields) -> Self {
        let days = fields.get("days").and_then(|days| days.parse().ok()).filter(|days| DAYS_AHEAD.contains(days));
        let item = fields.get("item").map(str::to_owned);
        Self { site: site.to_owned(), days: days.unwrap_or(DAYS_AHEAD[0]), item }
    }

    /// How far ahead the last day of a lot is looked for: as its item says, and further where one wants to look further.
    fn ahead(&self, row: &StockRow) -> Days {
        let days = match row.warn_days {
            Some(own) if self.days == USUAL_WARN_DAYS => own,
            own => own.unwrap_or(0).max(self.days),
        };
        Days::new(u64::from(days))
    }

    fn part(&self) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        query.append_pair("days", &self.days.to_string());
        query.extend_pairs(self.item.iter().map(|item| ("item", item)));
        format!("/stock/{}/today?{}", self.site, query.finish())
    }
}

/// Which site.
#[get("/stock")]
async fn choose_stock(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    places::choose(house, visitor, request, "/stock", ROLES).await
}

/// A site, or the lot that was scanned there.
#[get("/stock/{site}")]
async fn stock_page(house: House, visitor: Visitor, request: HttpRequest, site: web::Path<String>) -> Shown {
    let fields = Fields::parse(request.query_string().as_bytes());
    let asked = Asked::of(&site, &fields);
    let mut scan = Form::new(&visitor, Fields::default());
    if let Some(text) = fields.get("scan").map(str::to_owned) {
        let (house, asks, at) = (house.clone(), visitor.asks(), site.clone());
        match off_thread(move || lot_scanned(&house.tubtrail, &asks, &at, &text)).await {
            Ok(lot) => return Ok(see(&format!("/lots/{lot}"))),
            Err(problem) => {
                scan =
                    Form::refused(&visitor, fields, problem, |_| Some("scan".into())).map_err(Unable::of(&request))?;
            }
        }
    }
    let asks = visitor.asks();
    let found = off_thread(move || Ok((house.tubtrail.show_me(&asks)?, find(&house.tubtrail, &asks, &asked)?, asked)));
    let (me, found, asked) = found.await.map_err(Unable::of(&request))?;
    let page = Stock {
        may_count: may_at(&me, &reach::COUNT_SITE, &site),
        may_send: may_at(&me, &reach::DISPATCH_TRANSFER, &site),
        site: found.site.clone(),
        follow: asked.part(),
        today: Today::of(found, &asked, &me, &visitor),
        frame: Frame::of(&visitor, &request, me),
        scan,
    };
    Ok(render(page.scan.status(), &page))
}

/// The part that changes, by itself.
#[get("/stock/{site}/today")]
async fn stock_today(house: House, visitor: Visitor, request: HttpRequest, site: web::Path<String>) -> Shown {
    let asked = Asked::of(&site, &Fields::parse(request.query_string().as_bytes()));
    let asks = visitor.asks();
    let found = off_thread(move || Ok((house.tubtrail.show_me(&asks)?, find(&house.tubtrail, &asks, &asked)?, asked)));
    let (me, found, asked): (_, Found, _) = found.await.map_err(Unable::of(&request))?;
    Ok(render(StatusCode::OK, &Today::of(found, &asked, &me, &visitor)))
}
