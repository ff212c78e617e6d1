//! Loads the scenario over the wire, week by week, while the server's clock walks along.

use super::DemoError;
use super::clock::DemoClock;
use super::masses::Weighed;
use super::scenario::{BEASTS, Beast, Came, PARKS, PEOPLE, SPECIES};
use crate::clock::{Clock, SystemClock};
use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveTime, TimeDelta, Utc};
use holt_proto::notation::accession::is_site_code;
use holt_proto::time::{day, timestamp};
use holt_proto::v1::{
    self, animal_service_client::AnimalServiceClient, assessment_service_client::AssessmentServiceClient,
    check_service_client::CheckServiceClient, ethogram_service_client::EthogramServiceClient,
    people_service_client::PeopleServiceClient, site_service_client::SiteServiceClient,
    standard_service_client::StandardServiceClient, transfer_service_client::TransferServiceClient,
    weight_service_client::WeightServiceClient,
};
use std::collections::HashMap;
use tonic::metadata::MetadataValue;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::Channel;
use tonic::{Request, Status};
use uuid::Uuid;

/// A year and a half.
pub(super) const WEEKS: i64 = 78;
/// What everybody's password is once it is changed: this is a demo.
pub(super) const PASSWORD: &str = "six in the morning";
const PROTOCOL: &str = include_str!("../../protocols/small-carnivore.toml");
const ETHOGRAM: &str = include_str!("../../ethograms/small-carnivore.toml");
const STANDARD: &str = include_str!("../../standards/eu-zoos-directive.toml");

/// The Monday with which the records begin. The last one has passed everywhere.
pub(super) fn first_monday() -> NaiveDate {
    let yesterday = this_moment().date_naive() - Days::new(1);
    let monday = yesterday - Days::new(yesterday.weekday().num_days_from_monday().into());
    monday - Days::new(u64::try_from(WEEKS - 1).unwrap_or(0) * 7)
}

/// The time on this machine, with which the scenario ends.
pub(super) fn this_moment() -> DateTime<Utc> {
    SystemClock.now()
}

/// When the scenario begins: a week before the first round.
pub(super) fn first_instant() -> DateTime<Utc> {
    (first_monday() - Days::new(7)).and_time(NaiveTime::MIN).and_utc() + TimeDelta::hours(12)
}

/// Six in the morning or so at a park, on a Monday.
pub(super) fn round_at(week: i64, park: &str) -> DateTime<Utc> {
    let hour = match park {
        "BRA" => 10,
        "SOL" => 5,
        _ => 6,
    };
    first_monday().and_time(NaiveTime::MIN).and_utc() + TimeDelta::weeks(week) + TimeDelta::hours(hour)
}

#[derive(Clone)]
pub(super) struct WithToken(MetadataValue<tonic::metadata::Ascii>);

impl tonic::service::Interceptor for WithToken {
    fn call(&mut self, mut request: Request<()>) -> Result<Request<()>, Status> {
        request.metadata_mut().insert("authorization", self.0.clone());
        Ok(request)
    }
}

pub(super) type Wire = InterceptedService<Channel, WithToken>;

/// The services as one person sees them. Tokens run out within minutes of the demo's time, so each week
/// signs in anew; that is what refresh tokens are for, but here a password is at hand.
pub(super) struct Loader<'a> {
    channel: Channel,
    pub(super) clock: &'a DemoClock,
    wires: HashMap<String, (DateTime<Utc>, Wire)>,
}

#[expect(clippy::disallowed_methods, reason = "the demo is a client, and clients make request ids")]
pub(super) fn request_id() -> String {
    Uuid::now_v7().to_string()
}

