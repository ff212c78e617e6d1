//! A write as it was asked for.

use uuid::Uuid;

/// What identifies a write, so that one sent again is answered the same.
#[derive(Clone, Copy, Debug)]
pub struct Request {
    /// Identifier made by the client.
    pub id: Uuid,
    /// The method, as `WeightService/RecordWeights`.
    pub method: &'static str,
    /// SHA-256 of method and content.
    pub digest: [u8; 32],
    /// Whether everything is to be checked and nothing written.
    pub validate_only: bool,
}
