//! From what a person noted while watching a group to what is counted.
//!
//! While a watch runs, every interaction of those in sight is noted (all occurrences, Altmann 1974,
//! Behaviour 49:227). So an animal that does nothing all morning was watched for that morning, and the
//! time for which each was in sight is what its counts are divided by. Where only some animals were
//! followed, only they were watched.

use super::association::Scan;
use super::budget::Bout;
use super::contests::Decided;
use super::exclusion::record::{Feed, Watch};
use super::rates::Watched;
use crate::ethogram::{Above, Kind};
use crate::terms::{Instant, Interval};
use chrono::TimeDelta;
use std::collections::{BTreeMap, BTreeSet};

/// An animal's time in the group.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stay<A> {
    /// Which animal.
    pub animal: A,
    /// From when to when.
    pub during: Interval,
}

/// A stretch of watching.
#[derive(Clone, Debug)]
pub struct Session<A> {
    /// When it began.
    pub from: Instant,
    /// When it ended.
    pub until: Instant,
    /// The animals that were followed; none where it was the whole group.
    pub only: Vec<A>,
    /// What was seen.
    pub seen: Vec<(Instant, Seen<A>)>,
}

/// Something that was seen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Seen<A> {
    /// An animal did something.
    Did {
        /// Who.
        actor: A,
        /// To whom, if to anybody.
        receiver: Option<A>,
        /// What kind of thing.
        kind: Kind,
        /// Who stands above by it.
        above: Above,
        /// Whether it happened over food.
        at_food: bool,
    },
    /// One look at all.
    Scan(Vec<Scanned<A>>),
    /// One animal was followed for some seconds.
    Followed {
        /// Which.
        animal: A,
        /// What it did; nothing where it was out of sight.
        behaviour: Option<String>,
        /// For how long, in seconds.
        seconds: u32,
    },
    /// An animal goes out of sight or comes back; all of them where none is named.
    Sight {
        /// Which.
        animal: Option<A>,
        /// Whether it is out of sight from now on.
        out: bool,
    },
    /// Food is given.
    Food,
}

/// One animal in a scan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scanned<A> {
    /// Which.
    pub animal: A,
    /// What it did: the code.
    pub behaviour: String,
    /// What kind of thing that is.
    pub kind: Kind,
    /// Those of one number were together.
    pub party: Option<u32>,
    /// Where it was; empty where that was not noted.
    pub place: String,
}

/// What is counted of a group.
#[derive(Clone, Debug, PartialEq)]
pub struct Observed<A> {
    /// When each animal was watched.
    pub watched: Vec<Watch<A>>,
    /// Decided interactions, in order of time.
    pub contests: Vec<Decided<A>>,
    /// Animals at feeds.
    pub feeds: Vec<Feed<A>>,
    /// Number of feeds watched.
    pub feed_count: usize,
    /// Who was with whom.
    pub scans: Vec<(Instant, Scan<A>)>,
    /// What each scan saw each member do; nothing where it did not see it.
    pub looks: BTreeMap<A, Vec<Option<String>>>,
    /// Stretches in which single animals were followed.
    pub bouts: BTreeMap<A, Vec<Bout<String>>>,
    /// Aggression and friendly contact, in the time for which it would have been seen.
    pub rates: BTreeMap<A, Rates>,
    /// Hours for which somebody watched.
    pub hours: f64,
}

/// What one animal gave and got.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Rates {
    /// Aggression received.
    pub received: Watched,
    /// Aggression dealt out.
    pub dealt: Watched,
    /// Friendly contact, done or received.
    pub friendly: Watched,
}

/// Counts what was seen in some sessions of a group whose members stayed as told.
#[must_use]
pub fn observed<'s, A: Clone + Ord + 's>(
    stays: &[Stay<A>],
    sessions: impl IntoIterator<Item = &'s Session<A>>,
) -> Observed<A> {
    let mut told = Observed {
        watched: Vec::new(),
        contests: Vec::new(),
        feeds: Vec::new(),
        feed_count: 0,
        scans: Vec::new(),
        looks: BTreeMap::new(),
        bouts: BTreeMap::new(),
        rates: stays.iter().map(|stay| (stay.animal.clone(), Rates::default())).collect(),
        hours: 0.0,
    };
    let mut sessions: Vec<&Session<A>> = sessions.into_iter().collect();
    sessions.sort_by_key(|session| session.from);
    for session in sessions {
        let sight = Sight::of(stays, session);
        told.hours += sight.whole.iter().map(hours).sum::<f64>();
        told.take(session, &sight);
        told.watched.extend(sight.watches());
    }
    told.contests.sort_by_key(|contest| contest.at);
    told
}

