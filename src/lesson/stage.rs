//! A scene that was played, and what stands in its recording.

use crate::{
    frame::{Decoded, FType},
    intake::{Capture, Event, Heard, Item, Ordered},
    ladder::{self, Diagnosis},
    region::Plan,
    roster::{self, Claim, Roster},
    scenario::{Dice, Probe, Scene},
    trace::Tracer,
};

/// A scene of one probe, as its capture and its roster show it.
pub(super) struct Stage {
    pub(super) events: Vec<Event>,
    pub(super) roster: Roster,
}

impl Stage {
    /// Plays a scene in a plan; its only probe is first changed.
    pub(super) fn new(
        dice: &mut Dice,
        plan: &str,
        change: impl FnOnce(&mut Probe),
    ) -> Option<Self> {
        Self::play(&Scene::new(dice.roll(), Plan::by_name(plan)?).with(change))
    }

    /// Plays a scene.
    pub(super) fn play(scene: &Scene) -> Option<Self> {
        let recording = scene.play();
        let roster = roster::parse(&recording.roster, None).ok()?;
        let events = Capture::new(recording.capture.as_bytes()).filter_map(|item| match item {
            Ok(Item::Event(event)) => Some(event),
            _ => None,
        });
        Some(Self { events: events.collect(), roster })
    }

    /// Returns the frames heard, in order.
    pub(super) fn heard(&self) -> impl Iterator<Item = &Heard> {
        self.events.iter().filter_map(Event::heard)
    }

    /// Returns the first frame heard of that type.
    pub(super) fn first_heard(&self, ftype: FType) -> Option<&Heard> {
        self.heard().find(|heard| is(&heard.frame, ftype))
    }

    /// Returns the first frame of that type that a gateway was to send.
    pub(super) fn first_sent(&self, ftype: FType) -> Option<&Ordered> {
        let sent = self.events.iter().filter_map(Event::ordered);
        sent.into_iter().find(|ordered| is(&ordered.frame, ftype))
    }

    /// Returns what the record states of the probe.
    pub(super) fn record(&self) -> Option<&Claim> {
        self.roster.nodes.first()?.record.as_ref()
    }

    /// Returns what the firmware states of the probe.
    pub(super) fn firmware(&self) -> Option<&Claim> {
        self.roster.nodes.first()?.firmware.as_ref()
    }

    /// Climbs the ladder for the probe.
    pub(super) fn diagnosis(&self) -> Option<Diagnosis> {
        let mut tracer = Tracer::new(&self.roster);
        for event in &self.events {
            tracer.push(event.clone());
        }
        let options = ladder::Options::default();
        ladder::diagnose(&tracer.finish(), &self.roster, options).into_iter().next()
    }
}

fn is(decoded: &Decoded, ftype: FType) -> bool {
    decoded.stopped.is_none() && decoded.mhdr().is_some_and(|mhdr| mhdr.ftype() == ftype)
}

/// Returns octets as an exercise prints them: `01 00 0B`.
pub(super) fn spaced(octets: &[u8]) -> String {
    let digits: Vec<String> = octets.iter().map(|octet| format!("{octet:02X}")).collect();
    digits.join(" ")
}
