//! Random merges and what is recorded between them, taken back in a random order: nothing is lost.

use super::{Books, conflicts, picture, resolved, stock};
use chrono::TimeDelta;
use holt_audit::chance::Chance;
use holt_proto::v1;
use holt_tests::reason;

/// How many histories are drawn.
const HISTORIES: u64 = 12;

/// Records of one park with whatever can contradict one another.
async fn records(books: &Books, draw: &mut Chance) -> Vec<String> {
    for name in ["Weir", "Pool"] {
        books.house.enclosure(&books.quill, name).await;
    }
    let mut ids = vec![books.bramble.id.clone(), books.sedge.id.clone()];
    for n in 0..3 {
        let born = format!("20{}-0{}", 15 + draw.below(5), 1 + draw.below(9));
        let arrived = format!("2025-0{}-1{}", 1 + draw.below(5), draw.below(10));
        let arrival = v1::RegisterArrivalRequest {
            born_on: Some(born.parse().unwrap()),
            ..books.house.arrival(&books.quill, &format!("Otter{n}"), arrived.parse().unwrap())
        };
        let arrived = books.quill.registrar.client.animals().register_arrival(arrival).await.unwrap();
        ids.push(arrived.into_inner().animal.unwrap().id);
    }
    for id in &ids {
        for _ in 0..draw.below(3) {
            books.weigh(id, 7_900 + i64::try_from(draw.below(200)).unwrap()).await;
        }
        if draw.happens(0.5) {
            let place = v1::PlaceAnimalsRequest {
                request_id: books.house.request(),
                site: "QUI".to_owned(),
                animals: vec![id.clone()],
                enclosure: ["Weir", "Pool"][draw.below(2)].to_owned(),
                placed_at: None,
            };
            books.quill.registrar.client.placements().place_animals(place).await.unwrap();
        }
    }
    if draw.happens(0.5) {
        let death = v1::RecordDeathRequest {
            request_id: books.house.request(),
            site: "QUI".to_owned(),
            animal: ids[2].clone(),
            died_on: Some("2025-12-01".parse().unwrap()),
            manner: v1::DeathManner::Natural.into(),
            ..Default::default()
        };
        // Refused where something was recorded of it since.
        let _ = books.quill.registrar.client.animals().record_death(death).await;
    }
    ids
}

/// Says of each pair that a refusal lists, which of the two stands.
fn say(refused: &tonic::Status, draw: &mut Chance, resolve: &mut Vec<v1::Resolution>) {
    for (_, facts) in conflicts(refused) {
        let fact_id = facts[draw.below(2)].2.clone();
        if !resolve.iter().any(|one| facts.iter().any(|fact| fact.2 == one.fact_id)) {
            resolve.push(v1::Resolution { fact_id, ..Default::default() });
        }
    }
}

#[tokio::test]
async fn after_all_merges_are_taken_back_each_record_is_as_it_was() {
    let mut merged = 0;
    for seed in 0..HISTORIES {
        let mut draw = Chance::seeded(seed);
        let books = Books::new().await;
        let ids = records(&books, &mut draw).await;
        let all: Vec<&str> = ids.iter().map(String::as_str).collect();
        books.house.clock.advance(TimeDelta::minutes(1));
        let before = picture(&books, &all).await;
        let mut links = Vec::new();
        for _ in 0..4 {
            let mut pair = all.clone();
            draw.shuffle(&mut pair);
            let mut resolve = Vec::new();
            for _ in 0..4 {
                match resolved(&books, pair[0], pair[1], resolve.clone()).await {
                    Ok(answer) => {
                        links.push(answer.merge_id);
                        break;
                    }
                    Err(refused) if refused.message().contains("one animal already") => break,
                    Err(refused) => {
                        assert_eq!(reason(&refused), "MERGE_CONFLICT", "{seed}: {refused:?}");
                        say(&refused, &mut draw, &mut resolve);
                    }
                }
            }
            stock(&books).await;
            books.house.check().await;
        }
        merged += links.len();
        draw.shuffle(&mut links);
        for link in links {
            undo(&books, &all, &link, &mut draw, seed).await;
            stock(&books).await;
            books.house.check().await;
        }
        assert_eq!(picture(&books, &all).await, before, "seed {seed}");
        books.house.close().await;
    }
    assert!(merged > 20, "only {merged} were merged");
}

/// Takes a merge back, whichever animal it is of by now.
async fn undo(books: &Books, all: &[&str], link: &str, draw: &mut Chance, seed: u64) {
    let mut resolve = Vec::new();
    for _ in 0..4 {
        let mut conflict = None;
        for record in all {
            let ask = v1::UnmergeAnimalsRequest {
                resolve: resolve.clone(),
                ..super::wrong(&books.house, "QUI", record, link)
            };
            match books.quill.registrar.client.merges().unmerge_animals(ask).await {
                Ok(_) => return,
                Err(refused) if reason(&refused) == "NOT_FOUND" => {}
                Err(refused) => conflict = Some(refused),
            }
        }
        let refused = conflict.unwrap_or_else(|| panic!("seed {seed}: the link {link} is of no animal"));
        assert_eq!(reason(&refused), "MERGE_CONFLICT", "seed {seed}: {refused:?}");
        say(&refused, draw, &mut resolve);
    }
    panic!("seed {seed}: the link {link} was not taken back");
}
