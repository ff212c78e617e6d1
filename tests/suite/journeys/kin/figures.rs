//! What is shown of a family whose founders are known, and what is refused.

use super::{compared, family, figures, kin_of, spoken};
use crate::journeys::merges::{asked, wrong};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_tests::reason;
use v1::Kin::{Dam, FullSibling, HalfSibling, Offspring, Sire};

#[tokio::test]
async fn the_kin_of_an_animal_are_shown_with_their_kinship() {
    let books = family().await;
    let heron =
        v1::RegisterArrivalRequest { sex: v1::Sex::Male.into(), ..books.arrival("Heron", "2024-03-01") };
    books.arrived(heron).await.unwrap();
    books.young("Pip", v1::Sex::Unknown, "Fern", "Rush", "2025-05-01").await;
    books.young("Wren", v1::Sex::Unknown, "Bramble", "Heron", "2025-06-01").await;
    let told = kin_of(&books.park.keeper, "QUI", "Fern").await.unwrap();
    let near = |name: &str, kin, figures| (name.to_owned(), kin, figures);
    assert_eq!(
        spoken(&told),
        [
            near("Bramble", Dam, [2500; 3]),
            near("Alder", Sire, [2500; 3]),
            near("Pip", Offspring, [3750; 3]),
            near("Rush", FullSibling, [2500; 3]),
            // Heron came from a collection: he may be kin to her.
            near("Wren", HalfSibling, [1250, 1250, 3750]),
        ]
    );
    assert_eq!(figures(told.inbreeding), [0; 3]);
    let pip = kin_of(&books.park.auditor, "QUI", "Pip").await.unwrap();
    assert_eq!(figures(pip.inbreeding), [2500; 3], "of siblings");
    let generations: Vec<i32> = pip.ancestors.iter().map(|one| one.generation).collect();
    assert_eq!(generations, [1, 1, 2, 2, 2, 2]);
    assert_eq!(pip.ancestors.iter().filter(|one| one.founder).count(), 4, "two, each as a parent of two");
    assert!(pip.assumption.contains("unrelated"), "{}", pip.assumption);
    assert_eq!(pip.left_out, Vec::<String>::new());
    books.house.close().await;
}

#[tokio::test]
async fn a_pair_or_a_group_is_compared() {
    let books = family().await;
    let told = compared(&books.park.keeper, "QUI", &["Fern", "Rush", "Bramble", "Fern"]).await.unwrap();
    assert_eq!(told.members.len(), 3, "named twice, an animal is one");
    let pairs: Vec<_> = told.pairs.iter().map(|pair| figures(pair.kinship)).collect();
    assert_eq!(pairs, [[2500; 3]; 3]);
    // Three times a half on the diagonal, six times a quarter beside it.
    assert!((told.gene_diversity - (1.0 - 3.0 / 9.0)).abs() < 1e-12, "{}", told.gene_diversity);
    books.group("Weir family").await.unwrap();
    books.joined(books.joining(&["Fern", "Rush"], v1::GroupRole::Member)).await.unwrap();
    let (site, group) = ("QUI".to_owned(), "weir family".to_owned());
    let compare = v1::CompareKinshipRequest { site, group, ..Default::default() };
    let told =
        books.park.keeper.client.kinship().compare_kinship(compare.clone()).await.unwrap().into_inner();
    assert_eq!((told.members.len(), told.pairs.len()), (2, 1));
    let both = v1::CompareKinshipRequest { animals: vec!["Fern".to_owned()], ..compare };
    let refused = books.park.keeper.client.kinship().compare_kinship(both).await.unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED");
    books.house.close().await;
}

#[tokio::test]
async fn what_is_not_there_is_refused() {
    let books = family().await;
    let keeper = &books.park.keeper;
    assert_eq!(reason(&kin_of(keeper, "QUI", "Nobody").await.unwrap_err()), "NOT_FOUND");
    assert_eq!(reason(&compared(keeper, "QUI", &["Fern", "Nobody"]).await.unwrap_err()), "NOT_FOUND");
    assert_eq!(reason(&compared(keeper, "QUI", &[]).await.unwrap_err()), "MALFORMED");
    for generations in [-1, 11] {
        let get = v1::GetKinRequest {
            site: "QUI".to_owned(),
            animal: "Fern".to_owned(),
            generations,
            as_known_at: None,
        };
        let refused = keeper.client.kinship().get_kin(get).await.unwrap_err();
        assert_eq!(reason(&refused), "MALFORMED", "{generations}");
    }
    let many: Vec<String> = (0..101).map(|n| format!("Otter {n}")).collect();
    for name in &many {
        books.house.otter(&books.park, name).await;
    }
    let many: Vec<&str> = many.iter().map(String::as_str).collect();
    assert_eq!(reason(&compared(keeper, "QUI", &many).await.unwrap_err()), "TOO_MUCH");
    books.house.close().await;
}

