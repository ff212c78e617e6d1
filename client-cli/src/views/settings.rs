//! Which server and site are meant, and why.

use crate::output::{Answer, Page, Table};
use serde::Serialize;

/// One setting and where it comes from.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Entry {
    pub(crate) setting: &'static str,
    pub(crate) value: Option<String>,
    pub(crate) from: Option<String>,
}

/// The settings in force.
#[derive(Serialize)]
pub(crate) struct Shown {
    pub(crate) settings: Vec<Entry>,
}

impl Answer for Shown {
    type Row = Entry;

    fn rows(&self) -> Vec<Entry> {
        self.settings.clone()
    }

    fn page(&self, page: &mut Page) {
        let mut table = Table::new(["Setting", "Value", "From"]);
        for entry in &self.settings {
            table.row([
                entry.setting.to_owned(),
                entry.value.clone().unwrap_or_else(|| "not set".to_owned()),
                entry.from.clone().unwrap_or_default(),
            ]);
        }
        page.table(&table);
    }
}
