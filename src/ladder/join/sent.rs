//! Rung 8, sent: the gateway took the accept for transmission.
//!
//! Its word is checked against the arithmetic. The usual forwarder computes slot less now without
//! a sign, so that a slot already past looks far ahead and is refused as TOO_EARLY; TOO_LATE is
//! said only in the last milliseconds before the slot.

use std::time::Duration;

use crate::{
    fact::Certainty,
    frame::Direction,
    intake::{TxError, When, Witness},
    ladder::{
        finding::Finding,
        join::{
            Case, Rung,
            timely::{Aim, aim, asked_at, misses},
        },
        rung::{Judgement, State},
        words::{mhz, place, short_seconds},
    },
    radio::time_on_air,
    trace::{Answer, Attempt, Sending},
};

/// A datagram that comes less than this before its slot may be refused as late: 52.5 ms in the
/// newer forwarder, 2.5 ms in the older (both from their sources, as the reference states).
const HEADROOM_US: i64 = 60_000;

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let Some(attempt) = case.node.attempts.get(index) else { return Judgement::open() };
    let (mut told, mut barred) = (None, None);
    for answer in attempt.answers_sent() {
        let sending = &answer.sending;
        match &sending.ack {
            None => {
                let line = sending.line;
                let gone = sending.gone.then(|| GONE.to_owned());
                if let Some(words) = gone.or_else(|| out_of_range(sending)) {
                    barred.get_or_insert(Judgement::broken(format!("{line}: {words}")));
                } else {
                    let words = format!("{line}: no TX_ACK in the capture");
                    told.get_or_insert(Judgement::unknown(words));
                }
            }
            Some(ack) if ack.by == Witness::Air => {
                return Judgement::proven(format!("{}: heard on the air", ack.line));
            }
            Some(ack) if ack.by == Witness::Station => {
                return Judgement::proven(format!("{}: reported as sent (dntxed)", ack.line));
            }
            Some(ack) if ack.error == TxError::None => {
                let warn = ack.warn.as_ref();
                let warned = warn.map(|w| format!(", with the warning {}", w.name()));
                return Judgement::proven(format!(
                    "{}: TX_ACK without an error{}",
                    ack.line,
                    warned.unwrap_or_default()
                ));
            }
            Some(ack) => {
                let late = late_by(attempt, answer).map(lateness).unwrap_or_default();
                let words = format!("{}: TX_ACK says {}{late}", ack.line, ack.error.name());
                told = Some(Judgement::broken(words));
            }
        }
    }
    told.or(barred).unwrap_or(Judgement::unknown("there is no accept to send"))
}

/// What the gateway's setting does to a downlink of which it says nothing.
pub(in crate::ladder) fn out_of_range(sending: &Sending) -> Option<String> {
    if sending.ack.is_some() {
        return None;
    }
    let (low, high) = sending.range_exceeded()?;
    let asked = sending.freq_hz.map(mhz).unwrap_or_default();
    Some(format!(
        "{asked} is outside of what router_config lets the gateway send on, {} to {}",
        mhz(low),
        mhz(high)
    ))
}

fn lateness(late: i64) -> String {
    if late > 0 {
        format!("; the datagram came {} after its slot", short_seconds(late))
    } else {
        format!("; the datagram came {} before its slot", short_seconds(-late))
    }
}

/// Microseconds by which the datagram came after its slot; negative when it came before.
pub(in crate::ladder) fn late_by(attempt: &Attempt, answer: &Answer) -> Option<i64> {
    let us = answer.delay.slot_us()?;
    Some(answer.sending.arrival_after(asked_at(attempt, answer))? - us)
}

fn refusals<'a>(
    case: &Case<'a>,
    which: impl Fn(&TxError) -> bool,
) -> Vec<(usize, &'a Attempt, &'a Answer)> {
    case.answers()
        .filter(|(i, _, answer)| {
            case.state(*i, Rung::Sent) == State::Broken
                && answer.sending.refusal().is_some_and(&which)
        })
        .collect()
}

fn is_timing(error: &TxError) -> bool {
    matches!(error, TxError::TooLate | TxError::TooEarly)
}

