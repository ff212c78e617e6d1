//! Stock returns.

use super::{count, day, instant, some, spoken, written};
use crate::moment;
use crate::output::{Answer, Page, Table, Tone};
use crate::session::Zones;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// One species of a return, or all of them. Counts are males.females.unknown.
#[derive(Clone, Serialize)]
struct Line {
    scientific_name: Option<String>,
    common_name: Option<String>,
    opening: String,
    arrived: String,
    born: String,
    died_young: String,
    died: String,
    departed: String,
    escaped: String,
    sexed: String,
    closing: String,
    balances: bool,
}

/// An animal by name.
#[derive(Clone, Serialize)]
struct Label {
    accession: String,
    house_name: Option<String>,
    id: String,
}

/// The return of a site, or of several together.
#[derive(Clone, Serialize)]
struct StockReturn {
    sites: Vec<String>,
    name: Option<String>,
    licence: Option<String>,
    lines: Vec<Line>,
    total: Line,
    balances: bool,
    age_unsure: Vec<Label>,
    on_their_way: i64,
}

/// Returns over the same days.
#[derive(Serialize)]
pub(crate) struct StockReturns {
    first_day: Option<String>,
    last_day: Option<String>,
    young_days: i32,
    as_known_at: Option<String>,
    returns: Vec<StockReturn>,
    #[serde(skip)]
    known_at: Option<DateTime<Utc>>,
    #[serde(skip)]
    zone: Tz,
}

/// A line of a return with all that it is of.
#[derive(Default, Serialize)]
pub(crate) struct Row {
    sites: String,
    first_day: String,
    last_day: String,
    scientific_name: String,
    common_name: String,
    opening: String,
    arrived: String,
    born: String,
    died_young: String,
    died: String,
    departed: String,
    escaped: String,
    sexed: String,
    closing: String,
    balances: bool,
}

fn text(counts: Option<v1::Counts>) -> String {
    counts.unwrap_or_default().to_string()
}

impl From<v1::StockLine> for Line {
    fn from(line: v1::StockLine) -> Self {
        let taxon = line.taxon.map(|taxon| (taxon.scientific_name, taxon.common_name));
        let (scientific_name, common_name) = taxon.unzip();
        Self {
            scientific_name,
            common_name,
            opening: text(line.opening),
            arrived: text(line.arrived),
            born: text(line.born),
            died_young: text(line.died_young),
            died: text(line.died),
            departed: text(line.departed),
            escaped: text(line.escaped),
            sexed: text(line.sexed),
            closing: text(line.closing),
            balances: line.balances,
        }
    }
}

impl From<v1::StockReturn> for StockReturn {
    fn from(told: v1::StockReturn) -> Self {
        let label = |label: v1::AnimalLabel| Label {
            accession: label.accession,
            house_name: some(label.house_name),
            id: label.id,
        };
        Self {
            sites: told.sites,
            name: some(told.name),
            licence: some(told.licence),
            lines: told.lines.into_iter().map(Line::from).collect(),
            total: Line::from(told.total.unwrap_or_default()),
            balances: told.balances,
            age_unsure: told.age_unsure.into_iter().map(label).collect(),
            on_their_way: told.on_their_way,
        }
    }
}

impl StockReturns {
    pub(crate) fn new(answer: v1::GetStockReturnResponse, zones: &Zones) -> Self {
        let site = answer.returns.first().and_then(|told| told.sites.first());
        let zone = site.map_or(Tz::UTC, |site| zones.of(site));
        let days = answer.days.unwrap_or_default();
        Self {
            first_day: day(days.first),
            last_day: day(days.last),
            young_days: answer.young_days,
            as_known_at: written(answer.as_known_at, zone),
            returns: answer.returns.into_iter().map(StockReturn::from).collect(),
            known_at: instant(answer.as_known_at),
            zone,
        }
    }

    /// Whether every line of every return does.
    pub(crate) fn balances(&self) -> bool {
        self.returns.iter().all(|told| told.balances)
    }
}

