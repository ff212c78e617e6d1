//! Merges: records that are found to be of one animal, and found not to be, in any order.

use crate::journeys::histories::player::{Beast, Merged, Player};
use crate::journeys::histories::stage::Actor;
use holt_proto::time::day;
use holt_proto::v1::{self, FactKind};
use serde_json::Value;
use std::sync::Arc;
use tonic::Status;
use tonic_types::StatusExt;

/// Facts that somebody says are right of two records, before they give up.
pub(super) const MOST_RESOLVED: usize = 40;

/// What is known of an animal, in words that are the same whenever the same is known.
#[derive(Debug, PartialEq)]
struct Life {
    animal: v1::Animal,
    facts: Vec<String>,
}

impl Player {
    pub(super) async fn merge(&mut self) -> Option<Result<(), Status>> {
        let standing = self.known().merges.clone();
        match self.chance.below(8) {
            0 | 1 if !standing.is_empty() => {
                let merge = self.pick(&standing)?;
                let who = self.registrar(merge.site);
                Some(self.unmerge(&who, &merge).await)
            }
            2 | 3 if self.alone => self.merge_and_undo().await,
            4 => {
                let (one, site) = self.animal()?;
                let (other, _) = self.animal()?;
                let who = self.registrar(site);
                Some(self.give_up(&who, site, &one, &other).await.map(drop))
            }
            _ => {
                let (beast, _) = self.animal()?;
                let site = beast.site;
                let who = self.registrar(site);
                let twice = match self.twice(&who, &beast, site).await {
                    Ok(twice) => twice,
                    Err(status) => return Some(Err(status)),
                };
                let (keep, gone) = if self.one_in(3) { (twice, beast) } else { (beast, twice) };
                Some(self.give_up(&who, site, &keep, &gone).await.map(drop))
            }
        }
    }

    /// Registers an animal that is there once more, as somebody would who does not know it.
    pub(super) async fn twice(
        &mut self,
        who: &Arc<Actor>,
        beast: &Beast,
        site: usize,
    ) -> Result<Beast, Status> {
        let arrival = v1::RegisterArrivalRequest {
            request_id: self.request(),
            site: self.code(site),
            taxon: Self::taxon(beast.species),
            arrived_on: Some(day(self.lately(site))),
            source: v1::ArrivalSource::OnSiteBefore.into(),
            sex: v1::Sex::Unknown.into(),
            marks: self.new_marks(site),
            ..Default::default()
        };
        let came = self.ask(who, arrival).await?.animal.unwrap();
        self.came(&came, beast.species, site);
        Ok(self.known().beasts.last().cloned().unwrap())
    }

    /// Gives a record up for another; where the two contradict one another, says by chance which is right.
    async fn give_up(
        &mut self,
        who: &Arc<Actor>,
        site: usize,
        keep: &Beast,
        gone: &Beast,
    ) -> Result<Merged, Status> {
        let mut resolve = Vec::new();
        let side = self.chance.below(2);
        loop {
            let merge = v1::MergeAnimalsRequest {
                request_id: self.request(),
                site: self.code(site),
                keep: keep.id.clone(),
                give_up: gone.id.clone(),
                because: "the same scar".to_owned(),
                resolve: resolve.clone(),
                ..Default::default()
            };
            let merged = match self.ask(who, merge).await {
                Ok(merged) => merged,
                Err(status) => {
                    let more = self.resolved(&status, side);
                    if more.is_empty() || resolve.len() > MOST_RESOLVED {
                        return Err(status);
                    }
                    resolve.extend(more);
                    continue;
                }
            };
            let one = Merged { id: merged.merge_id, gone: gone.id.clone(), site };
            let mut known = self.known();
            known.merges.push(one.clone());
            known.change(&gone.id, |beast| beast.over = true);
            drop(known);
            self.tally.lock().unwrap().has_merged = true;
            return Ok(one);
        }
    }

    /// Of the pairs that a refusal names the fact that stands: mostly all of one side.
    pub(super) fn resolved(&mut self, refused: &Status, side: usize) -> Vec<v1::Resolution> {
        let info = refused.get_details_error_info();
        let said = info.and_then(|mut info| info.metadata.remove("conflicts")).unwrap_or_default();
        let conflicts: Vec<Value> = serde_json::from_str(&said).unwrap_or_default();
        let mut stands = Vec::new();
        for conflict in conflicts {
            let side = if self.one_in(8) { 1 - side } else { side };
            let fact_id = conflict["facts"][side]["id"].as_str().unwrap_or_default().to_owned();
            stands.push(v1::Resolution { fact_id, ..Default::default() });
        }
        stands
    }

