//! Cause `payload-encrypted-by-another-rule`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    explore::misreading::{self, Criterion, PayloadCase},
    fact::{Certainty, Value, fact},
    frame::DataFrame,
    ladder::{
        finding::Finding,
        join::proven,
        session::{self, Case, Story, payloads},
    },
    trace::Origin,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::PayloadEncryptedByAnotherRule,
    what: "the payload reads under a misread cipher only",
    places: &[Place::Session(session::Rung::Readable)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// Bytes of text that noise does not make by accident.
const TELLING_TEXT: usize = 12;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let Origin::Accept { attempt, .. } = story.session.origin else { return None };
    let frames: Vec<(&DataFrame, u32)> =
        payloads::of(story).into_iter().map(|seen| (seen.data.frame(), seen.held.fcnt)).collect();
    let octets: usize =
        frames.iter().filter_map(|(frame, _)| frame.payload.as_ref()).map(|p| p.frm.len()).sum();
    if octets < TELLING_TEXT {
        return None;
    }
    let attempt = case.node.attempts.get(attempt)?;
    let criterion = Criterion::PrintableAscii;
    let found = proven::derived::as_case(case, attempt, story.session, &frames, |session| {
        let answer = misreading::explore_payload(&PayloadCase {
            session: *session,
            at_hand: None,
            criterion,
        });
        answer.findings().first().cloned()
    })?;
    if found.first_family() != Some(misreading::Family::PayloadCipher) {
        return None;
    }
    let what: Vec<&'static str> = found.mistakes.iter().map(|row| row.what).collect();
    let mut finding = Finding::new(
        Certainty::of_probability(found.odds),
        fact!(
            "the MIC holds, and the payload reads only if the node {what}",
            what = Value::List(what.into_iter().map(Value::from).collect(), ", and ")
        ),
        "fix the encryption of FRMPayload on the node: the key stream of AppSKey, blocks A_i from i = 1, \
         the full counter",
    )
    .and(fact!("the criterion: {criterion}", criterion = criterion.name()));
    for row in &found.mistakes {
        finding.add(fact!("the standard: {standard}", standard = row.standard));
    }
    finding.add(fact!(
        "it holds for {payloads}",
        payloads = Value::Count(found.held as u64, "payload")
    ));
    finding.false_match = Some(found.odds);
    Some(finding)
}

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
Decrypt every payload in each of these ways and look for a criterion that can
be named: printable ASCII to the last byte, or the known text of one frame.
The probability that noise meets it are shown; without a criterion nothing can
be told, whatever a payload looks like.

If the derived AppSKey reads the payloads and the record's does not, the
cause is application-key-out-of-step.

## What to do
1. Fix the encryption on the node: FRMPayload xor E(AppSKey, A_i), i from
   1, with the full 32-bit counter.
2. Until then tell the application not to trust the values.

## Example
probe-30 sends "moist=41" in clear on port 2. The MIC holds, since it covers
what was sent; the server decrypts what was never encrypted.

## Source
LoRaWAN 1.0.4, p. 24; LoRaWAN 1.1, 4.3.3.
"#;
