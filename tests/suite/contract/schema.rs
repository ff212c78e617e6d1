//! What the catalogue must say of every table, whoever adds one.

use holt_server::store::REFUSALS;
use holt_tests::cluster;
use sqlx::{AssertSqlSafe, Connection, PgConnection};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

/// The migrator's own table, which no write of ours touches.
const NOT_OURS: &str = "_sqlx_migrations";

/// Keys that no write of ours can break, with the reason. All others must be told to people.
const NEVER_BROKEN: [(&str, &str); 74] = [
    ("identities_pkey", "kept by the database, on conflict"),
    ("set_asides_pkey", "kept by the database, with a fresh identifier"),
    ("devices_pkey", "a fresh identifier"),
    ("climate_rules_pkey", "a fresh identifier"),
    ("device_batches_pkey", "a fresh identifier"),
    ("encounter_limits_pkey", "a fresh identifier"),
    ("encounters_pkey", "a fresh identifier"),
    ("partner_terms_pkey", "a fresh identifier"),
    ("partner_searches_pkey", "a fresh identifier"),
    ("encounter_animals_pkey", "contains a fresh identifier"),
    ("enrichment_items_pkey", "a fresh identifier"),
    ("enrichment_terms_pkey", "a fresh identifier"),
    ("enrichment_offers_pkey", "a fresh identifier"),
    ("foods_pkey", "a fresh identifier"),
    ("feed_plans_pkey", "a fresh identifier"),
    ("feeds_pkey", "a fresh identifier"),
    ("ethograms_pkey", "a fresh identifier"),
    ("standards_pkey", "a fresh identifier"),
    ("upsets_pkey", "a fresh identifier"),
    ("watch_events_pkey", "a fresh identifier"),
    ("watches_site_id_id_key", "there for a foreign key; `watches_pkey` says the same"),
    ("concerns_site_id_id_key", "there for a foreign key; `concerns_pkey` says the same"),
    ("encounters_site_id_id_key", "there for a foreign key; `encounters_pkey` says the same"),
    ("litters_site_id_id_key", "there for a foreign key; `litters_pkey` says the same"),
    ("transfers_id_animal_id_key", "there for foreign keys; `transfers_pkey` says the same"),
    ("sites_pkey", "a fresh identifier"),
    ("enclosures_pkey", "a fresh identifier"),
    ("enclosures_site_id_id_key", "contains a fresh identifier; it is there for a foreign key"),
    ("grants_pkey", "a fresh identifier"),
    ("epochs_pkey", "counted up on conflict"),
    ("credentials_pkey", "set with the person, or on conflict"),
    ("refresh_tokens_pkey", "a hash of 32 random bytes"),
    ("taxa_pkey", "a fresh identifier"),
    ("taxon_names_pkey", "a fresh identifier"),
    ("taxon_traits_pkey", "a fresh identifier"),
    ("births_pkey", "contains a fresh identifier"),
    ("papers_pkey", "contains a fresh identifier"),
    ("parents_pkey", "contains a fresh identifier"),
    ("sexings_pkey", "contains a fresh identifier"),
    ("accession_counters_pkey", "counted up on conflict"),
    ("accessions_pkey", "contains a fresh identifier"),
    ("deaths_pkey", "contains a fresh identifier"),
    ("groups_pkey", "a fresh identifier"),
    ("growth_references_pkey", "a fresh identifier"),
    ("groups_site_id_id_key", "contains a fresh identifier; it is there for a foreign key"),
    ("memberships_pkey", "contains a fresh identifier"),
    ("crate_readings_pkey", "a fresh identifier"),
    ("litters_pkey", "a fresh identifier"),
    ("litter_parents_pkey", "a fresh identifier"),
    ("litter_changes_pkey", "a fresh identifier"),
    ("litter_changes_told_apart_key", "an animal that the same write makes"),
    ("loans_pkey", "contains a fresh identifier"),
    ("life_states_pkey", "contains a fresh identifier"),
    ("marks_pkey", "contains a fresh identifier"),
    ("holdings_pkey", "contains a fresh identifier"),
    ("titles_pkey", "contains a fresh identifier"),
    ("placements_pkey", "contains a fresh identifier"),
    ("weights_pkey", "contains a fresh identifier"),
    ("protocols_pkey", "a fresh identifier"),
    ("assessments_pkey", "contains a fresh identifier"),
    ("checks_pkey", "a fresh identifier"),
    ("transfers_pkey", "a fresh identifier"),
    ("concerns_pkey", "a fresh identifier"),
    ("merges_pkey", "contains a fresh identifier"),
    ("mistakes_pkey", "contains a fresh identifier"),
    ("amendments_pkey", "a fresh identifier"),
    ("adoptions_pkey", "a fresh identifier"),
    ("proposals_pkey", "a fresh identifier"),
    ("proposals_id_site_id_key", "contains a fresh identifier"),
    ("amendments_id_animal_id_site_id_key", "contains a fresh identifier"),
    ("ledger_pkey", "a fresh identifier"),
    ("leaves_pkey", "the identifier of the entry that is written with it"),
    ("leaves_position_key", "counted up under the key of the seal"),
    ("site_seals_pkey", "contains the key of the seal"),
];

