//! What is told to be missing.

use super::Move;
use holt_proto::v1::{self, TransferLoss, TransferState};

/// A move that never came to its end needs no day, no papers and no word of a veterinary surgeon any more.
#[tokio::test]
async fn a_move_that_ended_without_arrival_misses_nothing() {
    let proposed = Move::proposed().await;
    let withheld = proposed.withhold(&proposed.quill).await.unwrap();
    assert_eq!(withheld.missing, ["no day is planned", "a veterinary surgeon withholds it"]);
    let refused = proposed.refuse().await.unwrap();
    assert_eq!((refused.state(), refused.missing.len()), (TransferState::Refused, 0), "{refused:?}");
    proposed.house.close().await;

    for loss in [None, Some(TransferLoss::Death), Some(TransferLoss::Escape)] {
        let agreed = Move::agreed().await;
        let dispatch = v1::DispatchTransferRequest {
            request_id: agreed.house.request(),
            transfer_id: agreed.transfer.clone(),
            ..Default::default()
        };
        let client = &agreed.quill.registrar.client;
        let dispatched = client.transfers().dispatch_transfer(dispatch).await.unwrap().into_inner();
        assert_eq!(dispatched.transfer.unwrap().missing, ["no papers or carrier noted at dispatch"]);
        let ended = match loss {
            None => agreed.cancel().await.unwrap(),
            Some(loss) => agreed.lose(&agreed.quill, loss).await.unwrap(),
        };
        assert_eq!(ended.missing, [""; 0], "{ended:?}");
        let list = v1::ListTransfersRequest { site: "QUI".to_owned(), ..Default::default() };
        let listed = client.transfers().list_transfers(list).await.unwrap().into_inner().transfers;
        assert_eq!(listed[0].missing, [""; 0]);
        agreed.house.close().await;
    }
}

/// What an animal that arrived came without stays told.
#[tokio::test]
async fn a_move_that_arrived_still_lacks_what_it_lacked() {
    let agreed = Move::agreed().await;
    let dispatch = v1::DispatchTransferRequest {
        request_id: agreed.house.request(),
        transfer_id: agreed.transfer.clone(),
        ..Default::default()
    };
    agreed.quill.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
    let receipt = v1::ReceiveTransferRequest { note: String::new(), ..agreed.receipt() };
    let received = agreed.brack.registrar.client.transfers().receive_transfer(receipt).await.unwrap();
    assert_eq!(
        received.into_inner().transfer.unwrap().missing,
        ["no papers or carrier noted at dispatch", "no condition noted at receipt"]
    );
    agreed.house.close().await;
}
