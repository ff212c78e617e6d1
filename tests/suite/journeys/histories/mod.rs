//! Random histories: keepers, registrars, vets and stewards of three sites do what people do, well and badly, one after
//! another or at once, and after each write what must hold is held against the tables and against what is answered.
//!
//! Checked in SQL that knows nothing of the code: one holder at each instant, no life after death, owners without gaps,
//! numbers used once, litters that count (`rules.sql`); stock returns that add up and are what the tables hold. Checked
//! at the wire: nothing that is of others is answered to anybody (`foreign.sql` says what is), each page is answered, a
//! request sent again or several times at once has one answer, and a merge taken back leaves what was.
//!
//! `HOLT_HISTORIES` says how many, `HOLT_SEED` where to begin, `HOLT_AT_ONCE` how many are played at a time;
//! `--nocapture` shows what they came to. A violation says the seed that plays it again.

mod acts;
mod looks;
mod pages;
mod player;
mod returns;
mod stage;
mod tally;
mod tokens;
mod witness;

use chrono::TimeDelta;
use futures::StreamExt;
use holt_audit::chance::Chance;
use holt_server::access::permit::Caller;
use holt_server::records::ledger;
use holt_tests::{House, cluster};
use player::{Known, Player};
use sqlx::PgConnection;
use stage::Theatre;
use std::sync::{Arc, Mutex};
use tally::Tally;
use witness::Witness;

/// Histories in a run of the suite; more are a matter of patience.
const USUAL_HISTORIES: u64 = 16;
/// Histories on one database: more would make it large, fewer spend the time on copies.
const STAGES: u64 = 12;
/// Acts of one who plays alone.
const ACTS: usize = 36;
/// Of several at once: how many, how often all wait for one another, and acts of each in between.
const PLAYERS: usize = 4;
const ROUNDS: usize = 5;
const ACTS_A_ROUND: usize = 3;
/// One in so many histories is played by several at once.
const PARALLEL: u64 = 4;

fn number(name: &str, usual: u64) -> u64 {
    std::env::var(name).map_or(usual, |text| text.parse().unwrap())
}

/// The stage that a history is played on: the same whatever others are.
fn stage_of(seed: u64) -> usize {
    usize::try_from(seed % STAGES).unwrap()
}

/// Plays one history.
async fn play(
    theatre: &Theatre,
    house: &Arc<House>,
    owner: &mut PgConnection,
    seed: u64,
    tally: &Arc<Mutex<Tally>>,
) {
    let stage = Arc::new(theatre.stage(house, stage_of(seed)));
    tally.lock().unwrap().begin(seed);
    let known = Arc::new(Mutex::new(Known::default()));
    let alone = !seed.is_multiple_of(PARALLEL);
    let (players, rounds, acts) = if alone { (1, ACTS, 1) } else { (PLAYERS, ROUNDS, ACTS_A_ROUND) };
    let chance = |who: u64| Chance::seeded(seed.wrapping_mul(1_000_003).wrapping_add(who));
    let mut players: Vec<Player> = (0..players)
        .map(|who| Player {
            stage: Arc::clone(&stage),
            known: Arc::clone(&known),
            tally: Arc::clone(tally),
            chance: chance(who as u64),
            alone,
        })
        .collect();
    let mut witness = Witness::new(&stage, &known, tally, chance(99), owner).await;
    for _ in 0..rounds {
        let hours = [0, 1, 3, 8, 14, 40][witness.chance.below(6)];
        house.clock.advance(TimeDelta::hours(hours));
        futures::future::join_all(players.iter_mut().map(async |player| {
            for _ in 0..acts {
                Box::pin(player.act()).await;
            }
        }))
        .await;
        witness.hold_to_rules().await;
        for _ in 0..acts {
            witness.look().await;
            witness.page().await;
        }
        if witness.chance.below(3) == 0 {
            witness.hold_returns().await;
        }
        if tally.lock().unwrap().broken {
            break;
        }
    }
    tally.lock().unwrap().end();
}

/// Plays histories on one database, and holds its ledger to its records at their end.
async fn batch(theatre: Arc<Theatre>, seeds: Vec<u64>) -> Tally {
    let tally = Arc::new(Mutex::new(Tally::default()));
    let house = Arc::new(theatre.open().await);
    let mut owner = house.owner().await;
    for seed in &seeds {
        Box::pin(play(&theatre, &house, &mut owner, *seed, &tally)).await;
    }
    ledger::seal(&house.records, &Caller::itself()).await.unwrap();
    let verified = ledger::check(&house.records, &Caller::itself(), "").await.unwrap();
    let mut tally = std::mem::take(&mut *tally.lock().unwrap());
    if !verified.breaks.is_empty() {
        tally.violations.push(format!("after {seeds:?} the ledger is broken: {:?}", verified.breaks));
    }
    let Some(house) = Arc::into_inner(house) else { panic!("somebody still plays") };
    drop(owner);
    let url = house.url.clone();
    house.stop().await;
    cluster::drop_database(&url).await;
    tally
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn whatever_people_do_the_books_hold_and_nothing_foreign_is_read() {
    let (histories, first) = (number("HOLT_HISTORIES", USUAL_HISTORIES), number("HOLT_SEED", 1));
    let at_once = usize::try_from(number("HOLT_AT_ONCE", 2)).unwrap();
    let seeds: Vec<u64> = (first..first + histories).collect();
    let theatre = Arc::new(Theatre::built(seeds.iter().map(|seed| stage_of(*seed)).collect()).await);
    let batches: Vec<Vec<u64>> =
        seeds.chunk_by(|_, next| !next.is_multiple_of(STAGES)).map(<[u64]>::to_vec).collect();
    let mut tally = Tally::default();
    let played = futures::stream::iter(batches)
        .map(|seeds| tokio::spawn(Box::pin(batch(Arc::clone(&theatre), seeds))))
        .buffer_unordered(at_once);
    let mut played = std::pin::pin!(played);
    while let Some(batch) = played.next().await {
        tally.add(batch.unwrap());
    }
    println!("{}", tally.table());
    // Where most is refused, or none is, nothing is proved.
    assert!(tally.accepted * 2 > tally.asked, "{} of {}", tally.accepted, tally.asked);
    assert!(tally.accepted < tally.asked);
    assert!(tally.violations.is_empty(), "{}", tally.violations.join("\n"));
}
