//! How sites stand as of a day.

use super::concern::Concern;
use super::due::{self, Item};
use super::transfer::Transfer;
use super::{count, day, instant, some, spoken, written};
use crate::moment;
use crate::output::{Answer, Page, Table};
use crate::session::Zones;
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// Animals of one species.
#[derive(Clone, Serialize)]
struct Stock {
    scientific_name: String,
    common_name: String,
    /// males.females.unknown
    held: String,
}

/// An animal by name.
#[derive(Clone, Serialize)]
struct Label {
    accession: String,
    house_name: Option<String>,
    id: String,
}

/// How far a duty was done.
#[derive(Clone, Serialize)]
struct Coverage {
    duty: &'static str,
    due: i32,
    done_in_time: i32,
    late: i32,
    missed: i32,
    open: i32,
    without_check: Vec<Label>,
    not_done: Vec<Label>,
}

/// One site.
#[derive(Clone, Serialize)]
struct Site {
    site: String,
    name: String,
    /// males.females.unknown
    total: String,
    stock: Vec<Stock>,
    coverage: Vec<Coverage>,
    overdue: Vec<Item>,
    concerns: Vec<Concern>,
    transfers: Vec<Transfer>,
    loans_ending: Vec<Item>,
}

/// How sites stand as of a day.
#[derive(Serialize)]
pub(crate) struct Report {
    as_of: Option<String>,
    first_day: Option<String>,
    last_day: Option<String>,
    as_known_at: Option<String>,
    sites: Vec<Site>,
    caution: String,
    #[serde(skip)]
    known_at: Option<DateTime<Utc>>,
    #[serde(skip)]
    zone: Tz,
}

/// One figure of the report as a line.
#[derive(Default, Serialize)]
pub(crate) struct Row {
    site: String,
    part: &'static str,
    /// Species, duty or accession.
    subject: String,
    figure: String,
    value: String,
    remark: String,
}

fn label(label: v1::AnimalLabel) -> Label {
    Label { accession: label.accession, house_name: some(label.house_name), id: label.id }
}

fn coverage(told: v1::Coverage) -> Coverage {
    Coverage {
        duty: told.duty().word(),
        due: told.due,
        done_in_time: told.done_in_time,
        late: told.late,
        missed: told.missed,
        open: told.open,
        without_check: told.without_check.into_iter().map(label).collect(),
        not_done: told.not_done.into_iter().map(label).collect(),
    }
}

impl Report {
    pub(crate) fn new(answer: v1::GetSiteDayResponse, zones: &Zones) -> Self {
        let zone = answer.sites.first().map_or(Tz::UTC, |first| zones.of(&first.site));
        let span = answer.span.unwrap_or_default();
        let sites = answer.sites.into_iter().map(|told| Site {
            stock: told
                .stock
                .into_iter()
                .map(|stock| {
                    let taxon = stock.taxon.unwrap_or_default();
                    Stock {
                        scientific_name: taxon.scientific_name,
                        common_name: taxon.common_name,
                        held: stock.held.unwrap_or_default().to_string(),
                    }
                })
                .collect(),
            total: told.total.unwrap_or_default().to_string(),
            coverage: told.coverage.into_iter().map(coverage).collect(),
            overdue: told.overdue.into_iter().map(Item::from).collect(),
            concerns: told.concerns.into_iter().map(|concern| Concern::new(concern, zones)).collect(),
            transfers: told.transfers.into_iter().map(|transfer| Transfer::new(transfer, zones)).collect(),
            loans_ending: told.loans_ending.into_iter().map(Item::from).collect(),
            site: told.site,
            name: told.name,
        });
        Self {
            as_of: day(answer.as_of),
            first_day: day(span.first),
            last_day: day(span.last),
            as_known_at: written(answer.as_known_at, zone),
            sites: sites.collect(),
            caution: answer.caution,
            known_at: instant(answer.as_known_at),
            zone,
        }
    }
}

impl Answer for Report {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        self.sites.iter().flat_map(Site::rows).collect()
    }

    fn page(&self, page: &mut Page) {
        let text = |day: &Option<String>| day.clone().unwrap_or_default();
        page.line(&format!(
            "As of {}, looking back to {}; as known at {}.",
            text(&self.as_of),
            text(&self.first_day),
            self.known_at.map(|at| moment::spoken(at, self.zone)).unwrap_or_default(),
        ));
        if self.sites.is_empty() {
            page.line("You may see no site.");
        }
        for site in &self.sites {
            site.page(page);
        }
        page.remark(&self.caution);
    }
}

