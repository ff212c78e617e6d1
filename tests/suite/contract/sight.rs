//! What row-level security lets be seen and written, table by table, were the code to forget who asks.

use chrono::TimeDelta;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_server::access::permit::Caller;
use holt_server::clock::Clock;
use holt_server::records::ledger;
use holt_tests::cast::{ETHOGRAM, PROTOCOL, REFERENCE};
use holt_tests::house::start_of_time;
use holt_tests::{House, Park};
use serde_json::Value;
use sqlx::{AssertSqlSafe, Connection, PgConnection, PgTransaction};
use std::collections::BTreeMap;
use uuid::Uuid;

/// What everybody who is signed in may read: the directory, the hashes that seal what all recorded, and bare
/// identifiers of records that nobody linked.
const OPEN_TO_ALL: [&str; 9] = [
    "ethograms",
    "growth_references",
    "identities",
    "protocols",
    "seals",
    "sites",
    "taxa",
    "taxon_names",
    "taxon_traits",
];
/// What opens only while somebody signs in.
const AT_THE_GATE: [&str; 3] = ["credentials", "epochs", "refresh_tokens"];
/// Part of it belongs to everybody: Holt itself, and those whose roles hold at every site.
const PARTLY_OPEN: [&str; 2] = ["grants", "people"];
/// What anybody inside may add to; what counts is who may grant, who reads it, and for leaves that the entry
/// that they stand for is refused.
const OPEN_TO_ADD: [&str; 3] = ["leaves", "people", "taxa"];