/// The refusals as late or early of accepts that were aimed at a window.
fn timing<'a>(case: &Case<'a>) -> Vec<(&'a Attempt, &'a Answer, Option<i64>)> {
    refusals(case, is_timing)
        .into_iter()
        .filter(|(_, _, answer)| matches!(aim(answer), Aim::Rx1 | Aim::Rx2))
        .map(|(_, attempt, answer)| (attempt, answer, late_by(attempt, answer)))
        .collect()
}

pub(in crate::ladder) fn too_late(case: &Case<'_>) -> Option<Finding> {
    let mut late: Vec<_> = timing(case);
    late.retain(|(_, answer, by)| {
        by.map_or(*answer.sending.refusal().unwrap_or(&TxError::None) == TxError::TooLate, |by| {
            by > -HEADROOM_US
        })
    });
    // Without an acknowledgement the arithmetic alone may speak.
    let unsaid: Vec<_> = case
        .answers()
        .filter(|(_, _, a)| a.sending.ack.is_none() && matches!(aim(a), Aim::Rx1 | Aim::Rx2))
        // What went out in the other window needed no more of this one.
        .filter(|(_, t, a)| !t.answers.iter().any(|b| b.sending.taken() && b.is_way_of(a)))
        .filter_map(|(_, t, a)| late_by(t, a).filter(|by| *by > 0).map(|by| (t, a, Some(by))))
        .collect();
    let said = !late.is_empty();
    late.extend(unsaid);
    let (_, _, by) = *late.first()?;
    // Without times a wrap or a restart explains the gateway's word as well.
    if by.is_none()
        && (late.iter().any(|(_, answer, _)| wrapped(answer).is_some())
            || restarted(case).is_some())
    {
        return None;
    }
    let worst = late.iter().filter_map(|l| l.2).max();
    let mut finding = Finding::new(
        if said && by.is_some() { Certainty::Certain } else { Certainty::Likely },
        match worst {
            Some(worst) if worst > 0 => format!(
                "the accept comes to the gateway up to {} after its slot: the way from gateway to \
                 server and back takes too long",
                short_seconds(worst)
            ),
            _ => {
                "the accept comes to the gateway too shortly before its slot: the way from gateway \
                  to server and back takes too long"
                    .to_owned()
            }
        },
        "shorten the way (the gateway's backhaul first), have the server collect copies for less \
         time, or let it fall back to RX2, one second later; for data raise RxDelay",
    );
    for (attempt, answer, by) in late.iter().take(4) {
        let said = answer.sending.refusal().map_or("not acknowledged", |e| e.name());
        let by = by.map(lateness).unwrap_or_default();
        finding.add(format!("{} (for {}): {said}{by}", answer.sending.line, attempt.line()));
    }
    let words: Vec<&TxError> = late.iter().filter_map(|l| l.1.sending.refusal()).collect();
    if words.contains(&&TxError::TooEarly) {
        finding.add(
            "TOO_EARLY here means late: the forwarder subtracts without a sign, and a slot already \
             past looks far ahead"
                .to_owned(),
        );
    }
    Some(finding)
}

/// The counter values of a request and its slot, if the counter wraps between them.
fn wrapped(answer: &Answer) -> Option<(u32, u32)> {
    let When::Counter(slot) = answer.sending.when else { return None };
    let us = answer.delay.counter_us()?;
    let asked = slot.wrapping_sub(us);
    (slot < asked).then_some((asked, slot))
}

pub(in crate::ladder) fn counter_wrap(case: &Case<'_>) -> Option<Finding> {
    let refused = timing(case);
    let (attempt, answer, by) =
        refused.iter().find(|(_, a, by)| wrapped(a).is_some() && in_time(*by))?;
    // Where others are refused that do not wrap, the wrap is not what they share.
    if refused.iter().any(|(_, a, _)| wrapped(a).is_none()) {
        return None;
    }
    let (asked, slot) = wrapped(answer)?;
    let us = answer.delay.counter_us()?;
    let taken = case.answers().any(|(_, _, a)| a.sending.taken() && wrapped(a).is_none());
    let certainty = match (by, taken) {
        (Some(_), true) => Certainty::Certain,
        (Some(_), false) | (None, true) => Certainty::Likely,
        (None, false) => Certainty::Possible,
    };
    let mut finding = Finding::new(
        certainty,
        "the gateway refuses a slot that is in time modulo 2^32: its counter wraps between request \
         and slot, and it compares without regard to the wrap",
        "update the gateway's forwarder: times must be compared modulo 2^32; the node recovers at \
         its next attempt (the counter wraps every 71 min 35 s)",
    );
    finding
        .add(format!("request at {asked}, slot at {slot}: ({slot} - {asked}) mod 2^32 = {us} us"));
    if let Some(by) = by {
        finding.add(format!("{}{}", answer.sending.line, lateness(*by)));
    }
    let said = answer.sending.refusal().map_or("", |e| e.name());
    finding.add(format!("the gateway says {said} (request: {})", attempt.line()));
    if taken {
        finding.add("an accept whose slot lies on one side of the wrap was taken".to_owned());
    }
    Some(finding)
}

