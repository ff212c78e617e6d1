//! A sheet of a site's existing animals is taken in, whole.

use super::{Books, HEADER};
use holt_proto::v1;

const ROWS: &str = "\
A1;River otter;;Bramble;F;05/2019;01/03/2020;purchased;Fenwater Collection;985112000123456;;;Weir;;;;;8,2;24/02/2026
A2;River otter;;Sedge;M;2018;01/03/2020;;;;;;Weir;;;;;;
A3;River otter;;Pip;?;02/02/2026;;bred;;;A1;A2;;;;;;;
A4;Aonyx cinereus;Asian small-clawed otter;Teasel;F;;12/04/2021;rescue;;;;;;20/02/2026;natural;;;;
A5;River otter;;Rush;M;;12/04/2021;;;;;;;;;15/01/2026;Brackwater Park;;
";

#[tokio::test]
async fn a_sheet_is_taken_in_whole() {
    let books = Books::new().await;
    books.house.enclosure(&books.park, "Weir").await;
    books.desk.file("animals.csv", format!("{HEADER}{ROWS}").as_bytes());
    let line = "holt exchange from-sheet ~/animals.csv --mapping ~/animals.toml --format text";
    let before = books.rows().await;
    let tried = books.desk.done(&format!("{line} --dry-run")).await;
    assert_eq!(
        tried,
        "5 animals can be added at QUI.\nSpecies added: Aonyx cinereus.\nChecked only: nothing was recorded.\n"
    );
    assert_eq!(books.rows().await, before);
    let told = books.desk.done(line).await;
    assert_eq!(told, "5 animals were added at QUI.\nSpecies added: Aonyx cinereus.\n");
    let held = books.animals().await;
    let names: Vec<_> = held.iter().map(|one| (one.accession.as_str(), one.house_name.as_str())).collect();
    assert_eq!(names, [("QUI-20-0001", "Bramble"), ("QUI-20-0002", "Sedge"), ("QUI-26-0001", "Pip")]);
    let (bramble, sedge, pip) = (&held[0], &held[1], &held[2]);
    assert_eq!(bramble.born_on.unwrap().to_string(), "2019-05");
    assert_eq!(
        (bramble.sex(), bramble.enclosure.as_str(), bramble.owner.as_str()),
        (v1::Sex::Female, "Weir", "QUI")
    );
    assert_eq!(bramble.latest_mass.unwrap().milligrams, 8_200_000);
    let codes: Vec<_> = bramble.marks.iter().map(|mark| (mark.kind(), mark.code.as_str())).collect();
    assert!(codes.contains(&(v1::MarkKind::FormerNumber, "A1")), "{codes:?}");
    assert!(codes.contains(&(v1::MarkKind::Transponder, "985112000123456")), "{codes:?}");
    assert_eq!((&pip.dam_id, &pip.sire_id), (&bramble.id, &sedge.id));
    assert_eq!(
        (pip.born_on, pip.held_since),
        (Some("2026-02-02".parse().unwrap()), Some("2026-02-02".parse().unwrap()))
    );
    // The number in the old books still finds it, wherever it is now.
    for (number, status, went_to) in
        [("a4", v1::AnimalStatus::Dead, ""), ("A5", v1::AnimalStatus::Departed, "Brackwater Park")]
    {
        let find = v1::FindAnimalsRequest { text: number.to_owned(), most: 0 };
        let found = books.park.keeper.client.find().find_animals(find).await.unwrap().into_inner().matches;
        let animal = found[0].animal.as_ref().unwrap();
        assert_eq!((animal.status(), animal.went_to.as_str()), (status, went_to), "{number}");
    }
    // What comes next goes on behind.
    let next = v1::RegisterArrivalRequest {
        born_on: None,
        ..books.house.arrival(&books.park, "Fern", "2020-12-01".parse().unwrap())
    };
    let next = books.park.registrar.client.animals().register_arrival(next).await.unwrap().into_inner();
    assert_eq!(next.animal.unwrap().accession, "QUI-20-0003");
    books.house.close().await;
}

#[tokio::test]
async fn the_stock_return_counts_them_as_it_counts_all() {
    let books = Books::new().await;
    books.house.enclosure(&books.park, "Weir").await;
    books.desk.file("animals.csv", format!("{HEADER}{ROWS}").as_bytes());
    books.desk.done("holt exchange from-sheet ~/animals.csv --mapping ~/animals.toml").await;
    let ask = |year: &str| v1::GetStockReturnRequest {
        site: "QUI".to_owned(),
        days: Some(v1::DaySpan {
            first: Some(format!("{year}-01-01").parse().unwrap()),
            last: Some(format!("{year}-12-31").parse().unwrap()),
        }),
        ..Default::default()
    };
    let count = async |year: &str| {
        let answer =
            books.park.auditor.client.census().get_stock_return(ask(year)).await.unwrap().into_inner();
        assert!(answer.returns[0].balances);
        let line = answer.returns[0].lines.iter().find(|line| {
            line.taxon.as_ref().is_some_and(|taxon| taxon.scientific_name == "Lontra canadensis")
        });
        line.map(|line| (line.opening.unwrap().to_string(), line.closing.unwrap().to_string()))
    };
    assert_eq!(count("2021").await, Some(("1.1.0".to_owned(), "2.1.0".to_owned())));
    assert_eq!(count("2025").await, Some(("2.1.0".to_owned(), "2.1.0".to_owned())));
    books.house.close().await;
}
