//! Cause `node-ignores-1.0-fallback`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            proven::{cite, derived::ignores_fallback},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NodeIgnores10Fallback,
    what: "OptNeg is 0, yet the node's data verifies by the 1.1 rule only",
    places: &[Place::Join(join::Rung::Proven)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

/// Evidence of one kind is told of this many frames.
const MOST_TOLD: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    let (session, frames) = ignores_fallback(case)?;
    let mut finding = Finding::new(
        Certainty::Certain,
        "OptNeg is 0 in the accept, so that the 1.0 rule derives the keys; the node's data \
         authenticates by the 1.1 rule only: it ignores the fallback",
        "correct the node's stack: with OptNeg 0 it derives NwkSKey and AppSKey from NwkKey by the \
         1.0 rule; or register the node on a server that speaks 1.1",
    );
    for seen in frames.iter().take(MOST_TOLD) {
        let context = seen.held.context.map_or(Fact::from("forwarding half alone"), |c| {
            fact!(
                "TxDr {tx_dr}, TxCh {tx_ch}, ConfFCnt {conf_fcnt}",
                tx_dr = c.tx_dr,
                tx_ch = c.tx_ch,
                conf_fcnt = c.conf_fcnt
            )
        });
        finding.add(fact!(
            "{frame}: FCnt {fcnt} of DevAddr {dev_addr} holds by the 1.1 rule ({context})",
            frame = cite(seen),
            fcnt = seen.held.fcnt,
            dev_addr = session.dev_addr,
            context
        ));
    }
    // 16 data rates and 100 channels may stand in the MIC's block.
    Some(finding.matched_by_chance(1_600.0, frames.len()))
}

const PAGE: &str = r#"# node-ignores-1.0-fallback
The accept says OptNeg 0, yet the node's data verifies only by the 1.1 rule.

## What is seen
At the server (1.0.x): join good, then every uplink has a wrong MIC. At the
node (1.1): joined; no downlink is ever taken. At the gateway: all in order.

## Why it happens
A 1.1 node that gets an accept with OptNeg 0 must act as 1.0.x, with NwkKey
instead of AppKey, for AppSKey as well. This node went on with the 1.1
derivation (JoinEUI in the block, AppKey as root of AppSKey, two halves of
MIC). It often shows by RekeyInd in its first uplink, which has no meaning
in a 1.0 session.

## How to be sure
Derive both sets from the accept. 1.0: block with JoinNonce, NetID, DevNonce
under NwkKey. 1.1: JoinNonce, JoinEUI, DevNonce, four keys. The uplink's MIC
fails under the first and holds under the second: last two bytes under
FNwkSIntKey (probability 1 in 65 536 a frame), first two under SNwkSIntKey
with the right TxDr and TxCh, which may have to be searched. Demand several
frames.

"Server key wrong" is refuted: the same key made the accept. "Accept not
received" is refuted: the DevAddr is the new one. If neither set fits, see
session-keys-derived-by-another-rule.

## What to do
1. Fix the node's fallback, or take a stack in which it works.
2. Or register the node on a server that speaks 1.1, with both root keys.
3. Do not set the server's record to 1.1 if the server only pretends to it.

## Example
Accept for the weather probe: DLSettings 00, DevAddr 020C2107. Its first
three uplinks fail by the 1.0 rule; all three hold by the 1.1 rule, both
halves. 16 bits three times: 2^-48 for the second half alone.

## Source
LoRaWAN 1.1, 6.2.3, 4.4.1-4.4.2 and 4.3.1.5; 5.10 (RekeyInd).
"#;
