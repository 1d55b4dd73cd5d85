//! Cause `join-request-has-the-wrong-length`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    crypto::Signer,
    fact::{Certainty, Cite, Fact, Value, fact},
    frame::{JoinRequest, Mic},
    id::DevEui,
    ladder::{
        finding::Finding,
        join::{self, Case},
    },
    trace::{Transmission, missing_dev_eui_byte, root_keys},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::JoinRequestHasTheWrongLength,
    what: "what the node sends as a Join-Request does not have 23 bytes",
    places: &[Place::Join(join::Rung::Heard)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let heard = case.node.misshapen.first()?;
    let size = Value::count(heard.octets.len(), "byte");
    let expected = JoinRequest::LEN;
    let lacking = lacking(case, heard);
    let mut finding = match &lacking {
        Some(Lacking { dev_eui, byte, claim, .. }) => Finding::new(
            Certainty::Likely,
            fact!(
                "the node sends a Join-Request of {size} instead of {expected}: byte {byte} of the \
                 DevEUI is missing, JoinEUI and all other bytes are as on {claim}; servers drop it \
                 without an answer",
                size,
                expected,
                byte = *byte,
                claim = *claim
            ),
            fact!(
                "give the node all 8 bytes of its DevEUI, {dev_eui}: look for a short array or a \
                 short text in its configuration",
                dev_eui = *dev_eui
            ),
        ),
        None => Finding::new(
            Certainty::Certain,
            fact!(
                "the node sends a Join-Request of {size} instead of {expected}; servers drop it \
                 without an answer",
                size,
                expected
            ),
            "correct the frame in the node's stack: MHDR 1, JoinEUI 8, DevEUI 8, DevNonce 2, MIC 4 \
             bytes",
        ),
    };
    for heard in &case.node.misshapen {
        finding.add(frame(heard));
    }
    match lacking {
        Some(Lacking { signed: true, .. }) => {
            finding.certainty = Certainty::Certain;
            finding.add("the MIC holds under this node's key: the frame is this node's");
            finding = finding.matched_by_chance(TRIES, 1);
        }
        Some(_) => finding.add("the likeness is all the evidence: no MIC shows whose frame it is"),
        None => {}
    }
    Some(finding)
}

fn frame(heard: &Transmission) -> Fact {
    fact!(
        "{frame}: {size}: {bytes}",
        frame = Cite::from(heard.first()).with_time(),
        size = Value::count(heard.octets.len(), "byte"),
        bytes = Value::Bytes(heard.octets.to_vec())
    )
}

/// A request in which one byte of the DevEUI is missing.
struct Lacking {
    dev_eui: DevEui,
    /// Which, from 1 at the left as printed.
    byte: usize,
    claim: &'static str,
    /// Whether the MIC holds under a key of the node.
    signed: bool,
}

/// Each of some four keys on two messages.
const TRIES: f64 = 8.0;

fn lacking(case: &Case<'_>, heard: &Transmission) -> Option<Lacking> {
    let entry = case.entry?;
    let (dev_eui, byte, claim) = entry.claims().find_map(|(kind, claim)| {
        let dev_eui = claim.dev_eui?;
        let byte = missing_dev_eui_byte(&heard.octets, claim.join_eui?, dev_eui)?;
        Some((dev_eui, byte, kind.name()))
    })?;
    let (signed, mic) = heard.octets.split_last_chunk().map(|(signed, mic)| (signed, Mic(*mic)))?;
    // A stack may sign what it sends, or the whole of it.
    let mut whole = signed.get(..9)?.to_vec();
    whole.extend(dev_eui.to_wire());
    whole.extend(signed.get(16..)?);
    let keys = root_keys(case.node.index?, entry);
    let signed = keys.iter().any(|(_, root)| {
        [signed, &whole].into_iter().any(|message| Signer::new(root.key()).mic(&[message]) == mic)
    });
    Some(Lacking { dev_eui, byte, claim, signed })
}

const PAGE: &str = r"# join-request-has-the-wrong-length
A frame of the node carries the MHDR of a Join-Request but is not 23 bytes
long.

## What is seen
At the node: attempts without answer. At the gateway: a reception with good
CRC, MHDR 00 and a size other than 23. At the server: a decoding error or
nothing; some gateways drop such a frame before it reaches the server.

## Why it happens
A Join-Request is MHDR 1, JoinEUI 8, DevEUI 8, DevNonce 2, MIC 4: 23 bytes,
with no options. Another length means that the node's builder is at fault:
an EUI copied with 7 or 9 bytes, a DevNonce written in 1 or 4 bytes, the
MIC left out or sent in full (16 bytes), or a text put where bytes belong.

## How to be sure
Compare `size` in the reception with the length of the decoded `data`; if they
differ, the capture is damaged and nothing can be said about the node. Then
subtract 23: -2 fits a missing DevNonce, -4 a missing MIC, +2 a 4 byte
DevNonce, +12 a complete CMAC. These are readings, not proofs; a MIC that
holds over a plausible split is one.

Do not read EUIs out of such a frame as if nothing were wrong: every field
after the first bad one is shifted. Drop receptions with a bad CRC before
judging. 19 or 24 bytes with MHDR C0 are Rejoin-Requests and allowed in 1.1;
17 or 33 bytes with MHDR 20 are Join-Accepts.

## What to do
1. Print the frame in the node before it goes to the radio and count the
   fields.
2. Check the sizes of the arrays that hold JoinEUI (8) and DevEUI (8), and
   that DevNonce is sent as 2 bytes, least significant first.
3. Check that the radio is given the length 23 and the explicit header.
4. If the gateway's own log shows 23, repair the capture instead.

## Example
A new orchard probe sends

    00 01000CFEFF000002 07210CFEFF000002 05000000 xxxxxxxx

that is 25 bytes. A 32-bit variable was copied as it is: DevNonce 5 is sent as
05 00 00 00. As a 2 byte field it is 05 00, and the frame has 23.

## Source
LoRaWAN 1.0.4, p. 45; 1.0.3, p. 36; 1.1, 6.2.2 (fields) and 6.2.4
(Rejoin-Request).
";
