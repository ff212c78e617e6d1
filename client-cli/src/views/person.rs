//! People and what they may do.

use super::Thing;
use super::row::row;
use crate::output::{Answer, Page, Table};
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// A role at a site, or at every site.
#[derive(Clone, Serialize)]
pub(crate) struct Grant {
    role: &'static str,
    /// None where it holds at every site.
    site: Option<String>,
}

/// A person.
#[derive(Clone, Serialize)]
pub(crate) struct Person {
    pub(crate) name: String,
    pub(crate) sign_in_name: String,
    grants: Vec<Grant>,
    id: String,
}

row! {
    /// A person as a line.
    Row of one: Person {
        name, sign_in_name, grants: one.spoken_grants(), id,
    }
}

impl From<v1::Person> for Person {
    fn from(person: v1::Person) -> Self {
        let grants = person.grants.into_iter().map(|grant| Grant {
            role: grant.role().word(),
            site: (!grant.every_site).then_some(grant.site),
        });
        Self { grants: grants.collect(), name: person.name, sign_in_name: person.sign_in_name, id: person.id }
    }
}

impl Person {
    /// Their roles in a sentence: `keeper at QUI, auditor at every site`.
    pub(crate) fn spoken_grants(&self) -> String {
        if self.grants.is_empty() {
            return "no role".to_owned();
        }
        let each = self.grants.iter().map(|grant| match &grant.site {
            Some(site) => format!("{} at {site}", grant.role),
            None => format!("{} at every site", grant.role),
        });
        each.collect::<Vec<_>>().join(", ")
    }
}

impl Thing for Person {
    const MANY: &'static str = "people";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(people: &[Self], page: &mut Page) {
        let mut table = Table::new(["Name", "Sign-in name", "Roles"]);
        for person in people {
            table.row([person.name.clone(), person.sign_in_name.clone(), person.spoken_grants()]);
        }
        page.table(&table);
    }
}

/// A person with a one-time password, which is told once.
#[derive(Serialize)]
pub(crate) struct WithPassword {
    /// What happened.
    #[serde(skip)]
    pub(crate) say: String,
    #[serde(flatten)]
    pub(crate) person: Person,
    pub(crate) one_time_password: String,
}

/// The same as a line.
#[derive(Default, Serialize)]
pub(crate) struct PasswordRow {
    sign_in_name: String,
    one_time_password: String,
}

impl Answer for WithPassword {
    type Row = PasswordRow;

    fn rows(&self) -> Vec<PasswordRow> {
        vec![PasswordRow {
            sign_in_name: self.person.sign_in_name.clone(),
            one_time_password: self.one_time_password.clone(),
        }]
    }

    fn page(&self, page: &mut Page) {
        page.line(&self.say);
        page.line(&format!("Sign-in name:      {}", self.person.sign_in_name));
        page.line(&format!("One-time password: {}", self.one_time_password));
        page.remark(
            "Holt shows it only this once. Hand it over in person; its owner must change it at the \
            next sign-in.",
        );
    }
}
