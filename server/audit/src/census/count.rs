//! The return: for each species what there was, what came, what went and what is left.

use super::moves::{self, Held};
use super::stay::{Began, Born, Change, Ended, Flaw, Flaws, Litter, Stay, Who};
use crate::terms::{Counts, Day};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::AddAssign;

/// What a return is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Question {
    /// First day of the interval. The opening stock is that of the close of the day before.
    pub first: Day,
    /// Last day of the interval. The closing stock is that of its close.
    pub last: Day,
    /// A death so many days after birth or sooner is counted apart. Thirty is common practice (no
    /// source); the authority that asks for the return decides.
    pub young_days: i64,
}

/// The line of one species, each column by sex.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Line {
    /// On the books at the close of the day before the first.
    pub opening: Counts,
    /// Born at the site.
    pub born: Counts,
    /// Came from elsewhere.
    pub arrived: Counts,
    /// Died within the young days of the question.
    pub died_young: Counts,
    /// Died later, or it is not known that it was not later ([`Return::age_unsure`]).
    pub died: Counts,
    /// Went elsewhere.
    pub departed: Counts,
    /// Got out and were not recovered.
    pub escaped: Counts,
    /// Moves between the sexes of animals that were there: what they were held to be after less what
    /// they were held to be before. Sums to zero over the sexes.
    pub sexed: Counts,
    /// On the books at the close of the last day, counted from the books and not from the columns.
    pub closing: Counts,
}

impl Line {
    /// What the columns say should be left: opening + born + arrived − died young − died − departed −
    /// escaped + sexed.
    #[must_use]
    pub fn expected(&self) -> Counts {
        self.opening + self.born + self.arrived + self.sexed
            - self.died_young
            - self.died
            - self.departed
            - self.escaped
    }

    /// What is there and should not be (positive), or should be there and is not (negative).
    #[must_use]
    pub fn gap(&self) -> Counts {
        self.closing - self.expected()
    }

    /// Whether the line adds up for each sex, and moves between the sexes made and lost nobody.
    #[must_use]
    pub fn balances(&self) -> bool {
        self.gap() == Counts::ZERO && self.sexed.total() == 0
    }
}

impl AddAssign for Line {
    fn add_assign(&mut self, other: Self) {
        self.opening += other.opening;
        self.born += other.born;
        self.arrived += other.arrived;
        self.died_young += other.died_young;
        self.died += other.died;
        self.departed += other.departed;
        self.escaped += other.escaped;
        self.sexed += other.sexed;
        self.closing += other.closing;
    }
}

/// A column of a return.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Column {
    /// [`Line::opening`].
    Opening,
    /// [`Line::arrived`].
    Arrived,
    /// [`Line::born`].
    Born,
    /// [`Line::died_young`].
    DiedYoung,
    /// [`Line::died`].
    Died,
    /// [`Line::departed`].
    Departed,
    /// [`Line::escaped`].
    Escaped,
    /// [`Line::sexed`].
    Sexed,
    /// [`Line::closing`].
    Closing,
}

impl Line {
    /// One of its columns.
    pub const fn column(&mut self, column: Column) -> &mut Counts {
        match column {
            Column::Opening => &mut self.opening,
            Column::Arrived => &mut self.arrived,
            Column::Born => &mut self.born,
            Column::DiedYoung => &mut self.died_young,
            Column::Died => &mut self.died,
            Column::Departed => &mut self.departed,
            Column::Escaped => &mut self.escaped,
            Column::Sexed => &mut self.sexed,
            Column::Closing => &mut self.closing,
        }
    }
}

/// Where in the books that a return was made of an entry is read from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {
    /// A stay, by its place among those that were given.
    Stay(usize),
    /// A litter, by its place, with all that happened to it so far.
    Litter(usize),
    /// What happened to a litter, by the places of both.
    Change(usize, usize),
}

/// What stands in a column of a return for one animal or one litter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry<S> {
    /// The species.
    pub species: S,
    /// The column.
    pub column: Column,
    /// The day on which it came or went or its sex was found; of what was there, the day at whose close it was.
    pub day: Day,
    /// What it adds to the column.
    pub counts: Counts,
    /// Where it is read from.
    pub source: Source,
}

