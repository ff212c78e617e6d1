//! Plain data and its own predicates: what the records are about, free of database and wire.

pub mod animal;
pub mod assessment;
pub mod check;
pub mod concern;
pub mod crate_reading;
pub mod fact;
pub mod group;
pub mod holding;
pub mod ledger;
pub mod litter;
pub mod mark;
pub mod page;
pub mod person;
pub mod reason;
pub mod report;
pub mod request;
pub mod site;
pub mod stock_return;
pub mod transfer;
pub mod weight;
