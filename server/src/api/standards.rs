//! `StandardService`.

use crate::api::decode::Form;
use crate::api::documents::{basis as version_basis, loads_for, own_site};
use crate::api::encode::id;
use crate::api::{Api, caller, status};
use crate::model::document::Kept;
use crate::model::standard::{Answer, Answered, Answers, Exception, SubjectKind};
use crate::records::documents;
use crate::report::standard::{self, CAUTION, Question, USUAL_EXCEPTIONS};
use holt_audit::compliance::Rule;
use holt_audit::standard::{Basis, Clause, EvidenceKind, SoundStandard, Standard, Unshown};
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::standard_service_server::StandardService;
use tonic::{Request, Response, Status};

/// Most exceptions of one clause in one answer.
const MOST_EXCEPTIONS: i32 = 1000;

const fn basis(basis: Basis) -> v1::ClauseBasis {
    match basis {
        Basis::Text => v1::ClauseBasis::Text,
        Basis::Summary => v1::ClauseBasis::Summary,
        Basis::Memory => v1::ClauseBasis::Memory,
        Basis::Practice => v1::ClauseBasis::Practice,
    }
}

const fn evidence(kind: EvidenceKind) -> v1::EvidenceKind {
    match kind {
        EvidenceKind::AnimalsIdentified => v1::EvidenceKind::AnimalsIdentified,
        EvidenceKind::WeightsInTime => v1::EvidenceKind::WeightsInTime,
        EvidenceKind::AssessmentsInTime => v1::EvidenceKind::AssessmentsInTime,
        EvidenceKind::ChecksDone => v1::EvidenceKind::ChecksDone,
        EvidenceKind::DietsOnRecord => v1::EvidenceKind::DietsOnRecord,
        EvidenceKind::EnrichmentVaried => v1::EvidenceKind::EnrichmentVaried,
        EvidenceKind::EnvironmentInRange => v1::EvidenceKind::EnvironmentInRange,
        EvidenceKind::TransfersPapered => v1::EvidenceKind::TransfersPapered,
        EvidenceKind::DeathsExplained => v1::EvidenceKind::DeathsExplained,
        EvidenceKind::ConcernsAnswered => v1::EvidenceKind::ConcernsAnswered,
        EvidenceKind::StockBalances => v1::EvidenceKind::StockBalances,
        EvidenceKind::WithinCapacity => v1::EvidenceKind::WithinCapacity,
        EvidenceKind::LedgerVerifies => v1::EvidenceKind::LedgerVerifies,
        EvidenceKind::StaffAllowed => v1::EvidenceKind::StaffAllowed,
        EvidenceKind::TreatmentsRecorded => v1::EvidenceKind::TreatmentsRecorded,
        EvidenceKind::ObserversAgree => v1::EvidenceKind::ObserversAgree,
    }
}

const fn subject(kind: SubjectKind) -> v1::ClauseSubject {
    match kind {
        SubjectKind::Animal => v1::ClauseSubject::Animal,
        SubjectKind::Litter => v1::ClauseSubject::Litter,
        SubjectKind::Group => v1::ClauseSubject::Group,
        SubjectKind::Enclosure => v1::ClauseSubject::Enclosure,
        SubjectKind::Device => v1::ClauseSubject::Device,
        SubjectKind::Transfer => v1::ClauseSubject::Transfer,
        SubjectKind::Concern => v1::ClauseSubject::Concern,
        SubjectKind::Site => v1::ClauseSubject::Site,
    }
}

const fn verdict(answer: Answer) -> v1::ClauseVerdict {
    match answer {
        Answer::Met => v1::ClauseVerdict::Met,
        Answer::Short => v1::ClauseVerdict::Short,
        Answer::NoEvidence => v1::ClauseVerdict::NoEvidence,
        Answer::NotApplicable => v1::ClauseVerdict::NotApplicable,
        Answer::NotComputed => v1::ClauseVerdict::NotComputed,
    }
}

fn number<N: TryInto<i32>>(number: N) -> i32 {
    number.try_into().unwrap_or(i32::MAX)
}

fn clause(clause: Clause) -> v1::Clause {
    let (rule, every_days) = match clause.rule {
        Rule::Once => (v1::ClauseRule::Once, 0),
        Rule::Latest => (v1::ClauseRule::Latest, 0),
        Rule::Always => (v1::ClauseRule::Always, 0),
        Rule::Every { days } => (v1::ClauseRule::Every, i32::from(days)),
    };
    v1::Clause {
        number: clause.number,
        text: clause.text,
        basis: basis(clause.basis).into(),
        evidence: evidence(clause.evidence).into(),
        rule: rule.into(),
        every_days,
        percent: clause.percent.into(),
        min_days: clause.min_days.into(),
        within_days: clause.within_days.map(i32::from),
        at_least: clause.at_least.map(i32::from),
        note: clause.note,
    }
}

