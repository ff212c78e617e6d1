//! The animal declined the scale: that is a record, too.

use super::{Quill, at, morning, outcomes, reading, tried};
use holt_proto::v1::ReadingOutcome;

#[tokio::test]
async fn a_try_is_kept_without_a_mass_and_raises_nothing_by_itself() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &super::steady(3)).await;
    let mut round = quill.house.round("QUI", &[]);
    round.readings.push(reading("Bramble", at(morning()), tried()));
    let answer = quill.weigh(round).await;
    assert_eq!(outcomes(&answer), [ReadingOutcome::Accepted]);
    assert_eq!(answer.concerns, []);
    let newest = quill.listed("Bramble").await.swap_remove(0);
    assert_eq!((newest.mass, newest.awaits_second), (None, false));
    // The mass that is told of the animal is the last one that was weighed.
    let get = holt_proto::v1::GetAnimalRequest {
        site: "QUI".into(),
        animal: "Bramble".into(),
        ..Default::default()
    };
    let animal =
        quill.park.keeper.client.animals().get_animal(get).await.unwrap().into_inner().animal.unwrap();
    assert_eq!(animal.latest_mass.unwrap().milligrams, super::steady(3)[2] * 1000);
    quill.house.close().await;
}
