//! Sites: the places that hold stock.

use serde::{Deserialize, Serialize};
use tubtrail_domain::gs1::gtin::Gln;
use tubtrail_domain::say;
use tubtrail_storage::master_data::{self as stored, Noun as _, SiteRow, SiteVersionRow};
use tubtrail_storage::{AnyConnection, WriteTx};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::fields;
use crate::master_data::{MOST, Master, noun};

/// What sort of place it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SiteKind {
    /// Makes.
    Kitchen,
    /// Sells by the portion.
    Shop,
    /// Keeps.
    StoreRoom,
    /// Carries.
    Vehicle,
}

impl SiteKind {
    const ALL: [Self; 4] = [Self::Kitchen, Self::Shop, Self::StoreRoom, Self::Vehicle];

    const fn word(self) -> &'static str {
        match self {
            Self::Kitchen => "kitchen",
            Self::Shop => "shop",
            Self::StoreRoom => "store_room",
            Self::Vehicle => "vehicle",
        }
    }
}

/// A place that holds stock.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"code": "quay-kitchen", "name": "Kitchen on the quay", "kind": "kitchen",
    "time_zone": "Europe/Lisbon", "active": true}))]
pub struct Site {
    /// Its code; it never changes.
    #[schema(max_length = 40, pattern = "^[a-z0-9][a-z0-9-]*$")]
    pub code: String,
    /// As shown.
    #[schema(max_length = 120)]
    pub name: String,
    /// What sort of place it is.
    pub kind: SiteKind,
    /// IANA time zone in which its days are counted.
    #[schema(max_length = 60)]
    pub time_zone: String,
    /// GS1 location number, 13 digits.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(pattern = r"^\d{13}$")]
    pub gln: Option<String>,
    /// Street and town, as records for authorities want it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub address: Option<String>,
    /// In use.
    #[serde(default = "yes")]
    pub active: bool,
    /// Absent when new; the version it was read at when changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub version: Option<i32>,
}

pub(crate) const fn yes() -> bool {
    true
}

impl Master for Site {
    const OF_THE_WHOLE_HOUSE: bool = true;
    noun!(say!("site"), stored::Site, [LIST_SITES GET_SITE LIST_SITE_VERSIONS CREATE_SITE CHANGE_SITE]);

    fn answer_version(_: &mut AnyConnection, stored: &stored::Site, version: SiteVersionRow) -> Result<Self> {
        let kind = SiteKind::ALL.into_iter().find(|kind| kind.word() == version.kind);
        let corrupt = || tubtrail_storage::StorageError::Corrupt(format!("site kind {:?}", version.kind));
        Ok(Self {
            code: stored.row.code.clone(),
            name: version.name.clone(),
            kind: kind.ok_or_else(corrupt)?,
            time_zone: version.time_zone.clone(),
            gln: version.gln.clone(),
            address: version.address.clone(),
            active: version.active,
            version: Some(version.version),
        })
    }

    fn checked(self, _: &mut AnyConnection) -> Result<Self> {
        let zone: chrono_tz::Tz = self.time_zone.parse().map_err(|_| {
            OperationError::invalid("time_zone", say!("this is no IANA time zone; write it as in Europe/Lisbon"))
        })?;
        if let Some(gln) = &self.gln {
            gln.parse::<Gln>().map_err(|error| OperationError::invalid("gln", error))?;
        }
        let address = fields::optional_note("address", self.address.as_deref())?;
        Ok(Self { name: fields::name("name", &self.name)?, time_zone: zone.name().to_owned(), address, ..self })
    }

    fn record_identity(&self, tx: &mut WriteTx<'_>) -> Result<i64> {
        let id = tx.id();
        tx.record(&SiteRow { id, entry: tx.entry(), code: self.code.clone() })?;
        Ok(id)
    }

    fn record_version(&self, tx: &mut WriteTx<'_>, site_id: i64, version: i32) -> Result<()> {
        let row = SiteVersionRow {
            id: tx.id(),
            entry: tx.entry(),
            site_id,
            version,
            name: self.name.clone(),
            kind: self.kind.word().to_owned(),
            time_zone: self.time_zone.clone(),
            gln: self.gln.clone(),
            active: self.active,
            address: self.address.clone(),
        };
        Ok(tx.record(&row)?)
    }
}

/// Every site there is, in use or not, in order of code.
pub(crate) fn every_site(conn: &mut AnyConnection) -> Result<Vec<stored::Site>> {
    let mut sites: Vec<stored::Site> = Vec::new();
    loop {
        let after = sites.last().map_or("", |site| site.row.code.as_str()).to_owned();
        let page = stored::Site::page(conn, &after, i64::from(MOST))?;
        if page.is_empty() {
            return Ok(sites);
        }
        sites.extend(page);
    }
}
