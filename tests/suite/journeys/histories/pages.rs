//! Pages that people open each day: each of them is answered, whatever was recorded.

use super::stage::{Actor, GROUPS};
use super::witness::Witness;
use holt_proto::call::Call;
use holt_proto::time::day;
use holt_proto::v1;
use std::sync::Arc;

impl Witness<'_> {
    /// Opens a page of a site as its auditor.
    pub(super) async fn page(&mut self) {
        let at = self.chance.below(3);
        let who = Arc::clone(self.stage.auditor(at));
        let site = self.stage.codes[at].clone();
        let group = GROUPS[self.chance.below(GROUPS.len())].to_owned();
        let last = self.today(at);
        let days =
            Some(v1::DaySpan { first: Some(day(last - chrono::Days::new(60))), last: Some(day(last)) });
        match self.chance.below(13) {
            0 => self.answered(&who, at, v1::ListDueRequest { site, ..Default::default() }).await,
            1 => self.answered(&who, at, v1::GetSiteDayRequest { site, ..Default::default() }).await,
            2 => self.answered(&who, at, v1::ListConcernsRequest { site, ..Default::default() }).await,
            3 => {
                let ask = v1::GetCheckCoverageRequest { site, days, ..Default::default() };
                self.answered(&who, at, ask).await;
            }
            4 => self.answered(&who, at, v1::ListUnassessedRequest { site, ..Default::default() }).await,
            5 => self.answered(&who, at, v1::GetGroupRequest { site, group, ..Default::default() }).await,
            6 => self.answered(&who, at, v1::ListGroupsRequest { site, ..Default::default() }).await,
            7 => self.answered(&who, at, v1::ListLoansRequest { site, ..Default::default() }).await,
            8 => self.answered(&who, at, v1::ListMissingPapersRequest { site, ..Default::default() }).await,
            9 => self.answered(&who, at, v1::ListLivesRequest { site, ..Default::default() }).await,
            10 => {
                let ask = v1::ListEncounterAllowancesRequest { site, group, ..Default::default() };
                self.answered(&who, at, ask).await;
            }
            11 => self.answered(&who, at, v1::ListTransfersRequest { site, ..Default::default() }).await,
            _ => {
                let ask = v1::ListLittersRequest { site, also_empty: true, ..Default::default() };
                self.answered(&who, at, ask).await;
            }
        }
    }

    async fn answered<C: Call>(&mut self, who: &Actor, at: usize, call: C) {
        let answer = self.read(who, &[at], &call).await;
        let mut tally = self.tally();
        tally.pages += 1;
        if let Err(status) = answer {
            tally.violated(&format!("a page was not answered: {} {call:?}: {}", C::METHOD, status.message()));
        }
    }
}
