//! Master data: sites, partners, items, recipes and equipment, each an identity and its versions.

use std::collections::BTreeMap;

use diesel::prelude::*;
use tubtrail_domain::text;

use crate::cleans::{CleanKindRow, CleanKindVersionRow, clean_kind_versions, clean_kinds};
use crate::labels::{
    ItemLabelRow, ItemLabelVersionRow, MakerRow, MakerVersionRow, PrinterRow, PrinterVersionRow, item_label_versions,
    item_labels, maker_versions, makers, printer_versions, printers,
};
use crate::{AnyConnection, Fact, StorageError};

fact! {
    /// A place that holds stock.
    sites => SiteRow {
        /// What it is called in addresses and files.
        code: String => Text,
    }
}

fact! {
    /// A version of a site.
    site_versions => SiteVersionRow {
        /// Of which site.
        site_id: i64 => BigInt,
        /// From 1.
        version: i32 => Integer,
        /// As shown.
        name: String => Text,
        /// kitchen, shop, `store_room` or vehicle.
        kind: String => Text,
        /// IANA name.
        time_zone: String => Text,
        /// GS1 location number.
        gln: Option<String> => Nullable<Text>,
        /// In use.
        active: bool => Bool,
        /// Street and town, on one line or several. Left out of the digest where there is none: older rows had no such column.
        #[serde(skip_serializing_if = "Option::is_none")]
        address: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// A supplier, or a customer that takes whole tubs.
    partners => PartnerRow {
        /// What it is called in addresses and files.
        code: String => Text,
    }
}

fact! {
    /// A version of a partner.
    partner_versions => PartnerVersionRow {
        /// Of which partner.
        partner_id: i64 => BigInt,
        /// From 1.
        version: i32 => Integer,
        /// As shown.
        name: String => Text,
        /// Delivers to us.
        supplies: bool => Bool,
        /// Takes whole tubs from us.
        takes_tubs: bool => Bool,
        /// How to reach them in a recall.
        contact: Option<String> => Nullable<Text>,
        /// In use.
        active: bool => Bool,
        /// GS1 location number. Left out of the digest where there is none: older rows had no such column.
        #[serde(skip_serializing_if = "Option::is_none")]
        gln: Option<String> => Nullable<Text>,
        /// Street and town; as with the one before.
        #[serde(skip_serializing_if = "Option::is_none")]
        address: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// What a lot is a lot of.
    items => ItemRow {
        /// What it is called in addresses and files.
        code: String => Text,
        /// ingredient, base, component or flavour.
        kind: String => Text,
    }
}

fact! {
    /// A version of an item.
    item_versions => ItemVersionRow {
        /// Of which item.
        item_id: i64 => BigInt,
        /// From 1.
        version: i32 => Integer,
        /// As shown.
        name: String => Text,
        /// mass, volume, piece or strength.
        counted_by: String => Text,
        /// Measured, or from the strength.
        density_g_per_m3: Option<i64> => Nullable<BigInt>,
        /// Of one piece.
        piece_mg: Option<i64> => Nullable<BigInt>,
        /// % vol as written.
        strength: Option<String> => Nullable<Text>,
        /// Kept by lot; water is not.
        tracked: bool => Bool,
        /// ambient, chilled, `milk_or_shell_eggs` or frozen.
        kept: String => Text,
        /// Warmest it may arrive, tenths of a degree Celsius; null: as its keeping says.
        warmest_arrival_tenths: Option<i32> => Nullable<Integer>,
        /// One serving.
        portion_mg: Option<i64> => Nullable<BigInt>,
        /// How long what we make of it keeps.
        shelf_life_days: Option<i32> => Nullable<Integer>,
        /// In use.
        active: bool => Bool,
        /// How many days before its last day a lot of it is told of; null: as usual. Left out of the digest where there is none:
        /// older rows had no such column.
        #[serde(skip_serializing_if = "Option::is_none")]
        warn_days: Option<i32> => Nullable<Integer>,
    }
}

fact! {
    /// Below how much of an item a site wants to be told; the newest counts.
    reorder_levels => ReorderLevelRow {
        /// Of which item.
        item_id: i64 => BigInt,
        /// At which site.
        site_id: i64 => BigInt,
        /// Zero: not told.
        level_mg: i64 => BigInt,
    }
}

fact! {
    /// How to make an item.
    recipes => RecipeRow {
        /// What it is called in addresses and files.
        code: String => Text,
        /// What it makes.
        item_id: i64 => BigInt,
    }
}

fact! {
    /// A version of a recipe.
    recipe_versions => RecipeVersionRow {
        /// Of which recipe.
        recipe_id: i64 => BigInt,
        /// From 1.
        version: i32 => Integer,
        /// As shown.
        name: String => Text,
        /// What its lines should come to.
        expected_yield_mg: i64 => BigInt,
        /// How long what it makes must rest before it is used.
        maturing_minutes: i32 => Integer,
        /// What to do, in words.
        method: Option<String> => Nullable<Text>,
        /// In use.
        active: bool => Bool,
    }
}

fact! {
    /// So much of an item in a version of a recipe.
    recipe_lines => RecipeLineRow {
        /// Of which version.
        recipe_version_id: i64 => BigInt,
        /// From 1.
        line: i32 => Integer,
        /// Of what.
        item_id: i64 => BigInt,
        /// How much.
        mass_mg: i64 => BigInt,
    }
}

fact! {
    /// A machine or vessel.
    equipment => EquipmentRow {
        /// What it is called in addresses and files.
        code: String => Text,
    }
}

fact! {
    /// A version of a machine or vessel.
    equipment_versions => EquipmentVersionRow {
        /// Of which.
        equipment_id: i64 => BigInt,
        /// From 1.
        version: i32 => Integer,
        /// As shown.
        name: String => Text,
        /// Where it stands.
        site_id: i64 => BigInt,
        /// The kinds of item it touches, comma-separated.
        touches: String => Text,
        /// In use.
        active: bool => Bool,
    }
}

/// A noun of the master data: its identity and the version in force.
#[derive(Clone, Debug, PartialEq)]
pub struct Versioned<R, V> {
    /// The identity.
    pub row: R,
    /// The version in force.
    pub current: V,
}

/// A site as it stands now.
pub type Site = Versioned<SiteRow, SiteVersionRow>;
/// A partner as it stands now.
pub type Partner = Versioned<PartnerRow, PartnerVersionRow>;
/// An item as it stands now.
pub type Item = Versioned<ItemRow, ItemVersionRow>;
/// A recipe as it stands now, without its lines.
pub type Recipe = Versioned<RecipeRow, RecipeVersionRow>;
/// Equipment as it stands now.
pub type Equipment = Versioned<EquipmentRow, EquipmentVersionRow>;

/// A way of cleaning as it stands now.
pub type CleanKind = Versioned<CleanKindRow, CleanKindVersionRow>;
/// A maker as it stands now.
pub type Maker = Versioned<MakerRow, MakerVersionRow>;
/// What labels say of an item now.
pub type ItemLabel = Versioned<ItemLabelRow, ItemLabelVersionRow>;
/// A printer as it stands now.
pub type Printer = Versioned<PrinterRow, PrinterVersionRow>;

/// How a noun of the master data is found.
pub trait Noun: Sized {
    /// The row of a version.
    type Version;
    /// By row id.
    fn by_id(conn: &mut AnyConnection, id: i64) -> Result<Option<Self>, StorageError>;
    /// By code.
    fn by_code(conn: &mut AnyConnection, code: &str) -> Result<Option<Self>, StorageError>;
    /// The next ones after a code, in order of code.
    fn page(conn: &mut AnyConnection, after_code: &str, limit: i64) -> Result<Vec<Self>, StorageError>;
    /// Every version of one, oldest first.
    fn versions(conn: &mut AnyConnection, id: i64) -> Result<Vec<Self::Version>, StorageError>;
}

/// The rows of a noun beside their versions, the newest first: of one row, the version in force.
macro_rules! current {
    ($table:ident, $versions:ident, $key:ident) => {
        $table::table
            .inner_join($versions::table.on($versions::$key.eq($table::id)))
            .order($versions::version.desc())
            .select(($table::all_columns, $versions::all_columns))
    };
}

macro_rules! noun {
    ($table:ident, $row:ident, $versions:ident, $version:ident, $key:ident) => {
        diesel::allow_tables_to_appear_in_same_query!($table, $versions);

        impl Noun for Versioned<$row, $version> {
            type Version = $version;

            fn by_id(conn: &mut AnyConnection, id: i64) -> Result<Option<Self>, StorageError> {
                let found = current!($table, $versions, $key).filter($table::id.eq(id)).first(conn).optional()?;
                Ok(found.map(|(row, current)| Self { row, current }))
            }

            fn by_code(conn: &mut AnyConnection, code: &str) -> Result<Option<Self>, StorageError> {
                // What cannot be a code names nothing; and PostgreSQL takes no NUL.
                if text::code(code).is_err() {
                    return Ok(None);
                }
                let found = current!($table, $versions, $key).filter($table::code.eq(code)).first(conn).optional()?;
                Ok(found.map(|(row, current)| Self { row, current }))
            }

            fn page(conn: &mut AnyConnection, after_code: &str, limit: i64) -> Result<Vec<Self>, StorageError> {
                let rows: Vec<$row> =
                    $table::table.filter($table::code.gt(after_code)).order($table::code).limit(limit).load(conn)?;
                rows.into_iter().map(|row| Self::in_force(conn, row)).collect()
            }

            fn versions(conn: &mut AnyConnection, id: i64) -> Result<Vec<$version>, StorageError> {
                Ok($versions::table.filter($versions::$key.eq(id)).order($versions::version).load(conn)?)
            }
        }

        impl Versioned<$row, $version> {
            fn in_force(conn: &mut AnyConnection, row: $row) -> Result<Self, StorageError> {
                let current: $version =
                    $versions::table.filter($versions::$key.eq(row.id)).order($versions::version.desc()).first(conn)?;
                Ok(Self { row, current })
            }
        }
    };
}

noun!(sites, SiteRow, site_versions, SiteVersionRow, site_id);
noun!(partners, PartnerRow, partner_versions, PartnerVersionRow, partner_id);
noun!(items, ItemRow, item_versions, ItemVersionRow, item_id);
noun!(recipes, RecipeRow, recipe_versions, RecipeVersionRow, recipe_id);
noun!(equipment, EquipmentRow, equipment_versions, EquipmentVersionRow, equipment_id);
noun!(clean_kinds, CleanKindRow, clean_kind_versions, CleanKindVersionRow, clean_kind_id);
noun!(makers, MakerRow, maker_versions, MakerVersionRow, maker_id);
noun!(item_labels, ItemLabelRow, item_label_versions, ItemLabelVersionRow, item_label_id);
noun!(printers, PrinterRow, printer_versions, PrinterVersionRow, printer_id);

/// The lines of a version of a recipe, in order.
pub fn recipe_lines_of(conn: &mut AnyConnection, recipe_version_id: i64) -> Result<Vec<RecipeLineRow>, StorageError> {
    Ok(recipe_lines::table
        .filter(recipe_lines::recipe_version_id.eq(recipe_version_id))
        .order(recipe_lines::line)
        .load(conn)?)
}

/// Items by row id, without their versions.
pub fn item_rows(conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<ItemRow>, StorageError> {
    Ok(ItemRow::among(conn, "id", ids)?)
}

/// The recipes that make an item, the oldest first.
pub fn recipes_making(conn: &mut AnyConnection, item_id: i64) -> Result<Vec<Recipe>, StorageError> {
    let rows: Vec<RecipeRow> =
        recipes::table.filter(recipes::item_id.eq(item_id)).order(recipes::id).limit(500).load(conn)?;
    rows.into_iter().map(|row| Recipe::in_force(conn, row)).collect()
}

/// A version of a recipe by its row id.
pub fn recipe_version(conn: &mut AnyConnection, id: i64) -> Result<RecipeVersionRow, StorageError> {
    Ok(recipe_versions::table.find(id).first(conn)?)
}

/// The reorder levels in force, at one site or at all, in order of item and site: the newest of an item at a site counts,
/// and one of zero is none.
pub fn reorder_levels_in_force(
    conn: &mut AnyConnection,
    site_id: Option<i64>,
) -> Result<Vec<ReorderLevelRow>, StorageError> {
    let mut query = reorder_levels::table.order(reorder_levels::id).into_boxed();
    if let Some(site_id) = site_id {
        query = query.filter(reorder_levels::site_id.eq(site_id));
    }
    let mut newest = BTreeMap::new();
    for level in query.load::<ReorderLevelRow>(conn)? {
        newest.insert((level.item_id, level.site_id), level);
    }
    Ok(newest.into_values().filter(|level| level.level_mg > 0).collect())
}
