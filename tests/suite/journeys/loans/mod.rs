//! Loans and titles: who keeps an animal and who owns it are two.

mod due;
mod ends;
mod titles;

use holt_proto::v1;
use holt_tests::{House, Park, Person};
use tonic::Status;

/// Two parks, the first with an otter of its own.
struct Pair {
    house: House,
    quill: Park,
    brack: Park,
}

impl Pair {
    async fn new() -> Self {
        let house = House::new().await;
        let quill = house.quill().await;
        let brack = house.park("BRA", "America/Halifax").await;
        house.otter(&quill, "Bramble").await;
        Self { house, quill, brack }
    }

    /// A move that is done: proposed, agreed, dispatched and received.
    async fn moved(
        &self,
        from: &Park,
        to: &Park,
        animal: &str,
        terms: v1::TransferTerms,
        until: Option<&str>,
    ) {
        let propose = v1::ProposeTransferRequest {
            request_id: self.house.request(),
            site: from.code.clone(),
            animal: animal.to_owned(),
            to_site: to.code.clone(),
            terms: terms.into(),
            loan_until: until.map(|day| day.parse().unwrap()),
            why: "company".to_owned(),
            owner_agreed: "by letter of 1 March".to_owned(),
            ..Default::default()
        };
        let proposed = from.registrar.client.transfers().propose_transfer(propose).await.unwrap();
        let transfer_id = proposed.into_inner().transfer.unwrap().id;
        let agree = v1::AgreeTransferRequest {
            request_id: self.house.request(),
            transfer_id: transfer_id.clone(),
            ..Default::default()
        };
        to.registrar.client.transfers().agree_transfer(agree).await.unwrap();
        let dispatch = v1::DispatchTransferRequest {
            request_id: self.house.request(),
            transfer_id: transfer_id.clone(),
            ..Default::default()
        };
        from.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
        let receive = v1::ReceiveTransferRequest {
            request_id: self.house.request(),
            transfer_id,
            ..Default::default()
        };
        to.registrar.client.transfers().receive_transfer(receive).await.unwrap();
    }

    /// Bramble goes to Brack on loan.
    async fn lent(&self, until: Option<&str>) {
        self.moved(&self.quill, &self.brack, "Bramble", v1::TransferTerms::Loan, until).await;
    }

    async fn loans(&self, park: &Park, with_ended: bool) -> Vec<v1::Loan> {
        let list = v1::ListLoansRequest { site: park.code.clone(), with_ended, ..Default::default() };
        park.auditor.client.loans().list_loans(list).await.unwrap().into_inner().loans
    }

    async fn elsewhere(&self, park: &Park) -> Vec<v1::Animal> {
        let list = v1::ListOwnedElsewhereRequest { site: park.code.clone(), ..Default::default() };
        park.keeper.client.titles().list_owned_elsewhere(list).await.unwrap().into_inner().animals
    }

    async fn get(&self, who: &Person, site: &str, animal: &str) -> v1::Animal {
        let get =
            v1::GetAnimalRequest { site: site.to_owned(), animal: animal.to_owned(), ..Default::default() };
        who.client.animals().get_animal(get).await.unwrap().into_inner().animal.unwrap()
    }

    fn pass(&self, site: &str, animal: &str, to: &str) -> v1::PassTitleRequest {
        v1::PassTitleRequest {
            request_id: self.house.request(),
            site: site.to_owned(),
            animal: animal.to_owned(),
            to: to.to_owned(),
            because: "agreed at the year's end".to_owned(),
            ..Default::default()
        }
    }

    async fn passed(&self, park: &Park, pass: v1::PassTitleRequest) -> Result<v1::Animal, Status> {
        let passed = park.registrar.client.titles().pass_title(pass).await?;
        Ok(passed.into_inner().animal.unwrap())
    }

    fn back(&self, site: &str, animal: &str, on: &str) -> v1::ReturnLoanRequest {
        v1::ReturnLoanRequest {
            request_id: self.house.request(),
            site: site.to_owned(),
            animal: animal.to_owned(),
            returned_on: Some(on.parse().unwrap()),
            ..Default::default()
        }
    }
}
