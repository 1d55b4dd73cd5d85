//! Cause `gateway-heard-only-bad-crc`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway,
        join::{self, Case},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayHeardOnlyBadCrc,
    what: "everything received has a bad CRC",
    places: &[Place::Gateway(gateway::Rung::Hears), Place::Join(join::Rung::Heard)],
    kind: Kind::Residual,
    checks: &[
        Check::Gateway(gateway::hears::only_bad_crc),
        Check::Gateway(gateway::told::only_bad_crc),
        Check::Join(check),
    ],
    page: PAGE,
};

/// Fewer damaged frames than this are nothing but noise.
const LEAST: u64 = 3;

fn check(case: &Case<'_>) -> Option<Finding> {
    let nothing = case.node.attempts.is_empty()
        && case.node.sessions.iter().all(|s| s.frames.is_empty())
        && case.trace.frames == 0;
    if !nothing || case.trace.crc_bad < LEAST || case.is_abp() || case.entry.is_none() {
        return None;
    }
    Some(Finding::new(
        Certainty::Possible,
        fact!(
            "the gateway received {frames}, every one with a bad CRC: nothing may be read from them",
            frames = Value::Count(case.trace.crc_bad, "frame")
        ),
        "compare sync word (public network, 0x34) and polarity of node and gateway; then move the \
         node out of the way of other transmitters and repeat",
    ))
}

const PAGE: &str = r"# gateway-heard-only-bad-crc
A gateway received transmissions at a good signal, but every one of them
with a bad payload CRC.

## What is seen
At the gateway: receptions marked with CRC status -1, often with an SNR far
above the demodulation floor, at the times when the node transmits. Nothing,
or only the statistics, reaches the server, because most gateways do not
forward such frames. At the node: attempts without answer.

## Why it happens
The radio locked on to a preamble but the bytes did not come through intact.
At a weak signal that is ordinary. At a strong one: two transmissions on one
channel and data rate at the same time; a node so near that the receiver is
overloaded; sync word or header mode of another network type; a transmitter
that drifts or loses power inside the frame.

## How to be sure
Count: share of bad CRC among all receptions, and their SNR less the floor
(-7.5 dB at SF7 to -20 dB at SF12). Bad at 10 dB and more above the floor is
not a matter of range. If other nodes are received well meanwhile, the
receiver works. If the times match the node's log within a second, they are
probably the node's; without a log this is a guess.

Not one byte of such a frame may be used. A DevEUI read out of it, or a MIC
that fails over it, proves nothing. One bad CRC among many good ones is no
fault at all.

## What to do
1. Move the node to 5 to 20 m from the gateway and try again: this rules out
   both overload and range.
2. Set the public network type (sync word 0x34) on the node, after the
   region is set, and on the gateway.
3. Let the node try alone: switch off other nodes that started with it, or
   let each wait a random time.
4. Look at the node's supply during transmission; keep to allowed power.
5. Capture again with the CRC status in it.

## Example
In the orchard's shed, 14 receptions in ten minutes: all with status -1,
SF9, SNR between 8 and 11 dB. The floor at SF9 is -12.5 dB, so the margin is
20 dB and more. The probe lies 40 cm below the gateway's antenna. At 15 m
the first Join-Request comes with a good CRC.

## Source
The gateway packet-forwarder protocol, rxpk member `stat`; RP002-1.0.1,
chapter 3 (sync word, header); floors from LoRa transceiver data sheets. The
reading of the signs is common practice.
";
