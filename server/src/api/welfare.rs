//! `WelfareService`.

use crate::api::assessments::{compromise, domain, enhancement};
use crate::api::decode::Form;
use crate::api::documents::basis;
use crate::api::encode::{id, label};
use crate::api::{Api, caller, status};
use crate::model::welfare::{DomainCourse, ObserverPair, UnassessedAnimal, UnassessedGroup};
use crate::report::welfare::{self, Question, USUAL_WITHIN};
use holt_audit::agreement::{Agreement, Measure};
use holt_audit::stats::icc::{Band, Form as IccForm, Icc};
use holt_audit::stats::kappa::Kappa;
use holt_audit::welfare::course::Change;
use holt_proto::time::day;
use holt_proto::v1;
use holt_proto::v1::observer_agreement::Measure as WireMeasure;
use holt_proto::v1::welfare_service_server::WelfareService;
use tonic::{Request, Response, Status};

fn number(count: usize) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}

fn encode_course(course: DomainCourse) -> v1::DomainCourse {
    let (change, grades, not_assessed) = match course.change {
        Change::TooFew => (v1::DomainChange::TooFew, 0, Vec::new()),
        Change::Worse { grades } => (v1::DomainChange::Worse, grades.into(), Vec::new()),
        Change::Better { grades } => (v1::DomainChange::Better, grades.into(), Vec::new()),
        Change::NotShownBetter { not_assessed } => (v1::DomainChange::NotShownBetter, 0, not_assessed),
        Change::Same { enhancement } => (v1::DomainChange::Same, enhancement.into(), Vec::new()),
    };
    let points = course.points.into_iter().map(|point| v1::CoursePoint {
        assessment_id: id(point.assessment),
        assessed_on: Some(day(point.on)),
        protocol: point.protocol,
        protocol_version: point.protocol_version,
        observer: point.observer,
        compromise: compromise(point.compromise).into(),
        enhancement: enhancement(point.enhancement).into(),
    });
    v1::DomainCourse {
        domain: domain(course.domain).into(),
        points: points.collect(),
        change: change.into(),
        grades,
        not_assessed,
        began_on: course.since.map(day),
    }
}

fn kappa(kappa: Kappa) -> v1::KappaMeasure {
    let (low, high) = kappa.interval;
    v1::KappaMeasure { kappa: kappa.kappa, low, high, observed: kappa.observed, expected: kappa.expected }
}

fn icc(icc: Icc) -> v1::IccValue {
    let form = match icc.form {
        IccForm::OneWaySingle => v1::IccForm::OneWaySingle,
        IccForm::AgreementSingle => v1::IccForm::AgreementSingle,
        IccForm::ConsistencySingle => v1::IccForm::ConsistencySingle,
        IccForm::OneWayMean => v1::IccForm::OneWayMean,
        IccForm::AgreementMean => v1::IccForm::AgreementMean,
        IccForm::ConsistencyMean => v1::IccForm::ConsistencyMean,
    };
    let (low, high) = icc.interval.unzip();
    v1::IccValue { form: form.into(), value: icc.value, low, high }
}

const fn band(band: Band) -> v1::IccBand {
    match band {
        Band::Poor => v1::IccBand::Poor,
        Band::Moderate => v1::IccBand::Moderate,
        Band::Good => v1::IccBand::Good,
        Band::Excellent => v1::IccBand::Excellent,
    }
}

fn agreement(told: &Agreement) -> v1::ObserverAgreement {
    let measure = match &told.measure {
        Measure::TooFew => WireMeasure::None(v1::NoMeasure::TooFew.into()),
        Measure::NoVariation => WireMeasure::None(v1::NoMeasure::NoVariation.into()),
        Measure::Kappa(told) => WireMeasure::Kappa(kappa(*told)),
        Measure::Icc { band: of_it, at_least, forms, .. } => WireMeasure::Icc(v1::IccMeasure {
            forms: forms.iter().copied().map(icc).collect(),
            band: band(*of_it).into(),
            at_least: at_least.map_or(v1::IccBand::Unspecified, band).into(),
        }),
    };
    v1::ObserverAgreement {
        pairs: number(told.pairs),
        same: number(told.same),
        first_higher: i32::try_from(told.lean.first_higher).unwrap_or(i32::MAX),
        second_higher: i32::try_from(told.lean.second_higher).unwrap_or(i32::MAX),
        lean_p: told.lean.p,
        measure: Some(measure),
    }
}

