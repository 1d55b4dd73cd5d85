//! Cause `identity-not-on-record`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    explore::near_miss::EuiName,
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{self, Case, identified::Pair},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::IdentityNotOnRecord,
    what: "no claim resembles the identity sent",
    places: &[Place::Join(join::Rung::Identified)],
    kind: Kind::Residual,
    checks: &[Check::Join(check), Check::Join(join::told::unknown_device)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    if case.entry.is_none() {
        return stranger(case);
    }
    let pair = Pair::of(case, EuiName::DevEui).or_else(|| Pair::of(case, EuiName::JoinEui))?;
    Some(pair.finding(
        "identity",
        "not the one on record, and no typing error explains it",
        "register the identity that the node sends, or give the node the one on record",
    ))
}

/// A stranger while a node of the roster is not heard. Other neighbours are no fault.
fn stranger(case: &Case<'_>) -> Option<Finding> {
    let dev_eui = case.node.attempts.first()?.ask.dev_eui()?;
    let missing = case.trace.nodes.iter().any(|node| {
        node.index.is_some()
            && node.attempts.is_empty()
            && node.sessions.iter().all(|s| s.frames.is_empty())
    });
    // A server that answers has it on record.
    let answered = case.node.attempts.iter().any(|a| !a.answers.is_empty());
    if !missing || answered {
        return None;
    }
    let finding = Finding::new(
        Certainty::Possible,
        fact!(
            "{dev_eui} is on no roster and no claim resembles it, while a node of the roster is not \
             heard",
            dev_eui
        ),
        "if it is yours, register what the node sends; if not, it is a neighbour's and needs \
         nothing",
    );
    let requests = Value::count(case.node.attempts.len(), "request");
    Some(finding.and(fact!("{requests} from it", requests)))
}

const PAGE: &str = r#"# identity-not-on-record
No claim resembles the identity that the node sends.

## What is seen
At the gateway: well-formed Join-Requests of a DevEUI that nobody knows. At
the server: usually silence, often without a log line. At the node: attempts
without answer, as if out of range.

## Why it happens
The node was never registered, or was registered with another network; or
the firmware uses an EUI of the chip instead of the one on the label; or a
sample or all-zero value was never replaced; or the node simply belongs to a
neighbour. After an exchange of a radio module the DevEUI changes with it.

## How to be sure
First try all that is near: reversed bytes, swapped EUIs, one or two digits,
every claim of firmware, record and label. Then check the MIC under every key
on the roster. If it holds under one, the sender is that node, whatever its
EUI says (n keys tried: false-match probability n in 4 294 967 296 a frame).
If it holds under none, nothing ties the frame to a node of yours.

The verdict is "not on record", not "refused": a server that does not know a
DevEUI says nothing on the air. Do not use frames with a bad CRC or a wrong
length. Printable characters among the bytes hint at a text put where bytes
belong; a DevEUI full of zeros at a sample.

## What to do
1. Compare signal and time: does the frame appear when your node is switched
   on?
2. If it is yours, register the DevEUI that it sends, or set the node to the
   one on its label, and clear the copy in its memory.
3. If it is not yours, leave it alone; put it on a list of strangers.
4. Capture the request again after the change.

## Example
A gateway in the orchard hears 02-00-00-FF-FE-7A-44-1C every ten minutes. No
record is within two digits, reversed or not; the MIC fails under all nine
keys of the roster. Probe-04 was switched on at 09:00, the stranger has been
there since 07:00: it is not probe-04. It belongs to the beekeeper next
door.

## Source
LoRaWAN 1.0.4, p. 45; the silence of servers is common practice, not a rule
of the standard.
"#;
