//! Rung 8, sent: the gateway took the accept for transmission.
//!
//! Its word is checked against the arithmetic. The usual forwarder computes slot less now without
//! a sign, so that a slot already past looks far ahead and is refused as TOO_EARLY; TOO_LATE is
//! said only in the last milliseconds before the slot.

use super::{
    Case, Rung, accepts,
    timely::{Aim, aim, asked_at},
};
use crate::{
    fact::{Fact, Value, fact},
    intake::{TxError, When, Witness},
    ladder::rung::Judgement,
    trace::{Answer, Attempt, Restart, Sending},
};

/// A datagram that comes less than this before its slot may be refused as late: 52.5 ms in the
/// newer forwarder, 2.5 ms in the older (both from their sources, as the reference states).
pub(in crate::ladder) const HEADROOM_US: i64 = 60_000;

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    accepts::judge(case, index, Rung::Sent, "there is no accept to send")
}

/// What the rung makes of one accept.
pub(in crate::ladder) fn of(attempt: &Attempt, answer: &Answer) -> Judgement {
    let sending = &answer.sending;
    let Some(ack) = &sending.ack else {
        let gone = sending.gone.then(|| Fact::from(GONE));
        return match gone.or_else(|| out_of_range(sending)) {
            Some(why) => Judgement::broken(fact!("{accept}: {why}", accept = sending, why)),
            None => {
                Judgement::unknown(fact!("{accept}: no TX_ACK in the capture", accept = sending))
            }
        };
    };
    let gateway = ack.line;
    if ack.by == Witness::Air {
        return Judgement::proven(fact!("{gateway}: heard on the air", gateway; at: sending));
    }
    if ack.by == Witness::Station {
        return Judgement::proven(
            fact!("{gateway}: reported as sent (dntxed)", gateway; at: sending),
        );
    }
    if ack.error != TxError::None {
        let late = late_by(attempt, answer);
        return Judgement::broken(fact!(
            "{gateway}: TX_ACK says {error}{late}",
            gateway,
            error = ack.error.name().to_owned(),
            late = late.map_or(Fact::from(""), |late| fact!("; {late}", late = lateness(late)));
            at: sending
        ));
    }
    Judgement::proven(match &ack.warn {
        None => fact!("{gateway}: TX_ACK without an error", gateway; at: sending),
        Some(warn) => fact!(
            "{gateway}: TX_ACK without an error, with the warning {warning}",
            gateway,
            warning = warn.name().to_owned();
            at: sending
        ),
    })
}

/// What the gateway's setting does to a downlink of which it says nothing.
pub(in crate::ladder) fn out_of_range(sending: &Sending) -> Option<Fact> {
    if sending.ack.is_some() {
        return None;
    }
    let (low, high) = sending.range_exceeded()?;
    Some(fact!(
        "{frequency} is outside of what router_config lets the gateway send on, {lowest} to {highest}",
        frequency = Value::Frequency(sending.freq_hz?),
        lowest = Value::Frequency(low),
        highest = Value::Frequency(high)
    ))
}

/// `the datagram came 0.42 s after its slot`, by the capture's clock.
pub(in crate::ladder) fn lateness(late: i64) -> Fact {
    if late > 0 {
        fact!("the datagram came {late} after its slot", late = Value::About(late))
    } else {
        fact!("the datagram came {ahead} before its slot", ahead = Value::About(-late))
    }
}

/// Microseconds by which the datagram came after its slot; negative when it came before.
pub(in crate::ladder) fn late_by(attempt: &Attempt, answer: &Answer) -> Option<i64> {
    let us = answer.delay.slot_us()?;
    Some(answer.sending.arrival_after(asked_at(attempt, answer))? - us)
}

/// Whether the datagram came early enough, as far as times are known.
pub(in crate::ladder) fn in_time(late_by: Option<i64>) -> bool {
    late_by.is_none_or(|by| by < -HEADROOM_US)
}

