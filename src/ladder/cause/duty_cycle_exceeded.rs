//! Cause `duty-cycle-exceeded`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, duty},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DutyCycleExceeded,
    what: "the node is on the air for longer than its share",
    places: &[Place::Session(session::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let plan = story.plan?;
    let used = duty::exceeded(story, plan);
    let worst = used.first()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "{airtime} on the air within an hour in {band}, where {share} of the time is {allowed}",
            airtime = Value::About(worst.us),
            band = worst.band.name(plan),
            share = worst.band.percent(),
            allowed = Value::About(worst.allowed_us)
        ),
        "send less often, less at a time, or at a faster data rate",
    );
    for used in &used {
        finding.add(fact!(
            "{band}: {frames} from {first} to {last}, {airtime} on the air by what was heard",
            band = used.band.name(plan),
            frames = Value::Count(used.frames as u64, "transmission"),
            first = story.cite(used.first),
            last = story.cite(used.last),
            airtime = Value::About(used.us)
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# duty-cycle-exceeded
The node uses more of the air than its region allows.

## What is seen
At the server: data, more than is needed. At other nodes: losses by
collision. At the regulator: a transmitter that breaks the rules.

## Why it happens
An interval that was set for SF7 is kept at SF12, where a frame lasts twenty
times as long. Repeats of confirmed frames, NbTrans, or a loop in the
application add up.

## How to be sure
Sum the time on air of all transmissions in each sub-band, copies by several
gateways folded, repeats counted, over a sliding hour. EU868: 868.0 to
868.6 MHz has 1 %, that is 36 s. Already a part of an hour that sums to more
is certain; what was not heard comes on top.

A crowded minute within the hour's budget is allowed. Downlinks are the
gateway's share, not the node's. Plans with listen-before-talk or dwell time
have no duty cycle.

## What to do
1. Send less often, or less at a time.
2. Use a faster data rate, or a nearer gateway.
3. Spread the frames over sub-bands.

## Example
probe-34 sends 15 bytes at SF12BW125 every 6 s on 868.1 MHz: 60 frames of
1.16 s in six minutes, 69 s. 36 s an hour are allowed.

## Source
RP002-1.0.4, EU868; ETSI EN 300 220 sub-bands as the reference lists them.
";