impl Loader<'_> {
    /// The wire of a person, who signs in where the last time was too long ago.
    pub(super) async fn wire(&mut self, name: &str) -> Result<Wire, DemoError> {
        let now = self.clock.now();
        if let Some((until, wire)) = self.wires.get(name)
            && now < *until
        {
            return Ok(wire.clone());
        }
        let asked = v1::SignInRequest { sign_in_name: name.to_owned(), password: PASSWORD.to_owned() };
        let answer = PeopleServiceClient::new(self.channel.clone()).sign_in(asked).await?.into_inner();
        self.keep(name, &answer.tokens.unwrap_or_default())
    }

    fn keep(&mut self, name: &str, tokens: &v1::Tokens) -> Result<Wire, DemoError> {
        let token = format!("Bearer {}", tokens.access_token);
        let token = token.parse().map_err(|_| DemoError::Load("a token that is not metadata".to_owned()))?;
        let wire = InterceptedService::new(self.channel.clone(), WithToken(token));
        let until = tokens.access_expires_at.and_then(|at| holt_proto::time::instant(at).ok());
        let until = until.unwrap_or_else(|| self.clock.now()) - TimeDelta::seconds(30);
        self.wires.insert(name.to_owned(), (until, wire.clone()));
        Ok(wire)
    }

    /// Signs in with a one-time password and changes it to the demo's.
    async fn take_over(&mut self, name: &str, one_time: &str) -> Result<(), DemoError> {
        let mut people = PeopleServiceClient::new(self.channel.clone());
        let asked = v1::SignInRequest { sign_in_name: name.to_owned(), password: one_time.to_owned() };
        let tokens = people.sign_in(asked).await?.into_inner().tokens.unwrap_or_default();
        let wire = self.keep(name, &tokens)?;
        let change = v1::ChangePasswordRequest {
            current_password: one_time.to_owned(),
            new_password: PASSWORD.to_owned(),
        };
        let tokens = PeopleServiceClient::new(wire).change_password(change).await?.into_inner().tokens;
        self.keep(name, &tokens.unwrap_or_default())?;
        Ok(())
    }

    async fn parks_and_people(&mut self, steward: &(String, String)) -> Result<(), DemoError> {
        self.take_over(&steward.0, &steward.1).await?;
        let wire = self.wire(&steward.0).await?;
        let mut sites = SiteServiceClient::new(wire.clone());
        for park in &PARKS {
            sites
                .create_site(v1::CreateSiteRequest {
                    request_id: request_id(),
                    code: park.code.to_owned(),
                    name: park.name.to_owned(),
                    time_zone: park.zone.to_owned(),
                    licence: park.licence.to_owned(),
                    latitude: None,
                    longitude: None,
                    ..Default::default()
                })
                .await?;
            for (name, indoor, capacity) in park.enclosures {
                let kind = if *indoor { v1::EnclosureKind::Indoor } else { v1::EnclosureKind::Outdoor };
                sites
                    .create_enclosure(v1::CreateEnclosureRequest {
                        request_id: request_id(),
                        site: park.code.to_owned(),
                        name: (*name).to_owned(),
                        kind: kind.into(),
                        capacity: *capacity,
                    })
                    .await?;
            }
        }
        for (sign_in_name, name, role, site) in PEOPLE {
            let grant =
                v1::Grant { role: role.into(), site: site.to_owned(), every_site: !is_site_code(site) };
            let person = v1::CreatePersonRequest {
                request_id: request_id(),
                name: name.to_owned(),
                sign_in_name: sign_in_name.to_owned(),
                grants: vec![grant],
            };
            let made = PeopleServiceClient::new(wire.clone()).create_person(person).await?.into_inner();
            self.take_over(sign_in_name, &made.one_time_password).await?;
        }
        let load = v1::LoadProtocolRequest {
            request_id: request_id(),
            toml: PROTOCOL.to_owned(),
            ..Default::default()
        };
        let curator = self.wire("petra").await?;
        AssessmentServiceClient::new(curator.clone()).load_protocol(load).await?;
        let load = v1::LoadEthogramRequest {
            request_id: request_id(),
            toml: ETHOGRAM.to_owned(),
            ..Default::default()
        };
        EthogramServiceClient::new(curator.clone()).load_ethogram(load).await?;
        let load = v1::LoadStandardRequest {
            request_id: request_id(),
            toml: STANDARD.to_owned(),
            ..Default::default()
        };
        StandardServiceClient::new(curator).load_standard(load).await?;
        Ok(())
    }

    async fn species_and_checks(&mut self) -> Result<(), DemoError> {
        let mut animals = AnimalServiceClient::new(self.wire("tadhg").await?);
        for (scientific_name, common_name) in SPECIES {
            animals
                .create_taxon(v1::CreateTaxonRequest {
                    request_id: request_id(),
                    scientific_name: scientific_name.to_owned(),
                    common_name: common_name.to_owned(),
                    ..Default::default()
                })
                .await?;
        }
        for park in &PARKS {
            let wire = self.wire(registrar(park.code)).await?;
            for (species, (name, _)) in SPECIES.iter().enumerate() {
                if !BEASTS.iter().any(|beast| beast.park == park.code && beast.species == species) {
                    continue;
                }
                let (weigh, assess) = if *name == "Phoenicopterus chilensis" {
                    ("FREQ=MONTHLY;BYMONTHDAY=1", "FREQ=MONTHLY;INTERVAL=6;BYMONTHDAY=1")
                } else {
                    ("FREQ=WEEKLY;BYDAY=MO", "FREQ=MONTHLY;BYMONTHDAY=1")
                };
                for (duty, recurrence, grace_days) in
                    [(v1::Duty::Weigh, weigh, 3), (v1::Duty::Assess, assess, 14)]
                {
                    let of = v1::check_scope::Of::Taxon((*name).to_owned());
                    let check = v1::CreateCheckRequest {
                        request_id: request_id(),
                        site: park.code.to_owned(),
                        duty: duty.into(),
                        scope: Some(v1::CheckScope { of: Some(of) }),
                        recurrence: recurrence.to_owned(),
                        starts_on: Some(day(first_monday())),
                        grace_days,
                        by_whom: String::new(),
                        note: String::new(),
                    };
                    CheckServiceClient::new(wire.clone()).create_check(check).await?;
                }
            }
        }
        Ok(())
    }

    async fn register(&mut self, beast: &Beast, on: NaiveDate) -> Result<(), DemoError> {
        let mut animals = AnimalServiceClient::new(self.wire(registrar(beast.park)).await?);
        let mut marks = Vec::new();
        if !beast.name.is_empty() {
            marks.push(v1::NewMark {
                kind: v1::MarkKind::HouseName.into(),
                code: beast.name.to_owned(),
                place_on_body: String::new(),
            });
        }
        if beast.mark.0 != v1::MarkKind::Unspecified {
            let place = if beast.mark.0 == v1::MarkKind::Ring { "left leg" } else { "between the shoulders" };
            marks.push(v1::NewMark {
                kind: beast.mark.0.into(),
                code: beast.mark.1.to_owned(),
                place_on_body: place.to_owned(),
            });
        }
        let (source, source_name, born) = match beast.came {
            Came::Born(_) => {
                animals
                    .register_birth(v1::RegisterBirthRequest {
                        request_id: request_id(),
                        site: beast.park.to_owned(),
                        taxon: SPECIES[beast.species].0.to_owned(),
                        born_on: Some(day(on)),
                        sex: beast.sex.into(),
                        dam: beast.dam.to_owned(),
                        sire: beast.sire.to_owned(),
                        marks,
                        enclosure: beast.enclosure.to_owned(),
                        ..Default::default()
                    })
                    .await?;
                return Ok(());
            }
            Came::Before(born) => (v1::ArrivalSource::OnSiteBefore, "", born),
            Came::From(place, _, born) => (v1::ArrivalSource::Collection, place, born),
        };
        animals
            .register_arrival(v1::RegisterArrivalRequest {
                request_id: request_id(),
                site: beast.park.to_owned(),
                taxon: SPECIES[beast.species].0.to_owned(),
                arrived_on: Some(day(on)),
                source: source.into(),
                source_name: source_name.to_owned(),
                sex: beast.sex.into(),
                born_on: born.parse().ok(),
                dam: beast.dam.to_owned(),
                sire: beast.sire.to_owned(),
                marks,
                enclosure: beast.enclosure.to_owned(),
                ..Default::default()
            })
            .await?;
        Ok(())
    }

    async fn weigh(&mut self, week: i64, park: &str, there: &[(u64, &Beast, i64)]) -> Result<u64, DemoError> {
        let at = round_at(week, park);
        self.clock.set(at + TimeDelta::minutes(90));
        let mut readings = Vec::new();
        for (place, (n, beast, arrived)) in there.iter().enumerate() {
            let rarely = beast.species == 4 && week % 4 != 0;
            let weighed = beast.course.weigh(*n, week, WEEKS, week - arrived);
            let result = match weighed {
                _ if rarely => continue,
                Weighed::Skipped => continue,
                Weighed::Tried => v1::reading::Result::Tried(v1::Tried {}),
                #[expect(clippy::cast_possible_truncation, reason = "grams of a small animal")]
                Weighed::Grams(grams) => {
                    v1::reading::Result::Mass(v1::Mass { milligrams: grams.round() as i64 * 1000 })
                }
            };
            let minutes = TimeDelta::minutes(i64::try_from(place).unwrap_or(0) * 2);
            readings.push(v1::Reading {
                animal: reference(beast).to_owned(),
                when: Some(v1::reading::When::WeighedAt(timestamp(at + minutes))),
                result: Some(result),
                scale: format!("{} platform", park.to_lowercase()),
                method: v1::WeighingMethod::Trained.into(),
                note: String::new(),
            });
        }
        if readings.is_empty() {
            return Ok(0);
        }
        let round = v1::RecordWeightsRequest {
            request_id: request_id(),
            site: park.to_owned(),
            readings,
            validate_only: false,
        };
        let answer = WeightServiceClient::new(self.wire(keeper(park)).await?)
            .record_weights(round)
            .await?
            .into_inner();
        if let Some(refused) = answer.answers.iter().find_map(|answer| answer.refusal.as_ref()) {
            return Err(DemoError::Load(format!("a reading was refused: {}", refused.say)));
        }
        Ok(answer.answers.len() as u64)
    }

    async fn assess(
        &mut self,
        week: i64,
        park: &str,
        there: &[(u64, &Beast, i64)],
    ) -> Result<u64, DemoError> {
        let mut done = 0;
        self.clock.set(round_at(week, park) + TimeDelta::hours(3));
        let wire = self.wire(keeper(park)).await?;
        let mut assessments = AssessmentServiceClient::new(wire);
        for (n, beast, _) in there {
            // Solvik has fallen behind since the spring, and the flamingos are looked at twice a year.
            if (beast.species == 4 && week % 26 != 0) || (park == "SOL" && week > WEEKS - 16) {
                continue;
            }
            let slight = beast.name == "Fennel" && week > WEEKS - 9;
            let findings = findings(slight, *n);
            assessments
                .record_assessment(v1::RecordAssessmentRequest {
                    request_id: request_id(),
                    site: park.to_owned(),
                    animal: reference(beast).to_owned(),
                    protocol: "small-carnivore".to_owned(),
                    findings,
                    ..Default::default()
                })
                .await?;
            done += 1;
        }
        Ok(done)
    }

    /// Brook, a grown son, went to Solvik as a loan eight months ago.
    async fn move_brook(&mut self, week: i64) -> Result<(), DemoError> {
        self.clock.set(round_at(week, "QUI") + TimeDelta::hours(4));
        let proposed = TransferServiceClient::new(self.wire("tadhg").await?)
            .propose_transfer(v1::ProposeTransferRequest {
                request_id: request_id(),
                site: "QUI".to_owned(),
                animal: "Brook".to_owned(),
                to_site: "SOL".to_owned(),
                terms: v1::TransferTerms::Loan.into(),
                loan_until: Some(day(first_monday() + Days::new(7 * 130))),
                planned_on: Some(day((round_at(week, "QUI") + TimeDelta::days(3)).date_naive())),
                why: "grown, and an unrelated female lives at Solvik".to_owned(),
                ..Default::default()
            })
            .await?
            .into_inner();
        let transfer_id = proposed.transfer.unwrap_or_default().id;
        self.clock.set(round_at(week, "QUI") + TimeDelta::hours(30));
        TransferServiceClient::new(self.wire("axel").await?)
            .agree_transfer(v1::AgreeTransferRequest {
                request_id: request_id(),
                transfer_id: transfer_id.clone(),
                note: "the Stream Hall is ready".to_owned(),
                ..Default::default()
            })
            .await?;
        self.clock.set(round_at(week, "QUI") + TimeDelta::hours(72));
        TransferServiceClient::new(self.wire("tadhg").await?)
            .dispatch_transfer(v1::DispatchTransferRequest {
                request_id: request_id(),
                transfer_id: transfer_id.clone(),
                note: "crate 7, health certificate 2231, carrier Nordfrakt".to_owned(),
                ..Default::default()
            })
            .await?;
        self.clock.set(round_at(week, "QUI") + TimeDelta::hours(96));
        TransferServiceClient::new(self.wire("axel").await?)
            .receive_transfer(v1::ReceiveTransferRequest {
                request_id: request_id(),
                transfer_id,
                enclosure: "Stream Hall".to_owned(),
                note: "calm, drank, ate within the hour".to_owned(),
                ..Default::default()
            })
            .await?;
        Ok(())
    }

    /// Lichen, an old marmoset, died in the winter.
    async fn bury_lichen(&mut self, week: i64) -> Result<(), DemoError> {
        self.clock.set(round_at(week, "SOL") + TimeDelta::hours(30));
        let died_on = (round_at(week, "SOL") + TimeDelta::hours(24)).date_naive();
        AnimalServiceClient::new(self.wire("axel").await?)
            .record_death(v1::RecordDeathRequest {
                request_id: request_id(),
                site: "SOL".to_owned(),
                animal: "Lichen".to_owned(),
                died_on: Some(day(died_on)),
                manner: v1::DeathManner::Natural.into(),
                note: "found in the nest box; cause not established".to_owned(),
                ..Default::default()
            })
            .await?;
        Ok(())
    }
}

