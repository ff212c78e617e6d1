//! Signing in by name and password.

use super::{Gate, PASSWORD, at, everywhere};
use holt_proto::v1::{self, Role};
use holt_tests::reason;
use tonic::{Code, Status};
use tonic_types::StatusExt;

/// What a caller sees of a refusal.
fn seen(status: &Status) -> (Code, String, usize) {
    (status.code(), status.message().to_owned(), status.details().len())
}

#[tokio::test]
async fn a_one_time_password_opens_its_own_change_and_nothing_else() {
    let gate = Gate::new().await;
    let one_time = gate.add("kim", &[at(Role::Keeper, "QUI")]).await;
    let signed_in = gate.sign_in(" Kim ", &one_time).await.unwrap();
    assert!(signed_in.must_change_password);
    assert_eq!(signed_in.person.unwrap().grants, [at(Role::Keeper, "QUI")]);
    let tokens = signed_in.tokens.unwrap();
    let list = v1::ListAnimalsRequest { site: "QUI".to_owned(), ..Default::default() };
    let refused = gate.client(&tokens).animals().list_animals(list.clone()).await.unwrap_err();
    assert_eq!(
        (refused.code(), reason(&refused).as_str()),
        (Code::FailedPrecondition, "PASSWORD_CHANGE_NEEDED")
    );
    assert_eq!(gate.roles(&tokens).await.unwrap(), [at(Role::Keeper, "QUI")]);
    // A renewal does not lead around it.
    let renewed = gate.renew(&tokens.refresh_token).await.unwrap();
    assert!(gate.client(&renewed).animals().list_animals(list.clone()).await.is_err());

    let tokens = gate.change(&renewed, &one_time, PASSWORD).await.unwrap();
    gate.client(&tokens).animals().list_animals(list).await.unwrap();
    assert_eq!(reason(&gate.sign_in("kim", &one_time).await.unwrap_err()), "SIGN_IN_FAILED");
    assert!(!gate.sign_in("kim", PASSWORD).await.unwrap().must_change_password);
    gate.house.close().await;
}

#[tokio::test]
async fn a_wrong_name_and_a_wrong_password_are_answered_alike() {
    let gate = Gate::new().await;
    gate.settled("kim", &[at(Role::Keeper, "QUI")]).await;
    let wrong_password = gate.sign_in("kim", "three otters in a row").await.unwrap_err();
    assert_eq!(
        (wrong_password.code(), reason(&wrong_password).as_str()),
        (Code::Unauthenticated, "SIGN_IN_FAILED")
    );
    let long = "k".repeat(10_000);
    // Somebody of the records who has no password; nobody; and what can be nobody's name.
    for name in ["qui-keeper", "holt:itself", "nobody", "", "kim\0", "kïm", "kim ' OR true --", &long] {
        let wrong_name = gate.sign_in(name, PASSWORD).await.unwrap_err();
        assert_eq!(seen(&wrong_name), seen(&wrong_password), "{name:.20}");
    }
    gate.house.close().await;
}

#[tokio::test]
async fn a_new_password_is_long_enough_and_new_and_needs_the_old_one() {
    let gate = Gate::new().await;
    let tokens = gate.settled("kim", &[at(Role::Keeper, "QUI")]).await;
    for (current, new, wanted) in [
        (PASSWORD, "eleven char", "MALFORMED"),
        (PASSWORD, &*"x".repeat(257), "MALFORMED"),
        (PASSWORD, PASSWORD, "MALFORMED"),
        ("three otters in a row", "five otters in a row", "SIGN_IN_FAILED"),
    ] {
        assert_eq!(reason(&gate.change(&tokens, current, new).await.unwrap_err()), wanted, "{new:.30}");
    }
    gate.sign_in("kim", PASSWORD).await.unwrap();
    gate.house.close().await;
}

#[tokio::test]
async fn a_change_of_password_ends_every_sign_in_from_before() {
    let gate = Gate::new().await;
    let here = gate.settled("kim", &[at(Role::Keeper, "QUI")]).await;
    let there = gate.sign_in("kim", PASSWORD).await.unwrap().tokens.unwrap();
    let fresh = gate.change(&here, PASSWORD, "five otters in a row").await.unwrap();
    for old in [&here, &there] {
        assert_eq!(reason(&gate.renew(&old.refresh_token).await.unwrap_err()), "REFRESH_REFUSED");
    }
    gate.renew(&fresh.refresh_token).await.unwrap();
    gate.house.close().await;
}

#[tokio::test]
async fn a_one_time_password_is_told_once() {
    let gate = Gate::new().await;
    let person = v1::CreatePersonRequest {
        request_id: gate.house.request(),
        name: "Kim Quill".to_owned(),
        sign_in_name: "kim".to_owned(),
        grants: vec![at(Role::Keeper, "QUI")],
    };
    let people = || gate.steward.client.people();
    let made = people().create_person(person.clone()).await.unwrap().into_inner();
    let again = people().create_person(person.clone()).await.unwrap().into_inner();
    assert_eq!(again.person, made.person);
    assert_eq!(again.one_time_password, "");
    gate.sign_in("kim", &made.one_time_password).await.unwrap();
    // It is nowhere in the database, in no reply that is kept for a repeat, and in no ledger line.
    let mut owner = gate.house.owner().await;
    let kept: i64 = sqlx::query_scalar(
        "SELECT (SELECT count(*) FROM requests r WHERE r.reply::text LIKE '%' || $1 || '%')
              + (SELECT count(*) FROM ledger l WHERE l.lines::text LIKE '%' || $1 || '%')
              + (SELECT count(*) FROM credentials c WHERE c::text LIKE '%' || $1 || '%')",
    )
    .bind(&made.one_time_password)
    .fetch_one(&mut owner)
    .await
    .unwrap();
    assert_eq!(kept, 0);
    // The name is taken.
    let other = v1::CreatePersonRequest { request_id: gate.house.request(), ..person };
    let refused = people().create_person(other).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::AlreadyExists, "EXISTS"));
    gate.house.close().await;
}

