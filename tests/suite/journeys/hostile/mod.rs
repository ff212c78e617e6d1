//! Whoever means no good and shows no token, or one of their own: each attack runs beside a keeper who weighs all the
//! while, and is never refused.

mod connections;
mod imports;
mod raw;
mod replies;
mod sign_ins;
mod streams;

use chrono::TimeDelta;
use holt_proto::v1;
use holt_server::config::Config;
use holt_server::wire::raise_open_files;
use holt_tests::house::start_of_time;
use holt_tests::{House, Park};
use std::sync::atomic::{AtomicI64, Ordering};

/// As many weighings there are beside each attack, at least.
const WEIGHINGS: i64 = 10;

/// A house under attack, with a keeper at work.
pub(super) struct Besieged {
    pub(super) house: House,
    pub(super) quill: Park,
    weighed: AtomicI64,
}

impl Besieged {
    pub(super) async fn with(change: impl FnOnce(&mut Config)) -> Self {
        // Both ends of every connection are in this one process.
        assert!(raise_open_files(4000) >= 3000, "the test needs more open files");
        let house = House::with(change).await;
        let quill = house.quill().await;
        house.otter(&quill, "Bramble").await;
        let besieged = Self { house, quill, weighed: AtomicI64::new(0) };
        besieged.weigh().await;
        besieged
    }

    /// The keeper weighs once more, and nobody keeps her from it.
    pub(super) async fn weigh(&self) {
        let n = self.weighed.fetch_add(1, Ordering::Relaxed);
        let at = start_of_time() - TimeDelta::days(300) + TimeDelta::hours(n);
        let round = self.house.round("QUI", &[("Bramble", at, 8000)]);
        let answer = self.quill.keeper.client.weights().record_weights(round).await;
        let answer = answer.unwrap_or_else(|refused| panic!("weighing {n} was refused: {refused:?}"));
        let outcome = answer.into_inner().answers[0].outcome();
        assert_ne!(outcome, v1::ReadingOutcome::Refused, "weighing {n}");
    }

    /// The keeper weighs while the attack lasts, and some times at least; answers what came of the attack.
    pub(super) async fn beside<T>(&self, attack: impl Future<Output = T>) -> T {
        let mut attack = std::pin::pin!(attack);
        let before = self.weighed.load(Ordering::Relaxed);
        let mut came = None;
        while came.is_none() || self.weighed.load(Ordering::Relaxed) < before + WEIGHINGS {
            let weigh = async {
                self.weigh().await;
                // A pause of hers, so that the attack has the machine, too.
                tokio::time::sleep(std::time::Duration::from_millis(20)).await;
            };
            let mut weigh = std::pin::pin!(weigh);
            if came.is_none() {
                tokio::select! {
                    what = &mut attack => came = Some(what),
                    () = &mut weigh => continue,
                }
            }
            weigh.await;
        }
        came.unwrap()
    }
}
