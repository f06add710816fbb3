//! What a site's stock asks to be decided today, and the shelf itself.

use std::collections::{BTreeMap, HashMap};

use askama::Template;
use chrono::NaiveDate;
use tubtrail_operations::holds::{Hold, HoldsAsked};
use tubtrail_operations::master_data::MOST;
use tubtrail_operations::reach;
use tubtrail_operations::sessions::Me;
use tubtrail_operations::sites::Site;
use tubtrail_operations::stock::{BelowLevel, StockAsked, StockRow, SumsAsked};
use tubtrail_operations::transfers::{Direction, Transfer, TransferSummary, TransfersAsked};
use tubtrail_operations::{Grams, OperationError, Request, Tubtrail};

use super::{Asked, DAYS_AHEAD};
use crate::pages::figures::{Wall, weight};
use crate::pages::marks::once;
use crate::pages::rights::may_at;
use crate::pages::texts::Texts;
use crate::pages::visitor::Visitor;

/// Most rows of stock that are looked at.
const MOST_ROWS: usize = 3000;
/// Most lots that are shown one by one; beyond, those of the item that was asked for.
const MOST_LOTS: usize = 400;
/// Up to so many lots their items stand open.
const FEW_LOTS: usize = 40;
/// Most transfers that are shown with what is in them.
const MOST_TRANSFERS: u32 = 20;

/// What is read of the house.
pub(super) struct Found {
    pub site: Site,
    today: NaiveDate,
    rows: Vec<StockRow>,
    has_more: bool,
    holds: Vec<Hold>,
    short: Vec<BelowLevel>,
    coming: Vec<Transfer>,
    going: Vec<TransferSummary>,
}

/// The part of the page that changes.
#[derive(Template)]
#[template(path = "stock_today.html")]
pub(super) struct Today {
    texts: &'static Texts,
    site: Site,
    days: u32,
    days_ahead: [u32; 3],
    past: Vec<Line>,
    last_day: Vec<Line>,
    soon: Vec<Line>,
    stay: Vec<Line>,
    short: Vec<Short>,
    coming: Vec<OnTheWay>,
    going: Vec<OnTheWay>,
    may_receive: bool,
    shelf: Vec<Kind>,
    few: bool,
    has_more: bool,
    mark: String,
}

/// A lot at the site.
struct Line {
    lot: String,
    name: String,
    mass: String,
    /// Its last day, in words.
    last_day: Option<String>,
    /// It stands in the case.
    open: bool,
    /// It must stay where it is.
    held: bool,
    /// Why.
    why: Vec<String>,
}

/// An item of which there is too little.
struct Short {
    name: String,
    has: String,
    wants: String,
}

/// A transfer.
struct OnTheWay {
    id: i64,
    /// The other site.
    other: String,
    left_at: String,
    lots: usize,
    /// What is in it, by item.
    holds: Vec<String>,
    once: String,
}

/// An item on the shelf.
struct Kind {
    item: String,
    name: String,
    mass: String,
    count: usize,
    lots: Vec<Line>,
}

/// Reads what the page shows.
pub(super) fn find(tubtrail: &Tubtrail, asks: &Request, asked: &Asked) -> Result<Found, OperationError> {
    let site: Site = tubtrail.get(asks, &asked.site)?;
    let (rows, has_more) = all_stock(tubtrail, asks, &site.code)?;
    let code = Some(site.code.clone());
    let holds = HoldsAsked { site: code.clone(), released_too: false, after: String::new(), limit: MOST };
    let sums = SumsAsked { site: code.clone(), after: String::new(), limit: MOST };
    let transfers = |direction| TransfersAsked {
        site: code.clone(),
        direction: Some(direction),
        on_the_way: true,
        after: String::new(),
        limit: MOST_TRANSFERS,
    };
    let coming = tubtrail.list_transfers(asks, &transfers(Direction::Incoming))?.items;
    let coming = coming.iter().map(|transfer| tubtrail.get_transfer(asks, transfer.id));
    Ok(Found {
        today: Wall::of(&site).day(tubtrail.now().and_utc()),
        holds: tubtrail.list_holds(asks, &holds)?.items,
        short: tubtrail.list_below_reorder_level(asks, &sums)?.items,
        coming: coming.collect::<Result<_, _>>()?,
        going: tubtrail.list_transfers(asks, &transfers(Direction::Outgoing))?.items,
        site,
        rows,
        has_more,
    })
}

/// What the book has at a site, on the way from it too; and whether that is not all.
fn all_stock(tubtrail: &Tubtrail, asks: &Request, site: &str) -> Result<(Vec<StockRow>, bool), OperationError> {
    let mut asked = StockAsked { site: Some(site.to_owned()), limit: MOST, ..StockAsked::default() };
    let mut rows = Vec::new();
    loop {
        let page = tubtrail.show_stock(asks, &asked)?;
        rows.extend(page.items);
        match page.next {
            Some(next) if rows.len() < MOST_ROWS => asked.after = next,
            next => return Ok((rows, next.is_some())),
        }
    }
}

