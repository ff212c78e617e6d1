//! How long the history of one animal takes, next to the plain SQL for the same facts, at growing sizes.
//!
//! `cargo bench -p holt-tests --bench history`; `HOLT_BENCH_ANIMALS=10000` measures one size alone. Figures
//! wander with the machine; the ratios hold. What is recorded of them stands in `tests/benches/README.md`.

#![expect(clippy::print_stdout, reason = "the figures are what it is for")]
#![expect(clippy::unwrap_used, reason = "where a bench cannot go on, it ends")]
#![expect(clippy::disallowed_methods, reason = "a bench is told by its environment how large it is to be")]

use holt_proto::v1;
use holt_tests::{House, Park, cluster};
use sqlx::{AssertSqlSafe, Connection, PgConnection};
use std::time::{Duration, Instant};

/// Twenty years of quarterly weights, and a new place every other year.
const QUARTERS: i64 = 80;
const PLACES: i64 = 10;
/// Animals that are looked at, one after the other.
const LOOKS: usize = 300;

/// What a person who knows SQL and these tables would ask.
const PLAIN: &str = "
    SELECT 'birth' AS kind, id, born_first::timestamptz AS at, born_first::text AS what, recorded_at FROM births
     WHERE animal_id = $1 AND superseded_at IS NULL
    UNION ALL SELECT 'sex', id, determined_on::timestamptz, sex, recorded_at FROM sexings
     WHERE animal_id = $1 AND superseded_at IS NULL
    UNION ALL SELECT 'parent', id, NULL, kind, recorded_at FROM parents
     WHERE animal_id = $1 AND superseded_at IS NULL
    UNION ALL SELECT 'accession', id, taken_on::timestamptz, number, recorded_at FROM accessions
     WHERE animal_id = $1 AND superseded_at IS NULL
    UNION ALL SELECT 'holding', id, began_at, began_how, recorded_at FROM holdings
     WHERE animal_id = $1 AND superseded_at IS NULL
    UNION ALL SELECT 'title', id, began_at, owner_name, recorded_at FROM titles
     WHERE animal_id = $1 AND superseded_at IS NULL
    UNION ALL SELECT 'placement', p.id, p.began_at, e.name, p.recorded_at
      FROM placements p JOIN enclosures e ON e.id = p.enclosure_id
     WHERE p.animal_id = $1 AND p.superseded_at IS NULL
    UNION ALL SELECT 'mark', id, began_at, code, recorded_at FROM marks
     WHERE animal_id = $1 AND superseded_at IS NULL
    UNION ALL SELECT 'weight', id, weighed_at, mass_mg::text, recorded_at FROM weights
     WHERE animal_id = $1 AND superseded_at IS NULL
    UNION ALL SELECT 'assessment', id, assessed_at, note, recorded_at FROM assessments
     WHERE animal_id = $1 AND superseded_at IS NULL
    UNION ALL SELECT 'death', id, died_at, manner, recorded_at FROM deaths
     WHERE animal_id = $1 AND superseded_at IS NULL
    UNION ALL SELECT 'transfer', t.id, s.happened_at, s.step, s.recorded_at
      FROM transfers t JOIN transfer_steps s ON s.transfer_id = t.id WHERE t.animal_id = $1
    UNION ALL SELECT 'merge', id, recorded_at, because, recorded_at FROM merges
     WHERE into_id = $1 AND superseded_at IS NULL
    ORDER BY at NULLS FIRST, recorded_at, id";

