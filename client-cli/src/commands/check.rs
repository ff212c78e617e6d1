//! `holt check`

use super::when;
use crate::errand::{Errand, Outcome, id_part, nothing_of, the_one};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::moment::DayWord;
use crate::rhythm::Every;
use crate::session::request_id;
use crate::views::check::Check as View;
use crate::views::coverage::Coverage as CoverageView;
use crate::views::{Many, Told};
use crate::words;
use clap::{Args, Subcommand};
use holt_proto::time::day;
use holt_proto::v1;
use holt_proto::v1::check_scope::Of;

/// Checks: recurring tasks, and whether they were done
#[derive(Args, Debug)]
pub(crate) struct Check {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Add(Add),
    End(End),
    Coverage(Coverage),
    List(List),
}

/// List the checks of a site
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt check list")]
struct List {
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

/// Set up a check
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt check add weigh --all --every week --on mon --grace 2
  holt check add assess --species \"Lontra canadensis\" --every month --on 1
  holt check add weigh --animal Pip --every day --by \"the nursery\"
  holt check add weigh --group \"Weir family\" --every week --on thu
  holt check add weigh --in \"Night house\" --rule \"FREQ=MONTHLY;BYDAY=1MO\"")]
struct Add {
    /// The task
    #[arg(value_parser = words::parser::<v1::Duty>())]
    duty: v1::Duty,
    #[command(flatten)]
    scope: Scope,
    /// How often: day, week, month, "2 weeks"
    #[arg(long, value_name = "RHYTHM", required_unless_present = "rule")]
    every: Option<Every>,
    /// Days: mon,thu of a week; 1 to 28 or last of a month
    #[arg(long, value_name = "DAYS", requires = "every")]
    on: Option<String>,
    /// How often, as a recurrence rule of RFC 5545
    #[arg(long, value_name = "RRULE", conflicts_with = "every")]
    rule: Option<String>,
    /// Days of grace: done within them is done in time
    #[arg(long, value_name = "DAYS", default_value_t = 0, value_parser = clap::value_parser!(i32).range(0..=366))]
    grace: i32,
    /// Day on which it begins [default: today]
    #[arg(long, value_name = "DAY")]
    starts: Option<DayWord>,
    /// Who does it: a team, a role, a name
    #[arg(long = "by", value_name = "WHO")]
    by_whom: Option<String>,
    /// Remark
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
}

/// Whom a check is for.
#[derive(Args, Debug)]
#[group(required = true, multiple = false)]
struct Scope {
    /// For one animal
    #[arg(long, value_name = "ANIMAL")]
    animal: Option<String>,
    /// For every animal of a species that the site holds
    #[arg(long, value_name = "NAME")]
    species: Option<String>,
    /// For every animal that lives in an enclosure
    #[arg(long = "in", value_name = "ENCLOSURE")]
    enclosure: Option<String>,
    /// For every member of a group
    #[arg(long, value_name = "GROUP")]
    group: Option<String>,
    /// For every animal that the site holds
    #[arg(long)]
    all: bool,
}

/// End a check; what was due before stays due
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt check end 0000002a --on 2026-03-31 --because \"grown up\"")]
struct End {
    /// The check: its id, or the beginning or end of it
    #[arg(value_name = "ID", value_parser = id_part)]
    id: String,
    /// Last day on which it can fall due [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
}

/// Show how many checks were done in a period: in time, late, missed, open
#[derive(Args, Debug)]
#[command(after_help = "\
Each check counts under the day on which it was due, whenever it was done. What was done after --as-of does \
not count yet.

Examples:
  holt check coverage --from 2026-01-01
  holt check coverage --from 2025-01-01 --to 2025-12-31 --as-of 2025-12-31
  holt check coverage --from 2026-02-01 --duty weigh --format csv")]
