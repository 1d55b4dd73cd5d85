//! Which packets are datagrams of the gateway's protocol, or frames heard, and what is wrong with the others.

use std::{
    collections::{BTreeSet, VecDeque},
    sync::Arc,
};

use jiff::Timestamp;

use super::{step::Captured, talk::Talk};
use crate::intake::{
    dns,
    error::{Flaw, IntakeError, PacketError},
    event::{Ends, Event, Position, What, Wire},
    forwarder::wire_events,
    header::{DatagramKind, Header},
    item::{Item, PassedOver},
    loratap::{LoraTap, heard::received},
    packet::{self, Content, Udp},
    texts::damaged,
};

/// Sorts the packets of a recording.
#[derive(Debug, Default)]
pub(super) struct Sorter {
    /// Packets so far.
    number: u64,
    talk: Talk,
    pub(super) ready: VecDeque<Item>,
    counts: Counts,
    /// Link types that were told of.
    told: BTreeSet<u16>,
}

/// Packets, and those that were passed over.
#[derive(Debug, Default)]
struct Counts {
    all: usize,
    others: usize,
    fragments: usize,
    twice: usize,
}

impl Sorter {
    /// Names what is damaged; whether it counts as a packet.
    pub(super) fn flawed(&mut self, why: PacketError, counts: bool) {
        self.skip(self.number + 1, why);
        self.number += u64::from(counts);
    }

    /// Hands on what waits: nothing more will come.
    pub(super) fn end(&mut self) {
        self.talk.release(&mut self.ready);
        let Counts { all, others, fragments, twice } = self.counts;
        if others + fragments + twice > 0 {
            let passed = PassedOver::Packets { all, others, fragments, twice };
            self.ready.push_back(Item::PassedOver(passed));
        }
    }

    fn skip(&mut self, number: u64, why: PacketError) {
        let event = damaged(Position::packet(number), IntakeError::Packet(why));
        self.ready.push_back(Item::Event(event));
    }

    /// Takes a packet, whose octets are given.
    pub(super) fn packet(&mut self, captured: &Captured, octets: &[u8]) {
        self.number += 1;
        self.counts.all += 1;
        let error =
            |offset: usize, flaw| PacketError { offset: captured.offset + offset as u64, flaw };
        match packet::find(captured.link_type, octets) {
            Content::Udp(udp) => {
                let place = octets.len() - udp.behind;
                match self.udp(&udp, captured.at) {
                    Ok(()) => {}
                    Err(flaw) => self.skip(self.number, error(place, flaw)),
                }
            }
            Content::Fragment(None) => self.counts.fragments += 1,
            Content::Fragment(Some(udp)) => {
                self.counts.fragments += 1;
                if let Some(header) = gateway_header(udp.payload) {
                    let place = octets.len() - udp.behind;
                    self.skip(self.number, error(place, Flaw::Fragment(header.kind.name())));
                }
            }
            Content::LoraTap => match LoraTap::read(octets) {
                Ok((tap, payload)) => {
                    let place = Position::packet(self.number);
                    let events = received(&tap, payload, place, captured.at);
                    self.ready.extend(events.into_iter().map(Item::Event));
                }
                Err(why) => self.skip(self.number, error(0, Flaw::LoraTap(why))),
            },
            Content::Network(network) => match self.talk.concerns(&network) {
                Some(owner) => {
                    let (place, time) = (Position::packet(self.number), captured.at);
                    let event = Event::new(place, What::Network(Box::new(network)));
                    self.talk
                        .put(Event { time, gateway: owner.gateway(), ..event }, &mut self.ready);
                }
                None => self.counts.others += 1,
            },
            Content::Other => self.counts.others += 1,
            Content::LinkType(link_type) => {
                self.counts.others += 1;
                if self.told.insert(link_type) {
                    self.skip(self.number, error(0, Flaw::LinkType(link_type)));
                }
            }
        }
    }

    /// Takes a question to the DNS, or its answer. Whose they are the recording does not say; the host's
    /// addresses go with them.
    fn name(&mut self, udp: &Udp<'_>, time: Option<Timestamp>) -> bool {
        if udp.from.port() != dns::PORT && udp.to.port() != dns::PORT {
            return false;
        }
        let Some(network) = dns::read(udp.payload) else { return false };
        let event = Event::new(Position::packet(self.number), What::Network(Box::new(network)));
        let ends = Arc::new(Ends { link: udp.link, from: udp.from, to: udp.to });
        let wire = Wire { ends: Some(ends), ..Wire::default() };
        self.talk.put(Event { time, wire, ..event }, &mut self.ready);
        true
    }

    /// Takes a UDP datagram, if it is one of the gateway's protocol.
    fn udp(&mut self, udp: &Udp<'_>, time: Option<Timestamp>) -> Result<(), Flaw> {
        let header = gateway_header(udp.payload).filter(|header| self.talk.fits(header, udp));
        let Some(header) = header else {
            if !self.name(udp, time) {
                self.counts.others += 1;
            }
            return Ok(());
        };
        if self.talk.is_repeated(&header, udp, time, self.number) {
            self.counts.twice += 1;
            return Ok(());
        }
        if udp.payload.len() < udp.stated {
            let (kind, needed, present) = (header.kind.name(), udp.stated, udp.payload.len());
            return Err(Flaw::Snapped { kind, needed, present });
        }
        let mut events = wire_events(udp.payload).map_err(|why| Flaw::Datagram(Box::new(why)))?;
        let place = Position::packet(self.number);
        let ends = Arc::new(Ends { link: udp.link, from: udp.from, to: udp.to });
        for event in &mut events {
            (event.place, event.time) = (place, time);
            event.wire.ends = Some(Arc::clone(&ends));
        }
        self.talk.push(&header, events, udp.from, udp.to, &mut self.ready);
        Ok(())
    }
}

/// Returns the header of a datagram that has the shape of the gateway's protocol.
///
/// Ports say nothing: every one of them is in use somewhere. What has JSON must begin as an object; what has none
/// must be as long as its header.
fn gateway_header(payload: &[u8]) -> Option<Header> {
    let header = Header::read(payload).ok()?;
    let rest = payload.get(header.json_at..)?;
    let rest = rest.strip_suffix(b"\0").unwrap_or(rest).trim_ascii();
    let fits = match header.kind {
        DatagramKind::PushData | DatagramKind::PullResp => is_object(rest),
        DatagramKind::TxAck => rest.is_empty() || is_object(rest),
        DatagramKind::PullData | DatagramKind::PushAck | DatagramKind::PullAck => rest.is_empty(),
    };
    fits.then_some(header)
}

fn is_object(json: &[u8]) -> bool {
    json.strip_prefix(b"{")
        .is_some_and(|rest| matches!(rest.trim_ascii_start().first(), Some(b'"' | b'}') | None))
}
