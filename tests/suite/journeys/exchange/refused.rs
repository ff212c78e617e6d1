//! What cannot be is told row by row, all of it at once, and nothing is written.

use super::{Books, HEADER};
use holt_proto::v1::ErrorReason;

#[tokio::test]
async fn all_that_is_wrong_is_told_at_once_with_row_column_and_what_to_do() {
    let books = Books::new().await;
    let otter = books.house.otter(&books.park, "Fern").await;
    let mark = holt_proto::v1::ApplyMarkRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: otter.id,
        mark: Some(holt_proto::v1::NewMark {
            kind: holt_proto::v1::MarkKind::Transponder.into(),
            code: "985112000777001".to_owned(),
            place_on_body: String::new(),
        }),
        applied_at: None,
    };
    books.park.registrar.client.marks().apply_mark(mark).await.unwrap();
    let rows = "\
B1;River otter;;Bramble;F;05/2019;01/03/2020;purchased;;985112000123456;;;;;;;;;
B2;Lutra lutra;;Sedge;M;2018;01/03/2020;;;;;;;;;;;;
B3;River otter;;Pip;?;02/02/2026;;bred;;985112000123456;B7;B1;;;;;;;
B4;River otter;;Reed;?;2021;12/04/2020;;;985112000777001;;;Attic;;;;;;
B5;River otter;;Wick;X;31/02/2021;;;;276274877906944;;;;;;;;heavy;
B1;River otter;;Dill;F;;12/04/2029;;;;;;;;;;;;
B6;River otter;;Moss;F;;12/04/2021;;;;;;;;;01/01/2020;;8;24/02/2026
;River otter;;;;;12/04/2021;;;;;;;;;;;;
";
    books.desk.file("animals.csv", format!("{HEADER}{rows}").as_bytes());
    let line = "holt exchange from-sheet ~/animals.csv --mapping ~/animals.toml";
    let before = books.rows().await;
    let mut text = String::new();
    for form in ["text", "csv"] {
        let ran = books.desk.run(&format!("{line} --format {form}")).await;
        assert_eq!(ran.exit, 3, "{}{}", ran.out, ran.err);
        text.push_str(&format!("$ {line} --format {form}\n{}{}\n", ran.out, ran.err));
    }
    assert_eq!(books.rows().await, before, "nothing is written");
    insta::assert_snapshot!("refused", text);
    books.house.close().await;
}

