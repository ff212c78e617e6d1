//! A registrar moves an animal to another site.

mod alone;
mod books;
mod crowd;
mod happy;
mod later;
mod loss;
mod missing;
mod on_the_road;
mod refusals;
mod sight;

use holt_proto::v1;
use holt_tests::{House, Park};
use tonic::Status;

/// Two parks, and an otter of the first that is offered to the second.
pub(super) struct Move {
    pub(super) house: House,
    pub(super) quill: Park,
    pub(super) brack: Park,
    pub(super) otter: v1::Animal,
    pub(super) transfer: String,
}

impl Move {
    pub(super) async fn proposed() -> Self {
        Self::proposed_in(House::new().await).await
    }

    async fn proposed_in(house: House) -> Self {
        let quill = house.quill().await;
        let brack = house.park("BRA", "America/Halifax").await;
        let otter = house.otter(&quill, "Bramble").await;
        let transfer = propose(&house, &quill, &otter.id, "BRA").await.unwrap().id;
        Self { house, quill, brack, otter, transfer }
    }

    pub(super) async fn agreed() -> Self {
        let this = Self::proposed().await;
        this.agree().await.unwrap();
        this
    }

    pub(super) async fn dispatched() -> Self {
        Self::dispatched_in(House::new().await).await
    }

    pub(super) async fn dispatched_in(house: House) -> Self {
        let this = Self::proposed_in(house).await;
        this.agree().await.unwrap();
        this.dispatch().await.unwrap();
        this
    }

    pub(super) async fn received() -> Self {
        let this = Self::dispatched().await;
        this.receive().await.unwrap();
        this
    }

    pub(super) async fn agree(&self) -> Result<v1::Transfer, Status> {
        let request = v1::AgreeTransferRequest {
            request_id: self.house.request(),
            transfer_id: self.transfer.clone(),
            ..Default::default()
        };
        let answer = self.brack.registrar.client.transfers().agree_transfer(request).await?;
        Ok(answer.into_inner().transfer.unwrap())
    }

    pub(super) async fn dispatch(&self) -> Result<v1::Transfer, Status> {
        let request = v1::DispatchTransferRequest {
            request_id: self.house.request(),
            transfer_id: self.transfer.clone(),
            note: "crate 12, health paper 881".to_owned(),
            ..Default::default()
        };
        let answer = self.quill.registrar.client.transfers().dispatch_transfer(request).await?;
        Ok(answer.into_inner().transfer.unwrap())
    }

    pub(super) fn receipt(&self) -> v1::ReceiveTransferRequest {
        v1::ReceiveTransferRequest {
            request_id: self.house.request(),
            transfer_id: self.transfer.clone(),
            note: "alert, ate at once".to_owned(),
            ..Default::default()
        }
    }

    pub(super) async fn receive(&self) -> Result<v1::ReceiveTransferResponse, Status> {
        let receipt = self.receipt();
        Ok(self.brack.registrar.client.transfers().receive_transfer(receipt).await?.into_inner())
    }

    pub(super) async fn lose(&self, by: &Park, loss: v1::TransferLoss) -> Result<v1::Transfer, Status> {
        let request = v1::ReportTransferLossRequest {
            request_id: self.house.request(),
            transfer_id: self.transfer.clone(),
            loss: loss.into(),
            note: "found at the ferry".to_owned(),
            ..Default::default()
        };
        let answer = by.registrar.client.transfers().report_transfer_loss(request).await?;
        Ok(answer.into_inner().transfer.unwrap())
    }

    pub(super) async fn cancel(&self) -> Result<v1::Transfer, Status> {
        let request = v1::CancelTransferRequest {
            request_id: self.house.request(),
            transfer_id: self.transfer.clone(),
            why: "the ferry does not sail".to_owned(),
            ..Default::default()
        };
        let answer = self.quill.registrar.client.transfers().cancel_transfer(request).await?;
        Ok(answer.into_inner().transfer.unwrap())
    }

    pub(super) async fn refuse(&self) -> Result<v1::Transfer, Status> {
        let request = v1::RefuseTransferRequest {
            request_id: self.house.request(),
            transfer_id: self.transfer.clone(),
            why: "no room before May".to_owned(),
            ..Default::default()
        };
        let answer = self.brack.registrar.client.transfers().refuse_transfer(request).await?;
        Ok(answer.into_inner().transfer.unwrap())
    }

    pub(super) async fn withhold(&self, by: &Park) -> Result<v1::Transfer, Status> {
        let request = v1::WithholdTransferRequest {
            request_id: self.house.request(),
            transfer_id: self.transfer.clone(),
            why: "faecal sample pending".to_owned(),
        };
        let answer = by.vet.client.transfers().withhold_transfer(request).await?;
        Ok(answer.into_inner().transfer.unwrap())
    }

    pub(super) async fn release(&self, by: &Park) -> Result<v1::Transfer, Status> {
        let request = v1::ReleaseTransferRequest {
            request_id: self.house.request(),
            transfer_id: self.transfer.clone(),
            note: "clear".to_owned(),
        };
        let answer = by.vet.client.transfers().release_transfer(request).await?;
        Ok(answer.into_inner().transfer.unwrap())
    }

    /// The otter as a park's registrar sees it.
    pub(super) async fn seen_by(&self, park: &Park) -> Result<v1::Animal, Status> {
        let request = v1::GetAnimalRequest {
            site: park.code.clone(),
            animal: self.otter.id.clone(),
            ..Default::default()
        };
        let answer = park.registrar.client.animals().get_animal(request).await?;
        Ok(answer.into_inner().animal.unwrap())
    }
}

pub(super) async fn propose(
    house: &House,
    from: &Park,
    animal: &str,
    to: &str,
) -> Result<v1::Transfer, Status> {
    let request = v1::ProposeTransferRequest {
        request_id: house.request(),
        site: from.code.clone(),
        animal: animal.to_owned(),
        to_site: to.to_owned(),
        terms: v1::TransferTerms::TitlePasses.into(),
        why: "an unrelated partner lives there".to_owned(),
        ..Default::default()
    };
    let answer = from.registrar.client.transfers().propose_transfer(request).await?;
    Ok(answer.into_inner().transfer.unwrap())
}
