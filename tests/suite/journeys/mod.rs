//! Journeys through the wire: a folder per journey, a file per worry.

mod access;
mod assessments;
mod audit_day;
mod by_hand;
mod census;
mod checks;
mod corrections;
mod faults;
mod groups;
mod ledger;
mod litters;
mod open_data;
mod registration;
mod transfer;
mod weekly_round;
