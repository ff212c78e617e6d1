//! A site keeps documents of its own: nobody else sees them, and nobody's code is in the way of another's.

use super::past_the_code;
use holt_proto::v1;
use holt_server::model::person::Role;
use holt_tests::cast::{ETHOGRAM, PROTOCOL, REFERENCE};
use holt_tests::{House, Person, reason};
use tonic::Status;

async fn load(
    house: &House,
    by: &Person,
    site: &str,
    code: &str,
    version: u32,
) -> Result<v1::Protocol, Status> {
    let toml = PROTOCOL.replace("otter-watch", code).replace("version = 1", &format!("version = {version}"));
    let ask = v1::LoadProtocolRequest {
        request_id: house.request(),
        toml,
        site: site.to_owned(),
        ..Default::default()
    };
    Ok(by.client.assessments().load_protocol(ask).await?.into_inner().protocol.unwrap())
}

async fn codes(by: &Person) -> Vec<String> {
    let all = by.client.assessments().list_protocols(v1::ListProtocolsRequest {}).await.unwrap().into_inner();
    all.protocols.into_iter().map(|one| format!("{}@{}", one.code, one.version)).collect()
}

#[tokio::test]
async fn a_site_keeps_its_own_and_nobody_else_sees_them() {
    let house = House::new().await;
    let quill = house.quill().await;
    let brack = house.park("BRA", "Europe/Dublin").await;
    let curator = house.person("curator", &[(Role::Curator, None)]).await;
    house.load_protocol(&curator).await;
    let own = load(&house, &quill.registrar, "QUI", "qui-otter", 1).await.unwrap();
    assert_eq!(own.own_site, "QUI");
    load(&house, &quill.vet, "QUI", "qui-otter", 2).await.unwrap();
    for (site, code, version, wanted) in [
        ("QUI", "qui-otter", 4, "VERSION_NOT_NEXT"),
        ("QUI", "qui-otter", 2, "EXISTS"),
        ("QUI", "otter", 1, "MALFORMED"),
        ("QUI", "bra-otter", 1, "MALFORMED"),
        ("QUI", "otter-watch", 2, "MALFORMED"),
        ("BRA", "bra-otter", 1, "NOT_FOUND"),
        ("", "otter-watch", 2, "ROLE_NEEDED"),
    ] {
        let refused = load(&house, &quill.registrar, site, code, version).await.unwrap_err();
        assert_eq!(reason(&refused), wanted, "{site} {code} {version}: {}", refused.message());
    }
    assert_eq!(reason(&load(&house, &curator, "", "qui-wild", 1).await.unwrap_err()), "MALFORMED");
    for by in [&quill.keeper, &quill.auditor, &curator] {
        assert_eq!(reason(&load(&house, by, "QUI", "qui-wild", 1).await.unwrap_err()), "ROLE_NEEDED");
    }
    // The same after the hyphen is another document.
    load(&house, &brack.registrar, "BRA", "bra-otter", 1).await.unwrap();
    let everywhere = house.person("auditor-of-all", &[(Role::Auditor, None)]).await;
    let steward = house.person("quill-steward", &[(Role::Steward, Some("QUI"))]).await;
    let both = house.person("both", &[(Role::Keeper, Some("QUI")), (Role::Registrar, Some("BRA"))]).await;
    let (shared, quills, bracks) = ("otter-watch@1", ["qui-otter@1", "qui-otter@2"], "bra-otter@1");
    assert_eq!(codes(&quill.keeper).await, [&[shared][..], &quills].concat());
    assert_eq!(codes(&brack.keeper).await, [bracks, shared]);
    for by in [&curator, &steward] {
        assert_eq!(codes(by).await, [shared], "what is no record of theirs");
    }
    for by in [&everywhere, &both] {
        assert_eq!(codes(by).await, [&[bracks, shared][..], &quills].concat());
    }
    house.close().await;
}

