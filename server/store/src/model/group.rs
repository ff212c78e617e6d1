//! Groups: animals that live as one social unit.

use crate::model::animal::{Animal, Label};
use crate::model::crate_reading::CrateReading;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::Counts;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What an animal is in its group.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    Member,
    Breeding,
    Helper,
    Juvenile,
    OnTrial,
}

impl Role {
    /// Every role.
    pub const ALL: [Self; 5] = [Self::Member, Self::Breeding, Self::Helper, Self::Juvenile, Self::OnTrial];

    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Member => "member",
            Self::Breeding => "breeding",
            Self::Helper => "helper",
            Self::Juvenile => "juvenile",
            Self::OnTrial => "on_trial",
        }
    }
}

/// A group, in short.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Group {
    pub id: Uuid,
    pub site: String,
    pub name: String,
    pub note: String,
    pub members: Counts,
    /// Where its members live, by name.
    pub enclosures: Vec<String>,
}

/// A membership that covers some instant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Membership {
    pub animal: Uuid,
    pub group: Uuid,
    pub role: Role,
    pub began_at: DateTime<Utc>,
}

/// Known parents of an animal: its dam, and those that may be its sire.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Parents {
    pub dam: Option<Uuid>,
    pub sires: Vec<Uuid>,
}

/// How one member is related to another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kin {
    Dam,
    Sire,
    Offspring,
    FullSibling,
    HalfSibling,
}

/// A member with what is known of it on the day.
#[derive(Clone, Debug, PartialEq)]
pub struct Member {
    pub animal: Animal,
    pub role: Role,
    pub since: DateTime<Utc>,
    /// The least that it can be, in days.
    pub age_days: Option<i64>,
    pub relatives: Vec<(Label, Kin)>,
    /// Of its latest mass against what is usual for it, in %.
    pub change_percent: Option<f64>,
    /// Of its mass over the last weeks, in % a week.
    pub slope_percent_per_week: Option<f64>,
}

/// A group with its members.
#[derive(Clone, Debug, PartialEq)]
pub struct Roll {
    pub group: Group,
    /// By accession.
    pub members: Vec<Member>,
    /// Newest first.
    pub crate_readings: Vec<CrateReading>,
}

/// Animals that join, leave or move, as it was asked for.
#[derive(Clone, Debug)]
pub struct Joining {
    pub group: String,
    pub animals: Vec<String>,
    pub role: Role,
    /// Now where none.
    pub at: Option<DateTime<Utc>>,
}

/// Animals that leave a group.
#[derive(Clone, Debug)]
pub struct Leaving {
    pub group: String,
    pub animals: Vec<String>,
    pub why: String,
    /// Now where none.
    pub at: Option<DateTime<Utc>>,
}

/// What `other` is to `one`, by what is known of the parents of both.
#[must_use]
pub fn kin(one: (Uuid, &Parents), other: (Uuid, &Parents)) -> Option<Kin> {
    let ((id, parents), (other, others)) = (one, other);
    if parents.dam == Some(other) {
        return Some(Kin::Dam);
    }
    if parents.sires.contains(&other) {
        return Some(Kin::Sire);
    }
    if others.dam == Some(id) || others.sires.contains(&id) {
        return Some(Kin::Offspring);
    }
    let of_one_dam = parents.dam.is_some() && parents.dam == others.dam;
    // Where several may be the sire, two of them have the same only if it is certain for both.
    let certain = |parents: &Parents| if let [sire] = parents.sires[..] { Some(sire) } else { None };
    let of_one_sire = certain(parents).is_some() && certain(parents) == certain(others);
    match (of_one_dam, of_one_sire) {
        (true, true) => Some(Kin::FullSibling),
        (false, false) => None,
        _ => Some(Kin::HalfSibling),
    }
}

/// The least that an animal can be old on a day, in days.
#[must_use]
pub fn age_days(animal: &Animal, on: NaiveDate) -> Option<i64> {
    animal.born.map(|born| (on - born.last).num_days().max(0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parents(dam: u128, sires: &[u128]) -> Parents {
        let id = Uuid::from_u128;
        Parents { dam: (dam != 0).then(|| id(dam)), sires: sires.iter().copied().map(id).collect() }
    }

    #[test]
    fn kin_is_told_as_far_as_it_is_known() {
        let (dam, sire) = (1, 2);
        let unknown = parents(0, &[]);
        let pup = parents(dam, &[sire]);
        let of = |one: (u128, &Parents), other: (u128, &Parents)| {
            kin((Uuid::from_u128(one.0), one.1), (Uuid::from_u128(other.0), other.1))
        };
        assert_eq!(of((10, &pup), (dam, &unknown)), Some(Kin::Dam));
        assert_eq!(of((dam, &unknown), (10, &pup)), Some(Kin::Offspring));
        assert_eq!(of((10, &parents(dam, &[3, sire])), (sire, &unknown)), Some(Kin::Sire));
        assert_eq!(of((10, &pup), (11, &parents(dam, &[sire]))), Some(Kin::FullSibling));
        assert_eq!(of((10, &pup), (11, &parents(dam, &[sire, 3]))), Some(Kin::HalfSibling));
        assert_eq!(of((10, &pup), (11, &parents(4, &[sire]))), Some(Kin::HalfSibling));
        assert_eq!(of((10, &pup), (11, &parents(4, &[3]))), None);
        assert_eq!(of((10, &unknown), (11, &unknown)), None, "two unknown dams are not the same");
    }
}
