//! Who sent a frame: the roster's node, or the number that the frame names.

use std::collections::{HashMap, VecDeque};

use jiff::Timestamp;

use crate::{
    frame::{Direction, Frame, RejoinBody, SealedJoinAccept},
    id::{DevAddr, DevEui},
    roster::Roster,
    trace::{self, Ask},
};

/// A node, by the best name that is known for it.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(super) enum Who {
    /// The roster's node of that place.
    Roster(usize),
    /// A stranger that asked to join.
    DevEui(DevEui),
    /// A stranger's data.
    DevAddr(DevAddr),
}

/// Names the senders of a capture, and learns addresses from the joins that the roster's keys open.
///
/// A DevAddr is not a node's alone: a stranger with the address of a node on the roster counts with
/// it.
#[derive(Debug)]
pub(super) struct Senders<'r> {
    roster: &'r Roster,
    by_dev_eui: HashMap<DevEui, usize>,
    by_dev_addr: HashMap<DevAddr, usize>,
    asked: VecDeque<(usize, Option<Timestamp>, Ask)>,
}

impl<'r> Senders<'r> {
    pub(super) fn new(roster: &'r Roster) -> Self {
        let (mut by_dev_eui, mut by_dev_addr) = (HashMap::new(), HashMap::new());
        for (index, node) in roster.nodes.iter().enumerate() {
            for (_, claim) in node.claims() {
                if let Some(dev_eui) = claim.dev_eui {
                    by_dev_eui.entry(dev_eui).or_insert(index);
                }
                if let Some(dev_addr) = claim.dev_addr {
                    by_dev_addr.entry(dev_addr).or_insert(index);
                }
            }
        }
        Self { roster, by_dev_eui, by_dev_addr, asked: VecDeque::new() }
    }

    /// Returns who sent an uplink, and the number by which it says so.
    pub(super) fn of_uplink(
        &mut self,
        frame: &Frame,
        at: Option<Timestamp>,
    ) -> Option<(Who, Option<DevEui>, Option<DevAddr>)> {
        let (ask, dev_eui) = match frame {
            Frame::JoinRequest(request) => (Ask::Join(request.clone()), request.dev_eui),
            Frame::RejoinRequest(request) => {
                let (RejoinBody::Network { dev_eui, .. } | RejoinBody::JoinServer { dev_eui, .. }) =
                    request.body
                else {
                    return None;
                };
                (Ask::Rejoin(request.clone()), dev_eui)
            }
            Frame::Data(data) if data.direction() == Direction::Uplink => {
                let known = self.by_dev_addr.get(&data.dev_addr);
                let who = known.map_or(Who::DevAddr(data.dev_addr), |&index| Who::Roster(index));
                return Some((who, None, Some(data.dev_addr)));
            }
            _ => return None,
        };
        let Some(&index) = self.by_dev_eui.get(&dev_eui) else {
            return Some((Who::DevEui(dev_eui), Some(dev_eui), None));
        };
        self.asked.push_back((index, at, ask));
        if self.asked.len() > OPEN_REQUESTS {
            self.asked.pop_front();
        }
        Some((Who::Roster(index), Some(dev_eui), None))
    }

    /// Learns the DevAddr that a Join-Accept gives, if a key of a node that just asked opens it.
    pub(super) fn answered(&mut self, sealed: &SealedJoinAccept, at: Option<Timestamp>) {
        let recent = |asked: &Option<Timestamp>| match (at, asked) {
            (Some(at), Some(asked)) => {
                (0..=ANSWER_US).contains(&(at.as_microsecond() - asked.as_microsecond()))
            }
            _ => true,
        };
        for (index, _, ask) in self.asked.iter().rev().filter(|(_, asked, _)| recent(asked)) {
            let Some(node) = self.roster.nodes.get(*index) else { continue };
            for (_, root) in trace::root_keys(*index, node) {
                if let [(_, opened), ..] = &trace::open_accept(&root, node, ask, sealed)[..] {
                    self.by_dev_addr.insert(opened.accept.dev_addr, *index);
                    return;
                }
            }
        }
    }
}

/// Requests that wait for their answer.
const OPEN_REQUESTS: usize = 64;
/// An answer comes within this time.
const ANSWER_US: i64 = 20_000_000;
