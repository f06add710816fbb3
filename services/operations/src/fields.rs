//! Checks of single fields, each naming the field at fault.

use chrono::{DateTime, Datelike, Duration, NaiveDate, NaiveDateTime, TimeZone, Timelike, Utc};
use chrono_tz::Tz;
use serde::{Deserialize, Deserializer};
use tubtrail_domain::say;
use tubtrail_domain::saying::Quoted;
use tubtrail_domain::saying::Saying;
use tubtrail_domain::text::{self, TextError};
use tubtrail_storage::AnyConnection;
use tubtrail_storage::master_data::{Equipment, Item, Noun, Partner, Recipe, Site};

use crate::clock::to_microseconds;
use crate::error::{OperationError, Result};
use crate::index::names::{KeptSite, Names};
use crate::problems;
use crate::reach::{Actor, Operation};

/// How far a device's clock may run ahead of ours.
const AHEAD: Duration = Duration::minutes(5);

/// A name.
pub fn name(field: &str, value: &str) -> Result<String> {
    taken(field, text::line(value, text::NAME))
}

/// A code of ours.
pub fn code(field: &str, value: &str) -> Result<String> {
    taken(field, text::code(value))
}

/// A code of somebody else.
pub fn foreign_code(field: &str, value: &str) -> Result<String> {
    taken(field, text::line(value, text::FOREIGN_CODE))
}

/// A note, where there is one; an empty one is none.
pub fn optional_note(field: &str, value: Option<&str>) -> Result<Option<String>> {
    value.filter(|text| !text.trim().is_empty()).map(|value| taken(field, text::note(value))).transpose()
}

/// A reason that must be given.
pub fn reason(field: &str, value: Option<&str>) -> Result<String> {
    optional_note(field, value)?
        .ok_or_else(|| OperationError::new(&problems::NEEDS_REASON, say!("say why, in a few words")).at(field))
}

fn taken(field: &str, text: std::result::Result<&str, TextError>) -> Result<String> {
    text.map(str::to_owned).map_err(|error| OperationError::invalid(field, error))
}

/// Reads a kind that has no fields of its own. What stands there all the same would be dropped in silence: serde refuses
/// unknown fields of the other kinds alone.
pub fn nothing_else<'de, D: Deserializer<'de>>(reader: D) -> std::result::Result<(), D::Error> {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Nothing {}
    Nothing::deserialize(reader).map(|Nothing {}| ())
}

/// How many of something a request may hold.
pub fn between(field: &str, count: usize, least: usize, most: usize) -> Result<()> {
    if (least..=most).contains(&count) {
        return Ok(());
    }
    let detail = if count == 0 {
        say!("there is nothing here yet; {least} to {most} are taken", least, most)
    } else {
        say!("there are {count} of these; {least} to {most} are taken", count, least, most)
    };
    Err(OperationError::invalid(field, detail))
}

/// When it happened, as a person says; now, if they do not. Not in the future, and not before the year 2000.
pub fn occurred_at(field: &str, said: Option<DateTime<Utc>>, now: NaiveDateTime) -> Result<NaiveDateTime> {
    let Some(said) = said else { return Ok(now) };
    let said = to_microseconds(said.naive_utc());
    if said > now + AHEAD {
        return Err(OperationError::new(&problems::IN_THE_FUTURE, say!("this lies in the future")).at(field));
    }
    // A day later than said: west of Greenwich it is still 1999 for a while.
    if said.date() <= NaiveDate::from_ymd_opt(2000, 1, 1).unwrap_or_default() {
        return Err(OperationError::invalid(field, say!("this lies before the year 2000")));
    }
    Ok(said)
}

/// A temperature in degrees Celsius, kept to a tenth.
#[allow(clippy::cast_possible_truncation)] // The range is checked first.
pub fn celsius_tenths(field: &str, celsius: f64) -> Result<i32> {
    if (-100.0..=300.0).contains(&celsius) {
        Ok((celsius * 10.0).round() as i32)
    } else {
        Err(OperationError::invalid(field, say!("a temperature lies between -100 and 300 °C")))
    }
}