fn registrar(park: &str) -> &'static str {
    match park {
        "BRA" => "joan",
        "SOL" => "axel",
        _ => "tadhg",
    }
}

fn keeper(park: &str) -> &'static str {
    match park {
        "BRA" => "marcel",
        "SOL" => "elin",
        _ => "nuala",
    }
}

/// What an animal is called by at its park.
fn reference(beast: &Beast) -> &'static str {
    if beast.name.is_empty() { beast.mark.1 } else { beast.name }
}

/// An assessment in which little is wrong, or one of an animal that is kept off its food.
fn findings(slight: bool, n: u64) -> Vec<v1::Finding> {
    let level = |indicator: &str, good: &str, bad: &str, evidence: &str| v1::Finding {
        indicator: indicator.to_owned(),
        found: Some(v1::finding::Found::Level(if slight { bad } else { good }.to_owned())),
        confidence: v1::Confidence::Medium.into(),
        evidence: if slight { evidence } else { "" }.to_owned(),
    };
    vec![
        level("body-condition", "3 of 5", "2 of 5", "hips can be seen from above"),
        level("access-to-food", "feeds among others", "waits", "comes when Juniper has left"),
        level("wounds", "none", "fresh, small", "two marks at the root of the tail"),
        level(
            "company",
            if n.is_multiple_of(9) { "alone" } else { "in a heap with others" },
            "alone",
            "rests by the door",
        ),
        level("foraging", "much", "a little", ""),
    ]
}

