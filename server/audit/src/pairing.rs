//! Partners for an animal that must leave: unrelated ones first, across sites, with every other named
//! that was left out and why.
//!
//! Order: kinship first, then the partner's mean kinship, so that of equals the one whose genes are rarer
//! comes first (common practice; both measures as in [`crate::kinship`]). Where ancestry is unknown,
//! kinship on record is a lower bound, and an animal of unknown origin would always come out on top. So
//! the order goes by kinship *as it may be*: the unknown share of the pair's ancestry is taken to be as
//! related as two animals of the population are on average. That is Holt's own rule; both figures are
//! told.

use crate::kinship::population::Population;
use crate::kinship::relationship::{Figure, Relationships};
use crate::terms::Sex;
use serde::Serialize;

/// An animal that may be asked for as a partner.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Candidate<A, P> {
    /// Which.
    pub animal: A,
    /// Where it lives.
    pub site: P,
    /// Its sex.
    pub sex: Sex,
    /// Whether it is of an age to breed.
    pub of_age: bool,
    /// Why it is not to breed now (contraception, a veterinary hold, a loan that forbids it), if so.
    pub withheld: Option<String>,
    /// Why animals cannot be brought to or from its site now, if so.
    pub cut_off: Option<String>,
}

/// The animal that a partner is sought for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seeker<A, P> {
    /// Which.
    pub animal: A,
    /// The site that it must leave.
    pub leaves: P,
    /// Its sex.
    pub sex: Sex,
}

/// A partner with what speaks for and against.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Partner<A, P> {
    /// Which.
    pub animal: A,
    /// Where it lives.
    pub site: P,
    /// Kinship on record: the inbreeding that young of the two would have, at least.
    pub kinship: Figure,
    /// Kinship as it may be, by which partners are ordered.
    pub may_be: f64,
    /// Its mean kinship with the living.
    pub mean_kinship: f64,
    /// Kinship 0 and all ancestry of both known to the founders.
    pub unrelated_on_record: bool,
    /// Whether the sex of either is unknown and has to be found out first.
    pub sex_unknown: bool,
}

/// A candidate that is no partner.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct LeftOut<A> {
    /// Which.
    pub animal: A,
    /// Why.
    pub why: Why,
}

/// Why a candidate is no partner.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// It is the animal itself.
    Itself,
    /// It is of the same sex.
    SameSex,
    /// It lives at the site that must be left.
    SameSite,
    /// It is not of an age to breed.
    NotOfAge,
    /// It is not to breed now.
    Withheld(String),
    /// Its site cannot be reached now.
    CutOff(String),
    /// It, or the seeker, is not in the pedigree or not among the living that were compared.
    NotInPedigree,
}

/// Partners, the best first, and those left out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ranking<A, P> {
    /// Partners, the best first.
    pub partners: Vec<Partner<A, P>>,
    /// The others, in the order given.
    pub left_out: Vec<LeftOut<A>>,
}

/// Ranks the candidates for one animal. `living` is the population that kinship is compared with.
#[must_use]
pub fn rank<A: Clone + Ord, P: Clone + Ord>(
    seeker: &Seeker<A, P>,
    candidates: &[Candidate<A, P>],
    relationships: &Relationships<A>,
    living: &Population<A>,
) -> Ranking<A, P> {
    let kinships = relationships.kinships(&seeker.animal).unwrap_or_default();
    let (mut partners, mut left_out) = (Vec::new(), Vec::new());
    for candidate in candidates {
        if let Some(why) = against(seeker, candidate) {
            left_out.push(LeftOut { animal: candidate.animal.clone(), why });
            continue;
        }
        let on_record = kinships.get(&candidate.animal).zip(living.mean_kinship.get(&candidate.animal));
        let Some((&kinship, mean_kinship)) = on_record else {
            left_out.push(LeftOut { animal: candidate.animal.clone(), why: Why::NotInPedigree });
            continue;
        };
        partners.push(Partner {
            animal: candidate.animal.clone(),
            site: candidate.site.clone(),
            kinship,
            may_be: kinship.value + (1.0 - kinship.known) * living.mean,
            mean_kinship: mean_kinship.value,
            unrelated_on_record: kinship.value <= 0.0 && !kinship.is_lower_bound(),
            sex_unknown: [seeker.sex, candidate.sex].contains(&Sex::Unknown),
        });
    }
    partners.sort_by(|a, b| {
        let sex_known_first = a.sex_unknown.cmp(&b.sex_unknown);
        a.may_be
            .total_cmp(&b.may_be)
            .then(a.mean_kinship.total_cmp(&b.mean_kinship))
            .then(sex_known_first)
            .then_with(|| a.animal.cmp(&b.animal))
    });
    Ranking { partners, left_out }
}

