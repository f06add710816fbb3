//! What a recall is to begin with, as a form says it: one of the seven ways of the operation.

use std::str::FromStr as _;

use chrono::{DateTime, NaiveDateTime, Utc};
use chrono_tz::Tz;
use tubtrail_domain::say;
use tubtrail_operations::recalls::{SeedAsked, SeedsAsked};
use tubtrail_operations::{OperationError, problems};

use crate::pages::fields::Fields;

/// The ways, as `by` names them, in the order of what is in hand most often.
pub const WAYS: [&str; 7] =
    ["lots", "supplier_lots", "supplier_lot_range", "supplier_lot_prefix", "supplier_days", "equipment", "place"];

/// The fields in which a way is asked for, `by` and contacts among them.
pub const FIELDS: [&str; 16] = [
    "by",
    "lots",
    "supplier",
    "item",
    "codes",
    "from_code",
    "until_code",
    "prefix",
    "from_day",
    "until_day",
    "equipment",
    "site",
    "state",
    "from_time",
    "until_time",
    "with_contact",
];

/// What a form asks for; `zone_of` says the time zone at a site, or where equipment stands.
pub fn seeds(asked: &Fields, zone: Tz) -> Result<SeedsAsked, OperationError> {
    let seeds = vec![seed(asked, zone)?];
    Ok(SeedsAsked { seeds, with_contact: asked.get("with_contact").is_some() })
}

fn seed(asked: &Fields, zone: Tz) -> Result<SeedAsked, OperationError> {
    let text = |name: &str| asked.get(name).map(|text| text.trim().to_owned()).ok_or_else(|| missing(name));
    let item = asked.get("item").map(str::to_owned);
    Ok(match asked.get("by").unwrap_or("") {
        "lots" => SeedAsked::Lots { lots: several("lots", asked)? },
        "supplier_lots" => {
            SeedAsked::SupplierLots { supplier: text("supplier")?, item, codes: several("codes", asked)? }
        }
        "supplier_lot_prefix" => {
            SeedAsked::SupplierLotPrefix { supplier: text("supplier")?, item, prefix: text("prefix")? }
        }
        "supplier_lot_range" => {
            let (from, until) = (text("from_code")?, text("until_code")?);
            SeedAsked::SupplierLotRange { supplier: text("supplier")?, item, from, until }
        }
        "supplier_days" => {
            let day = |name: &str| {
                let wrong = |_| OperationError::new(&problems::INVALID, say!("write a day as 2026-11-25")).at(name);
                text(name)?.parse().map_err(wrong)
            };
            let (from, until) = (day("from_day")?, day("until_day")?);
            SeedAsked::SupplierDays { supplier: text("supplier")?, item, from, until }
        }
        "equipment" => {
            let (from, until) = window(asked, zone)?;
            SeedAsked::Equipment { equipment: text("equipment")?, from, until }
        }
        "place" => {
            let (from, until) = window(asked, zone)?;
            let state = asked.get("state").map(|state| serde_json::from_value(state.into()));
            let wrong = |_| OperationError::new(&problems::INVALID, say!("this is no way to stand there")).at("state");
            SeedAsked::Place { site: text("site")?, state: state.transpose().map_err(wrong)?, from, until }
        }
        _ => return Err(missing("by")),
    })
}

fn missing(field: &str) -> OperationError {
    OperationError::new(&problems::INVALID, say!("this is needed")).at(field)
}

/// What stands one a line, or with commas between.
fn several(name: &str, asked: &Fields) -> Result<Vec<String>, OperationError> {
    let all = asked.all(name).flat_map(|text| text.split(['\n', '\r', ',', ';']));
    let named: Vec<String> = all.map(str::trim).filter(|one| !one.is_empty()).map(str::to_owned).collect();
    if named.is_empty() { Err(missing(name)) } else { Ok(named) }
}

type Window = (DateTime<Utc>, Option<DateTime<Utc>>);

