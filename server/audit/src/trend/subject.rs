//! An animal with all that its weights must be seen against.

use crate::reading::Reading;
use crate::scales::Offsets;
use crate::season::Season;
use crate::terms::{Day, Span};
use chrono_tz::Tz;

/// An animal with all that its weights must be seen against.
#[derive(Clone, Copy, Debug)]
pub struct Subject<'a> {
    /// Its readings, in any order. Those after the instant asked about are ignored.
    pub readings: &'a [Reading],
    /// The time zone of its site, whose days count.
    pub zone: Tz,
    /// Days from mating or first sign until birth, in order. Mass gained then is not its own, and
    /// mass lost by giving birth is no loss.
    pub gravid: &'a [Span],
    /// Day from which people accepted its weight as the new normal: older readings no longer count.
    pub settled: Option<Day>,
    /// The yearly pattern of its kind, where one is known; its own past years refine it.
    pub season: Option<&'a Season>,
    /// How the scales differ, where that was worked out.
    pub offsets: Option<&'a Offsets>,
}

impl<'a> Subject<'a> {
    /// An animal of which nothing but its readings is known.
    #[must_use]
    pub const fn new(readings: &'a [Reading], zone: Tz) -> Self {
        Self { readings, zone, gravid: &[], settled: None, season: None, offsets: None }
    }
}
