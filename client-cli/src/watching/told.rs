//! A watch told back: each event in a line, and how often each thing was seen.

use super::names::Member;
use holt_proto::v1;
use holt_proto::v1::watch_event::What;

/// What events are told by.
pub(crate) struct Words<'a> {
    pub(crate) members: &'a [Member],
    pub(crate) behaviours: &'a [v1::Behaviour],
}

impl Words<'_> {
    fn name<'t>(&'t self, id: &'t str) -> &'t str {
        self.members.iter().find(|member| member.id == id).map_or(id, Member::spoken)
    }

    fn does<'t>(&'t self, code: &'t str) -> &'t str {
        self.behaviours.iter().find(|one| one.code == code).map_or(code, |one| one.name.as_str())
    }

    /// An event as a line: `Bramble chases Sedge, over food`.
    pub(crate) fn spoken(&self, what: &What) -> String {
        match what {
            What::Interaction(one) => {
                let mut line = format!("{} {}", self.name(&one.actor), self.does(&one.behaviour));
                if !one.receiver.is_empty() {
                    line = format!("{line} {}", self.name(&one.receiver));
                }
                if one.at_food {
                    line.push_str(", over food");
                }
                let yielded = match one.outcome() {
                    v1::InteractionOutcome::Unspecified => return line,
                    v1::InteractionOutcome::Undecided => ", neither yields".to_owned(),
                    v1::InteractionOutcome::ReceiverYielded => {
                        format!(", {} yields", self.name(&one.receiver))
                    }
                    v1::InteractionOutcome::ActorYielded => format!(", {} yields", self.name(&one.actor)),
                };
                line + &yielded
            }
            What::Scan(scan) => {
                let look = |one: &v1::ScannedAnimal| {
                    let party = if one.party > 0 { format!(" (party {})", one.party) } else { String::new() };
                    let place =
                        if one.place.is_empty() { String::new() } else { format!(" at {}", one.place) };
                    format!("{} {}{place}{party}", self.name(&one.animal), self.does(&one.behaviour))
                };
                format!("scan: {}", scan.seen.iter().map(look).collect::<Vec<_>>().join("; "))
            }
            What::Bout(one) if one.behaviour.is_empty() => {
                format!("{} out of sight for {} s", self.name(&one.animal), one.seconds)
            }
            What::Bout(one) => {
                format!("{} {} for {} s", self.name(&one.animal), self.does(&one.behaviour), one.seconds)
            }
            What::Sight(one) if one.animal.is_empty() => {
                if one.out { "nobody observes for a while" } else { "observation goes on" }.to_owned()
            }
            What::Sight(one) => {
                format!(
                    "{} {}",
                    self.name(&one.animal),
                    if one.out { "is out of sight" } else { "is in sight again" }
                )
            }
            What::Feed(_) => "food is given".to_owned(),
            What::Remark(text) => format!("note: {text}"),
            What::End(_) => "the observation ends".to_owned(),
        }
    }

    /// What was seen and how often, most often first.
    pub(crate) fn tally<'e>(&self, events: impl IntoIterator<Item = &'e What>) -> Vec<(String, usize)> {
        let mut tally: Vec<(String, usize)> = Vec::new();
        for what in events {
            let line = match what {
                What::Interaction(one) => self.spoken(&What::Interaction(v1::Interaction {
                    at_food: false,
                    outcome: v1::InteractionOutcome::Unspecified.into(),
                    ..one.clone()
                })),
                What::Scan(_) => "scans of the group".to_owned(),
                What::Feed(_) => "feeds".to_owned(),
                What::Bout(_) | What::Sight(_) | What::Remark(_) | What::End(_) => continue,
            };
            match tally.iter_mut().find(|(known, _)| *known == line) {
                Some((_, count)) => *count += 1,
                None => tally.push((line, 1)),
            }
        }
        tally.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
        tally
    }
}
