//! The master data as it stands: what items, sites, partners, recipes and equipment are called. Few rows, all kept.

use std::collections::HashMap;
use std::hash::Hash;

use chrono_tz::Tz;
use tubtrail_storage::journal::Touched;
use tubtrail_storage::master_data::{
    Equipment, EquipmentRow, EquipmentVersionRow, Item, ItemRow, ItemVersionRow, PartnerRow, RecipeRow,
    RecipeVersionRow, Site, SiteRow, SiteVersionRow, Versioned,
};
use tubtrail_storage::{AnyConnection, Fact, StorageError};

/// What things are called, by row id.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Names {
    items: HashMap<i64, Item>,
    sites: HashMap<i64, KeptSite>,
    site_of_code: HashMap<String, i64>,
    partners: HashMap<i64, String>,
    equipment: HashMap<i64, Equipment>,
    recipes: HashMap<i64, String>,
    recipe_versions: HashMap<i64, (i64, String)>,
}

/// A site and its time zone.
#[derive(Clone, Debug, PartialEq)]
pub struct KeptSite {
    /// As it stands.
    pub site: Site,
    /// Its time zone, read.
    pub zone: Tz,
}

/// New rows of the master data.
#[derive(Default)]
pub(super) struct NameNews {
    items: (Vec<ItemRow>, Vec<ItemVersionRow>),
    sites: (Vec<SiteRow>, Vec<SiteVersionRow>),
    partners: Vec<PartnerRow>,
    equipment: (Vec<EquipmentRow>, Vec<EquipmentVersionRow>),
    recipes: (Vec<RecipeRow>, Vec<RecipeVersionRow>),
}

impl Names {
    /// An item as it stands.
    pub fn item(&self, id: i64) -> Result<&Item, StorageError> {
        self.items.get(&id).ok_or_else(|| missing("item", id))
    }

    /// A site as it stands.
    pub fn site(&self, id: i64) -> Result<&KeptSite, StorageError> {
        self.sites.get(&id).ok_or_else(|| missing("site", id))
    }

    /// A site's code.
    pub fn site_code(&self, id: i64) -> Result<&str, StorageError> {
        Ok(&self.site(id)?.site.row.code)
    }

    /// The site with a code.
    pub fn site_of_code(&self, code: &str) -> Option<&KeptSite> {
        self.sites.get(self.site_of_code.get(code)?)
    }

    /// Every site, by row id.
    pub fn sites(&self) -> impl Iterator<Item = i64> {
        self.sites.keys().copied()
    }

    /// A partner's code.
    pub fn partner(&self, id: i64) -> Result<&str, StorageError> {
        self.partners.get(&id).map(String::as_str).ok_or_else(|| missing("partner", id))
    }

    /// Equipment as it stands.
    pub fn equipment(&self, id: i64) -> Result<&Equipment, StorageError> {
        self.equipment.get(&id).ok_or_else(|| missing("equipment", id))
    }

    /// The code of a recipe and its name in a version.
    pub fn recipe_version(&self, id: i64) -> Result<(&str, &str), StorageError> {
        let (recipe, name) = self.recipe_versions.get(&id).ok_or_else(|| missing("recipe version", id))?;
        let code = self.recipes.get(recipe).ok_or_else(|| missing("recipe", *recipe))?;
        Ok((code, name))
    }

    pub(super) fn take_in(&mut self, news: NameNews) -> Result<(), StorageError> {
        stand(&mut self.items, news.items, |row| row.id, |version| version.item_id)?;
        let mut sites: HashMap<i64, Site> = HashMap::new();
        for version in &news.sites.1 {
            if let Some(known) = self.sites.get(&version.site_id) {
                sites.insert(version.site_id, known.site.clone());
            }
        }
        stand(&mut sites, news.sites, |row| row.id, |version| version.site_id)?;
        for (id, site) in sites {
            let name = &site.current.time_zone;
            let zone = name.parse().map_err(|_| StorageError::Corrupt(format!("time zone {name:?}")))?;
            self.site_of_code.insert(site.row.code.clone(), id);
            self.sites.insert(id, KeptSite { site, zone });
        }
        self.partners.extend(news.partners.into_iter().map(|row| (row.id, row.code)));
        stand(&mut self.equipment, news.equipment, |row| row.id, |version| version.equipment_id)?;
        self.recipes.extend(news.recipes.0.into_iter().map(|row| (row.id, row.code)));
        let versions = news.recipes.1.into_iter();
        self.recipe_versions.extend(versions.map(|version| (version.id, (version.recipe_id, version.name))));
        Ok(())
    }

    /// The first in which others, at the same position, are not like these: row id and what.
    pub(super) fn first_difference(&self, other: &Self) -> Option<(&'static str, i64)> {
        let found = [
            ("items", first_other(&self.items, &other.items)),
            ("sites", first_other(&self.sites, &other.sites)),
            ("partners", first_other(&self.partners, &other.partners)),
            ("equipment", first_other(&self.equipment, &other.equipment)),
            ("recipes", first_other(&self.recipes, &other.recipes)),
            ("recipe_versions", first_other(&self.recipe_versions, &other.recipe_versions)),
        ];
        found.into_iter().find_map(|(table, id)| Some((table, id?)))
    }
}

impl NameNews {
    /// Reads what the entries in `(after, until]` brought.
    pub fn read(conn: &mut AnyConnection, touched: &Touched, after: i64, until: i64) -> Result<Self, StorageError> {
        let mut reading = Reading { conn, touched, after, until };
        Ok(Self {
            items: (reading.rows()?, reading.rows()?),
            sites: (reading.rows()?, reading.rows()?),
            partners: reading.rows()?,
            equipment: (reading.rows()?, reading.rows()?),
            recipes: (reading.rows()?, reading.rows()?),
        })
    }
}

/// Reads what some entries brought, of tables that they touched.
pub(super) struct Reading<'a> {
    pub conn: &'a mut AnyConnection,
    pub touched: &'a Touched,
    pub after: i64,
    pub until: i64,
}

impl Reading<'_> {
    /// The new rows of a table.
    pub fn rows<F: Fact>(&mut self) -> Result<Vec<F>, StorageError> {
        let Some(ids) = self.touched.rows(F::TABLE) else { return Ok(Vec::new()) };
        Ok(F::between(self.conn, self.after, self.until, ids)?)
    }
}

/// Lets identities stand with the last of their versions.
fn stand<R, V: Clone>(
    known: &mut HashMap<i64, Versioned<R, V>>,
    (rows, versions): (Vec<R>, Vec<V>),
    id: impl Fn(&R) -> i64,
    of: impl Fn(&V) -> i64,
) -> Result<(), StorageError> {
    let mut last: HashMap<i64, V> = HashMap::new();
    for version in versions {
        let of = of(&version);
        match known.get_mut(&of) {
            Some(known) => known.current = version,
            None => drop(last.insert(of, version)),
        }
    }
    for row in rows {
        let id = id(&row);
        let current = last.remove(&id).ok_or_else(|| missing("version of", id))?;
        known.insert(id, Versioned { row, current });
    }
    Ok(())
}

/// The first key under which two have not the same.
pub(super) fn first_other<K: Copy + Eq + Hash + Ord, V: PartialEq>(
    one: &HashMap<K, V>,
    other: &HashMap<K, V>,
) -> Option<K> {
    let keys = one.keys().chain(other.keys());
    keys.copied().filter(|key| one.get(key) != other.get(key)).min()
}

fn missing(noun: &str, id: i64) -> StorageError {
    StorageError::Corrupt(format!("{noun} row {id} is named and missing"))
}
