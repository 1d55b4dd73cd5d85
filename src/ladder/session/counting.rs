//! Frame counters: where one falls, and whether that is the end of its 16 bits.

use std::collections::{BTreeMap, HashMap};

use super::Story;
use crate::{
    fact::{Certainty, Cite, Value, fact},
    id::Eui64,
    ladder::finding::Finding,
    trace::{Data, DataSeen, Line, Origin, Session, settings::counter_of},
};

/// A counter this near to its end may have rolled over in the frames that were not heard.
const NEAR_THE_END: u32 = 64_000;
/// A counter this low may have rolled over just before.
const NEAR_THE_START: u32 = 1_536;

pub(in crate::ladder) fn ups(session: &Session) -> Vec<&DataSeen> {
    session.uplinks().map(|(seen, _)| seen).collect()
}

pub(in crate::ladder) const fn low(fcnt: u32) -> u32 {
    fcnt & 0xFFFF
}

/// Whether going from one counter to the next looks like the end of 16 bits.
pub(in crate::ladder) const fn at_the_end(before: u32, after: u32) -> bool {
    low(before) >= NEAR_THE_END && low(after) <= NEAR_THE_START
}

/// Whether the counter goes up with every uplink, as it does in nearly all sessions.
pub(in crate::ladder) fn rises(session: &Session) -> bool {
    session.uplinks().map(|(seen, _)| seen.held.fcnt).is_sorted_by(|before, after| before < after)
}

/// A gateway, and its counter when it heard a frame.
type Reception = (Option<Eui64>, Option<u32>);

/// The uplinks of a session as each gateway heard them, without copies of what was heard before: what
/// comes late through another gateway, or is in the capture twice, was sent once.
fn by_gateway(session: &Session) -> BTreeMap<Option<Eui64>, Vec<&DataSeen>> {
    let mut known: HashMap<&[u8], Vec<Reception>> = HashMap::new();
    let mut out: BTreeMap<Option<Eui64>, Vec<&DataSeen>> = BTreeMap::new();
    for (seen, heard) in session.uplinks() {
        let earlier = known.entry(&heard.octets).or_default();
        for own in heard.sightings() {
            let again = |(gateway, tmst): &Reception| {
                *gateway == own.gateway && tmst.is_some() && own.tmst.is_some() && *tmst != own.tmst
            };
            if earlier.is_empty() || earlier.iter().any(again) {
                out.entry(own.gateway).or_default().push(seen);
            }
        }
        earlier.extend(heard.sightings().map(|own| (own.gateway, own.tmst)));
    }
    out
}

/// The first place where a session's uplink counter falls, as one gateway heard it, and what it heard
/// from there on. A frame that another one overtook is no fall: the next goes on above both.
pub(in crate::ladder) fn fall(session: &Session) -> Option<(&DataSeen, Vec<&DataSeen>)> {
    if rises(session) {
        return None;
    }
    by_gateway(session).into_values().find_map(|all| {
        let place = all.windows(2).enumerate().find_map(|(i, pair)| match pair {
            [a, b] if b.held.fcnt < a.held.fcnt => {
                let next = all.get(i + 2);
                next.is_none_or(|next| next.held.fcnt <= a.held.fcnt).then_some(i)
            }
            _ => None,
        })?;
        Some((*all.get(place)?, all.get(place + 1..)?.to_vec()))
    })
}

/// Whether none of these frames is new: each is, byte for byte, one heard before, so that somebody may
/// have repeated it.
fn are_repeats(session: &Session, frames: &[&DataSeen]) -> bool {
    let mut first: HashMap<&[u8], Line> = HashMap::new();
    for (seen, heard) in session.uplinks() {
        first.entry(&heard.octets).or_insert_with(|| seen.data.line());
    }
    frames.iter().all(|seen| match &seen.data {
        Data::Up { heard, .. } => {
            first.get(&*heard.octets).is_some_and(|at| *at < seen.data.line())
        }
        Data::Down { .. } => true,
    })
}