/// All that the service may change in place. Everything else is appended.
const MAY_CHANGE: [(&str, &[&str]); 44] = [
    ("accession_counters", &["last"]),
    ("accessions", SUPERSEDED),
    ("adoptions", SUPERSEDED),
    ("animals", &["version"]),
    ("assessments", SUPERSEDED),
    ("births", SUPERSEDED),
    ("checks", SUPERSEDED),
    ("climate_rules", SUPERSEDED),
    ("concerns", &["state", "version"]),
    ("crate_readings", SUPERSEDED),
    ("credentials", &["changed_at", "one_time", "password_hash"]),
    ("deaths", SUPERSEDED),
    ("devices", SUPERSEDED),
    ("encounter_limits", SUPERSEDED),
    ("encounters", SUPERSEDED),
    ("enrichment_items", SUPERSEDED),
    ("enrichment_offers", SUPERSEDED),
    ("enrichment_terms", SUPERSEDED),
    ("epochs", &["epoch"]),
    ("feed_plans", SUPERSEDED),
    ("feeds", SUPERSEDED),
    ("foods", SUPERSEDED),
    ("grants", SUPERSEDED),
    ("holdings", SUPERSEDED),
    ("leaves", &["position", "site_position"]),
    ("life_states", SUPERSEDED),
    ("litter_changes", SUPERSEDED),
    ("litter_parents", SUPERSEDED),
    ("litters", &["version"]),
    ("loans", SUPERSEDED),
    ("marks", SUPERSEDED),
    ("memberships", SUPERSEDED),
    ("merges", SUPERSEDED),
    ("mistakes", SUPERSEDED),
    ("papers", SUPERSEDED),
    ("parents", SUPERSEDED),
    ("partner_terms", SUPERSEDED),
    ("placements", SUPERSEDED),
    ("refresh_tokens", &["ended_at", "spent_at"]),
    ("sexings", SUPERSEDED),
    ("taxon_names", SUPERSEDED),
    ("titles", SUPERSEDED),
    ("transfers", &["state", "version", "withheld_by"]),
    ("watch_events", SUPERSEDED),
];
const ALSO_MAY_CHANGE: [(&str, &[&str]); 2] = [
    ("weight_states", &["basis", "confirmed", "lessons", "stale", "state", "taxon_id", "until"]),
    ("weights", SUPERSEDED),
];
const SUPERSEDED: &[&str] = &["superseded_at", "superseded_in", "superseded_why"];

