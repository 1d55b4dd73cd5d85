//! Multicast groups that the node was given, their sessions, and the frames that are sent to them.

use super::{Case, Story, packages::Said};
use crate::{
    crypto::{
        EncryptionKeys, IntegrityKeys, MicInput, Unseen, Verified, Verifier, cipher::payload,
        derive,
    },
    fact::{Certainty, Cite},
    frame::{DataFrame, MacVersion, command::package::MULTICAST_PORT},
    gps::GpsTime,
    id::DevAddr,
    intake::When,
    key::{AppKey, GenAppKey, McAppSKey, McNwkSKey},
    trace::{self, Data, Line, Sending},
};

/// Keys and counters that are tried on a frame.
pub(in crate::ladder) const TRIED: f64 = 12.0;
/// A node's clock and the capture's may be apart by this, seconds.
const CLOCKS_S: i64 = 30;
/// Frames that are looked at.
const LOOKED_AT: usize = 1_024;

/// A group that the node took.
#[derive(Debug)]
pub(in crate::ladder) struct Group<'s> {
    pub(in crate::ladder) id: i64,
    pub(in crate::ladder) addr: DevAddr,
    /// Counters that are valid: from the first on, below the second.
    pub(in crate::ladder) counters: (u32, u32),
    pub(in crate::ladder) asked: &'s Said,
    /// Where it is set up anew or deleted.
    ends: Option<Line>,
    /// Keys that it may have.
    keys: Vec<Keys>,
}

/// Keys of a group, and what they rest on.
#[derive(Debug)]
struct Keys {
    network: McNwkSKey,
    app: McAppSKey,
    /// Whether a claim states the key that they come from; AppKey in the place of GenAppKey is a guess.
    stated: bool,
}

/// A frame that was sent to a group's address, or that a group's key signs.
#[derive(Debug)]
pub(in crate::ladder) struct Sent<'a> {
    pub(in crate::ladder) frame: &'a DataFrame,
    pub(in crate::ladder) sending: &'a Sending,
    /// Its proof, where a key of the group signs it.
    proof: Option<(usize, crate::crypto::Proof)>,
}

impl Sent<'_> {
    /// Returns the whole counter, where a key of the group signs it.
    pub(in crate::ladder) fn fcnt(&self) -> Option<u32> {
        self.proof.map(|(_, proof)| proof.fcnt())
    }

    pub(in crate::ladder) fn cite(&self) -> Cite {
        Cite::from(self.sending).with_time()
    }

    /// Returns when it is sent, milliseconds of GPS time: as ordered, or else by the capture's clock.
    pub(in crate::ladder) fn gps_ms(&self) -> Option<i64> {
        match self.sending.when {
            When::Gps(ms) => i64::try_from(ms).ok(),
            _ => gps_ms(self.sending.at?),
        }
    }
}

/// Returns GPS time at a time of the capture, milliseconds.
pub(in crate::ladder) fn gps_ms(at: jiff::Timestamp) -> Option<i64> {
    let seconds = i64::from(GpsTime::from_utc(at)?.seconds());
    Some(seconds * 1_000 + i64::from(at.subsec_millisecond()))
}

/// Returns the groups that the node took in a session, in order.
pub(in crate::ladder) fn of<'s>(case: &Case<'_>, story: &'s Story<'_>) -> Vec<Group<'s>> {
    let said = || story.packages.iter().filter(|said| said.port == MULTICAST_PORT);
    let mut out = Vec::new();
    for asked in said().filter(|said| said.is(MULTICAST_PORT, "McGroupSetupReq")) {
        let id = asked.number("McGroupID");
        let own = |said: &&Said| said.line > asked.line && said.number("McGroupID") == id;
        let again = |said: &&Said| {
            said.is(MULTICAST_PORT, "McGroupSetupReq") && said.command != asked.command
                || said.is(MULTICAST_PORT, "McGroupDeleteReq")
        };
        let ends = said().filter(own).find(again).map(|said| said.line);
        let answers = |said: &&Said| {
            said.is(MULTICAST_PORT, "McGroupSetupAns") && ends.is_none_or(|ends| said.line < ends)
        };
        let answer = said().filter(own).find(answers);
        if answer.is_none_or(|answer| !answer.errors().is_empty()) {
            continue;
        }
        let number = |name| u32::try_from(asked.number(name)).unwrap_or_default();
        let addr = DevAddr(number("McAddr"));
        let encrypted = asked.command.payload().get(5..21).and_then(<[u8]>::first_chunk);
        let Some(encrypted) = encrypted else { continue };
        out.push(Group {
            id,
            addr,
            counters: (number("minMcFCnt"), number("maxMcFCnt")),
            asked,
            ends,
            keys: keys(case, addr, *encrypted),
        });
    }
    // The same request again makes no other group.
    out.dedup_by(|b, a| a.asked.command == b.asked.command);
    out
}