/// A house with a thermometer that has spoken, and what must be kept there.
async fn heated(house: &House, park: &Park) {
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
async fn fed(house: &House, park: &Park, group: &str) {
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
async fn enriched(house: &House, park: &Park, group: &str) {
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
async fn shown(house: &House, park: &Park, animal: &str) {
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
async fn watched(house: &House, park: &Park) {
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
async fn kept_for_itself(house: &House, park: &Park) {
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
async fn proposed(house: &House, park: &Park) {
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

/// Who asks, as a transaction tells the database.
#[derive(Clone, Copy)]
pub(super) struct Asker {
    site: Option<Uuid>,
    everywhere: bool,
    gate: bool,
    person: Uuid,
}

impl Asker {
    pub(super) const fn of(site: Uuid, person: Uuid) -> Self {
        Self { site: Some(site), everywhere: false, gate: false, person }
    }
}

/// A transaction of the service, with the scope of somebody or outside the doors.
pub(super) async fn enter(service: &mut PgConnection, asker: Option<Asker>) -> PgTransaction<'_> {
    let mut tx = service.begin().await.unwrap();
    if let Some(asker) = asker {
        sqlx::query("SELECT FROM holt_open($1, $2, $3, $4, 60000, NULL, NULL)")
            .bind(asker.site.into_iter().collect::<Vec<Uuid>>())
            .bind(asker.everywhere)
            .bind(asker.gate)
            .bind(asker.person)
            .execute(&mut *tx)
            .await
            .unwrap();
        // The tables themselves, and not what stands of them by the links between records.
        sqlx::query("SET LOCAL search_path TO public").execute(&mut *tx).await.unwrap();
    }
    tx
}

pub(super) async fn tables(anybody: &mut PgConnection) -> Vec<String> {
    sqlx::query_scalar(
        "SELECT relname::text FROM pg_class WHERE relnamespace = 'public'::regnamespace
            AND relkind IN ('r', 'p') AND relname <> '_sqlx_migrations' ORDER BY 1",
    )
    .fetch_all(anybody)
    .await
    .unwrap()
}

/// How many rows of each table somebody sees.
async fn seen(service: &mut PgConnection, asker: Option<Asker>) -> BTreeMap<String, i64> {
    let tables = tables(service).await;
    let mut tx = enter(service, asker).await;
    let mut counts = BTreeMap::new();
    for table in tables {
        let count = format!("SELECT count(*) FROM public.{table}");
        let count = sqlx::query_scalar(AssertSqlSafe(count)).fetch_one(&mut *tx).await.unwrap();
        counts.insert(table, count);
    }
    tx.rollback().await.unwrap();
    counts
}

/// Puts something of every kind on record that is recorded of an animal while it lives somewhere.
async fn live(house: &House, park: &Park, animal: &str) {
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

/// Two parks; the first with something in every table.
pub(super) struct Scene {
    pub(super) house: House,
    pub(super) quill: Park,
    pub(super) brack: Park,
    /// Identifier of an animal with a dam.
    pub(super) pup: String,
    pub(super) quill_site: Uuid,
    pub(super) brack_site: Uuid,
}

impl Scene {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let quill = house.quill().await;
        let brack = house.park("BRA", "America/Halifax").await;
        let third = house.park("THI", "Asia/Tokyo").await;
        house.load_protocol(&house.steward().await).await;
        for park in [&quill, &brack] {
            house.enclosure(park, "Weir").await;
        }
        for name in ["Bramble", "Sedge", "Teasel"] {
            house.otter(&quill, name).await;
        }
        // One that is on loan, and came with a paper.
        let borrowed = v1::RegisterArrivalRequest {
            owner: "Fenwater Collection".to_owned(),
            loan: Some(v1::LoanTerms::default()),
            papers: vec![v1::PaperContent { kind: v1::PaperKind::Receipt.into(), ..Default::default() }],
            ..house.arrival(&quill, "Heron", "2025-03-01".parse().unwrap())
        };
        quill.registrar.client.animals().register_arrival(borrowed).await.unwrap();
        let birth = v1::RegisterBirthRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            taxon: "Lontra canadensis".to_owned(),
            born_on: Some(day("2026-02-20".parse().unwrap())),
            sex: v1::Sex::Unknown.into(),
            dam: "Bramble".to_owned(),
            ..Default::default()
        };
        let pup = quill.registrar.client.animals().register_birth(birth).await.unwrap().into_inner();
        let pup = pup.animal.unwrap().id;
        live(&house, &quill, &pup).await;
        let load = v1::LoadGrowthReferenceRequest {
            request_id: house.request(),
            toml: REFERENCE.to_owned(),
            ..Default::default()
        };
        house.steward().await.client.growth().load_growth_reference(load).await.unwrap();
        let describe = v1::DescribeTaxonRequest {
            request_id: house.request(),
            taxon: "Lontra canadensis".to_owned(),
            traits: Some(v1::TaxonTraits {
                gestation_days: 62,
                source: "long practice".to_owned(),
                ..Default::default()
            }),
        };
        house.steward().await.client.animals().describe_taxon(describe).await.unwrap();
        let litter = v1::RecordLitterRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            born_on: Some(day("2026-02-20".parse().unwrap())),
            young: Some(v1::Counts { males: 0, females: 0, unknown: 3 }),
            dam: "Bramble".to_owned(),
            ..Default::default()
        };
        let litter = quill.registrar.client.litters().record_litter(litter).await.unwrap().into_inner();
        let crated = v1::RecordCrateReadingRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            of: Some(v1::record_crate_reading_request::Of::LitterId(litter.litter.unwrap().id)),
            animals: 3,
            mass: Some(v1::Mass { milligrams: 420_000 }),
            ..Default::default()
        };
        quill.keeper.client.weights().record_crate_reading(crated).await.unwrap();
        let death = v1::RecordDeathRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            animal: "Teasel".to_owned(),
            died_on: Some(day(start_of_time().date_naive())),
            manner: v1::DeathManner::Natural.into(),
            ..Default::default()
        };
        quill.registrar.client.animals().record_death(death).await.unwrap();
        let check = v1::CreateCheckRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            duty: v1::Duty::Weigh.into(),
            scope: Some(v1::CheckScope { of: Some(v1::check_scope::Of::WholeSite(true)) }),
            recurrence: "FREQ=WEEKLY;BYDAY=MO".to_owned(),
            ..Default::default()
        };
        quill.registrar.client.checks().create_check(check).await.unwrap();
        // Four refusals in a row raise a concern.
        let mut round = house.round("QUI", &[]);
        round.readings = (1..=4)
            .map(|hours| v1::Reading {
                animal: "Bramble".to_owned(),
                when: Some(v1::reading::When::WeighedAt(timestamp(
                    start_of_time() - TimeDelta::hours(hours),
                ))),
                result: Some(v1::reading::Result::Tried(v1::Tried {})),
                ..Default::default()
            })
            .collect();
        let answer = quill.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
        assert_eq!(answer.concerns.len(), 1);
        let steward = house.steward().await;
        let person = v1::CreatePersonRequest {
            request_id: house.request(),
            name: "Kim Quill".to_owned(),
            sign_in_name: "kim".to_owned(),
            grants: vec![v1::Grant {
                role: v1::Role::Keeper.into(),
                site: "QUI".to_owned(),
                every_site: false,
            }],
        };
        let made = steward.client.people().create_person(person).await.unwrap().into_inner();
        let sign_in = v1::SignInRequest { sign_in_name: "kim".to_owned(), password: made.one_time_password };
        house.anonymous().people().sign_in(sign_in).await.unwrap();
        let (request_id, sign_in_name) = (house.request(), "kim".to_owned());
        let reset = v1::ResetPasswordRequest { request_id, sign_in_name };
        steward.client.people().reset_password(reset).await.unwrap();
        let this = Self {
            quill_site: house.records.store.site("QUI").await.unwrap().unwrap().id,
            brack_site: house.records.store.site("BRA").await.unwrap().unwrap().id,
            house,
            quill,
            brack,
            pup,
        };
        // Two records that were of one animal.
        let [keep, give_up] = ["Rush", "Reed"].map(|name| name.to_owned());
        for name in [&keep, &give_up] {
            this.house.otter(&this.quill, name).await;
        }
        let merge = v1::MergeAnimalsRequest {
            request_id: this.house.request(),
            site: "QUI".to_owned(),
            keep,
            give_up,
            because: "the same scars".to_owned(),
            ..Default::default()
        };
        this.quill.registrar.client.merges().merge_animals(merge).await.unwrap();
        kept_for_itself(&this.house, &this.quill).await;
        proposed(&this.house, &this.quill).await;
        heated(&this.house, &this.quill).await;
        fed(&this.house, &this.quill, "Weir family").await;
        enriched(&this.house, &this.quill, "Weir family").await;
        shown(&this.house, &this.quill, "Bramble").await;
        watched(&this.house, &this.quill).await;
        this.amended(&third).await;
        // A move that is none of Brack's business.
        this.propose("Sedge", &third.code, v1::TransferTerms::Loan).await;
        ledger::seal(&this.house.records, &Caller::itself()).await.unwrap();
        this
    }

    /// An animal that lives elsewhere, of which Quill proposed something and withdrew it.
    async fn amended(&self, third: &Park) {
        let otter = self.house.otter(&self.quill, "Willow").await;
        let transfer_id = self.propose("Willow", &third.code, v1::TransferTerms::TitlePasses).await;
        let request_id = || self.house.request();
        let id = || transfer_id.clone();
        let mut receiver = third.registrar.client.transfers();
        let agree =
            v1::AgreeTransferRequest { request_id: request_id(), transfer_id: id(), ..Default::default() };
        receiver.agree_transfer(agree).await.unwrap();
        let leave =
            v1::DispatchTransferRequest { request_id: request_id(), transfer_id: id(), ..Default::default() };
        self.quill.registrar.client.transfers().dispatch_transfer(leave).await.unwrap();
        let come =
            v1::ReceiveTransferRequest { request_id: request_id(), transfer_id: id(), ..Default::default() };
        receiver.receive_transfer(come).await.unwrap();
        let ask =
            v1::GetHistoryRequest { site: "QUI".to_owned(), animal: otter.id.clone(), ..Default::default() };
        let facts = self.quill.auditor.client.history().get_history(ask).await.unwrap().into_inner().facts;
        let name = facts.iter().find(|fact| fact.kind() == v1::FactKind::Mark).unwrap();
        let propose = v1::ProposeAmendmentRequest {
            request_id: request_id(),
            site: "QUI".to_owned(),
            animal: otter.id,
            because: "never called so".to_owned(),
            validate_only: false,
            change: Some(v1::propose_amendment_request::Change::WithdrawnFactId(name.id.clone())),
        };
        let mut amendments = self.quill.registrar.client.amendments();
        let proposed = amendments.propose_amendment(propose).await.unwrap().into_inner().amendment.unwrap();
        let withdraw = v1::WithdrawAmendmentRequest {
            request_id: request_id(),
            site: "QUI".to_owned(),
            amendment_id: proposed.id,
            because: String::new(),
        };
        amendments.withdraw_amendment(withdraw).await.unwrap();
    }

    pub(super) async fn propose(&self, animal: &str, to: &str, terms: v1::TransferTerms) -> String {
        let propose = v1::ProposeTransferRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            to_site: to.to_owned(),
            terms: terms.into(),
            why: "company".to_owned(),
            ..Default::default()
        };
        let proposed = self.quill.registrar.client.transfers().propose_transfer(propose).await.unwrap();
        proposed.into_inner().transfer.unwrap().id
    }

    async fn agree(&self, transfer_id: String) {
        let agree =
            v1::AgreeTransferRequest { request_id: self.house.request(), transfer_id, ..Default::default() };
        self.brack.registrar.client.transfers().agree_transfer(agree).await.unwrap();
    }

    /// Moves the pup to Brack, where it lives on.
    async fn moved(&self, terms: v1::TransferTerms) {
        let transfer_id = self.propose(&self.pup, "BRA", terms).await;
        self.agree(transfer_id.clone()).await;
        let dispatch = v1::DispatchTransferRequest {
            request_id: self.house.request(),
            transfer_id: transfer_id.clone(),
            ..Default::default()
        };
        self.quill.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
        let receive = v1::ReceiveTransferRequest {
            request_id: self.house.request(),
            transfer_id,
            ..Default::default()
        };
        self.brack.registrar.client.transfers().receive_transfer(receive).await.unwrap();
        self.house.clock.advance(TimeDelta::days(1));
        live(&self.house, &self.brack, &self.pup).await;
    }

    pub(super) const fn quill(&self) -> Asker {
        Asker::of(self.quill_site, self.quill.keeper.id)
    }

    pub(super) const fn brack(&self) -> Asker {
        Asker::of(self.brack_site, self.brack.auditor.id)
    }

    /// Rows about the pup in each table of facts that an asker sees, by the site that recorded them:
    /// `weights` → (of Quill, of Brack).
    async fn facts(&self, asker: Asker) -> BTreeMap<String, (i64, i64)> {
        let mut service = self.house.service().await;
        let tables: Vec<String> = sqlx::query_scalar(
            "SELECT t.relname::text FROM pg_class t
              WHERE t.relnamespace = 'public'::regnamespace AND t.relkind IN ('r', 'p') AND t.relname NOT IN ('checks', 'encounter_limits', 'feeds', 'litter_changes', 'loans', 'papers')
                AND 2 = (SELECT count(*) FROM pg_attribute a
                          WHERE a.attrelid = t.oid AND a.attname IN ('animal_id', 'superseded_at'))
              ORDER BY 1",
        )
        .fetch_all(&mut service)
        .await
        .unwrap();
        let mut tx = enter(&mut service, Some(asker)).await;
        let mut counts = BTreeMap::new();
        for table in tables {
            let count = format!(
                "SELECT count(*) FILTER (WHERE site_id = $2), count(*) FILTER (WHERE site_id = $3)
                   FROM {table} WHERE animal_id = $1::text::uuid"
            );
            let count: (i64, i64) = sqlx::query_as(AssertSqlSafe(count))
                .bind(&self.pup)
                .bind(self.quill_site)
                .bind(self.brack_site)
                .fetch_one(&mut *tx)
                .await
                .unwrap();
            counts.insert(table, count);
        }
        // Nobody died of this, and nobody was taken for another.
        counts.remove("deaths").unwrap();
        counts.remove("merges").unwrap();
        counts
    }
}

