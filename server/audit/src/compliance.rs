//! Whether a clause is met: each subject in scope, its evidence, and every exception by name.
//!
//! A clause is never met for want of evidence. Where a subject has none, it is an exception; where none
//! of them has any, the clause has no evidence, which is another answer than that it falls short. A subject of
//! which nothing is due yet is not counted.

use crate::standard::Clause;
use crate::terms::Day;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What the evidence of one subject must be like, within the period and while it is in scope.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rule {
    /// Shown at least once.
    Once,
    /// Shown by the latest piece of evidence.
    Latest,
    /// Shown at least once, and no evidence to the contrary.
    Always,
    /// Shown at least every so many days; what was shown before the period counts for its beginning.
    Every {
        /// Longest time between two pieces of evidence.
        days: u16,
    },
}

/// The days a question is about, both included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Period {
    /// First day.
    pub first: Day,
    /// Last day.
    pub last: Day,
}

/// Something that the clause is about, while it is in scope: an animal, an enclosure, a transfer, a site. One that
/// left and came back is in scope more than once, and is counted once.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Subject<K> {
    /// Its name.
    pub key: K,
    /// First day in scope.
    pub from: Day,
    /// First day no longer in scope.
    pub until: Option<Day>,
}

/// One piece of evidence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Evidence<K, R> {
    /// Whom it is about.
    pub subject: K,
    /// Of which day.
    pub day: Day,
    /// What it shows.
    pub shows: Shows,
    /// The record it comes from.
    pub record: R,
}

/// What a piece of evidence shows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Shows {
    /// That the clause is met.
    Met,
    /// That it is not, and in what.
    Short(String),
}

/// The answer for one clause.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Finding<K, R> {
    /// Number of the clause.
    pub clause: String,
    /// Days asked about.
    pub period: Period,
    /// How it stands.
    pub standing: Standing,
    /// Subjects that fulfil the rule.
    pub numerator: u32,
    /// Subjects in scope on any day of the period, less those of which nothing is due yet.
    pub denominator: u32,
    /// Every subject that does not fulfil the rule, also where enough others do.
    pub exceptions: Vec<Exception<K, R>>,
}

/// How a clause stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Enough subjects fulfil the rule.
    Met,
    /// Too few do.
    Short,
    /// There is no evidence in the period about any subject.
    NoEvidence,
    /// Nothing was in scope in the period.
    NothingInScope,
}

/// One subject that does not fulfil the rule.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Exception<K, R> {
    /// Which.
    pub subject: K,
    /// Why.
    pub why: Why<R>,
}

/// Why a subject does not fulfil the rule.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Why<R> {
    /// There is no evidence about it in the period.
    NoEvidence {
        /// The last piece before the period that showed the clause met, if any.
        last: Option<(Day, R)>,
    },
    /// Evidence shows the contrary.
    Short {
        /// Of which day.
        day: Day,
        /// In what.
        reason: String,
        /// The record that says so.
        record: R,
    },
    /// Evidence stands too far apart.
    Gap {
        /// The day of the evidence before, or the first day in scope.
        from: Day,
        /// The day of the evidence after, or the last day asked about.
        until: Day,
        /// Days between the two.
        days: i64,
    },
}

/// Evaluates one clause. Evidence about subjects out of scope, or of days on which a subject was out of
/// scope, is left aside. The exceptions stand in the order of `scope`.
#[must_use]
pub fn evaluate<K: Clone + Ord, R: Clone>(
    clause: &Clause,
    period: Period,
    scope: &[Subject<K>],
    evidence: &[Evidence<K, R>],
) -> Finding<K, R> {
    let mut about: BTreeMap<&K, Vec<&Evidence<K, R>>> = BTreeMap::new();
    for piece in evidence {
        about.entry(&piece.subject).or_default().push(piece);
    }
    about.values_mut().for_each(|pieces| pieces.sort_by_key(|piece| piece.day));

    let mut spells: BTreeMap<&K, Vec<Spell>> = BTreeMap::new();
    let mut order = Vec::new();
    for subject in scope {
        let Some(window) = window(subject, period) else { continue };
        let known = spells.entry(&subject.key).or_default();
        if known.is_empty() {
            order.push(&subject.key);
        }
        known.push(Spell { from: subject.from, window });
    }
    spells.values_mut().for_each(|spells| spells.sort_by_key(|spell| spell.window.first));

    let (mut numerator, mut denominator, mut any_evidence) = (0_u32, 0_u32, false);
    let mut exceptions = Vec::new();
    for key in &order {
        let (spells, pieces) = (&spells[key], about.get(key).map_or(&[][..], Vec::as_slice));
        any_evidence |= pieces.iter().any(|piece| spells.iter().any(|spell| spell.within(piece.day)));
        denominator += 1;
        match judge(clause.rule, spells, pieces) {
            Judged::Fulfils => numerator += 1,
            Judged::Fails(why) => exceptions.push(Exception { subject: (*key).clone(), why }),
            Judged::NotDue => denominator -= 1,
        }
    }
    let enough = u64::from(numerator) * 100 >= u64::from(denominator) * u64::from(clause.percent);
    let standing = if denominator == 0 {
        Standing::NothingInScope
    } else if enough && numerator > 0 {
        Standing::Met
    } else if any_evidence {
        Standing::Short
    } else {
        Standing::NoEvidence
    };
    Finding { clause: clause.number.clone(), period, standing, numerator, denominator, exceptions }
}

