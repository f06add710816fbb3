//! What labels need, from tables: makers, what labels say of items, printers.

use tubtrail_domain::say;

use super::FromTable;
use crate::error::{OperationError, Result};
use crate::item_labels::{ItemLabel, MadeOf};
use crate::labels::Dpi;
use crate::makers::Maker;
use crate::printers::Printer;
use crate::table::{Row, one_word};

impl FromTable for Maker {
    const COLUMNS: &'static [&'static str] = &["code", "name", "address", "jurisdiction", "link_stem", "active"];

    fn from_rows(rows: &[Row]) -> Result<Self> {
        let row = &rows[0];
        Ok(Self {
            code: row.required("code")?,
            name: row.required("name")?,
            address: lines(&row.required("address")?),
            jurisdiction: one_word("jurisdiction", &row.required("jurisdiction")?)?,
            link_stem: row.text("link_stem"),
            active: row.flag("active")?.unwrap_or(true),
            version: None,
        })
    }

    fn cell_of(field: &str) -> (usize, String) {
        whole_cell(field)
    }
}

impl FromTable for ItemLabel {
    const COLUMNS: &'static [&'static str] = &[
        "code",
        "name",
        "made_of",
        "ingredients",
        "shown",
        "sugars_based",
        "percent_shown",
        "storage",
        "opened_days",
        "largest_surface_cm2",
    ];

    fn from_rows(rows: &[Row]) -> Result<Self> {
        let row = &rows[0];
        Ok(Self {
            code: row.required("code")?,
            name: row.required("name")?,
            made_of: made_of(row)?,
            shown: row.word("shown")?,
            sugars_based: row.flag("sugars_based")?.unwrap_or(false),
            percent_shown: row.flag("percent_shown")?.unwrap_or(false),
            storage: row.text("storage"),
            opened_days: row.number("opened_days", "3")?,
            largest_surface_cm2: row.number("largest_surface_cm2", "80")?,
            version: None,
        })
    }

    fn cell_of(field: &str) -> (usize, String) {
        whole_cell(field)
    }
}

fn made_of(row: &Row) -> Result<MadeOf> {
    let by = row.optional("made_of").unwrap_or("not_known");
    let made_of = match by {
        "listed" => return Ok(MadeOf::Listed { ingredients: lines(&row.required("ingredients")?) }),
        "single" => MadeOf::Single,
        "not_known" => MadeOf::NotKnown,
        "what_went_in" => MadeOf::WhatWentIn,
        _ => return Err(OperationError::invalid("made_of", say!("write single, listed, not_known or what_went_in"))),
    };
    if row.optional("ingredients").is_some() {
        let detail = say!("these belong to what is listed, not to {by}", by);
        return Err(OperationError::invalid("ingredients", detail));
    }
    Ok(made_of)
}

impl FromTable for Printer {
    const COLUMNS: &'static [&'static str] =
        &["code", "name", "site", "uri", "size", "dpi", "any_certificate", "active"];

    fn from_rows(rows: &[Row]) -> Result<Self> {
        let row = &rows[0];
        let dots: u32 = row.number("dpi", "203")?.unwrap_or(Dpi::default().into());
        Ok(Self {
            code: row.required("code")?,
            name: row.required("name")?,
            site: row.required("site")?,
            uri: row.required("uri")?,
            size: row.word("size")?.unwrap_or_default(),
            dpi: Dpi::try_from(dots).map_err(|why| OperationError::invalid("dpi", why))?,
            any_certificate: row.flag("any_certificate")?.unwrap_or(false),
            active: row.flag("active")?.unwrap_or(true),
            version: None,
        })
    }
}

/// The lines of a cell; those with nothing on them are none.
fn lines(cell: &str) -> Vec<String> {
    cell.lines().map(str::trim).filter(|line| !line.is_empty()).map(str::to_owned).collect()
}

/// `made_of.ingredients[2]` is in the cell `ingredients`.
fn whole_cell(field: &str) -> (usize, String) {
    let name = field.rsplit('.').next().unwrap_or(field);
    (0, name.split('[').next().unwrap_or(name).to_owned())
}
