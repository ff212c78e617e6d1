//! A watch in the making: typed line by line, or read from a sheet.

pub(crate) mod line;
pub(crate) mod names;
pub(crate) mod sheet;
pub(crate) mod told;

use crate::session::request_id;
use chrono::{DateTime, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::watch_event::What;

/// A watch that is not on record yet, or not all of it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Draft {
    pub(crate) watch_id: String,
    pub(crate) group: String,
    pub(crate) ethogram: String,
    /// 0 for the newest.
    pub(crate) version: i32,
    pub(crate) began_at: DateTime<Utc>,
    pub(crate) focal: Vec<String>,
    /// In the order in which they were noted.
    pub(crate) events: Vec<(DateTime<Utc>, What)>,
}

impl Draft {
    /// Whether an end was noted.
    pub(crate) fn is_ended(&self) -> bool {
        self.events.iter().any(|(_, what)| matches!(what, What::End(_)))
    }

    /// The request that records it. Events are numbered in their order: sent again, each is known by its
    /// number.
    pub(crate) fn request(&self, site: &str, validate_only: bool) -> v1::RecordWatchRequest {
        let events = (1..).zip(&self.events).map(|(number, (at, what))| v1::WatchEvent {
            number,
            happened_at: Some(timestamp(*at)),
            what: Some(what.clone()),
        });
        v1::RecordWatchRequest {
            request_id: request_id(),
            site: site.to_owned(),
            watch_id: self.watch_id.clone(),
            group: self.group.clone(),
            ethogram: self.ethogram.clone(),
            ethogram_version: self.version,
            began_at: Some(timestamp(self.began_at)),
            focal_animals: self.focal.clone(),
            events: events.collect(),
            validate_only,
        }
    }
}
