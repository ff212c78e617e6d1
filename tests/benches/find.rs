//! How long it takes to find an animal by what it goes by, next to the plain SQL for the same, at growing sizes.
//!
//! `cargo bench -p holt-tests --bench find`; `HOLT_BENCH_ANIMALS=10000` measures one size alone. Figures wander
//! with the machine; the ratios hold. What is recorded of them stands in `tests/benches/README.md`.

#![expect(clippy::print_stdout, reason = "the figures are what it is for")]
#![expect(clippy::unwrap_used, reason = "where a bench cannot go on, it ends")]
#![expect(clippy::disallowed_methods, reason = "a bench is told by its environment how large it is to be")]

use holt_proto::v1;
use holt_tests::{House, Park, cluster};
use sqlx::{AssertSqlSafe, Connection, PgConnection};
use std::time::{Duration, Instant};

/// Texts of each kind that are looked for, one after the other.
const LOOKS: i64 = 200;

/// What a person who knows SQL and these tables would ask, with a condition on the mark `m` or the accession
/// `c`, and where the animal is.
fn plain_sql(condition: &str) -> String {
    format!(
        "SELECT a.id, t.common_name, h.site_id, h.ended_how, e.name, c.number, m.code
           FROM animals a JOIN taxon_names t ON t.taxon_id = a.taxon_id AND t.accepted AND t.superseded_at IS NULL
           JOIN marks m ON m.animal_id = a.id AND m.superseded_at IS NULL
           JOIN accessions c ON c.animal_id = a.id AND c.superseded_at IS NULL
           LEFT JOIN holdings h ON h.animal_id = a.id AND h.superseded_at IS NULL AND h.ended_at IS NULL
           LEFT JOIN placements p ON p.animal_id = a.id AND p.superseded_at IS NULL AND p.ended_at IS NULL
           LEFT JOIN enclosures e ON e.id = p.enclosure_id
          WHERE {condition} ORDER BY m.code LIMIT 20"
    )
}

/// What is in hand, as SQL makes it from the number of an animal, and the plain condition that finds it.
const KINDS: [(&str, &str, &str); 5] = [
    ("a transponder", "'985' || lpad(n::text, 12, '0')", "m.folded = $1"),
    ("the last six digits of one", "lpad(n::text, 6, '0')", "m.turned LIKE reverse($1) || '%'"),
    ("an accession", "'QUI-06-' || lpad(n::text, 6, '0')", "c.number = $1 AND m.kind = 'house_name'"),
    ("the beginning of a name", "'otter ' || lpad(n::text, 6, '0')", "m.folded LIKE $1 || '%'"),
    (
        "the middle of a name",
        "'ter ' || lpad(n::text, 6, '0')",
        "m.kind = 'house_name' AND m.folded LIKE '%' || $1 || '%'",
    ),
];

#[tokio::main]
async fn main() {
    let sizes = std::env::var("HOLT_BENCH_ANIMALS").unwrap_or_else(|_| "10000,100000".to_owned());
    println!(
        "a name, a transponder, an accession and a place of each animal, {LOOKS} looks of each kind, fsync on\n"
    );
    println!(
        "| animals | in hand | plain SQL, median ms | FindAnimals, median ms | slowest of 100, ms | ratio |"
    );
    println!("|---|---|---|---|---|---|");
    for size in sizes.split(',') {
        measure(size.trim().parse().unwrap()).await;
    }
}

async fn measure(animals: i64) {
    let (cluster, url) = cluster::apart().await;
    let house = House::over(url, |_| ()).await;
    let park = house.quill().await;
    house.enclosure(&park, "Weir").await;
    let template = house.otter(&park, "Template").await;
    fill(&house, &template.id, animals).await;
    let mut owner = house.owner().await;
    for (what, text, condition) in KINDS {
        let sql = format!("SELECT {text} FROM copies ORDER BY md5(n::text) LIMIT {LOOKS}");
        let texts: Vec<String> = sqlx::query_scalar(AssertSqlSafe(sql)).fetch_all(&mut owner).await.unwrap();
        let condition = plain_sql(condition);
        // Once before it counts, so that both find the same pages in memory and their statements prepared.
        plain(&mut owner, &condition, &texts[..20]).await;
        ours(&park, &texts[..20]).await;
        let (plain, ours) = (plain(&mut owner, &condition, &texts).await, ours(&park, &texts).await);
        let ratio = ours.0.as_secs_f64() / plain.0.as_secs_f64();
        println!(
            "| {animals} | {what} | {:.2} | {:.2} | {:.2} | {ratio:.1} |",
            ms(plain.0),
            ms(ours.0),
            ms(ours.1)
        );
    }
    owner.close().await.unwrap();
    house.stop().await;
    cluster.stop().await.unwrap();
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1000.0
}

