//! Answers as they were told: the same question is asked of a tub again and again, and until something changes nothing of the
//! answer does but the moment at which it was asked.

use std::sync::Arc;

use chrono::{DateTime, Utc};

use super::AllergenCheck;
use crate::error::Result;
use crate::index::Answered;

/// An answer as JSON, in two pieces, between which stands when it was asked.
#[derive(Clone, Debug)]
pub(crate) struct Told(Arc<(String, String)>);

impl Told {
    /// Of an answer.
    pub(super) fn of(check: &AllergenCheck) -> Answered<Self> {
        let text = serde_json::to_string(check).map_err(tubtrail_storage::StorageError::from)?;
        // Only the site's code stands before it.
        let (before, after) = text.split_once(&moment(check.asked_at)?).unwrap_or((&text, ""));
        Ok(Self(Arc::new((before.to_owned(), after.to_owned()))))
    }

    /// The same answer at a moment.
    pub(super) fn at(&self, now: DateTime<Utc>) -> Answered<String> {
        let (before, after) = &*self.0;
        Ok([before, moment(now)?.as_str(), after].concat())
    }
}

/// A moment as JSON.
fn moment(at: DateTime<Utc>) -> Result<String> {
    Ok(serde_json::to_string(&at).map_err(tubtrail_storage::StorageError::from)?)
}
