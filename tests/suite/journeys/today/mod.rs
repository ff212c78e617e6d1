//! The page that a keeper reads first in the morning, in front of several houses and by several people.

mod page;
mod people;
