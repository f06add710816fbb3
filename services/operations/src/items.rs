//! Items: what a lot is a lot of, and how it is counted.

use serde::{Deserialize, Serialize};
use tubtrail_domain::arrival::Kept;
use tubtrail_domain::decimal::Decimal;
use tubtrail_domain::quantity::{Counting, Density, Mass};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_domain::spirit::Strength;
use tubtrail_storage::master_data::{self as stored, ItemRow, ItemVersionRow};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::master_data::{Master, noun};
use crate::quantities::{Amount, Grams};
use crate::sites::yes;
use crate::{fields, problems};

/// What sort of thing it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ItemKind {
    /// Comes from a supplier.
    Ingredient,
    /// Heated, cooled, matured: what flavours are made from.
    Base,
    /// A praline, a ripple, a sauce.
    Component,
    /// What is in the tubs.
    Flavour,
}

impl ItemKind {
    pub(crate) const ALL: [Self; 4] = [Self::Ingredient, Self::Base, Self::Component, Self::Flavour];

    /// What it is called in a sentence.
    pub(crate) const fn saying(self) -> Saying {
        match self {
            Self::Ingredient => say!("ingredient"),
            Self::Base => say!("base"),
            Self::Component => say!("component"),
            Self::Flavour => say!("flavour"),
        }
    }

    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Ingredient => "ingredient",
            Self::Base => "base",
            Self::Component => "component",
            Self::Flavour => "flavour",
        }
    }

    pub(crate) fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// How an item is counted besides by mass, which always works.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case", tag = "by", deny_unknown_fields)]
pub enum CountedBy {
    /// By mass alone.
    #[serde(deserialize_with = "fields::nothing_else")]
    Mass,
    /// By volume, with a measured density.
    Volume {
        /// Kilograms per cubic metre (grams per litre).
        density_kg_per_m3: Amount,
    },
    /// By the piece.
    Piece {
        /// Of one piece.
        piece_grams: Grams,
    },
    /// A plain spirit, by volume: its density follows from its strength (OIML R 22 at 20 °C). Anything with sugar in it
    /// needs a measured density instead.
    Strength {
        /// Per cent by volume at 20 °C.
        percent_vol: Amount,
        /// Holds sugar: then the strength says nothing of the density, and this is refused.
        #[serde(default)]
        sweetened: bool,
    },
}

/// How an ingredient is kept.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Keeping {
    /// On the shelf.
    #[default]
    Ambient,
    /// Cold: 5 °C at most on arrival (FDA Food Code 3-202.11), unless the item says otherwise.
    Chilled,
    /// Milk, and eggs in the shell: 7 °C at most on arrival where law allows (FDA Food Code 3-202.11).
    MilkOrShellEggs,
    /// Deep-frozen: -18 °C at most on arrival (common practice, no source).
    Frozen,
}

impl Keeping {
    const fn kept(self) -> Kept {
        match self {
            Self::Ambient => Kept::Ambient,
            Self::Chilled => Kept::Chilled,
            Self::MilkOrShellEggs => Kept::MilkOrShellEggs,
            Self::Frozen => Kept::Frozen,
        }
    }

    const fn from_kept(kept: Kept) -> Self {
        match kept {
            Kept::Ambient => Self::Ambient,
            Kept::Chilled => Self::Chilled,
            Kept::MilkOrShellEggs => Self::MilkOrShellEggs,
            Kept::Frozen => Self::Frozen,
        }
    }
}

/// What a lot is a lot of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"code": "whole-milk", "name": "Whole milk", "kind": "ingredient",
    "counted": {"by": "volume", "density_kg_per_m3": "1032"}, "tracked": true, "kept": "milk_or_shell_eggs",
    "active": true}))]
pub struct Item {
    /// Its code; it never changes.
    #[schema(max_length = 40, pattern = "^[a-z0-9][a-z0-9-]*$")]
    pub code: String,
    /// As shown.
    #[schema(max_length = 120)]
    pub name: String,
    /// What sort of thing it is; it never changes.
    pub kind: ItemKind,
    /// How it is counted.
    pub counted: CountedBy,
    /// Kept by lot. Only an ingredient may be untracked, water above all.
    #[serde(default = "yes")]
    pub tracked: bool,
    /// How it is kept, which says how warm it may arrive.
    #[serde(default)]
    pub kept: Keeping,
    /// The warmest it may arrive, degrees Celsius, where that differs from what its keeping says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -100, maximum = 300)]
    pub warmest_arrival_celsius: Option<f64>,
    /// One serving.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub portion_grams: Option<Grams>,
    /// How many days what we make of it keeps.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 3650)]
    pub shelf_life_days: Option<i32>,
    /// How many days before its last day a lot of it expires soon, where that is not as usual: milk a day before, nuts a month.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 3650)]
    pub warn_days: Option<i32>,
    /// In use.
    #[serde(default = "yes")]
    pub active: bool,
    /// Absent when new; the version it was read at when changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub version: Option<i32>,
}

