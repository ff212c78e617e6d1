//! What somebody may do ends when it is taken from them: for the tokens that they hold, the streams that they
//! have open and the writes that they have under way, on every server of the database.

use super::{Gate, PASSWORD, at, everywhere};
use crate::journeys::faults::{Held, weights};
use holt_proto::time::timestamp;
use holt_proto::v1::{self, Role};
use holt_server::clock::Clock;
use holt_tests::house::{Client, start_of_time};
use holt_tests::{House, reason};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Code, Status};

/// A house with a second server over the same database.
struct Two {
    gate: Gate,
    other: House,
}

impl Two {
    async fn new() -> Self {
        let gate = Gate::new().await;
        let other = gate.house.beside(|_| ()).await;
        Self { gate, other }
    }

    /// Somebody's token at both servers.
    fn both(&self, tokens: &v1::Tokens) -> [Client; 2] {
        [self.gate.client(tokens), self.other.with_token(&tokens.access_token)]
    }

    async fn revoke(&self, name: &str, grant: v1::Grant) {
        let request = v1::RevokeRoleRequest {
            request_id: self.gate.house.request(),
            sign_in_name: name.to_owned(),
            grant: Some(grant),
        };
        self.gate.steward.client.people().revoke_role(request).await.unwrap();
    }

    async fn reset(&self, name: &str) {
        let request =
            v1::ResetPasswordRequest { request_id: self.gate.house.request(), sign_in_name: name.to_owned() };
        self.gate.steward.client.people().reset_password(request).await.unwrap();
    }

    async fn close(self) {
        self.other.stop().await;
        self.gate.house.close().await;
    }
}

fn assert_ended<T: std::fmt::Debug>(what: &str, answer: Result<T, Status>) {
    let refused = answer.unwrap_err();
    assert_eq!(
        (refused.code(), reason(&refused).as_str()),
        (Code::Unauthenticated, "NOT_SIGNED_IN"),
        "{what}: {refused:?}"
    );
}

#[tokio::test]
async fn a_steward_whose_role_is_taken_makes_no_steward_with_the_token_they_still_have() {
    let two = Two::new().await;
    let house = &two.gate.house;
    // Curator, too: what is shared is asked again like people and sites.
    let roles = [everywhere(Role::Steward), everywhere(Role::Curator)];
    let tokens = two.gate.settled("ann", &roles).await;
    two.gate.add("kim", &[at(Role::Keeper, "QUI")]).await;
    for client in two.both(&tokens) {
        client.sites().list_sites(v1::ListSitesRequest {}).await.unwrap();
    }
    two.revoke("ann", everywhere(Role::Steward)).await;
    for client in two.both(&tokens) {
        let grant = Some(everywhere(Role::Steward));
        let create = v1::CreatePersonRequest {
            request_id: house.request(),
            name: "Bob".to_owned(),
            sign_in_name: "bob".to_owned(),
            grants: grant.iter().cloned().collect(),
        };
        assert_ended("create", client.people().create_person(create).await);
        let (request_id, sign_in_name) = (house.request(), "kim".to_owned());
        let give = v1::GrantRoleRequest { request_id, sign_in_name: sign_in_name.clone(), grant };
        assert_ended("grant", client.people().grant_role(give).await);
        let take = v1::RevokeRoleRequest {
            request_id: house.request(),
            sign_in_name: sign_in_name.clone(),
            grant: Some(at(Role::Keeper, "QUI")),
        };
        assert_ended("revoke", client.people().revoke_role(take).await);
        let reset = v1::ResetPasswordRequest { request_id: house.request(), sign_in_name };
        assert_ended("reset", client.people().reset_password(reset).await);
        let list = v1::ListPeopleRequest::default();
        assert_ended("list", client.people().list_people(list).await);
        let site = v1::CreateSiteRequest {
            request_id: house.request(),
            code: "NEW".to_owned(),
            name: "New Park".to_owned(),
            time_zone: "UTC".to_owned(),
            ..Default::default()
        };
        assert_ended("site", client.sites().create_site(site).await);
        assert_ended("sites", client.sites().list_sites(v1::ListSitesRequest {}).await);
        let load = v1::LoadProtocolRequest {
            site: String::new(),
            request_id: house.request(),
            toml: holt_tests::cast::PROTOCOL.to_owned(),
            validate_only: false,
        };
        assert_ended("protocol", client.assessments().load_protocol(load).await);
        let load = v1::LoadEthogramRequest {
            site: String::new(),
            request_id: house.request(),
            toml: holt_tests::cast::ETHOGRAM.to_owned(),
            validate_only: false,
        };
        assert_ended("ethogram", client.ethograms().load_ethogram(load).await);
        assert_ended("seal", client.ledger().seal_ledger(v1::SealLedgerRequest {}).await);
        assert_ended("verify", client.ledger().verify_ledger(v1::VerifyLedgerRequest::default()).await);
    }
    two.close().await;
}

