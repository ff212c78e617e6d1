//! Animals.

use super::mark::Mark;
use super::row::row;
use super::{Thing, day, instant, short, some, spoken, spoken_mass, written};
use crate::moment;
use crate::output::{Answer, Page, Table};
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use holt_proto::v1::Counts;
use serde::Serialize;

/// An animal, in the terms of a site.
#[derive(Clone, Serialize)]
pub(crate) struct Animal {
    pub(crate) accession: String,
    pub(crate) house_name: Option<String>,
    pub(crate) scientific_name: String,
    pub(crate) common_name: String,
    pub(crate) sex: &'static str,
    born_on: Option<String>,
    born_estimated: bool,
    pub(crate) status: &'static str,
    pub(crate) holder: Option<String>,
    pub(crate) enclosure: Option<String>,
    pub(crate) owner: Option<String>,
    held_since: Option<String>,
    pub(crate) went_to: Option<String>,
    mistake: Option<String>,
    death: Option<Death>,
    latest_mass_mg: Option<i64>,
    latest_weighed_at: Option<String>,
    dam_id: Option<String>,
    sire_id: Option<String>,
    accessions: Vec<Accession>,
    pub(crate) marks: Vec<Mark>,
    pub(crate) id: String,
    version: i64,
    /// The synonym by which its species was asked for.
    #[serde(skip)]
    pub(crate) asked_as: Option<String>,
    #[serde(skip)]
    weighed_at: Option<DateTime<Utc>>,
    #[serde(skip)]
    zone: Tz,
}

/// A death, as far as it is known.
#[derive(Clone, Serialize)]
struct Death {
    died_on: Option<String>,
    found_on: Option<String>,
    manner: &'static str,
    note: Option<String>,
    post_mortem: Option<&'static str>,
    post_mortem_result: Option<String>,
    disposal: Option<&'static str>,
    disposal_name: Option<String>,
}

impl From<v1::Death> for Death {
    fn from(death: v1::Death) -> Self {
        let told = |word: &'static str| (!word.is_empty()).then_some(word);
        Self {
            manner: death.manner().word(),
            post_mortem: told(death.post_mortem().word()),
            disposal: told(death.disposal().word()),
            died_on: day(death.died_on),
            found_on: day(death.found_on),
            note: some(death.note),
            post_mortem_result: some(death.post_mortem_result),
            disposal_name: some(death.disposal_name),
        }
    }
}

impl Death {
    /// `died 2026-03, found 2026-03-14; natural`.
    fn spoken(&self) -> String {
        let died = self.died_on.as_deref().unwrap_or("on an unknown day");
        let found = self.found_on.as_ref().map(|day| format!(", found {day}")).unwrap_or_default();
        format!(
            "died {died}{found}; {}",
            if self.manner == "unknown" { "manner not known" } else { self.manner }
        )
    }

    /// What else is told of it.
    fn more(&self) -> Vec<(&'static str, String)> {
        let post_mortem = self.post_mortem.map(|done| match &self.post_mortem_result {
            Some(result) => format!("{done}: {result}"),
            None => done.to_owned(),
        });
        let body = self.disposal.map(|disposal| match &self.disposal_name {
            Some(name) => format!("{disposal} ({name})"),
            None => disposal.to_owned(),
        });
        [("Note", self.note.clone()), ("Post-mortem", post_mortem), ("Carcass", body)]
            .into_iter()
            .filter_map(|(what, text)| Some((what, text?)))
            .collect()
    }
}

/// A number at one site.
#[derive(Clone, Serialize)]
struct Accession {
    site: String,
    number: String,
}

row! {
    /// An animal as a line.
    Row of one: Animal {
        accession, house_name, scientific_name, common_name, sex, born_on, born_estimated, status, holder,
        enclosure, owner, held_since, went_to, mistake, latest_mass: one.spoken_mass(), latest_mass_mg, latest_weighed_at,
        marks: one.marks.iter().map(Mark::spoken).collect::<Vec<_>>(), id,
    }
}