/// A stretch of days on which a subject was in scope.
struct Spell {
    /// Its first day, also before the period.
    from: Day,
    /// The days of it that are asked about.
    window: Period,
}

impl Spell {
    fn within(&self, day: Day) -> bool {
        (self.window.first..=self.window.last).contains(&day)
    }

    /// Whether what was shown on a day says something of it; what came before the window says it of its beginning.
    fn counts(&self, day: Day) -> bool {
        (self.from..=self.window.last).contains(&day)
    }
}

/// The days of the period on which the subject was in scope.
fn window<K>(subject: &Subject<K>, period: Period) -> Option<Period> {
    let last_in_scope = match subject.until {
        Some(until) => until.pred_opt()?,
        None => Day::MAX,
    };
    let window = Period { first: period.first.max(subject.from), last: period.last.min(last_in_scope) };
    (window.first <= window.last).then_some(window)
}

/// How one subject stands to the rule.
enum Judged<R> {
    Fulfils,
    Fails(Why<R>),
    /// There is no evidence, and none was due yet.
    NotDue,
}

/// `pieces` and `spells` are in order of days.
fn judge<K, R: Clone>(rule: Rule, spells: &[Spell], pieces: &[&Evidence<K, R>]) -> Judged<R> {
    if let Rule::Every { days } = rule {
        if let Some(why) = spells.iter().find_map(|spell| gap(i64::from(days), spell, pieces)) {
            return Judged::Fails(why);
        }
        let was_done = pieces
            .iter()
            .any(|piece| piece.shows == Shows::Met && spells.iter().any(|spell| spell.counts(piece.day)));
        return if was_done { Judged::Fulfils } else { Judged::NotDue };
    }
    let within: Vec<_> =
        pieces.iter().filter(|piece| spells.iter().any(|spell| spell.within(piece.day))).collect();
    let decisive = match rule {
        Rule::Once => within.iter().find(|piece| piece.shows == Shows::Met).or(within.last()),
        Rule::Always => within.iter().find(|piece| piece.shows != Shows::Met).or(within.last()),
        Rule::Latest | Rule::Every { .. } => within.last(),
    };
    let why = match decisive {
        None => spells.first().map(|spell| none(spell, pieces)),
        Some(piece) => short(piece),
    };
    why.map_or(Judged::Fulfils, Judged::Fails)
}

fn short<K, R: Clone>(piece: &Evidence<K, R>) -> Option<Why<R>> {
    match &piece.shows {
        Shows::Met => None,
        Shows::Short(reason) => {
            Some(Why::Short { day: piece.day, reason: reason.clone(), record: piece.record.clone() })
        }
    }
}

fn none<K, R: Clone>(spell: &Spell, pieces: &[&Evidence<K, R>]) -> Why<R> {
    let before = |piece: &&&Evidence<K, R>| {
        piece.day >= spell.from && piece.day < spell.window.first && piece.shows == Shows::Met
    };
    let last = pieces.iter().rev().find(before);
    Why::NoEvidence { last: last.map(|piece| (piece.day, piece.record.clone())) }
}

