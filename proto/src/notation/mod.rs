//! Notations as people write them, parsed and printed alike by client and server.

pub mod accession;
pub mod cites;
pub mod counts;
pub mod energy;
pub mod mark;
pub mod mass;
pub mod text;
