//! What several tests use.

pub(crate) mod cost;
pub(crate) mod recording;
pub(crate) mod scene;
pub(crate) mod words;
pub(crate) mod written;
