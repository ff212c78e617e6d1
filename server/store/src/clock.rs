//! Time and chance as values, so that tests can script them. The only callers of `now` and `now_v7`.

use chrono::{DateTime, SubsecRound, Utc};
use uuid::Uuid;

/// Tells the time.
pub trait Clock: Send + Sync {
    /// Now, in whole microseconds: PostgreSQL keeps no more.
    fn now(&self) -> DateTime<Utc>;
}

/// Makes identifiers.
pub trait Ids: Send + Sync {
    /// A new UUIDv7.
    fn next(&self) -> Uuid;
}

/// The machine's clock.
#[derive(Clone, Copy, Debug)]
pub struct SystemClock;

impl Clock for SystemClock {
    #[expect(clippy::disallowed_methods, reason = "this is the one place that asks")]
    fn now(&self) -> DateTime<Utc> {
        Utc::now().trunc_subsecs(6)
    }
}

/// Random identifiers in order of time.
#[derive(Clone, Copy, Debug)]
pub struct RandomIds;

impl Ids for RandomIds {
    #[expect(clippy::disallowed_methods, reason = "this is the one place that asks")]
    fn next(&self) -> Uuid {
        Uuid::now_v7()
    }
}
