//! `holt animal born`, `holt animal arrived`

use crate::commands::loan::Terms;
use crate::commands::paper::{paper, still_missing};
use crate::commands::when::OnOrAt;
use crate::errand::{Errand, Outcome};
use crate::moment::DayWord;
use crate::session::request_id;
use crate::views::Told;
use crate::views::animal::Animal as View;
use crate::views::species::synonym;
use crate::words::{self, Word};
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;

/// What identifies an animal from its first day on the books.
#[derive(Args, Clone, Debug)]
pub(crate) struct Marks {
    /// House name
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
    /// Mark on it, such as transponder=985112000123456; may be given several times
    #[arg(long = "mark", value_name = "KIND=CODE", value_parser = mark)]
    marks: Vec<v1::NewMark>,
}

/// What is known of an animal that comes onto the books.
#[derive(Args, Clone, Debug)]
struct Known {
    /// Scientific name of its species
    species: String,
    /// Its sex
    #[arg(long, value_parser = words::parser::<v1::Sex>())]
    sex: v1::Sex,
    #[command(flatten)]
    marks: Marks,
    /// Its dam
    #[arg(long, value_name = "ANIMAL")]
    dam: Option<String>,
    /// Its sire
    #[arg(long, value_name = "ANIMAL")]
    sire: Option<String>,
    /// Why these parents are right although they do not fit the records
    #[arg(long, value_name = "TEXT")]
    parents_because: Option<String>,
    /// Enclosure it lives in
    #[arg(long = "in", value_name = "ENCLOSURE")]
    enclosure: Option<String>,
    /// Who owns it: the code of a site or a name [default: this site]
    #[arg(long, value_name = "OWNER")]
    owner: Option<String>,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

/// Reads `ring=AB 12`.
fn mark(text: &str) -> Result<v1::NewMark, String> {
    let kinds = || v1::MarkKind::ALL.iter().map(|(word, _)| *word).collect::<Vec<_>>().join(", ");
    let (kind, code) =
        text.split_once('=').ok_or_else(|| "write KIND=CODE, such as `ring=AB 12`".to_owned())?;
    let kind = v1::MarkKind::of(kind)
        .ok_or_else(|| format!("`{kind}` is not a kind of mark; write one of {}", kinds()))?;
    Ok(v1::NewMark { kind: kind.into(), code: code.to_owned(), place_on_body: String::new() })
}

impl Marks {
    pub(crate) fn wire(&self) -> Vec<v1::NewMark> {
        let name = self.name.iter().map(|name| v1::NewMark {
            kind: v1::MarkKind::HouseName.into(),
            code: name.clone(),
            place_on_body: String::new(),
        });
        name.chain(self.marks.iter().cloned()).collect()
    }
}

impl Known {
    fn show(
        &self,
        animal: Option<v1::Animal>,
        missing: &[String],
        zone: chrono_tz::Tz,
        errand: &mut Errand<'_>,
    ) -> Outcome {
        let thing = View::new(animal.unwrap_or_default(), zone);
        let mut told = Told::new(thing, self.check_only, |thing| {
            let synonym = thing.asked_as.as_deref().map(|name| synonym(name, &thing.scientific_name));
            let synonym = synonym.map(|say| format!(" {say}")).unwrap_or_default();
            format!("Registered {}: {}, {}.{synonym}", thing.spoken(), thing.scientific_name, thing.sex)
        });
        told.say = [&[told.say], missing].concat().join("\n");
        errand.show(&told)
    }
}

/// Register an animal that was born at the site
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt animal born \"Lontra canadensis\" --on today --sex unknown --dam Sedge
  holt animal born \"Lontra canadensis\" --on 2026-03-01 --sex female --name Pip \\
    --dam Sedge --sire Bramble --in \"Night house\"")]
pub(super) struct Born {
    #[command(flatten)]
    known: Known,
    /// Day of birth, or the day on which it was first seen
    #[arg(long, value_name = "DAY")]
    on: DayWord,
}

