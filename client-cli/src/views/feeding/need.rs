//! What the members of a group need, and a ration beside it.

use crate::output::{Page, Tone};
use crate::views::{count, day, some, spoken, spoken_mass, tenth};
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// What a member needs.
#[derive(Clone, Serialize)]
struct Member {
    accession: String,
    house_name: Option<String>,
    mass_mg: Option<i64>,
    weighed_on: Option<String>,
    low_kcal: f64,
    high_kcal: f64,
    source: String,
}

/// A member whose need is not known.
#[derive(Clone, Serialize)]
struct Uncounted {
    accession: String,
    house_name: Option<String>,
    because: &'static str,
}

/// What the members need together.
#[derive(Clone, Serialize)]
pub(super) struct Need {
    pub(super) low_kcal: f64,
    pub(super) high_kcal: f64,
    members: Vec<Member>,
    uncounted: Vec<Uncounted>,
}

/// A ration beside it.
#[derive(Clone, Serialize)]
pub(super) struct Beside {
    pub(super) kcal: f64,
    /// `short`, `fits` or `over`; none where it cannot be told.
    pub(super) verdict: Option<&'static str>,
    off_percent: Option<f64>,
}

impl From<v1::GroupNeed> for Need {
    fn from(need: v1::GroupNeed) -> Self {
        let members = need.members.into_iter().map(|member| {
            let animal = member.animal.unwrap_or_default();
            Member {
                accession: animal.accession,
                house_name: some(animal.house_name),
                mass_mg: member.mass.map(|mass| mass.milligrams),
                weighed_on: day(member.weighed_on),
                low_kcal: tenth(member.low_kcal),
                high_kcal: tenth(member.high_kcal),
                source: member.source,
            }
        });
        let uncounted = need.uncounted.into_iter().map(|member| {
            let because = member.because().word();
            let animal = member.animal.unwrap_or_default();
            Uncounted { accession: animal.accession, house_name: some(animal.house_name), because }
        });
        Self {
            low_kcal: tenth(need.low_kcal),
            high_kcal: tenth(need.high_kcal),
            members: members.collect(),
            uncounted: uncounted.collect(),
        }
    }
}

impl From<v1::RationSum> for Beside {
    fn from(sum: v1::RationSum) -> Self {
        let verdict = Some(sum.verdict().word()).filter(|word| !word.is_empty());
        Self { kcal: tenth(sum.kcal), verdict, off_percent: verdict.map(|_| tenth(sum.off_percent)) }
    }
}

impl Beside {
    pub(super) fn fits(&self) -> bool {
        self.verdict == Some(v1::RationVerdict::Fits.word())
    }

    /// `420 kcal a day: short by 12 %`.
    pub(super) fn spoken(&self, page: &Page) -> String {
        let off = self.off_percent.unwrap_or_default();
        let told = match self.verdict {
            Some("short") => page.paint(Tone::Warning, &format!("short by {off:.0} %")),
            Some("over") => page.paint(Tone::Warning, &format!("over by {off:.0} %")),
            Some(_) => "fits".to_owned(),
            None => "not known whether it fits".to_owned(),
        };
        format!("{:.0} kcal a day: {told}", self.kcal)
    }
}

impl Need {
    /// What they need, who is counted with which weight, and who is not.
    pub(super) fn page(&self, page: &mut Page) {
        if self.members.is_empty() && self.uncounted.is_empty() {
            page.line("Nobody is in the group.");
            return;
        }
        if !self.members.is_empty() {
            let each: Vec<String> = self
                .members
                .iter()
                .map(|member| {
                    format!(
                        "{}, {} on {}: {:.0} to {:.0}",
                        spoken(member.house_name.as_deref(), &member.accession),
                        member.mass_mg.map(spoken_mass).unwrap_or_default(),
                        member.weighed_on.as_deref().unwrap_or_default(),
                        member.low_kcal,
                        member.high_kcal
                    )
                })
                .collect();
            page.hanging(
                &format!(
                    "Need of {}: {:.0} to {:.0} kcal a day ({})",
                    count(each.len(), "member", "members"),
                    self.low_kcal,
                    self.high_kcal,
                    each.join("; ")
                ),
                4,
            );
        }
        for (because, why) in [
            ("never-weighed", "never weighed"),
            ("species-not-described", "the need of the species is not recorded (`holt species describe`)"),
        ] {
            let names: Vec<String> = self
                .uncounted
                .iter()
                .filter(|member| member.because == because)
                .map(|member| spoken(member.house_name.as_deref(), &member.accession))
                .collect();
            if !names.is_empty() {
                let say = page.paint(Tone::Warning, &format!("Not counted, {why}: {}.", names.join(", ")));
                page.hanging(&say, 4);
            }
        }
        if !self.uncounted.is_empty() && !self.members.is_empty() {
            page.line("The need of all is higher than shown.");
        }
    }

    /// Where the factors and the multiples are from, each once.
    pub(super) fn sources(&self) -> String {
        let mut sources: Vec<&str> = self.members.iter().map(|member| member.source.as_str()).collect();
        sources.sort_unstable();
        sources.dedup();
        sources.join("; ")
    }
}
