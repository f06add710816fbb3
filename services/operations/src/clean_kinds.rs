//! Clean kinds: the ways in which the house cleans equipment, and what each was shown to clear.

use serde::{Deserialize, Serialize};
use tubtrail_domain::cleans::{Clears, ClearsError};
use tubtrail_domain::say;
use tubtrail_storage::cleans::{CleanKindRow, CleanKindVersionRow};
use tubtrail_storage::master_data as stored;
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::allergen_words::named;
use crate::error::{OperationError, Result};
use crate::master_data::{Master, noun};
use crate::sites::yes;
use crate::{fields, problems};

/// The word for everything.
const EVERYTHING: &str = "everything";

/// A way of cleaning equipment.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"code": "allergen-clean", "name": "Allergen clean: taken apart and washed",
    "clears": ["everything"], "active": true}))]
pub struct CleanKind {
    /// Its code; it never changes.
    #[schema(max_length = 40, pattern = "^[a-z0-9][a-z0-9-]*$")]
    pub code: String,
    /// As shown.
    #[schema(max_length = 120)]
    pub name: String,
    /// What it was shown to clear: `everything` alone, words of allergens and groups, or nothing at all, as a rinse.
    /// Cleans already written down keep what their kind said then.
    #[schema(max_items = 40)]
    pub clears: Vec<String>,
    /// In use.
    #[serde(default = "yes")]
    pub active: bool,
    /// Absent when new; the version it was read at when changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub version: Option<i32>,
}

impl Master for CleanKind {
    const OF_THE_WHOLE_HOUSE: bool = true;
    noun!(say!("clean kind"), stored::CleanKind, [LIST_CLEAN_KINDS GET_CLEAN_KIND LIST_CLEAN_KIND_VERSIONS CREATE_CLEAN_KIND CHANGE_CLEAN_KIND]);

    fn answer_version(_: &mut AnyConnection, stored: &stored::CleanKind, version: CleanKindVersionRow) -> Result<Self> {
        Ok(Self {
            code: stored.row.code.clone(),
            clears: words(&version),
            name: version.name,
            active: version.active,
            version: Some(version.version),
        })
    }

    fn checked(self, _: &mut AnyConnection) -> Result<Self> {
        fields::between("clears", self.clears.len(), 0, 40)?;
        let clears = clears(&self.clears)?;
        let clears = clears.words().split(',').filter(|word| !word.is_empty()).map(str::to_owned).collect();
        Ok(Self { name: fields::name("name", &self.name)?, clears, ..self })
    }

    fn record_identity(&self, tx: &mut WriteTx<'_>) -> Result<i64> {
        let id = tx.id();
        tx.record(&CleanKindRow { id, entry: tx.entry(), code: self.code.clone() })?;
        Ok(id)
    }

    fn record_version(&self, tx: &mut WriteTx<'_>, clean_kind_id: i64, version: i32) -> Result<()> {
        let row = CleanKindVersionRow {
            id: tx.id(),
            entry: tx.entry(),
            clean_kind_id,
            version,
            name: self.name.clone(),
            clears: self.clears.join(","),
            active: self.active,
        };
        Ok(tx.record(&row)?)
    }
}

/// The words of what a version clears.
pub(crate) fn words(version: &CleanKindVersionRow) -> Vec<String> {
    version.clears.split(',').filter(|word| !word.is_empty()).map(str::to_owned).collect()
}

/// What a version clears.
pub(crate) fn clears_of(version: &CleanKindVersionRow) -> Result<Clears> {
    let corrupt = |error| StorageError::Corrupt(format!("clean kind version {}: {error}", version.id));
    Ok(Clears::from_words(&version.clears).map_err(corrupt)?)
}

fn clears(words: &[String]) -> Result<Clears> {
    if let Some(position) = words.iter().position(|word| word == EVERYTHING) {
        if words.len() == 1 {
            return Ok(Clears::Everything);
        }
        let detail = say!("what clears everything clears all the others too: name it alone");
        return Err(OperationError::invalid(format!("clears[{position}]"), detail));
    }
    let each = words.iter().enumerate().map(|(position, word)| named(&format!("clears[{position}]"), word));
    Clears::only(each.collect::<Result<Vec<_>>>()?).map_err(|error| {
        let problem =
            if matches!(error, ClearsError::Repeated { .. }) { &problems::REPEATED } else { &problems::INVALID };
        OperationError::new(problem, error).at("clears")
    })
}
