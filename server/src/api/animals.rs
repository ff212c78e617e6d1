//! `AnimalService`.

use crate::api::decode::Form;
use crate::api::encode::{self, day_between, id, mark, mass, sex, taxon};
use crate::api::{Api, caller, loans, papers, status};
use crate::model::animal::{
    Animal, ArrivalSource, Born, Coming, Destination, Filter, Leaving, NewAnimal, Status as Standing,
};
use crate::model::death::{Body, Death, Disposal, Manner, PostMortem};
use crate::model::holding::When;
use crate::model::kinship::KnownBy;
use crate::model::loan::Terms;
use crate::model::taxon::{Appendix, NewTaxon, Synonym, TaxonChange};
use crate::model::traits::{EnergyNeed, Traits};
use crate::records::animals::{self, Left};
use crate::records::deaths::{self, Examined};
use crate::records::taxa;
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
        Standing::Mistake => v1::AnimalStatus::Mistake,
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
        death: animal.death.map(encode::death),
        mistake: animal.mistake,
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
        form.wrong(field, format!("`{name}` is not a scientific name"), mend);
    }
    name
}

/// A number of days, or none where it is not stated.
fn days(form: &mut Form, field: &str, days: i32, most: i32) -> Option<i32> {
    if !(0..=most).contains(&days) {
        form.wrong(field, format!("is {days}"), format!("give 1 to {most} days, or 0 if it is not known"));
    }
    (days != 0).then_some(days)
}

fn traits(form: &mut Form, wire: &v1::TaxonTraits) -> Traits {
    let energy = wire.energy.map(|energy| {
        let v1::EnergyNeed { rest_kcal, low, high } = energy;
        let rest_kcal = form.number("traits.energy.rest_kcal", rest_kcal, 0.1..=500.0, " kcal a day of 1 kg");
        if !(0.1..=20.0).contains(&low) || !(low..=20.0).contains(&high) {
            let say = format!("goes from {low} to {high}");
            form.wrong("traits.energy", say, "give multiples from 0.1 to 20, the lower first");
        }
        EnergyNeed { rest_kcal, low, high }
    });
    Traits {
        gestation_days: days(form, "traits.gestation_days", wire.gestation_days, 3_660),
        seasonal: wire.seasonal,
        energy,
        source: form.text("traits.source", &wire.source, 1..=500),
    }
}

