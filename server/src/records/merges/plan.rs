//! What becomes of the facts of several records when they are of one animal: which say the same and are set aside,
//! and which contradict one another. Pure: it reads facts and names some of them.

use super::pairs::{Verdict, ends_with_death, pair, told_apart};
use crate::model::fact::{FactKind, Version};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// Which fact of those that contradict one another is right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Stands {
    /// This one.
    Fact(Uuid),
    /// Those of a kind that were entered for a record: its identifier or what it goes by.
    Of(FactKind, String),
}

/// A fact by its name.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Named {
    pub id: Uuid,
    pub kind: FactKind,
    /// What the record goes by for which it was entered.
    pub of: String,
}

/// Two facts that cannot both be of one animal.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Conflict {
    /// What is wrong with them, for people.
    pub say: String,
    pub facts: [Named; 2],
}

/// A fact that does not stand.
#[derive(Debug)]
pub(super) struct Aside {
    pub(super) fact: Version,
    /// It did before.
    pub(super) newly: bool,
    /// Another that stands says the same.
    pub(super) twice: bool,
    /// The record for which it does not stand.
    pub(super) because_of: Uuid,
}

/// What a plan comes to.
#[derive(Debug, Default)]
pub(super) struct Plan {
    /// In the order in which it was decided.
    pub(super) set_aside: Vec<Aside>,
    pub(super) conflicts: Vec<Conflict>,
}

impl Plan {
    /// The facts that do not stand, and for which record each does not.
    pub(super) fn asides(&self) -> BTreeMap<Uuid, Uuid> {
        self.set_aside.iter().map(|aside| (aside.fact.id(), aside.because_of)).collect()
    }
}

/// A record, and what it goes by.
#[derive(Clone, Debug)]
pub(super) struct Goes {
    pub(super) record: Uuid,
    pub(super) by: Vec<String>,
}

/// The facts of records that are of one animal.
pub(super) struct Facts<'a> {
    /// Those of the record that is kept first: of two that say the same, the first stands.
    facts: &'a [Version],
    goes: &'a [Goes],
    stands: &'a [Stands],
    /// What was set aside so far: where two contradict one another still, it is that one again.
    before: BTreeSet<Uuid>,
    /// What stands again because the link is withdrawn that set it aside.
    again: BTreeSet<Uuid>,
    /// What is set aside, and for which record.
    aside: BTreeMap<Uuid, Uuid>,
    /// In the order in which it was decided, and whether another says the same.
    order: Vec<(Uuid, bool)>,
}

/// The record that a fact was entered for.
pub(super) fn record(fact: &Version) -> Uuid {
    fact.uuid("record_id").unwrap_or_default()
}

/// From when until when a fact holds.
pub(super) fn stretch(fact: &Version) -> (DateTime<Utc>, Option<DateTime<Utc>>) {
    (fact.instant("began_at").unwrap_or_default(), fact.instant("ended_at"))
}

/// Whether a title is of the owner that lent the animal, of the same record, as it did.
fn lent_by(loan: &Version, title: &Version) -> bool {
    let party = |of: &Version, columns: [&str; 2]| columns.map(|column| of.row.get(column).cloned());
    let ((lent, _), (owned, until)) = (stretch(loan), stretch(title));
    record(loan) == record(title)
        && party(loan, ["lender_site_id", "lender_name"]) == party(title, ["owner_site_id", "owner_name"])
        && owned <= lent
        && until.is_none_or(|until| lent < until)
}

impl<'a> Facts<'a> {
    /// Facts of which none is set aside yet, but for what was so `before` for a record that is of the animal still,
    /// and is not said to stand now.
    pub(super) fn new(
        facts: &'a [Version],
        goes: &'a [Goes],
        stands: &'a [Stands],
        before: &BTreeMap<Uuid, Uuid>,
    ) -> Self {
        let known = before.keys().copied().collect();
        let (aside, order, again) = (BTreeMap::new(), Vec::new(), BTreeSet::new());
        let mut this = Self { facts, goes, stands, before: known, again, aside, order };
        let records: BTreeSet<Uuid> = facts.iter().map(record).collect();
        for fact in facts {
            let still = before.get(&fact.id()).filter(|of| records.contains(of));
            if let Some(of) = still.filter(|_| !this.stands(fact)) {
                this.no_longer_stands(fact, *of, false);
            }
        }
        this
    }

