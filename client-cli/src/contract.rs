//! The calls of the contract: which message goes to which method, and whether it may be sent twice.

use holt_proto::v1::{
    self, amendment_service_client::AmendmentServiceClient, animal_service_client::AnimalServiceClient,
    assessment_service_client::AssessmentServiceClient, census_service_client::CensusServiceClient,
    check_service_client::CheckServiceClient, climate_service_client::ClimateServiceClient,
    concern_service_client::ConcernServiceClient, correction_service_client::CorrectionServiceClient,
    document_service_client::DocumentServiceClient, encounter_service_client::EncounterServiceClient,
    enrichment_service_client::EnrichmentServiceClient, ethogram_service_client::EthogramServiceClient,
    exchange_service_client::ExchangeServiceClient, feeding_service_client::FeedingServiceClient,
    find_service_client::FindServiceClient, group_service_client::GroupServiceClient,
    growth_service_client::GrowthServiceClient, history_service_client::HistoryServiceClient,
    ledger_service_client::LedgerServiceClient, litter_service_client::LitterServiceClient,
    loan_service_client::LoanServiceClient, mark_service_client::MarkServiceClient,
    merge_service_client::MergeServiceClient, paper_service_client::PaperServiceClient,
    people_service_client::PeopleServiceClient, placement_service_client::PlacementServiceClient,
    proposal_service_client::ProposalServiceClient, report_service_client::ReportServiceClient,
    site_service_client::SiteServiceClient, standing_service_client::StandingServiceClient,
    title_service_client::TitleServiceClient, transfer_service_client::TransferServiceClient,
    upset_service_client::UpsetServiceClient, watch_service_client::WatchServiceClient,
    weight_service_client::WeightServiceClient, welfare_service_client::WelfareServiceClient,
};
use tonic::transport::Channel;
use tonic::{Request, Response, Status};

/// What sending a call a second time does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Again {
    /// Nothing: it reads.
    Reads,
    /// Nothing: its request id is known.
    SameRequest,
    /// Harm, such as spending a token that was spent.
    Harms,
}

/// A message that asks something of a server.
pub(crate) trait Call: Clone {
    /// What the server answers.
    type Answer;
    /// What sending it a second time does.
    const AGAIN: Again;

    /// Sends it.
    async fn send(wire: Channel, request: Request<Self>) -> Result<Response<Self::Answer>, Status>;
}

/// What a message is answered with, and how large that may be: a report of a large site is some
/// megabytes.
const LARGEST_ANSWER: usize = 64 << 20;

macro_rules! calls {
    ($($client:ident { $($method:ident $again:ident $ask:ident => $answer:ident;)+ })+) => {
        $($(
            impl Call for v1::$ask {
                type Answer = v1::$answer;
                const AGAIN: Again = Again::$again;

                async fn send(wire: Channel, request: Request<Self>) -> Result<Response<v1::$answer>, Status> {
                    $client::new(wire).max_decoding_message_size(LARGEST_ANSWER).$method(request).await
                }
            }
        )+)+
    };
}

