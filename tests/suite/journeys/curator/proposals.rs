//! A registrar proposes what is the curator's to change; the curator accepts or declines, and both see it.

use super::past_the_code;
use holt_proto::v1;
use holt_proto::v1::propose_change_request::Change;
use holt_server::model::person::Role;
use holt_tests::cast::PROTOCOL;
use holt_tests::{House, Park, Person, reason};
use tonic::Status;

/// Two parks and a curator.
struct Books {
    house: House,
    quill: Park,
    brack: Park,
    curator: Person,
}

fn species(change: impl FnOnce(&mut v1::UpdateTaxonRequest)) -> Change {
    let mut update = v1::UpdateTaxonRequest { taxon: "Lontra canadensis".to_owned(), ..Default::default() };
    change(&mut update);
    Change::Species(update)
}

fn appendix(listed: v1::CitesAppendix) -> Change {
    species(|update| update.cites_appendix = Some(listed.into()))
}

fn document(version: i32) -> Change {
    let toml = PROTOCOL.replace("version = 1", &format!("version = {version}"));
    Change::Document(v1::ProposedDocument { kind: v1::DocumentKind::Protocol.into(), toml })
}

impl Books {
    async fn new() -> Self {
        let house = House::new().await;
        let quill = house.quill().await;
        let brack = house.park("BRA", "Europe/Dublin").await;
        let curator = house.person("curator", &[(Role::Curator, None)]).await;
        Self { house, quill, brack, curator }
    }

    async fn propose(&self, by: &Person, change: Change) -> Result<v1::Proposal, Status> {
        let ask = v1::ProposeChangeRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            change: Some(change),
            because: "the list of 2026".to_owned(),
        };
        Ok(by.client.proposals().propose_change(ask).await?.into_inner().proposal.unwrap())
    }

    async fn accept(&self, by: &Person, id: &str) -> Result<v1::Proposal, Status> {
        let (request_id, proposal_id) = (self.house.request(), id.to_owned());
        let ask = v1::AcceptProposalRequest { request_id, proposal_id, note: String::new() };
        Ok(by.client.proposals().accept_proposal(ask).await?.into_inner().proposal.unwrap())
    }

    async fn decline(&self, by: &Person, id: &str, because: &str) -> Result<v1::Proposal, Status> {
        let (request_id, proposal_id) = (self.house.request(), id.to_owned());
        let ask = v1::DeclineProposalRequest { request_id, proposal_id, because: because.to_owned() };
        Ok(by.client.proposals().decline_proposal(ask).await?.into_inner().proposal.unwrap())
    }

    async fn withdraw(&self, by: &Person, site: &str, id: &str) -> Result<v1::Proposal, Status> {
        let ask = v1::WithdrawProposalRequest {
            request_id: self.house.request(),
            site: site.to_owned(),
            proposal_id: id.to_owned(),
            because: String::new(),
        };
        Ok(by.client.proposals().withdraw_proposal(ask).await?.into_inner().proposal.unwrap())
    }

    async fn listed(&self, by: &Person, site: &str, open_only: bool) -> Result<Vec<String>, String> {
        let ask = v1::ListProposalsRequest { site: site.to_owned(), open_only, ..Default::default() };
        let all = by.client.proposals().list_proposals(ask).await.map_err(|refused| reason(&refused))?;
        Ok(all.into_inner().proposals.iter().map(|one| format!("{:?}: {}", one.state(), one.says)).collect())
    }

    async fn otters(&self) -> v1::Taxon {
        let all = self.quill.keeper.client.animals().list_taxa(v1::ListTaxaRequest {}).await.unwrap();
        all.into_inner().taxa.into_iter().find(|one| one.scientific_name.starts_with("Lontra")).unwrap()
    }
}

#[tokio::test]
async fn the_curator_accepts_and_declines_and_both_see_it() {
    let books = Books::new().await;
    let (registrar, curator) = (&books.quill.registrar, &books.curator);
    let listed = books.propose(registrar, appendix(v1::CitesAppendix::Ii)).await.unwrap();
    assert_eq!(listed.state(), v1::AmendmentState::Open);
    assert_eq!(books.otters().await.cites_appendix(), v1::CitesAppendix::Unspecified);
    let not_known = species(|update| update.breeds_from_days = Some(0));
    let wrong = books.propose(registrar, not_known.clone()).await.unwrap();
    let told = books.accept(curator, &listed.id).await.unwrap();
    assert_eq!(told.state(), v1::AmendmentState::Accepted);
    assert_eq!(books.otters().await.cites_appendix(), v1::CitesAppendix::Ii);
    let told = books.decline(curator, &wrong.id, "it is known well").await.unwrap();
    assert_eq!((told.state(), told.answer.as_str()), (v1::AmendmentState::Declined, "it is known well"));
    let seen = [
        "Accepted: Lontra canadensis: appendix II of CITES",
        "Declined: Lontra canadensis: can be a parent from not stated",
    ];
    assert_eq!(books.listed(&books.quill.auditor, "QUI", false).await.unwrap(), seen);
    assert_eq!(books.listed(curator, "", false).await.unwrap(), seen);
    assert_eq!(books.listed(curator, "", true).await.unwrap(), [""; 0]);
    assert_eq!(books.listed(&books.brack.registrar, "BRA", false).await.unwrap(), [""; 0]);
    assert_eq!(books.listed(registrar, "", false).await.unwrap_err(), "ROLE_NEEDED");
    // Declined by mistake: it is proposed again, and accepted as it was meant, with what is no longer stated.
    let stated = species(|update| update.breeds_from_days = Some(700));
    let stated = books.propose(registrar, stated).await.unwrap();
    books.accept(curator, &stated.id).await.unwrap();
    assert_eq!(books.otters().await.breeds_from_days, 700);
    let again = books.propose(registrar, not_known).await.unwrap();
    books.accept(curator, &again.id).await.unwrap();
    assert_eq!(books.otters().await.breeds_from_days, 0);
    let traits = v1::DescribeTaxonRequest {
        taxon: "Lontra canadensis".to_owned(),
        traits: Some(v1::TaxonTraits {
            gestation_days: 62,
            source: "our own births".to_owned(),
            ..Default::default()
        }),
        ..Default::default()
    };
    let traits = books.propose(registrar, Change::Traits(traits)).await.unwrap();
    books.accept(curator, &traits.id).await.unwrap();
    assert_eq!(books.otters().await.traits.unwrap().gestation_days, 62);
    books.house.close().await;
}

