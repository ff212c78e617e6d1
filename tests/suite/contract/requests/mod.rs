//! For every method a request that goes well, with all that it needs put on record first.

mod amendments;
mod animals;
mod care;
mod groups;
mod people;

use chrono::TimeDelta;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_server::model::person::Role;
use holt_tests::house::start_of_time;
use holt_tests::{House, Park, Person};
use prost::Message;
use std::sync::atomic::{AtomicU32, Ordering};
use tokio::sync::OnceCell;

/// Code of the site that requests are about, of one that it moves animals to and from, and of a third.
pub(super) const HOME: &str = "HOM";
pub(super) const AWAY: &str = "AWA";
pub(super) const THIRD: &str = "THI";

/// A house with three sites.
pub(super) struct Stage {
    pub(super) house: House,
    pub(super) home: Park,
    pub(super) away: Park,
    steward: Person,
    /// Somebody who signs in, once their one-time password is there.
    guest: OnceCell<v1::SignInRequest>,
    count: AtomicU32,
}

impl Stage {
    pub(super) async fn new() -> Self {
        // Signing in is walked like any method, and more often than a person would.
        let house = House::with(|config| {
            config.access.sign_ins_per_minute = 10_000;
            config.server.strangers_calls_per_minute = 0;
        })
        .await;
        let home = house.park(HOME, "Europe/Dublin").await;
        let away = house.park(AWAY, "Europe/Vienna").await;
        house.park(THIRD, "Asia/Tokyo").await;
        house.taxon(&home, "Lontra canadensis", "North American river otter").await;
        let steward = house.steward().await;
        house.load_protocol(&steward).await;
        for park in [&home, &away] {
            house.enclosure(park, "Weir").await;
        }
        Self { house, home, away, steward, guest: OnceCell::new(), count: AtomicU32::new(0) }
    }

    /// A word that was not used before, of letters alone.
    fn word(&self) -> String {
        let n = self.count.fetch_add(1, Ordering::Relaxed);
        let letter = |n: u32| char::from(b'a' + u8::try_from(n % 26).unwrap());
        [letter(n / 676), letter(n / 26), letter(n)].iter().collect()
    }

    /// The code of a document of the first site's own that was not used before.
    fn own_code(&self) -> String {
        format!("hom-{}", self.word())
    }

    /// A version of a standard that is not recorded.
    fn standard(&self) -> v1::LoadStandardRequest {
        v1::LoadStandardRequest {
            request_id: self.house.request(),
            toml: holt_tests::cast::STANDARD.replace("gb-zoo-licensing-act", &self.own_code()),
            site: HOME.to_owned(),
            ..Default::default()
        }
    }

    /// That the first site works by the first version of a protocol.
    fn adoption(&self) -> v1::AdoptVersionRequest {
        v1::AdoptVersionRequest {
            request_id: self.house.request(),
            site: HOME.to_owned(),
            kind: v1::DocumentKind::Protocol.into(),
            code: "otter-watch".to_owned(),
            version: 1,
            adopted_on: Some(day(start_of_time().date_naive())),
        }
    }

    /// A change that the first site proposes for all.
    fn proposed_change(&self) -> v1::ProposeChangeRequest {
        let species = v1::UpdateTaxonRequest {
            taxon: "Lontra canadensis".to_owned(),
            common_name: Some(format!("Otter {}", self.word())),
            ..Default::default()
        };
        v1::ProposeChangeRequest {
            request_id: self.house.request(),
            site: HOME.to_owned(),
            change: Some(v1::propose_change_request::Change::Species(species)),
            because: "as people say it".to_owned(),
            validate_only: false,
        }
    }

    async fn open_proposal(&self) -> String {
        let mut proposals = self.home.registrar.client.proposals();
        let proposed = proposals.propose_change(self.proposed_change()).await.unwrap().into_inner();
        proposed.proposal.unwrap().id
    }

    async fn otter(&self, park: &Park) -> String {
        let otter = self.house.otter(park, &self.word()).await;
        otter.accession
    }

    /// An otter whose record was withdrawn.
    async fn never_was(&self) -> String {
        let animal = self.otter(&self.home).await;
        let ask = v1::WithdrawAnimalRequest {
            request_id: self.house.request(),
            site: HOME.to_owned(),
            animal: animal.clone(),
            because: "entered twice".to_owned(),
            ..Default::default()
        };
        self.home.registrar.client.send(ask).await.unwrap();
        animal
    }