#[tokio::test]
async fn what_is_another_sites_own_is_not_there_to_be_used() {
    let house = House::new().await;
    let quill = house.quill().await;
    let brack = house.park("BRA", "Europe/Dublin").await;
    house.otter(&quill, "Bramble").await;
    house.otter(&brack, "Sorrel").await;
    load(&house, &quill.registrar, "QUI", "qui-otter", 1).await.unwrap();
    let assess = |site: &str, animal: &str, version: i32| v1::RecordAssessmentRequest {
        protocol: "qui-otter".to_owned(),
        protocol_version: version,
        ..house.assessment(site, animal, &[("body-condition", "right")])
    };
    quill.keeper.client.assessments().record_assessment(assess("QUI", "Bramble", 0)).await.unwrap();
    let adopt = |site: &str| v1::AdoptVersionRequest {
        request_id: house.request(),
        site: site.to_owned(),
        kind: v1::DocumentKind::Protocol.into(),
        code: "qui-otter".to_owned(),
        version: 1,
        adopted_on: None,
    };
    quill.registrar.client.documents().adopt_version(adopt("QUI")).await.unwrap();
    let both = house.person("both", &[(Role::Keeper, Some("QUI")), (Role::Keeper, Some("BRA"))]).await;
    for (by, version) in [(&brack.keeper, 0), (&brack.keeper, 1), (&both, 0), (&both, 1)] {
        let ask = assess("BRA", "Sorrel", version);
        let refused = by.client.assessments().record_assessment(ask).await.unwrap_err();
        assert_eq!(reason(&refused), "NOT_FOUND", "{}", refused.message());
    }
    let refused = brack.registrar.client.documents().adopt_version(adopt("BRA")).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    let list = v1::ListDocumentsRequest { site: "BRA".to_owned(), ..Default::default() };
    let all = both.client.documents().list_documents(list).await.unwrap().into_inner().documents;
    assert_eq!(all, []);
    house.close().await;
}

#[tokio::test]
async fn whoever_takes_an_animal_on_reads_what_it_was_assessed_by() {
    let house = House::new().await;
    let quill = house.quill().await;
    let brack = house.park("BRA", "Europe/Dublin").await;
    let otter = house.otter(&quill, "Bramble").await;
    load(&house, &quill.registrar, "QUI", "qui-otter", 1).await.unwrap();
    let assess = v1::RecordAssessmentRequest {
        protocol: "qui-otter".to_owned(),
        ..house.assessment("QUI", "Bramble", &[("body-condition", "right")])
    };
    quill.keeper.client.assessments().record_assessment(assess).await.unwrap();
    let propose = v1::ProposeTransferRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        to_site: "BRA".to_owned(),
        terms: v1::TransferTerms::TitlePasses.into(),
        why: "company".to_owned(),
        ..Default::default()
    };
    let proposed = quill.registrar.client.transfers().propose_transfer(propose).await.unwrap().into_inner();
    let transfer_id = proposed.transfer.unwrap().id;
    let (request_id, id) = (|| house.request(), || transfer_id.clone());
    let mut receiver = brack.registrar.client.transfers();
    let agree =
        v1::AgreeTransferRequest { request_id: request_id(), transfer_id: id(), ..Default::default() };
    receiver.agree_transfer(agree).await.unwrap();
    let leave =
        v1::DispatchTransferRequest { request_id: request_id(), transfer_id: id(), ..Default::default() };
    quill.registrar.client.transfers().dispatch_transfer(leave).await.unwrap();
    let come =
        v1::ReceiveTransferRequest { request_id: request_id(), transfer_id: id(), ..Default::default() };
    receiver.receive_transfer(come).await.unwrap();
    let ask = v1::GetHistoryRequest { site: "BRA".to_owned(), animal: otter.id, ..Default::default() };
    let facts = brack.auditor.client.history().get_history(ask).await.unwrap().into_inner().facts;
    let assessed = facts.iter().find(|fact| fact.kind() == v1::FactKind::Assessment).unwrap();
    assert!(assessed.say.contains("qui-otter"), "{}", assessed.say);
    house.close().await;
}

