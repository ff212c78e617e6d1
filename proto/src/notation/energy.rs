//! Energy of a food: `1.35 kcal/g`, `135 kcal/100g`, `5.6 kJ/g`. It is kept in kcal per gram, the unit in
//! which needs are given.

/// Kilojoules in one kilocalorie: the thermochemical calorie is 4.184 J by definition.
pub const KJ_PER_KCAL: f64 = 4.184;

/// Why a text is no energy of a food. Each message says what to write instead.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EnergyError {
    /// A number without a unit, or with one that is none.
    #[error("`{0}` has no known unit; write one such as `1.35 kcal/g`, `565 kJ/100g` or `5.6 MJ/kg`")]
    NoUnit(String),
    /// No number.
    #[error("`{0}` is not a number; write digits with one decimal point, such as `1.35 kcal/g`")]
    NotANumber(String),
}

/// Reads the energy of a food with its unit: kcal, kJ or MJ per g, 100 g or kg. Answers kcal per gram.
///
/// # Errors
/// [`EnergyError`], whose message says what to write instead.
pub fn parse(text: &str) -> Result<f64, EnergyError> {
    let text = text.trim();
    let end = text.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    let value: f64 = number.parse().map_err(|_| EnergyError::NotANumber(text.to_owned()))?;
    let no_unit = || EnergyError::NoUnit(text.to_owned());
    let unit: String = unit.chars().filter(|c| !c.is_whitespace()).flat_map(char::to_lowercase).collect();
    let (energy, mass) = unit.split_once('/').ok_or_else(no_unit)?;
    let kcal = match energy {
        "kcal" => value,
        "kj" => value / KJ_PER_KCAL,
        "mj" => value * 1000.0 / KJ_PER_KCAL,
        _ => return Err(no_unit()),
    };
    match mass {
        "g" => Ok(kcal),
        "100g" => Ok(kcal / 100.0),
        "kg" => Ok(kcal / 1000.0),
        _ => Err(no_unit()),
    }
}

/// Prints kcal per gram to four digits after the point at most: `1.35 kcal/g`.
#[must_use]
pub fn print(kcal_per_g: f64) -> String {
    let digits = format!("{kcal_per_g:.4}");
    format!("{} kcal/g", digits.trim_end_matches('0').trim_end_matches('.'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_are_read_as_they_are_printed() {
        for (text, kcal_per_g) in [
            ("1.35 kcal/g", 1.35),
            ("135kcal/100g", 1.35),
            ("135 kcal / 100 g", 1.35),
            ("1350 kcal/kg", 1.35),
            ("4.184 kJ/g", 1.0),
            ("418.4 KJ/100g", 1.0),
            ("4.184 MJ/kg", 1.0),
            ("0 kcal/g", 0.0),
        ] {
            assert!((parse(text).unwrap() - kcal_per_g).abs() < 1e-12, "{text}");
        }
    }

    #[test]
    fn what_could_be_either_unit_is_refused() {
        for text in ["1.35", "1.35 cal/g", "1.35 kcal", "1.35 kcal/portion", "5 kJ/lb"] {
            assert_eq!(parse(text), Err(EnergyError::NoUnit(text.to_owned())));
        }
        for text in ["", "kcal/g", "1,35 kcal/g", "-1 kcal/g", "1.3.5 kcal/g"] {
            assert!(parse(text).is_err(), "{text}");
        }
    }

    #[test]
    fn it_is_printed_without_idle_digits() {
        for (kcal_per_g, text) in [(1.35, "1.35 kcal/g"), (2.0, "2 kcal/g"), (1.0 / 3.0, "0.3333 kcal/g")] {
            assert_eq!(print(kcal_per_g), text);
        }
    }
}
