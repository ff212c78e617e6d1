//! `holt animal sex`, `holt animal died`, `holt animal left`

use crate::commands::when::OnOrAt;
use crate::errand::{Errand, Outcome};
use crate::moment::DayWord;
use crate::session::request_id;
use crate::views::animal::Animal as View;
use crate::views::{CHECKED_ONLY, Told};
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
    let say = if check_only { CHECKED_ONLY.to_owned() } else { say(&thing) };
    errand.show(&Told { thing, say })
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
    /// Day on which it was determined; today, unless given
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
}

impl Sex {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let site = errand.site().await?;
        let zone = session.zone(&site).await?;
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

/// Record the death of an animal
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt animal died Sedge --on yesterday --manner natural --note \"found at dawn\"
  holt animal died Sedge --at \"2026-03-01 06:40\" --manner euthanasia")]
pub(super) struct Died {
    /// The animal
    animal: String,
    #[command(flatten)]
    when: OnOrAt,
    /// How it died
    #[arg(long, value_parser = words::parser::<v1::DeathManner>())]
    manner: v1::DeathManner,
    /// What was seen or found
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
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
        let site = errand.site().await?;
        let zone = session.zone(&site).await?;
        let happened = self.when.resolve(zone, session.now())?;
        let day = happened.on.to_string();
        let ask = v1::RecordDeathRequest {
            request_id: request_id(),
            site,
            animal: self.animal,
            died_on: Some(happened.on),
            died_at: happened.at,
            manner: self.manner.into(),
            note: self.note.unwrap_or_default(),
            version: self.based_on,
            validate_only: self.check_only,
        };
        let animal = session.ask(ask).await?.animal;
        let say = |animal: &View| format!("The death of {} on {day} is on record.", animal.spoken());
        show(animal, zone, self.check_only, say, errand)
    }
}

/// Record that an animal left for somewhere outside Holt (between two sites in Holt: `holt transfer`)
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt animal left Teasel --on today --to collection --to-name \"Fenwater\"
  holt animal left Teasel --at \"2026-03-01 21:15\" --to escape")]
pub(super) struct Left {
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
    /// Refuse if the animal was changed since this version of it
    #[arg(long, value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
    based_on: i64,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Left {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let site = errand.site().await?;
        let zone = session.zone(&site).await?;
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
        };
        let animal = session.ask(ask).await?.animal;
        let say = |animal: &View| format!("{} is off the books since {day}.", animal.spoken());
        show(animal, zone, self.check_only, say, errand)
    }
}
