//! Groups, and who is in them.

use super::crate_reading::{CrateReading, weighed_together};
use super::row::row;
use super::{Thing, day, instant, some, spoken, spoken_mass, written};
use crate::moment;
use crate::output::{Answer, Page, Table};
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// A group, in short.
#[derive(Clone, Serialize)]
pub(crate) struct Group {
    site: String,
    pub(crate) name: String,
    /// males.females.unknown
    pub(crate) members: String,
    enclosures: Vec<String>,
    note: Option<String>,
    id: String,
}

row! {
    /// A group as a line.
    Row of one: Group {
        name, members, enclosures, note, id,
    }
}

impl From<v1::Group> for Group {
    fn from(group: v1::Group) -> Self {
        Self {
            site: group.site,
            name: group.name,
            members: group.members.unwrap_or_default().to_string(),
            enclosures: group.enclosures,
            note: some(group.note),
            id: group.id,
        }
    }
}

impl Thing for Group {
    const MANY: &'static str = "groups";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(groups: &[Self], page: &mut Page) {
        let mut table = Table::new(["Group", "Members", "Lives in", "Note"]);
        for group in groups {
            table.row([
                group.name.clone(),
                group.members.clone(),
                group.enclosures.join(", "),
                group.note.clone().unwrap_or_default(),
            ]);
        }
        page.table(&table);
        page.remark("Counts are males.females.unknown.");
    }
}

/// A relative within the group.
#[derive(Clone, Serialize)]
struct Relative {
    kin: &'static str,
    accession: String,
    house_name: Option<String>,
    id: String,
}

/// A member on the day.
#[derive(Clone, Serialize)]
struct Member {
    accession: String,
    house_name: Option<String>,
    role: &'static str,
    since: Option<String>,
    sex: &'static str,
    born_on: Option<String>,
    age_days: Option<i32>,
    relatives: Vec<Relative>,
    latest_mass_mg: Option<i64>,
    latest_weighed_at: Option<String>,
    enclosure: Option<String>,
    id: String,
    #[serde(skip)]
    weighed_at: Option<DateTime<Utc>>,
}

/// A group with its members.
#[derive(Serialize)]
pub(crate) struct Roll {
    #[serde(flatten)]
    group: Group,
    roll: Vec<Member>,
    crate_readings: Vec<CrateReading>,
    #[serde(skip)]
    zone: Tz,
}

/// A member as a line.
#[derive(Default, Serialize)]
pub(crate) struct MemberRow {
    group: String,
    accession: String,
    house_name: Option<String>,
    role: &'static str,
    since: Option<String>,
    sex: &'static str,
    born_on: Option<String>,
    age_days: Option<i32>,
    relatives: String,
    latest_mass: Option<String>,
    latest_mass_mg: Option<i64>,
    latest_weighed_at: Option<String>,
    enclosure: Option<String>,
    id: String,
}

impl Relative {
    fn new(relative: v1::Relative) -> Self {
        let kin = relative.kin().word();
        let animal = relative.animal.unwrap_or_default();
        Self { kin, accession: animal.accession, house_name: some(animal.house_name), id: animal.id }
    }

    fn name(&self) -> &str {
        self.house_name.as_deref().unwrap_or(&self.accession)
    }
}

impl Member {
    fn new(member: v1::GroupMember, zone: Tz) -> Self {
        let (role, sex) = (member.role().word(), member.sex().word());
        let animal = member.animal.unwrap_or_default();
        Self {
            accession: animal.accession,
            house_name: some(animal.house_name),
            role,
            since: written(member.since_at, zone),
            sex,
            born_on: day(member.born_on),
            age_days: member.age_days,
            relatives: member.relatives.into_iter().map(Relative::new).collect(),
            latest_mass_mg: member.latest_mass.map(|mass| mass.milligrams),
            latest_weighed_at: written(member.latest_weighed_at, zone),
            enclosure: some(member.enclosure),
            id: animal.id,
            weighed_at: instant(member.latest_weighed_at),
        }
    }

    /// Each kind of kin with who that is: `dam Bramble; sibling Rush, Sedge`.
    fn relatives(&self) -> String {
        let mut kinds: Vec<(&str, Vec<&str>)> = Vec::new();
        for relative in &self.relatives {
            match kinds.iter_mut().find(|(kin, _)| *kin == relative.kin) {
                Some((_, names)) => names.push(relative.name()),
                None => kinds.push((relative.kin, vec![relative.name()])),
            }
        }
        let spoken: Vec<String> =
            kinds.iter().map(|(kin, names)| format!("{kin} {}", names.join(", "))).collect();
        spoken.join("; ")
    }

    /// Days of the young, months of the growing, years of the grown.
    fn age(&self) -> String {
        match self.age_days {
            None => String::new(),
            Some(days) if days < 92 => format!("{days} d"),
            Some(days) if days < 730 => format!("{} mo", days * 12 / 365),
            Some(days) => format!("{} y", days / 365),
        }
    }
}

impl Roll {
    pub(crate) fn new(answer: v1::GetGroupResponse, zone: Tz) -> Self {
        Self {
            group: Group::from(answer.group.unwrap_or_default()),
            roll: answer.members.into_iter().map(|member| Member::new(member, zone)).collect(),
            crate_readings: answer
                .crate_readings
                .into_iter()
                .map(|reading| CrateReading::new(reading, zone))
                .collect(),
            zone,
        }
    }
}

impl Answer for Roll {
    type Row = MemberRow;

    fn rows(&self) -> Vec<MemberRow> {
        let row = |member: &Member| MemberRow {
            group: self.group.name.clone(),
            accession: member.accession.clone(),
            house_name: member.house_name.clone(),
            role: member.role,
            since: member.since.clone(),
            sex: member.sex,
            born_on: member.born_on.clone(),
            age_days: member.age_days,
            relatives: member.relatives(),
            latest_mass: member.latest_mass_mg.map(spoken_mass),
            latest_mass_mg: member.latest_mass_mg,
            latest_weighed_at: member.latest_weighed_at.clone(),
            enclosure: member.enclosure.clone(),
            id: member.id.clone(),
        };
        self.roll.iter().map(row).collect()
    }

    fn page(&self, page: &mut Page) {
        let group = &self.group;
        page.heading(&format!("{}: {} (males.females.unknown)", group.name, group.members));
        let lives = match group.enclosures.as_slice() {
            [] => String::new(),
            places => format!("lives in {}", places.join(", ")),
        };
        for line in [Some(lives).filter(|line| !line.is_empty()), group.note.clone()].into_iter().flatten() {
            page.line(&line);
        }
        page.gap();
        if self.roll.is_empty() {
            page.line("No members.");
            weighed_together(&self.crate_readings, page);
            return;
        }
        let heads = ["Animal", "Role", "Sex", "Age", "Kin here", "Weighed last"];
        let mut table = Table::new(heads).numbers([3]);
        for member in &self.roll {
            let weighed = member
                .latest_mass_mg
                .zip(member.weighed_at)
                .map(|(mg, at)| format!("{}, {}", spoken_mass(mg), moment::today(self.zone, at)));
            table.row([
                spoken(member.house_name.as_deref(), &member.accession),
                member.role.to_owned(),
                member.sex.to_owned(),
                member.age(),
                member.relatives(),
                weighed.unwrap_or_default(),
            ]);
        }
        page.table(&table);
        weighed_together(&self.crate_readings, page);
        page.remark("An age is the least possible age of the animal.");
    }
}
