//! What is asked to be changed of a fact, and which facts say it.

use super::malformed;
use crate::model::animal::{ArrivalSource, Destination};
use crate::model::assessment::Finding;
use crate::model::death::Manner;
use crate::model::fact::FactKind;
use crate::model::group::Role;
use crate::model::kinship::KnownBy;
use crate::model::moment::Moment;
use crate::model::paper::Content;
use crate::records::error::{Refusal, Violation};
use chrono::NaiveDate;
use holt_audit::terms::{Mass, Sex};
use serde::{Deserialize, Deserializer, Serialize};

/// The code of a mark, and what it is as that of a transponder: code and issuer, or what is wrong and what
/// to do instead.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Code {
    pub text: String,
    pub transponder: Result<(String, String), (String, String)>,
}

/// What a fact is to say instead; none where it is to stay.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Change {
    pub born: Option<(NaiveDate, NaiveDate)>,
    pub estimated: Option<bool>,
    pub sex: Option<Sex>,
    pub parent: Option<String>,
    pub share: Option<f64>,
    /// Of a parent.
    pub known_by: Option<KnownBy>,
    /// Why parents are right that do not fit by the records.
    pub parents_because: Option<String>,
    pub mass: Option<Mass>,
    /// Whether a person vouches for a reading.
    pub accepted: Option<bool>,
    pub animal: Option<String>,
    pub enclosure: Option<String>,
    pub code: Option<Code>,
    pub place_on_body: Option<String>,
    pub manner: Option<Manner>,
    pub note: Option<String>,
    pub findings: Option<Vec<Finding>>,
    pub paper: Option<Content>,
    /// Code of a site, or a name outside Holt.
    pub owner: Option<String>,
    pub source: Option<ArrivalSource>,
    pub source_name: Option<String>,
    pub source_country: Option<String>,
    pub destination: Option<Destination>,
    pub destination_name: Option<String>,
    pub destination_country: Option<String>,
    pub found_on: Option<NaiveDate>,
    /// Some(None): no last day was agreed.
    #[serde(deserialize_with = "given", skip_serializing_if = "Option::is_none")]
    pub loan_until: Option<Option<NaiveDate>>,
    pub loan_terms: Option<String>,
    pub role: Option<Role>,
    pub moment: Option<Moment>,
    /// Some(None): it did not end.
    #[serde(deserialize_with = "given", skip_serializing_if = "Option::is_none")]
    pub ended: Option<Option<Moment>>,
}

/// A null that is given says that there is none; one that is not given says nothing.
fn given<'de, D: Deserializer<'de>, T: Deserialize<'de>>(from: D) -> Result<Option<Option<T>>, D::Error> {
    Option::deserialize(from).map(Some)
}

impl Change {
    /// What of a life is to be said instead, in words.
    pub(in crate::records) fn spoken(&self) -> String {
        let span = |(first, last): (NaiveDate, NaiveDate)| {
            if first == last { format!("born on {first}") } else { format!("born from {first} to {last}") }
        };
        let sex = |sex| format!("sex {}", crate::store::animals::sex_text(sex));
        let end = |end: Option<Moment>| {
            end.map_or_else(|| "lasts".to_owned(), |end| format!("ended {}", end.spoken()))
        };
        let estimate = |yes| if yes { "an estimate" } else { "not an estimate" }.to_owned();
        let said = [
            self.born.map(span),
            self.estimated.map(estimate),
            self.sex.map(sex),
            self.parent.as_ref().map(|parent| format!("parent {parent}")),
            self.share.map(|share| format!("share {share}")),
            self.known_by.map(|by| format!("known by {}", by.as_str().replace('_', " "))),
            self.parents_because.as_ref().map(|why| format!("parents accepted because: {why}")),
            self.code.as_ref().map(|code| format!("code {}", code.text)),
            self.place_on_body.as_ref().map(|place| format!("place on body {place}")),
            self.manner.map(|manner| format!("manner {}", manner.as_str())),
            self.note.as_ref().map(|note| format!("note: {note}")),
            self.found_on.map(|found| format!("found on {found}")),
            self.moment.map(|moment| format!("at {}", moment.spoken())),
            self.ended.map(end),
        ];
        said.into_iter().flatten().collect::<Vec<_>>().join("; ")
    }