#[tokio::test]
async fn outside_the_doors_nothing_is_there() {
    let scene = Scene::new().await;
    let mut service = scene.house.service().await;
    let seen = seen(&mut service, None).await;
    assert!(seen.values().all(|count| *count == 0), "{seen:?}");
    scene.house.close().await;
}

#[tokio::test]
async fn another_site_sees_the_directory_and_nothing_else() {
    let scene = Scene::new().await;
    let mut service = scene.house.service().await;
    let own = seen(&mut service, Some(scene.quill())).await;
    let other = seen(&mut service, Some(scene.brack())).await;
    for (table, count) in &own {
        let table = table.as_str();
        assert_eq!(*count > 0, !AT_THE_GATE.contains(&table), "{table} at home");
        let wanted = match table {
            // Those that are linked are seen by whoever sees the link.
            "identities" => continue,
            partly if PARTLY_OPEN.contains(&partly) => continue,
            // Those that all share, and not Quill's own.
            "ethograms" | "growth_references" | "protocols" => 1,
            open if OPEN_TO_ALL.contains(&open) => *count,
            // Brack was added, and has an enclosure of its own.
            "ledger" | "leaves" => 2,
            "enclosures" | "site_seals" => 1,
            _ => 0,
        };
        assert_eq!(other[table], wanted, "{table} elsewhere");
    }
    let mut tx = enter(&mut service, Some(scene.brack())).await;
    let people = [&scene.quill.keeper, &scene.quill.registrar, &scene.quill.auditor, &scene.quill.vet];
    let people: Vec<Uuid> = people.iter().map(|person| person.id).collect();
    let known: (i64, i64) = sqlx::query_as(
        "SELECT (SELECT count(*) FROM people WHERE id = ANY ($1)), (SELECT count(*) FROM grants WHERE site_id = $2)",
    )
    .bind(people)
    .bind(scene.quill_site)
    .fetch_one(&mut *tx)
    .await
    .unwrap();
    assert_eq!(known, (0, 0), "people of another site, and their roles");
    tx.rollback().await.unwrap();
    scene.house.close().await;
}

