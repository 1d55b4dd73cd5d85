//! Cause `gateway-mishandles-its-counter-wrap`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::join;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayMishandlesItsCounterWrap,
    what: "refused as late or early, although in time modulo 2^32",
    places: &[Place::Join(join::Rung::Sent)],
    kind: Kind::Exact,
    checks: &[Check::Join(join::sent::counter_wrap)],
    page: PAGE,
};

const PAGE: &str = r#"# gateway-mishandles-its-counter-wrap
The gateway refused an accept that was in time when its counter is taken
modulo 2^32.

## What is seen
At the gateway: once in a long while TX_ACK with TOO_LATE or TOO_EARLY,
though the datagram came soon after the request. At the node: that attempt
fails, the next succeeds. At the server: a rare failed downlink.

## Why it happens
`tmst` counts microseconds in 32 bits and wraps after 4 294.967296 s, that
is each 71 min 35 s. Around the wrap the slot is a smaller number than the
present count. Software that compares plain numbers takes it for long past;
comparing must be modulo 2^32.

## How to be sure
The slot is numerically below the request's tmst; (slot - tmst) mod 2^32 is
exactly 5 000 000 or 6 000 000; the datagram arrived well before. All three
together make it certain for that exchange. A second case near another wrap
shows that it is a habit.

Do not call it lateness by its word: arithmetic decides. Do not call it a
restart: after a restart the gap in the counter does not fit the wall clock,
here it does. A slot that is right modulo 2^32 but was sent too late is
plain lateness even near a wrap.

## What to do
1. Update the forwarder, or the server if it computes the slot without the
   modulus.
2. Until then nothing needs doing: a node that tries again some seconds
   later succeeds.
3. Do not restart gateways at each refusal.

## Example
Request tmst 4 294 400 000. Slot 4 294 400 000 + 5 000 000 - 4 294 967 296 =
4 432 704. The datagram came 0.4 s after the request, when the count was
about 4 294 800 000. Refused with TOO_LATE. The next request,
tmst 20 432 000, is answered.

## Source
The gateway packet-forwarder protocol, `tmst` (32 bits, microseconds); the
arithmetic is computed.
"#;
