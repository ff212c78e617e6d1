//! What is asked of the model, and what it answers.

use super::onsets::Course;
use super::slips::Slip;
use crate::episode::Severity;
use crate::terms::{Instant, Mass, RecordId, Sex};
use serde::{Deserialize, Serialize};

/// What a site has said of a kind that it keeps.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Kind {
    /// Its weight goes with the season.
    pub seasonal: bool,
    /// How many days it carries, or broods.
    pub gestation_days: Option<u32>,
    /// From which age in days it breeds: until then it is young.
    pub breeds_from_days: Option<u32>,
    /// How many false concerns about weight an animal-year may have: 0.1 is one in ten animal-years.
    pub false_a_year: f64,
}

/// What is known of an animal besides its weight.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Life {
    /// Its sex.
    pub sex: Sex,
    /// Moment of its birth, if that is known.
    pub born: Option<Instant>,
}

/// Something on record that weight depends on. Each is given in order of time, with the readings.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "fact", rename_all = "snake_case")]
pub enum Fact {
    /// It lives in the group from now on; the same again corrects what was said of its life.
    Joins {
        /// Its life.
        life: Life,
    },
    /// It left the group, or died.
    Leaves,
    /// She carries, or somebody suspects so.
    Carries,
    /// She carries no longer, without a birth.
    CarriesNoMore,
    /// She has given birth.
    Birth,
    /// Moult, rut or torpor begins.
    RestBegins,
    /// That is over.
    RestEnds,
    /// A person settled the open loss.
    Settled {
        /// As what.
        how: Settled,
    },
}

/// As what a person settles an open loss.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Settled {
    /// Nothing was wrong: the evidence so far no longer counts.
    FalseAlarm,
    /// It is being treated: its recovery is watched against what it weighed before.
    Treated,
    /// What it weighs now is normal.
    NewNormal,
}

/// One reading of a round.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Weighing {
    /// The animal.
    pub animal: RecordId,
    /// When.
    pub at: Instant,
    /// What the scale showed.
    pub mass: Mass,
    /// On which scale, if that was noted.
    pub scale: Option<RecordId>,
    /// What the scale counts in, if that is known.
    pub step: Option<Mass>,
    /// A person vouches for it: it counts, whatever was expected.
    pub accepted: bool,
}

/// What an animal was expected to weigh.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Expected {
    /// The most likely mass on that scale.
    pub mass: Mass,
    /// Least and most that fit: a reading in between is never set aside.
    pub low: Mass,
    /// See `low`.
    pub high: Mass,
    /// Standard deviation of a reading about the expected mass, of ln mass (0.02 is about 2 %).
    pub spread: f64,
    /// What that rests on.
    pub basis: Basis,
}

impl Expected {
    /// Between what a new reading lies 19 times in 20.
    #[must_use]
    pub fn usual(&self) -> [Mass; 2] {
        let reach = crate::stats::normal::quantile(0.975) * self.spread;
        [-reach, reach].map(|reach| Mass::from_grams(self.mass.grams() * reach.exp()))
    }
}

/// What an expectation rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Basis {
    /// Its own readings before.
    pub readings: u32,
    /// Pairs of readings of others of its kind that its noise is borrowed from; none yet if 0: then what is usual
    /// of all kinds is taken.
    pub kin: u32,
    /// Others of its group that were weighed in the same round.
    pub beside: u32,
    /// Where it stands in its life.
    pub standing: Standing,
}

/// Where an animal stands in its life, as far as the model goes by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// It still grows.
    Growing,
    /// It is grown.
    Grown,
    /// She carries, or gains as if she did.
    Carrying,
    /// She has given birth lately.
    Nursing,
    /// It moults, is in rut or in torpor.
    Resting,
}

/// What became of a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Entry {
    /// The first of its animal.
    First,
    /// It counts.
    Taken,
    /// It counts, and so does what one before it said: tell people once that this is the truth now.
    Confirms,
    /// It counts, and fell as a birth makes fall: to be asked about, and no loss.
    Birth,
    /// It counts, though nothing agrees with it: two before it wait already, and doubt must end.
    Outlasts,
    /// It counts, though nothing agrees with it: a person vouches for it.
    Accepted,
    /// It waits for another, and counts for nothing until then.
    Waits,
}

/// The answer to one reading.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Judgement {
    /// The animal.
    pub animal: RecordId,
    /// What it was expected to weigh; nothing is expected of a first reading.
    pub expected: Option<Expected>,
    /// What became of the reading.
    pub entry: Entry,
    /// The slip that would explain a reading that waits.
    pub likely: Option<Slip>,
    /// What it loses, as far as people should hear of it.
    pub loss: Option<Loss>,
}

/// A loss that is likelier than none.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Loss {
    /// Since when.
    pub since: Instant,
    /// How it goes on.
    pub course: Course,
    /// What it is below what was to be expected by now, in %: the one figure that is printed.
    pub percent: f64,
    /// It lost nothing of what it weighed: it is young, and gains less than was to be expected.
    pub gains_less: bool,
    /// How soon someone should look: by that very figure, from 10 % on today and from 20 % on now. A young animal that
    /// has lost nothing of what it weighed, and only gains less than was to be expected, is looked at today at most.
    pub severity: Severity,
    /// ln of how many times likelier than none it makes the readings.
    pub odds: f64,
    /// How many times a year healthy animals of the kind and standing reach such odds.
    pub a_year: f64,
    /// People should hear of it: it is rare enough, or it was when it was told and is not made up for.
    pub told: bool,
}

/// Percent from which someone should look today, and now.
const ACT: f64 = 10.0;
const URGENT: f64 = 20.0;

/// A change of ln mass as a printed loss in %, to a tenth.
pub(super) fn percent(change: f64) -> f64 {
    (-1000.0 * change.exp_m1()).round() / 10.0
}

/// How soon someone should look, by the printed figure.
pub(super) fn severity(percent: f64) -> Severity {
    if percent >= URGENT {
        Severity::Urgent
    } else if percent >= ACT {
        Severity::Act
    } else {
        Severity::Watch
    }
}
