//! Partners: suppliers, and customers that take whole tubs.

use serde::{Deserialize, Serialize};
use tubtrail_domain::gs1::gtin::Gln;
use tubtrail_domain::say;
use tubtrail_storage::master_data::{self as stored, PartnerRow, PartnerVersionRow};
use tubtrail_storage::{AnyConnection, WriteTx};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::fields;
use crate::master_data::{Master, noun};
use crate::sites::yes;

/// A supplier, or a customer that takes whole tubs and is told of a recall.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"code": "hollow-farm", "name": "Hollow Farm Dairy", "supplies": true, "takes_tubs": false,
    "contact": "Morning round, 555 0101", "address": "Hollow Lane 3, Northquay", "active": true}))]
pub struct Partner {
    /// Its code; it never changes.
    #[schema(max_length = 40, pattern = "^[a-z0-9][a-z0-9-]*$")]
    pub code: String,
    /// As shown.
    #[schema(max_length = 120)]
    pub name: String,
    /// Delivers to us.
    #[serde(default)]
    pub supplies: bool,
    /// Takes whole tubs from us.
    #[serde(default)]
    pub takes_tubs: bool,
    /// How to reach them when it is urgent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub contact: Option<String>,
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

impl Master for Partner {
    noun!(say!("partner"), stored::Partner, [LIST_PARTNERS GET_PARTNER LIST_PARTNER_VERSIONS CREATE_PARTNER CHANGE_PARTNER]);

    fn answer_version(_: &mut AnyConnection, stored: &stored::Partner, version: PartnerVersionRow) -> Result<Self> {
        Ok(Self {
            code: stored.row.code.clone(),
            name: version.name,
            supplies: version.supplies,
            takes_tubs: version.takes_tubs,
            contact: version.contact,
            gln: version.gln,
            address: version.address,
            active: version.active,
            version: Some(version.version),
        })
    }

    fn checked(self, _: &mut AnyConnection) -> Result<Self> {
        if !self.supplies && !self.takes_tubs {
            return Err(OperationError::invalid("supplies", say!("a partner supplies, or takes tubs, or both")));
        }
        if let Some(gln) = &self.gln {
            gln.parse::<Gln>().map_err(|error| OperationError::invalid("gln", error))?;
        }
        Ok(Self {
            name: fields::name("name", &self.name)?,
            contact: fields::optional_note("contact", self.contact.as_deref())?,
            address: fields::optional_note("address", self.address.as_deref())?,
            ..self
        })
    }

    fn record_identity(&self, tx: &mut WriteTx<'_>) -> Result<i64> {
        let id = tx.id();
        tx.record(&PartnerRow { id, entry: tx.entry(), code: self.code.clone() })?;
        Ok(id)
    }

    fn record_version(&self, tx: &mut WriteTx<'_>, partner_id: i64, version: i32) -> Result<()> {
        let row = PartnerVersionRow {
            id: tx.id(),
            entry: tx.entry(),
            partner_id,
            version,
            name: self.name.clone(),
            supplies: self.supplies,
            takes_tubs: self.takes_tubs,
            contact: self.contact.clone(),
            active: self.active,
            gln: self.gln.clone(),
            address: self.address.clone(),
        };
        Ok(tx.record(&row)?)
    }
}
