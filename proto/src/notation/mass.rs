//! Masses: `4.2kg`, `385 g`, `9 lb 3 oz`.
//!
//! The arithmetic is exact: decimals are read as digits, never as floating point, and a mass finer than
//! a milligram is refused unless it comes from pounds and ounces, whose fractions of a milligram are
//! rounded to the nearest.

use std::fmt;

/// A unit of mass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Kilogram.
    Kg,
    /// Gram.
    G,
    /// Milligram.
    Mg,
    /// Tonne, 1000 kg.
    T,
    /// Avoirdupois pound, 0.45359237 kg exactly (International Yard and Pound Agreement, 1959).
    Lb,
    /// Avoirdupois ounce, a sixteenth of a pound.
    Oz,
}

impl Unit {
    /// Picograms in one of it: an ounce is 28 349.523125 mg, so nine decimals below a milligram are exact.
    const fn picograms(self) -> i128 {
        const MG: i128 = 1_000_000_000;
        match self {
            Self::Mg => MG,
            Self::G => 1_000 * MG,
            Self::Kg => 1_000_000 * MG,
            Self::T => 1_000_000_000 * MG,
            Self::Lb => 453_592_370_000_000,
            Self::Oz => 28_349_523_125_000,
        }
    }

    const fn is_imperial(self) -> bool {
        matches!(self, Self::Lb | Self::Oz)
    }

    /// Reads a unit: `kg`, `g`, `mg`, `t`, `lb`, `lbs`, `oz`, in any case.
    ///
    /// # Errors
    /// [`MassError::UnknownUnit`] for anything else.
    pub fn parse(text: &str) -> Result<Self, MassError> {
        match text.to_ascii_lowercase().as_str() {
            "kg" | "kgs" => Ok(Self::Kg),
            "g" | "gr" | "gram" | "grams" => Ok(Self::G),
            "mg" => Ok(Self::Mg),
            "t" => Ok(Self::T),
            "lb" | "lbs" => Ok(Self::Lb),
            "oz" => Ok(Self::Oz),
            _ => Err(MassError::UnknownUnit(text.to_owned())),
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Kg => "kg",
            Self::G => "g",
            Self::Mg => "mg",
            Self::T => "t",
            Self::Lb => "lb",
            Self::Oz => "oz",
        })
    }
}

/// Why a text is no mass. Each message says what to write instead.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MassError {
    /// Nothing there.
    #[error("no weight given; write it with its unit, such as `4.2kg` or `385 g`")]
    Empty,
    /// A number without a unit, where none was declared.
    #[error("`{0}` has no unit; write `{0}kg` or `{0}g`, or declare one unit for the whole round")]
    NoUnit(String),
    /// A unit that is not known.
    #[error("`{0}` is not a unit of mass; use kg, g, mg, t, lb or oz")]
    UnknownUnit(String),
    /// No number.
    #[error("`{0}` is not a number; write digits with one decimal point, such as `4.2`")]
    NotANumber(String),
    /// Could be a decimal comma or a thousands separator.
    #[error("`{0}` could mean a decimal or thousands; write a decimal point, such as `1.2`, or `1200`")]
    AmbiguousComma(String),
    /// Metric and finer than a milligram.
    #[error("`{0}` is finer than a milligram; give at most whole milligrams")]
    TooFine(String),
    /// More than an `i64` of milligrams holds.
    #[error("`{0}` is larger than any weight that Holt keeps")]
    TooLarge(String),
    /// A sign, or units that do not go together.
    #[error("`{0}` is not a weight; write one such as `4.2kg`, `385 g` or `9 lb 3 oz`")]
    Unclear(String),
}

