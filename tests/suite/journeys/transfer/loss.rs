//! A death or an escape ends a transfer, and the sender's holding with it.

use super::Move;
use holt_proto::v1::{self, AnimalStatus, TransferLoss, TransferState};
use holt_tests::reason;

#[tokio::test]
async fn a_death_on_the_way_goes_off_the_senders_books() {
    let this = Move::dispatched().await;
    let lost = this.lose(&this.brack, TransferLoss::Death).await.unwrap();
    assert_eq!(lost.state(), TransferState::DiedOnWay);
    let seen = this.seen_by(&this.quill).await.unwrap();
    assert_eq!((seen.status(), seen.holder.as_str()), (AnimalStatus::Dead, ""));
    assert_eq!(reason(&this.receive().await.unwrap_err()), "TRANSFER_WRONG_STATE");
    this.house.close().await;
}

#[tokio::test]
async fn an_escape_on_the_way_leaves_nobody_to_answer() {
    let this = Move::dispatched().await;
    let lost = this.lose(&this.quill, TransferLoss::Escape).await.unwrap();
    assert_eq!(lost.state(), TransferState::EscapedOnWay);
    let seen = this.seen_by(&this.quill).await.unwrap();
    assert_eq!(seen.status(), AnimalStatus::AtLarge);
    this.house.close().await;
}

#[tokio::test]
async fn a_death_at_home_calls_an_open_transfer_off() {
    let this = Move::agreed().await;
    this.quill.registrar.client.animals().record_death(death(&this)).await.unwrap();
    let get = v1::GetTransferRequest { transfer_id: this.transfer.clone(), as_known_at: None };
    let seen = this.brack.registrar.client.transfers().get_transfer(get).await.unwrap().into_inner();
    let transfer = seen.transfer.unwrap();
    assert_eq!(transfer.state(), TransferState::Cancelled);
    assert_eq!(transfer.steps.last().unwrap().note, "the animal died");
    this.house.close().await;
}

#[tokio::test]
async fn on_the_way_a_death_is_a_step_of_the_transfer_and_leaving_is_refused() {
    let this = Move::dispatched().await;
    let refused = this.quill.registrar.client.animals().record_death(death(&this)).await.unwrap_err();
    assert_eq!(reason(&refused), "ANIMAL_ON_THE_MOVE");
    let departure = v1::RecordDepartureRequest {
        request_id: this.house.request(),
        site: "QUI".into(),
        animal: "Bramble".into(),
        departed_on: Some("2026-03-02".parse().unwrap()),
        destination: v1::DepartureDestination::Collection.into(),
        ..Default::default()
    };
    let refused = this.quill.registrar.client.animals().record_departure(departure).await.unwrap_err();
    assert_eq!(reason(&refused), "ANIMAL_ON_THE_MOVE");
    this.house.close().await;
}

fn death(this: &Move) -> v1::RecordDeathRequest {
    v1::RecordDeathRequest {
        request_id: this.house.request(),
        site: "QUI".into(),
        animal: "Bramble".into(),
        died_on: Some("2026-03-02".parse().unwrap()),
        manner: v1::DeathManner::Unknown.into(),
        ..Default::default()
    }
}
