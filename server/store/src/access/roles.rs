//! Who may do what: which roles a deed needs, and which deed each method is. The one table for all
//! services; a method of the protos without a row here fails a test, and is refused at run time.

use crate::model::person::Role;

/// A kind of thing that is done with records.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Deed {
    /// Read the records of a site.
    Read,
    /// Read the site directory, species and protocols.
    ReadDirectory,
    /// Record weights, and what devices read.
    Weigh,
    /// Record assessments.
    Assess,
    /// Record what was done with animals on the day: what they were given and what they left, what they were
    /// offered and how they met it, and when they met people.
    Tend,
    /// Record what groups do, and what animals go through for a while.
    Observe,
    /// Register animals and litters, sexes, deaths, departures, marks.
    Register,
    /// Record what a post-mortem found and what became of a body.
    Examine,
    /// Correct facts: a registrar any of the site, others its readings of the last days. Accept readings that wait.
    Correct,
    /// Say which enclosure animals live in, and which group they belong to.
    Place,
    /// Propose, agree, dispatch, receive.
    Move,
    /// Withhold and release a move.
    Withhold,
    /// Set up and end checks; devices, and what must be kept in enclosures; foods, and what groups are to be
    /// given; what there is to offer them, and how long they may meet people.
    SetChecks,
    /// Take up and settle concerns.
    AnswerConcerns,
    /// Keep people and their roles.
    KeepPeople,
    /// Keep sites.
    KeepSites,
    /// Keep enclosures.
    KeepEnclosures,
    /// Add species: a registrar what is new to all, a curator also what the law says of it.
    NameSpecies,
    /// Keep what all sites share: what species are called and what is so of them, protocols, ethograms and reference
    /// curves.
    Curate,
    /// Load documents: a curator those that all sites share, others their site's own.
    LoadDocuments,
    /// List proposals: a curator those of all sites, others their site's.
    ReadProposals,
    /// Say by which versions of documents the site works, and keep its own.
    KeepDocuments,
    /// Seal the ledger, and hold it against the records and its seals.
    CheckLedger,
}

impl Deed {
    /// Roles that may do it.
    #[must_use]
    pub const fn roles(self) -> &'static [Role] {
        use Role::{Auditor, Curator, Keeper, Registrar, Steward, Veterinary};
        match self {
            Self::Read => &[Keeper, Registrar, Auditor, Veterinary],
            Self::ReadDirectory => &Role::ALL,
            Self::Weigh => &[Keeper, Veterinary],
            Self::Assess => &[Keeper, Veterinary],
            Self::Tend => &[Keeper, Veterinary],
            Self::Observe => &[Keeper, Veterinary],
            Self::Register => &[Registrar],
            Self::Examine => &[Registrar, Veterinary],
            Self::Correct => &[Registrar, Keeper, Veterinary],
            Self::Place => &[Keeper, Registrar],
            Self::Move => &[Registrar],
            Self::Withhold => &[Veterinary],
            Self::SetChecks => &[Registrar, Veterinary],
            Self::AnswerConcerns => &[Keeper, Registrar, Veterinary],
            Self::KeepPeople => &[Steward],
            Self::KeepSites => &[Steward],
            Self::KeepEnclosures => &[Registrar, Steward],
            Self::NameSpecies => &[Registrar, Curator],
            Self::Curate => &[Curator],
            Self::LoadDocuments => &[Registrar, Veterinary, Curator],
            Self::ReadProposals => &[Keeper, Registrar, Auditor, Veterinary, Curator],
            Self::KeepDocuments => &[Registrar, Veterinary],
            Self::CheckLedger => &[Auditor, Steward],
        }
    }

    /// Whether the doors ask the database for the role, too, and do not rest on what the token says: who may do what,
    /// what all sites share, and the seals.
    #[must_use]
    pub const fn is_asked_again(self) -> bool {
        matches!(
            self,
            Self::KeepPeople | Self::KeepSites | Self::NameSpecies | Self::Curate | Self::CheckLedger
        )
    }

    /// Whether a role may do it.
    #[must_use]
    pub fn allows(self, role: Role) -> bool {
        self.roles().contains(&role)
    }
}