impl Master for Item {
    noun!(say!("item"), stored::Item, [LIST_ITEMS GET_ITEM LIST_ITEM_VERSIONS CREATE_ITEM CHANGE_ITEM]);

    fn answer_version(_: &mut AnyConnection, stored: &stored::Item, version: ItemVersionRow) -> Result<Self> {
        Ok(Self {
            code: stored.row.code.clone(),
            name: version.name.clone(),
            kind: ItemKind::from_word(&stored.row.kind).ok_or_else(|| corrupt(&version, "kind"))?,
            counted: counted_by(&version)?,
            tracked: version.tracked,
            kept: Keeping::from_kept(kept(&version)?),
            warmest_arrival_celsius: version.warmest_arrival_tenths.map(|tenths| f64::from(tenths) / 10.0),
            portion_grams: version.portion_mg.map(Grams::from_mg),
            shelf_life_days: version.shelf_life_days,
            warn_days: version.warn_days,
            active: version.active,
            version: Some(version.version),
        })
    }

    fn checked(self, _: &mut AnyConnection) -> Result<Self> {
        if !self.tracked && self.kind != ItemKind::Ingredient {
            return Err(OperationError::invalid("tracked", say!("what we make is always kept by lot")));
        }
        let counted = canonical(&self.counted).map_err(|error| error.under("counted"))?;
        let warmest_arrival_celsius = match self.warmest_arrival_celsius {
            Some(celsius) => Some(f64::from(fields::celsius_tenths("warmest_arrival_celsius", celsius)?) / 10.0),
            None => None,
        };
        if let Some(portion) = self.portion_grams {
            mass("portion_grams", portion)?;
        }
        if self.shelf_life_days.is_some_and(|days| !(0..=3650).contains(&days)) {
            return Err(OperationError::invalid("shelf_life_days", say!("a shelf life is 0 to 3650 days")));
        }
        if self.warn_days.is_some_and(|days| !(0..=3650).contains(&days)) {
            return Err(OperationError::invalid("warn_days", say!("this is 0 to 3650 days before the last one")));
        }
        Ok(Self { name: fields::name("name", &self.name)?, counted, warmest_arrival_celsius, ..self })
    }

    fn may_become(_: &mut AnyConnection, stored: &stored::Item, next: &Self) -> Result<()> {
        if stored.row.kind == next.kind.word() {
            return Ok(());
        }
        let kind = ItemKind::from_word(&stored.row.kind).map_or(Saying::as_it_is(&stored.row.kind), ItemKind::saying);
        let detail = say!("its kind is {kind} and stays so; make a new item", kind);
        Err(OperationError::invalid("kind", detail))
    }

    fn record_identity(&self, tx: &mut WriteTx<'_>) -> Result<i64> {
        let id = tx.id();
        tx.record(&ItemRow { id, entry: tx.entry(), code: self.code.clone(), kind: self.kind.word().to_owned() })?;
        Ok(id)
    }

    fn record_version(&self, tx: &mut WriteTx<'_>, item_id: i64, version: i32) -> Result<()> {
        let warmest_arrival_tenths = match self.warmest_arrival_celsius {
            Some(celsius) => Some(fields::celsius_tenths("warmest_arrival_celsius", celsius)?),
            None => None,
        };
        let (counted_by, density, piece, strength) = columns(&self.counted)?;
        let row = ItemVersionRow {
            id: tx.id(),
            entry: tx.entry(),
            item_id,
            version,
            name: self.name.clone(),
            counted_by: counted_by.to_owned(),
            density_g_per_m3: density.map(Density::g_per_m3),
            piece_mg: piece.map(Mass::mg),
            strength,
            tracked: self.tracked,
            kept: self.kept.kept().word().to_owned(),
            warmest_arrival_tenths,
            portion_mg: self.portion_grams.map(Grams::mg),
            shelf_life_days: self.shelf_life_days,
            active: self.active,
            warn_days: self.warn_days,
        };
        Ok(tx.record(&row)?)
    }
}

