//! What is due.

use super::{about, count, day, some, spoken_mass};
use crate::output::{Answer, Page, Table, Tone};
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// Something that is due for one animal.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Item {
    state: &'static str,
    duty: &'static str,
    accession: String,
    house_name: Option<String>,
    enclosure: Option<String>,
    due_on: Option<String>,
    days_late: i32,
    open_dues: i32,
    last_done_on: Option<String>,
    declined_on: Option<String>,
    by_whom: Option<String>,
    /// Of a reading that waits: what the scale showed, and least and most that is expected.
    waiting_mg: Option<i64>,
    low_mg: Option<i64>,
    high_mg: Option<i64>,
    recorded_by: Option<String>,
    animal_id: String,
    check_id: String,
}

impl From<v1::DueItem> for Item {
    fn from(item: v1::DueItem) -> Self {
        let mg = |mass: Option<v1::Mass>| mass.map(|mass| mass.milligrams);
        let forecast = item.waiting.as_ref().and_then(|waiting| waiting.forecast);
        Self {
            state: item.state().word(),
            duty: item.duty().word(),
            accession: item.accession,
            house_name: some(item.house_name),
            enclosure: some(item.enclosure),
            due_on: day(item.due_on),
            days_late: item.days_late,
            open_dues: item.open_dues,
            last_done_on: day(item.last_done_on),
            declined_on: day(item.tried_on),
            by_whom: some(item.by_whom),
            waiting_mg: item.waiting.as_ref().and_then(|waiting| mg(waiting.mass)),
            low_mg: forecast.and_then(|forecast| mg(forecast.low)),
            high_mg: forecast.and_then(|forecast| mg(forecast.high)),
            recorded_by: item.waiting.and_then(|waiting| some(waiting.recorded_by)),
            animal_id: item.animal_id,
            check_id: item.check_id,
        }
    }
}

impl Item {
    /// Accession, duty, due day and days past it.
    pub(crate) fn overdue(&self) -> (&str, &'static str, &str, i32) {
        (&self.accession, self.duty, self.due_on.as_deref().unwrap_or_default(), self.days_late)
    }

    /// What is to be done, and by whom.
    fn what(&self) -> String {
        let by = self.by_whom.as_ref().map(|who| format!(" ({who})")).unwrap_or_default();
        format!("{}{by}", self.duty)
    }

    /// How it stands, for people.
    fn how(&self) -> (Tone, String) {
        match (self.is_overdue(), self.days_late) {
            (true, days) => {
                let days = count(usize::try_from(days).unwrap_or_default(), "day", "days");
                (Tone::Alarm, format!("overdue {days}"))
            }
            // A loan is told of before its last day.
            (false, 0) if self.duty == v1::Duty::EndLoan.word() => (Tone::Calm, "ends soon".to_owned()),
            (false, 0) => (Tone::Calm, "today".to_owned()),
            (false, days) if self.duty == v1::Duty::WeighAgain.word() => {
                let days = count(usize::try_from(days).unwrap_or_default(), "day", "days");
                (Tone::Warning, format!("waits {days}"))
            }
            (false, _) => (Tone::Calm, "in grace".to_owned()),
        }
    }

    /// The reading that waits, and what is expected: `142 g waits; expected 1.29 kg to 1.53 kg`.
    fn waits(&self) -> Option<String> {
        let (mass, low, high) = (self.waiting_mg?, self.low_mg?, self.high_mg?);
        let by = self.recorded_by.as_ref().map(|who| format!(" ({who})")).unwrap_or_default();
        Some(format!("{} waits{by}; expected {} to {}", spoken_mass(mass), about(low), about(high)))
    }

    fn is_overdue(&self) -> bool {
        self.state == v1::DueState::Overdue.word()
    }
}

/// What is due at a site as of a day, longest overdue first.
#[derive(Serialize)]
pub(crate) struct Due {
    site: String,
    as_of: Option<String>,
    due: Vec<Item>,
}

impl Due {
    pub(crate) fn new(site: String, answer: v1::ListDueResponse) -> Self {
        Self { site, as_of: day(answer.as_of), due: answer.items.into_iter().map(Item::from).collect() }
    }

    pub(crate) fn any_overdue(&self) -> bool {
        self.due.iter().any(Item::is_overdue)
    }
}

impl Answer for Due {
    type Row = Item;

    fn rows(&self) -> Vec<Item> {
        self.due.clone()
    }

    fn page(&self, page: &mut Page) {
        let day = self.as_of.as_deref().unwrap_or_default();
        if self.due.is_empty() {
            page.line(&format!("Nothing is due at {} on {day}.", self.site));
            return;
        }
        table(&self.due, page);
        let overdue = self.due.iter().filter(|item| item.is_overdue()).count();
        page.remark(&format!(
            "{} at {} on {day}, {overdue} of them overdue.",
            count(self.due.len(), "thing due", "things due"),
            self.site,
        ));
    }
}

/// A line for each duty and how it stands, with whom it is due for: `weigh, overdue 3 days: Moss, Fern`.
pub(crate) fn lines(items: &[Item]) -> Vec<String> {
    let mut lines: Vec<(String, Vec<&str>)> = Vec::new();
    for item in items {
        let what = format!("{}, {}", item.what(), item.how().1);
        let name = item.house_name.as_deref().unwrap_or(&item.accession);
        match lines.iter_mut().find(|(line, _)| *line == what) {
            Some((_, names)) => names.push(name),
            None => lines.push((what, vec![name])),
        }
    }
    lines.into_iter().map(|(what, names)| format!("{what}: {}", names.join(", "))).collect()
}

/// What is due, for people.
pub(crate) fn table(items: &[Item], page: &mut Page) {
    let mut table = Table::new(["Due", "State", "Duty", "Animal", "Name", "Enclosure", "Last done"]);
    for item in items {
        let (tone, how) = item.how();
        let done = match (item.waits(), &item.last_done_on) {
            (Some(waits), _) => waits,
            (None, Some(day)) => day.clone(),
            (None, None) if item.duty == v1::Duty::EndLoan.word() => String::new(),
            (None, None) => "never".to_owned(),
        };
        let declined = item.declined_on.as_ref().map(|day| format!("; declined {day}")).unwrap_or_default();
        table.toned([
            (Tone::Calm, item.due_on.clone().unwrap_or_default()),
            (tone, how),
            (Tone::Calm, item.what()),
            (Tone::Calm, item.accession.clone()),
            (Tone::Calm, item.house_name.clone().unwrap_or_default()),
            (Tone::Calm, item.enclosure.clone().unwrap_or_default()),
            (Tone::Calm, format!("{done}{declined}")),
        ]);
    }
    page.table(&table);
}
