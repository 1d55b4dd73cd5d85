//! Downlinks whose MIC does not hold as the node checks it.

use super::{Case, Story};
use crate::{
    crypto::{derive::SessionKeys, mic},
    frame::{DataFrame, Direction},
    key::SNwkSIntKey,
    trace::{self, Data, DataSeen, Sending},
};

/// Frames that are looked at.
const LOOKED_AT: usize = 64;

/// The key that signs downlinks of a 1.1 session.
fn serving<'s>(story: &'s Story<'_>) -> Option<&'s SNwkSIntKey> {
    let used = story.session.frames.iter().find_map(|seen| story.session.candidate_of(seen));
    match &used.or(story.session.candidates.first())?.keys {
        SessionKeys::V1_1 { s_nwk_s_int_key, .. } => Some(s_nwk_s_int_key),
        SessionKeys::V1_0 { .. } => None,
    }
}

/// A downlink with ACK whose MIC has another ConfFCnt in it than that of the uplink it acknowledges.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct WrongConf<'a> {
    pub(in crate::ladder) sending: &'a Sending,
    /// The turn that it acknowledges.
    pub(in crate::ladder) turn: usize,
    /// ConfFCnt as the node computes it.
    pub(in crate::ladder) expected: u16,
    /// ConfFCnt with which the MIC holds.
    pub(in crate::ladder) used: u16,
}

fn low_half(fcnt: u32) -> u16 {
    u16::try_from(fcnt & 0xFFFF).unwrap_or_default()
}

/// Returns the downlinks of a 1.1 session whose MIC holds with a ConfFCnt that is not the one of the
/// uplink that they acknowledge.
pub(in crate::ladder) fn wrong_conf<'a>(case: &Case<'a>, story: &Story<'a>) -> Vec<WrongConf<'a>> {
    let Some(key) = serving(story) else { return Vec::new() };
    let mut out = Vec::new();
    for (turn, own) in story.turns().iter().enumerate() {
        let confirmed =
            story.frame(own.first()).is_some_and(|frame| frame.mhdr.ftype().is_confirmed());
        if !confirmed {
            continue;
        }
        let expected = low_half(own.fcnt);
        let known = own.downs.iter().filter_map(|place| {
            let seen = story.seen(*place)?;
            let Data::Down { frame, sending, .. } = &seen.data else { return None };
            Some((frame, sending, vec![seen.held.fcnt]))
        });
        let unknown = unverified(case, story, turn)
            .map(|(frame, sending)| (frame, sending, trace::at_the_start(frame.fcnt).to_vec()));
        for (frame, sending, counters) in known.chain(unknown).take(LOOKED_AT) {
            if !frame.fctrl.ack() {
                continue;
            }
            let holds =
                |fcnt: u32, conf: u16| mic::data_down_1_1(key, frame, fcnt, conf) == frame.mic;
            if counters.iter().any(|fcnt| holds(*fcnt, expected)) {
                continue;
            }
            let others = others(story, turn);
            let used = counters
                .iter()
                .find_map(|fcnt| others.iter().copied().find(|conf| holds(*fcnt, *conf)));
            if let Some(used) = used {
                out.push(WrongConf { sending, turn, expected, used });
            }
        }
    }
    out
}

/// ConfFCnt as a server may have it wrong: none, or that of a neighbouring frame.
fn others(story: &Story<'_>, turn: usize) -> Vec<u16> {
    let own = story.turns().get(turn).map_or(0, |turn| turn.fcnt);
    let near = (1..=4_u32).flat_map(|n| [own.wrapping_sub(n), own.wrapping_add(n)]);
    let confirmed = story.turns().iter().rev().filter(|turn| turn.fcnt <= own).take(8);
    std::iter::once(0)
        .chain(near.map(low_half))
        .chain(confirmed.map(|turn| low_half(turn.fcnt)))
        .collect()
}

/// Returns the downlinks of the session's address, sent after the uplink of a turn, that no key on hand
/// verifies.
pub(in crate::ladder) fn unverified<'a>(
    case: &Case<'a>,
    story: &Story<'_>,
    turn: usize,
) -> impl Iterator<Item = (&'a DataFrame, &'a Sending)> {
    let line = |turn: usize| {
        let place = story.turns().get(turn).map(trace::settings::Turn::first);
        place.and_then(|place| story.seen(place)).map(|seen: &DataSeen| seen.data.line())
    };
    let (from, to) = (line(turn), line(turn + 1));
    let dev_addr = story.session.dev_addr;
    case.node.unverified.iter().filter_map(move |data| match data {
        Data::Down { frame, sending, .. } => {
            debug_assert_eq!(frame.direction(), Direction::Downlink);
            let within = from.is_some_and(|from| sending.line > from)
                && to.is_none_or(|to| sending.line < to);
            (within && frame.dev_addr == dev_addr).then_some((frame, sending))
        }
        Data::Up { .. } => None,
    })
}
