//! Something of each kind that people put on record.

use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_tests::cast::{ETHOGRAM, PROTOCOL, REFERENCE, STANDARD};
use holt_tests::{House, Park};

/// A house with a thermometer that has spoken, and what must be kept there.
pub(super) async fn heated(house: &House, park: &Park) {
    let (site, enclosure) = ("QUI".to_owned(), "Warm attic".to_owned());
    house.enclosure(park, &enclosure).await;
    let measure = v1::Measure::Temperature.into();
    let add = v1::AddDeviceRequest {
        request_id: house.request(),
        site: site.clone(),
        enclosure: enclosure.clone(),
        name: "Attic lamp".to_owned(),
        measure,
        ..Default::default()
    };
    park.registrar.client.climate().add_device(add).await.unwrap();
    let rules = v1::ClimateRules { enclosure, measure, ..Default::default() };
    let set = v1::SetClimateRulesRequest {
        request_id: house.request(),
        site: site.clone(),
        rules: Some(rules),
        because: String::new(),
    };
    park.registrar.client.climate().set_climate_rules(set).await.unwrap();
    let read_at = Some(timestamp(house.clock.now()));
    let reading = v1::DeviceReading { device: "Attic lamp".to_owned(), read_at, value: 21.0 };
    let said = v1::RecordReadingsRequest { request_id: house.request(), site, readings: vec![reading] };
    park.keeper.client.climate().record_readings(said).await.unwrap();
}

/// A food, a plan, and something that was given.
pub(super) async fn fed(house: &House, park: &Park, group: &str) {
    let (site, request_id) = ("QUI".to_owned(), house.request());
    let food = v1::SetFoodRequest {
        request_id,
        site: site.clone(),
        name: "Trout".to_owned(),
        kcal_per_g: 1.2,
        source: "invented".to_owned(),
        ..Default::default()
    };
    park.registrar.client.feeding().set_food(food).await.unwrap();
    let (request_id, group) = (house.request(), group.to_owned());
    let plan =
        v1::SetFeedPlanRequest { request_id, site: site.clone(), group: group.clone(), ..Default::default() };
    park.registrar.client.feeding().set_feed_plan(plan).await.unwrap();
    let given = v1::NewFeed {
        to: Some(v1::new_feed::To::Group(group)),
        food: "trout".to_owned(),
        given: Some(v1::Mass { milligrams: 400_000 }),
        method: v1::FeedMethod::Bowl.into(),
        ..Default::default()
    };
    let record = v1::RecordFeedsRequest { request_id: house.request(), site, feeds: vec![given] };
    park.keeper.client.feeding().record_feeds(record).await.unwrap();
}

/// An item, terms, and something that was offered.
pub(super) async fn enriched(house: &House, park: &Park, group: &str) {
    let (site, registrar) = ("QUI".to_owned(), &park.registrar.client);
    let item = v1::EnrichmentItem {
        name: "Herbs".to_owned(),
        kind: v1::EnrichmentKind::Sensory.into(),
        ..Default::default()
    };
    let set = v1::SetEnrichmentItemRequest {
        request_id: house.request(),
        site: site.clone(),
        item: Some(item),
        because: String::new(),
    };
    registrar.enrichment().set_enrichment_item(set).await.unwrap();
    let terms = v1::EnrichmentTerms { group: group.to_owned(), ..Default::default() };
    let set = v1::SetEnrichmentTermsRequest {
        request_id: house.request(),
        site: site.clone(),
        terms: Some(terms),
        because: String::new(),
    };
    registrar.enrichment().set_enrichment_terms(set).await.unwrap();
    let offer = v1::NewEnrichmentOffer {
        to: Some(v1::new_enrichment_offer::To::Group(group.to_owned())),
        item: "Herbs".to_owned(),
        ..Default::default()
    };
    let record = v1::RecordEnrichmentRequest { request_id: house.request(), site, offers: vec![offer] };
    park.keeper.client.enrichment().record_enrichment(record).await.unwrap();
}