/// The keys that a group may have: by the root key that claims state.
fn keys(case: &Case<'_>, addr: DevAddr, encrypted: [u8; 16]) -> Vec<Keys> {
    let claims = [case.firmware(), case.record()];
    let is_1_1 = case.node_version().or(case.record_version()) == Some(MacVersion::V1_1);
    let mut out: Vec<Keys> = Vec::new();
    let mut add = |root, stated| {
        let key = derive::mc_key(&derive::mc_ke_key(&root), encrypted);
        let network = derive::mc_nwk_s_key(&key, addr);
        if !out.iter().any(|keys| keys.network.key().same_as(network.key())) {
            out.push(Keys { network, app: derive::mc_app_s_key(&key, addr), stated });
        }
    };
    for claim in claims.into_iter().flatten() {
        if let Some(key) = &claim.gen_app_key {
            add(derive::mc_root_key_1_0(key), true);
        }
    }
    for key in claims.into_iter().flatten().filter_map(|claim| claim.app_key.as_ref()) {
        let key: &AppKey = key;
        if is_1_1 {
            add(derive::mc_root_key_1_1(key), true);
        } else {
            // Common practice where nobody gave the node a GenAppKey.
            add(derive::mc_root_key_1_0(&GenAppKey::from(key.key().clone())), false);
        }
    }
    out
}

impl<'s> Group<'s> {
    /// Returns whether the key that its keys come from is stated, and no guess.
    pub(in crate::ladder) fn has_stated_keys(&self) -> bool {
        self.keys.iter().any(|keys| keys.stated)
    }

    /// Returns the frames that were sent to its address while it was in force.
    pub(in crate::ladder) fn frames<'a>(&self, case: &Case<'a>) -> Vec<Sent<'a>> {
        let own = self.strays(case).filter(|(frame, _)| frame.dev_addr == self.addr);
        own.map(|(frame, sending)| self.sent(frame, sending)).collect()
    }

    /// Returns the frames to other addresses that its keys sign.
    pub(in crate::ladder) fn misaddressed<'a>(&self, case: &Case<'a>) -> Vec<Sent<'a>> {
        let others = self.strays(case).filter(|(frame, _)| frame.dev_addr != self.addr);
        let sent = others.map(|(frame, sending)| self.sent(frame, sending));
        sent.filter(|sent| sent.proof.is_some()).collect()
    }

    /// The downlinks of nobody's address that went out while it was in force.
    fn strays<'a>(&self, case: &Case<'a>) -> impl Iterator<Item = (&'a DataFrame, &'a Sending)> {
        let (from, to) = (self.asked.line, self.ends);
        let within = move |line: Line| line > from && to.is_none_or(|to| line < to);
        let down = |data: &'a Data| match data {
            Data::Down { frame, sending, .. } => Some((frame, sending)),
            Data::Up { .. } => None,
        };
        case.trace
            .strays
            .iter()
            .filter_map(down)
            .filter(move |(_, sending)| within(sending.line) && sending.refusal().is_none())
            .take(LOOKED_AT)
    }

    fn sent<'a>(&self, frame: &'a DataFrame, sending: &'a Sending) -> Sent<'a> {
        let first = self.counters.0 >> 16;
        let goes_on =
            (first..=first.saturating_add(1)).map(|high| high << 16 | u32::from(frame.fcnt));
        let counters: Vec<u32> =
            trace::at_the_start(frame.fcnt).into_iter().chain(goes_on).collect();
        let proof = self.keys.iter().enumerate().find_map(|(at, keys)| {
            let mut keyed = Verifier::new(at, IntegrityKeys::Multicast(&keys.network));
            let mut input = MicInput::of(frame);
            let counters = counters.iter().copied();
            let verified = keyed.check(&mut input, counters, &Unseen::default())?.ok()?;
            Some((at, *verified.proof()))
        });
        Sent { frame, sending, proof }
    }

    /// Returns the payload of a frame in clear, where a key of the group signs it.
    pub(in crate::ladder) fn clear(&self, sent: &Sent<'_>) -> Option<Vec<u8>> {
        let (at, proof) = sent.proof?;
        let keys = self.keys.get(at)?;
        let verified: Verified<&DataFrame> = proof.of(sent.frame).ok()?;
        let keys = EncryptionKeys { mc_app_s_key: Some(&keys.app), ..EncryptionKeys::default() };
        Some(payload(&verified, &keys)?.octets)
    }

    /// Returns the sessions that the network asked the node to listen in for it, in order.
    pub(in crate::ladder) fn sessions(&self, story: &'s Story<'_>) -> Vec<Listening<'s>> {
        let (from, to) = (self.asked.line, self.ends);
        let own = |said: &&Said| {
            said.line >= from
                && to.is_none_or(|to| said.line < to)
                && said.port == MULTICAST_PORT
                && said.number("McGroupID") == self.id
        };
        let all: Vec<&Said> = story.packages.iter().filter(own).collect();
        let mut out: Vec<Listening<'s>> = Vec::new();
        for said in all {
            match said.command.name() {
                "McClassCSessionReq" | "McClassBSessionReq" => {
                    out.push(Listening { asked: said, answer: None });
                }
                "McClassCSessionAns" | "McClassBSessionAns" => {
                    let cid = said.command.cid();
                    let open = |own: &&mut Listening<'_>| {
                        own.answer.is_none() && own.asked.command.cid() == cid
                    };
                    if let Some(own) = out.iter_mut().rev().find(open) {
                        own.answer = Some(said);
                    }
                }
                _ => {}
            }
        }
        out
    }
}