    /// With what stands again because the link is withdrawn that set it aside.
    pub(super) fn again(mut self, facts: &[Uuid]) -> Self {
        self.again.extend(facts);
        self
    }

    /// Decides what can be decided, by what is the same and by what was said to stand.
    pub(super) fn plan(mut self) -> Plan {
        loop {
            let before = self.aside.len();
            self.settle_pairs();
            self.follow_ties();
            self.follow_holdings();
            if self.aside.len() == before {
                break;
            }
        }
        self.keep_a_birth();
        self.keep_owners();
        let mut conflicts = Vec::new();
        for (x, y) in self.pairs() {
            if let Verdict::Clash(say) = pair(x, y, self.facts) {
                conflicts.push(Conflict { say, facts: [self.named(x), self.named(y)] });
            }
        }
        conflicts.extend(self.unowned().map(|(holding, from)| self.nobodys(holding, from)));
        let aside = |(id, twice): &(Uuid, bool)| {
            let fact = self.facts.iter().find(|fact| fact.id() == *id)?.clone();
            let because_of = *self.aside.get(id)?;
            Some(Aside { fact, newly: !self.before.contains(id), twice: *twice, because_of })
        };
        Plan { set_aside: self.order.iter().filter_map(aside).collect(), conflicts }
    }

    /// What decides nothing of what was said to stand: no fact that contradicts another goes by it.
    pub(super) fn idle(&self) -> Vec<usize> {
        let clashing: Vec<&Version> = self
            .pairs()
            .into_iter()
            .filter(|(x, y)| matches!(pair(x, y, self.facts), Verdict::Clash(_)))
            .flat_map(|(x, y)| [x, y])
            .collect();
        (0..self.stands.len()).filter(|n| !clashing.iter().any(|fact| self.says(*n, fact))).collect()
    }

    /// Whether two facts stood of one animal before. Then there is nothing to ask: what was recorded of it while it had
    /// several records, such as another sex, lies with one of them and contradicts nothing.
    fn stood_together(&self, x: &Version, y: &Version) -> bool {
        let animal = |fact: &Version| fact.uuid("animal_id");
        let stood = |fact: &Version| !self.before.contains(&fact.id()) && !self.again.contains(&fact.id());
        animal(x).is_some() && animal(x) == animal(y) && stood(x) && stood(y)
    }

    /// Two facts each, of two records, that both stand so far and did not of one animal before.
    fn pairs(&self) -> Vec<(&'a Version, &'a Version)> {
        let standing: Vec<&Version> = self.facts.iter().filter(|fact| !self.is_aside(fact)).collect();
        let mut pairs = Vec::new();
        for (n, &x) in standing.iter().enumerate() {
            let others =
                standing[n + 1..].iter().filter(|y| record(x) != record(y) && !self.stood_together(x, y));
            pairs.extend(others.map(|&y| (x, y)));
        }
        pairs
    }

    fn settle_pairs(&mut self) {
        for (x, y) in self.pairs() {
            if self.is_aside(x) || self.is_aside(y) {
                continue;
            }
            let was = (self.before.contains(&x.id()), self.before.contains(&y.id()));
            let went = (self.went_with_holding(x), self.went_with_holding(y));
            let says_the_same = |one, other| pair(one, other, self.facts) == Verdict::FirstSays;
            match pair(x, y, self.facts) {
                Verdict::Together => {}
                // Of two that say the same, the one does whose holding does: each record ends with its own.
                Verdict::FirstSays | Verdict::SecondSays if went == (true, false) => self.says_the_same(x, y),
                Verdict::FirstSays | Verdict::SecondSays if went == (false, true) => self.says_the_same(y, x),
                // Then the one that stood; who says less never does.
                Verdict::FirstSays if was == (true, false) && says_the_same(y, x) => self.says_the_same(x, y),
                Verdict::FirstSays => self.says_the_same(y, x),
                Verdict::SecondSays => self.says_the_same(x, y),
                Verdict::Clash(_) => match (self.stands(x), self.stands(y)) {
                    (true, false) => self.put_aside(y, record(x)),
                    (false, true) => self.put_aside(x, record(y)),
                    _ if went == (true, false) => self.put_aside(x, record(y)),
                    _ if went == (false, true) => self.put_aside(y, record(x)),
                    _ if was == (true, false) => self.put_aside(x, record(y)),
                    _ if was == (false, true) => self.put_aside(y, record(x)),
                    _ => {}
                },
            }
        }
    }

