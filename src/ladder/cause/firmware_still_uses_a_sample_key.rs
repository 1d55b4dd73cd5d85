//! Cause `firmware-still-uses-a-sample-key`.

use super::{Cause, CauseId, Check, Kind, Place, hits};
use crate::{
    explore::near_miss::sample,
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{self, Case},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::FirmwareStillUsesASampleKey,
    what: "the node signs with a published sample key",
    places: &[Place::Join(join::Rung::Authentic)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

const REMEDY: &str = "give the node a key of its own and enter the same on record; a published \
                      value protects nothing";

fn check(case: &Case<'_>) -> Option<Finding> {
    if let Some(hit) = hits::key_hit(case, CauseId::FirmwareStillUsesASampleKey) {
        return Some(hit.finding("the node signs with a value that anybody can guess", REMEDY));
    }
    on_both_sides(case)
}

/// The node has the same published value as its record: all works, and nothing is secret.
fn on_both_sides(case: &Case<'_>) -> Option<Finding> {
    let attempts = case.node.attempts.iter();
    let mut signed: Vec<_> = attempts
        .filter_map(|attempt| {
            let mut own = attempt.holds_under.iter().filter(|key| case.is_own(key));
            let found = own.find_map(|at| Some((*at, sample(at.resolve(case.roster)?.key())?)));
            found.map(|(at, value)| (attempt, at, value))
        })
        .collect();
    let (_, at, value) = *signed.first()?;
    signed.retain(|(_, other, _)| *other == at);
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "node and record have a key that anybody can guess, {value}: anyone who hears the node can \
             read and forge its frames",
            value = value.text()
        ),
        REMEDY,
    );
    let requests = Value::count(signed.len(), "request");
    let fact = fact!("the MIC of {requests} holds under {key}", requests, key = at);
    finding.add(signed.iter().fold(fact, |fact, (attempt, ..)| fact.at(*attempt)));
    finding.caution = true;
    Some(finding.matched_by_chance(1.0, signed.len()))
}

const PAGE: &str = r"# firmware-still-uses-a-sample-key
The node signs with a key that has been published as an example.

## What is seen
At the server: wrong MIC. At the node: attempts without answer. Or, if the
server has the same sample key, everything works, and anyone can read and
forge the node's frames.

## Why it happens
Example programs come with a key so that they compile. It was meant to be
replaced and was not, or a later update brought it back. Usual values: the
example key of FIPS 197 and RFC 4493, 00112233..., 000102..., one byte
sixteen times, all zero.

## How to be sure
Compute the MIC under each value on the list of published keys. With a list of
n keys one hit on one frame by accident has a probability of n in 4 294 967
296: for 20 keys 4.7e-9. Two frames settle it.

When the MIC holds under a sample value, that is a fault even where the
record agrees and the join succeeds; it is then a finding about security,
not the reason for a failed join. The search knows published values only: a
maker's own common key looks like any other. Do not print the key in a
report that leaves your hands without need, though this one is public
anyhow.

## What to do
1. Make a random key for each node and store it in the firmware's protected
   place.
2. Register the same key, then join again.
3. If data went out under the sample key, treat it as read by others.
4. Search the batch: the next nodes probably have it, too.

## Example
All six probes of the first orchard batch fail. The MIC of each holds under
the FIPS 197 key 2B7E1516 28AED2A6 ABF71588 09CF4F3C, the record has six
different random keys. The build took its key file from the examples folder.

## Source
FIPS 197; RFC 4493, section 4 (the published values); LoRaWAN 1.0.4, 6.1
(keys).
";
