//! Cause `two-nodes-share-one-identity`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Cite, Fact, Value, fact},
    ladder::{
        finding::Finding,
        join::{self, Case},
    },
    trace::{Attempt, Session, Transmission},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::TwoNodesShareOneIdentity,
    what: "two nodes send under one DevEUI",
    places: &[Place::Join(join::Rung::Identified)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    shared_sessions(case).or_else(|| shared_requests(case))
}

const REMEDY: &str = "give each node an identity (DevEUI and root keys) of its own";

/// The uplinks of a session: which came first, which last, how many.
struct Span<'a> {
    session: &'a Session,
    first: &'a Transmission,
    last: &'a Transmission,
    uplinks: usize,
}

impl<'a> Span<'a> {
    fn of(session: &'a Session) -> Option<Self> {
        let mut uplinks = session.uplinks().map(|(_, heard)| heard);
        let first = uplinks.next()?;
        let last = session.uplinks().last()?.1;
        Some(Self { session, first, last, uplinks: uplinks.count() + 1 })
    }

    fn is_woven_with(&self, other: &Self) -> bool {
        let line = |heard: &Transmission| heard.first().line;
        line(self.last) > line(other.first) && line(other.last) > line(self.first)
    }

    fn fact(&self) -> Fact {
        fact!(
            "DevAddr {dev_addr}: {uplinks}, {first} to {last}",
            dev_addr = self.session.dev_addr,
            uplinks = Value::count(self.uplinks, "uplink"),
            first = Cite::from(self.first.first()).with_time(),
            last = Cite::from(self.last.first()).with_time()
        )
    }

    fn mean_rssi(&self) -> Option<f32> {
        let all: Vec<f32> =
            self.session.uplinks().filter_map(|(_, heard)| heard.best().rssi).collect();
        mean(&all)
    }
}

/// Two sessions of one identity that both go on: a node that takes an accept leaves its old
/// session for good.
fn shared_sessions(case: &Case<'_>) -> Option<Finding> {
    let spans: Vec<_> = case.node.sessions.iter().filter_map(Span::of).collect();
    for (i, a) in spans.iter().enumerate() {
        for b in spans.iter().skip(i + 1) {
            let uplinks = a.uplinks + b.uplinks;
            if !a.is_woven_with(b) || a.session.dev_addr == b.session.dev_addr || uplinks < 3 {
                continue;
            }
            let mut finding = Finding::new(
                Certainty::Certain,
                fact!(
                    "two sessions of one DevEUI go on side by side, {dev_addr} and \
                     {other_dev_addr}: two nodes share the identity",
                    dev_addr = a.session.dev_addr,
                    other_dev_addr = b.session.dev_addr
                ),
                REMEDY,
            );
            finding.add(a.fact());
            finding.add(b.fact());
            if let (Some(x), Some(y)) = (a.mean_rssi(), b.mean_rssi()) {
                finding.add(fact!(
                    "mean RSSI {rssi} and {other_rssi}",
                    rssi = Value::dbm(x.round()),
                    other_rssi = Value::dbm(y.round())
                ));
            }
            return Some(finding.matched_by_chance(1.0, uplinks.min(8)));
        }
    }
    None
}

fn mean(all: &[f32]) -> Option<f32> {
    #[expect(clippy::cast_precision_loss, reason = "a mean of decibels")]
    (!all.is_empty()).then(|| all.iter().sum::<f32>() / all.len() as f32)
}

/// A request with its strength.
struct Seen<'a> {
    rssi: f32,
    nonce: u16,
    attempt: &'a Attempt,
}

/// Two heaps this far apart, dB, are not one node's fading.
const APART_DB: f32 = 15.0;
/// One node that stays in its place varies by less than this, dB.
const SPREAD_DB: f32 = 8.0;

