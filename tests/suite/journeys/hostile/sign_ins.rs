//! Signing in as an attack: without a body, and with any name.

use super::Besieged;
use super::raw::Raw;
use futures::future::join_all;
use holt_proto::v1;
use holt_proto::v1::people_service_client::PeopleServiceClient;
use holt_server::model::person::Role;
use holt_tests::reason;
use std::collections::BTreeMap;
use tonic::Status;
use tonic::transport::Endpoint;

const SIGN_IN: &str = "/holt.v1.PeopleService/SignIn";

fn guess(name: &str) -> v1::SignInRequest {
    v1::SignInRequest { sign_in_name: name.to_owned(), password: "a guess".to_owned() }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn calls_without_a_body_take_no_turn_and_are_ended() {
    let besieged = Besieged::with(|config| config.server.body_seconds = 2).await;
    let address = &besieged.house.address;
    // None of them ends its request, on as many streams as there are turns.
    let attack = async {
        let mut lines = join_all((0..4).map(|_| Raw::open(address, 65_535))).await;
        for line in &mut lines {
            for _ in 0..64 {
                line.begin(SIGN_IN, None).await;
            }
        }
        let refused = besieged.house.anonymous().people().sign_in(guess("kim")).await.unwrap_err();
        assert!(["SIGN_IN_FAILED", "TOO_MUCH"].contains(&reason(&refused).as_str()), "{refused:?}");
        for line in &mut lines {
            line.until_answered(64).await;
        }
    };
    besieged.beside(attack).await;
    besieged.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn calls_of_somebody_known_without_a_body_take_their_own_turns_alone() {
    let besieged = Besieged::with(|config| {
        config.server.body_seconds = 2;
        config.server.max_calls_per_person = 16;
    })
    .await;
    let address = &besieged.house.address;
    let role = [(Role::Auditor, Some("QUI"))];
    let person = besieged.house.person("aud", &role).await;
    let grant = holt_server::model::person::Grant { role: Role::Auditor, site: Some("QUI".to_owned()) };
    let token = besieged.house.token(person.id, &[grant]);
    let attack = async {
        let mut lines = join_all((0..5).map(|_| Raw::open(address, 65_535))).await;
        for line in &mut lines {
            for _ in 0..64 {
                line.begin("/holt.v1.AnimalService/ListAnimals", Some(&token)).await;
            }
        }
        for line in &mut lines {
            line.until_answered(64).await;
        }
    };
    besieged.beside(attack).await;
    // Their turns came back.
    let list = v1::ListAnimalsRequest { site: "QUI".to_owned(), ..Default::default() };
    person.client.animals().list_animals(list).await.unwrap();
    besieged.house.close().await;
}

/// As what calls that broke off on their way are counted.
const BROKE_OFF: &str = "broke off";

/// Why the server refused a guess; a call that broke off has no answer of the server, but an error of the line.
fn told(refused: &Status) -> String {
    if std::error::Error::source(refused).is_some() {
        eprintln!("{refused:?}");
        return BROKE_OFF.to_owned();
    }
    reason(refused)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn three_hundred_guesses_at_a_time_are_mostly_not_looked_at_and_keep_nobody_else_out() {
    let besieged = Besieged::with(|config| config.server.strangers_calls_per_minute = 30).await;
    let attack = async {
        let guesses = (0..300).map(|n| {
            let mut people = besieged.house.anonymous().people();
            async move { told(&people.sign_in(guess(&format!("guess-{n}"))).await.unwrap_err()) }
        });
        let told = join_all(guesses).await;
        // Somebody at another address is let in to guess.
        let other = Endpoint::from_shared(besieged.house.address.clone()).unwrap();
        let other = other.local_address(Some("127.0.0.2".parse().unwrap())).connect().await.unwrap();
        let refused = PeopleServiceClient::new(other).sign_in(guess("kim")).await.unwrap_err();
        assert_eq!(reason(&refused), "SIGN_IN_FAILED");
        told
    };
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    for told in besieged.beside(attack).await {
        *counts.entry(told).or_default() += 1;
    }
    assert!(counts["TOO_MUCH"] >= 150, "{counts:?}");
    assert!(counts.get(BROKE_OFF).is_none_or(|calls| *calls <= 3), "{counts:?}");
    assert_eq!(counts.values().sum::<usize>(), 300);
    besieged.house.close().await;
}
