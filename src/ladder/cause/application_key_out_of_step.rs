//! Cause `application-key-out-of-step`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::ladder::session;

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ApplicationKeyOutOfStep,
    what: "the record's AppSKey is not the session's",
    places: &[Place::Session(session::Rung::Readable)],
    kind: Kind::Exact,
    checks: &[Check::Session(session::payload::application_key)],
    page: PAGE,
};

const PAGE: &str = r#"# application-key-out-of-step
The MIC is good, but the record's AppSKey belongs to another join, so the
payload opens as noise.

## What is seen
At the server: frames accepted, counters good. At the application: values
that jump without sense, or a decoder that fails. It began with a join. At
the node and gateway: all in order.

## Why it happens
NwkSKey checks the MIC, AppSKey opens the payload, and they are often kept
in two places. The application side still has the AppSKey of an earlier
join, or of another accept in a series, or in 1.1 one derived from the wrong
root (NwkKey or a zero AppKey).

## How to be sure
The MIC holds under the session's network key; so counter, DevAddr and join
are right. Derive AppSKey from each accept seen and decrypt: one gives sound
text in every frame, the record's does not. Say what "sound" means: a known
package, a decoder that reads to the last octet, a fixed first octet.
Decryption has no check of its own, so one short payload fits something by
chance; take several.

"Key wrong" as a whole is false: half of it is right. A wrong decoder gives
steady, wrong numbers; a wrong key gives new noise with each frame, even
when the value stays. A lost upper half of FCnt would break the MIC as well.

## What to do
1. Hand the AppSKey of the latest join to the application side.
2. Or let the node join again, with the delivery of keys checked.
3. In 1.1 make sure that AppSKey comes from AppKey.
4. Frames stored meanwhile can be opened later with the right key.

## Example
Probe-07, FCnt 0, payload C72D2470. AppSKey of the latest accept
(DevNonce 5, JoinNonce 42) opens it as 01 67 00E1: channel 1, temperature,
22.5 degrees. The record's key, from the join before (DevNonce 4,
JoinNonce 41), gives 50E60057.

## Source
LoRaWAN 1.0.4, p. 24-25 and 46; 1.1, 4.3.3 and 6.2.3; the criterion for
sound text is practice.
"#;
