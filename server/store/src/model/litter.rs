//! Litters: young of one birth that are counted, and not yet told apart.

use crate::model::animal::{Animal, Label};
use crate::model::death::Manner;
use crate::model::mark::NewMark;
use crate::model::taxon::Taxon;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::{Counts, Sex};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What happened to the count of a litter.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// So many were born, or found later to have been.
    Born(Counts),
    /// So many died before they were told apart.
    Died(Counts, Manner),
    /// So many of unknown sex were found to be male and female.
    Sexed { males: i64, females: i64 },
    /// One, counted under this sex, left to be an animal of its own.
    ToldApart { counted_as: Sex, animal: Label },
}

impl Change {
    /// What it does to the count.
    #[must_use]
    pub fn effect(&self) -> Counts {
        match *self {
            Self::Born(young) => young,
            Self::Died(young, _) => Counts::ZERO - young,
            Self::Sexed { males, females } => Counts { males, females, unknown: -males - females },
            Self::ToldApart { counted_as, .. } => Counts::ZERO - Counts::of(counted_as, 1),
        }
    }
}

/// A change on record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Changed {
    pub id: Uuid,
    pub on: NaiveDate,
    pub change: Change,
    pub note: String,
    pub recorded_at: DateTime<Utc>,
}

/// An animal that may be the sire, and how likely it is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PossibleSire {
    pub animal: Label,
    pub share: f64,
}

/// A litter, with what happened in it until some day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Litter {
    pub id: Uuid,
    pub site: String,
    pub taxon: Taxon,
    pub born_on: NaiveDate,
    pub dam: Option<Label>,
    /// Likeliest first.
    pub sires: Vec<PossibleSire>,
    /// In the order of days.
    pub changes: Vec<Changed>,
    pub parents_because: String,
    pub note: String,
    pub version: i64,
}

impl Litter {
    /// Young still counted in it.
    #[must_use]
    pub fn remaining(&self) -> Counts {
        self.changes.iter().map(|changed| changed.change.effect()).sum()
    }

    /// Young counted in it at the close of a day.
    #[must_use]
    pub fn left_on(&self, on: NaiveDate) -> Counts {
        self.changes.iter().filter(|changed| changed.on <= on).map(|c| c.change.effect()).sum()
    }

    /// Of each sex, the fewest that are left at the close of a day or of any later one: so many can still
    /// be taken out on that day.
    #[must_use]
    pub fn to_spare(&self, on: NaiveDate) -> Counts {
        let mut days: Vec<NaiveDate> = self.changes.iter().map(|changed| changed.on).collect();
        days.push(on);
        days.retain(|day| *day >= on);
        let least = |a: Counts, b: Counts| Counts {
            males: a.males.min(b.males),
            females: a.females.min(b.females),
            unknown: a.unknown.min(b.unknown),
        };
        days.into_iter().map(|day| self.left_on(day)).reduce(least).unwrap_or(Counts::ZERO)
    }

    /// The litter as if a change had not been.
    #[must_use]
    pub fn without(&self, change: Uuid) -> Self {
        let mut rest = self.clone();
        rest.changes.retain(|changed| changed.id != change);
        rest
    }

    /// The first day at whose close fewer than no young of a sex are left, and what is.
    #[must_use]
    pub fn first_short(&self) -> Option<(NaiveDate, Counts)> {
        let days = self.changes.iter().map(|changed| (changed.on, self.left_on(changed.on)));
        days.into_iter().find(|(_, left)| left.males.min(left.females).min(left.unknown) < 0)
    }

    /// As people would say it: `the litter of Bramble (QUI-26-0042), born 2026-03-01`.
    #[must_use]
    pub fn spoken(&self) -> String {
        match &self.dam {
            Some(dam) => format!("the litter of {}, born {}", dam.spoken(), self.born_on),
            None => format!("the litter born {}", self.born_on),
        }
    }
}

/// A litter to record.
#[derive(Clone, Debug)]
pub struct NewLitter {
    /// Scientific name; empty for that of the parents.
    pub taxon: String,
    pub born_on: NaiveDate,
    pub young: Counts,
    pub parents: NewParents,
    pub note: String,
}

/// Something that happened within a litter.
#[derive(Clone, Debug)]
pub enum Event {
    Died(Counts, Manner),
    Sexed { males: i64, females: i64 },
    Found(Counts),
}

/// An event to record.
#[derive(Clone, Debug)]
pub struct NewEvent {
    pub litter: Uuid,
    /// Today where none.
    pub on: Option<NaiveDate>,
    pub event: Event,
    pub note: String,
    pub version: i64,
}

/// Parents of a litter as somebody names them.
#[derive(Clone, Debug)]
pub struct NewParents {
    /// A reference; empty where not known.
    pub dam: String,
    /// References, each with its share.
    pub sires: Vec<(String, f64)>,
    /// Why parents are right that do not fit by the records; empty refuses them.
    pub because: String,
}

/// What was recorded wrong of a litter.
#[derive(Clone, Debug)]
pub enum Wrong {
    /// A change of its count.
    Change(Uuid),
    /// Who its parents are.
    Parents(NewParents),
}

/// A correction of a litter.
#[derive(Clone, Debug)]
pub struct Correction {
    pub litter: Uuid,
    pub wrong: Wrong,
    pub because: String,
    pub version: i64,
}

/// A young to be told apart.
#[derive(Clone, Debug)]
pub struct NewYoung {
    pub litter: Uuid,
    /// Today where none.
    pub on: Option<NaiveDate>,
    pub sex: Sex,
    pub marks: Vec<NewMark>,
    pub enclosure: String,
    pub owner: String,
    pub version: i64,
}

/// A young that was told apart, and its litter without it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ToldApart {
    pub animal: Animal,
    pub litter: Litter,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn litter(changes: &[(&str, Change)]) -> Litter {
        let day = |text: &str| text.parse().unwrap();
        let changes = changes.iter().map(|(on, change)| Changed {
            id: Uuid::nil(),
            on: day(on),
            change: change.clone(),
            note: String::new(),
            recorded_at: DateTime::UNIX_EPOCH,
        });
        Litter {
            id: Uuid::nil(),
            site: "QUI".to_owned(),
            taxon: Taxon {
                scientific_name: "Myocastor coypus".to_owned(),
                common_name: "coypu".to_owned(),
                ..Taxon::default()
            },
            born_on: day("2026-03-01"),
            dam: None,
            sires: Vec::new(),
            changes: changes.collect(),
            parents_because: String::new(),
            note: String::new(),
            version: 1,
        }
    }

    #[test]
    fn what_is_taken_later_cannot_be_taken_before() {
        let six = Counts::of(Sex::Unknown, 6);
        let litter = litter(&[
            ("2026-03-01", Change::Born(six)),
            ("2026-03-04", Change::Died(Counts::of(Sex::Unknown, 2), Manner::Unknown)),
            ("2026-03-20", Change::Sexed { males: 1, females: 2 }),
        ]);
        assert_eq!(litter.remaining().to_string(), "1.2.1");
        let to_spare = |day: &str| litter.to_spare(day.parse().unwrap()).to_string();
        assert_eq!(to_spare("2026-03-01"), "0.0.1");
        assert_eq!(to_spare("2026-03-20"), "1.2.1");
        assert_eq!(to_spare("2026-04-01"), "1.2.1");
        assert_eq!(to_spare("2026-02-01"), "0.0.0");
    }
}
