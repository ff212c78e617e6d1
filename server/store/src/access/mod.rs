//! Who is calling, and what they may do. Holds no database.

pub mod keys;
pub mod password;
pub mod permit;
pub mod roles;
pub mod token;
