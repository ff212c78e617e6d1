//! How scales differ, estimated where the same animals were on both.
//!
//! Two readings of one animal on different scales within some days differ by what the scales differ
//! and by noise. The median of many such differences links two scales; the links together place
//! every scale by least squares, even those that never weighed the same animal. A difference is taken
//! as a factor: within one kind of animals a tare error looks the same, and across kinds offsets
//! should be worked out kind by kind.

use crate::reading::{Reading, Scale};
use crate::stats::{count, least_squares, median_mad};
use chrono::TimeDelta;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Readings further apart than this say nothing about scales: the animal itself may have changed.
const REACH: TimeDelta = TimeDelta::days(8);
/// Differences that a link needs.
const LEAST: usize = 5;

/// One scale against the reference of those it is linked with.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Offset {
    /// The scale.
    pub scale: Scale,
    /// ln of its reading over that of the reference.
    pub log: f64,
    /// Standard error of that.
    pub standard_error: f64,
}

/// How scales differ. Scales not listed are taken as they are.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Offsets(Vec<Offset>);

impl Offsets {
    /// The scales that were placed, in order, references left out.
    #[must_use]
    pub fn all(&self) -> &[Offset] {
        &self.0
    }

    /// What to take from ln of a reading to have it as the reference would show it. It is drawn
    /// towards zero by its own uncertainty, so that few pairs cannot make a step.
    #[must_use]
    pub fn log(&self, scale: Option<Scale>) -> f64 {
        let known = scale.and_then(|scale| {
            self.0.binary_search_by_key(&scale, |offset| offset.scale).ok().map(|place| self.0[place])
        });
        known.map_or(0.0, |offset| {
            let size = offset.log.powi(2);
            offset.log * size / (size + offset.standard_error.powi(2)).max(f64::MIN_POSITIVE)
        })
    }

    /// Places the scales that the animals of a herd were weighed on, each given by its readings in
    /// order of time. Among linked scales the most used one is the reference.
    #[must_use]
    pub fn of<'a>(herd: impl IntoIterator<Item = &'a [Reading]>) -> Self {
        let mut uses: BTreeMap<Scale, usize> = BTreeMap::new();
        let mut differences: BTreeMap<(Scale, Scale), Vec<f64>> = BTreeMap::new();
        for readings in herd {
            let mut last: Option<(&Reading, Scale, f64)> = None;
            for reading in readings.iter().filter(|reading| !reading.doubtful) {
                let (Some(scale), Some(mass)) = (reading.scale, reading.mass.filter(|mass| mass.mg() > 0))
                else {
                    continue;
                };
                *uses.entry(scale).or_default() += 1;
                let log = mass.grams().ln();
                if let Some((before, other, other_log)) = last
                    && other != scale
                    && reading.at - before.at <= REACH
                {
                    let (pair, difference) = if other < scale {
                        ((other, scale), log - other_log)
                    } else {
                        ((scale, other), other_log - log)
                    };
                    differences.entry(pair).or_default().push(difference);
                }
                last = Some((reading, scale, log));
            }
        }
        let links: Vec<Link> =
            differences.into_iter().filter_map(|(pair, differences)| Link::of(pair, differences)).collect();
        let mut offsets: Vec<Offset> =
            linked(&uses, &links).iter().filter_map(|scales| place(scales, &links)).flatten().collect();
        offsets.sort_by_key(|offset| offset.scale);
        Self(offsets)
    }
}

/// What two scales were seen to differ by: ln of the second over the first.
struct Link {
    from: Scale,
    to: Scale,
    log: f64,
    standard_error: f64,
}

impl Link {
    fn of((from, to): (Scale, Scale), mut differences: Vec<f64>) -> Option<Self> {
        if differences.len() < LEAST {
            return None;
        }
        let log = median_mad::median(&mut differences)?;
        let n = count(differences.len());
        let spread = median_mad::mad(&mut differences, log)? * median_mad::NORMAL_CONSISTENCY;
        // √(π/2): a median's standard error against a mean's. A spread of nothing is not believed.
        let standard_error = 1.2533 * spread.max(0.002) / n.sqrt();
        Some(Self { from, to, log, standard_error })
    }
}

