//! Rung 8, sends: downlinks that the gateway is ordered to send are taken and transmitted.

use std::time::Duration;

use jiff::Timestamp;

use super::Case;
use crate::{
    fact::{Certainty, Fact, Value, fact},
    intake::TxError,
    ladder::{finding::Finding, rung::Judgement},
    region::{DutyBand, Plan, PlanKind},
    trace::{GatewayTrace, Order, Setting},
};

/// Refusals, or downlinks of which nothing is sent, that are no accident.
const LEAST: u64 = 3;
/// Refusals for want of GPS time: each is certain by itself, and one may be of the time before the first fix.
const LEAST_GPS: u64 = 2;

/// Why a gateway does not send.
#[derive(Clone, Debug)]
pub(in crate::ladder) enum SendFault<'a> {
    /// It refuses frequencies of the plan, hertz: how often, and the first few.
    Frequency(Vec<u32>, u64, Vec<&'a Order>),
    /// It refuses powers, tenths of a dBm: how often, and the first few.
    Power(Vec<i32>, u64, Vec<&'a Order>),
    /// It has no GPS time.
    NoGps(Setting, Vec<&'a Order>),
    /// It counts downlinks, and sends none.
    Nothing(Unsent),
    /// It sends more than the plan's share of the air.
    Airtime(DutyBand, &'static Plan, Timestamp, Duration),
}

/// Downlinks that are counted and not sent.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Unsent {
    /// Downlink datagrams that the gateway counts.
    pub(in crate::ladder) received: u64,
    /// Downlinks in the capture.
    pub(in crate::ladder) ordered: u64,
    pub(in crate::ladder) certainty: Certainty,
}

pub(super) fn judge(case: &Case<'_>, _: usize) -> Judgement {
    let Some(heard) = case.heard else {
        return Judgement::unknown("nothing of it is in the capture");
    };
    let mut faults = faults(case, heard).into_iter().filter(SendFault::breaks);
    if let Some(fault) = faults.next() {
        return Judgement::broken(fault.fact());
    }
    let orders = &heard.orders;
    if orders.taken > 0 {
        return Judgement::proven(fact!(
            "{taken} of {downlinks} taken",
            taken = orders.taken,
            downlinks = Value::Count(orders.total, "downlink")
        ));
    }
    match case.figures.txnb {
        Some(sent @ 1..) => Judgement::proven(fact!(
            "its statistics count {downlinks} as sent",
            downlinks = Value::Count(sent, "downlink")
        )),
        _ if orders.total == 0 => Judgement::unknown("no downlink is in the capture"),
        _ => Judgement::unknown(fact!(
            "{downlinks}, and nothing shows that one is sent",
            downlinks = Value::Count(orders.total, "downlink")
        )),
    }
}

/// What is wrong, the surest first.
pub(in crate::ladder) fn faults<'a>(
    case: &Case<'_>,
    heard: &'a GatewayTrace,
) -> Vec<SendFault<'a>> {
    let orders = &heard.orders;
    let mut out = Vec::new();
    let told = |error: TxError| orders.refused_for(&error).collect::<Vec<_>>();
    let refused = |setting: &Setting| setting.refused > 0 && setting.taken == 0;
    let frequencies: Vec<(u32, u64)> = orders
        .frequencies
        .iter()
        .filter(|(hz, setting)| {
            refused(setting) && case.plan.is_some_and(|plan| sends_on(plan, **hz))
        })
        .map(|(hz, setting)| (*hz, setting.refused))
        .collect();
    let times = frequencies.iter().map(|(_, times)| *times).sum::<u64>();
    if times >= LEAST {
        let all = frequencies.into_iter().map(|(hz, _)| hz).collect();
        out.push(SendFault::Frequency(all, times, told(TxError::TxFreq)));
    }
    let powers: Vec<(i32, u64)> = orders
        .powers
        .iter()
        .filter(|(_, setting)| refused(setting))
        .map(|(dbm, setting)| (*dbm, setting.refused))
        .collect();
    let times = powers.iter().map(|(_, times)| *times).sum::<u64>();
    if times >= LEAST {
        let all = powers.into_iter().map(|(dbm, _)| dbm).collect();
        out.push(SendFault::Power(all, times, told(TxError::TxPower)));
    }
    if orders.by_gps.refused >= LEAST_GPS {
        out.push(SendFault::NoGps(orders.by_gps, told(TxError::GpsUnlocked)));
    }
    out.extend(unsent(case, heard).map(SendFault::Nothing));
    if let Some(plan) = case.plan
        && let Some((band, from, airtime)) = orders.over_the_limit(plan).into_iter().next()
    {
        out.push(SendFault::Airtime(band, plan, from, airtime));
    }
    out
}

/// Whether a plan has downlinks on a frequency.
fn sends_on(plan: &Plan, hz: u32) -> bool {
    if plan.kind == PlanKind::Fixed {
        let downlink = plan.nearest_downlink(hz).is_some_and(|hit| hit.is_on_channel());
        return downlink || plan.rx2().freq_hz == hz;
    }
    plan.in_band(hz)
}

/// Downlinks that reach it, and that it neither acknowledges nor sends.
fn unsent(case: &Case<'_>, heard: &GatewayTrace) -> Option<Unsent> {
    let figures = &case.figures;
    let received = figures.dwnb.filter(|received| *received >= LEAST)?;
    let orders = &heard.orders;
    let none = figures.txnb == Some(0) && orders.taken == 0 && orders.refused.is_empty();
    // What came too late is refused with good reason, and version 1 has no word for it.
    let in_time = orders.slots.iter().all(|(_, late, _)| *late < 0);
    let certainty = if orders.total >= LEAST { Certainty::Likely } else { Certainty::Possible };
    (none && in_time).then_some(Unsent { received, ordered: orders.total, certainty })
}

