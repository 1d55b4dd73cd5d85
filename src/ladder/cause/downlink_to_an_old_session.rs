//! Cause `downlink-to-an-old-session`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, old},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinkToAnOldSession,
    what: "downlinks carry the address and keys of a session that the node left",
    places: &[Place::Session(session::Rung::Received)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many decide.
const DECIDE: usize = 2;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = old::downs(case, story);
    let (old, _) = own.first()?;
    // One may have been on its way.
    let certainty = if own.len() >= DECIDE { Certainty::Certain } else { Certainty::Possible };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "{downlinks} to DevAddr {old_dev_addr} after the node began to use DevAddr {dev_addr}",
            downlinks = Value::Count(own.len() as u64, "downlink"),
            old_dev_addr = old.session.dev_addr,
            dev_addr = story.session.dev_addr
        ),
        "let the server drop the old session as soon as an uplink of the new one arrives",
    )
    .and(fact!(
        "{uplink}: the first uplink of DevAddr {dev_addr}; its MIC holds",
        uplink = story.cite_turn(0),
        dev_addr = story.session.dev_addr
    ));
    for (old, place) in own.iter().take(4) {
        finding.add(fact!(
            "{downlink}: DevAddr {old_dev_addr}, and the MIC holds under the keys of that session",
            downlink = old.cite(*place),
            old_dev_addr = old.session.dev_addr
        ));
    }
    Some(finding.matched_by_chance(1.0, own.len()))
}

const PAGE: &str = r"# downlink-to-an-old-session
The node uses a new session, and the server's downlinks still belong to the
one before.

## What is seen
At the server: downlinks sent. At the gateway: taken and sent. At the node:
nothing arrives; its uplinks are accepted.

## Why it happens
After a join or a rejoin the server keeps the old session until an uplink of
the new one comes; then it has to drop it. A downlink queue that was filled
before, or an application server that was not told of the new session, goes
on with the old one.

## How to be sure
An uplink under the new DevAddr and the new keys, and after it downlinks
with the old DevAddr whose MIC holds under the old keys. Two decide; one may
have been on its way.

Before the first uplink of the new session the old one is rightly in use. If
the node itself goes back to the old session, the new one was not taken.

## What to do
1. Drop the old session on the server at the first uplink of the new one.
2. Flush the downlink queue after a join.

## Example
LoRaWAN 1.1, Rejoin-Request type 0: DevAddr 0293BE8B becomes 0293BE90. The
node sends four frames under 0293BE90; four downlinks go to 0293BE8B.

## Source
LoRaWAN 1.1, 6.2.4, 5.10; 1.0.4, p. 44.
";
