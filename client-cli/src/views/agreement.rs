//! How far observers agree.

use super::{count, some};
use crate::output::{Answer, Page, Table, Tone};
use crate::words::Word;
use holt_proto::v1;
use holt_proto::v1::observer_agreement::Measure;
use serde::Serialize;

/// A form of the intraclass correlation.
#[derive(Clone, Serialize)]
struct Icc {
    form: &'static str,
    value: f64,
    low: Option<f64>,
    high: Option<f64>,
}

/// How far two observers agree on one thing.
#[derive(Clone, Serialize)]
struct On {
    /// `indicator`, `compromise` or `enhancement`.
    of: &'static str,
    /// Code of the indicator, or the domain.
    what: String,
    pairs: i32,
    same: i32,
    first_higher: i32,
    second_higher: i32,
    lean_p: f64,
    /// `kappa`, `icc`, or why there is none: `too-few`, `no-variation`.
    measure: &'static str,
    /// Weighted kappa, or ICC(2,1).
    value: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    icc: Vec<Icc>,
    band: Option<&'static str>,
    band_at_least: Option<&'static str>,
}

/// Two observers.
#[derive(Clone, Serialize)]
struct Pair {
    /// None where the name may not be seen.
    first: Option<String>,
    second: Option<String>,
    pairs: i32,
    agreement: Vec<On>,
}

/// How far observers agree.
#[derive(Serialize)]
pub(crate) struct Agreement {
    protocol: String,
    protocol_version: i32,
    observers: Vec<Pair>,
}

/// How far two observers agree on one thing, as a line.
#[derive(Default, Serialize)]
pub(crate) struct Row {
    protocol: String,
    protocol_version: i32,
    first: Option<String>,
    second: Option<String>,
    of: &'static str,
    what: String,
    pairs: i32,
    same: i32,
    first_higher: i32,
    second_higher: i32,
    lean_p: f64,
    measure: &'static str,
    value: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    band: Option<&'static str>,
    band_at_least: Option<&'static str>,
}

fn on(of: &'static str, what: String, told: v1::ObserverAgreement) -> On {
    let mut on = On {
        of,
        what,
        pairs: told.pairs,
        same: told.same,
        first_higher: told.first_higher,
        second_higher: told.second_higher,
        lean_p: told.lean_p,
        measure: "",
        value: None,
        low: None,
        high: None,
        icc: Vec::new(),
        band: None,
        band_at_least: None,
    };
    match told.measure {
        Some(Measure::Kappa(kappa)) => {
            on.measure = "kappa";
            (on.value, on.low, on.high) = (Some(kappa.kappa), Some(kappa.low), Some(kappa.high));
        }
        Some(Measure::Icc(icc)) => {
            on.measure = "icc";
            on.band = Some(icc.band().word());
            on.band_at_least = Some(icc.at_least().word()).filter(|word| !word.is_empty());
            let form = |each: &v1::IccValue| Icc {
                form: each.form().word(),
                value: each.value,
                low: each.low,
                high: each.high,
            };
            on.icc = icc.forms.iter().map(form).collect();
            if let Some(told) = on.icc.iter().find(|each| each.form == "2,1") {
                (on.value, on.low, on.high) = (Some(told.value), told.low, told.high);
            }
        }
        Some(Measure::None(none)) => {
            on.measure = v1::NoMeasure::try_from(none).unwrap_or_default().word();
        }
        None => {}
    }
    on
}

