//! Every node's ladder while frames come: climbed again when something of the node arrived.
//!
//! Of each node only the latest exchanges and data are kept, and so memory is bounded however long the tap
//! runs; what is forgotten makes a verdict milder, never harsher, for a ladder proves from what it has.

mod climb;
mod node;

use std::{
    collections::{HashMap, VecDeque},
    time::Instant,
};

use jiff::Timestamp;

pub(super) use self::climb::Climbed;
use self::node::Kept;
use super::recent::Recent;
use crate::{
    frame::Frame,
    id::{DevAddr, DevEui, Eui64},
    intake::{Event, Leg, Ordered, What},
    ladder::{CauseId, Diagnosis, Outcome, Place},
    reading::Reading,
    region::Plan,
    roster::Roster,
    trace::{Line, Names, OpenOrders, Requests, Sending, Sighting, Transmission},
};

/// How a node's ladder stands.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Standing {
    /// How its joining ended so far.
    pub outcome: Outcome,
    /// The first rung that is broken.
    pub broken: Option<Place>,
    /// The causes, by id.
    pub causes: Vec<CauseId>,
}

impl Standing {
    fn of(diagnosis: &Diagnosis) -> Self {
        Self {
            outcome: diagnosis.outcome,
            broken: diagnosis.first_broken(),
            causes: diagnosis.causes.iter().map(|verdict| verdict.cause.id).collect(),
        }
    }
}

/// A node's ladder stands otherwise than before.
#[derive(Clone, Debug)]
pub struct Change {
    /// When.
    pub at: Timestamp,
    /// How it stood; `None` where nothing was known of the node.
    pub before: Option<Standing>,
    /// How it stands.
    pub now: Standing,
    /// All that there is to say.
    pub diagnosis: Diagnosis,
}

/// A node of the roster by its place, or a stranger.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
enum Who {
    Roster(usize),
    Stranger(DevEui),
}

/// The ladders of all nodes.
#[derive(Debug)]
pub(super) struct Ladders<'r> {
    roster: &'r Roster,
    plan: Option<&'static Plan>,
    by_name: HashMap<&'r str, usize>,
    names: Names,
    nodes: Recent<Who, Kept>,
    /// Whose sessions have that address.
    addresses: Recent<DevAddr, Who>,
    /// Who asked to join.
    asked: Requests<Who>,
    /// Whom a downlink is for, until the gateway says what it did with it.
    sendings: OpenOrders<Vec<Who>>,
    /// What tells of a gateway whether its server is heard.
    links: Recent<Option<Eui64>, Link>,
    due: VecDeque<Who>,
    rest_until: Option<Instant>,
}

/// The latest of what a gateway and its server say to each other without frames.
#[derive(Debug, Default)]
struct Link {
    pulls: VecDeque<Event>,
    push_ack: Option<Event>,
    pull_ack: Option<Event>,
}

impl<'r> Ladders<'r> {
    pub(super) fn new(roster: &'r Roster, plan: Option<&'static Plan>) -> Self {
        let names = roster.nodes.iter().enumerate().map(|(i, node)| (node.name.as_str(), i));
        let known = Names::of(roster);
        let mut addresses = Recent::new(MOST_ADDRESSES);
        for (dev_addr, index) in known.dev_addrs() {
            addresses.add(dev_addr, Who::Roster(index));
        }
        Self {
            roster,
            plan,
            by_name: names.collect(),
            names: known,
            nodes: Recent::new(roster.nodes.len() + MOST_STRANGERS),
            addresses,
            asked: Requests::default(),
            sendings: OpenOrders::default(),
            links: Recent::new(MOST_LINKS),
            due: VecDeque::new(),
            rest_until: None,
        }
    }

