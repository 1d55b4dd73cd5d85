//! An attempt to join: the request, and everything that answered it.

use super::{KeyRef, Line, Rule, Sending, Transmission};
use crate::{
    crypto::mic::JoinReqType,
    frame::{JoinRequest, OpenedJoinAccept, RejoinBody, RejoinRequest, SealedJoinAccept},
    id::{DevEui, DevNonce, JoinEui},
};

/// What a node asks.
#[derive(Clone, Debug)]
pub enum Ask {
    /// A Join-Request.
    Join(JoinRequest),
    /// A Rejoin-Request.
    Rejoin(RejoinRequest),
}

impl Ask {
    /// Returns DevEUI as sent.
    pub const fn dev_eui(&self) -> Option<DevEui> {
        match self {
            Self::Join(request) => Some(request.dev_eui),
            Self::Rejoin(request) => request.body.dev_eui(),
        }
    }

    /// Returns JoinEUI as sent; a Rejoin-Request of types 0 and 2 names the network instead.
    pub const fn join_eui(&self) -> Option<JoinEui> {
        match self {
            Self::Join(request) => Some(request.join_eui),
            Self::Rejoin(RejoinRequest {
                body: RejoinBody::JoinServer { join_eui, .. }, ..
            }) => Some(*join_eui),
            Self::Rejoin(_) => None,
        }
    }

    /// Returns DevNonce, or the counter that stands in its place.
    pub const fn nonce(&self) -> Option<DevNonce> {
        match self {
            Self::Join(request) => Some(request.dev_nonce),
            Self::Rejoin(request) => request.body.count(),
        }
    }

    /// Returns JoinReqType, as the answer's MIC wants it.
    pub const fn req_type(&self) -> JoinReqType {
        match self {
            Self::Join(_) => JoinReqType::Join,
            Self::Rejoin(request) => JoinReqType::Rejoin(request.body.rejoin_type()),
        }
    }

    /// Returns the request, if it is a Join-Request.
    pub const fn join(&self) -> Option<&JoinRequest> {
        match self {
            Self::Join(request) => Some(request),
            Self::Rejoin(_) => None,
        }
    }
}

/// One attempt to join.
#[derive(Clone, Debug)]
pub struct Attempt {
    /// The request.
    pub ask: Ask,
    /// Who heard it.
    pub heard: Transmission,
    /// The keys on the roster under which its MIC holds: this node's, or else another's.
    pub holds_under: Vec<KeyRef>,
    /// The accepts handed to a gateway in answer, in order.
    pub answers: Vec<Answer>,
}

impl Attempt {
    /// Returns where its first sighting stands.
    pub fn line(&self) -> Line {
        self.heard.first().line
    }

    /// Returns the answers without those of which the gateway took the other way.
    pub fn answers_sent(&self) -> impl Iterator<Item = &Answer> {
        let others = |own: &Answer| {
            let other = |b: &&Answer| b.sending.taken() && b.is_way_of(own);
            !own.sending.taken() && self.answers.iter().any(|b| other(&b))
        };
        self.answers.iter().filter(move |answer| !others(answer))
    }

    /// Returns the nonce as a number, 0 where the request has none.
    pub fn nonce(&self) -> u16 {
        self.ask.nonce().unwrap_or_default().0
    }
}

/// How long after the end of the request an accept is to be sent.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Delay {
    /// By the gateway's counter, in microseconds; the sighting that it counts from.
    Counter {
        /// Slot less end of request, modulo 2^32.
        us: u32,
        /// Which sighting of the request.
        sighting: usize,
    },
    /// By GPS time, as both the request and its answer tell it.
    Gps {
        /// Slot less end of request, in milliseconds.
        ms: i64,
        /// Which sighting of the request.
        sighting: usize,
    },
    /// To be sent at once; microseconds from the request's arrival to this one's.
    AtOnce {
        /// By the capture's clock.
        us: Option<i64>,
    },
    /// Unsaid, or by the clock of a gateway that did not hear the request.
    Unknown,
}

impl Delay {
    /// Returns the delay by the counter, in microseconds.
    pub const fn counter_us(self) -> Option<u32> {
        match self {
            Self::Counter { us, .. } => Some(us),
            Self::Gps { .. } | Self::AtOnce { .. } | Self::Unknown => None,
        }
    }

    /// Returns the delay by counter or GPS time, in microseconds.
    pub const fn slot_us(self) -> Option<i64> {
        match self {
            Self::Counter { us, .. } => Some(us as i64),
            Self::Gps { ms, .. } => Some(ms.saturating_mul(1_000)),
            Self::AtOnce { .. } | Self::Unknown => None,
        }
    }

    /// Returns which sighting of the request it counts from.
    pub const fn sighting(self) -> Option<usize> {
        match self {
            Self::Counter { sighting, .. } | Self::Gps { sighting, .. } => Some(sighting),
            Self::AtOnce { .. } | Self::Unknown => None,
        }
    }
}

/// A Join-Accept that answers a request.
#[derive(Clone, Debug)]
pub struct Answer {
    /// As handed to the gateway.
    pub sending: Sending,
    /// The frame, still encrypted.
    pub sealed: SealedJoinAccept,
    /// How long after the request.
    pub delay: Delay,
    /// Every key and rule under which it opens and its MIC holds.
    pub openings: Vec<Opening>,
}

impl Answer {
    /// Returns whether both are one downlink, to be sent in one window or the other.
    pub fn is_way_of(&self, other: &Self) -> bool {
        (self.sending.alternative || other.sending.alternative)
            && self.sending.octets == other.sending.octets
    }
}

/// A Join-Accept that answers no request of the capture.
#[derive(Clone, Debug)]
pub struct Stray {
    /// As handed to the gateway.
    pub sending: Sending,
    /// The frame, still encrypted.
    pub sealed: SealedJoinAccept,
}

/// A key and a rule that open a Join-Accept.
#[derive(Clone, Debug)]
pub struct Opening {
    /// The key.
    pub key: KeyRef,
    /// The rule of the MIC.
    pub rule: Rule,
    /// The fields.
    pub opened: OpenedJoinAccept,
}
