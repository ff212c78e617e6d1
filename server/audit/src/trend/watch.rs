//! From readings to numbers and findings.

use super::baseline::Reference;
use super::chart::{self, Chart};
use super::finding::{Baseline, Beside, Evidence, Finding, Latest, Loss, Slope, Trend};
use super::refusals::refusals;
use super::residuals::{self, Residual};
use super::series::{Series, monday};
use super::settings::Settings;
use super::subject::Subject;
use crate::stats::{mann_kendall, theil_sen};
use crate::terms::{Instant, Mass};
use crate::zone;

/// Below this many usable readings nothing is judged.
const FEWEST: usize = 3;

/// The weight of one animal as of an instant. Takes time in proportion to its weeks on record.
#[must_use]
pub fn watch(subject: &Subject<'_>, as_of: Instant, settings: &Settings) -> Trend {
    let series = Series::of(subject, as_of, settings);
    let residuals = residuals::of(&series.weeks, subject.season, settings);
    told(subject, as_of, settings, &series, &residuals, None)
}

/// The trend of one animal, from what is left of its weeks.
pub(crate) fn told(
    subject: &Subject<'_>,
    as_of: Instant,
    settings: &Settings,
    series: &Series,
    residuals: &[Residual],
    beside: Option<Beside>,
) -> Trend {
    let chart = chart::run(residuals, settings);
    let now = residuals.last();
    // While a loss is open, what it usually weighed before.
    let open = chart.and_then(|chart| chart.open);
    let usual = now.map(|now| open.map_or(now.reference, |open| open.usual(now)));
    let beyond = now.zip(usual).map_or(0.0, |(now, usual)| now.reference.log - usual.log);
    let slope = usual.and_then(|usual| slope(series, usual.log, settings));
    let too_few = series.used.len() < FEWEST;
    let (tried_in_a_row, refusal) = refusals(subject, as_of, settings);
    let today = zone::day_of(subject.zone, as_of);
    let mut trend = Trend {
        readings: series.readings,
        used: series.used.len(),
        too_few,
        baseline: usual.zip(chart).map(|(usual, chart)| baseline(series, &usual, &chart)),
        expected: now.map(|now| mass(now.expected - beyond)),
        latest: series.used.last().map(|used| Latest { record: used.record, day: used.day, mass: used.mass }),
        change_percent: now.map(|now| percent(now.last + beyond)),
        level_percent: chart.map(|chart| percent(chart.level)),
        slope,
        beside,
        tried_in_a_row,
        days_since_mass: series.last_mass.map(|last| (today - last).num_days()),
        findings: Vec::new(),
    };
    let loss = chart.filter(|_| !too_few).and_then(|chart| loss(&trend, series, &chart, settings));
    trend.findings.extend(loss.into_iter().chain(refusal));
    trend
}

fn baseline(series: &Series, reference: &Reference, chart: &Chart) -> Baseline {
    Baseline {
        mass: mass(reference.log),
        spread_percent: percent(chart.spread),
        weeks: reference.weeks,
        from: monday(series.weeks[reference.first].number),
        to: monday(series.weeks[reference.last].number),
    }
}

/// Slope over the last weeks, in % of the baseline.
fn slope(series: &Series, baseline: f64, settings: &Settings) -> Option<Slope> {
    let newest = series.weeks.last()?.number;
    let late = series.since(newest.saturating_sub_unsigned(settings.slope_weeks));
    if late.len() < FEWEST {
        return None;
    }
    let xs: Vec<f64> = late.iter().map(|week| f64::from(week.number - newest)).collect();
    let ys: Vec<f64> = late.iter().map(|week| 100.0 * (week.log - baseline).exp()).collect();
    let robust = theil_sen::fit(&xs, &ys, 0.95, &mut theil_sen::Pairs::default())?;
    Some(Slope {
        percent_per_week: robust.slope,
        low: robust.low,
        high: robust.high,
        order_p: mann_kendall::test(&ys)?.p,
        weeks: xs.len(),
    })
}

fn loss(trend: &Trend, series: &Series, chart: &Chart, settings: &Settings) -> Option<Finding> {
    let open = chart.open?;
    let (change_percent, level_percent) = (trend.change_percent?, trend.level_percent?);
    let lost = if open.sharp { -change_percent.min(level_percent) } else { -level_percent };
    let fast = trend.slope.is_some_and(|slope| slope.high < -settings.fast_loss_percent_per_week);
    let first = series.weeks[open.since].first;
    Some(Finding {
        severity: settings.severity(lost, fast),
        since: series.used[first].day,
        evidence: Evidence::Loss(Loss {
            expected: trend.expected?,
            latest: trend.latest?.mass,
            change_percent,
            level_percent,
            weeks: series.weeks.len() - open.since,
            strength: chart.strength,
            sharp: open.sharp,
            beside: trend.beside,
        }),
        records: series.used[first..].iter().map(|used| used.record).collect(),
    })
}

/// A difference of logs in %.
pub(crate) fn percent(log: f64) -> f64 {
    100.0 * log.exp_m1()
}

/// The mass whose log in grams this is.
fn mass(log: f64) -> Mass {
    Mass::from_grams(log.exp())
}
