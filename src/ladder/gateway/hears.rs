//! Rung 6, hears: the gateway receives frames with a good CRC and forwards them.

use super::Case;
use crate::{
    fact::{Certainty, Value, fact},
    id::Eui64,
    intake::{Speaker, console::speaks_of_sending},
    ladder::{finding::Finding, rung::Judgement},
    trace::{GatewayTrace, Moment, Period},
};

/// Receptions without one good CRC, or without one that is forwarded, that are no noise.
const LEAST_FRAMES: u64 = 10;
/// Frames that another gateway hears in the time in which this one hears none.
const LEAST_ELSEWHERE: u64 = 10;
/// Frames that were to be expected in the time in which none came: by chance that happens once in e^20.
const LEAST_EXPECTED: f64 = 20.0;
/// So many nodes do not all stop at the same time; fewer may have been switched off.
const MANY_NODES: usize = 5;
/// One node or two that are heard no more are no matter of the gateway.
const LEAST_NODES: usize = 3;
/// A gateway that hears nothing for less than this says nothing.
const LEAST_DEAF_US: i64 = 300_000_000;
/// Reports that say that nothing is received.
const LEAST_REPORTS: u64 = 3;

/// A gateway that hears nothing, or nothing any more, though somebody transmits.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Deaf {
    /// Since when, and until when.
    pub(in crate::ladder) span: (Moment, Moment),
    /// Reports of that time, all of which count no reception.
    pub(in crate::ladder) reports: u64,
    pub(in crate::ladder) why: Why,
    pub(in crate::ladder) certainty: Certainty,
}

/// What says that somebody transmits.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) enum Why {
    /// Another gateway of the roster hears so many frames in that time.
    Other(Eui64, u64),
    /// It heard so many frames itself before, and so many were to be expected.
    Before { frames: u64, expected: f64, last: Moment },
    /// So many nodes' own consoles say that they transmit.
    Consoles(usize),
}

/// Receptions without a good CRC.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct BadCrc {
    /// Frames with a bad CRC in the capture.
    pub(in crate::ladder) frames: u64,
    /// Those at a sound margin.
    pub(in crate::ladder) sound: u64,
    /// Receptions that the statistics count.
    pub(in crate::ladder) counted: u64,
}

pub(super) fn judge(case: &Case<'_>, _: usize) -> Judgement {
    let Some(heard) = case.heard else {
        return Judgement::unknown("nothing of it is in the capture");
    };
    if let Some(deaf) = deaf(case).filter(|deaf| deaf.certainty != Certainty::Possible) {
        return Judgement::broken(fact!(
            "it receives nothing from {first} to {last}",
            first = deaf.span.0,
            last = deaf.span.1
        ));
    }
    if let Some(bad) = bad_crc(case) {
        return Judgement::broken(fact!(
            "{receptions}, and not one with a good CRC",
            receptions = Value::Count(bad.frames.max(bad.counted), "reception")
        ));
    }
    if let Some(good) = forwards_nothing(case) {
        return Judgement::broken(fact!(
            "its statistics count {frames} with a good CRC and none forwarded",
            frames = Value::Count(good, "frame")
        ));
    }
    match heard.receptions.good {
        Some((first, _)) => Judgement::proven(fact!(
            "{frames} with a good CRC, the first at {first}",
            frames = Value::Count(heard.crc_good, "frame"),
            first
        )),
        None if heard.crc_bad > 0 => Judgement::unknown(fact!(
            "{receptions}, all of them with a bad CRC",
            receptions = Value::Count(heard.crc_bad, "reception")
        )),
        None => Judgement::unknown("it receives nothing, and nothing says that anybody transmits"),
    }
}

/// Good frames that its statistics count, where none is forwarded.
pub(in crate::ladder) fn forwards_nothing(case: &Case<'_>) -> Option<u64> {
    let heard = case.heard?;
    let good = case.figures.rxok.filter(|good| *good >= LEAST_FRAMES)?;
    (case.figures.rxfw == Some(0) && heard.crc_good == 0).then_some(good)
}

/// Whether everything that it receives has a bad CRC.
pub(in crate::ladder) fn bad_crc(case: &Case<'_>) -> Option<BadCrc> {
    let heard = case.heard?;
    let figures = &case.figures;
    let counted = figures.rxnb.filter(|_| figures.rxok == Some(0)).unwrap_or_default();
    let (frames, sound) = (heard.crc_bad, heard.receptions.bad_at_a_sound_margin);
    let found = heard.crc_good == 0 && (counted >= LEAST_FRAMES || frames >= LEAST_FRAMES);
    found.then_some(BadCrc { frames, sound, counted })
}

