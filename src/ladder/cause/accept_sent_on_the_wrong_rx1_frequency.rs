//! Cause `accept-sent-on-the-wrong-rx1-frequency`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, Value, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case, accepts,
            missed::{self, Astray},
            timely::asked_at,
        },
    },
    radio::Modulation,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptSentOnTheWrongRx1Frequency,
    what: "not the RX1 frequency of the request's channel",
    places: &[Place::Join(join::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let wrong = missed::frequency(case, Some(1), |why| why == Astray::Wrong);
    let &(attempt, answer, (got, want)) = wrong.first()?;
    let seen = asked_at(attempt, answer);
    let bandwidth = match seen.modulation {
        Some(Modulation::Lora { bw_khz, .. }) => Some(bw_khz),
        _ => None,
    };
    let asked = seen.freq_hz.and_then(|hz| plan.nearest_uplink(hz, bandwidth));
    let meant = plan.nearest_downlink(got).filter(|hit| hit.offset_hz == 0);
    // One alone that does not open may be for another node, whose request the capture lacks.
    let sure = wrong
        .iter()
        .filter(|(attempt, answer, _)| !accepts::may_be_anothers(case, attempt, answer));
    let is_its_own =
        accepts::of_several(sure.map(|(attempt, ..)| *attempt)) || !answer.openings.is_empty();
    let mut finding = Finding::new(
        if is_its_own { Certainty::Certain } else { Certainty::Likely },
        fact!(
            "the accept for a request{channel} belongs on {expected} in RX1, and goes out on \
             {frequency}{meant}",
            channel = asked.map_or(Fact::from(""), |hit| {
                fact!(" in uplink channel {channel}", channel = hit.channel)
            }),
            expected = Value::Frequency(want),
            frequency = Value::Frequency(got),
            meant = meant.map_or(Fact::from(""), |hit| {
                fact!(" (downlink channel {downlink_channel})", downlink_channel = hit.channel)
            })
        ),
        fact!("correct the server's RX1 channel rule for {region}", region = plan.name),
    );
    missed::tell_frequencies(&mut finding, &wrong);
    Some(finding)
}

const PAGE: &str = r"# accept-sent-on-the-wrong-rx1-frequency
The Join-Accept goes out at 5 s, but not on the RX1 frequency that belongs
to the request's channel.

## What is seen
At the server: accept sent. At the gateway: taken and sent. At the node: RX1
empty. The node may still join when an accept is sent in RX2, so it looks
like a node that needs several attempts.

## Why it happens
In EU868 and the other dynamic plans with pairless channels RX1 is the
frequency of the uplink. In US915 and AU915 it is 923.3 MHz + 0.6 MHz x
(channel mod 8); in the 96-channel plan of CN470 500.3 MHz + 0.2 MHz x
(channel mod 48). The server numbers channels wrongly: counts from 1, from
the start of the sub-band, takes the gateway's own index `chan`, or treats
the 500 kHz channels 64 to 71 by another rule.

## How to be sure
Compute the channel from `freq` and the plan, then RX1, and compare with the
txpk at 5 s. Compute back, too: the channel number that the server seems to
have meant often names the typing error.

In fixed plans uplink and downlink frequencies differ by rule; that alone is
no fault. In CN470 first find the plan by the join channel. At 6 s the RX2
frequency is due, not this one. A request reported some hertz off the grid
can lead a server to the wrong channel: see
gateway-reports-an-inexact-frequency.

## What to do
1. Correct the server's channel table, or its sub-band setting.
2. Take the channel from the frequency, never from the gateway's `chan`.
3. Until then RX2 serves, if the server can be told to use it.
4. Stay on downlink channels that the plan allows.

## Example
US915. Probe-07 asks at 906.2 MHz, SF8/500: (906.2 - 903.0) / 1.6 = 2,
channel 66. 66 mod 8 = 2, so RX1 is 923.3 + 1.2 = 924.5 MHz. The accept was
sent on 923.3 MHz, downlink channel 0: the server took 66 - 66 = 0, the
index within its own list.

## Source
RP002-1.0.1, 2.5 Table 18 (US915), 2.8 Table 39 (AU915), 2.9 (CN470), 2.4
(EU868), 2.10 (AS923).
";