impl From<v1::CompareObserversResponse> for Agreement {
    fn from(answer: v1::CompareObserversResponse) -> Self {
        let observers = answer.pairs.into_iter().map(|pair| {
            let domains = pair.domains.into_iter().flat_map(|domain| {
                let name = domain.domain().word().to_owned();
                let (bad, good) = (domain.compromise, domain.enhancement);
                [
                    on("compromise", name.clone(), bad.unwrap_or_default()),
                    on("enhancement", name, good.unwrap_or_default()),
                ]
            });
            let indicators = pair
                .indicators
                .into_iter()
                .map(|each| on("indicator", each.indicator, each.agreement.unwrap_or_default()));
            Pair {
                first: some(pair.first),
                second: some(pair.second),
                pairs: pair.pairs,
                agreement: domains.chain(indicators).collect(),
            }
        });
        Self {
            protocol: answer.protocol,
            protocol_version: answer.protocol_version,
            observers: observers.collect(),
        }
    }
}

impl On {
    fn spoken_measure(&self) -> String {
        let interval = self
            .low
            .zip(self.high)
            .map(|(low, high)| format!(" ({low:.2} to {high:.2})"))
            .unwrap_or_default();
        match (self.measure, self.value) {
            ("kappa", Some(value)) => format!("kappa {value:.2}{interval}"),
            ("icc", Some(value)) => {
                let band = self.band.map(|band| format!(", {band}")).unwrap_or_default();
                format!("ICC {value:.2}{interval}{band}")
            }
            ("too-few", _) => "too few pairs".to_owned(),
            ("no-variation", _) => "all scores are the same".to_owned(),
            _ => String::new(),
        }
    }

    /// Who scores higher, where that is hardly chance.
    fn spoken_lean(&self, pair: &Pair) -> String {
        const RARE: f64 = 0.05;
        let (name, times) = if self.first_higher > self.second_higher {
            (&pair.first, self.first_higher)
        } else {
            (&pair.second, self.second_higher)
        };
        if self.lean_p >= RARE {
            return String::new();
        }
        format!("{} higher {times} times", name.as_deref().unwrap_or("one of them"))
    }
}

impl Answer for Agreement {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        let of = |pair: &Pair| {
            let row = |on: &On| Row {
                protocol: self.protocol.clone(),
                protocol_version: self.protocol_version,
                first: pair.first.clone(),
                second: pair.second.clone(),
                of: on.of,
                what: on.what.clone(),
                pairs: on.pairs,
                same: on.same,
                first_higher: on.first_higher,
                second_higher: on.second_higher,
                lean_p: on.lean_p,
                measure: on.measure,
                value: on.value,
                low: on.low,
                high: on.high,
                band: on.band,
                band_at_least: on.band_at_least,
            };
            pair.agreement.iter().map(row).collect::<Vec<_>>()
        };
        self.observers.iter().flat_map(of).collect()
    }

    fn page(&self, page: &mut Page) {
        if self.observers.is_empty() {
            page.line(&format!(
                "No animal was assessed by two observers on one occasion by {}@{}.",
                self.protocol, self.protocol_version
            ));
            return;
        }
        for pair in &self.observers {
            let name = |name: &Option<String>| name.clone().unwrap_or_else(|| "(not shown)".to_owned());
            let pairs = count(usize::try_from(pair.pairs).unwrap_or_default(), "pair", "pairs");
            page.heading(&format!("{} and {}, {pairs}", name(&pair.first), name(&pair.second)));
            let mut table =
                Table::new(["Of", "What", "Pairs", "Same", "Agreement", "Scores higher"]).numbers([2, 3]);
            for on in pair.agreement.iter().filter(|on| on.pairs > 0) {
                table.toned([
                    (Tone::Calm, on.of.to_owned()),
                    (Tone::Calm, on.what.clone()),
                    (Tone::Calm, on.pairs.to_string()),
                    (Tone::Calm, on.same.to_string()),
                    (Tone::Calm, on.spoken_measure()),
                    (Tone::Warning, on.spoken_lean(pair)),
                ]);
            }
            page.table(&table);
        }
        page.remark(
            "Kappa is weighted (1 is perfect, 0 what chance gives); ICC is that of two observers who may be \
             exchanged. The numbers in brackets are 95 % intervals: judge by the lower end.",
        );
    }
}
