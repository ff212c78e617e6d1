//! Whatever happens to what is on record, what is kept of weights is moved on to the same as is worked out again from the
//! first reading: each of these is played twice, and before the last round of the second all is worked out again.

use super::{Quill, at, grams, outcomes, reading};
use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::day;
use holt_proto::v1::{self, ReadingOutcome};
use holt_server::clock::Clock;
use holt_tests::Park;
use sqlx::Executor;
use uuid::Uuid;

const NAMES: [&str; 3] = ["Bramble", "Sedge", "Teasel"];
const WEEKS: usize = 16;

/// Whose row, of what, at which site, up to when; what it rests on and what it says; which readings were confirmed.
type Row = (Uuid, String, Uuid, DateTime<Utc>, String, String, Vec<Uuid>);

/// Three otters in one enclosure, week by week.
struct Scene {
    quill: Quill,
    /// Readings by week, in the order of names.
    readings: Vec<Vec<String>>,
}

fn mass(n: usize, week: usize) -> i64 {
    let noise = [0, 45, -30, 60, -55, 20, -40][(3 * n + week) % 7];
    7000 + 300 * i64::try_from(n).unwrap() + noise
}

impl Scene {
    async fn new() -> Self {
        let quill = Quill::new().await;
        let scene = Self { quill, readings: Vec::new() };
        for enclosure in ["Weir", "Pool"] {
            scene.quill.house.enclosure(&scene.quill.park, enclosure).await;
        }
        scene.places(&NAMES, "Weir").await;
        scene
    }

    async fn places(&self, animals: &[&str], enclosure: &str) {
        let place = v1::PlaceAnimalsRequest {
            request_id: self.quill.house.request(),
            site: "QUI".to_owned(),
            animals: animals.iter().map(|&name| name.to_owned()).collect(),
            enclosure: enclosure.to_owned(),
            placed_at: None,
        };
        self.quill.park.keeper.client.send(place).await.unwrap();
    }

    async fn weigh(
        &self,
        park: &Park,
        animal: &str,
        when: DateTime<Utc>,
        shown: i64,
    ) -> v1::RecordWeightsResponse {
        let mut round = self.quill.house.round(&park.code, &[]);
        round.readings.push(reading(animal, at(when), grams(shown)));
        let answer = park.keeper.client.send(round).await.unwrap();
        assert!(answer.answers[0].refusal.is_none(), "{answer:?}");
        answer
    }

    async fn rows(&self) -> Vec<Row> {
        let sql = "SELECT of_id, part, site_id, until, basis, state, confirmed FROM weight_states
                    ORDER BY of_id, part, site_id";
        sqlx::query_as(sql).fetch_all(&mut self.quill.house.owner().await).await.unwrap()
    }

    async fn corrects(&self, animal: &str, fact_id: &str, change: v1::FactChange) {
        let ask = v1::CorrectFactRequest {
            request_id: self.quill.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            fact_id: fact_id.to_owned(),
            change: Some(change),
            because: "seen on the sheet".to_owned(),
            ..Default::default()
        };
        self.quill.park.registrar.client.send(ask).await.unwrap();
    }
}

/// Weekly rounds of those that `done` names, after it did whatever happens in that week.
async fn played(anew: bool, done: &impl AsyncFn(&Scene, usize) -> Vec<&'static str>) -> Vec<Row> {
    let mut scene = Scene::new().await;
    for week in 0..WEEKS {
        let now = scene.quill.next_week();
        let weighed = done(&scene, week).await;
        if week + 1 == WEEKS && anew {
            let all = "UPDATE weight_states SET stale = true";
            scene.quill.house.owner().await.execute(all).await.unwrap();
        }
        let place = |name: &str| NAMES.iter().position(|one| *one == name).unwrap_or(0);
        let round: Vec<_> = weighed.iter().map(|name| (*name, now, mass(place(name), week))).collect();
        let answer = scene.quill.weigh(scene.quill.house.round("QUI", &round)).await;
        assert!(answer.answers.iter().all(|one| one.refusal.is_none()), "week {week}: {answer:?}");
        scene.readings.push(answer.answers.into_iter().map(|one| one.weight_id).collect());
    }
    let rows = scene.rows().await;
    scene.quill.house.close().await;
    rows
}

async fn is_the_same(done: impl AsyncFn(&Scene, usize) -> Vec<&'static str>) -> Vec<Row> {
    let (moved, anew) = (played(false, &done).await, played(true, &done).await);
    assert_eq!(moved.len(), anew.len());
    for (moved, anew) in moved.iter().zip(&anew) {
        assert_eq!(moved, anew);
    }
    moved
}

#[tokio::test]
async fn after_corrected_withdrawn_and_late_readings() {
    let rows = is_the_same(async |scene, week| {
        let before = scene.rows().await;
        match week {
            9 => {
                let heavier =
                    v1::FactChange { mass: Some(v1::Mass { milligrams: 7_900_000 }), ..Default::default() };
                scene.corrects("Teasel", &scene.readings[6][2], heavier).await;
            }
            10 => {
                let ask = v1::WithdrawFactRequest {
                    request_id: scene.quill.house.request(),
                    site: "QUI".to_owned(),
                    animal: "Bramble".to_owned(),
                    fact_id: scene.readings[7][0].clone(),
                    because: "it was another".to_owned(),
                    ..Default::default()
                };
                scene.quill.park.registrar.client.send(ask).await.unwrap();
            }
            11 => {
                let then = scene.quill.house.clock.now() - TimeDelta::weeks(5) + TimeDelta::days(2);
                scene.weigh(&scene.quill.park, "Sedge", then, 7350).await;
            }
            _ => return NAMES.to_vec(),
        }
        assert_ne!(scene.rows().await, before, "week {week}");
        NAMES.to_vec()
    })
    .await;
    assert_eq!(rows.len(), 4, "three otters and their group");
}

