//! `holt paper`

use crate::commands::when::{self, span};
use crate::errand::{Errand, Outcome};
use crate::moment::DayWord;
use crate::session::request_id;
use crate::views::paper::{Missing, Paper as View};
use crate::views::{Many, Told};
use crate::words::{self, Word};
use clap::{Args, Subcommand};
use holt_proto::time::day;
use holt_proto::v1;

/// Papers of arrivals, departures and transfers
#[derive(Args, Debug)]
pub(crate) struct Paper {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Add(Box<Add>),
    List(List),
    Missing(MissingFrom),
}

impl Paper {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Add(command) => command.run(errand).await,
            What::List(command) => command.run(errand).await,
            What::Missing(command) => command.run(errand).await,
        }
    }
}

/// Add a paper to the arrival, departure or transfer of an animal
#[derive(Args, Debug)]
#[command(after_help = "\
Source and purpose codes are those of CITES (Res. Conf. 12.3), as they stand on the paper.

Examples:
  holt paper add Bramble --for arrival --kind cites-export-permit \\
    --number DE-2026-0117 --country DE --issued 2026-02-01 \\
    --valid-until 2026-08-01 --cites II --source C --purpose Z
  holt paper add Bramble --for departure --kind health-certificate \\
    --number 26/118")]
struct Add {
    /// The animal
    animal: String,
    /// What the paper belongs to
    #[arg(long = "for", value_parser = words::parser::<v1::PaperOccasion>())]
    occasion: v1::PaperOccasion,
    /// The transfer, by its id [default: the latest]
    #[arg(long, value_name = "TRANSFER", default_value = "", hide_default_value = true)]
    transfer: String,
    /// What kind of paper
    #[arg(long, value_parser = words::parser::<v1::PaperKind>())]
    kind: v1::PaperKind,
    /// Its number
    #[arg(long, value_name = "NUMBER")]
    number: Option<String>,
    /// Country that issued it: two letters of ISO 3166-1
    #[arg(long, value_name = "COUNTRY")]
    country: Option<String>,
    /// Authority that issued it
    #[arg(long, value_name = "NAME")]
    authority: Option<String>,
    /// Day of issue
    #[arg(long, value_name = "DAY")]
    issued: Option<DayWord>,
    /// Last day on which it is valid
    #[arg(long, value_name = "DAY")]
    valid_until: Option<DayWord>,
    /// Appendix of CITES at issue
    #[arg(long, value_name = "APPENDIX", value_parser = words::parser::<v1::CitesAppendix>())]
    cites: Option<v1::CitesAppendix>,
    /// Source codes of CITES, such as C or "C I"
    #[arg(long, value_name = "CODES")]
    source: Option<String>,
    /// Purpose code of CITES, such as Z
    #[arg(long, value_name = "CODE")]
    purpose: Option<String>,
    /// Remark
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Add {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let today = session.today(zone);
        let resolve = |word: Option<DayWord>| word.map(|word| day(word.resolve(today)));
        let ask = v1::AddPaperRequest {
            request_id: request_id(),
            site,
            animal: self.animal,
            occasion: self.occasion.into(),
            transfer_id: self.transfer,
            content: Some(v1::PaperContent {
                kind: self.kind.into(),
                number: self.number.unwrap_or_default(),
                issued_by_country: self.country.unwrap_or_default(),
                issued_by: self.authority.unwrap_or_default(),
                issued_on: resolve(self.issued),
                expires_on: resolve(self.valid_until),
                cites_appendix: self.cites.unwrap_or_default().into(),
                source_codes: self.source.unwrap_or_default(),
                purpose_code: self.purpose.unwrap_or_default(),
                note: self.note.unwrap_or_default(),
            }),
            validate_only: self.check_only,
        };
        let answer = session.ask(ask).await?;
        let thing = View::new(answer.paper.unwrap_or_default(), zone);
        let mut told = Told::new(thing, self.check_only, View::spoken);
        told.say = [vec![told.say], still_missing(&answer.missing, &answer.caution)].concat().join("\n");
        errand.show(&told)
    }
}

/// What is still missing, and what that is and is not.
pub(crate) fn still_missing(missing: &[String], caution: &str) -> Vec<String> {
    let mut lines: Vec<String> = missing.iter().map(|what| format!("Missing: {what}.")).collect();
    if !caution.is_empty() {
        lines.push(caution.to_owned());
    }
    lines
}

