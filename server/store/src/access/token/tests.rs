//! What must be refused although a signature holds, and what must be accepted.

use super::*;
use crate::access::keys::{OutsideKeys, OwnKey};
use chrono::TimeZone;
use jsonwebtoken::{EncodingKey, encode};
use serde_json::{Value, json};

fn now() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2026, 11, 25, 6, 0, 0).unwrap()
}

fn tokens() -> Tokens {
    let own = OwnKey::fresh().unwrap();
    Tokens::new(own, "holt".into(), "holt".into(), TimeDelta::minutes(10), None)
}

fn bearer() -> Bearer {
    Bearer {
        person: Subject::Own(Uuid::from_u128(7)),
        name: "Kim".into(),
        grants: vec![
            Grant { role: Role::Keeper, site: Some("QUI".into()) },
            Grant { role: Role::Auditor, site: None },
        ],
        must_change_password: false,
        validity: Validity::Epoch(3),
    }
}

fn good_claims() -> Value {
    let now = now().timestamp();
    json!({
        "iss": "holt", "aud": "holt", "sub": Uuid::from_u128(7).to_string(), "iat": now, "exp": now + 600,
        "nbf": now, "name": "Kim", "holt_roles": { "keeper": ["QUI"] },
    })
}

/// Signs any header and claims with the key of `tokens`.
fn signed(tokens: &Tokens, header: &Header, claims: &Value) -> String {
    encode(header, claims, &tokens.own.signing).unwrap()
}

fn good_header(tokens: &Tokens) -> Header {
    let mut header = Header::new(Algorithm::EdDSA);
    header.typ = Some("at+jwt".into());
    header.kid = Some(tokens.own.kid.clone());
    header
}

/// Replaces the header by any JSON and signs anew: for what the library would not write.
fn with_raw_header(tokens: &Tokens, header: &Value, claims: &Value) -> String {
    let encoded = |value: &Value| URL_SAFE_NO_PAD.encode(value.to_string());
    let message = format!("{}.{}", encoded(header), encoded(claims));
    let signature =
        jsonwebtoken::crypto::sign(message.as_bytes(), &tokens.own.signing, Algorithm::EdDSA).unwrap();
    format!("{message}.{signature}")
}

#[test]
fn what_was_signed_is_verified() {
    let tokens = tokens();
    let (token, expires) = tokens.sign(Uuid::from_u128(7), &bearer(), Uuid::from_u128(1), now()).unwrap();
    assert_eq!(expires, now() + TimeDelta::minutes(10));
    assert_eq!(tokens.verify(&token, now()), Ok(bearer()));
    assert_eq!(
        tokens.verify(&signed(&tokens, &good_header(&tokens), &good_claims()), now()).unwrap().name,
        "Kim"
    );
}

#[test]
fn a_token_runs_out_and_is_not_valid_before_its_time() {
    let tokens = tokens();
    let (token, expires) = tokens.sign(Uuid::from_u128(7), &bearer(), Uuid::from_u128(1), now()).unwrap();
    assert!(tokens.verify(&token, expires + TimeDelta::seconds(4)).is_ok(), "within the leeway");
    assert_eq!(tokens.verify(&token, expires + TimeDelta::seconds(5)), Err(TokenError::RunOut));
    assert_eq!(tokens.verify(&token, now() - TimeDelta::seconds(6)), Err(TokenError::NotYet));
}

#[test]
fn claims_that_do_not_hold_are_refused() {
    let tokens = tokens();
    let later = (now() + TimeDelta::hours(1)).timestamp();
    let cases: [(&str, Value); 14] = [
        ("aud", Value::Null),
        ("iss", Value::Null),
        ("sub", Value::Null),
        ("exp", Value::Null),
        ("aud", json!("another")),
        ("aud", json!(["another", "third"])),
        ("aud", json!({ "holt": true })),
        ("aud", json!(7)),
        ("iss", json!("another")),
        ("iss", json!(["holt"])),
        ("nbf", json!(later)),
        ("iat", json!(later)),
        ("sub", json!("not a uuid")),
        ("holt_roles", json!({ "emperor": ["QUI"] })),
    ];
    for (claim, value) in cases {
        let mut claims = good_claims();
        match value {
            Value::Null => claims.as_object_mut().unwrap().remove(claim),
            value => claims.as_object_mut().unwrap().insert(claim.into(), value),
        };
        let token = signed(&tokens, &good_header(&tokens), &claims);
        assert!(tokens.verify(&token, now()).is_err(), "{claims}");
    }
    let mut claims = good_claims();
    claims["aud"] = json!(["another", "holt"]);
    assert!(tokens.verify(&signed(&tokens, &good_header(&tokens), &claims), now()).is_ok());
}

