//! `holt correct`

use super::{assess, history};
use crate::errand::{Errand, Outcome, id_part, nothing_of, the_one};
use crate::failure::Failure;
use crate::moment::{DayWord, When, WhenWord};
use crate::session::request_id;
use crate::views::fact::Corrected as View;
use crate::words;
use clap::Args;
use holt_proto::notation::mass;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;

/// Correct a fact that was recorded wrong, or withdraw it; the history keeps the old
#[derive(Args, Debug)]
#[command(after_help = "\
`holt history` lists the facts of an animal with their ids. Give only what was wrong, as it is right; the \
rest stays. --was moves a reading to the right animal.

Examples:
  holt correct Bramble 0000002a --mass 8.12kg --because \"read 8.21\"
  holt correct Bramble 0000002a --was Sedge --because \"mixed them up\"
  holt correct Bramble 0000002a --withdraw --because \"scale was not set to 0\"
  holt correct Sedge 0000003c --on 2026-03-01 --because \"found on Sunday\"
  holt correct Sedge 0000001f --born 2019-05 --estimated true \\
    --because \"papers of the sender\"
  holt correct Sedge 00000021 --owner \"Fenwater Collection\" --because \"contract\"
  holt correct Sedge 00000022 --from-name Fenwater --from-country DE \\
    --because \"papers of the sender\"")]
pub(crate) struct Correct {
    /// The animal
    animal: String,
    /// The fact: its id, or the beginning or end of it
    #[arg(value_name = "FACT", value_parser = id_part)]
    fact: String,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
    #[command(flatten)]
    change: Change,
    /// Withdraw the fact: it was never so
    #[arg(long, conflicts_with = "Change")]
    withdraw: bool,
    /// Refuse if the animal was changed since this version of it
    #[arg(long, value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
    based_on: i64,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

/// What it should have been.
#[derive(Args, Clone, Debug, Default)]
#[group(multiple = true)]
pub(super) struct Change {
    /// Day or time at which it was, or began
    #[arg(long, value_name = "TIME", conflicts_with = "on")]
    at: Option<WhenWord>,
    /// The day, if the time is not known
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    /// Day or time at which it ended
    #[arg(long, value_name = "TIME")]
    ended: Option<WhenWord>,
    /// It did not end
    #[arg(long, conflicts_with = "ended")]
    still_lasts: bool,
    /// Of a weight: the value
    #[arg(long, value_name = "MASS")]
    mass: Option<String>,
    /// Of a weight: the animal that was on the scale
    #[arg(long, value_name = "ANIMAL")]
    was: Option<String>,
    /// Of a birth: the day, month or year
    #[arg(long, value_name = "DAY")]
    born: Option<v1::Day>,
    /// Of a birth: whether it is an estimate
    #[arg(long, value_name = "true|false")]
    estimated: Option<bool>,
    /// Of a sex: the sex
    #[arg(long, value_parser = words::parser::<v1::Sex>())]
    sex: Option<v1::Sex>,
    /// Of a parent: the animal
    #[arg(long, value_name = "ANIMAL")]
    parent: Option<String>,
    /// Of a parent: how likely it is this animal, up to 1
    #[arg(long, value_name = "SHARE")]
    share: Option<f64>,
    /// Of a parent: how it is known
    #[arg(long, value_name = "HOW", value_parser = words::parser::<v1::ParentsKnownBy>())]
    known_by: Option<v1::ParentsKnownBy>,
    /// Of a parent or a birth: why these parents are right although they do not fit the records
    #[arg(long, value_name = "WHY")]
    parents_because: Option<String>,
    /// Of an ownership: the owner, a site or a name outside Holt
    #[arg(long, value_name = "OWNER")]
    owner: Option<String>,
    /// Of a holding: where it came from
    #[arg(long, value_parser = words::parser::<v1::ArrivalSource>())]
    from: Option<v1::ArrivalSource>,
    /// Of a holding: name of the collection, place or person it came from
    #[arg(long, value_name = "NAME")]
    from_name: Option<String>,
    /// Of a holding: country it came from, two letters of ISO 3166-1
    #[arg(long, value_name = "COUNTRY")]
    from_country: Option<String>,
    /// Of a holding: where it went
    #[arg(long, value_parser = words::parser::<v1::DepartureDestination>())]
    to: Option<v1::DepartureDestination>,
    /// Of a holding: name of the collection, place or person it went to
    #[arg(long, value_name = "NAME")]
    to_name: Option<String>,
    /// Of a holding: country it went to, two letters of ISO 3166-1
    #[arg(long, value_name = "COUNTRY")]
    to_country: Option<String>,
    /// Of a loan: the last day
    #[arg(long, value_name = "DAY")]
    loan_until: Option<DayWord>,
    /// Of a loan: no last day was agreed
    #[arg(long, conflicts_with = "loan_until")]
    without_loan_until: bool,
    /// Of a loan: what else is agreed
    #[arg(long, value_name = "TEXT")]
    loan_terms: Option<String>,
    /// Of a membership: what it was in the group
    #[arg(long = "as", value_name = "ROLE", value_parser = words::parser::<v1::GroupRole>())]
    role: Option<v1::GroupRole>,
    /// Of a placement: the enclosure
    #[arg(long = "in", value_name = "ENCLOSURE")]
    enclosure: Option<String>,
    /// Of a mark: the code
    #[arg(long, value_name = "CODE")]
    code: Option<String>,
    /// Of a mark: where on the body
    #[arg(long, value_name = "TEXT")]
    place: Option<String>,
    /// Of a death: how it died
    #[arg(long, value_parser = words::parser::<v1::DeathManner>())]
    manner: Option<v1::DeathManner>,
    /// Of a death: the day on which it was found dead
    #[arg(long, value_name = "DAY")]
    found_on: Option<DayWord>,
    /// Of a weight, a death or an assessment: the remark
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Of an assessment: each finding, all of them
    #[arg(long = "found", value_name = "INDICATOR=FOUND[: EVIDENCE]")]
    found: Vec<String>,
}

impl Correct {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let session = &errand.session;
        let (zone, now) = (session.zone(&site).await?, session.now());
        let ask =
            v1::GetHistoryRequest { site: site.clone(), animal: self.animal.clone(), ..Default::default() };
        let known = history::get(session, ask).await?;
        let fact = the_one("fact", &self.fact, &known.facts, |fact| &fact.id)?;
        let list = format!("holt history {}", self.animal);
        let fact = fact.ok_or_else(|| nothing_of("fact that stands", &self.fact, &list))?.clone();
        let (facts, concerns) = if self.withdraw {
            let ask = v1::WithdrawFactRequest {
                request_id: request_id(),
                site,
                animal: known.animal_id,
                fact_id: fact.id.clone(),
                because: self.because,
                version: self.based_on,
                validate_only: self.check_only,
            };
            let answer = session.ask(ask).await?;
            (answer.facts, answer.concerns)
        } else {
            let ask = v1::CorrectFactRequest {
                request_id: request_id(),
                site,
                animal: known.animal_id,
                fact_id: fact.id.clone(),
                change: Some(self.change.read(zone, now)?),
                because: self.because,
                version: self.based_on,
                validate_only: self.check_only,
            };
            let answer = session.ask(ask).await?;
            (answer.facts, answer.concerns)
        };
        let zones = session.zones().await?;
        errand.show(&View::new(fact, facts, concerns, self.withdraw, self.check_only, &zones))
    }
}

