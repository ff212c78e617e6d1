//! What is not a site's to change, it proposes; the holder accepts or declines, and both see it.

use super::{ACCEPT, Moved, born, past_the_code};
use holt_proto::time::day;
use holt_proto::v1::propose_amendment_request::Change;
use holt_proto::v1::{self, AmendmentState, AnimalStatus, FactKind};
use holt_tests::{Park, Person, reason};
use tonic::Status;

impl Moved {
    fn proposal(&self, site: &str, change: Change) -> v1::ProposeAmendmentRequest {
        v1::ProposeAmendmentRequest {
            request_id: self.house.request(),
            site: site.to_owned(),
            animal: self.otter.clone(),
            because: "our own sheet".to_owned(),
            validate_only: false,
            change: Some(change),
        }
    }

    async fn propose(&self, person: &Person, site: &str, change: Change) -> Result<v1::Amendment, Status> {
        let ask = self.proposal(site, change);
        let answer = person.client.amendments().propose_amendment(ask).await?.into_inner();
        Ok(answer.amendment.unwrap())
    }

    async fn accept(&self, person: &Person, site: &str, id: &str) -> Result<v1::Amendment, Status> {
        let ask = v1::AcceptAmendmentRequest {
            request_id: self.house.request(),
            site: site.to_owned(),
            amendment_id: id.to_owned(),
            ..Default::default()
        };
        Ok(person.client.amendments().accept_amendment(ask).await?.into_inner().amendment.unwrap())
    }

    async fn decline(&self, person: &Person, site: &str, id: &str) -> Result<v1::Amendment, Status> {
        let ask = v1::DeclineAmendmentRequest {
            request_id: self.house.request(),
            site: site.to_owned(),
            amendment_id: id.to_owned(),
            because: "it reads fine here".to_owned(),
        };
        Ok(person.client.amendments().decline_amendment(ask).await?.into_inner().amendment.unwrap())
    }

    async fn withdraw(&self, person: &Person, site: &str, id: &str) -> Result<v1::Amendment, Status> {
        let ask = v1::WithdrawAmendmentRequest {
            request_id: self.house.request(),
            site: site.to_owned(),
            amendment_id: id.to_owned(),
            because: "another animal".to_owned(),
        };
        Ok(person.client.amendments().withdraw_amendment(ask).await?.into_inner().amendment.unwrap())
    }

    async fn listed(&self, park: &Park, open_only: bool) -> Vec<v1::Amendment> {
        let ask = v1::ListAmendmentsRequest { site: park.code.clone(), open_only, ..Default::default() };
        park.auditor.client.amendments().list_amendments(ask).await.unwrap().into_inner().amendments
    }

    /// A proposal of Quill to strike out the chip.
    async fn no_chip(&self) -> v1::Amendment {
        let mark = self.fact(&self.quill.registrar, FactKind::Mark).await.id;
        self.propose(&self.quill.registrar, "QUI", Change::WithdrawnFactId(mark)).await.unwrap()
    }
}

#[tokio::test]
async fn an_accepted_correction_of_a_birth_moves_what_the_proposer_recorded_with_it() {
    let moved = Moved::new().await;
    let quill = &moved.quill.registrar;
    let fact_id = moved.fact(quill, FactKind::Birth).await.id;
    let change = v1::ProposedCorrection { fact_id, change: Some(born("2026-02-18")) };
    let proposed = moved.propose(quill, "QUI", Change::Correction(Box::new(change))).await.unwrap();
    assert_eq!(proposed.says, "correct: born on 2026-02-20; instead: born on 2026-02-18");
    assert_eq!((proposed.state(), proposed.proposed_by.as_str()), (AmendmentState::Open, "qui-registrar"));
    let [open] = moved.listed(&moved.brack, true).await.try_into().unwrap();
    assert_eq!((open.id.as_str(), open.proposed_by.as_str()), (proposed.id.as_str(), ""));
    assert_eq!(moved.at_home().await.born_on, Some("2026-02-20".parse().unwrap()), "not yet");

    let accepted = moved.accept(&moved.brack.registrar, "BRA", &proposed.id).await.unwrap();
    assert_eq!((accepted.state(), accepted.answered_site.as_str()), (AmendmentState::Accepted, "BRA"));
    assert_eq!(moved.at_home().await.born_on, Some("2026-02-18".parse().unwrap()));
    // The row is the holder's now, and what it replaced says who proposed it.
    let birth = moved.fact(&moved.brack.registrar, FactKind::Birth).await;
    assert_eq!((birth.site.as_str(), birth.say.as_str()), ("BRA", "born on 2026-02-18"));
    let why: String = sqlx::query_scalar("SELECT superseded_why FROM births WHERE superseded_at IS NOT NULL")
        .fetch_one(&mut moved.house.owner().await)
        .await
        .unwrap();
    assert_eq!(why, "corrected: our own sheet (proposed by QUI)");
    // Quill's books begin with the birth, in its own days, and are its own as before.
    let began: Vec<(String, String)> = sqlx::query_as(
        "SELECT s.code, h.began_at::text FROM holdings h JOIN sites s ON s.id = h.site_id
          WHERE h.began_how = 'birth' AND h.superseded_at IS NULL",
    )
    .fetch_all(&mut moved.house.owner().await)
    .await
    .unwrap();
    assert_eq!(began, [("QUI".to_owned(), "2026-02-18 00:00:00+00".to_owned())]);
    assert_eq!(moved.listed(&moved.quill, false).await[0].state(), AmendmentState::Accepted);
    moved.house.close().await;
}

