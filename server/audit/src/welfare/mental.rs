//! The fifth domain: what the other four would make the animal feel.
//!
//! Mental state is inferred, never entered (Mellor et al. 2020). The inference here takes over the worst
//! and the best that was found, and names all of the evidence with the affect that the protocol ties to
//! it. That the worst of four is carried over, rather than weighed, is Holt's own rule.

use super::grade::{DomainGrade, Found};
use super::protocol::{Compromise, Enhancement};
use crate::terms::Domain;
use serde::Serialize;
use std::cmp::Reverse;
use std::collections::BTreeMap;

/// What is inferred of the animal's mental state.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Mental {
    /// The worst of the four domains; `None` where none was graded.
    pub compromise: Option<Compromise>,
    /// The best of the four domains; `None` where none was graded.
    pub enhancement: Option<Enhancement>,
    /// Every finding other than A and 0, worst first, then best first.
    pub because: Vec<Affect>,
    /// Domains without any assessed indicator: the inference knows nothing of them.
    pub without: Vec<Domain>,
}

/// One finding and what it would make the animal feel.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Affect {
    /// The domain it was found in.
    pub domain: Domain,
    /// Code of the indicator.
    pub indicator: String,
    /// How bad.
    pub compromise: Compromise,
    /// How good, as far as the animal itself supports it.
    pub enhancement: Enhancement,
    /// The feeling that the protocol names for it.
    pub affect: Option<String>,
}

pub(super) fn infer(domains: &BTreeMap<Domain, DomainGrade>, found: &[Found<'_>]) -> Mental {
    let mut because: Vec<Affect> = found
        .iter()
        .map(|f| Affect {
            domain: f.indicator.domain,
            indicator: f.indicator.code.clone(),
            compromise: f.meaning.compromise,
            enhancement: f.supported(),
            affect: f.meaning.affect.map(str::to_owned),
        })
        .filter(|affect| affect.compromise > Compromise::A || affect.enhancement > Enhancement::None)
        .collect();
    because.sort_by_key(|affect| Reverse((affect.compromise, affect.enhancement)));
    Mental {
        compromise: domains.values().filter_map(|d| Some(d.compromise.as_ref()?.grade)).max(),
        enhancement: domains.values().filter_map(|d| Some(d.enhancement.as_ref()?.grade)).max(),
        because,
        without: domains.iter().filter(|(_, d)| d.assessed.is_empty()).map(|(domain, _)| *domain).collect(),
    }
}
