//! Logistic regression with weights that may not be negative.
//!
//! Iteratively reweighted least squares (McCullagh & Nelder 1989, Generalized Linear Models, 2nd ed.,
//! §2.5); a weight that comes out negative is held at zero and the rest are fitted again.

use holt_audit::stats::least_squares;

/// Intercept and weights. `rows` are the strengths of all parts, `outcomes` whether it was so.
pub(crate) fn logistic(rows: &[Vec<f64>], outcomes: &[bool]) -> Option<(f64, Vec<f64>)> {
    let width = rows.first()?.len();
    let mut used: Vec<usize> = (0..width).collect();
    loop {
        let fitted = unrestricted(rows, outcomes, &used)?;
        let Some(worst) = (1..fitted.len()).min_by(|&a, &b| fitted[a].total_cmp(&fitted[b])) else { break };
        if fitted[worst] >= 0.0 {
            let mut weights = vec![0.0; width];
            for (column, weight) in used.iter().zip(&fitted[1..]) {
                weights[*column] = *weight;
            }
            return Some((fitted[0], weights));
        }
        used.remove(worst - 1);
    }
    Some((unrestricted(rows, outcomes, &[])?[0], vec![0.0; width]))
}

fn unrestricted(rows: &[Vec<f64>], outcomes: &[bool], used: &[usize]) -> Option<Vec<f64>> {
    let columns = used.len() + 1;
    let mut fitted = vec![0.0; columns];
    for _ in 0..30 {
        let mut design = Vec::with_capacity(rows.len() * columns);
        let mut target = Vec::with_capacity(rows.len());
        for (row, outcome) in rows.iter().zip(outcomes) {
            let odds = fitted[0] + used.iter().zip(&fitted[1..]).map(|(&c, w)| row[c] * w).sum::<f64>();
            let p = 1.0 / (1.0 + (-odds).exp());
            let spread = (p * (1.0 - p)).max(1e-9);
            let root = spread.sqrt();
            design.push(root);
            design.extend(used.iter().map(|&c| root * row[c]));
            target.push(root * (odds + (f64::from(u8::from(*outcome)) - p) / spread));
        }
        let next = least_squares::fit(&design, columns, &target)?.coefficients;
        let moved = next.iter().zip(&fitted).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        fitted = next;
        if moved < 1e-8 {
            return Some(fitted);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use holt_audit::chance::Chance;

    #[test]
    fn known_weights_are_found_again_and_harmful_ones_held_at_zero() {
        let mut chance = Chance::seeded(1);
        let rows: Vec<Vec<f64>> =
            (0..20_000).map(|_| (0..3).map(|_| 3.0 * chance.unit()).collect()).collect();
        let outcomes: Vec<bool> = rows
            .iter()
            .map(|row| {
                let odds = -3.0 + 1.5 * row[0] + 0.5 * row[1];
                chance.happens(1.0 / (1.0 + f64::exp(-odds)))
            })
            .collect();
        let (intercept, weights) = logistic(&rows, &outcomes).unwrap();
        assert!((intercept + 3.0).abs() < 0.15, "{intercept}");
        assert!((weights[0] - 1.5).abs() < 0.08 && (weights[1] - 0.5).abs() < 0.08, "{weights:?}");
        assert!(weights[2].abs() < 0.06);

        let reversed: Vec<Vec<f64>> = rows.iter().map(|row| vec![-row[0], row[1]]).collect();
        let (_, weights) = logistic(&reversed, &outcomes).unwrap();
        assert!(weights[0].abs() < 1e-12, "{weights:?}");
    }
}