    async fn unmerge(&mut self, who: &Arc<Actor>, merge: &Merged) -> Result<(), Status> {
        let mut resolve = Vec::new();
        let side = self.chance.below(2);
        loop {
            let ask = v1::UnmergeAnimalsRequest {
                request_id: self.request(),
                site: self.code(merge.site),
                // Whatever else it was merged with meanwhile, the record that was given up is of that animal.
                animal: merge.gone.clone(),
                merge_id: merge.id.clone(),
                because: "another scar".to_owned(),
                resolve: resolve.clone(),
                ..Default::default()
            };
            let Err(status) = self.ask(who, ask).await else { break };
            let more = self.resolved(&status, side);
            if more.is_empty() || resolve.len() > MOST_RESOLVED {
                return Err(status);
            }
            resolve.extend(more);
        }
        let mut known = self.known();
        known.merges.retain(|known| known.id != merge.id);
        known.change(&merge.gone, |beast| beast.over = false);
        drop(known);
        self.tally.lock().unwrap().has_unmerged = true;
        Ok(())
    }

    /// Merges an animal with records that were made of it, and takes the merges back in any order: each record is
    /// then what it was.
    async fn merge_and_undo(&mut self) -> Option<Result<(), Status>> {
        let (beast, _) = self.animal()?;
        let site = beast.site;
        let who = self.stage.plain_registrar(site);
        let mut records = vec![beast.clone()];
        for _ in 0..1 + self.chance.below(3) {
            match self.twice(&who, &beast, site).await {
                Ok(twice) => records.push(twice),
                Err(status) => return Some(Err(status)),
            }
        }
        let mut before = Vec::new();
        for record in &records {
            before.push(self.life(&who, site, record).await);
        }
        let mut order: Vec<usize> = (0..records.len()).collect();
        self.chance.shuffle(&mut order);
        let mut merges = Vec::new();
        for n in 1..order.len() {
            // Into any that was not given up: chains and stars.
            let keep = order[self.chance.below(n)];
            if let Ok(merge) = self.give_up(&who, site, &records[keep], &records[order[n]]).await {
                merges.push(merge);
            }
        }
        self.chance.shuffle(&mut merges);
        for merge in &merges {
            if let Err(status) = self.unmerge(&who, merge).await {
                let said =
                    format!("a merge on which nothing was built is not taken back: {}", status.message());
                self.tally.lock().unwrap().violated(&said);
                return Some(Err(status));
            }
        }
        for (record, before) in records.iter().zip(&before) {
            let after = self.life(&who, site, record).await;
            if after != *before {
                let said = format!(
                    "after its merges were taken back, {} is not what it was:\n{before:?}\n{after:?}",
                    record.id
                );
                self.tally.lock().unwrap().violated(&said);
            }
        }
        self.tally.lock().unwrap().undone += merges.len();
        Some(Ok(()))
    }

    /// What somebody sees of an animal; nothing where they see none.
    async fn life(&self, who: &Arc<Actor>, site: usize, beast: &Beast) -> Option<Life> {
        let (code, animal) = (self.code(site), beast.id.clone());
        let get = v1::GetAnimalRequest { site: code.clone(), animal: animal.clone(), ..Default::default() };
        let mut animal_seen = who.client.animals().get_animal(get).await.ok()?.into_inner().animal?;
        animal_seen.version = 0;
        let look = v1::GetHistoryRequest { site: code, animal, ..Default::default() };
        let facts = who.client.history().get_history(look).await.ok()?.into_inner().facts;
        let mut facts: Vec<String> = facts
            .into_iter()
            .filter(|fact| fact.superseded_at.is_none() && fact.kind() != FactKind::Merge)
            .map(|fact| {
                format!(
                    "{:?} {} {:?} {:?} {}",
                    fact.kind(),
                    fact.site,
                    fact.happened_at,
                    fact.ended_at,
                    fact.say
                )
            })
            .collect();
        facts.sort();
        Some(Life { animal: animal_seen, facts })
    }
}
