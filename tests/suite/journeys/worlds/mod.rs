//! Worlds that meet: sites whose days differ, numbers that collide, names that changed (these in
//! `registration/taxa.rs`).

mod numbers;
mod zones;