    /// An otter and a reading of it that the keeper recorded.
    async fn weighed(&self) -> (String, String) {
        let animal = self.otter(&self.home).await;
        let round = self.house.round(HOME, &[(&animal, start_of_time(), 8_000)]);
        let answer = self.home.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
        (animal, answer.answers[0].weight_id.clone())
    }

    /// An otter and a reading of it that waits for a second weighing.
    async fn waiting(&self) -> (String, String) {
        let animal = self.otter(&self.home).await;
        let mut answers = Vec::new();
        for (weeks, grams) in [(3, 8_000), (2, 8_010), (1, 7_990), (0, 800)] {
            let at = start_of_time() - TimeDelta::weeks(weeks);
            let round = self.house.round(HOME, &[(&animal, at, grams)]);
            let answer = self.home.keeper.client.weights().record_weights(round).await.unwrap();
            answers.extend(answer.into_inner().answers);
        }
        (animal, answers[3].weight_id.clone())
    }

    /// Says how much energy otters need.
    async fn describe_energy(&self) {
        let describe = v1::DescribeTaxonRequest {
            request_id: self.house.request(),
            taxon: "Lontra canadensis".to_owned(),
            traits: Some(v1::TaxonTraits {
                energy: Some(v1::EnergyNeed { rest_kcal: 70.0, low: 1.4, high: 2.0 }),
                source: "invented for tests".to_owned(),
                ..Default::default()
            }),
        };
        self.steward.client.animals().describe_taxon(describe).await.unwrap();
    }

    /// A transfer that stands where `state` says, and its identifier.
    async fn transfer(&self, from: &Park, to: &Park, state: v1::TransferState) -> String {
        let propose = self.propose(from, to).await;
        let proposed = from.registrar.client.transfers().propose_transfer(propose).await.unwrap();
        let transfer_id = proposed.into_inner().transfer.unwrap().id;
        if state != v1::TransferState::Proposed {
            let agree = v1::AgreeTransferRequest {
                request_id: self.house.request(),
                transfer_id: transfer_id.clone(),
                ..Default::default()
            };
            to.registrar.client.transfers().agree_transfer(agree).await.unwrap();
        }
        if state == v1::TransferState::Dispatched {
            let dispatch = v1::DispatchTransferRequest {
                request_id: self.house.request(),
                transfer_id: transfer_id.clone(),
                ..Default::default()
            };
            from.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
        }
        transfer_id
    }

    async fn propose(&self, from: &Park, to: &Park) -> v1::ProposeTransferRequest {
        v1::ProposeTransferRequest {
            request_id: self.house.request(),
            site: from.code.clone(),
            animal: self.otter(from).await,
            to_site: to.code.clone(),
            terms: v1::TransferTerms::Loan.into(),
            owner_agreed: "by letter".to_owned(),
            why: "company".to_owned(),
            ..Default::default()
        }
    }

    fn withhold(&self, transfer_id: String) -> v1::WithholdTransferRequest {
        v1::WithholdTransferRequest {
            request_id: self.house.request(),
            transfer_id,
            why: "a cough".to_owned(),
        }
    }

    /// An open concern: an animal that declined the scale four times in a row.
    async fn concern(&self) -> String {
        let animal = self.otter(&self.home).await;
        let mut round = self.house.round(HOME, &[]);
        round.readings = (1..=4)
            .map(|day| v1::Reading {
                animal: animal.clone(),
                when: Some(v1::reading::When::WeighedAt(timestamp(start_of_time() - TimeDelta::days(day)))),
                result: Some(v1::reading::Result::Tried(v1::Tried {})),
                ..Default::default()
            })
            .collect();
        let answer = self.home.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
        let [concern] = answer.concerns.as_slice() else { panic!("{answer:?}") };
        concern.id.clone()
    }

    /// A check that runs.
    async fn check(&self) -> String {
        let made = self.home.registrar.client.checks().create_check(self.create_check()).await.unwrap();
        made.into_inner().check.unwrap().id
    }

    fn create_check(&self) -> v1::CreateCheckRequest {
        v1::CreateCheckRequest {
            request_id: self.house.request(),
            site: HOME.to_owned(),
            duty: v1::Duty::Weigh.into(),
            scope: Some(v1::CheckScope { of: Some(v1::check_scope::Of::WholeSite(true)) }),
            recurrence: "FREQ=WEEKLY;BYDAY=MO".to_owned(),
            ..Default::default()
        }
    }

