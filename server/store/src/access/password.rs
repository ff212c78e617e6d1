//! Passwords: argon2id, and one-time passwords that can be read aloud.

use argon2::password_hash::phc::PasswordHash;
use argon2::{Algorithm, Argon2, Params, PasswordHasher, PasswordVerifier, Version};
use rand::Rng;

/// Letters and digits that are not taken for one another.
const LEGIBLE: &[u8] = b"abcdefghjkmnpqrstuvwxyz23456789";

/// What hashing a password costs, and so what guessing it from a stolen hash costs. Each hash names the cost at which it
/// was made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cost {
    /// Memory, KiB.
    pub memory_kib: u32,
    /// Passes over it.
    pub passes: u32,
}

impl Cost {
    /// The least that the library recommends, after OWASP's Password Storage Cheat Sheet: 19 MiB, two passes.
    pub const RECOMMENDED: Self = Self { memory_kib: Params::DEFAULT_M_COST, passes: Params::DEFAULT_T_COST };
}

/// Why a password cannot be hashed.
#[derive(Debug, thiserror::Error)]
pub enum HashError {
    /// The machine gives no randomness.
    #[error("a password could not be hashed: {0}")]
    Failed(argon2::password_hash::Error),
    /// The cost is none that there is.
    #[error("passwords cannot be hashed at this cost: {0}")]
    Cost(argon2::Error),
}

/// Hashes a password with argon2id (RFC 9106). Takes tens of milliseconds of processor at the cost recommended: call it
/// where blocking is allowed.
///
/// # Errors
/// [`HashError`] where the machine gives no randomness, or there is no such cost.
pub fn hash(password: &str, cost: Cost) -> Result<String, HashError> {
    let params =
        Params::new(cost.memory_kib, cost.passes, Params::DEFAULT_P_COST, None).map_err(HashError::Cost)?;
    let argon = Argon2::new(Algorithm::Argon2id, Version::V0x13, params);
    argon.hash_password(password.as_bytes()).map(|hash| hash.to_string()).map_err(HashError::Failed)
}

/// Whether a password fits a hash; a hash that cannot be read fits none. As slow as [`hash`].
#[must_use]
pub fn fits(password: &str, hash: &str) -> bool {
    PasswordHash::new(hash)
        .is_ok_and(|hash| Argon2::default().verify_password(password.as_bytes(), &hash).is_ok())
}

/// A fresh one-time password: four groups of four legible characters, 79 bits.
#[must_use]
pub fn one_time() -> String {
    let mut rng = rand::rng();
    let mut groups = (0..4)
        .map(|_| (0..4).map(|_| char::from(LEGIBLE[rng.random_range(0..LEGIBLE.len())])).collect::<String>());
    let mut text = groups.next().unwrap_or_default();
    for group in groups {
        text.push('-');
        text.push_str(&group);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hash_fits_its_password_alone() {
        let hashed = hash("correct horse battery", Cost::RECOMMENDED).unwrap();
        assert!(hashed.starts_with("$argon2id$"), "{hashed}");
        assert!(fits("correct horse battery", &hashed));
        assert!(!fits("correct horse batterz", &hashed));
        assert!(!fits("anything", "not a hash"));
        assert_ne!(hash("correct horse battery", Cost::RECOMMENDED).unwrap(), hashed, "salted");
    }

    #[test]
    fn a_hash_goes_on_to_fit_when_the_cost_changes() {
        let cheap = hash("correct horse battery", Cost { memory_kib: 8, passes: 1 }).unwrap();
        assert!(cheap.contains("m=8,t=1,p=1"), "{cheap}");
        assert!(fits("correct horse battery", &cheap) && !fits("correct horse batterz", &cheap));
        assert!(hash("correct horse battery", Cost { memory_kib: 0, passes: 1 }).is_err());
    }

    #[test]
    fn one_time_passwords_differ_and_are_legible() {
        let (one, other) = (one_time(), one_time());
        assert_ne!(one, other);
        assert_eq!(one.len(), 19);
        assert!(one.bytes().all(|b| b == b'-' || LEGIBLE.contains(&b)));
    }
}
