//! Passwords: argon2id, and one-time passwords that can be read aloud.

use argon2::password_hash::phc::PasswordHash;
use argon2::{Argon2, PasswordHasher, PasswordVerifier};
use rand::Rng;

/// Letters and digits that are not taken for one another.
const LEGIBLE: &[u8] = b"abcdefghjkmnpqrstuvwxyz23456789";

/// Why a password cannot be hashed.
#[derive(Debug, thiserror::Error)]
#[error("a password could not be hashed: {0}")]
pub struct HashError(argon2::password_hash::Error);

/// Hashes a password with argon2id (RFC 9106) under the library's recommended cost. Takes tens of
/// milliseconds of processor: call it where blocking is allowed.
///
/// # Errors
/// [`HashError`] where the machine gives no randomness.
pub fn hash(password: &str) -> Result<String, HashError> {
    Argon2::default().hash_password(password.as_bytes()).map(|hash| hash.to_string()).map_err(HashError)
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
        let hashed = hash("correct horse battery").unwrap();
        assert!(hashed.starts_with("$argon2id$"), "{hashed}");
        assert!(fits("correct horse battery", &hashed));
        assert!(!fits("correct horse batterz", &hashed));
        assert!(!fits("anything", "not a hash"));
        assert_ne!(hash("correct horse battery").unwrap(), hashed, "salted");
    }

    #[test]
    fn one_time_passwords_differ_and_are_legible() {
        let (one, other) = (one_time(), one_time());
        assert_ne!(one, other);
        assert_eq!(one.len(), 19);
        assert!(one.bytes().all(|b| b == b'-' || LEGIBLE.contains(&b)));
    }
}
