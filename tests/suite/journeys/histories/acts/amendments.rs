//! Amendments: a site that held or owned an animal proposes what its holder is to record, and the holder answers.

use crate::journeys::histories::player::Player;
use holt_proto::time::day;
use holt_proto::v1;
use holt_proto::v1::propose_amendment_request::Change;
use tonic::Status;

impl Player {
    pub(super) async fn amend(&mut self) -> Option<Result<(), Status>> {
        let open = self.known().amendments.clone();
        if !open.is_empty() && !self.one_in(3) {
            return self.answer(&open).await;
        }
        let (beast, site) = self.animal()?;
        let from = self.pick(&beast.was).unwrap_or(site);
        let who = self.registrar(from);
        let look =
            v1::GetHistoryRequest { site: self.code(from), animal: beast.id.clone(), ..Default::default() };
        let facts = who.client.history().get_history(look).await.ok()?.into_inner().facts;
        let fact = self.pick(&facts)?;
        let change = match self.chance.below(4) {
            0 => Change::Death(v1::ProposedDeath {
                died_on: Some(day(self.lately(from))),
                manner: v1::DeathManner::Natural.into(),
                ..Default::default()
            }),
            1 => Change::WithdrawnFactId(fact.id.clone()),
            _ => Change::Correction(Box::new(v1::ProposedCorrection {
                fact_id: fact.id.clone(),
                change: Some(self.change(fact.kind(), from)),
            })),
        };
        let ask = v1::ProposeAmendmentRequest {
            request_id: self.request(),
            site: self.code(from),
            animal: beast.id.clone(),
            change: Some(change),
            because: "the old sheet says so".to_owned(),
            validate_only: false,
        };
        let proposed = Box::pin(self.ask(&who, ask)).await;
        if let Ok(proposed) = &proposed {
            let id = proposed.amendment.as_ref().unwrap().id.clone();
            self.known().amendments.push((id, beast.id, from));
        }
        Some(proposed.map(drop))
    }

    /// Accepted or declined by whoever holds it now, or withdrawn; now and then by somebody else.
    async fn answer(&mut self, open: &[(String, String, usize)]) -> Option<Result<(), Status>> {
        let (amendment_id, animal, from) = self.pick(open)?;
        let holder = self.known().beasts.iter().find(|beast| beast.id == animal).map(|beast| beast.site)?;
        let holder = if self.one_in(10) { self.some_site() } else { holder };
        let (request_id, site) = (self.request(), self.code(holder));
        let because = "ours says otherwise".to_owned();
        let id = amendment_id.clone();
        let answered = match self.chance.below(6) {
            0 => {
                let (who, site) = (self.registrar(from), self.code(from));
                let ask = v1::WithdrawAmendmentRequest { request_id, site, amendment_id, because };
                self.ask(&who, ask).await.map(drop)
            }
            1 => {
                let who = self.registrar(holder);
                let ask = v1::DeclineAmendmentRequest { request_id, site, amendment_id, because };
                self.ask(&who, ask).await.map(drop)
            }
            _ => {
                let who = self.registrar(holder);
                let ask = v1::AcceptAmendmentRequest { request_id, site, amendment_id, ..Default::default() };
                self.ask(&who, ask).await.map(drop)
            }
        };
        if answered.is_ok() {
            self.known().amendments.retain(|(known, ..)| *known != id);
        }
        Some(answered)
    }
}
