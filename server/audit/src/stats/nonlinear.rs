//! Nonlinear least squares.
//!
//! Source: Levenberg 1944, Q Appl Math 2:164; Marquardt 1963, J SIAM 11:431 (damping in proportion to the
//! curvature of each coefficient). Each step solves a linear problem ([`super::least_squares`]), whose
//! covariance at the end is the usual asymptotic one.

use super::least_squares::{self, Fit};

/// Steps after which it is given up.
const MOST_STEPS: usize = 200;
/// Relative improvement below which it has arrived.
const ARRIVED: f64 = 1e-12;
/// Relative step that is none.
const NO_STEP: f64 = 1e-6;
/// Damping at the beginning; and up to which a step is as good as free; and its ends.
const FIRST_DAMPING: f64 = 1e-3;
const FREE: f64 = 1e-4;
const LEAST_DAMPING: f64 = 1e-12;
const MOST_DAMPING: f64 = 1e12;
/// Relative step for central differences: the cube root of the rounding error.
const DIFFERENCE: f64 = 6e-6;

/// A fit of N coefficients.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve<const N: usize> {
    /// The coefficients.
    pub coefficients: [f64; N],
    /// Sum of squared residuals.
    pub squares: f64,
    /// The linear problem at the end: standard errors and covariance of the coefficients.
    linear: Fit,
}

impl<const N: usize> Curve<N> {
    /// Standard error of one coefficient.
    #[must_use]
    pub fn standard_error(&self, coefficient: usize) -> f64 {
        self.linear.standard_error(coefficient)
    }

    /// Standard deviation of the residuals.
    #[must_use]
    pub const fn residual_sd(&self) -> f64 {
        self.linear.residual_sd
    }

    /// Readings minus coefficients.
    #[must_use]
    pub const fn degrees_of_freedom(&self) -> usize {
        self.linear.degrees_of_freedom
    }

    /// Standard error of the curve at `x`, by the delta method.
    pub fn error_at(&self, x: f64, curve: impl Fn(&[f64; N], f64) -> f64) -> f64 {
        let slopes = slopes(&self.coefficients, x, &curve);
        let mut variance = 0.0;
        for (i, one) in slopes.iter().enumerate() {
            for (j, other) in slopes.iter().enumerate() {
                variance += one * other * self.linear.inverse_gram[i * N + j];
            }
        }
        self.linear.residual_sd * variance.max(0.0).sqrt()
    }
}

/// Fits `curve` to readings, from coefficients to start with. `None` where there are not more readings than
/// coefficients, where it does not arrive, or where the readings do not determine the coefficients.
pub fn fit<const N: usize>(
    xs: &[f64],
    ys: &[f64],
    start: [f64; N],
    curve: impl Fn(&[f64; N], f64) -> f64,
) -> Option<Curve<N>> {
    if xs.len() <= N {
        return None;
    }
    let rests = |at: &[f64; N]| -> Vec<f64> { xs.iter().zip(ys).map(|(x, y)| y - curve(at, *x)).collect() };
    let mut at = start;
    let mut rest = rests(&at);
    let mut squares = sum_of_squares(&rest);
    let mut damping = FIRST_DAMPING;
    for _ in 0..MOST_STEPS {
        let design: Vec<f64> = xs.iter().flat_map(|x| slopes(&at, *x, &curve)).collect();
        let step: [f64; N] = damped_step(&design, &rest, damping)?;
        let next: [f64; N] = std::array::from_fn(|place| at[place] + step[place]);
        let rest_there = rests(&next);
        let squares_there = sum_of_squares(&rest_there);
        let better = squares_there.is_finite() && squares_there <= squares;
        // A step held short says nothing: only one that was free to go, and did not, has arrived.
        let still = if better {
            squares - squares_there <= ARRIVED * squares
        } else {
            step.iter().zip(&at).all(|(step, at)| step.abs() <= NO_STEP * at.abs().max(NO_STEP))
        };
        let arrived = still && damping <= FREE;
        if better {
            (at, rest, squares) = (next, rest_there, squares_there);
            damping = (damping / 10.0).max(LEAST_DAMPING);
        } else {
            damping *= 10.0;
        }
        if arrived {
            let design: Vec<f64> = xs.iter().flat_map(|x| slopes(&at, *x, &curve)).collect();
            let linear = least_squares::fit(&design, N, &rest)?;
            return Some(Curve { coefficients: at, squares, linear });
        }
        if damping > MOST_DAMPING {
            return None;
        }
    }
    None
}

/// The step of the linear problem, shortened by rows that hold each coefficient back.
fn damped_step<const N: usize>(design: &[f64], rest: &[f64], damping: f64) -> Option<[f64; N]> {
    let mut rows = design.to_vec();
    let mut ys = rest.to_vec();
    for held in 0..N {
        let length = design.iter().skip(held).step_by(N).map(|slope| slope * slope).sum::<f64>();
        rows.extend((0..N).map(|place| if place == held { (damping * length).sqrt() } else { 0.0 }));
        ys.push(0.0);
    }
    if rows.iter().any(|entry| !entry.is_finite()) {
        return None;
    }
    <[f64; N]>::try_from(least_squares::fit(&rows, N, &ys)?.coefficients).ok()
}

/// How fast the curve changes at `x` with each coefficient.
fn slopes<const N: usize>(at: &[f64; N], x: f64, curve: &impl Fn(&[f64; N], f64) -> f64) -> [f64; N] {
    std::array::from_fn(|place| {
        let step = DIFFERENCE * at[place].abs().max(DIFFERENCE);
        let moved = |by: f64| {
            let mut moved = *at;
            moved[place] += by;
            curve(&moved, x)
        };
        (moved(step) - moved(-step)) / (2.0 * step)
    })
}

fn sum_of_squares(rest: &[f64]) -> f64 {
    rest.iter().map(|rest| rest * rest).sum()
}