#[tokio::test]
async fn the_gate_opens_credentials_and_nothing_of_the_records() {
    let scene = Scene::new().await;
    let mut service = scene.house.service().await;
    let gate = Asker { site: None, everywhere: false, gate: true, person: Uuid::nil() };
    let seen = seen(&mut service, Some(gate)).await;
    for (table, count) in seen {
        let table = table.as_str();
        // Requests and ledger lines of nobody are those of Holt itself.
        let own = ["ledger", "requests"].contains(&table);
        let opens =
            AT_THE_GATE.contains(&table) || OPEN_TO_ALL.contains(&table) || PARTLY_OPEN.contains(&table);
        assert_eq!(count > 0, opens || own, "{table}");
    }
    scene.house.close().await;
}

/// One row of each table, as JSON.
async fn rows(owner: &mut PgConnection) -> BTreeMap<String, Value> {
    let mut rows = BTreeMap::new();
    for table in tables(owner).await {
        // Anybody adds a leaf that is of no site, whichever row the sealer moved last.
        let first = if table == "leaves" { "ORDER BY t.site_id NULLS FIRST" } else { "" };
        let row = format!("SELECT to_jsonb(t) FROM {table} t {first} LIMIT 1");
        rows.insert(table, sqlx::query_scalar(AssertSqlSafe(row)).fetch_one(&mut *owner).await.unwrap());
    }
    rows
}

