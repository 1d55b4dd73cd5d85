//! Cause `fragmentation-session-refused`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, fragments},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::FragmentationSessionRefused,
    what: "the node refuses a block of data, and its fragments are sent all the same",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    fragments::of(case, story).iter().rev().find_map(|block| {
        let answer = block.answer.filter(|answer| !answer.errors().is_empty())?;
        let own: Vec<_> =
            block.fragments.iter().filter(|fragment| fragment.line > answer.line).collect();
        let first = own.first()?;
        let mut finding = Finding::new(
            Certainty::Certain,
            fact!(
                "the node refuses the block of FragIndex {frag_index}: {errors}; {fragments} are sent all \
                 the same",
                frag_index = block.index,
                errors = Value::list(answer.errors()),
                fragments = Value::count(own.len(), "fragment")
            ),
            "correct what the bit names, set up the session again, and send when the node has taken it",
        );
        finding.add(fact!(
            "{request}: {command}",
            request = block.asked.cite(story),
            command = Value::Command(Box::new(block.asked.command.clone()))
        ));
        finding.add(fact!(
            "{answer}: {errors}",
            answer = answer.cite(story),
            errors = Value::list(answer.errors())
        ));
        finding.add(fact!("{downlink}: the first fragment after it", downlink = first.cite.clone()));
        Some(finding)
    })
}

const PAGE: &str = r"# fragmentation-session-refused
The node refuses to take a block in fragments, and the server sends them all
the same.

## What is seen
At the server: all fragments sent, no block received. At the node: it said
why, and drops them.

## Why it happens
FragSessionSetupAns has a bit for each reason: no memory for the block, an
index or an algorithm that the node does not have, a descriptor that it does
not expect, a SessionCnt that was used.

## How to be sure
The answer to the last setup has one of the bits, and fragments of that
FragIndex come after it.

## What to do
1. NotEnoughMemory: a smaller block, or fewer redundant fragments.
2. WrongDescriptor: the image is for another node or hardware.
3. SessionCntReplay: count on.
4. Set up the session again, and wait for its answer.

## Example
FragSessionSetupReq: 200 fragments of 50 bytes. The answer: NotEnoughMemory.
240 fragments follow.

## Source
TS004-2.0.0, p. 11-14.
";
