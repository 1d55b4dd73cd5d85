//! Cause `join-eui-typed-wrong`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    explore::near_miss::EuiName,
    ladder::{
        finding::Finding,
        join::{self, Case, identified::Pair},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::JoinEuiTypedWrong,
    what: "the JoinEUI sent differs from the one on record by a typing error",
    places: &[Place::Join(join::Rung::Identified)],
    kind: Kind::Exact,
    checks: &[Check::Join(check), Check::Join(|case| join::told::join_eui(case, false))],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    Pair::of(case, EuiName::JoinEui)?.typed(case)
}

const PAGE: &str = r"# join-eui-typed-wrong
The JoinEUI heard differs from the one on record in one or two digits, or in
two neighbours swapped.

## What is seen
At the gateway: well-formed Join-Requests with the right DevEUI. At the
server: silence, a refusal, or a normal answer: not every server looks at
the JoinEUI. A gateway or a router that filters by JoinEUI may drop the
frame.

## Why it happens
The JoinEUI is the same for many nodes and mostly zeros and repeated digits,
which makes it easy to mistype: one zero more or less shifts all that
follows.

## How to be sure
The DevEUI leads to the record. Check the MIC under the record's key: when it
holds, sender and key are right (false-match probability 1 in 4 294 967 296 a
frame), and the JoinEUI is the only difference.

Whether it keeps the node out depends on the server. An accept in the
capture says that it does not. In 1.0.x nothing is computed from the JoinEUI
except the request's MIC, which is over the bytes sent. In 1.1 the accept's
MIC and the session keys contain it: an accept made with the record's value
fails at the node although all keys are right.

Do not report the JoinEUI as the cause when a later rung is broken and the
server is known not to check it. An all-zero JoinEUI is allowed. A value that
differs in many digits is not a typing error: see identity-not-on-record.

## What to do
1. Set the two values one above the other and mark the digit.
2. Take the value that your join server names as its own; correct the side
   that differs.
3. Check the other nodes entered on the same day.
4. Look at JoinEUI filters on the gateway.

## Example
    heard    02-00-00-FF-FE-0C-00-10
    record   02-00-00-FF-FE-0C-00-01
                                  ^^ digits 15, 16 swapped

DevEUI 02-00-00-FF-FE-0C-21-08 is on record and the MIC holds under its key.
Three other probes of the orchard with the JoinEUI ...-00-01 join.

## Source
LoRaWAN 1.0.4, p. 45-46; 1.1, 6.2.2 and 6.2.3.
";
