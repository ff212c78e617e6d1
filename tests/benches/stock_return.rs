//! How long the stock return of a year takes, next to the plain SQL that a skilled person would write for
//! it, on the same database in the same run; and how both grow with the site.
//!
//! `cargo bench -p holt-tests --bench stock_return`. Figures wander with the machine; the ratios hold. What
//! is recorded of them stands in `tests/benches/README.md`.

#![expect(clippy::print_stdout, reason = "the figures are what it is for")]
#![expect(clippy::unwrap_used, reason = "where a bench cannot go on, it ends")]

use chrono::NaiveDate;
use holt_proto::v1;
use holt_tests::{House, Park, cluster};
use sqlx::{AssertSqlSafe, Connection, PgConnection};
use std::time::{Duration, Instant};

/// Animals that the site had over the years, each with a birth, a sex or two, a coming and mostly a going;
/// one litter for each ten of them.
const SIZES: [i64; 2] = [10_000, 100_000];
const YEARS: i64 = 20;
const SPECIES: i64 = 60;
/// Times that each is taken; the median counts.
const TIMES: usize = 15;

/// The same count as a statement, as it also checks the census in the suite.
const PLAIN: &str = include_str!("../suite/journeys/census/conservation/count.sql");

#[tokio::main]
async fn main() {
    println!("The return of one year of {YEARS}, {SPECIES} species, median of {TIMES}\n");
    println!("| animals | on the books in the year | plain SQL, ms | GetStockReturn, ms | ratio |");
    println!("|---|---|---|---|---|");
    for animals in SIZES {
        measure(animals).await;
    }
}

