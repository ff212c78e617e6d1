//! The estimate in words: each part with its numbers, and what is not known.

use super::estimate::{Certainty, Estimate, Part};
use super::evidence::{Evidence, Kind};
use super::record::NOW_DAYS;
use super::surprise::{Surprise, Trials};
use crate::terms::{Day, Instant};
use crate::words::{Figure, IF_OVER, Words};

/// How animals and instants are named.
pub struct Names<'a, A> {
    /// An animal as people know it: `Bramble (QUI-26-0042)`.
    pub animal: &'a (dyn Fn(&A) -> String + Sync),
    /// The day of an instant at the site.
    pub day: &'a (dyn Fn(Instant) -> Day + Sync),
    /// The group.
    pub group: &'a str,
}

/// What people are told of an animal that is at risk of being driven out of its group.
#[must_use]
pub fn told<A>(estimate: &Estimate<A>, names: &Names<'_, A>) -> Words {
    let name = (names.animal)(&estimate.animal);
    let speaks: Vec<String> = estimate
        .parts
        .iter()
        .filter(|part| part.adds > 0.0)
        .map(|part| sentence(&part.evidence, names))
        .collect();
    let since = estimate.since.map(|since| format!(" It has been so since {}.", (names.day)(since)));
    let seen = format!(
        "{name} is at risk of being driven out of {}. In the last {NOW_DAYS} days {}.{} {}",
        names.group,
        speaks.join("; "),
        since.unwrap_or_default(),
        certainty(estimate)
    );
    let mut figures = vec![Figure::new("exclusion risk", 100.0 * estimate.probability, "%")];
    figures.extend(estimate.parts.iter().flat_map(|part| self::figures(&part.evidence)));
    Words { seen, look_first: look_first(&estimate.parts).to_owned(), figures }
}

/// What to say of an open matter once the estimate is low again: people settle it, not a computation.
#[must_use]
pub fn quiet<A>(estimate: &Estimate<A>, names: &Names<'_, A>) -> Words {
    Words {
        seen: format!(
            "In the last {NOW_DAYS} days nobody saw signs that {} is at risk of being driven out of {}. {}",
            (names.animal)(&estimate.animal),
            names.group,
            certainty(estimate)
        ),
        look_first: IF_OVER.to_owned(),
        figures: vec![Figure::new("exclusion risk", 100.0 * estimate.probability, "%")],
    }
}

/// A piece of evidence in a few words.
#[must_use]
pub fn sentence<A>(evidence: &Evidence<A>, names: &Names<'_, A>) -> String {
    match evidence {
        Evidence::Aggression(surprise) => {
            let now = surprise.counts.own_now;
            format!(
                "it was driven, threatened or bitten {} in {:.1} hours of observation ({:.1} expected)",
                times(now.events),
                now.hours,
                surprise.expected
            )
        }
        Evidence::Food(surprise) => of_trials("it was kept off food at", surprise, "feeds"),
        Evidence::Isolation(surprise) => of_trials("it was alone in", surprise, "scans"),
        Evidence::Fall { before, now, contests } => {
            let way = if now < before { "fell" } else { "rose" };
            format!("its rating {way} from {before:.0} to {now:.0} in {contests} contests")
        }
        Evidence::Weight { z } => {
            let way = if *z < 0.0 { "behind" } else { "ahead of" };
            format!("its weight went {:.1} spreads {way} its companions'", z.abs())
        }
        Evidence::BesideBreeder { breeder, kinship } => {
            let kin = match kinship {
                Some(kinship) if *kinship > 0.0 => format!(", its kin (kinship {kinship:.3})"),
                Some(_) => ", not known kin".to_owned(),
                None => String::new(),
            };
            format!(
                "it is grown or growing up beside {}, who breeds and is of its sex{kin}",
                (names.animal)(breeder)
            )
        }
        Evidence::GroupChange { at, what } => {
            format!("the group changed on {}: {what}", (names.day)(*at))
        }
    }
}

fn of_trials(what: &str, surprise: &Surprise<Trials>, of: &str) -> String {
    let now = surprise.counts.own_now;
    format!("{what} {} of {} {of} ({:.1} expected)", now.hits, now.of, surprise.expected)
}

fn times(n: u32) -> String {
    if n == 1 { "once".to_owned() } else { format!("{n} times") }
}

/// How sure it is, and what would make it surer.
#[must_use]
pub fn certainty<A>(estimate: &Estimate<A>) -> String {
    let sure = match estimate.certainty {
        Certainty::Low => "low",
        Certainty::Medium => "medium",
        Certainty::High => "high",
    };
    let list = |kinds: &[Kind]| kinds.iter().map(|kind| noun(*kind)).collect::<Vec<_>>().join(", ");
    let mut told = format!("Certainty: {sure}.");
    if !estimate.missing.is_empty() {
        told += &format!(" Not known: {}.", list(&estimate.missing));
    }
    if !estimate.thin.is_empty() {
        told += &format!(" Known from little: {}.", list(&estimate.thin));
    }
    told
}

/// What a kind of evidence is called.
#[must_use]
pub const fn noun(kind: Kind) -> &'static str {
    match kind {
        Kind::Aggression => "aggression received",
        Kind::Food => "access to food",
        Kind::Isolation => "company in scans",
        Kind::Fall => "change of standing",
        Kind::Weight => "weight compared with the group",
        Kind::BesideBreeder => "a breeder of its sex",
        Kind::GroupChange => "changes in the group",
    }
}

