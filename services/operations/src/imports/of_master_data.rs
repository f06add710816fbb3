//! Tables of sites, partners, items, recipes and equipment.

use tubtrail_domain::say;

use super::FromTable;
use crate::equipment::Equipment;
use crate::error::{OperationError, Result};
use crate::items::{CountedBy, Item, ItemKind};
use crate::partners::Partner;
use crate::quantities::Amount;
use crate::recipes::{Recipe, RecipeLine};
use crate::sites::{Site, SiteKind};
use crate::table::{Row, at_line, one_word};

impl FromTable for Site {
    const COLUMNS: &'static [&'static str] = &["code", "name", "kind", "time_zone", "gln", "active", "address"];
    const OPTIONAL: usize = 1;

    fn from_rows(rows: &[Row]) -> Result<Self> {
        let row = &rows[0];
        Ok(Self {
            code: row.required("code")?,
            name: row.required("name")?,
            kind: one_word::<SiteKind>("kind", &row.required("kind")?)?,
            time_zone: row.required("time_zone")?,
            gln: row.text("gln"),
            address: row.text("address"),
            active: row.flag("active")?.unwrap_or(true),
            version: None,
        })
    }

    fn keeping(self, stands: &Self, missing: &[&'static str]) -> Self {
        let address = if missing.contains(&"address") { stands.address.clone() } else { self.address };
        Self { address, ..self }
    }
}

impl FromTable for Partner {
    const COLUMNS: &'static [&'static str] =
        &["code", "name", "supplies", "takes_tubs", "contact", "active", "gln", "address"];
    const OPTIONAL: usize = 2;

    fn from_rows(rows: &[Row]) -> Result<Self> {
        let row = &rows[0];
        Ok(Self {
            code: row.required("code")?,
            name: row.required("name")?,
            supplies: row.flag("supplies")?.unwrap_or(false),
            takes_tubs: row.flag("takes_tubs")?.unwrap_or(false),
            contact: row.text("contact"),
            gln: row.text("gln"),
            address: row.text("address"),
            active: row.flag("active")?.unwrap_or(true),
            version: None,
        })
    }

    fn keeping(self, stands: &Self, missing: &[&'static str]) -> Self {
        let gln = if missing.contains(&"gln") { stands.gln.clone() } else { self.gln };
        let address = if missing.contains(&"address") { stands.address.clone() } else { self.address };
        Self { gln, address, ..self }
    }
}

impl FromTable for Item {
    const COLUMNS: &'static [&'static str] = &[
        "code",
        "name",
        "kind",
        "counted_by",
        "density_kg_per_m3",
        "piece_grams",
        "percent_vol",
        "sweetened",
        "tracked",
        "kept",
        "warmest_arrival_celsius",
        "portion_grams",
        "shelf_life_days",
        "active",
        "warn_days",
    ];
    const OPTIONAL: usize = 1;

    fn from_rows(rows: &[Row]) -> Result<Self> {
        let row = &rows[0];
        Ok(Self {
            code: row.required("code")?,
            name: row.required("name")?,
            kind: one_word::<ItemKind>("kind", &row.required("kind")?)?,
            counted: counted(row)?,
            tracked: row.flag("tracked")?.unwrap_or(true),
            kept: row.word("kept")?.unwrap_or_default(),
            warmest_arrival_celsius: row.number("warmest_arrival_celsius", "4.5")?,
            portion_grams: row.grams("portion_grams")?,
            shelf_life_days: row.number("shelf_life_days", "30")?,
            warn_days: row.number("warn_days", "7")?,
            active: row.flag("active")?.unwrap_or(true),
            version: None,
        })
    }

    fn keeping(self, stands: &Self, missing: &[&'static str]) -> Self {
        let warn_days = if missing.contains(&"warn_days") { stands.warn_days } else { self.warn_days };
        Self { warn_days, ..self }
    }
}

