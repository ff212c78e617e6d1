//! What must not be lost when something breaks.