/// What is said of a gateway that refuses frequencies of its plan.
pub(in crate::ladder) fn refuses_frequency(case: &Case<'_>) -> Option<Finding> {
    let heard = case.heard?;
    let fault =
        faults(case, heard).into_iter().find(|fault| matches!(fault, SendFault::Frequency(..)))?;
    let SendFault::Frequency(frequencies, times, told) = &fault else { return None };
    let all = Value::list(frequencies.iter().map(|hz| Value::Frequency(*hz)));
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "{gateway} refuses {frequencies}, which its plan sends on",
            gateway = case.title(),
            frequencies = all
        ),
        "set the transmit range of the gateway's radio (tx_freq_min, tx_freq_max) to the downlink band of its region",
    );
    finding.add(fact!(
        "{downlinks} with TX_FREQ, and none on these frequencies is taken",
        downlinks = Value::Count(*times, "refusal")
    ));
    for order in told {
        finding.add(refused(order, "TX_FREQ"));
    }
    Some(finding)
}

/// What is said of a gateway that refuses powers.
pub(in crate::ladder) fn refuses_power(case: &Case<'_>) -> Option<Finding> {
    let heard = case.heard?;
    let fault =
        faults(case, heard).into_iter().find(|fault| matches!(fault, SendFault::Power(..)))?;
    let SendFault::Power(powers, times, told) = &fault else { return None };
    let all = Value::list(powers.iter().map(|dbm| Value::Dbm(f64::from(*dbm) / 10.0)));
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "{gateway} refuses downlinks at {powers}: its table has no row for that",
            gateway = case.title(),
            powers = all
        ),
        "choose a power at the server that the gateway's table has (less the antenna gain), or add the row to the \
         table; local rules limit the power that may be radiated",
    );
    finding.add(fact!(
        "{downlinks} with TX_POWER, and none at this power is taken",
        downlinks = Value::Count(*times, "refusal")
    ));
    for order in told {
        finding.add(refused(order, "TX_POWER"));
    }
    Some(finding)
}

/// What is said of a gateway that has no GPS time.
pub(in crate::ladder) fn no_gps(case: &Case<'_>) -> Option<Finding> {
    let heard = case.heard?;
    let fault =
        faults(case, heard).into_iter().find(|fault| matches!(fault, SendFault::NoGps(..)))?;
    let SendFault::NoGps(setting, told) = &fault else { return None };
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "{gateway} has no GPS time: it refuses {downlinks} that are timed by it",
            gateway = case.title(),
            downlinks = Value::Count(setting.refused, "downlink")
        ),
        "give the gateway's satellite antenna a free view of the sky, and check the receiver's configuration; class A \
         and joins need none of it",
    );
    let others = heard.orders.taken - setting.taken.min(heard.orders.taken);
    finding.add(fact!(
        "taken: {timed} by GPS time, {others} by the radio's counter",
        timed = setting.taken,
        others
    ));
    for order in told {
        finding.add(refused(order, "GPS_UNLOCKED"));
    }
    Some(finding)
}

/// A downlink that was refused.
fn refused(order: &Order, word: &'static str) -> Fact {
    let mut parts = vec![fact!("{downlink}", downlink = order.moment)];
    if let Some(hz) = order.freq_hz {
        parts.push(fact!("{frequency}", frequency = Value::Frequency(hz)));
    }
    if let Some(dbm) = order.power_dbm {
        parts.push(fact!("{power}", power = Value::Dbm(f64::from(dbm))));
    }
    fact!("{order}: {word}", order = Fact::joined(parts, ", "), word)
}

impl SendFault<'_> {
    fn breaks(&self) -> bool {
        !matches!(self, Self::Nothing(Unsent { certainty: Certainty::Possible, .. }))
    }

    fn fact(&self) -> Fact {
        match self {
            Self::Frequency(frequencies, times, _) => fact!(
                "it refuses {downlinks} with TX_FREQ, and takes none on {frequencies}",
                downlinks = Value::Count(*times, "downlink"),
                frequencies = Value::list(frequencies.iter().map(|hz| Value::Frequency(*hz)))
            ),
            Self::Power(powers, times, _) => fact!(
                "it refuses {downlinks} with TX_POWER, and takes none at {powers}",
                downlinks = Value::Count(*times, "downlink"),
                powers = Value::list(powers.iter().map(|dbm| Value::Dbm(f64::from(*dbm) / 10.0)))
            ),
            Self::NoGps(setting, _) => fact!(
                "it refuses {downlinks} by GPS time with GPS_UNLOCKED",
                downlinks = Value::Count(setting.refused, "downlink")
            ),
            Self::Nothing(unsent) => fact!(
                "its statistics count {downlinks} received and none sent, and it acknowledges none",
                downlinks = Value::Count(unsent.received, "downlink")
            ),
            Self::Airtime(band, plan, from, airtime) => fact!(
                "from {from} on it sends for {airtime} within an hour in {band}, where {share} of the time is \
                 allowed",
                from = *from,
                airtime = about(*airtime),
                band = band.name(plan),
                share = band.percent()
            ),
        }
    }
}

/// A duration as people say it.
pub(in crate::ladder) fn about(duration: Duration) -> Value {
    Value::About(i64::try_from(duration.as_micros()).unwrap_or(i64::MAX))
}