/// A moment as the database keeps it, as answers give it.
pub fn utc(time: NaiveDateTime) -> DateTime<Utc> {
    time.and_utc()
}

/// What a field names by its code, in use or not.
pub fn named<N: Noun>(conn: &mut AnyConnection, noun: Saying, field: &str, code: &str) -> Result<N> {
    N::by_code(conn, code)?.ok_or_else(|| OperationError::unknown(noun, code, field))
}

/// A site named in a request; must be in use.
pub fn site(conn: &mut AnyConnection, field: &str, code: &str) -> Result<Site> {
    let site: Site = named(conn, say!("site"), field, code)?;
    in_use(site.current.active, say!("site"), code, field)?;
    Ok(site)
}

/// A site that narrows a list; it may be out of use by now.
pub fn filter_site(conn: &mut AnyConnection, field: &str, code: &str) -> Result<i64> {
    Ok(named::<Site>(conn, say!("site"), field, code)?.row.id)
}

/// A partner that narrows a list; it may be out of use by now.
pub fn filter_partner(conn: &mut AnyConnection, field: &str, code: &str) -> Result<i64> {
    Ok(named::<Partner>(conn, say!("partner"), field, code)?.row.id)
}

/// An item that narrows a list; it may be out of use by now.
pub fn filter_item(conn: &mut AnyConnection, field: &str, code: &str) -> Result<i64> {
    Ok(named::<Item>(conn, say!("item"), field, code)?.row.id)
}

/// The `next` of a list that is paged by row id; empty before the first page.
pub fn after_id(field: &str, text: &str) -> Result<i64> {
    if text.is_empty() {
        return Ok(0);
    }
    let id = text.parse().ok().filter(|id: &i64| id.to_string() == text);
    id.ok_or_else(|| no_next(field))
}

/// What was sent as the `next` of the page before is none.
pub fn no_next(field: &str) -> OperationError {
    OperationError::invalid(field, say!("send the `next` of the page before, as it was"))
}

/// The `next` of a list that is paged by code; empty before the first page.
pub fn after_code(field: &str, text: &str) -> Result<()> {
    if text.is_empty() { Ok(()) } else { code(field, text).map(drop) }
}

/// A site named in a request, where the actor may do this; must be in use. One out of their reach is not found.
pub fn site_for(
    conn: &mut AnyConnection,
    field: &str,
    code: &str,
    actor: &Actor,
    operation: &Operation,
) -> Result<Site> {
    let site = site(conn, field, code)?;
    if !actor.reaches(site.row.id) {
        return Err(OperationError::not_found(say!("site"), code).at(field));
    }
    actor.may(operation, site.row.id).map_err(|error| error.at(field))?;
    Ok(site)
}

/// As [`site_for`], by the index.
pub(crate) fn site_kept_for<'a>(
    names: &'a Names,
    field: &str,
    code: &str,
    actor: &Actor,
    operation: &Operation,
) -> Result<&'a KeptSite> {
    let kept = names.site_of_code(code).ok_or_else(|| OperationError::unknown(say!("site"), code, field))?;
    in_use(kept.site.current.active, say!("site"), code, field)?;
    if !actor.reaches(kept.site.row.id) {
        return Err(OperationError::not_found(say!("site"), code).at(field));
    }
    actor.may(operation, kept.site.row.id).map_err(|error| error.at(field))?;
    Ok(kept)
}

/// The sites a list is asked for: the one named, in use or not, or all where the actor may ask; `None` is every site.
pub fn sites_asked(
    conn: &mut AnyConnection,
    code: Option<&str>,
    actor: &Actor,
    operation: &Operation,
) -> Result<Option<Vec<i64>>> {
    let Some(code) = code else { return Ok(actor.sites_for(operation)) };
    let site: Site = named(conn, say!("site"), "site", code)?;
    if !actor.reaches(site.row.id) {
        return Err(OperationError::not_found(say!("site"), code).at("site"));
    }
    actor.may(operation, site.row.id).map_err(|error| error.at("site"))?;
    Ok(Some(vec![site.row.id]))
}

