//! Animals found by a part of what they go by.

use crate::model::animal::Animal;
use crate::model::mark::MarkKind;

/// What an animal was found by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FoundBy {
    Id,
    Accession,
    Mark(MarkKind),
}

/// How near a text comes to what an animal goes by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Nearness {
    /// It is the whole of it.
    Whole,
    /// It is how it begins or ends.
    End,
    /// It stands within it.
    Within,
}

/// What an animal was found by, and how near it came.
#[derive(Clone, Debug)]
pub struct Clue {
    pub by: FoundBy,
    pub text: String,
    pub nearness: Nearness,
    pub in_force: bool,
}

/// Animals with what each was found by, the nearest first.
#[derive(Clone, Debug)]
pub struct Found {
    pub matches: Vec<(Animal, Clue)>,
    pub more: bool,
}
