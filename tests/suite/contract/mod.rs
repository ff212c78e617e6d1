//! What holds of the whole contract: who may call what, what the schema guarantees, which way arrows run.

mod asker;
mod commands;
mod guards;
mod imports;
mod overlapping;
mod pen;
mod poison;
mod raw;
mod reasons;
mod reference;
mod requests;
mod roles;
mod scene;
mod schema;
mod sight;
mod steps;
mod ways_in;
mod words;
