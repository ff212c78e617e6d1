//! Who may call what: every method of the descriptor set, for everybody.

use super::raw::call;
use super::requests::{HOME, Stage, THIRD};
use chrono::TimeDelta;
use holt_server::access::roles::METHODS;
use holt_server::model::person::{Grant, Role};
use holt_tests::house::start_of_time;
use holt_tests::reason;
use prost_reflect::DescriptorPool;
use std::collections::BTreeMap;
use tonic::{Code, Status};
use tonic_types::StatusExt;
use uuid::Uuid;

/// Where a role must be held for a method to open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Held {
    /// Nowhere: it is how one gets a token.
    NoToken,
    /// Nowhere; any token will do.
    AnyToken,
    /// At the site that the request is about.
    There,
    /// The same, of what they recorded themselves, or as a registrar: here somebody else recorded it.
    Own,
    /// Somewhere: what it is about belongs to no site.
    Somewhere,
    /// At every site.
    Everywhere,
}

const ROLES: [(Role, char); 6] = [
    (Role::Keeper, 'k'),
    (Role::Registrar, 'r'),
    (Role::Auditor, 'a'),
    (Role::Veterinary, 'v'),
    (Role::Steward, 's'),
    (Role::Curator, 'c'),
];

/// Every method, the roles that may call it, and where they must be held. Written out a second time, by
/// hand: a role that is let in by mistake in the server's own table is not let in here.
const TABLE: [(&str, &str, Held); 171] = {
    use Held::{AnyToken, Everywhere, NoToken, Own, Somewhere, There};
    [
        ("PeopleService/SignIn", "", NoToken),
        ("PeopleService/RenewTokens", "", NoToken),
        ("PeopleService/SignOut", "", NoToken),
        ("PeopleService/ChangePassword", "", AnyToken),
        ("PeopleService/GetSelf", "", AnyToken),
        ("PeopleService/CreatePerson", "s", There),
        ("PeopleService/ResetPassword", "s", There),
        ("PeopleService/ListPeople", "s", There),
        ("PeopleService/GrantRole", "s", There),
        ("PeopleService/RevokeRole", "s", There),
        ("SiteService/CreateSite", "s", Everywhere),
        ("SiteService/GetSite", "kravsc", Somewhere),
        ("SiteService/ListSites", "kravsc", Somewhere),
        ("SiteService/CreateEnclosure", "rs", There),
        ("SiteService/ListEnclosures", "krav", There),
        ("AnimalService/CreateTaxon", "rc", Somewhere),
        ("AnimalService/UpdateTaxon", "c", Everywhere),
        ("AnimalService/DescribeTaxon", "c", Everywhere),
        ("AnimalService/ListTaxa", "kravsc", Somewhere),
        ("AnimalService/RegisterBirth", "r", There),
        ("AnimalService/RegisterArrival", "r", There),
        ("AnimalService/RecordSex", "r", There),
        ("AnimalService/RecordDeath", "r", There),
        ("AnimalService/RecordPostMortem", "rv", There),
        ("AnimalService/RecordDeparture", "r", There),
        ("AnimalService/GetAnimal", "krav", There),
        ("AnimalService/ListAnimals", "krav", There),
        ("ExchangeService/TakeInLives", "r", There),
        ("ExchangeService/ListLives", "krav", There),
        ("FindService/FindAnimals", "krav", Somewhere),
        ("GroupService/CreateGroup", "kr", There),
        ("GroupService/JoinGroup", "kr", There),
        ("GroupService/LeaveGroup", "kr", There),
        ("GroupService/MoveGroup", "kr", There),
        ("GroupService/GetGroup", "krav", There),
        ("GroupService/ListGroups", "krav", There),
        ("LitterService/RecordLitter", "r", There),
        ("LitterService/RecordLitterEvent", "r", There),
        ("LitterService/CorrectLitter", "r", There),
        ("LitterService/TellApart", "r", There),
        ("LitterService/GetLitter", "krav", There),
        ("LitterService/ListLitters", "krav", There),
        ("PacketService/GetPacket", "krav", There),
        ("PartnerService/FindPartners", "r", There),
        ("PartnerService/SetPartnerTerms", "r", There),
        ("PartnerService/ListPartnerTerms", "krav", There),
        ("PartnerService/ListPartnerSearches", "krav", There),
        ("PaperService/AddPaper", "r", There),
        ("PaperService/ListPapers", "krav", There),
        ("PaperService/ListMissingPapers", "krav", There),
        ("LoanService/ListLoans", "krav", There),
        ("LoanService/ProlongLoan", "r", There),
        ("LoanService/ReturnLoan", "r", There),
        ("TitleService/PassTitle", "r", There),
        ("TitleService/ListOwnedElsewhere", "krav", There),
        ("MarkService/ApplyMark", "r", There),
        ("MarkService/EndMark", "r", There),
        ("MarkService/ReplaceMark", "r", There),
        ("LifeStateService/BeginLifeState", "kv", There),
        ("LifeStateService/EndLifeState", "kv", There),
        ("LifeStateService/ListLifeStates", "krav", There),
        ("PlacementService/PlaceAnimals", "kr", There),
        ("WeightService/RecordWeights", "kv", There),
        ("WeightService/RecordCrateReading", "kv", There),
        ("WeightService/AcceptWeight", "krv", Own),
        ("WeightService/ListWeights", "krav", There),
        ("AssessmentService/LoadProtocol", "rv", There),
        ("AssessmentService/ListProtocols", "kravsc", Somewhere),
        ("AssessmentService/RecordAssessment", "kv", There),
        ("AssessmentService/ListAssessments", "krav", There),
        ("CheckService/CreateCheck", "rv", There),
        ("CheckService/EndCheck", "rv", There),
        ("CheckService/ListChecks", "krav", There),
        ("CheckService/ListDue", "krav", There),
        ("CheckService/GetCheckCoverage", "krav", There),
        ("GrowthService/LoadGrowthReference", "rv", There),
        ("GrowthService/ListGrowthReferences", "kravsc", Somewhere),
        ("GrowthService/GetGrowth", "krav", There),
        ("GrowthService/FitSpeciesGrowth", "krav", There),
        ("GrowthService/EstimateEnergyNeed", "krav", There),
        ("KinshipService/GetKin", "krav", There),
        ("KinshipService/CompareKinship", "krav", There),
        ("WelfareService/GetWelfareCourse", "krav", There),
        ("WelfareService/CompareObservers", "krav", There),
        ("WelfareService/ListUnassessed", "krav", There),
        ("ConcernService/ListConcerns", "krav", There),
        ("ConcernService/ReplayConcerns", "krav", There),
        ("ConcernService/TakeUpConcern", "krv", There),
        ("ConcernService/SettleConcern", "krv", There),
        ("TransferService/ProposeTransfer", "r", There),
        ("TransferService/AgreeTransfer", "r", There),
        ("TransferService/RefuseTransfer", "r", There),
        ("TransferService/CancelTransfer", "r", There),
        ("TransferService/DispatchTransfer", "r", There),
        ("TransferService/ReceiveTransfer", "r", There),
        ("TransferService/ReportTransferLoss", "r", There),
        ("TransferService/WithholdTransfer", "v", There),
        ("TransferService/ReleaseTransfer", "v", There),
        ("TransferService/GetTransfer", "krav", There),
        ("TransferService/ListTransfers", "krav", There),
        ("ReportService/GetSiteDay", "krav", There),
        ("CensusService/GetStockReturn", "krav", There),
        ("CensusService/ListStockEntries", "krav", There),
        ("ClimateService/AddDevice", "rv", There),
        ("ClimateService/RetireDevice", "rv", There),
        ("ClimateService/SetClimateRules", "rv", There),
        ("ClimateService/RecordReadings", "kv", There),
        ("ClimateService/SendReadings", "kv", There),
        ("ClimateService/GetClimate", "krav", There),
        ("ClimateService/GetExposure", "krav", There),
        ("EncounterService/SetEncounterLimits", "rv", There),
        ("EncounterService/ListEncounterLimits", "krav", There),
        ("EncounterService/RecordEncounter", "kv", There),
        ("EncounterService/WithdrawEncounter", "kv", There),
        ("EncounterService/ListEncounters", "krav", There),
        ("EncounterService/ListEncounterAllowances", "krav", There),
        ("EnrichmentService/SetEnrichmentItem", "rv", There),
        ("EnrichmentService/ListEnrichmentItems", "krav", There),
        ("EnrichmentService/SetEnrichmentTerms", "rv", There),
        ("EnrichmentService/RecordEnrichment", "kv", There),
        ("EnrichmentService/RecordEnrichmentUse", "kv", There),
        ("EnrichmentService/WithdrawEnrichment", "kv", There),
        ("EnrichmentService/ListEnrichmentOffers", "krav", There),
        ("EnrichmentService/GetEnrichment", "krav", There),
        ("EnrichmentService/PlanEnrichment", "krav", There),
        ("FeedingService/SetFood", "rv", There),
        ("FeedingService/ListFoods", "krav", There),
        ("FeedingService/SetFeedPlan", "rv", There),
        ("FeedingService/RecordFeeds", "kv", There),
        ("FeedingService/RecordLeftovers", "kv", There),
        ("FeedingService/WithdrawFeed", "kv", There),
        ("FeedingService/ListFeeds", "krav", There),
        ("FeedingService/GetFeeding", "krav", There),
        ("DocumentService/AdoptVersion", "rv", There),
        ("DocumentService/WithdrawAdoption", "rv", There),
        ("DocumentService/ListDocuments", "krav", There),
        ("StandardService/LoadStandard", "rv", There),
        ("StandardService/ListStandards", "kravsc", Somewhere),
        ("StandardService/AnswerStandard", "krav", There),
        ("EthogramService/LoadEthogram", "rv", There),
        ("EthogramService/ListEthograms", "kravsc", Somewhere),
        ("WatchService/RecordWatch", "kv", There),
        ("WatchService/FollowWatch", "kv", There),
        ("WatchService/WithdrawEvent", "kv", There),
        ("WatchService/ListWatches", "krav", There),
        ("StandingService/GetStanding", "krav", There),
        ("UpsetService/RecordUpset", "kv", There),
        ("UpsetService/ListUpsets", "krav", There),
        ("CorrectionService/CorrectFact", "krv", There),
        ("CorrectionService/WithdrawFact", "krv", Own),
        ("CorrectionService/SetParents", "r", There),
        ("CorrectionService/WithdrawAnimal", "r", There),
        ("CorrectionService/ReinstateAnimal", "r", There),
        ("AmendmentService/ProposeAmendment", "r", There),
        ("AmendmentService/AcceptAmendment", "r", There),
        ("AmendmentService/DeclineAmendment", "r", There),
        ("AmendmentService/WithdrawAmendment", "r", There),
        ("AmendmentService/ListAmendments", "krav", There),
        ("ProposalService/ProposeChange", "r", There),
        ("ProposalService/AcceptProposal", "c", Everywhere),
        ("ProposalService/DeclineProposal", "c", Everywhere),
        ("ProposalService/WithdrawProposal", "r", There),
        ("ProposalService/ListProposals", "krav", There),
        ("HistoryService/GetHistory", "krav", There),
        ("MergeService/MergeAnimals", "r", There),
        ("MergeService/UnmergeAnimals", "r", There),
        ("LedgerService/SealLedger", "as", Somewhere),
        ("LedgerService/ListSeals", "as", Somewhere),
        ("LedgerService/VerifyLedger", "as", There),
        ("LedgerService/GetInclusionProof", "krav", There),
        ("LedgerService/GetConsistencyProof", "as", Somewhere),
    ]
};