/// Tables that are written and read by statements of their own, without an entity.
const WITHOUT_ENTITY: [(&str, &str); 11] = [
    ("weight_kinds", "worked out from what is on record, and can be again"),
    ("weight_states", "worked out from what is on record, and can be again"),
    ("identities", "kept by the database as animals and merges are written"),
    ("set_asides", "kept by the database as merges are written"),
    ("accession_counters", "counted up in one statement"),
    ("epochs", "counted up in one statement"),
    ("leaves", "appended as a write is committed, and placed by the sealer"),
    ("ledger", "appended as a write is committed"),
    ("requests", "appended as a write is committed"),
    ("seals", "appended by the sealer"),
    ("site_seals", "appended by the sealer"),
];

async fn owner() -> PgConnection {
    PgConnection::connect(&cluster::database().await).await.unwrap()
}

/// One column of text.
async fn texts(owner: &mut PgConnection, sql: &'static str) -> Vec<String> {
    sqlx::query_scalar(sql).fetch_all(owner).await.unwrap()
}

async fn tables(owner: &mut PgConnection) -> Vec<String> {
    let mut all = texts(
        owner,
        "SELECT relname::text FROM pg_class
          WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p') ORDER BY 1",
    )
    .await;
    all.retain(|name| name != NOT_OURS);
    assert!(all.len() >= 25, "{all:?}");
    all
}

#[tokio::test]
async fn every_table_is_guarded_by_row_level_security() {
    let mut owner = owner().await;
    let open = texts(
        &mut owner,
        "SELECT c.relname::text FROM pg_class c
          WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') AND c.relname <> '_sqlx_migrations'
            AND NOT (c.relrowsecurity AND c.relforcerowsecurity
                     AND EXISTS (SELECT FROM pg_policy p WHERE p.polrelid = c.oid AND p.polcmd IN ('r', '*'))
                     AND EXISTS (SELECT FROM pg_policy p WHERE p.polrelid = c.oid AND p.polcmd IN ('a', '*')))",
    )
    .await;
    assert_eq!(open, [""; 0], "without row-level security, or without policies");
    // A policy that lets everybody read or write lets a forgotten door through, too.
    let wide = texts(
        &mut owner,
        "SELECT p.polrelid::regclass || '.' || p.polname FROM pg_policy p
          WHERE pg_get_expr(p.polqual, p.polrelid) = 'true' OR pg_get_expr(p.polwithcheck, p.polrelid) = 'true'",
    )
    .await;
    assert_eq!(wide, [""; 0], "policies that are open even outside the doors");
    let views = texts(
        &mut owner,
        "SELECT relname::text FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind IN ('v', 'm', 'f')",
    )
    .await;
    assert_eq!(views, [""; 0], "a view sees with the eyes of its owner");
}

/// Tables that name records themselves, and not the animals that they stand for.
const OF_RECORDS: [&str; 5] = ["amendment_answers", "amendments", "identities", "merges", "mistakes"];

#[tokio::test]
async fn whatever_names_animals_is_read_as_what_stands_of_them() {
    let mut owner = owner().await;
    let named = "SELECT t.relname::text FROM pg_class t JOIN pg_attribute a ON a.attrelid = t.oid
                  WHERE t.relnamespace = 'public'::regnamespace AND t.relkind = 'r'
                    AND a.attname IN ('animal_id', 'parent_id') GROUP BY 1 ORDER BY 1";
    let mut tables = texts(&mut owner, named).await;
    tables.retain(|table| !OF_RECORDS.contains(&table.as_str()));
    let views = texts(
        &mut owner,
        "SELECT relname::text FROM pg_class WHERE relnamespace = 'standing'::regnamespace AND relkind = 'v' ORDER BY 1",
    )
    .await;
    assert_eq!(views, tables);
    let owners = texts(
        &mut owner,
        "SELECT relname::text FROM pg_class WHERE relnamespace = 'standing'::regnamespace
            AND NOT coalesce(reloptions @> ARRAY['security_invoker=true'], false)",
    )
    .await;
    assert_eq!(owners, [""; 0], "a view that sees with the eyes of its owner");
    let lost = texts(
        &mut owner,
        "SELECT t.relname || '.' || a.attname FROM pg_class v
           JOIN pg_class t ON t.relname = v.relname AND t.relnamespace = 'public'::regnamespace
           JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum > 0 AND NOT a.attisdropped
          WHERE v.relnamespace = 'standing'::regnamespace
            AND NOT EXISTS (SELECT FROM pg_attribute b WHERE b.attrelid = v.oid AND b.attname = a.attname
                               AND b.atttypid = a.atttypid)",
    )
    .await;
    assert_eq!(lost, [""; 0], "columns that a view does not have");
}

