//! The account of one sender: what it sent, and what of it passes a limit.

use std::{collections::BTreeMap, time::Duration};

use super::{
    BackOff, SpanUse,
    on_air::{OnAir, What},
};
use crate::{
    radio::{BusiestHour, Hours},
    region::{DutyBand, Longest, Plan},
};

/// What one sender sent.
#[derive(Debug)]
pub struct Account {
    /// The plan that its limits are from, where one is known.
    pub plan: Option<&'static Plan>,
    /// Transmissions.
    pub transmissions: u64,
    /// Receptions of them: as many as transmissions, or more where several gateways heard one.
    pub receptions: u64,
    /// Join-Requests and Rejoin-Requests among them.
    pub requests: u64,
    /// Transmissions whose time on air is not known, and in no sum: no data rate was said, or no
    /// formula is at hand for it.
    pub untimed: u64,
    /// Time on air of the others.
    pub airtime: Duration,
    /// The longest of them.
    pub longest: Duration,
    /// Requests to join, against the standard's back-off.
    pub back_off: BackOff,
    /// Transmissions on frequencies that no duty cycle of the plan is for.
    pub outside: u64,
    hours: Hours,
    duty: Vec<Share>,
    dwell: Option<Dwell>,
    oversize: BTreeMap<u8, Oversize>,
}

/// What was used of a share of the air.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct DutyUse {
    /// The share.
    pub band: DutyBand,
    /// Transmissions in it.
    pub transmissions: u64,
    /// Their time on air.
    pub airtime: Duration,
    /// The busiest hour in it; none where the capture has no time stamps.
    pub busiest: Option<BusiestHour>,
}

/// Transmissions against the longest that the plan allows.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Dwell {
    /// The limit.
    pub limit: Longest,
    /// Transmissions held against it.
    pub held: u64,
    /// Transmissions that are longer.
    pub over: u64,
}

/// Payloads longer than the plan allows at a data rate.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Oversize {
    /// The data rate.
    pub dr: u8,
    /// M: the most octets of MACPayload.
    pub most: u8,
    /// How many were longer.
    pub frames: u64,
    /// Octets of the longest MACPayload.
    pub longest: usize,
}

/// A limit that was passed.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Passed {
    /// More than a duty cycle allows within an hour.
    Duty(DutyUse),
    /// Longer than the plan allows, whatever the network said.
    Dwell(Dwell),
    /// More octets than the plan allows.
    Payload(Oversize),
    /// More requests to join than the standard allows, counted from the first one heard.
    BackOff(SpanUse),
}

impl Passed {
    /// Returns `duty-cycle`, `dwell`, `payload` or `join-back-off`.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Duty(_) => "duty-cycle",
            Self::Dwell(_) => "dwell",
            Self::Payload(_) => "payload",
            Self::BackOff(_) => "join-back-off",
        }
    }
}

impl DutyUse {
    /// Returns whether the busiest hour has more than the share allows.
    pub fn is_passed(&self) -> bool {
        self.busiest.is_some_and(|busiest| busiest.airtime > self.band.hourly())
    }
}

impl Dwell {
    /// Returns whether a limit that always holds is passed.
    pub const fn is_passed(&self) -> bool {
        self.over > 0 && !self.limit.while_dwell
    }
}

#[derive(Debug)]
struct Share {
    band: DutyBand,
    transmissions: u64,
    airtime: Duration,
    hours: Hours,
}

impl Account {
    pub(super) fn new(plan: Option<&'static Plan>) -> Self {
        Self {
            plan,
            transmissions: 0,
            receptions: 0,
            requests: 0,
            untimed: 0,
            airtime: Duration::ZERO,
            longest: Duration::ZERO,
            back_off: BackOff::default(),
            outside: 0,
            hours: Hours::default(),
            duty: Vec::new(),
            dwell: None,
            oversize: BTreeMap::new(),
        }
    }

    /// Takes a copy of a transmission that was counted before.
    pub(super) fn heard_again(&mut self) {
        self.receptions += 1;
    }