/// Requests of one identity whose strength falls into two heaps that take turns, each heap with
/// nonces that count on by themselves.
fn shared_requests(case: &Case<'_>) -> Option<Finding> {
    let seen: Vec<Seen<'_>> = case
        .node
        .attempts
        .iter()
        .filter_map(|attempt| {
            Some(Seen { rssi: attempt.heard.best().rssi?, nonce: attempt.nonce(), attempt })
        })
        .collect();
    if seen.len() < 4 {
        return None;
    }
    let low = seen.iter().map(|s| s.rssi).fold(f32::MAX, f32::min);
    let high = seen.iter().map(|s| s.rssi).fold(f32::MIN, f32::max);
    if high - low < APART_DB {
        return None;
    }
    let middle = low.midpoint(high);
    let heap = |above: bool| -> Vec<&Seen<'_>> {
        seen.iter().filter(|s| (s.rssi > middle) == above).collect()
    };
    let (near, far) = (heap(true), heap(false));
    let turns = seen
        .windows(2)
        .filter(|w| matches!(w, [a, b] if (a.rssi > middle) != (b.rssi > middle)))
        .count();
    if turns < 2 || ![&near, &far].iter().all(|heap| counts_on(heap) && is_tight(heap)) {
        return None;
    }
    let far_apart = near.iter().all(|n| far.iter().all(|f| n.nonce.abs_diff(f.nonce) > 8));
    if !far_apart {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Likely,
        "requests of one DevEUI come in two strengths, each with DevNonces that count on by \
         themselves: two nodes share the identity",
        REMEDY,
    );
    for (heap, name) in [(&near, "stronger"), (&far, "weaker")] {
        let strength: Vec<f32> = heap.iter().map(|s| s.rssi).collect();
        let mut fact = fact!(
            "the {name}: {rssi}, DevNonce {dev_nonces}",
            name,
            rssi = Value::dbm(mean(&strength).unwrap_or_default().round()),
            dev_nonces = Value::list(heap.iter().map(|s| s.nonce))
        );
        for seen in heap {
            fact = fact.at(seen.attempt);
        }
        finding.add(fact);
    }
    Some(finding)
}

fn counts_on(heap: &[&Seen<'_>]) -> bool {
    let step =
        |w: &[&Seen<'_>]| matches!(w, [a, b] if (1..=4).contains(&b.nonce.wrapping_sub(a.nonce)));
    heap.len() >= 2 && heap.windows(2).all(step)
}

fn is_tight(heap: &[&Seen<'_>]) -> bool {
    let all = || heap.iter().map(|s| s.rssi);
    all().fold(f32::MIN, f32::max) - all().fold(f32::MAX, f32::min) < SPREAD_DB
}

const PAGE: &str = r"# two-nodes-share-one-identity
Two nodes send under one DevEUI.

## What is seen
At the server: the node joins again and again, or its counter jumps to and
fro, or its values alternate between two places. At the gateway: signal
levels of one DevEUI in two groups. At the nodes: each works for a while,
then falls silent, because the other one's join has replaced its session.

## Why it happens
An image of one programmed node was copied to another; a replaced node was
repaired and put back; or the same label was used twice. With the same
DevEUI and key both are genuine to the server. In a version with counting
DevNonces the one whose counter is behind is refused; with random ones each
join displaces the other.

## How to be sure
Look for what one node cannot do: two sessions whose data both authenticate
and whose FCnt both count on, interleaved in time; or DevNonce values in two
separate rising rows; or two transmissions of the same DevEUI that overlap
in time on the air. Signal levels support it: with several gateways the
nodes form two clusters.

Look-alikes. One node that joins again leaves its old session: the old
counter stops, it does not count on. One transmission heard by two gateways
has equal bytes. A ghost copy has equal bytes on another channel. A node
that is carried about changes its level, but keeps one counter. With one
session at a time and one gateway the finding is at most possible.

## What to do
1. Switch one node off and see whether the other is then well.
2. Give each node its own DevEUI and its own key; register both.
3. Treat the shared key as known to anyone who had the image, and replace it.
4. Find the step that copied the identity; check the complete batch.

## Example
DevEUI 02-00-00-FF-FE-0C-21-09 joins at 06:00 (DevAddr 020C2109) and at
06:07 (020C4410). From then on the frames of 020C2109 count 5, 6, 7 at
-71 dBm and those of 020C4410 count 0, 1, 2 at -104 dBm, minute by minute,
and all MICs hold under the keys of their own session. Two probes were
flashed from one image.

## Source
LoRaWAN 1.0.4, p. 45-46 (DevEUI, DevNonce); LoRaWAN 1.0.3, p. 35 (old
session kept until the first uplink under the new one).
";
