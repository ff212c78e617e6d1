//! Partners for animals that must leave: across sites, each with what speaks for and against it, and all that were
//! left out counted by the reason.
//!
//! Where ancestry is unknown, kinship on record is a lower bound, and an animal of unknown origin would always come
//! out on top. So the order goes by kinship *as it may be*: the unknown share of the pair's ancestry is taken to be as
//! related as two animals of the population are on average. That is Holt's own rule; both figures are told.
//!
//! The order is that of a weighted mean of what speaks against each, from 0 to 1 a criterion; kinship first and rare
//! genes next are common practice (no source), the weights are Holt's own and can be set.

use crate::kinship::population::Population;
use crate::kinship::relationship::{Figure, Relationships};
use crate::stats::count;
use crate::terms::Sex;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Kinship of full siblings of unrelated parents, from which on kinship speaks against a pair in full.
const SIBLINGS: f64 = 0.25;

/// The way halfway around the Earth, kilometres, which speaks against a pair in full.
const FARTHEST: f64 = 20_015.0;

/// Mean radius of the Earth, kilometres (IUGG 1980).
const EARTH: f64 = 6_371.008_8;

/// An animal that may be asked for as a partner.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate<A, P> {
    /// Which.
    pub animal: A,
    /// Where it lives.
    pub site: P,
    /// Its sex.
    pub sex: Sex,
    /// Whether it is of an age to breed; `None` where its birth is unknown.
    pub of_age: Option<bool>,
    /// Why it is not to breed now, if so.
    pub taken: Option<Taken>,
}

/// Why an animal is not free.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Taken {
    /// It breeds in its group.
    Breeds,
    /// It is about to move, or on the road.
    Moves,
    /// A concern about it is open that asks for action.
    Concern,
}

/// What partners are sought for: one animal, or several of one sex that stay together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seekers<A, P> {
    /// Which.
    pub animals: Vec<A>,
    /// The site that they must leave.
    pub leave: P,
    /// Their sex.
    pub sex: Sex,
}

/// The way between the seekers' site and another.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Way {
    /// Along a great circle, kilometres; `None` where a place is unknown.
    pub kilometres: Option<f64>,
    /// Whether it leads into another country.
    pub abroad: bool,
}

/// How much each criterion counts, 0 and more.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Weights {
    /// Kinship as it may be.
    pub kinship: f64,
    /// How common the partner's genes are among the living.
    pub rarity: f64,
    /// Kilometres.
    pub distance: f64,
    /// A border between.
    pub border: f64,
}

impl Default for Weights {
    fn default() -> Self {
        Self { kinship: 8.0, rarity: 2.0, distance: 1.0, border: 1.0 }
    }
}

/// What is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wish {
    /// Highest inbreeding of their offspring, by recorded ancestry.
    pub limit: f64,
    /// Also those that are not free.
    pub also_taken: bool,
    /// How much each criterion counts.
    pub weights: Weights,
}

/// A partner with what speaks for and against.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Partner<A, P> {
    /// Which.
    pub animal: A,
    /// Where it lives.
    pub site: P,
    /// Kinship on record with the seeker that is its closest kin: the lowest inbreeding of their offspring.
    pub kinship: Figure,
    /// Kinship as it may be, by which partners are ordered.
    pub may_be: f64,
    /// Its mean kinship with the living.
    pub mean_kinship: f64,
    /// By how much one offspring of the two would change the gene diversity of the living, -1 to 1.
    pub diversity_change: f64,
    /// Kinship 0 and all ancestry of both known to the founders.
    pub unrelated_on_record: bool,
    /// Whether the sex of either is unknown and has to be found out first.
    pub sex_unknown: bool,
    /// Whether it is not known to be of breeding age.
    pub age_unknown: bool,
    /// Why it is not free, where that was no reason to leave it out.
    pub taken: Option<Taken>,
    /// What speaks against it by each criterion, and all in all: 0 to 1.
    pub against: Against,
}

