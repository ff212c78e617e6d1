//! A young leaves the count and is an animal.

use super::{left, pair};
use crate::journeys::registration::fields;
use holt_proto::v1;
use holt_tests::reason;

#[tokio::test]
async fn it_was_born_with_its_litter_and_has_its_parents() {
    let books = pair().await;
    books.house.enclosure(&books.park, "Weir").await;
    let litter = books.littered(books.litter()).await.unwrap();
    books.young_sexed(&litter, "2026-02-25", 1, 0).await.unwrap();
    let apart = v1::TellApartRequest {
        marks: vec![v1::NewMark {
            kind: v1::MarkKind::HouseName.into(),
            code: "Pip".to_owned(),
            place_on_body: String::new(),
        }],
        enclosure: "Weir".to_owned(),
        ..books.apart(&litter, "2026-02-28", v1::Sex::Male)
    };
    let (pip, litter) = books.told_apart(apart).await.unwrap();
    assert_eq!(pip.accession, "QUI-26-0001");
    assert_eq!((pip.house_name.as_str(), pip.enclosure.as_str(), pip.sex()), ("Pip", "Weir", v1::Sex::Male));
    assert_eq!(pip.born_on, litter.born_on);
    assert_eq!(pip.held_since, Some("2026-02-28".parse().unwrap()));
    assert_eq!(pip.dam_id, litter.dam.as_ref().unwrap().id);
    assert_eq!(pip.sire_id, litter.sires[0].animal.as_ref().unwrap().id);
    assert_eq!((left(&litter).as_str(), litter.told_apart.unwrap().to_string().as_str()), ("0.0.3", "1.0.0"));
    let change = litter.changes.last().unwrap();
    assert_eq!(change.animal.as_ref().unwrap().house_name, "Pip");
    // The day before, it was one of the litter.
    let before = books.litter_as_of(&litter.id, Some("2026-02-27"), None).await.unwrap();
    assert_eq!(left(&before), "1.0.3");
    let held = books.held(Some("2026-02-27")).await;
    assert_eq!(held, ["QUI-25-0001", "QUI-25-0002"]);
    books.house.close().await;
}

#[tokio::test]
async fn it_is_taken_from_its_own_sex_and_else_from_those_not_yet_sexed() {
    let books = pair().await;
    let litter = books.littered(books.litter()).await.unwrap();
    let (_, litter) = books.told_apart(books.apart(&litter, "2026-02-20", v1::Sex::Female)).await.unwrap();
    assert_eq!(left(&litter), "0.0.3");
    books.young_sexed(&litter, "2026-02-25", 1, 1).await.unwrap();
    let (_, litter) = books.told_apart(books.apart(&litter, "2026-02-25", v1::Sex::Female)).await.unwrap();
    assert_eq!(left(&litter), "1.0.1");
    let (_, litter) = books.told_apart(books.apart(&litter, "2026-02-26", v1::Sex::Female)).await.unwrap();
    assert_eq!(left(&litter), "1.0.0", "none is counted as female, so one of unknown sex");
    for sex in [v1::Sex::Female, v1::Sex::Unknown] {
        let refused = books.told_apart(books.apart(&litter, "2026-02-27", sex)).await.unwrap_err();
        assert_eq!((reason(&refused).as_str(), fields(&refused)), ("LITTER_TOO_FEW", vec!["sex".to_owned()]));
    }
    let (_, litter) = books.told_apart(books.apart(&litter, "2026-02-27", v1::Sex::Male)).await.unwrap();
    assert_eq!(left(&litter), "0.0.0");
    books.house.close().await;
}

#[tokio::test]
async fn a_transponder_in_use_leaves_the_young_in_the_litter() {
    let books = pair().await;
    let code = "985112000123456";
    books.marked(books.mark("Bramble", v1::MarkKind::Transponder, code)).await.unwrap();
    let litter = books.littered(books.litter()).await.unwrap();
    let apart = v1::TellApartRequest {
        marks: vec![v1::NewMark {
            kind: v1::MarkKind::Transponder.into(),
            code: code.to_owned(),
            place_on_body: String::new(),
        }],
        ..books.apart(&litter, "2026-03-02", v1::Sex::Male)
    };
    let refused = books.told_apart(apart).await.unwrap_err();
    assert_eq!(reason(&refused), "TRANSPONDER_IN_USE");
    let litter = books.litter_as_of(&litter.id, None, None).await.unwrap();
    assert_eq!((left(&litter).as_str(), litter.version), ("0.0.4", 1));
    let (pip, _) = books.told_apart(books.apart(&litter, "2026-03-02", v1::Sex::Male)).await.unwrap();
    assert_eq!(pip.accession, "QUI-26-0001", "no number was lost");
    books.house.close().await;
}

#[tokio::test]
async fn the_same_request_again_is_the_same_animal() {
    let books = pair().await;
    let litter = books.littered(books.litter()).await.unwrap();
    let apart = books.apart(&litter, "2026-03-02", v1::Sex::Male);
    let first = books.told_apart(apart.clone()).await.unwrap();
    assert_eq!(books.told_apart(apart).await.unwrap(), first);
    let litter = books.litter_as_of(&litter.id, None, None).await.unwrap();
    assert_eq!(left(&litter), "0.0.3");
    books.house.close().await;
}
