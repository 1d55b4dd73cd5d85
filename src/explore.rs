//! The explorers: what turns the key, the identity or the rule that is stated into the one that was used.
//!
//! Pure searches: keys and frames in, hits out. What a hit means is the ladder's business.

pub mod misreading;
pub mod near_miss;