/// What the one method that asks for a password answers to everybody whom it lets in: the walk does not
/// know theirs.
const WRONG_PASSWORD: (&str, &str) = ("PeopleService/ChangePassword", "SIGN_IN_FAILED");

fn methods() -> Vec<String> {
    let pool = DescriptorPool::decode(holt_proto::FILE_DESCRIPTOR_SET).unwrap();
    pool.services()
        .filter(|service| service.full_name().starts_with("holt.v1."))
        .flat_map(|service| {
            let name = service.name().to_owned();
            service.methods().map(move |method| format!("{name}/{}", method.name())).collect::<Vec<_>>()
        })
        .collect()
}

#[test]
fn every_method_has_a_row_and_every_row_a_method() {
    let sorted = |mut names: Vec<String>| {
        names.sort();
        names
    };
    let methods = sorted(methods());
    assert_eq!(sorted(METHODS.iter().map(|(method, _)| (*method).to_owned()).collect()), methods);
    assert_eq!(sorted(TABLE.iter().map(|(method, ..)| (*method).to_owned()).collect()), methods);
}

/// `OK`, or the reason of the refusal; its code must be that of the reason.
fn told(answer: &Result<Vec<u8>, Status>) -> String {
    let Err(status) = answer else { return "OK".to_owned() };
    let reason = reason(status);
    let code = match reason.as_str() {
        "NOT_SIGNED_IN" | "SIGN_IN_FAILED" => Code::Unauthenticated,
        "PASSWORD_CHANGE_NEEDED" => Code::FailedPrecondition,
        "ROLE_NEEDED" => Code::PermissionDenied,
        "NOT_FOUND" => Code::NotFound,
        other => panic!("{other}: {status:?}"),
    };
    assert_eq!(status.code(), code, "{status:?}");
    reason
}

