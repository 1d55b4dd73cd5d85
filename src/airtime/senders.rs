//! Who sent a frame: the roster's node, or the number that the frame names.

use crate::{
    frame::{Direction, Frame, RejoinBody, SealedJoinAccept},
    id::{DevAddr, DevEui},
    roster::Roster,
    trace::{self, Ask, Names, Requests, Sending, Transmission},
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
    names: Names,
    asked: Requests<(usize, Ask)>,
}

impl<'r> Senders<'r> {
    pub(super) fn new(roster: &'r Roster) -> Self {
        Self { roster, names: Names::of(roster), asked: Requests::default() }
    }

    /// Returns who sent an uplink, and the number by which it says so.
    pub(super) fn of_uplink(
        &mut self,
        frame: &Frame,
        heard: &Transmission,
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
                let known = self.names.of_dev_addr(data.dev_addr);
                let who = known.map_or(Who::DevAddr(data.dev_addr), Who::Roster);
                return Some((who, None, Some(data.dev_addr)));
            }
            _ => return None,
        };
        let Some(&index) = self.names.of_dev_eui(dev_eui).first() else {
            return Some((Who::DevEui(dev_eui), Some(dev_eui), None));
        };
        self.asked.push((index, ask), heard.clone());
        Some((Who::Roster(index), Some(dev_eui), None))
    }

    /// Learns the DevAddr that a Join-Accept gives, if a key of a node that just asked opens it.
    pub(super) fn answered(&mut self, sealed: &SealedJoinAccept, sending: &Sending) {
        let opened = self.asked.answered_by(sending).into_iter().find_map(|(_, (index, ask))| {
            let node = self.roster.nodes.get(*index)?;
            let mut keys = trace::root_keys(*index, node).into_iter();
            keys.find_map(|(_, root)| {
                let (_, opened) =
                    trace::open_accept(&root, node, ask, sealed).into_iter().next()?;
                Some((opened.accept.dev_addr, *index))
            })
        });
        if let Some((dev_addr, index)) = opened {
            self.names.learn(dev_addr, index);
        }
    }
}