#[tokio::main]
async fn main() {
    let sizes = std::env::var("HOLT_BENCH_ANIMALS").unwrap_or_else(|_| "10000,100000".to_owned());
    println!(
        "{QUARTERS} weights and {PLACES} placements of each animal, {LOOKS} histories one after the other, fsync on\n"
    );
    println!(
        "| animals | what | median, ms | slowest of 100, ms | ratio of medians |\n|---|---|---|---|---|"
    );
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
    let ids: Vec<uuid::Uuid> = sqlx::query_scalar("SELECT id FROM copies ORDER BY random() LIMIT $1")
        .bind(i64::try_from(LOOKS).unwrap())
        .fetch_all(&mut owner)
        .await
        .unwrap();
    // Once before it counts, so that both find the same pages in memory and their statements prepared.
    plain(&mut owner, &ids).await;
    ours(&park, &ids).await;
    let (plain, ours) = (plain(&mut owner, &ids).await, ours(&park, &ids).await);
    println!("| {animals} | plain SQL | {:.2} | {:.2} | 1 |", ms(plain.0), ms(plain.1));
    let ratio = ours.0.as_secs_f64() / plain.0.as_secs_f64();
    println!("| {animals} | GetHistory | {:.2} | {:.2} | {ratio:.1} |", ms(ours.0), ms(ours.1));
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

async fn plain(owner: &mut PgConnection, ids: &[uuid::Uuid]) -> (Duration, Duration) {
    let mut times = Vec::with_capacity(ids.len());
    for id in ids {
        let began = Instant::now();
        let rows = sqlx::query(PLAIN).bind(id).fetch_all(&mut *owner).await.unwrap();
        times.push(began.elapsed());
        assert!(rows.len() > 90, "{}", rows.len());
    }
    told(times)
}

async fn ours(park: &Park, ids: &[uuid::Uuid]) -> (Duration, Duration) {
    let mut history = park.auditor.client.history();
    let mut times = Vec::with_capacity(ids.len());
    for id in ids {
        let ask = v1::GetHistoryRequest {
            site: "QUI".to_owned(),
            animal: id.to_string(),
            page: Some(v1::PageRequest { size: 1000, token: String::new() }),
            ..Default::default()
        };
        let began = Instant::now();
        let facts = history.get_history(ask).await.unwrap().into_inner().facts;
        times.push(began.elapsed());
        assert!(facts.len() > 90, "{}", facts.len());
    }
    told(times)
}

/// Copies one animal many times, with twenty years behind it, past the wire: only looking is measured.
async fn fill(house: &House, template: &str, animals: i64) {
    let mut owner = house.owner().await;
    let copied = |table: &str, columns: &str, values: &str| {
        format!(
            "INSERT INTO {table} (id, animal_id, site_id, {columns}, recorded_at, recorded_by, request_id)
             SELECT gen_random_uuid(), c.id, t.site_id, {values}, t.recorded_at, t.recorded_by, t.request_id
               FROM copies c, {table} t WHERE t.animal_id = '{template}'"
        )
    };
    let start = "'2006-03-01Z'::timestamptz";
    for sql in [
        format!("CREATE TABLE copies AS SELECT gen_random_uuid() AS id, n FROM generate_series(1, {animals}) n"),
        format!(
            "INSERT INTO animals SELECT c.id, a.site_id, a.taxon_id, 1, a.recorded_at, a.recorded_by, a.request_id
               FROM copies c, animals a WHERE a.id = '{template}'"
        ),
        copied("births", "born_first, born_last, estimated", "t.born_first, t.born_last, t.estimated"),
        copied("sexings", "sex, determined_on", "t.sex, t.determined_on"),
        copied("accessions", "number, taken_on", "'QUI-06-' || lpad(c.n::text, 6, '0'), '2006-03-01'"),
        copied("holdings", "began_at, began_on, began_how", &format!("{start}, '2006-03-01', 'arrival'")),
        copied("titles", "owner_site_id, owner_name, began_at", &format!("t.owner_site_id, '', {start}")),
        copied("marks", "mark_id, kind, code, place_on_body, issuer, began_at",
               &format!("t.mark_id, t.kind, 'Copy ' || c.n, '', '', {start}")),
        format!(
            "INSERT INTO placements (id, animal_id, site_id, enclosure_id, began_at, ended_at, recorded_at, recorded_by, request_id)
             SELECT gen_random_uuid(), c.id, e.site_id, e.id, {start} + p * interval '2 years',
                    CASE WHEN p < {PLACES} - 1 THEN {start} + (p + 1) * interval '2 years' END,
                    e.recorded_at, e.recorded_by, e.request_id
               FROM copies c, (SELECT * FROM enclosures LIMIT 1) e, generate_series(0, {PLACES} - 1) p"
        ),
        format!(
            "INSERT INTO weights (id, animal_id, site_id, weighed_at, weighed_on, day_only, mass_mg, tried, doubtful, accepted,
                                  scale, method, note, recorded_at, recorded_by, request_id)
             SELECT gen_random_uuid(), c.id, h.site_id, at, at::date, false, 8000000 + (random() * 200000)::int, false, false, false,
                    'platform', 'trained', '', at, h.recorded_by, h.request_id
               FROM copies c JOIN holdings h ON h.animal_id = c.id,
                    LATERAL (SELECT {start} + w * interval '3 months' AS at FROM generate_series(0, {QUARTERS} - 1) w) s"
        ),
        "ANALYZE".to_owned(),
        "CHECKPOINT".to_owned(),
    ] {
        sqlx::query(AssertSqlSafe(sql)).execute(&mut owner).await.unwrap();
    }
    owner.close().await.unwrap();
}