/// A wrong sire is withdrawn: from then on he is no kin; as known before, he was.
#[tokio::test]
async fn a_parent_that_is_withdrawn_is_no_kin_any_longer() {
    let books = family().await;
    let before = books.house.clock.now();
    books.house.clock.advance(chrono::TimeDelta::hours(1));
    let ask =
        v1::GetHistoryRequest { site: "QUI".to_owned(), animal: "Fern".to_owned(), ..Default::default() };
    let facts = books.park.auditor.client.history().get_history(ask).await.unwrap().into_inner().facts;
    let sire = facts.iter().find(|fact| fact.kind() == v1::FactKind::Parent && fact.say.starts_with("sire "));
    let withdraw = v1::WithdrawFactRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: "Fern".to_owned(),
        fact_id: sire.unwrap().id.clone(),
        because: "another male was there".to_owned(),
        ..Default::default()
    };
    books.park.registrar.client.corrections().withdraw_fact(withdraw).await.unwrap();
    let told = kin_of(&books.park.keeper, "QUI", "Fern").await.unwrap();
    let rush = spoken(&told).into_iter().find(|(name, ..)| name == "Rush").unwrap();
    assert_eq!((rush.1, rush.2), (HalfSibling, [1250, 1250, 3750]), "what is unknown may be the same sire");
    assert!(!spoken(&told).iter().any(|(name, ..)| name == "Alder"));
    let then = v1::GetKinRequest {
        site: "QUI".to_owned(),
        animal: "Fern".to_owned(),
        as_known_at: Some(timestamp(before)),
        ..Default::default()
    };
    let then = books.park.keeper.client.kinship().get_kin(then).await.unwrap().into_inner();
    assert!(spoken(&then).iter().any(|(name, kin, _)| name == "Alder" && *kin == Sire));
    books.house.close().await;
}

/// Two records of one dam make half siblings of full ones, until they are linked, and again when the link goes.
#[tokio::test]
async fn records_that_are_linked_are_one_parent() {
    let books = family().await;
    let moss = v1::RegisterArrivalRequest {
        source: v1::ArrivalSource::Wild.into(),
        ..books.arrival("Moss", "2024-03-01")
    };
    books.arrived(moss).await.unwrap();
    books.young("Reed", v1::Sex::Female, "Moss", "Alder", "2025-05-01").await;
    let reed = async |name: &str| {
        let told = spoken(&kin_of(&books.park.keeper, "QUI", name).await.unwrap());
        told.into_iter().find(|(name, ..)| name == "Reed").map(|(_, kin, figures)| (kin, figures))
    };
    assert_eq!(reed("Fern").await, Some((HalfSibling, [1250; 3])));
    assert_eq!(reed("Bramble").await, None);
    books.house.clock.advance(chrono::TimeDelta::hours(1));
    let mut merges = books.park.registrar.client.merges();
    let merge = asked(&books.house, "QUI", "Bramble", "Moss");
    let merged = merges.merge_animals(merge).await.unwrap().into_inner();
    assert_eq!(reed("Fern").await, Some((FullSibling, [2500; 3])));
    assert_eq!(reed("Bramble").await, Some((Offspring, [2500; 3])));
    let dams: Vec<String> = kin_of(&books.park.keeper, "QUI", "Reed")
        .await
        .unwrap()
        .relatives
        .into_iter()
        .filter(|one| one.kin() == Dam)
        .filter_map(|one| one.animal)
        .map(|one| one.house_name)
        .collect();
    assert_eq!(dams, ["Bramble"]);
    books.house.clock.advance(chrono::TimeDelta::hours(1));
    let wrong = wrong(&books.house, "QUI", "Bramble", &merged.merge_id);
    merges.unmerge_animals(wrong).await.unwrap();
    assert_eq!(reed("Fern").await, Some((HalfSibling, [1250; 3])));
    assert_eq!(reed("Bramble").await, None);
    books.house.close().await;
}
