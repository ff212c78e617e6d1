//! Requests about what keepers do with a group each day: watch, feed, enrich, show, and read its house.

use super::*;

impl Stage {
    pub(super) async fn of_climate(&self, call: &str) -> Option<Vec<u8>> {
        let (request_id, site) = (self.house.request(), HOME.to_owned());
        let house = self.word();
        self.house.enclosure(&self.home, &house).await;
        let (measure, name) = (v1::Measure::Temperature.into(), self.word());
        let add = v1::AddDeviceRequest {
            request_id,
            site: site.clone(),
            enclosure: house.clone(),
            name: name.clone(),
            measure,
            ..Default::default()
        };
        if call == "AddDevice" {
            return Some(add.encode_to_vec());
        }
        self.home.registrar.client.climate().add_device(add).await.unwrap();
        let request_id = self.house.request();
        let read_at = Some(timestamp(start_of_time()));
        let reading = v1::DeviceReading { device: name.clone(), read_at, value: 21.0 };
        let portion = v1::RecordReadingsRequest { request_id, site: site.clone(), readings: vec![reading] };
        let request_id = self.house.request();
        Some(match call {
            "RetireDevice" => {
                v1::RetireDeviceRequest { request_id, site, device: name, because: "it leaks".to_owned() }
                    .encode_to_vec()
            }
            "SetClimateRules" => {
                let rules = v1::ClimateRules { enclosure: house, measure, ..Default::default() };
                v1::SetClimateRulesRequest { request_id, site, rules: Some(rules), because: String::new() }
                    .encode_to_vec()
            }
            "RecordReadings" => portion.encode_to_vec(),
            "SendReadings" => v1::SendReadingsRequest { portion: Some(portion) }.encode_to_vec(),
            "GetClimate" => v1::GetClimateRequest { site, enclosure: String::new() }.encode_to_vec(),
            "GetExposure" => {
                let (from, until) = (start_of_time() - TimeDelta::hours(1), start_of_time());
                let (from, until) = (Some(timestamp(from)), Some(timestamp(until)));
                v1::GetExposureRequest { site, from, until, ..Default::default() }.encode_to_vec()
            }
            _ => return None,
        })
    }

    pub(super) async fn of_life_states(&self, call: &str) -> Option<Vec<u8>> {
        let site = HOME.to_owned();
        let begin = v1::BeginLifeStateRequest {
            request_id: self.house.request(),
            site: site.clone(),
            animal: self.otter(&self.home).await,
            kind: v1::LifeStateKind::Moult.into(),
            since: Some(v1::begin_life_state_request::Since::BeganAt(timestamp(
                start_of_time() - TimeDelta::days(2),
            ))),
            ..Default::default()
        };
        Some(match call {
            "BeginLifeState" => begin.encode_to_vec(),
            "EndLifeState" => {
                let (animal, kind) = (begin.animal.clone(), begin.kind);
                self.home.keeper.client.send(begin).await.unwrap();
                let (request_id, because) = (self.house.request(), "coat complete".to_owned());
                v1::EndLifeStateRequest { request_id, site, animal, kind, because, ..Default::default() }
                    .encode_to_vec()
            }
            "ListLifeStates" => v1::ListLifeStatesRequest { site, ..Default::default() }.encode_to_vec(),
            _ => return None,
        })
    }

    pub(super) async fn of_partners(&self, call: &str) -> Option<Vec<u8>> {
        let (request_id, site) = (self.house.request(), HOME.to_owned());
        Some(match call {
            "FindPartners" => {
                let animals = vec![self.otter(&self.home).await];
                v1::FindPartnersRequest { request_id, site, animals, ..Default::default() }.encode_to_vec()
            }
            "SetPartnerTerms" => {
                let note = "seeks a male".to_owned();
                v1::SetPartnerTermsRequest { request_id, site, shows_cards: true, note, validate_only: false }
                    .encode_to_vec()
            }
            "ListPartnerTerms" => v1::ListPartnerTermsRequest { site }.encode_to_vec(),
            "ListPartnerSearches" => v1::ListPartnerSearchesRequest { site, page: None }.encode_to_vec(),
            _ => return None,
        })
    }

