//! A site works by the versions that it adopted, from day to day, and keeps what it recorded by others.

use super::version;
use chrono::{NaiveDate, TimeDelta};
use holt_proto::time::{day, timestamp, whole_day};
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_server::model::person::Role;
use holt_tests::cast::{ETHOGRAM, PROTOCOL, REFERENCE};
use holt_tests::{House, Park, Person, reason};
use tonic::Status;

const KIND: v1::DocumentKind = v1::DocumentKind::Protocol;

/// A park with an otter, and two versions of a protocol.
struct Books {
    house: House,
    park: Park,
    curator: Person,
}

impl Books {
    async fn new() -> Self {
        let house = House::new().await;
        let park = house.quill().await;
        house.otter(&park, "Bramble").await;
        let curator = house.person("curator", &[(Role::Curator, None)]).await;
        for document in [PROTOCOL.to_owned(), version(2)] {
            super::load(&house, &curator, &document).await.unwrap();
        }
        Self { house, park, curator }
    }

    fn today(&self) -> NaiveDate {
        self.house.clock.now().date_naive()
    }

    fn ago(&self, days: i64) -> NaiveDate {
        self.today() - TimeDelta::days(days)
    }

    fn adoption(&self, version: i32, on: Option<NaiveDate>) -> v1::AdoptVersionRequest {
        v1::AdoptVersionRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            kind: KIND.into(),
            code: "otter-watch".to_owned(),
            version,
            adopted_on: on.map(day),
        }
    }

    async fn send(&self, adopt: v1::AdoptVersionRequest) -> Result<v1::Document, Status> {
        let mut documents = self.park.registrar.client.documents();
        Ok(documents.adopt_version(adopt).await?.into_inner().document.unwrap())
    }

    async fn adopt(&self, version: i32, on: Option<NaiveDate>) -> Result<v1::Document, Status> {
        self.send(self.adoption(version, on)).await
    }

    async fn withdraw(&self, on: NaiveDate) -> Result<v1::Document, Status> {
        let ask = v1::WithdrawAdoptionRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            kind: KIND.into(),
            code: "otter-watch".to_owned(),
            adopted_on: Some(day(on)),
            because: "we began later".to_owned(),
        };
        let mut documents = self.park.registrar.client.documents();
        Ok(documents.withdraw_adoption(ask).await?.into_inner().document.unwrap())
    }

    async fn listed(&self, ask: v1::ListDocumentsRequest) -> v1::Document {
        let ask = v1::ListDocumentsRequest { site: "QUI".to_owned(), ..ask };
        let all = self.park.auditor.client.documents().list_documents(ask).await.unwrap().into_inner();
        all.documents.into_iter().find(|one| one.kind() == KIND).unwrap()
    }

    /// The version and why it is that, or the reason of the refusal.
    async fn assess(&self, version: i32, days_ago: i64) -> Result<(i32, v1::VersionBasis), String> {
        let new = v1::RecordAssessmentRequest {
            protocol_version: version,
            assessed_at: Some(timestamp(self.house.clock.now() - TimeDelta::days(days_ago))),
            ..self.house.assessment("QUI", "Bramble", &[("body-condition", "right")])
        };
        let answer = self.park.keeper.client.assessments().record_assessment(new).await;
        let answer = answer.map_err(|refused| reason(&refused))?.into_inner();
        Ok((answer.assessment.as_ref().unwrap().protocol_version, answer.version_basis()))
    }
}

/// Version, basis, and days of adoption with their versions.
fn told(document: &v1::Document) -> (i32, v1::VersionBasis, Vec<(String, i32)>) {
    let days = document.adoptions.iter().map(|one| {
        let on = whole_day(one.adopted_on.unwrap()).unwrap();
        (on.to_string(), one.version)
    });
    (document.version, document.basis(), days.collect())
}

