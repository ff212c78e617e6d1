//! The return against a second way of counting: a journal kept while invented parks live through
//! random histories, read day by day.

use super::*;
use crate::terms::{Counts, Day, Sex};
use chrono::Days;
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

type Here = Stay<u16, &'static str, u8>;
type Told = Result<Return<u16, u16, &'static str>, Flaws<u16, u16>>;
type Books = (Vec<Here>, Vec<Litter<u16, &'static str, u8>>);

const HOME: u8 = 0;
const SISTER: u8 = 1;
const STRANGER: u8 = 9;
const SPECIES: [&str; 2] = ["coypu", "serval"];

fn start() -> Day {
    "2025-01-01".parse().unwrap()
}

fn day(n: u64) -> Day {
    start() + Days::new(n)
}

fn ask(first: u64, last: u64) -> Question {
    Question { first: day(first), last: day(last), young_days: 30 }
}

fn sites(list: &[u8]) -> BTreeSet<u8> {
    list.iter().copied().collect()
}

/// What happened, as the journal names it.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Event {
    Born,
    Arrived,
    DiedYoung,
    Died,
    Departed,
    Escaped,
    Sexed,
    /// Sent to the sister site; the young or the animal is on its way.
    Sent,
    /// Received from the sister site.
    Received,
}

impl Event {
    /// The column in which it stands; none where what moves between the sites is in no column.
    fn column(self, together: bool) -> Option<Column> {
        match self {
            Self::Born => Some(Column::Born),
            Self::Arrived => Some(Column::Arrived),
            Self::DiedYoung => Some(Column::DiedYoung),
            Self::Died => Some(Column::Died),
            Self::Departed => Some(Column::Departed),
            Self::Escaped => Some(Column::Escaped),
            Self::Sexed => Some(Column::Sexed),
            Self::Sent => (!together).then_some(Column::Departed),
            Self::Received => (!together).then_some(Column::Arrived),
        }
    }
}

/// One line of the journal.
struct Noted {
    day: u64,
    site: u8,
    species: usize,
    event: Event,
    counts: Counts,
}

struct Animal {
    species: usize,
    sex: Sex,
    born: Option<u64>,
    sexes: Vec<(Day, Sex)>,
    at: Option<u8>,
    travelling_to: Option<u8>,
    last_event: u64,
}

#[derive(Default)]
struct World {
    animals: Vec<Animal>,
    open: Vec<Option<usize>>,
    stays: Vec<Here>,
    litters: Vec<Litter<u16, &'static str, u8>>,
    young: Vec<Counts>,
    journal: Vec<Noted>,
}

impl World {
    fn note(&mut self, day: u64, site: u8, species: usize, event: Event, counts: Counts) {
        self.journal.push(Noted { day, site, species, event, counts });
    }

    fn enter(&mut self, who: usize, on: u64, site: u8, began: Began<u8>) {
        let animal = &mut self.animals[who];
        animal.at = Some(site);
        animal.last_event = on;
        self.open[who] = Some(self.stays.len());
        self.stays.push(Stay {
            animal: u16::try_from(who).unwrap(),
            species: SPECIES[animal.species],
            site,
            from: day(on),
            began,
            end: None,
            born: animal.born.map(|born| Born::on(day(born))),
            sexes: Vec::new(),
        });
    }

    fn leave(&mut self, who: usize, on: u64, how: Ended<u8>) {
        let animal = &mut self.animals[who];
        animal.at = None;
        animal.last_event = on;
        let open = self.open[who].take().unwrap();
        self.stays[open].end = Some((day(on), how));
    }

    fn new_animal(&mut self, species: usize, sex: Sex, on: u64, born: Option<u64>) -> usize {
        self.animals.push(Animal {
            species,
            sex,
            born,
            sexes: vec![(day(on), sex)],
            at: None,
            travelling_to: None,
            last_event: on,
        });
        self.open.push(None);
        self.animals.len() - 1
    }

