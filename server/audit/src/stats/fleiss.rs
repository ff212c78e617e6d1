//! Agreement of many observers on categories.

/// Fleiss' kappa with the agreement on each subject.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Fleiss {
    /// 1 for perfect agreement, 0 for what chance gives.
    pub kappa: f64,
    /// For each subject, the share of pairs of observers that agree on it.
    pub per_subject: Vec<f64>,
}

/// Kappa of several observers (Fleiss 1971, Psychol Bull 76:378). Each row tells, for one subject, how
/// many observers chose each category; the observers need not be the same ones.
///
/// `None` without rows, with fewer than two observers, with rows of unequal sum, and where all chose one
/// category throughout.
#[must_use]
pub fn fleiss(rows: &[Vec<u32>]) -> Option<Fleiss> {
    let observers: u32 = rows.first()?.iter().sum();
    let width = rows.first()?.len();
    if observers < 2 || rows.iter().any(|row| row.len() != width || row.iter().sum::<u32>() != observers) {
        return None;
    }
    let m = f64::from(observers);
    let per_subject: Vec<f64> = rows
        .iter()
        .map(|row| {
            let squares: f64 = row.iter().map(|&n| f64::from(n).powi(2)).sum();
            (squares - m) / (m * (m - 1.0))
        })
        .collect();
    let subjects = super::count(rows.len());
    let expected: f64 = (0..width)
        .map(|category| {
            let chosen: f64 = rows.iter().map(|row| f64::from(row[category])).sum();
            (chosen / (subjects * m)).powi(2)
        })
        .sum();
    if expected >= 1.0 - f64::EPSILON {
        return None;
    }
    let observed = per_subject.iter().sum::<f64>() / subjects;
    Some(Fleiss { kappa: (observed - expected) / (1.0 - expected), per_subject })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_told_is_not_told() {
        assert_eq!(fleiss(&[]), None);
        assert_eq!(fleiss(&[vec![1, 0]]), None, "one observer");
        assert_eq!(fleiss(&[vec![2, 1], vec![2, 0]]), None, "unequal");
        assert_eq!(fleiss(&[vec![3, 0], vec![3, 0]]), None, "no variation");
    }
}
