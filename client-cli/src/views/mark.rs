//! Marks on animals.

use super::{Thing, short, some, written};
use crate::output::{Page, Table};
use crate::words::Word;
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// A mark over a stretch of time.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Mark {
    pub(crate) kind: &'static str,
    pub(crate) code: String,
    place_on_body: Option<String>,
    /// Whose number a transponder carries.
    issuer: Option<String>,
    from: Option<String>,
    until: Option<String>,
    pub(crate) id: String,
}

impl Mark {
    pub(crate) fn new(mark: v1::Mark, zone: Tz) -> Self {
        let interval = mark.interval.unwrap_or_default();
        Self {
            kind: mark.kind().word(),
            code: mark.code,
            place_on_body: some(mark.place_on_body),
            issuer: some(mark.issuer),
            from: written(interval.from, zone),
            until: written(interval.until, zone),
            id: mark.id,
        }
    }

    /// `transponder 985112000123456, left shoulder (manufacturer 985)`.
    pub(crate) fn spoken(&self) -> String {
        let place = self.place_on_body.as_ref().map(|place| format!(", {place}")).unwrap_or_default();
        let issuer = self.issuer.as_ref().map(|issuer| format!(" ({issuer})")).unwrap_or_default();
        format!("{} {}{place}{issuer}", self.kind, self.code)
    }
}

impl Thing for Mark {
    const MANY: &'static str = "marks";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(marks: &[Self], page: &mut Page) {
        let mut table = Table::new(["Mark", "Since", "Id"]);
        for mark in marks {
            let since = mark.from.as_deref().unwrap_or_default().get(..10).unwrap_or_default();
            table.row([mark.spoken(), since.to_owned(), short(&mark.id).to_owned()]);
        }
        page.table(&table);
    }
}
