//! A chart in words and in numbers, for whoever sees none.

use super::{Chart, Series};
use chrono::{NaiveDateTime, NaiveTime};

/// A value of a chart as a line of its table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Told {
    pub(crate) when: String,
    pub(crate) what: String,
    pub(crate) value: String,
}

/// A time for people: the day alone where it stands for the whole day.
fn spoken(at: NaiveDateTime) -> String {
    let noon = NaiveTime::from_hms_opt(12, 0, 0);
    if Some(at.time()) == noon { at.format("%F").to_string() } else { at.format("%F %H:%M").to_string() }
}

impl Chart {
    /// What it shows, in a few sentences.
    pub(crate) fn summary(&self) -> String {
        let marks = self.marks.iter().enumerate().map(|(n, mark)| self.told_mark(n, &mark.text, mark.at));
        [self.in_short()].into_iter().chain(marks).collect::<Vec<_>>().join(" ")
    }

    /// The same without what was raised.
    pub(crate) fn in_short(&self) -> String {
        let mut said = vec![format!("{}, {} to {}.", self.measure.name(), self.from.date(), self.to.date())];
        said.extend(
            self.series.iter().filter(|series| !series.points.is_empty()).map(|one| self.run_of(one)),
        );
        for baseline in &self.baselines {
            said.push(format!("{}: {}.", baseline.name, self.measure.spoken(baseline.value)));
        }
        for band in &self.bands {
            let Some(last) = band.edges.last() else { continue };
            said.push(format!(
                "{}: {} to {} on {}.",
                band.name,
                self.measure.spoken(last.low),
                self.measure.spoken(last.high),
                last.at.date()
            ));
        }
        said.join(" ")
    }

    /// `1, 2026-03-02: raised …`.
    pub(crate) fn told_mark(&self, n: usize, text: &str, at: NaiveDateTime) -> String {
        let end = if text.ends_with('.') { "" } else { "." };
        format!("{}, {}: {text}{end}", n + 1, at.date())
    }

    /// How a series went.
    fn run_of(&self, series: &Series) -> String {
        let values: Vec<(NaiveDateTime, f64)> = series.values().collect();
        let name = &series.name;
        let tries = series.points.len();
        let by_value = |one: &&(NaiveDateTime, f64), other: &&(NaiveDateTime, f64)| one.1.total_cmp(&other.1);
        let ends = values.first().zip(values.last());
        let extremes = values.iter().min_by(by_value).zip(values.iter().max_by(by_value));
        let told =
            |(at, value): (NaiveDateTime, f64)| format!("{} on {}", self.measure.spoken(value), at.date());
        match (ends, extremes) {
            (Some((first, _)), _) if values.len() == 1 => format!("{name}: {}.", told(*first)),
            (Some((first, last)), Some((lowest, highest))) => format!(
                "{name}: {} values, from {} to {}; lowest {}, highest {}.",
                values.len(),
                told(*first),
                told(*last),
                told(*lowest),
                told(*highest)
            ),
            _ => format!("{name}: {tries}."),
        }
    }

    /// Every value, by time.
    pub(crate) fn values(&self) -> Vec<Told> {
        let mut all: Vec<(NaiveDateTime, Told)> = Vec::new();
        for series in &self.series {
            for point in &series.points {
                let value = point.value.map(|value| self.measure.spoken(value)).unwrap_or_default();
                let told = Told { when: spoken(point.at), what: series.name.clone(), value };
                all.push((point.at, told));
            }
        }
        for band in &self.bands {
            for edge in &band.edges {
                let between =
                    format!("{} to {}", self.measure.spoken(edge.low), self.measure.spoken(edge.high));
                let value = match edge.expected {
                    Some(expected) => format!("{} ({between})", self.measure.spoken(expected)),
                    None => between,
                };
                all.push((edge.at, Told { when: spoken(edge.at), what: band.name.clone(), value }));
            }
        }
        all.sort_by_key(|(at, _)| *at);
        all.into_iter().map(|(_, told)| told).collect()
    }
}

#[cfg(test)]
mod tests {
    use crate::chart::example;

    #[test]
    fn the_summary_says_what_the_picture_shows() {
        assert_eq!(
            example::weights().summary(),
            "Weight, 2026-01-05 to 2026-03-16. \
             Readings: 8 values, from 1.42 kg on 2026-01-05 to 1.29 kg on 2026-03-09; lowest 1.29 kg on 2026-03-09, \
             highest 1.44 kg on 2026-01-19. To weigh again: 142 g on 2026-02-17. Declined the scale: 1. \
             Median of the readings: 1.41 kg. Expected: 1.23 kg to 1.35 kg on 2026-03-16. \
             1, 2026-03-02: ACT: lost 6 % gradually."
        );
    }

    #[test]
    fn the_table_has_every_value_by_time() {
        let values = example::weights().values();
        assert_eq!(values.len(), 11);
        let told: Vec<&str> = values.iter().map(|told| told.what.as_str()).collect();
        assert_eq!(told.last(), Some(&"Expected"));
        assert_eq!(values.last().unwrap().value, "1.29 kg (1.23 kg to 1.35 kg)");
        assert_eq!((values[0].when.as_str(), values[0].value.as_str()), ("2026-01-05 08:00", "1.42 kg"));
    }
}
