//! What a gateway did and said besides the frames of nodes, and what its server said to it.
//!
//! All of it is of one gateway, and of a bounded size however long the capture is: the gateways of a capture may
//! be traced apart from one another and put together afterwards.
//!
//! | file | keeps |
//! |------|-------|
//! | `flow` | PUSH_DATA or PULL_DATA, with their acknowledgements by token, delays and addresses |
//! | `period` | the same by period, with the gateway's statistics |
//! | `clock` | the time in its statistics, the counters of its radios |
//! | `reception` | how many nodes it hears, and what identifies a reception |
//! | `order` | downlinks, and what became of them |
//! | `station` | connections of the station protocol |

mod clock;
mod flow;
mod order;
mod period;
mod reception;
mod station;

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::{Kept, Line, Moment, NetworkErrors, Sighting, Telling, kept::kind_of};
use crate::intake::{
    Crc, Discovery, Event, GatewayPlan, HowFound, Leg, Lost, Note, Remark, Setup, Stat, Statement,
    What, Witness,
};

use clock::fits;
pub use clock::{Radio, Radios, StatClock};
pub use flow::{ACKNOWLEDGED_WITHIN_US, Flow, OtherTokens, Run, Server};
pub use order::{Fate, Order, Orders, Setting};
pub use period::{Figures, Period, Periods, Tally};
pub use reception::Receptions;
pub use station::{Connection, Connections, Refused};

/// One gateway's part of a capture.
#[derive(Clone, Debug, Default)]
pub struct GatewayTrace {
    /// What is in formats that leave nothing out.
    pub counts: Counts,
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
    /// PUSH_DATA and PUSH_ACK.
    pub push: Flow,
    /// PULL_DATA and PULL_ACK.
    pub pull: Flow,
    /// The same by period, with its statistics.
    pub periods: Periods,
    /// The clock of its statistics.
    pub clock: StatClock,
    /// The radios that send under its EUI.
    pub radios: Radios,
    /// What it receives.
    pub receptions: Receptions,
    /// What it is ordered to send.
    pub orders: Orders,
    /// Its connections, where it speaks the station protocol.
    pub connections: Connections,
    /// What the network says of its datagrams.
    pub unreachable: NetworkErrors,
    /// What is said of it in words.
    pub told: Telling,
    /// Link-layer addresses that it sends from.
    pub links: Vec<[u8; 6]>,
    /// The first of what it sent itself, and the last.
    pub span: Option<(Moment, Moment)>,
    /// The place in time of the last line of which some time has no zone, or no date.
    doubtful: Option<u64>,
    /// The place in time of the last datagram that is one more copy, for another server.
    copied: Option<u64>,
    pulls: Pulls,
    /// Its counter, and the place in time of the last frame that tells it.
    counter: Option<(u64, u32)>,
    last: Option<(Timestamp, u32, Line)>,
    last_heard: Option<Line>,
}

/// How many events of a kind there are, in formats that leave nothing out: what is not there was not.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct Counts {
    /// PUSH_DATA.
    pub push_data: u64,
    /// PUSH_ACK.
    pub push_ack: u64,
    /// PULL_DATA.
    pub pull_data: u64,
    /// PULL_ACK.
    pub pull_ack: u64,
    /// Frames heard.
    pub heard: u64,
    /// Orders to send, but for those that only show because they were heard on the air.
    pub ordered: u64,
    /// What became of them, likewise.
    pub outcomes: u64,
    /// Messages by which the server sets up the gateway.
    pub setups: u64,
}

impl Counts {
    /// Returns whether there is nothing.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// Returns how many messages the gateway sent: datagrams, or what they would carry where a
    /// capture has none.
    pub const fn sent(&self) -> u64 {
        let Self { push_data, pull_data, heard, outcomes, .. } = *self;
        pull_data + outcomes + if push_data > 0 { push_data } else { heard }
    }

    fn take(&mut self, event: &Event) {
        let on_air = event.found == HowFound::OnAir;
        let count = match &event.what {
            What::Asked(Leg::Push) => &mut self.push_data,
            What::Asked(Leg::Pull) => &mut self.pull_data,
            What::Acknowledged(Leg::Push) => &mut self.push_ack,
            What::Acknowledged(Leg::Pull) => &mut self.pull_ack,
            What::Heard(_) => &mut self.heard,
            What::Ordered(_) if !on_air => &mut self.ordered,
            What::Outcome(_) if !on_air => &mut self.outcomes,
            What::Setup(_) => &mut self.setups,
            What::Gap(gap) => match gap.lost {
                Lost::Uplink => &mut self.heard,
                Lost::Downlink => &mut self.ordered,
                Lost::Outcome => &mut self.outcomes,
                _ => return,
            },
            _ => return,
        };
        *count += 1;
    }
}

