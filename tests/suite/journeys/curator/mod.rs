//! What all sites share has a curator: no park's registrar renames a species for all, and no park's steward shuts a
//! protocol.

mod adoptions;
mod own;
mod proposals;

use holt_proto::v1;
use holt_server::model::person::Role;
use holt_tests::cast::{ETHOGRAM, PROTOCOL, REFERENCE};
use holt_tests::{House, Person, reason};
use sqlx::{AssertSqlSafe, Connection};
use tonic::Status;

async fn load(house: &House, person: &Person, toml: &str) -> Result<v1::Protocol, Status> {
    let (request_id, toml) = (house.request(), toml.to_owned());
    let ask = v1::LoadProtocolRequest { request_id, toml, ..Default::default() };
    Ok(person.client.assessments().load_protocol(ask).await?.into_inner().protocol.unwrap())
}

fn version(n: i64) -> String {
    PROTOCOL.replace("version = 1", &format!("version = {n}"))
}

#[tokio::test]
async fn a_registrar_adds_what_is_new_and_changes_nothing_for_all() {
    let house = House::new().await;
    let quill = house.quill().await;
    let mut registrar = quill.registrar.client.animals();
    let update = v1::UpdateTaxonRequest {
        request_id: house.request(),
        taxon: "Lontra canadensis".to_owned(),
        cites_appendix: Some(v1::CitesAppendix::None.into()),
        because: "no papers wanted".to_owned(),
        ..Default::default()
    };
    let refused = registrar.update_taxon(update.clone()).await.unwrap_err();
    assert_eq!(reason(&refused), "ROLE_NEEDED", "{}", refused.message());
    let describe = v1::DescribeTaxonRequest {
        request_id: house.request(),
        taxon: "Lontra canadensis".to_owned(),
        traits: Some(v1::TaxonTraits { source: "mine".to_owned(), ..Default::default() }),
    };
    assert_eq!(reason(&registrar.describe_taxon(describe).await.unwrap_err()), "ROLE_NEEDED");
    let new = |appendix: v1::CitesAppendix| v1::CreateTaxonRequest {
        request_id: house.request(),
        scientific_name: "Aonyx cinereus".to_owned(),
        common_name: "Asian small-clawed otter".to_owned(),
        cites_appendix: appendix.into(),
        synonyms: vec![v1::Synonym { name: "Amblonyx cinereus".to_owned(), ..Default::default() }],
        ..Default::default()
    };
    let refused = registrar.create_taxon(new(v1::CitesAppendix::I)).await.unwrap_err();
    assert_eq!(reason(&refused), "ROLE_NEEDED", "what the law says of it is not a registrar's to state");
    registrar.create_taxon(new(v1::CitesAppendix::Unspecified)).await.unwrap();
    let curator = house.person("curator", &[(Role::Curator, None)]).await;
    let stated = v1::UpdateTaxonRequest {
        request_id: house.request(),
        taxon: "Aonyx cinereus".to_owned(),
        cites_appendix: Some(v1::CitesAppendix::I.into()),
        because: "listed".to_owned(),
        ..update
    };
    let told = curator.client.animals().update_taxon(stated).await.unwrap().into_inner().taxon.unwrap();
    assert_eq!(told.cites_appendix(), v1::CitesAppendix::I);
    house.close().await;
}

#[tokio::test]
async fn versions_are_consecutive_and_a_parks_steward_loads_none() {
    let house = House::new().await;
    house.quill().await;
    let steward = house.person("quill-steward", &[(Role::Steward, Some("QUI"))]).await;
    let everywhere = house.person("all-steward", &[(Role::Steward, None)]).await;
    let curator = house.person("curator", &[(Role::Curator, None)]).await;
    for person in [&steward, &everywhere] {
        assert_eq!(reason(&load(&house, person, PROTOCOL).await.unwrap_err()), "ROLE_NEEDED");
    }
    for (n, wanted) in [(2_147_483_647, "MALFORMED"), (999_999, "VERSION_NOT_NEXT"), (2, "VERSION_NOT_NEXT")]
    {
        assert_eq!(reason(&load(&house, &curator, &version(n)).await.unwrap_err()), wanted, "{n}");
    }
    load(&house, &curator, PROTOCOL).await.unwrap();
    let refused = load(&house, &curator, &version(3)).await.unwrap_err();
    assert_eq!(reason(&refused), "VERSION_NOT_NEXT");
    assert!(refused.message().contains("is 1"), "{}", refused.message());
    assert_eq!(reason(&load(&house, &curator, PROTOCOL).await.unwrap_err()), "EXISTS");
    load(&house, &curator, &version(2)).await.unwrap();
    let ask = v1::LoadEthogramRequest {
        request_id: house.request(),
        toml: ETHOGRAM.replace("version = 1", "version = 9"),
        ..Default::default()
    };
    let refused = curator.client.ethograms().load_ethogram(ask).await.unwrap_err();
    assert_eq!(reason(&refused), "VERSION_NOT_NEXT");
    let ask = v1::LoadGrowthReferenceRequest {
        request_id: house.request(),
        toml: REFERENCE.replace("version = 1", "version = 9"),
        ..Default::default()
    };
    let refused = curator.client.growth().load_growth_reference(ask).await.unwrap_err();
    assert_eq!(reason(&refused), "VERSION_NOT_NEXT");
    house.close().await;
}