/// What speaks against a partner, 0 to 1 each.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Against {
    /// Kinship as it may be; full siblings are 1.
    pub kinship: f64,
    /// Mean kinship with the living, on the same measure.
    pub rarity: f64,
    /// Halfway around the Earth is 1; `None` where the way is unknown, and then it does not count.
    pub distance: Option<f64>,
    /// Another country is 1.
    pub border: f64,
    /// The weighted mean of them.
    pub all: f64,
}

/// Why a candidate is no partner.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// It is of the same sex.
    SameSex,
    /// It lives at the site that must be left.
    SameSite,
    /// It is not of an age to breed.
    NotOfAge,
    /// It is not free.
    Taken(Taken),
    /// Their offspring would be more inbred than is wanted.
    TooCloseKin,
}

/// Partners, the best first, and how many were left out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ranking<A, P: Ord> {
    /// Partners, the best first.
    pub partners: Vec<Partner<A, P>>,
    /// How many of a site were left out, by the reason.
    pub left_out: BTreeMap<(P, Why), u32>,
}

/// Ranks the candidates for the seekers. `living` is the population that kinship is compared with, and all of them are
/// of it. Who is not in the pedigree is passed over.
#[must_use]
pub fn rank<A: Clone + Ord, P: Clone + Ord>(
    seekers: &Seekers<A, P>,
    candidates: &[Candidate<A, P>],
    ways: &BTreeMap<P, Way>,
    relationships: &Relationships<A>,
    living: &Population<A>,
    wish: &Wish,
) -> Ranking<A, P> {
    let rows: Vec<(f64, BTreeMap<A, Figure>)> = seekers
        .animals
        .iter()
        .filter_map(|one| Some((living.mean_kinship.get(one)?.value, relationships.kinships(one)?)))
        .collect();
    let (mut partners, mut left_out) = (Vec::new(), BTreeMap::new());
    for candidate in candidates.iter().filter(|candidate| !seekers.animals.contains(&candidate.animal)) {
        let mut leave_out = |why: Why| *left_out.entry((candidate.site.clone(), why)).or_insert(0) += 1;
        if let Some(why) = against(seekers, candidate, wish) {
            leave_out(why);
            continue;
        }
        let Some(mean_kinship) = living.mean_kinship.get(&candidate.animal).map(|figure| figure.value) else {
            continue;
        };
        let may_be = |figure: &Figure| figure.value + (1.0 - figure.known) * living.mean;
        let closest = rows
            .iter()
            .filter_map(|(theirs, row)| Some((*theirs, *row.get(&candidate.animal)?)))
            .max_by(|(_, a), (_, b)| may_be(a).total_cmp(&may_be(b)));
        let Some((theirs, kinship)) = closest else { continue };
        let may_be = may_be(&kinship);
        if kinship.value > wish.limit {
            leave_out(Why::TooCloseKin);
            continue;
        }
        let way = ways.get(&candidate.site).copied().unwrap_or_default();
        partners.push(Partner {
            animal: candidate.animal.clone(),
            site: candidate.site.clone(),
            kinship,
            may_be,
            mean_kinship,
            diversity_change: diversity_change(living, theirs, mean_kinship, kinship.value),
            unrelated_on_record: kinship.value <= 0.0 && !kinship.is_lower_bound(),
            sex_unknown: [seekers.sex, candidate.sex].contains(&Sex::Unknown),
            age_unknown: candidate.of_age.is_none(),
            taken: candidate.taken,
            against: Against::of(may_be, mean_kinship, way, &wish.weights),
        });
    }
    partners.sort_by(|a, b| {
        a.against
            .all
            .total_cmp(&b.against.all)
            .then(a.sex_unknown.cmp(&b.sex_unknown))
            .then(a.age_unknown.cmp(&b.age_unknown))
            .then_with(|| a.animal.cmp(&b.animal))
    });
    Ranking { partners, left_out }
}

fn against<A, P: Ord>(seekers: &Seekers<A, P>, candidate: &Candidate<A, P>, wish: &Wish) -> Option<Why> {
    if candidate.site == seekers.leave {
        Some(Why::SameSite)
    } else if candidate.sex == seekers.sex && seekers.sex != Sex::Unknown {
        Some(Why::SameSex)
    } else if candidate.of_age == Some(false) {
        Some(Why::NotOfAge)
    } else {
        candidate.taken.filter(|_| !wish.also_taken).map(Why::Taken)
    }
}

