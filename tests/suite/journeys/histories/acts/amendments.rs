//! Amendments: a site that held or owned an animal proposes what its holder is to record, and the holder answers; a site
//! proposes that another has a record of the same animal.

use super::merges::MOST_RESOLVED;
use crate::journeys::histories::player::{Merged, Player, Proposed};
use holt_proto::time::day;
use holt_proto::v1::propose_amendment_request::Change;
use holt_proto::v1::{self, FactKind};
use tonic::Status;

impl Player {
    pub(super) async fn amend(&mut self) -> Option<Result<(), Status>> {
        let open = self.known().amendments.clone();
        if !open.is_empty() && !self.one_in(3) {
            return self.answer(&open).await;
        }
        if self.one_in(3) {
            return self.ask_another_site().await;
        }
        let agreed = self.known().agreed.clone();
        if !agreed.is_empty() && self.one_in(2) {
            return self.disagree(&agreed).await;
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
            _ if fact.kind() == FactKind::Merge => Change::WrongMergeId(fact.id.clone()),
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
            self.known().amendments.push(Proposed { id, animal: beast.id, from, asked: None });
        }
        Some(proposed.map(drop))
    }

    /// Either site of a merge that both agreed on finds it wrong.
    async fn disagree(&mut self, agreed: &[Proposed]) -> Option<Result<(), Status>> {
        let one = self.pick(agreed)?;
        let (asked, theirs) = one.asked.clone()?;
        let (from, animal) = if self.one_in(3) { (asked, theirs) } else { (one.from, one.animal) };
        let ask = v1::ProposeAmendmentRequest {
            request_id: self.request(),
            site: self.code(from),
            animal: animal.clone(),
            change: Some(Change::WrongMergeId(one.id)),
            because: "another notch".to_owned(),
            validate_only: false,
        };
        let who = self.registrar(from);
        let proposed = Box::pin(self.ask(&who, ask)).await;
        if let Ok(proposed) = &proposed {
            let id = proposed.amendment.as_ref().unwrap().id.clone();
            self.known().amendments.push(Proposed { id, animal, from, asked: None });
        }
        Some(proposed.map(drop))
    }

    /// Another site is asked whether it has a record of an animal: mostly one that it registered for it, now and then one of
    /// an animal that is another.
    async fn ask_another_site(&mut self) -> Option<Result<(), Status>> {
        let (beast, site) = self.animal()?;
        let other = self.some_site();
        let theirs = if self.one_in(4) {
            self.animal()?.0.id
        } else {
            let who = self.registrar(other);
            match self.twice(&who, &beast, other).await {
                Ok(twice) => twice.id,
                Err(status) => return Some(Err(status)),
            }
        };
        let merge = v1::ProposedMerge { site: self.code(other), animal: "the one with the notch".to_owned() };
        let ask = v1::ProposeAmendmentRequest {
            request_id: self.request(),
            site: self.code(site),
            animal: beast.id.clone(),
            change: Some(Change::Merge(merge)),
            because: "the same notch".to_owned(),
            validate_only: false,
        };
        let who = self.registrar(site);
        let proposed = Box::pin(self.ask(&who, ask)).await;
        if let Ok(proposed) = &proposed {
            let id = proposed.amendment.as_ref().unwrap().id.clone();
            let one = Proposed { id, animal: beast.id, from: site, asked: Some((other, theirs)) };
            self.known().amendments.push(one);
        }
        Some(proposed.map(drop))
    }

    /// Accepts that a record of the site is of the animal that another proposes; what contradicts one another, by chance.
    async fn accept_merge(&mut self, one: &Proposed, site: usize, theirs: &str) -> Result<(), Status> {
        let who = self.registrar(site);
        let mut resolve = Vec::new();
        let side = self.chance.below(2);
        loop {
            let ask = v1::AcceptAmendmentRequest {
                request_id: self.request(),
                site: self.code(site),
                amendment_id: one.id.clone(),
                animal: theirs.to_owned(),
                resolve: resolve.clone(),
                ..Default::default()
            };
            let Err(status) = self.ask(&who, ask).await else { break };
            let more = self.resolved(&status, side);
            if more.is_empty() || resolve.len() > MOST_RESOLVED {
                return Err(status);
            }
            resolve.extend(more);
        }
        let look =
            v1::GetHistoryRequest { site: self.code(site), animal: theirs.to_owned(), ..Default::default() };
        if let Ok(told) = who.client.send(look).await
            && let Some(merge) = told.facts.iter().rev().find(|fact| fact.kind() == FactKind::Merge)
        {
            let merged = Merged { id: merge.id.clone(), gone: one.animal.clone(), site };
            self.known().merges.push(merged);
        }
        self.known().agreed.push(one.clone());
        self.known().change(&one.animal, |beast| beast.over = true);
        self.tally.lock().unwrap().has_merged = true;
        Ok(())
    }

    /// Accepted or declined by whoever holds it now, or withdrawn; now and then by somebody else.
    async fn answer(&mut self, open: &[Proposed]) -> Option<Result<(), Status>> {
        let one = self.pick(open)?;
        let (amendment_id, from) = (one.id.clone(), one.from);
        let held = self.known().beasts.iter().find(|beast| beast.id == one.animal).map(|beast| beast.site)?;
        let holder = one.asked.as_ref().map_or(held, |(site, _)| *site);
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
            _ if one.asked.is_some() => {
                let (_, theirs) = one.asked.clone()?;
                self.accept_merge(&one, holder, &theirs).await
            }
            _ => {
                let who = self.registrar(holder);
                let ask = v1::AcceptAmendmentRequest { request_id, site, amendment_id, ..Default::default() };
                self.ask(&who, ask).await.map(drop)
            }
        };
        if answered.is_ok() {
            self.known().amendments.retain(|known| known.id != id);
        }
        Some(answered)
    }
}