/// When a session had which animal in sight.
struct Sight<A> {
    /// When somebody watched at all.
    whole: Vec<Interval>,
    each: BTreeMap<A, Vec<Interval>>,
}

impl<A: Clone + Ord> Sight<A> {
    fn of(stays: &[Stay<A>], session: &Session<A>) -> Self {
        let all = Interval { from: session.from, until: Some(session.until) };
        let whole = within(all, &gaps(session, |animal| animal.is_none()));
        let mut each: BTreeMap<A, Vec<Interval>> = BTreeMap::new();
        for stay in stays {
            if !session.only.is_empty() && !session.only.contains(&stay.animal) {
                continue;
            }
            let from = stay.during.from.max(session.from);
            let until = stay.during.until.map_or(session.until, |until| until.min(session.until));
            if from >= until {
                continue;
            }
            let out = gaps(session, |animal| animal.is_none_or(|animal| *animal == stay.animal));
            let seen = within(Interval { from, until: Some(until) }, &out);
            each.entry(stay.animal.clone()).or_default().extend(seen);
        }
        Self { whole, each }
    }

    fn has(&self, animal: &A, at: Instant) -> bool {
        self.each.get(animal).is_some_and(|seen| seen.iter().any(|during| during.contains(at)))
    }

    fn watches(self) -> impl Iterator<Item = Watch<A>> {
        self.each.into_iter().flat_map(|(animal, seen)| {
            seen.into_iter().map(move |during| Watch { animal: animal.clone(), during })
        })
    }
}

/// When what a test asks for was out of sight, each stretch with its end or that of the session.
fn gaps<A>(session: &Session<A>, of: impl Fn(Option<&A>) -> bool) -> Vec<Interval> {
    let mut changes: Vec<(Instant, Option<&A>, bool)> = session
        .seen
        .iter()
        .filter_map(|(at, seen)| match seen {
            Seen::Sight { animal, out } if of(animal.as_ref()) => Some((*at, animal.as_ref(), *out)),
            _ => None,
        })
        .collect();
    changes.sort_by_key(|(at, ..)| *at);
    let mut found = Vec::new();
    // An animal and the whole group may be out at the same time, each until it is back.
    let (mut own, mut whole): (Option<Instant>, Option<Instant>) = (None, None);
    for (at, animal, out) in changes {
        let state = if animal.is_some() { &mut own } else { &mut whole };
        match (out, *state) {
            (true, None) => *state = Some(at),
            (false, Some(from)) => {
                found.push(Interval { from, until: Some(at) });
                *state = None;
            }
            _ => {}
        }
    }
    let open = [own, whole].into_iter().flatten();
    found.extend(open.map(|from| Interval { from, until: Some(session.until) }));
    found
}

/// What is left of a stretch without some gaps.
fn within(all: Interval, gaps: &[Interval]) -> Vec<Interval> {
    let mut left = vec![all];
    for gap in gaps {
        left = left
            .into_iter()
            .flat_map(|one| {
                let (end, until) = (one.until.unwrap_or(one.from), gap.until.unwrap_or(gap.from));
                let before = Interval { from: one.from, until: Some(end.min(gap.from)) };
                let after = Interval { from: one.from.max(until), until: Some(end) };
                [before, after].into_iter().filter(|part| part.until.is_some_and(|end| part.from < end))
            })
            .collect();
    }
    left
}

fn hours(during: &Interval) -> f64 {
    during.until.map_or(0.0, |until| (until - during.from).as_seconds_f64() / 3_600.0)
}