#[tokio::test]
async fn after_a_birth_that_was_recorded_late() {
    is_the_same(async |scene, week| {
        if week == 10 {
            let born = (scene.quill.house.clock.now() - TimeDelta::weeks(4)).date_naive();
            let birth = v1::RegisterBirthRequest {
                request_id: scene.quill.house.request(),
                site: "QUI".to_owned(),
                taxon: "Lontra canadensis".to_owned(),
                born_on: Some(day(born)),
                sex: v1::Sex::Female.into(),
                dam: "Bramble".to_owned(),
                ..Default::default()
            };
            scene.quill.park.registrar.client.send(birth).await.unwrap();
        }
        NAMES.to_vec()
    })
    .await;
}

#[tokio::test]
async fn after_one_left_the_group_and_came_back() {
    let rows = is_the_same(async |scene, week| {
        match week {
            5 => scene.places(&["Sedge"], "Pool").await,
            9 => scene.places(&["Sedge"], "Weir").await,
            _ => {}
        }
        NAMES.to_vec()
    })
    .await;
    assert_eq!(rows.len(), 5, "three otters, and two groups");
}

#[tokio::test]
async fn after_two_records_were_found_to_be_of_one_animal_and_then_not() {
    is_the_same(async |scene, week| {
        let (house, park) = (&scene.quill.house, &scene.quill.park);
        match week {
            0 => drop(house.otter(park, "Alder").await),
            3 | 4 => {
                scene.weigh(park, "Alder", house.clock.now(), 7640 + 10 * i64::try_from(week).unwrap()).await;
                return vec!["Bramble", "Sedge"];
            }
            8 => {
                let merge = v1::MergeAnimalsRequest {
                    request_id: house.request(),
                    site: "QUI".to_owned(),
                    keep: "Teasel".to_owned(),
                    give_up: "Alder".to_owned(),
                    because: "the same scars".to_owned(),
                    ..Default::default()
                };
                park.registrar.client.send(merge).await.unwrap();
            }
            12 => {
                let of = v1::GetHistoryRequest {
                    site: "QUI".to_owned(),
                    animal: "Teasel".to_owned(),
                    ..Default::default()
                };
                let history = park.auditor.client.send(of).await.unwrap();
                let merge = history.facts.iter().find(|fact| fact.kind() == v1::FactKind::Merge).unwrap();
                let wrong = v1::UnmergeAnimalsRequest {
                    request_id: house.request(),
                    site: "QUI".to_owned(),
                    animal: "Teasel".to_owned(),
                    merge_id: merge.id.clone(),
                    because: "other scars".to_owned(),
                    ..Default::default()
                };
                park.registrar.client.send(wrong).await.unwrap();
            }
            _ => {}
        }
        NAMES.to_vec()
    })
    .await;
}

/// What it weighed elsewhere is known where it is received, and what it weighed there where it comes back to; what the
/// other site corrects since is taken in.
#[tokio::test]
async fn after_a_time_at_another_site() {
    let rows = is_the_same(async |scene, week| {
        let (house, quill) = (&scene.quill.house, &scene.quill.park);
        let park = async |code: &str| -> Park {
            let one = async |what: &str, role| {
                house.person(&format!("{}-{what}-{week}", code.to_lowercase()), &[(role, Some(code))]).await
            };
            use holt_server::model::person::Role;
            Park {
                code: code.to_owned(),
                keeper: one("keeper", Role::Keeper).await,
                registrar: one("registrar", Role::Registrar).await,
                auditor: one("auditor", Role::Auditor).await,
                vet: one("vet", Role::Veterinary).await,
            }
        };
        match week {
            0 => drop(house.park("BRA", "America/Halifax").await),
            6 => {
                let brack = park("BRA").await;
                house.moves("Sedge", quill, &brack).await;
                let odd = scene.weigh(&brack, "Sedge", house.clock.now(), 9000).await;
                assert_eq!(outcomes(&odd), [ReadingOutcome::SecondWeighing], "it is known what it weighed");
                house.clock.advance(TimeDelta::minutes(40));
                let right = scene.weigh(&brack, "Sedge", house.clock.now(), 7330).await;
                assert_eq!(outcomes(&right), [ReadingOutcome::Accepted]);
                return vec!["Bramble", "Teasel"];
            }
            7..9 => {
                scene.weigh(&park("BRA").await, "Sedge", house.clock.now(), 7300).await;
                return vec!["Bramble", "Teasel"];
            }
            9 => {
                house.moves("Sedge", &park("BRA").await, quill).await;
                scene.places(&["Sedge"], "Weir").await;
                return vec!["Bramble", "Teasel"];
            }
            12 => {
                let brack = park("BRA").await;
                let ask = v1::ListWeightsRequest {
                    site: "BRA".to_owned(),
                    animal: "Sedge".to_owned(),
                    ..Default::default()
                };
                let listed = brack.auditor.client.send(ask).await.unwrap().weights;
                let correct = v1::CorrectFactRequest {
                    request_id: house.request(),
                    site: "BRA".to_owned(),
                    animal: listed[0].animal_id.clone(),
                    fact_id: listed[0].id.clone(),
                    change: Some(v1::FactChange {
                        mass: Some(v1::Mass { milligrams: 7_250_000 }),
                        ..Default::default()
                    }),
                    because: "seen on the sheet".to_owned(),
                    ..Default::default()
                };
                brack.registrar.client.send(correct).await.unwrap();
            }
            _ => {}
        }
        NAMES.to_vec()
    })
    .await;
    assert!(rows.len() > 4, "at both sites: {rows:?}");
}
