//! The parts put together: how much speaks for it that an animal is being pushed out.

use super::evidence::{Evidence, Kind, Reader};
use super::pressure::Pressure;
use super::record::Record;
use crate::episode::Severity;
use crate::standing::contests::Misfit;
use crate::terms::Instant;
use chrono::TimeDelta;
use serde::Serialize;

/// Log-odds without any evidence.
pub const INTERCEPT: f64 = -7.01;

/// From this estimate on, someone should look at the next round.
pub const WATCH: f64 = 0.25;

/// From this estimate on, someone should act today.
pub const ACT: f64 = 0.6;

/// From this estimate on, an animal is taken to be under pressure, and what is seen of it is no yardstick for it.
const UNDER_PRESSURE: f64 = 0.25;

/// Log-odds that one unit of a part's strength adds.
#[must_use]
pub const fn weight(kind: Kind) -> f64 {
    match kind {
        Kind::Aggression => 0.28,
        Kind::Food => 0.80,
        Kind::Isolation => 1.02,
        Kind::Fall => 0.45,
        Kind::Weight => 0.47,
        Kind::BesideBreeder => 1.28,
        Kind::GroupChange => 1.02,
    }
}

/// How much the estimate rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Certainty {
    /// At most one of the five observed kinds is known from more than a little.
    Low,
    /// Two or three are.
    Medium,
    /// Four or all five are.
    High,
}

/// What speaks for it that one animal is being pushed out of its group.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Estimate<A> {
    /// Which animal.
    pub animal: A,
    /// Estimated probability that it is being pushed out, from 0 to 1, on the base rate of the
    /// simulation that the weights are from.
    pub probability: f64,
    /// How soon someone should look, if at all.
    pub severity: Option<Severity>,
    /// Where someone should: when what was seen first said so, where that was some time ago.
    pub since: Option<Instant>,
    /// How much of what could be known is known.
    pub certainty: Certainty,
    /// The evidence, that which adds most first.
    pub parts: Vec<Part<A>>,
    /// Observed kinds of which nothing is known. They added nothing; look at these to be surer.
    pub missing: Vec<Kind>,
    /// Observed kinds that rest on so little that they do not count towards the certainty.
    pub thin: Vec<Kind>,
}

/// A piece of evidence and what it adds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Part<A> {
    /// The evidence with its numbers.
    pub evidence: Evidence<A>,
    /// Log-odds that it adds, never below 0.
    pub adds: f64,
}

/// Estimates each member of a group as of a moment, in the order of the members.
///
/// # Errors
/// A contest of an animal with itself.
pub fn estimate<A: Clone + Ord>(record: &Record<A>, as_of: Instant) -> Result<Vec<Estimate<A>>, Misfit<A>> {
    let reader = Reader::new(record, as_of)?;
    Ok((0..)
        .zip(&record.members)
        .map(|(place, member)| {
            let pressure = pressure(record, &reader, place, as_of);
            let told = of_one(&member.animal, reader.evidence(place, as_of, &pressure.past(as_of)));
            let since = pressure.since(as_of, STEP).filter(|_| told.severity.is_some());
            Estimate { since, ..told }
        })
        .collect())
}

/// Weeks of the calendar, so that whoever asks on another day is told the same of the past.
const STEP: TimeDelta = TimeDelta::days(7);

/// When a member was under pressure before a moment, by what had been seen then: week by week, each held against
/// the weeks before it that were without. What its weight did then is not asked.
fn pressure<A: Clone + Ord>(
    record: &Record<A>,
    reader: &Reader<'_, A>,
    place: usize,
    as_of: Instant,
) -> Pressure {
    let animal = &record.members[place].animal;
    let mut pressure = Pressure::default();
    let Some(first) = reader.first() else { return pressure };
    let mut at =
        Instant::UNIX_EPOCH + STEP * i32::try_from((first - Instant::UNIX_EPOCH).num_weeks()).unwrap_or(0);
    while at < as_of {
        let mut evidence = reader.evidence(place, at, &pressure.past(at));
        evidence.retain(|evidence| evidence.kind() != Kind::Weight);
        if of_one(animal, evidence).probability >= UNDER_PRESSURE {
            pressure.note(at);
        }
        at += STEP;
    }
    pressure
}