/// From the accept to the gateway's word on it, microseconds: at the gateway this is a millisecond
/// or two, elsewhere it is the way there and back.
pub(in crate::ladder) fn round_trip(sending: &Sending) -> Option<i64> {
    let said = sending.ack.as_ref()?.at?;
    Some(said.as_microsecond() - sending.at?.as_microsecond())
}

/// The accepts that a gateway refused, of those of which it matters.
pub(in crate::ladder) fn refusals<'a>(
    case: &Case<'a>,
    which: impl Fn(&TxError) -> bool,
) -> Vec<(&'a Attempt, &'a Answer)> {
    let mut out = accepts::lost(case);
    out.retain(|(_, answer)| answer.sending.refusal().is_some_and(&which));
    out
}

fn is_timing(error: &TxError) -> bool {
    matches!(error, TxError::TooLate | TxError::TooEarly)
}

/// The refusals as late or early of accepts that were aimed at a window.
pub(in crate::ladder) fn timing<'a>(
    case: &Case<'a>,
) -> Vec<(&'a Attempt, &'a Answer, Option<i64>)> {
    refusals(case, is_timing)
        .into_iter()
        .filter(|(_, answer)| matches!(aim(answer), Aim::Rx1 | Aim::Rx2))
        .map(|(attempt, answer)| (attempt, answer, late_by(attempt, answer)))
        .collect()
}

/// The counter values of a request and its slot, if the counter wraps between them.
pub(in crate::ladder) fn wrapped(answer: &Answer) -> Option<(u32, u32)> {
    let When::Counter(slot) = answer.sending.when else { return None };
    let us = answer.delay.counter_us()?;
    let asked = slot.wrapping_sub(us);
    (slot < asked).then_some((asked, slot))
}

/// A downlink for a session of the counter that is over.
pub(in crate::ladder) const GONE: &str = "its xtime belongs to a session of the gateway's counter \
                                          that is gone, and the station drops it";

/// An accept whose slot is of a counter that is gone.
pub(in crate::ladder) struct Restarted<'a> {
    pub(in crate::ladder) attempt: &'a Attempt,
    pub(in crate::ladder) answer: &'a Answer,
    /// Where the counter does not go on; `None` where the station protocol itself shows it.
    pub(in crate::ladder) restart: Option<&'a Restart>,
}

/// The first accept whose slot is of a counter that is gone.
pub(in crate::ladder) fn restarted<'a>(case: &Case<'a>) -> Option<Restarted<'a>> {
    let gone = |sending: &Sending| sending.gone && sending.ack.is_none();
    let lost = accepts::lost(case);
    if let Some(&(attempt, answer)) = lost.iter().find(|(_, answer)| gone(&answer.sending)) {
        return Some(Restarted { attempt, answer, restart: None });
    }
    let refused = refusals(case, is_timing);
    let (attempt, answer, restart) = refused.into_iter().find_map(|(attempt, answer)| {
        let trace = case.trace.gateways.get(&answer.sending.gateway)?;
        let asked = asked_at(attempt, answer).line;
        let restart = trace.restarts.iter().find(|r| r.before >= asked || r.after > asked)?;
        // The counter went on until the request and not after: the slot belongs to what was.
        let near = restart.before <= answer.sending.line.max(asked) && restart.after >= asked;
        near.then_some((attempt, answer, restart))
    })?;
    let late = late_by(attempt, answer).is_some_and(|by| by > -HEADROOM_US);
    if late && matches!(aim(answer), Aim::Rx1 | Aim::Rx2) {
        return None;
    }
    Some(Restarted { attempt, answer, restart: Some(restart) })
}

/// Whether a cause of this rung explains why a slot lies where it lies.
pub(in crate::ladder) fn explains(case: &Case<'_>, answer: &Answer) -> bool {
    answer.sending.refusal().is_some_and(is_timing) && restarted(case).is_some()
}
