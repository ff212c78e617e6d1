//! Linear least squares by Householder QR on scaled columns.
//!
//! Source: Golub & Van Loan, Matrix Computations, 4th ed., §5.2–5.3. QR instead of the normal
//! equations, because those lose half of the digits (see the Pontius check).

use super::count;

/// Coefficients of a linear model with what is needed to say how sure they are.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// One per column of the design, in units of y per unit of that column.
    pub coefficients: Vec<f64>,
    /// (XᵀX)⁻¹, row by row (k × k): the covariance of the coefficients for readings of variance 1.
    pub inverse_gram: Vec<f64>,
    /// Standard deviation of the residuals, in the unit of y; zero where no degree of freedom is left.
    pub residual_sd: f64,
    /// Readings minus coefficients.
    pub degrees_of_freedom: usize,
}

impl Fit {
    /// Standard error of one coefficient, by the residuals' own spread.
    #[must_use]
    pub fn standard_error(&self, coefficient: usize) -> f64 {
        self.residual_sd * self.unit_error(coefficient)
    }

    /// Standard error of one coefficient for readings of variance 1.
    #[must_use]
    pub fn unit_error(&self, coefficient: usize) -> f64 {
        self.inverse_gram[coefficient * (self.coefficients.len() + 1)].sqrt()
    }
}

/// Fits `ys` to the columns of `design`, given row by row with as many entries per row as there are
/// `columns`. `None` with fewer rows than columns, or when the columns do not determine the
/// coefficients.
#[must_use]
pub fn fit(design: &[f64], columns: usize, ys: &[f64]) -> Option<Fit> {
    let rows = ys.len();
    debug_assert_eq!(design.len(), rows * columns, "one row of the design per reading");
    if columns == 0 || rows < columns {
        return None;
    }
    let scales: Vec<f64> = (0..columns)
        .map(|j| (0..rows).map(|i| design[i * columns + j].powi(2)).sum::<f64>().sqrt())
        .collect();
    if scales.contains(&0.0) {
        return None;
    }
    let mut work: Vec<f64> =
        design.iter().enumerate().map(|(place, entry)| entry / scales[place % columns]).collect();
    let mut rest = ys.to_vec();
    let diagonal = triangularise(&mut work, columns, &mut rest)?;
    let upper = |i: usize, j: usize| if i == j { diagonal[i] } else { work[i * columns + j] };

    let mut coefficients = vec![0.0; columns];
    for i in (0..columns).rev() {
        let known: f64 = (i + 1..columns).map(|j| upper(i, j) * coefficients[j]).sum();
        coefficients[i] = (rest[i] - known) / diagonal[i];
    }
    let degrees_of_freedom = rows - columns;
    let squares: f64 = rest[columns..].iter().map(|r| r * r).sum();
    let variance = if degrees_of_freedom == 0 { 0.0 } else { squares / count(degrees_of_freedom) };

    let mut inverse = vec![0.0; columns * columns];
    for j in 0..columns {
        inverse[j * columns + j] = 1.0 / diagonal[j];
        for i in (0..j).rev() {
            let known: f64 = (i + 1..=j).map(|l| upper(i, l) * inverse[l * columns + j]).sum();
            inverse[i * columns + j] = -known / diagonal[i];
        }
    }
    let mut inverse_gram = vec![0.0; columns * columns];
    for i in 0..columns {
        for j in 0..columns {
            let dot: f64 =
                (i.max(j)..columns).map(|l| inverse[i * columns + l] * inverse[j * columns + l]).sum();
            inverse_gram[i * columns + j] = dot / (scales[i] * scales[j]);
        }
        coefficients[i] /= scales[i];
    }
    Some(Fit { coefficients, inverse_gram, residual_sd: variance.sqrt(), degrees_of_freedom })
}

/// Reflects `work` to upper triangular form and `rest` along with it. Returns the diagonal; the
/// entries above it are left in `work`.
fn triangularise(work: &mut [f64], columns: usize, rest: &mut [f64]) -> Option<Vec<f64>> {
    let rows = rest.len();
    let mut diagonal = Vec::with_capacity(columns);
    for k in 0..columns {
        let length = (k..rows).map(|i| work[i * columns + k].powi(2)).sum::<f64>().sqrt();
        // Columns have length 1 before reflection: what is left of one that the earlier ones explain
        // is rounding.
        if length < 1e-13 {
            return None;
        }
        let pivot = work[k * columns + k];
        let end = if pivot > 0.0 { -length } else { length };
        work[k * columns + k] = pivot - end;
        let scale = end * (end - pivot);
        for j in k + 1..columns {
            let dot: f64 = (k..rows).map(|i| work[i * columns + k] * work[i * columns + j]).sum();
            for i in k..rows {
                work[i * columns + j] -= work[i * columns + k] * (dot / scale);
            }
        }
        let dot: f64 = (k..rows).map(|i| work[i * columns + k] * rest[i]).sum();
        for i in k..rows {
            rest[i] -= work[i * columns + k] * (dot / scale);
        }
        diagonal.push(end);
    }
    Some(diagonal)
}

/// Straight line of `ys` on `xs`: coefficients are intercept and slope.
#[must_use]
pub fn line(xs: &[f64], ys: &[f64]) -> Option<Fit> {
    let design: Vec<f64> = xs.iter().flat_map(|&x| [1.0, x]).collect();
    fit(&design, 2, ys)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn refuses_what_the_readings_do_not_determine() {
        assert_eq!(line(&[1.0], &[2.0]), None);
        assert_eq!(line(&[4.0, 4.0, 4.0], &[1.0, 2.0, 3.0]), None);
        assert_eq!(fit(&[0.0, 0.0], 1, &[1.0, 2.0]), None);
    }

    #[test]
    fn two_readings_give_a_line_and_no_certainty() {
        let told = line(&[0.0, 7.0], &[100.0, 93.0]).unwrap();
        assert!((told.coefficients[1] + 1.0).abs() < 1e-12);
        assert_eq!(told.degrees_of_freedom, 0);
        assert!(told.standard_error(1).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn residuals_stand_at_right_angles_to_the_design(
            ys in proptest::collection::vec(-50.0..50.0f64, 5..40),
        ) {
            let design: Vec<f64> = (0u32..)
                .take(ys.len())
                .flat_map(|i| [1.0, f64::from(i), (f64::from(i) / 3.0).sin()])
                .collect();
            let told = fit(&design, 3, &ys).unwrap();
            for column in 0..3 {
                let dot: f64 = ys
                    .iter()
                    .enumerate()
                    .map(|(i, y)| {
                        let row = &design[i * 3..i * 3 + 3];
                        let fitted: f64 = row.iter().zip(&told.coefficients).map(|(a, b)| a * b).sum();
                        (y - fitted) * row[column]
                    })
                    .sum();
                prop_assert!(dot.abs() < 1e-7, "column {column}: {dot}");
            }
        }
    }
}