struct Coverage {
    /// First due day that counts
    #[arg(long, value_name = "DAY")]
    from: DayWord,
    /// Last due day that counts [default: today]
    #[arg(long, value_name = "DAY")]
    to: Option<DayWord>,
    /// As it stood at the end of this day [default: today]
    #[arg(long, value_name = "DAY")]
    as_of: Option<DayWord>,
    /// One duty only
    #[arg(long, value_parser = words::parser::<v1::Duty>())]
    duty: Option<v1::Duty>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
    /// Exit with 10 if any was late or missed
    #[arg(long)]
    ask: bool,
}

impl Check {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        match self.what {
            What::Add(add) => add.run(site, errand).await,
            What::End(end) => end.run(site, errand).await,
            What::Coverage(coverage) => coverage.run(site, errand).await,
            What::List(list) => list.run(site, errand).await,
        }
    }
}

impl List {
    async fn run(self, site: String, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let as_known_at = self.as_known_at.instant(session.zone(&site).await?, session.now())?;
        let checks = session.ask(v1::ListChecksRequest { site, as_known_at }).await?.checks;
        errand.show(&Many(checks.into_iter().map(View::from).collect()))
    }
}

impl Add {
    fn recurrence(&self) -> Result<String, Failure> {
        match (self.every, &self.rule) {
            (Some(every), _) => {
                every.rule(self.on.as_deref()).map_err(|error| Failure::argument("--on", &error.to_string()))
            }
            (None, rule) => Ok(rule.clone().unwrap_or_default()),
        }
    }

    async fn run(self, site: String, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let recurrence = self.recurrence()?;
        let starts_on = match self.starts {
            None => None,
            Some(starts) => Some(day(starts.resolve(session.today(session.zone(&site).await?)))),
        };
        let Scope { animal, species, enclosure, group, all } = self.scope;
        let scope = animal
            .map(Of::Animal)
            .or(species.map(Of::Taxon))
            .or(enclosure.map(Of::Enclosure))
            .or(group.map(Of::Group))
            .unwrap_or(Of::WholeSite(all));
        let ask = v1::CreateCheckRequest {
            request_id: request_id(),
            site,
            duty: self.duty.into(),
            scope: Some(v1::CheckScope { of: Some(scope) }),
            recurrence,
            starts_on,
            grace_days: self.grace,
            by_whom: self.by_whom.unwrap_or_default(),
            note: self.note.unwrap_or_default(),
        };
        let thing = View::from(session.ask(ask).await?.check.unwrap_or_default());
        let say = format!("{}: {}, {}.", thing.duty, thing.spoken_scope(), thing.spoken_rhythm());
        errand.show(&Told { thing, say })
    }
}

impl Coverage {
    async fn run(self, site: String, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let zone = session.zone(&site).await?;
        let today = session.today(zone);
        let ask = v1::GetCheckCoverageRequest {
            site: site.clone(),
            days: when::span(Some(self.from), self.to, today)?,
            as_of: self.as_of.map(|on| day(on.resolve(today))),
            duty: self.duty.unwrap_or_default().into(),
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let told = CoverageView::new(site, session.ask(ask).await?);
        errand.show(&told)?;
        Ok(if self.ask && told.is_short() { Exit::No } else { Exit::Done })
    }
}

impl End {
    async fn run(self, site: String, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let checks =
            session.ask(v1::ListChecksRequest { site: site.clone(), as_known_at: None }).await?.checks;
        let check = the_one("check", &self.id, &checks, |check| &check.id)?
            .ok_or_else(|| nothing_of("check", &self.id, "holt check list"))?;
        let today = session.today(session.zone(&site).await?);
        let ask = v1::EndCheckRequest {
            request_id: request_id(),
            site,
            check_id: check.id.clone(),
            ends_on: Some(day(self.on.map_or(today, |on| on.resolve(today)))),
            why: self.because,
        };
        let ended = session.ask(ask).await?.check.unwrap_or_default();
        let last = ended.ends_on.map(|day| day.to_string()).unwrap_or_default();
        let thing = View::from(ended);
        let say = format!(
            "{} of {} ends; {last} is the last day on which it can fall due.",
            thing.duty,
            thing.spoken_scope()
        );
        errand.show(&Told { thing, say })
    }
}