impl Site {
    fn page(&self, page: &mut Page) {
        page.heading(&format!("{} ({})", self.name, self.site));
        page.gap();
        page.line(&format!("Animals held: {} (males.females.unknown)", self.total));
        let mut table = Table::new(["", "", ""]);
        for stock in &self.stock {
            table.row([stock.held.clone(), stock.scientific_name.clone(), stock.common_name.clone()]);
        }
        if !self.stock.is_empty() {
            page.table_set_in(&table, 2);
        }
        page.gap();
        let mut table =
            Table::new(["Duty", "Due", "In time", "Late", "Missed", "Open"]).numbers([1, 2, 3, 4, 5]);
        for duty in &self.coverage {
            let numbers = [duty.due, duty.done_in_time, duty.late, duty.missed, duty.open];
            let [due, in_time, late, missed, open] = numbers.map(|n| n.to_string());
            table.row([duty.duty.to_owned(), due, in_time, late, missed, open]);
        }
        page.table(&table);
        for duty in &self.coverage {
            named(page, &format!("{}: without a check", duty.duty), &duty.without_check);
            named(page, &format!("{}: not done once", duty.duty), &duty.not_done);
        }
        page.gap();
        if self.overdue.is_empty() {
            page.line("Overdue: nothing.");
        } else {
            page.line(&format!("Overdue: {}.", count(self.overdue.len(), "thing", "things")));
            due::table(&self.overdue, page);
        }
        page.gap();
        if !self.loans_ending.is_empty() {
            page.line(&format!("Loans that end soon or are over: {}.", self.loans_ending.len()));
            due::table(&self.loans_ending, page);
            page.gap();
        }
        page.line(&format!("Concerns open: {}.", self.concerns.len()));
        for concern in &self.concerns {
            page.gap();
            concern.paragraph(page);
        }
        page.gap();
        page.line(&format!("Transfers: {}.", self.transfers.len()));
        for transfer in &self.transfers {
            page.gap();
            transfer.paragraph(page);
        }
    }

    fn rows(&self) -> Vec<Row> {
        let row = |part, subject: &str, figure: &str, value: String, remark: String| Row {
            site: self.site.clone(),
            part,
            subject: subject.to_owned(),
            figure: figure.to_owned(),
            value,
            remark,
        };
        let none = String::new;
        let mut rows = Vec::new();
        for stock in &self.stock {
            let name = stock.common_name.clone();
            rows.push(row("stock", &stock.scientific_name, "held", stock.held.clone(), name));
        }
        rows.push(row("stock", "all", "held", self.total.clone(), none()));
        for duty in &self.coverage {
            for (figure, value) in [
                ("due", duty.due),
                ("done_in_time", duty.done_in_time),
                ("late", duty.late),
                ("missed", duty.missed),
                ("open", duty.open),
            ] {
                rows.push(row("coverage", duty.duty, figure, value.to_string(), none()));
            }
            for (figure, animals) in [("without_check", &duty.without_check), ("not_done", &duty.not_done)] {
                for animal in animals {
                    let name = animal.house_name.clone().unwrap_or_default();
                    rows.push(row("coverage", duty.duty, figure, animal.accession.clone(), name));
                }
            }
        }
        for item in &self.overdue {
            let (accession, duty, due_on, days_late) = item.overdue();
            rows.push(row(
                "overdue",
                accession,
                "days_late",
                days_late.to_string(),
                format!("{duty} due on {due_on}"),
            ));
        }
        for item in &self.loans_ending {
            let (accession, duty, due_on, days_late) = item.overdue();
            rows.push(row(
                "loan-ending",
                accession,
                "days_late",
                days_late.to_string(),
                format!("{duty} due on {due_on}"),
            ));
        }
        for concern in &self.concerns {
            rows.push(row(
                "concern",
                &concern.accession,
                concern.about,
                concern.level.to_owned(),
                concern.seen.clone(),
            ));
        }
        for transfer in &self.transfers {
            let remark = format!("{} to {}", transfer.from_site, transfer.to_site);
            rows.push(row("transfer", &transfer.from_accession, "state", transfer.state.to_owned(), remark));
            for missing in transfer.missing() {
                rows.push(row("transfer", &transfer.from_accession, "missing", missing.clone(), none()));
            }
        }
        rows
    }
}

fn named(page: &mut Page, what: &str, animals: &[Label]) {
    if animals.is_empty() {
        return;
    }
    let names = animals.iter().map(|animal| spoken(animal.house_name.as_deref(), &animal.accession));
    page.hanging(&format!("  {what}: {}", names.collect::<Vec<_>>().join(", ")), 4);
}