    fn put_aside(&mut self, fact: &Version, because_of: Uuid) {
        self.no_longer_stands(fact, because_of, false);
    }

    fn says_the_same(&mut self, fact: &Version, other: &Version) {
        self.no_longer_stands(fact, record(other), true);
    }

    fn no_longer_stands(&mut self, fact: &Version, because_of: Uuid, twice: bool) {
        if self.aside.insert(fact.id(), because_of).is_none() {
            self.order.push((fact.id(), twice));
        }
    }

    fn is_aside(&self, fact: &Version) -> bool {
        self.aside.contains_key(&fact.id())
    }

    /// The record for which a fact is set aside.
    fn for_whom(&self, fact: &Version) -> Option<Uuid> {
        self.aside.get(&fact.id()).copied()
    }

    /// An animal has a birth on record, be it of an unknown day: of those that are set aside, one comes back that
    /// contradicts nothing.
    fn keep_a_birth(&mut self) {
        let births = || self.facts.iter().filter(|fact| fact.kind == FactKind::Birth);
        if births().any(|birth| !self.is_aside(birth)) {
            return;
        }
        if let Some(birth) = births().find(|birth| self.fits(birth)) {
            self.take_back(birth);
        }
    }

    /// Whoever is held is owned: a title that was set aside, for another that is now set aside itself, comes back.
    fn keep_owners(&mut self) {
        while let Some((_, from)) = self.unowned() {
            let owns = |title: &&Version| Self::owned_until(title, from).is_some() && self.fits(title);
            let Some(title) = self.titles(true).find(owns) else { return };
            self.take_back(title);
        }
    }

    /// Whether a fact contradicts none of another record that stands.
    fn fits(&self, fact: &Version) -> bool {
        let others = self.facts.iter().filter(|other| record(other) != record(fact) && !self.is_aside(other));
        others.into_iter().all(|other| pair(fact, other, self.facts) == Verdict::Together)
    }

    fn take_back(&mut self, fact: &Version) {
        self.aside.remove(&fact.id());
        self.order.retain(|(id, _)| *id != fact.id());
    }