#[tokio::test]
async fn a_role_that_is_taken_ends_the_tokens_of_that_person_alone() {
    let two = Two::new().await;
    let house = &two.gate.house;
    let park_roles = [at(Role::Keeper, "QUI"), at(Role::Auditor, "QUI")];
    let kim = two.gate.settled("kim", &park_roles).await;
    let lee = two.gate.settled("lee", &park_roles[..1]).await;
    two.revoke("kim", at(Role::Keeper, "QUI")).await;
    let list = || v1::ListAnimalsRequest { site: "QUI".to_owned(), ..Default::default() };
    for client in two.both(&kim) {
        let round = house.round("QUI", &[("Bramble", start_of_time(), 8000)]);
        assert_ended("weigh", client.weights().record_weights(round).await);
        assert_ended("read", client.animals().list_animals(list()).await);
        assert_ended("themselves", client.people().get_self(v1::GetSelfRequest {}).await);
    }
    for client in two.both(&lee) {
        client.animals().list_animals(list()).await.unwrap();
    }
    // The sign-in itself stands: the next token names what is left.
    let fresh = two.gate.renew(&kim.refresh_token).await.unwrap();
    for client in two.both(&fresh) {
        client.animals().list_animals(list()).await.unwrap();
        let round = house.round("QUI", &[("Bramble", start_of_time(), 8000)]);
        let refused = client.weights().record_weights(round).await.unwrap_err();
        assert_eq!(reason(&refused), "ROLE_NEEDED");
    }
    two.close().await;
}

#[tokio::test]
async fn a_password_that_is_changed_or_reset_or_a_stolen_sign_in_ends_the_tokens_from_before() {
    let two = Two::new().await;
    let keeper = [at(Role::Keeper, "QUI")];
    let list = || v1::ListAnimalsRequest { site: "QUI".to_owned(), ..Default::default() };

    let first = two.gate.settled("kim", &keeper).await;
    let elsewhere = two.gate.sign_in("kim", PASSWORD).await.unwrap().tokens.unwrap();
    let fresh = two.gate.change(&first, PASSWORD, "five otters in a row").await.unwrap();
    for client in [two.both(&first), two.both(&elsewhere)].iter().flatten() {
        assert_ended("changed", client.animals().list_animals(list()).await);
    }
    for client in two.both(&fresh) {
        client.animals().list_animals(list()).await.unwrap();
    }

    two.reset("kim").await;
    for client in two.both(&fresh) {
        assert_ended("reset", client.animals().list_animals(list()).await);
        // Nor does it lead to a password of their choice.
        let change = v1::ChangePasswordRequest {
            current_password: "five otters in a row".to_owned(),
            new_password: "six otters in a row".to_owned(),
        };
        client.people().change_password(change).await.unwrap_err();
    }

    let spent = two.gate.settled("lee", &keeper).await;
    let current = two.gate.renew(&spent.refresh_token).await.unwrap();
    two.gate.renew(&spent.refresh_token).await.unwrap_err();
    for client in [two.both(&spent), two.both(&current)].iter().flatten() {
        assert_ended("shown twice", client.animals().list_animals(list()).await);
    }
    two.close().await;
}

/// Whoever takes a role or sets a password by SQL need not know of tokens.
#[tokio::test]
async fn a_role_that_is_taken_past_the_rules_ends_the_tokens_as_well() {
    let two = Two::new().await;
    let (keeper, vet) = (at(Role::Keeper, "QUI"), at(Role::Veterinary, "QUI"));
    let kim = two.gate.settled("kim", &[keeper]).await;
    let lou = two.gate.settled("lou", &[vet]).await;
    let mut owner = two.gate.house.owner().await;
    for (tokens, sql) in [
        (
            &kim,
            "UPDATE grants SET superseded_at = now(), superseded_in = id, superseded_why = 'revoked'
              WHERE role = 'keeper' AND superseded_at IS NULL",
        ),
        (&lou, "UPDATE credentials SET password_hash = password_hash || 'x'"),
    ] {
        for client in two.both(tokens) {
            client.sites().list_sites(v1::ListSitesRequest {}).await.unwrap();
        }
        sqlx::query(sql).execute(&mut owner).await.unwrap();
        for client in two.both(tokens) {
            assert_ended(sql, client.sites().list_sites(v1::ListSitesRequest {}).await);
        }
    }
    // Its ledger tells of what no write of Holt did, so it is not held to it.
    two.other.stop().await;
    two.gate.house.stop().await;
}