/// What is said of a gateway that receives nothing with a good CRC.
pub(in crate::ladder) fn only_bad_crc(case: &Case<'_>) -> Option<Finding> {
    let bad = bad_crc(case)?;
    let sound = bad.frames >= LEAST_FRAMES && bad.sound * 2 >= bad.frames;
    let mut finding = Finding::new(
        if sound { Certainty::Certain } else { Certainty::Likely },
        fact!(
            "{gateway} receives {receptions}, and not one with a good CRC: nothing may be read from them",
            gateway = case.title(),
            receptions = Value::Count(bad.frames.max(bad.counted), "transmission")
        ),
        "compare sync word (public network, 0x34) and polarity of nodes and gateway; move a node to 5 to 20 m from \
         the gateway and try again",
    );
    if bad.frames > 0 {
        finding.add(fact!(
            "{frames} with a bad CRC in the capture, {sound} of them 5 dB and more above the floor",
            frames = Value::Count(bad.frames, "reception"),
            sound = bad.sound
        ));
    }
    if bad.counted > 0 {
        finding.add(
            fact!("its own statistics sum up to rxnb {rxnb}, rxok 0", rxnb = bad.counted)
                .said_by(Speaker::Gateway),
        );
    }
    Some(finding)
}

/// Whether it hears nothing at the end of the capture, though somebody transmits.
pub(in crate::ladder) fn deaf(case: &Case<'_>) -> Option<Deaf> {
    let heard = case.heard?;
    let empty = |period: &&Period| period.heard == 0 && period.told.rxnb.unwrap_or_default() == 0;
    let quiet: Vec<&Period> = heard.periods.iter().rev().take_while(empty).collect();
    let reports: u64 = quiet.iter().filter(|p| p.told.rxnb.is_some()).map(|p| p.told.reports).sum();
    let span = (quiet.last()?.from, quiet.first()?.to);
    let us = span.1.since(span.0)?;
    if us < LEAST_DEAF_US || reports < LEAST_REPORTS {
        return None;
    }
    let (why, certainty) = elsewhere(case, span)
        .or_else(|| before(heard, span.0, us))
        .or_else(|| consoles(case, heard))?;
    Some(Deaf { span, reports, why, certainty })
}

/// Another gateway of the roster that hears frames in that time.
fn elsewhere(case: &Case<'_>, span: (Moment, Moment)) -> Option<(Why, Certainty)> {
    let others = case.roster.gateways.iter().map(|gateway| gateway.eui);
    let others = others.filter(|other| Some(*other) != case.eui);
    let heard = others.filter_map(|other| {
        let trace = case.trace.gateways.get(&Some(other))?;
        // The whole of a period must be within that time.
        let within = |period: &&Period| period.from.at >= span.0.at && period.to.at <= span.1.at;
        let frames: u64 = trace.periods.iter().filter(within).map(|period| period.heard).sum();
        Some((other, frames))
    });
    let (other, frames) = heard.max_by_key(|(_, frames)| *frames)?;
    (frames >= LEAST_ELSEWHERE).then_some((Why::Other(other, frames), Certainty::Likely))
}

/// It heard frames before, and as many were to be expected since.
#[expect(clippy::cast_precision_loss, reason = "frames and microseconds are far below 2^53")]
fn before(heard: &GatewayTrace, from: Moment, us: i64) -> Option<(Why, Certainty)> {
    let (_, last) = heard.receptions.good?;
    let first = heard.span?.0;
    let heard_for = from.since(first).filter(|us| *us >= LEAST_DEAF_US)?;
    let frames = heard.crc_good;
    let expected = frames as f64 * us as f64 / heard_for as f64;
    if expected < LEAST_EXPECTED {
        return None;
    }
    let nodes = heard.receptions.nodes();
    let certainty = if nodes >= MANY_NODES { Certainty::Likely } else { Certainty::Possible };
    (nodes >= LEAST_NODES).then_some((Why::Before { frames, expected, last }, certainty))
}

/// Nodes say themselves that they transmit, and this gateway heard nothing at all.
fn consoles(case: &Case<'_>, heard: &GatewayTrace) -> Option<(Why, Certainty)> {
    let says = |node: &&crate::roster::Node| {
        let log = node.firmware.as_ref().map(|firmware| firmware.log.as_slice());
        log.unwrap_or_default().iter().any(|line| speaks_of_sending(line))
    };
    let nodes = case.roster.nodes.iter().filter(says).count();
    let alone = case.trace.gateways.len() == 1 && heard.crc_good + heard.crc_bad == 0;
    let certainty = if nodes > 1 { Certainty::Likely } else { Certainty::Possible };
    (alone && nodes > 0).then_some((Why::Consoles(nodes), certainty))
}
