//! Cause `app-key-bytes-reversed`.

use super::{Cause, CauseId, Check, Kind, Place, hits};
use crate::ladder::{
    finding::Finding,
    join::{self, Case},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AppKeyBytesReversed,
    what: "the MIC holds under the AppKey on record read backwards",
    places: &[Place::Join(join::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    Some(hits::key_hit(case, CauseId::AppKeyBytesReversed)?.reversed())
}

const PAGE: &str = r#"# app-key-bytes-reversed
The AppKey that signs the Join-Request is the one on record with its sixteen
bytes in the opposite order.

## What is seen
At the server: the MIC of each Join-Request is wrong, or the request is
dropped in silence. At the node: attempts without answer. Both consoles show
what seems to be the same digits, once they are read backwards.

## Why it happens
EUIs are sent least significant byte first, so people learn to turn them
round, and then turn the key as well "to be safe". A key is a string of
bytes, not a number: the first byte printed is byte 0 of the key, on both
sides, in every version.

## How to be sure
Compute the MIC over the first 19 bytes under each claim's key and under its
byte reversal. A hit under the reversal by accident has a probability of 1 in
4 294 967 296 for one frame and one extra trial; a second request with another
DevNonce squares them. Reverse bytes, not digits: A1 stays A1.

The MIC says which value the node uses, not who erred. Compare with the
label or the delivery list for that. Look-alikes: a reversed DevEUI does not
make the MIC fail, so if the MIC holds under the key as printed, the key is
right. A key whose bytes read the same both ways cannot show this fault.

## What to do
1. Enter the key as printed, most significant byte first, on the side that
   has it turned.
2. Leave the EUIs as they are, unless they are found wrong by themselves.
3. Let the node join again. Do not send keys by mail or in screenshots when
   you ask for help.

## Example
The probe's request (DevNonce 5) ends with the MIC 1C4CB8AE. The record's
AppKey (invented) is A0A1A2A3 A4A5A6A7 A8A9AAAB ACADAEAF; under it the MIC
should be 4E6618B5. Under AFAEADAC ABAAA9A8 A7A6A5A4 A3A2A1A0 it is
1C4CB8AE: the node holds the key backwards.

## Source
LoRaWAN 1.0.4, p. 45; 1.0.3, p. 36 (MIC); that keys are not reversed: byte
strings in every published key vector.
"#;
