//! Two animals that were mixed up.

use super::{Quill, morning, outcomes};
use holt_proto::v1::ReadingOutcome::{Accepted, SecondWeighing};

#[tokio::test]
async fn both_are_asked_for_again_and_each_names_the_other() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &super::steady(10)).await;
    quill.weekly("Sedge", &super::steady(10).iter().map(|grams| grams - 2000).collect::<Vec<_>>()).await;
    quill.weekly("Teasel", &super::steady(10).iter().map(|grams| grams + 3000).collect::<Vec<_>>()).await;
    let at = morning();
    let round = [("Bramble", at, 6010), ("Teasel", at, 11_020), ("Sedge", at, 8020)];
    let answer = quill.weigh(quill.house.round("QUI", &round)).await;
    assert_eq!(outcomes(&answer), [SecondWeighing, Accepted, SecondWeighing]);
    for (this, other) in [(0, "Sedge (QUI-25-0002)"), (2, "Bramble (QUI-25-0001)")] {
        let hint = &answer.answers[this].hint;
        assert!(hint.contains(other) && hint.contains("mixed up"), "{hint}");
    }
    assert_eq!(answer.concerns, []);
    quill.house.close().await;
}
