//! One attempt to weigh an animal.

use crate::terms::{Instant, Mass, RecordId};
use serde::{Deserialize, Serialize};

/// A scale. The number is the caller's: the same for the same scale within one call.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Scale(pub u32);

/// One attempt to weigh an animal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reading {
    /// The record it stands in.
    pub record: RecordId,
    /// When it was taken.
    pub at: Instant,
    /// What it weighed; none if it was tried and the animal would not come.
    pub mass: Option<Mass>,
    /// On which scale, if that was noted.
    pub scale: Option<Scale>,
    /// A second weighing was asked for when it was entered.
    pub doubtful: bool,
}
