//! Welfare assessments.

use super::row::row;
use super::{Thing, count, document, instant, some, spoken, written};
use crate::moment;
use crate::output::{Answer, Page, Table, Tone};
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use holt_proto::v1::finding::Found;
use serde::Serialize;

/// What the grades are and are not.
const CAUTION: &str = "Holt averages nothing: each domain shows its worst finding and its best. Mental \
    state is inferred \
     from the other four.";

/// What was found on one indicator.
#[derive(Clone, Serialize)]
struct Finding {
    indicator: String,
    /// Name of the level; none for a measured value.
    level: Option<String>,
    /// In the unit of the protocol's scale; none for a level.
    number: Option<f64>,
    confidence: &'static str,
    evidence: Option<String>,
}

/// Where one domain stands.
#[derive(Clone, Serialize)]
struct Grade {
    domain: &'static str,
    /// None where nothing was looked at.
    compromise: Option<&'static str>,
    enhancement: Option<&'static str>,
    compromise_by: Vec<String>,
    enhancement_by: Vec<String>,
    assessed: Vec<String>,
    not_assessed: Vec<String>,
}

/// An assessment on record.
#[derive(Clone, Serialize)]
pub(crate) struct Assessment {
    accession: String,
    house_name: Option<String>,
    site: String,
    protocol: String,
    protocol_version: i32,
    assessed_at: Option<String>,
    observer: Option<String>,
    grades: Vec<Grade>,
    findings: Vec<Finding>,
    note: Option<String>,
    animal_id: String,
    id: String,
    #[serde(skip)]
    at: Option<DateTime<Utc>>,
    #[serde(skip)]
    zone: Tz,
}

row! {
    /// An assessment as a line: compromise and enhancement of each domain, `D/+`.
    Row of one: Assessment {
        accession, house_name, site, protocol, protocol_version, assessed_at, observer,
        nutrition: one.grade("nutrition"), environment: one.grade("environment"), health: one.grade("health"),
        behaviour: one.grade("behaviour"), mental: one.grade("mental"), note, id,
    }
}

impl Assessment {
    pub(crate) fn new(assessment: v1::Assessment, zone: Tz) -> Self {
        let findings = assessment.findings.into_iter().map(|finding| {
            let confidence = finding.confidence().word();
            let (level, number) = match finding.found {
                Some(Found::Level(level)) => (Some(level), None),
                Some(Found::Number(number)) => (None, Some(number)),
                None => (None, None),
            };
            let evidence = some(finding.evidence);
            Finding { indicator: finding.indicator, level, number, confidence, evidence }
        });
        let told = |word: &'static str| (!word.is_empty()).then_some(word);
        let grades = assessment.grades.into_iter().map(|grade| Grade {
            domain: grade.domain().word(),
            compromise: told(grade.compromise().word()),
            enhancement: told(grade.enhancement().word()),
            compromise_by: grade.compromise_by,
            enhancement_by: grade.enhancement_by,
            assessed: grade.assessed,
            not_assessed: grade.not_assessed,
        });
        Self {
            accession: assessment.accession,
            house_name: some(assessment.house_name),
            site: assessment.site,
            protocol: assessment.protocol,
            protocol_version: assessment.protocol_version,
            assessed_at: written(assessment.assessed_at, zone),
            observer: some(assessment.observer),
            grades: grades.collect(),
            findings: findings.collect(),
            note: some(assessment.note),
            animal_id: assessment.animal_id,
            id: assessment.id,
            at: instant(assessment.assessed_at),
            zone,
        }
    }

    fn grade(&self, domain: &str) -> Option<String> {
        let grade = self.grades.iter().find(|grade| grade.domain == domain)?;
        Some(format!("{}/{}", grade.compromise?, grade.enhancement.unwrap_or("?")))
    }

    fn spoken_time(&self) -> String {
        self.at.map(|at| moment::spoken(at, self.zone)).unwrap_or_default()
    }
}

impl Thing for Assessment {
    const MANY: &'static str = "assessments";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(assessments: &[Self], page: &mut Page) {
        let mut table =
            Table::new(["Assessed", "Animal", "Protocol", "Nutr.", "Env.", "Health", "Behav.", "Mental"]);
        for assessment in assessments {
            let cell = |domain: &str| {
                let grade = assessment.grade(domain);
                let tone = match grade.as_deref().map(|grade| grade.as_bytes()[0]) {
                    Some(b'D' | b'E') => Tone::Alarm,
                    Some(b'C') => Tone::Warning,
                    _ => Tone::Calm,
                };
                (tone, grade.unwrap_or_else(|| "not seen".to_owned()))
            };
            table.toned([
                (Tone::Calm, assessment.spoken_time()),
                (Tone::Calm, spoken(assessment.house_name.as_deref(), &assessment.accession)),
                (Tone::Calm, format!("{} v{}", assessment.protocol, assessment.protocol_version)),
                cell("nutrition"),
                cell("environment"),
                cell("health"),
                cell("behaviour"),
                cell("mental"),
            ]);
        }
        page.table(&table);
        page.remark(&format!(
            "Each domain: worst compromise (A none to E very severe) / best enhancement (0 to +++). {CAUTION}"
        ));
    }
}

/// One assessment with the grades of its domains.
#[derive(Serialize)]
pub(crate) struct Recorded {
    #[serde(flatten)]
    assessment: Assessment,
    version_basis: &'static str,
    #[serde(skip)]
    why: Option<&'static str>,
}

impl Recorded {
    pub(crate) fn new(assessment: Assessment, basis: v1::VersionBasis) -> Self {
        Self { assessment, version_basis: basis.word(), why: document::why(basis) }
    }
}

impl Answer for Recorded {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        vec![self.assessment.row()]
    }

    fn page(&self, page: &mut Page) {
        let it = &self.assessment;
        let animal = spoken(it.house_name.as_deref(), &it.accession);
        let why = self.why.map(|why| format!(" ({why})")).unwrap_or_default();
        let found = count(it.findings.len(), "finding", "findings");
        page.line(&format!(
            "{animal} assessed by {}, version {}{why}, at {}: {found}.",
            it.protocol,
            it.protocol_version,
            it.spoken_time()
        ));
        page.gap();
        let mut table = Table::new(["Domain", "Compromise", "Enhancement", "Rests on", "Not assessed"]);
        for grade in &it.grades {
            let (tone, compromise) = match grade.compromise {
                Some("E") => (Tone::Alarm, "E, very severe"),
                Some("D") => (Tone::Alarm, "D, severe"),
                Some("C") => (Tone::Warning, "C, moderate"),
                Some("B") => (Tone::Calm, "B, low"),
                Some(_) => (Tone::Calm, "A, none"),
                None => (Tone::Faint, "not assessed"),
            };
            let mut by = grade.compromise_by.clone();
            by.extend(
                grade.enhancement_by.iter().filter(|code| !grade.compromise_by.contains(code)).cloned(),
            );
            table.toned([
                (Tone::Calm, grade.domain.to_owned()),
                (tone, compromise.to_owned()),
                (Tone::Calm, grade.enhancement.unwrap_or_default().to_owned()),
                (Tone::Calm, by.join(", ")),
                (Tone::Calm, grade.not_assessed.join(", ")),
            ]);
        }
        page.table(&table);
        page.remark(CAUTION);
    }
}
