//! Watches: who did what to whom in a group, and for how long somebody looked.

use crate::model::animal::Label;
use chrono::{DateTime, TimeDelta, Utc};
use holt_audit::ethogram::{Above, SoundEthogram};
use holt_audit::standing::observed::{Scanned, Seen, Session};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// How an interaction ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// As the behaviour says by itself.
    #[default]
    Usual,
    ReceiverYielded,
    ActorYielded,
    Undecided,
}

/// One animal in a scan.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Look<A> {
    pub animal: A,
    /// Code of the behaviour.
    pub behaviour: String,
    /// 0 where company was not noted.
    pub party: i32,
    pub place: String,
}

/// What was seen, with animals as they were named or as they are identified.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case")]
pub enum What<A> {
    Interaction {
        actor: A,
        behaviour: String,
        receiver: Option<A>,
        at_food: bool,
        outcome: Outcome,
    },
    Scan {
        seen: Vec<Look<A>>,
    },
    Bout {
        animal: A,
        /// None where it was out of sight.
        behaviour: Option<String>,
        seconds: u32,
    },
    Sight {
        /// None: nobody watches for a while.
        animal: Option<A>,
        out: bool,
    },
    Feed,
    Remark {
        text: String,
    },
    End,
}

impl<A> What<A> {
    /// The same with animals named otherwise. `name` is told where in the event each stands.
    ///
    /// # Errors
    /// The first that `name` answers.
    pub fn named<B, E>(&self, mut name: impl FnMut(&A, &str) -> Result<B, E>) -> Result<What<B>, E> {
        Ok(match self {
            Self::Interaction { actor, behaviour, receiver, at_food, outcome } => What::Interaction {
                actor: name(actor, "interaction.actor")?,
                behaviour: behaviour.clone(),
                receiver: receiver.as_ref().map(|one| name(one, "interaction.receiver")).transpose()?,
                at_food: *at_food,
                outcome: *outcome,
            },
            Self::Scan { seen } => What::Scan {
                seen: seen
                    .iter()
                    .enumerate()
                    .map(|(n, look)| {
                        Ok(Look {
                            animal: name(&look.animal, &format!("scan.seen[{n}].animal"))?,
                            behaviour: look.behaviour.clone(),
                            party: look.party,
                            place: look.place.clone(),
                        })
                    })
                    .collect::<Result<_, E>>()?,
            },
            Self::Bout { animal, behaviour, seconds } => What::Bout {
                animal: name(animal, "bout.animal")?,
                behaviour: behaviour.clone(),
                seconds: *seconds,
            },
            Self::Sight { animal, out } => What::Sight {
                animal: animal.as_ref().map(|one| name(one, "sight.animal")).transpose()?,
                out: *out,
            },
            Self::Feed => What::Feed,
            Self::Remark { text } => What::Remark { text: text.clone() },
            Self::End => What::End,
        })
    }

    /// Codes of behaviours that it names, with where each stands.
    pub fn behaviours(&self) -> Vec<(&str, String)> {
        match self {
            Self::Interaction { behaviour, .. } => {
                vec![(behaviour.as_str(), "interaction.behaviour".to_owned())]
            }
            Self::Scan { seen } => {
                let each = seen.iter().enumerate();
                each.map(|(n, look)| (look.behaviour.as_str(), format!("scan.seen[{n}].behaviour"))).collect()
            }
            Self::Bout { behaviour: Some(behaviour), .. } => {
                vec![(behaviour.as_str(), "bout.behaviour".to_owned())]
            }
            Self::Bout { .. } | Self::Sight { .. } | Self::Feed | Self::Remark { .. } | Self::End => {
                Vec::new()
            }
        }
    }
}

impl What<Uuid> {
    /// As it is counted; nothing where it is not. A behaviour that the ethogram does not have is none.
    #[must_use]
    pub fn seen(&self, ethogram: &SoundEthogram) -> Option<Seen<Uuid>> {
        Some(match self {
            Self::Interaction { actor, behaviour, receiver, at_food, outcome } => {
                let behaviour = ethogram.behaviour(behaviour)?;
                let above = match outcome {
                    Outcome::Usual => behaviour.above,
                    Outcome::ReceiverYielded => Above::Actor,
                    Outcome::ActorYielded => Above::Receiver,
                    Outcome::Undecided => Above::Nobody,
                };
                let (actor, receiver, at_food) = (*actor, *receiver, *at_food);
                Seen::Did { actor, receiver, kind: behaviour.kind, above, at_food }
            }
            Self::Scan { seen } => Seen::Scan(
                seen.iter()
                    .filter_map(|look| {
                        Some(Scanned {
                            animal: look.animal,
                            behaviour: look.behaviour.clone(),
                            kind: ethogram.behaviour(&look.behaviour)?.kind,
                            party: u32::try_from(look.party).ok().filter(|party| *party > 0),
                            place: look.place.to_lowercase(),
                        })
                    })
                    .collect(),
            ),
            Self::Bout { animal, behaviour, seconds } => {
                Seen::Followed { animal: *animal, behaviour: behaviour.clone(), seconds: *seconds }
            }
            Self::Sight { animal, out } => Seen::Sight { animal: *animal, out: *out },
            Self::Feed => Seen::Food,
            Self::Remark { .. } | Self::End => return None,
        })
    }
}