impl Change {
    pub(super) fn read(
        self,
        zone: chrono_tz::Tz,
        now: chrono::DateTime<chrono::Utc>,
    ) -> Result<v1::FactChange, Failure> {
        let today = now.with_timezone(&zone).date_naive();
        let mut change = v1::FactChange {
            born_on: self.born,
            born_estimated: self.estimated,
            sex: self.sex.map(Into::into),
            parent: self.parent,
            share: self.share,
            known_by: self.known_by.map(Into::into),
            parents_because: self.parents_because,
            animal: self.was,
            enclosure: self.enclosure,
            code: self.code,
            place_on_body: self.place,
            manner: self.manner.map(Into::into),
            owner: self.owner,
            source: self.from.map(Into::into),
            source_name: self.from_name,
            source_country: self.from_country,
            destination: self.to.map(Into::into),
            destination_name: self.to_name,
            destination_country: self.to_country,
            loan_until: self.loan_until.map(|until| day(until.resolve(today))),
            without_loan_until: self.without_loan_until,
            loan_terms: self.loan_terms,
            found_on: self.found_on.map(|found| day(found.resolve(today))),
            role: self.role.map(Into::into),
            note: self.note,
            still_lasts: self.still_lasts,
            findings: self.found.iter().map(|text| assess::bare_finding(text)).collect::<Result<_, _>>()?,
            ..Default::default()
        };
        if let Some(text) = &self.mass {
            let milligrams = mass::parse(text, None).map_err(|error| {
                Failure::usage(error.to_string(), "write it with its unit: 8.2kg, 385g").at("--mass")
            })?;
            change.mass = Some(v1::Mass { milligrams });
        }
        match self.at.or(self.on.map(WhenWord::Day)).map(|at| at.resolve(zone, now)).transpose()? {
            Some(When::At(at)) => change.happened_at = Some(timestamp(at)),
            Some(When::On(on)) => change.happened_on = Some(day(on)),
            None => {}
        }
        match self.ended.map(|at| at.resolve(zone, now)).transpose()? {
            Some(When::At(at)) => change.ended_at = Some(timestamp(at)),
            Some(When::On(on)) => change.ended_on = Some(day(on)),
            None => {}
        }
        Ok(change)
    }
}