/// What a gateway asked for on the downlink flow since it was last answered there.
#[derive(Clone, Copy, Debug, Default)]
struct Pulls {
    /// The last PULL_ACK.
    answered: Option<Line>,
    /// PULL_DATA since then.
    asked: u64,
    /// PUSH_ACK since then.
    pushes_answered: u64,
}

impl Pulls {
    fn count(&mut self, what: &What, line: Line) {
        match what {
            What::Asked(Leg::Pull) => self.asked += 1,
            What::Acknowledged(Leg::Push) => self.pushes_answered += 1,
            What::Acknowledged(Leg::Pull) => {
                *self = Self { answered: Some(line), ..Self::default() }
            }
            _ => {}
        }
    }
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
    /// What the counter said before, what it says after, and the microseconds that passed between; `None` where
    /// a station itself says that its counter began again.
    pub counts: Option<(u32, u32, i64)>,
}

impl GatewayTrace {
    /// Returns whether what it hears would be in the capture, so that silence tells.
    pub const fn speaks(&self) -> bool {
        let Counts { push_data, pull_data, heard, .. } = self.counts;
        push_data + pull_data + heard > 0
    }

    /// Returns whether anything of the downlink flow in the capture came from the server to this
    /// gateway. A PUSH_ACK is of the uplink flow, which may have a port of its own.
    pub const fn hears_downlinks(&self) -> bool {
        self.downlinks_are_whole() || self.counts.ordered > 0
    }

    /// Returns whether the downlink flow is in the capture as it was, and not the orders alone, which
    /// somebody may have picked out: PULL_DATA is acknowledged, or a station's connection is set up.
    pub const fn downlinks_are_whole(&self) -> bool {
        let Counts { pull_ack, setups, .. } = self.counts;
        pull_ack + setups > 0
    }

    /// Returns how far its counter went on after a sighting, in microseconds, where frames after it
    /// tell.
    pub fn counted_on(&self, sighting: &Sighting) -> Option<u32> {
        let (order, counter) = self.counter?;
        (order > sighting.line.order).then_some(counter.wrapping_sub(sighting.tmst?))
    }

    /// Returns whether the gateway itself counted downlink datagrams that the capture lacks, or
    /// acknowledged one: half a capture.
    pub const fn misses_downlinks(&self) -> bool {
        let Counts { ordered, outcomes, .. } = self.counts;
        self.counted_down > ordered || outcomes > ordered
    }

    /// Returns whether the gateway itself says that no downlink datagram reached it.
    pub fn counts_no_downlink(&self) -> bool {
        !self.stats.is_empty() && self.stats.iter().all(|s| s.stat.dwnb == Some(0))
    }

    /// Returns how many PULL_DATA there were since the last PULL_ACK: all, where there was none.
    pub const fn pulls_unanswered(&self) -> u64 {
        self.pulls.asked
    }

    /// Returns where the last PULL_ACK stands.
    pub const fn last_pull_ack(&self) -> Option<Line> {
        self.pulls.answered
    }

    /// Returns whether PUSH_DATA is acknowledged and PULL_DATA no longer is, at the end of the
    /// capture. Where downlinks reach a gateway that never gets a PULL_ACK, the recorder lacks it.
    pub fn downlink_is_closed(&self) -> bool {
        let acknowledged = self.stats.iter().any(|s| s.stat.ackr.is_some_and(|r| r > 0.0));
        let lacks_acks =
            self.pulls.answered.is_none() && self.counts.outcomes + self.counted_down > 0;
        // The last one may still be answered.
        self.pulls.asked >= 2 && (self.pulls.pushes_answered > 0 || acknowledged) && !lacks_acks
    }

    /// Returns whether that was so from some place in the capture on.
    pub fn pull_is_unanswered(&self, from: Line) -> bool {
        self.downlink_is_closed() && self.pulls.answered.is_none_or(|last| last < from)
    }