#[tokio::test]
async fn a_site_works_by_what_it_adopted_and_by_the_last_before() {
    use v1::VersionBasis::{Adopted, Last, Named};
    let books = Books::new().await;
    assert_eq!(told(&books.listed(Default::default()).await), (2, Last, vec![]));
    assert_eq!(books.assess(0, 9).await, Ok((2, Last)));
    assert_eq!(books.assess(1, 9).await, Ok((1, Named)));
    let adopted = books.adopt(1, Some(books.ago(5))).await.unwrap();
    assert_eq!(told(&adopted), (1, Adopted, vec![(books.ago(5).to_string(), 1)]));
    assert_eq!(adopted.last_version, 2);
    // A new version changes nothing at the site, until it adopts that.
    super::load(&books.house, &books.curator, &version(3)).await.unwrap();
    assert_eq!(books.assess(0, 0).await, Ok((1, Adopted)));
    assert_eq!(books.assess(3, 0).await, Err("VERSION_NOT_ADOPTED".to_owned()));
    books.adopt(3, None).await.unwrap();
    assert_eq!(books.assess(0, 0).await, Ok((3, Adopted)));
    assert_eq!(books.assess(1, 0).await, Ok((1, Adopted)), "on the day of the change either is right");
    assert_eq!(books.assess(0, 1).await, Ok((1, Adopted)), "late is by what held then");
    assert_eq!(books.assess(3, 1).await, Err("VERSION_NOT_ADOPTED".to_owned()));
    assert_eq!(books.assess(0, 6).await, Ok((3, Last)), "none was adopted then");
    // What was recorded keeps its version.
    let list = v1::ListAssessmentsRequest { site: "QUI".to_owned(), ..Default::default() };
    let all = books.park.auditor.client.assessments().list_assessments(list).await.unwrap().into_inner();
    let mut versions: Vec<i32> = all.assessments.iter().map(|one| one.protocol_version).collect();
    versions.sort_unstable();
    assert_eq!(versions, [1, 1, 1, 1, 2, 3, 3]);
    books.house.close().await;
}

#[tokio::test]
async fn everything_entered_wrong_and_put_right() {
    use v1::VersionBasis::{Adopted, Last};
    let books = Books::new().await;
    let wrong = books.adoption(2, Some(books.ago(3)));
    books.send(wrong.clone()).await.unwrap();
    let before = books.house.clock.now();
    books.house.clock.advance(TimeDelta::hours(1));
    let three = books.ago(3);
    // The same day again: it takes the place of what was adopted from it.
    let right = books.adopt(1, Some(three)).await.unwrap();
    assert_eq!(told(&right), (1, Adopted, vec![(three.to_string(), 1)]));
    assert_eq!(books.send(wrong).await.unwrap().version, 2, "a copy is told what the first was told");
    assert_eq!(told(&books.listed(Default::default()).await).0, 1);
    let known = v1::ListDocumentsRequest { as_known_at: Some(timestamp(before)), ..Default::default() };
    assert_eq!(told(&books.listed(known).await), (2, Adopted, vec![(three.to_string(), 2)]));
    books.adopt(2, None).await.unwrap();
    let then = v1::ListDocumentsRequest { as_of: Some(day(books.ago(1))), ..Default::default() };
    assert_eq!(books.listed(then).await.version, 1);
    assert_eq!(told(&books.withdraw(books.today()).await.unwrap()).0, 1);
    assert_eq!(reason(&books.withdraw(books.today()).await.unwrap_err()), "NOT_FOUND", "once");
    assert_eq!(told(&books.withdraw(three).await.unwrap()), (2, Last, vec![]));
    assert_eq!(told(&books.adopt(1, Some(three)).await.unwrap()).0, 1, "and again");
    books.house.close().await;
}