/// The median, and what one of a hundred is slower than.
fn told(mut times: Vec<Duration>) -> (Duration, Duration) {
    times.sort_unstable();
    (times[times.len() / 2], times[times.len() * 99 / 100])
}

async fn plain(owner: &mut PgConnection, sql: &str, texts: &[String]) -> (Duration, Duration) {
    let mut times = Vec::with_capacity(texts.len());
    for text in texts {
        let began = Instant::now();
        let rows =
            sqlx::query(AssertSqlSafe(sql.to_owned())).bind(text).fetch_all(&mut *owner).await.unwrap();
        times.push(began.elapsed());
        assert!(!rows.is_empty(), "{text}");
    }
    told(times)
}

async fn ours(park: &Park, texts: &[String]) -> (Duration, Duration) {
    let mut find = park.keeper.client.find();
    let mut times = Vec::with_capacity(texts.len());
    for text in texts {
        let ask = v1::FindAnimalsRequest { text: text.clone(), most: 20 };
        let began = Instant::now();
        let found = find.find_animals(ask).await.unwrap().into_inner().matches;
        times.push(began.elapsed());
        assert!(!found.is_empty(), "{text}");
    }
    told(times)
}

/// Copies one animal many times, past the wire: only looking is measured.
async fn fill(house: &House, template: &str, animals: i64) {
    let mut owner = house.owner().await;
    let copied = |table: &str, columns: &str, values: &str| {
        format!(
            "INSERT INTO {table} (id, animal_id, site_id, {columns}, recorded_at, recorded_by, request_id)
             SELECT gen_random_uuid(), c.id, t.site_id, {values}, t.recorded_at, t.recorded_by, t.request_id
               FROM copies c, {table} t WHERE t.animal_id = '{template}'"
        )
    };
    for sql in [
        format!("CREATE TABLE copies AS SELECT gen_random_uuid() AS id, n FROM generate_series(1, {animals}) n"),
        format!(
            "INSERT INTO animals SELECT c.id, a.site_id, a.taxon_id, 1, a.recorded_at, a.recorded_by, a.request_id
               FROM copies c, animals a WHERE a.id = '{template}'"
        ),
        copied("births", "born_first, born_last, estimated", "t.born_first, t.born_last, t.estimated"),
        copied("sexings", "sex, determined_on", "t.sex, t.determined_on"),
        copied("accessions", "number, taken_on", "'QUI-06-' || lpad(c.n::text, 6, '0'), t.taken_on"),
        copied("holdings", "began_at, began_on, began_how", "t.began_at, t.began_on, 'arrival'"),
        copied("titles", "owner_site_id, owner_name, began_at", "t.owner_site_id, '', t.began_at"),
        copied("marks", "mark_id, kind, code, place_on_body, issuer, began_at",
               "gen_random_uuid(), 'transponder', '985' || lpad(c.n::text, 12, '0'), '', '', t.began_at"),
        copied("marks", "mark_id, kind, code, place_on_body, issuer, began_at",
               "gen_random_uuid(), 'house_name', 'Otter ' || lpad(c.n::text, 6, '0'), '', '', t.began_at"),
        "INSERT INTO placements (id, animal_id, site_id, enclosure_id, began_at, recorded_at, recorded_by, request_id)
         SELECT gen_random_uuid(), c.id, e.site_id, e.id, '2026-01-01Z', e.recorded_at, e.recorded_by, e.request_id
           FROM copies c, (SELECT * FROM enclosures LIMIT 1) e"
            .to_owned(),
        "ANALYZE".to_owned(),
        "CHECKPOINT".to_owned(),
    ] {
        sqlx::query(AssertSqlSafe(sql)).execute(&mut owner).await.unwrap();
    }
    owner.close().await.unwrap();
}