#[tokio::test]
async fn the_three_kinds_are_kept_alike() {
    let house = House::new().await;
    let quill = house.quill().await;
    let brack = house.park("BRA", "Europe/Dublin").await;
    let own = |toml: &str, code: &str| (house.request(), toml.replacen(code, "qui-own", 1), "QUI".to_owned());
    let (request_id, toml, site) = own(ETHOGRAM, "small-carnivore");
    let ask = v1::LoadEthogramRequest { request_id, toml, site, ..Default::default() };
    quill.registrar.client.ethograms().load_ethogram(ask).await.unwrap();
    let (request_id, toml, site) = own(REFERENCE, "otter-cubs");
    let ask = v1::LoadGrowthReferenceRequest { request_id, toml, site, ..Default::default() };
    quill.registrar.client.growth().load_growth_reference(ask).await.unwrap();
    load(&house, &quill.registrar, "QUI", "qui-own", 1).await.unwrap();
    let list = |site: &str| v1::ListDocumentsRequest { site: site.to_owned(), ..Default::default() };
    let all =
        quill.keeper.client.documents().list_documents(list("QUI")).await.unwrap().into_inner().documents;
    assert_eq!(all.len(), 3);
    assert!(all.iter().all(|one| one.own_site == "QUI" && one.code == "qui-own"));
    let all =
        brack.keeper.client.documents().list_documents(list("BRA")).await.unwrap().into_inner().documents;
    assert_eq!(all, []);
    let ethograms =
        brack.keeper.client.ethograms().list_ethograms(v1::ListEthogramsRequest {}).await.unwrap();
    assert_eq!(ethograms.into_inner().ethograms, []);
    let references = brack
        .keeper
        .client
        .growth()
        .list_growth_references(v1::ListGrowthReferencesRequest {})
        .await
        .unwrap();
    assert_eq!(references.into_inner().references, []);
    house.close().await;
}

#[tokio::test]
async fn the_database_refuses_by_itself_what_is_another_sites_own() {
    let house = House::new().await;
    let quill = house.quill().await;
    let brack = house.park("BRA", "Europe/Dublin").await;
    house.otter(&quill, "Bramble").await;
    let foreign = load(&house, &brack.registrar, "BRA", "bra-otter", 1).await.unwrap().id;
    load(&house, &quill.registrar, "QUI", "qui-otter", 1).await.unwrap();
    let assess = v1::RecordAssessmentRequest {
        protocol: "qui-otter".to_owned(),
        ..house.assessment("QUI", "Bramble", &[("body-condition", "right")])
    };
    quill.keeper.client.assessments().record_assessment(assess).await.unwrap();
    let assessment = format!(
        "INSERT INTO public.assessments (id, animal_id, site_id, protocol_id, assessed_at, assessed_on, findings, note,
                                  recorded_at, recorded_by, request_id)
         SELECT gen_random_uuid(), animal_id, site_id, '{foreign}', assessed_at, assessed_on, findings, note,
                recorded_at, recorded_by, request_id FROM public.assessments"
    );
    let adoption = |code: &str, version: i32| {
        format!(
            "INSERT INTO adoptions (id, site_id, kind, code, document_version, adopted_on, recorded_at, recorded_by,
                                    request_id)
             SELECT gen_random_uuid(), site_id, 'protocol', '{code}', {version}, current_date, recorded_at,
                    recorded_by, request_id FROM protocols WHERE code = 'qui-otter'"
        )
    };
    let document = |code: &str, version: i32| {
        format!(
            "INSERT INTO protocols (id, code, version, content, recorded_at, recorded_by, request_id, site_id)
             SELECT gen_random_uuid(), '{code}', {version}, content, recorded_at, recorded_by, request_id, site_id
               FROM protocols WHERE code = 'qui-otter'"
        )
    };
    for (sql, wanted) in [
        (assessment, "23503"),
        (adoption("qui-otter", 1), "1"),
        (adoption("qui-otter", 2), "23503"),
        (adoption("bra-otter", 1), "23503"),
        (document("qui-wild", 1), "1"),
        (document("qui-otter", 9), "23514"),
        (document("bra-wild", 1), "42501"),
        (document("wild", 1), "42501"),
    ] {
        assert_eq!(past_the_code(&house, &sql).await, wanted, "{sql}");
    }
    house.close().await;
}
