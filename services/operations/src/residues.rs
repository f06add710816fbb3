//! Residues: how much of a batch stays behind on equipment, as measured, or as a site reckons where nothing was measured.
//! They turn a contact into an estimate, never into a clearance.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::AnyConnection;
use tubtrail_storage::cleans::{CarryOverDefaultRow, ResidueRow, carry_over_defaults_of, residues_of};
use tubtrail_storage::master_data::{Equipment, Noun, Site};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::fields;
use crate::quantities::Grams;
use crate::reach::{self, Actor, Operation, Request};
use crate::serving_ways::site_addressed;
use crate::tubtrail::{Answered, Tubtrail};

/// Most that may stay behind, milligrams: a tonne.
const MOST_MG: i64 = 1_000_000_000;
/// Most rows of a list.
const MOST_LISTED: i64 = 500;

/// What was measured to stay behind on a piece of equipment.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"grams": 48.5, "measured_at": "2026-11-25T09:00:00Z", "note": "scraped out and weighed"}))]
pub struct NewResidue {
    /// How much of a batch stays behind.
    pub grams: Grams,
    /// When it was measured; now, if absent.
    #[serde(default)]
    pub measured_at: Option<DateTime<Utc>>,
    /// How it was measured.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

/// A measured residue.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"equipment": "batch-freezer-1", "grams": 48.5, "measured_at": "2026-11-25T09:00:00Z",
    "note": "scraped out and weighed", "entry": 8330}))]
pub struct Residue {
    /// The equipment's code.
    pub equipment: String,
    /// How much of a batch stays behind.
    pub grams: Grams,
    /// When it was measured.
    pub measured_at: DateTime<Utc>,
    /// How.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// The journal entry that brought it.
    pub entry: i64,
}

/// What a site reckons with.
#[derive(Clone, Copy, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"grams": 60}))]
pub struct NewCarryOver {
    /// How much of a batch stays behind on any equipment of which nothing was measured.
    pub grams: Grams,
}

/// What a site reckons with.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"site": "quay-kitchen", "grams": 60, "entry": 8331}))]
pub struct CarryOver {
    /// The site's code.
    pub site: String,
    /// How much of a batch stays behind on any equipment of which nothing was measured.
    pub grams: Grams,
    /// The journal entry that brought it.
    pub entry: i64,
}

impl Tubtrail {
    /// Writes down how much was measured to stay behind on a piece of equipment.
    pub fn record_residue(&self, request: &Request, equipment: &str, new: NewResidue) -> Result<Answered<Residue>> {
        request.actor.may_anywhere(&reach::RECORD_RESIDUE)?;
        let (actor, code) = (request.actor.clone(), equipment.to_owned());
        self.write(request, &reach::RECORD_RESIDUE, move |tx| {
            let equipment = addressed(tx.conn()?, &actor, &reach::RECORD_RESIDUE, &code)?;
            let mass_mg = left(new.grams)?;
            let measured_at = fields::occurred_at("measured_at", new.measured_at, tx.now())?;
            let note = fields::optional_note("note", new.note.as_deref())?;
            tx.at_site(equipment.current.site_id);
            let (id, entry) = (tx.id(), tx.entry());
            let row = ResidueRow { id, entry, equipment_id: equipment.row.id, measured_at, mass_mg, note };
            tx.record(&row)?;
            Ok(residue(&equipment, row))
        })
    }

    /// What was measured of a piece of equipment, the last measured first; that one counts.
    pub fn list_residues(&self, request: &Request, equipment: &str) -> Result<Vec<Residue>> {
        self.read_at_once(|conn| {
            let equipment = addressed(conn, &request.actor, &reach::LIST_RESIDUES, equipment)?;
            let rows = residues_of(conn, equipment.row.id, MOST_LISTED)?;
            Ok(rows.into_iter().map(|row| residue(&equipment, row)).collect())
        })
    }

    /// Says how much a site reckons stays behind where nothing was measured.
    pub fn set_carry_over(&self, request: &Request, site: &str, new: NewCarryOver) -> Result<Answered<CarryOver>> {
        request.actor.may_anywhere(&reach::SET_CARRY_OVER)?;
        let (actor, site) = (request.actor.clone(), site.to_owned());
        self.write(request, &reach::SET_CARRY_OVER, move |tx| {
            let site = site_addressed(tx.conn()?, &actor, &reach::SET_CARRY_OVER, &site)?;
            let mass_mg = left(new.grams)?;
            tx.at_site(site.row.id);
            let row = CarryOverDefaultRow { id: tx.id(), entry: tx.entry(), site_id: site.row.id, mass_mg };
            tx.record(&row)?;
            Ok(carry_over(&site, &row))
        })
    }

    /// What a site reckoned with, the last said first; that one counts. Empty: it has not said.
    pub fn list_carry_overs(&self, request: &Request, site: &str) -> Result<Vec<CarryOver>> {
        self.read_at_once(|conn| {
            let site = site_addressed(conn, &request.actor, &reach::LIST_CARRY_OVERS, site)?;
            let rows = carry_over_defaults_of(conn, site.row.id, MOST_LISTED)?;
            Ok(rows.iter().map(|row| carry_over(&site, row)).collect())
        })
    }
}

fn addressed(conn: &mut AnyConnection, actor: &Actor, operation: &Operation, code: &str) -> Result<Equipment> {
    let found = Equipment::by_code(conn, code)?.filter(|equipment| actor.reaches(equipment.current.site_id));
    let equipment = found.ok_or_else(|| OperationError::not_found(say!("equipment"), code))?;
    actor.may(operation, equipment.current.site_id)?;
    Ok(equipment)
}

fn left(grams: Grams) -> Result<i64> {
    if (0..=MOST_MG).contains(&grams.mg()) {
        return Ok(grams.mg());
    }
    Err(OperationError::invalid("grams", say!("what stays behind is between nothing and a tonne")))
}

fn residue(equipment: &Equipment, row: ResidueRow) -> Residue {
    Residue {
        equipment: equipment.row.code.clone(),
        grams: Grams::from_mg(row.mass_mg),
        measured_at: fields::utc(row.measured_at),
        note: row.note,
        entry: row.entry,
    }
}

fn carry_over(site: &Site, row: &CarryOverDefaultRow) -> CarryOver {
    CarryOver { site: site.row.code.clone(), grams: Grams::from_mg(row.mass_mg), entry: row.entry }
}
