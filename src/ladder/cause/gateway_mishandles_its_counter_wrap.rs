//! Cause `gateway-mishandles-its-counter-wrap`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    intake::TxError,
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            sent::{self, in_time, lateness, wrapped},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayMishandlesItsCounterWrap,
    what: "refused as late or early, although in time modulo 2^32",
    places: &[Place::Join(join::Rung::Sent)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let refused = sent::timing(case);
    let &(attempt, answer, by) =
        refused.iter().find(|(_, a, by)| wrapped(a).is_some() && in_time(*by))?;
    // Where others are refused that do not wrap, the wrap is not what they share.
    if refused.iter().any(|(_, a, _)| wrapped(a).is_none()) {
        return None;
    }
    let (asked, slot) = wrapped(answer)?;
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
    finding.add(fact!(
        "request at {asked}, slot at {slot}: ({slot} - {asked}) mod 2^32 = {delay_us} us",
        asked,
        slot,
        delay_us = answer.delay.counter_us()?
    ));
    if let Some(by) = by {
        finding.add(fact!("{accept}; {late}", accept = &answer.sending, late = lateness(by)));
    }
    finding.add(fact!(
        "the gateway says {error} (request: {request})",
        error = answer.sending.refusal().map_or("", TxError::name).to_owned(),
        request = attempt.heard.first()
    ));
    if taken {
        finding.add("an accept whose slot lies on one side of the wrap was taken");
    }
    Some(finding)
}

const PAGE: &str = r"# gateway-mishandles-its-counter-wrap
The gateway refused an accept that was in time when its counter is taken
modulo 2^32.

## What is seen
At the gateway: once in a long while TX_ACK with TOO_LATE or TOO_EARLY,
though the datagram came soon after the request. At the node: that attempt
fails, the next succeeds. At the server: a rare failed downlink.

## Why it happens
`tmst` counts microseconds in 32 bits and wraps after 4 294.967296 s, that
is each 71 min 35 s. Around the wrap the slot is a smaller number than the
present count. Software that compares plain numbers takes it for long past;
comparing must be modulo 2^32.

## How to be sure
The slot is numerically below the request's tmst; (slot - tmst) mod 2^32 is
exactly 5 000 000 or 6 000 000; the datagram arrived well before. All three
together make it certain for that exchange. A second case near another wrap
shows that it is a habit.

Do not call it lateness by its word: arithmetic decides. Do not call it a
restart: after a restart the gap in the counter does not fit the wall clock,
here it does. A slot that is right modulo 2^32 but was sent too late is
plain lateness even near a wrap.

## What to do
1. Update the forwarder, or the server if it computes the slot without the
   modulus.
2. Until then nothing needs doing: a node that tries again some seconds
   later succeeds.
3. Do not restart gateways at each refusal.

## Example
Request tmst 4 294 400 000. Slot 4 294 400 000 + 5 000 000 - 4 294 967 296 =
4 432 704. The datagram came 0.4 s after the request, when the count was
about 4 294 800 000. Refused with TOO_LATE. The next request,
tmst 20 432 000, is answered.

## Source
The gateway packet-forwarder protocol, `tmst` (32 bits, microseconds); the
arithmetic is computed.
";