fn against<A: Ord, P: Ord>(seeker: &Seeker<A, P>, candidate: &Candidate<A, P>) -> Option<Why> {
    if candidate.animal == seeker.animal {
        Some(Why::Itself)
    } else if candidate.sex == seeker.sex && seeker.sex != Sex::Unknown {
        Some(Why::SameSex)
    } else if candidate.site == seeker.leaves {
        Some(Why::SameSite)
    } else if !candidate.of_age {
        Some(Why::NotOfAge)
    } else if let Some(reason) = &candidate.withheld {
        Some(Why::Withheld(reason.clone()))
    } else {
        candidate.cut_off.clone().map(Why::CutOff)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kinship::population::population;
    use crate::kinship::{Assumption, Entry, Origin, Parent, Pedigree};

    const LIVING: [&str; 8] = ["Fern", "Gorse", "Hazel", "Ivy", "Juniper", "Kale", "Lilac", "Moss"];

    /// Ash and Birch have Fern and Gorse; Ash and Cedar have Hazel; Dock and Elm have Ivy, Kale, Lilac and
    /// Moss; nobody knows whose Juniper is.
    fn relationships() -> Relationships<&'static str> {
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
        Relationships::of(Pedigree::build(&entries, &[]).unwrap(), Assumption::Unrelated)
    }

    fn candidate(animal: &'static str) -> Candidate<&'static str, &'static str> {
        Candidate { animal, site: "SIS", sex: Sex::Male, of_age: true, withheld: None, cut_off: None }
    }

    fn ranked(candidates: &[Candidate<&'static str, &'static str>]) -> Ranking<&'static str, &'static str> {
        let relationships = relationships();
        let living = population(&relationships, &LIVING).unwrap();
        let seeker = Seeker { animal: "Fern", leaves: "QUI", sex: Sex::Female };
        rank(&seeker, candidates, &relationships, &living)
    }

    #[test]
    fn the_unrelated_come_before_those_of_unknown_origin_and_those_before_kin() {
        let told = ranked(&["Gorse", "Hazel", "Juniper", "Ivy"].map(candidate));
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
    fn everyone_else_is_named_with_the_reason() {
        let gorse = || candidate("Gorse");
        let told = ranked(&[
            candidate("Fern"),
            Candidate { sex: Sex::Female, ..gorse() },
            Candidate { site: "QUI", ..gorse() },
            Candidate { of_age: false, ..gorse() },
            Candidate { withheld: Some("implant until May".into()), ..gorse() },
            Candidate { cut_off: Some("quarantine".into()), ..gorse() },
            candidate("Stranger"),
        ]);
        assert_eq!(told.partners, []);
        let why: Vec<_> = told.left_out.into_iter().map(|left| left.why).collect();
        assert_eq!(
            why,
            [
                Why::Itself,
                Why::SameSex,
                Why::SameSite,
                Why::NotOfAge,
                Why::Withheld("implant until May".into()),
                Why::CutOff("quarantine".into()),
                Why::NotInPedigree,
            ]
        );
    }

    #[test]
    fn an_unsexed_candidate_is_kept_and_flagged() {
        let told = ranked(&[Candidate { sex: Sex::Unknown, ..candidate("Ivy") }, candidate("Kale")]);
        let flags: Vec<_> = told.partners.iter().map(|p| (p.animal, p.sex_unknown)).collect();
        assert_eq!(flags, [("Kale", false), ("Ivy", true)]);
    }
}
