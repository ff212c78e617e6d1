//! People of an outside issuer, whose public keys stand in a JWKS file (RFC 7517; Ed25519 keys: RFC 8037).

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, Utc};
use ed25519_dalek::SigningKey;
use ed25519_dalek::pkcs8::EncodePrivateKey;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_tests::house::Client;
use holt_tests::{House, reason};
use jsonwebtoken::{Algorithm, EncodingKey, Header};
use serde_json::{Value, json};
use tempfile::TempDir;
use tonic::Code;

const ISSUER: &str = "https://id.example";
const AUDIENCE: &str = "holt-parks";

/// An issuer with one key.
struct Issuer {
    key: SigningKey,
    folder: TempDir,
}

impl Issuer {
    fn new() -> Self {
        let this = Self { key: SigningKey::from_bytes(&[9; 32]), folder: tempfile::tempdir().unwrap() };
        let x = URL_SAFE_NO_PAD.encode(this.key.verifying_key().to_bytes());
        let keys =
            json!({ "keys": [{ "kty": "OKP", "crv": "Ed25519", "kid": "2026-1", "use": "sig", "x": x }] });
        std::fs::write(this.folder.path().join("keys.json"), keys.to_string()).unwrap();
        this
    }

    async fn house(&self) -> House {
        let keys = self.folder.path().join("keys.json");
        House::with(|config| {
            config.access.outside_jwks = keys;
            config.access.outside_issuer = ISSUER.to_owned();
            config.access.outside_audience = AUDIENCE.to_owned();
        })
        .await
    }

    fn token(&self, now: DateTime<Utc>, change: impl FnOnce(&mut Header, &mut Value)) -> String {
        let mut header = Header::new(Algorithm::EdDSA);
        header.typ = Some("at+jwt".to_owned());
        header.kid = Some("2026-1".to_owned());
        let mut claims = json!({
            "iss": ISSUER, "aud": AUDIENCE, "sub": "kim@quill.example", "name": "Kim Quill",
            "iat": now.timestamp(), "exp": now.timestamp() + 600,
            "holt_roles": { "keeper": ["QUI"] },
        });
        change(&mut header, &mut claims);
        let der = self.key.to_pkcs8_der().unwrap();
        jsonwebtoken::encode(&header, &claims, &EncodingKey::from_ed_der(der.as_bytes())).unwrap()
    }
}

async fn itself(client: &Client) -> Result<v1::Person, tonic::Status> {
    Ok(client.people().get_self(v1::GetSelfRequest {}).await?.into_inner().person.unwrap())
}

#[tokio::test]
async fn somebody_of_an_outside_issuer_works_as_their_token_says() {
    let issuer = Issuer::new();
    let house = issuer.house().await;
    let park = house.quill().await;
    house.otter(&park, "Bramble").await;
    let token = issuer.token(house.clock.now(), |_, _| ());
    let kim = house.with_token(&token);
    let person = itself(&kim).await.unwrap();
    assert_eq!(person.name, "Kim Quill");
    let keeper = v1::Grant { role: v1::Role::Keeper.into(), site: "QUI".to_owned(), every_site: false };
    assert_eq!(person.grants, [keeper], "the roles that the token names");
    let round = house.round("QUI", &[("Bramble", house.clock.now(), 8000)]);
    kim.weights().record_weights(round).await.unwrap();
    let birth = house.arrival(&park, "Rush", "2026-03-01".parse().unwrap());
    assert_eq!(reason(&kim.animals().register_arrival(birth).await.unwrap_err()), "ROLE_NEEDED");
    let mut owner = house.owner().await;
    let wrote: Vec<(String,)> = sqlx::query_as(
        "SELECT p.name FROM ledger l JOIN people p ON p.id = l.person_id WHERE l.method = 'WeightService/RecordWeights'",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    assert_eq!(wrote, [("Kim Quill".to_owned(),)]);
    // They have no password here to change or to sign in with.
    let change = v1::ChangePasswordRequest {
        current_password: String::new(),
        new_password: "five otters in a row".to_owned(),
    };
    assert_eq!(reason(&kim.people().change_password(change).await.unwrap_err()), "SIGN_IN_FAILED");
    house.close().await;
}

#[tokio::test]
async fn they_are_put_on_record_once_also_when_they_come_many_at_once() {
    let issuer = Issuer::new();
    let house = issuer.house().await;
    let token = issuer.token(house.clock.now(), |_, _| ());
    let calls = (0..8).map(|_| {
        let client = house.with_token(&token);
        async move { itself(&client).await.unwrap().id }
    });
    let ids = futures::future::join_all(calls).await;
    assert!(ids.iter().all(|id| *id == ids[0]), "{ids:?}");
    let another = issuer.token(house.clock.now(), |_, claims| claims["sub"] = json!("lee@quill.example"));
    assert_ne!(itself(&house.with_token(&another)).await.unwrap().id, ids[0]);
    let mut owner = house.owner().await;
    let count: i64 = sqlx::query_scalar("SELECT count(*) FROM people WHERE sign_in_name LIKE 'outside:%'")
        .fetch_one(&mut owner)
        .await
        .unwrap();
    assert_eq!(count, 2);
    house.close().await;
}

#[tokio::test]
async fn a_token_that_is_not_for_us_or_not_theirs_is_not_accepted() {
    let issuer = Issuer::new();
    let house = issuer.house().await;
    let now = house.clock.now();
    let stranger = Issuer { key: SigningKey::from_bytes(&[8; 32]), folder: tempfile::tempdir().unwrap() };
    let tokens = [
        issuer.token(now, |_, claims| claims["aud"] = json!("another service")),
        issuer.token(now, |_, claims| claims["iss"] = json!("https://other.example")),
        issuer.token(now, |_, claims| claims["iss"] = json!("holt")),
        issuer.token(now, |_, claims| claims["sub"] = json!("")),
        issuer.token(now, |_, claims| claims["exp"] = json!(now.timestamp() - 60)),
        issuer.token(now, |header, _| header.kid = Some("2026-2".to_owned())),
        issuer.token(now, |header, _| header.typ = Some("JWT".to_owned())),
        stranger.token(now, |_, _| ()),
    ];
    for (n, token) in tokens.iter().enumerate() {
        let refused = itself(&house.with_token(token)).await.unwrap_err();
        assert_eq!(
            (refused.code(), reason(&refused).as_str()),
            (Code::Unauthenticated, "NOT_SIGNED_IN"),
            "token {n}"
        );
    }
    let mut owner = house.owner().await;
    let count: i64 = sqlx::query_scalar("SELECT count(*) FROM people WHERE sign_in_name LIKE 'outside:%'")
        .fetch_one(&mut owner)
        .await
        .unwrap();
    assert_eq!(count, 0, "nobody was put on record");
    house.close().await;
}
