//! The chain of seals: each says what the tree was, and names the seal before it by its digest. A seal can
//! be kept on paper and checked years later.

use super::{Hash, Seal};
use chrono::{DateTime, SecondsFormat, Utc};
use std::fmt;
use std::str::FromStr;

/// Digits of a hash that stand together on paper.
const GROUP: usize = 8;

/// One seal of the chain.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Link {
    /// Its number: 0 for the seal over nothing, with which every chain begins.
    pub sequence: u64,
    /// Size and root of the tree over all entries.
    pub seal: Seal,
    /// Root over the trees of the single sites as they stood then: see [`sites_root`].
    pub sites: Hash,
    /// When it was made; whole microseconds.
    pub sealed_at: DateTime<Utc>,
    /// Digest of the seal before it; that of the first is [`Hash::of_nothing`].
    pub previous: Hash,
}

/// Why a text is no seal.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotALink {
    /// A line is not there.
    #[error("the line `{0}` is missing")]
    Missing(&'static str),
    /// A line cannot be read.
    #[error("the line `{0}` cannot be read: `{1}`")]
    Unreadable(&'static str, String),
    /// The lines do not belong together.
    #[error("the last line (`check`) does not fit the others: one of them was copied wrong")]
    Check,
}

impl Link {
    /// The digest that the next seal names, and that makes a slip of the pen show: SHA-256 over the six
    /// values, a line each, in the order in which they are declared.
    #[must_use]
    pub fn digest(&self) -> Hash {
        let Self { sequence, seal: Seal { size, root }, sites, sealed_at, previous } = self;
        let at = written(*sealed_at);
        Hash::of_content(
            format!("holt seal\n{sequence}\n{size}\n{root}\n{sites}\n{at}\n{previous}\n").as_bytes(),
        )
    }
}

/// The root over the trees of single sites: RFC 6962 leaves `site size root`, one for each site with an
/// entry, in the order given. Callers give them in order of `site`.
#[must_use]
pub fn sites_root<S: fmt::Display>(sites: impl IntoIterator<Item = (S, Seal)>) -> Hash {
    let leaves: Vec<Hash> = sites
        .into_iter()
        .map(|(site, Seal { size, root })| Hash::of_leaf(format!("{site} {size} {root}").as_bytes()))
        .collect();
    super::frontier::root(&leaves)
}

fn written(at: DateTime<Utc>) -> String {
    at.to_rfc3339_opts(SecondsFormat::Micros, true)
}

/// As it is kept on paper: seven lines of less than 80 columns, hashes in groups of eight digits.
impl fmt::Display for Link {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let grouped = |hash: Hash| {
            let digits = hash.to_string();
            let groups: Vec<&str> =
                (0..digits.len()).step_by(GROUP).map(|at| &digits[at..at + GROUP]).collect();
            groups.join(" ")
        };
        writeln!(f, "seal    {}", self.sequence)?;
        writeln!(f, "entries {}", self.seal.size)?;
        writeln!(f, "root    {}", grouped(self.seal.root))?;
        writeln!(f, "sites   {}", grouped(self.sites))?;
        writeln!(f, "sealed  {}", written(self.sealed_at))?;
        writeln!(f, "before  {}", grouped(self.previous))?;
        write!(f, "check   {}", grouped(self.digest()))
    }
}

/// Reads what [`Display`](fmt::Display) wrote, also where it was copied by hand: spaces within hashes,
/// capitals and lines that say something else do not matter.
impl FromStr for Link {
    type Err = NotALink;

    fn from_str(text: &str) -> Result<Self, NotALink> {
        fn read<T>(text: &str, name: &'static str, of: impl Fn(&str) -> Option<T>) -> Result<T, NotALink> {
            let value = text
                .lines()
                .find_map(|line| {
                    let (word, value) = line.trim().split_once(char::is_whitespace)?;
                    word.trim_end_matches(':').eq_ignore_ascii_case(name).then_some(value.trim())
                })
                .ok_or(NotALink::Missing(name))?;
            of(value).ok_or_else(|| NotALink::Unreadable(name, value.to_owned()))
        }
        let hash = |value: &str| {
            let digits: String = value.split_whitespace().collect();
            digits.to_ascii_lowercase().parse().ok()
        };
        let instant = |value: &str| DateTime::parse_from_rfc3339(value).ok().map(|at| at.to_utc());
        let link = Self {
            sequence: read(text, "seal", |value| value.parse().ok())?,
            seal: Seal {
                size: read(text, "entries", |value| value.parse().ok())?,
                root: read(text, "root", hash)?,
            },
            sites: read(text, "sites", hash)?,
            sealed_at: read(text, "sealed", instant)?,
            previous: read(text, "before", hash)?,
        };
        if read(text, "check", hash)? == link.digest() { Ok(link) } else { Err(NotALink::Check) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn link() -> Link {
        Link {
            sequence: 12,
            seal: Seal { size: 3481, root: Hash::of_leaf(b"tree") },
            sites: sites_root([("QUI", Seal { size: 7, root: Hash::of_leaf(b"site") })]),
            sealed_at: "2026-11-25T10:00:00.000001Z".parse().unwrap(),
            previous: Hash::of_nothing(),
        }
    }

    #[test]
    fn paper_is_read_again_however_it_was_copied() {
        let paper = link().to_string();
        assert!(paper.lines().all(|line| line.len() < 80));
        assert_eq!(paper.parse(), Ok(link()));
        let by_hand =
            format!("Kept by the auditor.\n\n{}\n", paper.replace("root    ", "  Root: ").to_uppercase());
        assert_eq!(by_hand.parse(), Ok(link()));
    }

    #[test]
    fn a_slip_of_the_pen_shows() {
        let paper = link().to_string();
        let slip = paper.replacen("entries 3481", "entries 3487", 1);
        assert_eq!(slip.parse::<Link>(), Err(NotALink::Check));
        let cut: String =
            paper.lines().filter(|line| !line.starts_with("sites")).collect::<Vec<_>>().join("\n");
        assert_eq!(cut.parse::<Link>(), Err(NotALink::Missing("sites")));
        let short = paper.replacen("before  e", "before  ", 1);
        assert!(matches!(short.parse::<Link>(), Err(NotALink::Unreadable("before", _))));
    }

    #[test]
    fn every_value_is_part_of_the_digest() {
        let whole = link();
        let other = Hash::of_leaf(b"other");
        let changed = [
            Link { sequence: 13, ..link() },
            Link { seal: Seal { size: 3482, ..whole.seal }, ..link() },
            Link { seal: Seal { root: other, ..whole.seal }, ..link() },
            Link { sites: other, ..link() },
            Link { sealed_at: "2026-11-25T10:00:00.000002Z".parse().unwrap(), ..link() },
            Link { previous: other, ..link() },
        ];
        for link in changed {
            assert_ne!(link.digest(), whole.digest(), "{link}");
        }
    }
}
