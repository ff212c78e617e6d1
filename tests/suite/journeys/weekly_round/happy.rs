//! What goes well.

use chrono::TimeDelta;
use holt_proto::v1::{self, ReadingOutcome};
use holt_tests::House;
use holt_tests::house::start_of_time;

#[tokio::test]
async fn a_round_is_recorded_and_read_back() {
    let house = House::new().await;
    let park = house.quill().await;
    for name in ["Bramble", "Sedge", "Teasel"] {
        house.otter(&park, name).await;
    }
    let at = start_of_time() - TimeDelta::hours(1);
    let round = house.round("QUI", &[("Bramble", at, 8200), ("QUI-25-0002", at, 7900), ("teasel", at, 8050)]);
    let answer = park.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
    let outcomes: Vec<_> = answer
        .answers
        .iter()
        .map(|a| (a.index, a.outcome(), a.accession.as_str(), a.house_name.as_str()))
        .collect();
    assert_eq!(
        outcomes,
        [
            (0, ReadingOutcome::Accepted, "QUI-25-0001", "Bramble"),
            (1, ReadingOutcome::Accepted, "QUI-25-0002", "Sedge"),
            (2, ReadingOutcome::Accepted, "QUI-25-0003", "Teasel"),
        ]
    );
    let list = v1::ListWeightsRequest { site: "QUI".into(), ..Default::default() };
    let list = park.keeper.client.weights().list_weights(list).await.unwrap().into_inner();
    let masses: Vec<_> =
        list.weights.iter().map(|w| (w.house_name.as_str(), w.mass.unwrap().milligrams)).collect();
    assert_eq!(masses, [("Teasel", 8_050_000), ("Sedge", 7_900_000), ("Bramble", 8_200_000)]);
    house.close().await;
}