fn unshown(one: Unshown) -> v1::UnshownClause {
    v1::UnshownClause { number: one.number, text: one.text, basis: basis(one.basis).into(), why: one.why }
}

fn encode(kept: Kept<Standard>) -> v1::Standard {
    let standard = kept.document;
    v1::Standard {
        id: id(kept.id),
        own_site: own_site(&standard.code),
        code: standard.code,
        version: number(standard.version),
        title: standard.title,
        source: standard.source,
        year: standard.year.into(),
        clauses: standard.clauses.into_iter().map(clause).collect(),
        unshown: standard.unshown.into_iter().map(unshown).collect(),
    }
}

fn exception(one: Exception) -> v1::ClauseException {
    v1::ClauseException {
        kind: subject(one.subject.kind).into(),
        id: id(one.subject.id),
        name: one.name,
        what: one.what,
        shown_on: one.day.map(day),
        record_id: one.record.map(id).unwrap_or_default(),
    }
}

fn answered(one: Answered) -> v1::ClauseAnswer {
    v1::ClauseAnswer {
        clause: Some(clause(one.clause)),
        verdict: verdict(one.answer).into(),
        numerator: number(one.numerator),
        denominator: number(one.denominator),
        exceptions: one.exceptions.into_iter().map(exception).collect(),
        more_exceptions: number(one.more),
        remark: one.remark,
    }
}

fn answers(told: Answers) -> v1::AnswerStandardResponse {
    v1::AnswerStandardResponse {
        site: told.site,
        name: told.name,
        licence: told.licence,
        standard: told.standard.code,
        version: number(told.standard.version),
        version_basis: version_basis(told.basis),
        title: told.standard.title,
        source: told.standard.source,
        year: told.standard.year.into(),
        days: Some(v1::DaySpan { first: Some(day(told.first)), last: Some(day(told.last)) }),
        as_known_at: Some(timestamp(told.as_known_at)),
        answers: told.clauses.into_iter().map(answered).collect(),
        unshown: told.standard.unshown.into_iter().map(unshown).collect(),
        caution: CAUTION.to_owned(),
    }
}

#[tonic::async_trait]
impl StandardService for Api {
    async fn load_standard(
        &self,
        request: Request<v1::LoadStandardRequest>,
    ) -> Result<Response<v1::LoadStandardResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("StandardService/LoadStandard", &asked.request_id, &asked, only);
        let document = form.document("toml", &asked.toml);
        let site = loads_for(&mut form, &asked.site);
        form.done()?;
        let loaded = documents::load::<SoundStandard>(&self.records, &caller, &write, &site, &document)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::LoadStandardResponse { standard: Some(encode(loaded)) }))
    }

    async fn list_standards(
        &self,
        request: Request<v1::ListStandardsRequest>,
    ) -> Result<Response<v1::ListStandardsResponse>, Status> {
        let (caller, _) = caller::open(request)?;
        let all = documents::all(&self.records, &caller).await.map_err(status::from)?;
        Ok(Response::new(v1::ListStandardsResponse { standards: all.into_iter().map(encode).collect() }))
    }

    async fn answer_standard(
        &self,
        request: Request<v1::AnswerStandardRequest>,
    ) -> Result<Response<v1::AnswerStandardResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let exceptions = match asked.max_exceptions {
            0 => USUAL_EXCEPTIONS,
            most @ 1..=MOST_EXCEPTIONS => usize::try_from(most).unwrap_or(USUAL_EXCEPTIONS),
            most => {
                form.wrong(
                    "max_exceptions",
                    format!("is {most}"),
                    "give 1 to 1000, or 0 for the default of 20",
                );
                USUAL_EXCEPTIONS
            }
        };
        if asked.days.is_none() {
            form.wrong("days", "is missing", "give the first and the last day");
        }
        let (first, last) = form.days("days", asked.days).unwrap_or_default();
        let question = Question {
            site: form.site("site", &asked.site),
            standard: form.text("standard", &asked.standard, 1..=100),
            version: form.version_of("version", asked.version),
            first,
            last,
            exceptions,
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let told = standard::of(&self.records, &caller, &question).await.map_err(status::from)?;
        Ok(Response::new(answers(told)))
    }
}
