//! What labels say of items: their names there, what they are made of where that was bought, and how they are kept.

use serde::{Deserialize, Serialize};
use tubtrail_domain::labels::Shown;
use tubtrail_domain::say;
use tubtrail_storage::labels::{ItemLabelRow, ItemLabelVersionRow};
use tubtrail_storage::master_data::{self as stored, Noun};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::fields;
use crate::items::ItemKind;
use crate::master_data::{Master, noun};

/// Most ingredients of a bought compound ingredient.
const MOST_LISTED: usize = 60;

/// What an item is made of.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case", tag = "by", deny_unknown_fields)]
pub enum MadeOf {
    /// It is a single ingredient.
    #[serde(deserialize_with = "fields::nothing_else")]
    Single,
    /// It was bought, and this is the list of its supplier's label, in its order.
    Listed {
        /// Each as it stands there, with what stands behind it in brackets.
        #[schema(min_items = 1, max_items = 60)]
        ingredients: Vec<String>,
    },
    /// It is made of several things, and nobody has entered which: a label with it is refused.
    #[default]
    #[serde(deserialize_with = "fields::nothing_else")]
    NotKnown,
    /// We make it: what really went in is listed.
    #[serde(deserialize_with = "fields::nothing_else")]
    WhatWentIn,
}

/// How what we make stands in the list of what it went into.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ShownAs {
    /// What is in it stands among the other ingredients.
    Dispersed,
    /// Under its own name, what is in it in brackets behind it.
    InBrackets,
}

/// What labels say of an item.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"code": "whole-milk", "name": "whole milk", "made_of": {"by": "single"}}))]
pub struct ItemLabel {
    /// The code of the item; it never changes.
    #[schema(max_length = 40, pattern = "^[a-z0-9][a-z0-9-]*$")]
    pub code: String,
    /// What it is called: the name of the food, or of the ingredient in a list, as the law has it.
    #[schema(max_length = 120)]
    pub name: String,
    /// What it is made of.
    #[serde(default)]
    pub made_of: MadeOf,
    /// How it stands in the list of what it went into; if absent, a component in brackets, all else dispersed. Of what we
    /// make only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shown: Option<ShownAs>,
    /// Whether Canada counts it among the sugars: sugar, honey, glucose syrup and the like.
    #[serde(default)]
    pub sugars_based: bool,
    /// Whether its share is printed beside it, in per cent: where it is in the name of the food or in a picture.
    #[serde(default)]
    pub percent_shown: bool,
    /// How to keep it, as a sentence: of what is labelled itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 120)]
    pub storage: Option<String>,
    /// How many days it keeps once it is opened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 3650)]
    pub opened_days: Option<i32>,
    /// The largest surface of its pack in square centimetres, where that lets the law have smaller letters.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 100_000)]
    pub largest_surface_cm2: Option<i32>,
    /// Absent when new; the version it was read at when changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub version: Option<i32>,
}

impl Master for ItemLabel {
    noun!(say!("label of an item"), stored::ItemLabel, [LIST_ITEM_LABELS GET_ITEM_LABEL LIST_ITEM_LABEL_VERSIONS CREATE_ITEM_LABEL CHANGE_ITEM_LABEL]);

    fn answer_version(_: &mut AnyConnection, stored: &stored::ItemLabel, version: ItemLabelVersionRow) -> Result<Self> {
        Ok(Self {
            code: stored.row.code.clone(),
            made_of: made_of(&version)?,
            shown: shown(&version)?,
            name: version.name,
            sugars_based: version.sugars_based,
            percent_shown: version.percent_shown,
            storage: version.storage,
            opened_days: version.opened_days,
            largest_surface_cm2: version.largest_surface_cm2,
            version: Some(version.version),
        })
    }

    fn checked(self, conn: &mut AnyConnection) -> Result<Self> {
        let item = fields::item(conn, "code", &self.code)?;
        let is_bought = item.row.kind == ItemKind::Ingredient.word();
        let made_of = match self.made_of {
            MadeOf::Listed { ingredients } => MadeOf::Listed { ingredients: listed(&ingredients)? },
            other => other,
        };
        if is_bought == (made_of == MadeOf::WhatWentIn) {
            let detail = if is_bought {
                say!("it is bought: write single, or the list of its supplier's label")
            } else {
                say!("we make it: write what_went_in, for what really went in is listed")
            };
            return Err(OperationError::invalid("made_of", detail));
        }
        if is_bought && self.shown.is_some() {
            return Err(OperationError::invalid("shown", say!("this is of what we make only")));
        }
        let storage = self.storage.as_deref().map(|storage| fields::name("storage", storage)).transpose()?;
        within("opened_days", self.opened_days, 3650)?;
        within("largest_surface_cm2", self.largest_surface_cm2, 100_000)?;
        Ok(Self { name: fields::name("name", &self.name)?, made_of, storage, ..self })
    }

