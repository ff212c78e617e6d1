//! `holt animal list`, `holt animal show`

use crate::commands::when;
use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::moment::DayWord;
use crate::session::Session;
use crate::views::Many;
use crate::views::animal::{Animal as View, Shown};
use chrono_tz::Tz;
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;

/// List the animals that a site holds
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt animal list
  holt animal list --in \"Otter pool\"
  holt animal list --on 2026-01-01 --format csv")]
pub(super) struct List {
    /// As of the close of this day [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    /// One species only, by its scientific name
    #[arg(long, value_name = "NAME")]
    species: Option<String>,
    /// One enclosure only
    #[arg(long = "in", value_name = "ENCLOSURE")]
    enclosure: Option<String>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl List {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ListAnimalsRequest {
            site,
            as_of: self.on.map(|on| day(on.resolve(session.today(zone)))),
            taxon: self.species.unwrap_or_default(),
            enclosure: self.enclosure.unwrap_or_default(),
            page: None,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let animals = session.all(ask, usize::MAX).await?;
        errand.show(&Many(animals.into_iter().map(|animal| View::new(animal, zone)).collect()))
    }
}

/// Show one animal
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt animal show Bramble
  holt animal show Bramble --on 2025-12-31 --as-known-at 2026-01-15T12:00Z
  holt animal show QUI-25-0001 --format json")]
pub(super) struct Show {
    /// The animal: house name, accession, transponder, ring or id
    animal: String,
    /// As of the close of this day [default: now]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl Show {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let zones = session.zones().await?;
        let site = errand.site_if_clear().await?;
        let meant = site.as_ref().map_or(Tz::UTC, |site| zones.of(site));
        let ask = v1::GetAnimalRequest {
            site: site.unwrap_or_default(),
            animal: self.animal,
            as_of: self.on.map(|on| day(on.resolve(session.today(meant)))),
            as_known_at: self.as_known_at.instant(meant, session.now())?,
        };
        let animal = find(errand, ask).await?;
        let zone = zones.of(&animal.holder);
        let dam = parent(session, &animal.dam_id).await?;
        let sire = parent(session, &animal.sire_id).await?;
        errand.show(&Shown { animal: View::new(animal, zone), dam, sire })
    }
}

/// The animal in the terms of the site that is meant; failing that, as any site in scope knows it.
async fn find(errand: &Errand<'_>, ask: v1::GetAnimalRequest) -> Result<v1::Animal, Failure> {
    let found = match errand.session.ask(ask.clone()).await {
        Err(failure) if failure.exit == Exit::NotFound && !ask.site.is_empty() => {
            errand.session.ask(v1::GetAnimalRequest { site: String::new(), ..ask }).await
        }
        answer => answer,
    };
    Ok(found?.animal.unwrap_or_default())
}

/// The name of a parent; none where it is not known, or not for the caller to see.
async fn parent(session: &Session, id: &str) -> Result<Option<String>, Failure> {
    if id.is_empty() {
        return Ok(None);
    }
    let ask = v1::GetAnimalRequest { site: String::new(), animal: id.to_owned(), ..Default::default() };
    match session.ask(ask).await {
        Ok(answer) => {
            let parent = answer.animal.unwrap_or_default();
            let name = Some(parent.house_name.as_str()).filter(|name| !name.is_empty());
            Ok(Some(crate::views::spoken(name, &parent.accession)))
        }
        Err(failure) if failure.exit == Exit::NotFound => Ok(None),
        Err(failure) => Err(failure),
    }
}
