//! `holt animal sex`, `holt animal died`, `holt animal post-mortem`, `holt animal departed`

use super::register::part_of_day;
use crate::commands::loan::Terms;
use crate::commands::paper::{paper, still_missing};
use crate::commands::when::OnOrAt;
use crate::errand::{Errand, Outcome};
use crate::moment::{DayWord, WhenWord};
use crate::session::request_id;
use crate::views::Told;
use crate::views::animal::Animal as View;
use crate::words;
use chrono_tz::Tz;
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;

/// Shows an animal after something was recorded of it.
fn show(
    animal: Option<v1::Animal>,
    zone: Tz,
    check_only: bool,
    say: impl Fn(&View) -> String,
    errand: &mut Errand<'_>,
) -> Outcome {
    let thing = View::new(animal.unwrap_or_default(), zone);
    errand.show(&Told::new(thing, check_only, say))
}

/// Record the sex of an animal from a day on
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt animal sex Pip female
  holt animal sex QUI-26-0003 male --on 2026-03-01")]
pub(super) struct Sex {
    /// The animal
    animal: String,
    /// Its sex
    #[arg(value_parser = words::parser::<v1::Sex>())]
    sex: v1::Sex,
    /// Day on which it was determined [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
}

impl Sex {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::RecordSexRequest {
            request_id: request_id(),
            site,
            animal: self.animal,
            sex: self.sex.into(),
            determined_on: self.on.map(|on| day(on.resolve(session.today(zone)))),
        };
        let animal = session.ask(ask).await?.animal;
        show(animal, zone, false, |animal| format!("{}: {}.", animal.spoken(), animal.sex), errand)
    }
}

/// What became of a body.
#[derive(Args, Debug)]
struct Body {
    /// Whether a post-mortem was done
    #[arg(long, value_parser = words::parser::<v1::PostMortem>())]
    post_mortem: Option<v1::PostMortem>,
    /// What the post-mortem found
    #[arg(long, value_name = "TEXT", requires = "post_mortem")]
    result: Option<String>,
    /// Disposal of the carcass
    #[arg(long, value_parser = words::parser::<v1::Disposal>())]
    body: Option<v1::Disposal>,
    /// Museum, collection or place that has the carcass
    #[arg(long, value_name = "NAME", requires = "body")]
    body_name: Option<String>,
}

/// Record the death of an animal
#[derive(Args, Debug)]
#[command(after_help = "\
If the exact day of death is not known, the animal leaves the stock on the day it was found.

Examples:
  holt animal died Sedge --on yesterday --manner natural --note \"found at dawn\"
  holt animal died Sedge --at \"2026-03-01 06:40\" --manner euthanasia \\
    --post-mortem asked-for
  holt animal died Teasel --in 2026-02 --found 2026-03-01 --manner unknown \\
    --post-mortem not-done --body buried
  holt animal died Teasel --found 2026-03-01 --manner unknown")]
pub(super) struct Died {
    /// The animal
    animal: String,
    /// Day on which it died, if the time is not known
    #[arg(long, value_name = "DAY", conflicts_with_all = ["at", "part"])]
    on: Option<DayWord>,
    /// Time at which it died
    #[arg(long, value_name = "TIME", conflicts_with = "part")]
    at: Option<WhenWord>,
    /// Month or year in which it died, if the day is not known: 2026-02, 2025
    #[arg(long = "in", id = "part", value_name = "PART", value_parser = part_of_day)]
    part: Option<v1::Day>,
    /// Day on which it was found dead
    #[arg(long, value_name = "DAY", required_unless_present_any = ["on", "at"])]
    found: Option<DayWord>,
    /// How it died
    #[arg(long, value_parser = words::parser::<v1::DeathManner>())]
    manner: v1::DeathManner,
    /// What was seen or found
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    #[command(flatten)]
    body: Body,
    /// Refuse if the animal was changed since this version of it
    #[arg(long, value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
    based_on: i64,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Died {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let known = self.on.is_some() || self.at.is_some();
        let happened = OnOrAt::new(self.on, self.at).resolve(zone, session.now())?;
        let died_on = if known { Some(happened.on) } else { self.part };
        let ask = v1::RecordDeathRequest {
            request_id: request_id(),
            site,
            animal: self.animal,
            died_on,
            died_at: happened.at,
            manner: self.manner.into(),
            note: self.note.unwrap_or_default(),
            version: self.based_on,
            validate_only: self.check_only,
            found_on: self.found.map(|found| day(found.resolve(session.today(zone)))),
            post_mortem: self.body.post_mortem.unwrap_or_default().into(),
            post_mortem_result: self.body.result.unwrap_or_default(),
            disposal: self.body.body.unwrap_or_default().into(),
            disposal_name: self.body.body_name.unwrap_or_default(),
        };
        let animal = session.ask(ask).await?.animal;
        let say = |animal: &View| match died_on {
            Some(day) => format!("Recorded the death of {} on {day}.", animal.spoken()),
            None => format!("Recorded the death of {}; its day is not known.", animal.spoken()),
        };
        show(animal, zone, self.check_only, say, errand)
    }
}

