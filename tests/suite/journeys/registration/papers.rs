//! Papers: what goes with an animal, and what a listed one is usually asked for and is not recorded.
//!
//! Source and purpose codes are those of CITES Res. Conf. 12.3 (`cites_codes.csv` of the external checks).
//! Which permits an appendix needs is that of Arts III to V of the convention, from memory.

use super::{Books, fields};
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1::{self, CitesAppendix, PaperKind, PaperOccasion};
use holt_tests::house::start_of_time;
use holt_tests::{House, reason};
use tonic::{Code, Status};

fn content(kind: PaperKind, number: &str) -> v1::PaperContent {
    v1::PaperContent { kind: kind.into(), number: number.to_owned(), ..Default::default() }
}

fn export(number: &str) -> v1::PaperContent {
    v1::PaperContent {
        issued_by_country: "de".to_owned(),
        issued_by: "Federal Agency".to_owned(),
        issued_on: Some("2026-01-10".parse().unwrap()),
        expires_on: Some("2026-07-09".parse().unwrap()),
        cites_appendix: CitesAppendix::Ii.into(),
        source_codes: "c".to_owned(),
        purpose_code: "z".to_owned(),
        ..content(PaperKind::CitesExportPermit, number)
    }
}

/// Books of a park in Ireland, whose otters are listed in an appendix.
async fn listed(appendix: CitesAppendix) -> Books {
    let house = House::new().await;
    let park = house.park_in("QUI", "Europe/Dublin", "IE").await;
    house.taxon(&park, "Lontra canadensis", "North American river otter").await;
    let change = v1::UpdateTaxonRequest {
        request_id: house.request(),
        taxon: "Lontra canadensis".to_owned(),
        cites_appendix: Some(appendix.into()),
        because: "listed".to_owned(),
        ..Default::default()
    };
    house.steward().await.client.animals().update_taxon(change).await.unwrap();
    Books { house, park }
}

impl Books {
    /// An arrival from a country with papers; what is missing.
    async fn came(&self, name: &str, country: &str, papers: Vec<v1::PaperContent>) -> Vec<String> {
        let arrival = v1::RegisterArrivalRequest {
            source_country: country.to_owned(),
            papers,
            ..self.arrival(name, "2026-02-10")
        };
        let came = self.park.registrar.client.animals().register_arrival(arrival).await.unwrap().into_inner();
        assert_eq!(came.missing_papers.is_empty(), came.caution.is_empty());
        came.missing_papers
    }

    fn paper(&self, animal: &str, occasion: PaperOccasion, content: v1::PaperContent) -> v1::AddPaperRequest {
        v1::AddPaperRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            occasion: occasion.into(),
            content: Some(content),
            ..Default::default()
        }
    }

    async fn added(&self, paper: v1::AddPaperRequest) -> Result<v1::AddPaperResponse, Status> {
        Ok(self.park.registrar.client.papers().add_paper(paper).await?.into_inner())
    }

    async fn missing(&self) -> Vec<(String, String, Vec<String>)> {
        let list = v1::ListMissingPapersRequest { site: "QUI".to_owned(), ..Default::default() };
        let list = self.park.auditor.client.papers().list_missing_papers(list).await.unwrap().into_inner();
        assert!(list.caution.contains("does not replace a lawful check"), "{}", list.caution);
        let each = list.missing.into_iter();
        each.map(|one| (one.house_name.clone(), format!("{:?}", one.occasion()), one.missing)).collect()
    }
}

const NO_EXPORT: &str = "no export permit or re-export certificate of CITES is recorded";
const NO_IMPORT: &str = "no import permit of CITES is recorded";

