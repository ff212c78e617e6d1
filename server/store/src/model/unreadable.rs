//! A record that does not mean what its columns allow: the page that it belongs to names it and tells the rest.

use uuid::Uuid;

/// A record that could not be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unreadable {
    /// What it is a record of, in one word.
    pub kind: &'static str,
    pub id: Uuid,
    /// What is wrong with it.
    pub say: String,
}
