//! The digests of RFC 6962 section 2.1: SHA-256 with one leading byte that tells leaf from node.

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fmt;
use std::str::FromStr;

/// A SHA-256 digest: of a leaf, of a node, or of a whole tree. Printed and read as 64 lower-case
/// hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct Hash([u8; 32]);

/// The text was not 64 hexadecimal digits.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a hash is written as 64 hexadecimal digits, got {0:?}")]
pub struct NotAHash(String);

impl Hash {
    /// The root of a tree without leaves: the digest of no bytes (RFC 6962 section 2.1).
    #[must_use]
    pub fn of_nothing() -> Self {
        Self(Sha256::digest([]).into())
    }

    /// The digest of a content that is no part of a tree: `SHA-256(content)`.
    #[must_use]
    pub fn of_content(content: &[u8]) -> Self {
        Self(Sha256::digest(content).into())
    }

    /// The digest of one entry: `SHA-256(0x00 || entry)`.
    #[must_use]
    pub fn of_leaf(entry: &[u8]) -> Self {
        Self(Sha256::new().chain_update([0x00]).chain_update(entry).finalize().into())
    }

    /// The digest over two subtrees: `SHA-256(0x01 || left || right)`. The leading byte differs from
    /// that of a leaf, so that no entry can be passed off as a node.
    #[must_use]
    pub fn of_node(left: Self, right: Self) -> Self {
        Self(Sha256::new().chain_update([0x01]).chain_update(left.0).chain_update(right.0).finalize().into())
    }

    /// A digest kept elsewhere as 32 bytes.
    #[must_use]
    pub const fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// The 32 bytes.
    #[must_use]
    pub const fn as_bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Hash {
    type Err = NotAHash;

    fn from_str(text: &str) -> Result<Self, NotAHash> {
        let refuse = || NotAHash(text.to_owned());
        if text.len() != 64 || !text.is_ascii() {
            return Err(refuse());
        }
        let mut bytes = [0; 32];
        for (byte, pair) in bytes.iter_mut().zip(text.as_bytes().chunks(2)) {
            let digits = std::str::from_utf8(pair).map_err(|_| refuse())?;
            // from_str_radix would also take a sign.
            if !pair.iter().all(u8::is_ascii_hexdigit) {
                return Err(refuse());
            }
            *byte = u8::from_str_radix(digits, 16).map_err(|_| refuse())?;
        }
        Ok(Self(bytes))
    }
}

impl From<Hash> for String {
    fn from(hash: Hash) -> Self {
        hash.to_string()
    }
}

impl TryFrom<String> for Hash {
    type Error = NotAHash;
    fn try_from(text: String) -> Result<Self, NotAHash> {
        text.parse()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_round_trips_and_nothing_else_is_taken() {
        let hash = Hash::of_leaf(b"QUI-26-0042");
        assert_eq!(hash.to_string().parse(), Ok(hash));
        for wrong in ["", "6e34", &"+e".repeat(32), &"zz".repeat(32), &"é".repeat(32), &"00".repeat(33)] {
            assert_eq!(wrong.parse::<Hash>(), Err(NotAHash(wrong.to_owned())));
        }
    }

    #[test]
    fn a_leaf_is_never_a_node() {
        let (left, right) = (Hash::of_leaf(b"a"), Hash::of_leaf(b"b"));
        let forged = [left.as_bytes().as_slice(), right.as_bytes()].concat();
        assert_ne!(Hash::of_leaf(&forged), Hash::of_node(left, right));
    }
}
