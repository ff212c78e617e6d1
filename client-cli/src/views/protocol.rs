//! Welfare protocols.

use super::row::row;
use super::{Thing, count, some};
use crate::output::{Answer, Page, Table};
use crate::words::Word;
use holt_proto::v1;
use holt_proto::v1::indicator::Scale;
use serde::Serialize;

/// A named level, or a stretch of measured values, and what it means for the animal.
#[derive(Clone, Serialize)]
struct Meaning {
    /// Name of the level; none for measured values.
    level: Option<String>,
    /// Smallest value of the stretch; none for levels.
    from: Option<f64>,
    compromise: &'static str,
    enhancement: &'static str,
    affect: Option<String>,
}

/// One thing to look at.
#[derive(Clone, Serialize)]
pub(crate) struct Indicator {
    code: String,
    text: String,
    domain: &'static str,
    basis: &'static str,
    guidance: String,
    /// Unit of a measured value; none where a level is named.
    unit: Option<String>,
    min: Option<f64>,
    max: Option<f64>,
    scale: Vec<Meaning>,
}

/// A version of a protocol.
#[derive(Clone, Serialize)]
pub(crate) struct Protocol {
    pub(crate) code: String,
    pub(crate) version: i32,
    pub(crate) title: String,
    species: Vec<String>,
    pub(crate) indicators: Vec<Indicator>,
    id: String,
}

row! {
    /// A version of a protocol as a line.
    Row of one: Protocol {
        code, version, title, species, indicators: one.indicators.len(), id,
    }
}

impl From<v1::Indicator> for Indicator {
    fn from(indicator: v1::Indicator) -> Self {
        let (domain, basis) = (indicator.domain().word(), indicator.basis().word());
        let (unit, min, max, scale) = match indicator.scale {
            Some(Scale::Levels(scale)) => {
                let levels = scale.levels.into_iter().map(|level| Meaning {
                    compromise: level.compromise().word(),
                    enhancement: level.enhancement().word(),
                    level: Some(level.name),
                    from: None,
                    affect: some(level.affect),
                });
                (None, None, None, levels.collect())
            }
            Some(Scale::Measured(scale)) => {
                let bands = scale.bands.into_iter().map(|band| Meaning {
                    compromise: band.compromise().word(),
                    enhancement: band.enhancement().word(),
                    level: None,
                    from: Some(band.from),
                    affect: some(band.affect),
                });
                (Some(scale.unit), Some(scale.min), Some(scale.max), bands.collect())
            }
            None => (None, None, None, Vec::new()),
        };
        Self {
            code: indicator.code,
            text: indicator.text,
            domain,
            basis,
            guidance: indicator.guidance,
            unit,
            min,
            max,
            scale,
        }
    }
}

impl From<v1::Protocol> for Protocol {
    fn from(protocol: v1::Protocol) -> Self {
        Self {
            code: protocol.code,
            version: protocol.version,
            title: protocol.title,
            species: protocol.taxa,
            indicators: protocol.indicators.into_iter().map(Indicator::from).collect(),
            id: protocol.id,
        }
    }
}

impl Protocol {
    /// `small-carnivore, version 2`.
    pub(crate) fn spoken(&self) -> String {
        format!("{}, version {}", self.code, self.version)
    }

    fn spoken_species(&self) -> String {
        if self.species.is_empty() { "any species".to_owned() } else { self.species.join(", ") }
    }
}

impl Thing for Protocol {
    const MANY: &'static str = "protocols";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(protocols: &[Self], page: &mut Page) {
        let mut table = Table::new(["Protocol", "Version", "Title", "For", "Indicators"]).numbers([1, 4]);
        for protocol in protocols {
            table.row([
                protocol.code.clone(),
                protocol.version.to_string(),
                protocol.title.clone(),
                protocol.spoken_species(),
                protocol.indicators.len().to_string(),
            ]);
        }
        page.table(&table);
    }
}

/// An indicator as a line.
#[derive(Default, Serialize)]
pub(crate) struct IndicatorRow {
    indicator: String,
    text: String,
    domain: &'static str,
    basis: &'static str,
    guidance: String,
    unit: Option<String>,
    min: Option<f64>,
    max: Option<f64>,
    levels: String,
}

impl Answer for Protocol {
    type Row = IndicatorRow;

    fn rows(&self) -> Vec<IndicatorRow> {
        let row = |indicator: &Indicator| IndicatorRow {
            indicator: indicator.code.clone(),
            text: indicator.text.clone(),
            domain: indicator.domain,
            basis: indicator.basis,
            guidance: indicator.guidance.clone(),
            unit: indicator.unit.clone(),
            min: indicator.min,
            max: indicator.max,
            levels: indicator
                .scale
                .iter()
                .filter_map(|each| each.level.clone())
                .collect::<Vec<_>>()
                .join("; "),
        };
        self.indicators.iter().map(row).collect()
    }

    fn page(&self, page: &mut Page) {
        page.heading(&format!("{} ({})", self.title, self.spoken()));
        page.line(&format!(
            "For {}; {}.",
            self.spoken_species(),
            count(self.indicators.len(), "indicator", "indicators")
        ));
        for domain in ["nutrition", "environment", "health", "behaviour"] {
            let of_domain = self.indicators.iter().filter(|indicator| indicator.domain == domain);
            for (n, indicator) in of_domain.enumerate() {
                if n == 0 {
                    page.heading(domain);
                }
                indicator.paragraph(page);
            }
        }
    }
}

impl Indicator {
    fn paragraph(&self, page: &mut Page) {
        page.hanging(&format!("  {}: {}", self.code, self.text), 4);
        page.indented(&self.guidance, 4);
        if let (Some(unit), Some(min), Some(max)) = (&self.unit, self.min, self.max) {
            page.indented(&format!("measured in {unit}, {min} to {max}"), 4);
        }
        for each in &self.scale {
            let what = match (&each.level, each.from) {
                (Some(level), _) => level.clone(),
                (None, Some(from)) => format!("from {from}"),
                (None, None) => String::new(),
            };
            let affect = each.affect.as_ref().map(|affect| format!("; {affect}")).unwrap_or_default();
            let grade = format!("compromise {}, enhancement {}", each.compromise, each.enhancement);
            page.hanging(&format!("      {what}: {grade}{affect}"), 8);
        }
    }
}
