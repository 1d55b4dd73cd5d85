//! Application payloads under a key: do they read as something?

use super::{Case, Story};
use crate::{
    crypto::{EncryptionKeys, cipher},
    key::AppSKey,
    trace::DataSeen,
};

/// Bytes of text that noise does not make by accident: one byte in three is printable.
const TELLING_TEXT: usize = 12;
/// Payloads that are looked at.
const LOOKED_AT: usize = 64;

/// What payloads show under a key.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(in crate::ladder) enum Reads {
    /// Text, so many bytes of it.
    Text(usize),
    /// All begin with the same bytes, so many.
    Head(usize),
    /// Nothing that noise would not show.
    Nothing,
}

/// Returns the uplinks of a session that carry an application payload.
pub(in crate::ladder) fn of<'a>(story: &Story<'a>) -> Vec<&'a DataSeen> {
    let carries = |seen: &&DataSeen| {
        let payload = seen.data.frame().payload.as_ref();
        payload.is_some_and(|payload| payload.port > 0 && !payload.frm.is_empty())
    };
    story.session.uplinks().map(|(seen, _)| seen).filter(carries).take(LOOKED_AT).collect()
}

/// Returns the AppSKey of the keys under which the session's uplinks verify.
pub(in crate::ladder) fn own_key<'s>(story: &'s Story<'_>) -> Option<&'s AppSKey> {
    let (seen, _) = story.session.uplinks().next()?;
    story.session.candidate_of(seen)?.keys.app_s_key()
}

/// How many leading bytes all payloads share under a key.
fn common_head(plain: &[Vec<u8>]) -> usize {
    let Some((first, rest)) = plain.split_first() else { return 0 };
    first
        .iter()
        .enumerate()
        .take_while(|(i, octet)| rest.iter().all(|p| p.get(*i) == Some(*octet)))
        .count()
}

/// Returns what payloads show under a key.
pub(in crate::ladder) fn reads(frames: &[&DataSeen], key: &AppSKey) -> Reads {
    let keys = EncryptionKeys { app_s_key: Some(key), ..EncryptionKeys::default() };
    // The same frame again shows nothing new.
    let mut counters = Vec::new();
    let mut plain = Vec::new();
    for seen in frames {
        if !counters.contains(&seen.held.fcnt) {
            counters.push(seen.held.fcnt);
            let clear = seen.verified().and_then(|verified| cipher::payload(&verified, &keys));
            plain.extend(clear.map(|clear| clear.octets));
        }
    }
    let octets: usize = plain.iter().map(Vec::len).sum();
    let printable =
        |octet: &u8| (0x20..0x7F).contains(octet) || matches!(octet, b'\n' | b'\r' | b'\t');
    if octets >= TELLING_TEXT && plain.iter().flatten().all(printable) {
        return Reads::Text(octets);
    }
    // One byte in common by chance: 1 in 256 for each payload but the first.
    let head = common_head(&plain);
    if head * plain.len().saturating_sub(1) >= 3 { Reads::Head(head) } else { Reads::Nothing }
}

/// The AppSKey that the record has for a joined session, where it is another than the derived one.
#[derive(Debug)]
pub(in crate::ladder) struct OutOfStep {
    /// Whether the record has this session's network key: it is at this session otherwise.
    pub(in crate::ladder) network: bool,
    /// Whether payloads read under the derived key, and not under the record's.
    pub(in crate::ladder) reads: Option<Reads>,
}

/// Returns how the record's AppSKey is out of step with a joined session.
pub(in crate::ladder) fn out_of_step(case: &Case<'_>, story: &Story<'_>) -> Option<OutOfStep> {
    case.accept_of(story.session)?;
    let record = case.record()?;
    let kept = record.app_s_key.as_ref()?;
    // The record is of the session that the node uses now.
    if story.ends.is_some() {
        return None;
    }
    let derived = own_key(story)?;
    if derived.key().same_as(kept.key()) {
        return None;
    }
    let (seen, _) = story.session.uplinks().next()?;
    let keys = &story.session.candidate_of(seen)?.keys;
    let network = record.nwk_s_key.as_ref().is_some_and(|own| {
        keys.named().iter().any(|(name, key)| *name == "NwkSKey" && key.same_as(own.key()))
    });
    let frames = of(story);
    let own = reads(&frames, derived);
    let reads = (own != Reads::Nothing && reads(&frames, kept) == Reads::Nothing).then_some(own);
    // A record at another session, which the capture does not show, is no fault of this one.
    let elsewhere = record.dev_addr.is_some_and(|addr| addr != story.session.dev_addr);
    let is_here = record.dev_addr == Some(story.session.dev_addr) || network;
    let unsaid = record.dev_addr.is_none() && record.nwk_s_key.is_none();
    let counts = is_here || unsaid && reads.is_some();
    (counts && !elsewhere).then_some(OutOfStep { network, reads })
}