/// Somebody who calls: how they show it, and whether their role is one that may.
struct Somebody {
    who: String,
    authorization: Option<String>,
    is: Is,
}

enum Is {
    /// Nobody: no token, or one that is not accepted.
    Nobody,
    /// Signed in with a one-time password, whatever their roles.
    Fresh,
    /// Holds a role at one of the three sites, or everywhere.
    Holder(char, Option<&'static str>),
}

async fn everybody(stage: &Stage) -> Vec<Somebody> {
    let nobody = |who: &str, value: Option<String>| Somebody {
        who: who.to_owned(),
        authorization: value,
        is: Is::Nobody,
    };
    let mut all = vec![nobody("no token", None)];
    for malformed in ["Bearer nonsense", "Bearer a.b.c", "Bearer ", "Basic a2ltOmtpbQ=="] {
        all.push(nobody(malformed, Some(malformed.to_owned())));
    }
    let clock = &stage.house.clock;
    clock.set(start_of_time() - TimeDelta::days(4000));
    let every: Vec<Grant> = ROLES.map(|(role, _)| Grant { role, site: None }).to_vec();
    let run_out = stage.house.token(Uuid::from_u128(7), &every);
    clock.set(start_of_time());
    all.push(nobody("run out", Some(format!("Bearer {run_out}"))));
    // A token of somebody with every role, whose sign-ins were ended since.
    let roles: Vec<(Role, Option<&str>)> = ROLES.map(|(role, _)| (role, None)).to_vec();
    let ended = stage.house.person("ended", &roles).await;
    let mut owner = stage.house.owner().await;
    sqlx::query("INSERT INTO epochs (person_id, epoch) VALUES ($1, 1)")
        .bind(ended.id)
        .execute(&mut owner)
        .await
        .unwrap();
    all.push(nobody("ended", Some(format!("Bearer {}", stage.house.token(ended.id, &every)))));
    let fresh = format!("Bearer {}", stage.one_time_token().await);
    all.push(Somebody { who: "one-time password".to_owned(), authorization: Some(fresh), is: Is::Fresh });
    for (role, letter) in ROLES {
        for site in [Some(HOME), Some(THIRD), None] {
            // What all sites share has no site, and neither has its curator.
            if role == Role::Curator && site.is_some() {
                continue;
            }
            let who = format!("{}-{}", role.as_str(), site.unwrap_or("everywhere").to_lowercase());
            let person = stage.house.person(&who, &[(role, site)]).await;
            let grant = Grant { role, site: site.map(str::to_owned) };
            let token = format!("Bearer {}", stage.house.token(person.id, &[grant]));
            all.push(Somebody { who, authorization: Some(token), is: Is::Holder(letter, site) });
        }
    }
    all
}

/// What somebody is to be told, by the table.
fn wanted(method: &str, may: &str, held: Held, is: &Is) -> &'static str {
    let well = if method == WRONG_PASSWORD.0 { WRONG_PASSWORD.1 } else { "OK" };
    match (held, is) {
        (Held::NoToken, _) | (Held::AnyToken, Is::Fresh | Is::Holder(..)) => well,
        (_, Is::Nobody) => "NOT_SIGNED_IN",
        (_, Is::Fresh) => "PASSWORD_CHANGE_NEEDED",
        (_, Is::Holder(letter, _)) if !may.contains(*letter) => "ROLE_NEEDED",
        (Held::There | Held::Own, Is::Holder(_, Some(THIRD))) => "NOT_FOUND",
        (Held::Own, Is::Holder(letter, _)) if *letter != 'r' => "ROLE_NEEDED",
        (Held::Everywhere, Is::Holder(_, Some(_))) => "ROLE_NEEDED",
        (_, Is::Holder(..)) => well,
    }
}

