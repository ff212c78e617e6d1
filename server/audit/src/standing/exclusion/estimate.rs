//! The parts put together: how much speaks for it that an animal is being pushed out.

use super::evidence::{Evidence, Kind, Reader};
use super::hidden::{self, Belief, MODEL, Week};
use super::pressure::Pressure;
use super::record::Record;
use super::seen::{Counts, Stretch};
use crate::episode::Severity;
use crate::standing::contests::Misfit;
use crate::terms::Instant;
use serde::Serialize;

/// From this estimate on, someone should look at the next round.
pub const WATCH: f64 = 0.25;

/// From this estimate on, someone should act today.
pub const ACT: f64 = 0.6;

/// From this estimate on, an animal is taken to be under pressure, and what is seen of it is no yardstick for it.
const UNDER_PRESSURE: f64 = 0.25;

/// How much the estimate rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Certainty {
    /// Hardly anything was watched: a calm answer says little.
    Low,
    /// Some minutes, feeds or scans were.
    Medium,
    /// Hours, feeds and scans were, or two of them and its weight.
    High,
}

/// What speaks for it that one animal is being pushed out of its group.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Estimate<A> {
    /// Which animal.
    pub animal: A,
    /// Estimated probability that it is under pressure that lasts, from 0 to 1, on the base rate of the
    /// simulation that the model is fitted on.
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
    Ok((0..record.members.len()).map(|place| of_one(record, &reader, place, as_of)).collect())
}

fn of_one<A: Clone + Ord>(
    record: &Record<A>,
    reader: &Reader<'_, A>,
    place: usize,
    as_of: Instant,
) -> Estimate<A> {
    let (stretches, weeks): (Vec<Stretch>, Vec<Week>) = reader.weeks(place, as_of).into_iter().unzip();
    let beliefs = hidden::filter(&weeks, reader.has_rival(place), &MODEL);
    let mut pressure = Pressure::default();
    for (stretch, belief) in stretches.iter().zip(&beliefs) {
        if belief.pressed() >= UNDER_PRESSURE {
            pressure.note(*stretch);
        }
    }
    let evidence = reader.evidence(place, as_of, &pressure.past(as_of));
    let last = beliefs.last().copied().unwrap_or_else(Belief::calm);
    let probability = hidden::told(&last, hidden::Last::of(&evidence), &MODEL);
    let late = &beliefs[beliefs.len().saturating_sub(LATE_WEEKS)..];
    let mut parts: Vec<Part<A>> = evidence
        .into_iter()
        .map(|evidence| Part { adds: adds(&evidence, late, &last).max(0.0), evidence })
        .collect();
    parts.sort_by(|a, b| b.adds.total_cmp(&a.adds));
    let has = |kind: Kind| parts.iter().any(|part| part.evidence.kind() == kind);
    let missing: Vec<Kind> = Kind::OBSERVED.into_iter().filter(|kind| !has(*kind)).collect();
    let thin = parts.iter().filter(|part| part.evidence.thin()).map(|part| part.evidence.kind()).collect();
    let severity = match probability {
        p if p >= ACT => Some(Severity::Act),
        p if p >= WATCH => Some(Severity::Watch),
        _ => None,
    };
    Estimate {
        animal: record.members[place].animal.clone(),
        probability,
        severity,
        since: pressure.since(as_of).filter(|_| severity.is_some()),
        certainty: certainty(&reader.seen_now(place, as_of), has(Kind::Weight)),
        parts,
        missing,
        thin,
    }
}

/// Weeks of which the days of now are made.
const LATE_WEEKS: usize = 3;

/// Log-odds that a piece of evidence adds by what it said of late.
fn adds<A>(evidence: &Evidence<A>, late: &[Belief], last: &Belief) -> f64 {
    let counted = |kind: usize| late.iter().map(|belief| belief.spoke[kind]).sum();
    match evidence {
        Evidence::Aggression(_) => counted(0),
        Evidence::Food(_) => counted(1),
        Evidence::Isolation(_) => counted(2),
        Evidence::Fall { .. } => hidden::of_fall(evidence.strength(), &MODEL),
        Evidence::Weight { z } => hidden::weight_speaks(last, *z, &MODEL),
        Evidence::BesideBreeder { .. } => MODEL.rival,
        Evidence::GroupChange { .. } => MODEL.change,
    }
}

