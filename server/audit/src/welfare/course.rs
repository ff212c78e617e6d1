//! How the grades of an animal went from assessment to assessment, domain by domain.

use super::grade::Graded;
use super::protocol::{Compromise, Enhancement};
use crate::terms::{Day, Domain};
use serde::Serialize;
use std::cmp::Ordering;
use std::collections::BTreeMap;

/// The course of one domain.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Course {
    /// The graded assessments, oldest first; those in which the domain was not assessed are left out.
    pub points: Vec<Point>,
    /// From the last but one to the last.
    pub change: Change,
    /// Since when the compromise has been what it is now or worse, without a better assessment between.
    pub since: Option<Day>,
}

/// The grades of one assessment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Point {
    /// Day of the assessment.
    pub day: Day,
    /// How bad.
    pub compromise: Compromise,
    /// How good.
    pub enhancement: Enhancement,
}

/// What became of a domain between two assessments.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// Fewer than two assessments graded the domain.
    TooFew,
    /// Worse by grades of compromise.
    Worse {
        /// How many.
        grades: u8,
    },
    /// Better by grades of compromise, and what was bad before has been looked at again.
    Better {
        /// How many.
        grades: u8,
    },
    /// The grade is better, but indicators that were bad before were not looked at this time.
    NotShownBetter {
        /// Their codes.
        not_assessed: Vec<String>,
    },
    /// Compromise is the same; enhancement rose (above 0) or fell (below 0) by so many grades.
    Same {
        /// Grades of enhancement.
        enhancement: i8,
    },
}

/// The course of each observed domain over `assessments`, which are taken in the order of their days.
#[must_use]
pub fn course(assessments: &[(Day, Graded)]) -> BTreeMap<Domain, Course> {
    let mut ordered: Vec<&(Day, Graded)> = assessments.iter().collect();
    ordered.sort_by_key(|(day, _)| *day);
    Domain::OBSERVED.into_iter().map(|domain| (domain, of_domain(domain, &ordered))).collect()
}

fn of_domain(domain: Domain, ordered: &[&(Day, Graded)]) -> Course {
    let graded: Vec<(Point, &Graded)> = ordered
        .iter()
        .filter_map(|(day, graded)| {
            let grade = graded.domains.get(&domain)?;
            let (bad, good) = (grade.compromise.as_ref()?, grade.enhancement.as_ref()?);
            Some((Point { day: *day, compromise: bad.grade, enhancement: good.grade }, graded))
        })
        .collect();
    let change = match graded.as_slice() {
        [.., before, now] => change(domain, before, now),
        _ => Change::TooFew,
    };
    let since = graded.last().and_then(|(now, _)| {
        let run = graded.iter().rev().take_while(|(point, _)| point.compromise >= now.compromise);
        run.last().map(|(point, _)| point.day)
    });
    Course { points: graded.into_iter().map(|(point, _)| point).collect(), change, since }
}

fn change(domain: Domain, (before, was): &(Point, &Graded), (now, is): &(Point, &Graded)) -> Change {
    let grades = (now.compromise as u8).abs_diff(before.compromise as u8);
    match now.compromise.cmp(&before.compromise) {
        Ordering::Greater => Change::Worse { grades },
        Ordering::Less => {
            let looked_at = |code| is.domains.get(&domain).is_some_and(|d| d.assessed.contains(code));
            let not_assessed: Vec<String> = was
                .mental
                .because
                .iter()
                .filter(|bad| bad.domain == domain && bad.compromise > now.compromise)
                .map(|bad| &bad.indicator)
                .filter(|code| !looked_at(*code))
                .cloned()
                .collect();
            if not_assessed.is_empty() {
                Change::Better { grades }
            } else {
                Change::NotShownBetter { not_assessed }
            }
        }
        Ordering::Equal => Change::Same { enhancement: now.enhancement as i8 - before.enhancement as i8 },
    }
}
