//! Accession numbers: `QUI-26-0042` is the 42nd animal that site QUI took into its records in 2026.

use crate::notation::text::clipped;
use std::fmt;
use std::str::FromStr;

/// An accession number.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Accession {
    /// Code of the site: three capital letters.
    pub site: String,
    /// Last two digits of the year.
    pub year: u8,
    /// Serial within site and year, from 1.
    pub serial: u32,
}

/// The last serial of a year: no site takes in more, and the counter behind it has room to go on.
pub const LAST_SERIAL: u32 = 99_999;

/// Why a text is not an accession number.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not an accession number; they look like `QUI-26-0042`: site, year, serial up to 99999")]
pub struct AccessionError(String);

/// Whether a text is a site code: three capital letters A to Z.
#[must_use]
pub fn is_site_code(text: &str) -> bool {
    text.len() == 3 && text.bytes().all(|b| b.is_ascii_uppercase())
}

impl FromStr for Accession {
    type Err = AccessionError;

    fn from_str(text: &str) -> Result<Self, AccessionError> {
        let wrong = || AccessionError(clipped(text, 100).into_owned());
        let upper = text.trim().to_ascii_uppercase();
        let mut parts = upper.split('-');
        let (Some(site), Some(year), Some(serial), None) =
            (parts.next(), parts.next(), parts.next(), parts.next())
        else {
            return Err(wrong());
        };
        let digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
        if !is_site_code(site) || year.len() != 2 || serial.len() < 4 || !digits(year) || !digits(serial) {
            return Err(wrong());
        }
        let serial: u32 = serial.parse().map_err(|_| wrong())?;
        if !(1..=LAST_SERIAL).contains(&serial) {
            return Err(wrong());
        }
        Ok(Self { site: site.to_owned(), year: year.parse().map_err(|_| wrong())?, serial })
    }
}

impl fmt::Display for Accession {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-{:02}-{:04}", self.site, self.year, self.serial)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn case_does_not_matter_and_form_does() {
        let number = Accession { site: "QUI".into(), year: 26, serial: 42 };
        assert_eq!("qui-26-0042".parse(), Ok(number));
        for text in [
            "QUI-26-42",
            "QU-26-0042",
            "QUI-2026-0042",
            "QUI-26-0000",
            "QUI260042",
            "QUI-26-0042-1",
            "QUI-26-100000",
            "QUI-26-2147483647",
        ] {
            assert!(text.parse::<Accession>().is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn what_is_printed_reads_back(site in "[A-Z]{3}", year in 0_u8..100, serial in 1..=LAST_SERIAL) {
            let number = Accession { site, year, serial };
            prop_assert_eq!(number.to_string().parse(), Ok(number));
        }
    }
}
