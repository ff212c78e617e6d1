//! The standard normal distribution, to about ten significant digits (what the library's erfc gives).

use statrs::function::erf;
use std::f64::consts::SQRT_2;

/// Probability that a standard normal value is at most `z`.
#[must_use]
pub fn cdf(z: f64) -> f64 {
    0.5 * erf::erfc(-z / SQRT_2)
}

/// The value that a standard normal one stays below with probability `p`, for `0 < p < 1`.
#[must_use]
pub fn quantile(p: f64) -> f64 {
    -SQRT_2 * erf::erfc_inv(2.0 * p)
}

/// Probability of a standard normal value at least as far from zero as `z`, on either side.
#[must_use]
pub fn two_sided_p(z: f64) -> f64 {
    erf::erfc(z.abs() / SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// scipy 1.17.1, `scipy.stats.norm` and `scipy.special.erfc`.
    #[test]
    fn agrees_with_the_reference_library() {
        for (z, p) in [
            (-6.0, 9.865_876_450_376_946e-10),
            (-3.0, 0.001_349_898_031_630_093_3),
            (1.0, 0.841_344_746_068_542_9),
        ] {
            assert!((cdf(z) / p - 1.0).abs() < 1e-10, "{z}");
        }
        for (p, z) in [
            (1e-8, -5.612_001_244_174_789),
            (0.025, -1.959_963_984_540_054_5),
            (0.2, -0.841_621_233_572_914_2),
        ] {
            assert!((quantile(p) - z).abs() < 1e-13, "{p}");
        }
        assert!((two_sided_p(1.959_963_984_540_054) - 0.05).abs() < 1e-11);
    }

    #[test]
    fn quantile_undoes_cdf() {
        for step in -80..=80 {
            let z = f64::from(step) / 20.0;
            assert!((quantile(cdf(z)) - z).abs() < 1e-9, "{z}");
        }
    }
}
