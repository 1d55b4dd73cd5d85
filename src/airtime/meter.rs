//! The meter: events in, accounts out.

use std::collections::{HashMap, VecDeque};

use jiff::Timestamp;

use super::{
    Account, CaptureAirtime, GatewayAirtime, NodeAirtime,
    on_air::OnAir,
    senders::{Senders, Who},
};
use crate::{
    frame::Frame,
    id::Eui64,
    intake::{Crc, Event, Heard, Ordered, Outcome, TxError, What},
    region::Plan,
    roster::Roster,
    trace::{Line, OrderKey, Sending, Sighting, Transmission, is_copy, is_of},
};

/// Takes events in the order captured and keeps an account of every sender.
///
/// Its memory is that of the accounts, of the last hour and of some thousand frames.
#[derive(Debug)]
pub struct Meter<'r> {
    roster: &'r Roster,
    plan: Option<&'static Plan>,
    senders: Senders<'r>,
    report: CaptureAirtime,
    nodes: HashMap<Who, usize>,
    gateways: HashMap<Option<Eui64>, usize>,
    recent: HashMap<Vec<u8>, (Transmission, Option<usize>)>,
    recent_order: VecDeque<Vec<u8>>,
    waiting: VecDeque<Waiting>,
    pushed: u64,
}

/// A downlink of which its gateway may still say that it is not sent.
#[derive(Debug)]
struct Waiting {
    key: OrderKey,
    sent: OnAir,
    answered: Option<bool>,
    /// Whether it goes out only where the one before it does not.
    alternative: bool,
}

impl<'r> Meter<'r> {
    /// Returns a meter that names nodes by a roster, and takes `plan` where the roster states none.
    pub fn new(roster: &'r Roster, plan: Option<&'static Plan>) -> Self {
        Self {
            roster,
            plan,
            senders: Senders::new(roster),
            report: CaptureAirtime::default(),
            nodes: HashMap::new(),
            gateways: HashMap::new(),
            recent: HashMap::new(),
            recent_order: VecDeque::new(),
            waiting: VecDeque::new(),
            pushed: 0,
        }
    }

    /// Takes one event.
    pub fn push(&mut self, event: &Event) {
        if !matches!(event.what, What::Gap(_) | What::Network(_) | What::Closed(_))
            && let Some(at) = event.time
        {
            let (first, last) = self.report.span.unwrap_or((at, at));
            self.report.span = Some((first.min(at), last.max(at)));
            self.settle(at);
        }
        match &event.what {
            What::Heard(heard) => self.heard(event, heard),
            What::Ordered(ordered) => self.ordered(event, ordered),
            What::Outcome(outcome) => self.outcome(event, outcome),
            _ => {}
        }
        self.pushed += 1;
    }

    /// Returns the accounts of all that was pushed.
    pub fn finish(mut self) -> CaptureAirtime {
        while let Some(waiting) = self.waiting.pop_front() {
            self.book(&waiting);
        }
        let mut places: Vec<(usize, usize)> = self
            .nodes
            .iter()
            .map(|(who, place)| match who {
                Who::Roster(index) => (*index, *place),
                _ => (usize::MAX, *place),
            })
            .collect();
        places.sort_unstable();
        let mut nodes: Vec<_> = self.report.nodes.into_iter().map(Some).collect();
        self.report.nodes =
            places.into_iter().filter_map(|(_, place)| nodes.get_mut(place)?.take()).collect();
        self.report
    }

    fn heard(&mut self, event: &Event, heard: &Heard) {
        if heard.crc == Crc::Bad {
            self.report.crc_bad += 1;
            return;
        }
        let line = Line { order: self.pushed, place: event.place };
        let sighting = Sighting::new(line, event.time, event.gateway, heard);
        if let Some((known, node)) = self.recent.get_mut(heard.octets())
            && is_copy(known, &sighting)
        {
            known.add(sighting);
            let node = node.and_then(|place| self.report.nodes.get_mut(place));
            if let Some(node) = node {
                node.account.heard_again();
            }
            return;
        }
        let sent = OnAir::uplink(event.time, heard);
        let frame = heard.frame.frame.as_ref();
        let heard_once = Transmission::new(heard.octets(), sighting);
        let named = frame.and_then(|frame| self.senders.of_uplink(frame, &heard_once));
        let place = named.map(|(who, dev_eui, dev_addr)| {
            let place = self.node(who);
            if let Some(node) = self.report.nodes.get_mut(place) {
                node.dev_eui = dev_eui.or(node.dev_eui);
                node.dev_addr = dev_addr.or(node.dev_addr);
                node.account.add(&sent);
            }
            place
        });
        self.report.nameless += u64::from(place.is_none());
        self.remember(heard.octets(), heard_once, place);
    }

