//! How long it takes to finish a watch, and to tell the standing of a group, the more it was watched, next to the
//! plain SQL that reads the same events.
//!
//! `cargo bench -p holt-tests --bench watches`; `HOLT_BENCH_WATCHES=100` measures one size alone. Figures wander
//! with the machine; the ratios hold. What is recorded of them stands in `tests/benches/README.md`.

#![expect(clippy::print_stdout, reason = "the figures are what it is for")]
#![expect(clippy::unwrap_used, reason = "where a bench cannot go on, it ends")]
#![expect(clippy::disallowed_methods, reason = "a bench is told by its environment how large it is to be")]

use chrono::{DateTime, TimeDelta, Utc};
use holt_audit::chance::Chance;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::watch_event::What;
use holt_server::clock::Clock;
use holt_tests::{House, Park, cluster};
use sqlx::{Connection, PgConnection};
use std::time::{Duration, Instant};

/// Members of the group.
const MEMBERS: usize = 13;
/// Events of a watch: half of them interactions, and four scans of all.
const INTERACTIONS: usize = 20;
const SCANS: usize = 4;
/// Watches and looks that are timed.
const TIMED: usize = 20;

/// What a person who knows SQL and these tables would ask: all that was seen of the group within a year.
const PLAIN: &str = "
    SELECT w.id, w.began_at, e.number, e.happened_at, e.content
      FROM watches w JOIN watch_events e ON e.watch_id = w.id AND e.superseded_at IS NULL
     WHERE w.began_at > $1 ORDER BY w.began_at, e.number";

#[tokio::main]
async fn main() {
    let sizes = std::env::var("HOLT_BENCH_WATCHES").unwrap_or_else(|_| "50,365".to_owned());
    println!(
        "a group of {MEMBERS}, watched for 20 minutes each day, {INTERACTIONS} interactions and {SCANS} scans of all in \
         a watch, fsync on\n"
    );
    println!("| watches | what | median, ms | slowest, ms | ratio of medians |\n|---|---|---|---|---|");
    for size in sizes.split(',') {
        measure(size.trim().parse().unwrap()).await;
    }
}

async fn measure(watches: usize) {
    let (cluster, url) = cluster::apart().await;
    let house = House::over(url, |_| ()).await;
    let park = house.quill().await;
    let steward = house.steward().await;
    house.load_ethogram(&steward).await;
    let names = family(&house, &park).await;
    let mut chance = Chance::seeded(7);
    let first = house.clock.now();
    let mut finished = Vec::new();
    for day in 0..watches + TIMED {
        let began = first + TimeDelta::days(i64::try_from(day).unwrap());
        house.clock.set(began + TimeDelta::minutes(30));
        let watch = watch(&house, &names, began, &mut chance);
        let asked = Instant::now();
        park.keeper.client.watches().record_watch(watch).await.unwrap();
        finished.push(asked.elapsed());
    }
    let mut owner = house.owner().await;
    let since = house.clock.now() - TimeDelta::days(365);
    let plain = plain(&mut owner, since).await;
    let mut looks = Vec::new();
    for _ in 0..TIMED {
        let ask = v1::GetStandingRequest {
            site: "QUI".to_owned(),
            group: "Weir family".to_owned(),
            ..Default::default()
        };
        let asked = Instant::now();
        park.keeper.client.standing().get_standing(ask).await.unwrap();
        looks.push(asked.elapsed());
    }
    for (what, times) in [
        ("plain SQL, the events of a year", plain.clone()),
        ("RecordWatch, whole and ended", finished.split_off(watches)),
        ("GetStanding", looks),
    ] {
        let ratio = middle(&times).as_secs_f64() / middle(&plain).as_secs_f64();
        let slowest = times.iter().max().unwrap();
        println!("| {watches} | {what} | {:.1} | {:.1} | {ratio:.1} |", ms(middle(&times)), ms(*slowest));
    }
    owner.close().await.unwrap();
    house.stop().await;
    cluster.stop().await.unwrap();
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1000.0
}

fn middle(times: &[Duration]) -> Duration {
    let mut times = times.to_vec();
    times.sort_unstable();
    times[times.len() / 2]
}

async fn plain(owner: &mut PgConnection, since: DateTime<Utc>) -> Vec<Duration> {
    let mut times = Vec::with_capacity(TIMED);
    for _ in 0..TIMED {
        let began = Instant::now();
        let rows = sqlx::query(PLAIN).bind(since).fetch_all(&mut *owner).await.unwrap();
        times.push(began.elapsed());
        assert!(rows.len() > INTERACTIONS, "{}", rows.len());
    }
    times
}

/// A group that has been one for a year.
async fn family(house: &House, park: &Park) -> Vec<String> {
    let names: Vec<String> = (1..=MEMBERS).map(|n| format!("Otter {n}")).collect();
    let client = &park.registrar.client;
    for name in &names {
        let arrival = house.arrival(park, name, "2025-03-01".parse().unwrap());
        client.animals().register_arrival(arrival).await.unwrap();
    }
    let create = v1::CreateGroupRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        name: "Weir family".to_owned(),
        note: String::new(),
    };
    client.groups().create_group(create).await.unwrap();
    let join = v1::JoinGroupRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        animals: names.clone(),
        role: v1::GroupRole::Member.into(),
        joined_at: Some(timestamp("2025-03-02T00:00:00Z".parse().unwrap())),
    };
    client.groups().join_group(join).await.unwrap();
    names
}

/// Twenty minutes of watching.
fn watch(
    house: &House,
    names: &[String],
    began: DateTime<Utc>,
    chance: &mut Chance,
) -> v1::RecordWatchRequest {
    let mut seen = vec![What::Feed(v1::FeedGiven {})];
    for n in 0..INTERACTIONS {
        let above = chance.below(names.len() - 1);
        let below = above + 1 + chance.below(names.len() - 1 - above);
        seen.push(What::Interaction(v1::Interaction {
            actor: names[above].clone(),
            behaviour: "displace".to_owned(),
            receiver: names[below].clone(),
            at_food: n % 2 == 0,
            ..Default::default()
        }));
    }
    for _ in 0..SCANS {
        let each = names.iter().map(|name| v1::ScannedAnimal {
            animal: name.clone(),
            behaviour: "rest".to_owned(),
            party: i32::from(chance.happens(0.9)) + 1,
            place: String::new(),
        });
        seen.push(What::Scan(v1::GroupScan { seen: each.collect() }));
    }
    seen.push(What::End(v1::WatchEnd {}));
    let events = (1..).zip(seen).map(|(number, what)| v1::WatchEvent {
        number,
        happened_at: Some(timestamp(began + TimeDelta::seconds(40 * i64::from(number)))),
        what: Some(what),
    });
    v1::RecordWatchRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        watch_id: house.request(),
        group: "Weir family".to_owned(),
        ethogram: "small-carnivore".to_owned(),
        began_at: Some(timestamp(began)),
        events: events.collect(),
        ..Default::default()
    }
}