impl Today {
    pub(super) fn of(found: Found, asked: &Asked, me: &Me, visitor: &Visitor) -> Self {
        let Found { site, today, rows, has_more, holds, short, coming, going } = found;
        let texts = visitor.texts;
        let wall = Wall::of(&site);
        let reasons: HashMap<&str, &str> = holds.iter().map(|hold| (hold.lot.as_str(), hold.reason.as_str())).collect();
        let here: Vec<&StockRow> = rows.iter().filter(|row| row.state != "in_transit").collect();
        let mut lists: [Vec<Line>; 3] = Default::default();
        let is_near = |(on, row): &(NaiveDate, &StockRow)| *on <= today + asked.ahead(row);
        let mut dated: Vec<(NaiveDate, &StockRow)> =
            here.iter().filter_map(|row| Some((row.expiry?.on, *row))).filter(is_near).collect();
        dated.sort_by(|one, other| (one.0, &one.1.name).cmp(&(other.0, &other.1.name)));
        for (on, row) in dated {
            let list = usize::from(on >= today) + usize::from(on > today);
            lists[list].push(Line::of(texts, row, &reasons));
        }
        let [past, last_day, soon] = lists;
        let stay = here.iter().filter(|row| row.on_hold).map(|row| Line::of(texts, row, &reasons));
        let shelf = shelf(texts, &here, asked.item.as_deref(), &reasons);
        Self {
            texts,
            days: asked.days,
            days_ahead: DAYS_AHEAD,
            stay: stay.collect(),
            past,
            last_day,
            soon,
            short: short.into_iter().map(|row| Short::of(texts, row)).collect(),
            coming: coming.into_iter().map(|transfer| OnTheWay::coming(transfer, texts, wall)).collect(),
            going: going.into_iter().map(|transfer| OnTheWay::going(transfer, texts, wall)).collect(),
            may_receive: may_at(me, &reach::RECEIVE_TRANSFER, &site.code),
            few: here.len() <= FEW_LOTS || asked.item.is_some(),
            shelf,
            has_more,
            mark: visitor.mark.clone(),
            site,
        }
    }

    fn asks_nothing(&self) -> bool {
        self.past.is_empty()
            && self.last_day.is_empty()
            && self.soon.is_empty()
            && self.stay.is_empty()
            && self.short.is_empty()
            && self.coming.is_empty()
            && self.going.is_empty()
    }

    /// What is by its date, with the name of the text above it.
    fn dated(&self) -> [(&'static str, &[Line]); 3] {
        [("stock-past", &self.past), ("stock-last-day", &self.last_day), ("stock-soon", &self.soon)]
    }
}

/// The shelf, item by item; lot by lot where there are few, or where the item is asked for.
fn shelf(texts: &Texts, here: &[&StockRow], item: Option<&str>, reasons: &HashMap<&str, &str>) -> Vec<Kind> {
    let mut kinds: BTreeMap<(&str, &str), Vec<&StockRow>> = BTreeMap::new();
    for row in here {
        kinds.entry((&row.name, &row.item)).or_default().push(row);
    }
    let all = here.len() <= MOST_LOTS;
    let kinds = kinds.into_iter().map(|((name, code), rows)| Kind {
        item: code.to_owned(),
        name: name.to_owned(),
        mass: weight(texts, Grams::from_mg(rows.iter().map(|row| row.grams.mg()).sum())),
        count: rows.len(),
        lots: if all || item == Some(code) {
            rows.into_iter().map(|row| Line::of(texts, row, reasons)).collect()
        } else {
            Vec::new()
        },
    });
    kinds.collect()
}

impl Line {
    fn of(texts: &Texts, row: &StockRow, reasons: &HashMap<&str, &str>) -> Self {
        let mut why = Vec::new();
        why.extend(
            reasons
                .get(row.lot.as_str())
                .map(|reason| texts.say_of("held", "reason", texts.reason(reason)).into_owned()),
        );
        if !row.recalls.is_empty() {
            let recalls = row.recalls.iter().map(i64::to_string).collect::<Vec<_>>().join(", ");
            why.push(texts.say_of("recalled", "recalls", recalls).into_owned());
        }
        let last_day = row.expiry.map(|expiry| {
            let name = format!("last-day-{}", expiry.kind.word());
            texts.say_of(&name, "day", expiry.on.to_string()).into_owned()
        });
        Self {
            lot: row.lot.clone(),
            name: row.name.clone(),
            mass: weight(texts, row.grams),
            last_day,
            open: row.state == "open",
            held: row.on_hold,
            why,
        }
    }
}

impl Short {
    fn of(texts: &Texts, row: BelowLevel) -> Self {
        Self { name: row.name, has: weight(texts, row.on_hand_grams), wants: weight(texts, row.level_grams) }
    }
}

impl OnTheWay {
    fn coming(transfer: Transfer, texts: &Texts, wall: Wall) -> Self {
        let mut kinds: BTreeMap<&str, (usize, i64)> = BTreeMap::new();
        for line in &transfer.lines {
            let (lots, mg) = kinds.entry(&line.name).or_default();
            (*lots, *mg) = (*lots + 1, *mg + line.sent_grams.mg());
        }
        let holds = kinds
            .into_iter()
            .map(|(name, (lots, mg))| format!("{lots} × {name}, {}", weight(texts, Grams::from_mg(mg))));
        Self {
            id: transfer.id,
            left_at: wall.day_and_time(transfer.dispatched_at),
            lots: transfer.lines.len(),
            holds: holds.collect(),
            other: transfer.from,
            once: once(),
        }
    }

    fn going(transfer: TransferSummary, texts: &Texts, wall: Wall) -> Self {
        Self {
            id: transfer.id,
            left_at: wall.day_and_time(transfer.dispatched_at),
            lots: transfer.lots,
            holds: vec![weight(texts, transfer.sent_grams)],
            other: transfer.to,
            once: String::new(),
        }
    }
}