    fn remember(&mut self, octets: &[u8], heard: Transmission, node: Option<usize>) {
        if self.recent.insert(octets.to_vec(), (heard, node)).is_some() {
            return;
        }
        self.recent_order.push_back(octets.to_vec());
        if self.recent_order.len() > REMEMBERED
            && let Some(old) = self.recent_order.pop_front()
        {
            self.recent.remove(&old);
        }
    }

    fn node(&mut self, who: Who) -> usize {
        if let Some(place) = self.nodes.get(&who) {
            return *place;
        }
        let entry = match who {
            Who::Roster(index) => self.roster.nodes.get(index),
            _ => None,
        };
        let plan = entry.map_or_else(|| self.roster.region, |node| self.roster.plan_for(node));
        let dev_eui = entry.and_then(|node| node.claims().find_map(|(_, claim)| claim.dev_eui));
        self.report.nodes.push(NodeAirtime {
            name: entry.map(|node| node.name.clone()),
            dev_eui,
            dev_addr: None,
            account: Account::new(plan.or(self.plan)),
        });
        let place = self.report.nodes.len() - 1;
        self.nodes.insert(who, place);
        place
    }

    // --- downlinks ------------------------------------------------------------------------

    fn ordered(&mut self, event: &Event, ordered: &Ordered) {
        if let Some(Frame::JoinAccept(sealed)) = &ordered.frame.frame {
            let line = Line { order: self.pushed, place: event.place };
            let token = event.wire.token;
            let sending = Sending::new(line, event.time, event.gateway, token, ordered);
            self.senders.answered(sealed, &sending);
        }
        self.waiting.push_back(Waiting {
            key: (event.gateway, event.wire.token, ordered.number),
            sent: OnAir::downlink(event.time, ordered),
            answered: None,
            alternative: ordered.alternative,
        });
        if self.waiting.len() > OPEN_SENDINGS
            && let Some(first) = self.waiting.pop_front()
        {
            self.book(&first);
        }
    }

    fn outcome(&mut self, event: &Event, outcome: &Outcome) {
        let taken = outcome.error == TxError::None;
        let word = (event.gateway, event.wire.token, outcome.number);
        let asked = self
            .waiting
            .iter()
            .rposition(|waiting| waiting.answered.is_none() && is_of(word, waiting.key));
        let Some(at) = asked else { return };
        if let Some(waiting) = self.waiting.get_mut(at) {
            waiting.answered = Some(taken);
        }
        // One way was taken: the one before it, of which nothing was said, was not.
        let is_alternative = self.waiting.get(at).is_some_and(|waiting| waiting.alternative);
        let before = at.checked_sub(1).filter(|_| taken && is_alternative);
        if let Some(before) = before
            && self.waiting.get(before).is_some_and(|w| w.answered.is_none())
        {
            self.waiting.remove(before);
        }
    }

    /// Books downlinks that were answered, or that nobody will answer any more, in their order.
    fn settle(&mut self, now: Timestamp) {
        let is_settled = |waiting: &Waiting| {
            let passed = |at: Timestamp| (now.as_microsecond() - at.as_microsecond()).abs();
            waiting.answered.is_some() || waiting.sent.at.is_some_and(|at| passed(at) > ACK_US)
        };
        while self.waiting.front().is_some_and(is_settled)
            && let Some(first) = self.waiting.pop_front()
        {
            self.book(&first);
        }
    }

    fn book(&mut self, waiting: &Waiting) {
        if waiting.alternative && waiting.answered.is_none() {
            return;
        }
        let place = self.gateway(waiting.key.0);
        let Some(gateway) = self.report.gateways.get_mut(place) else { return };
        if waiting.answered == Some(false) {
            gateway.refused += 1;
        } else {
            gateway.account.add(&waiting.sent);
        }
    }

    fn gateway(&mut self, eui: Option<Eui64>) -> usize {
        if let Some(place) = self.gateways.get(&eui) {
            return *place;
        }
        let entry = self.roster.gateways.iter().find(|gateway| Some(gateway.eui) == eui);
        let plan = entry.and_then(|gateway| gateway.region).or(self.roster.region).or(self.plan);
        self.report.gateways.push(GatewayAirtime {
            eui,
            name: entry.and_then(|gateway| gateway.name.clone()),
            refused: 0,
            account: Account::new(plan),
        });
        let place = self.report.gateways.len() - 1;
        self.gateways.insert(eui, place);
        place
    }
}

/// Frames remembered for the folding of copies.
const REMEMBERED: usize = 4_096;
/// Downlinks that wait for what their gateway says.
const OPEN_SENDINGS: usize = 4_096;
/// A gateway says whether it takes a downlink within this time.
const ACK_US: i64 = 10_000_000;
