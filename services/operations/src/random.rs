//! Random numbers that nobody guesses.

use tubtrail_storage::StorageError;

use crate::error::{OperationError, Result};
use crate::problems;

/// So many random bytes; refused only where the system gives none.
pub fn bytes<const COUNT: usize>() -> Result<[u8; COUNT]> {
    let mut random = [0; COUNT];
    getrandom::fill(&mut random).map_err(|error| {
        let mut problem = OperationError::of(&problems::INTERNAL);
        problem.cause = Some(Box::new(StorageError::Corrupt(format!("no random numbers: {error}"))));
        problem
    })?;
    Ok(random)
}