/// Returns what is to be said where the counter of a session began again from a low value.
///
/// `recorded` is the last counter that the server took, where the record states it.
pub(in crate::ladder) fn restart(session: &Session, recorded: Option<u32>) -> Option<Finding> {
    let claimed = matches!(session.origin, Origin::Claim(_));
    if let Some((before, rest)) = fall(session)
        && let Some(after) = rest.first()
    {
        let near = before.held.fcnt - after.held.fcnt < 8 && rest.len() < 2;
        if at_the_end(before.held.fcnt, after.held.fcnt) || near {
            return None;
        }
        let mut finding = told(session, before.held.fcnt, after, rest.len(), None);
        finding.add(fact!(
            "{uplink}: FCnt {fcnt}, the last one before",
            uplink = Cite::from(before).with_time(),
            fcnt = before.held.fcnt
        ));
        if are_repeats(session, &rest) {
            finding.certainty = Certainty::Possible;
            finding.false_match = None;
            finding.add(
                "each of them is, byte for byte, a frame heard before: a node with always the same \
                 reading that began to count from 0 again, or somebody who repeats what he heard",
            );
        }
        return Some(finding);
    }
    // The last counter may be known from the record alone.
    let all = ups(session);
    let (last, first, newest) = (recorded?, all.first()?, all.last()?);
    let fell = claimed
        && newest.held.fcnt < last
        && last - newest.held.fcnt > 8
        && first.held.fcnt <= 64
        && !at_the_end(last, first.held.fcnt);
    fell.then(|| told(session, last, first, all.len(), Some(last)))
}

fn told(
    session: &Session,
    before: u32,
    after: &DataSeen,
    frames: usize,
    recorded: Option<u32>,
) -> Finding {
    let certainty =
        if recorded.is_none() || frames >= 2 { Certainty::Certain } else { Certainty::Likely };
    let remedy = match session.origin {
        Origin::Claim(_) => {
            "keep FCnt in non-volatile memory on the node, or let it join over the air; until then \
             reset the counter on the server (with ABP keys that allows replayed frames)"
        }
        Origin::Accept { .. } => {
            "let the node join again after a restart, or keep FCnt with the session in non-volatile \
             memory; do not reset the counter on the server"
        }
    };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "FCnt falls from {before} to {fcnt} while DevAddr {dev_addr} and keys stay the same: the \
             node began to count from 0 again, and the server takes its frames for repeats",
            before,
            fcnt = after.held.fcnt,
            dev_addr = session.dev_addr
        ),
        remedy,
    );
    finding.add(fact!(
        "{uplink}: FCnt {fcnt}, and its MIC holds",
        uplink = Cite::from(after).with_time(),
        fcnt = after.held.fcnt
    ));
    finding.add(fact!("{before} is far from 65535: no rollover", before));
    if recorded.is_some() {
        finding.add(fact!("the record's last-fcnt-up is {before}", before));
    }
    finding.add(fact!(
        "{frames} since then, counting on",
        frames = Value::Count(frames as u64, "frame")
    ));
    finding.matched_by_chance(2.0, frames)
}

/// A downlink whose counter is not above that of the one before.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Back {
    /// The downlink before, by its place, and its counter.
    pub(in crate::ladder) before: (usize, u32),
    /// The downlink, by its place.
    pub(in crate::ladder) down: usize,
    /// Its counter.
    pub(in crate::ladder) fcnt: u32,
}

/// Returns the downlinks that the gateway did not refuse whose counter is not above the last one of the
/// same counter: 1.1 has two, 1.0.x has one. The same frame again is one downlink.
pub(in crate::ladder) fn downs_back(story: &Story<'_>) -> Vec<Back> {
    let mut last: [Option<(usize, u32)>; 2] = [None; 2];
    let mut out = Vec::new();
    for (down, seen) in story.session.frames.iter().enumerate() {
        let Data::Down { sending, .. } = &seen.data else { continue };
        if sending.refusal().is_some() || sending.gone {
            continue;
        }
        let Some(last) = last.get_mut(counter_of(story.session, seen)) else { continue };
        let fcnt = seen.held.fcnt;
        if let Some((place, before)) = *last
            && fcnt <= before
        {
            let same = story.sending(place).is_some_and(|other| other.octets == sending.octets);
            if same {
                continue;
            }
            out.push(Back { before: (place, before), down, fcnt });
        }
        *last = Some((down, fcnt));
    }
    out
}
