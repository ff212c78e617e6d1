//! Access tokens: signed JWTs that name a person, roles and sites (RFC 9068 `at+jwt`).
//!
//! The library's validation lets pass a missing `aud` or `iss`, an `aud` of the wrong JSON type, `crit`,
//! and another kind's `typ`; all of these are refused here, and the time is taken from our own clock.

use crate::access::keys::{OutsideKeys, OwnKey};
use crate::access::permit::Validity;
use crate::model::person::{Grant, Role};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, TimeDelta, Utc};
use jsonwebtoken::{Algorithm, DecodingKey, Header, Validation};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use uuid::Uuid;

const TYPE: &str = "at+jwt";
/// Clocks of two machines may differ by this much.
const LEEWAY: TimeDelta = TimeDelta::seconds(5);
/// Longer than any token that names a few hundred sites.
const LONGEST: usize = 16 * 1024;
/// Stands for every site among a role's sites.
const EVERY_SITE: &str = "*";

/// What an access token says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bearer {
    pub person: Subject,
    pub name: String,
    pub grants: Vec<Grant>,
    /// The password that led to it was a one-time one.
    pub must_change_password: bool,
    /// Until when what it says is so.
    pub validity: Validity,
}

/// Whom a token names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Subject {
    /// A person of Holt's own.
    Own(Uuid),
    /// Somebody of the outside issuer: issuer and subject.
    Outside(String, String),
}

/// Why a token is not accepted. For the log: the caller is told only that it is not.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TokenError {
    #[error("it is too long")]
    TooLong,
    #[error("it is not a JWT")]
    NotAToken,
    #[error("its typ is not at+jwt")]
    WrongType,
    #[error("it has crit, jku, jwk, x5u or x5c in its header")]
    ForbiddenHeader,
    #[error("its kid is missing or malformed")]
    BadKid,
    #[error("its kid is not known")]
    UnknownKey,
    #[error("its algorithm is not that of its key")]
    WrongAlgorithm,
    #[error("its signature or claims do not hold: {0}")]
    Invalid(String),
    #[error("it has expired")]
    RunOut,
    #[error("it is not valid yet")]
    NotYet,
}

#[derive(Debug, Serialize, Deserialize)]
struct Claims {
    iss: String,
    aud: Audience,
    sub: String,
    iat: i64,
    exp: i64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    nbf: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    jti: Option<String>,
    #[serde(default)]
    name: String,
    /// Role → codes of sites, or `*`.
    #[serde(default)]
    holt_roles: BTreeMap<Role, Vec<String>>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    holt_change_password: bool,
    /// How often the sign-ins of the person had been ended when it was given out.
    #[serde(default)]
    holt_epoch: i64,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(untagged)]
enum Audience {
    One(String),
    Many(Vec<String>),
}

impl Audience {
    fn names(&self, wanted: &str) -> bool {
        match self {
            Self::One(one) => one == wanted,
            Self::Many(many) => many.iter().any(|one| one == wanted),
        }
    }
}

/// Signs and verifies access tokens.
pub struct Tokens {
    own: OwnKey,
    issuer: String,
    audience: String,
    life: TimeDelta,
    outside: Option<Outside>,
}

/// The outside issuer whose tokens are accepted.
pub struct Outside {
    pub keys: OutsideKeys,
    pub issuer: String,
    pub audience: String,
}

impl Tokens {
    /// Tokens of `issuer` for `audience`, signed with `own`, that live for `life`.
    #[must_use]
    pub const fn new(
        own: OwnKey,
        issuer: String,
        audience: String,
        life: TimeDelta,
        outside: Option<Outside>,
    ) -> Self {
        Self { own, issuer, audience, life, outside }
    }

    /// Signs a token. Answers it, and when it runs out.
    ///
    /// # Errors
    /// What the signing library says; it does not fail on keys that were read.
    pub fn sign(
        &self,
        person: Uuid,
        bearer: &Bearer,
        jti: Uuid,
        now: DateTime<Utc>,
    ) -> Result<(String, DateTime<Utc>), TokenError> {
        let expires = now + self.life;
        let mut holt_roles: BTreeMap<Role, Vec<String>> = BTreeMap::new();
        for grant in &bearer.grants {
            let site = grant.site.clone().unwrap_or_else(|| EVERY_SITE.to_owned());
            holt_roles.entry(grant.role).or_default().push(site);
        }
        let claims = Claims {
            iss: self.issuer.clone(),
            aud: Audience::One(self.audience.clone()),
            sub: person.to_string(),
            iat: now.timestamp(),
            exp: expires.timestamp(),
            nbf: Some(now.timestamp()),
            jti: Some(jti.to_string()),
            name: bearer.name.clone(),
            holt_roles,
            holt_change_password: bearer.must_change_password,
            holt_epoch: match bearer.validity {
                Validity::Epoch(epoch) => epoch,
                Validity::Always | Validity::Until(_) => 0,
            },
        };
        let mut header = Header::new(Algorithm::EdDSA);
        header.typ = Some(TYPE.to_owned());
        header.kid = Some(self.own.kid.clone());
        let token = jsonwebtoken::encode(&header, &claims, &self.own.signing)
            .map_err(|error| TokenError::Invalid(error.to_string()))?;
        Ok((token, expires))
    }