fn in_time(by: Option<i64>) -> bool {
    by.is_none_or(|by| by < -HEADROOM_US)
}

fn restart_of(answer: &Answer, certainty: Certainty) -> Finding {
    let gateway = answer.sending.gateway.map(|g| format!(" {g}")).unwrap_or_default();
    Finding::new(
        certainty,
        format!(
            "gateway{gateway}'s counter began anew around this exchange: the slot belongs to a \
             counter that is gone"
        ),
        "find out why the gateway restarts (power, watchdog, its forwarder); the node recovers at \
         its next attempt",
    )
}

/// A downlink for a session of the counter that is over.
const GONE: &str = "its xtime belongs to a session of the gateway's counter that is gone, and the \
                    station drops it";

pub(in crate::ladder) fn restarted(case: &Case<'_>) -> Option<Finding> {
    if let Some((_, attempt, answer)) = case.answers().find(|(i, _, answer)| {
        answer.sending.gone
            && answer.sending.ack.is_none()
            && case.state(*i, Rung::Sent) == State::Broken
    }) {
        let mut finding = restart_of(answer, Certainty::Certain);
        finding.add(format!("request {}, accept {}", attempt.line(), answer.sending.line));
        finding.add(GONE.to_owned());
        return Some(finding);
    }
    let refused: Vec<_> = refusals(case, is_timing);
    let found = refused.iter().find_map(|(_, attempt, answer)| {
        let trace = case.trace.gateways.get(&answer.sending.gateway)?;
        let asked = asked_at(attempt, answer).line;
        let restart = trace.restarts.iter().find(|r| r.before >= asked || r.after > asked)?;
        // The counter went on until the request and not after: the slot belongs to what was.
        let near = restart.before <= answer.sending.line.max(asked) && restart.after >= asked;
        near.then_some((*attempt, *answer, restart))
    });
    let (attempt, answer, restart) = found?;
    if late_by(attempt, answer).is_some_and(|by| by > -HEADROOM_US)
        && matches!(aim(answer), Aim::Rx1 | Aim::Rx2)
    {
        return None;
    }
    let mut finding = restart_of(answer, Certainty::Likely);
    finding.add(format!("request {}, accept {}", attempt.line(), answer.sending.line));
    finding.add(format!(
        "between {} and {} the counter does not fit the time that passed, not even modulo 2^32",
        restart.before, restart.after
    ));
    finding.add(format!(
        "the gateway says {}",
        answer.sending.refusal().map_or("nothing", |e| e.name())
    ));
    Some(finding)
}

/// Whether a cause of this rung explains why a slot lies where it lies.
pub(in crate::ladder) fn explains(case: &Case<'_>, answer: &Answer) -> bool {
    answer.sending.refusal().is_some_and(is_timing) && restarted(case).is_some()
}

pub(in crate::ladder) fn power(case: &Case<'_>) -> Option<Finding> {
    let refused = refusals(case, |e| *e == TxError::TxPower);
    let (_, _, first) = *refused.first()?;
    let power = first.sending.power_dbm.map_or("the power".into(), |p| format!("{p} dBm"));
    let mut finding = Finding::new(
        Certainty::Certain,
        format!("the gateway refuses the accept: it cannot send {power}"),
        "choose a power that the gateway's table has (mind the antenna gain that is taken off), or \
         add the row to the table; local rules limit the power that may be radiated",
    );
    for (_, _, answer) in refused.iter().take(4) {
        finding.add(format!("{}: {power}: TX_POWER", answer.sending.line));
    }
    Some(finding)
}

