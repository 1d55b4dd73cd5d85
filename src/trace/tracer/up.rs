//! Uplinks: copies folded, requests and data put with the node that sent them.

use super::{
    Arrival, BESIDE_LINES, COPY_US, FOREIGN, GHOST_US, GHOST_WALL_US, LATE_COPY_US, REMEMBERED,
    SAME_REQUEST_US, STRAY_FRAMES, STRAYS_OF_ONE, Slot, Tracer,
};
use crate::{
    frame::{DataFrame, Decoded, Direction, FType, Field, Frame},
    id::{DevEui, Eui64},
    intake::{Crc, Heard},
    trace::{Ask, Attempt, Data, Line, Sighting, Transmission, pairing::OPEN_REQUESTS},
};

impl Tracer<'_> {
    pub(super) fn heard(&mut self, from: Arrival, heard: Heard) {
        let Arrival { line, at, gateway, .. } = from;
        let gateway_trace = self.trace.gateways.entry(gateway).or_default();
        if heard.crc == Crc::Bad {
            gateway_trace.crc_bad += 1;
            self.trace.crc_bad += 1;
            return;
        }
        let sighting = Sighting::new(line, at, gateway, &heard);
        gateway_trace.heard(&sighting);
        self.trace.frames += 1;
        let Some(sighting) = self.fold(heard.octets(), sighting) else { return };
        let named = self.named(&heard.frame);
        let Decoded { octets, frame, .. } = heard.frame;
        let heard = Transmission::new(octets.as_slice(), sighting);
        let slot = match frame {
            Some(Frame::JoinRequest(request)) if request.surplus.is_empty() => {
                self.asked(Ask::Join(request), heard)
            }
            Some(Frame::RejoinRequest(request)) => self.asked(Ask::Rejoin(request), heard),
            Some(Frame::Data(frame)) if frame.direction() == Direction::Uplink => {
                self.data_up(frame, heard)
            }
            _ => self.misshapen(heard, named),
        };
        if let Some(slot) = slot {
            self.remember(octets, slot);
        }
    }

    /// Adds the sighting to a transmission that it is a copy of; gives it back if it is none.
    fn fold(&mut self, octets: &[u8], sighting: Sighting) -> Option<Sighting> {
        let Some(&slot) = self.recent.get(octets) else { return Some(sighting) };
        let Some(heard) = self.transmission(slot) else { return Some(sighting) };
        if is_copy(heard, &sighting) {
            heard.add(sighting);
            return None;
        }
        Some(sighting)
    }

    fn transmission(&mut self, slot: Slot) -> Option<&mut Transmission> {
        match slot {
            Slot::Attempt(node, i) => Some(&mut self.node(node)?.attempts.at_mut(i)?.heard),
            Slot::Misshapen(node, i) => self.node(node)?.misshapen.at_mut(i),
            Slot::Data(node, session, i) => {
                let seen = self.node(node)?.sessions.at_mut(session)?.frames.at_mut(i)?;
                transmission_of(&mut seen.data)
            }
            Slot::Unverified(node, i) => transmission_of(self.node(node)?.unverified.at_mut(i)?),
        }
    }

    fn remember(&mut self, octets: Vec<u8>, slot: Slot) {
        if self.recent.insert(octets.clone(), slot).is_none() {
            self.recent_order.push_back(octets);
            if self.recent_order.len() > REMEMBERED
                && let Some(old) = self.recent_order.pop_front()
            {
                self.recent.remove(&old);
            }
        }
    }

    fn asked(&mut self, ask: Ask, heard: Transmission) -> Option<Slot> {
        let Some((index, holds_under)) = self.attribute(&ask) else {
            self.trace.strangers_more += 1;
            return None;
        };
        let node = self.node(index)?;
        if let Some(dev_eui) = ask.dev_eui() {
            node.dev_eui = Some(dev_eui);
        }
        node.join_eui = ask.join_eui().or(node.join_eui);
        let place = node.attempts.push(Attempt { ask, heard, holds_under, answers: Vec::new() });
        self.weigh(1);
        self.requests.push_back((index, place));
        if self.requests.len() > OPEN_REQUESTS {
            self.requests.pop_front();
        }
        Some(Slot::Attempt(index, place))
    }

    fn data_up(&mut self, frame: DataFrame, heard: Transmission) -> Option<Slot> {
        let places = self.sessions.get(&frame.dev_addr).cloned();
        let Some(places) = places else {
            return self.foreign(Data::Up { frame, heard });
        };
        let tx_dr = |tracer: &Self, index| tracer.tx_dr(index, &heard);
        let held = self.verify(&places, &frame, tx_dr);
        if let Some((index, place, held)) = held {
            let session = self.node(index)?.sessions.at_mut(place)?;
            let at = session.push(Data::Up { frame, heard }, held);
            self.weigh(1);
            return Some(Slot::Data(index, place, at));
        }
        let &(index, _) = places.last()?;
        let node = self.node(index)?;
        let at = node.unverified.push(Data::Up { frame, heard });
        self.weigh(1);
        Some(Slot::Unverified(index, at))
    }

    /// Counts an uplink of nobody's address, and keeps the first few of each.
    fn foreign(&mut self, data: Data) -> Option<Slot> {
        let foreign = &mut self.trace.foreign_data;
        let dev_addr = data.frame().dev_addr;
        if foreign.len() >= FOREIGN && !foreign.contains_key(&dev_addr) {
            self.trace.foreign_more += 1;
            return None;
        }
        let frames = foreign.entry(dev_addr).or_default();
        *frames += 1;
        if *frames <= STRAYS_OF_ONE && self.trace.strays.len() < STRAY_FRAMES {
            self.trace.strays.push(data);
        }
        None
    }

    fn tx_dr(&self, index: usize, heard: &Transmission) -> Option<u8> {
        let node = self.roster.nodes.get(index)?;
        let plan = self.roster.plan_for(node)?;
        plan.dr_of(Direction::Uplink, heard.first().modulation?)
    }

    /// The node of the roster that a frame names as its own.
    fn named(&self, decoded: &Decoded) -> Option<usize> {
        let octets = decoded.octets_of(Field::DevEui)?;
        let dev_eui = Eui64::from_wire(<[u8; 8]>::try_from(octets).ok()?);
        self.names.of_dev_eui(DevEui(dev_eui)).first().copied()
    }

    /// A frame that is neither a whole request nor data: kept with the node it may belong to.
    fn misshapen(&mut self, heard: Transmission, named: Option<usize>) -> Option<Slot> {
        if heard.ftype()? != FType::JoinRequest {
            return None;
        }
        // A field left out or put in moves the DevEUI: look for it anywhere.
        let named = named.or_else(|| self.named_within(&heard.octets));
        let index = named.or_else(|| self.lacking_a_byte(&heard.octets))?;
        let node = self.node(index)?;
        let at = node.misshapen.push(heard);
        self.weigh(1);
        Some(Slot::Misshapen(index, at))
    }
}

