//! A write that others are in the way of, each time it is tried.

use holt_proto::v1;
use holt_tests::{House, reason};
use tonic::Code;
use tonic_types::StatusExt;

/// Makes every new enclosure lose a race as PostgreSQL tells it (SQLSTATE 40001), and counts the tries: a
/// sequence keeps its count when the rest is rolled back.
const ALWAYS_LOSE: &str = "
    CREATE SEQUENCE tries;
    CREATE FUNCTION lose() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS $$
      BEGIN
        PERFORM nextval('tries');
        RAISE EXCEPTION 'could not serialize access' USING ERRCODE = 'serialization_failure';
      END $$;
    CREATE TRIGGER lose BEFORE INSERT ON enclosures FOR EACH ROW EXECUTE FUNCTION lose();";

#[tokio::test]
async fn it_is_tried_again_then_told_and_may_be_sent_again() {
    let house = House::new().await;
    let park = house.quill().await;
    let mut owner = house.owner().await;
    sqlx::raw_sql(ALWAYS_LOSE).execute(&mut owner).await.unwrap();
    let weir = v1::CreateEnclosureRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        name: "Weir".to_owned(),
        kind: v1::EnclosureKind::Outdoor.into(),
        capacity: 4,
    };
    let mut sites = park.registrar.client.sites();
    let lost = sites.create_enclosure(weir.clone()).await.unwrap_err();
    assert_eq!((lost.code(), reason(&lost).as_str()), (Code::Aborted, "CONTENTION"));
    assert!(lost.get_details_retry_info().is_some_and(|retry| retry.retry_delay.is_some()), "{lost:?}");
    let tries: i64 = sqlx::query_scalar("SELECT last_value FROM tries").fetch_one(&mut owner).await.unwrap();
    assert_eq!(tries, 7, "once, and six times again");
    sqlx::raw_sql("DROP TRIGGER lose ON enclosures").execute(&mut owner).await.unwrap();
    let built = sites.create_enclosure(weir).await.unwrap().into_inner().enclosure.unwrap();
    assert_eq!(built.name, "Weir");
    house.close().await;
}
