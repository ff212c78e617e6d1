//! For every method a request that goes well, with all that it needs put on record first.

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
        let house = House::with(|config| config.access.sign_ins_per_minute = 10_000).await;
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

    async fn otter(&self, park: &Park) -> String {
        let otter = self.house.otter(park, &self.word()).await;
        otter.accession
    }

    /// An otter and a reading of it that the keeper recorded.
    async fn weighed(&self) -> (String, String) {
        let animal = self.otter(&self.home).await;
        let round = self.house.round(HOME, &[(&animal, start_of_time(), 8_000)]);
        let answer = self.home.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
        (animal, answer.answers[0].weight_id.clone())
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
        self.home.registrar.client.animals().describe_taxon(describe).await.unwrap();
    }

    async fn guest(&self) -> v1::SignInRequest {
        let made = self.guest.get_or_init(async || {
            let made = self.create_person("guest");
            let made = self.steward.client.people().create_person(made).await.unwrap().into_inner();
            v1::SignInRequest { sign_in_name: "guest".to_owned(), password: made.one_time_password }
        });
        made.await.clone()
    }

    async fn sign_in(&self) -> v1::SignInResponse {
        self.house.anonymous().people().sign_in(self.guest().await).await.unwrap().into_inner()
    }

    /// The access token of somebody whose password is a one-time one, with every role there is.
    pub(super) async fn one_time_token(&self) -> String {
        let signed_in = self.sign_in().await;
        assert!(signed_in.must_change_password);
        signed_in.tokens.unwrap().access_token
    }

    fn create_person(&self, name: &str) -> v1::CreatePersonRequest {
        v1::CreatePersonRequest {
            request_id: self.house.request(),
            name: name.to_owned(),
            sign_in_name: name.to_owned(),
            grants: vec![grant(v1::Role::Keeper)],
        }
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

    /// An open concern: an animal that would not come to the scale four times in a row.
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
            "LoanService" => self.of_loans(call).await?,
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

    async fn of_people(&self, call: &str) -> Option<Vec<u8>> {
        let granted = async || {
            let name = format!("person-{}", self.word());
            self.house.person(&name, &[(Role::Keeper, Some(HOME))]).await;
            name
        };
        let (request_id, grant) = (self.house.request(), grant(v1::Role::Auditor));
        Some(match call {
            "SignIn" => self.guest().await.encode_to_vec(),
            "RenewTokens" | "SignOut" => {
                let refresh_token = self.sign_in().await.tokens.unwrap().refresh_token;
                v1::RenewTokensRequest { refresh_token }.encode_to_vec()
            }
            "ChangePassword" => v1::ChangePasswordRequest {
                current_password: "not the one in force".to_owned(),
                new_password: "four words in a row".to_owned(),
            }
            .encode_to_vec(),
            "GetSelf" => v1::GetSelfRequest {}.encode_to_vec(),
            "CreatePerson" => self.create_person(&format!("person-{}", self.word())).encode_to_vec(),
            "ResetPassword" => {
                let sign_in_name = granted().await;
                v1::ResetPasswordRequest { request_id, sign_in_name }.encode_to_vec()
            }
            "ListPeople" => {
                v1::ListPeopleRequest { site: HOME.to_owned(), ..Default::default() }.encode_to_vec()
            }
            "GrantRole" => {
                let sign_in_name = granted().await;
                v1::GrantRoleRequest { request_id, sign_in_name, grant: Some(grant) }.encode_to_vec()
            }
            "RevokeRole" => {
                let sign_in_name = granted().await;
                let grant = Some(self::grant(v1::Role::Keeper));
                v1::RevokeRoleRequest { request_id, sign_in_name, grant }.encode_to_vec()
            }
            _ => return None,
        })
    }

    fn of_sites(&self, call: &str) -> Option<Vec<u8>> {
        let request_id = self.house.request();
        Some(match call {
            "CreateSite" => v1::CreateSiteRequest {
                request_id,
                code: self.word().to_uppercase(),
                name: "A new park".to_owned(),
                time_zone: "UTC".to_owned(),
                ..Default::default()
            }
            .encode_to_vec(),
            "GetSite" => v1::GetSiteRequest { code: HOME.to_owned() }.encode_to_vec(),
            "ListSites" => v1::ListSitesRequest {}.encode_to_vec(),
            "CreateEnclosure" => v1::CreateEnclosureRequest {
                request_id,
                site: HOME.to_owned(),
                name: self.word(),
                kind: v1::EnclosureKind::Outdoor.into(),
                capacity: 0,
            }
            .encode_to_vec(),
            "ListEnclosures" => v1::ListEnclosuresRequest { site: HOME.to_owned() }.encode_to_vec(),
            _ => return None,
        })
    }

    async fn of_animals(&self, call: &str) -> Option<Vec<u8>> {
        let (request_id, site) = (self.house.request(), HOME.to_owned());
        let today = Some(day(start_of_time().date_naive()));
        Some(match call {
            "CreateTaxon" => v1::CreateTaxonRequest {
                request_id,
                scientific_name: format!("Lontra {}", self.word()),
                common_name: "Another otter".to_owned(),
                ..Default::default()
            }
            .encode_to_vec(),
            "UpdateTaxon" => v1::UpdateTaxonRequest {
                request_id,
                taxon: "Lontra canadensis".to_owned(),
                add_synonyms: vec![v1::Synonym {
                    name: format!("Lutra {}", self.word()),
                    ..Default::default()
                }],
                because: "found on older papers".to_owned(),
                ..Default::default()
            }
            .encode_to_vec(),
            "DescribeTaxon" => v1::DescribeTaxonRequest {
                request_id,
                taxon: "Lontra canadensis".to_owned(),
                traits: Some(v1::TaxonTraits {
                    gestation_days: 62,
                    seasonal: true,
                    energy: None,
                    source: self.word(),
                }),
            }
            .encode_to_vec(),
            "ListTaxa" => v1::ListTaxaRequest {}.encode_to_vec(),
            "RegisterBirth" => v1::RegisterBirthRequest {
                request_id,
                site,
                taxon: "Lontra canadensis".to_owned(),
                born_on: today,
                sex: v1::Sex::Unknown.into(),
                ..Default::default()
            }
            .encode_to_vec(),
            "RegisterArrival" => {
                self.house.arrival(&self.home, &self.word(), start_of_time().date_naive()).encode_to_vec()
            }
            "RecordSex" => v1::RecordSexRequest {
                request_id,
                site,
                animal: self.otter(&self.home).await,
                sex: v1::Sex::Male.into(),
                determined_on: None,
            }
            .encode_to_vec(),
            "RecordDeath" => v1::RecordDeathRequest {
                request_id,
                site,
                animal: self.otter(&self.home).await,
                died_on: today,
                manner: v1::DeathManner::Natural.into(),
                ..Default::default()
            }
            .encode_to_vec(),
            "RecordPostMortem" => {
                let animal = self.otter(&self.home).await;
                let death = v1::RecordDeathRequest {
                    request_id: self.house.request(),
                    site: site.clone(),
                    animal: animal.clone(),
                    died_on: today,
                    manner: v1::DeathManner::Natural.into(),
                    ..Default::default()
                };
                self.home.registrar.client.animals().record_death(death).await.unwrap();
                v1::RecordPostMortemRequest {
                    request_id,
                    site,
                    animal,
                    post_mortem: v1::PostMortem::Done.into(),
                    because: "the report came in".to_owned(),
                    ..Default::default()
                }
                .encode_to_vec()
            }
            "RecordDeparture" => v1::RecordDepartureRequest {
                request_id,
                site,
                animal: self.otter(&self.home).await,
                departed_on: today,
                destination: v1::DepartureDestination::Collection.into(),
                ..Default::default()
            }
            .encode_to_vec(),
            "GetAnimal" => {
                v1::GetAnimalRequest { site, animal: self.otter(&self.home).await, ..Default::default() }
                    .encode_to_vec()
            }
            "ListAnimals" => v1::ListAnimalsRequest { site, ..Default::default() }.encode_to_vec(),
            _ => return None,
        })
    }

    async fn of_papers(&self, call: &str) -> Option<Vec<u8>> {
        let (request_id, site) = (self.house.request(), HOME.to_owned());
        Some(match call {
            "AddPaper" => v1::AddPaperRequest {
                request_id,
                site,
                animal: self.otter(&self.home).await,
                occasion: v1::PaperOccasion::Arrival.into(),
                content: Some(v1::PaperContent { kind: v1::PaperKind::Receipt.into(), ..Default::default() }),
                ..Default::default()
            }
            .encode_to_vec(),
            "ListPapers" => {
                v1::ListPapersRequest { site, animal: self.otter(&self.home).await, as_known_at: None }
                    .encode_to_vec()
            }
            "ListMissingPapers" => {
                v1::ListMissingPapersRequest { site, ..Default::default() }.encode_to_vec()
            }
            _ => return None,
        })
    }

    /// An otter that is on loan from a collection outside.
    async fn borrowed(&self) -> String {
        let arrival = v1::RegisterArrivalRequest {
            owner: "Fenwater Collection".to_owned(),
            loan: Some(v1::LoanTerms::default()),
            ..self.house.arrival(&self.home, &self.word(), "2025-03-01".parse().unwrap())
        };
        let arrived = self.home.registrar.client.animals().register_arrival(arrival).await.unwrap();
        arrived.into_inner().animal.unwrap().accession
    }

    async fn of_loans(&self, call: &str) -> Option<Vec<u8>> {
        let (request_id, site) = (self.house.request(), HOME.to_owned());
        let today = Some(day(start_of_time().date_naive()));
        Some(match call {
            "ListLoans" => v1::ListLoansRequest { site, ..Default::default() }.encode_to_vec(),
            "ProlongLoan" => v1::ProlongLoanRequest {
                request_id,
                site,
                animal: self.borrowed().await,
                loan_until: today,
                because: "the crate is not ready".to_owned(),
                validate_only: false,
            }
            .encode_to_vec(),
            "ReturnLoan" => v1::ReturnLoanRequest {
                request_id,
                site,
                animal: self.borrowed().await,
                returned_on: today,
                ..Default::default()
            }
            .encode_to_vec(),
            _ => return None,
        })
    }

    /// A group with a member: its name, and the member.
    async fn group(&self) -> (String, String) {
        let (group, animal) = (format!("Group {}", self.word()), self.otter(&self.home).await);
        let mut groups = self.home.keeper.client.groups();
        groups.create_group(self.create_group(&group)).await.unwrap();
        groups.join_group(self.join_group(&group, &animal)).await.unwrap();
        (group, animal)
    }

    fn create_group(&self, name: &str) -> v1::CreateGroupRequest {
        v1::CreateGroupRequest {
            request_id: self.house.request(),
            site: HOME.to_owned(),
            name: name.to_owned(),
            note: String::new(),
        }
    }

    fn join_group(&self, group: &str, animal: &str) -> v1::JoinGroupRequest {
        v1::JoinGroupRequest {
            request_id: self.house.request(),
            site: HOME.to_owned(),
            group: group.to_owned(),
            animals: vec![animal.to_owned()],
            role: v1::GroupRole::Member.into(),
            joined_at: None,
        }
    }

    async fn of_groups(&self, call: &str) -> Option<Vec<u8>> {
        let (request_id, site) = (self.house.request(), HOME.to_owned());
        Some(match call {
            "CreateGroup" => self.create_group(&format!("Group {}", self.word())).encode_to_vec(),
            "JoinGroup" => {
                let (group, _) = self.group().await;
                self.join_group(&group, &self.otter(&self.home).await).encode_to_vec()
            }
            "LeaveGroup" => {
                let (group, animal) = self.group().await;
                let (animals, why) = (vec![animal], "driven out".to_owned());
                v1::LeaveGroupRequest { request_id, site, group, animals, left_at: None, why }.encode_to_vec()
            }
            "MoveGroup" => {
                let (group, enclosure) = (self.group().await.0, "Weir".to_owned());
                v1::MoveGroupRequest { request_id, site, group, enclosure, moved_at: None }.encode_to_vec()
            }
            "GetGroup" => {
                let (group, _) = self.group().await;
                v1::GetGroupRequest { site, group, ..Default::default() }.encode_to_vec()
            }
            "ListGroups" => v1::ListGroupsRequest { site, ..Default::default() }.encode_to_vec(),
            _ => return None,
        })
    }

    fn record_litter(&self) -> v1::RecordLitterRequest {
        v1::RecordLitterRequest {
            request_id: self.house.request(),
            site: HOME.to_owned(),
            taxon: "Lontra canadensis".to_owned(),
            born_on: Some(day(start_of_time().date_naive())),
            young: Some(v1::Counts { males: 0, females: 0, unknown: 4 }),
            ..Default::default()
        }
    }

    async fn of_climate(&self, call: &str) -> Option<Vec<u8>> {
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

    async fn of_encounters(&self, call: &str) -> Option<Vec<u8>> {
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

    async fn of_enrichment(&self, call: &str) -> Option<Vec<u8>> {
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

    async fn of_feeding(&self, call: &str) -> Option<Vec<u8>> {
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

    /// A version of an ethogram that is not on record.
    async fn ethogram(&self) -> v1::LoadEthogramRequest {
        let toml = format!(
            "code = \"{}\"\nversion = 1\ntitle = \"Otters\"\n[[behaviour]]\ncode = \"rest\"\nname = \"rests\"\nkind = \"rest\"\nmeaning = \"lies\"",
            self.word().to_lowercase()
        );
        v1::LoadEthogramRequest { request_id: self.house.request(), toml, validate_only: false }
    }

    /// Of a group that is watched, and of what it is watched by.
    async fn of_watching(&self, call: &str) -> Option<Vec<u8>> {
        let load = self.ethogram().await;
        match call {
            "LoadEthogram" => return Some(load.encode_to_vec()),
            "ListEthograms" => return Some(v1::ListEthogramsRequest {}.encode_to_vec()),
            _ => {}
        }
        let loaded = self.steward.client.ethograms().load_ethogram(load).await.unwrap().into_inner();
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

    async fn of_litters(&self, call: &str) -> Option<Vec<u8>> {
        let litter = async || {
            let made = self.home.registrar.client.litters().record_litter(self.record_litter()).await;
            made.unwrap().into_inner().litter.unwrap().id
        };
        let (request_id, site) = (self.house.request(), HOME.to_owned());
        Some(match call {
            "RecordLitter" => self.record_litter().encode_to_vec(),
            "RecordLitterEvent" => v1::RecordLitterEventRequest {
                request_id,
                site,
                litter_id: litter().await,
                event: Some(v1::record_litter_event_request::Event::Sexed(v1::LitterSexing {
                    males: 1,
                    females: 2,
                })),
                ..Default::default()
            }
            .encode_to_vec(),
            "CorrectLitter" => v1::CorrectLitterRequest {
                request_id,
                site,
                litter_id: litter().await,
                correction: Some(v1::correct_litter_request::Correction::Parents(
                    v1::LitterParents::default(),
                )),
                because: "seen with another".to_owned(),
                ..Default::default()
            }
            .encode_to_vec(),
            "TellApart" => v1::TellApartRequest {
                request_id,
                site,
                litter_id: litter().await,
                sex: v1::Sex::Female.into(),
                ..Default::default()
            }
            .encode_to_vec(),
            "GetLitter" => {
                v1::GetLitterRequest { site, litter_id: litter().await, ..Default::default() }.encode_to_vec()
            }
            "ListLitters" => v1::ListLittersRequest { site, ..Default::default() }.encode_to_vec(),
            _ => return None,
        })
    }

    fn of_exchange(&self, call: &str) -> Option<Vec<u8>> {
        let number = v1::NewMark {
            kind: v1::MarkKind::FormerNumber.into(),
            code: self.word(),
            place_on_body: String::new(),
        };
        let stay = v1::Stay {
            began_on: Some(day(start_of_time().date_naive())),
            began: v1::StayBeginning::Arrival.into(),
            source: v1::ArrivalSource::OnSiteBefore.into(),
            ..Default::default()
        };
        let life = v1::Life {
            taxon: "Lontra canadensis".to_owned(),
            marks: vec![v1::LifeMark { mark: Some(number), ..Default::default() }],
            stays: vec![stay],
            ..Default::default()
        };
        Some(match call {
            "TakeInLives" => v1::TakeInLivesRequest {
                request_id: self.house.request(),
                site: HOME.to_owned(),
                validate_only: false,
                lives: vec![life],
            }
            .encode_to_vec(),
            "ListLives" => {
                v1::ListLivesRequest { site: HOME.to_owned(), ..Default::default() }.encode_to_vec()
            }
            _ => return None,
        })
    }

    async fn of_marks(&self, call: &str) -> Option<Vec<u8>> {
        let (request_id, site) = (self.house.request(), HOME.to_owned());
        let animal = self.otter(&self.home).await;
        let apply = v1::ApplyMarkRequest {
            request_id,
            site: site.clone(),
            animal: animal.clone(),
            mark: Some(v1::NewMark {
                kind: v1::MarkKind::Ring.into(),
                code: self.word(),
                place_on_body: "left hind leg".to_owned(),
            }),
            applied_at: None,
        };
        Some(match call {
            "ApplyMark" => apply.encode_to_vec(),
            "EndMark" => {
                let mark = self.home.registrar.client.marks().apply_mark(apply).await.unwrap();
                let mark_id = mark.into_inner().mark.unwrap().id;
                let request_id = self.house.request();
                v1::EndMarkRequest { request_id, site, animal, mark_id, ended_at: None, why: "lost".into() }
                    .encode_to_vec()
            }
            "ReplaceMark" => {
                let new = v1::NewMark { code: self.word(), ..apply.mark.clone().unwrap_or_default() };
                let mark = self.home.registrar.client.marks().apply_mark(apply).await.unwrap();
                v1::ReplaceMarkRequest {
                    request_id: self.house.request(),
                    site,
                    animal,
                    mark_id: mark.into_inner().mark.unwrap().id,
                    mark: Some(new),
                    replaced_at: None,
                    why: "worn".to_owned(),
                }
                .encode_to_vec()
            }
            _ => return None,
        })
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
            "WeightService/ListWeights" => {
                v1::ListWeightsRequest { site, ..Default::default() }.encode_to_vec()
            }
            "AssessmentService/LoadProtocol" => {
                let toml = holt_tests::cast::PROTOCOL.replace("otter-watch", &self.word());
                v1::LoadProtocolRequest { request_id, toml, validate_only: false }.encode_to_vec()
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
                let toml = holt_tests::cast::REFERENCE.replace("otter-cubs", &self.word());
                v1::LoadGrowthReferenceRequest { request_id, toml, validate_only: false }.encode_to_vec()
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
                v1::SettleConcernRequest { request_id, site, concern_id, because, version: 0 }.encode_to_vec()
            }
            "CensusService/GetStockReturn" => {
                let first = Some(day(start_of_time().date_naive()));
                let days = Some(v1::DaySpan { first, last: first });
                v1::GetStockReturnRequest { site, days, ..Default::default() }.encode_to_vec()
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