async fn measure(animals: i64) {
    let (cluster, url) = cluster::apart().await;
    let house = House::over(url, |config| config.server.call_seconds = 60).await;
    let park = house.quill().await;
    house.otter(&park, "Template").await;
    let mut owner = house.owner().await;
    fill(&mut owner, animals).await;
    let (first, last) = days();
    let on_books: i64 = sqlx::query_scalar(
        "SELECT count(*) FROM holdings
          WHERE superseded_at IS NULL AND began_on <= $2 AND (ended_on IS NULL OR ended_on >= $1)",
    )
    .bind(first)
    .bind(last)
    .fetch_one(&mut owner)
    .await
    .unwrap();
    assert_eq!(closing_of(&park).await, closing_in_sql(&mut owner).await, "both count the same");
    let (mut plain, mut ours) = (Vec::new(), Vec::new());
    // In turns, so that whatever else the machine does falls on both.
    for _ in 0..TIMES {
        let began = Instant::now();
        closing_in_sql(&mut owner).await;
        plain.push(began.elapsed());
        let began = Instant::now();
        closing_of(&park).await;
        ours.push(began.elapsed());
    }
    let (plain, ours) = (median(plain), median(ours));
    println!(
        "| {animals} | {on_books} | {:.1} | {:.1} | {:.2} |",
        plain.as_secs_f64() * 1e3,
        ours.as_secs_f64() * 1e3,
        ours.as_secs_f64() / plain.as_secs_f64()
    );
    owner.close().await.unwrap();
    house.stop().await;
    cluster.stop().await.unwrap();
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

fn days() -> (NaiveDate, NaiveDate) {
    ("2025-01-01".parse().unwrap(), "2025-12-31".parse().unwrap())
}

/// Males, females and unknown of all species that are left, by Holt.
async fn closing_of(park: &Park) -> [i64; 3] {
    let day = |text: &str| Some(text.parse().unwrap());
    let ask = v1::GetStockReturnRequest {
        site: "QUI".to_owned(),
        days: Some(v1::DaySpan { first: day("2025-01-01"), last: day("2025-12-31") }),
        ..Default::default()
    };
    let told = park.auditor.client.census().get_stock_return(ask).await.unwrap().into_inner();
    let told = &told.returns[0];
    assert!(told.balances && told.lines.len() > 1);
    let closing = told.total.as_ref().unwrap().closing.unwrap();
    [closing.males, closing.females, closing.unknown]
}

/// The same by the statement.
async fn closing_in_sql(owner: &mut PgConnection) -> [i64; 3] {
    let (first, last) = days();
    let rows: Vec<(String, String, i64, i64, i64)> =
        sqlx::query_as(PLAIN).bind(["QUI"]).bind(first).bind(last).fetch_all(owner).await.unwrap();
    let closing = rows.iter().filter(|(_, what, ..)| what == "closing");
    closing.fold([0; 3], |[m, f, u], (.., males, females, unknown)| [m + males, f + females, u + unknown])
}

/// Puts the years on the books behind the wire: only the return is measured. Days and sexes are drawn from
/// a seed, so that each run has the same.
async fn fill(owner: &mut PgConnection, animals: i64) {
    let (days, litters) = (YEARS * 365, animals / 10);
    for sql in [
        "SELECT setseed(0.42)".to_owned(),
        format!(
            "WITH species AS (
               INSERT INTO taxa SELECT gen_random_uuid(), t.recorded_at, t.recorded_by, t.request_id
                 FROM taxa t, generate_series(1, {SPECIES}) RETURNING *
             )
             INSERT INTO taxon_names (id, taxon_id, scientific_name, accepted, source, common_name, cites_appendix,
                                      recorded_at, recorded_by, request_id)
             SELECT gen_random_uuid(), s.id, 'Lontra species' || chr(97 + (n / 26)::int) || chr(97 + (n % 26)::int),
                    true, '', 'otter', '', s.recorded_at, s.recorded_by, s.request_id
               FROM (SELECT *, row_number() OVER () AS n FROM species) s"
        ),
        format!(
            "CREATE TABLE lives AS
             SELECT gen_random_uuid() AS id, n, came, came + (random() * 3000)::int AS went,
                    (SELECT array_agg(taxon_id ORDER BY scientific_name) FROM taxon_names)[1 + (random() * {SPECIES})::int] AS taxon,
                    random() < 0.6 AS born_here, random() < 0.8 AS died,
                    (ARRAY['male', 'female', 'unknown'])[1 + (random() * 2)::int] AS sex
               FROM (SELECT n, date '2006-01-01' + (random() * {days})::int AS came
                       FROM generate_series(1, {animals}) n) comings"
        ),
        "INSERT INTO animals
         SELECT l.id, a.site_id, l.taxon, 1, l.came, a.recorded_by, a.request_id
           FROM lives l, animals a WHERE a.recorded_by IS NOT NULL AND a.id NOT IN (SELECT id FROM lives)"
            .to_owned(),
        "INSERT INTO births (id, animal_id, site_id, born_first, born_last, estimated, recorded_at, recorded_by, request_id)
         SELECT gen_random_uuid(), l.id, a.site_id, b.born, b.born, false, a.recorded_at, a.recorded_by, a.request_id
           FROM lives l JOIN animals a ON a.id = l.id,
                LATERAL (SELECT CASE WHEN l.born_here THEN l.came ELSE l.came - 400 END AS born) b"
            .to_owned(),
        "INSERT INTO sexings (id, animal_id, site_id, sex, determined_on, recorded_at, recorded_by, request_id)
         SELECT gen_random_uuid(), l.id, a.site_id, s.sex, l.came + s.after, a.recorded_at, a.recorded_by, a.request_id
           FROM lives l JOIN animals a ON a.id = l.id,
                LATERAL (VALUES ('unknown', 0), (l.sex, 60)) s (sex, after)"
            .to_owned(),
        "INSERT INTO accessions (id, animal_id, site_id, number, taken_on, recorded_at, recorded_by, request_id)
         SELECT gen_random_uuid(), l.id, a.site_id, 'QUI-' || to_char(l.came, 'YY') || '-' || lpad(l.n::text, 6, '0'),
                l.came, a.recorded_at, a.recorded_by, a.request_id
           FROM lives l JOIN animals a ON a.id = l.id"
            .to_owned(),
        // An end supersedes the open row, as Holt writes it: so there are two versions of most holdings.
        "INSERT INTO holdings (id, animal_id, site_id, began_at, began_on, began_how, ended_at, ended_on, ended_how,
                               recorded_at, recorded_by, request_id, superseded_at, superseded_in, superseded_why)
         SELECT gen_random_uuid(), l.id, a.site_id, l.came, l.came,
                CASE WHEN l.born_here THEN 'birth' ELSE 'arrival' END,
                v.ended_on + interval '20 hours', v.ended_on,
                CASE WHEN v.ended_on IS NULL THEN NULL WHEN l.died THEN 'death' ELSE 'departure' END,
                coalesce(v.ended_on, l.came), a.recorded_by, a.request_id,
                CASE WHEN v.superseded THEN l.went END, CASE WHEN v.superseded THEN a.request_id END,
                CASE WHEN v.superseded THEN 'ended' END
           FROM lives l JOIN animals a ON a.id = l.id,
                LATERAL (SELECT NULL::date AS ended_on, l.went < date '2026-01-01' AS superseded
                         UNION ALL SELECT l.went, false WHERE l.went < date '2026-01-01') v"
            .to_owned(),
        format!(
            "CREATE TABLE dens AS
             SELECT gen_random_uuid() AS id, date '2006-01-01' + (random() * {days})::int AS born_on,
                    (SELECT array_agg(taxon_id ORDER BY scientific_name) FROM taxon_names)[1 + (random() * {SPECIES})::int] AS taxon
               FROM generate_series(1, {litters})"
        ),
        "INSERT INTO litters
         SELECT d.id, a.site_id, d.taxon, d.born_on, '', 1, d.born_on, a.recorded_by, a.request_id
           FROM dens d, (SELECT * FROM animals LIMIT 1) a"
            .to_owned(),
        "INSERT INTO litter_changes (id, litter_id, site_id, kind, happened_on, males, females, unknown, manner, note,
                                     recorded_at, recorded_by, request_id)
         SELECT gen_random_uuid(), d.id, a.site_id, c.kind, d.born_on + c.after, c.males, c.females, c.unknown, c.manner, '',
                d.born_on, a.recorded_by, a.request_id
           FROM dens d, (SELECT * FROM animals LIMIT 1) a,
                (VALUES ('born', 0, 0, 0, 4, ''), ('died', 5, 0, 0, 1, 'natural'), ('sexed', 40, 2, 1, 0, ''),
                        ('died', 60, 1, 1, 0, 'natural'), ('died', 90, 1, 0, 0, 'unknown'))
                  c (kind, after, males, females, unknown, manner)"
            .to_owned(),
        "ANALYZE".to_owned(),
        "CHECKPOINT".to_owned(),
    ] {
        sqlx::query(AssertSqlSafe(sql)).execute(&mut *owner).await.unwrap();
    }
}
