//! Transponder codes, checked against ISO 11784.
//!
//! The code is 64 bits; of these, ten carry a country (ISO 3166-1 numeric) or manufacturer and 38 the
//! national identification. Its written form is three digits and twelve, zero-padded. A code stays a
//! string: leading zeros (036 is Australia) die in integers.

use std::fmt;

/// Largest national identification that 38 bits hold.
pub const NATIONAL_ID_MAX: u64 = (1 << 38) - 1;

/// Whose number a transponder carries.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Issuer {
    /// A country, by its ISO 3166-1 numeric code (three digits) and short English name.
    Country {
        /// Three digits.
        numeric: String,
        /// Short English name.
        name: &'static str,
    },
    /// A manufacturer, 900 to 998. 900 is shared by several.
    Manufacturer(u16),
    /// 999: a test code, which must not stand in a living animal.
    Test,
    /// Older than ISO 11784: nine or ten characters without an issuer.
    BeforeIso,
}

impl fmt::Display for Issuer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Country { numeric, name } => write!(f, "{name} ({numeric})"),
            Self::Manufacturer(code) => write!(f, "manufacturer {code}"),
            Self::Test => f.write_str("test code"),
            Self::BeforeIso => f.write_str("before ISO 11784"),
        }
    }
}

/// A transponder code that may stand in an animal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Transponder {
    /// The code without spaces, dots and hyphens, in capitals.
    pub code: String,
    /// Whose number it is.
    pub issuer: Issuer,
}

/// Why a text is no transponder code; [`TransponderError::mend`] says what to do instead.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TransponderError {
    /// Neither 15 digits nor 9 or 10 characters.
    #[error(
        "`{0}` has {1} characters, where an ISO 11784 code has 15 digits and older codes 9 or 10 characters"
    )]
    WrongLength(String, usize),
    /// Something other than digits in a 15-digit code, or other than letters and digits in an older one.
    #[error("`{0}` has characters that no transponder carries")]
    WrongCharacters(String),
    /// The first three digits are no issuer.
    #[error("`{0}` begins with {1}, which is neither a country (ISO 3166-1) nor a manufacturer (900 to 998)")]
    UnknownIssuer(String, String),
    /// More than 38 bits.
    #[error("`{0}` cannot be encoded: its last twelve digits are above 274877906943 (38 bits)")]
    NationalIdTooLarge(String),
}

impl TransponderError {
    /// What to do instead.
    #[must_use]
    pub const fn mend(&self) -> &'static str {
        match self {
            Self::WrongCharacters(_) => "enter the digits as the reader shows them",
            Self::WrongLength(..) | Self::UnknownIssuer(..) | Self::NationalIdTooLarge(_) => {
                "scan the transponder again"
            }
        }
    }
}

/// Reads a transponder code; spaces, dots and hyphens are left out.
///
/// # Errors
/// [`TransponderError`], which says what to do instead.
pub fn parse(text: &str) -> Result<Transponder, TransponderError> {
    let code: String = text
        .chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '.' | '-'))
        .map(|c| c.to_ascii_uppercase())
        .collect();
    match code.chars().count() {
        15 => iso(code),
        9 | 10 if code.bytes().all(|b| b.is_ascii_alphanumeric()) => {
            Ok(Transponder { code, issuer: Issuer::BeforeIso })
        }
        9 | 10 => Err(TransponderError::WrongCharacters(code)),
        n => Err(TransponderError::WrongLength(code, n)),
    }
}

fn iso(code: String) -> Result<Transponder, TransponderError> {
    if !code.bytes().all(|b| b.is_ascii_digit()) {
        return Err(TransponderError::WrongCharacters(code));
    }
    let (prefix, national) = code.split_at(3);
    let unknown = || TransponderError::UnknownIssuer(code.clone(), prefix.to_owned());
    let number: u16 = prefix.parse().map_err(|_| unknown())?;
    let issuer = match number {
        999 => Issuer::Test,
        900..=998 => Issuer::Manufacturer(number),
        _ => {
            let country = rust_iso3166::from_numeric(number).ok_or_else(unknown)?;
            Issuer::Country { numeric: prefix.to_owned(), name: country.name }
        }
    };
    if national.parse::<u64>().map_err(|_| unknown())? > NATIONAL_ID_MAX {
        return Err(TransponderError::NationalIdTooLarge(code));
    }
    Ok(Transponder { code, issuer })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The written form: three digits of issuer, twelve of national identification (ISO 11784).
    #[test]
    fn issuers_are_told_apart() {
        for (text, issuer) in [
            ("276 012345678901", "Germany (276)"),
            ("036-012345678901", "Australia (036)"),
            ("985112000123456", "manufacturer 985"),
            ("900000000000001", "manufacturer 900"),
            ("999000000000000", "test code"),
            ("00-01AB-CDEF", "before ISO 11784"),
        ] {
            assert_eq!(parse(text).map(|t| t.issuer.to_string()), Ok(issuer.to_owned()), "{text}");
        }
    }

    #[test]
    fn what_no_reader_shows_is_refused() {
        use TransponderError as E;
        assert!(matches!(parse("98511200012345"), Err(E::WrongLength(_, 14))));
        assert!(matches!(parse("98511200012345X"), Err(E::WrongCharacters(_))));
        assert!(matches!(parse("000112000123456"), Err(E::UnknownIssuer(..))));
        assert!(matches!(parse("899112000123456"), Err(E::UnknownIssuer(..))));
        assert!(matches!(parse("276274877906944"), Err(E::NationalIdTooLarge(_))));
        assert!(parse("276274877906943").is_ok());
        assert!(matches!(parse(""), Err(E::WrongLength(_, 0))));
    }

    proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "\\PC{0,20}") {
            let _ = parse(&text);
        }
    }
}