#[tokio::test]
async fn a_life_that_cannot_have_been_is_refused_with_its_reason() {
    use holt_proto::time::day;
    use holt_proto::v1;
    let books = Books::new().await;
    let on = |text: &str| Some(text.parse::<v1::Day>().unwrap());
    let stay = |from: &str, until: &str| v1::Stay {
        began_on: on(from),
        began: v1::StayBeginning::Arrival.into(),
        source: v1::ArrivalSource::Wild.into(),
        ended_on: if until.is_empty() { None } else { on(until) },
        ended: if until.is_empty() { v1::StayEnd::Unspecified } else { v1::StayEnd::Death }.into(),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    let number = |code: &str| v1::LifeMark {
        mark: Some(v1::NewMark {
            kind: v1::MarkKind::FormerNumber.into(),
            code: code.to_owned(),
            ..Default::default()
        }),
        ..Default::default()
    };
    let sound = |code: &str| v1::Life {
        taxon: "Lontra canadensis".to_owned(),
        marks: vec![number(code)],
        stays: vec![stay("2021-04-12", "")],
        ..Default::default()
    };
    let parent = |animal: &str, sex: v1::Sex| v1::LifeParent {
        animal: animal.to_owned(),
        sex: sex.into(),
        ..Default::default()
    };
    let reading = |taken: &str, milligrams: i64| v1::LifeReading {
        reading: Some(v1::Reading {
            when: Some(v1::reading::When::WeighedOn(taken.parse().unwrap())),
            result: Some(v1::reading::Result::Mass(v1::Mass { milligrams })),
            ..Default::default()
        }),
        doubtful: false,
    };
    let lives = vec![
        (v1::Life { stays: vec![], ..sound("1") }, "stays", ErrorReason::Malformed),
        (v1::Life { marks: vec![], ..sound("2") }, "id", ErrorReason::Malformed),
        (v1::Life { id: "7".to_owned(), ..sound("3") }, "id", ErrorReason::Malformed),
        (v1::Life { accession: "MER-21-0001".to_owned(), ..sound("4") }, "accession", ErrorReason::Malformed),
        (v1::Life { taxon: "Lutra lutra".to_owned(), ..sound("5") }, "taxon", ErrorReason::NotFound),
        (
            v1::Life { stays: vec![stay("2021-04-12", "2020-04-12")], ..sound("6") },
            "stays[0].ended_on",
            ErrorReason::OutOfOrder,
        ),
        (
            v1::Life { stays: vec![stay("2021-04-12", "2022-04-12"), stay("2023-04-12", "")], ..sound("7") },
            "stays[1].began_on",
            ErrorReason::AnimalDead,
        ),
        (
            v1::Life { stays: vec![stay("2021-04-12", ""), stay("2023-04-12", "")], ..sound("8") },
            "stays[1].began_on",
            ErrorReason::OutOfOrder,
        ),
        (
            v1::Life { stays: vec![stay("2031-04-12", "")], ..sound("9") },
            "stays[0].began_on",
            ErrorReason::InTheFuture,
        ),
        (v1::Life { born_on: on("2022"), ..sound("10") }, "born_on", ErrorReason::OutOfOrder),
        (
            v1::Life { readings: vec![reading("2020-04-12", 8_000_000)], ..sound("11") },
            "readings[0].weighed_at",
            ErrorReason::AnimalNotHeldThen,
        ),
        (
            v1::Life { readings: vec![reading("2022-04-12", 8), reading("2022-04-12", 9)], ..sound("12") },
            "readings[1].weighed_at",
            ErrorReason::ReadingConflicts,
        ),
        (
            v1::Life { readings: vec![reading("2022-04-12", 0)], ..sound("13") },
            "readings[0].mass",
            ErrorReason::MassOutOfRange,
        ),
        (
            v1::Life { parents: vec![parent("14", v1::Sex::Female)], ..sound("14") },
            "parents[0].animal",
            ErrorReason::ParentDoesNotFit,
        ),
        (
            v1::Life { parents: vec![parent("nobody", v1::Sex::Female)], ..sound("15") },
            "parents[0].animal",
            ErrorReason::NotFound,
        ),
        // Each is the dam of the other.
        (
            v1::Life { parents: vec![parent("17", v1::Sex::Female)], ..sound("16") },
            "parents",
            ErrorReason::ParentDoesNotFit,
        ),
        (
            v1::Life { parents: vec![parent("16", v1::Sex::Female)], ..sound("17") },
            "parents",
            ErrorReason::ParentDoesNotFit,
        ),
        (
            v1::Life {
                placements: vec![v1::LifePlacement { enclosure: "Attic".to_owned(), ..Default::default() }],
                ..sound("18")
            },
            "placements[0].enclosure",
            ErrorReason::NotFound,
        ),
        (
            v1::Life {
                sexes: vec![
                    v1::SexSince {
                        determined_on: Some(day("2022-01-01".parse().unwrap())),
                        sex: v1::Sex::Male.into(),
                    },
                    v1::SexSince {
                        determined_on: Some(day("2022-01-01".parse().unwrap())),
                        sex: v1::Sex::Female.into(),
                    },
                ],
                ..sound("19")
            },
            "sexes[1].determined_on",
            ErrorReason::Exists,
        ),
        (sound("20"), "", ErrorReason::Unspecified),
        (sound("20"), "marks[0].code", ErrorReason::Exists),
    ];
    let ask = v1::TakeInLivesRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        validate_only: false,
        lives: lives.iter().map(|(life, ..)| life.clone()).collect(),
    };
    let before = books.rows().await;
    let ask = futures::stream::iter([ask]);
    let answer = books.park.registrar.client.exchange().take_in_lives(ask).await.unwrap().into_inner();
    assert!(!answer.written);
    for (n, (answer, (_, field, reason))) in answer.answers.iter().zip(&lives).enumerate() {
        let told: Vec<_> = answer.flaws.iter().map(|flaw| (flaw.field.as_str(), flaw.reason())).collect();
        if field.is_empty() {
            assert_eq!((told, answer.outcome()), (vec![], v1::LifeOutcome::Sound), "life {n}");
        } else {
            assert_eq!(told, [(*field, *reason)], "life {n}");
            assert_eq!(answer.outcome(), v1::LifeOutcome::Refused);
            assert!(answer.flaws.iter().all(|flaw| !flaw.say.is_empty() && !flaw.mend.is_empty()));
        }
    }
    assert_eq!(books.rows().await, before);
    books.house.close().await;
}
