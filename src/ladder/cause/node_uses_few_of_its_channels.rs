//! Cause `node-uses-few-of-its-channels`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, on_plan::frames},
    },
    region::PlanKind,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NodeUsesFewOfItsChannels,
    what: "the node sends on a few of its channels alone",
    places: &[Place::Session(session::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// A false-match probability below this is no accident.
const NO_ACCIDENT: f64 = 1e-6;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let plan = story.plan?;
    let last = story.settings.last();
    let mask = last.mask.sure()?;
    let mut available: Vec<u32> = Vec::new();
    for channel in mask.channels() {
        let hz = match plan.kind {
            PlanKind::Fixed => plan.channel_frequency(channel),
            PlanKind::Dynamic => last.channels.get(&channel)?.sure().map(|own| own.hz),
        };
        available.extend(hz);
    }
    // A gateway hears its own channels alone; only what all of them hear can be missing.
    for eui in session::reach::gateways(story) {
        let listens = case.listens(eui);
        if listens.is_empty() && case.gateway_channels(eui).is_none() {
            return None;
        }
        if !listens.is_empty() {
            available.retain(|hz| listens.iter().any(|own| own.abs_diff(*hz) < 1_000));
        }
    }
    let all = frames::all(story, plan);
    let narrow = |sent: &&frames::Sent| sent.has_channel == Some(true);
    let held: Vec<_> = all.iter().filter(narrow).collect();
    let used = |hz: &u32| held.iter().any(|sent| sent.hz.abs_diff(*hz) < 1_000);
    // The wide channel of a sub-band is for one data rate of its own.
    if plan.kind == PlanKind::Fixed {
        let wide =
            |hz: &u32| plan.nearest_uplink(*hz, Some(500)).is_some_and(|hit| hit.offset_hz == 0);
        available.retain(|hz| !wide(hz) || used(hz));
    }
    let few: Vec<u32> = available.iter().copied().filter(used).collect();
    // Copies hop as well, but one turn is one choice.
    let frames = story.turns().len();
    let odds = false_match(available.len(), few.len(), frames);
    if few.is_empty() || few.len() * 2 > available.len() || odds >= NO_ACCIDENT {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "{uplinks} on {used} of {all} channels alone",
            uplinks = Value::Count(frames as u64, "uplink"),
            used = few.len(),
            all = available.len()
        ),
        "check how the node reads the CFList and the channel mask",
    )
    .and(fact!(
        "used: {frequencies}",
        frequencies = Value::list(few.iter().copied().map(Value::Frequency))
    ))
    .and(fact!(
        "in force: {channels}",
        channels = Value::list(available.iter().copied().map(Value::Frequency))
    ));
    finding.false_match = Some(odds);
    Some(finding)
}

/// C(m, k) x (k / m)^n: that n frames which choose freely among m channels stay on k of them.
fn false_match(m: usize, k: usize, n: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "an estimate")]
    let of = |n: usize| n as f64;
    let choices: f64 = (0..k).map(|i| of(m - i) / of(i + 1)).product();
    choices * (of(k) / of(m.max(1))).powf(of(n))
}

const PAGE: &str = r"# node-uses-few-of-its-channels
The node has many channels and sends on a few of them.

## What is seen
At the server: nothing odd; collisions with other nodes are more than they
should be. At the gateway: some channels crowded, others empty.

## Why it happens
The CFList or the mask is read in part: only the default channels are used,
or only the first word of a mask. A random number that is always the same, or
a list that is shorter than the plan's.

## How to be sure
Take the channels in force: defaults, CFList, NewChannelReq, less the mask.
Leave out those that the gateway does not hear. A node chooses one of m at
random for each frame; that n frames stay on k of them has the probability
C(m, k) x (k / m)^n. Below one in a million: likely.

A one-channel gateway hears its own channel alone. A mask that leaves few
channels is in force, not a fault.

## What to do
1. Compare the node's channel list with the accept's CFList.
2. Look how the node chooses its channel.

## Example
EU868 with CFList: eight channels. 40 frames of probe-35, all on 868.1,
868.3 and 868.5 MHz: C(8, 3) x (3/8)^40 is 5e-16.

## Source
RP002-1.0.4, CFList; LoRaWAN 1.0.4, p. 12 (pseudo-random channel change).
";