impl Animal {
    pub(crate) fn new(animal: v1::Animal, zone: Tz) -> Self {
        let (sex, status) = (animal.sex().word(), animal.status().word());
        let taxon = animal.taxon.unwrap_or_default();
        let accessions = animal.accessions.into_iter();
        Self {
            asked_as: some(taxon.asked_as),
            accession: animal.accession,
            house_name: some(animal.house_name),
            scientific_name: taxon.scientific_name,
            common_name: taxon.common_name,
            sex,
            born_on: day(animal.born_on),
            born_estimated: animal.born_estimated,
            status,
            holder: some(animal.holder),
            enclosure: some(animal.enclosure),
            owner: some(animal.owner),
            held_since: day(animal.held_since),
            went_to: some(animal.went_to),
            mistake: some(animal.mistake),
            death: animal.death.map(Death::from),
            latest_mass_mg: animal.latest_mass.map(|mass| mass.milligrams),
            latest_weighed_at: written(animal.latest_weighed_at, zone),
            dam_id: some(animal.dam_id),
            sire_id: some(animal.sire_id),
            accessions: accessions.map(|one| Accession { site: one.site, number: one.number }).collect(),
            marks: animal.marks.into_iter().map(|mark| Mark::new(mark, zone)).collect(),
            id: animal.id,
            version: animal.version,
            weighed_at: instant(animal.latest_weighed_at),
            zone,
        }
    }

    /// `Bramble (QUI-25-0001)`.
    pub(crate) fn spoken(&self) -> String {
        spoken(self.house_name.as_deref(), &self.accession)
    }

    /// What is known of its body, in a few words.
    pub(crate) fn examined(&self) -> String {
        let told = self.death.iter().flat_map(Death::more).filter(|(what, _)| *what != "Note");
        told.map(|(what, text)| format!("{} {text}", what.to_lowercase())).collect::<Vec<_>>().join("; ")
    }

    fn spoken_mass(&self) -> Option<String> {
        self.latest_mass_mg.map(spoken_mass)
    }

    pub(crate) fn standing(&self) -> String {
        let to = self.went_to.as_ref().map(|to| format!(" to {to}")).unwrap_or_default();
        match (self.status, &self.holder) {
            ("held", Some(holder)) => {
                let since = self.held_since.as_ref().map(|day| format!(" since {day}")).unwrap_or_default();
                let place = self.enclosure.as_ref().map(|place| format!(", lives in {place}"));
                format!("held by {holder}{since}{}", place.unwrap_or_default())
            }
            ("moved-on" | "departed", _) => format!("left{to}"),
            ("at-large", _) => "escaped, not found again".to_owned(),
            ("entered-by-mistake", _) => {
                format!("entered by mistake, in no count: {}", self.mistake.as_deref().unwrap_or_default())
            }
            ("dead", _) => self.death.as_ref().map_or_else(|| "dead".to_owned(), Death::spoken),
            (status, _) => status.to_owned(),
        }
    }
}

impl Thing for Animal {
    const MANY: &'static str = "animals";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(animals: &[Self], page: &mut Page) {
        let mut table =
            Table::new(["Accession", "Name", "Species", "Sex", "Born", "Enclosure", "Weighed last"]);
        for animal in animals {
            let weighed = animal.weighed_at.map(|at| at.with_timezone(&animal.zone).format("%F").to_string());
            let weighed = animal.spoken_mass().zip(weighed).map(|(mass, day)| format!("{mass}, {day}"));
            table.row([
                animal.accession.clone(),
                animal.house_name.clone().unwrap_or_default(),
                animal.common_name.clone(),
                animal.sex.to_owned(),
                animal.born_on.clone().unwrap_or_default(),
                animal.enclosure.clone().unwrap_or_default(),
                weighed.unwrap_or_default(),
            ]);
        }
        page.table(&table);
        let of = |sex: &str| animals.iter().filter(|animal| animal.sex == sex).count();
        let number = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
        let counts = Counts {
            males: number(of("male")),
            females: number(of("female")),
            unknown: number(of("unknown")),
        };
        page.remark(&format!("{counts} (males.females.unknown)"));
        if let Some((name, animal)) = animals.iter().find_map(|one| Some((one.asked_as.as_deref()?, one))) {
            page.remark(&super::species::synonym(name, &animal.scientific_name));
        }
    }
}

