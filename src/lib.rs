#![doc = "Decodes LoRaWAN frames and says why a node does not join."]
#![cfg_attr(not(feature = "std"), no_std)]
#![cfg_attr(not(test), warn(clippy::indexing_slicing, clippy::unwrap_used, clippy::panic))]

extern crate alloc;

pub mod crypto;
pub mod frame;
pub mod gps;
pub mod id;
pub mod key;
mod words;

#[cfg(feature = "std")]
pub mod airtime;
#[cfg(feature = "cli")]
pub mod cli;
#[cfg(feature = "std")]
pub mod compare;
#[cfg(feature = "std")]
pub mod compose;
#[cfg(feature = "std")]
pub mod demo;
#[cfg(feature = "std")]
pub mod intake;
#[cfg(feature = "std")]
pub mod key_sheet;
#[cfg(feature = "std")]
pub mod ladder;
#[cfg(feature = "std")]
pub mod lesson;
#[cfg(feature = "live")]
pub mod live;
#[cfg(feature = "std")]
mod nearest;
#[cfg(feature = "std")]
pub mod octet_rows;
#[cfg(feature = "std")]
pub mod radio;
#[cfg(feature = "std")]
pub mod reading;
#[cfg(feature = "std")]
pub mod record;
#[cfg(feature = "std")]
pub mod region;
#[cfg(feature = "page")]
pub mod report;
#[cfg(feature = "std")]
pub mod roster;
#[cfg(feature = "std")]
pub mod scenario;
#[cfg(feature = "std")]
pub mod show;
#[cfg(feature = "std")]
pub mod trace;
#[cfg(feature = "std")]
pub mod working;
