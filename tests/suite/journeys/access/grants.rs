//! Roles are given and taken.

use super::{Gate, PASSWORD, at, everywhere};
use holt_proto::v1::{self, Role};
use holt_tests::house::Client;
use holt_tests::reason;
use tonic::{Code, Status};

async fn revoke(gate: &Gate, by: &Client, name: &str, grant: &v1::Grant) -> Result<v1::Person, Status> {
    let request = v1::RevokeRoleRequest {
        request_id: gate.house.request(),
        sign_in_name: name.to_owned(),
        grant: Some(grant.clone()),
    };
    Ok(by.people().revoke_role(request).await?.into_inner().person.unwrap())
}

#[tokio::test]
async fn a_role_that_is_taken_away_is_gone_with_the_tokens_that_name_it() {
    let gate = Gate::new().await;
    let keeper = [at(Role::Keeper, "QUI")];
    let auditor = [at(Role::Auditor, "QUI")];
    let both = [at(Role::Auditor, "QUI"), at(Role::Keeper, "QUI")];
    let tokens = gate.settled("kim", &keeper).await;
    assert_eq!(gate.grant("kim", &auditor[0]).await.unwrap().grants, both);
    assert_eq!(gate.roles(&tokens).await.unwrap(), keeper, "a token says what it said");
    let tokens = gate.renew(&tokens.refresh_token).await.unwrap();
    assert_eq!(gate.roles(&tokens).await.unwrap(), both);

    let person = revoke(&gate, &gate.steward.client, "kim", &keeper[0]).await.unwrap();
    assert_eq!(person.grants, auditor);
    assert_eq!(reason(&gate.roles(&tokens).await.unwrap_err()), "NOT_SIGNED_IN");
    let tokens = gate.renew(&tokens.refresh_token).await.unwrap();
    assert_eq!(gate.roles(&tokens).await.unwrap(), auditor);
    assert_eq!(gate.sign_in("kim", PASSWORD).await.unwrap().person.unwrap().grants, auditor);
    // What was taken away stays on record, and can be given again.
    let mut owner = gate.house.owner().await;
    let history: Vec<(bool,)> = sqlx::query_as(
        "SELECT g.superseded_at IS NULL FROM grants g JOIN people p ON p.id = g.person_id
          WHERE p.sign_in_name = 'kim' AND g.role = 'keeper'",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    assert_eq!(history, [(false,)]);
    gate.grant("kim", &keeper[0]).await.unwrap();
    gate.house.close().await;
}

#[tokio::test]
async fn nothing_is_given_twice_or_taken_from_whoever_does_not_have_it() {
    let gate = Gate::new().await;
    let keeper = at(Role::Keeper, "QUI");
    gate.add("kim", std::slice::from_ref(&keeper)).await;
    let by = &gate.steward.client;
    let twice = gate.grant("kim", &keeper).await.unwrap_err();
    assert_eq!((twice.code(), reason(&twice).as_str()), (Code::AlreadyExists, "EXISTS"));
    for (name, grant) in [
        ("kim", at(Role::Auditor, "QUI")),
        ("kim", everywhere(Role::Keeper)),
        ("kim", everywhere(Role::Steward)),
        ("nobody", keeper.clone()),
        ("kim", at(Role::Keeper, "ZZZ")),
    ] {
        assert_eq!(
            reason(&revoke(&gate, by, name, &grant).await.unwrap_err()),
            "NOT_FOUND",
            "{name} {grant:?}"
        );
    }
    for grant in [v1::Grant::default(), v1::Grant { every_site: true, ..keeper }] {
        assert_eq!(reason(&gate.grant("kim", &grant).await.unwrap_err()), "MALFORMED", "{grant:?}");
    }
    gate.house.close().await;
}

/// A steward of everything with a name and a password.
async fn steward(gate: &Gate, name: &str) -> Client {
    let tokens = gate.settled(name, &[everywhere(Role::Steward)]).await;
    gate.client(&tokens)
}

/// Takes the role from all stewards that the house began with.
async fn retire(gate: &Gate, by: &Client) {
    let list = by.people().list_people(v1::ListPeopleRequest::default()).await.unwrap().into_inner();
    for person in list.people.iter().filter(|person| person.sign_in_name.starts_with("steward-")) {
        revoke(gate, by, &person.sign_in_name, &everywhere(Role::Steward)).await.unwrap();
    }
}

#[tokio::test]
async fn the_last_steward_stays() {
    let gate = Gate::new().await;
    let ann = steward(&gate, "ann").await;
    retire(&gate, &ann).await;
    let all = everywhere(Role::Steward);
    let refused = revoke(&gate, &ann, "ann", &all).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::FailedPrecondition, "LAST_STEWARD"));
    // Whoever does not have it cannot lose it.
    let refused = revoke(&gate, &ann, "qui-keeper", &all).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    // A steward of one site does not keep them all.
    let here = at(Role::Steward, "QUI");
    let grant = v1::GrantRoleRequest {
        request_id: gate.house.request(),
        sign_in_name: "ann".to_owned(),
        grant: Some(here.clone()),
    };
    ann.people().grant_role(grant).await.unwrap();
    assert_eq!(reason(&revoke(&gate, &ann, "ann", &all).await.unwrap_err()), "LAST_STEWARD");
    revoke(&gate, &ann, "ann", &here).await.unwrap();
    gate.house.close().await;
}