    pub(super) async fn of_encounters(&self, call: &str) -> Option<Vec<u8>> {
        let (request_id, site) = (self.house.request(), HOME.to_owned());
        let record = v1::RecordEncounterRequest {
            request_id: self.house.request(),
            site: site.clone(),
            kind: v1::EncounterKind::Talk.into(),
            began_at: Some(timestamp(start_of_time() - TimeDelta::minutes(30))),
            ended_at: Some(timestamp(start_of_time() - TimeDelta::minutes(10))),
            animals: vec![self.otter(&self.home).await],
            ..Default::default()
        };
        Some(match call {
            "SetEncounterLimits" => {
                let of = v1::set_encounter_limits_request::Of::Taxon("Lontra canadensis".to_owned());
                let limits = Some(v1::EncounterLimits { minutes_a_day: Some(60), ..Default::default() });
                let because = String::new();
                v1::SetEncounterLimitsRequest { request_id, site, of: Some(of), limits, because }
                    .encode_to_vec()
            }
            "ListEncounterLimits" => {
                v1::ListEncounterLimitsRequest { site, as_known_at: None }.encode_to_vec()
            }
            "RecordEncounter" => record.encode_to_vec(),
            "WithdrawEncounter" => {
                let held = self.home.keeper.client.encounters().record_encounter(record).await.unwrap();
                let encounter_id = held.into_inner().encounter.unwrap().id;
                let because = "it rained".to_owned();
                v1::WithdrawEncounterRequest { request_id, site, encounter_id, because }.encode_to_vec()
            }
            "ListEncounters" => v1::ListEncountersRequest { site, ..Default::default() }.encode_to_vec(),
            "ListEncounterAllowances" => {
                v1::ListEncounterAllowancesRequest { site, ..Default::default() }.encode_to_vec()
            }
            _ => return None,
        })
    }

    pub(super) async fn of_enrichment(&self, call: &str) -> Option<Vec<u8>> {
        let (site, name) = (HOME.to_owned(), self.word());
        let item = v1::EnrichmentItem {
            name: name.clone(),
            kind: v1::EnrichmentKind::Sensory.into(),
            ..Default::default()
        };
        let set = v1::SetEnrichmentItemRequest {
            request_id: self.house.request(),
            site: site.clone(),
            item: Some(item),
            because: String::new(),
        };
        if call == "SetEnrichmentItem" {
            return Some(set.encode_to_vec());
        }
        self.home.registrar.client.enrichment().set_enrichment_item(set).await.unwrap();
        let (group, _) = self.group().await;
        let offer = v1::NewEnrichmentOffer {
            to: Some(v1::new_enrichment_offer::To::Group(group.clone())),
            item: name,
            ..Default::default()
        };
        let record = v1::RecordEnrichmentRequest {
            request_id: self.house.request(),
            site: site.clone(),
            offers: vec![offer],
        };
        let given = async || {
            let given = self.home.keeper.client.enrichment().record_enrichment(record.clone()).await.unwrap();
            given.into_inner().offers[0].id.clone()
        };
        let request_id = self.house.request();
        Some(match call {
            "ListEnrichmentItems" => {
                v1::ListEnrichmentItemsRequest { site, ..Default::default() }.encode_to_vec()
            }
            "SetEnrichmentTerms" => {
                let terms = Some(v1::EnrichmentTerms { group, ..Default::default() });
                v1::SetEnrichmentTermsRequest { request_id, site, terms, because: String::new() }
                    .encode_to_vec()
            }
            "RecordEnrichment" => record.encode_to_vec(),
            "RecordEnrichmentUse" => {
                let (offer_id, response) = (given().await, v1::EnrichmentResponse::Used.into());
                let used_minutes = Some(12);
                v1::RecordEnrichmentUseRequest { request_id, site, offer_id, response, used_minutes }
                    .encode_to_vec()
            }
            "WithdrawEnrichment" => {
                let (offer_id, because) = (given().await, "of another day".to_owned());
                v1::WithdrawEnrichmentRequest { request_id, site, offer_id, because }.encode_to_vec()
            }
            "ListEnrichmentOffers" => {
                v1::ListEnrichmentOffersRequest { site, ..Default::default() }.encode_to_vec()
            }
            "GetEnrichment" => v1::GetEnrichmentRequest { site, group, ..Default::default() }.encode_to_vec(),
            "PlanEnrichment" => {
                v1::PlanEnrichmentRequest { site, groups: vec![group], ..Default::default() }.encode_to_vec()
            }
            _ => return None,
        })
    }