/// How quantities of an item convert.
pub(crate) fn counting(version: &ItemVersionRow) -> Result<Counting> {
    to_counting(&counted_by(version)?)
}

/// The warmest an item may arrive, tenths of a degree Celsius: its own figure, or what its keeping says.
pub(crate) fn warmest_arrival_tenths(version: &ItemVersionRow) -> Result<Option<i32>> {
    let default = kept(version)?.warmest_arrival().map(|(tenths, _source)| tenths);
    Ok(version.warmest_arrival_tenths.or(default))
}

fn kept(version: &ItemVersionRow) -> Result<Kept> {
    Ok(Kept::from_word(&version.kept).ok_or_else(|| corrupt(version, "keeping"))?)
}

fn corrupt(version: &ItemVersionRow, what: &str) -> StorageError {
    StorageError::Corrupt(format!("item version {}: its {what}", version.id))
}

fn counted_by(version: &ItemVersionRow) -> Result<CountedBy> {
    let corrupt = || corrupt(version, "counting");
    Ok(match version.counted_by.as_str() {
        "mass" => CountedBy::Mass,
        "volume" => {
            let density =
                Density::from_g_per_m3(version.density_g_per_m3.ok_or_else(corrupt)?).map_err(|_| corrupt())?;
            CountedBy::Volume { density_kg_per_m3: Amount(density.kg_per_m3_text()) }
        }
        "piece" => CountedBy::Piece { piece_grams: Grams::from_mg(version.piece_mg.ok_or_else(corrupt)?) },
        "strength" => {
            CountedBy::Strength { percent_vol: Amount(version.strength.clone().ok_or_else(corrupt)?), sweetened: false }
        }
        _ => return Err(corrupt().into()),
    })
}

fn to_counting(counted: &CountedBy) -> Result<Counting> {
    Ok(match counted {
        CountedBy::Mass => Counting::ByMass,
        CountedBy::Volume { density_kg_per_m3 } => {
            let density = Density::from_kg_per_m3(&decimal("density_kg_per_m3", density_kg_per_m3)?)
                .map_err(|error| OperationError::invalid("density_kg_per_m3", error))?;
            Counting::ByVolume { density }
        }
        CountedBy::Piece { piece_grams } => Counting::ByPiece { piece_mass: mass("piece_grams", *piece_grams)? },
        CountedBy::Strength { percent_vol, .. } => {
            let strength = Strength::from_percent(&decimal("percent_vol", percent_vol)?)
                .map_err(|error| OperationError::invalid("percent_vol", error))?;
            Counting::ByStrength { strength }
        }
    })
}

/// The counting checked, its figures written as they are answered.
fn canonical(counted: &CountedBy) -> Result<CountedBy> {
    if let CountedBy::Strength { sweetened: true, .. } = counted {
        let detail = say!(
            "sugar changes the density and the strength says nothing of it: measure the density, and count it by volume"
        );
        return Err(OperationError::new(&problems::NEEDS_DENSITY, detail).at("sweetened"));
    }
    Ok(match to_counting(counted)? {
        Counting::ByMass => CountedBy::Mass,
        Counting::ByVolume { density } => CountedBy::Volume { density_kg_per_m3: Amount(density.kg_per_m3_text()) },
        Counting::ByPiece { piece_mass } => CountedBy::Piece { piece_grams: piece_mass.into() },
        Counting::ByStrength { strength } => {
            CountedBy::Strength { percent_vol: Amount(strength.percent_text()), sweetened: false }
        }
    })
}

type Columns = (&'static str, Option<Density>, Option<Mass>, Option<String>);

fn columns(counted: &CountedBy) -> Result<Columns> {
    Ok(match to_counting(counted)? {
        Counting::ByMass => ("mass", None, None, None),
        Counting::ByVolume { density } => ("volume", Some(density), None, None),
        Counting::ByPiece { piece_mass } => ("piece", None, Some(piece_mass), None),
        Counting::ByStrength { strength } => {
            ("strength", Some(strength.density()), None, Some(strength.percent_text()))
        }
    })
}

fn decimal(field: &str, amount: &Amount) -> Result<Decimal> {
    amount.0.parse().map_err(|error| OperationError::invalid(field, error))
}

/// A mass a person gave in grams; more than nothing.
pub(crate) fn mass(field: &str, grams: Grams) -> Result<Mass> {
    let mass = Mass::from_mg(grams.mg()).map_err(|error| OperationError::invalid(field, error))?;
    if mass.is_zero() { Err(OperationError::invalid(field, say!("this must be more than nothing"))) } else { Ok(mass) }
}
