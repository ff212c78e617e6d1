//! What a site held, owned, named and numbered stays in its books as it was, whoever recorded the end of it.

use super::Move;
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1::{self, FactKind};
use holt_server::clock::Clock;
use holt_tests::{House, Park};

/// An otter of Quillmoor with a name, a chip, a ring, an enclosure and a group, on its way to Brackwater.
async fn on_the_way() -> Move {
    let this = Move::proposed().await;
    let registrar = &this.quill.registrar.client;
    let site = "QUI".to_owned();
    for (kind, code) in [(v1::MarkKind::Transponder, "999000000123456"), (v1::MarkKind::Ring, "Q-77")] {
        let mark = v1::NewMark { kind: kind.into(), code: code.to_owned(), place_on_body: "left".to_owned() };
        let apply = v1::ApplyMarkRequest {
            request_id: this.house.request(),
            site: site.clone(),
            animal: this.otter.id.clone(),
            mark: Some(mark),
            applied_at: None,
        };
        registrar.marks().apply_mark(apply).await.unwrap();
    }
    this.house.enclosure(&this.quill, "Weir").await;
    let place = v1::PlaceAnimalsRequest {
        request_id: this.house.request(),
        site: site.clone(),
        animals: vec![this.otter.id.clone()],
        enclosure: "Weir".to_owned(),
        placed_at: None,
    };
    registrar.placements().place_animals(place).await.unwrap();
    let create = v1::CreateGroupRequest {
        request_id: this.house.request(),
        site: site.clone(),
        name: "Weir family".to_owned(),
        note: String::new(),
    };
    registrar.groups().create_group(create).await.unwrap();
    let join = v1::JoinGroupRequest {
        request_id: this.house.request(),
        site,
        group: "Weir family".to_owned(),
        animals: vec![this.otter.id.clone()],
        role: v1::GroupRole::Breeding.into(),
        joined_at: None,
    };
    registrar.groups().join_group(join).await.unwrap();
    this.house.clock.advance(TimeDelta::days(2));
    this.agree().await.unwrap();
    this.dispatch().await.unwrap();
    this.house.clock.advance(TimeDelta::hours(5));
    this
}

/// What stands of the animal in the books of a park: kind and words of what is about the park itself.
async fn books(house: &House, park: &Park, animal: &str) -> Vec<(FactKind, String)> {
    let get =
        v1::GetHistoryRequest { animal: animal.to_owned(), site: park.code.clone(), ..Default::default() };
    let history = park.registrar.client.history().get_history(get).await.unwrap().into_inner();
    assert!(history.page.unwrap().next_token.is_empty(), "all on one page");
    let _ = house;
    let own = history.facts.into_iter().filter(|fact| fact.superseded_at.is_none() && fact.site == park.code);
    own.map(|fact| (fact.kind(), fact.say)).collect()
}

/// The animal as the registrar of Quillmoor sees it as of the day before it left.
async fn as_of_before(this: &Move) -> (v1::Animal, Vec<v1::Animal>) {
    let as_of = Some("2026-03-03".parse().unwrap());
    let client = this.quill.registrar.client.animals();
    let get = v1::GetAnimalRequest {
        site: "QUI".to_owned(),
        animal: this.otter.id.clone(),
        as_of,
        ..Default::default()
    };
    let animal = client.clone().get_animal(get).await.unwrap().into_inner().animal.unwrap();
    let list = v1::ListAnimalsRequest { site: "QUI".to_owned(), as_of, ..Default::default() };
    let animals = client.clone().list_animals(list).await.unwrap().into_inner().animals;
    (animal, animals)
}

/// The books of Quillmoor are whole: nothing that was in them before has gone, and what they tell of the past is
/// the same.
async fn whole(this: &Move, before: &[(FactKind, String)], past: &(v1::Animal, Vec<v1::Animal>)) {
    let after = books(&this.house, &this.quill, &this.otter.id).await;
    for kind in [
        FactKind::Holding,
        FactKind::Title,
        FactKind::Mark,
        FactKind::Accession,
        FactKind::Placement,
        FactKind::Membership,
    ] {
        let count = |books: &[(FactKind, String)]| books.iter().filter(|(of, _)| *of == kind).count();
        assert_eq!(count(&after), count(before), "{kind:?}: {before:#?}\n{after:#?}");
    }
    let (animal, animals) = as_of_before(this).await;
    let told = |animal: &v1::Animal| {
        let mut marks: Vec<String> = animal.marks.iter().map(|mark| mark.code.clone()).collect();
        marks.sort();
        (
            animal.house_name.clone(),
            animal.accession.clone(),
            animal.owner.clone(),
            animal.enclosure.clone(),
            marks,
        )
    };
    assert_eq!(told(&animal), told(&past.0));
    assert_eq!(animals.iter().map(told).collect::<Vec<_>>(), past.1.iter().map(told).collect::<Vec<_>>());
    assert_eq!(animal.marks.len(), 3, "name, chip and ring");
}

/// Who recorded it is told apart: the site, and nobody of it by name.
async fn told_apart(this: &Move) {
    let get =
        v1::GetHistoryRequest { animal: this.otter.id.clone(), site: "QUI".to_owned(), ..Default::default() };
    let history = this.quill.registrar.client.history().get_history(get).await.unwrap().into_inner();
    let holding = history
        .facts
        .iter()
        .find(|fact| fact.kind() == FactKind::Holding && fact.superseded_at.is_none() && fact.site == "QUI")
        .unwrap();
    assert_eq!((holding.recorded_at_site.as_str(), holding.recorded_by.as_str()), ("BRA", ""), "{holding:?}");
    let name = history.facts.iter().find(|fact| fact.kind() == FactKind::Accession).unwrap();
    assert_eq!((name.recorded_at_site.as_str(), name.recorded_by.as_str()), ("QUI", "qui-registrar"));
}

