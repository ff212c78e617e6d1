//! What Holt computes from records: given data, every function here returns findings with their evidence.
//!
//! **The invariant of this package:** it is pure. It depends on nothing of Holt's own, opens no
//! database, speaks no transport, and is told the time as a value. The same input gives the same
//! output, byte for byte, on every machine.
//!
//! Rooms:
//! - [`episode`]: the life of one matter: raised once, worse, better, quiet, returned.
//! - [`replay`]: what would have been raised, and when, had animals been watched all along.
//! - [`ration`]: energy on offer against energy needed.
//! - [`agreement`]: whether two assessors can be exchanged.
//! - [`schedule`]: checks, their due days and what became of them.
//! - [`attempts`]: how an animal takes to the scale.
//! - [`census`]: the stock return, for one site or several, and that it adds up.
//! - [`chance`]: random draws that repeat themselves.
//! - [`compliance`]: clauses, evidence and every exception by name.
//! - [`diversity`]: how varied a set of things is.
//! - [`encounters`]: how long animals met people, and whether they had their rest.
//! - [`enrichment`]: a rota that stays varied, and whether what is offered is used.
//! - [`ethogram`]: the behaviours that are watched for, as data.
//! - [`expected`]: what an animal is expected to weigh, and whether it loses.
//! - [`environment`]: ranges kept and broken, silent devices, limits of law.
//! - [`growth`]: the weight of the young.
//! - [`kinship`]: kinship and inbreeding, with what is unknown told as unknown.
//! - [`pairing`]: partners for an animal that must leave.
//! - [`seal`]: the hashing and the proofs of the sealed ledger.
//! - [`standard`]: the clauses of a law or a standard, as data.
//! - [`standing`]: who gives way to whom, who is with whom, who is being pushed out.
//! - [`stats`]: textbook statistics, each with the source of its formula.
//! - [`terms`]: the plain words that all computations share (sex, counts, mass, day, interval, domain).
//! - [`welfare`]: assessments in the Five Domains by protocols that are data.
//! - [`words`]: findings in words that a keeper accepts.
//! - [`zone`]: days of a site's time zone and the instants they are made of.

#![warn(missing_docs)]

pub mod agreement;
pub mod attempts;
pub mod census;
pub mod chance;
pub mod compliance;
pub mod diversity;
pub mod encounters;
pub mod enrichment;
pub mod environment;
pub mod episode;
pub mod ethogram;
pub mod expected;
pub mod growth;
pub mod kinship;
pub mod pairing;
pub mod ration;
pub mod replay;
pub mod schedule;
pub mod seal;
pub mod standard;
pub mod standing;
pub mod stats;
pub mod terms;
pub mod welfare;
pub mod words;
pub mod zone;