impl Born {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let known = self.known;
        let ask = v1::RegisterBirthRequest {
            request_id: request_id(),
            site,
            taxon: known.species.clone(),
            born_on: Some(day(self.on.resolve(session.today(zone)))),
            sex: known.sex.into(),
            dam: known.dam.clone().unwrap_or_default(),
            sire: known.sire.clone().unwrap_or_default(),
            parents_because: known.parents_because.clone().unwrap_or_default(),
            marks: known.marks.wire(),
            enclosure: known.enclosure.clone().unwrap_or_default(),
            owner: known.owner.clone().unwrap_or_default(),
            validate_only: known.check_only,
        };
        let animal = session.ask(ask).await?.animal;
        known.show(animal, &[], zone, errand)
    }
}

/// Register an animal that came from outside Holt (between two sites in Holt: `holt transfer`)
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt animal arrived \"Lontra canadensis\" --on 2026-02-27 --from collection \\
    --from-name Fenwater --sex female --born 2021-05 --name Bramble \\
    --mark transponder=985112000123456
  holt animal arrived \"Lontra canadensis\" --at \"2026-02-27 16:20\" \\
    --from rescue --sex unknown --born 2025 --estimated
  holt animal arrived \"Aonyx cinereus\" --on 2026-02-27 --from collection \\
    --from-country DE --sex male \\
    --paper kind=cites-export-permit,number=DE-17,cites=I,source=C
  holt animal arrived \"Lontra canadensis\" --on 2026-02-27 --from collection \\
    --sex female --owner \"Fenwater Collection\" --on-loan --loan-until 2027-02-28")]
pub(super) struct Arrived {
    #[command(flatten)]
    known: Known,
    #[command(flatten)]
    when: OnOrAt,
    /// Where it came from
    #[arg(long, value_parser = words::parser::<v1::ArrivalSource>())]
    from: v1::ArrivalSource,
    /// Name of the collection, place or person it came from
    #[arg(long, value_name = "NAME")]
    from_name: Option<String>,
    /// Country it came from: two letters of ISO 3166-1
    #[arg(long, value_name = "COUNTRY")]
    from_country: Option<String>,
    /// Paper that came with it, such as kind=cites-export-permit,number=DE-17; may be given several times
    #[arg(long = "paper", value_name = "KEY=VALUE,...", value_parser = paper)]
    papers: Vec<v1::PaperContent>,
    #[command(flatten)]
    loan: Terms,
    /// Day of birth, or as much of it as is known: 2021, 2021-05
    #[arg(long, value_name = "DAY", value_parser = part_of_day)]
    born: Option<v1::Day>,
    /// The day of birth is an estimate
    #[arg(long, requires = "born")]
    estimated: bool,
}

/// Reads a day, or as much of one as is known.
pub(super) fn part_of_day(text: &str) -> Result<v1::Day, String> {
    text.parse().map_err(|_| "write a year, a month or a day: 2021, 2021-05, 2021-05-17".to_owned())
}

impl Arrived {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let happened = self.when.resolve(zone, session.now())?;
        let known = self.known;
        let ask = v1::RegisterArrivalRequest {
            request_id: request_id(),
            site,
            taxon: known.species.clone(),
            arrived_on: Some(happened.on),
            arrived_at: happened.at,
            source: self.from.into(),
            source_name: self.from_name.unwrap_or_default(),
            sex: known.sex.into(),
            born_on: self.born,
            born_estimated: self.estimated,
            dam: known.dam.clone().unwrap_or_default(),
            sire: known.sire.clone().unwrap_or_default(),
            parents_because: known.parents_because.clone().unwrap_or_default(),
            marks: known.marks.wire(),
            enclosure: known.enclosure.clone().unwrap_or_default(),
            owner: known.owner.clone().unwrap_or_default(),
            validate_only: known.check_only,
            source_country: self.from_country.unwrap_or_default(),
            papers: self.papers,
            loan: self.loan.wire(session.today(zone)),
        };
        let answer = session.ask(ask).await?;
        let missing = still_missing(&answer.missing_papers, &answer.caution);
        known.show(answer.animal, &missing, zone, errand)
    }
}