pub(in crate::ladder) fn frequency(case: &Case<'_>) -> Option<Finding> {
    // An unlawful frequency is the server's mistake, and rung 7's; without a region who knows.
    case.plan?;
    let refused: Vec<_> = case
        .broken_at(Rung::Sent)
        .flat_map(|(_, attempt)| attempt.answers.iter().map(move |answer| (attempt, answer)))
        .filter_map(|(attempt, answer)| {
            let said = match answer.sending.refusal() {
                Some(TxError::TxFreq) => {
                    let asked = answer.sending.freq_hz.map(mhz).unwrap_or_default();
                    format!("{asked}: TX_FREQ")
                }
                Some(_) => return None,
                None => out_of_range(&answer.sending)?,
            };
            misses(case, attempt, answer).is_empty().then_some((answer, said))
        })
        .collect();
    let (first, _) = refused.first()?;
    let hz = first.sending.freq_hz?;
    let mut finding = Finding::new(
        Certainty::Certain,
        format!("the gateway refuses {}, the lawful frequency of this window", mhz(hz)),
        "set the gateway's transmit range to its region's band (it is set for another region, or \
         too narrow)",
    );
    for (answer, said) in refused.iter().take(4) {
        finding.add(format!("{}: {said}", answer.sending.line));
    }
    Some(finding)
}

/// The counter interval that a downlink occupies on its gateway.
fn occupied(sending: &Sending) -> Option<(u32, u32)> {
    let When::Counter(slot) = sending.when else { return None };
    let air: Duration =
        time_on_air(sending.modulation?, sending.octets.len(), Direction::Downlink)?;
    Some((slot, u32::try_from(air.as_micros()).ok()?))
}

fn overlap(a: &Sending, b: &Sending) -> bool {
    let (Some((a_at, a_for)), Some((b_at, b_for))) = (occupied(a), occupied(b)) else {
        return false;
    };
    a.gateway == b.gateway && (b_at.wrapping_sub(a_at) < a_for || a_at.wrapping_sub(b_at) < b_for)
}

pub(in crate::ladder) fn collision(case: &Case<'_>) -> Option<Finding> {
    let refused = refusals(case, |e| *e == TxError::CollisionPacket);
    let mut rivals: Vec<(&Answer, &Answer, String)> = Vec::new();
    for (_, _, answer) in &refused {
        let others = case.trace.nodes.iter().filter(|n| !std::ptr::eq(*n, case.node));
        for other in others {
            let name = other.dev_eui.map(|e| e.to_string()).unwrap_or_default();
            for rival in other.attempts.iter().flat_map(|a| &a.answers) {
                if overlap(&answer.sending, &rival.sending) {
                    rivals.push((answer, rival, name.clone()));
                }
            }
        }
    }
    let (_, _, name) = rivals.first()?;
    let hit: std::collections::BTreeSet<&String> = rivals.iter().map(|r| &r.2).collect();
    // Two nodes meet once by chance.
    let certainty = if rivals.len() >= 2 { Certainty::Certain } else { Certainty::Possible };
    let mut finding = Finding::new(
        certainty,
        format!(
            "the accept collides in the gateway with that of {}: their requests keep step, and one \
             gateway sends one frame at a time",
            if hit.len() == 1 { name.clone() } else { format!("{} other nodes", hit.len()) }
        ),
        "have the nodes wait a random time before each request, longer after each failure, and \
         keep their session over a power cut; have the server use RX2 or another gateway when the \
         slot is taken",
    );
    for (answer, rival, name) in rivals.iter().take(4) {
        finding.add(format!(
            "{}: slot overlaps that of {name} ({})",
            place(answer.sending.line, answer.sending.at),
            rival.sending.line
        ));
    }
    let steps = intervals(case);
    if let [first, ..] = steps[..]
        && steps.len() >= 2
        && steps.iter().all(|s| s.abs_diff(first) < 50_000)
    {
        finding.add(format!("its requests come every {}, without jitter", short_seconds(first)));
    }
    Some(finding)
}

/// Microseconds between the node's requests.
fn intervals(case: &Case<'_>) -> Vec<i64> {
    let at: Vec<i64> =
        case.node.attempts.iter().filter_map(|a| Some(a.heard.at()?.as_microsecond())).collect();
    at.windows(2).filter_map(|w| if let [a, b] = w { Some(b - a) } else { None }).collect()
}