impl Answer for StockReturns {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        let days = |day: &Option<String>| day.clone().unwrap_or_default();
        let row = |told: &StockReturn, line: &Line| Row {
            sites: told.sites.join("+"),
            first_day: days(&self.first_day),
            last_day: days(&self.last_day),
            scientific_name: line.scientific_name.clone().unwrap_or_else(|| "all".to_owned()),
            common_name: line.common_name.clone().unwrap_or_default(),
            opening: line.opening.clone(),
            arrived: line.arrived.clone(),
            born: line.born.clone(),
            died_young: line.died_young.clone(),
            died: line.died.clone(),
            departed: line.departed.clone(),
            escaped: line.escaped.clone(),
            sexed: line.sexed.clone(),
            closing: line.closing.clone(),
            balances: line.balances,
        };
        let of = |told| StockReturn::all(told).map(move |line| row(told, line));
        self.returns.iter().flat_map(of).collect()
    }

    fn page(&self, page: &mut Page) {
        let text = |day: &Option<String>| day.clone().unwrap_or_default();
        page.line(&format!(
            "Stock from {} to {}, both included; as known at {}.",
            text(&self.first_day),
            text(&self.last_day),
            self.known_at.map(|at| moment::spoken(at, self.zone)).unwrap_or_default(),
        ));
        if self.returns.is_empty() {
            page.line("You may see no site.");
        }
        for told in &self.returns {
            told.page(self.young_days, page);
        }
        page.remark(&format!(
            "Counts are males.females.unknown. Died young: within {} of birth. Sexed: changes of sex of \
             animals already there.",
            count(usize::try_from(self.young_days).unwrap_or_default(), "day", "days")
        ));
    }
}

impl StockReturn {
    /// The lines, and that of all species.
    fn all(&self) -> impl Iterator<Item = &Line> {
        self.lines.iter().chain([&self.total])
    }

    fn page(&self, young_days: i32, page: &mut Page) {
        let sites = self.sites.join(", ");
        let licence = self.licence.as_ref().map(|licence| format!(", licence {licence}")).unwrap_or_default();
        page.heading(&match &self.name {
            Some(name) => format!("{name} ({sites}){licence}"),
            None => format!("{sites} together"),
        });
        if self.lines.is_empty() {
            page.line("No animal was there, arrived or departed.");
            return;
        }
        page.gap();
        // Few sites ever need the column, and the table has many.
        if self.total.escaped == text(None) {
            let heads = [
                "Species",
                "Opening",
                "Arrived",
                "Born",
                "Died young",
                "Died",
                "Departed",
                "Sexed",
                "Closing",
            ];
            let mut table = Table::new(heads).numbers([1, 2, 3, 4, 5, 6, 7, 8]);
            for line in self.all() {
                let [opening, arrived, born, young, died, left, _, sexed, closing] = line.cells();
                table.row([line.species(), opening, arrived, born, young, died, left, sexed, closing]);
            }
            page.table(&table);
        } else {
            let heads = [
                "Species",
                "Opening",
                "Arrived",
                "Born",
                "Died young",
                "Died",
                "Departed",
                "Escaped",
                "Sexed",
                "Closing",
            ];
            let mut table = Table::new(heads).numbers([1, 2, 3, 4, 5, 6, 7, 8, 9]);
            for line in self.all() {
                let [opening, arrived, born, young, died, left, escaped, sexed, closing] = line.cells();
                let cells =
                    [line.species(), opening, arrived, born, young, died, left, escaped, sexed, closing];
                table.row(cells);
            }
            page.table(&table);
        }
        page.gap();
        if self.balances {
            page.line("It balances: in each line, opening plus gains less losses is closing.");
        } else {
            let odd = self.all().filter(|line| !line.balances).map(Line::species);
            let say = format!(
                "It does not balance: {}. This is a fault of Holt, not of your records; please report it.",
                odd.collect::<Vec<_>>().join("; ")
            );
            let say = page.paint(Tone::Alarm, &say);
            page.line(&say);
        }
        if !self.age_unsure.is_empty() {
            let names = self.age_unsure.iter().map(|one| spoken(one.house_name.as_deref(), &one.accession));
            page.hanging(
                &format!(
                    "Counted as died, although the death may have been within {} of birth: {}",
                    count(usize::try_from(young_days).unwrap_or_default(), "day", "days"),
                    names.collect::<Vec<_>>().join(", ")
                ),
                2,
            );
        }
        if self.on_their_way > 0 {
            let number = usize::try_from(self.on_their_way).unwrap_or_default();
            page.line(&format!(
                "On the way between sites: {}, in the closing stock.",
                count(number, "animal", "animals")
            ));
        }
    }
}

impl Line {
    fn species(&self) -> String {
        match (&self.scientific_name, &self.common_name) {
            (Some(scientific), Some(common)) => format!("{scientific}, {common}"),
            _ => "All species".to_owned(),
        }
    }

    fn cells(&self) -> [String; 9] {
        [
            &self.opening,
            &self.arrived,
            &self.born,
            &self.died_young,
            &self.died,
            &self.departed,
            &self.escaped,
            &self.sexed,
            &self.closing,
        ]
        .map(Clone::clone)
    }
}
