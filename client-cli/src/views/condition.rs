//! The weights of an animal beside its body condition and its food, week by week.

use super::weight_chart::{series, value, whole};
use super::{instant, middle, spoken_mass, tenth};
use crate::chart::{Chart, Dot, Mark, Measure, Point, Stroke, noon};
use crate::output::{Answer, Page, Table};
use chrono::{Datelike, Days, NaiveDate};
use chrono_tz::Tz;
use holt_proto::v1;
use holt_proto::v1::finding::Found;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Code of the indicator that says how fat an animal is, in whichever protocol.
const BODY_CONDITION: &str = "body-condition";

/// What is on record of an animal over some days.
#[derive(Debug, Default)]
pub(crate) struct Records {
    pub(crate) weights: Vec<v1::Weight>,
    pub(crate) assessments: Vec<v1::Assessment>,
    pub(crate) feeds: Vec<v1::Feed>,
}

/// A week, from Monday on; weeks of which nothing is on record are left out.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub(crate) struct Week {
    week_of: String,
    /// Middle of the readings of the week that count.
    mass: Option<String>,
    mass_mg: Option<i64>,
    readings: usize,
    /// Against the week before with a mass, in %.
    change_percent: Option<f64>,
    /// What was found last in the week: `2 of 5 (small-carnivore)`.
    body_condition: Option<String>,
    /// Days on which it was fed alone and on which it was looked what was left.
    fed_days: usize,
    /// What it ate on each of them, in kcal.
    eaten_kcal_a_day: Option<f64>,
}

/// An animal, week by week.
#[derive(Debug, Serialize)]
pub(crate) struct Condition {
    animal: String,
    weeks: Vec<Week>,
}

/// What falls into one week.
#[derive(Default)]
struct Fallen {
    masses: Vec<i64>,
    /// When it was found, and what.
    condition: Option<(i64, String)>,
    /// Of each day: what was eaten, where that is known of each feed.
    eaten: BTreeMap<NaiveDate, Option<f64>>,
}

fn monday(day: NaiveDate) -> NaiveDate {
    day - Days::new(u64::from(day.weekday().num_days_from_monday()))
}

impl Condition {
    pub(crate) fn new(animal: String, records: &Records, zone: Tz) -> Self {
        let mut weeks: BTreeMap<NaiveDate, Fallen> = BTreeMap::new();
        let day = |at| instant(at).map(|at| at.with_timezone(&zone).date_naive());
        for weight in records.weights.iter().filter(|weight| !weight.awaits_second) {
            if let (Some(on), Some(mass)) = (day(weight.weighed_at), weight.mass) {
                weeks.entry(monday(on)).or_default().masses.push(mass.milligrams);
            }
        }
        for assessment in &records.assessments {
            let (Some(on), Some(found)) = (day(assessment.assessed_at), found(assessment)) else { continue };
            let at = assessment.assessed_at.map_or(0, |at| at.seconds);
            let week = weeks.entry(monday(on)).or_default();
            if week.condition.as_ref().is_none_or(|(before, _)| *before < at) {
                week.condition = Some((at, found));
            }
        }
        for feed in &records.feeds {
            let Some(on) = day(feed.given_at) else { continue };
            let eaten = weeks.entry(monday(on)).or_default().eaten.entry(on).or_insert(Some(0.0));
            *eaten = eaten.zip(feed.eaten_kcal).map(|(before, more)| before + more);
        }
        let mut before = None;
        let week = |(monday, fallen): (NaiveDate, Fallen)| {
            let mass = middle(fallen.masses.clone());
            let change = before.zip(mass).map(|(before, mass)| 100.0 * ratio(mass, before) - 100.0);
            before = mass.or(before);
            let eaten: Vec<f64> = fallen.eaten.values().filter_map(|eaten| *eaten).collect();
            Week {
                week_of: monday.to_string(),
                mass: mass.map(spoken_mass),
                mass_mg: mass,
                readings: fallen.masses.len(),
                change_percent: change.map(tenth),
                body_condition: fallen.condition.map(|(_, found)| found),
                fed_days: eaten.len(),
                eaten_kcal_a_day: mean(&eaten).map(tenth),
            }
        };
        Self { animal, weeks: weeks.into_iter().map(week).collect() }
    }
}

impl Condition {
    /// The median of each week, and each time that body condition was found to be another.
    pub(crate) fn chart(&self, days: v1::DaySpan) -> Chart {
        let mut masses = series("Median of each week", Dot::Full, Stroke::Solid, true);
        let mut marks: Vec<Mark> = Vec::new();
        let mut before = None;
        for week in &self.weeks {
            let Ok(monday) = week.week_of.parse() else { continue };
            let at = noon(monday);
            if let Some(milligrams) = week.mass_mg {
                masses.points.push(Point { at, value: Some(value(v1::Mass { milligrams })) });
            }
            if let Some(found) = week.body_condition.as_ref().filter(|found| before != Some(*found)) {
                marks.push(Mark { at, text: format!("body condition {found}, found in the week from here") });
                before = Some(found);
            }
        }
        let day = |day: Option<v1::Day>| day.and_then(whole).unwrap_or_default();
        Chart {
            title: format!("Weight and body condition of {}", self.animal),
            // A week belongs to the chart from its Monday on.
            from: noon(monday(day(days.first))),
            to: noon(day(days.last)),
            measure: Measure::Weight,
            series: vec![masses],
            bands: Vec::new(),
            baselines: Vec::new(),
            marks,
        }
    }
}

