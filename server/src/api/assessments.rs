//! `AssessmentService`.

use crate::api::decode::Form;
use crate::api::documents::{basis, loads_for, own_site};
use crate::api::encode::id;
use crate::api::{Api, caller, status};
use crate::model::assessment::{Finding, NewAssessment};
use crate::model::document::Kept;
use crate::records::assessments::{self, Judged};
use crate::records::documents;
use crate::records::weights::Asked;
use holt_audit::terms::Domain;
use holt_audit::welfare::protocol::{Basis, Indicator, Scale};
use holt_audit::welfare::{Compromise, Confidence, Enhancement, Graded, Protocol, Raw, Score, Sound};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::assessment_service_server::AssessmentService;
use holt_proto::v1::{finding, indicator};
use tonic::{Request, Response, Status};

pub(super) const fn domain(domain: Domain) -> v1::Domain {
    match domain {
        Domain::Nutrition => v1::Domain::Nutrition,
        Domain::Environment => v1::Domain::Environment,
        Domain::Health => v1::Domain::Health,
        Domain::Behaviour => v1::Domain::Behaviour,
        Domain::Mental => v1::Domain::Mental,
    }
}

pub(super) const fn compromise(grade: Compromise) -> v1::Compromise {
    match grade {
        Compromise::A => v1::Compromise::A,
        Compromise::B => v1::Compromise::B,
        Compromise::C => v1::Compromise::C,
        Compromise::D => v1::Compromise::D,
        Compromise::E => v1::Compromise::E,
    }
}

pub(super) const fn enhancement(grade: Enhancement) -> v1::Enhancement {
    match grade {
        Enhancement::None => v1::Enhancement::None,
        Enhancement::Low => v1::Enhancement::Low,
        Enhancement::Mid => v1::Enhancement::Mid,
        Enhancement::High => v1::Enhancement::High,
    }
}

fn scale(scale: Scale) -> indicator::Scale {
    match scale {
        Scale::Levels { levels } => indicator::Scale::Levels(v1::LevelScale {
            levels: levels
                .into_iter()
                .map(|level| v1::ScaleLevel {
                    name: level.name,
                    compromise: compromise(level.compromise).into(),
                    enhancement: enhancement(level.enhancement).into(),
                    affect: level.affect.unwrap_or_default(),
                })
                .collect(),
        }),
        Scale::Measured { unit, min, max, bands } => indicator::Scale::Measured(v1::MeasuredScale {
            unit,
            min,
            max,
            bands: bands
                .into_iter()
                .map(|band| v1::ScaleBand {
                    from: band.from,
                    compromise: compromise(band.compromise).into(),
                    enhancement: enhancement(band.enhancement).into(),
                    affect: band.affect.unwrap_or_default(),
                })
                .collect(),
        }),
    }
}

fn encode_indicator(indicator: Indicator) -> v1::Indicator {
    let basis = match indicator.basis {
        Basis::Animal => v1::IndicatorBasis::Animal,
        Basis::Resource => v1::IndicatorBasis::Resource,
    };
    v1::Indicator {
        code: indicator.code,
        text: indicator.text,
        domain: domain(indicator.domain).into(),
        basis: basis.into(),
        guidance: indicator.guidance,
        scale: Some(scale(indicator.scale)),
    }
}

fn protocol(kept: Kept<Protocol>) -> v1::Protocol {
    let protocol = kept.document;
    v1::Protocol {
        id: id(kept.id),
        own_site: own_site(&protocol.code),
        code: protocol.code,
        version: i32::try_from(protocol.version).unwrap_or(i32::MAX),
        title: protocol.title,
        taxa: protocol.species,
        indicators: protocol.indicators.into_iter().map(encode_indicator).collect(),
    }
}

fn encode_finding(found: Finding) -> v1::Finding {
    let confidence = match found.score.confidence {
        Confidence::Low => v1::Confidence::Low,
        Confidence::Medium => v1::Confidence::Medium,
        Confidence::High => v1::Confidence::High,
    };
    v1::Finding {
        indicator: found.score.indicator,
        found: Some(match found.score.raw {
            Raw::Level(level) => finding::Found::Level(level),
            Raw::Number(number) => finding::Found::Number(number),
        }),
        confidence: confidence.into(),
        evidence: found.evidence,
    }
}

/// The four domains that were observed, and mental state, which was inferred.
fn grades(graded: Graded) -> Vec<v1::DomainGrade> {
    let mut wire: Vec<_> = graded
        .domains
        .into_iter()
        .map(|(of, grade)| v1::DomainGrade {
            domain: domain(of).into(),
            compromise: grade
                .compromise
                .as_ref()
                .map_or(v1::Compromise::Unspecified, |judged| compromise(judged.grade))
                .into(),
            enhancement: grade
                .enhancement
                .as_ref()
                .map_or(v1::Enhancement::Unspecified, |judged| enhancement(judged.grade))
                .into(),
            compromise_by: grade.compromise.map(|judged| judged.evidence).unwrap_or_default(),
            enhancement_by: grade.enhancement.map(|judged| judged.evidence).unwrap_or_default(),
            assessed: grade.assessed,
            not_assessed: grade.missing,
        })
        .collect();
    let mental = graded.mental;
    let because: Vec<String> = mental.because.iter().map(|affect| affect.indicator.clone()).collect();
    wire.push(v1::DomainGrade {
        domain: v1::Domain::Mental.into(),
        compromise: mental.compromise.map_or(v1::Compromise::Unspecified, compromise).into(),
        enhancement: mental.enhancement.map_or(v1::Enhancement::Unspecified, enhancement).into(),
        compromise_by: because.clone(),
        enhancement_by: because,
        assessed: Vec::new(),
        not_assessed: Vec::new(),
    });
    wire
}