/// Readings of a device of the park, as a portion of a stream.
fn portion(house: &House, value: f64) -> v1::SendReadingsRequest {
    let reading = v1::DeviceReading {
        device: "Burrow lamp".to_owned(),
        read_at: Some(timestamp(house.clock.now())),
        value,
    };
    let portion = v1::RecordReadingsRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        readings: vec![reading],
    };
    v1::SendReadingsRequest { portion: Some(portion) }
}

#[tokio::test]
async fn a_stream_ends_with_the_role_or_the_password_of_whoever_opened_it() {
    let two = Two::new().await;
    let house = &two.gate.house;
    let registrar = house.person("reg", &[(holt_server::model::person::Role::Registrar, Some("QUI"))]).await;
    let enclosure = v1::CreateEnclosureRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        name: "Burrow House".to_owned(),
        kind: v1::EnclosureKind::Indoor.into(),
        capacity: 0,
    };
    registrar.client.sites().create_enclosure(enclosure).await.unwrap();
    let device = v1::AddDeviceRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        enclosure: "Burrow House".to_owned(),
        name: "Burrow lamp".to_owned(),
        measure: v1::Measure::Temperature.into(),
        ..Default::default()
    };
    registrar.client.climate().add_device(device).await.unwrap();
    let keeper = [at(Role::Keeper, "QUI")];
    for (n, name) in ["kim", "lee"].into_iter().enumerate() {
        let tokens = two.gate.settled(name, &keeper).await;
        let (send, portions) = mpsc::channel(1);
        send.send(portion(house, 20.0)).await.unwrap();
        let client = two.other.with_token(&tokens.access_token);
        let answers = client.climate().send_readings(ReceiverStream::new(portions)).await;
        let mut answers = answers.unwrap().into_inner();
        answers.message().await.unwrap().unwrap();
        if n == 0 {
            two.revoke(name, keeper[0].clone()).await;
        } else {
            two.reset(name).await;
        }
        house.clock.advance(chrono::TimeDelta::minutes(1));
        send.send(portion(house, 21.0)).await.unwrap();
        assert_ended(name, answers.message().await);
        assert!(answers.message().await.unwrap().is_none(), "the stream is over");
        house.clock.advance(chrono::TimeDelta::minutes(1));
    }
    two.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_write_that_is_under_way_while_the_role_is_taken_is_not_recorded() {
    let two = Two::new().await;
    let house = &two.gate.house;
    let registrar = house.person("reg", &[(holt_server::model::person::Role::Registrar, Some("QUI"))]).await;
    let arrival = v1::RegisterArrivalRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        taxon: "Lontra canadensis".to_owned(),
        arrived_on: Some(holt_proto::time::day("2025-03-01".parse().unwrap())),
        source: v1::ArrivalSource::Collection.into(),
        source_name: "Fenwater Collection".to_owned(),
        sex: v1::Sex::Female.into(),
        ..Default::default()
    };
    let otter = registrar.client.animals().register_arrival(arrival).await.unwrap().into_inner();
    let otter = otter.animal.unwrap();
    let tokens = two.gate.settled("kim", &[at(Role::Keeper, "QUI")]).await;
    let mut held = Held::animal(house, &otter.id).await;
    let round = house.round("QUI", &[(&otter.accession, start_of_time(), 8000)]);
    let client = two.other.with_token(&tokens.access_token);
    let mut call = tokio::spawn(async move { client.weights().record_weights(round).await });
    tokio::select! {
        () = held.is_waited_for() => {}
        answer = &mut call => panic!("nothing was waited for: {answer:?}"),
    }
    two.revoke("kim", at(Role::Keeper, "QUI")).await;
    held.let_go().await;
    assert_ended("under way", call.await.unwrap());
    assert_eq!(weights(house).await, 0);
    two.close().await;
}
