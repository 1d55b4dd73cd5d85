//! Cause `no-answer-from-the-server`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    intake::Speaker,
    ladder::{
        finding::Finding,
        join::{Case, Rung, answered},
        rung::State,
    },
    trace::Sighting,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::NoAnswerFromTheServer,
    what: "the request is good, both directions were captured, and no accept came",
    places: &[Place::Join(Rung::Answered)],
    kind: Kind::Residual,
    checks: &[Check::Join(check)],
    page: PAGE,
};

/// Evidence of one kind is told of this many requests.
const MOST_TOLD: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    let mut silent = answered::unanswered_run(case);
    // Rejoin-Requests are judged on the ladder of the session that they are made in.
    silent.retain(|(index, attempt)| {
        attempt.ask.join().is_some() && case.state(*index, Rung::Answered) == State::Broken
    });
    if silent.is_empty() || !answered::requests_are_good(case) {
        return None;
    }
    // A request that may never have reached the server is no reason to look for its answer there.
    let read = |seen: &Sighting| {
        let gateway = case.trace.gateways.get(&seen.gateway);
        gateway.is_none_or(|gateway| gateway.push.asked == 0 || gateway.is_read())
    };
    if !silent.iter().any(|(_, attempt)| attempt.heard.sightings().any(read)) {
        return None;
    }
    // After a join that worked one request without an answer is a lost datagram.
    let joined = case.last_join();
    if joined.is_some() && silent.len() < 2 {
        return None;
    }
    // Nobody owes a neighbour's node an answer.
    if case.entry.is_none() && !case.roster.nodes.is_empty() {
        return None;
    }
    let every = |rung| silent.iter().all(|(index, _)| case.state(*index, rung) == State::Proven);
    let checked = every(Rung::Authentic);
    let certainty = if silent.len() >= 2 && checked && every(Rung::Fresh) {
        Certainty::Likely
    } else {
        Certainty::Possible
    };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "{requests} went unanswered, though {checks}",
            requests = Value::count(silent.len(), "request"),
            checks = if checked {
                "identity, MIC and nonce are good as far as the roster shows"
            } else {
                "nothing wrong with them can be seen"
            }
        ),
        "look into the server's log at these times: is the node enabled, its record saved, its \
         JoinEUI served by this join server, its DevNonce taken?",
    );
    for (_, attempt) in silent.iter().take(MOST_TOLD) {
        finding.add(fact!(
            "{request}: DevNonce {dev_nonce}, no accept",
            request = *attempt,
            dev_nonce = attempt.nonce()
        ));
    }
    if let Some(attempt) = joined.and_then(|index| case.node.attempts.get(index)) {
        finding.add(fact!(
            "{request}: this request was answered, and the node joined",
            request = attempt
        ));
    }
    for line in case.record().into_iter().flat_map(|r| &r.log) {
        finding.add(fact!("server's log: {said}", said = line.clone()).said_by(Speaker::Server));
    }
    Some(finding)
}

const PAGE: &str = r"# no-answer-from-the-server
All that can be checked on the Join-Request is good, both directions are in
the capture, and no accept came.

## What is seen
At the node: attempts without answer. At the gateway: the request received,
forwarded and acknowledged; PULL_DATA acknowledged; no PULL_RESP for this
node. At the server: to be asked.

## Why it happens
The decision fell where no capture at the gateway can look: the server took
the DevNonce as not fresh, the join server was out of reach, the device is
disabled or registered in another tenant or region, the licence or the
airtime of the gateway was used up, or another gateway was chosen to answer.

## How to be sure
This is what remains, and it holds only if all these hold: MIC good under
the record's key; DevNonce fresh by the record's version; frequency and data
rate allowed; a path down that works (PULL_ACKs, or PULL_RESPs for other
nodes); no dropped part of the capture in the 7 s after the request; other
gateways that heard the node captured, too, or known not to exist.

If `stat` counts downlinks (dwnb) that the capture does not show, or a
TX_ACK stands without its PULL_RESP, a direction is missing and the verdict
is cannot-tell. Without the record the MIC is unchecked, and so is the
verdict. An accept for another node is not an answer: only opening it shows.

## What to do
1. Look at the server's log at the second of the request, in both network
   server and join server.
2. Compare DevEUI, JoinEUI, MAC version and DevNonce record there.
3. Ask which gateway was told to answer.
4. Send the operator the DevEUI, DevNonce, time and gateway EUI; not the
   key.

## Example
Probe-15 (1.0.4): DevNonces 118, 119, 120 at 10:00, 10:02, 10:06; last
accepted 117; all MICs hold; six PULL_ACKs in between, and an accept for
probe-03 at 10:04 that was taken and sent. For probe-15 nothing. The join
server had its device profile switched off.

## Source
LoRaWAN 1.0.4, p. 45-46; the gateway packet-forwarder protocol; a silent
refusal is common practice.
";