#[tokio::test]
async fn who_forgot_a_password_gets_another_from_whoever_keeps_people_there() {
    let gate = Gate::new().await;
    let tokens = gate.settled("kim", &[at(Role::Keeper, "QUI")]).await;
    let request =
        v1::ResetPasswordRequest { request_id: gate.house.request(), sign_in_name: "kim".to_owned() };
    let given = gate.steward.client.people().reset_password(request.clone()).await.unwrap().into_inner();
    assert_eq!(reason(&gate.sign_in("kim", PASSWORD).await.unwrap_err()), "SIGN_IN_FAILED");
    assert_eq!(reason(&gate.renew(&tokens.refresh_token).await.unwrap_err()), "REFRESH_REFUSED");
    assert!(gate.sign_in("kim", &given.one_time_password).await.unwrap().must_change_password);
    // Asked again, it is not told again, and nothing changes.
    let again = gate.steward.client.people().reset_password(request).await.unwrap().into_inner();
    assert_eq!((again.person, again.one_time_password.as_str()), (given.person, ""));
    assert!(gate.sign_in("kim", &given.one_time_password).await.is_ok());
    gate.house.close().await;
}

#[tokio::test]
async fn a_steward_of_one_site_gives_no_password_that_opens_another() {
    let gate = Gate::new().await;
    gate.house.park("BRA", "America/Halifax").await;
    let here = gate.settled("ann", &[at(Role::Steward, "QUI")]).await;
    let ann = gate.client(&here);
    let both = [at(Role::Keeper, "QUI"), at(Role::Keeper, "BRA")];
    for (name, grants) in
        [("both", &both[..]), ("all", &[everywhere(Role::Auditor), at(Role::Keeper, "QUI")][..])]
    {
        gate.settled(name, grants).await;
        let request =
            v1::ResetPasswordRequest { request_id: gate.house.request(), sign_in_name: name.to_owned() };
        ann.people().reset_password(request).await.unwrap_err();
        gate.sign_in(name, PASSWORD).await.unwrap();
    }
    gate.settled("kim", &both[..1]).await;
    for (name, there) in [("kim", true), ("nobody", false), ("bra-keeper", false)] {
        let request =
            v1::ResetPasswordRequest { request_id: gate.house.request(), sign_in_name: name.to_owned() };
        let answer = ann.people().reset_password(request).await;
        assert_eq!(answer.err().map(|refused| reason(&refused)), (!there).then(|| "NOT_FOUND".to_owned()));
    }
    gate.house.close().await;
}

/// Whether somebody works elsewhere, worked here once, or is nobody: whoever keeps people here is told the same.
#[tokio::test]
async fn a_password_that_is_not_given_tells_nothing_of_where_somebody_works() {
    let gate = Gate::new().await;
    gate.house.park("BRA", "America/Halifax").await;
    let ann = gate.settled("ann", &[at(Role::Steward, "QUI")]).await;
    let ann = gate.client(&ann);
    let (here, there) = (at(Role::Keeper, "QUI"), at(Role::Keeper, "BRA"));
    for (name, grants) in [
        ("somebody-1", vec![here.clone(), there.clone()]),
        ("somebody-2", vec![there.clone()]),
        ("somebody-3", vec![here.clone(), there]),
        ("somebody-4", vec![here.clone()]),
        ("somebody-5", vec![here.clone(), everywhere(Role::Auditor)]),
    ] {
        gate.settled(name, &grants).await;
    }
    // Two have left.
    for name in ["somebody-3", "somebody-4"] {
        let request = v1::RevokeRoleRequest {
            request_id: gate.house.request(),
            sign_in_name: name.to_owned(),
            grant: Some(here.clone()),
        };
        ann.people().revoke_role(request).await.unwrap();
    }
    let mut told = Vec::new();
    for n in 1..=6 {
        let name = format!("somebody-{n}");
        let request =
            v1::ResetPasswordRequest { request_id: gate.house.request(), sign_in_name: name.clone() };
        let refused = ann.people().reset_password(request).await.unwrap_err();
        assert_eq!(reason(&refused), "NOT_FOUND", "{name}");
        let facts = refused.get_details_error_info().unwrap().metadata;
        let facts: std::collections::BTreeMap<_, _> = facts.into_iter().collect();
        let (code, message, length) = seen(&refused);
        told.push(format!("{code:?} {message} {length} {facts:?}").replace(&name, "somebody"));
    }
    assert!(told.iter().all(|one| *one == told[5]), "{told:#?}");
    // Whoever keeps people everywhere helps them all.
    for n in 1..=5 {
        let request = v1::ResetPasswordRequest {
            request_id: gate.house.request(),
            sign_in_name: format!("somebody-{n}"),
        };
        gate.steward.client.people().reset_password(request).await.unwrap();
    }
    gate.house.close().await;
}
