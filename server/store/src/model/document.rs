//! What has versions and is shared among sites, or kept by one for itself: protocols, ethograms, reference curves of
//! growth; and by which version a site works.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A kind of document.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    Protocol,
    Ethogram,
    GrowthReference,
    Standard,
}

impl Kind {
    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Protocol => "protocol",
            Self::Ethogram => "ethogram",
            Self::GrowthReference => "growth_reference",
            Self::Standard => "standard",
        }
    }

    /// As people say it.
    #[must_use]
    pub const fn spoken(self) -> &'static str {
        match self {
            Self::Protocol => "protocol",
            Self::Ethogram => "ethogram",
            Self::GrowthReference => "reference curve",
            Self::Standard => "standard",
        }
    }
}

/// A version of a document on record.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Kept<D> {
    pub id: Uuid,
    pub document: D,
}

/// Why a version is the one that counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// The site had adopted it.
    Adopted,
    /// The site had adopted none: it is the last.
    Last,
    /// The site had adopted none: it is the one that was named.
    Named,
}

/// A version that a site works by from a day on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Adoption {
    pub version: i32,
    pub on: NaiveDate,
    pub at: DateTime<Utc>,
    /// Name of who recorded it; empty where the reader may not know.
    pub by: String,
}

/// A document, and by which version of it a site works on a day.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct InUse {
    pub kind: Kind,
    pub code: String,
    /// Title of the version in use.
    pub title: String,
    pub version: i32,
    pub basis: Basis,
    /// The last version there is.
    pub last: i32,
    /// What the site adopted and when, the earliest day first.
    pub adoptions: Vec<Adoption>,
}

/// The one that counts on a day: the last of those adopted until then.
#[must_use]
pub fn on(adoptions: &[Adoption], day: NaiveDate) -> Option<&Adoption> {
    adoptions.iter().filter(|one| one.on <= day).max_by_key(|one| one.on)
}

/// Code of the site whose own a document is, as its code begins; none for one that all sites share.
#[must_use]
pub fn owner(code: &str) -> Option<String> {
    let (site, _) = code.split_once('-')?;
    (site.len() == 3 && site.bytes().all(|b| b.is_ascii_lowercase())).then(|| site.to_ascii_uppercase())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_code_of_a_sites_own_document_begins_with_the_sites() {
        assert_eq!(owner("qui-otter"), Some("QUI".to_owned()));
        for shared in ["otter-watch", "small-carnivore", "qui", "q1i-otter", ""] {
            assert_eq!(owner(shared), None, "{shared}");
        }
    }

    #[test]
    fn the_last_adopted_until_a_day_counts_on_it() {
        let day = |n| NaiveDate::from_ymd_opt(2026, 3, n).unwrap();
        let one = |version, n| Adoption { version, on: day(n), at: DateTime::UNIX_EPOCH, by: String::new() };
        let all = [one(1, 3), one(3, 9), one(2, 6)];
        let version = |n| on(&all, day(n)).map(|one| one.version);
        assert_eq!(
            [2, 3, 5, 6, 8, 9, 30].map(version),
            [None, Some(1), Some(1), Some(2), Some(2), Some(3), Some(3)]
        );
    }
}
