//! Stock: what is where, straight from the balances.

use std::collections::BTreeMap;

use chrono::{DateTime, Days, NaiveDate, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::place::State;
use tubtrail_domain::say;
use tubtrail_storage::lots::{LotRow, lots_by_ids};
use tubtrail_storage::master_data::{Site, reorder_levels_in_force};
use tubtrail_storage::on_hand::{
    ItemSum, LastDay, Meant, OnHandRow, StockFilter, StockKey, on_hand_after, sums_by_item, warn_days,
};
use tubtrail_storage::stock::held_among;
use tubtrail_storage::{AnyConnection, StorageError};
use utoipa::{IntoParams, ToSchema};

use crate::deliveries::{Expiry, expiry};
use crate::error::{OperationError, Result};
use crate::index::Index;
use crate::known::recalls_keeping;
use crate::master_data::{MOST, Page};
use crate::names::Names;
use crate::quantities::Grams;
use crate::reach::{self, Actor, Request};
use crate::sites::every_site;
use crate::standing::Standing;
use crate::tubtrail::Tubtrail;
use crate::{fields, lots};

/// What lots there are.
const LOT_KINDS: [&str; 6] = ["received", "base", "component", "tub", "remainder", "rework"];
/// So many days before its last day a lot expires soon, where its item says nothing else (common practice, no source).
pub const USUAL_WARN_DAYS: u32 = 3;
/// Furthest one looks ahead for dates, in days.
const FURTHEST_DAYS: u32 = 3650;

/// Which stock to show.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct StockAsked {
    /// At this site, by code; at every site in reach, if absent.
    #[param(max_length = 40)]
    #[serde(default)]
    pub site: Option<String>,
    /// Of this item, by code.
    #[param(max_length = 40)]
    #[serde(default)]
    pub item: Option<String>,
    /// Of this lot, by number.
    #[param(max_length = 20)]
    #[serde(default)]
    pub lot: Option<String>,
    /// Of this kind of lot: received, base, component, tub, remainder, rework.
    #[param(max_length = 20)]
    #[serde(default)]
    pub kind: Option<String>,
    /// In this state: available, open, `in_transit` (sent from the site and not yet received).
    #[param(max_length = 20)]
    #[serde(default)]
    pub state: Option<String>,
    /// With a last day up to this one.
    #[serde(default, deserialize_with = "crate::days::optional_day")]
    pub expires_by: Option<NaiveDate>,
    /// With a last day at most so many days from today, as the day is at each site; 0 is today. What is past its date is
    /// among it.
    #[param(minimum = 0, maximum = 3650)]
    #[serde(default)]
    pub expires_within_days: Option<u32>,
    /// With a last day that comes soon: within as many days as the `warn_days` of its item say, else within
    /// `expires_within_days`, else within three. What is past its date is among it.
    #[serde(default)]
    pub expires_soon: bool,
    /// The `next` of the page before.
    #[param(max_length = 100)]
    #[serde(default)]
    pub after: String,
    /// Most rows on the page, 1 to 500.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default = "fields::usual_page", deserialize_with = "crate::master_data::limit")]
    pub limit: u32,
}

/// Stock of a lot in one place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"lot": "261125-0042-7", "item": "pistachio", "name": "Pistachio", "kind": "tub",
    "site": "harbour-shop", "state": "open", "grams": 4590, "expiry": {"kind": "best_before", "on": "2026-12-09"},
    "on_hold": false}))]
pub struct StockRow {
    /// Our number for the lot.
    pub lot: String,
    /// Its item's code.
    pub item: String,
    /// Its item's name.
    pub name: String,
    /// received, base, component, tub, remainder or rework.
    pub kind: String,
    /// The site's code.
    pub site: String,
    /// available, open or `in_transit`.
    pub state: String,
    /// How much.
    pub grams: Grams,
    /// Its last day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expiry: Option<Expiry>,
    /// How many days before that its item says it expires soon; absent: as usual.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warn_days: Option<u32>,
    /// From when it may be used, where it has to rest first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mature_at: Option<DateTime<Utc>>,
    /// It may not be used, moved, opened or served: a hold or a recall keeps it.
    pub on_hold: bool,
    /// The numbers of the recalls that keep it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub recalls: Vec<i64>,
}

/// Which sums to show.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct SumsAsked {
    /// At this site, by code; over every site in reach, if absent.
    #[param(max_length = 40)]
    #[serde(default)]
    pub site: Option<String>,
    /// The `next` of the page before.
    #[param(max_length = 100)]
    #[serde(default)]
    pub after: String,
    /// Most rows on the page, 1 to 500.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default = "fields::usual_page", deserialize_with = "crate::master_data::limit")]
    pub limit: u32,
}