impl<A: Clone + Ord> Observed<A> {
    fn take(&mut self, session: &Session<A>, sight: &Sight<A>) {
        for (animal, seen) in &sight.each {
            let hours: f64 = seen.iter().map(hours).sum();
            let rates = self.rates.entry(animal.clone()).or_default();
            for watched in [&mut rates.received, &mut rates.dealt, &mut rates.friendly] {
                watched.hours += hours;
            }
        }
        // What happens as the watch ends belongs to it.
        let last = session.until - TimeDelta::microseconds(1);
        let mut seen: Vec<(Instant, &Seen<A>)> =
            session.seen.iter().map(|(at, seen)| ((*at).min(last), seen)).collect();
        seen.sort_by_key(|(at, _)| *at);
        for (at, what) in &seen {
            match what {
                Seen::Did { actor, receiver, kind, above, .. } => {
                    self.did(sight, *at, (actor, receiver.as_ref()), *kind, *above);
                }
                Seen::Scan(scanned) => self.scan(sight, *at, scanned),
                Seen::Followed { animal, behaviour, seconds } => self
                    .bouts
                    .entry(animal.clone())
                    .or_default()
                    .push(Bout { behaviour: behaviour.clone(), seconds: f64::from(*seconds) }),
                Seen::Sight { .. } | Seen::Food => {}
            }
        }
        self.feed(session, sight, &seen);
    }

    fn did(
        &mut self,
        sight: &Sight<A>,
        at: Instant,
        (actor, receiver): (&A, Option<&A>),
        kind: Kind,
        above: Above,
    ) {
        let Some(receiver) = receiver else { return };
        let winner = match above {
            Above::Nobody => None,
            Above::Actor => Some((actor, receiver)),
            Above::Receiver => Some((receiver, actor)),
        };
        if let Some((winner, loser)) = winner {
            self.contests.push(Decided { at, winner: winner.clone(), loser: loser.clone() });
        }
        let mut count = |animal: &A, of: fn(&mut Rates) -> &mut Watched| {
            if let Some(rates) = self.rates.get_mut(animal).filter(|_| sight.has(animal, at)) {
                of(rates).events += 1;
            }
        };
        if kind.is_aggression() {
            count(receiver, |rates| &mut rates.received);
            count(actor, |rates| &mut rates.dealt);
        }
        if kind.is_friendly() {
            count(receiver, |rates| &mut rates.friendly);
            count(actor, |rates| &mut rates.friendly);
        }
    }

    fn scan(&mut self, sight: &Sight<A>, at: Instant, scanned: &[Scanned<A>]) {
        for animal in sight.each.keys() {
            let of_it = scanned.iter().find(|one| one.animal == *animal);
            let look = of_it.map(|one| one.behaviour.clone());
            self.looks.entry(animal.clone()).or_default().push(look);
        }
        // Places tell company only where each was seen at one, and nobody noted company itself.
        let placed = |one: &Scanned<A>| !one.place.is_empty() || one.kind == Kind::Alone;
        let by_place = scanned.iter().all(|one| one.party.is_none() && placed(one));
        let mut parties: BTreeMap<Company<'_, A>, BTreeSet<A>> = BTreeMap::new();
        for one in scanned {
            if let Some(company) = Company::of(one, by_place) {
                parties.entry(company).or_default().insert(one.animal.clone());
            }
        }
        self.scans.push((at, parties.into_values().collect()));
    }

    /// Feeds of a session. One begins where food is given, or with the first thing that happens over food
    /// where that was not noted, and lasts until the next or to the end; everybody in sight as it begins is
    /// at it.
    fn feed(&mut self, session: &Session<A>, sight: &Sight<A>, seen: &[(Instant, &Seen<A>)]) {
        let mut begins: Vec<Instant> = Vec::new();
        for (at, what) in seen {
            let given = matches!(what, Seen::Food);
            if given || (begins.is_empty() && over_food(what)) {
                begins.push(*at);
            }
        }
        self.feed_count += begins.len();
        for (n, from) in begins.iter().enumerate() {
            let until = begins.get(n + 1).copied().unwrap_or(session.until);
            let kept_off: BTreeSet<&A> = seen
                .iter()
                .filter(|(at, _)| from <= at && *at < until)
                .flat_map(|(_, what)| kept_off(what))
                .collect();
            let there = sight.each.keys().filter(|animal| sight.has(animal, *from));
            self.feeds.extend(there.map(|animal| Feed {
                at: *from,
                animal: animal.clone(),
                kept_off: kept_off.contains(animal),
            }));
        }
    }
}

