//! `GrowthService`.

use crate::api::animals::scientific_name;
use crate::api::decode::Form;
use crate::api::documents::{basis, loads_for, own_site};
use crate::api::encode::{day_between, id, label, mass, sex};
use crate::api::feeding::verdict;
use crate::api::{Api, caller, status};
use crate::model::document::Kept;
use crate::model::growth::{Curve, Expected, ExpectedBy, Growing, Need, OfSpecies, Standing};
use crate::records::documents;
use crate::report::growth;
use holt_audit::growth::{AgePoint, Band, Kind, Reference, Shape, SoundReference};
use holt_audit::terms::Sex;
use holt_proto::time::day;
use holt_proto::v1;
use holt_proto::v1::growth_service_server::GrowthService;
use tonic::{Request, Response, Status};

fn number(count: usize) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}

fn version(version: u32) -> i32 {
    i32::try_from(version).unwrap_or(i32::MAX)
}

fn reference(kept: Kept<Reference>) -> v1::GrowthReference {
    let reference = kept.document;
    let ages =
        reference.ages.iter().map(|at| v1::LmsAtAge { days: at.days, l: at.l, m: at.m, s: at.s }).collect();
    v1::GrowthReference {
        id: id(kept.id),
        own_site: own_site(&reference.code),
        code: reference.code,
        version: version(reference.version),
        title: reference.title,
        taxon: reference.species,
        sex: sex(reference.sex.unwrap_or(Sex::Unknown)).into(),
        source: reference.source,
        ages,
    }
}

const fn band(band: Band) -> v1::MassBand {
    v1::MassBand {
        expected: Some(mass(band.expected)),
        low: Some(mass(band.low)),
        high: Some(mass(band.high)),
    }
}

fn expected(expected: Expected) -> v1::ExpectedWeight {
    let by = match expected.by {
        ExpectedBy::Gain => v1::ExpectedBy::Gain,
        ExpectedBy::Habit => v1::ExpectedBy::Habit,
    };
    v1::ExpectedWeight {
        expected_on: Some(day(expected.on)),
        mass: Some(band(expected.mass)),
        by: by.into(),
        readings: number(expected.readings),
    }
}

fn standing(standing: Standing) -> v1::ReferenceStanding {
    v1::ReferenceStanding {
        code: standing.code,
        version: version(standing.version),
        source: standing.source,
        age_days: standing.age_days,
        z: standing.z,
        z_linear_tails: standing.z_linear_tails,
        median: Some(mass(standing.median)),
        version_basis: basis(standing.basis),
    }
}

fn curve(curve: Curve) -> v1::GrowthCurve {
    let shape = match curve.shape {
        Shape::Logistic => v1::GrowthShape::Logistic,
        Shape::Gompertz => v1::GrowthShape::Gompertz,
        Shape::VonBertalanffy => v1::GrowthShape::VonBertalanffy,
    };
    v1::GrowthCurve {
        shape: shape.into(),
        adult: curve.adult.map(band),
        rate_per_day: curve.rate_per_day,
        fastest_at_days: curve.fastest_at,
        spread_percent: curve.spread_percent,
    }
}

fn growing(told: Growing) -> v1::GetGrowthResponse {
    let siblings = told.siblings.into_iter().map(|(animal, weighed, beside)| v1::SiblingStanding {
        animal: Some(label(animal)),
        mass: Some(mass(weighed)),
        percent: beside.percent,
        z: beside.z,
        behind: beside.behind,
    });
    v1::GetGrowthResponse {
        animal: Some(label(told.animal)),
        born_on: told.born.map(|born| day_between(born.first, born.last)),
        latest_on: told.latest.map(|(on, _)| day(on)),
        latest: told.latest.map(|(_, weighed)| mass(weighed)),
        next: told.next.map(expected),
        standings: told.standings.into_iter().map(standing).collect(),
        siblings: siblings.collect(),
        curve: told.curve.map(curve),
    }
}