/// How much there is of an item.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"item": "pistachio", "name": "Pistachio", "available_grams": 24000, "open_grams": 4590,
    "in_transit_grams": 0}))]
pub struct StockSum {
    /// The item's code.
    pub item: String,
    /// Its name.
    pub name: String,
    /// On the shelf.
    pub available_grams: Grams,
    /// In the case.
    pub open_grams: Grams,
    /// Sent and not yet received; it counts as the sender's.
    pub in_transit_grams: Grams,
}

/// An item of which a site has less than it wants.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"item": "pistachio-paste", "name": "Pistachio paste", "site": "quay-kitchen",
    "level_grams": 5000, "on_hand_grams": 1250}))]
pub struct BelowLevel {
    /// The item's code.
    pub item: String,
    /// Its name.
    pub name: String,
    /// The site's code.
    pub site: String,
    /// Below how much it wants to be told.
    pub level_grams: Grams,
    /// What it has, on the shelf and in the case.
    pub on_hand_grams: Grams,
}

impl Tubtrail {
    /// What is on hand at the sites in reach, lot by lot, in order of site, state and lot.
    pub fn show_stock(&self, request: &Request, asked: &StockAsked) -> Result<Page<StockRow>> {
        request.actor.may_anywhere(&reach::SHOW_STOCK)?;
        let limit = asked.limit.clamp(1, MOST);
        let after = key_of(&asked.after)?;
        let now = (self.clock)();
        self.read(|conn| {
            let filter = filter(conn, &request.actor, asked, now)?;
            let rows = on_hand_after(conn, &filter, &after, i64::from(limit) + 1)?;
            let page = Page::cut(rows, limit as usize, text_of);
            let index = self.current_index(conn)?;
            Ok(Page { items: answer(conn, index, &page.items)?, next: page.next })
        })
    }

    /// What there is of each item: at a site, or over all in reach.
    pub fn total_stock(&self, request: &Request, asked: &SumsAsked) -> Result<Page<StockSum>> {
        request.actor.may_anywhere(&reach::TOTAL_STOCK)?;
        let limit = asked.limit.clamp(1, MOST);
        let after = fields::after_id("after", &asked.after)?;
        self.read(|conn| {
            let sites = fields::sites_asked(conn, asked.site.as_deref(), &request.actor, &reach::TOTAL_STOCK)?;
            let sums = sums_by_item(conn, sites.as_deref(), after, i64::from(limit) + 1)?;
            let page = Page::cut(sums, limit as usize, |sum| sum.item_id.to_string());
            let mut names = Names::default();
            let items = page.items.iter().map(|sum| sum_answer(conn, &mut names, sum)).collect::<Result<_>>()?;
            Ok(Page { items, next: page.next })
        })
    }

    /// The items of which a site has less than its reorder level, those of which it has nothing among them; in order of
    /// item.
    pub fn list_below_reorder_level(&self, request: &Request, asked: &SumsAsked) -> Result<Page<BelowLevel>> {
        request.actor.may_anywhere(&reach::LIST_BELOW_REORDER_LEVEL)?;
        let limit = asked.limit.clamp(1, MOST);
        let (item, site) = asked.after.split_once(' ').unwrap_or((&asked.after, ""));
        fields::after_code("after", item)?;
        fields::after_code("after", site)?;
        self.read(|conn| {
            let operation = &reach::LIST_BELOW_REORDER_LEVEL;
            let sites = fields::sites_asked(conn, asked.site.as_deref(), &request.actor, operation)?;
            let mut below = below_level(conn, sites.as_deref())?;
            below.retain(|row| key_of_level(row) > asked.after);
            Ok(Page::cut(below, limit as usize, key_of_level))
        })
    }
}

