//! Moves between sites, with what is lost on the way; titles and loans.

use crate::journeys::histories::player::{Move, Player};
use crate::journeys::histories::stage::Actor;
use holt_proto::call::Call;
use holt_proto::time::{day, timestamp};
use holt_proto::v1::{self, TransferState as State};
use holt_server::model::person::Role;
use prost_types::Timestamp;
use std::sync::Arc;
use tonic::Status;

const OPEN: [State; 3] = [State::Proposed, State::Agreed, State::Dispatched];

impl Player {
    /// A move is proposed, or one that is under way goes on: mostly as it should.
    pub(super) async fn moves(&mut self) -> Option<Result<(), Status>> {
        let all = self.known().moves.clone();
        let under_way: Vec<_> = all.iter().filter(|one| OPEN.contains(&one.state)).cloned().collect();
        if under_way.is_empty() || self.one_in(6) {
            return self.propose().await;
        }
        let any = self.one_in(12);
        let one = self.pick(if any { &all } else { &under_way })?;
        let usual = match one.state {
            State::Proposed => State::Agreed,
            State::Agreed => State::Dispatched,
            _ => State::Received,
        };
        let to = match self.chance.below(20) {
            0 => State::Refused,
            1 => State::Cancelled,
            2 => State::DiedOnWay,
            3 => State::EscapedOnWay,
            4 => return self.withhold(&one).await,
            5 => [State::Agreed, State::Dispatched, State::Received][self.chance.below(3)],
            _ => usual,
        };
        Some(self.step(&one, to).await)
    }

    async fn propose(&mut self) -> Option<Result<(), Status>> {
        let (beast, from) = self.animal()?;
        let who = self.registrar(from);
        let to = (from + 1 + self.chance.below(2)) % 3;
        let loan = self.one_in(3);
        let (proposed_at, proposed_on) = self.when();
        let propose = v1::ProposeTransferRequest {
            proposed_at,
            proposed_on,
            request_id: self.request(),
            site: self.code(from),
            animal: self.spoken(&beast),
            to_site: self.code(to),
            terms: if loan { v1::TransferTerms::Loan } else { v1::TransferTerms::TitlePasses }.into(),
            why: "company".to_owned(),
            owner_agreed: if self.one_in(3) { String::new() } else { "by letter".to_owned() },
            ..Default::default()
        };
        let proposed = self.ask(&who, propose).await;
        if let Ok(proposed) = &proposed {
            let transfer = proposed.transfer.as_ref().unwrap();
            let (id, animal) = (transfer.id.clone(), beast.id);
            self.known().moves.push(Move { id, animal, from, to, state: State::Proposed });
        }
        Some(proposed.map(drop))
    }

    /// Mostly now; else an instant, or a day alone.
    fn when(&mut self) -> (Option<Timestamp>, Option<v1::Day>) {
        match self.chance.below(6) {
            0 | 1 => (Some(timestamp(self.instant())), None),
            2 => (None, Some(day(self.instant().date_naive()))),
            _ => (None, None),
        }
    }