    /// Lets one thing happen, if it can.
    fn happen(&mut self, on: u64, kind: u8, pick: u16) {
        let species = usize::from(pick % 2);
        let site = u8::try_from(pick / 2 % 2).unwrap();
        let sex = [Sex::Male, Sex::Female, Sex::Unknown][usize::from(pick / 4 % 3)];
        match kind {
            0 => {
                let who = self.new_animal(species, sex, on, None);
                self.enter(who, on, site, Began::Arrival);
                self.note(on, site, species, Event::Arrived, Counts::of(sex, 1));
            }
            1 => {
                let who = self.new_animal(species, sex, on, Some(on));
                self.enter(who, on, site, Began::Birth);
                self.note(on, site, species, Event::Born, Counts::of(sex, 1));
            }
            2 => {
                // Comes from outside and is gone before the close of the day.
                let who = self.new_animal(species, sex, on, None);
                self.enter(who, on, site, Began::TransferIn { from: STRANGER });
                self.leave(who, on, Ended::Departure);
                self.note(on, site, species, Event::Arrived, Counts::of(sex, 1));
                self.note(on, site, species, Event::Departed, Counts::of(sex, 1));
            }
            3 => {
                let young = Counts::of(Sex::Unknown, 1 + i64::from(pick % 7));
                self.litters.push(Litter {
                    litter: u16::try_from(self.litters.len()).unwrap(),
                    species: SPECIES[species],
                    site,
                    born: Some(Born::on(day(on))),
                    changes: vec![(day(on), Change::Born(young))],
                });
                self.young.push(young);
                self.note(on, site, species, Event::Born, young);
            }
            4..=7 => self.litter_event(on, kind, pick),
            _ => self.animal_event(on, kind, pick),
        }
    }

    fn litter_event(&mut self, on: u64, kind: u8, pick: u16) {
        if self.litters.is_empty() {
            return;
        }
        let which = usize::from(pick) % self.litters.len();
        let species = SPECIES.iter().position(|name| *name == self.litters[which].species).unwrap();
        let (site, left) = (self.litters[which].site, self.young[which]);
        let born_on = self.litters[which].born.unwrap().earliest;
        let age = (day(on) - born_on).num_days();
        let one =
            [Sex::Male, Sex::Female, Sex::Unknown].map(|sex| Counts::of(sex, 1)).into_iter().find(|one| {
                left.males >= one.males && left.females >= one.females && left.unknown >= one.unknown
            });
        let Some(one) = one.filter(|_| left.total() > 0) else { return };
        let (event, change) = match kind {
            4 => (if age <= 30 { Event::DiedYoung } else { Event::Died }, Change::Died(one)),
            5 if left.unknown > 0 => {
                (Event::Sexed, Change::Sexed { males: i64::from(pick % 2), females: 1 - i64::from(pick % 2) })
            }
            6 => {
                // Told apart, and its sex found out at the same time as often as not.
                let sex = if pick.is_multiple_of(2) { Sex::Female } else { Sex::Unknown };
                let born = (born_on - start()).num_days();
                let who = self.new_animal(species, sex, on, Some(u64::try_from(born).unwrap()));
                self.enter(who, on, site, Began::ToldApart);
                self.note(on, site, species, Event::Sexed, Counts::of(sex, 1));
                (Event::Sexed, Change::ToldApart(one))
            }
            7 => (Event::Departed, Change::MovedOut { to: STRANGER, young: one }),
            _ => return,
        };
        let effect = change.effect();
        let counts = if event == Event::Sexed { effect } else { Counts::ZERO - effect };
        self.note(on, site, species, event, counts);
        self.young[which] += effect;
        self.litters[which].changes.push((day(on), change));
    }

    fn animal_event(&mut self, on: u64, kind: u8, pick: u16) {
        if self.animals.is_empty() {
            return;
        }
        let who = usize::from(pick) % self.animals.len();
        let animal = &mut self.animals[who];
        // One thing a day; what happens on one day is tested by hand below.
        if animal.last_event >= on {
            return;
        }
        let (species, sex, born) = (animal.species, animal.sex, animal.born);
        let one = Counts::of(sex, 1);
        if let (Some(to), true) = (animal.travelling_to, kind == 8) {
            animal.travelling_to = None;
            self.enter(who, on, to, Began::TransferIn { from: 1 - to });
            self.note(on, to, species, Event::Received, one);
            return;
        }
        let Some(site) = animal.at else { return };
        let (event, how) = match kind {
            9 => {
                let found = [Sex::Male, Sex::Female, Sex::Unknown][usize::from(pick / 3 % 3)];
                animal.sex = found;
                animal.sexes.push((day(on), found));
                animal.last_event = on;
                self.note(on, site, species, Event::Sexed, Counts::of(found, 1) - one);
                return;
            }
            10 => {
                let young = born.is_some_and(|born| on - born <= 30);
                (if young { Event::DiedYoung } else { Event::Died }, Ended::Death)
            }
            11 => (Event::Departed, Ended::TransferOut { to: STRANGER }),
            12 => {
                animal.travelling_to = Some(1 - site);
                (Event::Sent, Ended::TransferOut { to: 1 - site })
            }
            13 => (Event::Escaped, Ended::Escape),
            _ => return,
        };
        self.leave(who, on, how);
        self.note(on, site, species, event, one);
    }

