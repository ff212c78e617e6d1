//! What is assumed where records end.

use serde::Serialize;

/// How founders, and parents of which nothing is known, are taken to be related. None of them is taken to be
/// inbred.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Assumption {
    /// Not at all: the lowest that fits.
    Unrelated,
    /// Any two of them by this kinship, from 0 to a half.
    Alike(f64),
}

impl Assumption {
    /// Relationship of any two of them: twice their kinship.
    pub(super) fn relationship(self) -> f64 {
        match self {
            Self::Unrelated => 0.0,
            Self::Alike(kinship) => 2.0 * kinship.clamp(0.0, 0.5),
        }
    }

    /// As people read it.
    #[must_use]
    pub fn spoken(self) -> String {
        match self {
            Self::Unrelated => "founders and unknown parents count as unrelated and not inbred".to_owned(),
            Self::Alike(_) => format!(
                "any two founders or unknown parents count as having a kinship of {:.4}, and none as inbred",
                self.relationship() / 2.0
            ),
        }
    }
}
