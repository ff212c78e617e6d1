//! `holt assess`

use super::document::in_use;
use super::kept::{Reference, all, reference};
use super::when;
use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::moment::{self, WhenWord};
use crate::session::request_id;
use crate::views::assessment::{Assessment, Recorded};
use crate::words::{self, Word};
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;
use holt_proto::v1::finding::Found;
use holt_proto::v1::indicator::Scale;
use std::path::{Path, PathBuf};

/// Record a welfare assessment of an animal
#[derive(Args, Debug)]
#[command(after_help = "\
`holt protocol show CODE` lists what can be found on each indicator. A findings file is CSV with the columns \
indicator, found, confidence and evidence.

Examples:
  holt assess Bramble --protocol small-carnivore --found body-condition=ideal \\
    --found \"coat=dull: thin at the tail\"
  holt assess Bramble --protocol small-carnivore@1 --file findings.csv")]
pub(crate) struct Assess {
    /// The animal
    animal: String,
    /// The protocol [default version: the one by which the site works]
    #[arg(long, value_name = "CODE[@VERSION]", value_parser = reference)]
    protocol: Reference,
    /// What was found on an indicator, and after a colon what was seen; may be given several times
    #[arg(long = "found", value_name = "INDICATOR=FOUND[: EVIDENCE]", required_unless_present = "file")]
    found: Vec<String>,
    /// Read the findings from a CSV file; - is standard input
    #[arg(long, value_name = "FILE", conflicts_with = "found")]
    file: Option<PathBuf>,
    /// Confidence in findings that do not have their own: low (guessed), medium (seen), high (seen well, or measured)
    #[arg(long, value_name = "HOW", default_value = "medium", value_parser = words::parser::<v1::Confidence>())]
    confidence: v1::Confidence,
    /// When the assessment was made [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<WhenWord>,
    /// Remarks
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
}

/// One finding as it is written.
struct Written {
    /// Where it stands, for errors.
    place: String,
    indicator: String,
    found: String,
    confidence: String,
    evidence: String,
}

impl Assess {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let written = match &self.file {
            Some(path) => from_file(path, errand)?,
            None => self.found.iter().map(|text| from_argument(text)).collect::<Result<_, _>>()?,
        };
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let assessed_at = when::instant(self.at, zone, session.now())?;
        let on = assessed_at.and_then(|at| holt_proto::time::instant(at).ok());
        let on = on.map(|at| day(moment::today(zone, at)));
        let wanted = in_use(session, &site, v1::DocumentKind::Protocol, &self.protocol, on).await?;
        let protocol: v1::Protocol = wanted.among("protocol", all(session).await?)?;
        let findings = written
            .into_iter()
            .map(|written| finding(written, &protocol, self.confidence))
            .collect::<Result<_, _>>()?;
        let ask = v1::RecordAssessmentRequest {
            request_id: request_id(),
            site,
            animal: self.animal,
            protocol: protocol.code,
            // Where none was named, the server chooses the same, and its answer says why.
            protocol_version: self.protocol.version,
            assessed_at,
            findings,
            note: self.note.unwrap_or_default(),
        };
        let answer = session.ask(ask).await?;
        let basis = answer.version_basis();
        let assessment = Assessment::new(answer.assessment.unwrap_or_default(), zone);
        errand.show(&Recorded::new(assessment, basis))
    }
}

/// Reads `body-condition=ideal: ribs felt, not seen`.
fn from_argument(text: &str) -> Result<Written, Failure> {
    let (indicator, rest) = text.split_once('=').ok_or_else(|| {
        Failure::usage(
            format!("`{text}` is not a finding"),
            "write INDICATOR=FOUND, such as body-condition=ideal",
        )
    })?;
    let (found, evidence) = rest.split_once(':').unwrap_or((rest, ""));
    Ok(Written {
        place: format!("--found {indicator}"),
        indicator: indicator.trim().to_owned(),
        found: found.trim().to_owned(),
        confidence: String::new(),
        evidence: evidence.trim().to_owned(),
    })
}

/// A finding as it is written, without a look at its protocol: what reads as a number is one. Whether it
/// fits is the server's to say.
pub(super) fn bare_finding(text: &str) -> Result<v1::Finding, Failure> {
    let written = from_argument(text)?;
    let found = written.found.parse().map_or(Found::Level(written.found), Found::Number);
    Ok(v1::Finding {
        indicator: written.indicator,
        found: Some(found),
        confidence: v1::Confidence::Medium.into(),
        evidence: written.evidence,
    })
}

fn from_file(path: &Path, errand: &mut Errand<'_>) -> Result<Vec<Written>, Failure> {
    #[derive(serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Record {
        indicator: String,
        found: String,
        #[serde(default)]
        confidence: String,
        #[serde(default)]
        evidence: String,
    }
    let bytes = errand.input.file(path)?;
    let text = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(&bytes);
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text);
    reader
        .deserialize()
        .enumerate()
        .map(|(n, record)| {
            let record: Record = record.map_err(|error| {
                let mend = "the columns are indicator, found, confidence, evidence; save it as `CSV UTF-8`";
                Failure::refused(format!("the findings are not understood: {error}"), mend)
            })?;
            Ok(Written {
                place: format!("row {}", n + 2),
                indicator: record.indicator,
                found: record.found,
                confidence: record.confidence,
                evidence: record.evidence,
            })
        })
        .collect()
}

/// A finding on the scale of its indicator: a level by its name, or a number with or without the unit of
/// the scale. An indicator that the protocol does not have is the server's to refuse.
fn finding(written: Written, protocol: &v1::Protocol, usual: v1::Confidence) -> Result<v1::Finding, Failure> {
    let indicator = protocol.indicators.iter().find(|indicator| indicator.code == written.indicator);
    let found = match indicator.and_then(|indicator| indicator.scale.as_ref()) {
        Some(Scale::Measured(scale)) => {
            let number = written.found.strip_suffix(&scale.unit).unwrap_or(&written.found).trim();
            let number: f64 = number.parse().map_err(|_| {
                let mend = format!("write a number in {0}, such as `{1}{0}`", scale.unit, scale.min);
                Failure::refused(format!("`{}` is not a number", written.found), mend).at(&written.place)
            })?;
            Found::Number(number)
        }
        _ => Found::Level(written.found),
    };
    let confidence = match written.confidence.as_str() {
        "" => usual,
        word => v1::Confidence::of(word).ok_or_else(|| {
            Failure::refused(format!("`{word}` is not a confidence"), "write low, medium or high")
                .at(&written.place)
        })?,
    };
    Ok(v1::Finding {
        indicator: written.indicator,
        found: Some(found),
        confidence: confidence.into(),
        evidence: written.evidence,
    })
}
