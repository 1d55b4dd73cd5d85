//! Cause `app-key-text-taken-as-bytes`.

use super::{Cause, CauseId, Check, Kind, Place, hits};
use crate::{
    fact::fact,
    ladder::{
        finding::Finding,
        join::{self, Case},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AppKeyTextTakenAsBytes,
    what: "the key in the node is the text of the key, not its value",
    places: &[Place::Join(join::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let hit = hits::key_hit(case, CauseId::AppKeyTextTakenAsBytes)?;
    Some(hit.finding(
        fact!("the node's key is the text of {key}, not its value", key = hit.label.clone()),
        "give the node the key as 16 bytes: two hex digits make one byte",
    ))
}

const PAGE: &str = r#"# app-key-text-taken-as-bytes
The key in the node is the text of the key, not its value.

## What is seen
At the server: wrong MIC. At the node: attempts without answer; a dump of
its memory shows bytes between 30 and 39, 41 and 46 or 61 and 66 only. EUIs
may be right, or have the same fault.

## Why it happens
A key of 16 bytes is written with 32 hex digits. If firmware copies the
first 16 characters of that text into the key array, each byte is the code
of a character: "A0" becomes 41 30 instead of A0. It happens where a
function expects bytes and is handed a string.

## How to be sure
From the record's key make its text in upper and in lower case, take the
first 16 and the last 16 characters as bytes, and compute the MIC under
each: four trials. One hit on one frame by accident: 4 in 4 294 967 296,
about 9.3e-10; two frames put it beyond doubt. Half of the key takes no part
then, so the other half cannot be checked.

Seen the other way: a key on record made of bytes 30 to 46 is suspicious
before any frame is heard. It is not a typing error and not a reversed key. A
key that someone chose as 16 readable characters is a value like any other,
though a poor one; it is this fault only where the two sides differ in that
manner.

## What to do
1. Let the firmware convert the hex text: two digits make one byte.
2. Check that exactly 16 bytes result and print them (in the workshop
   only).
3. Look at JoinEUI and DevEUI: eight bytes each, by the same function.
4. Do not enter the character codes on the server to make it fit: such a key
   has only 16 hex digits of secret.

## Example
Record (invented): A0A1A2A3 A4A5A6A7 A8A9AAAB ACADAEAF. The MIC heard is
0FD0AE12. It holds under 41304131 41324133 41344135 41364137, the codes of
the sixteen characters "A0A1A2A3A4A5A6A7".

## Source
LoRaWAN 1.0.4, p. 45 (AppKey is an AES-128 key); the fault is one of
practice.
"#;
