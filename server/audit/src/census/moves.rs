//! Several sites counted as one: a move between two of them neither leaves nor arrives.

use super::stay::{Began, Ended, Flaw, Flaws, Stay};
use crate::terms::Day;
use chrono::Days;
use std::collections::{BTreeMap, BTreeSet};

/// The dates of two sites for one instant differ by up to so many days: civil zones lie up to 26 hours apart
/// (UTC+14 and UTC-12, IANA time zone database, `Pacific/Kiritimati` and `Etc/GMT+12`).
pub const ZONES_APART_DAYS: u64 = 2;

/// What the books of some sites say together.
pub(super) type Lives<A, S, P> = Vec<Held<A, S, P>>;

/// A stay at any of the sites, and the stretches of it in which the animal was on its way.
pub(super) struct Held<A, S, P> {
    pub(super) stay: Stay<A, S, P>,
    /// Places of the first and of the last of the stays that were made into one, among those that were given.
    pub(super) first: usize,
    pub(super) last: usize,
    travels: Vec<(Day, Day)>,
}

impl<A, S, P> Held<A, S, P> {
    /// Whether the animal had been sent and not yet received at the close of `day`.
    pub(super) fn on_its_way(&self, day: Day) -> bool {
        self.travels.iter().any(|(sent, received)| *sent <= day && day < *received)
    }
}

/// The stays at `sites`, with those that one transfer joins made into one. The animal counts as held
/// while it travels; one that was sent and has not been received yet is still held, by the group.
///
/// The stays of one animal stand in the order in which they followed one another: days alone do not tell it,
/// for a receiver west of the sender may write an earlier date. Where such a stay is the last, the group lost
/// the animal no earlier than it came.
///
/// # Errors
/// Every stay that ends before it begins, and every animal held twice or under two species. Sites may disagree
/// by [`ZONES_APART_DAYS`] about a transfer; that alone is no flaw.
pub(super) fn join<A: Clone + Ord, L, S: Clone + PartialEq, P: Clone + Ord>(
    stays: &[Stay<A, S, P>],
    sites: &BTreeSet<P>,
) -> Result<Lives<A, S, P>, Flaws<A, L>> {
    let mut by_animal: BTreeMap<&A, Vec<usize>> = BTreeMap::new();
    for (at, stay) in stays.iter().enumerate().filter(|(_, stay)| sites.contains(&stay.site)) {
        by_animal.entry(&stay.animal).or_default().push(at);
    }
    let (mut joined, mut flaws) = (Vec::new(), Vec::new());
    for life in by_animal.into_values() {
        let alone = |at: usize| Held { stay: stays[at].clone(), first: at, last: at, travels: Vec::new() };
        let mut rest = life.into_iter().map(alone);
        let Some(mut held) = rest.next() else { continue };
        flaws.extend(backwards(&held.stay));
        for after in rest {
            let next = &after.stay;
            flaws.extend(backwards(next));
            if next.species != held.stay.species {
                flaws.push(Flaw::TwoSpecies { animal: next.animal.clone() });
            }
            let inside = is_move_within(&held.stay, next, sites);
            let sent = end_day(&held.stay);
            let free_from = if inside { sent - Days::new(ZONES_APART_DAYS) } else { sent };
            if next.from < free_from {
                flaws.push(Flaw::HeldTwice { animal: next.animal.clone(), day: next.from });
            }
            if inside {
                held.travels.push((sent, next.from));
                held.last = after.last;
                let (came, next) = (held.stay.from, after.stay);
                held.stay.sexes.extend(next.sexes);
                held.stay.end = next.end.map(|(end, how)| (end.max(came), how));
                held.stay.born = held.stay.born.or(next.born);
            } else {
                joined.push(std::mem::replace(&mut held, after));
            }
        }
        joined.push(held);
    }
    for held in joined.iter_mut().filter(|held| sent_within(&held.stay, sites)) {
        held.travels.push((end_day(&held.stay), Day::MAX));
        held.stay.end = None;
    }
    if flaws.is_empty() { Ok(joined) } else { Err(flaws) }
}

/// Whether the stay ended by a transfer to one of the sites.
fn sent_within<A, S, P: Ord>(stay: &Stay<A, S, P>, sites: &BTreeSet<P>) -> bool {
    matches!(&stay.end, Some((_, Ended::TransferOut { to })) if sites.contains(to))
}

fn is_move_within<A, S, P: Ord>(held: &Stay<A, S, P>, next: &Stay<A, S, P>, sites: &BTreeSet<P>) -> bool {
    sent_within(held, sites) && matches!(&next.began, Began::TransferIn { from } if sites.contains(from))
}

fn end_day<A, S, P>(stay: &Stay<A, S, P>) -> Day {
    stay.end.as_ref().map_or(Day::MAX, |(end, _)| *end)
}

fn backwards<A: Clone, L, S, P>(stay: &Stay<A, S, P>) -> Option<Flaw<A, L>> {
    let (end, _) = stay.end.as_ref()?;
    (*end < stay.from).then(|| Flaw::EndsBeforeItBegins {
        animal: stay.animal.clone(),
        from: stay.from,
        end: *end,
    })
}
