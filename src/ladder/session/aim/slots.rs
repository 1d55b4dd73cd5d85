//! Ping slots of class B (LoRaWAN 1.0.4, class B; 1.1, 13).

use super::{Aim, Course, Got, Node, Setting, Test, Window};
use crate::{
    frame::{
        Direction,
        beacon::{self, Periodicity},
    },
    gps::GpsTime,
    radio::Modulation,
    trace::{
        Sending,
        settings::{Belief, Expected, Fit},
    },
};

/// A beacon begins a period of so many milliseconds.
const PERIOD_MS: u64 = 128_000;
/// The first slot opens so long after the beacon.
const RESERVED_MS: i64 = 2_120;
/// A slot's length.
const SLOT_MS: i64 = 30;

/// Holds a downlink by GPS time against the node's ping slots.
pub(super) fn ping(
    aim: &mut Aim,
    story: &Course<'_>,
    node: &Node<'_>,
    sending: &Sending,
    ms: u64,
    is_class_b: bool,
) {
    // The node is in class B from the first uplink with its bit on, and tells how often it listens.
    if !is_class_b {
        return;
    }
    let Some(belief) = node.beliefs.first() else { return };
    let Some(periodicity) = belief.ping_period.sure().copied().and_then(Periodicity::new) else {
        return;
    };
    let beacon_ms = ms / PERIOD_MS * PERIOD_MS;
    let Ok(seconds) = u32::try_from(beacon_ms / 1_000) else { return };
    let time = GpsTime::from_seconds(seconds);
    let dev_addr = story.session.dev_addr;
    let since = i64::try_from(ms - beacon_ms).unwrap_or_default();
    let slots = beacon::ping_slots(time, dev_addr, periodicity);
    let opens = slots.filter_map(|after| i64::try_from(after.as_millis()).ok());
    let Some(nearest) = opens.min_by_key(|opens| since.abs_diff(*opens)) else { return };
    let late_ms = since - nearest;
    let fit = if late_ms.abs() < SLOT_MS / 2 { Fit::Yes } else { Fit::No };
    debug_assert!(nearest >= RESERVED_MS, "a slot opens after the beacon");
    aim.window = Window::Ping;
    let slot = Test {
        setting: Setting::Slot,
        got: Got::Us(late_ms * 1_000),
        want: Some(Got::Us(0)),
        fit,
        sure: true,
    };
    aim.tests.push(slot);
    if let Some(hz) = sending.freq_hz {
        let expected = |belief: &Belief| frequency(belief, story, node, seconds);
        aim.tests.push(node.test(Setting::PingFrequency, Got::Hz(hz), expected, Got::Hz));
    }
    if let Some(rate) = sending.modulation {
        let expected = |belief: &Belief| self::rate(belief, node);
        aim.tests.push(node.test(Setting::PingRate, Got::Rate(rate), expected, Got::Rate));
    }
}

fn frequency(belief: &Belief, story: &Course<'_>, node: &Node<'_>, beacon: u32) -> Expected<u32> {
    let own = |hz: &u32| match *hz {
        0 => node.plan.ping_slot_frequency(story.session.dev_addr, beacon, None),
        hz => Some(hz),
    };
    Expected {
        want: belief.ping_hz.value().and_then(own),
        may: belief.ping_hz.maybe().iter().filter_map(own).collect(),
        sure: belief.ping_hz.is_known(),
    }
}

fn rate(belief: &Belief, node: &Node<'_>) -> Expected<Modulation> {
    let own = |dr: &u8| node.plan.dr(Direction::Downlink, *dr);
    Expected {
        want: belief.ping_rate.value().and_then(own),
        may: belief.ping_rate.maybe().iter().filter_map(own).collect(),
        sure: belief.ping_rate.is_known(),
    }
}
