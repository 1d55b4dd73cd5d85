//! What a gateway did and said beside the frames of nodes.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::{Kept, Line, Sighting, kept::kind_of};
use crate::intake::{Datagram, Found, GatewayPlan, Kind, Stat};

/// Wall time and counter may differ by this much between two frames before the counter is called
/// restarted: crystals differ by some 50 ppm, and datagrams are late by some hundred milliseconds.
const CLOCK_SLACK_US: i64 = 3_000_000;

/// One gateway's part of a capture.
#[derive(Clone, Debug, Default)]
pub struct GatewayTrace {
    /// Datagrams by kind.
    pub kinds: BTreeMap<&'static str, u64>,
    /// Frames heard, by frequency in Hz.
    pub heard_hz: BTreeMap<u32, u64>,
    /// Frames heard with a good CRC, or none said.
    pub crc_good: u64,
    /// Frames heard with a bad CRC.
    pub crc_bad: u64,
    /// Its own statistics, in order.
    pub stats: Kept<StatAt>,
    /// Frames received, by its own count.
    pub counted_rx: u64,
    /// Downlink datagrams received, by its own count.
    pub counted_down: u64,
    /// Downlinks that were found where others may be left out: in a log, in a list of frames.
    pub loose_downlinks: u64,
    /// How it is set up, as its server last told it.
    pub plan: Option<Box<GatewayPlan>>,
    /// Places where its counter does not go on from where it was.
    pub restarts: Vec<Restart>,
    /// Its counter, and the place in time of the last frame that tells it.
    counter: Option<(u64, u32)>,
    last: Option<(Timestamp, u32, Line)>,
    last_heard: Option<Line>,
}

/// Statistics of a gateway and where they stand.
#[derive(Clone, Debug)]
pub struct StatAt {
    /// Where.
    pub line: Line,
    /// When.
    pub at: Option<Timestamp>,
    /// The figures.
    pub stat: Stat,
}

/// A counter that does not fit the time that passed.
#[derive(Clone, Copy, Debug)]
pub struct Restart {
    /// The last frame before.
    pub before: Line,
    /// The first frame after.
    pub after: Line,
    /// When the first frame after was captured.
    pub at: Option<Timestamp>,
}

impl GatewayTrace {
    /// Returns how many datagrams of a kind there are.
    pub fn count(&self, kind: Kind) -> u64 {
        self.kinds.get(kind.name()).copied().unwrap_or_default()
    }

    /// Returns whether anything in the capture came from the server to this gateway.
    pub fn hears_the_server(&self) -> bool {
        let acknowledged = self.count(Kind::PushAck) + self.count(Kind::PullAck);
        acknowledged > 0 || self.count(Kind::PullResp) > 0
    }

    /// Returns how far its counter went on after a sighting, in microseconds, where frames after it
    /// tell.
    pub fn counted_on(&self, sighting: &Sighting) -> Option<u32> {
        let (order, counter) = self.counter?;
        (order > sighting.line.order).then_some(counter.wrapping_sub(sighting.tmst?))
    }

    /// Returns whether the gateway itself counted downlink datagrams that the capture lacks, or
    /// acknowledged one: half a capture.
    pub fn misses_downlinks(&self) -> bool {
        let seen = self.count(Kind::PullResp);
        self.counted_down > seen || (self.count(Kind::TxAck) > seen)
    }

    /// Returns whether the gateway itself says that no downlink datagram reached it.
    pub fn counts_no_downlink(&self) -> bool {
        !self.stats.is_empty() && self.stats.iter().all(|s| s.stat.dwnb == Some(0))
    }

    /// Returns whether PUSH_DATA is acknowledged and PULL_DATA is not.
    pub fn pull_is_unanswered(&self) -> bool {
        self.count(Kind::PullData) >= 2
            && self.count(Kind::PullAck) == 0
            && (self.count(Kind::PushAck) > 0
                || self.stats.iter().any(|s| s.stat.ackr.is_some_and(|r| r > 0.0)))
    }

    pub(super) fn datagram(&mut self, line: Line, datagram: &Datagram) {
        let on_air = datagram.found == Found::OnAir && datagram.kind != Kind::PushData;
        if datagram.found.is_complete() && !on_air {
            *self.kinds.entry(datagram.kind.name()).or_default() += 1;
        } else if datagram.txpk.is_some() {
            self.loose_downlinks += 1;
        }
        if datagram.plan.is_some() {
            self.plan.clone_from(&datagram.plan);
        }
        if datagram.restarted
            && let Some(before) = self.last_heard
            && self.restarts.len() < MOST_RESTARTS
        {
            self.restarts.push(Restart { before, after: line, at: datagram.at });
            self.last = None;
        }
        if let Some(stat) = &datagram.stat {
            self.counted_rx = self.counted_rx.saturating_add(stat.rxnb.unwrap_or_default());
            self.counted_down = self.counted_down.saturating_add(stat.dwnb.unwrap_or_default());
            self.stats.push(StatAt { line, at: datagram.at, stat: stat.clone() });
            if self.stats.len() > MOST_STATS {
                self.stats.thin(MOST_STATS / 2, |_, told| told_kind(&told.stat), |_, _| ());
            }
        }
    }

    pub(super) fn heard(&mut self, sighting: &Sighting) {
        self.crc_good += 1;
        self.last_heard = Some(sighting.line);
        if let Some(tmst) = sighting.tmst {
            self.counter = Some((sighting.line.order, tmst));
        }
        if let Some(hz) = sighting.freq_hz
            && (self.heard_hz.len() < MOST_HZ || self.heard_hz.contains_key(&hz))
        {
            *self.heard_hz.entry(hz).or_default() += 1;
        }
        let (Some(at), Some(tmst)) = (sighting.at, sighting.tmst) else { return };
        if let Some((last_at, last_tmst, before)) = self.last {
            let passed = at.as_microsecond() - last_at.as_microsecond();
            let counted = i64::from(tmst.wrapping_sub(last_tmst));
            if !fits(passed, counted) && self.restarts.len() < MOST_RESTARTS {
                self.restarts.push(Restart { before, after: sighting.line, at: Some(at) });
            }
        }
        self.last = Some((at, tmst, sighting.line));
    }
}

/// What [`GatewayTrace`] asks of a report.
fn told_kind(stat: &Stat) -> u64 {
    kind_of((stat.dwnb == Some(0), stat.ackr.is_some_and(|r| r > 0.0)))
}

/// Reports of one gateway that are kept.
const MOST_STATS: usize = 256;
/// Frequencies that are counted one by one.
const MOST_HZ: usize = 4_096;
/// Restarts that are kept.
const MOST_RESTARTS: usize = 256;

/// Whether `counted`, known modulo 2^32, can be what a counter says after `passed` microseconds.
fn fits(passed: i64, counted: i64) -> bool {
    const WRAP: i64 = 1 << 32;
    // One microsecond in 10 000 for the two clocks, on top of the slack.
    let slack = CLOCK_SLACK_US + passed.abs() / 10_000;
    if slack >= WRAP / 2 {
        return true;
    }
    let apart = (passed - counted).rem_euclid(WRAP);
    apart <= slack || WRAP - apart <= slack
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrap_is_no_restart() {
        assert!(fits(14_000_000, i64::from(12_113_152u32.wrapping_sub(4_293_080_448))));
        assert!(fits((1 << 32) + 5_000_000, 5_000_000));
    }

    #[test]
    fn a_counter_that_begins_anew_is_a_restart() {
        assert!(!fits(20_000_000, i64::from(1_200_000u32.wrapping_sub(3_000_000_000))));
    }
}
