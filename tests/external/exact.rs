//! Exact intervals of counts and shares against scipy 1.17.1 (chi-squared, beta and binomial
//! distributions).

use crate::table;
use holt_audit::stats::exact::{at_least, poisson_mean, share};

#[test]
fn intervals_and_tails_of_another_library() {
    for row in table::read("exact_intervals").rows() {
        let whole = |column: &str| row.text(column).parse().unwrap();
        let (k, n, level) = (whole("k"), whole("n"), row.number("level"));
        let (low, high) = match row.text("kind") {
            "poisson" => (poisson_mean(k, level).low, poisson_mean(k, level).high),
            "share" => (share(k, n, level).low, share(k, n, level).high),
            _ => (at_least(k, n, level), at_least(k, n, level)),
        };
        assert!((low - row.number("low")).abs() < 1e-8 * low.max(1.0), "{k} of {n}: {low}");
        assert!((high - row.number("high")).abs() < 1e-8 * high.max(1.0), "{k} of {n}: {high}");
    }
}
