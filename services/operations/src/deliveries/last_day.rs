//! The last day something may be used, and what that day means.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What a date on a package means.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ExpiryKind {
    /// Quality.
    BestBefore,
    /// Safety of use, as the law means it.
    UseBy,
}

impl ExpiryKind {
    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::BestBefore => "best_before",
            Self::UseBy => "use_by",
        }
    }

    pub(crate) fn from_word(word: &str) -> Option<Self> {
        [Self::BestBefore, Self::UseBy].into_iter().find(|kind| kind.word() == word)
    }
}

/// The last day something may be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Expiry {
    /// What the date means.
    pub kind: ExpiryKind,
    /// The day.
    #[schema(example = "2026-12-09")]
    #[serde(deserialize_with = "crate::days::day")]
    pub on: NaiveDate,
}

/// A date with its meaning, as stored.
pub(crate) fn expiry(on: Option<NaiveDate>, kind: Option<&str>) -> Option<Expiry> {
    Some(Expiry { kind: ExpiryKind::from_word(kind?)?, on: on? })
}