#[tokio::test]
async fn a_listed_animal_that_comes_across_a_border_is_not_refused_and_what_is_missing_is_told() {
    let books = listed(CitesAppendix::I).await;
    assert_eq!(books.came("Bramble", "DE", Vec::new()).await, [NO_EXPORT, NO_IMPORT]);
    assert_eq!(books.came("Sedge", "IE", Vec::new()).await, [""; 0], "from the same country");
    let unknown = books.came("Teasel", "", Vec::new()).await;
    assert_eq!(unknown.len(), 3);
    assert!(unknown[2].contains("the country that it came from is not stated"), "{unknown:?}");
    let both = vec![
        v1::PaperContent { cites_appendix: CitesAppendix::I.into(), ..export("DE-17") },
        content(PaperKind::CitesImportPermit, "IE-4"),
    ];
    assert_eq!(books.came("Rush", "DE", both).await, [""; 0]);
    let missing = books.missing().await;
    assert_eq!(missing.iter().map(|(name, ..)| name.as_str()).collect::<Vec<_>>(), ["Bramble", "Teasel"]);
    // A paper that is found later fills its gap.
    let later = books.paper("Bramble", PaperOccasion::Arrival, export("DE-18"));
    let added = books.added(later).await.unwrap();
    assert_eq!(added.missing, [NO_IMPORT]);
    let says = added.paper.unwrap().content.unwrap();
    assert_eq!(
        (says.issued_by_country.as_str(), says.source_codes.as_str(), says.purpose_code.as_str()),
        ("DE", "C", "Z")
    );
    let last = books.paper("Bramble", PaperOccasion::Arrival, content(PaperKind::CitesImportPermit, "IE-5"));
    let added = books.added(last).await.unwrap();
    assert_eq!((added.missing.len(), added.caution.as_str()), (0, ""));
    books.house.close().await;
}

#[tokio::test]
async fn a_permit_that_ran_out_before_the_day_is_none() {
    let books = listed(CitesAppendix::Ii).await;
    let old = v1::PaperContent { expires_on: Some("2026-02-09".parse().unwrap()), ..export("DE-17") };
    let missing = books.came("Bramble", "DE", vec![old]).await;
    assert_eq!(
        missing,
        ["no valid export permit or re-export certificate of CITES: DE-17 expired on 2026-02-09"]
    );
    books.house.close().await;
}

#[tokio::test]
async fn a_departure_abroad_is_asked_for_its_own_papers() {
    let books = listed(CitesAppendix::Ii).await;
    books.came("Bramble", "DE", vec![export("DE-17")]).await;
    let departure = v1::RecordDepartureRequest {
        destination_country: "FR".to_owned(),
        ..books.departure("Bramble", "2026-02-20")
    };
    let left = books.park.registrar.client.animals().record_departure(departure).await.unwrap().into_inner();
    assert_eq!(left.missing_papers, [NO_EXPORT]);
    assert!(!left.caution.is_empty());
    let paper = v1::AddPaperRequest {
        animal: "QUI-26-0001".to_owned(),
        ..books.paper("", PaperOccasion::Departure, content(PaperKind::CitesReExportCertificate, "IE-9"))
    };
    assert_eq!(books.added(paper).await.unwrap().missing, [""; 0]);
    assert_eq!(books.missing().await, []);
    books.house.close().await;
}

