//! Checks.

use super::{Thing, day, short, some};
use crate::output::{Page, Table};
use crate::rhythm;
use crate::words::Word;
use holt_proto::v1;
use holt_proto::v1::check_scope::Of;
use serde::Serialize;

/// Something that is done again and again.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Check {
    pub(crate) duty: &'static str,
    /// `animal`, `species`, `enclosure`, `group` or `site`.
    scope: &'static str,
    /// Which animal, species, enclosure or group.
    scope_name: Option<String>,
    site: String,
    /// RFC 5545 RRULE.
    pub(crate) recurrence: String,
    starts_on: Option<String>,
    ends_on: Option<String>,
    grace_days: i32,
    by_whom: Option<String>,
    note: Option<String>,
    pub(crate) id: String,
}

impl From<v1::Check> for Check {
    fn from(check: v1::Check) -> Self {
        let duty = check.duty().word();
        let (scope, scope_name) = match check.scope.and_then(|scope| scope.of) {
            Some(Of::Animal(name)) => ("animal", Some(name)),
            Some(Of::Taxon(name)) => ("species", Some(name)),
            Some(Of::Enclosure(name)) => ("enclosure", Some(name)),
            Some(Of::Group(name)) => ("group", Some(name)),
            Some(Of::WholeSite(_)) => ("site", None),
            None => ("", None),
        };
        Self {
            duty,
            scope,
            scope_name,
            site: check.site,
            recurrence: check.recurrence,
            starts_on: day(check.starts_on),
            ends_on: day(check.ends_on),
            grace_days: check.grace_days,
            by_whom: some(check.by_whom),
            note: some(check.note),
            id: check.id,
        }
    }
}

impl Check {
    /// Whom it is for: `Bramble`, `all of Lontra canadensis`, `all in Otter holt`, `all at QUI`.
    pub(crate) fn spoken_scope(&self) -> String {
        match (self.scope, &self.scope_name) {
            ("animal", Some(name)) => name.clone(),
            ("species", Some(name)) => format!("all of {name}"),
            ("enclosure", Some(name)) => format!("all in {name}"),
            ("group", Some(name)) => format!("all of {name}"),
            _ => format!("all at {}", self.site),
        }
    }

    /// How often: `every week on Monday`.
    pub(crate) fn spoken_rhythm(&self) -> String {
        rhythm::spoken(&self.recurrence)
    }
}

impl Thing for Check {
    const MANY: &'static str = "checks";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(checks: &[Self], page: &mut Page) {
        let mut table = Table::new(["Duty", "For", "By", "How often", "Grace", "From", "To", "Id"]);
        for check in checks {
            table.row([
                check.duty.to_owned(),
                check.spoken_scope(),
                check.by_whom.clone().unwrap_or_default(),
                check.spoken_rhythm(),
                format!("{} d", check.grace_days),
                check.starts_on.clone().unwrap_or_default(),
                check.ends_on.clone().unwrap_or_default(),
                short(&check.id).to_owned(),
            ]);
        }
        page.table(&table);
    }
}