/// The first stretch without evidence that is longer than `allowed` days and reaches into the spell's window. Where there
/// never was any, it began with the spell: a period shorter than the rhythm does not excuse it.
fn gap<K, R: Clone>(allowed: i64, spell: &Spell, pieces: &[&Evidence<K, R>]) -> Option<Why<R>> {
    let window = spell.window;
    let theirs = || pieces.iter().filter(|piece| spell.counts(piece.day));
    let met: Vec<Day> = theirs().filter(|piece| piece.shows == Shows::Met).map(|piece| piece.day).collect();
    let within = met.partition_point(|day| *day < window.first);
    let start = match within.checked_sub(1) {
        Some(before) => met[before],
        None if met.is_empty() => spell.from,
        None => window.first,
    };
    let ends = met[within..].iter().copied().chain([window.last]);
    let starts = std::iter::once(start).chain(met[within..].iter().copied());
    let (from, until) = starts.zip(ends).find(|(from, until)| (*until - *from).num_days() > allowed)?;
    if theirs().all(|piece| piece.day < window.first) {
        return Some(none(spell, pieces));
    }
    Some(Why::Gap { from, until, days: (until - from).num_days() })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Day {
        format!("2026-{text}").parse().unwrap()
    }

    fn clause(rule: Rule, percent: u8) -> Clause {
        Clause { number: "4.2".into(), rule, percent, ..Clause::default() }
    }

    fn piece(subject: &'static str, on: &str, shows: Shows) -> Evidence<&'static str, String> {
        Evidence { subject, day: day(on), shows, record: format!("{subject}@{on}") }
    }

    fn met(subject: &'static str, on: &str) -> Evidence<&'static str, String> {
        piece(subject, on, Shows::Met)
    }

    fn short(subject: &'static str, on: &str) -> Evidence<&'static str, String> {
        piece(subject, on, Shows::Short("scale out of order".into()))
    }

    fn since_new_year(keys: &[&'static str]) -> Vec<Subject<&'static str>> {
        keys.iter().map(|&key| Subject { key, from: day("01-01"), until: None }).collect()
    }

    const SPRING: (&str, &str) = ("03-01", "05-31");

    fn ask(
        rule: Rule,
        percent: u8,
        scope: &[Subject<&'static str>],
        rows: &[Evidence<&'static str, String>],
    ) -> Finding<&'static str, String> {
        let period = Period { first: day(SPRING.0), last: day(SPRING.1) };
        evaluate(&clause(rule, percent), period, scope, rows)
    }

    #[test]
    fn every_exception_is_named_even_where_enough_fulfil_the_rule() {
        let scope = since_new_year(&["Ash", "Birch", "Cedar", "Dogwood"]);
        let rows =
            [met("Ash", "03-01"), met("Birch", "05-31"), short("Cedar", "04-01"), met("Dogwood", "02-28")];
        let told = ask(Rule::Once, 50, &scope, &rows);
        assert_eq!((told.standing, told.numerator, told.denominator), (Standing::Met, 2, 4));
        assert_eq!(
            told.exceptions,
            [
                Exception {
                    subject: "Cedar",
                    why: Why::Short {
                        day: day("04-01"),
                        reason: "scale out of order".into(),
                        record: "Cedar@04-01".into()
                    }
                },
                Exception {
                    subject: "Dogwood",
                    why: Why::NoEvidence { last: Some((day("02-28"), "Dogwood@02-28".into())) }
                },
            ]
        );
        assert_eq!(ask(Rule::Once, 51, &scope, &rows).standing, Standing::Short);
    }

    #[test]
    fn want_of_evidence_is_not_compliance() {
        let scope = since_new_year(&["Ash"]);
        for rule in [Rule::Once, Rule::Latest, Rule::Always, Rule::Every { days: 7 }] {
            let told = ask(rule, 1, &scope, &[]);
            assert_eq!((told.standing, told.numerator, told.denominator), (Standing::NoEvidence, 0, 1));
            assert_eq!(told.exceptions.len(), 1, "{rule:?}");
            assert_eq!(ask(rule, 100, &[], &[]).standing, Standing::NothingInScope);
        }
    }

    #[test]
    fn the_rules_differ_in_which_evidence_decides() {
        let scope = since_new_year(&["Ash"]);
        let rows = [met("Ash", "04-03"), short("Ash", "04-02"), met("Ash", "04-01")];
        assert_eq!(ask(Rule::Once, 100, &scope, &rows).standing, Standing::Met);
        assert_eq!(ask(Rule::Latest, 100, &scope, &rows).standing, Standing::Met);
        assert_eq!(ask(Rule::Always, 100, &scope, &rows).standing, Standing::Short);
        assert_eq!(ask(Rule::Latest, 100, &scope, &rows[1..]).standing, Standing::Short);
    }

    #[test]
    fn a_rhythm_is_kept_from_before_the_period_to_its_end() {
        let scope = since_new_year(&["Ash"]);
        let kept = ["02-20", "03-20", "04-19", "05-10"].map(|on| met("Ash", on));
        assert_eq!(ask(Rule::Every { days: 30 }, 100, &scope, &kept).standing, Standing::Met);
        let told = ask(Rule::Every { days: 29 }, 100, &scope, &kept);
        let why = Why::Gap { from: day("03-20"), until: day("04-19"), days: 30 };
        assert_eq!(told.exceptions, [Exception { subject: "Ash", why }]);
        // The same with what was done but fell short: it does not count as done.
        let mut broken = kept.to_vec();
        broken[2] = short("Ash", "04-19");
        let told = ask(Rule::Every { days: 30 }, 100, &scope, &broken);
        let why = Why::Gap { from: day("03-20"), until: day("05-10"), days: 51 };
        assert_eq!(told.exceptions, [Exception { subject: "Ash", why }]);
        // Nothing after the third: the end of the period is a gap too.
        let told = ask(Rule::Every { days: 30 }, 100, &scope, &kept[..3]);
        let why = Why::Gap { from: day("04-19"), until: day("05-31"), days: 42 };
        assert_eq!(told.exceptions, [Exception { subject: "Ash", why }]);
    }

    #[test]
    fn a_period_shorter_than_the_rhythm_excuses_nothing() {
        let scope = since_new_year(&["Ash"]);
        // From 1 January to 31 May are 150 days.
        let told = ask(Rule::Every { days: 149 }, 100, &scope, &[]);
        assert_eq!((told.standing, told.numerator, told.denominator), (Standing::NoEvidence, 0, 1));
        let told = ask(Rule::Every { days: 150 }, 100, &scope, &[]);
        assert_eq!((told.standing, told.denominator), (Standing::NothingInScope, 0), "it is not due yet");
        let told = ask(Rule::Every { days: 149 }, 100, &scope, &[short("Ash", "04-01")]);
        assert_eq!((told.standing, told.numerator), (Standing::Short, 0), "what fell short was not done");
    }

    #[test]
    fn only_days_in_scope_count() {
        let mut scope = since_new_year(&["Ash", "Birch", "Cedar"]);
        scope[0].until = Some(day("03-01"));
        scope[1].until = Some(day("03-02"));
        scope[2].from = day("05-20");
        let rows = [met("Ash", "03-05"), met("Birch", "03-02"), met("Cedar", "05-19")];
        let told = ask(Rule::Once, 100, &scope, &rows);
        assert_eq!((told.numerator, told.denominator), (0, 2), "Ash had left before the first day");
        assert_eq!(told.standing, Standing::NoEvidence);
        let told = ask(Rule::Every { days: 14 }, 100, &scope, &[met("Birch", "03-01")]);
        let named: Vec<_> = told.exceptions.iter().map(|e| e.subject).collect();
        assert_eq!((told.numerator, told.denominator, named), (1, 1, vec![]), "Cedar has two days yet");
    }

    #[test]
    fn a_subject_that_came_back_is_counted_once_and_judged_while_it_was_there() {
        let subject =
            |from: &str, until: Option<&str>| Subject { key: "Ash", from: day(from), until: until.map(day) };
        let scope = [subject("01-01", Some("03-20")), subject("05-10", None)];
        // Away from 20 March to 9 May: that is no gap, and what was done elsewhere is no evidence.
        let kept = [met("Ash", "03-01"), met("Ash", "03-15"), met("Ash", "05-10"), met("Ash", "05-24")];
        let told = ask(Rule::Every { days: 14 }, 100, &scope, &kept);
        assert_eq!((told.standing, told.numerator, told.denominator), (Standing::Met, 1, 1));
        let elsewhere = [met("Ash", "03-01"), met("Ash", "03-15"), met("Ash", "04-15")];
        let told = ask(Rule::Every { days: 14 }, 100, &scope, &elsewhere);
        assert_eq!((told.numerator, told.denominator), (0, 1));
        assert_eq!(told.exceptions, [Exception { subject: "Ash", why: Why::NoEvidence { last: None } }]);
        // Once is once, in whichever of the two.
        assert_eq!(ask(Rule::Once, 100, &scope, &elsewhere[..1]).standing, Standing::Met);
        assert_eq!(ask(Rule::Once, 100, &scope, &elsewhere[2..]).standing, Standing::NoEvidence);
    }
}
