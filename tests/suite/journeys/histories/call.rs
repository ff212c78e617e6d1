//! Calls as values: so that whoever plays can send one again, several times at once, and show what was asked.

use holt_proto::v1;
use holt_tests::house::Client;
use prost::Message;
use std::fmt::Debug;
use tonic::Status;

/// A request that knows its method.
pub(super) trait Call: Clone + Debug + Send + Sync + 'static {
    type Answer: Message + Debug + PartialEq + Default + 'static;
    /// Name of the method.
    const METHOD: &'static str;

    fn send(&self, to: &Client) -> impl Future<Output = Result<Self::Answer, Status>> + Send;
}

macro_rules! calls {
    ($($services:ident { $($method:ident: $request:ident => $answer:ident),* $(,)? })*) => {
        $($(
            impl Call for v1::$request {
                type Answer = v1::$answer;
                const METHOD: &'static str = stringify!($method);

                async fn send(&self, to: &Client) -> Result<v1::$answer, Status> {
                    Ok(to.$services().$method(self.clone()).await?.into_inner())
                }
            }
        )*)*
    };
}

calls! {
    amendments {
        propose_amendment: ProposeAmendmentRequest => ProposeAmendmentResponse,
        accept_amendment: AcceptAmendmentRequest => AcceptAmendmentResponse,
        decline_amendment: DeclineAmendmentRequest => DeclineAmendmentResponse,
        withdraw_amendment: WithdrawAmendmentRequest => WithdrawAmendmentResponse,
        list_amendments: ListAmendmentsRequest => ListAmendmentsResponse,
    }
    animals {
        register_birth: RegisterBirthRequest => RegisterBirthResponse,
        register_arrival: RegisterArrivalRequest => RegisterArrivalResponse,
        record_sex: RecordSexRequest => RecordSexResponse,
        record_death: RecordDeathRequest => RecordDeathResponse,
        record_post_mortem: RecordPostMortemRequest => RecordPostMortemResponse,
        record_departure: RecordDepartureRequest => RecordDepartureResponse,
        get_animal: GetAnimalRequest => GetAnimalResponse,
        list_animals: ListAnimalsRequest => ListAnimalsResponse,
    }
    assessments {
        record_assessment: RecordAssessmentRequest => RecordAssessmentResponse,
        list_assessments: ListAssessmentsRequest => ListAssessmentsResponse,
    }
    census { get_stock_return: GetStockReturnRequest => GetStockReturnResponse }
    checks {
        create_check: CreateCheckRequest => CreateCheckResponse,
        list_checks: ListChecksRequest => ListChecksResponse,
        list_due: ListDueRequest => ListDueResponse,
        get_check_coverage: GetCheckCoverageRequest => GetCheckCoverageResponse,
    }
    concerns { list_concerns: ListConcernsRequest => ListConcernsResponse }
    corrections {
        correct_fact: CorrectFactRequest => CorrectFactResponse,
        withdraw_fact: WithdrawFactRequest => WithdrawFactResponse,
    }
    encounters {
        record_encounter: RecordEncounterRequest => RecordEncounterResponse,
        withdraw_encounter: WithdrawEncounterRequest => WithdrawEncounterResponse,
        list_encounters: ListEncountersRequest => ListEncountersResponse,
        list_encounter_allowances: ListEncounterAllowancesRequest => ListEncounterAllowancesResponse,
    }
    exchange { list_lives: ListLivesRequest => ListLivesResponse }
    find { find_animals: FindAnimalsRequest => FindAnimalsResponse }
    groups {
        create_group: CreateGroupRequest => CreateGroupResponse,
        join_group: JoinGroupRequest => JoinGroupResponse,
        leave_group: LeaveGroupRequest => LeaveGroupResponse,
        move_group: MoveGroupRequest => MoveGroupResponse,
        get_group: GetGroupRequest => GetGroupResponse,
        list_groups: ListGroupsRequest => ListGroupsResponse,
    }
    growth { get_growth: GetGrowthRequest => GetGrowthResponse }
    history { get_history: GetHistoryRequest => GetHistoryResponse }
    litters {
        record_litter: RecordLitterRequest => RecordLitterResponse,
        record_litter_event: RecordLitterEventRequest => RecordLitterEventResponse,
        correct_litter: CorrectLitterRequest => CorrectLitterResponse,
        tell_apart: TellApartRequest => TellApartResponse,
        get_litter: GetLitterRequest => GetLitterResponse,
        list_litters: ListLittersRequest => ListLittersResponse,
    }
    loans {
        list_loans: ListLoansRequest => ListLoansResponse,
        prolong_loan: ProlongLoanRequest => ProlongLoanResponse,
        return_loan: ReturnLoanRequest => ReturnLoanResponse,
    }
    marks {
        apply_mark: ApplyMarkRequest => ApplyMarkResponse,
        end_mark: EndMarkRequest => EndMarkResponse,
        replace_mark: ReplaceMarkRequest => ReplaceMarkResponse,
    }
    merges {
        merge_animals: MergeAnimalsRequest => MergeAnimalsResponse,
        unmerge_animals: UnmergeAnimalsRequest => UnmergeAnimalsResponse,
    }
    papers {
        list_papers: ListPapersRequest => ListPapersResponse,
        list_missing_papers: ListMissingPapersRequest => ListMissingPapersResponse,
    }
    people {
        list_people: ListPeopleRequest => ListPeopleResponse,
        grant_role: GrantRoleRequest => GrantRoleResponse,
        revoke_role: RevokeRoleRequest => RevokeRoleResponse,
    }
    placements { place_animals: PlaceAnimalsRequest => PlaceAnimalsResponse }
    reports { get_site_day: GetSiteDayRequest => GetSiteDayResponse }
    titles {
        pass_title: PassTitleRequest => PassTitleResponse,
        list_owned_elsewhere: ListOwnedElsewhereRequest => ListOwnedElsewhereResponse,
    }
    transfers {
        propose_transfer: ProposeTransferRequest => ProposeTransferResponse,
        agree_transfer: AgreeTransferRequest => AgreeTransferResponse,
        refuse_transfer: RefuseTransferRequest => RefuseTransferResponse,
        cancel_transfer: CancelTransferRequest => CancelTransferResponse,
        dispatch_transfer: DispatchTransferRequest => DispatchTransferResponse,
        receive_transfer: ReceiveTransferRequest => ReceiveTransferResponse,
        report_transfer_loss: ReportTransferLossRequest => ReportTransferLossResponse,
        withhold_transfer: WithholdTransferRequest => WithholdTransferResponse,
        release_transfer: ReleaseTransferRequest => ReleaseTransferResponse,
        get_transfer: GetTransferRequest => GetTransferResponse,
        list_transfers: ListTransfersRequest => ListTransfersResponse,
    }
    weights {
        record_weights: RecordWeightsRequest => RecordWeightsResponse,
        record_crate_reading: RecordCrateReadingRequest => RecordCrateReadingResponse,
        list_weights: ListWeightsRequest => ListWeightsResponse,
    }
    welfare {
        get_welfare_course: GetWelfareCourseRequest => GetWelfareCourseResponse,
        list_unassessed: ListUnassessedRequest => ListUnassessedResponse,
    }
}
