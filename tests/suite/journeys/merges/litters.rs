//! Young that were told apart out of a litter, their dams and their groups.

use super::{Books, conflicts, merge, resolved, stands, stock, unmerge};
use holt_proto::time::day;
use holt_proto::v1::{self, FactKind};
use holt_server::clock::Clock;
use holt_tests::reason;

/// Three young of today, of a dam where one is named.
async fn litter(books: &Books, dam: &str) -> v1::Litter {
    let born_on = books.house.clock.now().date_naive().to_string().parse().unwrap();
    let born = v1::RecordLitterRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        taxon: "Lontra canadensis".to_owned(),
        born_on: Some(born_on),
        young: Some(v1::Counts { males: 0, females: 0, unknown: 3 }),
        dam: dam.to_owned(),
        parents_because: "it bore them on the way in".to_owned(),
        ..Default::default()
    };
    let recorded = books.quill.registrar.client.litters().record_litter(born).await.unwrap();
    recorded.into_inner().litter.unwrap()
}

async fn tell_apart(books: &Books, litter: &v1::Litter) -> v1::Animal {
    let apart = v1::TellApartRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        litter_id: litter.id.clone(),
        sex: v1::Sex::Female.into(),
        ..Default::default()
    };
    books.quill.registrar.client.litters().tell_apart(apart).await.unwrap().into_inner().animal.unwrap()
}

/// A litter as it stands.
async fn of_today(books: &Books, litter: &v1::Litter) -> v1::Litter {
    let get =
        v1::GetLitterRequest { site: "QUI".to_owned(), litter_id: litter.id.clone(), ..Default::default() };
    books.quill.auditor.client.litters().get_litter(get).await.unwrap().into_inner().litter.unwrap()
}

#[tokio::test]
async fn litters_and_groups_go_with_the_animal_and_come_back() {
    let books = Books::new().await;
    let litter = litter(&books, "Sedge").await;
    let group = v1::CreateGroupRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        name: "Weir family".to_owned(),
        ..Default::default()
    };
    books.quill.registrar.client.groups().create_group(group).await.unwrap();
    let join = v1::JoinGroupRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        animals: vec!["Sedge".to_owned()],
        role: v1::GroupRole::Breeding.into(),
        ..Default::default()
    };
    books.quill.registrar.client.groups().join_group(join).await.unwrap();
    assert_eq!(books.fact("Sedge", FactKind::Membership).await.say, "belongs to Weir family (breeding)");
    let dam = async || of_today(&books, &litter).await.dam.unwrap().id;
    let merged = merge(&books, "Bramble", "Sedge").await.unwrap();
    assert_eq!(dam().await, books.bramble.id);
    assert_eq!(books.facts("Bramble", FactKind::Membership).await.len(), 1);
    unmerge(&books, &books.bramble.id, &merged.merge_id).await.unwrap();
    assert_eq!(dam().await, books.sedge.id);
    assert_eq!(books.facts("Bramble", FactKind::Membership).await, []);
    assert_eq!(books.facts("Sedge", FactKind::Membership).await.len(), 1);
    books.house.close().await;
}

#[tokio::test]
async fn one_young_that_was_told_apart_twice_is_counted_in_its_litter_again() {
    let books = Books::new().await;
    let litter = litter(&books, "").await;
    let told = [tell_apart(&books, &litter).await.accession, tell_apart(&books, &litter).await.accession];
    let left = async || of_today(&books, &litter).await.remaining.unwrap().to_string();
    assert_eq!(left().await, "0.0.1");
    let of = books.fact(&told[0], FactKind::ToldApart).await.say;
    assert!(of.starts_with("identified from the litter born "), "{of}");
    let merged = merge(&books, &told[0], &told[1]).await.unwrap();
    assert_eq!(left().await, "0.0.2");
    stock(&books).await;
    unmerge(&books, &told[0], &merged.merge_id).await.unwrap();
    assert_eq!(left().await, "0.0.1");
    books.house.close().await;
}

#[tokio::test]
async fn a_young_and_the_record_registered_for_it_are_counted_once() {
    let books = Books::new().await;
    let litter = litter(&books, "").await;
    let young = tell_apart(&books, &litter).await;
    let born = v1::RegisterBirthRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        taxon: "Lontra canadensis".to_owned(),
        born_on: Some(day(books.house.clock.now().date_naive())),
        sex: v1::Sex::Female.into(),
        ..Default::default()
    };
    let registered = books.quill.registrar.client.animals().register_birth(born).await.unwrap();
    let registered = registered.into_inner().animal.unwrap();
    let closing = async || stock(&books).await.lines[0].closing.unwrap().to_string();
    let before = closing().await;
    assert_eq!(before, "0.4.2");
    for (keep, gone) in [(&young, &registered), (&registered, &young)] {
        let refused = merge(&books, &keep.id, &gone.id).await.unwrap_err();
        assert_eq!(conflicts(&refused)[0].1[0].0, "holding", "{refused:?}");
        for (named, counted) in [(&young, "0.3.2"), (&registered, "0.3.3")] {
            let resolve = vec![stands(FactKind::Holding, &named.accession)];
            let merged = resolved(&books, &keep.id, &gone.id, resolve).await.unwrap();
            assert_eq!(closing().await, counted);
            unmerge(&books, &keep.id, &merged.merge_id).await.unwrap();
            assert_eq!(closing().await, before);
        }
    }
    books.house.close().await;
}

#[tokio::test]
async fn a_young_that_is_in_its_litter_again_may_leave_it_and_then_the_merge_stays() {
    let books = Books::new().await;
    let litter = litter(&books, "").await;
    let told = [tell_apart(&books, &litter).await, tell_apart(&books, &litter).await];
    let merged = merge(&books, &told[0].id, &told[1].id).await.unwrap();
    for _ in 0..2 {
        tell_apart(&books, &litter).await;
    }
    assert_eq!(of_today(&books, &litter).await.remaining.unwrap().to_string(), "0.0.0");
    let refused = unmerge(&books, &told[0].id, &merged.merge_id).await.unwrap_err();
    assert_eq!(reason(&refused), "MERGE_CONFLICT");
    assert!(refused.message().contains("no animal remaining"), "{}", refused.message());
    books.house.close().await;
}
