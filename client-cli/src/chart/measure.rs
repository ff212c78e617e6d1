//! What is measured, and how its numbers are written.

use holt_proto::notation::mass;

/// What is measured. Values are numbers in the unit that is named.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Measure {
    /// Weight, mg.
    Weight,
}

/// The unit of an axis: how many of the measure's own make one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Unit {
    pub(crate) size: f64,
    pub(crate) symbol: &'static str,
}

impl Measure {
    /// `Weight`.
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Weight => "Weight",
        }
    }

    /// The unit that makes numbers of such a size short.
    pub(crate) fn unit(self, size: f64) -> Unit {
        match self {
            Self::Weight if size.abs() >= 1e6 => Unit { size: 1e6, symbol: "kg" },
            Self::Weight if size.abs() >= 1e3 => Unit { size: 1e3, symbol: "g" },
            Self::Weight => Unit { size: 1.0, symbol: "mg" },
        }
    }

    /// A value as it is on record: `1.424 kg`.
    pub(crate) fn spoken(self, value: f64) -> String {
        match self {
            #[expect(clippy::cast_possible_truncation, reason = "milligrams of an animal")]
            Self::Weight => mass::print(value.round() as i64),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_written_in_a_unit_that_fits_them() {
        for (measure, value, text, symbol) in [
            (Measure::Weight, 1_424_000.0, "1.424 kg", "kg"),
            (Measure::Weight, 385_000.0, "385 g", "g"),
            (Measure::Weight, 900.0, "900 mg", "mg"),
        ] {
            assert_eq!((measure.spoken(value).as_str(), measure.unit(value).symbol), (text, symbol));
        }
    }
}
