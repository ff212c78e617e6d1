//! Enrichment: items, what was offered, how varied that is, and rotas.

mod account;
mod offer;
mod rota;

pub(crate) use account::Account;
pub(crate) use offer::{Given, Offer};
pub(crate) use rota::Rota;

use super::row::row;
use super::{Thing, count, some};
use crate::output::{Page, Table};
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// An item.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Item {
    site: String,
    pub(crate) name: String,
    kind: &'static str,
    staff_minutes: i32,
    rest_days: i32,
    hazards: Vec<String>,
    not_for: Vec<String>,
    kcal: Option<f64>,
    note: Option<String>,
    out_of_use: bool,
    id: String,
}

row! {
    /// An item as a line.
    ItemRow of one: Item {
        name, kind, staff_minutes, rest_days, hazards, not_for, kcal, note, out_of_use, id,
    }
}

impl From<v1::EnrichmentItem> for Item {
    fn from(item: v1::EnrichmentItem) -> Self {
        Self {
            kind: item.kind().word(),
            site: item.site,
            name: item.name,
            staff_minutes: item.staff_minutes,
            rest_days: item.rest_days,
            hazards: item.hazards,
            not_for: item.not_for,
            kcal: item.kcal,
            note: some(item.note),
            out_of_use: item.out_of_use,
            id: item.id,
        }
    }
}

impl Item {
    /// What is to be thought of before it is offered.
    fn mind(&self) -> String {
        let hazards = (!self.hazards.is_empty()).then(|| self.hazards.join(", "));
        let not_for = (!self.not_for.is_empty()).then(|| format!("not for {}", self.not_for.join(", ")));
        let out = self.out_of_use.then(|| "out of use".to_owned());
        [out, hazards, not_for, self.note.clone()].into_iter().flatten().collect::<Vec<_>>().join("; ")
    }

    pub(crate) fn spoken(&self) -> String {
        let mind = self.mind();
        let mind = if mind.is_empty() { mind } else { format!("; {mind}") };
        format!("Recorded {}: {}{mind}.", self.name, self.kind)
    }
}

impl Thing for Item {
    const MANY: &'static str = "items";
    type Row = ItemRow;

    fn row(&self) -> ItemRow {
        self.into()
    }

    fn table(items: &[Self], page: &mut Page) {
        let mut table = Table::new(["Item", "Kind", "Minutes", "Rest", "kcal", "Remarks"]).numbers([2, 3, 4]);
        for item in items {
            table.row([
                item.name.clone(),
                item.kind.to_owned(),
                item.staff_minutes.to_string(),
                format!("{} d", item.rest_days),
                item.kcal.map(|kcal| format!("{kcal:.0}")).unwrap_or_default(),
                item.mind(),
            ]);
        }
        page.table(&table);
    }
}

/// What holds for a group.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Terms {
    pub(crate) group: String,
    refused_hazards: Vec<String>,
    offers_a_day: i32,
}

row! {
    /// The same as a line.
    TermsRow of one: Terms {
        group, refused_hazards, offers_a_day,
    }
}

impl From<v1::EnrichmentTerms> for Terms {
    fn from(terms: v1::EnrichmentTerms) -> Self {
        Self { group: terms.group, refused_hazards: terms.refused_hazards, offers_a_day: terms.offers_a_day }
    }
}

impl Terms {
    pub(crate) fn spoken(&self) -> String {
        let things = count(usize::try_from(self.offers_a_day).unwrap_or_default(), "thing", "things");
        let refused = match self.refused_hazards.as_slice() {
            [] => "no hazard excluded".to_owned(),
            hazards => format!("nothing with {}", hazards.join(", ")),
        };
        format!("{}: {things} a day; {refused}.", self.group)
    }
}

impl Thing for Terms {
    const MANY: &'static str = "terms";
    type Row = TermsRow;

    fn row(&self) -> TermsRow {
        self.into()
    }

    fn table(terms: &[Self], page: &mut Page) {
        for terms in terms {
            page.line(&terms.spoken());
        }
    }
}

/// How varied something is.
#[derive(Clone, Serialize)]
struct Variety {
    kinds: Vec<Kind>,
    shannon_nats: f64,
    effective_kinds: f64,
    evenness: Option<f64>,
}

/// Offers of a kind.
#[derive(Clone, Serialize)]
struct Kind {
    kind: &'static str,
    offers: i32,
}

impl From<v1::EnrichmentVariety> for Variety {
    fn from(variety: v1::EnrichmentVariety) -> Self {
        let round = |value: f64| (value * 1000.0).round() / 1000.0;
        let kinds = variety.kinds.iter().map(|one| Kind { kind: one.kind().word(), offers: one.offers });
        Self {
            kinds: kinds.collect(),
            shannon_nats: round(variety.shannon_nats),
            effective_kinds: round(variety.effective_kinds),
            evenness: variety.evenness.map(round),
        }
    }
}

impl Variety {
    /// `food 4, sensory 2: as varied as 1.9 kinds equally often (Shannon 0.64 nats)`.
    fn spoken(&self) -> String {
        let each = self.kinds.iter().map(|one| format!("{} {}", one.kind, one.offers));
        format!(
            "{}: as varied as {:.1} kinds equally often (Shannon {:.2} nats)",
            each.collect::<Vec<_>>().join(", "),
            self.effective_kinds,
            self.shannon_nats
        )
    }
}
