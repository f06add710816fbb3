//! Makers: whose name and address stand on the labels, and whose law they follow.

use serde::{Deserialize, Serialize};
use tubtrail_domain::allergens;
use tubtrail_domain::gs1::digital_link::CANONICAL_STEM;
use tubtrail_domain::say;
use tubtrail_domain::text;
use tubtrail_storage::labels::{MakerRow, MakerVersionRow};
use tubtrail_storage::master_data as stored;
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::allergen_words::AllergenList;
use crate::error::{OperationError, Result};
use crate::fields;
use crate::master_data::{Master, noun};
use crate::sites::yes;

/// Most lines of an address.
const MOST_LINES: usize = 5;

/// Who makes what is on the labels.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"code": "northquay", "name": "Northquay Gelato", "address": ["1 Harbour Street", "Northquay"],
    "jurisdiction": "eu", "active": true}))]
pub struct Maker {
    /// Its code; it never changes.
    #[schema(max_length = 40, pattern = "^[a-z0-9][a-z0-9-]*$")]
    pub code: String,
    /// As it stands on labels.
    #[schema(max_length = 120)]
    pub name: String,
    /// The lines of its address.
    #[schema(min_items = 1, max_items = 5)]
    pub address: Vec<String>,
    /// Whose law its labels follow unless another is asked for.
    pub jurisdiction: AllergenList,
    /// Where the links in its codes begin, as in `https://northquay.example`; where GS1's own do, if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 120)]
    pub link_stem: Option<String>,
    /// In use. The oldest one in use stands on the labels.
    #[serde(default = "yes")]
    pub active: bool,
    /// Absent when new; the version it was read at when changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub version: Option<i32>,
}

impl Master for Maker {
    const OF_THE_WHOLE_HOUSE: bool = true;
    noun!(say!("maker"), stored::Maker, [LIST_MAKERS GET_MAKER LIST_MAKER_VERSIONS CREATE_MAKER CHANGE_MAKER]);

    fn answer_version(_: &mut AnyConnection, stored: &stored::Maker, version: MakerVersionRow) -> Result<Self> {
        Ok(Self {
            code: stored.row.code.clone(),
            jurisdiction: jurisdiction(&version)?.into(),
            address: version.address.lines().map(str::to_owned).collect(),
            name: version.name,
            link_stem: version.link_stem,
            active: version.active,
            version: Some(version.version),
        })
    }

    fn checked(self, _: &mut AnyConnection) -> Result<Self> {
        fields::between("address", self.address.len(), 1, MOST_LINES)?;
        let lines = self.address.iter().enumerate();
        let address = lines.map(|(position, line)| fields::name(&format!("address[{position}]"), line));
        let address = address.collect::<Result<_>>()?;
        let link_stem = self.link_stem.as_deref().map(link_stem).transpose()?;
        Ok(Self { name: fields::name("name", &self.name)?, address, link_stem, ..self })
    }

    fn record_identity(&self, tx: &mut WriteTx<'_>) -> Result<i64> {
        let id = tx.id();
        tx.record(&MakerRow { id, entry: tx.entry(), code: self.code.clone() })?;
        Ok(id)
    }

    fn record_version(&self, tx: &mut WriteTx<'_>, maker_id: i64, version: i32) -> Result<()> {
        let row = MakerVersionRow {
            id: tx.id(),
            entry: tx.entry(),
            maker_id,
            version,
            name: self.name.clone(),
            address: self.address.join("\n"),
            jurisdiction: allergens::AllergenList::from(self.jurisdiction).word().to_owned(),
            link_stem: self.link_stem.clone(),
            active: self.active,
        };
        Ok(tx.record(&row)?)
    }
}

/// Whose law a version's labels follow.
pub(crate) fn jurisdiction(version: &MakerVersionRow) -> Result<allergens::AllergenList> {
    let corrupt = || StorageError::Corrupt(format!("maker version {}: its jurisdiction", version.id));
    Ok(allergens::AllergenList::from_word(&version.jurisdiction).ok_or_else(corrupt)?)
}

/// Where a version's links begin.
pub(crate) fn stem_of(version: &MakerVersionRow) -> &str {
    version.link_stem.as_deref().unwrap_or(CANONICAL_STEM)
}

/// An address of the web without a path of GS1's, a question mark or a fragment.
fn link_stem(stem: &str) -> Result<String> {
    let wrong = || OperationError::invalid("link_stem", say!("write it as in https://northquay.example"));
    let stem = text::line(stem, text::NAME).map_err(|_| wrong())?.trim_end_matches('/');
    // A link made with it must be read back as it was meant.
    let link = format!("{stem}/01/09520123456788");
    let read = tubtrail_domain::gs1::digital_link::DigitalLink::parse(&link, 1, 2026).map_err(|_| wrong())?;
    // Some readers look for a key from the left.
    let is_key = |step: &str| !step.is_empty() && step.bytes().all(|byte| byte.is_ascii_digit());
    if read.stem == stem && !stem.split('/').skip(3).any(is_key) { Ok(stem.to_owned()) } else { Err(wrong()) }
}
