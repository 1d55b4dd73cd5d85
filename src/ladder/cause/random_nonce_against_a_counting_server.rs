//! Cause `random-nonce-against-a-counting-server`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::join;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RandomNonceAgainstACountingServer,
    what: "the node's DevNonces are random, the record's version wants them to grow",
    places: &[Place::Join(join::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[Check::Join(join::fresh::random)],
    page: PAGE,
};

const PAGE: &str = r#"# random-nonce-against-a-counting-server
The node draws its DevNonce at random, while the record's version wants it
to grow.

## What is seen
At the node: it joins now and then, ever more rarely. At the server:
"DevNonce too small" for most requests. At the gateway: DevNonces without
order, all MICs good.

## Why it happens
Up to 1.0.3 DevNonce is random; from 1.0.4 it is a counter, and a request
whose value has not increased is dropped. The node follows the old rule and
is registered as 1.0.4 or 1.1, or the server applies the new rule to all
versions. Each accepted value raises the bar: after v only (65 535 - v) /
65 536 of random values pass.

## How to be sure
All MICs hold; the values are unordered; those above the last accepted were
answered, those below were not, and none of the refused values is a repeat.
The more attempts agree with "answered if and only if greater", the surer:
each adds evidence, and one counter-example ends the theory. For random
values a rising row of four has odds of 1 in 24, so "random" needs more than
a few.

It is not dev-nonce-not-kept-across-power-loss, whose row counts up from a
low value, nor dev-nonce-repeated-after-reset. Coverage does not sort its
losses by DevNonce.

## What to do
1. Register the version that the node really has (1.0.2 or 1.0.3), or
2. update the node to a stack with a stored counter, and clear the server's
   record once.
3. If the server counts for old versions as well, ask its operator to apply
   the rule by version.
4. Let the node widen the pauses between attempts meanwhile; airtime limits
   hold for failed joins, too.

## Example
Last accepted 8F21 (36 641). The probe offers 1A3C, 4410 and C7D9: no
answer, no answer, accept. Before C7D9 a random value passed with (65 535 -
36 641) / 65 536 = 44 %; after it (C7D9 = 51 161) with 22 %.

## Source
LoRaWAN 1.0.3, p. 36 (random); 1.0.4, p. 45-46 (counter).
"#;
