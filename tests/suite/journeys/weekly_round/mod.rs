//! A keeper weighs a group, week after week.

mod happy;