/// The numbers of a piece of evidence.
#[must_use]
pub fn figures<A>(evidence: &Evidence<A>) -> Vec<Figure> {
    let whole = |n: u32| f64::from(n);
    match evidence {
        Evidence::Aggression(surprise) => vec![
            Figure::new("aggression received", whole(surprise.counts.own_now.events), "1"),
            Figure::new("aggression expected", surprise.expected, "1"),
            Figure::new("time observed", surprise.counts.own_now.hours, "h"),
        ],
        Evidence::Food(surprise) => vec![
            Figure::new("feeds at which it was kept off", whole(surprise.counts.own_now.hits), "1"),
            Figure::new("such feeds expected", surprise.expected, "1"),
            Figure::new("feeds observed", whole(surprise.counts.own_now.of), "1"),
        ],
        Evidence::Isolation(surprise) => vec![
            Figure::new("scans in which it was alone", whole(surprise.counts.own_now.hits), "1"),
            Figure::new("such scans expected", surprise.expected, "1"),
            Figure::new("scans that saw it", whole(surprise.counts.own_now.of), "1"),
        ],
        Evidence::Fall { before, now, .. } => {
            vec![Figure::new("Elo-rating before", *before, "1"), Figure::new("Elo-rating now", *now, "1")]
        }
        Evidence::Weight { z } => vec![Figure::new("its slope among theirs (robust z)", *z, "1")],
        Evidence::BesideBreeder { kinship, .. } => {
            kinship.iter().map(|kinship| Figure::new("kinship with the breeder", *kinship, "1")).collect()
        }
        Evidence::GroupChange { .. } => Vec::new(),
    }
}

/// What to look at first, by what speaks most. Feeding apart from one another first and separation last is
/// common practice (no source): whoever is taken out may not be let back.
fn look_first<A>(parts: &[Part<A>]) -> &'static str {
    match parts.first().map(|part| part.evidence.kind()) {
        Some(Kind::Food | Kind::Weight) => {
            "Watch a whole feed: does it eat, where, and who drives it. Feed at several places out of sight \
             of one \
             another, and see it eat; weigh it. Look for fresh bites at tail, ears and rump. Separation is \
             the last step: the group may not accept it back."
        }
        Some(Kind::Isolation) => {
            "See where it sleeps and whether it may come near the others; look for fresh bites at tail, \
             ears and \
             rump, and watch a whole feed. Give it warmth, water and food where it is. Separation is the \
             last step: the group may not accept it back."
        }
        _ => {
            "Look for fresh bites at tail, ears and rump; see who drives it, and whether it has a way out \
             and a \
             place to hide. Watch a whole feed, and feed at several places. Separation is the last step: \
             the group may not accept it back. Call the vet at once about wounds."
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::surprise::Four;
    use super::*;
    use crate::episode::Severity;
    use crate::standing::rates::Watched;
    use crate::terms::Instant;

    fn estimate(parts: Vec<(Evidence<&'static str>, f64)>) -> Estimate<&'static str> {
        Estimate {
            animal: "Sedge",
            probability: 0.62,
            since: None,
            severity: Some(Severity::Act),
            certainty: Certainty::Medium,
            parts: parts.into_iter().map(|(evidence, adds)| Part { evidence, adds }).collect(),
            missing: vec![Kind::Weight],
            thin: vec![Kind::Isolation],
        }
    }

    fn words(estimate: &Estimate<&'static str>) -> Words {
        let names = Names {
            animal: &|animal: &&'static str| (*animal).to_owned(),
            day: &|at: Instant| at.date_naive(),
            group: "Weir family",
        };
        told(estimate, &names)
    }

    fn food(hits: u32) -> Evidence<&'static str> {
        let own_now = Trials { hits, of: 9 };
        Evidence::Food(Surprise { counts: Four { own_now, ..Four::default() }, expected: 1.21, excess: 3.0 })
    }

    #[test]
    fn what_speaks_is_said_and_what_is_calm_is_a_figure() {
        let calm = Evidence::Aggression(Surprise {
            counts: Four { own_now: Watched { events: 1, hours: 3.0 }, ..Four::default() },
            expected: 2.0,
            excess: 0.0,
        });
        let beside = Evidence::BesideBreeder { breeder: "Bramble", kinship: Some(0.25) };
        let told = words(&estimate(vec![(food(6), 2.4), (beside, 1.28), (calm, 0.0)]));
        assert_eq!(
            told.seen,
            "Sedge is at risk of being driven out of Weir family. In the last 21 days it was kept off food \
             at 6 of 9 feeds (1.2 expected); it is grown or growing up beside Bramble, who breeds and is of \
             its sex, \
             its kin (kinship 0.250). Certainty: medium. Not known: weight compared with the group. Known \
             from little: \
             company in scans."
        );
        assert!(told.look_first.starts_with("Watch a whole feed"));
        let names: Vec<&str> = told.figures.iter().map(|figure| figure.name).collect();
        assert_eq!(names[0], "exclusion risk");
        assert!(names.contains(&"aggression received"), "{names:?}");
    }

    #[test]
    fn no_word_says_what_becomes_of_it_or_names_an_illness() {
        let change = Evidence::GroupChange { at: Instant::UNIX_EPOCH, what: "Alder came".to_owned() };
        for parts in [vec![(food(6), 2.4)], vec![(change, 1.0)], Vec::new()] {
            let told = words(&estimate(parts));
            let all = format!("{} {}", told.seen, told.look_first).to_lowercase();
            for word in ["will be", "ill", "sick", "disease", "diagnos", "certainly"] {
                assert!(!all.split(|c: char| !c.is_alphabetic()).any(|other| other == word), "{word}: {all}");
            }
            assert!(all.contains("may"));
        }
    }
}
