//! What people are shown: of animals at random, theirs or not.

use super::player::{Beast, reason_of};
use super::stage::{Actor, GROUPS, SPECIES};
use super::witness::{READERS, Witness};
use holt_proto::v1;
use holt_server::model::person::Role;
use prost::Message;
use std::collections::BTreeSet;
use std::sync::Arc;
use uuid::Uuid;

/// An identifier that no record has.
const NOBODY: &str = "00000000-0000-7000-8000-ffffffffffff";

fn every() -> Option<v1::PageRequest> {
    Some(v1::PageRequest { size: 200, token: String::new() })
}

impl Witness<'_> {
    /// One look of somebody at something.
    pub(super) async fn look(&mut self) {
        let who = self.reader();
        let sites = who.sites(&READERS);
        let all = self.known().beasts.clone();
        if all.is_empty() {
            return;
        }
        let beast = all[self.chance.below(all.len())].clone();
        // At a site of theirs, at any of theirs, or at another.
        let at = match self.chance.below(6) {
            0 => String::new(),
            1 => self.stage.codes[self.chance.below(3)].clone(),
            _ => sites
                .get(self.chance.below(sites.len()))
                .map_or_else(String::new, |site| self.stage.codes[*site].clone()),
        };
        match self.chance.below(10) {
            0 | 1 => self.one_animal(&who, &sites, &at, &beast).await,
            2 => self.life(&who, &sites, &at, &beast).await,
            3 => self.weights(&who, &sites, &at, &beast).await,
            4 => self.find(&who, &sites, &beast).await,
            5 => self.moves(&who, &sites, &at).await,
            6 => self.people(&who).await,
            7 => self.herd(&who, &sites).await,
            8 => self.others(&who, &sites, &at, &beast).await,
            _ => self.lists(&who, &sites, &at).await,
        }
    }

    async fn one_animal(&mut self, who: &Actor, sites: &[usize], at: &str, beast: &Beast) {
        let get = |animal: &str| v1::GetAnimalRequest {
            site: at.to_owned(),
            animal: animal.to_owned(),
            ..Default::default()
        };
        let answer = self.read(who, sites, &get(&beast.id)).await;
        if !self.foreign_to(sites).await.has(&beast.id) {
            return;
        }
        self.tally().foreign += 1;
        // To whom it is foreign, it is as though it were not there.
        let nobody = self.read(who, sites, &get(NOBODY)).await;
        let said = |answer: Result<v1::GetAnimalResponse, tonic::Status>, id: &str| match answer {
            Ok(_) => "answered".to_owned(),
            Err(status) => format!("{}: {}", reason_of(&status), status.message().replace(id, "it")),
        };
        let (of_it, of_nobody) = (said(answer, &beast.id), said(nobody, NOBODY));
        if of_it != of_nobody {
            let said =
                format!("{} at {at} is told of {}: {of_it}; of nobody: {of_nobody}", who.part.name, beast.id);
            self.tally().violated(&said);
        }
    }

    async fn life(&mut self, who: &Actor, sites: &[usize], at: &str, beast: &Beast) {
        let ask = v1::GetHistoryRequest {
            site: at.to_owned(),
            animal: beast.id.clone(),
            changed_since: (self.chance.below(3) == 0)
                .then(|| holt_proto::time::timestamp(self.stage.began - chrono::TimeDelta::days(30))),
            page: every(),
            ..Default::default()
        };
        let answer = self.read(who, sites, &ask).await;
        if let (Ok(answer), Some(site)) = (answer, self.own_site(who, at)) {
            self.own_for_ever("holdings", site, beast, &answer.encode_to_vec()).await;
        }
    }

    async fn weights(&mut self, who: &Actor, sites: &[usize], at: &str, beast: &Beast) {
        let ask = v1::ListWeightsRequest {
            site: at.to_owned(),
            animal: beast.id.clone(),
            page: every(),
            ..Default::default()
        };
        let answer = self.read(who, sites, &ask).await;
        if let (Ok(answer), Some(site)) = (answer, self.own_site(who, at)) {
            self.own_for_ever("weights", site, beast, &answer.encode_to_vec()).await;
        }
    }

    fn own_site(&self, who: &Actor, at: &str) -> Option<usize> {
        self.stage.codes.iter().position(|code| code == at).filter(|site| who.has(&READERS, *site))
    }

    /// What a site recorded of an animal itself stands in what it is shown of it, whoever holds it now; of one that
    /// never was, in its history alone.
    async fn own_for_ever(&mut self, table: &str, site: usize, beast: &Beast, shown: &[u8]) {
        let own: Vec<Uuid> = sqlx::query_scalar(sqlx::AssertSqlSafe(format!(
            "SELECT id FROM {table} WHERE animal_id = $1 AND site_id = $2 AND superseded_at IS NULL
                AND ('{table}' = 'holdings' OR NOT holt_never_was(animal_id))"
        )))
        .bind(beast.id.parse::<Uuid>().unwrap())
        .bind(self.sites[site])
        .fetch_all(&mut *self.owner)
        .await
        .unwrap();
        for id in own {
            let id = id.to_string();
            if !shown.windows(id.len()).any(|window| window == id.as_bytes()) {
                let said = format!(
                    "{} does not see its own {id} of {table} of {}",
                    self.stage.codes[site], beast.id
                );
                self.tally().violated(&said);
            }
        }
    }

    async fn find(&mut self, who: &Actor, sites: &[usize], beast: &Beast) {
        let text = match self.chance.below(4) {
            0 => beast.id.clone(),
            1 => "Nm".to_owned(),
            2 => self.stage.codes[self.chance.below(3)].clone(),
            _ => {
                beast.marks.first().map_or_else(|| "999".to_owned(), |mark| mark[mark.len() - 5..].to_owned())
            }
        };
        let _: Result<_, _> = self.read(who, sites, &v1::FindAnimalsRequest { text, most: 100 }).await;
    }

    async fn moves(&mut self, who: &Actor, sites: &[usize], at: &str) {
        let moves = self.known().moves.clone();
        match moves.get(self.chance.below(moves.len())) {
            Some(one) if self.chance.below(2) == 0 => {
                let ask = v1::GetTransferRequest { transfer_id: one.id.clone(), as_known_at: None };
                let answer = self.read(who, sites, &ask).await;
                let party = sites.contains(&one.from) || sites.contains(&one.to);
                if answer.is_ok() != party {
                    let said = format!("{} and the transfer {}: {answer:?}", who.part.name, one.id);
                    self.tally().violated(&said);
                }
            }
            _ => {
                let ask =
                    v1::ListTransfersRequest { site: at.to_owned(), page: every(), ..Default::default() };
                let _: Result<_, _> = self.read(who, sites, &ask).await;
            }
        }
    }

    async fn people(&mut self, who: &Actor) {
        let keeps = who.sites(&[Role::Steward]);
        let site = if self.chance.below(2) == 0 {
            String::new()
        } else {
            self.stage.codes[self.chance.below(3)].clone()
        };
        let asked = self.stage.codes.iter().position(|code| *code == site);
        let answer = self.read(who, &keeps, &v1::ListPeopleRequest { site, page: every() }).await;
        let may = asked.map_or(!keeps.is_empty(), |site| keeps.contains(&site));
        if answer.is_ok() != may {
            let said = format!("{} lists people of {asked:?}: {answer:?}", who.part.name);
            self.tally().violated(&said);
        }
    }

    /// A site lists the animals that it holds, all of them and no other.
    async fn herd(&mut self, who: &Actor, sites: &[usize]) {
        let Some(&site) = sites.get(self.chance.below(sites.len())) else { return };
        let ask = v1::ListAnimalsRequest {
            site: self.stage.codes[site].clone(),
            page: every(),
            ..Default::default()
        };
        let Ok(answer) = self.read(who, sites, &ask).await else { return };
        let listed: BTreeSet<Uuid> = answer.animals.iter().map(|animal| animal.id.parse().unwrap()).collect();
        let held = self.held().await;
        let held: BTreeSet<Uuid> =
            held.iter().filter(|(_, at)| *at == self.sites[site]).map(|(animal, _)| *animal).collect();
        if listed != held {
            let said = format!("{} lists {listed:?} and holds {held:?}", self.stage.codes[site]);
            self.tally().violated(&said);
        }
    }

    /// What else there is of one animal.
    async fn others(&mut self, who: &Actor, sites: &[usize], at: &str, beast: &Beast) {
        let (site, animal) = (at.to_owned(), beast.id.clone());
        match self.chance.below(6) {
            0 => drop(
                self.read(who, sites, &v1::GetGrowthRequest { site, animal, ..Default::default() }).await,
            ),
            1 => drop(
                self.read(who, sites, &v1::GetWelfareCourseRequest { site, animal, ..Default::default() })
                    .await,
            ),
            2 => drop(
                self.read(who, sites, &v1::ListAssessmentsRequest { site, animal, ..Default::default() })
                    .await,
            ),
            3 => drop(
                self.read(who, sites, &v1::ListPapersRequest { site, animal, ..Default::default() }).await,
            ),
            4 => drop(
                self.read(who, sites, &v1::ListEncountersRequest { site, animal, ..Default::default() })
                    .await,
            ),
            _ => drop(
                self.read(who, sites, &v1::ListConcernsRequest { site, animal, ..Default::default() }).await,
            ),
        }
    }

    async fn lists(&mut self, who: &Arc<Actor>, sites: &[usize], at: &str) {
        let site = at.to_owned();
        let litters = self.known().litters.clone();
        match self.chance.below(9) {
            8 => {
                let ask = v1::ListAmendmentsRequest { site, page: every(), ..Default::default() };
                drop(self.read(who, sites, &ask).await);
            }
            0 => drop(
                self.read(
                    who,
                    sites,
                    &v1::ListLittersRequest { site, also_empty: true, ..Default::default() },
                )
                .await,
            ),
            1 => drop(
                self.read(who, sites, &v1::ListLoansRequest { site, with_ended: true, ..Default::default() })
                    .await,
            ),
            2 => drop(
                self.read(who, sites, &v1::ListOwnedElsewhereRequest { site, ..Default::default() }).await,
            ),
            3 => drop(
                self.read(
                    who,
                    sites,
                    &v1::ListGroupsRequest { site, also_empty: true, ..Default::default() },
                )
                .await,
            ),
            4 => {
                let group = GROUPS[self.chance.below(GROUPS.len())].to_owned();
                drop(self.read(who, sites, &v1::GetGroupRequest { site, group, ..Default::default() }).await);
            }
            5 => drop(self.read(who, sites, &v1::ListChecksRequest { site, as_known_at: None }).await),
            6 => {
                let ask = v1::ListAnimalsRequest { site, taxon: SPECIES[0].to_owned(), ..Default::default() };
                drop(self.read(who, sites, &ask).await);
            }
            _ => {
                let Some((litter_id, _)) = litters.get(self.chance.below(litters.len())).cloned() else {
                    return;
                };
                drop(
                    self.read(who, sites, &v1::GetLitterRequest { site, litter_id, ..Default::default() })
                        .await,
                );
            }
        }
    }
}