/// The site where something stands, in the field `site`. What is no longer in use may stand at one that is not either.
pub fn stands_at(conn: &mut AnyConnection, code: &str, in_use: bool) -> Result<i64> {
    if in_use { Ok(site(conn, "site", code)?.row.id) } else { filter_site(conn, "site", code) }
}

/// A partner named in a request; must be in use.
pub fn partner(conn: &mut AnyConnection, field: &str, code: &str) -> Result<Partner> {
    let partner: Partner = named(conn, say!("partner"), field, code)?;
    in_use(partner.current.active, say!("partner"), code, field)?;
    Ok(partner)
}

/// An item named in a request; must be in use.
pub fn item(conn: &mut AnyConnection, field: &str, code: &str) -> Result<Item> {
    let item: Item = named(conn, say!("item"), field, code)?;
    in_use(item.current.active, say!("item"), code, field)?;
    Ok(item)
}

/// A recipe named in a request; must be in use.
pub fn recipe(conn: &mut AnyConnection, field: &str, code: &str) -> Result<Recipe> {
    let recipe: Recipe = named(conn, say!("recipe"), field, code)?;
    in_use(recipe.current.active, say!("recipe"), code, field)?;
    Ok(recipe)
}

/// Equipment named in a request; must be in use.
pub fn equipment(conn: &mut AnyConnection, field: &str, code: &str) -> Result<Equipment> {
    let equipment: Equipment = named(conn, say!("equipment"), field, code)?;
    in_use(equipment.current.active, say!("equipment"), code, field)?;
    Ok(equipment)
}

#[expect(clippy::needless_pass_by_value, reason = "it is made for this")]
fn in_use(active: bool, noun: Saying, code: &str, field: &str) -> Result<()> {
    if active {
        return Ok(());
    }
    Err(OperationError::new(
        &problems::NOT_IN_USE,
        say!("the {noun} {code} is no longer in use", noun, code = Quoted(&code)),
    )
    .at(field))
}

/// The day it is, or was, at a site.
pub fn day_at(site: &Site, time: NaiveDateTime) -> Result<NaiveDate> {
    Ok(time.and_utc().with_timezone(&zone(site)?).date_naive())
}

/// A moment as the clock on a site's wall shows it, for sentences: `2026-11-03 06:00 (Europe/Lisbon)`.
pub fn wall_clock(site: &Site, time: NaiveDateTime) -> Result<String> {
    Ok(wall_clock_in(zone(site)?, time))
}

/// The same in a time zone.
pub fn wall_clock_in(zone: Tz, time: NaiveDateTime) -> String {
    WallClock { zone, time }.to_string()
}

/// A moment as a clock in a time zone shows it.
#[derive(Clone, Copy)]
pub struct WallClock {
    /// Which zone.
    pub zone: Tz,
    /// The moment, UTC.
    pub time: NaiveDateTime,
}

tubtrail_domain::fills_as_text!(WallClock);

impl std::fmt::Display for WallClock {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let wall = self.time.and_utc().with_timezone(&self.zone);
        // By hand: patterns of formats are read anew each time, and an answer holds many of these.
        let (year, month, day) = (wall.year(), wall.month(), wall.day());
        write!(f, "{year}-{month:02}-{day:02} {:02}:{:02} ({})", wall.hour(), wall.minute(), self.zone)
    }
}

/// When a day begins at a site, UTC. Where the clocks are put forward at midnight, that is the first moment after.
pub fn day_begins(site: &Site, day: NaiveDate) -> Result<NaiveDateTime> {
    let zone = zone(site)?;
    let midnight = day.and_time(chrono::NaiveTime::MIN);
    let begins = (0..=24).find_map(|quarters| {
        let wall = midnight.checked_add_signed(Duration::minutes(15 * quarters))?;
        zone.from_local_datetime(&wall).earliest()
    });
    begins.map(|begins| begins.naive_utc()).ok_or_else(|| OperationError::invalid("day", say!("this is no day there")))
}

fn zone(site: &Site) -> Result<Tz> {
    let zone = &site.current.time_zone;
    Ok(zone.parse().map_err(|_| tubtrail_storage::StorageError::Corrupt(format!("time zone {zone:?}")))?)
}

/// Most rows on a page unless it is said.
pub const fn usual_page() -> u32 {
    100
}