/// By what animals of a scan are known to have been together.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum Company<'a, A> {
    Party(u32),
    Place(&'a str),
    Alone(&'a A),
}

impl<'a, A> Company<'a, A> {
    /// None where nobody noted whom it was with: that it was alone is not said by that.
    fn of(one: &'a Scanned<A>, by_place: bool) -> Option<Self> {
        match one.party {
            Some(party) => Some(Self::Party(party)),
            None if one.kind == Kind::Alone => Some(Self::Alone(&one.animal)),
            None => by_place.then_some(Self::Place(one.place.as_str())),
        }
    }
}

fn over_food<A>(what: &Seen<A>) -> bool {
    match what {
        Seen::Did { kind, at_food, .. } => *at_food || *kind == Kind::HangBack,
        Seen::Scan(scanned) => scanned.iter().any(|one| one.kind == Kind::HangBack),
        Seen::Followed { .. } | Seen::Sight { .. } | Seen::Food => false,
    }
}

/// Who was kept off food by what was seen.
fn kept_off<A>(what: &Seen<A>) -> Vec<&A> {
    match what {
        Seen::Did { actor, kind: Kind::HangBack, .. } => vec![actor],
        Seen::Did { actor, receiver, above, at_food: true, .. } => match above {
            Above::Actor => receiver.iter().collect(),
            Above::Receiver => vec![actor],
            Above::Nobody => Vec::new(),
        },
        Seen::Scan(scanned) => {
            let back = scanned.iter().filter(|one| one.kind == Kind::HangBack);
            back.map(|one| &one.animal).collect()
        }
        _ => Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    type Name = &'static str;

    fn at(minute: i64) -> Instant {
        Instant::UNIX_EPOCH + TimeDelta::days(20_000) + TimeDelta::minutes(minute)
    }

    fn stays() -> Vec<Stay<Name>> {
        ["Alder", "Bramble", "Sedge"]
            .map(|animal| Stay { animal, during: Interval { from: at(-1000), until: None } })
            .into()
    }

    fn did(actor: Name, kind: Kind, receiver: Name, at_food: bool) -> Seen<Name> {
        let above = match kind {
            Kind::Submission => Above::Receiver,
            kind if kind.is_aggression() => Above::Actor,
            _ => Above::Nobody,
        };
        Seen::Did { actor, receiver: Some(receiver), kind, above, at_food }
    }

    fn out(animal: Option<Name>, out: bool) -> Seen<Name> {
        Seen::Sight { animal, out }
    }

    fn session(seen: Vec<(i64, Seen<Name>)>) -> Session<Name> {
        let seen = seen.into_iter().map(|(minute, seen)| (at(minute), seen)).collect();
        Session { from: at(0), until: at(60), only: Vec::new(), seen }
    }

    #[test]
    fn each_is_watched_for_as_long_as_it_is_in_sight() {
        let told = observed(
            &stays(),
            &[session(vec![
                (0, out(Some("Sedge"), true)),
                (10, out(None, true)),
                (20, did("Bramble", Kind::Chase, "Alder", false)),
                (25, out(None, false)),
                (30, out(Some("Sedge"), false)),
                (40, did("Bramble", Kind::Bite, "Sedge", false)),
                (60, did("Alder", Kind::Submission, "Bramble", false)),
            ])],
        );
        let hours = |name| told.rates[name].received.hours;
        assert!((told.hours - 0.75).abs() < 1e-9 && (hours("Alder") - 0.75).abs() < 1e-9);
        assert!((hours("Sedge") - 0.5).abs() < 1e-9, "it came back when all were watched again");
        assert_eq!(told.contests.len(), 3);
        assert!(told.contests.iter().all(|contest| contest.winner == "Bramble"));
        assert_eq!(told.rates["Alder"].received.events, 0, "nobody watched at that moment");
        assert_eq!(told.rates["Sedge"].received.events, 1);
        let inside = |contest: &Decided<Name>| {
            told.watched.iter().any(|w| w.animal == contest.loser && w.during.contains(contest.at))
        };
        assert!(inside(&told.contests[2]), "what happens as the watch ends belongs to it");
    }

    #[test]
    fn an_animal_that_left_or_was_not_followed_was_not_watched() {
        let mut left = stays();
        left[2].during.until = Some(at(15));
        let told = observed(&left, &[session(Vec::new())]);
        assert!((told.rates["Sedge"].received.hours - 0.25).abs() < 1e-9);
        let one = Session { only: vec!["Alder"], ..session(Vec::new()) };
        let told = observed(&stays(), &[one]);
        assert!((told.rates["Sedge"].received.hours).abs() < 1e-12);
        assert!((told.rates["Alder"].received.hours - 1.0).abs() < 1e-9);
    }

    #[test]
    fn everybody_in_sight_is_at_a_feed_and_some_are_kept_off() {
        let wait = Seen::Did {
            actor: "Alder",
            receiver: None,
            kind: Kind::HangBack,
            above: Above::Nobody,
            at_food: true,
        };
        let told = observed(
            &stays(),
            &[session(vec![
                (5, did("Bramble", Kind::Displacement, "Sedge", false)),
                (10, Seen::Food),
                (12, did("Bramble", Kind::Displacement, "Sedge", true)),
                (30, Seen::Food),
                (31, wait),
            ])],
        );
        assert_eq!((told.feed_count, told.feeds.len()), (2, 6));
        let off = told.feeds.iter().filter(|feed| feed.kept_off).map(|feed| (feed.at, feed.animal));
        assert_eq!(off.collect::<Vec<_>>(), [(at(10), "Sedge"), (at(30), "Alder")]);
        let unsaid = session(vec![(12, did("Bramble", Kind::Displacement, "Sedge", true))]);
        assert_eq!(observed(&stays(), &[unsaid]).feeds.len(), 3, "a feed that nobody noted as one");
    }

    #[test]
    fn company_that_was_not_noted_is_not_solitude() {
        let seen = |animal, kind, party, place: &str| Scanned {
            animal,
            behaviour: "rest".to_owned(),
            kind,
            party,
            place: place.to_owned(),
        };
        let look = |scanned| observed(&stays(), &[session(vec![(5, Seen::Scan(scanned))])]);
        let told = look(vec![
            seen("Alder", Kind::Rest, Some(1), ""),
            seen("Bramble", Kind::Rest, Some(1), "nest"),
            seen("Sedge", Kind::Rest, None, ""),
        ]);
        assert_eq!(told.scans[0].1, [BTreeSet::from(["Alder", "Bramble"])]);
        assert_eq!(told.looks["Sedge"], [Some("rest".to_owned())]);
        let told = look(vec![
            seen("Alder", Kind::Rest, None, "nest"),
            seen("Bramble", Kind::Rest, None, "nest"),
            seen("Sedge", Kind::Alone, None, ""),
        ]);
        assert_eq!(told.scans[0].1, [BTreeSet::from(["Alder", "Bramble"]), BTreeSet::from(["Sedge"])]);
        let told = look(vec![
            seen("Alder", Kind::Rest, None, "nest"),
            seen("Bramble", Kind::Rest, None, ""),
            seen("Sedge", Kind::Alone, None, ""),
        ]);
        assert_eq!(told.scans[0].1, [BTreeSet::from(["Sedge"])], "Bramble may have been in the nest");
        assert_eq!(look(vec![seen("Alder", Kind::Rest, None, "")]).looks["Bramble"], [None]);
    }

    proptest! {
        /// In sight and out of sight make up the watch, however often an animal comes and goes.
        #[test]
        fn no_minute_is_counted_twice_or_lost(changes in prop::collection::vec((0_i64..60, any::<bool>(), any::<bool>()), 0..20)) {
            let mut changes = changes;
            changes.sort_unstable();
            let seen = changes.iter().map(|&(minute, own, gone)| (minute, out(own.then_some("Sedge"), gone))).collect();
            let session = session(seen);
            let told = observed(&stays(), [&session]);
            let watched: i64 = (0..60)
                .filter(|&minute| told.watched.iter().any(|w| w.animal == "Sedge" && w.during.contains(at(minute))))
                .count()
                .try_into()
                .unwrap();
            let (mut own, mut whole, mut expected) = (false, false, 0);
            for minute in 0..60 {
                for &(_, of_it, gone) in changes.iter().filter(|(when, ..)| *when == minute) {
                    if of_it { own = gone } else { whole = gone }
                }
                expected += i64::from(!own && !whole);
            }
            prop_assert_eq!(watched, expected);
            let hours = told.rates["Sedge"].received.hours;
            prop_assert!((hours * 60.0 - f64::from(u32::try_from(expected).unwrap())).abs() < 1e-6);
        }
    }
}
