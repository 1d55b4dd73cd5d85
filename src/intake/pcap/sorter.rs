//! Which packets are datagrams of the gateway's protocol, or frames heard, and what is wrong with the others.

use std::collections::{BTreeSet, VecDeque};

use jiff::Timestamp;

use super::{Captured, Flaw, PacketError, PassedOver, talk::Talk};
use crate::intake::{
    Header, IntakeError, Item, Kind, LoraTap, Unit, loratap,
    packet::{self, Found, Udp},
    wire_datagram,
};

/// Sorts the packets of a recording.
#[derive(Debug, Default)]
pub(super) struct Sorter {
    /// Packets so far.
    number: u64,
    talk: Talk,
    pub(super) ready: VecDeque<Item>,
    passed: PassedOver,
    /// Link types that were told of.
    told: BTreeSet<u16>,
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
        if self.passed.is_worth_a_word() {
            self.ready.push_back(Item::PassedOver(self.passed));
        }
    }

    fn skip(&mut self, line: u64, why: PacketError) {
        self.ready.push_back(Item::Skipped { line, why: IntakeError::Packet(why) });
    }

    /// Takes a packet, whose octets are given.
    pub(super) fn packet(&mut self, captured: &Captured, octets: &[u8]) {
        self.number += 1;
        self.passed.packets += 1;
        let error =
            |offset: usize, flaw| PacketError { offset: captured.offset + offset as u64, flaw };
        match packet::find(captured.link_type, octets) {
            Found::Udp(udp) => {
                let place = octets.len() - udp.behind;
                match self.udp(&udp, captured.at) {
                    Ok(()) => {}
                    Err(flaw) => self.skip(self.number, error(place, flaw)),
                }
            }
            Found::Fragment(None) => self.passed.fragments += 1,
            Found::Fragment(Some(udp)) => {
                self.passed.fragments += 1;
                if let Some(header) = gateway_header(udp.payload) {
                    let place = octets.len() - udp.behind;
                    self.skip(self.number, error(place, Flaw::Fragment(header.kind.name())));
                }
            }
            Found::LoraTap => match LoraTap::read(octets) {
                Ok((tap, payload)) => {
                    let (heard, ack) = loratap::datagrams(&tap, payload, self.number, captured.at);
                    self.ready.push_back(Item::Datagram(heard));
                    self.ready.extend(ack.map(Item::Datagram));
                }
                Err(why) => self.skip(self.number, error(0, Flaw::LoraTap(why))),
            },
            Found::Other => self.passed.others += 1,
            Found::LinkType(link_type) => {
                self.passed.others += 1;
                if self.told.insert(link_type) {
                    self.skip(self.number, error(0, Flaw::LinkType(link_type)));
                }
            }
        }
    }

    /// Takes a UDP datagram, if it is one of the gateway's protocol.
    fn udp(&mut self, udp: &Udp<'_>, at: Option<Timestamp>) -> Result<(), Flaw> {
        let header = gateway_header(udp.payload).filter(|header| self.talk.fits(header, udp));
        let Some(header) = header else {
            self.passed.others += 1;
            return Ok(());
        };
        if self.talk.is_repeated(&header, udp, at, self.number) {
            self.passed.twice += 1;
            return Ok(());
        }
        if udp.payload.len() < udp.stated {
            let (kind, needed, present) = (header.kind.name(), udp.stated, udp.payload.len());
            return Err(Flaw::Snapped { kind, needed, present });
        }
        let mut datagram =
            wire_datagram(udp.payload).map_err(|why| Flaw::Datagram(Box::new(why)))?;
        datagram.line = self.number;
        datagram.unit = Unit::Packet;
        datagram.at = at;
        self.talk.push(datagram, udp.from, udp.to, &mut self.ready);
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
        Kind::PushData | Kind::PullResp => is_object(rest),
        Kind::TxAck => rest.is_empty() || is_object(rest),
        Kind::PullData | Kind::PushAck | Kind::PullAck => rest.is_empty(),
    };
    fits.then_some(header)
}

fn is_object(json: &[u8]) -> bool {
    json.strip_prefix(b"{")
        .is_some_and(|rest| matches!(rest.trim_ascii_start().first(), Some(b'"' | b'}') | None))
}