#[tokio::test]
async fn functions_that_run_as_owner_pin_their_search_path() {
    let mut owner = owner().await;
    let loose = texts(
        &mut owner,
        "SELECT proname::text FROM pg_proc
          WHERE pronamespace = 'public'::regnamespace AND prosecdef
            AND NOT coalesce(array_to_string(proconfig, ','), '') LIKE 'search_path=%pg_temp%'",
    )
    .await;
    assert_eq!(loose, [""; 0]);
}

#[tokio::test]
async fn every_table_and_column_says_what_it_means() {
    let mut owner = owner().await;
    let silent = texts(
        &mut owner,
        "SELECT c.relname || coalesce('.' || a.attname, '')
           FROM pg_class c
           LEFT JOIN LATERAL (SELECT attname, attnum FROM pg_attribute
                               WHERE attrelid = c.oid AND attnum > 0 AND NOT attisdropped
                              UNION ALL SELECT NULL, 0) a ON true
          WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') AND c.relname <> '_sqlx_migrations'
            AND coalesce(trim(CASE a.attnum WHEN 0 THEN obj_description(c.oid, 'pg_class')
                                            ELSE col_description(c.oid, a.attnum) END), '') = ''
          ORDER BY 1",
    )
    .await;
    assert_eq!(silent, [""; 0]);
}

#[tokio::test]
async fn every_key_and_condition_that_can_break_is_told_to_people() {
    let mut owner = owner().await;
    let keys: BTreeSet<String> = texts(
        &mut owner,
        "SELECT i.indexrelid::regclass::text FROM pg_index i JOIN pg_class t ON t.oid = i.indrelid
          WHERE t.relnamespace = 'public'::regnamespace AND t.relname <> '_sqlx_migrations'
            AND (i.indisunique OR i.indisexclusion)
         UNION ALL
         SELECT conname::text FROM pg_constraint
          WHERE connamespace = 'public'::regnamespace AND contype = 'c' AND conname NOT LIKE '%\\_guard'
         UNION ALL
         SELECT k.conname::text FROM pg_constraint k JOIN pg_class t ON t.oid = k.conrelid
          WHERE k.connamespace = 'public'::regnamespace AND k.contype = 't' AND starts_with(k.conname, t.relname || '_')",
    )
    .await
    .into_iter()
    .collect();
    let told: BTreeSet<String> = REFUSALS.iter().map(|(name, ..)| (*name).to_owned()).collect();
    let never: BTreeSet<String> = NEVER_BROKEN.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(told.len(), REFUSALS.len(), "one is told twice");
    assert_eq!(told.intersection(&never).collect::<Vec<_>>(), [""; 0]);
    let known: BTreeSet<String> = told.union(&never).cloned().collect();
    assert_eq!(keys.difference(&known).collect::<Vec<_>>(), [""; 0], "neither told nor explained");
    assert_eq!(known.difference(&keys).collect::<Vec<_>>(), [""; 0], "told of, and not there");
    for (name, reason) in NEVER_BROKEN {
        assert!(!reason.is_empty(), "{name}");
    }
}