/// Limits, and an encounter.
pub(super) async fn shown(house: &House, park: &Park, animal: &str) {
    let site = "QUI".to_owned();
    let limits = v1::EncounterLimits { minutes_a_day: Some(60), ..Default::default() };
    let set = v1::SetEncounterLimitsRequest {
        request_id: house.request(),
        site: site.clone(),
        of: Some(v1::set_encounter_limits_request::Of::Animal(animal.to_owned())),
        limits: Some(limits),
        because: String::new(),
    };
    park.registrar.client.encounters().set_encounter_limits(set).await.unwrap();
    let now = house.clock.now();
    let record = v1::RecordEncounterRequest {
        request_id: house.request(),
        site,
        kind: v1::EncounterKind::Talk.into(),
        began_at: Some(timestamp(now - TimeDelta::minutes(20))),
        ended_at: Some(timestamp(now)),
        animals: vec![animal.to_owned()],
        ..Default::default()
    };
    park.keeper.client.encounters().record_encounter(record).await.unwrap();
}

/// A group that was watched.
pub(super) async fn watched(house: &House, park: &Park) {
    house.load_ethogram(&house.steward().await).await;
    let (site, group) = ("QUI".to_owned(), "Bank family".to_owned());
    let (request_id, note) = (house.request(), String::new());
    let create = v1::CreateGroupRequest { request_id, site: site.clone(), name: group.clone(), note };
    park.keeper.client.groups().create_group(create).await.unwrap();
    let now = Some(timestamp(house.clock.now()));
    let watch = v1::RecordWatchRequest {
        request_id: house.request(),
        site,
        watch_id: house.request(),
        group,
        ethogram: "small-carnivore".to_owned(),
        began_at: now,
        events: vec![v1::WatchEvent {
            number: 1,
            happened_at: now,
            what: Some(v1::watch_event::What::Feed(v1::FeedGiven {})),
        }],
        ..Default::default()
    };
    park.keeper.client.watches().record_watch(watch).await.unwrap();
    let upset = v1::RecordUpsetRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        group: "Bank family".to_owned(),
        kind: v1::UpsetKind::Alarm.into(),
        happened: "a heron on the roof".to_owned(),
        ..Default::default()
    };
    park.keeper.client.upsets().record_upset(upset).await.unwrap();
}

/// A document of each kind of its own, and a version that it adopted.
pub(super) async fn kept_for_itself(house: &House, park: &Park) {
    let (site, registrar) = ("QUI".to_owned(), &park.registrar.client);
    let toml = PROTOCOL.replace("otter-watch", "qui-otter");
    let load = v1::LoadProtocolRequest {
        request_id: house.request(),
        toml,
        site: site.clone(),
        ..Default::default()
    };
    registrar.assessments().load_protocol(load).await.unwrap();
    let toml = ETHOGRAM.replacen("small-carnivore", "qui-otter", 1);
    let load = v1::LoadEthogramRequest {
        request_id: house.request(),
        toml,
        site: site.clone(),
        ..Default::default()
    };
    registrar.ethograms().load_ethogram(load).await.unwrap();
    let toml = REFERENCE.replace("otter-cubs", "qui-otter");
    let (request_id, own) = (house.request(), site.clone());
    let load = v1::LoadGrowthReferenceRequest { request_id, toml, site: own, ..Default::default() };
    registrar.growth().load_growth_reference(load).await.unwrap();
    let (request_id, own) = (house.request(), site.clone());
    let toml = STANDARD.replace("gb-zoo-licensing-act", "qui-otter");
    let load = v1::LoadStandardRequest { request_id, toml, site: own, ..Default::default() };
    registrar.standards().load_standard(load).await.unwrap();
    let adopt = v1::AdoptVersionRequest {
        request_id: house.request(),
        site,
        kind: v1::DocumentKind::Protocol.into(),
        code: "qui-otter".to_owned(),
        version: 1,
        adopted_on: None,
    };
    registrar.documents().adopt_version(adopt).await.unwrap();
}

