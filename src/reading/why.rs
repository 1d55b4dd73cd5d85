//! Why a MIC fails under keys that were given: what an explorer finds around them.
//!
//! | message | what is looked for |
//! |---------|--------------------|
//! | Join-Request | near misses of the root keys, then a rule misread by the node |
//! | data | near misses of the network session keys; other keys at hand; which half holds (1.1) |
//! | Join-Accept | near misses without two wrong digits, then a rule misread by the server |
//! | Rejoin-Request | other keys at hand, as they stand or reversed |
//!
//! One frame is all the evidence there is: 32 bits against every candidate that was tried. Each
//! answer carries the odds that it is an accident, all candidates of the frame counted.

mod accept;
mod data;
mod halves;
mod pool;
mod request;

use super::{Context, KeyRing, MicVerdict, Reading};
use crate::{
    explore::near_miss::{Certainty, odds},
    frame::Frame,
    ladder::CauseId,
};

/// What an explorer found.
#[derive(Clone, Debug, PartialEq)]
pub struct Why {
    /// What fits, as a sentence. Of keys it says the digits that differ and no others.
    pub what: String,
    /// The cause that it means, where the table of causes has one.
    pub cause: Option<CauseId>,
    /// How sure it is.
    pub certainty: Certainty,
    /// How many of the candidates would be expected to fit by accident.
    pub odds: f64,
    /// How many candidates were tried until it was found.
    pub tried: u64,
}

impl Why {
    /// One of so many candidates fits the whole MIC.
    fn of(what: String, cause: Option<CauseId>, tried: u64) -> Self {
        let odds = odds(tried, 1);
        Self { what, cause, certainty: Certainty::of_probability(odds), odds, tried }
    }

    /// One of so many candidates fits two octets of the MIC.
    fn of_half(what: String, tried: u64) -> Self {
        let odds = odds(tried, 1) * 65_536.0;
        Self { what, cause: None, certainty: Certainty::of_probability(odds), odds, tried }
    }
}

/// Looks around the keys of the ring for what would explain a MIC that fails.
///
/// `None` where the MIC does not fail, and where nothing near fits. Takes a blink: two wrong digits
/// are the farthest it goes, and only around the nearest few keys.
///
/// ```
/// use handfast::{
///     frame::decode,
///     ladder::CauseId,
///     reading::{Context, Key, KeyRing, Source, read, why},
/// };
///
/// let mut ring = KeyRing::default();
/// // a 4 at the end where the node has a 3
/// let app_key = "d2306c9b9a5f83016208103f7e8a07a4".parse().unwrap();
/// ring.push(Source::default(), Key::App(app_key));
/// let octets = [0x00, 0x67, 0x2f, 0x0b, 0xfe, 0xff, 0x00, 0x00, 0x02, 0xae, 0x66, 0xe4, 0xfe,
///     0xff, 0x00, 0x00, 0x02, 0x33, 0xc6, 0xc8, 0x86, 0x5c, 0xe9];
/// let context = Context::default();
/// let reading = read(decode(&octets), &ring, &context);
/// let found = why(&reading, &ring, &context).unwrap();
/// assert_eq!(found.what, "digit 32: the AppKey given has 4 where the frame agrees with 3");
/// assert_eq!(found.cause, Some(CauseId::AppKeyTypedWrong));
/// ```
pub fn why(reading: &Reading, ring: &KeyRing, context: &Context) -> Option<Why> {
    let MicVerdict::Fails(_) = reading.found.mic else { return None };
    match reading.decoded.frame.as_ref()? {
        Frame::JoinRequest(frame) => request::request(frame, ring, context),
        Frame::RejoinRequest(frame) => request::rejoin(frame, ring),
        Frame::JoinAccept(frame) => accept::accept(frame, ring, context),
        Frame::Data(frame) => data::data(frame, ring, context),
        Frame::Proprietary(_) => None,
    }
}
