//! Journeys through the wire: a folder per journey, a file per worry.

mod access;
mod assessments;
mod audit_day;
mod by_hand;
mod census;
mod checks;
mod climate;
mod corrections;
mod encounters;
mod enrichment;
mod exchange;
mod faults;
mod feeding;
mod find;
mod groups;
mod growth;
mod ledger;
mod litters;
mod loans;
mod open_data;
mod pushed_out;
mod registration;
mod transfer;
mod weekly_round;
mod welfare;
mod worlds;
