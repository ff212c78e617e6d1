//! Agreement of observers on measured values: intraclass correlations.
//!
//! Source: Shrout & Fleiss 1979, Psychol Bull 86:420; intervals also in McGraw & Wong 1996, Psychol
//! Methods 1:30. The data are one row per subject and one column per observer, without gaps.

use super::count;
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// Which of the six forms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
pub enum Form {
    /// ICC(1,1): each subject was seen by other observers; how far one reading can be relied on.
    OneWaySingle,
    /// ICC(2,1): the same observers saw all, and stand for any observers; a constant difference between
    /// them counts against agreement. The one to ask whether two assessors may be exchanged.
    AgreementSingle,
    /// ICC(3,1): only these observers matter; a constant difference between them does not count.
    ConsistencySingle,
    /// ICC(1,k): the mean of the k readings of ICC(1,1).
    OneWayMean,
    /// ICC(2,k): the mean of the k readings of ICC(2,1).
    AgreementMean,
    /// ICC(3,k): the mean of the k readings of ICC(3,1).
    ConsistencyMean,
}

impl Form {
    /// The six forms.
    pub const ALL: [Self; 6] = [
        Self::OneWaySingle,
        Self::AgreementSingle,
        Self::ConsistencySingle,
        Self::OneWayMean,
        Self::AgreementMean,
        Self::ConsistencyMean,
    ];
}

/// An intraclass correlation.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Icc {
    /// Which form.
    pub form: Form,
    /// At most 1. Can be negative.
    pub value: f64,
    /// Interval from F quantiles; `None` where the observers leave no residual to compute it from.
    pub interval: Option<(f64, f64)>,
}

/// How good an ICC is called (Koo & Li 2016, J Chiropr Med 15:155): below 0.50 poor, below 0.75
/// moderate, below 0.90 good, from there on excellent. They ask to judge by the interval, not by the
/// value alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Band {
    /// Below 0.50.
    Poor,
    /// From 0.50.
    Moderate,
    /// From 0.75.
    Good,
    /// From 0.90.
    Excellent,
}

impl Band {
    /// The band that `value` lies in.
    #[must_use]
    pub fn of(value: f64) -> Self {
        match value {
            v if v >= 0.90 => Self::Excellent,
            v if v >= 0.75 => Self::Good,
            v if v >= 0.50 => Self::Moderate,
            _ => Self::Poor,
        }
    }
}

/// Mean squares of the two-way layout.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeanSquares {
    /// Between subjects.
    pub subjects: f64,
    /// Between observers.
    pub observers: f64,
    /// What neither explains.
    pub residual: f64,
    /// Within subjects.
    pub within: f64,
}

/// Mean squares of `readings`, one row per subject. `None` with fewer than two subjects or observers, or
/// rows of unequal length.
#[must_use]
pub fn mean_squares(readings: &[Vec<f64>]) -> Option<MeanSquares> {
    let observers = readings.first()?.len();
    if readings.len() < 2 || observers < 2 || readings.iter().any(|row| row.len() != observers) {
        return None;
    }
    let (n, k) = (count(readings.len()), count(observers));
    let mean = |values: &mut dyn Iterator<Item = f64>, n: f64| values.sum::<f64>() / n;
    let grand = mean(&mut readings.iter().flatten().copied(), n * k);
    let of_subject: Vec<f64> = readings.iter().map(|row| mean(&mut row.iter().copied(), k)).collect();
    let of_observer: Vec<f64> =
        (0..observers).map(|j| mean(&mut readings.iter().map(|row| row[j]), n)).collect();
    let between = k * of_subject.iter().map(|m| (m - grand).powi(2)).sum::<f64>();
    let judges = n * of_observer.iter().map(|m| (m - grand).powi(2)).sum::<f64>();
    let (mut within, mut residual) = (0.0, 0.0);
    for (row, subject) in readings.iter().zip(&of_subject) {
        for (value, observer) in row.iter().zip(&of_observer) {
            within += (value - subject).powi(2);
            residual += (value - subject - observer + grand).powi(2);
        }
    }
    Some(MeanSquares {
        subjects: between / (n - 1.0),
        observers: judges / (k - 1.0),
        residual: residual / ((n - 1.0) * (k - 1.0)),
        within: within / (n * (k - 1.0)),
    })
}