#[tokio::test]
async fn a_receipt_takes_nothing_out_of_the_senders_books() {
    let this = on_the_way().await;
    let before = books(&this.house, &this.quill, &this.otter.id).await;
    let past = as_of_before(&this).await;
    this.receive().await.unwrap();
    whole(&this, &before, &past).await;
    told_apart(&this).await;
    // Its later life takes nothing out of them either: another name, another chip, and its death.
    this.house.clock.advance(TimeDelta::days(3));
    let registrar = &this.brack.registrar.client;
    for mark in this.seen_by(&this.brack).await.unwrap().marks {
        let end = v1::EndMarkRequest {
            request_id: this.house.request(),
            site: "BRA".to_owned(),
            animal: this.otter.id.clone(),
            mark_id: mark.id,
            why: "it goes by another here".to_owned(),
            ..Default::default()
        };
        registrar.marks().end_mark(end).await.unwrap();
    }
    whole(&this, &before, &past).await;
    let died = v1::RecordDeathRequest {
        request_id: this.house.request(),
        site: "BRA".to_owned(),
        animal: this.otter.id.clone(),
        died_on: Some("2026-03-07".parse().unwrap()),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    registrar.animals().record_death(died).await.unwrap();
    whole(&this, &before, &past).await;
    this.house.close().await;
}

#[tokio::test]
async fn a_death_on_the_way_that_the_destination_reports_takes_nothing_out_of_them() {
    let this = on_the_way().await;
    let before = books(&this.house, &this.quill, &this.otter.id).await;
    let past = as_of_before(&this).await;
    this.lose(&this.brack, v1::TransferLoss::Death).await.unwrap();
    whole(&this, &before, &past).await;
    told_apart(&this).await;
    this.house.close().await;
}

#[tokio::test]
async fn an_escape_on_the_way_that_the_destination_reports_takes_nothing_out_of_them() {
    let this = on_the_way().await;
    let before = books(&this.house, &this.quill, &this.otter.id).await;
    let past = as_of_before(&this).await;
    this.lose(&this.brack, v1::TransferLoss::Escape).await.unwrap();
    whole(&this, &before, &past).await;
    told_apart(&this).await;
    this.house.close().await;
}

/// It had not died: all that ended with its death is as it was, and its arrival is recorded with its own times.
#[tokio::test]
async fn a_death_on_the_way_that_was_not_brings_all_back_and_it_arrives_after_all() {
    let this = on_the_way().await;
    let before = books(&this.house, &this.quill, &this.otter.id).await;
    let (left, came) = (this.house.clock.now() - TimeDelta::hours(5), this.house.clock.now());
    this.lose(&this.brack, v1::TransferLoss::Death).await.unwrap();
    this.house.clock.advance(TimeDelta::days(1));
    let history =
        v1::GetHistoryRequest { animal: this.otter.id.clone(), site: "QUI".to_owned(), ..Default::default() };
    let registrar = &this.quill.registrar.client;
    let facts = registrar.send(history).await.unwrap().facts;
    let death = facts.iter().find(|fact| fact.kind() == FactKind::Death).unwrap();
    let withdraw = v1::WithdrawFactRequest {
        request_id: this.house.request(),
        site: "QUI".to_owned(),
        animal: this.otter.id.clone(),
        fact_id: death.id.clone(),
        because: "it was another crate".to_owned(),
        ..Default::default()
    };
    registrar.send(withdraw).await.unwrap();
    let lasts = |books: &[(FactKind, String)]| {
        let mut kept: Vec<(String, String)> = books
            .iter()
            .filter(|(kind, _)| *kind != FactKind::Transfer)
            .map(|(kind, say)| (kind.as_str_name().to_owned(), say.clone()))
            .collect();
        kept.sort();
        kept
    };
    assert_eq!(lasts(&books(&this.house, &this.quill, &this.otter.id).await), lasts(&before));
    assert_eq!(this.seen_by(&this.quill).await.unwrap().owner, "QUI");

    let propose = v1::ProposeTransferRequest {
        request_id: this.house.request(),
        site: "QUI".to_owned(),
        animal: this.otter.id.clone(),
        to_site: "BRA".to_owned(),
        terms: v1::TransferTerms::TitlePasses.into(),
        why: "as agreed".to_owned(),
        proposed_at: Some(timestamp(left)),
        ..Default::default()
    };
    let transfer_id = registrar.send(propose).await.unwrap().transfer.unwrap().id;
    let agree = v1::AgreeTransferRequest {
        request_id: this.house.request(),
        transfer_id: transfer_id.clone(),
        agreed_at: Some(timestamp(left)),
        ..Default::default()
    };
    this.brack.registrar.client.send(agree).await.unwrap();
    let dispatch = v1::DispatchTransferRequest {
        request_id: this.house.request(),
        transfer_id: transfer_id.clone(),
        dispatched_at: Some(timestamp(left)),
        ..Default::default()
    };
    registrar.send(dispatch).await.unwrap();
    let receive = v1::ReceiveTransferRequest {
        request_id: this.house.request(),
        transfer_id,
        received_at: Some(timestamp(came)),
        ..Default::default()
    };
    this.brack.registrar.client.send(receive).await.unwrap();
    let there = this.seen_by(&this.brack).await.unwrap();
    assert_eq!((there.holder.as_str(), there.owner.as_str(), there.marks.len()), ("BRA", "BRA", 3));
    this.house.close().await;
}
