//! Cause `new-channel-refused`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, refusals},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NewChannelRefused,
    what: "the node refuses the same NewChannelReq again and again",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = refusals::of(story, "NewChannelReq");
    if own.len() < refusals::AGAIN {
        return None;
    }
    let request = own.last()?.requests.first()?;
    let hz = request.number("Frequency").and_then(|hz| u32::try_from(hz).ok())?;
    let mut finding = refusals::finding(
        story,
        &own,
        fact!(
            "the node refuses the same NewChannelReq, {frequency}, {times} times: it does not get this \
             channel",
            frequency = Value::Frequency(hz),
            times = own.len()
        ),
        "ask for a frequency within the node's band and for data rates that it has; the default channels \
         cannot be changed",
    )?;
    if let Some(plan) = story.plan.filter(|plan| !plan.in_band(hz)) {
        let (low, high) = plan.range_hz;
        finding.add(fact!(
            "{region} is {low} to {high}",
            region = plan.name,
            low = Value::Frequency(low),
            high = Value::Frequency(high)
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# new-channel-refused
The server asks for a channel that the node cannot use, and the node refuses
each time.

## What is seen
At the server: a channel that is never confirmed. At the node: NewChannelAns
in every frame, with a bit 0. Data flows on the other channels.

## Why it happens
The frequency is outside the node's band, or its radio cannot reach it; the
range of data rates is not one that the node has; the index is that of a
default channel, which cannot be changed. A profile of another region is the
usual reason.

## How to be sure
Pair NewChannelReq and NewChannelAns. Bit 1: range of data rates, bit 0:
frequency. The same request, the same refusal, three times, and not taken
since: certain.

In fixed plans a node does not answer at all: command-unknown-to-the-node.
Refused once and then corrected is not a fault.

## What to do
1. Take the frequencies of the node's region, with its data rates.
2. Let the server stop after some refusals.

## Example
IN865. NewChannelReq: index 8, 868.1 MHz, DR0 to DR5. Answer 02, five times.
IN865 ends at 867 MHz.

## Source
LoRaWAN 1.1, 5.6; 1.0.4, p. 35; RP002-1.0.4, the plan's band.
";
