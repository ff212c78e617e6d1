//! What the server does by itself: each a loop around a function of the records.

pub mod sealer;