    fn books(mut self) -> (Books, Vec<Noted>) {
        for stay in &mut self.stays {
            stay.sexes = self.animals[usize::from(stay.animal)].sexes.clone();
        }
        ((self.stays, self.litters), self.journal)
    }
}

/// Reads the journal: what a group of sites has to report.
fn from_journal(journal: &[Noted], group: &[u8], species: usize, first: u64, last: u64) -> Line {
    let together = group.len() > 1;
    let mut line = Line::default();
    for entry in journal.iter().filter(|e| group.contains(&e.site) && e.species == species) {
        let counts = entry.counts;
        let column = entry.event.column(together);
        let sign = match column {
            None => Counts::ZERO,
            Some(Column::Born | Column::Arrived | Column::Sexed) => counts,
            Some(_) => Counts::ZERO - counts,
        };
        if entry.day < first {
            line.opening += sign;
        }
        if entry.day <= last {
            line.closing += sign;
        }
        if let Some(column) = column.filter(|_| first <= entry.day && entry.day <= last) {
            *line.column(column) += counts;
        }
    }
    line
}

/// What came and went on each day, by species and column. Of sexes, an entry has the day of the last one found.
type ByDay = BTreeMap<(Day, &'static str, Column), Counts>;

fn days_in_journal(journal: &[Noted], group: &[u8], first: u64, last: u64) -> ByDay {
    let mut days = ByDay::new();
    for noted in journal.iter().filter(|noted| group.contains(&noted.site)) {
        let column = noted.event.column(group.len() > 1).filter(|column| *column != Column::Sexed);
        if let Some(column) = column.filter(|_| first <= noted.day && noted.day <= last) {
            *days.entry((day(noted.day), SPECIES[noted.species], column)).or_default() += noted.counts;
        }
    }
    days
}

fn days_in_entries(entries: &[Entry<&'static str>]) -> ByDay {
    let mut days = ByDay::new();
    let moves = |column| !matches!(column, Column::Opening | Column::Closing | Column::Sexed);
    for entry in entries.iter().filter(|entry| moves(entry.column)) {
        *days.entry((entry.day, entry.species, entry.column)).or_default() += entry.counts;
    }
    days
}

/// That what an entry was read from says so itself.
fn is_read_from(entry: &Entry<&'static str>, (stays, litters): &Books) -> bool {
    match (entry.source, entry.column) {
        (Source::Stay(at), Column::Arrived | Column::Born) => stays[at].from == entry.day,
        (Source::Stay(at), Column::DiedYoung | Column::Died | Column::Departed | Column::Escaped) => {
            stays[at].end.as_ref().is_some_and(|(end, _)| *end == entry.day)
        }
        (Source::Stay(at), _) => stays[at].species == entry.species,
        (Source::Litter(at), column) => {
            litters[at].species == entry.species && matches!(column, Column::Opening | Column::Closing)
        }
        (Source::Change(at, n), _) => litters[at].changes[n].0 == entry.day,
    }
}

fn history() -> impl Strategy<Value = Vec<(u64, u8, u16)>> {
    prop::collection::vec((0_u64..120, 0_u8..14, any::<u16>()), 1..160).prop_map(|mut events| {
        events.sort_by_key(|(day, ..)| *day);
        events
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4_000, ..ProptestConfig::default() })]

    #[test]
    fn every_return_is_what_the_journal_says_and_balances(events in history(), a in 0_u64..130, b in 0_u64..130) {
        let mut world = World::default();
        for (on, kind, pick) in events {
            world.happen(on, kind, pick);
        }
        let (books, journal) = world.books();
        let (stays, litters) = &books;
        let (first, last) = (a.min(b), a.max(b));
        for group in [&[HOME][..], &[SISTER], &[HOME, SISTER]] {
            let told = take(&sites(group), stays, litters, ask(first, last)).unwrap();
            prop_assert!(told.balances());
            for (at, name) in SPECIES.into_iter().enumerate() {
                let line = told.lines.get(name).copied().unwrap_or_default();
                prop_assert_eq!(line, from_journal(&journal, group, at, first, last), "{} {:?}", name, group);
            }
            prop_assert_eq!(days_in_entries(&told.entries), days_in_journal(&journal, group, first, last));
            prop_assert!(told.entries.iter().all(|entry| is_read_from(entry, &books)), "{:?}", told.entries);
            // Two intervals that meet say together what the whole says.
            if first < last {
                let middle = first.midpoint(last);
                let early = take(&sites(group), stays, litters, ask(first, middle)).unwrap();
                let late = take(&sites(group), stays, litters, ask(middle + 1, last)).unwrap();
                for (name, whole) in &told.lines {
                    let early = early.lines.get(name).copied().unwrap_or_default();
                    let late = late.lines.get(name).copied().unwrap_or_default();
                    prop_assert_eq!(early.closing, late.opening);
                    prop_assert_eq!(early.born + late.born, whole.born);
                    prop_assert_eq!(early.departed + late.departed, whole.departed);
                    prop_assert_eq!(early.sexed + late.sexed, whole.sexed);
                }
            }
        }
        // The sites together are the sum of each and of those on their way.
        let closing = |group: &[u8]| {
            let told = take(&sites(group), stays, litters, ask(first, last)).unwrap();
            (told.lines.values().map(|line| line.closing.total()).sum::<i64>(), told.on_their_way.len())
        };
        let (both, travelling) = closing(&[HOME, SISTER]);
        prop_assert_eq!(both, closing(&[HOME]).0 + closing(&[SISTER]).0 + i64::try_from(travelling).unwrap());
    }
}

fn stay(animal: u16, site: u8, from: u64, began: Began<u8>, end: Option<(u64, Ended<u8>)>) -> Here {
    Stay {
        animal,
        species: "coypu",
        site,
        from: day(from),
        began,
        end: end.map(|(on, how)| (day(on), how)),
        born: None,
        sexes: Vec::new(),
    }
}

fn home(stays: &[Here], litters: &[Litter<u16, &'static str, u8>]) -> Told {
    take(&sites(&[HOME]), stays, litters, ask(0, 30))
}

#[test]
fn a_sex_found_on_the_day_of_arrival_is_the_sex_of_the_arrival() {
    let mut arrival = stay(1, HOME, 5, Began::Arrival, None);
    arrival.sexes = vec![(day(5), Sex::Unknown), (day(5), Sex::Male)];
    let told = home(&[arrival], &[]).unwrap();
    let line = told.lines["coypu"];
    assert_eq!((line.arrived, line.sexed), (Counts::of(Sex::Male, 1), Counts::ZERO));
    assert!(told.balances());
}

#[test]
fn a_sex_found_after_death_moves_nobody() {
    let mut dead = stay(1, HOME, 0, Began::Arrival, Some((9, Ended::Death)));
    dead.sexes = vec![(day(12), Sex::Female)];
    let line = home(&[dead], &[]).unwrap().lines["coypu"];
    assert_eq!((line.died, line.sexed), (Counts::of(Sex::Unknown, 1), Counts::ZERO));
}

#[test]
fn a_young_told_apart_without_a_litter_to_come_from_breaks_the_balance() {
    let told = home(&[stay(1, HOME, 5, Began::ToldApart, None)], &[]).unwrap();
    assert_eq!(told.lines["coypu"].gap(), Counts::ZERO);
    assert!(!told.balances(), "one more animal, and no column says where it came from");
}

#[test]
fn deaths_of_unknown_age_are_named() {
    let soon = stay(1, HOME, 5, Began::Arrival, Some((20, Ended::Death)));
    let mut late = stay(2, HOME, 0, Began::Arrival, Some((30, Ended::Death)));
    late.from = day(0) - Days::new(1);
    let told = home(&[soon, late], &[]).unwrap();
    assert_eq!(told.age_unsure, [Who::Animal(1)], "the other was held for longer than thirty days");
    assert_eq!(told.lines["coypu"].died.total(), 2);
}

#[test]
fn books_that_contradict_themselves_are_refused_with_every_reason() {
    let litter = Litter {
        litter: 7,
        species: "coypu",
        site: HOME,
        born: None,
        changes: vec![
            (day(3), Change::Died(Counts::of(Sex::Unknown, 1))),
            (day(2), Change::Born(Counts::of(Sex::Unknown, 1))),
            (day(4), Change::Sexed { males: 1, females: 0 }),
        ],
    };
    let mut serval = stay(3, HOME, 9, Began::Arrival, None);
    serval.species = "serval";
    let flaws = home(
        &[
            stay(1, HOME, 5, Began::Arrival, Some((4, Ended::Death))),
            stay(2, HOME, 1, Began::Arrival, Some((9, Ended::Departure))),
            stay(2, HOME, 8, Began::Arrival, None),
            stay(3, HOME, 1, Began::Arrival, Some((9, Ended::Departure))),
            serval,
        ],
        &[litter],
    )
    .unwrap_err();
    let left = Counts { males: 1, females: 0, unknown: -1 };
    assert_eq!(
        flaws,
        [
            Flaw::EndsBeforeItBegins { animal: 1, from: day(5), end: day(4) },
            Flaw::HeldTwice { animal: 2, day: day(8) },
            Flaw::TwoSpecies { animal: 3 },
            Flaw::LitterBelowZero { litter: 7, day: day(4), left },
        ]
    );
    assert_eq!(
        take(
            &sites(&[HOME]),
            &[stay(1, HOME, 0, Began::Birth, None)],
            &Vec::<Litter<u16, _, _>>::new(),
            ask(2, 1)
        ),
        Err(vec![Flaw::EmptyInterval { first: day(2), last: day(1) }])
    );
}

#[test]
fn sites_may_disagree_by_two_days_about_a_transfer_and_by_no_more() {
    let moved = |received| {
        let stays = [
            stay(1, HOME, 0, Began::Arrival, Some((10, Ended::TransferOut { to: SISTER }))),
            stay(1, SISTER, received, Began::TransferIn { from: HOME }, None),
        ];
        take(&sites(&[HOME, SISTER]), &stays, &Vec::<Litter<u16, _, _>>::new(), ask(1, 30))
    };
    for received in [9, 8] {
        let told = moved(received).unwrap();
        let line = told.lines["coypu"];
        assert!(told.balances());
        assert_eq!((line.opening.total(), line.closing.total(), line.departed.total()), (1, 1, 0));
    }
    assert_eq!(moved(7), Err(vec![Flaw::HeldTwice { animal: 1, day: day(7) }]));
}

#[test]
fn an_animal_that_goes_west_over_the_date_line_on_its_first_day_is_counted_once() {
    let gone = |how| {
        let stays = [
            stay(1, HOME, 10, Began::Arrival, Some((10, Ended::TransferOut { to: SISTER }))),
            stay(1, SISTER, 9, Began::TransferIn { from: HOME }, how),
        ];
        move |first, last| {
            let none = Vec::<Litter<u16, _, _>>::new();
            let told = take(&sites(&[HOME, SISTER]), &stays, &none, ask(first, last)).unwrap();
            assert!(told.balances(), "{told:?}");
            let line = told.lines.get("coypu").copied().unwrap_or_default();
            [line.opening, line.arrived, line.died, line.closing].map(|counts| counts.total())
        }
    };
    let stayed = gone(None);
    assert_eq!((stayed(1, 9), stayed(10, 10), stayed(11, 20)), ([0; 4], [0, 1, 0, 1], [1, 0, 0, 1]));
    // Its death of the day before, as the receiver writes it, is one of the day on which it came.
    let died = gone(Some((9, Ended::Death)));
    assert_eq!((died(1, 9), died(10, 10), died(11, 20)), ([0; 4], [0, 1, 1, 0], [0; 4]));
}

#[test]
fn a_transfer_that_came_back_never_left_the_group() {
    let stays = [
        stay(1, HOME, 0, Began::Arrival, Some((10, Ended::TransferOut { to: SISTER }))),
        stay(
            1,
            HOME,
            12,
            Began::TransferIn { from: SISTER },
            Some((20, Ended::TransferOut { to: STRANGER })),
        ),
        stay(1, HOME, 25, Began::TransferIn { from: STRANGER }, None),
    ];
    let told = take(&sites(&[HOME, SISTER]), &stays, &Vec::<Litter<u16, _, _>>::new(), ask(1, 30)).unwrap();
    let line = told.lines["coypu"];
    assert!(told.balances() && told.on_their_way.is_empty());
    assert_eq!((line.departed.total(), line.arrived.total()), (1, 1), "only the trip to the stranger counts");
}
