//! Ratings that follow time: after each contest the winner takes from the loser what was not expected.
//!
//! Sources: Elo 1978 (The Rating of Chessplayers); Albers & de Vries 2001 (Animal Behaviour 61:489);
//! Neumann et al. 2011 (Animal Behaviour 82:911). Ratings are kept at full precision: rounding at each
//! step changes them.

use super::contests::{Decided, Misfit};
use crate::stats::normal;
use crate::terms::Instant;
use serde::Serialize;
use std::collections::BTreeMap;
use std::f64::consts::SQRT_2;

/// How expectation depends on the difference of ratings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Form {
    /// 1 / (1 + 10^(−difference/400)).
    Logistic,
    /// Φ(difference / (200·√2)).
    Normal,
}

/// What ratings start from and how fast they move.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Settings {
    /// Rating of an animal before its first contest.
    pub start: f64,
    /// Most points that one contest can move.
    pub stake: f64,
    /// How expectation depends on the difference of ratings.
    pub form: Form,
}

impl Default for Settings {
    /// Start 1000 and stake 100, as Neumann et al. 2011 use them.
    fn default() -> Self {
        Self { start: 1_000.0, stake: 100.0, form: Form::Logistic }
    }
}

impl Settings {
    /// Probability that one so much above another wins.
    #[must_use]
    pub fn expected(&self, difference: f64) -> f64 {
        match self.form {
            Form::Logistic => 1.0 / (1.0 + 10_f64.powf(-difference / 400.0)),
            Form::Normal => normal::cdf(difference / (200.0 * SQRT_2)),
        }
    }
}

/// Ratings over time.
#[derive(Clone, Debug, PartialEq)]
pub struct Ratings<A> {
    settings: Settings,
    /// Rating after each contest, oldest first.
    courses: BTreeMap<A, Vec<(Instant, f64)>>,
}

/// Rates all animals that took part, contest by contest in the order of time; contests of one instant
/// keep the order given, which matters.
///
/// # Errors
/// An animal that won against itself.
pub fn rate<A: Clone + Ord>(decided: &[Decided<A>], settings: Settings) -> Result<Ratings<A>, Misfit<A>> {
    let mut ordered: Vec<&Decided<A>> = decided.iter().collect();
    ordered.sort_by_key(|contest| contest.at);
    let mut ratings = Ratings { settings, courses: BTreeMap::new() };
    for Decided { at, winner, loser } in ordered {
        if winner == loser {
            return Err(Misfit::SameAnimal(winner.clone()));
        }
        let (above, below) = (ratings.now(winner), ratings.now(loser));
        let moved = settings.stake * (1.0 - settings.expected(above - below));
        ratings.courses.entry(winner.clone()).or_default().push((*at, above + moved));
        ratings.courses.entry(loser.clone()).or_default().push((*at, below - moved));
    }
    Ok(ratings)
}

impl<A: Ord> Ratings<A> {
    /// Rating after the last contest; that of the start for an animal that had none.
    #[must_use]
    pub fn now(&self, animal: &A) -> f64 {
        self.courses.get(animal).and_then(|course| course.last()).map_or(self.settings.start, |(_, r)| *r)
    }

    /// Rating as it was at an instant, contests of that instant included.
    #[must_use]
    pub fn at(&self, animal: &A, at: Instant) -> f64 {
        let before = self
            .courses
            .get(animal)
            .map_or(&[][..], |course| &course[..course.partition_point(|(when, _)| *when <= at)]);
        before.last().map_or(self.settings.start, |(_, rating)| *rating)
    }

    /// Rating after each contest of an animal, oldest first.
    #[must_use]
    pub fn course(&self, animal: &A) -> &[(Instant, f64)] {
        self.courses.get(animal).map_or(&[], Vec::as_slice)
    }

    /// Every animal that took part, in its own order.
    pub fn animals(&self) -> impl Iterator<Item = &A> {
        self.courses.keys()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeDelta;
    use proptest::prelude::*;

    fn at(minute: i64) -> Instant {
        Instant::UNIX_EPOCH + TimeDelta::minutes(minute)
    }

    #[test]
    fn a_rating_is_asked_for_as_of_an_instant() {
        let contests = [
            Decided { at: at(9), winner: "Ash", loser: "Birch" },
            Decided { at: at(3), winner: "Birch", loser: "Ash" },
        ];
        let told = rate(&contests, Settings::default()).unwrap();
        assert!((told.at(&"Ash", at(2)) - 1_000.0).abs() < 1e-12);
        assert!((told.at(&"Ash", at(3)) - 950.0).abs() < 1e-12);
        assert!((told.at(&"Ash", at(8)) - 950.0).abs() < 1e-12);
        assert!(told.now(&"Ash") > 1_000.0, "the later win against a favourite pays more");
        assert!((told.now(&"Cedar") - 1_000.0).abs() < 1e-12);
        assert_eq!(told.course(&"Ash").len(), 2);
    }

    #[test]
    fn nobody_wins_against_itself() {
        let contests = [Decided { at: at(1), winner: "Ash", loser: "Ash" }];
        assert_eq!(rate(&contests, Settings::default()), Err(Misfit::SameAnimal("Ash")));
    }

    proptest! {
        #[test]
        fn points_are_never_made_or_lost(pairs in prop::collection::vec((0_u8..6, 0_u8..5), 1..80)) {
            let contests: Vec<Decided<u8>> = pairs
                .iter()
                .zip(0..)
                .map(|(&(winner, skip), minute)| {
                    Decided { at: at(minute), winner, loser: (winner + 1 + skip) % 6 }
                })
                .collect();
            for form in [Form::Logistic, Form::Normal] {
                let told = rate(&contests, Settings { form, ..Settings::default() }).unwrap();
                let sum: f64 = (0..6).map(|animal| told.now(&animal)).sum();
                prop_assert!((sum - 6_000.0).abs() < 1e-6);
            }
        }
    }
}
