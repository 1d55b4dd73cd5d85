//! Cause `acknowledgements-for-other-tokens`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        gateway::{Answers, Case, Rule, Rung},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcknowledgementsForOtherTokens,
    what: "acknowledgements carry another token than their datagram",
    places: &[Place::Gateway(Rung::UplinkAcknowledged), Place::Gateway(Rung::DownlinkOpen)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let odd = [&case.up, &case.down].into_iter().find_map(|answers| match answers {
        Answers::OtherTokens(rule, tokens) => Some((*rule, *tokens)),
        _ => None,
    });
    let (rule, _) = odd?;
    let heard = case.heard?;
    let answers = match rule {
        Rule::Before => heard.push.behind + heard.pull.behind,
        _ => heard.push.other_tokens.answers + heard.pull.other_tokens.answers,
    };
    let certainty = if answers >= CERTAIN { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "the acknowledgements to {gateway} carry {rule}: it takes none of them",
            gateway = case.title(),
            rule = rule.words()
        ),
        "fix what is between gateway and server (a bridge, or an own server): an acknowledgement carries the two \
         bytes of its datagram's token as they are",
    );
    finding.add(fact!("{answers} answers so, each soon after a datagram", answers));
    for flow in [&heard.push, &heard.pull] {
        if let Some((asked, sent, answered, got)) = flow.other_tokens.first {
            finding.add(fact!(
                "{asked}: token {token}; {answered}: token {answer}",
                asked,
                token = format!("{:04x}", sent.unwrap_or_default()),
                answered,
                answer = format!("{:04x}", got.unwrap_or_default())
            ));
        }
    }
    let (_, none) = case.figures.acknowledged;
    if none > 0 {
        finding.add(fact!("its own statistics say ackr 0.0 in {none} reports", none));
    }
    Some(finding)
}

/// Answers by which one rule for all leaves no doubt: a token has 16 bits.
const CERTAIN: u64 = 10;

const PAGE: &str = r"# acknowledgements-for-other-tokens
An answer follows each datagram, and it carries another token than the
datagram.

## What is seen
At the gateway: ackr 0.0, though answers come. In the capture: a PUSH_ACK a
few milliseconds after each PUSH_DATA, with a token that no datagram had. At
the server: all is well, frames arrive. Some gateways stop after a number of
PULL_DATA without an answer.

## Why it happens
A bridge or a server of somebody's own puts the token together in its own way:
with its two bytes swapped, always zero, counted up, or kept from the datagram
before.

## How to be sure
One rule makes the token of each answer of the token of its datagram, for ten
or more. A gateway that uses one token for all is not this: the answers carry
it, too. Acknowledgements out of order are not this: each token is that of
some datagram.

## What to do
1. Correct the program that answers: copy bytes 1 and 2 of the datagram.
2. Compare tokens as raw bytes. They are not a number.

## Example
The datagram has token 3a7f, the answer 7f3a, and so on for all of 60. The
bridge reads the token as a little-endian number and writes it as a big-endian
one.

## Source
The gateway packet-forwarder protocol, sections 3 to 6 (the token is opaque).
";
