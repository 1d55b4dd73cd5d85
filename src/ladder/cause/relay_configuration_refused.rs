//! Cause `relay-configuration-refused`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::fact,
    ladder::{
        finding::Finding,
        session::{self, Case, Story, refusals},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RelayConfigurationRefused,
    what: "the relay, or the node behind it, refuses the same relay configuration again and again",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// Requests that set how relays work.
const OWN: [&str; 3] = ["RelayConfReq", "EndDeviceConfReq", "FilterListReq"];

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    OWN.into_iter().find_map(|name| {
        let own = refusals::of(story, name);
        if own.len() < refusals::AGAIN {
            return None;
        }
        refusals::finding(
            story,
            &own,
            fact!(
                "the node refuses the same {request} {times} times; relaying stays as it was",
                request = name,
                times = own.len()
            ),
            "ask for what the bit names within the plan: channel index, data rate, frequency, period; \
             rules of a filter list must be set in their order",
        )
    })
}

const PAGE: &str = r"# relay-configuration-refused
The server asks a relay, or a node behind one, for settings that it refuses
each time.

## What is seen
At the server: a command that never settles. At the node: the answer with a
bit 0. Relaying does not begin, or goes on as before; nodes behind the relay
are not heard.

## Why it happens
RelayConfReq names a wake-up channel, a data rate, an offset or a period
that the plan does not have; EndDeviceConfReq likewise; FilterListReq has a
rule that does not follow from those before, or a length that is not valid.
One bit 0 voids the complete request.

## How to be sure
RelayConfAns, EndDeviceConfAns or FilterListAns has a bit 0, three times for
the same request, and it was not taken since.

## What to do
1. Correct what the bit names.
2. Set the rules of a filter list from index 0 on.

## Example
RelayConfReq asks for the wake-up data rate DR15; RelayConfAns has the bit
for the data rate 0, at each of four attempts.

## Source
TS011-1.0.0, from one device stack; the bits are uncertain.
";