/// Something that it proposed for all, and withdrew.
pub(super) async fn proposed(house: &House, park: &Park) {
    let species = v1::UpdateTaxonRequest {
        taxon: "Lontra canadensis".to_owned(),
        cites_appendix: Some(v1::CitesAppendix::Ii.into()),
        ..Default::default()
    };
    let propose = v1::ProposeChangeRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        change: Some(v1::propose_change_request::Change::Species(species)),
        because: "listed".to_owned(),
        validate_only: false,
    };
    let mut proposals = park.registrar.client.proposals();
    let made = proposals.propose_change(propose).await.unwrap().into_inner().proposal.unwrap();
    let withdraw = v1::WithdrawProposalRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        proposal_id: made.id,
        because: String::new(),
    };
    proposals.withdraw_proposal(withdraw).await.unwrap();
}

/// Puts something of every kind on record that is recorded of an animal while it lives somewhere.
pub(super) async fn live(house: &House, park: &Park, animal: &str) {
    house.clock.advance(TimeDelta::hours(1));
    let (site, animal, registrar) = (park.code.clone(), animal.to_owned(), &park.registrar.client);
    let now = house.clock.now();
    let sex = v1::RecordSexRequest {
        request_id: house.request(),
        site: site.clone(),
        animal: animal.clone(),
        sex: v1::Sex::Female.into(),
        determined_on: None,
    };
    registrar.animals().record_sex(sex).await.unwrap();
    let mark = v1::ApplyMarkRequest {
        request_id: house.request(),
        site: site.clone(),
        animal: animal.clone(),
        mark: Some(v1::NewMark {
            kind: v1::MarkKind::Ring.into(),
            code: format!("{site}-77"),
            place_on_body: "left hind leg".to_owned(),
        }),
        applied_at: None,
    };
    registrar.marks().apply_mark(mark).await.unwrap();
    let moults = v1::BeginLifeStateRequest {
        request_id: house.request(),
        site: site.clone(),
        animal: animal.clone(),
        kind: v1::LifeStateKind::Moult.into(),
        ..Default::default()
    };
    park.keeper.client.send(moults).await.unwrap();
    let terms = v1::SetPartnerTermsRequest {
        request_id: house.request(),
        site: site.clone(),
        note: "seeks a male".to_owned(),
        ..Default::default()
    };
    registrar.send(terms).await.unwrap();
    let search = v1::FindPartnersRequest {
        request_id: house.request(),
        site: site.clone(),
        animals: vec![animal.clone()],
        ..Default::default()
    };
    registrar.send(search).await.unwrap();
    let place = v1::PlaceAnimalsRequest {
        request_id: house.request(),
        site: site.clone(),
        animals: vec![animal.clone()],
        enclosure: "Weir".to_owned(),
        placed_at: None,
    };
    registrar.placements().place_animals(place).await.unwrap();
    let group = v1::CreateGroupRequest {
        request_id: house.request(),
        site: site.clone(),
        name: "Weir family".to_owned(),
        note: String::new(),
    };
    registrar.groups().create_group(group).await.unwrap();
    let join = v1::JoinGroupRequest {
        request_id: house.request(),
        site: site.clone(),
        group: "Weir family".to_owned(),
        animals: vec![animal.clone()],
        role: v1::GroupRole::Juvenile.into(),
        joined_at: None,
    };
    registrar.groups().join_group(join).await.unwrap();
    let round = house.round(&site, &[(&animal, now, 8_000)]);
    park.keeper.client.weights().record_weights(round).await.unwrap();
    let assessment = house.assessment(&site, &animal, &[("body-condition", "right")]);
    park.keeper.client.assessments().record_assessment(assessment).await.unwrap();
}
