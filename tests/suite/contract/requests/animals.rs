//! Requests about the lives of animals: births and deaths, litters, marks, papers, loans, and exchange.

use super::*;

impl Stage {
    pub(super) async fn of_animals(&self, call: &str) -> Option<Vec<u8>> {
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

    pub(super) async fn of_papers(&self, call: &str) -> Option<Vec<u8>> {
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
    pub(super) async fn borrowed(&self) -> String {
        let arrival = v1::RegisterArrivalRequest {
            owner: "Fenwater Collection".to_owned(),
            loan: Some(v1::LoanTerms::default()),
            ..self.house.arrival(&self.home, &self.word(), "2025-03-01".parse().unwrap())
        };
        let arrived = self.home.registrar.client.animals().register_arrival(arrival).await.unwrap();
        arrived.into_inner().animal.unwrap().accession
    }

    pub(super) async fn of_loans(&self, call: &str) -> Option<Vec<u8>> {
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

    pub(super) fn record_litter(&self) -> v1::RecordLitterRequest {
        v1::RecordLitterRequest {
            request_id: self.house.request(),
            site: HOME.to_owned(),
            taxon: "Lontra canadensis".to_owned(),
            born_on: Some(day(start_of_time().date_naive())),
            young: Some(v1::Counts { males: 0, females: 0, unknown: 4 }),
            ..Default::default()
        }
    }

    pub(super) async fn of_litters(&self, call: &str) -> Option<Vec<u8>> {
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

    pub(super) fn of_exchange(&self, call: &str) -> Option<Vec<u8>> {
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

    pub(super) async fn of_marks(&self, call: &str) -> Option<Vec<u8>> {
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
}