/// What a call needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// Nothing: it is how one gets a token.
    Nothing,
    /// A token, also one that a one-time password gave.
    AnyToken,
    /// A token with a role that may do this somewhere; the rule behind the method asks again for the site.
    Role(Deed),
}

/// Every method of package `holt.v1`, and what it needs.
pub const METHODS: &[(&str, Need)] = {
    use Deed as D;
    use Need::{AnyToken, Nothing, Role as R};
    &[
        ("PeopleService/SignIn", Nothing),
        ("PeopleService/RenewTokens", Nothing),
        ("PeopleService/SignOut", Nothing),
        ("PeopleService/ChangePassword", AnyToken),
        ("PeopleService/GetSelf", AnyToken),
        ("PeopleService/CreatePerson", R(D::KeepPeople)),
        ("PeopleService/ResetPassword", R(D::KeepPeople)),
        ("PeopleService/ListPeople", R(D::KeepPeople)),
        ("PeopleService/GrantRole", R(D::KeepPeople)),
        ("PeopleService/RevokeRole", R(D::KeepPeople)),
        ("SiteService/CreateSite", R(D::KeepSites)),
        ("SiteService/GetSite", R(D::ReadDirectory)),
        ("SiteService/ListSites", R(D::ReadDirectory)),
        ("SiteService/CreateEnclosure", R(D::KeepEnclosures)),
        ("SiteService/ListEnclosures", R(D::Read)),
        ("AnimalService/CreateTaxon", R(D::NameSpecies)),
        ("AnimalService/UpdateTaxon", R(D::Curate)),
        ("AnimalService/DescribeTaxon", R(D::Curate)),
        ("AnimalService/ListTaxa", R(D::ReadDirectory)),
        ("AnimalService/RegisterBirth", R(D::Register)),
        ("AnimalService/RegisterArrival", R(D::Register)),
        ("AnimalService/RecordSex", R(D::Register)),
        ("AnimalService/RecordDeath", R(D::Register)),
        ("AnimalService/RecordPostMortem", R(D::Examine)),
        ("AnimalService/RecordDeparture", R(D::Register)),
        ("AnimalService/GetAnimal", R(D::Read)),
        ("AnimalService/ListAnimals", R(D::Read)),
        ("ExchangeService/TakeInLives", R(D::Register)),
        ("ExchangeService/ListLives", R(D::Read)),
        ("FindService/FindAnimals", R(D::Read)),
        ("GroupService/CreateGroup", R(D::Place)),
        ("GroupService/JoinGroup", R(D::Place)),
        ("GroupService/LeaveGroup", R(D::Place)),
        ("GroupService/MoveGroup", R(D::Place)),
        ("GroupService/GetGroup", R(D::Read)),
        ("GroupService/ListGroups", R(D::Read)),
        ("LitterService/RecordLitter", R(D::Register)),
        ("LitterService/RecordLitterEvent", R(D::Register)),
        ("LitterService/CorrectLitter", R(D::Register)),
        ("LitterService/TellApart", R(D::Register)),
        ("LitterService/GetLitter", R(D::Read)),
        ("LitterService/ListLitters", R(D::Read)),
        ("PacketService/GetPacket", R(D::Read)),
        ("PartnerService/FindPartners", R(D::Move)),
        ("PartnerService/SetPartnerTerms", R(D::Move)),
        ("PartnerService/ListPartnerTerms", R(D::Read)),
        ("PartnerService/ListPartnerSearches", R(D::Read)),
        ("PaperService/AddPaper", R(D::Register)),
        ("PaperService/ListPapers", R(D::Read)),
        ("PaperService/ListMissingPapers", R(D::Read)),
        ("LoanService/ListLoans", R(D::Read)),
        ("LoanService/ProlongLoan", R(D::Register)),
        ("LoanService/ReturnLoan", R(D::Register)),
        ("TitleService/PassTitle", R(D::Register)),
        ("TitleService/ListOwnedElsewhere", R(D::Read)),
        ("MarkService/ApplyMark", R(D::Register)),
        ("MarkService/EndMark", R(D::Register)),
        ("MarkService/ReplaceMark", R(D::Register)),
        ("LifeStateService/BeginLifeState", R(D::Observe)),
        ("LifeStateService/EndLifeState", R(D::Observe)),
        ("LifeStateService/ListLifeStates", R(D::Read)),
        ("PlacementService/PlaceAnimals", R(D::Place)),
        ("WeightService/RecordWeights", R(D::Weigh)),
        ("WeightService/RecordCrateReading", R(D::Weigh)),
        ("WeightService/AcceptWeight", R(D::Correct)),
        ("WeightService/ListWeights", R(D::Read)),
        ("AssessmentService/LoadProtocol", R(D::LoadDocuments)),
        ("AssessmentService/ListProtocols", R(D::ReadDirectory)),
        ("AssessmentService/RecordAssessment", R(D::Assess)),
        ("AssessmentService/ListAssessments", R(D::Read)),
        ("CheckService/CreateCheck", R(D::SetChecks)),
        ("CheckService/EndCheck", R(D::SetChecks)),
        ("CheckService/ListChecks", R(D::Read)),
        ("CheckService/ListDue", R(D::Read)),
        ("CheckService/GetCheckCoverage", R(D::Read)),
        ("GrowthService/LoadGrowthReference", R(D::LoadDocuments)),
        ("GrowthService/ListGrowthReferences", R(D::ReadDirectory)),
        ("GrowthService/GetGrowth", R(D::Read)),
        ("GrowthService/FitSpeciesGrowth", R(D::Read)),
        ("GrowthService/EstimateEnergyNeed", R(D::Read)),
        ("KinshipService/GetKin", R(D::Read)),
        ("KinshipService/CompareKinship", R(D::Read)),
        ("WelfareService/GetWelfareCourse", R(D::Read)),
        ("WelfareService/CompareObservers", R(D::Read)),
        ("WelfareService/ListUnassessed", R(D::Read)),
        ("ConcernService/ListConcerns", R(D::Read)),
        ("ConcernService/ReplayConcerns", R(D::Read)),
        ("ConcernService/TakeUpConcern", R(D::AnswerConcerns)),
        ("ConcernService/SettleConcern", R(D::AnswerConcerns)),
        ("TransferService/ProposeTransfer", R(D::Move)),
        ("TransferService/AgreeTransfer", R(D::Move)),
        ("TransferService/RefuseTransfer", R(D::Move)),
        ("TransferService/CancelTransfer", R(D::Move)),
        ("TransferService/DispatchTransfer", R(D::Move)),
        ("TransferService/ReceiveTransfer", R(D::Move)),
        ("TransferService/ReportTransferLoss", R(D::Move)),
        ("TransferService/WithholdTransfer", R(D::Withhold)),
        ("TransferService/ReleaseTransfer", R(D::Withhold)),
        ("TransferService/GetTransfer", R(D::Read)),
        ("TransferService/ListTransfers", R(D::Read)),
        ("ReportService/GetSiteDay", R(D::Read)),
        ("CensusService/GetStockReturn", R(D::Read)),
        ("CensusService/ListStockEntries", R(D::Read)),
        ("ClimateService/AddDevice", R(D::SetChecks)),
        ("ClimateService/RetireDevice", R(D::SetChecks)),
        ("ClimateService/SetClimateRules", R(D::SetChecks)),
        ("ClimateService/RecordReadings", R(D::Weigh)),
        ("ClimateService/SendReadings", R(D::Weigh)),
        ("ClimateService/GetClimate", R(D::Read)),
        ("ClimateService/GetExposure", R(D::Read)),
        ("EncounterService/SetEncounterLimits", R(D::SetChecks)),
        ("EncounterService/ListEncounterLimits", R(D::Read)),
        ("EncounterService/RecordEncounter", R(D::Tend)),
        ("EncounterService/WithdrawEncounter", R(D::Tend)),
        ("EncounterService/ListEncounters", R(D::Read)),
        ("EncounterService/ListEncounterAllowances", R(D::Read)),
        ("EnrichmentService/SetEnrichmentItem", R(D::SetChecks)),
        ("EnrichmentService/ListEnrichmentItems", R(D::Read)),
        ("EnrichmentService/SetEnrichmentTerms", R(D::SetChecks)),
        ("EnrichmentService/RecordEnrichment", R(D::Tend)),
        ("EnrichmentService/RecordEnrichmentUse", R(D::Tend)),
        ("EnrichmentService/WithdrawEnrichment", R(D::Tend)),
        ("EnrichmentService/ListEnrichmentOffers", R(D::Read)),
        ("EnrichmentService/GetEnrichment", R(D::Read)),
        ("EnrichmentService/PlanEnrichment", R(D::Read)),
        ("FeedingService/SetFood", R(D::SetChecks)),
        ("FeedingService/ListFoods", R(D::Read)),
        ("FeedingService/SetFeedPlan", R(D::SetChecks)),
        ("FeedingService/RecordFeeds", R(D::Tend)),
        ("FeedingService/RecordLeftovers", R(D::Tend)),
        ("FeedingService/WithdrawFeed", R(D::Tend)),
        ("FeedingService/ListFeeds", R(D::Read)),
        ("FeedingService/GetFeeding", R(D::Read)),
        ("DocumentService/AdoptVersion", R(D::KeepDocuments)),
        ("DocumentService/WithdrawAdoption", R(D::KeepDocuments)),
        ("DocumentService/ListDocuments", R(D::Read)),
        ("StandardService/LoadStandard", R(D::LoadDocuments)),
        ("StandardService/ListStandards", R(D::ReadDirectory)),
        ("StandardService/AnswerStandard", R(D::Read)),
        ("EthogramService/LoadEthogram", R(D::LoadDocuments)),
        ("EthogramService/ListEthograms", R(D::ReadDirectory)),
        ("WatchService/RecordWatch", R(D::Observe)),
        ("WatchService/FollowWatch", R(D::Observe)),
        ("WatchService/WithdrawEvent", R(D::Observe)),
        ("WatchService/ListWatches", R(D::Read)),
        ("StandingService/GetStanding", R(D::Read)),
        ("UpsetService/RecordUpset", R(D::Observe)),
        ("UpsetService/ListUpsets", R(D::Read)),
        ("CorrectionService/CorrectFact", R(D::Correct)),
        ("CorrectionService/WithdrawFact", R(D::Correct)),
        ("CorrectionService/SetParents", R(D::Register)),
        ("CorrectionService/WithdrawAnimal", R(D::Register)),
        ("CorrectionService/ReinstateAnimal", R(D::Register)),
        ("AmendmentService/ProposeAmendment", R(D::Register)),
        ("AmendmentService/AcceptAmendment", R(D::Register)),
        ("AmendmentService/DeclineAmendment", R(D::Register)),
        ("AmendmentService/WithdrawAmendment", R(D::Register)),
        ("AmendmentService/ListAmendments", R(D::Read)),
        ("ProposalService/ProposeChange", R(D::Register)),
        ("ProposalService/AcceptProposal", R(D::Curate)),
        ("ProposalService/DeclineProposal", R(D::Curate)),
        ("ProposalService/WithdrawProposal", R(D::Register)),
        ("ProposalService/ListProposals", R(D::ReadProposals)),
        ("HistoryService/GetHistory", R(D::Read)),
        ("MergeService/MergeAnimals", R(D::Register)),
        ("MergeService/UnmergeAnimals", R(D::Register)),
        ("LedgerService/SealLedger", R(D::CheckLedger)),
        ("LedgerService/ListSeals", R(D::CheckLedger)),
        ("LedgerService/VerifyLedger", R(D::CheckLedger)),
        ("LedgerService/GetInclusionProof", R(D::Read)),
        ("LedgerService/GetConsistencyProof", R(D::CheckLedger)),
    ]
};

/// What the method at a gRPC path (`/holt.v1.WeightService/RecordWeights`) needs, with its short name;
/// none where there is no such method.
#[must_use]
pub fn need(path: &str) -> Option<(&'static str, Need)> {
    let short = path.strip_prefix("/holt.v1.")?;
    METHODS.iter().find(|(method, _)| *method == short).copied()
}
