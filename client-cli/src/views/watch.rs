//! What came of recording watches.

use super::concern::{CAUTION, Concern};
use super::{CHECKED_ONLY, count, instant, written};
use crate::moment;
use crate::output::{Answer, Page, Table};
use crate::session::Zones;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// One watch that was recorded.
#[derive(Clone, Serialize)]
struct One {
    group: String,
    began_at: Option<String>,
    /// None while it runs.
    ended_at: Option<String>,
    minutes: f64,
    events: i32,
    recorded: i32,
    known: i32,
    watch_id: String,
    /// What was seen and how often, where it was typed here.
    tally: Vec<Counted>,
    #[serde(skip)]
    began: Option<DateTime<Utc>>,
    #[serde(skip)]
    zone: Tz,
}

/// What was seen, and how often.
#[derive(Clone, Serialize)]
struct Counted {
    seen: String,
    times: usize,
}

/// A watch that was recorded, as a line.
#[derive(Default, Serialize)]
pub(crate) struct Row {
    group: String,
    began_at: Option<String>,
    ended_at: Option<String>,
    minutes: f64,
    events: i32,
    recorded: i32,
    known: i32,
    watch_id: String,
}

/// Watches that were recorded, with what they raised.
#[derive(Serialize)]
pub(crate) struct Recorded {
    checked_only: bool,
    watches: Vec<One>,
    concerns: Vec<Concern>,
    caution: Option<&'static str>,
}

impl Recorded {
    pub(crate) const fn new(checked_only: bool) -> Self {
        Self { checked_only, watches: Vec::new(), concerns: Vec::new(), caution: None }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.watches.is_empty()
    }

    /// Whether concerns were raised or changed.
    pub(crate) fn raised(&self) -> bool {
        !self.concerns.is_empty()
    }

    pub(crate) fn add(
        &mut self,
        answer: v1::RecordWatchResponse,
        tally: Vec<(String, usize)>,
        zones: &Zones,
    ) {
        for concern in answer.concerns {
            // A later watch may change what an earlier one raised.
            let concern = Concern::new(concern, zones);
            self.concerns.retain(|earlier| earlier.id != concern.id || concern.id.is_none());
            self.concerns.push(concern);
        }
        self.caution = self.raised().then_some(CAUTION);
        let watch = answer.watch.unwrap_or_default();
        let zone = zones.of(&watch.site);
        self.watches.push(One {
            group: watch.group,
            began_at: written(watch.began_at, zone),
            ended_at: written(watch.ended_at, zone),
            minutes: watch.minutes,
            events: watch.events,
            recorded: answer.recorded,
            known: answer.known,
            watch_id: watch.watch_id,
            tally: tally.into_iter().map(|(seen, times)| Counted { seen, times }).collect(),
            began: instant(watch.began_at),
            zone,
        });
    }
}

/// `1 minute`, `12.5 minutes`.
pub(crate) fn minutes(minutes: f64) -> String {
    let text = format!("{minutes:.1}");
    let text = text.strip_suffix(".0").unwrap_or(&text);
    if text == "1" { "1 minute".to_owned() } else { format!("{text} minutes") }
}

impl Answer for Recorded {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        let row = |one: &One| Row {
            group: one.group.clone(),
            began_at: one.began_at.clone(),
            ended_at: one.ended_at.clone(),
            minutes: one.minutes,
            events: one.events,
            recorded: one.recorded,
            known: one.known,
            watch_id: one.watch_id.clone(),
        };
        self.watches.iter().map(row).collect()
    }

    fn page(&self, page: &mut Page) {
        for one in &self.watches {
            let began = one.began.map(|began| moment::spoken(began, one.zone)).unwrap_or_default();
            let new = match (one.recorded, one.known) {
                (new, 0) => format!("{new} new"),
                (0, _) => "nothing new".to_owned(),
                (new, known) => format!("{new} new, {known} already recorded"),
            };
            page.line(&format!(
                "{}, from {began}: observed for {}, {} ({new}). [{}]",
                one.group,
                minutes(one.minutes),
                count(usize::try_from(one.events).unwrap_or_default(), "event", "events"),
                one.watch_id,
            ));
            if !one.tally.is_empty() {
                let mut table = Table::new(["", ""]).numbers([0]);
                for counted in &one.tally {
                    table.row([format!("{} ×", counted.times), counted.seen.clone()]);
                }
                page.table_set_in(&table, 2);
            }
        }
        if self.checked_only {
            page.line(CHECKED_ONLY);
        }
        for concern in &self.concerns {
            page.gap();
            concern.paragraph(page);
        }
        page.remark(self.caution.unwrap_or_default());
    }
}
