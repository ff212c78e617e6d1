//! Whom the database lets in: a login that serves and owns nothing, and an owner who makes the tables and is held
//! by row-level security like everybody.

use holt_proto::v1;
use holt_server::app;
use holt_server::config::{Config, Surroundings};
use holt_server::store::secret::Secret;
use holt_server::store::{ConnectError, Limits, Serving, connect};
use holt_tests::{House, cluster};
use sqlx::postgres::PgConnectOptions;
use sqlx::{AssertSqlSafe, ConnectOptions, Connection, Executor, PgConnection};
use std::str::FromStr;
use std::time::Duration;

const LIMITS: Limits = Limits { connections: 2, acquire: Duration::from_secs(5) };

/// The URL of the same database for another user.
fn as_user(url: &str, user: &str) -> String {
    let (_, place) = url.split_once('@').unwrap();
    format!("postgres://{user}:{user}@{place}")
}

/// Makes a role with its name as its password.
async fn role(owner: &mut PgConnection, name: &str, attributes: &str) {
    let make = format!("CREATE ROLE {name} LOGIN PASSWORD '{name}' {attributes}");
    owner.execute(AssertSqlSafe(make)).await.unwrap();
}

#[tokio::test]
async fn whoever_could_get_past_row_level_security_does_not_serve() {
    let url = cluster::database().await;
    let mut owner = PgConnection::connect(&url).await.unwrap();
    let major = owner.server_version_num().unwrap() / 10_000;
    for (name, attributes, also) in [
        ("strong_superuser", "SUPERUSER", ""),
        ("strong_bypass", "BYPASSRLS", ""),
        ("strong_maker", "CREATEROLE", ""),
        ("strong_copier", "REPLICATION", ""),
        ("strong_reader", "", "GRANT pg_read_all_data TO strong_reader"),
        ("strong_sleeper", "", "GRANT pg_execute_server_program TO strong_sleeper"),
        (
            "strong_owner",
            "",
            "GRANT CREATE ON SCHEMA public TO strong_owner; SET ROLE strong_owner; CREATE TABLE public.own (); RESET ROLE",
        ),
    ] {
        role(&mut owner, name, attributes).await;
        owner.execute(AssertSqlSafe(format!("GRANT holt_service TO {name}; {also}"))).await.unwrap();
        let serving = Serving { url: Secret::new(as_user(&url, name)), login: None, pooled: false };
        let refused = connect(&serving, LIMITS).await.unwrap_err();
        assert!(matches!(&refused, ConnectError::TooStrong(who) if who == name), "{name}: {refused}");
        assert!(refused.to_string().contains("store.owner_url"), "{refused}");
    }
    // The owner of the database itself: a superuser in this cluster.
    let serving = Serving { url: Secret::new(url.clone()), login: None, pooled: false };
    let refused = connect(&serving, LIMITS).await.unwrap_err();
    assert!(matches!(refused, ConnectError::TooStrong(_)), "{refused}");
    role(&mut owner, "weak_enough", "").await;
    owner.execute("GRANT holt_service TO weak_enough").await.unwrap();
    let serving = Serving { url: Secret::new(as_user(&url, "weak_enough")), login: None, pooled: false };
    connect(&serving, LIMITS).await.unwrap();
    assert!(major >= 14, "{major}");
}

#[tokio::test]
async fn the_doors_do_not_open_for_a_session_that_is_too_strong() {
    let url = cluster::database().await;
    let mut owner = PgConnection::connect(&url).await.unwrap();
    // As behind a pooler whose administrator gave it the owner's password.
    let open =
        "SELECT FROM holt_open('{}', true, false, '00000000-0000-0000-0000-000000000000', 1000, NULL, NULL)";
    let refused = owner.execute(open).await.unwrap_err().into_database_error().unwrap();
    assert_eq!(refused.code().as_deref(), Some("HT001"), "{refused}");
    let mut tx = owner.begin().await.unwrap();
    tx.execute("SET LOCAL ROLE holt_service").await.unwrap();
    let refused = tx.execute(open).await.unwrap_err().into_database_error().unwrap();
    assert_eq!(
        refused.code().as_deref(),
        Some("HT001"),
        "who can go back to the owner is the owner: {refused}"
    );
}

#[tokio::test]
async fn a_transaction_has_its_settings_whatever_the_session_was_started_with() {
    let mut service = cluster::service(&cluster::database().await).await;
    service.execute("SET timezone = 'Asia/Tokyo'; SET jit = on; SET plan_cache_mode = auto").await.unwrap();
    let mut tx = service.begin().await.unwrap();
    tx.execute(
        "SELECT FROM holt_open('{}', false, false, '00000000-0000-0000-0000-000000000000', 1000, NULL, NULL)",
    )
    .await
    .unwrap();
    for (setting, wanted) in [
        ("timezone", "UTC"),
        ("jit", "off"),
        ("plan_cache_mode", "force_generic_plan"),
        ("idle_in_transaction_session_timeout", "1min"),
        ("client_min_messages", "error"),
        ("statement_timeout", "1s"),
    ] {
        let show = AssertSqlSafe(format!("SHOW {setting}"));
        let found: String = sqlx::query_scalar(show).fetch_one(&mut *tx).await.unwrap();
        assert_eq!(found, wanted, "{setting}");
    }
    tx.rollback().await.unwrap();
}

