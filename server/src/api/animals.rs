//! `AnimalService`.

use crate::api::decode::Form;
use crate::api::encode::{day_between, id, mark, mass, sex, taxon};
use crate::api::{Api, caller, status};
use crate::model::animal::{
    Animal, ArrivalSource, Born, Coming, Destination, Filter, Leaving, Manner, NewAnimal, NewTaxon,
    Status as Standing,
};
use crate::model::holding::When;
use crate::records::animals::{self, Left};
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::animal_service_server::AnimalService;
use tonic::{Request, Response, Status};

pub(super) fn encode(animal: Animal) -> v1::Animal {
    let status = match animal.status {
        Standing::Held => v1::AnimalStatus::Held,
        Standing::Dead => v1::AnimalStatus::Dead,
        Standing::Departed => v1::AnimalStatus::Departed,
        Standing::AtLarge => v1::AnimalStatus::AtLarge,
        Standing::MovedOn => v1::AnimalStatus::MovedOn,
    };
    let accessions = animal.accessions.into_iter();
    v1::Animal {
        id: id(animal.id),
        accession: animal.accession,
        accessions: accessions.map(|(site, number)| v1::Accession { site, number }).collect(),
        taxon: Some(taxon(animal.taxon)),
        sex: sex(animal.sex).into(),
        house_name: animal.house_name,
        marks: animal.marks.into_iter().map(mark).collect(),
        born_on: animal.born.map(|born| day_between(born.first, born.last)),
        born_estimated: animal.born.is_some_and(|born| born.estimated),
        dam_id: animal.dam.map(id).unwrap_or_default(),
        sire_id: animal.sire.map(id).unwrap_or_default(),
        status: status.into(),
        holder: animal.holder,
        enclosure: animal.enclosure,
        latest_mass: animal.latest_mass.map(mass),
        latest_weighed_at: animal.latest_weighed_at.map(timestamp),
        version: animal.version,
        owner: animal.owner,
        held_since: animal.held_since.map(day),
        went_to: animal.went_to,
    }
}

/// A scientific name: a capital genus and one or two lower-case epithets.
pub(super) fn scientific_name(form: &mut Form, field: &str, text: &str) -> String {
    let name = form.text(field, text, 1..=200);
    let mut words = name.split(' ');
    let lower = |word: &str| !word.is_empty() && word.chars().all(|c| c.is_lowercase() || c == '-');
    let genus = words.next().is_some_and(|genus| {
        let mut letters = genus.chars();
        letters.next().is_some_and(char::is_uppercase) && letters.all(|c| c.is_lowercase() || c == '-')
    });
    let epithets: Vec<&str> = words.collect();
    let sound = genus && matches!(epithets.len(), 1 | 2) && epithets.into_iter().all(lower);
    if !name.is_empty() && !sound {
        let mend = "write genus and species, such as `Lontra canadensis`";
        form.wrong(field, format!("`{name}` is no scientific name"), mend);
    }
    name
}

/// A number of days, or none where it is not stated.
fn days(form: &mut Form, field: &str, days: i32, most: i32) -> Option<i32> {
    if !(0..=most).contains(&days) {
        form.wrong(field, format!("is {days}"), format!("give 1 to {most} days, or 0 where it is not known"));
    }
    (days != 0).then_some(days)
}

pub(super) fn reference(form: &mut Form, field: &str, text: &str) -> String {
    form.text(field, text, 0..=100)
}

pub(super) fn manner(form: &mut Form, field: &str, wire: i32) -> Manner {
    let manner = match v1::DeathManner::try_from(wire) {
        Ok(v1::DeathManner::Natural) => Some(Manner::Natural),
        Ok(v1::DeathManner::Euthanasia) => Some(Manner::Euthanasia),
        Ok(v1::DeathManner::Accident) => Some(Manner::Accident),
        Ok(v1::DeathManner::ByAnimal) => Some(Manner::ByAnimal),
        Ok(v1::DeathManner::Unknown) => Some(Manner::Unknown),
        Ok(v1::DeathManner::Unspecified) | Err(_) => None,
    };
    form.choice(field, manner, "natural, euthanasia, accident, by animal, unknown", Manner::Unknown)
}