fn counted(row: &Row) -> Result<CountedBy> {
    let by = row.optional("counted_by").unwrap_or("mass");
    if !["mass", "volume", "piece", "strength"].contains(&by) {
        return Err(OperationError::invalid("counted_by", say!("write mass, volume, piece or strength")));
    }
    for (figure, of) in [
        ("density_kg_per_m3", "volume"),
        ("piece_grams", "piece"),
        ("percent_vol", "strength"),
        ("sweetened", "strength"),
    ] {
        if by != of && row.optional(figure).is_some() {
            return Err(OperationError::invalid(
                figure,
                say!("this belongs to what is counted by {of}, not by {by}", of, by),
            ));
        }
    }
    let missing = |column: &str| OperationError::invalid(column, say!("what is counted by {by} needs this", by));
    let amount = |column: &str| row.text(column).map(Amount).ok_or_else(|| missing(column));
    Ok(match by {
        "volume" => CountedBy::Volume { density_kg_per_m3: amount("density_kg_per_m3")? },
        "piece" => CountedBy::Piece { piece_grams: row.grams("piece_grams")?.ok_or_else(|| missing("piece_grams"))? },
        "strength" => CountedBy::Strength {
            percent_vol: amount("percent_vol")?,
            sweetened: row.flag("sweetened")?.unwrap_or(false),
        },
        _ => CountedBy::Mass,
    })
}

impl FromTable for Recipe {
    const COLUMNS: &'static [&'static str] = &[
        "code",
        "item",
        "name",
        "expected_yield_grams",
        "maturing_minutes",
        "method",
        "active",
        "line_item",
        "line_grams",
    ];
    const SEVERAL_ROWS: bool = true;

    fn from_rows(rows: &[Row]) -> Result<Self> {
        let first = &rows[0];
        for row in &rows[1..] {
            refuse_another_head(first, row).map_err(|error| at_line(row.line, error))?;
        }
        let missing = || OperationError::invalid("expected_yield_grams", say!("this must not be empty"));
        Ok(Self {
            code: first.required("code")?,
            item: first.required("item")?,
            name: first.required("name")?,
            lines: rows
                .iter()
                .map(|row| recipe_line(row).map_err(|error| at_line(row.line, error)))
                .collect::<Result<_>>()?,
            expected_yield_grams: first.grams("expected_yield_grams")?.ok_or_else(missing)?,
            maturing_minutes: first.number("maturing_minutes", "720")?,
            method: first.text("method"),
            active: first.flag("active")?.unwrap_or(true),
            version: None,
        })
    }

    /// `lines[2].grams` is `line_grams` of the third row.
    fn cell_of(field: &str) -> (usize, String) {
        let Some(line) = field.strip_prefix("lines") else { return (0, field.to_owned()) };
        let place = line.strip_prefix('[').and_then(|rest| rest.split_once("]."));
        match place.map(|(place, name)| (place.parse(), name)) {
            Some((Ok(place), name)) => (place, format!("line_{name}")),
            _ => (0, "line_item".to_owned()),
        }
    }
}

fn refuse_another_head(first: &Row, row: &Row) -> Result<()> {
    let own = Recipe::COLUMNS.iter().filter(|column| !column.starts_with("line_"));
    for column in own {
        if row.optional(column).is_some() && row.optional(column) != first.optional(column) {
            let detail =
                say!("this differs from line {line}, where the recipe begins; leave it empty", line = first.line);
            return Err(OperationError::invalid(*column, detail));
        }
    }
    Ok(())
}

fn recipe_line(row: &Row) -> Result<RecipeLine> {
    let missing = || OperationError::invalid("line_grams", say!("this must not be empty"));
    Ok(RecipeLine { item: row.required("line_item")?, grams: row.grams("line_grams")?.ok_or_else(missing)? })
}

impl FromTable for Equipment {
    const COLUMNS: &'static [&'static str] = &["code", "name", "site", "touches", "active"];

    fn from_rows(rows: &[Row]) -> Result<Self> {
        let row = &rows[0];
        let touches = row.required("touches")?;
        Ok(Self {
            code: row.required("code")?,
            name: row.required("name")?,
            site: row.required("site")?,
            touches: touches.split_whitespace().map(|word| one_word("touches", word)).collect::<Result<_>>()?,
            active: row.flag("active")?.unwrap_or(true),
            version: None,
        })
    }
}