/// A session in which the node is to listen for a group.
#[derive(Debug)]
pub(in crate::ladder) struct Listening<'s> {
    pub(in crate::ladder) asked: &'s Said,
    pub(in crate::ladder) answer: Option<&'s Said>,
}

impl Listening<'_> {
    /// Returns whether the node took it.
    pub(in crate::ladder) fn is_taken(&self) -> bool {
        self.answer.is_some_and(|answer| answer.errors().is_empty())
    }

    /// Returns whether the node refused it.
    pub(in crate::ladder) fn is_refused(&self) -> bool {
        self.answer.is_some_and(|answer| !answer.errors().is_empty())
    }

    pub(in crate::ladder) fn is_class_c(&self) -> bool {
        self.asked.command.name() == "McClassCSessionReq"
    }

    /// Returns its frequency, hertz; none where the plan's own holds.
    pub(in crate::ladder) fn hz(&self) -> Option<u32> {
        u32::try_from(self.asked.number("DLFreq")).ok().filter(|hz| *hz > 0)
    }

    pub(in crate::ladder) fn data_rate(&self) -> Option<u8> {
        u8::try_from(self.asked.number("DR")).ok()
    }

    /// Returns its first and last moment, seconds of GPS time.
    pub(in crate::ladder) fn span_s(&self) -> (i64, i64) {
        let start = self.asked.number("SessionTime");
        let exponent = u32::try_from(self.asked.number("SessionTimeOut")).unwrap_or_default();
        let unit = if self.is_class_c() { 1 } else { 128 };
        (start, start + unit * (1_i64 << exponent.min(15)))
    }

    /// Returns by how many seconds a frame lies outside the session, 0 within; `None` where its time is not
    /// known, or the node's clock and the capture's do not agree.
    pub(in crate::ladder) fn outside_s(&self, story: &Story<'_>, sent: &Sent<'_>) -> Option<i64> {
        let (start, end) = self.span_s();
        if self.node_starts_s(story).is_some_and(|own| (own - start).abs() > CLOCKS_S) {
            return None;
        }
        let at = sent.gps_ms()? / 1_000;
        Some((start - at).max(at - end).max(0))
    }

    /// Returns the second of GPS time at which the node means to start, by its own word and the capture's
    /// clock.
    pub(in crate::ladder) fn node_starts_s(&self, story: &Story<'_>) -> Option<i64> {
        let answer = self.answer?;
        let wait = answer.command.number("TimeToStart").filter(|wait| *wait < 0xFF_FFFF)?;
        let at = story.seen(answer.place)?.data.at()?;
        Some(gps_ms(at)? / 1_000 + wait)
    }
}

/// Returns how sure it is that frames are the group's: its key signs one of them, or its address alone,
/// which another node may have, says so.
pub(in crate::ladder) fn sureness<'s, 'a: 's>(
    mut frames: impl Iterator<Item = &'s Sent<'a>>,
) -> Certainty {
    if frames.any(|sent| sent.fcnt().is_some()) { Certainty::Certain } else { Certainty::Likely }
}

/// Returns the session that counts for a frame: the last that was asked for before it, if the node took it
/// before.
pub(in crate::ladder) fn in_force<'l, 's>(
    all: &'l [Listening<'s>],
    sent: &Sent<'_>,
) -> Option<&'l Listening<'s>> {
    let line = sent.sending.line;
    let last = all.iter().rev().find(|session| session.asked.line < line)?;
    (last.is_taken() && last.answer.is_some_and(|answer| answer.line < line)).then_some(last)
}