fn destination(form: &mut Form, wire: i32) -> Destination {
    let destination = match v1::DepartureDestination::try_from(wire) {
        Ok(v1::DepartureDestination::Collection) => Some(Destination::Collection),
        Ok(v1::DepartureDestination::Wild) => Some(Destination::Wild),
        Ok(v1::DepartureDestination::Private) => Some(Destination::Private),
        Ok(v1::DepartureDestination::Escape) => Some(Destination::Escape),
        Ok(v1::DepartureDestination::Unspecified) | Err(_) => None,
    };
    form.choice("destination", destination, "collection, wild, private, escape", Destination::Collection)
}

fn source(form: &mut Form, wire: i32) -> ArrivalSource {
    let source = match v1::ArrivalSource::try_from(wire) {
        Ok(v1::ArrivalSource::Collection) => Some(ArrivalSource::Collection),
        Ok(v1::ArrivalSource::Wild) => Some(ArrivalSource::Wild),
        Ok(v1::ArrivalSource::Rescue) => Some(ArrivalSource::Rescue),
        Ok(v1::ArrivalSource::Confiscation) => Some(ArrivalSource::Confiscation),
        Ok(v1::ArrivalSource::Private) => Some(ArrivalSource::Private),
        Ok(v1::ArrivalSource::OnSiteBefore) => Some(ArrivalSource::OnSiteBefore),
        Ok(v1::ArrivalSource::Unspecified) | Err(_) => None,
    };
    let choices = "collection, wild, rescue, confiscation, private, on site before";
    form.choice("source", source, choices, ArrivalSource::Collection)
}