/// A stock return.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Return<A, L, S> {
    /// What the lines are the sums of, in the order of the books.
    pub entries: Vec<Entry<S>>,
    /// One line per species that was there or came or went in the interval.
    pub lines: BTreeMap<S, Line>,
    /// Deaths counted as later ones because the day of birth is not known well enough to say.
    pub age_unsure: Vec<Who<A, L>>,
    /// Animals that one of the sites had sent and another had not yet received at the close of the last
    /// day. They are in the closing stock of the sites together and of neither alone.
    pub on_their_way: Vec<A>,
}

impl<A, L, S> Return<A, L, S> {
    /// Whether every line does.
    #[must_use]
    pub fn balances(&self) -> bool {
        self.lines.values().all(Line::balances)
    }

    /// All species together.
    #[must_use]
    pub fn total(&self) -> Line {
        let mut total = Line::default();
        self.lines.values().for_each(|line| total += *line);
        total
    }
}

/// Makes the return of `sites` together: one site's own return with one, a group's with several, where
/// what moved between them is in no column. The stays of one animal stand in the order in which they followed
/// one another.
///
/// # Errors
/// All contradictions in the books of these sites, and an interval without days.
pub fn take<A: Clone + Ord, L: Clone, S: Clone + Ord, P: Clone + Ord>(
    sites: &BTreeSet<P>,
    stays: &[Stay<A, S, P>],
    litters: &[Litter<L, S, P>],
    question: Question,
) -> Result<Return<A, L, S>, Flaws<A, L>> {
    if question.last < question.first {
        return Err(vec![Flaw::EmptyInterval { first: question.first, last: question.last }]);
    }
    let (held, mut flaws) = match moves::join(stays, sites) {
        Ok(held) => (held, Vec::new()),
        Err(flaws) => (Vec::new(), flaws),
    };
    let litters = litters.iter().enumerate().filter(|(_, litter)| sites.contains(&litter.site));
    flaws.extend(litters.clone().filter_map(|(_, litter)| below_zero(litter)));
    if !flaws.is_empty() {
        return Err(flaws);
    }

    let mut tally = Tally { question, entries: Vec::new(), age_unsure: Vec::new() };
    for held in &held {
        tally.stay(held);
    }
    for (at, litter) in litters {
        tally.litter(at, litter, sites);
    }
    let mut lines: BTreeMap<S, Line> = BTreeMap::new();
    for entry in &tally.entries {
        *lines.entry(entry.species.clone()).or_default().column(entry.column) += entry.counts;
    }
    lines.retain(|_, line| *line != Line::default());
    let on_their_way = held.iter().filter(|held| held.on_its_way(question.last));
    Ok(Return {
        entries: tally.entries,
        lines,
        age_unsure: tally.age_unsure,
        on_their_way: on_their_way.map(|held| held.stay.animal.clone()).collect(),
    })
}

/// The return in the making.
struct Tally<A, L, S> {
    question: Question,
    entries: Vec<Entry<S>>,
    age_unsure: Vec<Who<A, L>>,
}

impl<A: Clone, L: Clone, S: Clone + Ord> Tally<A, L, S> {
    fn asked(&self, day: Day) -> bool {
        self.question.first <= day && day <= self.question.last
    }

    /// The last day of which the opening stock is told.
    fn eve(&self) -> Day {
        self.question.first.pred_opt().unwrap_or(Day::MIN)
    }

    fn stay<P>(&mut self, held: &Held<A, S, P>) {
        let stay = &held.stay;
        let (eve, last) = (self.eve(), self.question.last);
        let (came, went) = (Source::Stay(held.first), Source::Stay(held.last));
        let one = |day| Counts::of(stay.sex(day), 1);
        if stay.on_books(eve) {
            self.add(&stay.species, (Column::Opening, eve), one(eve), came);
        }
        // What it was held to be when it was first counted in the interval; taken off again below for
        // what it was held to be when last counted, which leaves the moves between the sexes.
        let mut first = stay.on_books(eve).then(|| stay.sex(eve));
        let mut found_since = eve;
        if self.asked(stay.from) {
            let column = match stay.began {
                Began::Birth => Column::Born,
                Began::Arrival | Began::TransferIn { .. } => Column::Arrived,
                // The litter gave it up in the column of the sexes, so there it comes back.
                Began::ToldApart => Column::Sexed,
            };
            self.add(&stay.species, (column, stay.from), one(stay.from), came);
            first = Some(stay.sex(stay.from));
            found_since = stay.from;
        }
        let mut until = last;
        if let Some((end, how)) = stay.end.as_ref().filter(|(end, _)| self.asked(*end)) {
            until = *end;
            let column = match how {
                Ended::Death => match self.died_young(stay, *end) {
                    Some(true) => Column::DiedYoung,
                    Some(false) => Column::Died,
                    None => {
                        self.age_unsure.push(Who::Animal(stay.animal.clone()));
                        Column::Died
                    }
                },
                Ended::Departure | Ended::TransferOut { .. } => Column::Departed,
                Ended::Escape => Column::Escaped,
            };
            self.add(&stay.species, (column, *end), one(*end), went);
        }
        if let Some(first) = first {
            let found =
                stay.sexes.iter().map(|(day, _)| *day).filter(|day| found_since < *day && *day <= until);
            let moved = one(until) - Counts::of(first, 1);
            self.add(&stay.species, (Column::Sexed, found.max().unwrap_or(until)), moved, went);
        }
        if stay.on_books(last) {
            self.add(&stay.species, (Column::Closing, last), one(last), went);
        }
    }