/// Reads a mass with its unit, or with `declared` where the text has none. Answers whole milligrams,
/// which may be 0: whether a mass makes sense for an animal is not a matter of notation.
///
/// # Errors
/// [`MassError`], whose message says what to write instead.
pub fn parse(text: &str, declared: Option<Unit>) -> Result<i64, MassError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(MassError::Empty);
    }
    let (negative, body) = match text.strip_prefix('-').or_else(|| text.strip_prefix('\u{2212}')) {
        Some(rest) => (true, rest.trim_start()),
        None => (false, text),
    };
    let mut total: i128 = 0;
    let mut imperial = false;
    let mut last: Option<Unit> = None;
    let mut rest = body;
    while !rest.is_empty() {
        let end = rest.find(|c: char| !is_number_part(c)).unwrap_or(rest.len());
        let (number, tail) = rest.split_at(end);
        let tail = tail.trim_start();
        let unit_end = tail.find(|c: char| !c.is_alphabetic()).unwrap_or(tail.len());
        let (unit_text, after) = tail.split_at(unit_end);
        if number.is_empty() {
            return Err(if unit_text.is_empty() {
                MassError::Unclear(text.to_owned())
            } else {
                MassError::NotANumber(text.to_owned())
            });
        }
        let unit = if unit_text.is_empty() {
            declared.ok_or_else(|| MassError::NoUnit(number.to_owned()))?
        } else {
            Unit::parse(unit_text)?
        };
        // Two parts are understood only as pounds and then ounces.
        match (last, unit) {
            (None, _) | (Some(Unit::Lb), Unit::Oz) => {}
            _ => return Err(MassError::Unclear(text.to_owned())),
        }
        imperial |= unit.is_imperial();
        total = total
            .checked_add(picograms(number, unit, text)?)
            .ok_or_else(|| MassError::TooLarge(text.to_owned()))?;
        last = Some(unit);
        rest = after.trim_start();
    }
    let mg = to_milligrams(total, imperial, text)?;
    Ok(if negative { -mg } else { mg })
}

const fn is_number_part(c: char) -> bool {
    c.is_ascii_digit() || c == '.' || c == ','
}

fn to_milligrams(picograms: i128, imperial: bool, text: &str) -> Result<i64, MassError> {
    const MG: i128 = Unit::Mg.picograms();
    let (whole, part) = (picograms / MG, picograms % MG);
    if part != 0 && !imperial {
        return Err(MassError::TooFine(text.to_owned()));
    }
    let rounded = if part * 2 >= MG { whole + 1 } else { whole };
    i64::try_from(rounded).map_err(|_| MassError::TooLarge(text.to_owned()))
}

fn picograms(number: &str, unit: Unit, text: &str) -> Result<i128, MassError> {
    let not_a_number = || MassError::NotANumber(number.to_owned());
    let (whole, decimals) = match (number.find('.'), number.find(',')) {
        (None, None) => (number, ""),
        (Some(at), None) => (&number[..at], &number[at + 1..]),
        (None, Some(at)) => {
            let decimals = &number[at + 1..];
            // Thousands never begin with 0: `0,705` is a decimal.
            if decimals.len() == 3 && !number[..at].bytes().all(|byte| byte == b'0') {
                return Err(MassError::AmbiguousComma(number.to_owned()));
            }
            (&number[..at], decimals)
        }
        (Some(_), Some(_)) => return Err(MassError::AmbiguousComma(number.to_owned())),
    };
    let digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    if (whole.is_empty() && decimals.is_empty()) || !digits(whole) || !digits(decimals) {
        return Err(not_a_number());
    }
    let decimals = decimals.trim_end_matches('0');
    if decimals.len() > 12 {
        return Err(MassError::TooFine(text.to_owned()));
    }
    let too_large = || MassError::TooLarge(text.to_owned());
    let value = |part: &str| -> Result<i128, MassError> {
        if part.is_empty() { Ok(0) } else { part.parse().map_err(|_| too_large()) }
    };
    let scale = 10_i128.pow(u32::try_from(decimals.len()).map_err(|_| too_large())?);
    let scaled = value(whole)?
        .checked_mul(scale)
        .and_then(|w| w.checked_add(value(decimals).ok()?))
        .and_then(|v| v.checked_mul(unit.picograms()))
        .ok_or_else(too_large)?;
    Ok(scaled / scale)
}

