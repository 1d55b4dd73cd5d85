//! The ladder's explorers: why a check failed.

pub mod misreading;
pub mod near_miss;
