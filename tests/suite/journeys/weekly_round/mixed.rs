//! Two species in one enclosure, weighed in one round: each is a group by itself.

use super::{Quill, outcomes};
use chrono::TimeDelta;
use holt_proto::v1::{self, ReadingOutcome};
use holt_server::clock::Clock;
use sqlx::Executor;

#[tokio::test]
async fn two_species_that_share_an_enclosure_are_weighed_together() {
    let quill = Quill::new().await;
    let (house, park) = (&quill.house, &quill.park);
    house.taxon(park, "Castor fiber", "Eurasian beaver").await;
    house.enclosure(park, "Weir").await;
    let beaver = v1::RegisterArrivalRequest {
        taxon: "Castor fiber".to_owned(),
        ..house.arrival(park, "Alder", "2025-03-01".parse().unwrap())
    };
    park.registrar.client.animals().register_arrival(beaver).await.unwrap();
    let names = ["Bramble", "Sedge", "Alder"];
    let place = v1::PlaceAnimalsRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        animals: names.map(str::to_owned).into(),
        enclosure: "Weir".to_owned(),
        placed_at: None,
    };
    park.keeper.client.placements().place_animals(place).await.unwrap();
    for week in 0..6 {
        house.clock.advance(TimeDelta::weeks(1));
        if week == 4 {
            // And where it must be worked out again, neither takes the row of the other.
            house.owner().await.execute("UPDATE weight_states SET stale = true").await.unwrap();
        }
        let at = house.clock.now();
        let grams = [("Bramble", 8_000), ("Sedge", 7_000), ("Alder", 18_000)];
        let round = house.round("QUI", &grams.map(|(name, grams)| (name, at, grams + week)));
        assert_eq!(outcomes(&quill.weigh(round).await), [ReadingOutcome::Accepted; 3], "week {week}");
    }
    let rows: Vec<(String, i64)> =
        sqlx::query_as("SELECT part, count(*) FROM weight_states GROUP BY part ORDER BY part")
            .fetch_all(&mut house.owner().await)
            .await
            .unwrap();
    assert_eq!(rows, [("animal".to_owned(), 3), ("group".to_owned(), 2)]);
    quill.house.close().await;
}