/// What an assessment found of body condition, with the protocol whose scale that is on.
fn found(assessment: &v1::Assessment) -> Option<String> {
    let finding = assessment.findings.iter().find(|finding| finding.indicator == BODY_CONDITION)?;
    let found = match finding.found.as_ref()? {
        Found::Level(level) => level.clone(),
        Found::Number(number) => number.to_string(),
    };
    Some(format!("{found} ({})", assessment.protocol))
}

#[expect(clippy::cast_precision_loss, reason = "milligrams of an animal, to a tenth of a percent")]
fn ratio(mass: i64, before: i64) -> f64 {
    mass as f64 / before as f64
}

#[expect(clippy::cast_precision_loss, reason = "days of a week")]
fn mean(eaten: &[f64]) -> Option<f64> {
    (!eaten.is_empty()).then(|| eaten.iter().sum::<f64>() / eaten.len() as f64)
}

impl Answer for Condition {
    type Row = Week;

    fn rows(&self) -> Vec<Week> {
        self.weeks.clone()
    }

    fn page(&self, page: &mut Page) {
        if self.weeks.is_empty() {
            page.line("Nothing recorded in these days.");
            return;
        }
        let mut table =
            Table::new(["Week of", "Weight", "Change", "Body condition", "Own food"]).numbers([1, 2, 4]);
        for week in &self.weeks {
            table.row([
                week.week_of.clone(),
                week.mass.clone().unwrap_or_default(),
                week.change_percent.map(|change| format!("{:+.1} %", tenth(change))).unwrap_or_default(),
                week.body_condition.clone().unwrap_or_default(),
                week.eaten_kcal_a_day.map(|kcal| format!("{kcal:.0} kcal a day")).unwrap_or_default(),
            ]);
        }
        page.table(&table);
        let unsaid: BTreeSet<&str> = [
            (self.weeks.iter().all(|week| week.body_condition.is_none()), "no assessment of body condition"),
            (
                self.weeks.iter().all(|week| week.eaten_kcal_a_day.is_none()),
                "it was not fed alone, or its leftovers were not recorded",
            ),
        ]
        .into_iter()
        .filter_map(|(is, what)| is.then_some(what))
        .collect();
        if !unsaid.is_empty() {
            let unsaid: Vec<&str> = unsaid.into_iter().collect();
            page.line(&format!("Not recorded: {}.", unsaid.join("; ")));
        }
        page.remark(
            "A weight is the median of a week's readings. Food of a group is not divided among its members.",
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{DateTime, Utc};
    use holt_proto::time::timestamp;

    fn at(text: &str) -> Option<prost_types::Timestamp> {
        Some(timestamp(text.parse::<DateTime<Utc>>().unwrap()))
    }

    fn weight(when: &str, grams: i64) -> v1::Weight {
        let mass = Some(v1::Mass { milligrams: grams * 1000 });
        v1::Weight { weighed_at: at(when), mass, ..Default::default() }
    }

    fn feed(when: &str, eaten: Option<f64>) -> v1::Feed {
        v1::Feed { given_at: at(when), eaten_kcal: eaten, ..Default::default() }
    }

    #[test]
    fn each_week_has_its_middle_its_last_finding_and_the_days_that_were_looked_at() {
        let finding = |text: &str| v1::Finding {
            indicator: BODY_CONDITION.to_owned(),
            found: Some(Found::Level(text.to_owned())),
            ..Default::default()
        };
        let assessed = |when: &str, text: &str| v1::Assessment {
            assessed_at: at(when),
            protocol: "small-carnivore".to_owned(),
            findings: vec![finding(text)],
            ..Default::default()
        };
        let doubtful = v1::Weight { awaits_second: true, ..weight("2026-03-03T09:00:00Z", 99_000) };
        let records = Records {
            weights: vec![
                weight("2026-03-12T09:00:00Z", 7_600),
                doubtful,
                weight("2026-03-03T09:00:00Z", 8_100),
                // Sunday evening in Dublin, and Monday nowhere yet.
                weight("2026-03-08T23:30:00Z", 7_900),
            ],
            assessments: vec![
                assessed("2026-03-11T09:00:00Z", "2 of 5"),
                assessed("2026-03-10T09:00:00Z", "3 of 5"),
            ],
            feeds: vec![
                feed("2026-03-10T09:00:00Z", Some(100.0)),
                feed("2026-03-10T16:00:00Z", Some(140.0)),
                feed("2026-03-11T09:00:00Z", Some(150.0)),
                feed("2026-03-11T16:00:00Z", None),
            ],
        };
        let told = Condition::new("Bramble".to_owned(), &records, chrono_tz::Europe::Dublin);
        let [first, second] = told.weeks.as_slice() else { panic!("{told:?}") };
        assert_eq!(
            (first.week_of.as_str(), first.mass_mg, first.readings),
            ("2026-03-02", Some(8_000_000), 2)
        );
        assert_eq!((second.week_of.as_str(), second.change_percent), ("2026-03-09", Some(-5.0)));
        assert_eq!(second.body_condition.as_deref(), Some("2 of 5 (small-carnivore)"));
        assert_eq!(
            (second.fed_days, second.eaten_kcal_a_day),
            (1, Some(240.0)),
            "of the other day not all is known"
        );
    }
}
