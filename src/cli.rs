//! The command line: one file a command, each thin.

pub mod airtime;
pub mod compare;
pub mod id;
pub mod plan;