fn of_one<A: Clone>(animal: &A, evidence: Vec<Evidence<A>>) -> Estimate<A> {
    let missing: Vec<Kind> =
        Kind::OBSERVED.into_iter().filter(|kind| evidence.iter().all(|e| e.kind() != *kind)).collect();
    let thin: Vec<Kind> = evidence.iter().filter(|e| e.thin()).map(Evidence::kind).collect();
    let mut parts: Vec<Part<A>> = evidence
        .into_iter()
        .map(|evidence| Part { adds: weight(evidence.kind()) * evidence.strength(), evidence })
        .collect();
    parts.sort_by(|a, b| b.adds.total_cmp(&a.adds));
    let odds = INTERCEPT + parts.iter().map(|part| part.adds).sum::<f64>();
    let probability = 1.0 / (1.0 + (-odds).exp());
    Estimate {
        animal: animal.clone(),
        probability,
        severity: match probability {
            p if p >= ACT => Some(Severity::Act),
            p if p >= WATCH => Some(Severity::Watch),
            _ => None,
        },
        since: None,
        certainty: match missing.len() + thin.len() {
            0 | 1 => Certainty::High,
            2 | 3 => Certainty::Medium,
            _ => Certainty::Low,
        },
        parts,
        missing,
        thin,
    }
}

#[cfg(test)]
mod tests {
    use super::super::record::{Change, Feed, Member, Stage, Watch};
    use super::*;
    use crate::standing::contests::Decided;
    use crate::terms::{Interval, Sex};
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    const NAMES: [&str; 5] = ["Alder", "Bramble", "Clover", "Dock", "Elm"];

    fn at(day: i64, minute: i64) -> Instant {
        Instant::UNIX_EPOCH + TimeDelta::days(20_000 + day) + TimeDelta::minutes(minute)
    }

