//! People and what they may do.

use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What a person may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    Keeper,
    Registrar,
    Auditor,
    Veterinary,
    Steward,
    Curator,
}

impl Role {
    /// All roles.
    pub const ALL: [Self; 6] =
        [Self::Keeper, Self::Registrar, Self::Auditor, Self::Veterinary, Self::Steward, Self::Curator];

    /// As it is stored and printed.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Keeper => "keeper",
            Self::Registrar => "registrar",
            Self::Auditor => "auditor",
            Self::Veterinary => "veterinary",
            Self::Steward => "steward",
            Self::Curator => "curator",
        }
    }
}

/// One role, at one site or everywhere.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Grant {
    pub role: Role,
    /// Code of the site; none for every site.
    pub site: Option<String>,
}

/// A person.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Person {
    pub id: Uuid,
    pub name: String,
    pub sign_in_name: String,
    pub grants: Vec<Grant>,
}