#[tokio::test]
async fn a_transfer_between_countries_is_asked_for_them_too() {
    let books = listed(CitesAppendix::Ii).await;
    let brack = books.house.park_in("BRA", "America/Halifax", "CA").await;
    books.came("Bramble", "DE", vec![export("DE-17")]).await;
    let transfer_id = books.propose("Bramble", "BRA").await.id;
    let agree = v1::AgreeTransferRequest {
        request_id: books.house.request(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    brack.registrar.client.transfers().agree_transfer(agree).await.unwrap();
    let dispatch = v1::DispatchTransferRequest {
        request_id: books.house.request(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    books.park.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
    let receive = v1::ReceiveTransferRequest {
        request_id: books.house.request(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    brack.registrar.client.transfers().receive_transfer(receive).await.unwrap();
    assert_eq!(
        books.missing().await,
        [("Bramble".to_owned(), "Transfer".to_owned(), vec![NO_EXPORT.to_owned()])]
    );
    let paper = v1::AddPaperRequest {
        site: "BRA".to_owned(),
        transfer_id,
        ..books.paper("Bramble", PaperOccasion::Transfer, export("IE-10"))
    };
    let added = brack.registrar.client.papers().add_paper(paper).await.unwrap().into_inner();
    assert_eq!(added.missing, [""; 0]);
    books.house.close().await;
}

#[tokio::test]
async fn papers_that_cannot_be_are_refused_field_by_field() {
    let books = listed(CitesAppendix::Ii).await;
    books.came("Bramble", "DE", Vec::new()).await;
    for (paper, wanted) in [
        (content(PaperKind::CitesExportPermit, ""), &["content.number"][..]),
        (
            v1::PaperContent { issued_by_country: "XX".to_owned(), ..export("1") },
            &["content.issued_by_country"],
        ),
        (v1::PaperContent { source_codes: "I".to_owned(), ..export("1") }, &["content.source_codes"]),
        (v1::PaperContent { source_codes: "A".to_owned(), ..export("1") }, &["content.source_codes"]),
        (v1::PaperContent { source_codes: "D".to_owned(), ..export("1") }, &["content.source_codes"]),
        (v1::PaperContent { purpose_code: "ZZ".to_owned(), ..export("1") }, &["content.purpose_code"]),
        (
            v1::PaperContent { expires_on: Some("2026-01-09".parse().unwrap()), ..export("1") },
            &["content.expires_on"],
        ),
        (
            v1::PaperContent { kind: PaperKind::Receipt.into(), ..export("1") },
            &["content.cites_appendix", "content.source_codes", "content.purpose_code"],
        ),
        (content(PaperKind::Unspecified, "1"), &["content.kind"]),
    ] {
        let refused =
            books.added(books.paper("Bramble", PaperOccasion::Arrival, paper.clone())).await.unwrap_err();
        assert_eq!(
            (reason(&refused).as_str(), fields(&refused)),
            ("MALFORMED", wanted.iter().map(|one| (*one).to_owned()).collect()),
            "{paper:?}"
        );
    }
    let future =
        v1::PaperContent { issued_on: Some("2026-03-03".parse().unwrap()), expires_on: None, ..export("1") };
    let refused = books.added(books.paper("Bramble", PaperOccasion::Arrival, future)).await.unwrap_err();
    assert_eq!(reason(&refused), "IN_THE_FUTURE");
    let nothing =
        books.added(books.paper("Bramble", PaperOccasion::Departure, export("1"))).await.unwrap_err();
    assert_eq!((reason(&nothing).as_str(), fields(&nothing)), ("OUT_OF_ORDER", vec!["occasion".to_owned()]));
    books.added(books.paper("Bramble", PaperOccasion::Arrival, export("1"))).await.unwrap();
    let twice = books.added(books.paper("Bramble", PaperOccasion::Arrival, export("1"))).await.unwrap_err();
    assert_eq!((twice.code(), reason(&twice).as_str()), (Code::AlreadyExists, "EXISTS"));
    books.house.close().await;
}

#[tokio::test]
async fn a_paper_is_corrected_and_struck_out_like_any_fact() {
    let books = listed(CitesAppendix::Ii).await;
    books.came("Bramble", "DE", vec![export("DE-71")]).await;
    let list = |known_at| v1::ListPapersRequest {
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        as_known_at: known_at,
    };
    let papers = books.park.auditor.client.papers();
    let there = papers.clone().list_papers(list(None)).await.unwrap().into_inner().papers;
    books.house.clock.advance(TimeDelta::days(1));
    let correct = v1::CorrectFactRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        fact_id: there[0].id.clone(),
        change: Some(v1::FactChange { paper: Some(export("DE-17")), ..Default::default() }),
        because: "digits exchanged".to_owned(),
        ..Default::default()
    };
    let corrected =
        books.park.registrar.client.corrections().correct_fact(correct).await.unwrap().into_inner();
    let fact = &corrected.facts[0];
    assert_eq!(fact.kind(), v1::FactKind::Paper);
    assert!(fact.say.contains("DE-17") && !fact.say.contains("DE-71"), "{}", fact.say);
    let numbers = async |known_at| {
        let papers = papers.clone().list_papers(list(known_at)).await.unwrap().into_inner().papers;
        papers.into_iter().map(|paper| paper.content.unwrap().number).collect::<Vec<_>>()
    };
    assert_eq!(numbers(None).await, ["DE-17"]);
    assert_eq!(numbers(Some(timestamp(start_of_time() + TimeDelta::hours(1)))).await, ["DE-71"]);
    let strike = v1::WithdrawFactRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        fact_id: fact.id.clone(),
        because: "of another animal".to_owned(),
        ..Default::default()
    };
    books.park.registrar.client.corrections().withdraw_fact(strike).await.unwrap();
    assert_eq!(numbers(None).await, [""; 0]);
    assert_eq!(books.missing().await.len(), 1);
    books.house.close().await;
}
