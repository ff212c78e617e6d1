//! Whoever looks on: holds the tables to the rules, and reads through what people are answered for what is foreign.

use super::player::{Known, is_fault, reason_of};
use super::stage::{Actor, Stage};
use super::tally::Tally;
use super::tokens::Tokens;
use holt_audit::chance::Chance;
use holt_proto::call::Call;
use holt_server::model::person::Role;
use prost::Message;
use sqlx::PgConnection;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard};
use tonic::Status;
use uuid::Uuid;

const RULES: &str = include_str!("rules.sql");
const FOREIGN: &str = include_str!("foreign.sql");
const HELD: &str = include_str!("held.sql");
const STRANGERS: &str = include_str!("strangers.sql");

/// Roles that read the records of a site; written here by hand, as the contract says it.
pub(super) const READERS: [Role; 4] = [Role::Keeper, Role::Registrar, Role::Auditor, Role::Veterinary];

/// Somebody who looks on, with a connection past every door.
pub(super) struct Witness<'a> {
    pub(super) stage: Arc<Stage>,
    pub(super) known: Arc<Mutex<Known>>,
    pub(super) tally: Arc<Mutex<Tally>>,
    pub(super) chance: Chance,
    pub(super) owner: &'a mut PgConnection,
    pub(super) sites: Vec<Uuid>,
    /// What must not be told to whom reads at these sites, as the tables are now.
    foreign: HashMap<Vec<usize>, Arc<Tokens>>,
}

impl<'a> Witness<'a> {
    pub(super) async fn new(
        stage: &Arc<Stage>,
        known: &Arc<Mutex<Known>>,
        tally: &Arc<Mutex<Tally>>,
        chance: Chance,
        owner: &'a mut PgConnection,
    ) -> Self {
        let sites = sqlx::query_scalar("SELECT id FROM sites WHERE code = ANY ($1) ORDER BY code")
            .bind(stage.codes.to_vec())
            .fetch_all(&mut *owner)
            .await
            .unwrap();
        let (stage, known, tally) = (Arc::clone(stage), Arc::clone(known), Arc::clone(tally));
        Self { stage, known, tally, chance, owner, sites, foreign: HashMap::new() }
    }

    pub(super) fn tally(&self) -> MutexGuard<'_, Tally> {
        self.tally.lock().unwrap()
    }

    pub(super) fn known(&self) -> MutexGuard<'_, Known> {
        self.known.lock().unwrap()
    }

    /// Holds the tables to the rules.
    pub(super) async fn hold_to_rules(&mut self) {
        // What was seen of them before may have changed.
        self.foreign.clear();
        let wrong: Vec<(String, Uuid)> =
            sqlx::query_as(RULES).bind(&self.sites).fetch_all(&mut *self.owner).await.unwrap();
        let mut tally = self.tally();
        tally.checked += 1;
        if !wrong.is_empty() {
            tally.violated(&format!("the tables: {wrong:?}"));
        }
    }

    /// The animals that the sites hold now, each with the site.
    pub(super) async fn held(&mut self) -> Vec<(Uuid, Uuid)> {
        sqlx::query_as(HELD).bind(&self.sites).fetch_all(&mut *self.owner).await.unwrap()
    }

    /// What must not be told to somebody who reads at these sites.
    pub(super) async fn foreign_to(&mut self, sites: &[usize]) -> Arc<Tokens> {
        if let Some(tokens) = self.foreign.get(sites) {
            return Arc::clone(tokens);
        }
        let own: Vec<Uuid> = sites.iter().map(|site| self.sites[*site]).collect();
        let mut all = Vec::new();
        for query in [FOREIGN, STRANGERS] {
            let some: Vec<String> = sqlx::query_scalar(query)
                .bind(&self.sites)
                .bind(&own)
                .fetch_all(&mut *self.owner)
                .await
                .unwrap();
            all.extend(some);
        }
        let tokens = Arc::new(Tokens::of(all));
        self.foreign.insert(sites.to_vec(), Arc::clone(&tokens));
        tokens
    }

    /// Reads something as somebody whose roles at some sites let them: nothing of it is foreign, and it is answered
    /// or refused, and never a fault.
    pub(super) async fn read<C: Call>(
        &mut self,
        who: &Actor,
        sites: &[usize],
        call: &C,
    ) -> Result<C::Answer, Status> {
        let foreign = self.foreign_to(sites).await;
        let answer = who.client.send(call.clone()).await;
        let found = match &answer {
            Ok(answer) => foreign.within(&answer.encode_to_vec()),
            // A refusal says again what was asked; nothing else in it may be of others.
            Err(status) => {
                let asked = format!("{call:?}");
                let said = [status.message().as_bytes(), status.details()].concat();
                foreign.within(&said).filter(|token| !asked.contains(token.as_str()))
            }
        };
        let mut tally = self.tally();
        tally.looked += 1;
        let asked = || format!("{} {} {call:?}", who.part.name, C::METHOD);
        if let Some(token) = found {
            tally.violated(&format!("{} was told of {token}, which is of others: {answer:?}", asked()));
        }
        if let Err(status) = &answer {
            let reason = reason_of(status);
            if is_fault(&reason) || reason == "CONTENTION" {
                tally.violated(&format!("{} met {reason}: {}", asked(), status.message()));
            }
        }
        drop(tally);
        answer
    }

    /// Somebody who reads, or may not; those who are two people more often than others.
    pub(super) fn reader(&mut self) -> Arc<Actor> {
        let all = &self.stage.actors;
        let (single, double): (Vec<_>, Vec<_>) = all.iter().partition(|actor| actor.part.roles.len() < 2);
        let two = self.chance.below(3) == 0;
        let from = if two { &double } else { &single };
        Arc::clone(from[self.chance.below(from.len())])
    }
}