/// The SQLSTATE with which the database answers each table's row when an asker writes it again.
async fn written(house: &House, asker: Option<Asker>) -> BTreeMap<String, String> {
    let (mut owner, mut service) = (house.owner().await, house.service().await);
    let mut answers = BTreeMap::new();
    for (table, row) in rows(&mut owner).await {
        // Columns that the database works out by itself are not given.
        let columns: String = sqlx::query_scalar(
            "SELECT string_agg(quote_ident(attname), ', ' ORDER BY attnum) FROM pg_attribute
              WHERE attrelid = $1::regclass AND attnum > 0 AND NOT attisdropped AND attgenerated = ''",
        )
        .bind(&table)
        .fetch_one(&mut owner)
        .await
        .unwrap();
        let mut tx = enter(&mut service, asker).await;
        let insert = format!(
            "INSERT INTO public.{table} ({columns})
             SELECT {columns} FROM jsonb_populate_record(NULL::public.{table}, $1)"
        );
        let refused = sqlx::query(AssertSqlSafe(insert)).bind(row).execute(&mut *tx).await.unwrap_err();
        let code = refused.as_database_error().unwrap().code().unwrap().into_owned();
        tx.rollback().await.unwrap();
        answers.insert(table, code);
    }
    answers
}

const NOT_ALLOWED: &str = "42501";
const THERE_ALREADY: &str = "23505";