    /// Names of what is given.
    fn given(&self) -> Vec<&'static str> {
        [
            ("born_on", self.born.is_some()),
            ("born_estimated", self.estimated.is_some()),
            ("sex", self.sex.is_some()),
            ("parent", self.parent.is_some()),
            ("share", self.share.is_some()),
            ("known_by", self.known_by.is_some()),
            ("parents_because", self.parents_because.is_some()),
            ("mass", self.mass.is_some()),
            ("accepted", self.accepted.is_some()),
            ("animal", self.animal.is_some()),
            ("enclosure", self.enclosure.is_some()),
            ("code", self.code.is_some()),
            ("place_on_body", self.place_on_body.is_some()),
            ("manner", self.manner.is_some()),
            ("note", self.note.is_some()),
            ("findings", self.findings.is_some()),
            ("paper", self.paper.is_some()),
            ("owner", self.owner.is_some()),
            ("source", self.source.is_some()),
            ("source_name", self.source_name.is_some()),
            ("source_country", self.source_country.is_some()),
            ("destination", self.destination.is_some()),
            ("destination_name", self.destination_name.is_some()),
            ("destination_country", self.destination_country.is_some()),
            ("found_on", self.found_on.is_some()),
            ("loan_until", self.loan_until.is_some()),
            ("loan_terms", self.loan_terms.is_some()),
            ("role", self.role.is_some()),
            ("happened_at", self.moment.is_some()),
            ("ended_at", self.ended.is_some()),
        ]
        .into_iter()
        .filter_map(|(name, given)| given.then_some(name))
        .collect()
    }

    /// Refuses what a fact of this kind does not say.
    pub(in crate::records) fn fits(&self, kind: FactKind) -> Result<(), Refusal> {
        let fields: &[&str] = match kind {
            FactKind::Birth => &["born_on", "born_estimated", "parents_because"],
            FactKind::Sex => &["sex", "happened_at"],
            FactKind::Parent => &["parent", "share", "known_by", "parents_because"],
            FactKind::Weight => &["mass", "animal", "note", "happened_at", "accepted"],
            FactKind::Placement => &["enclosure", "happened_at", "ended_at"],
            FactKind::Membership => &["role", "happened_at", "ended_at"],
            FactKind::LifeState => &["note", "happened_at", "ended_at"],
            FactKind::Mark => &["code", "place_on_body", "happened_at", "ended_at"],
            FactKind::Holding => &[
                "source",
                "source_name",
                "source_country",
                "destination",
                "destination_name",
                "destination_country",
                "happened_at",
                "ended_at",
            ],
            FactKind::Title => &["owner", "happened_at"],
            FactKind::Loan => &["loan_until", "loan_terms"],
            FactKind::Paper => &["paper"],
            FactKind::Assessment => &["findings", "note", "happened_at"],
            FactKind::Death => &["manner", "note", "found_on", "happened_at"],
            FactKind::Accession
            | FactKind::Encounter
            | FactKind::Transfer
            | FactKind::Merge
            | FactKind::Mistake
            | FactKind::ToldApart => &[],
        };
        if fields.is_empty() {
            let say = format!("a {} cannot be corrected", kind.spoken());
            return Err(malformed("fact_id", say, "correct the facts that it belongs to"));
        }
        let given = self.given();
        if given.is_empty() {
            return Err(malformed(
                "change",
                "no change given",
                &format!("give one of {}", fields.join(", ")),
            ));
        }
        let odd: Vec<Violation> = given
            .into_iter()
            .filter(|name| !fields.contains(name))
            .map(|name| Violation {
                field: format!("change.{name}"),
                say: format!("a {} has no such part", kind.spoken()),
                mend: format!("of it, {} can be changed", fields.join(", ")),
            })
            .collect();
        if odd.is_empty() { Ok(()) } else { Err(Refusal::malformed(odd)) }
    }
}
