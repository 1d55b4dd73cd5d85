//! Cause `payload-encrypted-by-another-rule`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::session;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::PayloadEncryptedByAnotherRule,
    what: "the payload reads under another way of encrypting only",
    places: &[Place::Session(session::Rung::Readable)],
    kind: Kind::Exact,
    checks: &[Check::Session(session::payload::another_cipher)],
    page: PAGE,
};

const PAGE: &str = r#"# payload-encrypted-by-another-rule
The MIC of the data holds, and its payload reads only under another way of
encrypting it.

## What is seen
The server takes every frame, and the application shows noise. Counters and
MAC commands are in order.

## Why it happens
The node does not encrypt at all, counts the blocks A_i from 0 where the
standard counts from 1, puts the wrong Dir or only half a counter into them,
or takes another key than AppSKey: NwkSKey, or in 1.1 one derived from
NwkKey.

## How to be sure
Decrypt every payload in each of these ways and look for a criterion that
can be named: printable ASCII to the last octet, or the known text of one
frame. The odds that noise meets it are shown; without a criterion nothing
can be told, whatever a payload looks like.

If the derived AppSKey reads the payloads and the record's does not, the
cause is application-key-out-of-step.

## What to do
1. Mend the encryption on the node: FRMPayload xor E(AppSKey, A_i), i from
   1, with the whole 32-bit counter.
2. Until then tell the application not to trust the values.

## Example
probe-30 sends "moist=41" in clear on port 2. The MIC holds, since it covers
what was sent; the server decrypts what was never encrypted.

## Source
LoRaWAN 1.0.4, p. 24; LoRaWAN 1.1, 4.3.3.
"#;
