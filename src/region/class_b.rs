//! Class B in a plan: where a beacon is sent, and the ping slots that it sets the clock for.

use std::time::Duration;

use super::Plan;
use crate::{
    frame::{
        Direction,
        beacon::{self, Beacon, Periodicity},
    },
    gps::GpsTime,
    id::DevAddr,
    radio::Modulation,
};

/// A beacon held against a plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeaconOnPlan {
    /// The plan.
    pub plan: &'static Plan,
    /// Where a beacon of that time is sent, hertz; `None` where only the join channel tells.
    pub freq_hz: Option<u32>,
    /// At which data rate.
    pub modulation: Modulation,
    /// Octets that the plan's beacons have.
    pub octets: u8,
    /// Whether this one has as many.
    pub fits: bool,
}

/// A node's ping slots in the period of one beacon.
#[derive(Clone, Debug, PartialEq)]
pub struct PingSlots {
    /// The node, or McAddr of a multicast group.
    pub address: DevAddr,
    /// Periodicity of PingSlotInfoReq.
    pub periodicity: Periodicity,
    /// pingOffset.
    pub offset: u16,
    /// When each slot opens, after the beacon's time.
    pub opens: Vec<Duration>,
    /// Where the node listens, hertz; `None` without a plan, or where only the join channel tells.
    pub freq_hz: Option<u32>,
    /// At which data rate; `None` without a plan.
    pub modulation: Option<Modulation>,
}

impl BeaconOnPlan {
    /// Holds a beacon against a plan. `join_channel`: index of the common join channel used, in the
    /// plans of CN470 that need it.
    pub fn new(beacon: &Beacon, plan: &'static Plan, join_channel: Option<u8>) -> Self {
        let b = &plan.beacon;
        Self {
            plan,
            freq_hz: plan.beacon_frequency(beacon.time.seconds(), join_channel),
            modulation: Modulation::Lora { sf: b.sf, bw_khz: b.bw_khz },
            octets: b.octets,
            fits: beacon.octets.len() == usize::from(b.octets),
        }
    }
}

impl PingSlots {
    /// Returns the ping slots of an address in the period of a beacon of that time.
    pub fn new(
        time: GpsTime,
        address: DevAddr,
        periodicity: Periodicity,
        plan: Option<&'static Plan>,
        join_channel: Option<u8>,
    ) -> Self {
        Self {
            address,
            periodicity,
            offset: beacon::ping_offset(time, address, periodicity),
            opens: beacon::ping_slots(time, address, periodicity).collect(),
            freq_hz: plan
                .and_then(|p| p.ping_slot_frequency(address, time.seconds(), join_channel)),
            modulation: plan.and_then(|p| p.dr(Direction::Downlink, p.ping.dr)),
        }
    }
}
