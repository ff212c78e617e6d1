//! Proposals for all sites.

use super::{Thing, short, some, written};
use crate::output::{Page, Table};
use crate::words::Word;
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// A change that a site proposes for all.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Proposal {
    state: &'static str,
    site: String,
    says: String,
    because: String,
    proposed_at: Option<String>,
    proposed_by: Option<String>,
    answer: Option<String>,
    answered_at: Option<String>,
    answered_by: Option<String>,
    document: Option<String>,
    id: String,
}

impl Proposal {
    pub(crate) fn new(proposal: v1::Proposal, zone: Tz) -> Self {
        Self {
            state: proposal.state().word(),
            site: proposal.site,
            says: proposal.says,
            because: proposal.because,
            proposed_at: written(proposal.proposed_at, zone),
            proposed_by: some(proposal.proposed_by),
            answer: some(proposal.answer),
            answered_at: written(proposal.answered_at, zone),
            answered_by: some(proposal.answered_by),
            document: proposal.document.map(|document| document.toml),
            id: proposal.id,
        }
    }

    /// The sentence that says where it stands.
    pub(crate) fn spoken(&self) -> String {
        format!("Proposal of {}, {}: {}. [{}]", self.site, self.state, self.says, short(&self.id))
    }
}

impl Thing for Proposal {
    const MANY: &'static str = "proposals";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(proposals: &[Self], page: &mut Page) {
        let mut table = Table::new(["Id", "State", "From", "Change", "Why", "Answer"]);
        for one in proposals {
            table.row([
                short(&one.id).to_owned(),
                one.state.to_owned(),
                one.site.clone(),
                one.says.clone(),
                one.because.clone(),
                one.answer.clone().unwrap_or_default(),
            ]);
        }
        page.table(&table);
    }
}