/// Every column that holds a day, an instant, a number, a text or a document is bounded by the last migration; but
/// for what Holt makes of other columns.
#[tokio::test]
async fn every_column_is_bounded() {
    let mut owner = owner().await;
    let open = texts(
        &mut owner,
        "SELECT c.relname || '.' || a.attname
           FROM pg_class c
           JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped AND a.attgenerated = ''
          WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') AND NOT c.relispartition
            AND c.relname <> '_sqlx_migrations'
            AND format_type(a.atttypid, NULL) IN
                ('date', 'timestamp with time zone', 'timestamp with time zone[]', 'double precision',
                 'double precision[]', 'real', 'numeric', 'smallint', 'integer', 'bigint', 'text', 'text[]',
                 'character varying', 'jsonb')
            AND (c.relname, a.attname) NOT IN (('ledger', 'lines'), ('requests', 'reply'), ('weight_kinds', 'state'),
                                               ('weight_states', 'state'), ('weight_states', 'lessons'))
            AND NOT EXISTS (SELECT FROM pg_constraint k
                             WHERE k.conrelid = c.oid AND k.conname LIKE '%\\_bounds\\_guard'
                               AND k.conkey = ARRAY[a.attnum])
          ORDER BY 1",
    )
    .await;
    assert_eq!(open, [""; 0]);
}

#[tokio::test]
async fn foreign_keys_are_indexed() {
    let mut owner = owner().await;
    let slow = texts(
        &mut owner,
        "SELECT k.conrelid::regclass || '.' || k.conname FROM pg_constraint k
          WHERE k.connamespace = 'public'::regnamespace AND k.contype = 'f'
            AND NOT EXISTS (
              SELECT FROM pg_index i
               WHERE i.indrelid = k.conrelid AND i.indpred IS NULL
                 AND (i.indkey::int2[])[0:cardinality(k.conkey) - 1] @> k.conkey)
          ORDER BY 1",
    )
    .await;
    assert_eq!(slow, [""; 0]);
}

#[tokio::test]
async fn the_service_owns_nothing_and_cannot_delete() {
    let mut owner = owner().await;
    let strong = texts(
        &mut owner,
        "SELECT rolname::text FROM pg_roles WHERE rolname = 'holt_service'
            AND (rolsuper OR rolbypassrls OR rolcreaterole OR rolcreatedb OR rolcanlogin OR rolinherit)",
    )
    .await;
    assert_eq!(strong, [""; 0], "the role has attributes that it must not have");
    let member = texts(
        &mut owner,
        "SELECT g.rolname::text FROM pg_auth_members m
           JOIN pg_roles r ON r.oid = m.member JOIN pg_roles g ON g.oid = m.roleid WHERE r.rolname = 'holt_service'",
    )
    .await;
    assert_eq!(member, [""; 0], "the role acts as another");
    let owned = texts(
        &mut owner,
        "SELECT pg_describe_object(classid, objid, objsubid) FROM pg_shdepend
          WHERE refobjid = 'holt_service'::regrole AND deptype = 'o'",
    )
    .await;
    assert_eq!(owned, [""; 0]);
    let rights = texts(
        &mut owner,
        "SELECT t.relname || ' ' || p.what FROM pg_class t
          CROSS JOIN (VALUES ('DELETE'), ('TRUNCATE'), ('REFERENCES'), ('TRIGGER')) p (what)
          WHERE t.relnamespace = 'public'::regnamespace AND t.relkind IN ('r', 'p', 'v')
            AND has_table_privilege('holt_service', t.oid, p.what)",
    )
    .await;
    assert_eq!(rights, [""; 0]);
    let create = texts(
        &mut owner,
        "SELECT nspname::text FROM pg_namespace WHERE has_schema_privilege('holt_service', oid, 'CREATE')",
    )
    .await;
    assert_eq!(create, [""; 0], "schemas in which it could make things");
    let migrations = texts(
        &mut owner,
        "SELECT 'read' WHERE has_table_privilege('holt_service', '_sqlx_migrations', 'SELECT')",
    )
    .await;
    assert_eq!(migrations, [""; 0]);
}