/// Groups of scales that links join, each with its most used one first.
fn linked(uses: &BTreeMap<Scale, usize>, links: &[Link]) -> Vec<Vec<Scale>> {
    let mut groups: Vec<Vec<Scale>> = uses.keys().map(|&scale| vec![scale]).collect();
    for link in links {
        let place = |scale| groups.iter().position(|group| group.contains(&scale));
        if let (Some(from), Some(to)) = (place(link.from), place(link.to))
            && from != to
        {
            let joined = groups.swap_remove(from.max(to));
            groups[from.min(to)].extend(joined);
        }
    }
    for group in &mut groups {
        group.sort_by_key(|scale| (std::cmp::Reverse(uses[scale]), *scale));
    }
    groups
}

/// Offsets of a group's scales against its first.
fn place(scales: &[Scale], links: &[Link]) -> Option<Vec<Offset>> {
    let (_, others) = scales.split_first()?;
    let inside: Vec<&Link> = links.iter().filter(|link| scales.contains(&link.from)).collect();
    let mut design = vec![0.0; inside.len() * others.len()];
    let mut ys = Vec::with_capacity(inside.len());
    for (row, link) in design.chunks_exact_mut(others.len().max(1)).zip(&inside) {
        for (entry, scale) in row.iter_mut().zip(others) {
            let sign = f64::from(i8::from(link.to == *scale) - i8::from(link.from == *scale));
            *entry = sign / link.standard_error;
        }
        ys.push(link.log / link.standard_error);
    }
    let told = least_squares::fit(&design, others.len(), &ys)?;
    let offset = |(place, &scale)| Offset {
        scale,
        log: told.coefficients[place],
        standard_error: told.unit_error(place),
    };
    Some(others.iter().enumerate().map(offset).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::terms::{Mass, RecordId};
    use chrono::{TimeZone, Utc};

    /// Animals of 1 to `animals` kg, each weighed week by week on the scales of `rota` in turn.
    fn herd(animals: i64, rota: &[(u32, f64)]) -> Vec<Vec<Reading>> {
        (1..=animals)
            .map(|animal| {
                (0i64..)
                    .zip(rota)
                    .map(|(week, (scale, factor))| {
                        // Repeats within the herd and averages out over it.
                        let wobble = 1.0 + 0.01 * (((animal + week * animal) % 5) as f64 / 2.0 - 1.0);
                        Reading {
                            record: RecordId(0),
                            at: Utc.with_ymd_and_hms(2026, 1, 5, 8, 0, 0).unwrap() + TimeDelta::weeks(week),
                            mass: Some(Mass::from_grams(animal as f64 * 1e3 * factor * wobble)),
                            scale: Some(Scale(*scale)),
                            doubtful: false,
                        }
                    })
                    .collect()
            })
            .collect()
    }

    fn offsets(herd: &[Vec<Reading>]) -> Offsets {
        Offsets::of(herd.iter().map(Vec::as_slice))
    }

    #[test]
    fn a_scale_that_shows_three_percent_more() {
        let told = offsets(&herd(20, &[(1, 1.0), (2, 1.03), (1, 1.0), (1, 1.0)]));
        assert_eq!(told.all().len(), 1);
        assert!((told.log(Some(Scale(2))) - 1.03f64.ln()).abs() < 0.004, "{told:?}");
        assert!(told.log(Some(Scale(1))).abs() < 1e-12 && told.log(Some(Scale(9))).abs() < 1e-12);
        assert!(told.log(None).abs() < 1e-12);
    }

    #[test]
    fn scales_that_never_met_are_linked_through_a_third() {
        let mut all = herd(10, &[(1, 1.0), (2, 1.05), (1, 1.0), (2, 1.05)]);
        all.extend(herd(10, &[(2, 1.05), (3, 0.98), (2, 1.05), (3, 0.98)]));
        let told = offsets(&all);
        let apart = told.log(Some(Scale(3))) - told.log(Some(Scale(1)));
        assert!((apart - 0.98f64.ln()).abs() < 0.006, "{told:?}");
    }

    #[test]
    fn a_few_pairs_link_nothing() {
        assert_eq!(offsets(&herd(4, &[(1, 1.0), (2, 1.5)])), Offsets::default());
    }

    #[test]
    fn scales_weeks_apart_say_nothing() {
        let mut apart = herd(20, &[(1, 1.0), (2, 1.1)]);
        for readings in &mut apart {
            readings[1].at += TimeDelta::weeks(3);
        }
        assert_eq!(offsets(&apart), Offsets::default());
    }
}