fn of_species(told: OfSpecies) -> v1::FitSpeciesGrowthResponse {
    let animals = number(told.animals);
    let Some(Kind { shape, adult, rate_per_day, fastest_at, spread_percent, weeks, points, .. }) = told.told
    else {
        return v1::FitSpeciesGrowthResponse { animals, ..Default::default() };
    };
    let point = |at: AgePoint| v1::GrowthPoint {
        age_days: at.age,
        curve: Some(band(at.curve)),
        animal: Some(band(at.animal)),
    };
    v1::FitSpeciesGrowthResponse {
        curve: Some(curve(Curve { shape, adult, rate_per_day, fastest_at, spread_percent })),
        points: points.into_iter().map(point).collect(),
        animals,
        weeks: number(weeks),
    }
}

fn need(told: Need) -> v1::EstimateEnergyNeedResponse {
    let (verdict, off_percent) = verdict(told.verdict);
    v1::EstimateEnergyNeedResponse {
        animal: Some(label(told.animal)),
        mass: Some(mass(told.mass)),
        weighed_on: Some(day(told.on)),
        rest_kcal: told.rest,
        low_kcal: told.low,
        high_kcal: told.high,
        source: told.source,
        verdict: verdict.into(),
        off_percent,
    }
}

#[tonic::async_trait]
impl GrowthService for Api {
    async fn load_growth_reference(
        &self,
        request: Request<v1::LoadGrowthReferenceRequest>,
    ) -> Result<Response<v1::LoadGrowthReferenceResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("GrowthService/LoadGrowthReference", &asked.request_id, &asked, only);
        let document = form.document("toml", &asked.toml);
        let site = loads_for(&mut form, &asked.site);
        form.done()?;
        let loaded = documents::load::<SoundReference>(&self.records, &caller, &write, &site, &document)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::LoadGrowthReferenceResponse { reference: Some(reference(loaded)) }))
    }

    async fn list_growth_references(
        &self,
        request: Request<v1::ListGrowthReferencesRequest>,
    ) -> Result<Response<v1::ListGrowthReferencesResponse>, Status> {
        let (caller, _) = caller::open(request)?;
        let all = documents::all(&self.records, &caller).await.map_err(status::from)?;
        let references = all.into_iter().map(reference).collect();
        Ok(Response::new(v1::ListGrowthReferencesResponse { references }))
    }

    async fn get_growth(
        &self,
        request: Request<v1::GetGrowthRequest>,
    ) -> Result<Response<v1::GetGrowthResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let animal = form.animal("animal", &asked.animal);
        let on = form.optional_day("expected_on", asked.expected_on);
        form.done()?;
        let told =
            growth::of_animal(&self.records, &caller, &site, &animal, on).await.map_err(status::from)?;
        Ok(Response::new(growing(told)))
    }

    async fn fit_species_growth(
        &self,
        request: Request<v1::FitSpeciesGrowthRequest>,
    ) -> Result<Response<v1::FitSpeciesGrowthResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let taxon = scientific_name(&mut form, "taxon", &asked.taxon);
        let only = match v1::Sex::try_from(asked.sex) {
            Ok(v1::Sex::Male) => Some(Sex::Male),
            Ok(v1::Sex::Female) => Some(Sex::Female),
            Ok(v1::Sex::Unspecified | v1::Sex::Unknown) => None,
            Err(_) => {
                form.wrong("sex", "is unknown to this contract", "choose male or female, or leave it out");
                None
            }
        };
        form.done()?;
        let told =
            growth::of_species(&self.records, &caller, &site, &taxon, only).await.map_err(status::from)?;
        Ok(Response::new(of_species(told)))
    }

    async fn estimate_energy_need(
        &self,
        request: Request<v1::EstimateEnergyNeedRequest>,
    ) -> Result<Response<v1::EstimateEnergyNeedResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let animal = form.animal("animal", &asked.animal);
        let offered =
            asked.offered_kcal.map(|offered| form.number("offered_kcal", offered, 0.0..=1e7, " kcal a day"));
        form.done()?;
        let told =
            growth::need(&self.records, &caller, &site, &animal, offered).await.map_err(status::from)?;
        Ok(Response::new(need(told)))
    }
}
