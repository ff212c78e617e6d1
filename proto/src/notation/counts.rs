//! Counts by sex: `3.4.2`, males.females.unknown, as the trade writes them. Not a version number.

use crate::v1::Counts;
use std::fmt;

/// Why a text is no count by sex.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a count by sex; write males.females.unknown, such as `3.4.2`")]
pub struct CountsError(String);

/// Reads `3.4.2`.
///
/// # Errors
/// [`CountsError`] unless it is three whole numbers, each at least 0, between points.
pub fn parse(text: &str) -> Result<Counts, CountsError> {
    let wrong = || CountsError(text.to_owned());
    let mut parts = text.trim().split('.').map(|part| {
        if part.is_empty() || !part.bytes().all(|b| b.is_ascii_digit()) {
            return Err(wrong());
        }
        part.parse::<i64>().map_err(|_| wrong())
    });
    let mut next = || parts.next().ok_or_else(wrong)?;
    let counts = Counts { males: next()?, females: next()?, unknown: next()? };
    if parts.next().is_some() { Err(wrong()) } else { Ok(counts) }
}

impl fmt::Display for Counts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}.{}", self.males, self.females, self.unknown)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn only_three_numbers_are_a_count() {
        assert_eq!(parse("3.4.2"), Ok(Counts { males: 3, females: 4, unknown: 2 }));
        for text in ["3.4", "3.4.2.1", "3..2", "-1.0.0", "a.b.c", "", "3.4.+2"] {
            assert!(parse(text).is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn what_is_printed_reads_back(males in 0..i64::MAX, females in 0..i64::MAX, unknown in 0..i64::MAX) {
            let counts = Counts { males, females, unknown };
            prop_assert_eq!(parse(&counts.to_string()), Ok(counts));
        }
    }
}