/// Reads `kind=cites-export-permit,number=DE-17,country=DE,issued=2026-02-01,source=C`.
pub(crate) fn paper(text: &str) -> Result<v1::PaperContent, String> {
    const KEYS: &str = "kind, number, country, authority, issued, valid-until, cites, source, purpose, note";
    let mut paper = v1::PaperContent::default();
    for part in text.split(',') {
        let (key, value) =
            part.split_once('=').ok_or_else(|| format!("write KEY=VALUE, not `{part}`; keys are {KEYS}"))?;
        let value = value.trim();
        let on = || value.parse::<v1::Day>().map_err(|_| format!("`{value}` is not a day; write 2026-02-01"));
        match key.trim() {
            "kind" => paper.kind = chosen::<v1::PaperKind>(value)?.into(),
            "cites" => paper.cites_appendix = chosen::<v1::CitesAppendix>(value)?.into(),
            "number" => value.clone_into(&mut paper.number),
            "country" => value.clone_into(&mut paper.issued_by_country),
            "authority" => value.clone_into(&mut paper.issued_by),
            "issued" => paper.issued_on = Some(on()?),
            "valid-until" => paper.expires_on = Some(on()?),
            "source" => value.clone_into(&mut paper.source_codes),
            "purpose" => value.clone_into(&mut paper.purpose_code),
            "note" => value.clone_into(&mut paper.note),
            other => return Err(format!("`{other}` is not a key; keys are {KEYS}")),
        }
    }
    if paper.kind() == v1::PaperKind::Unspecified {
        return Err(format!("the kind is missing; write kind=KIND, one of {}", choices::<v1::PaperKind>()));
    }
    Ok(paper)
}

fn chosen<E: Word>(word: &str) -> Result<E, String> {
    E::of(word).ok_or_else(|| format!("`{word}` is none of {}", choices::<E>()))
}

fn choices<E: Word>() -> String {
    E::ALL.iter().map(|(word, _)| *word).collect::<Vec<_>>().join(", ")
}

/// List the papers of an animal
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt paper list Bramble
  holt paper list Bramble --format csv")]
struct List {
    /// The animal
    animal: String,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl List {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ListPapersRequest {
            site,
            animal: self.animal,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let papers = session.ask(ask).await?.papers;
        errand.show(&Many(papers.into_iter().map(|paper| View::new(paper, zone)).collect()))
    }
}

/// List arrivals and departures of listed animals without a recorded permit
#[derive(Args, Debug)]
#[command(after_help = "\
A species is listed if its appendix of CITES is recorded: `holt species update`.

Examples:
  holt paper missing
  holt paper missing --from 2026-01-01 --to 2026-03-31 --format csv")]
struct MissingFrom {
    /// First day [default: the beginning]
    #[arg(long, value_name = "DAY")]
    from: Option<DayWord>,
    /// Last day [default: today]
    #[arg(long, value_name = "DAY")]
    to: Option<DayWord>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl MissingFrom {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ListMissingPapersRequest {
            site,
            span: span(self.from, self.to, session.today(zone))?,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let answer = session.ask(ask).await?;
        errand.show(&Many(answer.missing.into_iter().map(Missing::from).collect()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn papers_are_read_as_they_are_typed() {
        let read = paper(
            "kind=cites-export-permit, number=DE/17, country=DE, issued=2026-02-01, cites=II, \
                source=C I, purpose=z",
        )
        .unwrap();
        assert_eq!(
            (read.kind(), read.cites_appendix()),
            (v1::PaperKind::CitesExportPermit, v1::CitesAppendix::Ii)
        );
        assert_eq!((read.number.as_str(), read.source_codes.as_str()), ("DE/17", "C I"));
        assert_eq!(read.issued_on.unwrap().to_string(), "2026-02-01");
        for (text, told) in [
            ("number=17", "the kind is missing"),
            ("kind=permit", "`permit` is none of"),
            ("kind=receipt,issued=yesterday", "is not a day"),
            ("kind=receipt,colour=red", "`colour` is not a key"),
            ("receipt", "write KEY=VALUE"),
        ] {
            let error = paper(text).unwrap_err();
            assert!(error.contains(told), "{text}: {error}");
        }
    }
}
