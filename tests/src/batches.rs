//! Batches in the test house: short ways to write down what went in and what came out.

use tubtrail_operations::batches::{Batch, NewBatch};
use tubtrail_operations::completions::{Completed, NewCompletion, NewOutput, OutputKind};
use tubtrail_operations::uses::{AddedUses, NewUse, NewUses};
use tubtrail_operations::write_ups::NewWriteUp;
use tubtrail_operations::{Actor, Grant, OperationError, Request, Role};
use tubtrail_storage::master_data::{Noun, Site};

use crate::TestHouse;
use crate::house::{KITCHEN, grams};

/// So many grams of a lot.
pub fn of(lot: &str, mass: u32) -> NewUse {
    NewUse { lot: Some(lot.into()), item: None, quantity: grams(mass), used_at: None, reason: None }
}

/// So many grams of something kept without lots.
pub fn untracked(item: &str, mass: u32) -> NewUse {
    NewUse { lot: None, item: Some(item.into()), quantity: grams(mass), used_at: None, reason: None }
}

/// The same with a reason.
pub fn because(reason: &str, one: NewUse) -> NewUse {
    NewUse { reason: Some(reason.into()), ..one }
}

/// A lot of so many grams that came out.
pub fn out(kind: OutputKind, mass: u32) -> NewOutput {
    NewOutput { kind, quantity: grams(mass), item: None, expiry: None }
}

/// A whole batch at the kitchen, now.
pub fn sheet(recipe: &str, uses: Vec<NewUse>, outputs: Vec<NewOutput>) -> NewWriteUp {
    NewWriteUp {
        recipe: recipe.into(),
        site: KITCHEN.into(),
        started_at: None,
        note: None,
        uses,
        equipment: Vec::new(),
        readings: Vec::new(),
        completed_at: None,
        outputs,
    }
}

impl TestHouse {
    /// Someone with a role, at one site by code or everywhere.
    ///
    /// # Panics
    /// If there is no such site.
    #[track_caller]
    pub fn someone(&self, role: Role, site: Option<&str>) -> Request {
        let row = |code: &str| Site::by_code(&mut self.database().connect(), code).expect("sites can be read");
        let site_id = site.map(|code| row(code).expect("a site of the house").row.id);
        Request::of(Actor { name: format!("user:{}", role.word()), grants: vec![Grant { role, site_id }] })
    }

    /// Begins a batch at the kitchen, now; answers its number.
    ///
    /// # Panics
    /// If it is refused.
    #[track_caller]
    pub fn start(&self, recipe: &str) -> i64 {
        let new = NewBatch { recipe: recipe.into(), site: KITCHEN.into(), started_at: None, note: None };
        self.tubtrail.start_batch(&Request::system(), new).unwrap_or_else(|error| panic!("{error}")).answer.id
    }

    /// Writes down what went into a batch, by an owner.
    ///
    /// # Errors
    /// As [`tubtrail_operations::Tubtrail::add_uses`].
    pub fn add(&self, batch: i64, uses: Vec<NewUse>) -> Result<AddedUses, OperationError> {
        Ok(self.tubtrail.add_uses(&Request::system(), batch, NewUses { uses })?.answer)
    }

    /// Completes a batch, now, by an owner.
    ///
    /// # Errors
    /// As [`tubtrail_operations::Tubtrail::complete_batch`].
    pub fn complete(&self, batch: i64, outputs: Vec<NewOutput>) -> Result<Completed, OperationError> {
        let new = NewCompletion { completed_at: None, outputs, note: None };
        Ok(self.tubtrail.complete_batch(&Request::system(), batch, new)?.answer)
    }

    /// Writes up a whole batch, now, by an owner.
    ///
    /// # Panics
    /// If it is refused.
    #[track_caller]
    pub fn make(&self, recipe: &str, uses: Vec<NewUse>, outputs: Vec<NewOutput>) -> Batch {
        let done = self.tubtrail.write_up_batch(&Request::system(), sheet(recipe, uses, outputs));
        done.unwrap_or_else(|error| panic!("{error}")).answer
    }

    /// One batch as it stands.
    ///
    /// # Panics
    /// If it is not there.
    #[track_caller]
    pub fn batch(&self, id: i64) -> Batch {
        self.tubtrail.get_batch(&Request::system(), id).unwrap_or_else(|error| panic!("{error}"))
    }

    /// How many grams of a lot are on the kitchen's shelf.
    ///
    /// # Panics
    /// If there is no such lot.
    #[track_caller]
    pub fn on_shelf(&self, lot: &str) -> i64 {
        let lot = self.tubtrail.get_lot(&Request::system(), lot).unwrap_or_else(|error| panic!("{error}"));
        let here = lot.places.iter().filter(|place| place.site == KITCHEN && place.state == "available");
        here.map(|place| place.grams.mg()).sum::<i64>() / 1000
    }
}

/// What a refusal says: problem, field, lots.
///
/// # Panics
/// If it was no refusal.
#[track_caller]
pub fn refused<T: std::fmt::Debug>(outcome: Result<T, OperationError>) -> (&'static str, String, Vec<String>) {
    let error = outcome.expect_err("it is refused");
    assert!(!error.detail.to_string().is_empty(), "a refusal says why: {error:?}");
    (error.problem.word, error.field.unwrap_or_default(), error.lots)
}