#[tokio::test]
async fn what_is_no_version_or_nobodys_to_adopt_is_refused() {
    let books = Books::new().await;
    let tomorrow = Some(day(books.today() + TimeDelta::days(1)));
    let adoption = |change: fn(&mut v1::AdoptVersionRequest)| {
        let mut adopt = books.adoption(1, None);
        change(&mut adopt);
        adopt
    };
    for (adopt, wanted) in [
        (adoption(|a| a.version = 3), "NOT_FOUND"),
        (adoption(|a| a.version = i32::MAX), "NOT_FOUND"),
        (adoption(|a| a.version = 0), "MALFORMED"),
        (adoption(|a| a.code = "otter".to_owned()), "NOT_FOUND"),
        (adoption(|a| a.kind = v1::DocumentKind::Ethogram.into()), "NOT_FOUND"),
        (adoption(|a| a.kind = 0), "MALFORMED"),
        (adoption(|a| a.site = "BRA".to_owned()), "NOT_FOUND"),
        (v1::AdoptVersionRequest { adopted_on: tomorrow, ..books.adoption(1, None) }, "IN_THE_FUTURE"),
    ] {
        let refused = books.send(adopt.clone()).await.unwrap_err();
        assert_eq!(reason(&refused), wanted, "{adopt:?}: {}", refused.message());
    }
    for person in [&books.park.keeper, &books.park.auditor, &books.curator] {
        let refused = person.client.documents().adopt_version(books.adoption(1, None)).await.unwrap_err();
        assert_eq!(reason(&refused), "ROLE_NEEDED");
    }
    // A registrar of another site who keeps animals at this one.
    books.house.park("BRA", "Europe/Dublin").await;
    let both =
        books.house.person("both", &[(Role::Registrar, Some("BRA")), (Role::Keeper, Some("QUI"))]).await;
    let mut documents = both.client.documents();
    let refused = documents.adopt_version(books.adoption(1, None)).await.unwrap_err();
    assert_eq!(reason(&refused), "ROLE_NEEDED");
    let own = v1::AdoptVersionRequest { site: "BRA".to_owned(), ..books.adoption(1, None) };
    documents.adopt_version(own).await.unwrap();
    assert_eq!(books.listed(Default::default()).await.adoptions, [], "BRA adopts for itself alone");
    // Whoever was registrar is it no longer.
    let former = books.house.person("former", &[(Role::Registrar, Some("QUI"))]).await;
    former.client.documents().adopt_version(books.adoption(1, None)).await.unwrap();
    let revoke = v1::RevokeRoleRequest {
        request_id: books.house.request(),
        sign_in_name: "former".to_owned(),
        grant: Some(v1::Grant {
            role: v1::Role::Registrar.into(),
            site: "QUI".to_owned(),
            every_site: false,
        }),
    };
    books.house.steward().await.client.people().revoke_role(revoke).await.unwrap();
    let left = books.house.with_token(&books.house.token(former.id, &[]));
    let refused = left.documents().adopt_version(books.adoption(2, None)).await.unwrap_err();
    assert_eq!(reason(&refused), "ROLE_NEEDED");
    books.house.close().await;
}

