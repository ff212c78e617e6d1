//! What the books of a site say: stays of animals, and litters whose young are not yet told apart.

use crate::terms::{Counts, Day, Sex};
use std::fmt;

/// One animal at one site, without a break.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stay<A, S, P> {
    /// Which animal.
    pub animal: A,
    /// Of which species.
    pub species: S,
    /// Where.
    pub site: P,
    /// First day on the books.
    pub from: Day,
    /// How it came onto the books.
    pub began: Began<P>,
    /// The day it left the books and how, if it has.
    pub end: Option<(Day, Ended<P>)>,
    /// When it was born, as far as that is known.
    pub born: Option<Born>,
    /// What its sex was held to be from each day on; unknown before the first. Of two entries for one
    /// day the later in the list holds.
    pub sexes: Vec<(Day, Sex)>,
}

/// How a stay began.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Began<P> {
    /// Born here.
    Birth,
    /// Came from somewhere that keeps no books with us.
    Arrival,
    /// Came by transfer from another site.
    TransferIn {
        /// The site that sent it.
        from: P,
    },
    /// Told apart from its litter, with which it was counted until then.
    ToldApart,
}

/// How a stay ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ended<P> {
    /// Died here.
    Death,
    /// Went somewhere that keeps no books with us.
    Departure,
    /// Went by transfer to another site.
    TransferOut {
        /// The site that is to receive it.
        to: P,
    },
    /// Got out and was not recovered.
    Escape,
}

/// A day of birth, as far as it is known. A month or year is its first and last day: nothing is made up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Born {
    /// The first day it can have been.
    pub earliest: Day,
    /// The last day it can have been.
    pub latest: Day,
}

impl Born {
    /// A birth whose day is known.
    #[must_use]
    pub const fn on(day: Day) -> Self {
        Self { earliest: day, latest: day }
    }

    /// Whether a death on `day` came within `days` of birth; `None` where the birth is not known well
    /// enough to say.
    #[must_use]
    pub fn within(self, days: i64, day: Day) -> Option<bool> {
        if (day - self.earliest).num_days() <= days {
            Some(true)
        } else if (day - self.latest).num_days() > days {
            Some(false)
        } else {
            None
        }
    }
}

/// Young of one birth that are counted, not named.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Litter<L, S, P> {
    /// Which litter.
    pub litter: L,
    /// Of which species.
    pub species: S,
    /// Where.
    pub site: P,
    /// When it was born, as far as that is known.
    pub born: Option<Born>,
    /// What happened to the count. It is read at the close of each day, so the order within one is free.
    pub changes: Vec<(Day, Change<P>)>,
}

/// What happens to the count of a litter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Change<P> {
    /// So many were born, or were found to have been born.
    Born(Counts),
    /// So many came from somewhere that keeps no books with us.
    Arrived(Counts),
    /// So many came by transfer.
    MovedIn {
        /// The site that sent them.
        from: P,
        /// How many.
        young: Counts,
    },
    /// Of those without known sex, so many proved to be male and female.
    Sexed {
        /// Found to be male.
        males: i64,
        /// Found to be female.
        females: i64,
    },
    /// So many left the count to be animals of their own, each with a [`Stay`] that began
    /// [`ToldApart`](Began::ToldApart) on that day.
    ToldApart(Counts),
    /// So many died before they were told apart.
    Died(Counts),
    /// So many went somewhere that keeps no books with us.
    Departed(Counts),
    /// So many went by transfer.
    MovedOut {
        /// The site that is to receive them.
        to: P,
        /// How many.
        young: Counts,
    },
    /// So many got out and were not recovered.
    Escaped(Counts),
}

impl<P> Change<P> {
    /// What the change does to the litter's own count.
    #[must_use]
    pub fn effect(&self) -> Counts {
        match self {
            Self::Born(young) | Self::Arrived(young) | Self::MovedIn { young, .. } => *young,
            Self::Sexed { males, females } => {
                Counts { males: *males, females: *females, unknown: -males - females }
            }
            Self::ToldApart(young)
            | Self::Died(young)
            | Self::Departed(young)
            | Self::Escaped(young)
            | Self::MovedOut { young, .. } => Counts::ZERO - *young,
        }
    }
}

