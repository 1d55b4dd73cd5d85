//! The join ladder: why a node does not join, rung by rung, and the explorers that ask why.

pub mod misreading;
