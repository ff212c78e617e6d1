//! What each site may see of an animal that moves, and when.

use super::Move;
use chrono::TimeDelta;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_tests::{Park, reason};

/// How many weights of the otter a park's keeper sees, and the sites they were taken at.
async fn weights(this: &Move, park: &Park) -> Vec<String> {
    let list = v1::ListWeightsRequest { animal: this.otter.id.clone(), ..Default::default() };
    match park.keeper.client.weights().list_weights(list).await {
        Ok(list) => list.into_inner().weights.into_iter().map(|weight| weight.site).collect(),
        Err(refused) => {
            assert_eq!(reason(&refused), "NOT_FOUND");
            Vec::new()
        }
    }
}

async fn weigh(this: &Move, park: &Park) {
    this.house.clock.advance(TimeDelta::hours(1));
    let at = this.house.clock.now();
    let round = this.house.round(&park.code, &[(&this.otter.id, at, 8000)]);
    let answer = park.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
    assert_eq!(answer.answers[0].outcome(), v1::ReadingOutcome::Accepted);
}

#[tokio::test]
async fn the_destination_sees_the_whole_life_from_the_agreement_on() {
    let this = Move::proposed().await;
    weigh(&this, &this.quill).await;
    assert_eq!(weights(&this, &this.brack).await, Vec::<String>::new());
    assert_eq!(reason(&this.seen_by(&this.brack).await.unwrap_err()), "NOT_FOUND");
    // What is offered is on the transfer itself.
    let get = v1::GetTransferRequest { transfer_id: this.transfer.clone(), as_known_at: None };
    let offer = this.brack.registrar.client.transfers().get_transfer(get).await.unwrap().into_inner();
    let offer = offer.transfer.unwrap();
    assert_eq!(
        (offer.taxon.as_str(), offer.house_name.as_str(), offer.sex(), offer.born_on.unwrap().to_string()),
        ("Lontra canadensis", "Bramble", v1::Sex::Female, "2021-05".to_owned())
    );

    this.agree().await.unwrap();
    assert_eq!(weights(&this, &this.brack).await, ["QUI"]);
    assert_eq!(this.seen_by(&this.brack).await.unwrap().accession, "QUI-25-0001");
    this.house.close().await;
}

#[tokio::test]
async fn a_refusal_closes_the_view_again() {
    let this = Move::agreed().await;
    weigh(&this, &this.quill).await;
    assert_eq!(weights(&this, &this.brack).await, ["QUI"]);
    this.refuse().await.unwrap();
    assert_eq!(weights(&this, &this.brack).await, Vec::<String>::new());
    assert_eq!(reason(&this.seen_by(&this.brack).await.unwrap_err()), "NOT_FOUND");
    this.house.close().await;
}

#[tokio::test]
async fn the_sender_sees_what_was_until_it_left_and_where_it_went() {
    let this = Move::received().await;
    let mut quill_view = weights(&this, &this.quill).await;
    assert_eq!(quill_view, Vec::<String>::new());
    weigh(&this, &this.brack).await;
    quill_view = weights(&this, &this.quill).await;
    assert_eq!(quill_view, Vec::<String>::new(), "its later life is not the sender's to see");
    assert_eq!(weights(&this, &this.brack).await, ["BRA"]);
    let seen = this.seen_by(&this.quill).await.unwrap();
    assert_eq!((seen.went_to.as_str(), seen.latest_mass), ("BRA", None));
    this.house.close().await;
}

#[tokio::test]
async fn the_sender_keeps_what_it_recorded_itself() {
    let this = Move::agreed().await;
    weigh(&this, &this.quill).await;
    this.dispatch().await.unwrap();
    this.receive().await.unwrap();
    assert_eq!(weights(&this, &this.quill).await, ["QUI"]);
    assert_eq!(weights(&this, &this.brack).await, ["QUI"]);
    this.house.close().await;
}

#[tokio::test]
async fn the_other_sites_people_stay_unnamed() {
    let this = Move::received().await;
    let get = v1::GetTransferRequest { transfer_id: this.transfer.clone(), as_known_at: None };
    let seen = this.brack.registrar.client.transfers().get_transfer(get).await.unwrap().into_inner();
    let people: Vec<_> =
        seen.transfer.unwrap().steps.iter().map(|s| (s.site.clone(), s.person.clone())).collect();
    let own = |site: &str, person: &str| (site.to_owned(), person.to_owned());
    assert_eq!(
        people,
        [own("QUI", ""), own("BRA", "bra-registrar"), own("QUI", ""), own("BRA", "bra-registrar")]
    );
    this.house.close().await;
}