/// Something in a watch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event<A> {
    /// 1 and up.
    pub number: i32,
    pub at: DateTime<Utc>,
    pub what: What<A>,
}

/// A watch to record, or more of one.
#[derive(Clone, Debug)]
pub struct NewWatch {
    /// Made by whoever watches.
    pub id: Uuid,
    pub group: String,
    pub ethogram: String,
    /// 0 for the newest.
    pub version: i32,
    pub began_at: DateTime<Utc>,
    /// The animals that were watched; none where it was the whole group.
    pub focal: Vec<String>,
    pub events: Vec<Event<String>>,
}

/// A watch on record, with what was not withdrawn of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Watch {
    pub id: Uuid,
    pub site: String,
    pub group_id: Uuid,
    pub group: String,
    pub ethogram_id: Uuid,
    pub ethogram: String,
    pub ethogram_version: i32,
    pub watcher: String,
    pub began_at: DateTime<Utc>,
    pub focal: Vec<Uuid>,
    /// By number.
    pub events: Vec<Event<Uuid>>,
    pub recorded_at: DateTime<Utc>,
}

impl Watch {
    /// When it ended; none while it runs.
    #[must_use]
    pub fn ended_at(&self) -> Option<DateTime<Utc>> {
        self.events.iter().filter(|event| event.what == What::End).map(|event| event.at).max()
    }

    /// The end, or the latest that is known of it.
    #[must_use]
    pub fn until(&self) -> DateTime<Utc> {
        let latest = self.events.iter().map(|event| event.at).max();
        self.ended_at().or(latest).unwrap_or(self.began_at).max(self.began_at)
    }

    /// Minutes for which somebody watched.
    #[must_use]
    pub fn minutes(&self) -> f64 {
        let mut changes: Vec<(DateTime<Utc>, bool)> = self
            .events
            .iter()
            .filter_map(|event| match event.what {
                What::Sight { animal: None, out } => Some((event.at, out)),
                _ => None,
            })
            .collect();
        changes.sort_by_key(|(at, _)| *at);
        let mut watched = TimeDelta::zero();
        let mut since = Some(self.began_at);
        for (at, out) in changes {
            match (since, out) {
                (Some(from), true) => {
                    watched += at - from;
                    since = None;
                }
                (None, false) => since = Some(at),
                _ => {}
            }
        }
        if let Some(from) = since {
            watched += self.until() - from;
        }
        watched.as_seconds_f64() / 60.0
    }

    /// The animals that it names.
    #[must_use]
    pub fn animals(&self) -> Vec<Uuid> {
        let mut animals = self.focal.clone();
        for event in &self.events {
            let noted: Result<_, std::convert::Infallible> = event.what.named(|animal, _| {
                animals.push(*animal);
                Ok(())
            });
            let Ok(_) = noted;
        }
        animals.sort_unstable();
        animals.dedup();
        animals
    }

    /// As it is counted.
    #[must_use]
    pub fn session(&self, ethogram: &SoundEthogram) -> Session<Uuid> {
        Session {
            from: self.began_at,
            until: self.until(),
            only: self.focal.clone(),
            seen: self
                .events
                .iter()
                .filter_map(|event| Some((event.at, event.what.seen(ethogram)?)))
                .collect(),
        }
    }
}

/// How a watch stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Summary {
    pub id: Uuid,
    pub site: String,
    pub group: String,
    pub began_at: DateTime<Utc>,
    pub ended_at: Option<DateTime<Utc>>,
    pub minutes: f64,
    pub events: usize,
}

impl From<&Watch> for Summary {
    fn from(watch: &Watch) -> Self {
        Self {
            id: watch.id,
            site: watch.site.clone(),
            group: watch.group.clone(),
            began_at: watch.began_at,
            ended_at: watch.ended_at(),
            minutes: watch.minutes(),
            events: watch.events.len(),
        }
    }
}

/// A watch with the animals that it names.
#[derive(Clone, Debug)]
pub struct Listed {
    pub watch: Watch,
    pub animals: Vec<Label>,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> DateTime<Utc> {
        DateTime::<Utc>::UNIX_EPOCH + TimeDelta::minutes(minute)
    }

    fn watch(events: Vec<(i64, What<Uuid>)>) -> Watch {
        let events = (1..).zip(events).map(|(number, (minute, what))| Event { number, at: at(minute), what });
        Watch {
            id: Uuid::nil(),
            site: "QUI".to_owned(),
            group_id: Uuid::nil(),
            group: "Weir family".to_owned(),
            ethogram_id: Uuid::nil(),
            ethogram: "otters".to_owned(),
            ethogram_version: 1,
            watcher: String::new(),
            began_at: at(0),
            focal: Vec::new(),
            events: events.collect(),
            recorded_at: at(0),
        }
    }

    #[test]
    fn breaks_are_no_watching() {
        let pause = |out| What::Sight { animal: None, out };
        let one = watch(vec![(10, pause(true)), (25, pause(false)), (40, What::End)]);
        assert!((one.minutes() - 25.0).abs() < 1e-9);
        let away = watch(vec![(10, pause(true)), (40, What::End)]);
        assert!((away.minutes() - 10.0).abs() < 1e-9, "nobody came back");
        let running = watch(vec![(7, What::Feed)]);
        assert_eq!((running.ended_at(), running.until()), (None, at(7)));
    }
}