    pub(super) fn add(&mut self, sent: &OnAir) {
        self.transmissions += 1;
        self.receptions += 1;
        self.requests += u64::from(sent.what == What::Request);
        if let Some(plan) = self.plan {
            self.hold_size(plan, sent);
        }
        let Some(airtime) = sent.airtime else {
            self.untimed += 1;
            return;
        };
        self.airtime = self.airtime.saturating_add(airtime);
        self.longest = self.longest.max(airtime);
        if let Some(plan) = self.plan {
            self.share(plan, sent, airtime);
            self.hold_length(plan, sent, airtime);
        }
        if let Some(at) = sent.at {
            self.hours.add(at, airtime);
            if sent.what == What::Request {
                self.back_off.add(at, airtime);
            }
        }
    }

    fn share(&mut self, plan: &'static Plan, sent: &OnAir, airtime: Duration) {
        let Some(freq_hz) = sent.freq_hz else { return };
        let mut covered = false;
        let mut any = false;
        for band in plan.duty_bands() {
            any = true;
            if !band.covers(plan, freq_hz) {
                continue;
            }
            covered = true;
            let place = self.duty.iter().position(|share| share.band == band);
            let place = place.unwrap_or_else(|| {
                let (transmissions, airtime) = (0, Duration::ZERO);
                self.duty.push(Share { band, transmissions, airtime, hours: Hours::default() });
                self.duty.len() - 1
            });
            let Some(share) = self.duty.get_mut(place) else { continue };
            share.transmissions += 1;
            share.airtime = share.airtime.saturating_add(airtime);
            if let Some(at) = sent.at {
                share.hours.add(at, airtime);
            }
        }
        self.outside += u64::from(any && !covered);
    }

    fn hold_length(&mut self, plan: &'static Plan, sent: &OnAir, airtime: Duration) {
        let limit = sent.modulation.and_then(|m| plan.longest(sent.direction, m));
        let Some(limit) = limit else { return };
        let dwell = self.dwell.get_or_insert(Dwell { limit, held: 0, over: 0 });
        dwell.held += 1;
        dwell.over += u64::from(airtime > limit.limit);
    }

    fn hold_size(&mut self, plan: &'static Plan, sent: &OnAir) {
        if sent.what != What::Data {
            return;
        }
        let Some(dr) = sent.modulation.and_then(|m| plan.dr_of(sent.direction, m)) else { return };
        // The widest table: whether a repeater or UplinkDwellTime narrows it is not in a capture.
        let Some((most, _)) = plan.max_payload(sent.direction, dr, false, false) else { return };
        let octets = sent.phy_len.saturating_sub(MHDR_AND_MIC);
        if octets > usize::from(most) {
            let none = Oversize { dr, most, frames: 0, longest: 0 };
            let over = self.oversize.entry(dr).or_insert(none);
            over.frames += 1;
            over.longest = over.longest.max(octets);
        }
    }

    /// Returns the busiest hour; none where the capture has no time stamps.
    pub fn busiest(&self) -> Option<BusiestHour> {
        self.hours.busiest()
    }

    /// Returns the shares of the air that were used, in the order of the plan.
    pub fn duty(&self) -> Vec<DutyUse> {
        let Some(plan) = self.plan else { return Vec::new() };
        let of = |band| self.duty.iter().find(|share| share.band == band);
        plan.duty_bands()
            .filter_map(of)
            .map(|share| DutyUse {
                band: share.band,
                transmissions: share.transmissions,
                airtime: share.airtime,
                busiest: share.hours.busiest(),
            })
            .collect()
    }

    /// Returns what was held against the plan's longest transmission.
    pub const fn dwell(&self) -> Option<&Dwell> {
        self.dwell.as_ref()
    }

    /// Returns the payloads that are too long, by data rate.
    pub fn oversize(&self) -> impl Iterator<Item = &Oversize> {
        self.oversize.values()
    }

    /// Returns every limit that was passed.
    pub fn passed(&self) -> Vec<Passed> {
        let duty = self.duty().into_iter().filter(DutyUse::is_passed).map(Passed::Duty);
        let dwell = self.dwell.filter(Dwell::is_passed).map(Passed::Dwell);
        let size = self.oversize.values().copied().map(Passed::Payload);
        let joins = self.back_off.spans().into_iter().filter(SpanUse::is_passed);
        duty.chain(dwell).chain(size).chain(joins.map(Passed::BackOff)).collect()
    }
}

/// Octets of a PHYPayload that are not MACPayload.
const MHDR_AND_MIC: usize = 5;
