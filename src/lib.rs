#![doc = "Decodes LoRaWAN frames and says why a node does not join."]
#![cfg_attr(not(test), warn(clippy::indexing_slicing, clippy::unwrap_used, clippy::panic))]

extern crate alloc;

pub mod airtime;
#[cfg(feature = "cli")]
pub mod cli;
pub mod compare;
pub mod compose;
pub mod crypto;
pub mod demo;
pub mod frame;
pub mod gps;
pub mod id;
pub mod intake;
pub mod key;
pub mod key_sheet;
pub mod ladder;
pub mod lesson;
#[cfg(feature = "live")]
pub mod live;
mod nearest;
pub mod octet_rows;
pub mod radio;
pub mod reading;
pub mod record;
pub mod region;
#[cfg(feature = "page")]
pub mod report;
pub mod roster;
pub mod scenario;
pub mod show;
pub mod trace;
mod words;
pub mod working;