fn encode_traits(traits: Traits) -> v1::TaxonTraits {
    v1::TaxonTraits {
        gestation_days: traits.gestation_days.unwrap_or_default(),
        seasonal: traits.seasonal,
        energy: traits.energy.map(|energy| v1::EnergyNeed {
            rest_kcal: energy.rest_kcal,
            low: energy.low,
            high: energy.high,
        }),
        source: traits.source,
    }
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

fn post_mortem(form: &mut Form, wire: i32) -> Option<PostMortem> {
    match v1::PostMortem::try_from(wire) {
        Ok(v1::PostMortem::Unspecified) => None,
        Ok(v1::PostMortem::NotDone) => Some(PostMortem::NotDone),
        Ok(v1::PostMortem::AskedFor) => Some(PostMortem::AskedFor),
        Ok(v1::PostMortem::Done) => Some(PostMortem::Done),
        Err(_) => {
            form.wrong("post_mortem", "is unknown", "choose one of not done, asked for, done");
            None
        }
    }
}

fn disposal(form: &mut Form, wire: i32) -> Option<Disposal> {
    match v1::Disposal::try_from(wire) {
        Ok(v1::Disposal::Unspecified) => None,
        Ok(v1::Disposal::Incinerated) => Some(Disposal::Incinerated),
        Ok(v1::Disposal::Buried) => Some(Disposal::Buried),
        Ok(v1::Disposal::Collection) => Some(Disposal::Collection),
        Ok(v1::Disposal::Sample) => Some(Disposal::Sample),
        Ok(v1::Disposal::Rendered) => Some(Disposal::Rendered),
        Ok(v1::Disposal::Unknown) => Some(Disposal::Unknown),
        Err(_) => {
            let choices = "choose one of incinerated, buried, collection, sample, rendered, unknown";
            form.wrong("disposal", "is unknown", choices);
            None
        }
    }
}

/// What is told of a body, which must hold together.
fn body(form: &mut Form, post_mortem_wire: i32, result: &str, disposal_wire: i32, name: &str) -> Body {
    let body = Body {
        post_mortem: post_mortem(form, post_mortem_wire),
        result: form.text("post_mortem_result", result, 0..=2000),
        disposal: disposal(form, disposal_wire),
        disposal_name: form.text("disposal_name", name, 0..=200),
    };
    if let Some((field, say, mend)) = deaths::flaw(&body) {
        form.wrong(field, say, mend);
    }
    body
}

/// The day on which a dead animal goes off the books: that of its death where it is known whole, else the one
/// on which it was found.
fn off_the_books(form: &mut Form, asked: &v1::RecordDeathRequest, death: &Death) -> When {
    let at = form.instant("died_at", asked.died_at);
    if let Some(day) = death.day() {
        return When { day, at };
    }
    if at.is_some() {
        form.wrong("died_at", "is given without the whole day", "give the day as well, or leave it out");
    }
    if death.found_on.is_none() && asked.found_on.is_none() {
        let say = "is missing, and the exact day of death is not known";
        form.wrong("found_on", say, "give the day on which it was found dead, or the whole day of death");
    }
    When { day: death.found_on.unwrap_or_default(), at: None }
}

pub(super) fn appendix(form: &mut Form, field: &str, wire: i32) -> Appendix {
    match v1::CitesAppendix::try_from(wire) {
        Ok(v1::CitesAppendix::Unspecified) => Appendix::NotStated,
        Ok(v1::CitesAppendix::None) => Appendix::None,
        Ok(v1::CitesAppendix::I) => Appendix::I,
        Ok(v1::CitesAppendix::Ii) => Appendix::Two,
        Ok(v1::CitesAppendix::Iii) => Appendix::Three,
        Err(_) => {
            form.wrong(field, "is unknown", "choose one of none, I, II, III");
            Appendix::NotStated
        }
    }
}

/// A year of a publication, or none where it is not known: names of animals begin with 1758 (ICZN, Art. 3).
fn year(form: &mut Form, field: &str, year: i32) -> Option<i32> {
    if year != 0 && !(1758..=9999).contains(&year) {
        form.wrong(field, format!("is {year}"), "give a year from 1758 on, or 0 if it is not known");
    }
    (year != 0).then_some(year)
}

fn synonyms(form: &mut Form, field: &str, wire: &[v1::Synonym]) -> Vec<Synonym> {
    let each = wire.iter().enumerate().map(|(n, synonym)| Synonym {
        name: scientific_name(form, &format!("{field}[{n}].name"), &synonym.name),
        until_year: year(form, &format!("{field}[{n}].until_year"), synonym.until_year),
        source: form.text(&format!("{field}[{n}].source"), &synonym.source, 0..=200),
    });
    each.collect()
}

/// A species by its name, and what is usual in it.
pub(super) fn described_taxon(form: &mut Form, asked: v1::DescribeTaxonRequest) -> (String, Traits) {
    let name = scientific_name(form, "taxon", &asked.taxon);
    if asked.traits.is_none() {
        form.wrong("traits", "is missing", "say what is usual in the species");
    }
    (name, traits(form, &asked.traits.unwrap_or_default()))
}

pub(super) fn taxon_change(form: &mut Form, asked: &v1::UpdateTaxonRequest) -> TaxonChange {
    // Looked at also where there is no new name: what is no year is a slip in any case.
    let until_year = year(form, "renamed_year", asked.renamed_year);
    let source = form.text("renamed_source", &asked.renamed_source, 0..=200);
    let renamed = (!asked.new_scientific_name.is_empty()).then(|| Synonym {
        name: scientific_name(form, "new_scientific_name", &asked.new_scientific_name),
        until_year,
        source,
    });
    let dropped = asked.drop_synonyms.iter().enumerate();
    let change = TaxonChange {
        renamed,
        common_name: asked.common_name.as_ref().map(|name| form.text("common_name", name, 1..=100)),
        appendix: asked.cites_appendix.map(|wire| appendix(form, "cites_appendix", wire)),
        breeds_from_days: asked.breeds_from_days.map(|n| days(form, "breeds_from_days", n, 36_600)),
        carries_up_to_days: asked.carries_up_to_days.map(|n| days(form, "carries_up_to_days", n, 3_660)),
        more_synonyms: synonyms(form, "add_synonyms", &asked.add_synonyms),
        no_synonyms: dropped
            .map(|(n, name)| form.text(&format!("drop_synonyms[{n}]"), name, 1..=200))
            .collect(),
        because: form.text("because", &asked.because, 1..=500),
    };
    if change.is_none() {
        form.wrong("taxon", "has no change", "say what changes");
    }
    change
}

pub(super) fn destination(form: &mut Form, field: &str, wire: i32) -> Destination {
    let destination = match v1::DepartureDestination::try_from(wire) {
        Ok(v1::DepartureDestination::Collection) => Some(Destination::Collection),
        Ok(v1::DepartureDestination::Wild) => Some(Destination::Wild),
        Ok(v1::DepartureDestination::Private) => Some(Destination::Private),
        Ok(v1::DepartureDestination::Escape) => Some(Destination::Escape),
        Ok(v1::DepartureDestination::Unspecified) | Err(_) => None,
    };
    form.choice(field, destination, "collection, wild, private, escape", Destination::Collection)
}

/// How parents are known; not said, where nothing is.
pub(super) fn known_by(form: &mut Form, field: &str, wire: i32) -> KnownBy {
    let by = match v1::ParentsKnownBy::try_from(wire) {
        Ok(v1::ParentsKnownBy::Unspecified) => Some(KnownBy::NotSaid),
        Ok(v1::ParentsKnownBy::Observed) => Some(KnownBy::Observed),
        Ok(v1::ParentsKnownBy::Genetic) => Some(KnownBy::Genetic),
        Ok(v1::ParentsKnownBy::Assumed) => Some(KnownBy::Assumed),
        Err(_) => None,
    };
    form.choice(field, by, "observed, genetic, assumed", KnownBy::NotSaid)
}

pub(super) fn source(form: &mut Form, field: &str, wire: i32) -> ArrivalSource {
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
    form.choice(field, source, choices, ArrivalSource::Collection)
}

/// Terms of a loan to somebody outside Holt, where a departure is one.
fn loan_to(form: &mut Form, asked: &v1::RecordDepartureRequest) -> Option<Terms> {
    let terms = loans::terms(form, asked.loan.as_ref())?;
    let keepers = [v1::DepartureDestination::Collection, v1::DepartureDestination::Private];
    if !keepers.contains(&asked.destination()) {
        form.wrong(
            "loan",
            "has no borrower who keeps animals",
            "leave it out, or name a destination that keeps animals",
        );
    }
    if asked.destination_name.trim().is_empty() {
        form.wrong("destination_name", "is missing", "name who borrows the animal");
    }
    Some(terms)
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
            appendix: appendix(&mut form, "cites_appendix", asked.cites_appendix),
            synonyms: synonyms(&mut form, "synonyms", &asked.synonyms),
            breeds_from_days: days(&mut form, "breeds_from_days", from, 36_600),
            carries_up_to_days: days(&mut form, "carries_up_to_days", up_to, 3_660),
        };
        form.done()?;
        let made = taxa::create(&self.records, &caller, &write, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::CreateTaxonResponse { taxon: Some(taxon(made)) }))
    }

    async fn update_taxon(
        &self,
        request: Request<v1::UpdateTaxonRequest>,
    ) -> Result<Response<v1::UpdateTaxonResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("AnimalService/UpdateTaxon", &asked.request_id, &asked, only);
        let name = form.text("taxon", &asked.taxon, 1..=200);
        let change = taxon_change(&mut form, &asked);
        form.done()?;
        let changed =
            taxa::update(&self.records, &caller, &write, &name, &change).await.map_err(status::from)?;
        Ok(Response::new(v1::UpdateTaxonResponse { taxon: Some(taxon(changed)) }))
    }

    async fn describe_taxon(
        &self,
        request: Request<v1::DescribeTaxonRequest>,
    ) -> Result<Response<v1::DescribeTaxonResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("AnimalService/DescribeTaxon", &asked.request_id, &asked, false);
        let (name, new) = described_taxon(&mut form, asked);
        form.done()?;
        let (species, said) =
            taxa::describe(&self.records, &caller, &write, &name, &new).await.map_err(status::from)?;
        let taxon = v1::Taxon { traits: Some(encode_traits(said)), ..taxon(species) };
        Ok(Response::new(v1::DescribeTaxonResponse { taxon: Some(taxon) }))
    }

    async fn list_taxa(
        &self,
        request: Request<v1::ListTaxaRequest>,
    ) -> Result<Response<v1::ListTaxaResponse>, Status> {
        let (caller, _) = caller::open(request)?;
        let (taxa, mut said) = taxa::list(&self.records, &caller).await.map_err(status::from)?;
        let taxa = taxa.into_iter().map(|species| {
            let said = said.remove(&species.id);
            v1::Taxon { traits: said.map(encode_traits), ..taxon(species) }
        });
        Ok(Response::new(v1::ListTaxaResponse { taxa: taxa.collect() }))
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
            papers: Vec::new(),
            loan: None,
        };
        form.done()?;
        let booked =
            animals::register(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::RegisterBirthResponse { animal: Some(encode(booked.animal)) }))
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
        let source = source(&mut form, "source", asked.source);
        let from = form.text("source_name", &asked.source_name, 0..=200);
        let new = NewAnimal {
            taxon: scientific_name(&mut form, "taxon", &asked.taxon),
            coming: Coming::Arrival {
                when,
                source,
                from,
                country: papers::country(&mut form, "source_country", &asked.source_country),
            },
            sex: form.sex("sex", asked.sex),
            born: form.born("born_on", asked.born_on, asked.born_estimated),
            dam: reference(&mut form, "dam", &asked.dam),
            sire: reference(&mut form, "sire", &asked.sire),
            parents_because: form.text("parents_because", &asked.parents_because, 0..=500),
            marks: form.marks("marks", &asked.marks),
            enclosure: form.text("enclosure", &asked.enclosure, 0..=100),
            owner: form.text("owner", &asked.owner, 0..=200),
            papers: papers::contents(&mut form, "papers", &asked.papers),
            loan: loans::terms(&mut form, asked.loan.as_ref()),
        };
        form.done()?;
        let booked =
            animals::register(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::RegisterArrivalResponse {
            animal: Some(encode(booked.animal)),
            caution: papers::caution(&booked.missing),
            missing_papers: booked.missing,
        }))
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
        let (done, disposal) = (asked.post_mortem, asked.disposal);
        let death = Death {
            died: form.part_of_day("died_on", asked.died_on),
            found_on: form.optional_day("found_on", asked.found_on),
            manner: manner(&mut form, "manner", asked.manner),
            note: form.text("note", &asked.note, 0..=2000),
            body: body(&mut form, done, &asked.post_mortem_result, disposal, &asked.disposal_name),
        };
        let left = Left {
            animal: form.animal("animal", &asked.animal),
            when: off_the_books(&mut form, &asked, &death),
            how: Leaving::Death(Box::new(death)),
            version: asked.version,
        };
        form.done()?;
        let booked =
            animals::leave(&self.records, &caller, &write, &site, &left).await.map_err(status::from)?;
        Ok(Response::new(v1::RecordDeathResponse { animal: Some(encode(booked.animal)) }))
    }

    async fn record_post_mortem(
        &self,
        request: Request<v1::RecordPostMortemRequest>,
    ) -> Result<Response<v1::RecordPostMortemResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("AnimalService/RecordPostMortem", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let (done, disposal) = (asked.post_mortem, asked.disposal);
        let told = Examined {
            animal: form.animal("animal", &asked.animal),
            body: body(&mut form, done, &asked.post_mortem_result, disposal, &asked.disposal_name),
            because: form.text("because", &asked.because, 1..=500),
            version: asked.version,
        };
        if told.body == Body::default() {
            form.wrong("post_mortem", "is missing", "give the post-mortem, or the disposal of the carcass");
        }
        form.done()?;
        let animal =
            deaths::examined(&self.records, &caller, &write, &site, &told).await.map_err(status::from)?;
        Ok(Response::new(v1::RecordPostMortemResponse { animal: Some(encode(animal)) }))
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
                destination: destination(&mut form, "destination", asked.destination),
                name: form.text("destination_name", &asked.destination_name, 0..=200),
                country: papers::country(&mut form, "destination_country", &asked.destination_country),
                papers: papers::contents(&mut form, "papers", &asked.papers),
                loan: loan_to(&mut form, &asked),
            },
            version: asked.version,
        };
        form.done()?;
        let booked =
            animals::leave(&self.records, &caller, &write, &site, &left).await.map_err(status::from)?;
        Ok(Response::new(v1::RecordDepartureResponse {
            animal: Some(encode(booked.animal)),
            caution: papers::caution(&booked.missing),
            missing_papers: booked.missing,
        }))
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