/// Whether a sighting is a copy of a transmission that was heard before.
pub(crate) fn is_copy(heard: &Transmission, new: &Sighting) -> bool {
    let apart = |old: &Sighting| Some((new.at?.as_microsecond() - old.at?.as_microsecond()).abs());
    if let Some(old) = heard.sightings().rfind(|s| s.gateway == new.gateway) {
        let is_request = matches!(heard.ftype(), Some(FType::JoinRequest | FType::RejoinRequest));
        if is_request && apart(old).is_some_and(|us| us < SAME_REQUEST_US) {
            return true;
        }
        // Without a time and a gateway, counters may be those of two gateways: lines side by side
        // are taken for copies.
        if apart(old).is_none() && new.gateway.is_none() && beside(old.line, new.line) {
            return true;
        }
        let at_once = apart(old).is_none_or(|us| us <= GHOST_WALL_US);
        return match (old.tmst, new.tmst) {
            // A counter that does not count microseconds must not make repeats into ghosts.
            (Some(a), Some(b)) => at_once && a.wrapping_sub(b).min(b.wrapping_sub(a)) <= GHOST_US,
            _ => at_once && (apart(old).is_some() || new.gateway.is_none()),
        };
    }
    let window = if heard.ftype() == Some(FType::JoinRequest) { LATE_COPY_US } else { COPY_US };
    apart(heard.first()).is_none_or(|us| us <= window)
}

fn beside(old: Line, new: Line) -> bool {
    let (old, new) = (old.place, new.place);
    old.source == new.source && new.number.abs_diff(old.number) <= BESIDE_LINES
}

fn transmission_of(data: &mut Data) -> Option<&mut Transmission> {
    match data {
        Data::Up { heard, .. } => Some(heard),
        Data::Down { .. } => None,
    }
}