    /// Takes a frame with what keys told of it.
    pub(super) fn frame(&mut self, event: &Event, reading: &Reading) {
        match (&event.what, &reading.decoded.frame) {
            (What::Heard(heard), Some(frame)) => {
                let Some(who) = self.sender(frame, reading) else { return };
                let asks = matches!(frame, Frame::JoinRequest(_) | Frame::RejoinRequest(_));
                if asks {
                    let line = Line { order: 0, place: event.place };
                    let sighting = Sighting::new(line, event.time, event.gateway, heard);
                    self.asked.push(who, Transmission::new(heard.octets(), sighting));
                }
                self.keep(who, event, asks);
            }
            (What::Ordered(ordered), Some(frame)) => {
                let for_whom = match frame {
                    Frame::JoinAccept(_) => self.answered(event, ordered, reading),
                    Frame::Data(data) => {
                        self.addresses.get(&data.dev_addr).copied().into_iter().collect()
                    }
                    _ => Vec::new(),
                };
                let key = (event.gateway, event.wire.token, ordered.number);
                self.sendings.push(key, for_whom.clone());
                for who in for_whom {
                    self.keep(who, event, matches!(frame, Frame::JoinAccept(_)));
                }
            }
            _ => {}
        }
    }

    /// Takes what tells of frames, and of the way to the server.
    pub(super) fn event(&mut self, event: &Event) {
        if let What::Outcome(outcome) = &event.what {
            let for_whom = self.sendings.take((event.gateway, event.wire.token, outcome.number));
            for who in for_whom.into_iter().flatten() {
                self.keep(who, event, true);
            }
        }
        let plain = matches!(event.what, What::Asked(Leg::Pull) | What::Acknowledged(_));
        if !plain {
            return;
        }
        if self.links.meet(&event.gateway).is_none() {
            self.links.add(event.gateway, Link::default());
        }
        let Some(link) = self.links.get_mut(&event.gateway) else { return };
        match event.what {
            What::Acknowledged(Leg::Push) => link.push_ack = Some(event.clone()),
            What::Acknowledged(Leg::Pull) => link.pull_ack = Some(event.clone()),
            _ => {
                link.pulls.push_back(event.clone());
                if link.pulls.len() > 2 {
                    link.pulls.pop_front();
                }
            }
        }
    }

    fn sender(&self, frame: &Frame, reading: &Reading) -> Option<Who> {
        let proven = match &reading.found.mic {
            crate::reading::MicVerdict::Holds(proof) => proof.source.node.as_deref(),
            _ => None,
        };
        if let Some(place) = proven.and_then(|name| self.by_name.get(name)) {
            return Some(Who::Roster(*place));
        }
        let by_eui = |eui| {
            let named = self.names.of_dev_eui(eui).first();
            named.map_or(Who::Stranger(eui), |index| Who::Roster(*index))
        };
        match frame {
            Frame::JoinRequest(request) => Some(by_eui(request.dev_eui)),
            Frame::RejoinRequest(request) => request.body.dev_eui().map(by_eui),
            Frame::Data(data) => self.addresses.get(&data.dev_addr).copied(),
            Frame::JoinAccept(_) | Frame::Proprietary(_) => None,
        }
    }

    /// Returns whose request a Join-Accept may answer.
    fn answered(&mut self, event: &Event, ordered: &Ordered, reading: &Reading) -> Vec<Who> {
        let proven = match &reading.found.mic {
            crate::reading::MicVerdict::Holds(proof) => proof.source.node.as_deref(),
            _ => None,
        };
        if let Some(place) = proven.and_then(|name| self.by_name.get(name)) {
            let who = Who::Roster(*place);
            if let Some(opened) = &reading.found.accept {
                self.addresses.add(opened.accept.accept.dev_addr, who);
            }
            return vec![who];
        }
        let line = Line { order: 0, place: event.place };
        let sending = Sending::new(line, event.time, event.gateway, event.wire.token, ordered);
        let fitting = self.asked.answered_by(&sending);
        let best = fitting.first().map(|(fit, _)| *fit);
        // What a request fits better than others is not theirs.
        let mut whom: Vec<Who> = Vec::new();
        for (_, who) in fitting.into_iter().filter(|(fit, _)| Some(*fit) == best) {
            if whom.len() < MOST_ANSWERED && !whom.contains(who) {
                whom.push(*who);
            }
        }
        whom
    }

    fn keep(&mut self, who: Who, event: &Event, of_join: bool) {
        if self.nodes.meet(&who).is_none() {
            let room = (KEPT_OF_ALL / self.roster.nodes.len().max(1)).clamp(8, 32);
            if let Some((forgotten, _)) = self.nodes.add(who, Kept::new(room)) {
                self.due.retain(|due| *due != forgotten);
            }
        }
        if let Some(node) = self.nodes.get_mut(&who)
            && node.keep(event.clone(), of_join)
        {
            self.due.push_back(who);
        }
    }
}

