//! What is proved can be checked by whoever was given the proof.

use super::Past;
use holt_audit::seal::proof::verify_inclusion;
use holt_audit::seal::{Hash, Seal};
use holt_proto::v1;
use holt_server::model::person::Role;
use holt_tests::reason;
use tonic::Code;

fn ask(record: &str, seal: i64) -> v1::GetInclusionProofRequest {
    v1::GetInclusionProofRequest {
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        record_id: record.to_owned(),
        seal,
    }
}

#[tokio::test]
async fn a_record_leads_to_the_root_and_is_sealed_first_where_it_is_not() {
    let past = Past::new().await;
    let weight = past.weigh("Bramble", 8_123).await;
    let proof = past.eyes().ledger().get_inclusion_proof(ask(&weight, 0)).await.unwrap().into_inner();
    assert_eq!((proof.table.as_str(), &proof.row), ("weights", &weight));
    assert!(proof.row_content.contains("\"mass_mg\":8123000"), "{}", proof.row_content);
    let digest = Hash::of_content(proof.row_content.as_bytes()).to_string();
    assert!(proof.entry_content.contains(&digest), "{}", proof.entry_content);
    let seal = proof.seal.unwrap();
    let path: Vec<Hash> = proof.path.iter().map(|hash| hash.parse().unwrap()).collect();
    let seal = Seal { size: u64::try_from(seal.size).unwrap(), root: seal.root.parse().unwrap() };
    let leaf = Hash::of_leaf(proof.entry_content.as_bytes());
    assert_eq!(verify_inclusion(leaf, u64::try_from(proof.position).unwrap(), seal, &path), Ok(()));
    past.house.close().await;
}

#[tokio::test]
async fn a_keeper_proves_a_reading_and_the_command_checks_it() {
    let past = Past::new().await;
    let weight = past.weigh("Bramble", 8_123).await;
    let desk = past.house.desk_of(&past.quill.keeper, &[(Role::Keeper, Some("QUI"))]);
    let ran = desk.run(&format!("holt ledger prove Bramble {weight} --format text")).await;
    assert_eq!(ran.exit, 0, "{}", ran.err);
    // Hashes change with every column that a table gets.
    let (told, _) = ran.out.split_once("Root").unwrap();
    insta::assert_snapshot!("proved", told);
    let refused = desk.run(&format!("holt ledger prove Bramble {weight} --under 1")).await;
    assert_eq!(refused.exit, 4, "{}", refused.err);
    assert!(refused.err.contains("under seal 1"), "{}", refused.err);
    past.house.close().await;
}

#[tokio::test]
async fn what_is_not_there_or_not_for_the_asker_is_not_proved() {
    let past = Past::new().await;
    let weight = past.weigh("Bramble", 8_123).await;
    let none = past.house.request();
    let mut eyes = past.eyes().ledger();
    for asked in [ask(&none, 0), ask(&weight, 99)] {
        let refused = eyes.get_inclusion_proof(asked).await.unwrap_err();
        assert_eq!((refused.code(), reason(&refused).as_str()), (Code::NotFound, "NOT_FOUND"));
    }
    let older = v1::GetConsistencyProofRequest { older: 99, newer: 0 };
    assert_eq!(eyes.get_consistency_proof(older).await.unwrap_err().code(), Code::NotFound);
    let turned = v1::GetConsistencyProofRequest { older: 3, newer: 1 };
    let refused = eyes.get_consistency_proof(turned).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::InvalidArgument, "MALFORMED"));
    past.house.close().await;
}

#[tokio::test]
async fn a_tree_with_a_hole_proves_nothing() {
    let past = Past::new().await;
    let weight = past.weigh("Bramble", 8_123).await;
    past.seal().await;
    let mut owner = past.house.owner().await;
    sqlx::raw_sql("SET session_replication_role = replica; DELETE FROM leaves WHERE position = 3")
        .execute(&mut owner)
        .await
        .unwrap();
    let mut eyes = past.eyes().ledger();
    assert_eq!(reason(&eyes.get_inclusion_proof(ask(&weight, 0)).await.unwrap_err()), "LEDGER_BROKEN");
    let older = v1::GetConsistencyProofRequest { older: 1, newer: 0 };
    assert_eq!(reason(&eyes.get_consistency_proof(older).await.unwrap_err()), "LEDGER_BROKEN");
    past.house.stop().await;
}
