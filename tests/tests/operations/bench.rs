//! A kitchen hand: batches in one line each, so that a test reads like the day.

use tubtrail_operations::batches::NewBatch;
use tubtrail_operations::completions::{Completed, NewCompletion, NewOutput, OutputKind};
use tubtrail_operations::reach::{Actor, Grant, Role};
use tubtrail_operations::uses::{AddedUses, NewUse, NewUses};
use tubtrail_operations::voids::UseVoid;
use tubtrail_operations::{OperationError, Request};
use tubtrail_storage::master_data::{Noun, Site};
use tubtrail_tests::TestHouse;
use tubtrail_tests::house::{KITCHEN, grams};

/// Begins a batch now; answers its number.
#[track_caller]
pub fn begin(house: &TestHouse, recipe: &str) -> i64 {
    let new = NewBatch { recipe: recipe.into(), site: KITCHEN.into(), started_at: None, note: None };
    house.tubtrail.start_batch(&Request::system(), new).unwrap_or_else(|error| panic!("{error}")).answer.id
}

/// So much of a lot goes into a batch, with a reason where it is late.
pub fn try_to_use(
    house: &TestHouse,
    batch: i64,
    lot: &str,
    mass: u32,
    reason: Option<&str>,
) -> Result<AddedUses, OperationError> {
    let one = NewUse {
        lot: Some(lot.into()),
        item: None,
        quantity: grams(mass),
        used_at: None,
        reason: reason.map(str::to_owned),
    };
    Ok(house.tubtrail.add_uses(&Request::system(), batch, NewUses { uses: vec![one] })?.answer)
}

/// The same, which must be taken; answers the use's number.
#[track_caller]
pub fn add(house: &TestHouse, batch: i64, lot: &str, mass: u32) -> i64 {
    try_to_use(house, batch, lot, mass, None).unwrap_or_else(|error| panic!("{lot}: {error}")).uses[0].id
}

/// Water goes into a batch.
pub fn try_to_add_water(
    house: &TestHouse,
    batch: i64,
    mass: u32,
    reason: Option<&str>,
) -> Result<AddedUses, OperationError> {
    let one = NewUse {
        lot: None,
        item: Some("water".into()),
        quantity: grams(mass),
        used_at: None,
        reason: reason.map(str::to_owned),
    };
    Ok(house.tubtrail.add_uses(&Request::system(), batch, NewUses { uses: vec![one] })?.answer)
}

/// A use did not happen.
pub fn try_to_void(house: &TestHouse, id: i64) -> Result<(), OperationError> {
    house.tubtrail.void_use(&Request::system(), id, UseVoid { reason: "scanned the wrong sack".into() }).map(|_| ())
}

/// Lots come out of a batch.
pub fn try_to_complete(
    house: &TestHouse,
    batch: i64,
    outputs: &[(OutputKind, u32)],
) -> Result<Completed, OperationError> {
    let outputs =
        outputs.iter().map(|(kind, mass)| NewOutput { kind: *kind, quantity: grams(*mass), item: None, expiry: None });
    let note = Some("from the sheet".to_owned());
    let new = NewCompletion { completed_at: None, outputs: outputs.collect(), note };
    Ok(house.tubtrail.complete_batch(&Request::system(), batch, new)?.answer)
}

/// The same, which must be taken; answers the lots' numbers.
#[track_caller]
pub fn complete(house: &TestHouse, batch: i64, outputs: &[(OutputKind, u32)]) -> Vec<String> {
    let done = try_to_complete(house, batch, outputs).unwrap_or_else(|error| panic!("batch {batch}: {error}"));
    done.outputs.into_iter().map(|output| output.lot).collect()
}

/// Someone with one role at one site.
#[track_caller]
pub fn someone(house: &TestHouse, role: Role, site: &str) -> Request {
    let site = Site::by_code(&mut house.database().connect(), site).unwrap().expect("the site is there");
    Request::of(Actor { name: "user:someone".into(), grants: vec![Grant { role, site_id: Some(site.row.id) }] })
}

/// Someone with one role at every site.
pub fn everywhere(role: Role) -> Request {
    Request::of(Actor { name: "user:everywhere".into(), grants: vec![Grant { role, site_id: None }] })
}
