//! A site is checked by itself, and is told nothing of others.

use super::Past;
use holt_proto::v1::{self, LedgerBreakKind};
use sqlx::AssertSqlSafe;
use tonic::Code;

async fn verify(past: &Past, site: &str) -> v1::VerifyLedgerResponse {
    let ask = v1::VerifyLedgerRequest { site: site.to_owned() };
    past.eyes().ledger().verify_ledger(ask).await.unwrap().into_inner()
}

#[tokio::test]
async fn a_site_finds_what_was_done_to_its_records_and_not_what_was_done_to_others() {
    let past = Past::new().await;
    // The receiver's write ended the sender's holding: each finds its rows whole.
    for site in ["QUI", "BRA"] {
        let whole = verify(&past, site).await;
        assert_eq!(whole.found, 0, "{site}: {:?}", whole.breaks);
        assert!(whole.rows > 0);
    }
    let mut owner = past.house.owner().await;
    sqlx::raw_sql(AssertSqlSafe(
        "SET session_replication_role = replica; UPDATE weights SET note = 'wet' WHERE mass_mg = 8000000",
    ))
    .execute(&mut owner)
    .await
    .unwrap();
    let quill = verify(&past, "QUI").await;
    assert_eq!((quill.found, quill.breaks[0].kind()), (1, LedgerBreakKind::RowChanged));
    assert_eq!(verify(&past, "BRA").await.found, 0);
    past.house.stop().await;
}

#[tokio::test]
async fn whoever_audits_one_site_verifies_that_one_alone() {
    let past = Past::new().await;
    let mut own = past.quill.auditor.client.ledger();
    let ask = |site: &str| v1::VerifyLedgerRequest { site: site.to_owned() };
    assert_eq!(own.verify_ledger(ask("QUI")).await.unwrap().into_inner().found, 0);
    assert_eq!(own.verify_ledger(ask("BRA")).await.unwrap_err().code(), Code::NotFound);
    assert_eq!(own.verify_ledger(ask("")).await.unwrap_err().code(), Code::PermissionDenied);
    past.house.close().await;
}

#[tokio::test]
async fn a_site_sees_no_leaf_and_no_tree_of_another() {
    let past = Past::new().await;
    let mut owner = past.house.owner().await;
    let quill: uuid::Uuid =
        sqlx::query_scalar("SELECT id FROM sites WHERE code = 'QUI'").fetch_one(&mut owner).await.unwrap();
    let mut service = past.house.service().await;
    sqlx::raw_sql(AssertSqlSafe(format!(
        "BEGIN; SELECT holt_open(ARRAY['{quill}']::uuid[], false, false, '{quill}', 10000, NULL, NULL)"
    )))
    .execute(&mut service)
    .await
    .unwrap();
    for table in ["ledger", "leaves", "site_seals"] {
        let sites: Vec<Option<uuid::Uuid>> =
            sqlx::query_scalar(AssertSqlSafe(format!("SELECT DISTINCT site_id FROM {table}")))
                .fetch_all(&mut service)
                .await
                .unwrap();
        assert_eq!(sites, [Some(quill)], "{table}");
    }
    sqlx::raw_sql("ROLLBACK").execute(&mut service).await.unwrap();
    past.house.close().await;
}