#[tokio::test]
async fn an_sql_prompt_of_the_service_leads_nowhere() {
    let house = House::new().await;
    let park = house.quill().await;
    house.otter(&park, "Bramble").await;
    let mut service = house.service().await;
    for refused in [
        "SET ROLE holt_owner",
        "SET SESSION AUTHORIZATION holt_owner",
        "SET session_replication_role = replica",
        "ALTER TABLE weights DISABLE ROW LEVEL SECURITY",
        "ALTER TABLE weights NO FORCE ROW LEVEL SECURITY",
        "ALTER TABLE weights DISABLE TRIGGER ALL",
        "DROP POLICY read ON weights",
        "CREATE POLICY mine ON weights USING (true)",
        "CREATE TABLE public.mine ()",
        "CREATE FUNCTION public.holt_sites(int) RETURNS int LANGUAGE sql RETURN 1",
        "CREATE OR REPLACE FUNCTION holt_keeps() RETURNS boolean LANGUAGE sql STABLE RETURN true",
        "ALTER ROLE current_user BYPASSRLS",
        "CREATE ROLE another SUPERUSER",
        "GRANT holt_owner TO current_user",
        "CALL holt_bolt()",
        "COPY animals TO PROGRAM 'cat'",
        "COPY animals TO '/tmp/animals'",
        "SELECT * FROM pg_authid",
        "SELECT pg_read_file('postgresql.conf')",
        "TRUNCATE weights",
        "DELETE FROM animals",
        "SET row_security = off; SELECT count(*) FROM animals",
        "SELECT * FROM _sqlx_migrations",
    ] {
        let told = sqlx::raw_sql(refused).execute(&mut service).await;
        assert!(told.is_err(), "{refused}");
        sqlx::raw_sql("RESET row_security; ROLLBACK").execute(&mut service).await.unwrap();
    }
    for harmless in
        ["SET ROLE NONE", "RESET ROLE", "RESET SESSION AUTHORIZATION", "SET holt.keeps = 'yes'", "RESET ALL"]
    {
        service.execute(harmless).await.unwrap();
        let (who, seen): (String, i64) =
            sqlx::query_as("SELECT current_user::text, (SELECT count(*) FROM animals)")
                .fetch_one(&mut service)
                .await
                .unwrap();
        assert!(who.starts_with("holt_serving_") && seen == 0, "{harmless}: {who} sees {seen}");
    }
    house.close().await;
}

/// Everything that looks past row-level security does so as the owner, and here the owner is held by it, too.
#[tokio::test]
async fn an_owner_who_is_no_superuser_makes_the_tables_and_sees_none_of_the_records() {
    let anchor = cluster::empty_database("of_an_owner").await;
    let mut superuser = PgConnection::connect(&anchor).await.unwrap();
    role(&mut superuser, "park_owner", "CREATEROLE").await;
    superuser.execute("ALTER DATABASE of_an_owner OWNER TO park_owner").await.unwrap();
    if superuser.server_version_num().unwrap() >= 160_000 {
        // Another Holt of this cluster made the role; whoever makes it has this by itself.
        let admin = "GRANT holt_service TO park_owner WITH ADMIN TRUE, INHERIT FALSE, SET FALSE";
        superuser.execute(admin).await.unwrap();
    }
    let folder = tempfile::tempdir().unwrap();
    let mut config = Config::defaults().unwrap();
    config.store.database_url = Secret::new(as_user(&anchor, "park_owner"));
    config.store.data_dir = folder.path().to_owned();
    let opened = app::House::open(&config, &Surroundings::default()).await.unwrap();
    assert!(opened.first_steward.is_some());
    opened.records.store.close().await;
    assert!(folder.path().join("keys").join("serving-login").is_file());

    let moved = super::super::transfer::Move::dispatched_in(House::over(anchor.clone(), |_| ()).await).await;
    moved.receive().await.unwrap();
    let get =
        v1::GetAnimalRequest { site: "BRA".to_owned(), animal: moved.otter.id.clone(), ..Default::default() };
    moved.brack.registrar.client.animals().get_animal(get).await.unwrap();
    moved.house.verify().await;

    let options = PgConnectOptions::from_str(&as_user(&anchor, "park_owner")).unwrap();
    let mut owner = options.connect().await.unwrap();
    for table in ["animals", "holdings", "transfers", "credentials", "ledger"] {
        let count = format!("SELECT count(*) FROM {table}");
        let seen: i64 = sqlx::query_scalar(AssertSqlSafe(count)).fetch_one(&mut owner).await.unwrap();
        assert_eq!(seen, 0, "{table}");
    }
    let slipped = owner
        .execute("INSERT INTO taxa SELECT gen_random_uuid(), now(), gen_random_uuid(), gen_random_uuid()")
        .await;
    assert_eq!(slipped.unwrap_err().into_database_error().unwrap().code().as_deref(), Some("42501"));
    moved.house.stop().await;
}

#[tokio::test]
async fn two_urls_are_an_owner_and_a_login_that_the_owner_lets_in() {
    let url = cluster::empty_database("two_urls").await;
    let mut owner = PgConnection::connect(&url).await.unwrap();
    role(&mut owner, "park_service", "").await;
    let folder = tempfile::tempdir().unwrap();
    let mut config = Config::defaults().unwrap();
    config.store.owner_url = Secret::new(url.clone());
    config.store.database_url = Secret::new(as_user(&url, "park_service"));
    config.store.data_dir = folder.path().to_owned();
    let opened = app::House::open(&config, &Surroundings::default()).await.unwrap();
    opened.records.store.close().await;
    assert!(!folder.path().join("keys").join("serving-login").exists(), "it was given one");
    // The two exchanged: nothing is served.
    config.store.database_url = Secret::new(url.clone());
    let refused = app::House::open(&config, &Surroundings::default()).await.err().unwrap().to_string();
    assert!(refused.contains("must not serve"), "{refused}");
    config.store.owner_url = Secret::new(as_user(&url, "park_service"));
    let refused = app::House::open(&config, &Surroundings::default()).await.err().unwrap().to_string();
    assert!(refused.contains("does not own the database"), "{refused}");
}
