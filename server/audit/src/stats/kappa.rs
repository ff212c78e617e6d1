//! Agreement of two observers on categories, beyond what chance would give.

use super::normal;

/// How often the first observer said the row and the second the column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CrossTable {
    categories: usize,
    counts: Vec<u32>,
}

impl CrossTable {
    /// Counts pairs of categories, each numbered from 0. `None` if a category is not below `categories`.
    #[must_use]
    pub fn of_pairs(categories: usize, pairs: &[(usize, usize)]) -> Option<Self> {
        let mut counts = vec![0; categories * categories];
        for &(first, second) in pairs {
            if first >= categories || second >= categories {
                return None;
            }
            counts[first * categories + second] += 1;
        }
        Some(Self { categories, counts })
    }

    fn cells(&self) -> impl Iterator<Item = (usize, usize, f64)> {
        let k = self.categories;
        self.counts.iter().enumerate().map(move |(at, &n)| (at / k, at % k, f64::from(n)))
    }
}

/// How much each kind of disagreement weighs. Agreement weighs nothing.
#[derive(Clone, Debug, PartialEq)]
pub enum Disagreement {
    /// Every disagreement the same: Cohen 1960 (Educ Psychol Meas 20:37).
    Equal,
    /// By the distance of the categories.
    Linear,
    /// By its square: for ordered categories this is close to an intraclass correlation
    /// (Fleiss & Cohen 1973, Educ Psychol Meas 33:613).
    Quadratic,
    /// As given, row by row: Cohen 1968 (Psychol Bull 70:213).
    Given(Vec<f64>),
}

impl Disagreement {
    fn weight(&self, categories: usize, row: usize, column: usize) -> f64 {
        let apart = super::count(row.abs_diff(column));
        match self {
            Self::Equal => f64::from(u8::from(row != column)),
            Self::Linear => apart,
            Self::Quadratic => apart * apart,
            Self::Given(weights) => weights.get(row * categories + column).copied().unwrap_or(f64::NAN),
        }
    }
}

/// A kappa with what it was made of.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Kappa {
    /// 1 for perfect agreement, 0 for what chance gives, below 0 for less.
    pub kappa: f64,
    /// Weighted share of pairs that agree.
    pub observed: f64,
    /// What that share would be by chance.
    pub expected: f64,
    /// Standard error for large samples (Fleiss, Cohen & Everitt 1969, Psychol Bull 72:323).
    pub standard_error: f64,
    /// Ends of the interval that the standard error gives, kept within -1 and 1.
    pub interval: (f64, f64),
    /// Pairs.
    pub pairs: u32,
}

/// Kappa of a table, with an interval of the given `confidence` (between 0 and 1).
///
/// `None` without pairs, and where both observers used one and the same category throughout: chance
/// would agree as often as they did, and kappa is 0/0.
#[must_use]
pub fn cohen(table: &CrossTable, disagreement: &Disagreement, confidence: f64) -> Option<Kappa> {
    let k = table.categories;
    let pairs: u32 = table.counts.iter().sum();
    let n = f64::from(pairs);
    let weight = |i, j| disagreement.weight(k, i, j);
    let heaviest = table.cells().map(|(i, j, _)| weight(i, j)).fold(0.0, f64::max);
    if pairs == 0 || heaviest <= 0.0 {
        return None;
    }
    let agreement = |i, j| 1.0 - weight(i, j) / heaviest;
    let (mut rows, mut columns) = (vec![0.0; k], vec![0.0; k]);
    for (i, j, count) in table.cells() {
        rows[i] += count / n;
        columns[j] += count / n;
    }
    let observed: f64 = table.cells().map(|(i, j, count)| agreement(i, j) * count / n).sum();
    let expected: f64 = table.cells().map(|(i, j, _)| agreement(i, j) * rows[i] * columns[j]).sum();
    if expected >= 1.0 - f64::EPSILON {
        return None;
    }
    let kappa = (observed - expected) / (1.0 - expected);

    // Mean agreement weight of a row and of a column under the other observer's habits.
    let of_row: Vec<f64> = (0..k).map(|i| (0..k).map(|j| agreement(i, j) * columns[j]).sum()).collect();
    let of_column: Vec<f64> = (0..k).map(|j| (0..k).map(|i| agreement(i, j) * rows[i]).sum()).collect();
    let spread: f64 = table
        .cells()
        .map(|(i, j, count)| {
            count / n * (agreement(i, j) - (of_row[i] + of_column[j]) * (1.0 - kappa)).powi(2)
        })
        .sum();
    let centre = kappa - expected * (1.0 - kappa);
    let variance = (spread - centre * centre) / (n * (1.0 - expected).powi(2));
    // Perfect agreement leaves a variance of zero, and rounding may leave less.
    let standard_error = variance.max(0.0).sqrt();
    let reach = normal::quantile(0.5 + confidence / 2.0) * standard_error;
    Some(Kappa {
        kappa,
        observed,
        expected,
        standard_error,
        interval: ((kappa - reach).max(-1.0), (kappa + reach).min(1.0)),
        pairs,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn without_variation_there_is_no_kappa() {
        let same = CrossTable::of_pairs(3, &[(1, 1); 12]).unwrap();
        assert_eq!(cohen(&same, &Disagreement::Equal, 0.95), None);
        assert_eq!(cohen(&CrossTable::of_pairs(3, &[]).unwrap(), &Disagreement::Equal, 0.95), None);
        assert_eq!(CrossTable::of_pairs(3, &[(0, 3)]), None);
    }

    #[test]
    fn constant_but_different_observers_agree_no_better_than_chance() {
        let apart = CrossTable::of_pairs(2, &[(0, 1); 9]).unwrap();
        let told = cohen(&apart, &Disagreement::Equal, 0.95).unwrap();
        assert!(told.kappa.abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn observers_may_be_exchanged(pairs in prop::collection::vec((0_usize..4, 0_usize..4), 2..60)) {
            let swapped: Vec<_> = pairs.iter().map(|&(a, b)| (b, a)).collect();
            for disagreement in [Disagreement::Equal, Disagreement::Linear, Disagreement::Quadratic] {
                let of = |pairs: &[_]| cohen(&CrossTable::of_pairs(4, pairs).unwrap(), &disagreement, 0.95);
                match (of(&pairs), of(&swapped)) {
                    (Some(one), Some(other)) => {
                        prop_assert!((one.kappa - other.kappa).abs() < 1e-9);
                        let variance = |of: Kappa| of.standard_error * of.standard_error;
                        prop_assert!((variance(one) - variance(other)).abs() < 1e-12);
                        prop_assert!(one.kappa <= 1.0 + 1e-12);
                    }
                    (one, other) => prop_assert_eq!(one, other),
                }
            }
        }
    }
}
