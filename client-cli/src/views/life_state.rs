//! Life states.

use super::{Thing, instant, some, spoken, written};
use crate::moment;
use crate::output::{Page, Table};
use crate::words::Word;
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// A state on record.
#[derive(Clone, Default, Serialize)]
pub(crate) struct LifeState {
    accession: String,
    house_name: Option<String>,
    site: String,
    state: &'static str,
    suspected: bool,
    began_at: Option<String>,
    /// None while it lasts.
    ended_at: Option<String>,
    ended_how: Option<&'static str>,
    ended_why: Option<String>,
    note: Option<String>,
    recorder: Option<String>,
    recorded_at: Option<String>,
    animal_id: String,
    id: String,
    #[serde(skip)]
    since: String,
    #[serde(skip)]
    until: String,
}

impl LifeState {
    pub(crate) fn new(state: v1::LifeState, zone: Tz) -> Self {
        let spoken = |at| instant(at).map(|at| moment::spoken(at, zone)).unwrap_or_default();
        let (kind, how) = (state.kind().word(), state.ended_how().word());
        let animal = state.animal.unwrap_or_default();
        Self {
            accession: animal.accession,
            house_name: some(animal.house_name),
            site: state.site,
            state: kind,
            suspected: state.suspected,
            since: spoken(state.began_at),
            until: spoken(state.ended_at),
            began_at: written(state.began_at, zone),
            ended_at: written(state.ended_at, zone),
            ended_how: Some(how).filter(|how| !how.is_empty()),
            ended_why: some(state.ended_why),
            note: some(state.note),
            recorder: some(state.recorder),
            recorded_at: written(state.recorded_at, zone),
            animal_id: animal.id,
            id: state.id,
        }
    }

    fn what(&self) -> String {
        format!("{}{}", self.state, if self.suspected { ", suspected" } else { "" })
    }

    /// `Juniper (QUI-25-0001): carrying, suspected, since 2026-02-20 00:00 GMT`.
    pub(crate) fn spoken(&self) -> String {
        let until = if self.until.is_empty() { String::new() } else { format!(", until {}", self.until) };
        let who = spoken(self.house_name.as_deref(), &self.accession);
        format!("{who}: {}, since {}{until}", self.what(), self.since)
    }
}

impl Thing for LifeState {
    const MANY: &'static str = "states";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(states: &[Self], page: &mut Page) {
        let mut table = Table::new(["Animal", "Name", "State", "Since", "Until", "Remark"]);
        for state in states {
            let remark = [state.note.clone(), state.ended_why.clone()];
            table.row([
                state.accession.clone(),
                state.house_name.clone().unwrap_or_default(),
                state.what(),
                state.since.clone(),
                state.until.clone(),
                remark.into_iter().flatten().collect::<Vec<_>>().join("; "),
            ]);
        }
        page.table(&table);
    }
}
