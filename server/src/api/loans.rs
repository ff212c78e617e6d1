//! `LoanService`.

use crate::api::animals::encode as animal;
use crate::api::decode::Form;
use crate::api::encode::id;
use crate::api::{Api, caller, status};
use crate::model::loan::{End, Loan, Terms};
use crate::records::loans::{self, Prolonged, Returned};
use holt_proto::time::day;
use holt_proto::v1;
use holt_proto::v1::loan_service_server::LoanService;
use tonic::{Request, Response, Status};

/// Terms of a loan, where one is meant.
pub(super) fn terms(form: &mut Form, wire: Option<&v1::LoanTerms>) -> Option<Terms> {
    wire.map(|wire| Terms {
        until: form.optional_day("loan.loan_until", wire.loan_until),
        text: form.text("loan.terms", &wire.terms, 0..=1000),
    })
}

fn encode(loan: Loan) -> v1::Loan {
    let (ended_on, end) = loan.ended.unzip();
    let ended = match end {
        None => v1::LoanEnd::Unspecified,
        Some(End::Returned) => v1::LoanEnd::Returned,
        Some(End::TitlePassed) => v1::LoanEnd::TitlePassed,
        Some(End::MovedOn) => v1::LoanEnd::MovedOn,
        Some(End::Died) => v1::LoanEnd::Died,
        Some(End::Escaped) => v1::LoanEnd::Escaped,
    };
    v1::Loan {
        id: id(loan.id),
        animal_id: id(loan.animal.id),
        accession: loan.animal.accession,
        house_name: loan.animal.house_name,
        taxon: loan.taxon,
        lender: loan.lender,
        borrower: loan.borrower,
        out: loan.out,
        began_on: Some(day(loan.began_on)),
        terms: Some(v1::LoanTerms { loan_until: loan.terms.until.map(day), terms: loan.terms.text }),
        days_left: loan.days_left.unwrap_or_default(),
        ended: ended.into(),
        ended_on: ended_on.map(day),
    }
}

#[tonic::async_trait]
impl LoanService for Api {
    async fn list_loans(
        &self,
        request: Request<v1::ListLoansRequest>,
    ) -> Result<Response<v1::ListLoansResponse>, Status> {
        const METHOD: &str = "LoanService/ListLoans";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let as_of = form.optional_day("as_of", asked.as_of);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let found = loans::list(&self.records, &caller, &site, as_of, asked.with_ended, &page, known_at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::ListLoansResponse {
            loans: found.entries.into_iter().map(encode).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }

    async fn prolong_loan(
        &self,
        request: Request<v1::ProlongLoanRequest>,
    ) -> Result<Response<v1::ProlongLoanResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("LoanService/ProlongLoan", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let new = Prolonged {
            animal: form.animal("animal", &asked.animal),
            until: form.day("loan_until", asked.loan_until),
            because: form.text("because", &asked.because, 1..=500),
        };
        form.done()?;
        let loan = loans::prolong(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::ProlongLoanResponse { loan: Some(encode(loan)) }))
    }

    async fn return_loan(
        &self,
        request: Request<v1::ReturnLoanRequest>,
    ) -> Result<Response<v1::ReturnLoanResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("LoanService/ReturnLoan", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let back = Returned {
            animal: form.animal("animal", &asked.animal),
            when: form.when("returned_on", asked.returned_on, "returned_at", asked.returned_at),
            enclosure: form.text("enclosure", &asked.enclosure, 0..=100),
        };
        form.done()?;
        let back =
            loans::returned(&self.records, &caller, &write, &site, &back).await.map_err(status::from)?;
        Ok(Response::new(v1::ReturnLoanResponse { animal: Some(animal(back)) }))
    }
}