    /// A request of a method that goes well for whoever may send it; none for a method that is not known
    /// here.
    pub(super) async fn request(&self, method: &str) -> Option<Vec<u8>> {
        use v1::TransferState::{Agreed, Dispatched, Proposed};
        let (service, call) = method.split_once('/')?;
        let bytes = match service {
            "PeopleService" => self.of_people(call).await?,
            "SiteService" => self.of_sites(call)?,
            "AnimalService" => self.of_animals(call).await?,
            "ExchangeService" => self.of_exchange(call)?,
            "EncounterService" => self.of_encounters(call).await?,
            "EnrichmentService" => self.of_enrichment(call).await?,
            "FeedingService" => self.of_feeding(call).await?,
            "FindService" => v1::FindAnimalsRequest { text: "Bramble".to_owned(), most: 5 }.encode_to_vec(),
            "GroupService" => self.of_groups(call).await?,
            "ClimateService" => self.of_climate(call).await?,
            "EthogramService" | "WatchService" | "StandingService" | "UpsetService" => {
                self.of_watching(call).await?
            }
            "LitterService" => self.of_litters(call).await?,
            "MarkService" => self.of_marks(call).await?,
            "PaperService" => self.of_papers(call).await?,
            "AmendmentService" => self.of_amendments(call).await?,
            "LoanService" => self.of_loans(call).await?,
            "LifeStateService" => self.of_life_states(call).await?,
            "PacketService" => {
                let transfer_id = self.transfer(&self.home, &self.away, Proposed).await;
                v1::GetPacketRequest { transfer_id }.encode_to_vec()
            }
            "PartnerService" => self.of_partners(call).await?,
            "TitleService" => match call {
                "PassTitle" => v1::PassTitleRequest {
                    request_id: self.house.request(),
                    site: HOME.to_owned(),
                    animal: self.otter(&self.home).await,
                    to: "Fenwater Collection".to_owned(),
                    because: "sold".to_owned(),
                    ..Default::default()
                }
                .encode_to_vec(),
                "ListOwnedElsewhere" => {
                    v1::ListOwnedElsewhereRequest { site: HOME.to_owned(), ..Default::default() }
                        .encode_to_vec()
                }
                _ => return None,
            },
            "TransferService" => {
                let (home, away) = (&self.home, &self.away);
                match call {
                    "ProposeTransfer" => self.propose(home, away).await.encode_to_vec(),
                    "AgreeTransfer" => self.step(self.transfer(away, home, Proposed).await),
                    "RefuseTransfer" => self.step_because(self.transfer(away, home, Proposed).await),
                    "CancelTransfer" => self.step_because(self.transfer(home, away, Proposed).await),
                    "DispatchTransfer" => self.step(self.transfer(home, away, Agreed).await),
                    "ReceiveTransfer" => self.step(self.transfer(away, home, Dispatched).await),
                    "ReportTransferLoss" => v1::ReportTransferLossRequest {
                        request_id: self.house.request(),
                        transfer_id: self.transfer(home, away, Dispatched).await,
                        loss: v1::TransferLoss::Escape.into(),
                        note: "the crate was open".to_owned(),
                        ..Default::default()
                    }
                    .encode_to_vec(),
                    "WithholdTransfer" => {
                        self.withhold(self.transfer(home, away, Agreed).await).encode_to_vec()
                    }
                    "ReleaseTransfer" => {
                        let transfer_id = self.transfer(home, away, Agreed).await;
                        let withhold = self.withhold(transfer_id.clone());
                        home.vet.client.transfers().withhold_transfer(withhold).await.unwrap();
                        self.step(transfer_id)
                    }
                    "GetTransfer" => {
                        let transfer_id = self.transfer(home, away, Proposed).await;
                        v1::GetTransferRequest { transfer_id, as_known_at: None }.encode_to_vec()
                    }
                    "ListTransfers" => {
                        v1::ListTransfersRequest { site: HOME.to_owned(), ..Default::default() }
                            .encode_to_vec()
                    }
                    _ => return None,
                }
            }
            _ => self.of_the_round(method).await?,
        };
        Some(bytes)
    }

    /// A step of a transfer that needs no word: the fields that all such requests share.
    fn step(&self, transfer_id: String) -> Vec<u8> {
        v1::AgreeTransferRequest { request_id: self.house.request(), transfer_id, ..Default::default() }
            .encode_to_vec()
    }