    /// Verifies a token as of `now`.
    ///
    /// # Errors
    /// [`TokenError`], for the log.
    pub fn verify(&self, token: &str, now: DateTime<Utc>) -> Result<Bearer, TokenError> {
        if token.len() > LONGEST {
            return Err(TokenError::TooLong);
        }
        let kid = kid(token)?;
        let outside = self.outside.as_ref().and_then(|o| o.keys.find(&kid).map(|key| (o, key)));
        let (claims, is_own) = if kid == self.own.kid {
            (decode(token, &self.own.verifying, Algorithm::EdDSA, &self.issuer, &self.audience)?, true)
        } else if let Some((outside, key)) = outside {
            (decode(token, &key.verifying, key.algorithm, &outside.issuer, &outside.audience)?, false)
        } else {
            return Err(TokenError::UnknownKey);
        };
        in_time(&claims, now)?;
        let person = if is_own {
            let id = claims.sub.parse().map_err(|_| TokenError::Invalid("sub is not a UUID".to_owned()))?;
            Subject::Own(id)
        } else if claims.sub.is_empty() {
            return Err(TokenError::Invalid("sub is empty".to_owned()));
        } else {
            Subject::Outside(claims.iss, claims.sub)
        };
        let grants = claims
            .holt_roles
            .into_iter()
            .flat_map(|(role, sites)| {
                sites.into_iter().map(move |site| Grant { role, site: (site != EVERY_SITE).then_some(site) })
            })
            .collect();
        let validity = if is_own {
            Validity::Epoch(claims.holt_epoch)
        } else {
            let end = DateTime::from_timestamp(claims.exp, 0);
            Validity::Until(end.ok_or_else(|| TokenError::Invalid("exp is not a time".to_owned()))? + LEEWAY)
        };
        let must_change_password = claims.holt_change_password;
        Ok(Bearer { person, name: claims.name, grants, must_change_password, validity })
    }
}

/// The key identifier, after everything in the header that must not be there was refused.
fn kid(token: &str) -> Result<String, TokenError> {
    let mut parts = token.split('.');
    let (Some(head), Some(_), Some(_), None) = (parts.next(), parts.next(), parts.next(), parts.next())
    else {
        return Err(TokenError::NotAToken);
    };
    let head = URL_SAFE_NO_PAD.decode(head).map_err(|_| TokenError::NotAToken)?;
    let head: serde_json::Map<String, serde_json::Value> =
        serde_json::from_slice(&head).map_err(|_| TokenError::NotAToken)?;
    let typ = head.get("typ").and_then(|typ| typ.as_str()).unwrap_or_default().to_ascii_lowercase();
    if typ.strip_prefix("application/").unwrap_or(&typ) != TYPE {
        return Err(TokenError::WrongType);
    }
    if ["crit", "jku", "jwk", "x5u", "x5c"].iter().any(|name| head.contains_key(*name)) {
        return Err(TokenError::ForbiddenHeader);
    }
    let kid = head.get("kid").and_then(|kid| kid.as_str()).unwrap_or_default();
    let plain = |b: u8| b.is_ascii_alphanumeric() || b == b'-' || b == b'_' || b == b'.';
    if kid.is_empty() || kid.len() > 128 || !kid.bytes().all(plain) {
        return Err(TokenError::BadKid);
    }
    Ok(kid.to_owned())
}

fn decode(
    token: &str,
    key: &DecodingKey,
    algorithm: Algorithm,
    issuer: &str,
    audience: &str,
) -> Result<Claims, TokenError> {
    let mut validation = Validation::new(algorithm);
    validation.set_required_spec_claims(&["exp", "iss", "aud", "sub"]);
    validation.set_issuer(&[issuer]);
    validation.set_audience(&[audience]);
    // The times are compared with our own clock instead.
    validation.validate_exp = false;
    validation.validate_nbf = false;
    let claims = jsonwebtoken::decode::<Claims>(token, key, &validation)
        .map_err(|error| match error.kind() {
            jsonwebtoken::errors::ErrorKind::InvalidAlgorithm => TokenError::WrongAlgorithm,
            _ => TokenError::Invalid(error.to_string()),
        })?
        .claims;
    if claims.iss != issuer || !claims.aud.names(audience) {
        return Err(TokenError::Invalid("iss or aud is another's".to_owned()));
    }
    Ok(claims)
}

fn in_time(claims: &Claims, now: DateTime<Utc>) -> Result<(), TokenError> {
    let (early, late) = ((now - LEEWAY).timestamp(), (now + LEEWAY).timestamp());
    if claims.exp <= early {
        Err(TokenError::RunOut)
    } else if claims.iat > late || claims.nbf.is_some_and(|nbf| nbf > late) {
        Err(TokenError::NotYet)
    } else {
        Ok(())
    }
}

#[cfg(test)]
mod tests;
