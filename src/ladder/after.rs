//! After the join: what stops data although the join is good.

pub(super) mod commands;
pub(super) mod copies;
pub(super) mod counters;
pub(super) mod downlinks;
pub(super) mod payload;