fn window(asked: &Fields, zone: Tz) -> Result<Window, OperationError> {
    let from = time("from_time", asked, zone)?.ok_or_else(|| missing("from_time"))?;
    Ok((from, time("until_time", asked, zone)?))
}

/// A time as a browser's field for times sends it, as clocks show it in a time zone.
pub fn time(name: &str, asked: &Fields, zone: Tz) -> Result<Option<DateTime<Utc>>, OperationError> {
    let Some(text) = asked.get(name) else { return Ok(None) };
    let wrong = || OperationError::new(&problems::INVALID, say!("write a time as 2026-11-25T14:30")).at(name);
    let local = NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M")
        .or_else(|_| NaiveDateTime::from_str(text))
        .map_err(|_| wrong())?;
    let found = local.and_local_timezone(zone).earliest().ok_or_else(wrong)?;
    Ok(Some(found.with_timezone(&Utc)))
}

/// The field of a form that shows a field of the operation, as in `seeds[0].codes[2]`.
pub fn place(by: &str, field: &str) -> Option<String> {
    let inner = field.strip_prefix("seeds[0]").map_or(field, |rest| rest.trim_start_matches('.'));
    let inner = inner.split('[').next().unwrap_or("");
    let named = match (by, inner) {
        ("lots", "") => "lots",
        ("supplier_lots", "") => "codes",
        ("supplier_lot_prefix", "") => "prefix",
        ("supplier_lot_range", "" | "from") => "from_code",
        ("supplier_lot_range", "until") => "until_code",
        ("supplier_days", "" | "from") => "from_day",
        ("supplier_days", "until") => "until_day",
        ("equipment", "") => "equipment",
        ("place", "") => "site",
        ("equipment" | "place", "from") => "from_time",
        ("equipment" | "place", "until") => "until_time",
        _ => inner,
    };
    FIELDS.contains(&named).then(|| format!("{by}.{named}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(query: &str) -> Fields {
        Fields::parse(query.as_bytes())
    }

    #[test]
    fn numbers_stand_one_a_line_or_with_commas() {
        let found = seeds(&asked("by=lots&lots=261125-0042-7%0D%0A261125-0051-7,+261125-0052-5%0D%0A"), Tz::UTC);
        let SeedAsked::Lots { lots } = &found.expect("lots").seeds[0] else { panic!("lots were asked for") };
        assert_eq!(*lots, ["261125-0042-7", "261125-0051-7", "261125-0052-5"]);
    }

    /// Lisbon keeps summer time in July: 14:30 there is 13:30 UTC (common practice, from memory).
    #[test]
    fn times_are_those_of_the_place() {
        let found = time("from_time", &asked("from_time=2026-07-01T14%3A30"), Tz::Europe__Lisbon).expect("a time");
        assert_eq!(found.expect("it stands there").to_rfc3339(), "2026-07-01T13:30:00+00:00");
    }

    #[test]
    fn what_is_missing_is_named() {
        for (query, field) in [
            ("", "by"),
            ("by=lots&lots=+", "lots"),
            ("by=supplier_lots&supplier=dairy", "codes"),
            ("by=supplier_days&supplier=dairy&from_day=2026-11-25&until_day=tomorrow", "until_day"),
            ("by=place&site=harbour", "from_time"),
        ] {
            let error = seeds(&asked(query), Tz::UTC).expect_err(query);
            assert_eq!(error.field.as_deref(), Some(field), "{query}");
        }
    }

    #[test]
    fn a_fault_finds_its_field() {
        assert_eq!(place("supplier_lots", "seeds[0].codes[2]").as_deref(), Some("supplier_lots.codes"));
        assert_eq!(place("supplier_lot_range", "seeds[0].until").as_deref(), Some("supplier_lot_range.until_code"));
        assert_eq!(place("supplier_days", "seeds[0]").as_deref(), Some("supplier_days.from_day"));
        assert_eq!(place("lots", "hazard"), None);
    }
}
