//! What a kitchen makes with: its recipes, items, machines and ways to clean, as they are called.

use tubtrail_operations::clean_kinds::CleanKind;
use tubtrail_operations::equipment::Equipment;
use tubtrail_operations::items::Item;
use tubtrail_operations::recipes::Recipe;
use tubtrail_operations::sites::Site;
use tubtrail_operations::{OperationError, Request, Tubtrail};

use crate::pages::lists::every;

/// As it is called; what is no longer in use is among it.
pub struct Kitchen {
    pub recipes: Vec<Recipe>,
    pub items: Vec<Item>,
    pub machines: Vec<Equipment>,
    pub clean_kinds: Vec<CleanKind>,
}

impl Kitchen {
    /// Reads it.
    pub fn read(tubtrail: &Tubtrail, asks: &Request, site: &Site) -> Result<Self, OperationError> {
        let mut recipes = every::<Recipe>(tubtrail, asks)?;
        recipes.sort_by_key(|recipe| recipe.name.to_lowercase());
        let mut machines = every::<Equipment>(tubtrail, asks)?;
        machines.retain(|machine| machine.site == site.code);
        let mut clean_kinds = every::<CleanKind>(tubtrail, asks)?;
        clean_kinds.retain(|kind| kind.active);
        Ok(Self { recipes, items: every(tubtrail, asks)?, machines, clean_kinds })
    }

    /// What a recipe is called.
    pub fn recipe(&self, code: &str) -> String {
        self.recipes.iter().find(|recipe| recipe.code == code).map_or(code, |recipe| &recipe.name).to_owned()
    }

    /// An item.
    pub fn item(&self, code: &str) -> Option<&Item> {
        self.items.iter().find(|item| item.code == code)
    }

    /// What an item is called.
    pub fn item_name(&self, code: &str) -> String {
        self.item(code).map_or(code, |item| &item.name).to_owned()
    }

    /// What a machine is called.
    pub fn machine(&self, code: &str) -> String {
        self.machines.iter().find(|machine| machine.code == code).map_or(code, |machine| &machine.name).to_owned()
    }

    /// What a way to clean is called.
    pub fn clean_kind(&self, code: &str) -> String {
        self.clean_kinds.iter().find(|kind| kind.code == code).map_or(code, |kind| &kind.name).to_owned()
    }
}
