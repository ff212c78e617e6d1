//! Animals and groups that were not assessed in time.

use super::{count, day, some};
use crate::output::{Answer, Page, Table, Tone};
use holt_proto::v1;
use serde::Serialize;

/// An animal that was not assessed in time.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Animal {
    accession: String,
    house_name: Option<String>,
    enclosure: Option<String>,
    /// None where never in the time looked at.
    last_assessed_on: Option<String>,
    overdue_since: Option<String>,
    animal_id: String,
}

/// A group of which somebody was not assessed in time.
#[derive(Clone, Serialize)]
struct Group {
    name: String,
    members: i32,
    assessed: i32,
    id: String,
}

/// Animals and groups that were not assessed in time.
#[derive(Serialize)]
pub(crate) struct Unassessed {
    site: String,
    as_of: Option<String>,
    within_days: i32,
    held: i32,
    animals: Vec<Animal>,
    groups: Vec<Group>,
}

impl Unassessed {
    pub(crate) fn new(site: String, answer: v1::ListUnassessedResponse) -> Self {
        let animals = answer.animals.into_iter().map(|one| {
            let animal = one.animal.unwrap_or_default();
            Animal {
                accession: animal.accession,
                house_name: some(animal.house_name),
                enclosure: some(one.enclosure),
                last_assessed_on: day(one.last_assessed_on),
                overdue_since: day(one.due_on),
                animal_id: animal.id,
            }
        });
        let groups = answer.groups.into_iter().map(|group| Group {
            name: group.name,
            members: group.members,
            assessed: group.assessed,
            id: group.id,
        });
        Self {
            site,
            as_of: day(answer.as_of),
            within_days: answer.within_days,
            held: answer.held,
            animals: animals.collect(),
            groups: groups.collect(),
        }
    }

    pub(crate) fn any(&self) -> bool {
        !self.animals.is_empty()
    }
}

impl Answer for Unassessed {
    type Row = Animal;

    fn rows(&self) -> Vec<Animal> {
        self.animals.clone()
    }

    fn page(&self, page: &mut Page) {
        let on = self.as_of.as_deref().unwrap_or_default();
        let held = count(usize::try_from(self.held).unwrap_or_default(), "animal", "animals");
        if self.animals.is_empty() {
            page.line(&format!(
                "All of {held} at {} were assessed within {} days of {on}, or arrived later.",
                self.site, self.within_days
            ));
            return;
        }
        let mut table = Table::new(["Animal", "Name", "Enclosure", "Last assessed", "Overdue since"]);
        for one in &self.animals {
            table.toned([
                (Tone::Calm, one.accession.clone()),
                (Tone::Calm, one.house_name.clone().unwrap_or_default()),
                (Tone::Calm, one.enclosure.clone().unwrap_or_default()),
                (Tone::Warning, one.last_assessed_on.clone().unwrap_or_else(|| "never".to_owned())),
                (Tone::Alarm, one.overdue_since.clone().unwrap_or_default()),
            ]);
        }
        page.table(&table);
        if !self.groups.is_empty() {
            page.gap();
            let mut table = Table::new(["Group", "Members", "Assessed"]).numbers([1, 2]);
            for group in &self.groups {
                table.row([group.name.clone(), group.members.to_string(), group.assessed.to_string()]);
            }
            page.table(&table);
        }
        page.remark(&format!(
            "{} of {held} at {} not assessed within {} days of {on}, or overdue by a check.",
            self.animals.len(),
            self.site,
            self.within_days
        ));
    }
}
