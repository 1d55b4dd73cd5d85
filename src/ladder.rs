//! The join ladder, and the explorers that say why a rung broke.

pub mod near_miss;