#[tokio::test]
async fn the_service_changes_listed_columns_alone() {
    let mut owner = owner().await;
    let found: Vec<(String, String)> = sqlx::query_as(
        "SELECT t.relname::text, a.attname::text FROM pg_class t JOIN pg_attribute a ON a.attrelid = t.oid
          WHERE t.relnamespace = 'public'::regnamespace AND t.relkind IN ('r', 'p') AND a.attnum > 0
            AND NOT a.attisdropped AND has_column_privilege('holt_service', t.oid, a.attnum, 'UPDATE')
          ORDER BY 1, 2",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    let listed: Vec<(String, String)> = MAY_CHANGE
        .iter()
        .chain(&ALSO_MAY_CHANGE)
        .flat_map(|(table, columns)| columns.iter().map(|column| ((*table).to_owned(), (*column).to_owned())))
        .collect();
    assert_eq!(found, listed);
}

#[tokio::test]
async fn nobody_deletes_not_even_the_owner() {
    let mut owner = owner().await;
    for table in tables(&mut owner).await {
        for statement in [format!("DELETE FROM {table}"), format!("TRUNCATE {table} CASCADE")] {
            let refused =
                sqlx::query(AssertSqlSafe(statement.clone())).execute(&mut owner).await.unwrap_err();
            let refused = refused.into_database_error().unwrap();
            assert_eq!(refused.code().as_deref(), Some("42501"), "{statement}: {refused}");
            assert!(refused.message().starts_with("history is never deleted"), "{statement}: {refused}");
        }
    }
}

/// Tables with their columns, in the words of Rust: `mass_mg: Option<i64>`.
async fn columns(owner: &mut PgConnection) -> BTreeMap<String, BTreeSet<String>> {
    let rows: Vec<(String, String, String, bool)> = sqlx::query_as(
        "SELECT t.relname::text, a.attname::text, format_type(a.atttypid, NULL), a.attnotnull
           FROM pg_class t JOIN pg_attribute a ON a.attrelid = t.oid
          WHERE t.relnamespace = 'public'::regnamespace AND t.relkind IN ('r', 'p') AND a.attnum > 0
            AND NOT a.attisdropped
            -- What the database works out by itself, to find rows by, is no business of an entity.
            AND a.attgenerated = ''",
    )
    .fetch_all(owner)
    .await
    .unwrap();
    let mut tables: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (table, column, kind, filled) in rows {
        let kind = match kind.as_str() {
            "uuid" => "Uuid",
            "text" => "String",
            "boolean" => "bool",
            "integer" => "i32",
            "bigint" => "i64",
            "double precision" => "f64",
            "date" => "NaiveDate",
            "timestamp with time zone" => "DateTime<Utc>",
            "bytea" => "Vec<u8>",
            "jsonb" => "Json",
            "timestamp with time zone[]" => "Vec<DateTime<Utc>>",
            "double precision[]" => "Vec<f64>",
            "uuid[]" => "Vec<Uuid>",
            other => panic!("{table}.{column} is a {other}: say what it is in Rust"),
        };
        let kind = if filled { kind.to_owned() } else { format!("Option<{kind}>") };
        tables.entry(table).or_default().insert(format!("{column}: {kind}"));
    }
    tables.remove(NOT_OURS);
    tables
}

/// The same, as the entities say it.
fn entities() -> BTreeMap<String, BTreeSet<String>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../server/store/src/entity");
    let mut tables = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.ends_with("mod.rs") {
            continue;
        }
        let text = fs::read_to_string(&path).unwrap();
        let (_, named) = text.split_once("table_name = \"").unwrap();
        let (table, rest) = named.split_once('"').unwrap();
        let (_, model) = rest.split_once("pub struct Model {").unwrap();
        let (fields, _) = model.split_once("\n}").unwrap();
        let fields = fields.lines().filter_map(|line| line.trim().strip_prefix("pub "));
        let fields = fields.map(|field| field.trim_end_matches(',').to_owned()).collect();
        assert!(tables.insert(table.to_owned(), fields).is_none(), "{table} has two entities");
    }
    tables
}

#[tokio::test]
async fn entities_are_their_tables() {
    let mut owner = owner().await;
    let mut tables = columns(&mut owner).await;
    for (table, reason) in WITHOUT_ENTITY {
        assert!(tables.remove(table).is_some() && !reason.is_empty(), "{table}");
    }
    assert_eq!(entities(), tables);
}