/// An animal that a site owns and does not hold: it is where it is that is asked for.
#[derive(Clone, Serialize)]
#[serde(transparent)]
pub(crate) struct Elsewhere(pub(crate) Animal);

impl Thing for Elsewhere {
    const MANY: &'static str = "animals";
    type Row = Row;

    fn row(&self) -> Row {
        self.0.row()
    }

    fn table(animals: &[Self], page: &mut Page) {
        let mut table = Table::new(["Accession", "Name", "Species", "Sex", "Born", "Where"]);
        for Self(animal) in animals {
            table.row([
                animal.accession.clone(),
                animal.house_name.clone().unwrap_or_default(),
                animal.common_name.clone(),
                animal.sex.to_owned(),
                animal.born_on.clone().unwrap_or_default(),
                animal.standing(),
            ]);
        }
        page.table(&table);
    }
}

/// All that is told of one animal.
#[derive(Serialize)]
pub(crate) struct Shown {
    #[serde(flatten)]
    pub(crate) animal: Animal,
    /// Names of its parents, where they may be seen.
    #[serde(skip)]
    pub(crate) dam: Option<String>,
    #[serde(skip)]
    pub(crate) sire: Option<String>,
}

impl Answer for Shown {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        vec![self.animal.row()]
    }

    fn page(&self, page: &mut Page) {
        let animal = &self.animal;
        page.heading(&animal.spoken());
        let born = match (&animal.born_on, animal.born_estimated) {
            (Some(day), true) => format!(", born {day} (estimated)"),
            (Some(day), false) => format!(", born {day}"),
            (None, _) => String::new(),
        };
        let species = format!("{}, {}", animal.scientific_name, animal.common_name);
        page.line(&format!("{species}; {}{born}", sexed(animal.sex)));
        page.gap();
        let mut table = Table::new(["", ""]);
        table.row(["Status".to_owned(), animal.standing()]);
        if let Some(death) = &animal.death {
            for (what, text) in death.more() {
                table.row([what.to_owned(), text]);
            }
        }
        if let Some(owner) = &animal.owner {
            table.row(["Owner".to_owned(), owner.clone()]);
        }
        let weight = match (animal.spoken_mass(), animal.weighed_at) {
            (Some(mass), Some(at)) => format!("{mass} at {}", moment::spoken(at, animal.zone)),
            _ => "not recorded".to_owned(),
        };
        table.row(["Weight".to_owned(), weight]);
        for (what, name, id) in [("Dam", &self.dam, &animal.dam_id), ("Sire", &self.sire, &animal.sire_id)] {
            let known = name.clone().or_else(|| id.as_ref().map(|id| format!("recorded (id {})", short(id))));
            table.row([what.to_owned(), known.unwrap_or_else(|| "not known".to_owned())]);
        }
        for (n, mark) in animal.marks.iter().enumerate() {
            let what = if n == 0 { "Marks" } else { "" };
            table.row([what.to_owned(), format!("{} [{}]", mark.spoken(), short(&mark.id))]);
        }
        let numbers = animal.accessions.iter().map(|one| one.number.as_str()).collect::<Vec<_>>();
        table.row(["Accessions".to_owned(), numbers.join(", ")]);
        table.row(["Id".to_owned(), animal.id.clone()]);
        page.table(&table);
    }
}

fn sexed(sex: &str) -> String {
    if sex == "unknown" { "sex unknown".to_owned() } else { sex.to_owned() }
}
