//! One frame, read with the keys at hand: what it says, whether its MIC holds, what it hides.
//!
//! [`frame`](crate::frame) splits octets and [`crypto`](crate::crypto) computes; this room brings
//! them together for a single frame, without a capture around it. It tries every key that could
//! have signed the frame, names the one that did, and opens what that key opens. Where nothing
//! proves a frame, nothing decrypted is taken for true.
//!
//! | file | what it owns |
//! |------|--------------|
//! | `ring` | keys, each with the claim that states it |
//! | `context` | what is known beside the frame: counter, DevNonce, data rate |
//! | `verdict` | the answer of a MIC check |
//! | `join`, `data` | the checks themselves |
//! | `commands` | the MAC commands of a frame |
//! | `rostered` | the keys of a roster |
//! | `sessions` | the sessions of a stream: those that keys state, and those that its joins make |
//! | `problem` | what is wrong, and where |
//! | `why` | what an explorer finds around the keys under which a MIC fails |
//!
//! The explorers are the ladder's; here they get what one frame can tell and no more.

mod commands;
mod context;
mod data;
mod join;
mod problem;
mod ring;
mod rostered;
mod sessions;
mod verdict;
mod why;

pub use commands::CommandList;
pub use context::{Context, CounterHint};
pub use problem::{Problem, Wrong};
pub use ring::{Bunch, Key, KeyRing, KeyRole, Source};
pub use sessions::Sessions;
pub use verdict::{MicRule, MicVerdict, Proof, Tried, Unchecked};
pub use why::{Why, why};

use crate::{
    crypto::{
        block::{FOptsRule, UplinkContext},
        derive::SessionKeys,
        mic::JoinReqType,
    },
    frame::{Decoded, Direction, Frame, OpenedJoinAccept},
    id::{DevEui, DevNonce, JoinEui},
};

/// A frame and all that the keys at hand tell of it.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The frame, split.
    pub decoded: Decoded,
    /// The way it travels, where that is known.
    pub direction: Option<Direction>,
    /// What the keys tell.
    pub found: KeyFindings,
    /// What is wrong with it, in the order of its octets.
    pub problems: Vec<Problem>,
    /// Why the MIC fails, once [`why()`] was asked and found an answer.
    pub why: Option<Why>,
}

/// What keys tell of a frame.
#[derive(Clone, Debug)]
pub struct KeyFindings {
    /// Whether the MIC holds.
    pub mic: MicVerdict,
    /// A Join-Accept in clear, if its MIC holds.
    pub accept: Option<Opened>,
    /// FRMPayload in clear.
    pub payload: Option<Plain>,
    /// FOpts in clear.
    pub fopts: Option<PlainFOpts>,
    /// The whole counter that the octets were computed with.
    pub fcnt32: Option<u32>,
    /// What B1 of a 1.1 uplink was computed with.
    pub uplink_context: Option<UplinkContext>,
    /// ConfFCnt of a 1.1 downlink that acknowledges.
    pub conf_fcnt: Option<u16>,
    /// The MAC commands, where they can be read.
    pub commands: Option<CommandList>,
    /// The payload as commands of the application package whose FPort it has, where it splits into them: a
    /// node may use the FPort for something else.
    pub package: Option<CommandList>,
    /// What was found by search and not given.
    pub searched: Vec<Searched>,
    /// What it was computed with: of keys that fail, those that stand first.
    pub taken: Option<Box<Taken>>,
    problems: Vec<Problem>,
}

impl KeyFindings {
    fn new(mic: MicVerdict) -> Self {
        Self {
            mic,
            accept: None,
            payload: None,
            fopts: None,
            fcnt32: None,
            uplink_context: None,
            conf_fcnt: None,
            commands: None,
            package: None,
            searched: Vec::new(),
            taken: None,
            problems: Vec::new(),
        }
    }
}

/// Keys and values that a frame was computed with, beside its own octets.
#[derive(Clone, Debug, Default)]
pub struct Taken {
    /// The keys of one source.
    pub keys: Bunch,
    /// The whole counter of data.
    pub fcnt: u32,
    /// ConfFCnt of a 1.1 downlink.
    pub conf_fcnt: u16,
    /// What B1 of a 1.1 uplink holds.
    pub uplink: UplinkContext,
    /// Who asked for a Join-Accept, and with which nonce.
    pub asked: Bound,
}

impl Taken {
    fn of(keys: &Bunch) -> Self {
        Self { keys: keys.clone(), ..Self::default() }
    }
}

/// A Join-Accept whose MIC holds, in clear.
#[derive(Clone, Debug)]
pub struct Opened {
    /// Its fields and where they stand.
    pub accept: OpenedJoinAccept,
    /// The name of the key that decrypted it.
    pub key: &'static str,
    /// What it answers, where the MIC covers that.
    pub answers: Option<JoinReqType>,
    /// What its MIC covers beside its own octets; only by the rule of 1.1.
    pub bound: Option<Bound>,
    /// The session keys, where all that they are made of is known.
    pub session: Option<SessionKeys>,
}