#[tokio::test]
async fn a_watch_goes_on_by_the_version_that_it_began_by() {
    use v1::VersionBasis::{Adopted, Last, Unspecified};
    let books = Books::new().await;
    let (house, park) = (&books.house, &books.park);
    let ethogram = async |n: u32| {
        let toml = ETHOGRAM.replacen("version = 1", &format!("version = {n}"), 1);
        let load = v1::LoadEthogramRequest { request_id: house.request(), toml, ..Default::default() };
        books.curator.client.ethograms().load_ethogram(load).await.unwrap();
    };
    ethogram(1).await;
    let create = v1::CreateGroupRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        name: "Weir family".to_owned(),
        ..Default::default()
    };
    park.keeper.client.groups().create_group(create).await.unwrap();
    let began_at = Some(timestamp(house.clock.now() - TimeDelta::hours(1)));
    let watch = |watch_id: &str, number: i32, version: i32| v1::RecordWatchRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        watch_id: watch_id.to_owned(),
        group: "Weir family".to_owned(),
        ethogram: "small-carnivore".to_owned(),
        ethogram_version: version,
        began_at,
        events: vec![v1::WatchEvent {
            number,
            happened_at: began_at,
            what: Some(v1::watch_event::What::Feed(v1::FeedGiven {})),
        }],
        ..Default::default()
    };
    let record =
        async |ask| park.keeper.client.watches().record_watch(ask).await.map(tonic::Response::into_inner);
    let (first, second) = (house.request(), house.request());
    let begun = record(watch(&first, 1, 0)).await.unwrap();
    assert_eq!(begun.version_basis(), Last);
    ethogram(2).await;
    let adopt = v1::AdoptVersionRequest {
        kind: v1::DocumentKind::Ethogram.into(),
        code: "small-carnivore".to_owned(),
        ..books.adoption(2, Some(books.ago(2)))
    };
    books.send(adopt).await.unwrap();
    assert_eq!(record(watch(&first, 2, 0)).await.unwrap().version_basis(), Unspecified);
    assert_eq!(record(watch(&first, 3, 1)).await.unwrap().recorded, 1);
    let refused = record(watch(&second, 1, 1)).await.unwrap_err();
    assert_eq!(reason(&refused), "VERSION_NOT_ADOPTED", "{}", refused.message());
    assert_eq!(record(watch(&second, 1, 0)).await.unwrap().version_basis(), Adopted);
    let list = v1::ListWatchesRequest { site: "QUI".to_owned(), ..Default::default() };
    let all = park.auditor.client.watches().list_watches(list).await.unwrap().into_inner().watches;
    let mut versions: Vec<i32> = all.iter().map(|one| one.ethogram_version).collect();
    versions.sort_unstable();
    assert_eq!(versions, [1, 2]);
    books.house.close().await;
}

#[tokio::test]
async fn a_reading_lies_on_the_curve_that_the_site_works_by() {
    use v1::VersionBasis::{Adopted, Last};
    let books = Books::new().await;
    let (house, park) = (&books.house, &books.park);
    for n in 1..=2 {
        let toml = REFERENCE.replacen("version = 1", &format!("version = {n}"), 1);
        let load = v1::LoadGrowthReferenceRequest { request_id: house.request(), toml, ..Default::default() };
        books.curator.client.growth().load_growth_reference(load).await.unwrap();
    }
    let birth = v1::RegisterBirthRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        taxon: "Lontra canadensis".to_owned(),
        born_on: Some(day(books.ago(20))),
        sex: v1::Sex::Unknown.into(),
        ..Default::default()
    };
    let cub =
        park.registrar.client.animals().register_birth(birth).await.unwrap().into_inner().animal.unwrap();
    let mut round = house.round("QUI", &[]);
    round.readings = vec![v1::Reading {
        animal: cub.id.clone(),
        result: Some(v1::reading::Result::Mass(v1::Mass { milligrams: 600_000 })),
        ..Default::default()
    }];
    park.keeper.client.weights().record_weights(round).await.unwrap();
    let standing = async || {
        let ask = v1::GetGrowthRequest { site: "QUI".to_owned(), animal: cub.id.clone(), expected_on: None };
        let told = park.auditor.client.growth().get_growth(ask).await.unwrap().into_inner();
        let [one] = told.standings.as_slice() else { panic!("{told:?}") };
        (one.version, one.version_basis())
    };
    assert_eq!(standing().await, (2, Last));
    let adopt = v1::AdoptVersionRequest {
        kind: v1::DocumentKind::GrowthReference.into(),
        code: "otter-cubs".to_owned(),
        ..books.adoption(1, Some(books.ago(2)))
    };
    books.send(adopt).await.unwrap();
    assert_eq!(standing().await, (1, Adopted));
    books.house.close().await;
}