    /// A step of a transfer that needs a reason.
    fn step_because(&self, transfer_id: String) -> Vec<u8> {
        v1::RefuseTransferRequest {
            request_id: self.house.request(),
            transfer_id,
            why: "no room".to_owned(),
            ..Default::default()
        }
        .encode_to_vec()
    }

    async fn of_the_round(&self, method: &str) -> Option<Vec<u8>> {
        let (request_id, site) = (self.house.request(), HOME.to_owned());
        Some(match method {
            "PlacementService/PlaceAnimals" => v1::PlaceAnimalsRequest {
                request_id,
                site,
                animals: vec![self.otter(&self.home).await],
                enclosure: "Weir".to_owned(),
                placed_at: None,
            }
            .encode_to_vec(),
            "WeightService/RecordWeights" => {
                let animal = self.otter(&self.home).await;
                self.house.round(HOME, &[(&animal, start_of_time(), 8_000)]).encode_to_vec()
            }
            "WeightService/RecordCrateReading" => v1::RecordCrateReadingRequest {
                request_id,
                site,
                of: Some(v1::record_crate_reading_request::Of::Group(self.group().await.0)),
                animals: 1,
                mass: Some(v1::Mass { milligrams: 8_000_000 }),
                ..Default::default()
            }
            .encode_to_vec(),
            "WeightService/AcceptWeight" => {
                let (animal, weight_id) = self.waiting().await;
                let because = "weighed twice".to_owned();
                v1::AcceptWeightRequest { request_id, site, animal, weight_id, because, ..Default::default() }
                    .encode_to_vec()
            }
            "WeightService/ListWeights" => {
                v1::ListWeightsRequest { site, ..Default::default() }.encode_to_vec()
            }
            "AssessmentService/LoadProtocol" => {
                let toml = holt_tests::cast::PROTOCOL.replace("otter-watch", &self.own_code());
                v1::LoadProtocolRequest { request_id, toml, site, ..Default::default() }.encode_to_vec()
            }
            "ProposalService/ProposeChange" => self.proposed_change().encode_to_vec(),
            "ProposalService/AcceptProposal" => {
                let proposal_id = self.open_proposal().await;
                v1::AcceptProposalRequest { request_id, proposal_id, note: String::new() }.encode_to_vec()
            }
            "ProposalService/DeclineProposal" => {
                let (proposal_id, because) = (self.open_proposal().await, "not so".to_owned());
                v1::DeclineProposalRequest { request_id, proposal_id, because }.encode_to_vec()
            }
            "ProposalService/WithdrawProposal" => {
                let (proposal_id, because) = (self.open_proposal().await, String::new());
                v1::WithdrawProposalRequest { request_id, site, proposal_id, because }.encode_to_vec()
            }
            "ProposalService/ListProposals" => {
                v1::ListProposalsRequest { site, ..Default::default() }.encode_to_vec()
            }
            "DocumentService/AdoptVersion" => self.adoption().encode_to_vec(),
            "DocumentService/WithdrawAdoption" => {
                let adopt = self.adoption();
                self.home.registrar.client.documents().adopt_version(adopt.clone()).await.unwrap();
                v1::WithdrawAdoptionRequest {
                    request_id,
                    site,
                    kind: adopt.kind,
                    code: adopt.code,
                    adopted_on: adopt.adopted_on,
                    because: "not yet".to_owned(),
                }
                .encode_to_vec()
            }
            "DocumentService/ListDocuments" => {
                v1::ListDocumentsRequest { site, ..Default::default() }.encode_to_vec()
            }
            "AssessmentService/ListProtocols" => v1::ListProtocolsRequest {}.encode_to_vec(),
            "AssessmentService/RecordAssessment" => {
                let animal = self.otter(&self.home).await;
                self.house.assessment(HOME, &animal, &[("body-condition", "right")]).encode_to_vec()
            }
            "AssessmentService/ListAssessments" => {
                v1::ListAssessmentsRequest { site, ..Default::default() }.encode_to_vec()
            }
            "CheckService/CreateCheck" => self.create_check().encode_to_vec(),
            "CheckService/EndCheck" => v1::EndCheckRequest {
                request_id,
                site,
                check_id: self.check().await,
                ends_on: Some(day(start_of_time().date_naive())),
                why: "another rhythm".to_owned(),
            }
            .encode_to_vec(),
            "CheckService/ListChecks" => v1::ListChecksRequest { site, as_known_at: None }.encode_to_vec(),
            "CheckService/ListDue" => v1::ListDueRequest { site, ..Default::default() }.encode_to_vec(),
            "CheckService/GetCheckCoverage" => {
                let today = Some(day(start_of_time().date_naive()));
                let days = Some(v1::DaySpan { first: today, last: today });
                v1::GetCheckCoverageRequest { site, days, ..Default::default() }.encode_to_vec()
            }
            "GrowthService/LoadGrowthReference" => {
                let toml = holt_tests::cast::REFERENCE.replace("otter-cubs", &self.own_code());
                v1::LoadGrowthReferenceRequest { request_id, toml, site, ..Default::default() }
                    .encode_to_vec()
            }
            "StandardService/LoadStandard" => self.standard().encode_to_vec(),
            "StandardService/ListStandards" => v1::ListStandardsRequest {}.encode_to_vec(),
            "StandardService/AnswerStandard" => {
                let load = self.standard();
                let loaded = self.home.registrar.client.send(load).await.unwrap().standard.unwrap();
                let today = Some(day(start_of_time().date_naive()));
                let days = Some(v1::DaySpan { first: today, last: today });
                v1::AnswerStandardRequest { site, standard: loaded.code, days, ..Default::default() }
                    .encode_to_vec()
            }
            "GrowthService/ListGrowthReferences" => v1::ListGrowthReferencesRequest {}.encode_to_vec(),
            "GrowthService/GetGrowth" => {
                let animal = self.otter(&self.home).await;
                v1::GetGrowthRequest { site, animal, expected_on: None }.encode_to_vec()
            }
            "GrowthService/FitSpeciesGrowth" => {
                let taxon = "Lontra canadensis".to_owned();
                v1::FitSpeciesGrowthRequest { site, taxon, ..Default::default() }.encode_to_vec()
            }
            "GrowthService/EstimateEnergyNeed" => {
                let (animal, _) = self.weighed().await;
                self.describe_energy().await;
                v1::EstimateEnergyNeedRequest { site, animal, offered_kcal: Some(400.0) }.encode_to_vec()
            }
            "KinshipService/GetKin" => {
                let animal = self.otter(&self.home).await;
                v1::GetKinRequest { site, animal, ..Default::default() }.encode_to_vec()
            }
            "KinshipService/CompareKinship" => {
                let animals = vec![self.otter(&self.home).await, self.otter(&self.home).await];
                v1::CompareKinshipRequest { site, animals, ..Default::default() }.encode_to_vec()
            }
            "WelfareService/GetWelfareCourse" => {
                let animal = self.otter(&self.home).await;
                v1::GetWelfareCourseRequest { site, animal, ..Default::default() }.encode_to_vec()
            }
            "WelfareService/CompareObservers" => {
                let protocol = "otter-watch".to_owned();
                v1::CompareObserversRequest { site, protocol, ..Default::default() }.encode_to_vec()
            }
            "WelfareService/ListUnassessed" => {
                v1::ListUnassessedRequest { site, ..Default::default() }.encode_to_vec()
            }
            "ConcernService/ReplayConcerns" => {
                let first = Some(day(start_of_time().date_naive() - TimeDelta::days(28)));
                let last = Some(day(start_of_time().date_naive()));
                let days = Some(v1::DaySpan { first, last });
                v1::ReplayConcernsRequest { site, days, ..Default::default() }.encode_to_vec()
            }
            "ConcernService/ListConcerns" => {
                v1::ListConcernsRequest { site, ..Default::default() }.encode_to_vec()
            }
            "ConcernService/TakeUpConcern" => {
                let concern_id = self.concern().await;
                v1::TakeUpConcernRequest { request_id, site, concern_id, ..Default::default() }
                    .encode_to_vec()
            }
            "ConcernService/SettleConcern" => {
                let concern_id = self.concern().await;
                let because = "it comes again".to_owned();
                v1::SettleConcernRequest { request_id, site, concern_id, because, ..Default::default() }
                    .encode_to_vec()
            }
            "CensusService/GetStockReturn" => {
                let first = Some(day(start_of_time().date_naive()));
                let days = Some(v1::DaySpan { first, last: first });
                v1::GetStockReturnRequest { site, days, ..Default::default() }.encode_to_vec()
            }
            "CensusService/ListStockEntries" => {
                let first = Some(day(start_of_time().date_naive()));
                let days = Some(v1::DaySpan { first, last: first });
                v1::ListStockEntriesRequest { site, days, ..Default::default() }.encode_to_vec()
            }
            "CorrectionService/CorrectFact" => {
                let (animal, fact_id) = self.weighed().await;
                let change = v1::FactChange { note: Some("wet".to_owned()), ..Default::default() };
                v1::CorrectFactRequest {
                    request_id,
                    site,
                    animal,
                    fact_id,
                    change: Some(change),
                    because: "seen on the sheet".to_owned(),
                    ..Default::default()
                }
                .encode_to_vec()
            }
            "CorrectionService/WithdrawFact" => {
                let (animal, fact_id) = self.weighed().await;
                let because = "seen on the sheet".to_owned();
                v1::WithdrawFactRequest { request_id, site, animal, fact_id, because, ..Default::default() }
                    .encode_to_vec()
            }
            "CorrectionService/SetParents" => {
                let (animal, dam) = (self.otter(&self.home).await, self.otter(&self.home).await);
                let because = "the day of birth is a guess".to_owned();
                let known_by = v1::ParentsKnownBy::Genetic.into();
                let ask =
                    v1::SetParentsRequest { request_id, site, animal, dam, known_by, ..Default::default() };
                v1::SetParentsRequest { parents_because: because, ..ask }.encode_to_vec()
            }
            "CorrectionService/WithdrawAnimal" => {
                let animal = self.otter(&self.home).await;
                let because = "entered twice".to_owned();
                v1::WithdrawAnimalRequest { request_id, site, animal, because, ..Default::default() }
                    .encode_to_vec()
            }
            "CorrectionService/ReinstateAnimal" => {
                let animal = self.never_was().await;
                let because = "the other one was wrong".to_owned();
                v1::ReinstateAnimalRequest { request_id, site, animal, because, ..Default::default() }
                    .encode_to_vec()
            }
            "HistoryService/GetHistory" => {
                let animal = self.otter(&self.home).await;
                v1::GetHistoryRequest { site, animal, ..Default::default() }.encode_to_vec()
            }
            "MergeService/MergeAnimals" => {
                let (keep, give_up) = (self.otter(&self.home).await, self.otter(&self.home).await);
                let because = "the same scars".to_owned();
                v1::MergeAnimalsRequest { request_id, site, keep, give_up, because, ..Default::default() }
                    .encode_to_vec()
            }
            "MergeService/UnmergeAnimals" => {
                let (keep, give_up) = (self.otter(&self.home).await, self.otter(&self.home).await);
                let ask = v1::MergeAnimalsRequest {
                    request_id: self.house.request(),
                    site: site.clone(),
                    keep: keep.clone(),
                    give_up,
                    because: "the same scars".to_owned(),
                    ..Default::default()
                };
                let merged = self.home.registrar.client.merges().merge_animals(ask).await.unwrap();
                let (merge_id, because) = (merged.into_inner().merge_id, "other scars".to_owned());
                let animal = keep;
                v1::UnmergeAnimalsRequest {
                    request_id,
                    site,
                    animal,
                    merge_id,
                    because,
                    ..Default::default()
                }
                .encode_to_vec()
            }
            "LedgerService/SealLedger" => v1::SealLedgerRequest {}.encode_to_vec(),
            "LedgerService/ListSeals" => v1::ListSealsRequest::default().encode_to_vec(),
            "LedgerService/VerifyLedger" => v1::VerifyLedgerRequest { site }.encode_to_vec(),
            "LedgerService/GetInclusionProof" => {
                let animal = self.house.otter(&self.home, &self.word()).await;
                let (animal, record_id) = (animal.accession, animal.id);
                v1::GetInclusionProofRequest { site, animal, record_id, seal: 0 }.encode_to_vec()
            }
            "LedgerService/GetConsistencyProof" => v1::GetConsistencyProofRequest::default().encode_to_vec(),
            "ReportService/GetSiteDay" => {
                v1::GetSiteDayRequest { site, ..Default::default() }.encode_to_vec()
            }
            _ => return None,
        })
    }
}

/// A role at home.
fn grant(role: v1::Role) -> v1::Grant {
    v1::Grant { role: role.into(), site: HOME.to_owned(), every_site: false }
}