    /// Returns how many PULL_DATA went without an answer at the end of the capture, where PUSH_DATA was
    /// acknowledged meanwhile: the way down is shut, whether or not it was open before.
    pub fn pulls_in_vain(&self) -> u64 {
        if self.downlink_is_closed() { self.pulls.asked } else { 0 }
    }

    /// Returns whether the capture shows that the server reads what this gateway pushes: it acknowledges, or the
    /// gateway itself counts acknowledgements, or a downlink answers an uplink.
    pub fn is_read(&self) -> bool {
        let counted = self.stats.iter().any(|stat| stat.stat.ackr.is_some_and(|ackr| ackr > 0.0));
        self.push.answered > 0 || counted || self.orders.total > 0
    }

    /// Nothing more will come.
    pub(super) fn settle(&mut self) {
        self.orders.settle(None);
    }

    pub(super) fn event(&mut self, line: Line, event: &Event) {
        if event.found.is_complete() {
            self.counts.take(event);
        }
        self.leg(line, event);
        if self.copied == Some(line.order) {
            return;
        }
        if event.found.is_complete() {
            self.pulls.count(&event.what, line);
        }
        let leaves_out = !event.found.is_complete() || event.found == HowFound::OnAir;
        match &event.what {
            What::Ordered(_) if leaves_out => self.loose_downlinks += 1,
            What::Setup(setup) => {
                if let Setup::Plan(plan) = &**setup {
                    self.plan = Some(Box::new(plan.clone()));
                }
            }
            What::Said(said) if said.what == Statement::CounterRestarted => {
                if let Some(before) = self.last_heard
                    && self.restarts.len() < MOST_RESTARTS
                {
                    let (after, at) = (line, event.time);
                    self.restarts.push(Restart { before, after, at, counts: None });
                    self.last = None;
                }
            }
            What::Status(stat) => self.status(line, event.time, stat),
            _ => {}
        }
    }

    /// What tells of the way between the gateway and its server.
    fn leg(&mut self, line: Line, event: &Event) {
        let moment = Moment { line, at: event.time };
        if event
            .notes
            .iter()
            .any(|note: &Note| matches!(note.remark, Remark::NoZone | Remark::NoDate))
        {
            self.doubtful = Some(line.order);
        }
        // What a log says of datagrams without their tokens is a choice of its own.
        let is_datagram = event.found == HowFound::Whole || event.wire.token.is_some();
        match &event.what {
            What::Asked(leg) if is_datagram => self.asked(moment, event, *leg),
            What::Acknowledged(leg) if is_datagram => self.acknowledged(moment, event, *leg),
            // What goes to a second server as well was told.
            What::Heard(_) | What::Status(_) if self.copied == Some(line.order) => {}
            What::Heard(heard) if event.found != HowFound::OnAir => {
                self.says(moment);
                if heard.crc == Crc::Bad {
                    return self.receptions.bad(moment, heard);
                }
                self.receptions.good(moment, heard);
                if let Some(tmst) = heard.tmst {
                    self.orders.heard(moment, tmst);
                }
                let period = self.periods.at(moment);
                if let Some(period) = self.periods.of(period) {
                    period.heard += 1;
                }
            }
            What::Ordered(ordered) if event.found != HowFound::OnAir => {
                self.orders.ordered(moment, event, ordered);
            }
            What::Outcome(outcome) if outcome.by != Witness::Air => {
                self.says(moment);
                self.orders.outcome(moment, event, outcome);
            }
            What::Status(stat) => {
                self.says(moment);
                if self.doubtful != Some(line.order) {
                    self.clock.report(moment, stat);
                }
                let own = self.push.moves_on(moment, 0);
                self.periods.report(moment, stat, own);
                if own {
                    let period = self.periods.at(moment);
                    self.push.moves_on(moment, period);
                }
            }
            What::Setup(setup) => match &**setup {
                Setup::Discovery(discovery) => {
                    self.connections.discovery(moment, discovery);
                    if *discovery == Discovery::Asked {
                        self.seen(moment);
                    }
                }
                Setup::Version(_) => {
                    self.connections.version(moment);
                    self.seen(moment);
                }
                Setup::Plan(_) => self.connections.configured(moment),
            },
            What::Closed(closed) => self.connections.closed(moment, closed),
            What::Network(network) => self.unreachable.take(moment, network),
            _ => {}
        }
    }

