//! Cause `downlink-to-another-address`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Cite, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, strays},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DownlinkToAnotherAddress,
    what: "downlinks in this node's windows are signed with its keys and carry another address",
    places: &[Place::Session(session::Rung::Received)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many decide.
const DECIDE: usize = 2;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = strays::misaddressed(case, story);
    let first = own.first()?;
    let certainty = if own.len() >= DECIDE { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "{downlinks} in this node's windows carry DevAddr {other_dev_addr}, and their MIC holds \
             under the keys of DevAddr {dev_addr}",
            downlinks = Value::Count(own.len() as u64, "downlink"),
            other_dev_addr = first.frame.dev_addr,
            dev_addr = story.session.dev_addr
        ),
        "correct the DevAddr that the server puts into downlinks of this session",
    );
    for down in own.iter().take(4) {
        finding.add(fact!(
            "{downlink}: in answer to {uplink}, DevAddr {other_dev_addr}, FCntDown {fcnt}; the MIC holds",
            downlink = Cite::from(down.sending).with_time(),
            uplink = story.cite_turn(down.turn),
            other_dev_addr = down.frame.dev_addr,
            fcnt = down.fcnt
        ));
    }
    Some(finding.matched_by_chance(strays::TRIED, own.len()))
}

const PAGE: &str = r"# downlink-to-another-address
Downlinks come in this node's windows, signed with its keys, and carry
another DevAddr.

## What is seen
At the server: downlinks sent. At the gateway: taken and sent. At the node:
dropped, since the address is not its own; confirmed frames are repeated.

## Why it happens
The server puts the DevAddr of another node, or of another session, into the
frame and signs it with this session's keys: a mixed-up entry, or an address
that was changed by hand.

## How to be sure
A downlink with an address that no session of this node has, in one of its
windows. Compute the MIC under the node's network session key with the
address as sent: it holds. Two decide.

Multicast addresses have keys of their own. If the MIC holds under the keys
of an earlier session and the address is that session's, see
downlink-to-an-old-session.

## What to do
1. Correct the DevAddr of the session on the server.
2. Let the node join again: address and keys come together then.

## Example
probe-21 has DevAddr 02A10007. Three downlinks in RX1 of its uplinks carry
02A10009, and their MICs hold under its NwkSKey.

## Source
LoRaWAN 1.0.4, p. 18 (DevAddr), p. 25 (MIC).
";