impl<A, S, P> Stay<A, S, P> {
    /// Whether the animal is on the books at the close of `day`.
    #[must_use]
    pub fn on_books(&self, day: Day) -> bool {
        self.from <= day && self.end.as_ref().is_none_or(|(end, _)| *end > day)
    }

    /// What its sex was held to be at the close of `day`.
    #[must_use]
    pub fn sex(&self, day: Day) -> Sex {
        let known = self.sexes.iter().filter(|(from, _)| *from <= day);
        // max_by_key gives the last of equals, so the later entry for one day holds.
        known.max_by_key(|(from, _)| *from).map_or(Sex::Unknown, |(_, sex)| *sex)
    }
}

/// An animal or a litter, by name.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Who<A, L> {
    /// One animal.
    Animal(A),
    /// Young not yet told apart.
    Litter(L),
}

/// Every reason why no return can be made.
pub type Flaws<A, L> = Vec<Flaw<A, L>>;

/// Why no return can be made: the books contradict themselves, or the question does.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Flaw<A, L> {
    /// The last day asked for lies before the first.
    EmptyInterval {
        /// First day asked for.
        first: Day,
        /// Last day asked for.
        last: Day,
    },
    /// A stay ends before it begins.
    EndsBeforeItBegins {
        /// Whose.
        animal: A,
        /// First day on the books.
        from: Day,
        /// Day it left them.
        end: Day,
    },
    /// Two stays of one animal hold on the same day.
    HeldTwice {
        /// Whose.
        animal: A,
        /// The first day that both claim.
        day: Day,
    },
    /// One animal under two species.
    TwoSpecies {
        /// Which.
        animal: A,
    },
    /// More young were taken out of a litter than were in it.
    LitterBelowZero {
        /// Which.
        litter: L,
        /// The day after whose change the count was below zero.
        day: Day,
        /// That count.
        left: Counts,
    },
}

impl<A: fmt::Debug, L: fmt::Debug> fmt::Display for Flaw<A, L> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::EmptyInterval { first, last } => write!(f, "no day lies from {first} to {last}"),
            Self::EndsBeforeItBegins { animal, from, end } => {
                write!(f, "{animal:?} left the books on {end}, before it came onto them on {from}")
            }
            Self::HeldTwice { animal, day } => write!(f, "{animal:?} is on the books twice on {day}"),
            Self::TwoSpecies { animal } => write!(f, "{animal:?} is on the books as two species"),
            Self::LitterBelowZero { litter, day, left } => {
                write!(f, "litter {litter:?} has {left} left after {day}")
            }
        }
    }
}

impl<A: fmt::Debug, L: fmt::Debug> std::error::Error for Flaw<A, L> {}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    #[test]
    fn a_birth_known_by_its_month_decides_only_what_it_can() {
        let march = Born { earliest: day("2026-03-01"), latest: day("2026-03-31") };
        assert_eq!(march.within(30, day("2026-03-31")), Some(true));
        assert_eq!(march.within(30, day("2026-04-01")), None);
        assert_eq!(march.within(30, day("2026-04-30")), None);
        assert_eq!(march.within(30, day("2026-05-01")), Some(false));
    }

    #[test]
    fn the_thirtieth_day_is_within_thirty_days() {
        let born = Born::on(day("2026-03-01"));
        assert_eq!(born.within(30, day("2026-03-31")), Some(true));
        assert_eq!(born.within(30, day("2026-04-01")), Some(false));
    }

    #[test]
    fn the_books_are_read_at_the_close_of_the_day() {
        let stay = Stay {
            animal: "Brindle",
            species: "coypu",
            site: "QUI",
            from: day("2026-03-01"),
            began: Began::Arrival,
            end: Some((day("2026-03-05"), Ended::Death)),
            born: None,
            sexes: vec![(day("2026-03-02"), Sex::Male), (day("2026-03-02"), Sex::Female)],
        };
        let on_books = |text| stay.on_books(day(text));
        assert!(!on_books("2026-02-28") && on_books("2026-03-01"));
        assert!(on_books("2026-03-04") && !on_books("2026-03-05"));
        assert_eq!(stay.sex(day("2026-03-01")), Sex::Unknown);
        assert_eq!(stay.sex(day("2026-03-02")), Sex::Female);
    }
}