    fn asked(&mut self, moment: Moment, event: &Event, leg: Leg) {
        self.says(moment);
        if let Some([link, _]) = event.wire.ends.as_ref().and_then(|ends| ends.link)
            && self.links.len() < MOST_LINKS
            && !self.links.contains(&link)
        {
            self.links.push(link);
        }
        let number = self.periods.at(moment);
        let flow = if leg == Leg::Push { &mut self.push } else { &mut self.pull };
        let is_new = flow.ask(moment, &event.wire, number);
        if !is_new {
            self.copied = Some(moment.line.order);
        }
        if leg == Leg::Pull {
            self.orders.pulled(moment);
        }
        if let Some(period) = self.periods.of(number).filter(|_| is_new) {
            let tally = if leg == Leg::Push { &mut period.push } else { &mut period.pull };
            tally.asked += 1;
        }
    }

    fn acknowledged(&mut self, moment: Moment, event: &Event, leg: Leg) {
        let flow = if leg == Leg::Push { &mut self.push } else { &mut self.pull };
        let Some(answered) = flow.answer(moment, &event.wire) else { return };
        if leg == Leg::Push {
            self.periods.pushed(answered.period, answered.in_time);
        } else if let Some(period) = self.periods.of(answered.period) {
            period.pull.answered += 1;
            period.pull.in_time += u64::from(answered.in_time);
        }
    }

    /// The gateway sent something itself.
    fn says(&mut self, moment: Moment) {
        self.seen(moment);
        self.connections.speaks(moment);
    }

    fn seen(&mut self, moment: Moment) {
        self.span = Some((self.span.map_or(moment, |(first, _)| first), moment));
    }

    fn status(&mut self, line: Line, at: Option<Timestamp>, stat: &Stat) {
        self.counted_rx = self.counted_rx.saturating_add(stat.rxnb.unwrap_or_default());
        self.counted_down = self.counted_down.saturating_add(stat.dwnb.unwrap_or_default());
        self.stats.push(StatAt { line, at, stat: stat.clone() });
        if self.stats.len() > MOST_STATS {
            self.stats.thin(MOST_STATS / 2, |_, told| told_kind(&told.stat), |_, _| ());
        }
    }

    pub(super) fn heard(&mut self, sighting: &Sighting) {
        if self.copied == Some(sighting.line.order) {
            return;
        }
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
        self.radios.heard(Moment { line: sighting.line, at: Some(at) }, tmst);
        if let Some((last_at, last_tmst, before)) = self.last {
            let passed = at.as_microsecond() - last_at.as_microsecond();
            let counted = i64::from(tmst.wrapping_sub(last_tmst));
            if !fits(passed, counted) && self.restarts.len() < MOST_RESTARTS {
                let (after, counts) = (sighting.line, Some((last_tmst, tmst, passed)));
                self.restarts.push(Restart { before, after, at: Some(at), counts });
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
/// Link-layer addresses of one gateway that are kept.
const MOST_LINKS: usize = 4;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::Position;

    fn seen(all: &[What]) -> GatewayTrace {
        let mut gateway = GatewayTrace::default();
        for (order, what) in (1..).zip(all) {
            let line = Line { order, ..Line::default() };
            gateway.event(line, &Event::new(Position::default(), what.clone()));
        }
        gateway
    }

    #[test]
    fn a_downlink_flow_is_closed_when_the_uplink_flow_alone_is_answered() {
        let (push, pushed) = (What::Asked(Leg::Push), What::Acknowledged(Leg::Push));
        let (pull, pulled) = (What::Asked(Leg::Pull), What::Acknowledged(Leg::Pull));
        let all =
            |list: &[&What]| seen(&list.iter().map(|what| (*what).clone()).collect::<Vec<_>>());
        assert!(all(&[&pull, &push, &pushed, &pull]).downlink_is_closed());
        // One may still be answered; and without any answer the server is silent altogether.
        assert!(!all(&[&pull, &push, &pushed]).downlink_is_closed());
        assert!(!all(&[&pull, &push, &pull]).downlink_is_closed());
        assert!(!all(&[&pull, &pulled, &push, &pushed, &pull]).downlink_is_closed());
        let later = all(&[&pull, &pulled, &push, &pushed, &pull, &pushed, &pull]);
        assert!(later.downlink_is_closed());
        let at = |order| Line { order, ..Line::default() };
        assert!(later.pull_is_unanswered(at(3)));
        assert!(!later.pull_is_unanswered(at(1)));
    }
}
