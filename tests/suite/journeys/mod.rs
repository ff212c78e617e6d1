//! Journeys through the wire: a folder per journey, a file per worry.

mod weekly_round;