    fn record_identity(&self, tx: &mut WriteTx<'_>) -> Result<i64> {
        let item = stored::Item::by_code(tx.conn()?, &self.code)?;
        let item = item.ok_or_else(|| OperationError::unknown(say!("item"), &self.code, "code"))?;
        let id = tx.id();
        tx.record(&ItemLabelRow { id, entry: tx.entry(), code: self.code.clone(), item_id: item.row.id })?;
        Ok(id)
    }

    fn record_version(&self, tx: &mut WriteTx<'_>, item_label_id: i64, version: i32) -> Result<()> {
        let (made_of, listed) = match &self.made_of {
            MadeOf::Single => ("single", None),
            MadeOf::Listed { ingredients } => ("listed", Some(ingredients.join("\n"))),
            MadeOf::NotKnown => ("not_known", None),
            MadeOf::WhatWentIn => ("what_went_in", None),
        };
        let shown = self.shown.map(|shown| match shown {
            ShownAs::Dispersed => "dispersed",
            ShownAs::InBrackets => "in_brackets",
        });
        let row = ItemLabelVersionRow {
            id: tx.id(),
            entry: tx.entry(),
            item_label_id,
            version,
            name: self.name.clone(),
            made_of: made_of.to_owned(),
            listed,
            shown: shown.map(str::to_owned),
            sugars_based: self.sugars_based,
            percent_shown: self.percent_shown,
            storage: self.storage.clone(),
            opened_days: self.opened_days,
            largest_surface_cm2: self.largest_surface_cm2,
        };
        Ok(tx.record(&row)?)
    }
}

/// What an item is made of, as a version has it.
pub(crate) fn made_of(version: &ItemLabelVersionRow) -> Result<MadeOf> {
    let listed = version.listed.as_deref().unwrap_or_default();
    Ok(match version.made_of.as_str() {
        "single" => MadeOf::Single,
        "listed" => MadeOf::Listed { ingredients: listed.lines().map(str::to_owned).collect() },
        "not_known" => MadeOf::NotKnown,
        "what_went_in" => MadeOf::WhatWentIn,
        _ => return Err(corrupt(version, "what it is made of").into()),
    })
}

/// How it stands in a list, where that is said.
pub(crate) fn shown(version: &ItemLabelVersionRow) -> Result<Option<ShownAs>> {
    Ok(match version.shown.as_deref() {
        None => None,
        Some("dispersed") => Some(ShownAs::Dispersed),
        Some("in_brackets") => Some(ShownAs::InBrackets),
        Some(_) => return Err(corrupt(version, "how it is shown").into()),
    })
}

/// How what we make stands in a list: as it is said, or as is usual for its kind.
pub(crate) fn shown_of(version: Option<&ItemLabelVersionRow>, kind: &str) -> Result<Shown> {
    let said = version.map(shown).transpose()?.flatten();
    let usual = if kind == ItemKind::Component.word() { ShownAs::InBrackets } else { ShownAs::Dispersed };
    Ok(match said.unwrap_or(usual) {
        ShownAs::Dispersed => Shown::Dispersed,
        ShownAs::InBrackets => Shown::InBrackets,
    })
}

fn corrupt(version: &ItemLabelVersionRow, what: &str) -> StorageError {
    StorageError::Corrupt(format!("item label version {}: {what}", version.id))
}

fn listed(ingredients: &[String]) -> Result<Vec<String>> {
    fields::between("made_of.ingredients", ingredients.len(), 1, MOST_LISTED)?;
    let each = ingredients.iter().enumerate();
    each.map(|(position, line)| fields::name(&format!("made_of.ingredients[{position}]"), line)).collect()
}

fn within(field: &str, value: Option<i32>, most: i32) -> Result<()> {
    if value.is_none_or(|value| (1..=most).contains(&value)) {
        return Ok(());
    }
    Err(OperationError::invalid(field, say!("this is 1 to {most}", most)))
}
