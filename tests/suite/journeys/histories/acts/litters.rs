//! Litters: young that are counted before they are told apart.

use crate::journeys::histories::player::Player;
use crate::journeys::histories::stage::SPECIES;
use holt_proto::time::day;
use holt_proto::v1;
use holt_proto::v1::correct_litter_request::Correction;
use holt_proto::v1::record_litter_event_request::Event;
use tonic::Status;

fn young(counts: [usize; 3]) -> Option<v1::Counts> {
    let [males, females, unknown] = counts.map(|n| i64::try_from(n).unwrap());
    Some(v1::Counts { males, females, unknown })
}

impl Player {
    /// A litter, and the site of whoever will do something about it: now and then another than its own.
    fn some_litter(&mut self) -> Option<(String, usize)> {
        let all = self.known().litters.clone();
        let (litter, site) = self.pick(&all)?;
        let site = if self.one_in(15) { self.some_site() } else { site };
        Some((litter, site))
    }

    pub(super) async fn litter(&mut self) -> Result<(), Status> {
        let (site, species) = (self.some_site(), self.species());
        let who = self.registrar(site);
        let dam = self.parent(site);
        let sire = self.parent(site);
        let litter = v1::RecordLitterRequest {
            request_id: self.request(),
            site: self.code(site),
            taxon: Self::taxon(species),
            born_on: Some(day(self.lately(site))),
            young: young([0, self.chance.below(2), 1 + self.chance.below(5)]),
            parents_because: self.because(&dam),
            dam,
            sires: if sire.is_empty() { Vec::new() } else { vec![v1::NewSire { animal: sire, share: 1.0 }] },
            ..Default::default()
        };
        let made = self.ask(&who, litter).await?;
        self.known().litters.push((made.litter.unwrap().id, site));
        Ok(())
    }

    pub(super) async fn in_litter(&mut self) -> Option<Result<(), Status>> {
        let (litter, site) = self.some_litter()?;
        let who = self.registrar(site);
        let mut counts = [0; 3];
        counts[self.chance.below(3)] = 1;
        let event = match self.chance.below(4) {
            0 => Event::Found(v1::LitterFound { young: young(counts) }),
            1 => Event::Sexed(v1::LitterSexing { males: 1, females: i64::from(self.one_in(2)) }),
            _ => {
                let manner = v1::DeathManner::Natural.into();
                Event::Died(v1::LitterDeaths { young: young(counts), manner })
            }
        };
        let ask = v1::RecordLitterEventRequest {
            request_id: self.request(),
            site: self.code(site),
            litter_id: litter,
            happened_on: Some(day(self.lately(site))),
            event: Some(event),
            ..Default::default()
        };
        Some(self.ask(&who, ask).await.map(drop))
    }

    pub(super) async fn told_apart(&mut self) -> Option<Result<(), Status>> {
        let (litter, site) = self.some_litter()?;
        let who = self.registrar(site);
        let ask = v1::TellApartRequest {
            request_id: self.request(),
            site: self.code(site),
            litter_id: litter,
            told_apart_on: Some(day(self.lately(site))),
            sex: self.some_sex().into(),
            marks: self.new_marks(site),
            ..Default::default()
        };
        let told = self.ask(&who, ask).await;
        if let Ok(told) = &told {
            let animal = told.animal.as_ref().unwrap();
            let name = &animal.taxon.as_ref().unwrap().scientific_name;
            let species = SPECIES.iter().position(|species| species == name).unwrap();
            self.came(animal, species, site);
        }
        Some(told.map(drop))
    }

    pub(super) async fn correct_litter(&mut self) -> Option<Result<(), Status>> {
        let (litter, site) = self.some_litter()?;
        let who = self.registrar(site);
        let get =
            v1::GetLitterRequest { site: self.code(site), litter_id: litter.clone(), ..Default::default() };
        let seen = who.client.litters().get_litter(get).await.ok()?.into_inner().litter?;
        let correction = if self.one_in(3) {
            let dam = self.parent(site);
            let parents_because = self.because(&dam);
            Correction::Parents(v1::LitterParents { dam, sires: Vec::new(), parents_because })
        } else {
            Correction::StruckChangeId(self.pick(&seen.changes)?.id)
        };
        let ask = v1::CorrectLitterRequest {
            request_id: self.request(),
            site: self.code(site),
            litter_id: litter,
            correction: Some(correction),
            because: "counted again".to_owned(),
            ..Default::default()
        };
        Some(self.ask(&who, ask).await.map(drop))
    }
}
