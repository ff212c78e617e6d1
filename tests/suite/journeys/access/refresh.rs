//! Refresh tokens: each is spent once, and one that is shown twice ends its sign-in.

use super::{Gate, PASSWORD, at};
use chrono::TimeDelta;
use holt_proto::v1::{self, Role};
use holt_tests::reason;
use sqlx::{Connection, Executor};
use tonic::{Code, Status};

fn is_refused(answer: Result<v1::Tokens, Status>) -> bool {
    let refused = answer.unwrap_err();
    (refused.code(), reason(&refused).as_str()) == (Code::Unauthenticated, "REFRESH_REFUSED")
}

async fn sign_out(gate: &Gate, refresh_token: &str) {
    let request = v1::SignOutRequest { refresh_token: refresh_token.to_owned() };
    gate.house.anonymous().people().sign_out(request).await.unwrap();
}

#[tokio::test]
async fn a_token_is_exchanged_once() {
    let gate = Gate::new().await;
    let first = gate.settled("kim", &[at(Role::Keeper, "QUI")]).await;
    let second = gate.renew(&first.refresh_token).await.unwrap();
    assert_ne!(second.refresh_token, first.refresh_token);
    assert_eq!(gate.roles(&second).await.unwrap(), [at(Role::Keeper, "QUI")]);
    let third = gate.renew(&second.refresh_token).await.unwrap();
    assert!(third.refresh_expires_at.unwrap().seconds >= second.refresh_expires_at.unwrap().seconds);
    for unknown in ["", "nonsense", &third.access_token] {
        assert!(is_refused(gate.renew(unknown).await), "{unknown}");
    }
    gate.house.close().await;
}

#[tokio::test]
async fn a_spent_token_that_is_shown_again_ends_all_that_descend_from_its_sign_in() {
    let gate = Gate::new().await;
    let first = gate.settled("kim", &[at(Role::Keeper, "QUI")]).await;
    let elsewhere = gate.sign_in("kim", PASSWORD).await.unwrap().tokens.unwrap();
    let second = gate.renew(&first.refresh_token).await.unwrap();
    let third = gate.renew(&second.refresh_token).await.unwrap();
    assert!(is_refused(gate.renew(&first.refresh_token).await));
    assert!(is_refused(gate.renew(&third.refresh_token).await), "the newest is ended, too");
    gate.renew(&elsewhere.refresh_token).await.unwrap();
    gate.house.close().await;
}

/// The thief and the owner come at the same moment: what is just being given out must not slip through.
#[tokio::test]
async fn what_is_given_out_while_a_sign_in_is_ended_is_ended_with_it() {
    let gate = Gate::new().await;
    let spent = gate.settled("kim", &[at(Role::Keeper, "QUI")]).await;
    let current = gate.renew(&spent.refresh_token).await.unwrap();
    let mut owner = gate.house.owner().await;
    let mut watcher = gate.house.owner().await;
    // A renewal looks up the person after it has found its token good.
    let mut hold = owner.begin().await.unwrap();
    hold.execute("LOCK TABLE people IN ACCESS EXCLUSIVE MODE").await.unwrap();
    let renewed = gate.renew(&current.refresh_token);
    let shown_again = async {
        gate.house.until_waiting(&mut watcher, 1).await;
        gate.renew(&spent.refresh_token).await
    };
    let mut other_watcher = gate.house.owner().await;
    let release = async {
        gate.house.until_waiting(&mut other_watcher, 2).await;
        hold.rollback().await.unwrap();
    };
    let (renewed, shown_again, ()) = tokio::join!(renewed, shown_again, release);
    assert!(is_refused(shown_again));
    assert!(is_refused(gate.renew(&renewed.unwrap().refresh_token).await));
    gate.house.close().await;
}

/// Two tabs renew at the same moment with the same token: one of them shows a token that is spent.
#[tokio::test]
async fn of_two_renewals_at_once_one_goes_well_at_most() {
    let gate = Gate::new().await;
    let first = gate.settled("kim", &[at(Role::Keeper, "QUI")]).await;
    let (one, other) = tokio::join!(gate.renew(&first.refresh_token), gate.renew(&first.refresh_token));
    let well: Vec<v1::Tokens> = [one, other].into_iter().filter_map(Result::ok).collect();
    assert_eq!(well.len(), 1);
    assert!(is_refused(gate.renew(&well[0].refresh_token).await));
    gate.house.close().await;
}

#[tokio::test]
async fn a_sign_out_ends_its_own_sign_in() {
    let gate = Gate::new().await;
    let here = gate.settled("kim", &[at(Role::Keeper, "QUI")]).await;
    let there = gate.sign_in("kim", PASSWORD).await.unwrap().tokens.unwrap();
    let newer = gate.renew(&here.refresh_token).await.unwrap();
    sign_out(&gate, &newer.refresh_token).await;
    assert!(is_refused(gate.renew(&newer.refresh_token).await));
    gate.renew(&there.refresh_token).await.unwrap();
    // What is ended already, or never was, is no error.
    sign_out(&gate, &newer.refresh_token).await;
    sign_out(&gate, "nonsense").await;
    gate.house.close().await;
}

#[tokio::test]
async fn tokens_run_out() {
    let gate = Gate::new().await;
    let tokens = gate.settled("kim", &[at(Role::Keeper, "QUI")]).await;
    let (access, refresh) = (tokens.access_expires_at.unwrap(), tokens.refresh_expires_at.unwrap());
    let until = |at: prost_types::Timestamp| holt_proto::time::instant(at).unwrap();
    gate.house.clock.set(until(access) - TimeDelta::seconds(1));
    gate.roles(&tokens).await.unwrap();
    // Two clocks may differ by five seconds.
    gate.house.clock.set(until(access) + TimeDelta::seconds(6));
    let run_out = gate.roles(&tokens).await.unwrap_err();
    assert_eq!((run_out.code(), reason(&run_out).as_str()), (Code::Unauthenticated, "NOT_SIGNED_IN"));
    gate.house.clock.set(until(refresh));
    assert!(is_refused(gate.renew(&tokens.refresh_token).await));
    gate.house.clock.set(until(refresh) - TimeDelta::seconds(1));
    gate.renew(&tokens.refresh_token).await.unwrap();
    gate.house.close().await;
}
