//! The gateways of a capture that goes on: as a tracer traces them, without any node, and so of a bounded size
//! however long it goes on.

use crate::{
    intake::{Event, Lost, What},
    trace::{GatewayTrace, Line, Moment, Trace, told::Told},
};

use super::DAMAGED;

/// Gateways that are followed; whoever makes up more of them gains nothing.
const MOST: usize = 4_096;

/// Takes what gateways and their servers say to each other, in the order in which it comes.
#[derive(Clone, Debug, Default)]
pub struct GatewayTracer {
    trace: Trace,
    taken: u64,
}

impl GatewayTracer {
    /// Takes one event. Frames in it are counted, and no more.
    pub fn take(&mut self, event: &Event) {
        let known = &self.trace.gateways;
        if known.len() >= MOST && !known.contains_key(&event.gateway) {
            return;
        }
        let line = Line { order: self.taken, place: event.place };
        self.taken += 1;
        self.trace.around(line, event);
    }

    /// Returns the trace so far: gateways, and no node.
    pub fn trace(&self) -> Trace {
        let mut trace = self.trace.clone();
        trace.gateways.values_mut().for_each(GatewayTrace::settle);
        trace
    }
}

impl Trace {
    /// Takes what an event tells of the capture and of its gateway. Returns whether it is a gateway's: what is
    /// damaged beyond that, or said of nobody's datagrams, is not.
    pub(super) fn around(&mut self, line: Line, event: &Event) -> bool {
        match &event.what {
            What::Gap(gap) => {
                if gap.lost.may_be_a_downlink() && self.lacks.damaged.len() < DAMAGED {
                    self.lacks.damaged.push(line);
                }
                if gap.lost == Lost::Anything {
                    self.lacks.has_text |= gap.is_text();
                    return false;
                }
            }
            What::Network(network) => {
                let moment = Moment { line, at: event.time };
                self.askers.take(moment, &event.wire, network);
                // What it says of nobody's datagrams is no gateway.
                if event.gateway.is_none() {
                    return false;
                }
            }
            _ => {}
        }
        let silence = event.found.is_complete();
        self.lacks.shows_silence |= silence;
        self.lacks.has_text |= !silence;
        if let Some(at) = event.time {
            self.span = Some(match self.span {
                Some((first, last)) => (first.min(at), last.max(at)),
                None => (at, at),
            });
        }
        // What is said of a node is no sign of a gateway.
        if !matches!(&event.what, What::Said(said) if !Told::is_of_a_gateway(said)) {
            self.gateways.entry(event.gateway).or_default().event(line, event);
        }
        true
    }
}
