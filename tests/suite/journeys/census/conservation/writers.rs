//! Several registrars who write at once, and the list of what was acknowledged to them.

use chrono::{DateTime, Days, NaiveDate, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use holt_audit::chance::Chance;
use holt_proto::time::{day, timestamp, whole_day};
use holt_proto::v1;
use holt_proto::v1::record_litter_event_request::Event;
use holt_server::clock::Clock;
use holt_server::model::person::Role;
use holt_tests::{House, Park, Person, reason};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use tonic::Status;

/// Writers at once, and what each of them tries.
pub(super) const WRITERS: usize = 4;
pub(super) const OPERATIONS: usize = 24;

const SITES: [(&str, Tz); 3] =
    [("QUI", Tz::Europe__Dublin), ("HON", Tz::Pacific__Honolulu), ("AUC", Tz::Pacific__Auckland)];
pub(super) const SPECIES: [&str; 2] = ["Lontra canadensis", "Lutra lutra"];

/// Something that was done, as the writer was told. Sites and species are numbers in their lists.
#[derive(Clone, Debug)]
pub(super) enum Done {
    Came {
        animal: String,
        species: usize,
        site: usize,
        on: NaiveDate,
        how: Came,
        sex: v1::Sex,
        /// First day that it can have been born.
        born: Option<NaiveDate>,
    },
    Sexed {
        animal: String,
        on: NaiveDate,
        sex: v1::Sex,
        version: i64,
    },
    Moved {
        animal: String,
        from: usize,
        left_on: NaiveDate,
        to: usize,
        came_on: NaiveDate,
    },
    Went {
        animal: String,
        site: usize,
        on: NaiveDate,
        how: Went,
    },
    Litter {
        litter: String,
        species: usize,
        site: usize,
        born_on: NaiveDate,
    },
    /// What was done to the count of a litter.
    Counted {
        litter: String,
        on: NaiveDate,
        what: What,
        young: [i64; 3],
    },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Came {
    Birth,
    Arrival,
    ToldApart,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Went {
    Death,
    Departure,
    Escape,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum What {
    Born,
    Died,
    Sexed,
    ToldApart,
}

/// What writers know of one another's work, and may be wrong about by the time they act on it.
#[derive(Default)]
struct Shared {
    done: Vec<Done>,
    /// Animals, with the site where they were last.
    animals: Vec<(String, usize)>,
    litters: Vec<(String, usize)>,
    asked: usize,
    refused: BTreeMap<String, Refused>,
}

/// How often something was refused for one reason, and what the last of them was told.
#[derive(Clone, Debug, Default)]
pub(super) struct Refused {
    pub(super) times: usize,
    pub(super) said: String,
}

/// Three parks, and what was done there.
pub(super) struct Scene {
    pub(super) house: House,
    pub(super) parks: Arc<[Park; 3]>,
    /// An auditor of all three.
    pub(super) everywhere: Person,
    shared: Arc<Mutex<Shared>>,
    seed: u64,
}

impl Scene {
    pub(super) async fn new(seed: u64) -> Self {
        // On a busy machine nobody is to be told that it took too long: then nobody knew what was written.
        let house = House::with(|config| {
            config.store.max_connections = 12;
            config.store.acquire_seconds = 60;
            config.server.call_seconds = 120;
        })
        .await;
        house.clock.set(Utc.with_ymd_and_hms(2025, 9, 1, 9, 0, 0).unwrap());
        let [one, two, three] = SITES;
        let parks = [
            house.park(one.0, one.1.name()).await,
            house.park(two.0, two.1.name()).await,
            house.park(three.0, three.1.name()).await,
        ];
        for species in SPECIES {
            house.taxon(&parks[0], species, "otter").await;
        }
        let everywhere = house.person("everywhere", &[(Role::Auditor, None)]).await;
        Self { house, parks: Arc::new(parks), everywhere, shared: Arc::default(), seed }
    }

    /// The day at the first site.
    pub(super) fn today(&self) -> NaiveDate {
        self.house.clock.now().with_timezone(&SITES[0].1).date_naive()
    }

    /// Lets the writers write, and waits for all of them.
    pub(super) async fn write(&self) {
        let mut writers = Vec::new();
        for n in 0..WRITERS {
            let mut writer = Writer {
                parks: Arc::clone(&self.parks),
                clock: Arc::clone(&self.house.clock),
                store: self.house.records.store.clone(),
                shared: Arc::clone(&self.shared),
                chance: Chance::seeded(self.seed.wrapping_mul(1_000_003).wrapping_add(n as u64)),
            };
            writers.push(tokio::spawn(async move {
                for _ in 0..OPERATIONS {
                    writer.act().await;
                }
            }));
        }
        for writer in writers {
            writer.await.unwrap();
        }
    }

    pub(super) fn done(&self) -> Vec<Done> {
        self.shared.lock().unwrap().done.clone()
    }

    pub(super) fn asked(&self) -> usize {
        self.shared.lock().unwrap().asked
    }

    pub(super) fn refused(&self) -> BTreeMap<String, Refused> {
        self.shared.lock().unwrap().refused.clone()
    }
}

struct Writer {
    parks: Arc<[Park; 3]>,
    clock: Arc<holt_tests::TestClock>,
    store: holt_server::store::Store,
    shared: Arc<Mutex<Shared>>,
    chance: Chance,
}

fn young(counts: [i64; 3]) -> Option<v1::Counts> {
    let [males, females, unknown] = counts;
    Some(v1::Counts { males, females, unknown })
}

const SEXES: [v1::Sex; 3] = [v1::Sex::Male, v1::Sex::Female, v1::Sex::Unknown];

impl Writer {
    /// Tries something, some hours after what came before.
    async fn act(&mut self) {
        let minutes = i64::try_from(self.chance.below(40 * 60)).unwrap();
        self.clock.advance(TimeDelta::minutes(minutes));
        self.shared.lock().unwrap().asked += 1;
        let kind = self.chance.below(20);
        let done = match kind {
            0..=2 => self.birth().await,
            3..=4 => self.arrival().await,
            5..=7 => self.litter().await,
            8..=11 => self.in_litter().await,
            12..=13 => self.told_apart().await,
            14 => self.sex().await,
            15..=16 => self.goes().await,
            _ => self.moves().await,
        };
        let mut shared = self.shared.lock().unwrap();
        match done {
            Ok(done) => shared.done.extend(done),
            Err(status) => {
                let refused = shared.refused.entry(reason(&status)).or_default();
                refused.times += 1;
                status.message().clone_into(&mut refused.said);
            }
        }
    }

    fn request(&self) -> String {
        self.store.new_id().to_string()
    }

    fn now(&self) -> DateTime<Utc> {
        self.clock.now()
    }

    /// Today at a site, or a few days before.
    fn lately(&mut self, site: usize) -> NaiveDate {
        let back = [0, 0, 1, 2, 5, 12][self.chance.below(6)];
        self.now().with_timezone(&SITES[site].1).date_naive() - Days::new(back)
    }

    fn site(&mut self) -> (usize, String) {
        let site = self.chance.below(3);
        (site, self.parks[site].code.clone())
    }

    fn sexed(&mut self) -> v1::Sex {
        SEXES[self.chance.below(3)]
    }

    /// Some animal of somebody's, as far as is known; an arrival where there is none yet.
    fn some_animal(&mut self) -> Option<(String, usize)> {
        let shared = self.shared.lock().unwrap();
        let place = self.chance.below(shared.animals.len());
        shared.animals.get(place).cloned()
    }

    fn some_litter(&mut self) -> Option<(String, usize)> {
        let shared = self.shared.lock().unwrap();
        let place = self.chance.below(shared.litters.len());
        shared.litters.get(place).cloned()
    }

    fn came(&self, animal: &v1::Animal, site: usize) {
        self.shared.lock().unwrap().animals.push((animal.id.clone(), site));
    }

    async fn birth(&mut self) -> Result<Vec<Done>, Status> {
        let (site, code) = self.site();
        let (on, sex, species) = (self.lately(site), self.sexed(), self.chance.below(2));
        let birth = v1::RegisterBirthRequest {
            request_id: self.request(),
            site: code,
            taxon: SPECIES[species].to_owned(),
            born_on: Some(day(on)),
            sex: sex.into(),
            ..Default::default()
        };
        let born = self.parks[site].registrar.client.animals().register_birth(birth).await?.into_inner();
        let animal = born.animal.unwrap();
        self.came(&animal, site);
        Ok(vec![Done::Came { animal: animal.id, species, site, on, how: Came::Birth, sex, born: Some(on) }])
    }

    async fn arrival(&mut self) -> Result<Vec<Done>, Status> {
        let (site, code) = self.site();
        let (on, sex, species) = (self.lately(site), self.sexed(), self.chance.below(2));
        // Known to the day, to the month, or not at all.
        let born = match self.chance.below(3) {
            0 => Some(day(on - Days::new(8))),
            1 => Some(v1::Day { day: 0, ..day(on - Days::new(40)) }),
            _ => None,
        };
        let arrival = v1::RegisterArrivalRequest {
            request_id: self.request(),
            site: code,
            taxon: SPECIES[species].to_owned(),
            arrived_on: Some(day(on)),
            source: v1::ArrivalSource::Rescue.into(),
            sex: sex.into(),
            born_on: born,
            ..Default::default()
        };
        let came = self.parks[site].registrar.client.animals().register_arrival(arrival).await?.into_inner();
        let animal = came.animal.unwrap();
        self.came(&animal, site);
        let born = born.map(|born| whole_day(v1::Day { day: born.day.max(1), ..born }).unwrap());
        Ok(vec![Done::Came { animal: animal.id, species, site, on, how: Came::Arrival, sex, born }])
    }

    async fn litter(&mut self) -> Result<Vec<Done>, Status> {
        let (site, code) = self.site();
        let (born_on, species) = (self.lately(site), self.chance.below(2));
        let counts = [0, self.chance.below(2), 1 + self.chance.below(5)].map(|n| i64::try_from(n).unwrap());
        let litter = v1::RecordLitterRequest {
            request_id: self.request(),
            site: code,
            taxon: SPECIES[species].to_owned(),
            born_on: Some(day(born_on)),
            young: young(counts),
            ..Default::default()
        };
        let made = self.parks[site].registrar.client.litters().record_litter(litter).await?.into_inner();
        let litter = made.litter.unwrap().id;
        self.shared.lock().unwrap().litters.push((litter.clone(), site));
        Ok(vec![
            Done::Litter { litter: litter.clone(), species, site, born_on },
            Done::Counted { litter, on: born_on, what: What::Born, young: counts },
        ])
    }

    async fn in_litter(&mut self) -> Result<Vec<Done>, Status> {
        let Some((litter, site)) = self.some_litter() else { return Box::pin(self.litter()).await };
        let on = self.lately(site);
        let sex = self.chance.below(3);
        let mut counts = [0; 3];
        counts[sex] = 1;
        let (what, event) = match self.chance.below(4) {
            0 => (What::Born, Event::Found(v1::LitterFound { young: young(counts) })),
            1 => {
                counts = [[1, 0, 0], [0, 1, 0], [1, 1, 0]][sex];
                let [males, females, _] = counts;
                (What::Sexed, Event::Sexed(v1::LitterSexing { males, females }))
            }
            _ => {
                let manner = v1::DeathManner::Natural.into();
                (What::Died, Event::Died(v1::LitterDeaths { young: young(counts), manner }))
            }
        };
        let event = v1::RecordLitterEventRequest {
            request_id: self.request(),
            site: self.parks[site].code.clone(),
            litter_id: litter.clone(),
            happened_on: Some(day(on)),
            event: Some(event),
            ..Default::default()
        };
        let after =
            self.parks[site].registrar.client.litters().record_litter_event(event).await?.into_inner();
        let born_on = whole_day(after.litter.unwrap().born_on.unwrap()).unwrap();
        let on = if what == What::Born { born_on } else { on };
        Ok(vec![Done::Counted { litter, on, what, young: counts }])
    }

    async fn told_apart(&mut self) -> Result<Vec<Done>, Status> {
        let Some((litter, site)) = self.some_litter() else { return Box::pin(self.litter()).await };
        let (on, sex) = (self.lately(site), self.sexed());
        let apart = v1::TellApartRequest {
            request_id: self.request(),
            site: self.parks[site].code.clone(),
            litter_id: litter.clone(),
            told_apart_on: Some(day(on)),
            sex: sex.into(),
            ..Default::default()
        };
        let told = self.parks[site].registrar.client.litters().tell_apart(apart).await?.into_inner();
        let (animal, after) = (told.animal.unwrap(), told.litter.unwrap());
        self.came(&animal, site);
        let species = SPECIES.iter().position(|name| *name == animal.taxon.as_ref().unwrap().scientific_name);
        // Under which sex it was counted depends on what others did meanwhile: Holt says it.
        let change = after
            .changes
            .iter()
            .find(|change| change.animal.as_ref().is_some_and(|label| label.id == animal.id));
        let counted = change.unwrap().young.unwrap();
        let born = Some(whole_day(after.born_on.unwrap()).unwrap());
        Ok(vec![
            Done::Counted {
                litter,
                on,
                what: What::ToldApart,
                young: [counted.males, counted.females, counted.unknown],
            },
            Done::Came {
                animal: animal.id,
                species: species.unwrap(),
                site,
                on,
                how: Came::ToldApart,
                sex,
                born,
            },
        ])
    }

    async fn sex(&mut self) -> Result<Vec<Done>, Status> {
        let Some((animal, site)) = self.some_animal() else { return Box::pin(self.arrival()).await };
        let (on, sex) = (self.lately(site), self.sexed());
        let found = v1::RecordSexRequest {
            request_id: self.request(),
            site: self.parks[site].code.clone(),
            animal: animal.clone(),
            sex: sex.into(),
            determined_on: Some(day(on)),
        };
        let after = self.parks[site].registrar.client.animals().record_sex(found).await?.into_inner();
        Ok(vec![Done::Sexed { animal, on, sex, version: after.animal.unwrap().version }])
    }

    async fn goes(&mut self) -> Result<Vec<Done>, Status> {
        let Some((animal, site)) = self.some_animal() else { return Box::pin(self.arrival()).await };
        let on = self.lately(site);
        let mut animals = self.parks[site].registrar.client.animals();
        let (request_id, code) = (self.request(), self.parks[site].code.clone());
        let how = [Went::Death, Went::Death, Went::Departure, Went::Escape][self.chance.below(4)];
        if how == Went::Death {
            let death = v1::RecordDeathRequest {
                request_id,
                site: code,
                animal: animal.clone(),
                died_on: Some(day(on)),
                manner: v1::DeathManner::Natural.into(),
                ..Default::default()
            };
            animals.record_death(death).await?;
        } else {
            let destination = match how {
                Went::Escape => v1::DepartureDestination::Escape,
                _ => v1::DepartureDestination::Collection,
            };
            let departure = v1::RecordDepartureRequest {
                request_id,
                site: code,
                animal: animal.clone(),
                departed_on: Some(day(on)),
                destination: destination.into(),
                ..Default::default()
            };
            animals.record_departure(departure).await?;
        }
        Ok(vec![Done::Went { animal, site, on, how }])
    }

    /// A move from one site to another, while others write on, perhaps of the same animal.
    async fn moves(&mut self) -> Result<Vec<Done>, Status> {
        let Some((animal, from)) = self.some_animal() else { return Box::pin(self.arrival()).await };
        let to = (from + 1 + self.chance.below(2)) % 3;
        let mut sender = self.parks[from].registrar.client.transfers();
        let mut receiver = self.parks[to].registrar.client.transfers();
        let propose = v1::ProposeTransferRequest {
            request_id: self.request(),
            site: self.parks[from].code.clone(),
            animal: animal.clone(),
            to_site: self.parks[to].code.clone(),
            terms: v1::TransferTerms::TitlePasses.into(),
            why: "company".to_owned(),
            ..Default::default()
        };
        let proposed = sender.propose_transfer(propose).await?.into_inner();
        let transfer_id = proposed.transfer.unwrap().id;
        let agree = v1::AgreeTransferRequest {
            request_id: self.request(),
            transfer_id: transfer_id.clone(),
            ..Default::default()
        };
        receiver.agree_transfer(agree).await?;
        let dispatch = v1::DispatchTransferRequest {
            request_id: self.request(),
            transfer_id: transfer_id.clone(),
            ..Default::default()
        };
        sender.dispatch_transfer(dispatch).await?;
        // One in eight is still on its way when the history ends.
        if self.chance.below(8) == 0 {
            return Ok(Vec::new());
        }
        let at = self.now();
        let receive = v1::ReceiveTransferRequest {
            request_id: self.request(),
            transfer_id,
            received_at: Some(timestamp(at)),
            ..Default::default()
        };
        receiver.receive_transfer(receive).await?;
        let mut shared = self.shared.lock().unwrap();
        for known in shared.animals.iter_mut().filter(|(known, _)| *known == animal) {
            known.1 = to;
        }
        let on = |site: usize| at.with_timezone(&SITES[site].1).date_naive();
        Ok(vec![Done::Moved { animal, from, left_on: on(from), to, came_on: on(to) }])
    }
}
