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

fn traits(gestation_days: i32) -> Change {
    let source = "our own births".to_owned();
    Change::Traits(v1::DescribeTaxonRequest {
        taxon: "Lontra canadensis".to_owned(),
        traits: Some(v1::TaxonTraits { gestation_days, source, ..Default::default() }),
        ..Default::default()
    })
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
        self.propose_of("QUI", by, change).await
    }

    async fn propose_of(&self, site: &str, by: &Person, change: Change) -> Result<v1::Proposal, Status> {
        let ask = v1::ProposeChangeRequest {
            request_id: self.house.request(),
            site: site.to_owned(),
            change: Some(change),
            because: "the list of 2026".to_owned(),
            validate_only: false,
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
    let breeds = |days| species(|update| update.breeds_from_days = Some(days));
    let wrong = books.propose(registrar, breeds(700)).await.unwrap();
    let told = books.accept(curator, &listed.id).await.unwrap();
    assert_eq!(told.state(), v1::AmendmentState::Accepted);
    assert_eq!(books.otters().await.cites_appendix(), v1::CitesAppendix::Ii);
    let told = books.decline(curator, &wrong.id, "nobody measured it").await.unwrap();
    assert_eq!((told.state(), told.answer.as_str()), (v1::AmendmentState::Declined, "nobody measured it"));
    assert_eq!(told.answered_by, "curator");
    let seen = [
        "Accepted: Lontra canadensis: CITES appendix II (before: CITES appendix not stated)",
        "Declined: Lontra canadensis: youngest parent 700 days (before: youngest parent not stated)",
    ];
    assert_eq!(books.listed(&books.quill.auditor, "QUI", false).await.unwrap(), seen);
    assert_eq!(books.listed(curator, "", false).await.unwrap(), seen);
    assert_eq!(books.listed(curator, "", true).await.unwrap(), [""; 0]);
    assert_eq!(books.listed(&books.brack.registrar, "BRA", false).await.unwrap(), [""; 0]);
    assert_eq!(books.listed(registrar, "", false).await.unwrap_err(), "ROLE_NEEDED");
    // Declined by mistake: it is proposed again, and accepted. What is no longer stated is kept as it was meant.
    let stated = books.propose(registrar, breeds(700)).await.unwrap();
    books.accept(curator, &stated.id).await.unwrap();
    assert_eq!(books.otters().await.breeds_from_days, 700);
    let again = books.propose(registrar, breeds(0)).await.unwrap();
    books.accept(curator, &again.id).await.unwrap();
    assert_eq!(books.otters().await.breeds_from_days, 0);
    let traits = books.propose(registrar, traits(62)).await.unwrap();
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
    assert_eq!(reason(&books.withdraw(registrar, "QUI", &one).await.unwrap_err()), "PROPOSAL_WRONG_STATE");
    assert_eq!(reason(&books.accept(curator, &one).await.unwrap_err()), "PROPOSAL_WRONG_STATE");
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
    let first = books.propose(registrar, document(1)).await.unwrap();
    let second = books.propose_of("BRA", &books.brack.registrar, document(1)).await.unwrap();
    assert!(first.document.unwrap().toml.contains("otter-watch"));
    books.accept(curator, &first.id).await.unwrap();
    assert_eq!(reason(&books.accept(curator, &second.id).await.unwrap_err()), "EXISTS");
    books.decline(curator, &second.id, "it is published").await.unwrap();
    let next = books.propose_of("BRA", &books.brack.registrar, document(2)).await.unwrap();
    assert_eq!(reason(&books.propose(registrar, document(3)).await.unwrap_err()), "VERSION_NOT_NEXT");
    books.accept(curator, &next.id).await.unwrap();
    let list = v1::ListProtocolsRequest {};
    let all = books.brack.keeper.client.assessments().list_protocols(list).await.unwrap().into_inner();
    assert_eq!(all.protocols.iter().map(|one| one.version).collect::<Vec<_>>(), [1, 2]);
    books.house.close().await;
}

#[tokio::test]
async fn what_was_changed_since_is_not_made_and_is_proposed_again() {
    let books = Books::new().await;
    let (registrar, curator) = (&books.quill.registrar, &books.curator);
    let listed = books.propose(registrar, appendix(v1::CitesAppendix::Ii)).await.unwrap();
    let usual = books.propose(registrar, traits(62)).await.unwrap();
    let other = books.propose_of("BRA", &books.brack.registrar, traits(61)).await.unwrap();
    // Neither of these is about what the first proposal says.
    let named =
        books.propose(registrar, species(|update| update.common_name = Some("Loutre".to_owned()))).await;
    books.accept(curator, &named.unwrap().id).await.unwrap();
    books.accept(curator, &other.id).await.unwrap();
    let meanwhile = v1::UpdateTaxonRequest {
        request_id: books.house.request(),
        taxon: "Lontra canadensis".to_owned(),
        cites_appendix: Some(v1::CitesAppendix::I.into()),
        because: "the list of 2027".to_owned(),
        ..Default::default()
    };
    let update = curator.client.animals().update_taxon(meanwhile).await;
    update.unwrap();
    for one in [&listed, &usual] {
        let refused = books.accept(curator, &one.id).await.unwrap_err();
        assert_eq!(reason(&refused), "PROPOSAL_WRONG_STATE");
        assert!(refused.message().contains("changed after the proposal"), "{}", refused.message());
        assert_eq!(books.decline(curator, &one.id, "see what stands now").await.unwrap().says, one.says);
    }
    let otters = books.otters().await;
    assert_eq!((otters.cites_appendix(), otters.common_name.as_str()), (v1::CitesAppendix::I, "Loutre"));
    assert_eq!(otters.traits.unwrap().gestation_days, 61);
    // A species that was renamed since is the same: it is found by the name that it had.
    let before =
        books.propose(registrar, species(|update| update.breeds_from_days = Some(600))).await.unwrap();
    let renamed = species(|update| update.new_scientific_name = "Lontra boreala".to_owned());
    let renamed = books.propose(registrar, renamed).await.unwrap();
    books.accept(curator, &renamed.id).await.unwrap();
    books.accept(curator, &before.id).await.unwrap();
    let otters = books.otters().await;
    assert_eq!((otters.scientific_name.as_str(), otters.breeds_from_days), ("Lontra boreala", 600));
    books.house.close().await;
}

#[tokio::test]
async fn the_same_is_proposed_once_by_a_site_and_again_when_it_was_withdrawn() {
    let books = Books::new().await;
    let (registrar, curator) = (&books.quill.registrar, &books.curator);
    let first = books.propose(registrar, appendix(v1::CitesAppendix::Ii)).await.unwrap();
    let refused = books.propose(registrar, appendix(v1::CitesAppendix::Ii)).await.unwrap_err();
    assert_eq!(reason(&refused), "EXISTS", "{}", refused.message());
    // Typed wrong, and withdrawn: the right one, and the same, can be proposed.
    let wrong = books.propose(registrar, appendix(v1::CitesAppendix::Iii)).await.unwrap();
    assert_eq!(
        books.withdraw(registrar, "QUI", &wrong.id).await.unwrap().state(),
        v1::AmendmentState::Withdrawn
    );
    assert_eq!(reason(&books.accept(curator, &wrong.id).await.unwrap_err()), "PROPOSAL_WRONG_STATE");
    books.withdraw(registrar, "QUI", &first.id).await.unwrap();
    let again = books.propose(registrar, appendix(v1::CitesAppendix::Ii)).await.unwrap();
    // Another site may see it the same way: the second that is accepted would change nothing.
    let alike =
        books.propose_of("BRA", &books.brack.registrar, appendix(v1::CitesAppendix::Ii)).await.unwrap();
    books.accept(curator, &again.id).await.unwrap();
    assert_eq!(reason(&books.accept(curator, &alike.id).await.unwrap_err()), "EXISTS");
    assert_eq!(
        reason(&books.propose(registrar, appendix(v1::CitesAppendix::Ii)).await.unwrap_err()),
        "EXISTS"
    );
    books.house.close().await;
}

#[tokio::test]
async fn a_proposal_is_of_its_site_whoever_made_it() {
    let books = Books::new().await;
    let curator = &books.curator;
    let grant = (Role::Registrar, Some("QUI"));
    let leaver = books.house.person("leaver", &[grant]).await;
    let [kept, dropped] = [
        books.propose(&leaver, appendix(v1::CitesAppendix::Ii)).await.unwrap(),
        books.propose(&leaver, document(1)).await.unwrap(),
    ];
    let revoke = v1::RevokeRoleRequest {
        request_id: books.house.request(),
        sign_in_name: "leaver".to_owned(),
        grant: Some(v1::Grant {
            role: v1::Role::Registrar.into(),
            site: "QUI".to_owned(),
            ..Default::default()
        }),
    };
    books.house.steward().await.client.people().revoke_role(revoke).await.unwrap();
    assert_eq!(reason(&books.withdraw(&leaver, "QUI", &kept.id).await.unwrap_err()), "NOT_SIGNED_IN");
    assert_eq!(books.accept(curator, &kept.id).await.unwrap().proposed_by, "leaver");
    books.withdraw(&books.quill.registrar, "QUI", &dropped.id).await.unwrap();
    assert_eq!(books.otters().await.cites_appendix(), v1::CitesAppendix::Ii);
    // One person who is both proposes as the site and decides as the curator.
    let both = books.house.person("both", &[(Role::Curator, None), grant]).await;
    let own = books.propose(&both, document(1)).await.unwrap();
    assert_eq!(books.listed(&both, "QUI", true).await.unwrap().len(), 1);
    assert_eq!(books.listed(&both, "", true).await.unwrap().len(), 1);
    let told = books.accept(&both, &own.id).await.unwrap();
    assert_eq!((told.proposed_by.as_str(), told.answered_by.as_str()), ("both", "both"));
    // A curator who is of no site reads no site's list, and a site's registrar who is not a curator not that of all.
    assert_eq!(books.listed(curator, "QUI", false).await.unwrap_err(), "ROLE_NEEDED");
    books.house.close().await;
}

#[tokio::test]
async fn of_two_that_are_accepted_at_once_the_second_is_held_to_what_the_first_made() {
    let books = Books::new().await;
    let one = books.propose(&books.quill.registrar, traits(62)).await.unwrap();
    let other = books.propose_of("BRA", &books.brack.registrar, traits(61)).await.unwrap();
    let (first, second) =
        tokio::join!(books.accept(&books.curator, &one.id), books.accept(&books.curator, &other.id));
    let refused: Vec<String> =
        [first, second].iter().filter_map(|told| Some(reason(told.as_ref().err()?))).collect();
    assert_eq!(refused, ["PROPOSAL_WRONG_STATE"]);
    let (first, second) = tokio::join!(
        books.decline(&books.curator, &one.id, "no"),
        books.decline(&books.curator, &other.id, "no")
    );
    let refused: Vec<String> =
        [first, second].iter().filter_map(|told| Some(reason(told.as_ref().err()?))).collect();
    assert_eq!(refused, ["PROPOSAL_WRONG_STATE"], "the one that was accepted is not declined, too");
    books.house.close().await;
}
