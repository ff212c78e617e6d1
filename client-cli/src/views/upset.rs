//! Upsets of groups.

use super::row::row;
use super::{Thing, instant, some, written};
use crate::moment;
use crate::output::{Page, Table};
use crate::words::Word;
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// An upset on record.
#[derive(Clone, Serialize)]
pub(crate) struct Upset {
    group: String,
    kind: &'static str,
    pub(super) began_at: Option<String>,
    pub(super) happened: String,
    pub(super) response: Option<String>,
    /// None where nobody saw it calm down.
    pub(super) calm_after_minutes: Option<i32>,
    animals: Vec<String>,
    recorder: Option<String>,
    recorded_at: Option<String>,
    id: String,
    #[serde(skip)]
    when: String,
}

row! {
    /// An upset as a line.
    Row of one: Upset {
        group, kind, began_at, happened, response, calm_after_minutes, animals, recorder, recorded_at, id,
    }
}

impl Upset {
    pub(crate) fn new(upset: v1::Upset, zone: Tz) -> Self {
        let name = |animal: v1::AnimalLabel| some(animal.house_name).unwrap_or(animal.accession);
        Self {
            kind: upset.kind().word(),
            began_at: written(upset.began_at, zone),
            when: instant(upset.began_at).map(|at| moment::spoken(at, zone)).unwrap_or_default(),
            group: upset.group,
            happened: upset.happened,
            response: some(upset.response),
            calm_after_minutes: upset.calm_after_minutes,
            animals: upset.animals.into_iter().map(name).collect(),
            recorder: some(upset.recorder),
            recorded_at: written(upset.recorded_at, zone),
            id: upset.id,
        }
    }

    /// `The alarm of Weir family, 2026-03-02 07:10 GMT`.
    pub(crate) fn spoken(&self) -> String {
        let kind = match self.kind {
            "visitor" => "disturbance by visitors",
            "other" => "upset",
            kind => kind,
        };
        format!("The {kind} of {}, {},", self.group, self.when)
    }
}

impl Thing for Upset {
    const MANY: &'static str = "upsets";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(upsets: &[Self], page: &mut Page) {
        let mut table =
            Table::new(["When", "Group", "Kind", "What happened", "Done", "Calm after", "Animals"]);
        for one in upsets {
            let calm =
                one.calm_after_minutes.map_or_else(|| "not recorded".to_owned(), |n| format!("{n} min"));
            table.row([
                one.when.clone(),
                one.group.clone(),
                one.kind.to_owned(),
                one.happened.clone(),
                one.response.clone().unwrap_or_default(),
                calm,
                one.animals.join(", "),
            ]);
        }
        page.table(&table);
    }
}
