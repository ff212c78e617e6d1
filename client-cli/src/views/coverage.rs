//! How far checks were done.

use super::check::Check;
use super::{day, some, spoken};
use crate::output::{Answer, Page, Table, Tone};
use holt_proto::v1;
use serde::Serialize;

/// What became of due days.
#[derive(Clone, Copy, Default, Serialize)]
struct Counts {
    due: i32,
    in_time: i32,
    late: i32,
    missed: i32,
    open: i32,
}

impl From<Option<v1::DueCounts>> for Counts {
    fn from(counts: Option<v1::DueCounts>) -> Self {
        let v1::DueCounts { due, in_time, late, missed, open } = counts.unwrap_or_default();
        Self { due, in_time, late, missed, open }
    }
}

/// What became of the due days of one animal.
#[derive(Clone, Serialize)]
struct Animal {
    accession: String,
    house_name: Option<String>,
    #[serde(flatten)]
    counts: Counts,
    animal_id: String,
}

/// What became of the due days of one check.
#[derive(Clone, Serialize)]
struct OfCheck {
    check: Check,
    #[serde(flatten)]
    counts: Counts,
    /// Animals of which a due day was not done in time.
    short: Vec<Animal>,
}

/// How far checks were done.
#[derive(Serialize)]
pub(crate) struct Coverage {
    site: String,
    from: Option<String>,
    to: Option<String>,
    as_of: Option<String>,
    total: Counts,
    checks: Vec<OfCheck>,
}

/// What became of the due days of one check, as a line.
#[derive(Default, Serialize)]
pub(crate) struct Row {
    duty: &'static str,
    scope: String,
    recurrence: String,
    due: i32,
    in_time: i32,
    late: i32,
    missed: i32,
    open: i32,
    check_id: String,
}

impl Coverage {
    pub(crate) fn new(site: String, answer: v1::GetCheckCoverageResponse) -> Self {
        let days = answer.days.unwrap_or_default();
        let checks = answer.checks.into_iter().map(|told| OfCheck {
            check: Check::from(told.check.unwrap_or_default()),
            counts: told.counts.into(),
            short: told
                .short
                .into_iter()
                .map(|one| {
                    let animal = one.animal.unwrap_or_default();
                    Animal {
                        accession: animal.accession,
                        house_name: some(animal.house_name),
                        counts: one.counts.into(),
                        animal_id: animal.id,
                    }
                })
                .collect(),
        });
        Self {
            site,
            from: day(days.first),
            to: day(days.last),
            as_of: day(answer.as_of),
            total: answer.total.into(),
            checks: checks.collect(),
        }
    }

    /// Whether any due day was missed or done late, or is overdue.
    pub(crate) fn is_short(&self) -> bool {
        self.total.late + self.total.missed > 0
    }
}

/// So many of so many, in %.
fn share(part: i32, of: i32) -> String {
    if of == 0 { String::new() } else { format!("{:.0} %", 100.0 * f64::from(part) / f64::from(of)) }
}

impl Answer for Coverage {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        let row = |told: &OfCheck| Row {
            duty: told.check.duty,
            scope: told.check.spoken_scope(),
            recurrence: told.check.recurrence.clone(),
            due: told.counts.due,
            in_time: told.counts.in_time,
            late: told.counts.late,
            missed: told.counts.missed,
            open: told.counts.open,
            check_id: told.check.id.clone(),
        };
        self.checks.iter().map(row).collect()
    }

    fn page(&self, page: &mut Page) {
        let (from, to) = (self.from.as_deref().unwrap_or_default(), self.to.as_deref().unwrap_or_default());
        if self.checks.is_empty() {
            page.line(&format!("Nothing fell due at {} from {from} to {to}.", self.site));
            return;
        }
        let mut table =
            Table::new(["Check", "Due", "In time", "Late", "Missed", "Open", ""]).numbers([1, 2, 3, 4, 5, 6]);
        let all = self
            .checks
            .iter()
            .map(|told| (format!("{}, {}", told.check.duty, told.check.spoken_scope()), told.counts));
        for (name, counts) in all.chain([("All".to_owned(), self.total)]) {
            let tone = if counts.late + counts.missed > 0 { Tone::Warning } else { Tone::Calm };
            table.toned([
                (Tone::Calm, name),
                (Tone::Calm, counts.due.to_string()),
                (Tone::Calm, counts.in_time.to_string()),
                (tone, counts.late.to_string()),
                (tone, counts.missed.to_string()),
                (Tone::Calm, counts.open.to_string()),
                (Tone::Calm, share(counts.in_time, counts.due)),
            ]);
        }
        page.table(&table);
        for told in self.checks.iter().filter(|told| !told.short.is_empty()) {
            page.gap();
            page.line(&format!("Not all in time: {}, {}.", told.check.duty, told.check.spoken_scope()));
            let mut table = Table::new(["", "", "", "", ""]).numbers([1, 2, 3, 4]);
            for one in &told.short {
                let counts = one.counts;
                table.row([
                    spoken(one.house_name.as_deref(), &one.accession),
                    format!("{} due", counts.due),
                    format!("{} late", counts.late),
                    format!("{} missed", counts.missed),
                    format!("{} open", counts.open),
                ]);
            }
            page.table_set_in(&table, 2);
        }
        page.remark(&format!(
            "Due days from {from} to {to} at {}, as it stood at the end of {}.",
            self.site,
            self.as_of.as_deref().unwrap_or_default()
        ));
    }
}
