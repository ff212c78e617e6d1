//! One file per table, nothing else in it.

pub mod accession;
pub mod animal;
pub mod assessment;
pub mod birth;
pub mod check;
pub mod concern;
pub mod concern_step;
pub mod credential;
pub mod death;
pub mod enclosure;
pub mod grant;
pub mod holding;
pub mod mark;
pub mod parent;
pub mod person;
pub mod placement;
pub mod protocol;
pub mod refresh_token;
pub mod sexing;
pub mod site;
pub mod taxon;
pub mod title;
pub mod transfer;
pub mod transfer_step;
pub mod weight;