/// Add the post-mortem, or the disposal of the carcass, to a recorded death
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt animal post-mortem Sedge --post-mortem done --result \"no cause found\" \\
    --because \"report 26/118 came in\"
  holt animal post-mortem Sedge --body collection --body-name \"Quill Museum\" \\
    --because \"skull asked for\"")]
pub(super) struct PostMortem {
    /// The animal
    animal: String,
    #[command(flatten)]
    body: Body,
    /// Why the record of the death changes
    #[arg(long, value_name = "TEXT")]
    because: String,
    /// Refuse if the animal was changed since this version of it
    #[arg(long, value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
    based_on: i64,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl PostMortem {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::RecordPostMortemRequest {
            request_id: request_id(),
            site,
            animal: self.animal,
            post_mortem: self.body.post_mortem.unwrap_or_default().into(),
            post_mortem_result: self.body.result.unwrap_or_default(),
            disposal: self.body.body.unwrap_or_default().into(),
            disposal_name: self.body.body_name.unwrap_or_default(),
            because: self.because,
            version: self.based_on,
            validate_only: self.check_only,
        };
        let animal = session.ask(ask).await?.animal;
        let say = |animal: &View| format!("{}: {}.", animal.spoken(), animal.examined());
        show(animal, zone, self.check_only, say, errand)
    }
}

/// Record that an animal departed to somewhere outside Holt (between two sites in Holt: `holt transfer`)
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt animal departed Teasel --on today --to collection --to-name \"Fenwater\"
  holt animal departed Teasel --at \"2026-03-01 21:15\" --to escape
  holt animal departed Teasel --on today --to collection --to-name \"Fenwater\" \\
    --on-loan --loan-until 2026-12-31")]
pub(super) struct Departed {
    /// The animal
    animal: String,
    #[command(flatten)]
    when: OnOrAt,
    /// Where it went
    #[arg(long, value_parser = words::parser::<v1::DepartureDestination>())]
    to: v1::DepartureDestination,
    /// Name of the collection, place or person
    #[arg(long, value_name = "NAME")]
    to_name: Option<String>,
    /// Country it went to: two letters of ISO 3166-1
    #[arg(long, value_name = "COUNTRY")]
    to_country: Option<String>,
    /// Paper that went with it, such as kind=health-certificate,number=26/118; may be given several times
    #[arg(long = "paper", value_name = "KEY=VALUE,...", value_parser = paper)]
    papers: Vec<v1::PaperContent>,
    #[command(flatten)]
    loan: Terms,
    /// Refuse if the animal was changed since this version of it
    #[arg(long, value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
    based_on: i64,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Departed {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let happened = self.when.resolve(zone, session.now())?;
        let day = happened.on.to_string();
        let ask = v1::RecordDepartureRequest {
            request_id: request_id(),
            site,
            animal: self.animal,
            departed_on: Some(happened.on),
            departed_at: happened.at,
            destination: self.to.into(),
            destination_name: self.to_name.unwrap_or_default(),
            version: self.based_on,
            validate_only: self.check_only,
            destination_country: self.to_country.unwrap_or_default(),
            papers: self.papers,
            loan: self.loan.wire(session.today(zone)),
        };
        let answer = session.ask(ask).await?;
        let missing = still_missing(&answer.missing_papers, &answer.caution);
        let say = |animal: &View| {
            let say = format!("{} has been out of the stock since {day}.", animal.spoken());
            [vec![say], missing.clone()].concat().join("\n")
        };
        show(answer.animal, zone, self.check_only, say, errand)
    }
}