/// Prints a mass in the largest metric unit in which it is not below 1, with all its digits:
/// `4.2 kg`, `385 g`, `12.5 g`, `3 mg`.
#[must_use]
pub fn print(mg: i64) -> String {
    let (sign, mg) = if mg < 0 { ("-", mg.unsigned_abs()) } else { ("", mg.unsigned_abs()) };
    let (per, unit, width) = match mg {
        0..1_000 => (1, "mg", 0),
        1_000..1_000_000 => (1_000, "g", 3),
        1_000_000.. => (1_000_000, "kg", 6),
    };
    let decimals = if width == 0 { String::new() } else { format!("{:0width$}", mg % per) };
    let decimals = decimals.trim_end_matches('0');
    let point = if decimals.is_empty() { "" } else { "." };
    format!("{sign}{}{point}{decimals} {unit}", mg / per)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn masses_are_read_with_their_units() {
        for (text, mg) in [
            ("4.2kg", 4_200_000),
            ("385 g", 385_000),
            ("385G", 385_000),
            ("  0.385 kg ", 385_000),
            ("12,5 g", 12_500),
            ("0,705 kg", 705_000),
            (".5kg", 500_000),
            ("5.kg", 5_000_000),
            ("3 mg", 3),
            ("1.25 t", 1_250_000_000),
            // 1 lb = 453.59237 g exactly, 1 oz = 28.349523125 g exactly.
            ("1 lb", 453_592),
            ("2lb", 907_185),
            ("9 lb 3 oz", 4_167_380),
            ("9lb3oz", 4_167_380),
            ("16 oz", 453_592),
            ("-1 kg", -1_000_000),
            ("0 g", 0),
        ] {
            assert_eq!(parse(text, None), Ok(mg), "{text}");
        }
    }

    #[test]
    fn what_is_no_mass_is_told_why() {
        use MassError as E;
        for (text, error) in [
            ("", E::Empty),
            ("4.2", E::NoUnit("4.2".into())),
            ("4.2 stone", E::UnknownUnit("stone".into())),
            ("heavy", E::NotANumber("heavy".into())),
            ("4.2.1kg", E::NotANumber("4.2.1".into())),
            ("1,200 g", E::AmbiguousComma("1,200".into())),
            ("1.200,5 g", E::AmbiguousComma("1.200,5".into())),
            ("0.5 mg", E::TooFine("0.5 mg".into())),
            ("4 kg 200 g", E::Unclear("4 kg 200 g".into())),
            ("3 oz 9 lb", E::Unclear("3 oz 9 lb".into())),
            ("99999999999999 t", E::TooLarge("99999999999999 t".into())),
            ("?", E::Unclear("?".into())),
        ] {
            assert_eq!(parse(text, None), Err(error), "{text}");
        }
    }

    #[test]
    fn a_declared_unit_stands_in_for_a_missing_one_only() {
        assert_eq!(parse("385", Some(Unit::G)), Ok(385_000));
        assert_eq!(parse("0.385 kg", Some(Unit::G)), Ok(385_000));
    }

    #[test]
    fn masses_print_in_the_unit_they_are_read_in() {
        for (mg, text) in [
            (4_200_000, "4.2 kg"),
            (385_000, "385 g"),
            (12_500, "12.5 g"),
            (999_999, "999.999 g"),
            (1_000_000, "1 kg"),
            (3, "3 mg"),
            (0, "0 mg"),
            (-4_200_000, "-4.2 kg"),
        ] {
            assert_eq!(print(mg), text);
        }
    }

    proptest! {
        #[test]
        fn what_is_printed_reads_back(mg in -10_i64.pow(15)..10_i64.pow(15)) {
            prop_assert_eq!(parse(&print(mg), None), Ok(mg));
        }

        #[test]
        fn no_text_makes_it_panic(text in "\\PC{0,20}") {
            let _ = parse(&text, Some(Unit::G));
        }
    }
}
