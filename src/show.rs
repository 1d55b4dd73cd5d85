//! Reports as text and as JSON.

pub mod airtime;
pub mod id;