fn filter(conn: &mut AnyConnection, actor: &Actor, asked: &StockAsked, now: NaiveDateTime) -> Result<StockFilter> {
    let kind = asked.kind.as_deref().map(|kind| one_of("kind", kind, &LOT_KINDS)).transpose()?;
    let on_hand: Vec<_> = State::ALL.into_iter().filter(|state| state.is_on_hand()).map(State::word).collect();
    let state = asked.state.as_deref().map(|state| one_of("state", state, &on_hand)).transpose()?;
    if asked.expires_within_days.is_some_and(|days| days > FURTHEST_DAYS) {
        let detail = say!("at most {most} days ahead can be looked at", most = FURTHEST_DAYS);
        return Err(OperationError::invalid("expires_within_days", detail));
    }
    if asked.expires_by.is_some() && asked.expires_within_days.is_some() {
        return Err(OperationError::invalid("expires_within_days", say!("say it once: a day, or a number of days")));
    }
    if asked.expires_by.is_some() && asked.expires_soon {
        return Err(OperationError::invalid("expires_soon", say!("say it once: a day, or soon")));
    }
    let sites = fields::sites_asked(conn, asked.site.as_deref(), actor, &reach::SHOW_STOCK)?;
    let item = asked.item.as_deref().map(|code| fields::filter_item(conn, "item", code)).transpose()?;
    let lot = asked.lot.as_deref().map(|number| Standing::named(conn, actor, "lot", number)).transpose()?;
    let expires_by = expires_by(conn, sites.as_deref(), asked, now)?;
    Ok(StockFilter { sites, item_id: item, lot_id: lot.map(|standing| standing.lot.id), kind, state, expires_by })
}

