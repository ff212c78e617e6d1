//! What holds of the whole contract: who may call what, what the schema guarantees, which way arrows run.

mod commands;
mod imports;
mod overlapping;
mod poison;
mod raw;
mod reasons;
mod requests;
mod roles;
mod schema;
mod sight;
