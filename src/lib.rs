//! Decodes LoRaWAN frames, verifies join handshakes, and says which part of the path is broken.
//!
//! A *handfast* is an old word for an agreement sealed by joining hands. The library is a house of
//! rooms, and data goes through them one way: what a capture holds becomes frames, frames become
//! attempts to join and sessions, and those are held against the rosters that say what is right.
//!
//! # A frame
//!
//! [`frame`] splits a PHYPayload and never fails: what cannot be split is said with field, offset,
//! needed and left, and everything before it is kept. What the standard forbids is a fault.
//!
//! ```
//! use handfast::frame::{Frame, decode};
//!
//! let octets = hex::decode("40face7902800000025da6405a2f3ed38b")?;
//! let decoded = decode(&octets);
//! let Some(Frame::Data(data)) = &decoded.frame else { panic!("a data frame") };
//! assert_eq!(data.dev_addr.to_string(), "0279CEFA");
//! assert_eq!((data.fcnt, data.port()), (0, Some(2)));
//! assert!(decoded.faults.is_empty());
//!
//! let cut = decode(&octets[..7]).stopped.expect("bytes are missing");
//! assert!(cut.to_string().starts_with("FCnt at byte 6: 2 bytes needed"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # A join
//!
//! [`crypto`] computes with [`key`]s, each of its own role, so that the wrong one does not compile.
//! Data is decrypted of a frame whose MIC was found to hold, and of no other.
//!
//! ```
//! use handfast::{
//!     crypto::{
//!         EncryptionKeys, IntegrityKeys, MicInput, Unseen, Verifier, cipher, derive, mic,
//!     },
//!     frame::{Frame, decode},
//!     key::AppKey,
//! };
//!
//! let app_key: AppKey = "0bd068b83d27696896ed85bb090a7a91".parse()?;
//! let request = decode(&hex::decode("001add0bfeff000002a631dffeff0000023a02e1062d23")?);
//! let Some(Frame::JoinRequest(request)) = request.frame else { panic!("a Join-Request") };
//! assert!(mic::check_join_request(&app_key, &request).is_ok());
//!
//! let accept = "20a64c2a84bd08211bc7bde4e9497397164c96a687745ecbc5c221b2d48df8b95c";
//! let Some(Frame::JoinAccept(sealed)) = decode(&hex::decode(accept)?).frame else { panic!() };
//! let opened = cipher::open_join_accept(cipher::AcceptKey::join(&app_key), &sealed);
//! let accept = opened.expect("whole blocks").accept;
//! assert!(mic::check_join_accept_1_0(&app_key, &accept).is_ok());
//!
//! // The next uplink proves that the node took it.
//! let (nonce, net_id) = (request.dev_nonce, accept.net_id);
//! let session = derive::session_1_0(&app_key, accept.join_nonce, net_id, nonce);
//! let uplink = decode(&hex::decode("40face7902800000025da6405a2f3ed38b")?);
//! let Some(Frame::Data(uplink)) = uplink.frame else { panic!("a data frame") };
//! let mut verifier = Verifier::new(0, IntegrityKeys::from(&session));
//! let checked = verifier.check(&mut MicInput::of(&uplink), [0], &Unseen::default());
//! let verified = checked.expect("NwkSKey signs uplinks").expect("the MIC holds");
//! let payload = cipher::payload(&verified, &EncryptionKeys::from(&session));
//! assert_eq!(payload.map(|payload| payload.octets.len()), Some(4));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # A capture
//!
//! [`intake`] reads captures of any kind, [`trace`] follows every node through them, and [`ladder`] says
//! how far each join climbed, where it broke, and why.
//!
//! ```
//! use handfast::{
//!     demo,
//!     intake::{Capture, Item},
//!     ladder::{CauseId, Options, Place, diagnose, join::Rung},
//!     roster,
//!     trace::Tracer,
//! };
//!
//! let roster = roster::parse(demo::ROSTER, None)?;
//! let mut tracer = Tracer::new(&roster);
//! for item in Capture::new(demo::CAPTURE.as_bytes()) {
//!     if let Item::Event(event) = item? {
//!         tracer.push(event);
//!     }
//! }
//! let nodes = diagnose(&tracer.finish(), &roster, Options::default());
//! let probe = nodes.iter().find(|node| node.name.as_deref() == Some("probe-03"));
//! let probe = probe.expect("it is on the roster");
//! assert_eq!(probe.first_broken(), Some(Place::Join(Rung::Authentic)));
//! assert_eq!(probe.causes[0].cause.id, CauseId::AppKeyTypedWrong);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # The rooms
//!
//! | room | owns |
//! |------|------|
//! | [`id`], [`key`] | identifiers, nonces and key roles; their text and their order on the wire |
//! | [`frame`] | PHYPayload split and joined; MAC commands; beacons |
//! | [`crypto`] | MICs, ciphers, derivations, key wrap |
//! | [`gps`] | GPS time, and its way to UTC |
//! | [`region`], [`radio`] | channel plans and their rules; time on air, floors, duty cycle |
//! | [`intake`], [`record`] | captures, read and written |
//! | [`roster`] | who claims what: TOML, firmware sources, tables, labels |
//! | [`trace`] | attempts to join, answers, sessions, counters |
//! | [`explore`] | searches around keys, identities and rules |
//! | [`fact`] | what verdicts rest on: words with typed values |
//! | [`ladder`] | the three ladders: rungs and causes |
//! | [`reading`], [`working`] | one frame read with the keys at hand; every step of a computation |
//! | [`key_sheet`], [`compare`], [`compose`] | keys derived; claims held together; frames built |
//! | [`airtime`] | who was on the air for how long |
//! | [`show`] | text and JSON of all that |
//! | [`scenario`], [`demo`], [`lesson`] | invented worlds, for demonstration and exercises |
//!
//! # Features
//!
//! | feature | brings |
//! |---------|--------|
//! | none | `id`, `key`, `frame`, `crypto`, `gps`: `no_std`, with an allocator |
//! | `std` | every other room |
//! | `parallel` | searches on all cores |
//! | `live` | the gateway tap |
//! | `page` | reports to be sent on |
//! | `cli` | the program |
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
#[expect(unreachable_pub, reason = "here `pub` says what a file offers to the others")]
mod cli;
#[cfg(feature = "std")]
pub mod compare;
#[cfg(feature = "std")]
pub mod compose;
#[cfg(feature = "std")]
pub mod demo;
#[cfg(feature = "std")]
pub mod explore;
#[cfg(feature = "std")]
pub mod fact;
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
mod parallel;
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

/// The program: for `main.rs`, and for the tests that go through its commands. Not part of what the
/// library promises.
#[cfg(feature = "cli")]
#[doc(hidden)]
pub mod program {
    pub use crate::cli::{definition, run};
}