    async fn step(&mut self, one: &Move, to: State) -> Result<(), Status> {
        let (transfer_id, request_id) = (one.id.clone(), self.request());
        let (note, version) = (String::new(), 0);
        let why = "no room".to_owned();
        let wrong = self.one_in(20);
        let (ours, theirs) = if wrong { (one.to, one.from) } else { (one.from, one.to) };
        let (sender, receiver) = (self.registrar(ours), self.registrar(theirs));
        let (at, on) = self.when();
        match to {
            State::Agreed => {
                let (agreed_at, agreed_on) = (at, on);
                let ask =
                    v1::AgreeTransferRequest { request_id, transfer_id, note, version, agreed_at, agreed_on };
                self.stepped(&receiver, one, ask, to).await
            }
            State::Refused => {
                let ask = v1::RefuseTransferRequest { request_id, transfer_id, why, version };
                self.stepped(&receiver, one, ask, to).await
            }
            State::Cancelled => {
                let ask = v1::CancelTransferRequest { request_id, transfer_id, why, version };
                self.stepped(&sender, one, ask, to).await
            }
            State::Dispatched => {
                let ask = v1::DispatchTransferRequest {
                    request_id,
                    transfer_id,
                    dispatched_at: at,
                    dispatched_on: on,
                    despite_concern: if self.one_in(4) { String::new() } else { "cleared".to_owned() },
                    ..Default::default()
                };
                self.stepped(&sender, one, ask, to).await
            }
            State::Received => {
                let enclosure = if self.one_in(2) { String::new() } else { self.some_enclosure() };
                let ask = v1::ReceiveTransferRequest {
                    request_id,
                    transfer_id,
                    received_at: at,
                    received_on: on,
                    enclosure,
                    ..Default::default()
                };
                self.stepped(&receiver, one, ask, to).await?;
                self.known().change(&one.animal, |beast| {
                    beast.was.push(beast.site);
                    beast.site = one.to;
                });
                Ok(())
            }
            _ => {
                let loss = match to {
                    State::DiedOnWay => v1::TransferLoss::Death,
                    _ => v1::TransferLoss::Escape,
                };
                // Either side may find it.
                let at_destination = self.one_in(2);
                let finder = if at_destination { receiver } else { sender };
                let ask = v1::ReportTransferLossRequest {
                    request_id,
                    transfer_id,
                    loss: loss.into(),
                    lost_at: at,
                    lost_on: on,
                    note: "found at the ferry".to_owned(),
                    version,
                };
                self.stepped(&finder, one, ask, to).await?;
                self.known().change(&one.animal, |beast| beast.over = true);
                Ok(())
            }
        }
    }

    async fn stepped<C: Call>(
        &mut self,
        who: &Arc<Actor>,
        one: &Move,
        ask: C,
        to: State,
    ) -> Result<(), Status> {
        self.ask(who, ask).await?;
        if let Some(known) = self.known().moves.iter_mut().find(|known| known.id == one.id) {
            known.state = to;
        }
        Ok(())
    }

    async fn withhold(&mut self, one: &Move) -> Option<Result<(), Status>> {
        let site = if self.one_in(2) { one.from } else { one.to };
        let who = self.who(&[Role::Veterinary], site);
        let (request_id, transfer_id) = (self.request(), one.id.clone());
        Some(if self.one_in(2) {
            let why = "a cough".to_owned();
            self.ask(&who, v1::WithholdTransferRequest { request_id, transfer_id, why }).await.map(drop)
        } else {
            let note = "clear".to_owned();
            self.ask(&who, v1::ReleaseTransferRequest { request_id, transfer_id, note }).await.map(drop)
        })
    }

    pub(super) async fn title(&mut self) -> Option<Result<(), Status>> {
        let (beast, site) = self.animal()?;
        let site = if self.one_in(3) { self.some_site() } else { site };
        let who = self.registrar(site);
        let to = if self.one_in(3) { "Fenwater Collection".to_owned() } else { self.code((site + 1) % 3) };
        let pass = v1::PassTitleRequest {
            request_id: self.request(),
            site: self.code(site),
            animal: beast.id,
            to,
            passes_on: self.one_in(2).then(|| day(self.lately(site))),
            because: "given".to_owned(),
            ..Default::default()
        };
        Some(self.ask(&who, pass).await.map(drop))
    }

    pub(super) async fn loan(&mut self) -> Option<Result<(), Status>> {
        let over: Vec<_> = self.known().beasts.iter().filter(|beast| beast.over).cloned().collect();
        let (beast, site) = match self.pick(&over) {
            Some(beast) if self.one_in(3) => (beast.clone(), beast.site),
            _ => self.animal()?,
        };
        let who = self.registrar(site);
        let on = self.lately(site);
        if self.one_in(2) {
            let prolong = v1::ProlongLoanRequest {
                request_id: self.request(),
                site: self.code(site),
                animal: beast.id,
                loan_until: Some(day(on + chrono::Days::new(500))),
                because: "it breeds".to_owned(),
                validate_only: false,
            };
            return Some(self.ask(&who, prolong).await.map(drop));
        }
        let back = v1::ReturnLoanRequest {
            request_id: self.request(),
            site: self.code(site),
            animal: beast.id.clone(),
            returned_on: Some(day(on)),
            ..Default::default()
        };
        let returned = self.ask(&who, back).await;
        if let Ok(returned) = &returned {
            let held = returned.animal.as_ref().unwrap().status() == v1::AnimalStatus::Held;
            self.known().change(&beast.id, |beast| beast.over = !held);
        }
        Some(returned.map(drop))
    }
}