#[tokio::test]
async fn nobody_writes_for_another_site() {
    let scene = Scene::new().await;
    for (table, code) in written(&scene.house, Some(scene.brack())).await {
        let wanted = if OPEN_TO_ADD.contains(&table.as_str()) { THERE_ALREADY } else { NOT_ALLOWED };
        assert_eq!(code, wanted, "{table} by another site");
    }
    for (table, code) in written(&scene.house, None).await {
        assert_eq!(code, NOT_ALLOWED, "{table} outside the doors");
    }
    scene.house.close().await;
}

#[tokio::test]
async fn nobody_changes_anything_of_another_site() {
    let scene = Scene::new().await;
    let mut service = scene.house.service().await;
    let may_change: Vec<(String, String)> = sqlx::query_as(
        "SELECT t.relname::text, min(a.attname::text) FROM pg_class t JOIN pg_attribute a ON a.attrelid = t.oid
          WHERE t.relnamespace = 'public'::regnamespace AND t.relkind IN ('r', 'p') AND a.attnum > 0
            AND NOT a.attisdropped AND has_column_privilege('holt_service', t.oid, a.attnum, 'UPDATE')
          GROUP BY 1",
    )
    .fetch_all(&mut service)
    .await
    .unwrap();
    assert!(may_change.len() > 10);
    for (table, column) in may_change {
        for (asker, who) in [(Some(scene.brack()), "by another site"), (None, "outside the doors")] {
            let mut tx = enter(&mut service, asker).await;
            // Brack's own people have grants of their own.
            let own = if table == "grants" { "WHERE site_id IS NULL OR site_id <> $1" } else { "" };
            let update = format!("UPDATE public.{table} SET {column} = {column} {own}");
            let mut update = sqlx::query(AssertSqlSafe(update));
            if table == "grants" {
                update = update.bind(scene.brack_site);
            }
            let changed = update.execute(&mut *tx).await.unwrap().rows_affected();
            assert_eq!(changed, 0, "{table} {who}");
            tx.rollback().await.unwrap();
        }
    }
    scene.house.close().await;
}

#[tokio::test]
async fn an_agreed_move_opens_the_animals_life_and_nothing_beside_it() {
    let scene = Scene::new().await;
    let mut service = scene.house.service().await;
    let before = seen(&mut service, Some(scene.brack())).await;
    let transfer_id = scene.propose(&scene.pup, "BRA", v1::TransferTerms::Loan).await;
    let proposed = scene.facts(scene.brack()).await;
    assert!(proposed.values().all(|count| *count == (0, 0)), "a proposal opens nothing: {proposed:?}");
    scene.agree(transfer_id).await;
    let home = scene.facts(scene.quill()).await;
    assert!(home.values().all(|count| count.0 > 0 && count.1 == 0), "each table has its part: {home:?}");
    assert_eq!(scene.facts(scene.brack()).await, home, "the whole life");
    let after = seen(&mut service, Some(scene.brack())).await;
    for (table, count) in after {
        let more = count - before[&table];
        let wanted = match table.as_str() {
            "animals" => 1,
            "transfers" => 1,
            // Proposed, and agreed.
            "transfer_steps" => 2,
            // The agreement is Brack's own.
            "ledger" | "leaves" => 1,
            facts => home.get(facts).map_or(0, |(of_quill, _)| *of_quill),
        };
        assert_eq!(more, wanted, "{table}");
    }
    scene.house.close().await;
}

#[tokio::test]
async fn of_an_animal_that_left_the_later_life_is_not_seen() {
    let scene = Scene::new().await;
    scene.moved(v1::TransferTerms::TitlePasses).await;
    let (home, there) = (scene.facts(scene.quill()).await, scene.facts(scene.brack()).await);
    for (table, (of_quill, of_brack)) in there {
        // What it is born of is not recorded twice.
        assert_eq!(of_brack > 0, !["births", "parents"].contains(&table.as_str()), "{table} there");
        assert_eq!(home[&table], (of_quill, 0), "{table} at home");
    }
    scene.house.close().await;
}

#[tokio::test]
async fn the_owner_sees_the_later_life_too() {
    let scene = Scene::new().await;
    scene.moved(v1::TransferTerms::Loan).await;
    let (home, there) = (scene.facts(scene.quill()).await, scene.facts(scene.brack()).await);
    assert_eq!(home, there);
    assert!(home["weights"].1 > 0 && home["assessments"].1 > 0);
    scene.house.close().await;
}