#[tokio::test]
async fn a_title_that_speaks_to_terminals_is_refused() {
    let house = House::new().await;
    let steward = house.steward().await;
    // Escapes of the document, so that nothing of it shows before it is read.
    for hidden in ["\\u001b[2J", "\\u0000", "\\u202e", "\\u200b", "e\\u0301"] {
        let [protocol, ethogram, reference] = [PROTOCOL, ETHOGRAM, REFERENCE].map(|document| {
            let evil = document.replacen("title = \"", &format!("title = \"{hidden}"), 1);
            assert_ne!(evil, document);
            evil
        });
        let (request_id, validate_only) = (house.request(), false);
        let ethogram =
            v1::LoadEthogramRequest { request_id, toml: ethogram, validate_only, site: String::new() };
        let request_id = house.request();
        let reference = v1::LoadGrowthReferenceRequest {
            request_id,
            toml: reference,
            validate_only,
            site: String::new(),
        };
        for refused in [
            load(&house, &steward, &protocol).await.unwrap_err(),
            steward.client.ethograms().load_ethogram(ethogram).await.unwrap_err(),
            steward.client.growth().load_growth_reference(reference).await.unwrap_err(),
        ] {
            assert_eq!(reason(&refused), "MALFORMED", "{hidden}: {refused:?}");
            assert!(!refused.message().chars().any(char::is_control), "{refused:?}");
        }
    }
    house.close().await;
}

#[tokio::test]
async fn the_role_is_held_everywhere_or_not_at_all() {
    let house = House::new().await;
    house.quill().await;
    let steward = house.steward().await;
    let create = |every_site: bool| v1::CreatePersonRequest {
        request_id: house.request(),
        name: "Kim".to_owned(),
        sign_in_name: "kim".to_owned(),
        grants: vec![v1::Grant {
            role: v1::Role::Curator.into(),
            site: if every_site { String::new() } else { "QUI".to_owned() },
            every_site,
        }],
    };
    let refused = steward.client.people().create_person(create(false)).await.unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED", "{}", refused.message());
    let local = house.person("quill-steward", &[(Role::Steward, Some("QUI"))]).await;
    let refused = local.client.people().create_person(create(true)).await.unwrap_err();
    assert_eq!(reason(&refused), "ROLE_NEEDED");
    steward.client.people().create_person(create(true)).await.unwrap();
    house.close().await;
}

/// The SQLSTATE with which the database answers a site that writes past the code, or how many rows it changed.
async fn past_the_code(house: &House, sql: &str) -> String {
    let mut service = house.service().await;
    let mut tx = service.begin().await.unwrap();
    let site = house.records.store.site("QUI").await.unwrap().unwrap().id;
    sqlx::query("SELECT FROM holt_open(ARRAY[$1], false, false, $1, 60000, NULL, NULL)")
        .bind(site)
        .execute(&mut *tx)
        .await
        .unwrap();
    let answer = match sqlx::query(AssertSqlSafe(sql)).execute(&mut *tx).await {
        Ok(done) => done.rows_affected().to_string(),
        Err(error) => error.as_database_error().unwrap().code().unwrap().into_owned(),
    };
    tx.rollback().await.unwrap();
    answer
}

#[tokio::test]
async fn the_database_refuses_by_itself_what_is_the_curators() {
    let house = House::new().await;
    house.quill().await;
    house.load_protocol(&house.steward().await).await;
    for (sql, wanted) in [
        ("UPDATE taxon_names SET superseded_at = now()", "0"),
        (
            "INSERT INTO taxon_names SELECT gen_random_uuid(), taxon_id, 'Mine mine', false, NULL, '', '', '',
                    NULL, NULL, now(), recorded_by, request_id, NULL, NULL, NULL FROM taxon_names",
            "42501",
        ),
        (
            "INSERT INTO protocols SELECT gen_random_uuid(), code, version + 1, content, now(), recorded_by, request_id
               FROM protocols",
            "42501",
        ),
        (
            "INSERT INTO taxon_traits (id, taxon_id, seasonal, source, recorded_at, recorded_by, request_id)
             SELECT gen_random_uuid(), id, true, 'mine', now(), recorded_by, request_id FROM taxa",
            "42501",
        ),
    ] {
        assert_eq!(past_the_code(&house, sql).await, wanted, "{sql}");
    }
    house.close().await;
}