/// Strangers whose frames are kept.
const MOST_STRANGERS: usize = 1_024;
/// Addresses whose nodes are known.
const MOST_ADDRESSES: usize = 65_536;
/// Nodes that one accept is kept for, where no key says whose it is.
const MOST_ANSWERED: usize = 8;
/// Gateways whose link to the server is known.
const MOST_LINKS: usize = 4_096;
/// Events that are kept of all nodes of a roster.
const KEPT_OF_ALL: usize = 131_072;

#[cfg(test)]
mod tests {
    use jiff::SignedDuration;

    use super::*;
    use crate::{
        crypto::mic,
        frame::{DataFrame, FCtrl, FOpts, FType, Mhdr, Mic, Payload},
        intake::{Crc, Heard, Position},
        reading::{Context, KeyRing, read},
        roster,
    };

    const ROSTER: &str = r#"
        region = "EU868"
        [[node]]
        name = "plum-row-1"
        [node.record]
        dev-eui = "020000fffe000001"
        activation = "ABP"
        mac-version = "1.0.3"
        dev-addr = "02000001"
        nwk-s-key = "000102030405060708090a0b0c0d0e0f"
        app-s-key = "0f0e0d0c0b0a09080706050403020100"
    "#;

    /// Takes octets that a gateway heard so many minutes after the first.
    fn hear(ladders: &mut Ladders<'_>, ring: &KeyRing, octets: &[u8], minute: i64) {
        let heard = Heard {
            freq_hz: Some(868_100_000),
            modulation: "SF7BW125".parse().ok(),
            rssi: Some(-80.0),
            snr: Some(7.0),
            crc: Crc::Ok,
            ..Heard::new(octets)
        };
        let reading = read(heard.frame.clone(), ring, &Context::default());
        let event = Event {
            gateway: Some(Eui64::new([2; 8])),
            time: Some(Timestamp::UNIX_EPOCH + SignedDuration::from_mins(minute)),
            ..Event::new(Position::packet(0), What::Heard(Box::new(heard)))
        };
        ladders.frame(&event, &reading);
    }

    #[test]
    fn weeks_of_data_leave_no_gap_that_looks_like_one_of_the_node() {
        let roster = roster::parse(ROSTER, None).unwrap();
        let mut ring = KeyRing::default();
        ring.add_roster(&roster);
        let mut ladders = Ladders::new(&roster, None);
        let key = "000102030405060708090a0b0c0d0e0f".parse().unwrap();
        // Past three turns of the 16 bits that a frame carries.
        let minutes = 20_000;
        for minute in 0..minutes {
            let mut frame = DataFrame {
                mhdr: Mhdr::new(FType::UnconfirmedDataUp),
                dev_addr: "02000001".parse().unwrap(),
                fctrl: FCtrl::new(0),
                fcnt: u16::try_from(minute * 10 % 65_536).unwrap(),
                fopts: FOpts::default(),
                payload: Some(Payload { port: 2, frm: vec![1, 2, 3] }),
                mic: Mic::default(),
            };
            frame.mic = mic::data_1_0(&key, &frame, u32::try_from(minute * 10).unwrap());
            hear(&mut ladders, &ring, &Frame::Data(frame).build(), minute);
        }
        let now = Timestamp::UNIX_EPOCH + SignedDuration::from_mins(minutes);
        let Climbed::Changed(change) = ladders.climb(now, true) else { panic!("it stands") };
        assert_eq!(
            change.now,
            Standing { outcome: Outcome::Session, broken: None, causes: vec![] }
        );
        let (_, node) = ladders.nodes.newest().next().unwrap();
        assert!(node.events().count() <= 32);
    }

    #[test]
    fn strangers_without_number_take_the_room_of_a_thousand() {
        let roster = Roster::default();
        let ring = KeyRing::default();
        let mut ladders = Ladders::new(&roster, None);
        for number in 0..5_000_u32 {
            let mut octets = vec![0; 23];
            octets[9..13].copy_from_slice(&number.to_le_bytes());
            hear(&mut ladders, &ring, &octets, 0);
        }
        assert_eq!(ladders.nodes.len(), MOST_STRANGERS);
        assert!(ladders.due.len() <= MOST_STRANGERS);
    }
}