#[tokio::test]
async fn every_method_answers_everybody_as_the_table_says() {
    let stage = Stage::new().await;
    let channel = stage.house.channel();
    let everybody = everybody(&stage).await;
    let mut wrong = Vec::new();
    for (method, may, held) in TABLE {
        // One request serves all who are refused; whoever is let in may use it up.
        let refused = stage.request(method).await.unwrap_or_else(|| panic!("{method} has no request"));
        for Somebody { who, authorization, is } in &everybody {
            let wanted = wanted(method, may, held, is);
            let own = if wanted == "OK" { stage.request(method).await } else { None };
            let message = own.as_ref().unwrap_or(&refused);
            let told = told(&call(&channel, method, authorization.as_deref(), message).await);
            if told != wanted {
                wrong.push(format!("{method}, {who}: {told} instead of {wanted}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    stage.house.close().await;
}

/// Everything that a caller gets to see of a refusal, with one name put for another. Metadata is a map, and
/// the order of a map on the wire is chance: it is put in order.
fn seen(status: &Status, from: &str, to: &str) -> String {
    assert_eq!(from.len(), to.len(), "lengths travel, too");
    let details = status.get_error_details();
    let info = details.error_info().unwrap();
    let metadata: BTreeMap<_, _> = info.metadata.iter().collect();
    let rest = (
        details.bad_request(),
        details.precondition_failure(),
        details.quota_failure(),
        details.resource_info(),
        details.retry_info(),
        details.debug_info(),
        details.request_info(),
        details.help(),
        details.localized_message(),
    );
    let (code, message, length) = (status.code(), status.message(), status.details().len());
    format!("{code:?} {message} {length} {} {} {metadata:?} {rest:?}", info.reason, info.domain)
        .replace(from, to)
}

fn replaced(message: &[u8], from: &str, to: &str) -> Vec<u8> {
    let text: Vec<u8> = message.to_vec();
    let mut out = Vec::with_capacity(text.len());
    let mut at = 0;
    while at < text.len() {
        if text[at..].starts_with(from.as_bytes()) {
            out.extend_from_slice(to.as_bytes());
            at += from.len();
        } else {
            out.push(text[at]);
            at += 1;
        }
    }
    out
}

/// Whoever may do something elsewhere learns nothing of a site that is not theirs: it is answered as one
/// that does not exist, and what belongs to it likewise.
#[tokio::test]
async fn what_is_out_of_scope_is_answered_like_what_is_not_there() {
    const UNKNOWN: &str = "ZZZ";
    let stage = Stage::new().await;
    let channel = stage.house.channel();
    let mut compared = 0;
    for (method, may, _) in TABLE.into_iter().filter(|(.., held)| *held == Held::There) {
        let (role, _) = *ROLES.iter().find(|(_, letter)| may.contains(*letter)).unwrap();
        let name = format!("{}-{}", role.as_str(), &stage.house.request()[24..]);
        let person = stage.house.person(&name, &[(role, Some(THIRD))]).await;
        let grant = Grant { role, site: Some(THIRD.to_owned()) };
        let authorization = format!("Bearer {}", stage.house.token(person.id, &[grant]));
        let there = stage.request(method).await.unwrap();
        // A transfer is named by its identifier alone, which is the second of two in the request.
        let text = String::from_utf8_lossy(&there).into_owned();
        let (name, other) = if text.contains(HOME) {
            (HOME.to_owned(), UNKNOWN.to_owned())
        } else {
            let id = text.char_indices().rev().find_map(|(at, _)| {
                text.get(at..at + 36).filter(|id| id.parse::<Uuid>().is_ok()).map(str::to_owned)
            });
            (id.unwrap(), Uuid::from_u128(0xdead).to_string())
        };
        let not_there = replaced(&there, &name, &other);
        assert_ne!(there, not_there, "{method}");
        let out_of_scope = call(&channel, method, Some(&authorization), &there).await.unwrap_err();
        let unknown = call(&channel, method, Some(&authorization), &not_there).await.unwrap_err();
        assert_eq!(seen(&out_of_scope, &name, &other), seen(&unknown, &name, &other), "{method}");
        assert_eq!(reason(&unknown), "NOT_FOUND", "{method}");
        compared += 1;
    }
    assert!(compared >= 40, "{compared}");
    stage.house.close().await;
}
