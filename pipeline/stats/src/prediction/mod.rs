//! What the next sensor will do.

pub mod level;
pub mod usable_days;
