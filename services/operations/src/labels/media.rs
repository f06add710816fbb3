//! What labels are printed on: sizes and dots.

use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use utoipa::ToSchema;

/// The size of a label in millimetres, width by height.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
pub enum LabelSize {
    /// 60 × 40 mm.
    #[default]
    #[serde(rename = "60x40")]
    W60H40,
    /// 100 × 50 mm.
    #[serde(rename = "100x50")]
    W100H50,
}

impl LabelSize {
    /// Every size.
    pub const ALL: [Self; 2] = [Self::W60H40, Self::W100H50];

    /// The word for it in the database and in every answer.
    pub const fn word(self) -> &'static str {
        match self {
            Self::W60H40 => "60x40",
            Self::W100H50 => "100x50",
        }
    }

    /// Width and height in whole millimetres.
    pub const fn millimetres(self) -> (u16, u16) {
        match self {
            Self::W60H40 => (60, 40),
            Self::W100H50 => (100, 50),
        }
    }

    pub(crate) fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|size| size.word() == word)
    }
}

/// How many dots a printer has in an inch.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "u32", into = "u32")]
pub enum Dpi {
    /// 203.
    #[default]
    D203,
    /// 300.
    D300,
}

impl Dpi {
    /// Every one.
    pub const ALL: [Self; 2] = [Self::D203, Self::D300];
}

impl From<Dpi> for u32 {
    fn from(dpi: Dpi) -> Self {
        match dpi {
            Dpi::D203 => 203,
            Dpi::D300 => 300,
        }
    }
}

impl TryFrom<u32> for Dpi {
    type Error = Saying;

    fn try_from(dots: u32) -> Result<Self, Self::Error> {
        Self::ALL
            .into_iter()
            .find(|dpi| u32::from(*dpi) == dots)
            .ok_or(say!("a printer has 203 or 300 dots in an inch"))
    }
}

impl Dpi {
    pub(crate) fn column(self) -> i32 {
        match self {
            Self::D203 => 203,
            Self::D300 => 300,
        }
    }

    pub(crate) fn from_column(dots: i32) -> Option<Self> {
        Self::ALL.into_iter().find(|dpi| dpi.column() == dots)
    }
}
