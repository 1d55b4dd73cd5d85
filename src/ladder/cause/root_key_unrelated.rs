//! Cause `root-key-unrelated`.

use super::{Cause, CauseId, Check, Kind, Place, hits};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{
            Case, Rung, authentic, told,
            why::{KeyHit, Searched, Why},
        },
        rung::State,
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::RootKeyUnrelated,
    what: "neither a claimed key nor anything near one signs the request",
    places: &[Place::Join(Rung::Authentic)],
    kind: Kind::Residual,
    checks: &[Check::Join(check), Check::Join(told::mic)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    match authentic::why(case)? {
        Why::Key(_) => Some(another_claim(hits::key_hit(case, CauseId::RootKeyUnrelated)?)),
        Why::Misread(_) => None,
        // Where the key signs other requests of the node, it is right, and these are damaged.
        Why::Nothing(searched) => (!is_right(case)).then(|| nothing_near(*searched)),
    }
}

/// Whether the key on record signs anything of the node.
fn is_right(case: &Case<'_>) -> bool {
    [Rung::Authentic, Rung::Proven].into_iter().any(|rung| case.ever(rung, State::Proven))
}

/// Another claim has the key, and it does not resemble the record's.
fn another_claim(hit: &KeyHit) -> Finding {
    hit.finding(
        fact!(
            "the MIC holds under {key}; the key on record is another, and no typing error turns the \
             one into the other",
            key = hit.label.clone()
        ),
        "enter the node's key on record, or give the node the key on record: one of the two is out \
         of date, which one the frames do not say",
    )
}

fn nothing_near(Searched { tried, digits, interrupted, requests }: Searched) -> Finding {
    let mut finding = Finding::new(
        Certainty::Possible,
        "the MIC holds under no claimed key and under nothing near one",
        "compare the key in the node with the one on record at their source; if the node was \
         flashed again, read back what it holds",
    );
    finding.add(fact!(
        "searched around every claim: byte, word and nibble order, roles, session keys, other \
         nodes, sample values, the key's text, up to {digits} wrong digits; {tried} against \
         {requests}",
        digits,
        tried = Value::Count(tried, "candidate"),
        requests = Value::count(requests, "request")
    ));
    if interrupted {
        finding.add("the search was interrupted before it had covered all of that");
    } else if digits < 3 {
        finding.add("`--digits 3` searches further, for this node alone");
    }
    if requests == 1 {
        finding.add("one frame alone: a damaged frame cannot be told from a wrong key");
    }
    finding
}

const PAGE: &str = r"# root-key-unrelated
No claim's key, and nothing near one, authenticates the Join-Request.

## What is seen
At the server: wrong MIC. At the node: attempts without answer. DevEUI and
JoinEUI are right.

## Why it happens
The node has a key that nobody wrote down: an old one from before a change,
a random one made in the node, one of another customer's batch, or a key in
a secure element that was personalised elsewhere. Or the node builds its MIC
in a wrong way, so that no key can fit.

## How to be sure
List what was tried: each claim's keys; reversed; each digit; neighbours
swapped; other slots; session keys; keys of other nodes; published
samples; text as bytes. State the number. If all fail on frames with a good
CRC and 23 bytes, the key is none of these. That is all: no search can find
an unrelated 128-bit key.

The MIC itself may be built wrongly. Try the near ways: EUIs or DevNonce in
the other order inside the MIC input than in the frame, MHDR left out. A hit
there under the record's key clears the key and names the stack instead.

A single hit in a huge search over one frame is an accident waiting to be
believed: 40 million trials hit something with a probability near 1 %.

## What to do
1. Read the key out of the node, if it can be done safely, or look for the
   maker's delivery list.
2. Otherwise make a new random key and enter it on both sides.
3. In a new stack test the MIC with a known answer first.
4. Keep captured frames: a key found later can be checked on them.

## Example
For probe-02, 2 600 keys were tried on three requests (DevNonce 7, 8, 9),
none fits, in no order of the input. The probability that a fit was there and
missed are nil for these keys. The probe had been sold on, and its former
owner had changed the key.

## Source
LoRaWAN 1.0.4, p. 45; 1.0.3, p. 36; 1.1, 6.2.2.
";
