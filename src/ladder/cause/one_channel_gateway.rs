//! Cause `one-channel-gateway`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        gateway,
        join::{Case, Rung, on_plan::received_share},
        rung::State,
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::OneChannelGateway,
    what: "the gateway receives one channel of a plan with many",
    places: &[Place::Gateway(gateway::Rung::OnPlan), Place::Join(Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[
        Check::Gateway(gateway::on_plan::only_one_channel),
        Check::Gateway(gateway::told::one_channel),
        Check::Join(check),
    ],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let mut narrow = None;
    // A gateway that receives nothing of the node does not make up for one that receives little.
    let heard_by = case.heard_by();
    for (eui, trace) in case.trace.gateways.iter().filter(|(eui, _)| heard_by.contains(eui)) {
        if !case.is_described(*eui) {
            continue;
        }
        let listens = case.listens(*eui);
        let unsaid = listens.is_empty()
            && case.gateway(*eui).is_none_or(|gateway| gateway.sub_band.is_none())
            && trace.heard_hz.len() == 1
            && trace.crc_good >= 5;
        match (listens.as_slice(), unsaid) {
            ([one], _) => narrow = Some((eui, Some(*one), Certainty::Certain)),
            (_, true) => {
                narrow = Some((eui, trace.heard_hz.keys().next().copied(), Certainty::Likely));
            }
            _ => return None,
        }
    }
    let (eui, hz, certainty) = narrow?;
    let frequency = Value::Frequency(hz?);
    let shares: Vec<(u32, u32)> = case
        .node
        .sessions
        .iter()
        .filter_map(received_share)
        .filter(|(_, sent)| *sent >= 4)
        .collect();
    let lossy = shares.iter().find(|(came, sent)| came * 3 < sent * 2);
    let joining_in_vain = case.node.attempts.len() >= 2
        && case.node.sessions.iter().all(|s| s.frames.is_empty())
        && case.ever(Rung::Answered, State::Proven);
    if lossy.is_none() && !(joining_in_vain && certainty == Certainty::Certain) {
        return None;
    }
    let lossy = lossy.copied().or(shares.last().copied());
    let certainty = if lossy.is_some() { certainty } else { Certainty::Possible };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "the gateway receives {frequency} alone, the plan {region} has more channels: most of \
             what the node sends is lost",
            frequency = frequency.clone(),
            region = plan.name
        ),
        "use a gateway that hears all channels of the plan; a receiver of one channel serves no \
         node that hops",
    );
    if let Some(eui) = eui {
        finding.add(fact!(
            "gateway {gateway}: {frequency} and nothing else",
            gateway = *eui,
            frequency
        ));
    }
    if let Some((received, sent)) = lossy {
        finding.add(fact!(
            "{received} of {sent} came, by the frame counter",
            received,
            sent = Value::Count(sent.into(), "frame")
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# one-channel-gateway
The gateway receives one channel, or one data rate, of a plan in which the
node uses many.

## What is seen
At the gateway: all receptions on one frequency, or all at one spreading
factor, or both. At the node: joins come only when it happens to try that
channel; afterwards most reports are lost. At the server: FCnt jumps, the
frames that arrive are strong.

## Why it happens
The receiver has a single radio that listens to one frequency and one
spreading factor at a time. The node takes a channel at random from those it
has, and ADR or its own fall-back changes the spreading factor. A CFList
makes matters worse: with more channels a smaller share is heard.

## How to be sure
Share heard in one session: different FCnt / (last - first + 1). Compare with
1/n for n enabled channels, times the share of the data rates that the
receiver knows. When all frames heard lie on one frequency though n are
enabled, k frames do so by chance with a probability of n^(1-k): for 8
channels and 6 frames 8^-5, about 3e-5. The gateway's own channel list settles
it.

Coverage and counter faults are the usual wrong verdicts. A node that the
server has confined to one channel by mask is the other way to this picture:
look for the LinkADRReq.

## What to do
1. Use a gateway that receives all channels and spreading factors of the plan
   at the same time; a one-channel receiver is not a LoRaWAN gateway, and a
   network that counts on it will lose frames.
2. For a bench test only: limit the node to that channel and data rate, switch
   ADR off, send no CFList, and put it back afterwards. One channel takes all
   the airtime: observe the local duty cycle, and do not do it in the field.

## Example
EU868. A home-made receiver listens to 868.1 MHz at SF7. The accept's CFList
gave probe-09 five more channels, eight in all. Of FCnt 0 to 31 (32 frames)
the gateway hears 2, 9, 20 and 28: 4/32 = 1/8, as expected of one channel in
eight.

## Source
RP002-1.0.1, 2.4 (default channels every node must be able to use) and 2.4.4
(CFList); the rest is common practice.
";