#[tokio::test]
async fn each_is_answered_once_and_by_whom_it_is_for() {
    let books = Books::new().await;
    let (registrar, curator) = (&books.quill.registrar, &books.curator);
    let one = books.propose(registrar, appendix(v1::CitesAppendix::I)).await.unwrap().id;
    let steward = books.house.person("all-steward", &[(Role::Steward, None)]).await;
    let everywhere = books.house.person("all-registrar", &[(Role::Registrar, None)]).await;
    for by in [registrar, &books.brack.registrar, &steward, &everywhere] {
        assert_eq!(reason(&books.accept(by, &one).await.unwrap_err()), "ROLE_NEEDED");
        assert_eq!(reason(&books.decline(by, &one, "no").await.unwrap_err()), "ROLE_NEEDED");
    }
    for by in [&books.quill.keeper, &books.quill.vet, curator] {
        let refused = books.propose(by, appendix(v1::CitesAppendix::I)).await.unwrap_err();
        assert_eq!(reason(&refused), "ROLE_NEEDED");
    }
    assert_eq!(reason(&books.propose(&books.brack.registrar, document(1)).await.unwrap_err()), "NOT_FOUND");
    let elsewhere = books.withdraw(&books.brack.registrar, "BRA", &one).await.unwrap_err();
    assert_eq!(reason(&elsewhere), "NOT_FOUND");
    let both =
        books.house.person("both", &[(Role::Registrar, Some("BRA")), (Role::Keeper, Some("QUI"))]).await;
    assert_eq!(reason(&books.withdraw(&both, "BRA", &one).await.unwrap_err()), "NOT_FOUND");
    assert_eq!(reason(&books.withdraw(&both, "QUI", &one).await.unwrap_err()), "ROLE_NEEDED");
    assert_eq!(reason(&books.decline(curator, &one, "").await.unwrap_err()), "MALFORMED");
    for (outcome, wanted) in [("accepted", "42501"), ("declined", "42501"), ("withdrawn", "1")] {
        let sql = format!(
            "INSERT INTO proposal_answers SELECT id, site_id, '{outcome}', 'by ourselves', recorded_at, recorded_by,
                    request_id FROM proposals"
        );
        assert_eq!(past_the_code(&books.house, &sql).await, wanted, "{outcome}");
    }
    books.withdraw(registrar, "QUI", &one).await.unwrap();
    assert_eq!(reason(&books.withdraw(registrar, "QUI", &one).await.unwrap_err()), "AMENDMENT_WRONG_STATE");
    assert_eq!(reason(&books.accept(curator, &one).await.unwrap_err()), "AMENDMENT_WRONG_STATE");
    assert_eq!(books.otters().await.cites_appendix(), v1::CitesAppendix::Unspecified);
    books.house.close().await;
}

#[tokio::test]
async fn what_could_not_be_made_is_refused_when_it_is_proposed_and_when_it_is_accepted() {
    let books = Books::new().await;
    let (registrar, curator) = (&books.quill.registrar, &books.curator);
    for (change, wanted) in [
        (species(|update| update.taxon = "Lutra lutra".to_owned()), "MALFORMED"),
        (
            species(|update| {
                update.taxon = "Lutra lutra".to_owned();
                update.common_name = Some("Otter".to_owned());
            }),
            "NOT_FOUND",
        ),
        (species(|update| update.drop_synonyms = vec!["Lutra mira".to_owned()]), "NOT_FOUND"),
        (document(2), "VERSION_NOT_NEXT"),
        (
            Change::Document(v1::ProposedDocument {
                kind: v1::DocumentKind::Ethogram.into(),
                toml: PROTOCOL.to_owned(),
            }),
            "MALFORMED",
        ),
        (Change::Document(v1::ProposedDocument { kind: 0, toml: PROTOCOL.to_owned() }), "MALFORMED"),
    ] {
        let refused = books.propose(registrar, change.clone()).await.unwrap_err();
        assert_eq!(reason(&refused), wanted, "{change:?}: {}", refused.message());
    }
    let [first, second] = [
        books.propose(registrar, document(1)).await.unwrap(),
        books.propose(registrar, document(1)).await.unwrap(),
    ];
    assert!(first.document.unwrap().toml.contains("otter-watch"));
    books.accept(curator, &first.id).await.unwrap();
    assert_eq!(reason(&books.accept(curator, &second.id).await.unwrap_err()), "EXISTS");
    books.decline(curator, &second.id, "it is published").await.unwrap();
    let list = v1::ListProtocolsRequest {};
    let all = books.brack.keeper.client.assessments().list_protocols(list).await.unwrap().into_inner();
    assert_eq!(all.protocols.len(), 1);
    books.house.close().await;
}