    pub(super) async fn of_feeding(&self, call: &str) -> Option<Vec<u8>> {
        let (site, name) = (HOME.to_owned(), self.word());
        let food = v1::SetFoodRequest {
            request_id: self.house.request(),
            site: site.clone(),
            name: name.clone(),
            kcal_per_g: 1.2,
            source: "invented".to_owned(),
            ..Default::default()
        };
        if call == "SetFood" {
            return Some(food.encode_to_vec());
        }
        self.home.registrar.client.feeding().set_food(food).await.unwrap();
        let (group, _) = self.group().await;
        let mass = Some(v1::Mass { milligrams: 400_000 });
        let given = v1::NewFeed {
            to: Some(v1::new_feed::To::Group(group.clone())),
            food: name.clone(),
            given: mass,
            method: v1::FeedMethod::Bowl.into(),
            ..Default::default()
        };
        let record = v1::RecordFeedsRequest {
            request_id: self.house.request(),
            site: site.clone(),
            feeds: vec![given],
        };
        let given = async || {
            let given = self.home.keeper.client.feeding().record_feeds(record.clone()).await.unwrap();
            given.into_inner().feeds[0].id.clone()
        };
        let request_id = self.house.request();
        Some(match call {
            "ListFoods" => v1::ListFoodsRequest { site, as_known_at: None }.encode_to_vec(),
            "SetFeedPlan" => {
                let feed = v1::PlannedFeed {
                    time_of_day: "06:30".to_owned(),
                    food: name,
                    mass,
                    method: v1::FeedMethod::Scattered.into(),
                    ..Default::default()
                };
                v1::SetFeedPlanRequest { request_id, site, group, feeds: vec![feed], ..Default::default() }
                    .encode_to_vec()
            }
            "RecordFeeds" => record.encode_to_vec(),
            "RecordLeftovers" => {
                let (feed_id, left) = (given().await, Some(v1::Mass { milligrams: 0 }));
                v1::RecordLeftoversRequest { request_id, site, feed_id, left, lasted_minutes: Some(20) }
                    .encode_to_vec()
            }
            "WithdrawFeed" => {
                let (feed_id, because) = (given().await, "of another day".to_owned());
                v1::WithdrawFeedRequest { request_id, site, feed_id, because }.encode_to_vec()
            }
            "ListFeeds" => v1::ListFeedsRequest { site, ..Default::default() }.encode_to_vec(),
            "GetFeeding" => v1::GetFeedingRequest { site, group, ..Default::default() }.encode_to_vec(),
            _ => return None,
        })
    }

    /// A version of an ethogram that is not recorded.
    pub(super) async fn ethogram(&self) -> v1::LoadEthogramRequest {
        let toml = format!(
            "code = \"{}\"\nversion = 1\ntitle = \"Otters\"\n[[behaviour]]\ncode = \"rest\"\nname = \"rests\"\nkind = \"rest\"\nmeaning = \"lies\"",
            self.own_code()
        );
        v1::LoadEthogramRequest {
            request_id: self.house.request(),
            toml,
            site: HOME.to_owned(),
            ..Default::default()
        }
    }

    /// Of a group that is watched, and of what it is watched by.
    pub(super) async fn of_watching(&self, call: &str) -> Option<Vec<u8>> {
        let load = self.ethogram().await;
        match call {
            "LoadEthogram" => return Some(load.encode_to_vec()),
            "ListEthograms" => return Some(v1::ListEthogramsRequest {}.encode_to_vec()),
            _ => {}
        }
        let loaded = self.home.registrar.client.ethograms().load_ethogram(load).await.unwrap().into_inner();
        let (site, (group, _)) = (HOME.to_owned(), self.group().await);
        let watch = v1::RecordWatchRequest {
            request_id: self.house.request(),
            site: site.clone(),
            watch_id: self.house.request(),
            group: group.clone(),
            ethogram: loaded.ethogram.unwrap().code,
            began_at: Some(timestamp(start_of_time())),
            events: vec![v1::WatchEvent {
                number: 1,
                happened_at: Some(timestamp(start_of_time())),
                what: Some(v1::watch_event::What::Feed(v1::FeedGiven {})),
            }],
            ..Default::default()
        };
        Some(match call {
            "RecordWatch" => watch.encode_to_vec(),
            "FollowWatch" => v1::FollowWatchRequest { portion: Some(watch) }.encode_to_vec(),
            "RecordUpset" => v1::RecordUpsetRequest {
                request_id: self.house.request(),
                site,
                group,
                kind: v1::UpsetKind::Alarm.into(),
                happened: "a heron on the roof".to_owned(),
                ..Default::default()
            }
            .encode_to_vec(),
            "ListUpsets" => v1::ListUpsetsRequest { site, ..Default::default() }.encode_to_vec(),
            "WithdrawEvent" => {
                let watch_id = watch.watch_id.clone();
                self.home.keeper.client.watches().record_watch(watch).await.unwrap();
                let (request_id, because) = (self.house.request(), "noted twice".to_owned());
                v1::WithdrawEventRequest { request_id, site, watch_id, number: 1, because }.encode_to_vec()
            }
            "ListWatches" => v1::ListWatchesRequest { site, ..Default::default() }.encode_to_vec(),
            "GetStanding" => v1::GetStandingRequest { site, group, ..Default::default() }.encode_to_vec(),
            _ => return None,
        })
    }
}
