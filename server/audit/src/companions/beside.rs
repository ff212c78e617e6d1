//! The slope of one member beside those of the others.

use super::together::FEWEST;
use crate::season::Season;
use crate::stats::{count, median_mad, theil_sen};
use crate::trend::series::{Series, Week, monday};
use crate::trend::watch::percent;
use crate::trend::{Beside, Settings};

/// Weeks with a reading that a slope needs.
const LEAST_WEEKS: usize = 4;
/// Standard deviation of slopes among healthy companions, in ln mass a week, and how many companions
/// that weighs as much as, until the group tells better (judgement, no source).
const USUAL_SPREAD: f64 = 0.004;
const USUAL_COMPANIONS: f64 = 6.0;
/// Spreads below the middle from which a slope stands apart.
const APART: f64 = 2.0;

/// How fast an animal gained or lost over the last weeks, freed of the season of its kind: ln mass a
/// week. `None` for one that carries, or was weighed too seldom.
pub(super) fn pace(series: &Series, season: Option<&Season>, now: i32, settings: &Settings) -> Option<f64> {
    let late = series.since(now.saturating_sub_unsigned(settings.slope_weeks));
    if late.len() < LEAST_WEEKS || late.iter().any(|week| week.gravid) {
        return None;
    }
    let free = |week: &Week| week.log - season.map_or(0.0, |season| season.log(monday(week.number)));
    let xs: Vec<f64> = late.iter().map(|week| f64::from(week.number - now)).collect();
    let ys: Vec<f64> = late.iter().map(free).collect();
    theil_sen::fit(&xs, &ys, 0.95, &mut theil_sen::Pairs::default()).map(|line| line.slope)
}

/// The pace of one among those of the others, if there are enough of them.
pub(super) fn beside(paces: &[Option<f64>], member: usize) -> Option<Beside> {
    let own = paces[member]?;
    let mut others: Vec<f64> = paces
        .iter()
        .enumerate()
        .filter(|(other, _)| *other != member)
        .filter_map(|(_, pace)| *pace)
        .collect();
    let companions = others.len();
    if companions < FEWEST {
        return None;
    }
    let middle = median_mad::median(&mut others)?;
    let seen = median_mad::mad(&mut others, middle)? * median_mad::NORMAL_CONSISTENCY;
    let (known, held) = (USUAL_COMPANIONS, count(companions));
    let spread = ((known * USUAL_SPREAD.powi(2) + held * seen * seen) / (known + held)).sqrt();
    let z = (own - middle) / spread;
    Some(Beside {
        companions,
        slope_percent: percent(own),
        companions_slope_percent: percent(middle),
        z,
        apart: z <= -APART && middle > own / 2.0,
    })
}
