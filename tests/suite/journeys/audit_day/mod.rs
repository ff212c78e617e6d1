//! An auditor asks how a site stands as of a day.
//!
//! March 2026 at Quill, worked by hand in [`Month`]. The clocks go forward in Dublin on Sunday the 29th
//! (Directive 2000/84/EC: the last Sunday of March at 01:00 UTC).

mod as_of;
mod figures;
mod same_bytes;
mod under_way;

use chrono::{DateTime, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_tests::{House, Park};
use prost::Message;

/// What happened in March.
///
/// Weighing falls due on Mondays, the 2nd, 9th, 16th, 23rd and 30th, for river otters, with two days of
/// grace. A day counts for the Monday that is nearest to it, so three days after is late:
///
/// | | 2nd | 9th | 16th | 23rd | 30th |
/// |---|---|---|---|---|---|
/// | Bramble | on the day | a day early | two days after | three days after: late | – |
/// | Sedge | – | on the day | – | tried on 24th to 27th | – |
/// | Teasel | by eye: does not count | – | – | – | – |
/// | Dab, who dies on the 18th | on the day | on the day | within grace: nobody's fault | | |
///
/// Assessment falls due on the last day of each month, for the whole site, without grace. On the 31st
/// Bramble is assessed at half past eleven in the evening of Dublin, and Sedge an hour later, which is April;
/// Teasel was on the 20th, nearer to the 31st than to the end of February. Rush, of another species, came on
/// the 10th and is neither weighed nor assessed.
pub(super) struct Month {
    pub(super) house: House,
    pub(super) quill: Park,
    pub(super) brack: Park,
    pub(super) transfer: String,
}

pub(super) fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

impl Month {
    /// The month, seen from the second of April.
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        house.clock.set(utc("2026-02-01T09:00:00Z"));
        let quill = house.quill().await;
        let brack = house.park("BRA", "America/Halifax").await;
        house.taxon(&quill, "Lutra lutra", "Eurasian otter").await;
        house.load_protocol(&house.steward().await).await;
        let mut month = Self { house, quill, brack, transfer: String::new() };
        for (name, sex) in [
            ("Bramble", v1::Sex::Female),
            ("Sedge", v1::Sex::Male),
            ("Teasel", v1::Sex::Unknown),
            ("Dab", v1::Sex::Female),
        ] {
            month.arrive(name, "Lontra canadensis", sex, "2025-03-01").await;
        }
        let lontra = v1::check_scope::Of::Taxon("Lontra canadensis".to_owned());
        month.check(v1::Duty::Weigh, lontra, "FREQ=WEEKLY;BYDAY=MO", "2026-03-02", 2).await;
        let all = v1::check_scope::Of::WholeSite(true);
        month.check(v1::Duty::Assess, all, "FREQ=MONTHLY;BYMONTHDAY=-1", "2026-01-31", 0).await;
        // Over before the month began.
        let over = month.propose("Bramble").await;
        month.cancel(&over).await;
        month.pass().await;
        month.house.clock.set(utc("2026-04-02T09:00:00Z"));
        month
    }

    /// The days of March, each as it comes.
    async fn pass(&mut self) {
        self.weigh("2026-03-02T08:00:00Z", "Bramble", Some(8000)).await;
        self.weigh("2026-03-02T08:01:00Z", "Dab", Some(7900)).await;
        self.judge_by_eye("2026-03-02T08:02:00Z", "Teasel", 8100).await;
        self.weigh("2026-03-08T08:00:00Z", "Bramble", Some(8020)).await;
        self.weigh("2026-03-09T08:00:00Z", "Sedge", Some(8200)).await;
        self.weigh("2026-03-09T08:01:00Z", "Dab", Some(7910)).await;
        self.house.clock.set(utc("2026-03-10T12:00:00Z"));
        self.arrive("Rush", "Lutra lutra", v1::Sex::Male, "2026-03-10").await;
        self.house.clock.set(utc("2026-03-18T07:00:00Z"));
        self.die("Dab", "2026-03-18").await;
        self.weigh("2026-03-18T08:00:00Z", "Bramble", Some(8010)).await;
        self.house.clock.set(utc("2026-03-20T09:00:00Z"));
        self.transfer = self.propose("Teasel").await;
        self.assess("2026-03-20T10:00:00Z", "Teasel").await;
        self.house.clock.set(utc("2026-03-25T09:00:00Z"));
        self.weigh("2026-03-24T08:00:00Z", "Sedge", None).await;
        self.agree().await;
        self.weigh("2026-03-25T10:00:00Z", "Sedge", None).await;
        self.weigh("2026-03-26T08:00:00Z", "Bramble", Some(8030)).await;
        self.weigh("2026-03-26T08:01:00Z", "Sedge", None).await;
        self.weigh("2026-03-27T08:00:00Z", "Sedge", None).await;
        self.assess("2026-03-31T22:30:00Z", "Bramble").await;
        self.assess("2026-03-31T23:30:00Z", "Sedge").await;
    }

    async fn arrive(&self, name: &str, taxon: &str, sex: v1::Sex, on: &str) {
        let arrival = v1::RegisterArrivalRequest {
            taxon: taxon.to_owned(),
            sex: sex.into(),
            ..self.house.arrival(&self.quill, name, on.parse().unwrap())
        };
        self.quill.registrar.client.animals().register_arrival(arrival).await.unwrap();
    }

    async fn check(&self, duty: v1::Duty, of: v1::check_scope::Of, rule: &str, starts: &str, grace: i32) {
        let check = v1::CreateCheckRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            duty: duty.into(),
            scope: Some(v1::CheckScope { of: Some(of) }),
            recurrence: rule.to_owned(),
            starts_on: Some(starts.parse().unwrap()),
            grace_days: grace,
            note: String::new(),
            by_whom: String::new(),
        };
        self.quill.registrar.client.checks().create_check(check).await.unwrap();
    }

    /// Weighs an animal at an instant, a minute before it is recorded; without a mass, it declined.
    pub(super) async fn weigh(&self, at: &str, animal: &str, grams: Option<i64>) {
        self.read(at, animal, grams, v1::WeighingMethod::Trained).await;
    }

    async fn judge_by_eye(&self, at: &str, animal: &str, grams: i64) {
        self.read(at, animal, Some(grams), v1::WeighingMethod::Estimate).await;
    }

    async fn read(&self, at: &str, animal: &str, grams: Option<i64>, method: v1::WeighingMethod) {
        let at = utc(at);
        if self.house.clock.now() < at {
            self.house.clock.set(at);
        }
        let mut round = self.house.round("QUI", &[(animal, at, grams.unwrap_or(1))]);
        round.readings[0].method = method.into();
        if grams.is_none() {
            round.readings[0].result = Some(v1::reading::Result::Tried(v1::Tried {}));
        }
        let answer = self.quill.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
        assert_eq!(answer.answers[0].outcome(), v1::ReadingOutcome::Accepted, "{answer:?}");
    }

    async fn assess(&self, at: &str, animal: &str) {
        let at = utc(at);
        self.house.clock.set(at);
        let assessment = v1::RecordAssessmentRequest {
            assessed_at: Some(timestamp(at)),
            ..self.house.assessment("QUI", animal, &[("gait", "even")])
        };
        self.quill.keeper.client.assessments().record_assessment(assessment).await.unwrap();
    }

    pub(super) async fn die(&self, animal: &str, on: &str) {
        let death = v1::RecordDeathRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            died_on: Some(on.parse().unwrap()),
            manner: v1::DeathManner::Natural.into(),
            ..Default::default()
        };
        self.quill.registrar.client.animals().record_death(death).await.unwrap();
    }

    /// Offers an animal to Brack, as a loan without an end, on a day that is not planned.
    async fn propose(&self, animal: &str) -> String {
        let propose = v1::ProposeTransferRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            to_site: "BRA".to_owned(),
            terms: v1::TransferTerms::Loan.into(),
            why: "company".to_owned(),
            ..Default::default()
        };
        let proposed = self.quill.registrar.client.transfers().propose_transfer(propose).await.unwrap();
        proposed.into_inner().transfer.unwrap().id
    }

    async fn cancel(&self, transfer: &str) {
        let cancel = v1::CancelTransferRequest {
            request_id: self.house.request(),
            transfer_id: transfer.to_owned(),
            why: "gravid".to_owned(),
            version: 0,
        };
        self.quill.registrar.client.transfers().cancel_transfer(cancel).await.unwrap();
    }

    async fn agree(&self) {
        let agree = v1::AgreeTransferRequest {
            request_id: self.house.request(),
            transfer_id: self.transfer.clone(),
            ..Default::default()
        };
        self.brack.registrar.client.transfers().agree_transfer(agree).await.unwrap();
    }

    /// Teasel leaves now and arrives an hour later.
    pub(super) async fn move_teasel(&self) {
        let dispatch = v1::DispatchTransferRequest {
            request_id: self.house.request(),
            transfer_id: self.transfer.clone(),
            ..Default::default()
        };
        self.quill.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
        self.house.clock.advance(chrono::TimeDelta::hours(1));
        let receive = v1::ReceiveTransferRequest {
            request_id: self.house.request(),
            transfer_id: self.transfer.clone(),
            ..Default::default()
        };
        self.brack.registrar.client.transfers().receive_transfer(receive).await.unwrap();
    }

    /// The question for a day and what was known at an instant, over 31 days.
    pub(super) fn question(as_of: &str, known_at: Option<&str>) -> v1::GetSiteDayRequest {
        v1::GetSiteDayRequest {
            site: "QUI".to_owned(),
            as_of: Some(as_of.parse().unwrap()),
            span_days: 31,
            as_known_at: known_at.map(|at| timestamp(utc(at))),
        }
    }

    pub(super) async fn ask(&self, question: v1::GetSiteDayRequest) -> v1::GetSiteDayResponse {
        self.quill.auditor.client.reports().get_site_day(question).await.unwrap().into_inner()
    }

    /// How Quill stands as of a day, as is known now.
    pub(super) async fn quill_as_of(&self, day: &str) -> v1::SiteDay {
        self.ask(Self::question(day, None)).await.sites.remove(0)
    }

    pub(super) async fn bytes(&self, question: v1::GetSiteDayRequest) -> Vec<u8> {
        self.ask(question).await.encode_to_vec()
    }
}

/// `species males.females.unknown`, as a stock list says it.
pub(super) fn stock(day: &v1::SiteDay) -> Vec<String> {
    let counts = |held: &v1::Counts| format!("{}.{}.{}", held.males, held.females, held.unknown);
    let species = day.stock.iter().map(|line| {
        let name = &line.taxon.as_ref().unwrap().scientific_name;
        format!("{name} {}", counts(line.held.as_ref().unwrap()))
    });
    species.chain([format!("all {}", counts(day.total.as_ref().unwrap()))]).collect()
}

/// Coverage of a duty: due, in time, late, missed, open.
pub(super) fn coverage(day: &v1::SiteDay, duty: v1::Duty) -> [i32; 5] {
    let told = day.coverage.iter().find(|one| one.duty() == duty).unwrap();
    [told.due, told.done_in_time, told.late, told.missed, told.open]
}

/// What is overdue: animal, duty, due since, days late, due days open.
pub(super) fn overdue(day: &v1::SiteDay) -> Vec<(String, v1::Duty, String, i32, i32)> {
    day.overdue
        .iter()
        .map(|item| {
            let since = item.due_on.unwrap().to_string();
            (item.house_name.clone(), item.duty(), since, item.days_late, item.open_dues)
        })
        .collect()
}
