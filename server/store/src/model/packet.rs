//! Packets: what goes with an animal to another site.

use crate::model::animal::Label;
use holt_audit::terms::Sex;

/// An animal of the species that lives at the destination.
#[derive(Clone, Debug)]
pub struct Receiving {
    /// None for people of the sender.
    pub animal: Option<Label>,
    pub sex: Sex,
    /// Whole years.
    pub age_years: Option<u32>,
    /// With the animal that is to come.
    pub kinship: f64,
    /// Share of the ancestry of both that leads to founders.
    pub known: f64,
    pub enclosure: String,
}
