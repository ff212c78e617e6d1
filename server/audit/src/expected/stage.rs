//! Where an animal stands in its life, and how restless its weight is then.

use super::animal::Around;
use crate::terms::Sex;
use serde::{Deserialize, Serialize};

/// What is known of an animal besides its weight.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Life {
    pub(super) sex: Sex,
    /// Moment of its birth, in weeks.
    pub(super) born: Option<f64>,
}

impl Life {
    pub(super) fn age(&self, at: f64) -> Option<f64> {
        self.born.map(|born| at - born)
    }

    /// It is not old enough to breed.
    pub(super) fn is_young(&self, at: f64, around: &Around) -> bool {
        self.age(at).zip(around.breeds_from).is_some_and(|(age, from)| age < from)
    }

    pub(super) const fn may_carry(&self) -> bool {
        !matches!(self.sex, Sex::Male)
    }
}

/// Where it stands. Masses are ln grams.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "stage", rename_all = "snake_case")]
pub(super) enum Stage {
    Growing,
    Grown,
    /// She carries, or may: recorded, or told by her gain.
    Carrying {
        since: f64,
        base: f64,
    },
    /// She has given birth lately; what she weighed before she carried, if that is known.
    Nursing {
        until: f64,
        base: Option<f64>,
    },
    /// It moults or is in rut.
    Resting {
        base: f64,
    },
}

/// How much weight may change within a week, as standard deviations of ln mass.
#[derive(Clone, Copy, Debug)]
pub(super) struct Unrest {
    pub(super) level: f64,
    pub(super) slope: f64,
    pub(super) wander: f64,
    /// How fast a slope is lost.
    pub(super) slowing: f64,
}

impl Stage {
    /// The stage at a moment, where time alone moves it on.
    pub(super) fn by(self, at: f64, life: &Life, around: &Around) -> Self {
        match self {
            Self::Growing if !life.is_young(at, around) => Self::Grown,
            Self::Nursing { until, .. } if until <= at => Self::Grown,
            Self::Carrying { since, .. } if at - since > around.gestation.unwrap_or(20.0) + 8.0 => {
                Self::Grown
            }
            _ => self,
        }
    }

    pub(super) fn unrest(self, wander: f64) -> Unrest {
        match self {
            Self::Growing => Unrest { level: 0.0015, slope: 0.0002, wander: wander.max(0.011), slowing: 0.0 },
            Self::Grown => Unrest { level: 0.001, slope: 0.00002, wander, slowing: 0.0 },
            Self::Carrying { .. } => Unrest { level: 0.003, slope: 0.003, wander, slowing: 0.05 },
            Self::Nursing { .. } => Unrest { level: 0.002, slope: 0.0008, wander, slowing: 0.15 },
            Self::Resting { .. } => Unrest { level: 0.01, slope: 0.008, wander, slowing: 0.3 },
        }
    }
}