fn one_of(field: &str, word: &str, words: &[&'static str]) -> Result<&'static str> {
    let found = words.iter().find(|known| **known == word);
    found
        .copied()
        .ok_or_else(|| OperationError::invalid(field, say!("this is one of {words}", words = words.join(", "))))
}

/// The last days asked for, with the sites and items for which each counts: today is not the same day everywhere, and soon
/// is not the same for everything.
fn expires_by(
    conn: &mut AnyConnection,
    sites: Option<&[i64]>,
    asked: &StockAsked,
    now: NaiveDateTime,
) -> Result<Option<Vec<LastDay>>> {
    if asked.expires_by.is_none() && asked.expires_within_days.is_none() && !asked.expires_soon {
        return Ok(None);
    }
    // Few time zones differ in what day it is, however many sites there are.
    let mut by_day: BTreeMap<NaiveDate, Vec<i64>> = BTreeMap::new();
    for site in sites_or_all(conn, sites)? {
        let day = asked.expires_by.map_or_else(|| fields::day_at(&site, now), Ok)?;
        by_day.entry(day).or_default().push(site.row.id);
    }
    if let Some(day) = asked.expires_by {
        let sites = by_day.into_values().flatten().collect();
        return Ok(Some(vec![LastDay { day, sites, items: Meant::All }]));
    }
    let ahead = days_ahead(conn, asked)?;
    let last_day = |today: NaiveDate, days: u32| today.checked_add_days(Days::new(u64::from(days))).unwrap_or(today);
    let each = by_day.iter().flat_map(|(today, sites)| {
        let of = |(days, items): &(u32, Meant)| LastDay {
            day: last_day(*today, *days),
            sites: sites.clone(),
            items: items.clone(),
        };
        ahead.iter().map(of).collect::<Vec<_>>()
    });
    Ok(Some(each.collect()))
}

/// How many days ahead is looked, and for which items.
fn days_ahead(conn: &mut AnyConnection, asked: &StockAsked) -> Result<Vec<(u32, Meant)>> {
    if !asked.expires_soon {
        return Ok(vec![(asked.expires_within_days.unwrap_or(0), Meant::All)]);
    }
    let own = warn_days(conn)?;
    let mut ahead: BTreeMap<u32, Vec<i64>> = BTreeMap::new();
    for (item, days) in &own {
        ahead.entry(to_days(*days)?).or_default().push(*item);
    }
    let others = Meant::AllBut(own.into_iter().map(|(item, _)| item).collect());
    let usual = asked.expires_within_days.unwrap_or(USUAL_WARN_DAYS);
    Ok(ahead.into_iter().map(|(days, items)| (days, Meant::Of(items))).chain([(usual, others)]).collect())
}

fn to_days(days: i32) -> Result<u32> {
    Ok(u32::try_from(days).map_err(|_| StorageError::Corrupt(format!("an item is told of {days} days before")))?)
}

fn sites_or_all(conn: &mut AnyConnection, sites: Option<&[i64]>) -> Result<Vec<Site>> {
    let mut names = Names::default();
    if let Some(ids) = sites {
        return ids.iter().map(|id| Ok(names.site(conn, *id)?.clone())).collect();
    }
    every_site(conn)
}

/// What lies where, as answered.
pub(crate) fn answer(conn: &mut AnyConnection, index: &Index, rows: &[OnHandRow]) -> Result<Vec<StockRow>> {
    let mut ids: Vec<i64> = rows.iter().map(|row| row.lot_id).collect();
    ids.sort_unstable();
    ids.dedup();
    let held = held_among(conn, &ids)?;
    let recalled = recalls_keeping(index, &ids)?;
    let found: BTreeMap<i64, LotRow> = lots_by_ids(conn, &ids)?.into_iter().map(|lot| (lot.id, lot)).collect();
    let mut names = Names::default();
    let mut stock = Vec::with_capacity(rows.len());
    for row in rows {
        let missing = || StorageError::Corrupt(format!("lot row {} has a balance and is missing", row.lot_id));
        let lot = found.get(&row.lot_id).ok_or_else(missing)?;
        let recalls = recalled.get(&lot.id).cloned().unwrap_or_default();
        stock.push(row_answer(conn, &mut names, row, lot, held.contains(&lot.id), recalls)?);
    }
    Ok(stock)
}

fn row_answer(
    conn: &mut AnyConnection,
    names: &mut Names,
    row: &OnHandRow,
    lot: &LotRow,
    on_hold: bool,
    recalls: Vec<i64>,
) -> Result<StockRow> {
    let site = names.site_code(conn, row.site_id)?;
    let item = names.item(conn, lot.item_id)?;
    Ok(StockRow {
        lot: lots::number(lot)?.to_string(),
        item: item.row.code.clone(),
        name: item.current.name.clone(),
        kind: lot.kind.clone(),
        site,
        state: row.state.clone(),
        grams: Grams::from_mg(row.mass_mg),
        expiry: expiry(lot.expires_on, lot.expiry_kind.as_deref()),
        warn_days: item.current.warn_days.map(to_days).transpose()?,
        mature_at: lot.mature_at.map(fields::utc),
        on_hold: on_hold || !recalls.is_empty(),
        recalls,
    })
}

fn sum_answer(conn: &mut AnyConnection, names: &mut Names, sum: &ItemSum) -> Result<StockSum> {
    let item = names.item(conn, sum.item_id)?;
    Ok(StockSum {
        item: item.row.code.clone(),
        name: item.current.name.clone(),
        available_grams: Grams::from_mg(sum.available_mg),
        open_grams: Grams::from_mg(sum.open_mg),
        in_transit_grams: Grams::from_mg(sum.in_transit_mg),
    })
}

/// Every item below its level at one of the sites, in order of item and site.
fn below_level(conn: &mut AnyConnection, sites: Option<&[i64]>) -> Result<Vec<BelowLevel>> {
    let mut levels: BTreeMap<i64, BTreeMap<i64, i64>> = BTreeMap::new();
    for level in reorder_levels_in_force(conn, None)? {
        if sites.is_none_or(|sites| sites.contains(&level.site_id)) {
            levels.entry(level.site_id).or_default().insert(level.item_id, level.level_mg);
        }
    }
    let mut names = Names::default();
    let mut below = Vec::new();
    for (site_id, levels) in levels {
        let sums = sums_by_item(conn, Some(&[site_id]), 0, i64::MAX)?;
        let on_hand: BTreeMap<i64, i64> =
            sums.into_iter().map(|sum| (sum.item_id, sum.available_mg + sum.open_mg)).collect();
        for (item_id, level_mg) in levels {
            let on_hand_mg = on_hand.get(&item_id).copied().unwrap_or(0);
            if on_hand_mg < level_mg {
                let site = names.site_code(conn, site_id)?;
                let item = names.item(conn, item_id)?;
                let (level_grams, on_hand_grams) = (Grams::from_mg(level_mg), Grams::from_mg(on_hand_mg));
                let (code, name) = (item.row.code.clone(), item.current.name.clone());
                below.push(BelowLevel { item: code, name, site, level_grams, on_hand_grams });
            }
        }
    }
    below.sort_by_key(key_of_level);
    Ok(below)
}

fn key_of_level(row: &BelowLevel) -> String {
    // No code holds a space, and a space sorts before all that a code holds.
    format!("{} {}", row.item, row.site)
}

fn text_of(row: &OnHandRow) -> String {
    format!("{}.{}.{}", row.site_id, row.state, row.lot_id)
}

fn key_of(after: &str) -> Result<StockKey> {
    if after.is_empty() {
        return Ok(StockKey::default());
    }
    let wrong = || fields::no_next("after");
    let mut parts = after.split('.');
    let (Some(site), Some(state), Some(lot), None) = (parts.next(), parts.next(), parts.next(), parts.next()) else {
        return Err(wrong());
    };
    let state = State::from_word(state).ok_or_else(wrong)?.word().to_owned();
    Ok(StockKey { site_id: site.parse().map_err(|_| wrong())?, state, lot_id: lot.parse().map_err(|_| wrong())? })
}
