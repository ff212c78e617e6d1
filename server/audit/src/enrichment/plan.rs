//! A rota: for each day and group something that is fresh, liked, and of a kind that has been rare.
//!
//! Items are chosen one by one, day by day, by the product of three numbers from 0 to 1, all of them
//! Holt's own:
//! - *freshness*: each earlier offering takes half of what interest there is, and the loss fades by a
//!   factor of e in fourteen days;
//! - *liking*: offerings that were used, of those that were looked at, starting from one in two;
//! - *rarity of its kind*: one less its share of what the group was offered in the last four weeks.
//!
//! Groups are served in an order that is drawn anew each day, so that the same one is not always last.
//! While staff time lasts for all, enough is kept back for those who come after.

use super::item::{Group, Item, Kind, Offer};
use crate::chance::Chance;
use crate::diversity::{Diversity, diversity};
use crate::terms::Day;
use chrono::Days;
use serde::Serialize;

/// Share of the interest that one offering takes.
const WEAR: f64 = 0.5;

/// Days in which the loss fades to 1/e.
const RECOVERY_DAYS: f64 = 14.0;

/// Days over which the kinds offered are counted.
const MEMORY_DAYS: i64 = 28;

/// What a rota is asked for.
#[derive(Clone, Debug)]
pub struct Task<'a, G, I, S> {
    /// What there is to offer.
    pub items: &'a [Item<I, S>],
    /// To whom.
    pub groups: &'a [Group<G, S>],
    /// What was offered before.
    pub history: &'a [Offer<G, I>],
    /// First day of the rota.
    pub first: Day,
    /// Minutes of staff on each day, which also says for how many days it is.
    pub minutes: &'a [u32],
    /// Decides between equals. The same seed gives the same rota.
    pub seed: u64,
}

/// A rota.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Rota<G, I> {
    /// What to offer, by day and then by group as the groups were given.
    pub slots: Vec<Slot<G, I>>,
    /// What could not be filled.
    pub unfilled: Vec<Unfilled<G>>,
    /// Variety of kinds that each group is offered in the days of the rota; `None` if nothing.
    pub variety: Vec<(G, Option<Diversity>)>,
}

/// One thing to offer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Slot<G, I> {
    /// When.
    pub day: Day,
    /// To whom.
    pub group: G,
    /// What.
    pub item: I,
}

/// An offering that could not be planned.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Unfilled<G> {
    /// When.
    pub day: Day,
    /// For whom.
    pub group: G,
    /// Why.
    pub why: Why,
}

/// What stood in the way last, of those that could have been offered until then.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// No item may be offered to this group.
    NothingSuits,
    /// All that may were offered too lately.
    AllResting,
    /// All that are rested would give more energy than is left for the day.
    RationSpent,
    /// All that are left take more staff time than there is.
    NoStaffTime,
}

/// Plans a rota.
#[must_use]
pub fn plan<G: Clone + Ord, I: Clone + Ord, S: Ord>(task: &Task<'_, G, I, S>) -> Rota<G, I> {
    let mut chance = Chance::seeded(task.seed);
    let mut planner = Planner { task, given: past(task), kcal: vec![0; task.groups.len()] };
    let (mut filled, mut unfilled) = (Vec::new(), Vec::new());
    for (ahead, &minutes) in (0..).zip(task.minutes) {
        let day = task.first + Days::new(ahead);
        planner.kcal.fill(0);
        let mut turns: Vec<usize> = (0..task.groups.len())
            .flat_map(|group| std::iter::repeat_n(group, task.groups[group].offers_a_day as usize))
            .collect();
        chance.shuffle(&mut turns);
        let mut left = minutes;
        for (at, &group) in turns.iter().enumerate() {
            let kept_back: u32 = turns[at + 1..].iter().filter_map(|&later| planner.cheapest(later)).sum();
            match planner.choose(group, day, left, kept_back, &mut chance) {
                Ok(item) => {
                    left -= task.items[item].minutes;
                    planner.kcal[group] += task.items[item].kcal;
                    planner.given[group].push(Given { item, day, used: None });
                    filled.push((day, group, item));
                }
                Err(why) => unfilled.push((day, group, why)),
            }
        }
    }
    filled.sort();
    unfilled.sort_by_key(|&(day, group, _)| (day, group));
    let name = |group: usize| task.groups[group].group.clone();
    let variety = (0..task.groups.len()).map(|group| {
        let kinds = Kind::ALL.map(|kind| {
            let of_kind =
                |&&(_, to, item): &&(Day, usize, usize)| to == group && task.items[item].kind == kind;
            u32::try_from(filled.iter().filter(of_kind).count()).unwrap_or(u32::MAX)
        });
        (name(group), diversity(&kinds))
    });
    Rota {
        variety: variety.collect(),
        slots: filled
            .iter()
            .map(|&(day, group, item)| Slot { day, group: name(group), item: task.items[item].item.clone() })
            .collect(),
        unfilled: unfilled
            .into_iter()
            .map(|(day, group, why)| Unfilled { day, group: name(group), why })
            .collect(),
    }
}