/// How much was seen of an animal in the days of now. Hours, feeds and scans that make a calm answer worth
/// something are choices of Holt's.
fn certainty(seen: &Counts, weighed: bool) -> Certainty {
    let steps = |much: f64, some: f64, enough: f64| u8::from(much >= some) + u8::from(much >= enough);
    let points = steps(seen.aggression.hours, 0.5, 2.0)
        + steps(f64::from(seen.feeds.of), 4.0, 9.0)
        + steps(f64::from(seen.alone.of), 4.0, 9.0)
        + u8::from(weighed);
    match points {
        0 | 1 => Certainty::Low,
        2..=4 => Certainty::Medium,
        _ => Certainty::High,
    }
}

#[cfg(test)]
mod tests {
    use super::super::record::{Change, Feed, Member, Stage, Watch};
    use super::*;
    use crate::standing::contests::Decided;
    use crate::terms::{Interval, Sex};
    use chrono::TimeDelta;
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
            // It is told from the start of a week of the calendar on.
            assert!(at(watched - 7, 0) < since && since <= at(watched + 21, 0), "{since}");
        }
        let over = followed(240, &[(84, 150)]);
        let clover = of(&estimate(&over, at(240, 0)).unwrap(), "Clover");
        assert_eq!((clover.severity, clover.since), (None, None));
        // What begins anew is told against the time before the first.
        let again = followed(300, &[(84, 150), (279, 300)]);
        let again = of(&estimate(&again, at(300, 0)).unwrap(), "Clover");
        assert_eq!(again.severity, Some(Severity::Act), "{again:?}");
    }

    /// Months of it: chased fifteen times an hour, off food every time and always alone.
    #[test]
    fn the_plainest_case_is_nearly_certain_for_as_long_as_it_goes_on() {
        for weeks in 3..=12 {
            let days = 84 + 7 * weeks;
            let mut record = followed(days, &[(84, days)]);
            for day in (84..days).step_by(2) {
                for bite in 0..7 {
                    let when = at(day, 121 + 4 * bite);
                    record.contests.push(Decided { at: when, winner: "Alder", loser: "Clover" });
                }
            }
            let clover = of(&estimate(&record, at(days, 0)).unwrap(), "Clover");
            assert!(clover.probability > 0.97, "{weeks}: {}", clover.probability);
            assert_eq!(clover.severity, Some(Severity::Act));
        }
    }

    #[test]
    fn some_seconds_of_watching_are_hardly_anything() {
        let mut few = record(false);
        few.feeds.clear();
        few.scans.clear();
        few.watched.retain(|watch| watch.during.from >= at(102, 0));
        for watch in &mut few.watched {
            watch.during.until = Some(watch.during.from + TimeDelta::seconds(12));
        }
        let told = estimate(&few, at(105, 0)).unwrap();
        assert!(told.iter().all(|told| told.certainty == Certainty::Low), "{told:?}");
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
        /// Where nothing was watched, nothing is said: whatever the facts are, no alarm.
        #[test]
        fn what_was_not_watched_raises_no_alarm(pressed in any::<bool>(), day in 70_i64..110, gone in 1_u8..16) {
            let whole = record(pressed);
            let mut less = whole.clone();
            let mut drop = |bit: u8, clear: fn(&mut Record<&'static str>)| {
                if gone & bit != 0 {
                    clear(&mut less);
                }
            };
            drop(1, |record| record.watched.clear());
            drop(2, |record| record.feeds.clear());
            drop(4, |record| record.scans.clear());
            drop(8, |record| record.weights.clear());
            let (all, some) = (estimate(&whole, at(day, 0)).unwrap(), estimate(&less, at(day, 0)).unwrap());
            for (all, some) in all.iter().zip(&some) {
                prop_assert!(some.certainty <= all.certainty);
                // Nobody is told of whom the whole record says nothing.
                prop_assert!(all.severity.is_some() || some.severity.is_none(), "{} {}", all.probability, some.probability);
            }
        }

        /// Whoever is seen to be kept off food more often is no less likely under pressure.
        #[test]
        fn more_kept_off_is_never_less_alarming(day in 84_i64..105, which in any::<prop::sample::Index>()) {
            let whole = record(true);
            let mut more = whole.clone();
            let mut calm: Vec<&mut Feed<&str>> = more
                .feeds
                .iter_mut()
                .filter(|feed| feed.animal == "Clover" && !feed.kept_off && at(84, 0) <= feed.at)
                .collect();
            if !calm.is_empty() {
                let place = which.index(calm.len());
                calm[place].kept_off = true;
            }
            let clover = |record| of(&estimate(record, at(day, 0)).unwrap(), "Clover").probability;
            prop_assert!(clover(&more) >= clover(&whole) - 1e-9);
        }
    }
}
