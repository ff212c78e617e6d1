//! Guessing is slow.

use super::{Gate, PASSWORD, at};
use holt_proto::v1::Role;
use holt_tests::{House, reason};
use tonic::Code;
use tonic_types::StatusExt;

#[tokio::test]
async fn after_a_few_tries_a_name_must_wait_and_others_need_not() {
    let house = House::with(|config| config.access.sign_ins_per_minute = 3).await;
    let gate = Gate::in_house(house).await;
    gate.settled("kim", &[at(Role::Keeper, "QUI")]).await;
    gate.settled("lee", &[at(Role::Keeper, "QUI")]).await;
    // One try has gone by signing in with the one-time password.
    for _ in 0..2 {
        assert_eq!(reason(&gate.sign_in("kim", "a guess").await.unwrap_err()), "SIGN_IN_FAILED");
    }
    for password in ["a guess", PASSWORD] {
        let refused = gate.sign_in("KIM", password).await.unwrap_err();
        assert_eq!((refused.code(), reason(&refused).as_str()), (Code::ResourceExhausted, "TOO_MUCH"));
        assert!(refused.get_details_retry_info().unwrap().retry_delay.unwrap().as_secs() > 0);
    }
    gate.sign_in("lee", PASSWORD).await.unwrap();
    // Names that nobody has are throttled alike, so that throttling tells nothing.
    for _ in 0..3 {
        assert_eq!(reason(&gate.sign_in("nobody", "a guess").await.unwrap_err()), "SIGN_IN_FAILED");
    }
    assert_eq!(reason(&gate.sign_in("nobody", "a guess").await.unwrap_err()), "TOO_MUCH");
    gate.house.close().await;
}