#[tokio::test]
async fn of_the_last_two_stewards_one_stays_also_when_each_revokes_the_other() {
    let gate = Gate::new().await;
    let (ann, bob) = (steward(&gate, "ann").await, steward(&gate, "bob").await);
    retire(&gate, &ann).await;
    let all = everywhere(Role::Steward);
    let (one, other) = tokio::join!(revoke(&gate, &ann, "bob", &all), revoke(&gate, &bob, "ann", &all));
    let refused: Vec<Status> = [one, other].into_iter().filter_map(Result::err).collect();
    // The second is no steward any more when its turn comes.
    assert_eq!(refused.iter().map(reason).collect::<Vec<_>>(), ["NOT_SIGNED_IN"]);
    gate.house.close().await;
}

#[tokio::test]
async fn a_steward_of_one_site_keeps_its_people_and_no_others() {
    let gate = Gate::new().await;
    gate.house.park("BRA", "America/Halifax").await;
    let tokens = gate.settled("ann", &[at(Role::Steward, "QUI")]).await;
    let ann = gate.client(&tokens);
    let person = |name: &str, grants: &[v1::Grant]| v1::CreatePersonRequest {
        request_id: gate.house.request(),
        name: name.to_owned(),
        sign_in_name: name.to_owned(),
        grants: grants.to_vec(),
    };
    ann.people().create_person(person("kim", &[at(Role::Keeper, "QUI")])).await.unwrap();
    for (grants, wanted) in [
        (vec![at(Role::Keeper, "BRA")], "NOT_FOUND"),
        (vec![at(Role::Keeper, "QUI"), at(Role::Keeper, "BRA")], "NOT_FOUND"),
        (vec![everywhere(Role::Auditor)], "ROLE_NEEDED"),
    ] {
        let refused = ann.people().create_person(person("lee", &grants)).await.unwrap_err();
        assert_eq!(reason(&refused), wanted, "{grants:?}");
    }
    let list = ann.people().list_people(v1::ListPeopleRequest::default()).await.unwrap().into_inner();
    let names: Vec<_> = list.people.iter().map(|person| person.sign_in_name.as_str()).collect();
    assert!(names.contains(&"kim") && names.contains(&"qui-keeper"), "{names:?}");
    assert!(!names.iter().any(|name| name.starts_with("bra-") || *name == "lee"), "{names:?}");
    gate.house.close().await;
}