impl Against {
    fn of(may_be: f64, mean_kinship: f64, way: Way, weights: &Weights) -> Self {
        let (kinship, rarity) = ((may_be / SIBLINGS).min(1.0), (mean_kinship / SIBLINGS).min(1.0));
        let distance = way.kilometres.map(|kilometres| (kilometres / FARTHEST).min(1.0));
        let border = f64::from(u8::from(way.abroad));
        let mut counted =
            vec![(kinship, weights.kinship), (rarity, weights.rarity), (border, weights.border)];
        counted.extend(distance.map(|distance| (distance, weights.distance)));
        let sum: f64 = counted.iter().map(|(_, weight)| weight).sum();
        let all = counted.iter().map(|(against, weight)| against * weight).sum::<f64>();
        Self { kinship, rarity, distance, border, all: if sum > 0.0 { all / sum } else { 0.0 } }
    }
}

/// By how much one more animal, offspring of two that have these mean kinships and this kinship, changes gene diversity: 1
/// less the mean of all kinships, of which it adds its own with each of the living and twice with itself.
fn diversity_change<A>(living: &Population<A>, one: f64, other: f64, kinship: f64) -> f64 {
    let size = count(living.mean_kinship.len());
    let with_all = size * f64::midpoint(one, other);
    let with_itself = f64::midpoint(1.0, kinship);
    let mean = (size * size * living.mean + 2.0 * with_all + with_itself) / ((size + 1.0) * (size + 1.0));
    living.mean - mean
}