    fn members() -> Vec<Member<&'static str>> {
        let member =
            |place: usize, sex, stage, breeding| Member { animal: NAMES[place], sex, stage, breeding };
        vec![
            member(0, Sex::Female, Stage::Grown, true),
            member(1, Sex::Male, Stage::Grown, true),
            member(2, Sex::Female, Stage::Maturing, false),
            member(3, Sex::Unknown, Stage::Maturing, false),
            member(4, Sex::Female, Stage::Young, false),
        ]
    }

    /// Days 0 to 104 of a group that is watched half an hour each, fed and scanned every other day. From
    /// day 84 on Clover is chased, kept off food and alone, if `pressed`.
    fn record(pressed: bool) -> Record<&'static str> {
        followed(105, if pressed { &[(84, 105)] } else { &[] })
    }

    /// The same over so many days, with Clover under pressure on some of them.
    fn followed(days: i64, spells: &[(i64, i64)]) -> Record<&'static str> {
        let pressed = |day: i64| spells.iter().any(|(from, until)| (*from..*until).contains(&day));
        let mut record = Record {
            members: members(),
            watched: Vec::new(),
            contests: Vec::new(),
            feeds: Vec::new(),
            scans: Vec::new(),
            weights: NAMES
                .iter()
                .map(|&name| (name, if pressed(days - 1) && name == "Clover" { -2.5 } else { 0.2 }))
                .collect(),
            changes: vec![Change { at: at(80, 0), what: "a birth".into() }],
            kinship: vec![("Alder", "Clover", 0.25)],
        };
        for day in (0..days).step_by(2) {
            for (place, animal) in NAMES.into_iter().enumerate() {
                let now = animal == "Clover" && pressed(day);
                let start = 60 * i64::try_from(place).unwrap();
                let during = Interval { from: at(day, start), until: Some(at(day, start + 30)) };
                record.watched.push(Watch { animal, during });
                if now || day % 14 == 0 {
                    let winner = NAMES[(place + 1) % NAMES.len()];
                    record.contests.push(Decided { at: at(day, start + 5), winner, loser: animal });
                }
                record.feeds.push(Feed { at: at(day, 500), animal, kept_off: now || day % 20 == 0 });
            }
            let lonely = if pressed(day) { "Clover" } else { NAMES[usize::try_from(day).unwrap() % 5] };
            let together = NAMES.into_iter().filter(|&name| name != lonely).collect();
            record.scans.push((at(day, 600), vec![BTreeSet::from([lonely]), together]));
        }
        record
    }

    fn of(told: &[Estimate<&'static str>], name: &str) -> Estimate<&'static str> {
        told.iter().find(|told| told.animal == name).unwrap().clone()
    }

    #[test]
    fn an_animal_under_pressure_is_found_with_its_evidence() {
        let told = estimate(&record(true), at(105, 0)).unwrap();
        let clover = of(&told, "Clover");
        assert_eq!((clover.severity, clover.certainty), (Some(Severity::Act), Certainty::High));
        assert!(clover.missing.is_empty() && clover.thin.is_empty());
        let kinds: BTreeSet<Kind> = clover.parts.iter().map(|part| part.evidence.kind()).collect();
        assert_eq!(kinds.len(), 7);
        assert!(clover.parts.is_sorted_by(|a, b| a.adds >= b.adds));
        let beside = Evidence::BesideBreeder { breeder: "Alder", kinship: Some(0.25) };
        assert!(clover.parts.iter().any(|part| part.evidence == beside));
        for other in told.iter().filter(|told| told.animal != "Clover") {
            assert_eq!(other.severity, None, "{}", other.animal);
        }
    }

    /// What has gone on for months was so in the past, too, and is no less of a matter for that.
    #[test]
    fn pressure_that_lasts_stays_told_until_it_ends() {
        for (days, watched) in [(112, 84), (210, 84), (300, 84), (210, 0)] {
            let clover = of(&estimate(&followed(days, &[(watched, days)]), at(days, 0)).unwrap(), "Clover");
            assert_eq!(clover.severity, Some(Severity::Act), "{days} {watched}: {clover:?}");
            let since = clover.since.unwrap();
            assert!(at(watched, 0) <= since && since <= at(watched + 21, 0), "{since}");
        }
        let over = followed(240, &[(84, 150)]);
        let clover = of(&estimate(&over, at(240, 0)).unwrap(), "Clover");
        assert_eq!((clover.severity, clover.since), (None, None));
        // What begins anew is told against the time before the first.
        let again = followed(300, &[(84, 150), (279, 300)]);
        let again = of(&estimate(&again, at(300, 0)).unwrap(), "Clover");
        assert_eq!(again.severity, Some(Severity::Act), "{again:?}");
    }

    #[test]
    fn a_calm_group_raises_nothing() {
        let told = estimate(&record(false), at(105, 0)).unwrap();
        assert!(told.iter().all(|told| told.severity.is_none() && told.certainty == Certainty::High));
    }

    #[test]
    fn facts_without_observation_raise_nothing() {
        let bare = Record {
            watched: Vec::new(),
            contests: Vec::new(),
            feeds: Vec::new(),
            scans: Vec::new(),
            weights: Vec::new(),
            ..record(true)
        };
        let clover = of(&estimate(&bare, at(105, 0)).unwrap(), "Clover");
        assert_eq!((clover.severity, clover.certainty), (None, Certainty::Low));
        assert_eq!(clover.missing, Kind::OBSERVED);
        assert_eq!(clover.parts.len(), 2, "the two facts");
    }

    #[test]
    fn only_grown_and_growing_animals_of_a_breeders_sex_are_its_rivals() {
        let told = estimate(&record(true), at(105, 0)).unwrap();
        let rivals: Vec<_> = told
            .iter()
            .filter(|told| told.parts.iter().any(|part| part.evidence.kind() == Kind::BesideBreeder))
            .map(|told| told.animal)
            .collect();
        assert_eq!(rivals, ["Clover"]);
    }

    #[test]
    fn what_happens_after_the_moment_asked_about_is_not_known_yet() {
        let early = estimate(&record(true), at(84, 0)).unwrap();
        let mut cut = record(true);
        cut.watched.retain(|watch| watch.during.from < at(84, 0));
        cut.contests.retain(|contest| contest.at < at(84, 0));
        cut.feeds.retain(|feed| feed.at < at(84, 0));
        cut.scans.retain(|(when, _)| *when < at(84, 0));
        assert_eq!(early, estimate(&cut, at(84, 0)).unwrap());
    }

    proptest! {
        /// Whatever kind of evidence is taken away, nobody's estimate rises.
        #[test]
        fn missing_evidence_never_raises_alarm(pressed in any::<bool>(), day in 70_i64..110, gone in 1_u8..64) {
            let whole = record(pressed);
            let mut less = whole.clone();
            let mut drop = |bit: u8, clear: fn(&mut Record<&'static str>)| {
                if gone & bit != 0 {
                    clear(&mut less);
                }
            };
            drop(1, |record| record.watched.clear());
            drop(2, |record| record.contests.clear());
            drop(4, |record| record.feeds.clear());
            drop(8, |record| record.scans.clear());
            drop(16, |record| record.weights.clear());
            drop(32, |record| record.changes.clear());
            let (all, some) = (estimate(&whole, at(day, 0)).unwrap(), estimate(&less, at(day, 0)).unwrap());
            for (all, some) in all.iter().zip(&some) {
                prop_assert!(some.probability <= all.probability + 1e-12);
                prop_assert!(some.certainty <= all.certainty);
            }
        }
    }
}
