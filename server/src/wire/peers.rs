//! Who is connected: how many lines there are, from where, and on which of them somebody is known.
//!
//! A line on which nobody has shown a good token is a stranger's. Where there are too many lines, the oldest stranger's
//! gives way to a new one; a line of somebody known never does.

use super::flow::{Flow, Held};
use std::collections::{BTreeMap, HashMap};
use std::net::{IpAddr, Ipv6Addr};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;
use tokio_util::sync::CancellationToken;

/// Lines that were told to give way are there until they have: so many more than `most` at the worst.
const GIVING_WAY: usize = 32;

/// All that a stranger's line is ever told, bytes: the descriptors of all services several times over.
const STRANGERS_SHARE: usize = 4 * 1024 * 1024;

/// Everybody who is connected.
pub struct Peers {
    most: usize,
    /// From one address; 0: no limit.
    most_of_one: usize,
    state: Mutex<State>,
}

#[derive(Default)]
struct State {
    next: u64,
    lines: usize,
    of: HashMap<IpAddr, usize>,
    /// By number, so that the oldest comes first.
    strangers: BTreeMap<u64, Arc<Peer>>,
}

/// Somebody at the other end of a line.
pub struct Peer {
    number: u64,
    address: IpAddr,
    known: AtomicBool,
    closing: CancellationToken,
    flow: Mutex<Flow>,
    peers: Arc<Peers>,
}

/// A place among those who are connected; given back when it is dropped.
pub(super) struct Seat(Arc<Peer>);

/// What becomes of somebody who comes.
pub(super) enum Admission {
    /// A place.
    Seat(Seat),
    /// None yet: too many are still about to give way.
    Soon,
    /// None: all are taken by people who are known.
    Full,
}

impl Peers {
    /// Room for so many lines, and so many of one address (0: no limit).
    #[must_use]
    pub fn new(most: usize, most_of_one: usize) -> Arc<Self> {
        Arc::new(Self { most, most_of_one, state: Mutex::default() })
    }

    /// A place for somebody who comes from an address, for which the oldest stranger may have to give way.
    pub(super) fn admit(self: &Arc<Self>, address: IpAddr) -> Admission {
        let address = network(address);
        let mut state = self.state();
        let own = state.of.get(&address).copied().unwrap_or(0);
        let crowded = self.most_of_one > 0 && own >= self.most_of_one;
        if crowded || state.lines >= self.most {
            if state.lines >= self.most + GIVING_WAY || (crowded && own >= self.most_of_one + GIVING_WAY) {
                return Admission::Soon;
            }
            let oldest = state.strangers.values().find(|peer| !crowded || peer.address == address);
            let oldest = oldest.map(|peer| peer.number);
            let Some(gone) = oldest.and_then(|oldest| state.strangers.remove(&oldest)) else {
                return Admission::Full;
            };
            gone.closing.cancel();
        }
        state.next += 1;
        state.lines += 1;
        *state.of.entry(address).or_default() += 1;
        let peer = Arc::new(Peer {
            number: state.next,
            address,
            known: AtomicBool::new(false),
            closing: CancellationToken::new(),
            flow: Mutex::new(Flow::new(Instant::now())),
            peers: Arc::clone(self),
        });
        state.strangers.insert(peer.number, Arc::clone(&peer));
        Admission::Seat(Seat(peer))
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Whoever has one address of IPv6 has all of its network: RFC 6177, section 2.
fn network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(long) => IpAddr::V6(Ipv6Addr::from_bits(long.to_bits() & !u128::from(u64::MAX))),
        short => short,
    }
}

impl Seat {
    pub(super) fn peer(&self) -> &Arc<Peer> {
        &self.0
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        let Peer { number, address, peers, .. } = &*self.0;
        {
            let mut state = peers.state();
            state.strangers.remove(number);
            state.lines -= 1;
            if let Some(own) = state.of.get_mut(address) {
                *own -= 1;
                if *own == 0 {
                    state.of.remove(address);
                }
            }
        }
        let held = self.0.flow().take(usize::MAX, Instant::now());
        drop(held);
    }
}

impl Peer {
    /// Where they come from: an address, or a network of those who have a whole one.
    #[must_use]
    pub const fn address(&self) -> IpAddr {
        self.address
    }