/// One offering, by the place of the item.
#[derive(Clone, Copy)]
struct Given {
    item: usize,
    day: Day,
    used: Option<bool>,
}

/// Offerings before the rota, group by group. What is no longer on the list of items is left aside.
fn past<G: Ord, I: Ord, S>(task: &Task<'_, G, I, S>) -> Vec<Vec<Given>> {
    let of_group = |group: &Group<G, S>| {
        let offers = task.history.iter().filter(|offer| offer.group == group.group && offer.day < task.first);
        offers
            .filter_map(|offer| {
                let item = task.items.iter().position(|item| item.item == offer.item)?;
                Some(Given { item, day: offer.day, used: offer.used })
            })
            .collect()
    };
    task.groups.iter().map(of_group).collect()
}

struct Planner<'a, G, I, S> {
    task: &'a Task<'a, G, I, S>,
    given: Vec<Vec<Given>>,
    /// Energy that each group was given today, in kcal.
    kcal: Vec<u32>,
}

impl<G, I, S: Ord> Planner<'_, G, I, S> {
    /// Minutes of the quickest item that suits a group.
    fn cheapest(&self, group: usize) -> Option<u32> {
        let suiting = self.task.items.iter().filter(|item| item.suits(&self.task.groups[group]));
        suiting.map(|item| item.minutes).min()
    }

    fn choose(
        &self,
        group: usize,
        day: Day,
        left: u32,
        kept_back: u32,
        chance: &mut Chance,
    ) -> Result<usize, Why> {
        let items = self.task.items;
        let (whom, given) = (&self.task.groups[group], &self.given[group]);
        let mut candidates: Vec<usize> = (0..items.len()).filter(|&item| items[item].suits(whom)).collect();
        let mut keep = |why: Why, holds: &dyn Fn(usize) -> bool| {
            candidates.retain(|&item| holds(item));
            if candidates.is_empty() { Err(why) } else { Ok(()) }
        };
        keep(Why::NothingSuits, &|_| true)?;
        keep(Why::AllResting, &|item| {
            let rest = i64::from(items[item].rest_days);
            given.iter().all(|given| given.item != item || (day - given.day).num_days() > rest)
        })?;
        keep(Why::RationSpent, &|item| self.kcal[group] + items[item].kcal <= whom.kcal)?;
        keep(Why::NoStaffTime, &|item| items[item].minutes <= left)?;

        chance.shuffle(&mut candidates);
        let affordable = candidates.iter().copied().filter(|&item| items[item].minutes + kept_back <= left);
        let best =
            affordable.max_by(|&a, &b| self.worth(group, a, day).total_cmp(&self.worth(group, b, day)));
        // Where time does not last for all, the quickest leaves most for the others.
        best.or_else(|| candidates.into_iter().min_by_key(|&item| items[item].minutes))
            .ok_or(Why::NoStaffTime)
    }

    fn worth(&self, group: usize, item: usize, day: Day) -> f64 {
        let given = &self.given[group];
        let days_since = |given: &Given| (day - given.day).num_days();
        let own = given.iter().filter(|given| given.item == item);
        let freshness: f64 = own
            .clone()
            .map(|given| {
                let days = i32::try_from(days_since(given)).unwrap_or(i32::MAX);
                1.0 - WEAR * (-f64::from(days) / RECOVERY_DAYS).exp()
            })
            .product();
        let looked_at: Vec<bool> = own.filter_map(|given| given.used).collect();
        let used = looked_at.iter().filter(|used| **used).count();
        let share = |part: usize, whole: usize| crate::stats::count(part) / crate::stats::count(whole);
        let liking = share(used + 1, looked_at.len() + 2);
        let recent: Vec<&Given> = given.iter().filter(|given| days_since(given) <= MEMORY_DAYS).collect();
        let kind = self.task.items[item].kind;
        let of_kind = recent.iter().filter(|given| self.task.items[given.item].kind == kind).count();
        // One offering of another kind is thought of, so that no kind is ever worth nothing.
        let rarity = 1.0 - share(of_kind, recent.len() + 1);
        freshness * liking * rarity
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    type Thing = Item<&'static str, &'static str>;

    fn item(item: &'static str, kind: Kind, minutes: u32, rest_days: u32) -> Thing {
        Item {
            item,
            kind,
            minutes,
            hazards: BTreeSet::new(),
            not_for: BTreeSet::new(),
            kcal: if kind == Kind::Food { 100 } else { 0 },
            rest_days,
        }
    }

    fn things() -> Vec<Thing> {
        let mut things = vec![
            item("scatter", Kind::Food, 10, 0),
            item("puzzle feeder", Kind::Food, 20, 1),
            item("frozen fruit", Kind::Food, 5, 2),
            item("herbs", Kind::Sensory, 5, 1),
            item("bird calls", Kind::Sensory, 5, 3),
            item("new branches", Kind::Structural, 30, 6),
            item("leaf pile", Kind::Structural, 15, 2),
            item("mirror box", Kind::Cognitive, 10, 2),
            item("rope tangle", Kind::Cognitive, 10, 2),
            item("neighbour window", Kind::Social, 5, 3),
        ];
        things[8].hazards.insert("loose-cord".into());
        things[7].not_for.insert("serval");
        things
    }

    fn group(group: u8, species: &'static str, refuses: &[&str]) -> Group<u8, &'static str> {
        Group {
            group,
            species: BTreeSet::from([species]),
            refuses: refuses.iter().map(|hazard| (*hazard).to_owned()).collect(),
            kcal: 150,
            offers_a_day: 2,
        }
    }

    fn groups() -> Vec<Group<u8, &'static str>> {
        vec![group(1, "coypu", &["loose-cord"]), group(2, "serval", &[]), group(3, "coypu", &[])]
    }

    fn first() -> Day {
        "2026-03-02".parse().unwrap()
    }

    fn rota(history: &[Offer<u8, &'static str>], minutes: &[u32], seed: u64) -> Rota<u8, &'static str> {
        plan(&Task { items: &things(), groups: &groups(), history, first: first(), minutes, seed })
    }

    #[test]
    fn the_same_seed_gives_the_same_rota() {
        assert_eq!(rota(&[], &[120; 7], 4), rota(&[], &[120; 7], 4));
        assert_ne!(rota(&[], &[120; 7], 4), rota(&[], &[120; 7], 5));
    }

    #[test]
    fn a_week_with_time_enough_is_full_and_varied() {
        for seed in 0..20 {
            let rota = rota(&[], &[120; 7], seed);
            assert_eq!((rota.slots.len(), rota.unfilled.len()), (42, 0));
            for (group, variety) in &rota.variety {
                let variety = variety.unwrap();
                assert!(variety.effective > 3.5, "seed {seed}, group {group}: {variety:?}");
            }
        }
    }

    /// What it is for: more variety than drawing at random among what may be offered.
    #[test]
    fn planned_weeks_are_more_varied_than_drawn_ones() {
        let things = things();
        let mut chance = Chance::seeded(11);
        let (mut planned, mut drawn) = (0.0, 0.0);
        for seed in 0..200 {
            let rota = rota(&[], &[120; 7], seed);
            planned += rota.variety[2].1.unwrap().effective / 200.0;
            let mut kinds = [0_u32; 5];
            for _ in 0..14 {
                kinds[things[chance.below(things.len())].kind as usize] += 1;
            }
            drawn += diversity(&kinds).unwrap().effective / 200.0;
        }
        assert!(planned > drawn + 0.3, "{planned} {drawn}");
    }

    #[test]
    fn what_is_used_is_offered_more_often_than_what_is_not() {
        let offers: Vec<Offer<u8, &str>> = (0..8)
            .flat_map(|n| {
                let day = first() - Days::new(60 + 5 * n);
                [("herbs", true), ("bird calls", false)].map(|(item, used)| Offer {
                    group: 1,
                    item,
                    day,
                    used: Some(used),
                })
            })
            .collect();
        let rota = rota(&offers, &[120; 28], 3);
        let count = |item| rota.slots.iter().filter(|slot| slot.group == 1 && slot.item == item).count();
        assert!(count("herbs") > count("bird calls"), "{} {}", count("herbs"), count("bird calls"));
    }

    #[test]
    fn what_stands_in_the_way_is_told() {
        let mut nothing = group(1, "serval", &[]);
        nothing.offers_a_day = 1;
        let why = |items: &[Thing], minutes: &[u32]| {
            let task = Task {
                items,
                groups: std::slice::from_ref(&nothing),
                history: &[],
                first: first(),
                minutes,
                seed: 0,
            };
            plan(&task).unfilled.into_iter().map(|unfilled| unfilled.why).collect::<Vec<_>>()
        };
        assert_eq!(why(&things()[7..8], &[60]), [Why::NothingSuits]);
        assert_eq!(why(&things()[5..6], &[60, 60]), [Why::AllResting]);
        assert_eq!(why(&things()[0..1], &[9]), [Why::NoStaffTime]);
        // Two foods of 100 each are more than the 150 that enrichment may give.
        nothing.offers_a_day = 2;
        let items = &things()[0..2];
        let task = Task { items, groups: &[nothing], history: &[], first: first(), minutes: &[60], seed: 0 };
        assert_eq!(plan(&task).unfilled[0].why, Why::RationSpent);
    }

    #[test]
    fn scarce_time_is_kept_for_all_groups() {
        // Five minutes for each of six offerings: only the quick things, and no group goes without.
        for seed in 0..20 {
            let rota = rota(&[], &[30], seed);
            assert!(rota.unfilled.len() <= 2, "seed {seed}: {:?}", rota.unfilled);
            for group in 1..=3 {
                assert!(rota.slots.iter().any(|slot| slot.group == group), "seed {seed}");
            }
        }
    }

    proptest! {
        #[test]
        fn no_rota_breaks_a_rule(
            seed in any::<u64>(),
            minutes in prop::collection::vec(0_u32..150, 1..15),
            past in prop::collection::vec((1_u8..4, 0_usize..10, 1_u64..20, any::<Option<bool>>()), 0..30),
        ) {
            let (things, groups) = (things(), groups());
            let history: Vec<Offer<u8, &str>> = past
                .iter()
                .map(|&(group, item, ago, used)| Offer { group, item: things[item].item, day: first() - Days::new(ago), used })
                .collect();
            let rota = rota(&history, &minutes, seed);
            prop_assert_eq!(rota.slots.len() + rota.unfilled.len(), 6 * minutes.len());
            let thing = |name: &str| things.iter().find(|thing| thing.item == name).unwrap();
            for (ahead, minutes) in (0..).zip(&minutes) {
                let day = first() + Days::new(ahead);
                let today: Vec<_> = rota.slots.iter().filter(|slot| slot.day == day).collect();
                prop_assert!(today.iter().map(|slot| thing(slot.item).minutes).sum::<u32>() <= *minutes);
                for group in &groups {
                    let theirs = today.iter().filter(|slot| slot.group == group.group);
                    prop_assert!(theirs.map(|slot| thing(slot.item).kcal).sum::<u32>() <= group.kcal);
                }
            }
            for slot in &rota.slots {
                let group = groups.iter().find(|group| group.group == slot.group).unwrap();
                prop_assert!(thing(slot.item).suits(group));
                let rest = i64::from(thing(slot.item).rest_days);
                let before = rota.slots.iter().filter(|other| other.group == slot.group && other.item == slot.item && other.day < slot.day);
                let earlier = history.iter().filter(|offer| offer.group == slot.group && offer.item == slot.item);
                for day in before.map(|other| other.day).chain(earlier.map(|offer| offer.day)) {
                    prop_assert!((slot.day - day).num_days() > rest);
                }
            }
        }
    }
}