/// One form of the intraclass correlation, with an interval of the given `confidence`.
///
/// `None` where [`mean_squares`] is, and where the subjects do not differ: then nothing could be told
/// apart and agreement has no meaning.
#[must_use]
pub fn icc(readings: &[Vec<f64>], form: Form, confidence: f64) -> Option<Icc> {
    let squares = mean_squares(readings)?;
    let (n, k) = (count(readings.len()), count(readings[0].len()));
    if squares.subjects <= f64::EPSILON {
        return None;
    }
    let upper = 0.5 + confidence / 2.0;
    let (value, interval) = match form {
        Form::OneWaySingle | Form::OneWayMean => {
            let error = squares.within;
            (
                one_error(squares.subjects, error, k),
                ratio(squares.subjects, error, n, n * (k - 1.0), upper, k),
            )
        }
        Form::ConsistencySingle | Form::ConsistencyMean => {
            let error = squares.residual;
            let df = (n - 1.0) * (k - 1.0);
            (one_error(squares.subjects, error, k), ratio(squares.subjects, error, n, df, upper, k))
        }
        Form::AgreementSingle | Form::AgreementMean => {
            let MeanSquares { subjects, observers, residual, .. } = squares;
            let shift = k * (observers - residual) / n;
            let value = (subjects - residual) / (subjects + (k - 1.0) * residual + shift);
            (value, agreement_interval(squares, value, n, k, upper))
        }
    };
    Some(match form {
        Form::OneWaySingle | Form::AgreementSingle | Form::ConsistencySingle => Icc { form, value, interval },
        Form::OneWayMean | Form::ConsistencyMean | Form::AgreementMean => Icc {
            form,
            value: stepped_up(value, k),
            interval: interval.map(|(low, high)| (stepped_up(low, k), stepped_up(high, k))),
        },
    })
}

/// All six forms, in the order of [`Form::ALL`]. `None` where [`icc`] is.
#[must_use]
pub fn all(readings: &[Vec<f64>], confidence: f64) -> Option<[Icc; 6]> {
    let [a, b, c, d, e, f] = Form::ALL.map(|form| icc(readings, form, confidence));
    Some([a?, b?, c?, d?, e?, f?])
}

/// Reliability of a mean of `k` from that of one (Spearman–Brown).
fn stepped_up(single: f64, k: f64) -> f64 {
    k * single / (1.0 + (k - 1.0) * single)
}

fn one_error(subjects: f64, error: f64, k: f64) -> f64 {
    (subjects - error) / (subjects + (k - 1.0) * error)
}

/// The interval of the forms with one error term, from the ratio of two mean squares.
fn ratio(subjects: f64, error: f64, n: f64, df: f64, upper: f64, k: f64) -> Option<(f64, f64)> {
    if error <= 0.0 {
        return None;
    }
    let f = subjects / error;
    let low = f / quantile(upper, n - 1.0, df)?;
    let high = f * quantile(upper, df, n - 1.0)?;
    Some(((low - 1.0) / (low + k - 1.0), (high - 1.0) / (high + k - 1.0)))
}

/// The interval of ICC(2,1), by Satterthwaite's degrees of freedom (Shrout & Fleiss 1979, p. 424).
fn agreement_interval(squares: MeanSquares, value: f64, n: f64, k: f64, upper: f64) -> Option<(f64, f64)> {
    let MeanSquares { subjects, observers, residual, .. } = squares;
    if residual <= 0.0 {
        return None;
    }
    let f = observers / residual;
    let part = n * (1.0 + (k - 1.0) * value) - k * value;
    let above = (k - 1.0) * (n - 1.0) * (k * value * f + part).powi(2);
    let below = (n - 1.0) * (k * value * f).powi(2) + part * part;
    let df = above / below;
    let (first, second) = (quantile(upper, n - 1.0, df)?, quantile(upper, df, n - 1.0)?);
    let rest = k * observers + (k * n - k - n) * residual;
    Some((
        n * (subjects - first * residual) / (first * rest + n * subjects),
        n * (second * subjects - residual) / (rest + n * second * subjects),
    ))
}

fn quantile(p: f64, df1: f64, df2: f64) -> Option<f64> {
    FisherSnedecor::new(df1, df2).ok().map(|law| law.inverse_cdf(p))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn subjects_that_do_not_differ_leave_nothing_to_agree_on() {
        let flat = vec![vec![2.0, 3.0], vec![2.0, 3.0], vec![2.0, 3.0]];
        assert_eq!(icc(&flat, Form::AgreementSingle, 0.95), None);
        assert_eq!(icc(&flat[..1], Form::AgreementSingle, 0.95), None);
        assert_eq!(icc(&[vec![1.0, 2.0], vec![1.0]], Form::AgreementSingle, 0.95), None);
    }

    #[test]
    fn a_constant_shift_counts_against_agreement_and_not_against_consistency() {
        let shifted: Vec<Vec<f64>> = (0..8).map(|i| vec![f64::from(i), f64::from(i) + 3.0]).collect();
        let consistency = icc(&shifted, Form::ConsistencySingle, 0.95).unwrap();
        assert!((consistency.value - 1.0).abs() < 1e-12);
        assert!(icc(&shifted, Form::AgreementSingle, 0.95).unwrap().value < 0.6);
    }

    #[test]
    fn bands_begin_where_they_say() {
        let bands = [0.49, 0.5, 0.74, 0.75, 0.89, 0.9].map(Band::of);
        use Band::{Excellent, Good, Moderate, Poor};
        assert_eq!(bands, [Poor, Moderate, Moderate, Good, Good, Excellent]);
    }
}