/// What the MIC of a 1.1 Join-Accept covers beside its own octets, or what its keys are made of.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct Bound {
    /// JoinEUI of the request.
    pub join_eui: Option<JoinEui>,
    /// DevEUI of the node, which JSIntKey and JSEncKey are made of.
    pub dev_eui: Option<DevEui>,
    /// DevNonce of the request, or its RJcount.
    pub dev_nonce: Option<DevNonce>,
}

/// FRMPayload in clear.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Plain {
    /// The octets.
    pub octets: Vec<u8>,
    /// The name of the key.
    pub key: &'static str,
    /// Whether the MIC of the frame holds under keys of the same source; else this may be noise.
    pub proven: bool,
}

/// FOpts in clear.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct PlainFOpts {
    /// The octets.
    pub octets: Vec<u8>,
    /// By which text of 1.1 they were decrypted; `None` in 1.0.x, where they travel in clear.
    pub rule: Option<FOptsRule>,
}

/// Something that neither the frame nor the context says, found by trying.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Searched {
    /// The upper half of the counter.
    UpperHalf {
        /// The upper half under which the MIC holds.
        found: u16,
    },
    /// TxDr, TxCh and ConfFCnt of a 1.1 uplink.
    UplinkContext {
        /// The first combination that fits.
        found: UplinkContext,
        /// How many combinations were tried.
        tried: usize,
        /// How many of them fit; half a MIC has 16 bits, so that chance hits occur.
        fit: usize,
    },
}

/// Reads a frame with the keys at hand.
///
/// ```
/// use handfast::{
///     frame::decode,
///     reading::{Context, Key, KeyRing, MicVerdict, Source, read},
/// };
///
/// let mut ring = KeyRing::default();
/// let app_key = "2b7e151628aed2a6abf7158809cf4f3c".parse().unwrap();
/// ring.push(Source::new("probe-07", "firmware"), Key::App(app_key));
/// let octets = [0x00, 0x01, 0x00, 0x0b, 0xfe, 0xff, 0x00, 0x00, 0x02, 0x3c, 0x2b, 0x1a, 0xfe,
///     0xff, 0x00, 0x00, 0x02, 0x02, 0x01, 0x2e, 0x26, 0x9c, 0xf5];
/// let reading = read(decode(&octets), &ring, &Context::default());
/// let MicVerdict::Holds(proof) = &reading.found.mic else { panic!("it holds") };
/// assert_eq!((proof.key, proof.source.to_string().as_str()), ("AppKey", "firmware of probe-07"));
/// ```
pub fn read(decoded: Decoded, ring: &KeyRing, context: &Context) -> Reading {
    let unchecked = |why| KeyFindings::new(MicVerdict::Unchecked(why));
    let found = match &decoded.frame {
        Some(Frame::JoinRequest(request)) => join::request(request, ring, context),
        Some(Frame::JoinAccept(sealed)) => {
            join::accept(sealed, ring.nearest(context.dev_eui, context.join_eui), context)
        }
        Some(Frame::RejoinRequest(request)) => join::rejoin(request, ring, None),
        Some(Frame::Data(frame)) => {
            let mut stated: Vec<_> =
                ring.sessions(frame.dev_addr).map(data::Session::stated).collect();
            data::data(frame, &mut stated, context).0
        }
        Some(Frame::Proprietary(_)) => unchecked(Unchecked::NoMic),
        None => unchecked(Unchecked::Cut),
    };
    Reading::of(decoded, found, context)
}

impl Reading {
    fn of(decoded: Decoded, mut found: KeyFindings, context: &Context) -> Self {
        let mut problems: Vec<_> = decoded.faults.iter().map(Problem::from).collect();
        problems.extend(decoded.stopped.iter().map(Problem::from));
        problems.append(&mut found.problems);
        problems.sort_by_key(|problem| problem.offset);
        let named = decoded.mhdr().and_then(|mhdr| mhdr.ftype().direction());
        let direction = named.or(context.direction);
        Self { direction, decoded, found, problems, why: None }
    }

    /// Returns whether the frame is cut short.
    pub const fn is_cut(&self) -> bool {
        self.decoded.stopped.is_some()
    }

    /// Returns whether anything is wrong: the MIC fails, or the standard forbids what is said.
    ///
    /// What [is but a remark](Problem::is_remark), such as RFU bits that are set, is nothing wrong.
    pub fn is_faulty(&self) -> bool {
        let fails = matches!(self.found.mic, MicVerdict::Fails(_));
        fails || self.problems.iter().any(|problem| !problem.is_remark())
    }
}
