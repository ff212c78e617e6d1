//! A count in plain Rust over the list of acknowledged writes: double entry, with no notion of a stay.

use super::writers::{Came, Done, SPECIES, Scene, Went, What};
use super::{Counted, nothing_dropped};
use chrono::NaiveDate;
use holt_proto::v1;
use std::collections::HashMap;

/// Days after birth within which a death is counted apart.
const YOUNG_DAYS: i64 = 30;

pub(super) struct Journal {
    done: Vec<Done>,
    species: HashMap<String, usize>,
    born: HashMap<String, Option<NaiveDate>>,
    /// Determinations of each animal's sex: day, version of the animal, sex.
    sexes: HashMap<String, Vec<(NaiveDate, i64, v1::Sex)>>,
    /// Of each litter: species, site, day of birth.
    litters: HashMap<String, (usize, usize, NaiveDate)>,
}

impl Journal {
    pub(super) fn of(scene: &Scene) -> Self {
        let done = scene.done();
        let mut this = Self {
            done: Vec::new(),
            species: HashMap::new(),
            born: HashMap::new(),
            sexes: HashMap::new(),
            litters: HashMap::new(),
        };
        for one in &done {
            match one {
                Done::Came { animal, species, on, sex, born, .. } => {
                    this.species.insert(animal.clone(), *species);
                    this.born.insert(animal.clone(), *born);
                    this.sexes.entry(animal.clone()).or_default().push((*on, 1, *sex));
                }
                Done::Sexed { animal, on, sex, version } => {
                    this.sexes.entry(animal.clone()).or_default().push((*on, *version, *sex));
                }
                Done::Litter { litter, species, site, born_on } => {
                    this.litters.insert(litter.clone(), (*species, *site, *born_on));
                }
                Done::Moved { .. } | Done::Went { .. } | Done::Counted { .. } => {}
            }
        }
        this.done = done;
        this
    }

    /// Writes that were acknowledged; a litter and its young are one.
    pub(super) fn len(&self) -> usize {
        let second =
            |done: &&Done| matches!(done, Done::Litter { .. } | Done::Came { how: Came::ToldApart, .. });
        self.done.len() - self.done.iter().filter(second).count()
    }

    /// One animal under the sex it was held to be of at the close of a day.
    fn one(&self, animal: &str, on: NaiveDate) -> [i64; 3] {
        let known = self.sexes[animal].iter().filter(|(day, ..)| *day <= on);
        let sex =
            known.max_by_key(|(day, version, _)| (*day, *version)).map_or(v1::Sex::Unknown, |one| one.2);
        match sex {
            v1::Sex::Male => [1, 0, 0],
            v1::Sex::Female => [0, 1, 0],
            _ => [0, 0, 1],
        }
    }

    /// The day on which some sites lost an animal, seen together: never before it came to them, though the one
    /// that lost it may lie west of the one where it came, and write an earlier day.
    fn lost_on(&self, animal: &str, sites: &[usize], on: NaiveDate) -> NaiveDate {
        let came = self.done.iter().filter_map(|done| match done {
            Done::Came { animal: who, site, on, .. } if who == animal && sites.contains(site) => Some(*on),
            Done::Moved { animal: who, from, to, came_on, .. }
                if who == animal && sites.contains(to) && !sites.contains(from) =>
            {
                Some(*came_on)
            }
            _ => None,
        });
        came.fold(on, NaiveDate::max)
    }

    /// What the writes say of some sites and days, but for moves between the sexes.
    pub(super) fn count(&self, sites: &[usize], first: NaiveDate, last: NaiveDate) -> Counted {
        let eve = first.pred_opt().unwrap();
        let mut counted = Counted::new();
        let mut add = |species: usize, column: &'static str, counts: [i64; 3], sign: i64| {
            let of = counted.entry((SPECIES[species].to_owned(), column)).or_default();
            (0..3).for_each(|sex| of[sex] += sign * counts[sex]);
        };
        // What came or went by a day is in the stock of that day, or out of it.
        let mut stock = |animal: &str, on: NaiveDate, sign: i64| {
            for (column, day) in [("opening", eve), ("closing", last)] {
                if on <= day {
                    add(self.species[animal], column, self.one(animal, day), sign);
                }
            }
        };
        for done in &self.done {
            match done {
                Done::Came { animal, site, on, .. } if sites.contains(site) => stock(animal, *on, 1),
                Done::Went { animal, site, on, .. } if sites.contains(site) => {
                    stock(animal, self.lost_on(animal, sites, *on), -1);
                }
                Done::Moved { animal, from, left_on, to, came_on } => {
                    match (sites.contains(from), sites.contains(to)) {
                        (true, false) => stock(animal, *left_on, -1),
                        (false, true) => stock(animal, *came_on, 1),
                        _ => {}
                    }
                }
                _ => {}
            }
        }
        let asked = |on: &NaiveDate| first <= *on && *on <= last;
        let young = |born: Option<NaiveDate>, died: NaiveDate| {
            born.is_some_and(|born| (died - born).num_days() <= YOUNG_DAYS)
        };
        for done in &self.done {
            match done {
                Done::Came { animal, site, on, how, .. } if sites.contains(site) && asked(on) => match how {
                    Came::Birth => add(self.species[animal], "born", self.one(animal, *on), 1),
                    Came::Arrival => add(self.species[animal], "arrived", self.one(animal, *on), 1),
                    // It was born with its litter.
                    Came::ToldApart => {}
                },
                Done::Went { animal, site, on, how } if sites.contains(site) => {
                    let on = self.lost_on(animal, sites, *on);
                    let column = match how {
                        Went::Death if young(self.born[animal], on) => "died_young",
                        Went::Death => "died",
                        Went::Departure => "departed",
                        Went::Escape => "escaped",
                    };
                    if asked(&on) {
                        add(self.species[animal], column, self.one(animal, on), 1);
                    }
                }
                Done::Moved { animal, from, left_on, to, came_on } => {
                    let (ours, theirs) = (sites.contains(from), sites.contains(to));
                    if ours && !theirs && asked(left_on) {
                        add(self.species[animal], "departed", self.one(animal, *left_on), 1);
                    }
                    if theirs && !ours && asked(came_on) {
                        add(self.species[animal], "arrived", self.one(animal, *came_on), 1);
                    }
                }
                Done::Counted { litter, on, what, young: counts } => {
                    let (species, site, born_on) = self.litters[litter];
                    if !sites.contains(&site) {
                        continue;
                    }
                    let effect = match what {
                        What::Born => *counts,
                        What::Sexed => [counts[0], counts[1], -counts[0] - counts[1]],
                        What::Died | What::ToldApart => counts.map(|n| -n),
                    };
                    for (column, day) in [("opening", eve), ("closing", last)] {
                        if *on <= day {
                            add(species, column, effect, 1);
                        }
                    }
                    if asked(on) {
                        match what {
                            What::Born => add(species, "born", *counts, 1),
                            What::Died if young(Some(born_on), *on) => add(species, "died_young", *counts, 1),
                            What::Died => add(species, "died", *counts, 1),
                            What::Sexed | What::ToldApart => {}
                        }
                    }
                }
                _ => {}
            }
        }
        nothing_dropped(counted)
    }
}