pub(super) fn encode(judged: Judged) -> v1::Assessment {
    let assessment = judged.assessment;
    v1::Assessment {
        id: id(assessment.id),
        site: assessment.site,
        animal_id: id(assessment.animal.id),
        accession: assessment.animal.accession,
        house_name: assessment.animal.house_name,
        protocol: assessment.protocol,
        protocol_version: assessment.protocol_version,
        assessed_at: Some(timestamp(assessment.assessed_at)),
        observer: assessment.observer,
        findings: assessment.findings.into_iter().map(encode_finding).collect(),
        grades: grades(judged.graded),
        note: assessment.note,
    }
}

fn decode_finding(form: &mut Form, field: &str, wire: &v1::Finding) -> Finding {
    let confidence = match v1::Confidence::try_from(wire.confidence) {
        Ok(v1::Confidence::Low) => Some(Confidence::Low),
        Ok(v1::Confidence::Medium) => Some(Confidence::Medium),
        Ok(v1::Confidence::High) => Some(Confidence::High),
        Ok(v1::Confidence::Unspecified) | Err(_) => None,
    };
    let confidence =
        form.choice(&format!("{field}.confidence"), confidence, "low, medium, high", Confidence::Low);
    let raw = match &wire.found {
        Some(finding::Found::Level(level)) => {
            Raw::Level(form.text(&format!("{field}.level"), level, 1..=100))
        }
        Some(finding::Found::Number(number)) => {
            Raw::Number(form.number(&format!("{field}.number"), *number, -1e9..=1e9, ""))
        }
        None => {
            form.wrong(field, "has no finding", "give a level or a number");
            Raw::Number(0.0)
        }
    };
    Finding {
        score: Score {
            indicator: form.text(&format!("{field}.indicator"), &wire.indicator, 1..=100),
            raw,
            confidence,
        },
        evidence: form.text(&format!("{field}.evidence"), &wire.evidence, 0..=1000),
    }
}

/// All findings of a message.
pub(super) fn findings(form: &mut Form, field: &str, wire: &[v1::Finding]) -> Vec<Finding> {
    let each = wire.iter().enumerate();
    each.map(|(n, wire)| decode_finding(form, &format!("{field}[{n}]"), wire)).collect()
}

#[tonic::async_trait]
impl AssessmentService for Api {
    async fn load_protocol(
        &self,
        request: Request<v1::LoadProtocolRequest>,
    ) -> Result<Response<v1::LoadProtocolResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("AssessmentService/LoadProtocol", &asked.request_id, &asked, only);
        let document = form.document("toml", &asked.toml);
        let site = loads_for(&mut form, &asked.site);
        form.done()?;
        let loaded = documents::load::<Sound>(&self.records, &caller, &write, &site, &document)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::LoadProtocolResponse { protocol: Some(protocol(loaded)) }))
    }

    async fn list_protocols(
        &self,
        request: Request<v1::ListProtocolsRequest>,
    ) -> Result<Response<v1::ListProtocolsResponse>, Status> {
        let (caller, _) = caller::open(request)?;
        let all = documents::all(&self.records, &caller).await.map_err(status::from)?;
        let protocols = all.into_iter().map(protocol).collect();
        Ok(Response::new(v1::ListProtocolsResponse { protocols }))
    }

    async fn record_assessment(
        &self,
        request: Request<v1::RecordAssessmentRequest>,
    ) -> Result<Response<v1::RecordAssessmentResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("AssessmentService/RecordAssessment", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        if asked.findings.is_empty() {
            form.wrong("findings", "are missing", "give at least one finding");
        }
        let version = form.version_of("protocol_version", asked.protocol_version);
        let new = NewAssessment {
            animal: form.animal("animal", &asked.animal),
            protocol: form.text("protocol", &asked.protocol, 1..=100),
            version,
            at: form.instant("assessed_at", asked.assessed_at),
            findings: findings(&mut form, "findings", &asked.findings),
            note: form.text("note", &asked.note, 0..=2000),
        };
        form.done()?;
        let (judged, why) =
            assessments::record(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::RecordAssessmentResponse {
            assessment: Some(encode(judged)),
            version_basis: basis(why),
        }))
    }

    async fn list_assessments(
        &self,
        request: Request<v1::ListAssessmentsRequest>,
    ) -> Result<Response<v1::ListAssessmentsResponse>, Status> {
        const METHOD: &str = "AssessmentService/ListAssessments";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let wanted = Asked {
            site: form.site("site", &asked.site),
            animal: form.text("animal", &asked.animal, 0..=100),
            days: form.days("days", asked.days),
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let found = assessments::list(&self.records, &caller, &wanted, &page).await.map_err(status::from)?;
        Ok(Response::new(v1::ListAssessmentsResponse {
            assessments: found.entries.into_iter().map(encode).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }
}
