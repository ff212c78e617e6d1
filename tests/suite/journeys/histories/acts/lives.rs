//! Lives: how they come onto the books, what is found out, and how they end.

use crate::journeys::histories::player::{Beast, Player};
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_server::model::person::Role;
use tonic::Status;

pub(super) const SEXES: [v1::Sex; 3] = [v1::Sex::Male, v1::Sex::Female, v1::Sex::Unknown];
const MANNERS: [v1::DeathManner; 3] =
    [v1::DeathManner::Natural, v1::DeathManner::Euthanasia, v1::DeathManner::Unknown];

impl Player {
    pub(super) fn some_sex(&mut self) -> v1::Sex {
        SEXES[self.chance.below(3)]
    }

    /// A house name, and now and then a chip.
    pub(super) fn new_marks(&mut self, site: usize) -> Vec<v1::NewMark> {
        let mut marks = Vec::new();
        if !self.one_in(3) {
            let code = self.word(site);
            marks.push(v1::NewMark { kind: v1::MarkKind::HouseName.into(), code, ..Default::default() });
        }
        if self.one_in(2) {
            let kind = v1::MarkKind::Transponder.into();
            marks.push(v1::NewMark { kind, code: self.chip(), place_on_body: "left neck".to_owned() });
        }
        marks
    }

    /// Somebody who lives at a site, as a parent that may or may not fit.
    pub(super) fn parent(&mut self, site: usize) -> String {
        let here: Vec<_> = self.known().beasts.iter().filter(|beast| beast.site == site).cloned().collect();
        match self.pick(&here) {
            Some(parent) if self.one_in(2) => parent.id,
            _ => String::new(),
        }
    }

    pub(super) fn because(&mut self, parent: &str) -> String {
        if parent.is_empty() || self.one_in(3) { String::new() } else { "seen at the nest".to_owned() }
    }

    pub(super) fn owner(&mut self, site: usize) -> String {
        match self.chance.below(6) {
            0 => "Fenwater Collection".to_owned(),
            1 => self.code((site + 1) % 3),
            _ => String::new(),
        }
    }

    fn enclosure_or_none(&mut self) -> String {
        if self.one_in(2) { String::new() } else { self.some_enclosure() }
    }

    /// An animal that came into the stock.
    pub(super) fn came(&self, animal: &v1::Animal, species: usize, site: usize) {
        let marks = animal.marks.iter().map(|mark| mark.code.clone()).collect();
        let id = animal.id.clone();
        self.known().beasts.push(Beast { id, species, site, was: Vec::new(), over: false, marks });
    }

    pub(super) async fn birth(&mut self) -> Result<(), Status> {
        let (site, species) = (self.some_site(), self.species());
        let who = self.registrar(site);
        let dam = self.parent(site);
        let birth = v1::RegisterBirthRequest {
            request_id: self.request(),
            site: self.code(site),
            taxon: Self::taxon(species),
            born_on: Some(day(self.lately(site))),
            sex: self.some_sex().into(),
            parents_because: self.because(&dam),
            dam,
            marks: self.new_marks(site),
            enclosure: self.enclosure_or_none(),
            ..Default::default()
        };
        let born = self.ask(&who, birth).await?;
        self.came(&born.animal.unwrap(), species, site);
        Ok(())
    }

    pub(super) async fn arrival(&mut self) -> Result<(), Status> {
        let (site, species) = (self.some_site(), self.species());
        let who = self.registrar(site);
        let on = self.lately(site);
        let born = match self.chance.below(4) {
            0 => Some(day(on - chrono::Days::new(8))),
            1 => Some(v1::Day { day: 0, ..day(on - chrono::Days::new(40)) }),
            2 => Some("2022-05".parse().unwrap()),
            _ => None,
        };
        let owner = self.owner(site);
        let lent = !owner.is_empty() && self.one_in(2);
        let arrival = v1::RegisterArrivalRequest {
            request_id: self.request(),
            site: self.code(site),
            taxon: Self::taxon(species),
            arrived_on: Some(day(on)),
            source: v1::ArrivalSource::Collection.into(),
            source_name: "Fenwater Collection".to_owned(),
            sex: self.some_sex().into(),
            born_on: born,
            marks: self.new_marks(site),
            enclosure: self.enclosure_or_none(),
            owner,
            loan: lent.then(|| v1::LoanTerms {
                loan_until: Some(day(on + chrono::Days::new(300))),
                terms: "to breed".to_owned(),
            }),
            ..Default::default()
        };
        let came = self.ask(&who, arrival).await?;
        self.came(&came.animal.unwrap(), species, site);
        Ok(())
    }

