//! The choices of the contract as words: what people type is what they read, and what JSON and CSV hold.

use clap::builder::{PossibleValuesParser, TypedValueParser};
use holt_proto::v1;

/// A choice of the contract with its words.
pub(crate) trait Word: Copy + PartialEq + Send + Sync + 'static {
    /// Every choice with its word, in the order in which help lists them.
    const ALL: &'static [(&'static str, Self)];

    /// The word; empty for a choice that was not made.
    fn word(self) -> &'static str {
        Self::ALL.iter().find(|(_, choice)| *choice == self).map_or("", |(word, _)| word)
    }

    /// The choice of a word, in any case.
    fn of(word: &str) -> Option<Self> {
        Self::ALL.iter().find(|(each, _)| each.eq_ignore_ascii_case(word)).map(|(_, choice)| *choice)
    }
}

/// Reads a word as an argument; help, errors and completions list the choices.
pub(crate) fn parser<E: Word>() -> impl TypedValueParser<Value = E> {
    PossibleValuesParser::new(E::ALL.iter().map(|(word, _)| *word))
        .try_map(|word| E::of(&word).ok_or(Unlisted))
}

#[derive(Debug, thiserror::Error)]
#[error("not one of the choices")]
struct Unlisted;

macro_rules! words {
    ($($choice:ident: $($variant:ident $word:literal),+;)+) => {
        $(
            impl Word for v1::$choice {
                const ALL: &'static [(&'static str, Self)] = &[$(($word, Self::$variant)),+];
            }
        )+
    };
}