fn observer_pair(pair: ObserverPair) -> v1::ObserverPair {
    let indicators = pair
        .indicators
        .into_iter()
        .map(|(indicator, told)| v1::IndicatorAgreement { indicator, agreement: Some(agreement(&told)) });
    let domains = pair.domains.into_iter().map(|(of, told)| v1::DomainAgreement {
        domain: domain(of).into(),
        compromise: Some(agreement(&told.compromise)),
        enhancement: Some(agreement(&told.enhancement)),
    });
    v1::ObserverPair {
        first: pair.first,
        second: pair.second,
        pairs: number(pair.pairs),
        indicators: indicators.collect(),
        domains: domains.collect(),
    }
}

fn unassessed_animal(one: UnassessedAnimal) -> v1::UnassessedAnimal {
    v1::UnassessedAnimal {
        animal: Some(label(one.animal)),
        enclosure: one.enclosure,
        last_assessed_on: one.last_on.map(day),
        due_on: one.overdue_since.map(day),
    }
}

fn unassessed_group(group: UnassessedGroup) -> v1::UnassessedGroup {
    v1::UnassessedGroup {
        id: id(group.id),
        name: group.name,
        members: number(group.members),
        assessed: number(group.assessed),
    }
}

#[tonic::async_trait]
impl WelfareService for Api {
    async fn get_welfare_course(
        &self,
        request: Request<v1::GetWelfareCourseRequest>,
    ) -> Result<Response<v1::GetWelfareCourseResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let question = Question {
            site: form.site("site", &asked.site),
            animal: form.animal("animal", &asked.animal),
            days: form.days("days", asked.days),
            protocol: form.text("protocol", &asked.protocol, 0..=100),
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let (animal, domains) =
            welfare::course(&self.records, &caller, &question).await.map_err(status::from)?;
        Ok(Response::new(v1::GetWelfareCourseResponse {
            animal: Some(label(animal)),
            domains: domains.into_iter().map(encode_course).collect(),
        }))
    }

    async fn compare_observers(
        &self,
        request: Request<v1::CompareObserversRequest>,
    ) -> Result<Response<v1::CompareObserversResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let question = Question {
            site: form.site("site", &asked.site),
            animal: String::new(),
            days: form.days("days", asked.days),
            protocol: form.text("protocol", &asked.protocol, 1..=100),
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        let named = form.version_of("protocol_version", asked.protocol_version);
        if !(0..=14).contains(&asked.within_days) {
            form.wrong("within_days", format!("is {}", asked.within_days), "give 0 to 14 days");
        }
        form.done()?;
        let (version, why, pairs) =
            welfare::observers(&self.records, &caller, &question, named, asked.within_days.into())
                .await
                .map_err(status::from)?;
        Ok(Response::new(v1::CompareObserversResponse {
            pairs: pairs.into_iter().map(observer_pair).collect(),
            protocol: question.protocol,
            protocol_version: version,
            version_basis: basis(why),
        }))
    }

    async fn list_unassessed(
        &self,
        request: Request<v1::ListUnassessedRequest>,
    ) -> Result<Response<v1::ListUnassessedResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let within = match u16::try_from(asked.within_days) {
            Ok(0) => USUAL_WITHIN,
            Ok(days @ 1..=730) => days,
            _ => {
                let mend = format!("give 1 to 730 days, or 0 for the default of {USUAL_WITHIN}");
                form.wrong("within_days", format!("is {}", asked.within_days), mend);
                USUAL_WITHIN
            }
        };
        let as_of = form.optional_day("as_of", asked.as_of);
        form.done()?;
        let told =
            welfare::unassessed(&self.records, &caller, &site, within, as_of).await.map_err(status::from)?;
        Ok(Response::new(v1::ListUnassessedResponse {
            animals: told.animals.into_iter().map(unassessed_animal).collect(),
            groups: told.groups.into_iter().map(unassessed_group).collect(),
            held: number(told.held),
            within_days: told.within_days.into(),
            as_of: Some(day(told.as_of)),
        }))
    }
}