    pub(super) async fn sex(&mut self) -> Option<Result<(), Status>> {
        let (beast, site) = self.animal()?;
        let who = self.registrar(site);
        let found = v1::RecordSexRequest {
            request_id: self.request(),
            site: self.code(site),
            animal: self.spoken(&beast),
            sex: self.some_sex().into(),
            determined_on: Some(day(self.lately(site))),
        };
        Some(self.ask(&who, found).await.map(drop))
    }

    pub(super) async fn death(&mut self) -> Option<Result<(), Status>> {
        let (beast, site) = self.animal()?;
        let who = self.registrar(site);
        let on = day(self.lately(site));
        let mut death = v1::RecordDeathRequest {
            request_id: self.request(),
            site: self.code(site),
            animal: self.spoken(&beast),
            manner: MANNERS[self.chance.below(3)].into(),
            ..Default::default()
        };
        match self.chance.below(4) {
            0 => death.died_at = Some(timestamp(self.instant())),
            1 => death.found_on = Some(on),
            _ => death.died_on = Some(on),
        }
        let died = self.ask(&who, death).await;
        if died.is_ok() {
            self.known().change(&beast.id, |beast| beast.over = true);
        }
        Some(died.map(drop))
    }

    pub(super) async fn post_mortem(&mut self) -> Option<Result<(), Status>> {
        let over: Vec<_> = self.known().beasts.iter().filter(|beast| beast.over).cloned().collect();
        let beast = self.pick(&over)?;
        let who = self.who(&[Role::Registrar, Role::Veterinary], beast.site);
        let found = v1::RecordPostMortemRequest {
            request_id: self.request(),
            site: self.code(beast.site),
            animal: beast.id,
            post_mortem: v1::PostMortem::Done.into(),
            post_mortem_result: "pneumonia".to_owned(),
            because: "the report came".to_owned(),
            ..Default::default()
        };
        Some(self.ask(&who, found).await.map(drop))
    }

    pub(super) async fn departure(&mut self) -> Option<Result<(), Status>> {
        use v1::DepartureDestination::{Collection, Escape, Wild};
        let (beast, site) = self.animal()?;
        let who = self.registrar(site);
        let destination = [Collection, Collection, Escape, Wild][self.chance.below(4)];
        let on = self.lately(site);
        let lent = destination == Collection && self.one_in(2);
        let departure = v1::RecordDepartureRequest {
            request_id: self.request(),
            site: self.code(site),
            animal: self.spoken(&beast),
            departed_on: Some(day(on)),
            destination: destination.into(),
            destination_name: if destination == Escape { String::new() } else { "Fenwater".to_owned() },
            loan: lent.then(v1::LoanTerms::default),
            ..Default::default()
        };
        let left = self.ask(&who, departure).await;
        if left.is_ok() {
            self.known().change(&beast.id, |beast| beast.over = true);
        }
        Some(left.map(drop))
    }

    pub(super) async fn mark(&mut self) -> Option<Result<(), Status>> {
        let (beast, site) = self.animal()?;
        let who = self.registrar(site);
        let (request_id, code) = (self.request(), self.code(site));
        let kind =
            [v1::MarkKind::HouseName, v1::MarkKind::Ring, v1::MarkKind::Transponder][self.chance.below(3)];
        let others: Vec<String> = self.known().beasts.iter().flat_map(|beast| beast.marks.clone()).collect();
        let text = match kind {
            // A code that another bears, now and then.
            _ if self.one_in(8) => self.pick(&others)?,
            v1::MarkKind::Transponder => self.chip(),
            _ => self.word(site),
        };
        let new = v1::NewMark { kind: kind.into(), code: text.clone(), place_on_body: String::new() };
        let animal = beast.id.clone();
        let done = if self.one_in(3) {
            let ask =
                v1::GetAnimalRequest { site: code.clone(), animal: animal.clone(), ..Default::default() };
            let seen = who.client.animals().get_animal(ask).await;
            let marks = seen.map(|seen| seen.into_inner().animal.unwrap().marks).unwrap_or_default();
            let mark_id = self.pick(&marks)?.id;
            let when = self.one_in(2).then(|| timestamp(self.instant()));
            let why = "worn".to_owned();
            if self.one_in(2) {
                let end = v1::EndMarkRequest { request_id, site: code, animal, mark_id, ended_at: when, why };
                return Some(self.ask(&who, end).await.map(drop));
            }
            let replace = v1::ReplaceMarkRequest {
                request_id,
                site: code,
                animal,
                mark_id,
                mark: Some(new),
                replaced_at: when,
                why,
            };
            self.ask(&who, replace).await.map(drop)
        } else {
            let applied_at = self.one_in(2).then(|| timestamp(self.instant()));
            let apply = v1::ApplyMarkRequest { request_id, site: code, animal, mark: Some(new), applied_at };
            self.ask(&who, apply).await.map(drop)
        };
        if done.is_ok() {
            self.known().change(&beast.id, |beast| beast.marks.push(text));
        }
        Some(done)
    }
}
