//! Rung 1, heard: a gateway received a Join-Request (or Rejoin-Request) of this node.

use crate::{
    fact::{Cite, Fact, Value, fact},
    ladder::{join::Case, rung::Judgement},
};

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let Some(attempt) = case.node.attempts.get(index) else { return Judgement::open() };
    let first = attempt.heard.first();
    let message = if attempt.ask.join().is_some() { "Join-Request" } else { "Rejoin-Request" };
    let mut parts = vec![fact!("{request}: {message}", request = attempt, message)];
    let frequency = first.freq_hz.map(Value::Frequency);
    parts.extend(match (frequency, first.modulation) {
        (Some(frequency), Some(data_rate)) => {
            Some(fact!("{frequency} {data_rate}", frequency, data_rate))
        }
        (Some(frequency), None) => Some(fact!("{frequency}", frequency)),
        (None, _) => None,
    });
    parts.extend(first.rssi.map(|rssi| fact!("{rssi}", rssi = Value::dbm(rssi))));
    parts.extend(first.snr.map(|snr| fact!("SNR {snr}", snr = Value::db(snr))));
    let receptions = attempt.heard.sightings().count();
    if receptions > 1 {
        parts.push(fact!("{receptions} of it", receptions = Value::count(receptions, "reception")));
    }
    Judgement::proven(Fact::joined(parts, ", "))
}

/// The rung of a node that made no attempt.
pub(in crate::ladder) fn silence(case: &Case<'_>) -> Judgement {
    if let Some(heard) = case.node.misshapen.first() {
        return Judgement::broken(fact!(
            "{frame}: {size} that are not a Join-Request",
            frame = Cite::from(heard.first()).with_time(),
            size = Value::count(heard.octets.len(), "byte")
        ));
    }
    let lacks = &case.trace.lacks;
    Judgement::unknown(if lacks.uplinks > 0 || lacks.before.is_some() {
        "no Join-Request of this node in what was asked for of the capture"
    } else {
        "no Join-Request of this node in the capture"
    })
}

/// Whether the gateways drop this node's requests by their own setting.
pub(in crate::ladder) fn join_filter(case: &Case<'_>) -> Option<Fact> {
    let join_eui = case.node.join_eui?;
    let gateways = case.all_drop(|plan| plan.passes_join(join_eui))?;
    Some(fact!(
        "by its router_config gateway {gateways} drops every request whose JoinEUI is {join_eui}: \
         none can be in the capture",
        gateways,
        join_eui
    ))
}