calls! {
    PeopleServiceClient {
        sign_in Reads SignInRequest => SignInResponse;
        renew_tokens Harms RenewTokensRequest => RenewTokensResponse;
        sign_out SameRequest SignOutRequest => SignOutResponse;
        change_password Harms ChangePasswordRequest => ChangePasswordResponse;
        get_self Reads GetSelfRequest => GetSelfResponse;
        create_person SameRequest CreatePersonRequest => CreatePersonResponse;
        reset_password SameRequest ResetPasswordRequest => ResetPasswordResponse;
        list_people Reads ListPeopleRequest => ListPeopleResponse;
        grant_role SameRequest GrantRoleRequest => GrantRoleResponse;
        revoke_role SameRequest RevokeRoleRequest => RevokeRoleResponse;
    }
    SiteServiceClient {
        create_site SameRequest CreateSiteRequest => CreateSiteResponse;
        get_site Reads GetSiteRequest => GetSiteResponse;
        list_sites Reads ListSitesRequest => ListSitesResponse;
        create_enclosure SameRequest CreateEnclosureRequest => CreateEnclosureResponse;
        list_enclosures Reads ListEnclosuresRequest => ListEnclosuresResponse;
    }
    AnimalServiceClient {
        create_taxon SameRequest CreateTaxonRequest => CreateTaxonResponse;
        update_taxon SameRequest UpdateTaxonRequest => UpdateTaxonResponse;
        describe_taxon SameRequest DescribeTaxonRequest => DescribeTaxonResponse;
        list_taxa Reads ListTaxaRequest => ListTaxaResponse;
        register_birth SameRequest RegisterBirthRequest => RegisterBirthResponse;
        register_arrival SameRequest RegisterArrivalRequest => RegisterArrivalResponse;
        record_sex SameRequest RecordSexRequest => RecordSexResponse;
        record_death SameRequest RecordDeathRequest => RecordDeathResponse;
        record_post_mortem SameRequest RecordPostMortemRequest => RecordPostMortemResponse;
        record_departure SameRequest RecordDepartureRequest => RecordDepartureResponse;
        get_animal Reads GetAnimalRequest => GetAnimalResponse;
        list_animals Reads ListAnimalsRequest => ListAnimalsResponse;
    }
    ExchangeServiceClient {
        list_lives Reads ListLivesRequest => ListLivesResponse;
    }
    EncounterServiceClient {
        set_encounter_limits SameRequest SetEncounterLimitsRequest => SetEncounterLimitsResponse;
        list_encounter_limits Reads ListEncounterLimitsRequest => ListEncounterLimitsResponse;
        record_encounter SameRequest RecordEncounterRequest => RecordEncounterResponse;
        withdraw_encounter SameRequest WithdrawEncounterRequest => WithdrawEncounterResponse;
        list_encounters Reads ListEncountersRequest => ListEncountersResponse;
        list_encounter_allowances Reads ListEncounterAllowancesRequest => ListEncounterAllowancesResponse;
    }
    EnrichmentServiceClient {
        set_enrichment_item SameRequest SetEnrichmentItemRequest => SetEnrichmentItemResponse;
        list_enrichment_items Reads ListEnrichmentItemsRequest => ListEnrichmentItemsResponse;
        set_enrichment_terms SameRequest SetEnrichmentTermsRequest => SetEnrichmentTermsResponse;
        record_enrichment SameRequest RecordEnrichmentRequest => RecordEnrichmentResponse;
        record_enrichment_use SameRequest RecordEnrichmentUseRequest => RecordEnrichmentUseResponse;
        withdraw_enrichment SameRequest WithdrawEnrichmentRequest => WithdrawEnrichmentResponse;
        list_enrichment_offers Reads ListEnrichmentOffersRequest => ListEnrichmentOffersResponse;
        get_enrichment Reads GetEnrichmentRequest => GetEnrichmentResponse;
        plan_enrichment Reads PlanEnrichmentRequest => PlanEnrichmentResponse;
    }
    FeedingServiceClient {
        set_food SameRequest SetFoodRequest => SetFoodResponse;
        list_foods Reads ListFoodsRequest => ListFoodsResponse;
        set_feed_plan SameRequest SetFeedPlanRequest => SetFeedPlanResponse;
        record_feeds SameRequest RecordFeedsRequest => RecordFeedsResponse;
        record_leftovers SameRequest RecordLeftoversRequest => RecordLeftoversResponse;
        withdraw_feed SameRequest WithdrawFeedRequest => WithdrawFeedResponse;
        list_feeds Reads ListFeedsRequest => ListFeedsResponse;
        get_feeding Reads GetFeedingRequest => GetFeedingResponse;
    }
    FindServiceClient {
        find_animals Reads FindAnimalsRequest => FindAnimalsResponse;
    }
    GroupServiceClient {
        create_group SameRequest CreateGroupRequest => CreateGroupResponse;
        join_group SameRequest JoinGroupRequest => JoinGroupResponse;
        leave_group SameRequest LeaveGroupRequest => LeaveGroupResponse;
        move_group SameRequest MoveGroupRequest => MoveGroupResponse;
        get_group Reads GetGroupRequest => GetGroupResponse;
        list_groups Reads ListGroupsRequest => ListGroupsResponse;
    }
    LitterServiceClient {
        record_litter SameRequest RecordLitterRequest => RecordLitterResponse;
        record_litter_event SameRequest RecordLitterEventRequest => RecordLitterEventResponse;
        correct_litter SameRequest CorrectLitterRequest => CorrectLitterResponse;
        tell_apart SameRequest TellApartRequest => TellApartResponse;
        get_litter Reads GetLitterRequest => GetLitterResponse;
        list_litters Reads ListLittersRequest => ListLittersResponse;
    }
    AmendmentServiceClient {
        propose_amendment SameRequest ProposeAmendmentRequest => ProposeAmendmentResponse;
        accept_amendment SameRequest AcceptAmendmentRequest => AcceptAmendmentResponse;
        decline_amendment SameRequest DeclineAmendmentRequest => DeclineAmendmentResponse;
        withdraw_amendment SameRequest WithdrawAmendmentRequest => WithdrawAmendmentResponse;
        list_amendments Reads ListAmendmentsRequest => ListAmendmentsResponse;
    }
    LoanServiceClient {
        list_loans Reads ListLoansRequest => ListLoansResponse;
        prolong_loan SameRequest ProlongLoanRequest => ProlongLoanResponse;
        return_loan SameRequest ReturnLoanRequest => ReturnLoanResponse;
    }
    TitleServiceClient {
        pass_title SameRequest PassTitleRequest => PassTitleResponse;
        list_owned_elsewhere Reads ListOwnedElsewhereRequest => ListOwnedElsewhereResponse;
    }
    MarkServiceClient {
        apply_mark SameRequest ApplyMarkRequest => ApplyMarkResponse;
        end_mark SameRequest EndMarkRequest => EndMarkResponse;
        replace_mark SameRequest ReplaceMarkRequest => ReplaceMarkResponse;
    }
    PaperServiceClient {
        add_paper SameRequest AddPaperRequest => AddPaperResponse;
        list_papers Reads ListPapersRequest => ListPapersResponse;
        list_missing_papers Reads ListMissingPapersRequest => ListMissingPapersResponse;
    }
    PlacementServiceClient {
        place_animals SameRequest PlaceAnimalsRequest => PlaceAnimalsResponse;
    }
    WeightServiceClient {
        record_weights SameRequest RecordWeightsRequest => RecordWeightsResponse;
        record_crate_reading SameRequest RecordCrateReadingRequest => RecordCrateReadingResponse;
        list_weights Reads ListWeightsRequest => ListWeightsResponse;
    }
    AssessmentServiceClient {
        load_protocol SameRequest LoadProtocolRequest => LoadProtocolResponse;
        list_protocols Reads ListProtocolsRequest => ListProtocolsResponse;
        record_assessment SameRequest RecordAssessmentRequest => RecordAssessmentResponse;
        list_assessments Reads ListAssessmentsRequest => ListAssessmentsResponse;
    }
    ClimateServiceClient {
        add_device SameRequest AddDeviceRequest => AddDeviceResponse;
        retire_device SameRequest RetireDeviceRequest => RetireDeviceResponse;
        set_climate_rules SameRequest SetClimateRulesRequest => SetClimateRulesResponse;
        record_readings SameRequest RecordReadingsRequest => RecordReadingsResponse;
        get_climate Reads GetClimateRequest => GetClimateResponse;
        get_exposure Reads GetExposureRequest => GetExposureResponse;
    }
    CheckServiceClient {
        create_check SameRequest CreateCheckRequest => CreateCheckResponse;
        end_check SameRequest EndCheckRequest => EndCheckResponse;
        list_checks Reads ListChecksRequest => ListChecksResponse;
        list_due Reads ListDueRequest => ListDueResponse;
        get_check_coverage Reads GetCheckCoverageRequest => GetCheckCoverageResponse;
    }
    EthogramServiceClient {
        load_ethogram SameRequest LoadEthogramRequest => LoadEthogramResponse;
        list_ethograms Reads ListEthogramsRequest => ListEthogramsResponse;
    }
    WatchServiceClient {
        record_watch SameRequest RecordWatchRequest => RecordWatchResponse;
        withdraw_event SameRequest WithdrawEventRequest => WithdrawEventResponse;
        list_watches Reads ListWatchesRequest => ListWatchesResponse;
    }
    UpsetServiceClient {
        record_upset SameRequest RecordUpsetRequest => RecordUpsetResponse;
        list_upsets Reads ListUpsetsRequest => ListUpsetsResponse;
    }
    StandingServiceClient {
        get_standing Reads GetStandingRequest => GetStandingResponse;
    }
    GrowthServiceClient {
        load_growth_reference SameRequest LoadGrowthReferenceRequest => LoadGrowthReferenceResponse;
        list_growth_references Reads ListGrowthReferencesRequest => ListGrowthReferencesResponse;
        get_growth Reads GetGrowthRequest => GetGrowthResponse;
        fit_species_growth Reads FitSpeciesGrowthRequest => FitSpeciesGrowthResponse;
        estimate_energy_need Reads EstimateEnergyNeedRequest => EstimateEnergyNeedResponse;
    }
    WelfareServiceClient {
        get_welfare_course Reads GetWelfareCourseRequest => GetWelfareCourseResponse;
        compare_observers Reads CompareObserversRequest => CompareObserversResponse;
        list_unassessed Reads ListUnassessedRequest => ListUnassessedResponse;
    }
    ConcernServiceClient {
        replay_concerns Reads ReplayConcernsRequest => ReplayConcernsResponse;
        list_concerns Reads ListConcernsRequest => ListConcernsResponse;
        take_up_concern SameRequest TakeUpConcernRequest => TakeUpConcernResponse;
        settle_concern SameRequest SettleConcernRequest => SettleConcernResponse;
    }
    TransferServiceClient {
        propose_transfer SameRequest ProposeTransferRequest => ProposeTransferResponse;
        agree_transfer SameRequest AgreeTransferRequest => AgreeTransferResponse;
        refuse_transfer SameRequest RefuseTransferRequest => RefuseTransferResponse;
        cancel_transfer SameRequest CancelTransferRequest => CancelTransferResponse;
        dispatch_transfer SameRequest DispatchTransferRequest => DispatchTransferResponse;
        receive_transfer SameRequest ReceiveTransferRequest => ReceiveTransferResponse;
        report_transfer_loss SameRequest ReportTransferLossRequest => ReportTransferLossResponse;
        withhold_transfer SameRequest WithholdTransferRequest => WithholdTransferResponse;
        release_transfer SameRequest ReleaseTransferRequest => ReleaseTransferResponse;
        list_transfers Reads ListTransfersRequest => ListTransfersResponse;
    }
    ReportServiceClient {
        get_site_day Reads GetSiteDayRequest => GetSiteDayResponse;
    }
    CensusServiceClient {
        get_stock_return Reads GetStockReturnRequest => GetStockReturnResponse;
    }
    ProposalServiceClient {
        propose_change SameRequest ProposeChangeRequest => ProposeChangeResponse;
        accept_proposal SameRequest AcceptProposalRequest => AcceptProposalResponse;
        decline_proposal SameRequest DeclineProposalRequest => DeclineProposalResponse;
        withdraw_proposal SameRequest WithdrawProposalRequest => WithdrawProposalResponse;
        list_proposals Reads ListProposalsRequest => ListProposalsResponse;
    }
    DocumentServiceClient {
        adopt_version SameRequest AdoptVersionRequest => AdoptVersionResponse;
        withdraw_adoption SameRequest WithdrawAdoptionRequest => WithdrawAdoptionResponse;
        list_documents Reads ListDocumentsRequest => ListDocumentsResponse;
    }
    CorrectionServiceClient {
        correct_fact SameRequest CorrectFactRequest => CorrectFactResponse;
        withdraw_fact SameRequest WithdrawFactRequest => WithdrawFactResponse;
    }
    HistoryServiceClient {
        get_history Reads GetHistoryRequest => GetHistoryResponse;
    }
    MergeServiceClient {
        merge_animals SameRequest MergeAnimalsRequest => MergeAnimalsResponse;
        unmerge_animals SameRequest UnmergeAnimalsRequest => UnmergeAnimalsResponse;
    }
    LedgerServiceClient {
        seal_ledger Reads SealLedgerRequest => SealLedgerResponse;
        list_seals Reads ListSealsRequest => ListSealsResponse;
        verify_ledger Reads VerifyLedgerRequest => VerifyLedgerResponse;
        get_inclusion_proof Reads GetInclusionProofRequest => GetInclusionProofResponse;
        get_consistency_proof Reads GetConsistencyProofRequest => GetConsistencyProofResponse;
    }
}

