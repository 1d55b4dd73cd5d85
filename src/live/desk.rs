//! The desk: reads what the port caught and tells what it says.

use jiff::Timestamp;

use super::{
    caught::Caught,
    counters::Counters,
    gateways::Gateways,
    ladder::{Climbed, Ladders},
    notice::{Notice, Seen},
    recent::Recent,
};
use crate::{
    frame::Decoded,
    id::Eui64,
    intake::{Crc, DatagramKind, Event, What},
    reading::{Context, KeyRing, Reading, Sessions},
    region::Plan,
    roster::Roster,
};

pub(super) struct Desk<'r> {
    ring: KeyRing,
    memory: Sessions,
    ladders: Ladders<'r>,
    legs: Gateways,
    /// From where each gateway speaks: it has a socket for each direction.
    gateways: Recent<Eui64, [Option<std::net::SocketAddr>; 2]>,
    number: u64,
}

impl<'r> Desk<'r> {
    pub(super) fn new(roster: &'r Roster, plan: Option<&'static Plan>, acknowledges: bool) -> Self {
        let mut ring = KeyRing::default();
        ring.add_roster(roster);
        Self {
            ring,
            memory: Sessions::default(),
            ladders: Ladders::new(roster, plan),
            legs: Gateways::new(roster, plan, acknowledges),
            gateways: Recent::new(MOST_GATEWAYS),
            number: 0,
        }
    }

    /// Reads a datagram and tells what it says.
    pub(super) fn take(
        &mut self,
        caught: &Caught,
        counters: &Counters,
        tell: &mut dyn FnMut(&Notice<'_>),
    ) {
        tell(&Notice::Datagram(caught));
        if caught.is_from_gateway() {
            self.gateway(caught, tell);
        }
        let Ok(events) = caught.events(self.number + 1) else { return counters.unreadable.one() };
        self.number += 1;
        let mut index = 0;
        for mut event in events {
            self.legs.take(&mut event);
            if matches!(event.what, What::Status(_) | What::Outcome(_)) {
                tell(&Notice::Said(&event));
            }
            if let Some(frame) = event.frame() {
                let reading = self.read(&event, frame.clone(), counters);
                if let Some(reading) = &reading {
                    self.ladders.frame(&event, reading);
                }
                tell(&Notice::Frame(&Seen { event, index, reading }));
                index += 1;
            } else {
                self.ladders.event(&event);
            }
        }
    }

    /// Climbs a ladder, if one is due; says whether it did.
    pub(super) fn climb(&mut self, last: bool, tell: &mut dyn FnMut(&Notice<'_>)) -> bool {
        for change in self.legs.climb(Timestamp::now(), last) {
            tell(&Notice::GatewayLadder(&change));
        }
        let climbed = self.ladders.climb(Timestamp::now(), last);
        if let Climbed::Changed(change) = &climbed {
            tell(&Notice::Ladder(change));
        }
        !matches!(climbed, Climbed::None)
    }

    /// Returns whether a ladder waits to be climbed.
    pub(super) fn is_due(&self) -> bool {
        self.ladders.is_due()
    }

    fn gateway(&mut self, caught: &Caught, tell: &mut dyn FnMut(&Notice<'_>)) {
        let Some(gateway) = caught.gateway else { return };
        let (at, peer) = (caught.at, caught.peer);
        let way = usize::from(caught.header.kind != DatagramKind::PushData);
        if self.gateways.meet(&gateway).is_none() {
            self.gateways.add(gateway, [None; 2]);
            tell(&Notice::Gateway { at, gateway, peer });
        }
        let Some(known) = self.gateways.get_mut(&gateway) else { return };
        let Some(place) = known.get_mut(way) else { return };
        if place.replace(peer).is_some_and(|before| before.ip() != peer.ip()) {
            tell(&Notice::Gateway { at, gateway, peer });
        }
    }

    /// Reads a frame with the keys at hand; nothing where its CRC fails.
    fn read(&mut self, event: &Event, frame: Decoded, counters: &Counters) -> Option<Reading> {
        match &event.what {
            What::Ordered(_) => counters.frames_down.one(),
            _ => counters.frames_up.one(),
        }
        if event.heard().is_some_and(|heard| heard.crc == Crc::Bad) {
            counters.crc_bad.one();
            return None;
        }
        let context = Context {
            direction: event.direction(),
            modulation: event.heard().and_then(|heard| heard.modulation),
            ..Context::default()
        };
        Some(self.memory.read(frame, &self.ring, &context))
    }
}

/// Gateways whose address is known.
const MOST_GATEWAYS: usize = 4_096;
