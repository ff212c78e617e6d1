//! The stock balance against the seven cases of `census_cases.csv` (derived cases from the identity
//! closing = opening + births + arrivals − deaths − departures, by sex; no published source).

use crate::table;
use holt_audit::census::{self, Began, Born, Ended, Line, Litter, Question, Stay};
use holt_audit::terms::{Counts, Day, Sex};
use std::collections::BTreeSet;

fn counts(text: &str) -> Counts {
    let parts: Vec<i64> = text.split('.').map(|part| part.parse().unwrap()).collect();
    Counts { males: parts[0], females: parts[1], unknown: parts[2] }
}

fn line(row: &table::Row<'_>) -> Line {
    let moved = |column: &str| row.text(column).parse().unwrap();
    Line {
        opening: counts(row.text("opening")),
        born: counts(row.text("births")),
        arrived: counts(row.text("arrivals")),
        died: counts(row.text("deaths")),
        departed: counts(row.text("departures")),
        sexed: Counts { males: moved("reclass_m"), females: moved("reclass_f"), unknown: moved("reclass_u") },
        closing: counts(row.text("closing")),
        ..Line::default()
    }
}

#[test]
fn the_cases_balance_and_the_one_that_must_not_does_not() {
    for row in table::read("census_cases").rows() {
        let (case, line) = (row.text("case"), line(&row));
        if case == "missing_arrival_error" {
            assert_eq!(line.gap().to_string(), "1.0.0", "{case}");
            assert!(!line.balances(), "{case}");
        } else {
            assert_eq!(line.gap(), Counts::ZERO, "{case}");
            assert!(line.balances(), "{case}");
        }
    }
}

fn day(text: &str) -> Day {
    text.parse().unwrap()
}

/// Books that tell the story of one case: as many stays as it counts, all of them settled in the year.
fn books(case: &str, line: &Line) -> Vec<Stay<usize, &'static str, &'static str>> {
    let before = day("2025-06-01");
    let (came, went) = (day("2026-03-01"), day("2026-09-01"));
    let each = |counts: Counts| {
        [(Sex::Male, counts.males), (Sex::Female, counts.females), (Sex::Unknown, counts.unknown)]
            .into_iter()
            .flat_map(|(sex, n)| (0..n).map(move |_| sex))
    };
    let site = if case.ends_with('B') { "SIS" } else { "QUI" };
    let mut stays: Vec<Stay<usize, &str, &str>> = Vec::new();
    let mut add = |sex, from, began| {
        stays.push(Stay {
            animal: stays.len(),
            species: "coypu",
            site,
            from,
            began,
            end: None,
            born: Some(Born::on(from)),
            sexes: vec![(from, sex)],
        });
    };
    each(line.opening).for_each(|sex| add(sex, before, Began::Arrival));
    each(line.born).for_each(|sex| add(sex, came, Began::Birth));
    each(line.arrived).for_each(|sex| add(sex, came, Began::Arrival));
    let mut end = |counts, how: Ended<&'static str>| {
        for sex in each(counts) {
            let stay = stays.iter_mut().find(|stay| stay.end.is_none() && stay.sex(went) == sex);
            stay.unwrap().end = Some((went, how.clone()));
        }
    };
    end(line.died, Ended::Death);
    end(line.departed, Ended::Departure);
    // The unsexed that are found to be of a sex.
    for sex in each(Counts { unknown: 0, ..line.sexed }) {
        let stay = stays.iter_mut().find(|stay| stay.end.is_none() && stay.sex(went) == Sex::Unknown);
        stay.unwrap().sexes.push((went, sex));
    }
    stays
}

#[test]
fn books_that_tell_the_story_of_a_case_give_its_line() {
    let year = Question { first: day("2026-01-01"), last: day("2026-12-31"), young_days: 30 };
    let no_litters: [Litter<usize, &str, &str>; 0] = [];
    for row in table::read("census_cases").rows() {
        let (case, line) = (row.text("case"), line(&row));
        if case == "missing_arrival_error" {
            continue;
        }
        let stays = books(case, &line);
        let sites = BTreeSet::from(["QUI", "SIS"]);
        let told = census::take(&sites, &stays, &no_litters, year).unwrap();
        assert_eq!(told.lines["coypu"], line, "{case}");
        assert!(told.balances(), "{case}");
    }
}

#[test]
fn the_group_counts_a_move_between_its_sites_in_no_column() {
    let year = Question { first: day("2026-01-01"), last: day("2026-12-31"), young_days: 30 };
    let table = table::read("census_cases");
    let [a, b] = ["intersite_move_A", "intersite_move_B"]
        .map(|case| line(&table.rows().find(|row| row.text("case") == case).unwrap()));
    let sent = day("2026-05-04");
    let stay = |animal, site, sex| Stay {
        animal,
        species: "coypu",
        site,
        from: day("2025-06-01"),
        began: Began::Arrival,
        end: None,
        born: None,
        sexes: vec![(day("2025-06-01"), sex)],
    };
    let mut stays: Vec<Stay<usize, &str, &str>> = vec![
        stay(0, "QUI", Sex::Male),
        stay(1, "QUI", Sex::Male),
        stay(2, "QUI", Sex::Female),
        stay(3, "QUI", Sex::Female),
        stay(4, "SIS", Sex::Female),
        stay(5, "SIS", Sex::Female),
        stay(6, "SIS", Sex::Female),
    ];
    stays[0].end = Some((sent, Ended::TransferOut { to: "SIS" }));
    stays.push(Stay {
        from: sent,
        began: Began::TransferIn { from: "QUI" },
        end: None,
        site: "SIS",
        ..stays[0].clone()
    });
    let no_litters: [Litter<usize, &str, &str>; 0] = [];
    let told = |sites: &[&'static str]| {
        census::take(&sites.iter().copied().collect(), &stays, &no_litters, year).unwrap().lines["coypu"]
    };
    assert_eq!(told(&["QUI"]), a);
    assert_eq!(told(&["SIS"]), b);
    let group = told(&["QUI", "SIS"]);
    assert_eq!((group.opening.to_string(), group.closing.to_string()), ("2.5.0".into(), "2.5.0".into()));
    assert_eq!(group, Line { opening: group.opening, closing: group.closing, ..Line::default() });
}