    /// Somebody has shown a good token on this line.
    pub fn introduce(&self) {
        if !self.known.swap(true, Ordering::Relaxed) {
            let known = self.peers.state().strangers.remove(&self.number);
            drop(known);
        }
    }

    /// Notes bytes of a reply as on their way. Answers false, and ends the line, where a stranger had all that one gets.
    #[must_use]
    pub fn give(&self, bytes: usize) -> bool {
        let given = self.flow().give(bytes, Instant::now());
        let fine = given <= STRANGERS_SHARE || self.known.load(Ordering::Relaxed);
        if !fine {
            self.closing.cancel();
        }
        fine
    }

    /// Notes bytes of a reply as not on their way any longer.
    pub fn take(&self, bytes: usize) {
        let held = self.flow().take(bytes, Instant::now());
        drop(held);
    }

    /// Keeps something until all replies that are on their way were taken.
    pub fn hold(&self, held: Held) {
        let back = self.flow().hold(held);
        drop(back);
    }

    pub(super) fn flow(&self) -> MutexGuard<'_, Flow> {
        self.flow.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) const fn closing(&self) -> &CancellationToken {
        &self.closing
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> IpAddr {
        text.parse().unwrap()
    }

    fn admitted(peers: &Arc<Peers>, address: &str) -> Option<Seat> {
        match peers.admit(at(address)) {
            Admission::Seat(seat) => Some(seat),
            Admission::Soon | Admission::Full => None,
        }
    }

    #[test]
    fn the_oldest_stranger_gives_way_and_nobody_who_is_known() {
        let peers = Peers::new(2, 0);
        let known = admitted(&peers, "192.0.2.1").unwrap();
        known.peer().introduce();
        let stranger = admitted(&peers, "192.0.2.2").unwrap();
        let next = admitted(&peers, "192.0.2.3").unwrap();
        assert!(stranger.peer().closing().is_cancelled());
        assert!(!known.peer().closing().is_cancelled() && !next.peer().closing().is_cancelled());
        drop(stranger);
        next.peer().introduce();
        assert!(admitted(&peers, "192.0.2.4").is_none(), "all are known");
        drop(next);
        assert!(admitted(&peers, "192.0.2.4").is_some());
    }

    #[test]
    fn whoever_takes_many_lines_takes_them_from_those_of_their_own_address() {
        let peers = Peers::new(10, 2);
        let other = admitted(&peers, "192.0.2.1").unwrap();
        let mine: Vec<Seat> = (0..3).filter_map(|_| admitted(&peers, "192.0.2.2")).collect();
        let ended: Vec<bool> = mine.iter().map(|seat| seat.peer().closing().is_cancelled()).collect();
        assert_eq!(ended, [true, false, false]);
        assert!(!other.peer().closing().is_cancelled());
    }

    #[test]
    fn whoever_comes_while_many_give_way_waits_until_one_is_gone() {
        let peers = Peers::new(1, 0);
        let mut seats: Vec<Seat> = (0..=GIVING_WAY).filter_map(|_| admitted(&peers, "192.0.2.1")).collect();
        assert_eq!(seats.len(), 1 + GIVING_WAY);
        assert!(matches!(peers.admit(at("192.0.2.1")), Admission::Soon));
        seats.remove(0);
        assert!(matches!(peers.admit(at("192.0.2.1")), Admission::Seat(_)));
    }

    #[test]
    fn an_address_is_one_however_it_is_written() {
        assert_eq!(network(at("::ffff:192.0.2.1")), at("192.0.2.1"));
        assert_eq!(network(at("2001:db8::1")), network(at("2001:db8::ffff:2")));
        assert_ne!(network(at("2001:db8::1")), network(at("2001:db8:0:1::1")));
    }

    #[test]
    fn a_stranger_gets_a_share_and_whoever_is_known_all_that_they_ask_for() {
        let peers = Peers::new(2, 0);
        let (stranger, known) =
            (admitted(&peers, "192.0.2.1").unwrap(), admitted(&peers, "192.0.2.1").unwrap());
        known.peer().introduce();
        assert!(stranger.peer().give(STRANGERS_SHARE));
        assert!(!stranger.peer().give(1));
        assert!(stranger.peer().closing().is_cancelled());
        assert!(known.peer().give(2 * STRANGERS_SHARE));
    }
}
