//! A rota.

use super::Variety;
use crate::output::{Answer, Page, Table, Tone};
use crate::views::day;
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// One thing to offer.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Slot {
    planned_on: Option<String>,
    group: String,
    item: String,
    kind: &'static str,
    staff_minutes: i32,
    kcal: Option<f64>,
}

/// An offer that could not be planned.
#[derive(Clone, Serialize)]
struct Unfilled {
    planned_on: Option<String>,
    group: String,
    because: &'static str,
}

/// A group in the rota.
#[derive(Clone, Serialize)]
struct Group {
    group: String,
    variety: Option<Variety>,
    kept_kcal: f64,
}

/// A rota.
#[derive(Serialize)]
pub(crate) struct Rota {
    seed: u64,
    slots: Vec<Slot>,
    unfilled: Vec<Unfilled>,
    groups: Vec<Group>,
}

impl From<v1::PlanEnrichmentResponse> for Rota {
    fn from(answer: v1::PlanEnrichmentResponse) -> Self {
        let slots = answer.slots.into_iter().map(|slot| Slot {
            kind: slot.kind().word(),
            planned_on: day(slot.planned_on),
            group: slot.group,
            item: slot.item,
            staff_minutes: slot.staff_minutes,
            kcal: slot.kcal,
        });
        let unfilled = answer.unfilled.into_iter().map(|one| Unfilled {
            because: one.because().word(),
            planned_on: day(one.planned_on),
            group: one.group,
        });
        let groups = answer.groups.into_iter().map(|group| Group {
            group: group.group,
            variety: group.variety.map(Variety::from),
            kept_kcal: group.kept_kcal,
        });
        Self {
            seed: answer.seed,
            slots: slots.collect(),
            unfilled: unfilled.collect(),
            groups: groups.collect(),
        }
    }
}

fn said(because: &str) -> &'static str {
    match because {
        "nothing-suits" => "no item suits the group",
        "all-resting" => "all suitable items were offered too recently",
        "ration-spent" => "all rested items have more energy than its feeding plan keeps for enrichment",
        _ => "all remaining items need more staff time than there is",
    }
}

impl Answer for Rota {
    type Row = Slot;

    fn rows(&self) -> Vec<Slot> {
        self.slots.clone()
    }

    fn page(&self, page: &mut Page) {
        if !self.slots.is_empty() {
            let mut table = Table::new(["Day", "Group", "Item", "Kind", "Minutes", "kcal"]).numbers([4, 5]);
            let mut before: Option<&String> = None;
            for slot in &self.slots {
                let own = slot.planned_on.as_ref().filter(|on| before != Some(*on));
                table.row([
                    own.cloned().unwrap_or_default(),
                    slot.group.clone(),
                    slot.item.clone(),
                    slot.kind.to_owned(),
                    slot.staff_minutes.to_string(),
                    slot.kcal.map(|kcal| format!("{kcal:.0}")).unwrap_or_default(),
                ]);
                before = slot.planned_on.as_ref();
            }
            page.table(&table);
            page.gap();
        }
        for one in &self.unfilled {
            let say = format!(
                "{}, {}: nothing; {}.",
                one.planned_on.as_deref().unwrap_or_default(),
                one.group,
                said(one.because)
            );
            let say = page.paint(Tone::Warning, &say);
            page.hanging(&say, 4);
        }
        for group in &self.groups {
            if let Some(variety) = &group.variety {
                page.line(&format!("{}: {}.", group.group, variety.spoken()));
            }
        }
        page.remark(&format!("Nothing was recorded. For the same rota again: --seed {}.", self.seed));
    }
}