words! {
    AnimalStatus: Held "held", Dead "dead", Departed "departed", AtLarge "at-large", MovedOn "moved-on",
        Mistake "entered-by-mistake";
    ArrivalSource: Collection "collection", Wild "wild", Rescue "rescue", Confiscation "confiscation",
        Private "private", OnSiteBefore "on-site-before";
    CitesAppendix: None "none", I "I", Ii "II", Iii "III";
    BehaviourAbove: Nobody "nobody", Actor "actor", Receiver "receiver";
    BehaviourKind: Displacement "displacement", Chase "chase", Bite "bite", Threat "threat",
        Submission "submission", HangBack "hang-back", Mount "mount", Groom "groom", Huddle "huddle",
        Play "play", Guard "guard", AtFood "at-food", Alone "alone", Rest "rest", Move "move", Other "other";
    BehaviourReceiver: None "none", May "may", Must "must";
    ClauseBasis: Text "text", Summary "summary", Memory "memory", Practice "practice";
    ClauseRule: Once "once", Latest "latest", Always "always", Every "every";
    ClauseSubject: Animal "animal", Litter "litter", Group "group", Enclosure "enclosure", Device "device",
        Transfer "transfer", Concern "concern", Site "site";
    ClauseVerdict: Met "met", Short "short", NoEvidence "no-evidence", NotApplicable "not-applicable",
        NotComputed "not-computed";
    Compromise: A "A", B "B", C "C", D "D", E "E";
    ConcernChange: Raised "raised", Worse "worse", Better "better", Quiet "quiet", Returned "returned",
        Over "over";
    ConcernKind: WeightTrend "weight-trend", ScaleRefused "scale-refused", GroupWeight "group-weight", Growth "growth",
        ScaleOff "scale-off",
        PushedOut "exclusion-risk", Climate "climate", DeviceSilent "device-silent";
    ConcernLevel: Watch "watch", Act "act", Urgent "urgent";
    ConcernState: Raised "raised", TakenUp "taken-on", Settled "closed";
    SettledAs: FalseAlarm "false-alarm", Treated "treated", NewNormal "new-normal";
    Confidence: Low "low", Medium "medium", High "high";
    AmendmentState: Open "open", Accepted "accepted", Declined "declined", Withdrawn "withdrawn";
    ParentsKnownBy: Observed "observed", Genetic "genetic", Assumed "assumed";
    DeathManner: Natural "natural", Euthanasia "euthanasia", Accident "accident", ByAnimal "by-animal",
        Unknown "unknown";
    DepartureDestination: Collection "collection", Wild "wild", Private "private", Escape "escape";
    Disposal: Incinerated "incinerated", Buried "buried", Collection "collection", Sample "sample",
        Rendered "rendered", Unknown "unknown";
    Domain: Nutrition "nutrition", Environment "environment", Health "health", Behaviour "behaviour",
        Mental "mental";
    DomainChange: TooFew "too-few", Worse "worse", Better "better", NotShownBetter "not-shown-better",
        Same "same";
    DueState: Due "due", Overdue "overdue";
    Duty: Weigh "weigh", Assess "assess", EndLoan "end-loan", WeighAgain "weigh-again";
    EnclosureKind: Indoor "indoor", Outdoor "outdoor", Mixed "mixed";
    Enhancement: None "0", Low "+", Mid "++", High "+++";
    EncounterKind: Talk "talk", Feed "feed", Close "close";
    EncounterLimit: MinutesADay "minutes-a-day", EncountersADay "encounters-a-day",
        MinutesAWeek "minutes-a-week", Rest "rest", FreeDays "free-days";
    EnrichmentGap: NothingSuits "nothing-suits", AllResting "all-resting", RationSpent "ration-spent",
        NoStaffTime "no-staff-time";
    EnrichmentKind: Food "food", Sensory "sensory", Structural "structural", Social "social",
        Cognitive "cognitive";
    EnrichmentObjection: Hazard "hazard", Species "species", TooSoon "too-soon", OutOfUse "out-of-use";
    EnrichmentResponse: Avoided "avoided", Ignored "ignored", Inspected "inspected", Used "used";
    FeedMethod: Scattered "scattered", Hidden "hidden", Hand "hand", Bowl "bowl";
    NeedUnknown: NeverWeighed "never-weighed", SpeciesNotDescribed "species-not-described";
    FoundBy: Id "id", Accession "accession", Mark "mark";
    GrowthShape: Logistic "logistic", Gompertz "Gompertz", VonBertalanffy "von-Bertalanffy";
    GroupRole: Member "member", Breeding "breeding", Helper "helper", Juvenile "juvenile", OnTrial "on-trial";
    ExclusionKind: Aggression "aggression", Food "food", Isolation "isolation", Fall "fall", Weight "weight",
        BesideBreeder "beside-breeder", GroupChange "group-change";
    ExpectedBy: Gain "gain", Habit "habit";
    ClimateMatter: TooLow "too-low", TooHigh "too-high", Silent "silent";
    Measure: Temperature "temperature", Humidity "humidity", UvIndex "uv-index",
        WaterTemperature "water-temperature", WaterPh "water-ph";
    FactChangeKind: Added "added", Gone "gone";
    DocumentKind: Protocol "protocol", Ethogram "ethogram", GrowthReference "growth-reference",
        Standard "standard";
    EvidenceKind: AnimalsIdentified "animals-identified", WeightsInTime "weights-in-time",
        AssessmentsInTime "assessments-in-time", ChecksDone "checks-done", DietsOnRecord "diets-on-record",
        EnrichmentVaried "enrichment-varied", EnvironmentInRange "environment-in-range",
        TransfersPapered "transfers-papered", DeathsExplained "deaths-explained",
        ConcernsAnswered "concerns-answered", StockBalances "stock-balances",
        WithinCapacity "within-capacity", LedgerVerifies "ledger-verifies", StaffAllowed "staff-allowed",
        TreatmentsRecorded "treatments-recorded", ObserversAgree "observers-agree";
    FactKind: Birth "birth", Sex "sex", Parent "parent", Accession "accession", Holding "holding",
        Title "ownership", Placement "placement", Mark "mark", Weight "weight", Assessment "assessment",
        Transfer "transfer", Death "death", Merge "merge", Membership "membership", ToldApart "identified", Paper "paper", Loan "loan",
        LifeState "state", Encounter "encounter", Mistake "mistake";
    IccBand: Poor "poor", Moderate "moderate", Good "good", Excellent "excellent";
    IccForm: OneWaySingle "1,1", AgreementSingle "2,1", ConsistencySingle "3,1", OneWayMean "1,k",
        AgreementMean "2,k", ConsistencyMean "3,k";
    IndicatorBasis: Animal "animal", Resource "resource";
    InteractionOutcome: ReceiverYielded "receiver-yielded", ActorYielded "actor-yielded", Undecided "undecided";
    Kin: Dam "dam", Sire "sire", Offspring "offspring", FullSibling "sibling", HalfSibling "half-sibling";
    LifeOutcome: TakenIn "added", OnRecord "already-recorded", Sound "ok", Refused "refused";
    LifeStateKind: Carrying "carrying", Moult "moult", Rut "rut", Torpor "torpor", Rest "rest";
    LifeStateEnd: Over "over", Birth "birth", Left "departed", Confirmed "confirmed";
    LitterChangeKind: Born "born", Died "died", Sexed "sexed", ToldApart "identified";
    LedgerBreakKind: RowChanged "row-changed", RowMoved "row-moved", RowRemoved "row-removed",
        RowSlippedIn "row-slipped-in", EntryChanged "entry-changed", EntryRemoved "entry-removed",
        EntrySlippedIn "entry-slipped-in", LeavesRemoved "leaves-removed",
        LeavesReordered "leaves-reordered", RootDiffers "root-differs",
        SiteRootDiffers "site-root-differs", SealChanged "seal-changed", SealRemoved "seal-removed",
        TailCut "tail-cut";
    LoanEnd: Returned "returned", TitlePassed "ownership-passed", MovedOn "moved-on", Died "died",
        Escaped "escaped";
    MarkKind: Transponder "transponder", Ring "ring", Tattoo "tattoo", EarNotch "ear-notch",
        Natural "natural", HouseName "house-name", FormerNumber "former-number";
    Nearness: Whole "whole", End "end", Within "within";
    OrderVerdict: TooFewAnimals "too-few-animals", Linear "linear", NotShown "not-shown";
    PaperKind: CitesExportPermit "cites-export-permit", CitesImportPermit "cites-import-permit",
        CitesReExportCertificate "cites-re-export-certificate",
        CitesOtherCertificate "cites-other-certificate", HealthCertificate "health-certificate",
        MovementLicence "movement-licence", Receipt "receipt", Other "other";
    PartnerLeftOut: SameSex "same-sex", SameSite "same-site", NotOfAge "not-of-age", Breeds "breeds", Moves "moves",
        Concern "concern", TooCloseKin "too-close-kin";
    PartnerTaken: Breeds "breeds", Moves "moves", Concern "concern";
    PaperOccasion: Arrival "arrival", Departure "departure", Transfer "transfer";
    PostMortem: NotDone "not-done", AskedFor "asked-for", Done "done";
    NoMeasure: TooFew "too-few", NoVariation "no-variation";
    RationVerdict: Short "short", Fits "fits", Over "over";
    ReadingOutcome: Accepted "accepted", Repeat "repeat", SecondWeighing "second-weighing", Refused "refused";
    Role: Keeper "keeper", Registrar "registrar", Auditor "auditor", Veterinary "veterinary",
        Steward "steward", Curator "curator";
    VersionBasis: Adopted "adopted", Last "last", Named "named";
    StockColumn: Opening "opening", Arrived "arrived", Born "born", DiedYoung "died-young", Died "died",
        Departed "departed", Escaped "escaped", Sexed "sexed", Closing "closing";
    Sex: Male "male", Female "female", Unknown "unknown";
    TransferLoss: Death "death", Escape "escape";
    TransferState: Proposed "proposed", Agreed "agreed", Dispatched "dispatched", Received "received",
        Refused "refused", Cancelled "cancelled", DiedOnWay "died-on-way", EscapedOnWay "escaped-on-way";
    TransferTerms: TitlePasses "ownership-passes", Loan "loan";
    UpsetKind: Alarm "alarm", Fight "fight", Escape "escape", Visitor "visitor", Other "other";
    WeighingMethod: Trained "trained", Handled "handled", Crate "crate", Anaesthetised "anaesthetised",
        Estimate "estimate";
}

