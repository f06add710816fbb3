//! What can arrive, and from whom.

use tubtrail_operations::items::{Item, ItemKind, Keeping};
use tubtrail_operations::partners::Partner;
use tubtrail_operations::{OperationError, Request, Tubtrail};

use crate::pages::lists::every;

/// The suppliers and the items kept by lot, as they are called.
#[derive(Default)]
pub struct Known {
    pub suppliers: Vec<Partner>,
    pub items: Vec<Item>,
}

impl Known {
    /// Reads those in use.
    pub fn read(tubtrail: &Tubtrail, asks: &Request) -> Result<Self, OperationError> {
        let mut suppliers = every::<Partner>(tubtrail, asks)?;
        suppliers.retain(|partner| partner.active && partner.supplies);
        suppliers.sort_by_key(|partner| partner.name.to_lowercase());
        let mut items = every::<Item>(tubtrail, asks)?;
        items.retain(|item| item.active && item.tracked && item.kind == ItemKind::Ingredient);
        items.sort_by_key(|item| item.name.to_lowercase());
        Ok(Self { suppliers, items })
    }

    /// What an item is called; its code, where nobody knows.
    pub fn name_of(&self, code: &str) -> String {
        self.items.iter().find(|item| item.code == code).map_or(code, |item| &item.name).to_owned()
    }

    /// The code of what was typed: a name or a code. Where it is neither, as it was typed, for the operation to refuse.
    pub fn code_of(&self, typed: &str) -> String {
        let mut of_that_name = self.items.iter().filter(|item| item.name.to_lowercase() == typed.to_lowercase());
        let found = self.items.iter().find(|item| item.code == typed);
        let found = found.or_else(|| of_that_name.next().filter(|_| of_that_name.next().is_none()));
        found.map_or(typed, |item| &item.code).to_owned()
    }

    /// What a supplier is called; the code, where nobody knows.
    pub fn supplier(&self, code: &str) -> String {
        self.suppliers.iter().find(|partner| partner.code == code).map_or(code, |partner| &partner.name).to_owned()
    }

    /// Whether what was typed is kept cold, so that its temperature matters.
    pub fn is_kept_cold(&self, typed: &str) -> bool {
        let code = self.code_of(typed);
        self.items.iter().any(|item| item.code == code && item.kept != Keeping::Ambient)
    }
}