#[test]
fn headers_that_lead_elsewhere_are_refused() {
    let tokens = tokens();
    let kid = tokens.own.kid.clone();
    let good = json!({ "alg": "EdDSA", "typ": "at+jwt", "kid": kid });
    assert!(tokens.verify(&with_raw_header(&tokens, &good, &good_claims()), now()).is_ok());
    let cases = [
        ("typ", Value::Null, TokenError::WrongType),
        ("typ", json!("JWT"), TokenError::WrongType),
        ("typ", json!("dpop+jwt"), TokenError::WrongType),
        ("crit", json!(["b64"]), TokenError::ForbiddenHeader),
        ("jku", json!("https://evil.example/keys"), TokenError::ForbiddenHeader),
        ("x5u", json!("https://evil.example/cert"), TokenError::ForbiddenHeader),
        ("jwk", json!({}), TokenError::ForbiddenHeader),
        ("kid", Value::Null, TokenError::BadKid),
        ("kid", json!("../../etc/passwd"), TokenError::BadKid),
        ("kid", json!("k".repeat(129)), TokenError::BadKid),
        ("kid", json!("unknown"), TokenError::UnknownKey),
        ("alg", json!("HS256"), TokenError::WrongAlgorithm),
    ];
    for (name, value, error) in cases {
        let mut header = good.clone();
        match value {
            Value::Null => header.as_object_mut().unwrap().remove(name),
            value => header.as_object_mut().unwrap().insert(name.into(), value),
        };
        let token = with_raw_header(&tokens, &header, &good_claims());
        assert_eq!(tokens.verify(&token, now()), Err(error), "{header}");
    }
}

#[test]
fn what_is_no_token_of_ours_is_refused() {
    let ours = tokens();
    for text in ["", "a.b", "a.b.c", "a.b.c.d", "Bearer x", &"x".repeat(20_000)] {
        assert!(ours.verify(text, now()).is_err(), "{text}");
    }
    let (token, _) = ours.sign(Uuid::from_u128(7), &bearer(), Uuid::from_u128(1), now()).unwrap();
    let theirs = tokens();
    assert_eq!(theirs.verify(&token, now()), Err(TokenError::UnknownKey));
    // Every single character that is changed breaks it.
    let place = token.rfind('.').unwrap() + 5;
    let mut broken = token.clone().into_bytes();
    broken[place] = if broken[place] == b'A' { b'B' } else { b'A' };
    assert!(matches!(ours.verify(&String::from_utf8(broken).unwrap(), now()), Err(TokenError::Invalid(_))));
    // Without a signature at all.
    let none = format!(
        "{}.{}.",
        URL_SAFE_NO_PAD.encode(json!({ "alg": "none", "typ": "at+jwt", "kid": ours.own.kid }).to_string()),
        URL_SAFE_NO_PAD.encode(good_claims().to_string())
    );
    assert!(ours.verify(&none, now()).is_err());
    // A shared secret made of the public key, as if that were no secret.
    let secret = EncodingKey::from_secret(ours.own.kid.as_bytes());
    let mut header = Header::new(Algorithm::HS256);
    header.typ = Some("at+jwt".into());
    header.kid = Some(ours.own.kid.clone());
    let confused = encode(&header, &good_claims(), &secret).unwrap();
    assert_eq!(ours.verify(&confused, now()), Err(TokenError::WrongAlgorithm));
}

/// An outside issuer with one key, in a JWKS file of its own.
fn outside() -> (Tokens, Tokens) {
    let theirs = Tokens::new(
        OwnKey::fresh().unwrap(),
        "https://id.example".into(),
        "holt-api".into(),
        TimeDelta::minutes(10),
        None,
    );
    let path = std::env::temp_dir().join(format!("holt-jwks-{}-{}.json", std::process::id(), theirs.own.kid));
    let jwks = json!({ "keys": [
        { "kty": "OKP", "crv": "Ed25519", "kid": theirs.own.kid, "alg": "EdDSA", "use": "sig",
          "x": URL_SAFE_NO_PAD.encode(theirs.own.public()) },
        { "kty": "oct", "kid": "shared", "k": "c2VjcmV0" },
    ] });
    std::fs::write(&path, jwks.to_string()).unwrap();
    let keys = OutsideKeys::load(&path).unwrap();
    std::fs::remove_file(path).unwrap();
    let outside = Outside { keys, issuer: "https://id.example".into(), audience: "holt-api".into() };
    let own = OwnKey::fresh().unwrap();
    let ours = Tokens::new(own, "holt".into(), "holt".into(), TimeDelta::minutes(10), Some(outside));
    (ours, theirs)
}

#[test]
fn an_outside_issuer_names_its_own_people_and_nobody_of_ours() {
    let (ours, theirs) = outside();
    let (token, _) = theirs.sign(Uuid::from_u128(7), &bearer(), Uuid::from_u128(1), now()).unwrap();
    let told = ours.verify(&token, now()).unwrap();
    let subject = Subject::Outside("https://id.example".into(), Uuid::from_u128(7).to_string());
    assert_eq!(told.person, subject);
    assert_eq!(told.grants.len(), 2);
    // Signed by the outside issuer, but in our name.
    let mut claims = good_claims();
    claims["aud"] = json!("holt-api");
    let forged = signed(&theirs, &good_header(&theirs), &claims);
    assert!(matches!(ours.verify(&forged, now()), Err(TokenError::Invalid(_))));
    // A symmetric key in the file is no key for signatures.
    let mut header = Header::new(Algorithm::HS256);
    header.typ = Some("at+jwt".into());
    header.kid = Some("shared".into());
    let token = encode(&header, &claims, &EncodingKey::from_secret(b"secret")).unwrap();
    assert_eq!(ours.verify(&token, now()), Err(TokenError::UnknownKey));
}
