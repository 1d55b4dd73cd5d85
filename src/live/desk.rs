//! The desk: reads what the port caught and tells what it says.

use jiff::Timestamp;

use super::{
    caught::Caught,
    counters::Counters,
    event::{Event, Seen},
    ladder::{Climbed, Ladders},
    recent::Recent,
};
use crate::{
    frame::{Direction, decode},
    id::Eui64,
    intake::{Crc, Datagram, Found, Origin, SourcedFrame},
    reading::{Context, KeyRing, SessionMemory},
    region::Plan,
    roster::Roster,
};

pub(super) struct Desk<'r> {
    ring: KeyRing,
    memory: SessionMemory,
    ladders: Ladders<'r>,
    /// From where each gateway speaks: it has a socket for each direction.
    gateways: Recent<Eui64, [Option<std::net::SocketAddr>; 2]>,
    number: u64,
}

impl<'r> Desk<'r> {
    pub(super) fn new(roster: &'r Roster, plan: Option<&'static Plan>) -> Self {
        let mut ring = KeyRing::default();
        ring.add_roster(roster);
        Self {
            ring,
            memory: SessionMemory::default(),
            ladders: Ladders::new(roster, plan),
            gateways: Recent::new(MOST_GATEWAYS),
            number: 0,
        }
    }

    /// Reads a datagram and tells what it says.
    pub(super) fn take(
        &mut self,
        caught: &Caught,
        counters: &Counters,
        tell: &mut dyn FnMut(&Event<'_>),
    ) {
        tell(&Event::Datagram(caught));
        if caught.is_from_gateway() {
            self.gateway(caught, tell);
        }
        let Ok(mut datagram) = caught.datagram() else { return counters.unreadable.one() };
        self.number += 1;
        datagram.line = self.number;
        let (at, gateway) = (caught.at, datagram.gateway);
        if let Some(stat) = &datagram.stat {
            tell(&Event::Stat { at, gateway, stat });
        }
        let ups = std::mem::take(&mut datagram.rxpk);
        let down = datagram.txpk.take();
        let ups = ups.into_iter().map(Origin::Uplink);
        for (index, origin) in ups.chain(down.map(Origin::Downlink)).enumerate() {
            self.frame(&datagram, index, origin, counters, tell);
        }
        if let Some(ack) = &datagram.ack {
            tell(&Event::Ack { at, gateway, ack });
        }
        self.ladders.datagram(&datagram);
    }

    /// Climbs a ladder, if one is due; says whether it did.
    pub(super) fn climb(&mut self, last: bool, tell: &mut dyn FnMut(&Event<'_>)) -> bool {
        let climbed = self.ladders.climb(Timestamp::now(), last);
        if let Climbed::Changed(change) = &climbed {
            tell(&Event::Ladder(change));
        }
        !matches!(climbed, Climbed::None)
    }

    /// Returns whether a ladder waits to be climbed.
    pub(super) fn is_due(&self) -> bool {
        self.ladders.is_due()
    }

    fn gateway(&mut self, caught: &Caught, tell: &mut dyn FnMut(&Event<'_>)) {
        let Some(gateway) = caught.gateway else { return };
        let (at, peer) = (caught.at, caught.peer);
        let way = usize::from(caught.header.kind != crate::intake::Kind::PushData);
        if self.gateways.meet(&gateway).is_none() {
            self.gateways.add(gateway, [None; 2]);
            tell(&Event::Gateway { at, gateway, peer });
        }
        let Some(known) = self.gateways.get_mut(&gateway) else { return };
        let Some(place) = known.get_mut(way) else { return };
        if place.replace(peer).is_some_and(|before| before.ip() != peer.ip()) {
            tell(&Event::Gateway { at, gateway, peer });
        }
    }

    fn frame(
        &mut self,
        datagram: &Datagram,
        index: usize,
        origin: Origin,
        counters: &Counters,
        tell: &mut dyn FnMut(&Event<'_>),
    ) {
        let direction = match &origin {
            Origin::Downlink(_) => Direction::Downlink,
            _ => Direction::Uplink,
        };
        match direction {
            Direction::Uplink => counters.frames_up.one(),
            Direction::Downlink => counters.frames_down.one(),
        }
        let bad = matches!(&origin, Origin::Uplink(up) if up.crc == Crc::Bad);
        let (at, gateway, line) = (datagram.at, datagram.gateway, datagram.line);
        let frame = SourcedFrame { line, index, at, gateway, origin, found: Found::Whole };
        let reading = if bad {
            counters.crc_bad.one();
            None
        } else {
            let context = Context { direction: Some(direction), ..Context::default() };
            Some(self.memory.read(decode(frame.octets()), &self.ring, &context))
        };
        if let Some(reading) = &reading {
            self.ladders.frame(datagram, &frame.origin, reading);
        }
        tell(&Event::Frame(&Seen { frame, reading }));
    }
}

/// Gateways whose address is known.
const MOST_GATEWAYS: usize = 4_096;