#[tonic::async_trait]
impl AnimalService for Api {
    async fn create_taxon(
        &self,
        request: Request<v1::CreateTaxonRequest>,
    ) -> Result<Response<v1::CreateTaxonResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("AnimalService/CreateTaxon", &asked.request_id, &asked, false);
        let (from, up_to) = (asked.breeds_from_days, asked.carries_up_to_days);
        let new = NewTaxon {
            scientific_name: scientific_name(&mut form, "scientific_name", &asked.scientific_name),
            common_name: form.text("common_name", &asked.common_name, 1..=100),
            breeds_from_days: days(&mut form, "breeds_from_days", from, 36_600),
            carries_up_to_days: days(&mut form, "carries_up_to_days", up_to, 3_660),
        };
        form.done()?;
        let made = animals::create_taxon(&self.records, &caller, &write, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::CreateTaxonResponse { taxon: Some(taxon(made)) }))
    }

    async fn list_taxa(
        &self,
        request: Request<v1::ListTaxaRequest>,
    ) -> Result<Response<v1::ListTaxaResponse>, Status> {
        let (caller, _) = caller::open(request)?;
        let taxa = animals::taxa(&self.records, &caller).await.map_err(status::from)?;
        Ok(Response::new(v1::ListTaxaResponse { taxa: taxa.into_iter().map(taxon).collect() }))
    }

    async fn register_birth(
        &self,
        request: Request<v1::RegisterBirthRequest>,
    ) -> Result<Response<v1::RegisterBirthResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("AnimalService/RegisterBirth", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let born_on = form.day("born_on", asked.born_on);
        let new = NewAnimal {
            taxon: scientific_name(&mut form, "taxon", &asked.taxon),
            coming: Coming::Birth { day: born_on },
            sex: form.sex("sex", asked.sex),
            born: Some(Born { first: born_on, last: born_on, estimated: false }),
            dam: reference(&mut form, "dam", &asked.dam),
            sire: reference(&mut form, "sire", &asked.sire),
            parents_because: form.text("parents_because", &asked.parents_because, 0..=500),
            marks: form.marks("marks", &asked.marks),
            enclosure: form.text("enclosure", &asked.enclosure, 0..=100),
            owner: form.text("owner", &asked.owner, 0..=200),
        };
        form.done()?;
        let animal =
            animals::register(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::RegisterBirthResponse { animal: Some(encode(animal)) }))
    }

    async fn register_arrival(
        &self,
        request: Request<v1::RegisterArrivalRequest>,
    ) -> Result<Response<v1::RegisterArrivalResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("AnimalService/RegisterArrival", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let when = form.when("arrived_on", asked.arrived_on, "arrived_at", asked.arrived_at);
        let source = source(&mut form, asked.source);
        let from = form.text("source_name", &asked.source_name, 0..=200);
        let new = NewAnimal {
            taxon: scientific_name(&mut form, "taxon", &asked.taxon),
            coming: Coming::Arrival { when, source, from },
            sex: form.sex("sex", asked.sex),
            born: form.born("born_on", asked.born_on, asked.born_estimated),
            dam: reference(&mut form, "dam", &asked.dam),
            sire: reference(&mut form, "sire", &asked.sire),
            parents_because: form.text("parents_because", &asked.parents_because, 0..=500),
            marks: form.marks("marks", &asked.marks),
            enclosure: form.text("enclosure", &asked.enclosure, 0..=100),
            owner: form.text("owner", &asked.owner, 0..=200),
        };
        form.done()?;
        let animal =
            animals::register(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::RegisterArrivalResponse { animal: Some(encode(animal)) }))
    }

    async fn record_sex(
        &self,
        request: Request<v1::RecordSexRequest>,
    ) -> Result<Response<v1::RecordSexResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("AnimalService/RecordSex", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let animal = form.animal("animal", &asked.animal);
        let sex = form.sex("sex", asked.sex);
        let on = form.optional_day("determined_on", asked.determined_on);
        form.done()?;
        let animal = animals::record_sex(&self.records, &caller, &write, &site, &animal, sex, on)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::RecordSexResponse { animal: Some(encode(animal)) }))
    }

    async fn record_death(
        &self,
        request: Request<v1::RecordDeathRequest>,
    ) -> Result<Response<v1::RecordDeathResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("AnimalService/RecordDeath", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let left = Left {
            animal: form.animal("animal", &asked.animal),
            when: form.when("died_on", asked.died_on, "died_at", asked.died_at),
            how: Leaving::Death {
                manner: manner(&mut form, "manner", asked.manner),
                note: form.text("note", &asked.note, 0..=2000),
            },
            version: asked.version,
        };
        form.done()?;
        let animal =
            animals::leave(&self.records, &caller, &write, &site, &left).await.map_err(status::from)?;
        Ok(Response::new(v1::RecordDeathResponse { animal: Some(encode(animal)) }))
    }

    async fn record_departure(
        &self,
        request: Request<v1::RecordDepartureRequest>,
    ) -> Result<Response<v1::RecordDepartureResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("AnimalService/RecordDeparture", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let when: When = form.when("departed_on", asked.departed_on, "departed_at", asked.departed_at);
        let left = Left {
            animal: form.animal("animal", &asked.animal),
            when,
            how: Leaving::Departure {
                destination: destination(&mut form, asked.destination),
                name: form.text("destination_name", &asked.destination_name, 0..=200),
            },
            version: asked.version,
        };
        form.done()?;
        let animal =
            animals::leave(&self.records, &caller, &write, &site, &left).await.map_err(status::from)?;
        Ok(Response::new(v1::RecordDepartureResponse { animal: Some(encode(animal)) }))
    }

    async fn get_animal(
        &self,
        request: Request<v1::GetAnimalRequest>,
    ) -> Result<Response<v1::GetAnimalResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.optional_site("site", &asked.site);
        let animal = form.animal("animal", &asked.animal);
        let as_of = form.optional_day("as_of", asked.as_of);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let animal = animals::get(&self.records, &caller, &site, &animal, as_of, known_at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::GetAnimalResponse { animal: Some(encode(animal)) }))
    }

    async fn list_animals(
        &self,
        request: Request<v1::ListAnimalsRequest>,
    ) -> Result<Response<v1::ListAnimalsResponse>, Status> {
        const METHOD: &str = "AnimalService/ListAnimals";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let as_of = form.optional_day("as_of", asked.as_of);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        let filter = Filter {
            taxon: form.text("taxon", &asked.taxon, 0..=200),
            enclosure: form.text("enclosure", &asked.enclosure, 0..=100),
        };
        form.done()?;
        let found = animals::list(&self.records, &caller, &site, as_of, &filter, &page, known_at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::ListAnimalsResponse {
            animals: found.entries.into_iter().map(encode).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }
}