    fn died_young<P>(&self, stay: &Stay<A, S, P>, death: Day) -> Option<bool> {
        let held_longer = (death - stay.from).num_days() > self.question.young_days;
        let known = match stay.began {
            Began::Birth => stay.born.or(Some(Born::on(stay.from))),
            Began::Arrival | Began::TransferIn { .. } | Began::ToldApart => stay.born,
        };
        match known {
            Some(born) => born.within(self.question.young_days, death),
            None if held_longer => Some(false),
            None => None,
        }
    }

    fn litter<P: Ord>(&mut self, at: usize, litter: &Litter<L, S, P>, sites: &BTreeSet<P>) {
        let found_born = litter.changes.iter().find(|(_, what)| matches!(what, Change::Born(_)));
        let born = litter.born.or(found_born.map(|(day, _)| Born::on(*day)));
        let (mut opening, mut closing) = (Counts::ZERO, Counts::ZERO);
        for (n, (day, what)) in litter.changes.iter().enumerate() {
            let inside = match what {
                Change::MovedIn { from: other, .. } | Change::MovedOut { to: other, .. } => {
                    sites.contains(other)
                }
                _ => false,
            };
            if inside {
                continue;
            }
            if *day < self.question.first {
                opening += what.effect();
            }
            if *day <= self.question.last {
                closing += what.effect();
            }
            if !self.asked(*day) {
                continue;
            }
            let (column, counts) = match what {
                Change::Born(young) => (Column::Born, *young),
                Change::Arrived(young) | Change::MovedIn { young, .. } => (Column::Arrived, *young),
                Change::Sexed { .. } | Change::ToldApart(_) => (Column::Sexed, what.effect()),
                Change::Departed(young) | Change::MovedOut { young, .. } => (Column::Departed, *young),
                Change::Escaped(young) => (Column::Escaped, *young),
                Change::Died(young) => {
                    match born.and_then(|born| born.within(self.question.young_days, *day)) {
                        Some(true) => (Column::DiedYoung, *young),
                        Some(false) => (Column::Died, *young),
                        None => {
                            self.age_unsure.push(Who::Litter(litter.litter.clone()));
                            (Column::Died, *young)
                        }
                    }
                }
            };
            self.add(&litter.species, (column, *day), counts, Source::Change(at, n));
        }
        let (eve, last) = (self.eve(), self.question.last);
        self.add(&litter.species, (Column::Opening, eve), opening, Source::Litter(at));
        self.add(&litter.species, (Column::Closing, last), closing, Source::Litter(at));
    }

    fn add(&mut self, species: &S, (column, day): (Column, Day), counts: Counts, source: Source) {
        if counts != Counts::ZERO {
            self.entries.push(Entry { species: species.clone(), column, day, counts, source });
        }
    }
}

/// The first day at whose close fewer than no young of some sex are left.
fn below_zero<A, L: Clone, S, P>(litter: &Litter<L, S, P>) -> Option<Flaw<A, L>> {
    let mut days: BTreeMap<Day, Counts> = BTreeMap::new();
    for (day, what) in &litter.changes {
        *days.entry(*day).or_default() += what.effect();
    }
    let mut left = Counts::ZERO;
    days.into_iter().find_map(|(day, effect)| {
        left += effect;
        let short = left.males < 0 || left.females < 0 || left.unknown < 0;
        short.then(|| Flaw::LitterBelowZero { litter: litter.litter.clone(), day, left })
    })
}