    fn titles(&self, aside: bool) -> impl Iterator<Item = &'a Version> {
        let of = move |fact: &&Version| fact.kind == FactKind::Title && self.is_aside(fact) == aside;
        self.facts.iter().filter(of)
    }

    /// Until when a title owns what it owns at an instant; the end of time where it lasts.
    fn owned_until(title: &Version, at: DateTime<Utc>) -> Option<DateTime<Utc>> {
        let (began, ended) = stretch(title);
        let ended = ended.unwrap_or(DateTime::<Utc>::MAX_UTC);
        (began <= at && at < ended).then_some(ended)
    }

    /// A holding that stands, and from when on nobody owns what it holds.
    fn unowned(&self) -> Option<(&'a Version, DateTime<Utc>)> {
        let standing = |fact: &&Version| fact.kind == FactKind::Holding && !self.is_aside(fact);
        self.facts.iter().filter(standing).find_map(|holding| {
            let (mut from, ended) = stretch(holding);
            let ended = ended.unwrap_or(DateTime::<Utc>::MAX_UTC);
            while let Some(until) = self.titles(false).find_map(|title| Self::owned_until(title, from)) {
                from = until;
            }
            (from < ended).then_some((holding, from))
        })
    }

    /// That nobody owns what is held: for the title that was set aside, or the one for which it was.
    fn nobodys(&self, holding: &'a Version, from: DateTime<Utc>) -> Conflict {
        let say = format!("it is held and nobody owns it from {} on", from.format("%Y-%m-%d"));
        let Some(title) = self.titles(true).find(|title| Self::owned_until(title, from).is_some()) else {
            return Conflict { say, facts: [self.named(holding), self.named(holding)] };
        };
        let clashes = |other: &&Version| pair(title, other, self.facts) != Verdict::Together;
        let other = self.titles(false).find(clashes).unwrap_or(holding);
        Conflict { say, facts: [self.named(title), self.named(other)] }
    }

    /// What is set aside with another fact of the same record: a death and the holding that it ended, leaving a
    /// litter and the holding that began then, and with an owner what it lent.
    fn follow_ties(&mut self) {
        self.follow_owners();
        let holdings = self.facts.iter().filter(|fact| fact.kind == FactKind::Holding);
        for holding in holdings {
            let with = self.facts.iter().filter(|fact| record(fact) == record(holding));
            for other in with {
                let tied = match other.kind {
                    FactKind::Death => ends_with_death(holding, other),
                    FactKind::ToldApart => told_apart(holding),
                    _ => false,
                };
                if !tied {
                    continue;
                }
                match (self.for_whom(holding), self.for_whom(other)) {
                    (Some(of), None) => self.put_aside(other, of),
                    (None, Some(of)) => self.put_aside(holding, of),
                    _ => {}
                }
            }
        }
    }

    fn follow_owners(&mut self) {
        for loan in self.facts.iter().filter(|fact| fact.kind == FactKind::Loan) {
            let owners =
                self.facts.iter().filter(|title| title.kind == FactKind::Title && lent_by(loan, title));
            let mut aside = owners.map(|title| self.for_whom(title)).collect::<Vec<_>>().into_iter();
            if let Some(of) = aside.next().flatten().filter(|_| aside.all(|title| title.is_some()))
                && !self.is_aside(loan)
            {
                self.put_aside(loan, of);
            }
        }
    }

    /// What lies where, without the holdings that are set aside, no site held the animal.
    fn follow_holdings(&mut self) {
        for fact in self.facts {
            let (from, to) = match fact.kind {
                FactKind::Weight => (fact.instant("weighed_at"), fact.instant("weighed_at")),
                FactKind::Assessment => (fact.instant("assessed_at"), fact.instant("assessed_at")),
                FactKind::Placement | FactKind::Membership | FactKind::LifeState | FactKind::Encounter => {
                    (fact.instant("began_at"), fact.instant("ended_at"))
                }
                _ => continue,
            };
            let covered = |holding: &&Version| {
                let (began, ended) = stretch(holding);
                holding.site() == fact.site()
                    && from.is_some_and(|from| began <= from)
                    && ended.is_none_or(|ended| to.is_some_and(|to| to <= ended))
            };
            let holdings = || self.facts.iter().filter(|other| other.kind == FactKind::Holding);
            // What lay outside before is none of ours.
            let Some(was) = holdings().find(covered) else { continue };
            let stands =
                holdings().filter(|holding| !self.is_aside(holding)).any(|holding| covered(&holding));
            if let Some(of) = self.for_whom(was).filter(|_| !stands && !self.is_aside(fact)) {
                self.put_aside(fact, of);
            }
        }
    }

    /// Whether what an animal has while it is held came with a holding of its record that is set aside.
    fn went_with_holding(&self, fact: &Version) -> bool {
        if !matches!(fact.kind, FactKind::Title | FactKind::Loan | FactKind::Mark) {
            return false;
        }
        let of_record =
            |holding: &&Version| holding.kind == FactKind::Holding && record(holding) == record(fact);
        let mut aside = self.facts.iter().filter(of_record).filter(|holding| self.is_aside(holding));
        let none_stands = !self.facts.iter().filter(of_record).any(|holding| !self.is_aside(holding));
        aside.any(|holding| none_stands || stretch(holding).0 == stretch(fact).0)
    }

    fn stands(&self, fact: &Version) -> bool {
        (0..self.stands.len()).any(|n| self.says(n, fact))
    }

    fn says(&self, n: usize, fact: &Version) -> bool {
        match &self.stands[n] {
            Stands::Fact(id) => *id == fact.id(),
            Stands::Of(kind, of) => {
                let goes = self.goes.iter().find(|goes| goes.record == record(fact));
                *kind == fact.kind
                    && goes.is_some_and(|goes| goes.by.iter().any(|by| by.eq_ignore_ascii_case(of)))
            }
        }
    }

    fn named(&self, fact: &Version) -> Named {
        let goes = self.goes.iter().find(|goes| goes.record == record(fact));
        let of = goes.and_then(|goes| goes.by.first()).cloned();
        Named { id: fact.id(), kind: fact.kind, of: of.unwrap_or_else(|| record(fact).to_string()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::{Value, json};

    const ALDER: u128 = 1;
    const BIRCH: u128 = 2;
    const GONE: u128 = 3;

    /// A fact of a record over a stretch of days in March.
    fn fact(kind: FactKind, id: u128, record: u128, from: u8, until: Option<u8>) -> Version {
        let at = |day: u8| format!("2025-03-{day:02}T00:00:00Z");
        let row = json!({
            "id": Uuid::from_u128(id), "record_id": Uuid::from_u128(record), "site_id": Uuid::from_u128(9),
            "owner_site_id": Uuid::from_u128(9), "began_at": at(from), "ended_at": until.map(at),
        });
        let Value::Object(row) = row else { unreachable!() };
        Version { kind, row }
    }

    fn aside(facts: &[Version], before: &[(u128, u128)], stands: &[Stands]) -> (Vec<u128>, usize) {
        let before = before.iter().map(|(fact, of)| (Uuid::from_u128(*fact), Uuid::from_u128(*of))).collect();
        let plan = Facts::new(facts, &[], stands, &before).plan();
        (plan.asides().into_keys().map(|id| id.as_u128()).collect(), plan.conflicts.len())
    }

    #[test]
    fn what_says_more_stands_again_once_the_record_is_gone_for_which_it_was_set_aside() {
        let facts = [
            fact(FactKind::Holding, 10, ALDER, 9, None),
            fact(FactKind::Title, 11, ALDER, 9, None),
            fact(FactKind::Title, 21, BIRCH, 20, None),
        ];
        assert_eq!(aside(&facts, &[(11, GONE)], &[]), (vec![21], 0), "nobody would own it from the 9th on");
    }

    #[test]
    fn an_owner_goes_with_the_holding_that_gave_way() {
        let mut other = fact(FactKind::Title, 21, BIRCH, 20, None);
        other.row.insert("owner_site_id".to_owned(), json!(Uuid::from_u128(8)));
        let facts = [
            fact(FactKind::Holding, 20, BIRCH, 20, None),
            fact(FactKind::Holding, 10, ALDER, 9, None),
            other,
            fact(FactKind::Title, 11, ALDER, 9, None),
        ];
        assert_eq!(aside(&facts, &[(10, GONE), (11, GONE)], &[]), (vec![20, 21], 0));
    }

    #[test]
    fn an_owner_that_says_more_goes_with_its_holding_all_the_same() {
        let mut birth = fact(FactKind::Birth, 22, BIRCH, 20, None);
        for day in ["born_first", "born_last"] {
            birth.row.insert(day.to_owned(), json!("2025-03-20"));
        }
        let mut before_birth = fact(FactKind::Holding, 10, ALDER, 9, None);
        before_birth.row.insert("began_on".to_owned(), json!("2025-03-09"));
        let stands = [Stands::Fact(birth.id())];
        let facts = [
            birth,
            fact(FactKind::Holding, 20, BIRCH, 20, None),
            fact(FactKind::Title, 21, BIRCH, 20, None),
            before_birth,
            fact(FactKind::Title, 11, ALDER, 9, None),
        ];
        // Otherwise the animal's departure would end a holding of one record and the owner of the other.
        assert_eq!(aside(&facts, &[], &stands), (vec![10, 11], 0));
    }

    #[test]
    fn what_says_the_same_stays_what_it_was() {
        let facts = [
            fact(FactKind::Holding, 10, ALDER, 9, None),
            fact(FactKind::Holding, 20, BIRCH, 9, None),
            fact(FactKind::Title, 11, ALDER, 9, None),
        ];
        assert_eq!(aside(&facts, &[(10, GONE)], &[]), (vec![10], 0));
        assert_eq!(aside(&facts, &[(20, GONE)], &[]), (vec![20], 0));
    }

    #[test]
    fn what_is_set_aside_for_a_record_of_the_animal_is_asked_again_only_by_name() {
        // It departed before the second record has it: nothing contradicts that any more.
        let facts = [
            fact(FactKind::Holding, 10, ALDER, 9, Some(12)),
            fact(FactKind::Holding, 20, BIRCH, 20, None),
            fact(FactKind::Title, 11, ALDER, 9, None),
        ];
        assert_eq!(aside(&facts, &[(20, ALDER)], &[]), (vec![20], 0));
        assert_eq!(aside(&facts, &[(20, ALDER)], &[Stands::Fact(Uuid::from_u128(20))]), (vec![], 0));
        assert_eq!(aside(&facts, &[(20, GONE)], &[]), (vec![], 0));
    }

    #[test]
    fn what_an_owner_lent_goes_with_its_title() {
        let mut title = fact(FactKind::Title, 21, BIRCH, 12, None);
        let mut loan = fact(FactKind::Loan, 22, BIRCH, 12, None);
        for (one, columns) in
            [(&mut title, ["owner_site_id", "owner_name"]), (&mut loan, ["lender_site_id", "lender_name"])]
        {
            one.row.insert(columns[0].to_owned(), Value::Null);
            one.row.insert(columns[1].to_owned(), json!("Fenwater"));
        }
        let facts = [
            fact(FactKind::Holding, 10, ALDER, 9, None),
            fact(FactKind::Holding, 20, BIRCH, 12, None),
            fact(FactKind::Title, 11, ALDER, 9, None),
            title,
            loan,
        ];
        assert_eq!(aside(&facts, &[], &[]), (vec![20, 21, 22], 0));
        assert_eq!(aside(&facts, &[], &[Stands::Fact(Uuid::from_u128(21))]).0, vec![11, 20]);
    }

    #[test]
    fn what_stood_of_one_animal_before_is_not_asked_about() {
        let place = |id, record, animal: u128| {
            let mut one = fact(FactKind::Placement, id, record, 1, None);
            one.row.insert("enclosure_id".to_owned(), json!(Uuid::from_u128(id)));
            one.row.insert("animal_id".to_owned(), json!(Uuid::from_u128(animal)));
            one
        };
        let joined = [place(50, ALDER, ALDER), place(51, BIRCH, ALDER)];
        assert_eq!(aside(&joined, &[], &[]), (vec![], 0));
        let apart = [place(50, ALDER, ALDER), place(51, BIRCH, BIRCH)];
        assert_eq!(aside(&apart, &[], &[]), (vec![], 1));
        // One that was set aside is asked about again.
        assert_eq!(aside(&joined, &[(51, GONE)], &[]), (vec![51], 0));
    }

    #[test]
    fn nobody_held_a_young_under_another_name_before_it_was_identified() {
        let mut identified = fact(FactKind::Holding, 10, ALDER, 9, None);
        identified.row.insert("began_how".to_owned(), json!("told_apart"));
        let facts = [
            identified,
            fact(FactKind::Title, 11, ALDER, 9, None),
            fact(FactKind::Holding, 20, BIRCH, 2, Some(5)),
            fact(FactKind::Title, 21, BIRCH, 2, Some(5)),
        ];
        assert_eq!(aside(&facts, &[], &[]), (vec![], 1));
        assert_eq!(aside(&facts, &[], &[Stands::Fact(Uuid::from_u128(10))]), (vec![20], 0));
    }
}