/// The way between two places along a great circle, kilometres, by the haversine formula; latitude and longitude in
/// degrees.
#[must_use]
pub fn kilometres(from: (f64, f64), to: (f64, f64)) -> f64 {
    let half = |a: f64, b: f64| ((b - a).to_radians() / 2.0).sin().powi(2);
    let h = half(from.0, to.0) + from.0.to_radians().cos() * to.0.to_radians().cos() * half(from.1, to.1);
    2.0 * EARTH * h.clamp(0.0, 1.0).sqrt().asin()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kinship::population::population;
    use crate::kinship::{Assumption, Entry, Origin, Parent, Pedigree};

    const LIVING: [&str; 8] = ["Fern", "Gorse", "Hazel", "Ivy", "Juniper", "Kale", "Lilac", "Moss"];

    /// Ash and Birch have Fern and Gorse; Ash and Cedar have Hazel; Dock and Elm have Ivy, Kale, Lilac and
    /// Moss; nobody knows whose Juniper is.
    fn entries() -> Vec<Entry<&'static str>> {
        let mut entries: Vec<Entry<&str>> = ["Ash", "Birch", "Cedar", "Dock", "Elm"]
            .map(|animal| Entry { animal, origin: Origin::Founder })
            .to_vec();
        let parents = [
            ("Fern", "Ash", "Birch"),
            ("Gorse", "Ash", "Birch"),
            ("Hazel", "Ash", "Cedar"),
            ("Ivy", "Dock", "Elm"),
            ("Kale", "Dock", "Elm"),
            ("Lilac", "Dock", "Elm"),
            ("Moss", "Dock", "Elm"),
        ];
        entries.extend(parents.map(|(animal, sire, dam)| Entry {
            animal,
            origin: Origin::Parents { sire: Parent::Known(sire), dam: Parent::Known(dam) },
        }));
        let nobody_knows = Origin::Parents { sire: Parent::Unknown, dam: Parent::Unknown };
        entries.push(Entry { animal: "Juniper", origin: nobody_knows });
        entries
    }

    fn relationships() -> Relationships<&'static str> {
        Relationships::of(Pedigree::build(&entries(), &[]).unwrap(), Assumption::Unrelated)
    }

    fn candidate(animal: &'static str) -> Candidate<&'static str, &'static str> {
        Candidate { animal, site: "SIS", sex: Sex::Male, of_age: Some(true), taken: None }
    }

    const WISH: Wish = Wish {
        limit: 1.0,
        also_taken: false,
        weights: Weights { kinship: 8.0, rarity: 2.0, distance: 1.0, border: 1.0 },
    };

    fn ranked(
        candidates: &[Candidate<&'static str, &'static str>],
        ways: &[(&'static str, Way)],
        wish: &Wish,
    ) -> Ranking<&'static str, &'static str> {
        let relationships = relationships();
        let living = population(&relationships, &LIVING).unwrap();
        let seekers = Seekers { animals: vec!["Fern"], leave: "QUI", sex: Sex::Female };
        rank(&seekers, candidates, &ways.iter().copied().collect(), &relationships, &living, wish)
    }

    #[test]
    fn the_unrelated_come_before_those_of_unknown_origin_and_those_before_kin() {
        let told = ranked(&["Gorse", "Hazel", "Juniper", "Ivy"].map(candidate), &[], &WISH);
        let order: Vec<_> = told.partners.iter().map(|partner| partner.animal).collect();
        assert_eq!(order, ["Ivy", "Juniper", "Hazel", "Gorse"]);
        let [ivy, juniper, hazel, gorse] = &told.partners[..] else { panic!("{told:?}") };
        assert!(ivy.unrelated_on_record && ivy.may_be.abs() < 1e-12);
        assert!((hazel.kinship.value - 0.125).abs() < 1e-12 && (gorse.kinship.value - 0.25).abs() < 1e-12);
        assert!(!juniper.unrelated_on_record && juniper.kinship.value.abs() < 1e-12);
        let mean = population(&relationships(), &LIVING).unwrap().mean;
        assert!(juniper.kinship.is_lower_bound() && (juniper.may_be - mean).abs() < 1e-12);
    }

    #[test]
    fn everyone_else_is_counted_with_the_reason() {
        let gorse = || candidate("Gorse");
        let told = ranked(
            &[
                candidate("Fern"),
                Candidate { sex: Sex::Female, ..gorse() },
                Candidate { sex: Sex::Female, ..gorse() },
                Candidate { site: "QUI", ..gorse() },
                Candidate { of_age: Some(false), ..gorse() },
                Candidate { taken: Some(Taken::Moves), ..gorse() },
                candidate("Hazel"),
                candidate("Stranger"),
            ],
            &[],
            &Wish { limit: 0.124, ..WISH },
        );
        assert_eq!(told.partners, []);
        let left: Vec<_> = told.left_out.into_iter().collect();
        assert_eq!(
            left,
            [
                (("QUI", Why::SameSite), 1),
                (("SIS", Why::SameSex), 2),
                (("SIS", Why::NotOfAge), 1),
                (("SIS", Why::Taken(Taken::Moves)), 1),
                (("SIS", Why::TooCloseKin), 1),
            ]
        );
    }

    #[test]
    fn who_breeds_is_told_where_that_is_asked_for() {
        let breeds = || Candidate { taken: Some(Taken::Breeds), ..candidate("Ivy") };
        let wish = Wish { also_taken: true, ..WISH };
        assert_eq!(ranked(&[breeds()], &[], &wish).partners[0].taken, Some(Taken::Breeds));
        assert!(ranked(&[breeds()], &[], &WISH).partners.is_empty());
    }

    #[test]
    fn an_unsexed_candidate_and_one_of_unknown_age_are_kept_and_told() {
        let unsexed = Candidate { sex: Sex::Unknown, ..candidate("Ivy") };
        let undated = Candidate { of_age: None, ..candidate("Lilac") };
        let told = ranked(&[unsexed, candidate("Kale"), undated], &[], &WISH);
        let flags: Vec<_> = told.partners.iter().map(|p| (p.animal, p.sex_unknown, p.age_unknown)).collect();
        assert_eq!(flags, [("Kale", false, false), ("Lilac", false, true), ("Ivy", true, false)]);
    }

    #[test]
    fn the_closest_of_several_sisters_decides() {
        let relationships = relationships();
        let living = population(&relationships, &LIVING).unwrap();
        // Hazel is the half-sister of Fern and no kin of Ivy.
        let seekers = Seekers { animals: vec!["Ivy", "Fern"], leave: "QUI", sex: Sex::Female };
        let told = rank(&seekers, &[candidate("Hazel")], &BTreeMap::new(), &relationships, &living, &WISH);
        assert!((told.partners[0].kinship.value - 0.125).abs() < 1e-12);
    }

    #[test]
    fn near_and_far_are_weighed_and_an_unknown_way_does_not_count() {
        let at = |animal, site| Candidate { site, ..candidate(animal) };
        let candidates = [at("Ivy", "FAR"), at("Kale", "NEAR"), at("Lilac", "LOST")];
        let ways = [
            ("FAR", Way { kilometres: Some(9_000.0), abroad: true }),
            ("NEAR", Way { kilometres: Some(120.0), abroad: false }),
        ];
        let told = ranked(&candidates, &ways, &WISH);
        let order: Vec<_> = told.partners.iter().map(|partner| partner.site).collect();
        assert_eq!(order[2], "FAR", "{told:?}");
        let [.., far] = &told.partners[..] else { panic!("{told:?}") };
        let expected = (2.0 * far.against.rarity + 9_000.0 / 20_015.0 + 1.0) / 12.0;
        assert!((far.against.all - expected).abs() < 1e-12);
        let near = Weights { distance: 1.0, kinship: 0.0, rarity: 0.0, border: 0.0 };
        let order = ranked(&candidates, &ways, &Wish { weights: near, ..WISH });
        let order: Vec<_> = order.partners.iter().map(|partner| partner.site).collect();
        assert_eq!(order, ["LOST", "NEAR", "FAR"]);
    }

    /// Against the pedigree with the young in it: the same measure, worked out from the beginning.
    #[test]
    fn what_one_young_does_to_gene_diversity_is_what_it_does_among_the_living() {
        for (sire, dam) in [("Gorse", "Fern"), ("Hazel", "Fern"), ("Ivy", "Fern"), ("Juniper", "Fern")] {
            let told = ranked(&[candidate(sire)], &[], &WISH).partners[0].diversity_change;
            let mut entries: Vec<Entry<&str>> = entries();
            let origin = Origin::Parents { sire: Parent::Known(sire), dam: Parent::Known(dam) };
            entries.push(Entry { animal: "Young", origin });
            let with = Relationships::of(Pedigree::build(&entries, &[]).unwrap(), Assumption::Unrelated);
            let all: Vec<&str> = LIVING.into_iter().chain(["Young"]).collect();
            let after = population(&with, &all).unwrap().gene_diversity;
            let before = population(&relationships(), &LIVING).unwrap().gene_diversity;
            assert!((told - (after - before)).abs() < 1e-12, "{sire}: {told} {}", after - before);
        }
    }

    /// Against every order of all pairs of a small herd.
    #[test]
    fn the_order_is_that_of_a_search_by_hand() {
        let candidates = ["Gorse", "Hazel", "Ivy", "Juniper", "Kale"].map(candidate);
        let told = ranked(&candidates, &[], &WISH);
        let mut by_hand: Vec<(f64, &str)> = told
            .partners
            .iter()
            .map(|one| {
                let (may_be, rare) = (one.may_be.min(0.25) / 0.25, one.mean_kinship.min(0.25) / 0.25);
                ((8.0 * may_be + 2.0 * rare) / 11.0, one.animal)
            })
            .collect();
        by_hand.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(b.1)));
        let order: Vec<_> = told.partners.iter().map(|partner| partner.animal).collect();
        assert_eq!(order, by_hand.iter().map(|(_, animal)| *animal).collect::<Vec<_>>());
    }

    /// A quarter of a meridian is 10,007.5 km on a sphere of the mean radius; Edinburgh to Sydney is some 16,880 km
    /// (from memory).
    #[test]
    fn ways_are_great_circles() {
        assert!((kilometres((0.0, 0.0), (90.0, 0.0)) - 10_007.557).abs() < 0.01);
        assert!((kilometres((0.0, 179.5), (0.0, -179.5)) - 111.195).abs() < 0.01, "over the date line");
        assert!((kilometres((55.95, -3.19), (-33.87, 151.21)) - 16_880.0).abs() < 60.0);
        assert!(kilometres((12.0, 7.0), (12.0, 7.0)).abs() < 1e-9);
    }
}