/// Animals to be taken in, in as many messages as they need.
#[derive(Clone)]
pub(crate) struct Lives(pub(crate) Vec<v1::TakeInLivesRequest>);

impl Call for Lives {
    type Answer = v1::TakeInLivesResponse;
    const AGAIN: Again = Again::SameRequest;

    async fn send(wire: Channel, request: Request<Self>) -> Result<Response<Self::Answer>, Status> {
        let request = request.map(|Self(messages)| tokio_stream::iter(messages));
        ExchangeServiceClient::new(wire)
            .max_decoding_message_size(LARGEST_ANSWER)
            .take_in_lives(request)
            .await
    }
}

/// A list that comes in pages.
pub(crate) trait Paged: Call {
    /// What it lists.
    type Entry;

    /// Asks for the page of a token.
    fn set_page(&mut self, page: v1::PageRequest);
    /// The entries of a page, and the token of the next; empty on the last.
    fn open(answer: Self::Answer) -> (Vec<Self::Entry>, String);
}

macro_rules! paged {
    ($($ask:ident: $field:ident of $entry:ident;)+) => {
        $(
            impl Paged for v1::$ask {
                type Entry = v1::$entry;

                fn set_page(&mut self, page: v1::PageRequest) {
                    self.page = Some(page);
                }

                fn open(answer: Self::Answer) -> (Vec<v1::$entry>, String) {
                    (answer.$field, answer.page.unwrap_or_default().next_token)
                }
            }
        )+
    };
}

paged! {
    ListPeopleRequest: people of Person;
    ListAnimalsRequest: animals of Animal;
    ListGroupsRequest: groups of Group;
    ListLittersRequest: litters of Litter;
    ListWeightsRequest: weights of Weight;
    ListAssessmentsRequest: assessments of Assessment;
    ListConcernsRequest: concerns of Concern;
    ListEncountersRequest: encounters of Encounter;
    ListEnrichmentOffersRequest: offers of EnrichmentOffer;
    ListFeedsRequest: feeds of Feed;
    ListWatchesRequest: watches of Watch;
    ListUpsetsRequest: upsets of Upset;
    ListTransfersRequest: transfers of Transfer;
    ListLoansRequest: loans of Loan;
    ListAmendmentsRequest: amendments of Amendment;
    ListProposalsRequest: proposals of Proposal;
    ListOwnedElsewhereRequest: animals of Animal;
    ListSealsRequest: seals of Seal;
    GetHistoryRequest: facts of Fact;
}
