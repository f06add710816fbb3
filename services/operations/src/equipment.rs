//! Equipment: the machines and vessels that what is made runs over, one after another.

use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::master_data::{self as stored, EquipmentRow, EquipmentVersionRow, Noun};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::items::ItemKind;
use crate::master_data::{Master, noun};
use crate::sites::yes;
use crate::{fields, problems};

/// A machine or vessel.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"code": "batch-freezer-1", "name": "Batch freezer, left", "site": "quay-kitchen",
    "touches": ["base", "flavour"], "active": true}))]
pub struct Equipment {
    /// Its code; it never changes.
    #[schema(max_length = 40, pattern = "^[a-z0-9][a-z0-9-]*$")]
    pub code: String,
    /// As shown.
    #[schema(max_length = 120)]
    pub name: String,
    /// The code of the site where it stands.
    #[schema(max_length = 40)]
    pub site: String,
    /// The kinds of item it touches.
    #[schema(min_items = 1, max_items = 4)]
    pub touches: Vec<ItemKind>,
    /// In use.
    #[serde(default = "yes")]
    pub active: bool,
    /// Absent when new; the version it was read at when changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub version: Option<i32>,
}

impl Master for Equipment {
    noun!(say!("equipment"), stored::Equipment, [LIST_EQUIPMENT GET_EQUIPMENT LIST_EQUIPMENT_VERSIONS CREATE_EQUIPMENT CHANGE_EQUIPMENT]);

    fn answer_version(
        conn: &mut AnyConnection,
        stored: &stored::Equipment,
        version: EquipmentVersionRow,
    ) -> Result<Self> {
        let corrupt = |what: &str| StorageError::Corrupt(format!("equipment version {}: its {what}", version.id));
        let site = stored::Site::by_id(conn, version.site_id)?.ok_or_else(|| corrupt("site"))?;
        let touches = version.touches.split(',').map(ItemKind::from_word).collect::<Option<Vec<_>>>();
        Ok(Self {
            code: stored.row.code.clone(),
            touches: touches.ok_or_else(|| corrupt("kinds of item"))?,
            name: version.name,
            site: site.row.code,
            active: version.active,
            version: Some(version.version),
        })
    }

    fn checked(self, conn: &mut AnyConnection) -> Result<Self> {
        fields::stands_at(conn, &self.site, self.active)?;
        Ok(Self { name: fields::name("name", &self.name)?, touches: in_order(&self.touches)?, ..self })
    }

    fn lies_at(&self, conn: &mut AnyConnection) -> Result<Option<i64>> {
        Ok(stored::Site::by_code(conn, &self.site)?.map(|site| site.row.id))
    }

    fn record_identity(&self, tx: &mut WriteTx<'_>) -> Result<i64> {
        let id = tx.id();
        tx.record(&EquipmentRow { id, entry: tx.entry(), code: self.code.clone() })?;
        Ok(id)
    }

    fn record_version(&self, tx: &mut WriteTx<'_>, equipment_id: i64, version: i32) -> Result<()> {
        let site_id = fields::stands_at(tx.conn()?, &self.site, self.active)?;
        let row = EquipmentVersionRow {
            id: tx.id(),
            entry: tx.entry(),
            equipment_id,
            version,
            name: self.name.clone(),
            site_id,
            touches: self.touches.iter().map(|kind| kind.word()).collect::<Vec<_>>().join(","),
            active: self.active,
        };
        Ok(tx.record(&row)?)
    }
}

/// The kinds in the order of making, each once.
fn in_order(touches: &[ItemKind]) -> Result<Vec<ItemKind>> {
    if touches.is_empty() {
        return Err(OperationError::invalid("touches", say!("name at least one kind of item that it touches")));
    }
    let ordered: Vec<_> = ItemKind::ALL.into_iter().filter(|kind| touches.contains(kind)).collect();
    if ordered.len() < touches.len() {
        return Err(OperationError::new(&problems::REPEATED, say!("a kind of item is named twice")).at("touches"));
    }
    Ok(ordered)
}
