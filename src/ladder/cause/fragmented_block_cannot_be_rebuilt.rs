//! Cause `fragmented-block-cannot-be-rebuilt`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{
            self, Case, Story,
            fragments::{self, Block},
            reach,
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::FragmentedBlockCannotBeRebuilt,
    what: "a block of data ended, and what was sent of it does not rebuild it",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// The server is done where nothing comes for so many times the time between two fragments.
const QUIET: i64 = 3;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    fragments::of(case, story).iter().rev().find_map(|block| of(case, story, block))
}

fn of(case: &Case<'_>, story: &Story<'_>, block: &Block<'_>) -> Option<Finding> {
    let closed = block.closed?;
    let last = block.fragments.last()?;
    if block.answer.is_some_and(|answer| !answer.errors().is_empty()) {
        return None;
    }
    // The node's own word after the last fragment.
    let status = block.status.filter(|status| status.line > last.line);
    let missing = status.map(|status| status.number("MissingFrag"));
    let lacks = block.solve(block.rows).map(|solution| solution.lacks);
    let wrong_sum = status.is_some_and(|status| status.command.flag("MICError") == Some(true));
    if missing == Some(0) || wrong_sum {
        return None;
    }
    let certainty = match (block.deleted, missing, lacks) {
        (Some(_), Some(_), _) => Certainty::Certain,
        (None, Some(_), _) if is_over(case, story, block, closed.place) => Certainty::Certain,
        (Some(_), None, Some(1..)) => Certainty::Likely,
        _ => return None,
    };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "the block of FragIndex {frag_index} has {nb_frag} fragments; {sent} were sent, and the node \
             cannot rebuild it",
            frag_index = block.index,
            nb_frag = block.count,
            sent = block.fragments.len()
        ),
        "send more coded fragments: as many as the share that nodes lose, and some more",
    );
    finding.add(fact!(
        "{request}: {command}",
        request = block.asked.cite(story),
        command = Value::Command(Box::new(block.asked.command.clone()))
    ));
    if let (Some(status), Some(missing)) = (status, missing) {
        finding.add(fact!(
            "{answer}: {received} received, {missing} missing",
            answer = status.cite(story),
            received = status.number("NbFragReceived"),
            missing
        ));
    }
    if let Some(lacks @ 1..) = lacks {
        finding.add(fact!(
            "a node that got all that was sent still lacks {lacks}: the rows do not give more",
            lacks
        ));
    }
    finding.add(fact!(
        "{downlink}: the last fragment; {closed}: {command} after it",
        downlink = last.cite.clone(),
        closed = closed.cite(story),
        command = closed.command.name()
    ));
    Some(finding)
}

/// Whether the capture goes on long enough after the question how it stands for another fragment.
fn is_over(case: &Case<'_>, story: &Story<'_>, block: &Block<'_>, place: usize) -> bool {
    let times: Vec<i64> = block.fragments.iter().filter_map(|fragment| fragment.at_us).collect();
    let mut gaps: Vec<i64> = times
        .windows(2)
        .filter_map(|pair| match pair {
            [a, b] => Some(b - a),
            _ => None,
        })
        .collect();
    gaps.sort_unstable();
    let usual = gaps.get(gaps.len() / 2).copied();
    usual.is_some_and(|usual| reach::goes_on_us(case, story, place) > usual.saturating_mul(QUIET))
}

const PAGE: &str = r"# fragmented-block-cannot-be-rebuilt
A block of data ended, and what the node received does not rebuild it.

## What is seen
At the server: all fragments sent. At the node: no image, no file;
FragSessionStatusAns reports missing fragments.

## Why it happens
Frames are lost. Coded fragments beyond NbFrag make up for them, each for
one that is missing, if its row brings something new. Too few were sent, or
the node's receiver was off for a while.

## How to be sure
The server asked for its state, or deleted the session, and sends nothing
more; the node's answer after that has MissingFrag above 0. From the numbers
of the fragments that were sent the rows follow: their rank says whether any
node could rebuild the block.

While fragments still come, nothing is lost.

## What to do
1. Send more coded fragments in the same session.
2. Plan with the loss of the worst node.
3. If the rank is full and one node lacks many, look at its reception.

## Example
NbFrag is 20. 18 fragments and one coded one are sent, then
FragSessionDeleteReq. The node said: MissingFrag 1.

## Source
TS004-2.0.0, p. 9-17 and p. 31-32.
";