#[cfg(test)]
mod tests {
    use super::*;

    fn complete<E: Word + Default + std::fmt::Debug + TryFrom<i32>>() {
        let known = (1..).map_while(|n| E::try_from(n).ok()).count();
        assert_eq!(known, E::ALL.len(), "each choice of {:?} has a word", E::default());
        for (word, choice) in E::ALL {
            assert_eq!((choice.word(), E::of(word)), (*word, Some(*choice)));
        }
        assert_eq!(E::default().word(), "");
    }

    #[test]
    fn every_choice_has_a_word_of_its_own() {
        complete::<v1::AnimalStatus>();
        complete::<v1::ArrivalSource>();
        complete::<v1::BehaviourAbove>();
        complete::<v1::BehaviourKind>();
        complete::<v1::BehaviourReceiver>();
        complete::<v1::CitesAppendix>();
        complete::<v1::Compromise>();
        complete::<v1::ConcernChange>();
        complete::<v1::ConcernKind>();
        complete::<v1::ConcernLevel>();
        complete::<v1::ConcernState>();
        complete::<v1::SettledAs>();
        complete::<v1::Confidence>();
        complete::<v1::DeathManner>();
        complete::<v1::DepartureDestination>();
        complete::<v1::Disposal>();
        complete::<v1::Domain>();
        complete::<v1::DomainChange>();
        complete::<v1::IccBand>();
        complete::<v1::IccForm>();
        complete::<v1::NoMeasure>();
        complete::<v1::ExclusionKind>();
        complete::<v1::ExpectedBy>();
        complete::<v1::GrowthShape>();
        complete::<v1::RationVerdict>();
        complete::<v1::DueState>();
        complete::<v1::Duty>();
        complete::<v1::EnclosureKind>();
        complete::<v1::Enhancement>();
        complete::<v1::GroupRole>();
        complete::<v1::ClimateMatter>();
        complete::<v1::Measure>();
        complete::<v1::FactChangeKind>();
        complete::<v1::FactKind>();
        complete::<v1::EncounterKind>();
        complete::<v1::EncounterLimit>();
        complete::<v1::EnrichmentGap>();
        complete::<v1::EnrichmentKind>();
        complete::<v1::EnrichmentObjection>();
        complete::<v1::EnrichmentResponse>();
        complete::<v1::FeedMethod>();
        complete::<v1::NeedUnknown>();
        complete::<v1::FoundBy>();
        complete::<v1::IndicatorBasis>();
        complete::<v1::InteractionOutcome>();
        complete::<v1::Kin>();
        complete::<v1::LifeOutcome>();
        complete::<v1::LitterChangeKind>();
        complete::<v1::LedgerBreakKind>();
        complete::<v1::AmendmentState>();
        complete::<v1::LoanEnd>();
        complete::<v1::MarkKind>();
        complete::<v1::Nearness>();
        complete::<v1::OrderVerdict>();
        complete::<v1::PaperKind>();
        complete::<v1::PaperOccasion>();
        complete::<v1::PostMortem>();
        complete::<v1::ReadingOutcome>();
        complete::<v1::Role>();
        complete::<v1::DocumentKind>();
        complete::<v1::VersionBasis>();
        complete::<v1::Sex>();
        complete::<v1::TransferLoss>();
        complete::<v1::TransferState>();
        complete::<v1::TransferTerms>();
        complete::<v1::UpsetKind>();
        complete::<v1::WeighingMethod>();
    }
}