/// Loads everything; answers what there is, in words.
pub(super) async fn load(
    address: &str,
    clock: &DemoClock,
    steward: &(String, String),
    tell: &(dyn Fn(&str) + Sync),
) -> Result<String, DemoError> {
    let channel = Channel::from_shared(address.to_owned())
        .map_err(|error| DemoError::Load(error.to_string()))?
        .connect()
        .await?;
    let mut loader = Loader { channel, clock, wires: HashMap::new() };
    tell("Three parks, their people and their animals …");
    loader.parks_and_people(steward).await?;
    loader.species_and_checks().await?;
    tell("A year and a half of Mondays …");
    let (mut weights, mut assessments) = (0, 0);
    let mut here: Vec<(u64, &Beast, i64)> = Vec::new();
    for (n, beast) in (0..).zip(&BEASTS) {
        if matches!(beast.came, Came::Before(_)) {
            loader.register(beast, first_monday() - Days::new(7)).await?;
            here.push((n, beast, 0));
        }
    }
    loader.found_family().await?;
    for week in 0..WEEKS {
        for (n, beast) in (0..).zip(&BEASTS) {
            if matches!(beast.came, Came::Born(at) | Came::From(_, at, _) if at == week) {
                clock.set(round_at(week, beast.park) - TimeDelta::hours(20));
                let on = (round_at(week, beast.park) - TimeDelta::days(2)).date_naive();
                loader.register(beast, on).await?;
                loader.born_into_family(beast).await?;
                here.push((n, beast, week));
            }
        }
        if week == WEEKS - 60 {
            loader.bury_lichen(week).await?;
            here.retain(|(_, beast, _)| beast.name != "Lichen");
        }
        for park in &PARKS {
            let there: Vec<_> = here
                .iter()
                .filter(|(_, beast, _)| {
                    let moved = beast.name == "Brook" && week > WEEKS - 34;
                    (if moved { "SOL" } else { beast.park }) == park.code
                })
                .copied()
                .collect();
            // This week's round is for the keeper of Quillmoor to enter.
            if week < WEEKS - 1 || park.code != "QUI" {
                weights += loader.weigh(week, park.code, &there).await?;
            }
            if week % 4 == 1 {
                assessments += loader.assess(week, park.code, &there).await?;
            }
        }
        loader.family_week(week).await?;
        if week == WEEKS - 34 {
            loader.move_brook(week).await?;
        }
    }
    loader.last_night().await?;
    Ok(format!(
        "{} animals of {} species at {} parks, {weights} weighings, {assessments} assessments",
        BEASTS.len(),
        SPECIES.len(),
        PARKS.len()
    ))
}