#[tokio::test]
async fn an_accepted_withdrawal_strikes_the_fact_out_and_a_declined_one_leaves_it() {
    let moved = Moved::new().await;
    let first = moved.no_chip().await;
    let declined = moved.decline(&moved.brack.registrar, "BRA", &first.id).await.unwrap();
    assert_eq!(declined.state(), AmendmentState::Declined);
    assert_eq!(moved.at_home().await.marks.len(), 1);
    let [seen] = moved.listed(&moved.quill, false).await.try_into().unwrap();
    assert_eq!((seen.answer.as_str(), seen.answered_by.as_str()), ("it reads fine here", ""));
    // What is answered is answered.
    for answer in [
        moved.accept(&moved.brack.registrar, "BRA", &first.id).await,
        moved.withdraw(&moved.quill.registrar, "QUI", &first.id).await,
    ] {
        assert_eq!(reason(&answer.unwrap_err()), "PROPOSAL_WRONG_STATE");
    }
    let again = moved.no_chip().await;
    // Which record is meant is asked of a merge alone.
    let ask = v1::AcceptAmendmentRequest {
        request_id: moved.house.request(),
        site: "BRA".to_owned(),
        amendment_id: again.id.clone(),
        animal: moved.otter.clone(),
        ..Default::default()
    };
    let refused = moved.brack.registrar.client.send(ask).await.unwrap_err();
    assert_eq!(reason(&refused), "PROPOSAL_WRONG_STATE", "{}", refused.message());
    moved.accept(&moved.brack.registrar, "BRA", &again.id).await.unwrap();
    assert_eq!(moved.at_home().await.marks, []);
    moved.house.close().await;
}

#[tokio::test]
async fn an_accepted_death_is_recorded_by_the_holder() {
    let moved = Moved::on(v1::TransferTerms::Loan).await;
    let death = v1::ProposedDeath {
        died_on: Some(day("2026-03-02".parse().unwrap())),
        manner: v1::DeathManner::Natural.into(),
        note: "seen on a visit".to_owned(),
        ..Default::default()
    };
    let proposed = moved.propose(&moved.quill.registrar, "QUI", Change::Death(death)).await.unwrap();
    assert_eq!(proposed.says, "record its death, natural, on 2026-03-02: seen on a visit");
    assert_eq!(moved.at_home().await.status(), AnimalStatus::Held);
    moved.accept(&moved.brack.registrar, "BRA", &proposed.id).await.unwrap();
    let dead = moved.at_home().await;
    assert_eq!(dead.status(), AnimalStatus::Dead);
    assert_eq!(dead.death.unwrap().note, "seen on a visit (proposed by QUI)");
    moved.house.close().await;
}

#[tokio::test]
async fn what_was_entered_wrong_is_withdrawn_by_who_proposed_it_and_by_nobody_else() {
    let moved = Moved::new().await;
    let proposed = moved.no_chip().await;
    let refused = moved.withdraw(&moved.brack.registrar, "BRA", &proposed.id).await.unwrap_err();
    assert_eq!(reason(&refused), "HELD_ELSEWHERE", "{}", refused.message());
    let gone = moved.withdraw(&moved.quill.registrar, "QUI", &proposed.id).await.unwrap();
    assert_eq!(gone.state(), AmendmentState::Withdrawn);
    let refused = moved.accept(&moved.brack.registrar, "BRA", &proposed.id).await.unwrap_err();
    assert_eq!(reason(&refused), "PROPOSAL_WRONG_STATE");
    assert_eq!(moved.at_home().await.marks.len(), 1);
    moved.house.close().await;
}

#[tokio::test]
async fn nobody_accepts_for_the_holder_and_somebody_with_roles_at_both_only_there() {
    let moved = Moved::new().await;
    let (proposed, both) = (moved.no_chip().await, moved.of_both().await);
    for person in [&moved.quill.registrar, &both] {
        for answer in [
            moved.accept(person, "QUI", &proposed.id).await,
            moved.decline(person, "QUI", &proposed.id).await,
        ] {
            assert_eq!(reason(&answer.unwrap_err()), "HELD_ELSEWHERE");
        }
    }
    assert_eq!(
        reason(&moved.accept(&moved.brack.keeper, "BRA", &proposed.id).await.unwrap_err()),
        "ROLE_NEEDED"
    );
    let refused = moved.accept(&moved.quill.registrar, "BRA", &proposed.id).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND", "{}", refused.message());
    assert_eq!(moved.at_home().await.marks.len(), 1);
    moved.accept(&both, "BRA", &proposed.id).await.unwrap();
    assert_eq!(moved.at_home().await.marks, []);
    moved.house.close().await;
}

#[tokio::test]
async fn an_outsider_neither_proposes_nor_sees_and_a_holder_needs_to_propose_nothing() {
    let moved = Moved::new().await;
    let third = moved.house.park("THI", "Asia/Tokyo").await;
    let proposed = moved.no_chip().await;
    let mark = || Change::WithdrawnFactId(proposed.fact_id.clone());
    let refused = moved.propose(&third.registrar, "THI", mark()).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    assert_eq!(moved.listed(&third, false).await, []);
    let refused = moved.accept(&third.registrar, "THI", &proposed.id).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    let refused = moved.propose(&moved.brack.registrar, "BRA", mark()).await.unwrap_err();
    assert_eq!(reason(&refused), "PROPOSAL_WRONG_STATE", "{}", refused.message());
    // What is of a site's own books is no question for the holder.
    let weight = Change::WithdrawnFactId(moved.weight.clone());
    let refused = moved.propose(&moved.quill.registrar, "QUI", weight).await.unwrap_err();
    assert_eq!(reason(&refused), "PROPOSAL_WRONG_STATE", "{}", refused.message());
    moved.house.close().await;
}

#[tokio::test]
async fn a_new_holder_inherits_what_is_open_and_the_old_one_answers_no_longer() {
    let moved = Moved::new().await;
    let third = moved.house.park("THI", "Asia/Tokyo").await;
    let proposed = moved.no_chip().await;
    moved.pass(&moved.brack, &third, v1::TransferTerms::TitlePasses).await;
    assert_eq!(moved.listed(&moved.brack, true).await, []);
    let refused = moved.accept(&moved.brack.registrar, "BRA", &proposed.id).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    assert_eq!(moved.listed(&third, true).await.len(), 1);
    let accepted = moved.accept(&third.registrar, "THI", &proposed.id).await.unwrap();
    assert_eq!(accepted.answered_site, "THI");
    assert_eq!(moved.listed(&moved.quill, false).await[0].answered_site, "THI");
    moved.house.close().await;
}

#[tokio::test]
async fn a_fact_that_was_corrected_meanwhile_is_not_changed_by_an_old_proposal() {
    let moved = Moved::new().await;
    let proposed = moved.no_chip().await;
    let place = v1::FactChange { place_on_body: Some("right shoulder".to_owned()), ..Default::default() };
    moved.correct(&moved.brack.registrar, "BRA", &proposed.fact_id, place).await.unwrap();
    let refused = moved.accept(&moved.brack.registrar, "BRA", &proposed.id).await.unwrap_err();
    assert_eq!(reason(&refused), "VERSION_PASSED");
    assert_eq!(moved.listed(&moved.brack, true).await.len(), 1, "it is still to be declined");
    moved.house.close().await;
}

#[tokio::test]
async fn the_database_refuses_by_itself_who_may_not_propose_or_answer() {
    const PROPOSE: &str = "INSERT INTO amendments
        SELECT '00000000-0000-7000-8000-0000000000aa', $2::text::uuid, $1, 'withdrawal', $1, NULL, '{}', 'x', 'x', now(), p.id, p.id
          FROM people p LIMIT 1";
    const WITHDRAW: &str = "INSERT INTO amendment_answers
        SELECT a.id, a.animal_id, a.site_id, 'withdrawn', $1, '', now(), a.recorded_by, a.request_id FROM amendments a
         WHERE a.animal_id = $2::text::uuid";
    let moved = Moved::new().await;
    moved.house.park("THI", "Asia/Tokyo").await;
    moved.no_chip().await;
    for (site, sql, wanted) in [
        ("QUI", PROPOSE, "done"),
        ("BRA", PROPOSE, "42501"),
        ("THI", PROPOSE, "42501"),
        ("QUI", ACCEPT, "42501"),
        ("THI", ACCEPT, "42501"),
        ("BRA", ACCEPT, "done"),
        ("BRA", WITHDRAW, "42501"),
        ("QUI", WITHDRAW, "done"),
    ] {
        assert_eq!(past_the_code(&moved.house, site, &[sql], &moved.otter).await, wanted, "{site}: {sql}");
    }
    moved.house.close().await;
}
