//! Cause `fragment-parity-of-another-version`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{
            self, Case, Story,
            fragments::{self, Block},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::FragmentParityOfAnotherVersion,
    what: "coded fragments are made by the rows of another version of the package",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many octets do not agree by chance.
const TELLING: usize = 4;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    fragments::of(case, story).iter().rev().find_map(|block| of(story, block))
}

fn of(story: &Story<'_>, block: &Block<'_>) -> Option<Finding> {
    let own = block.solve(block.rows)?;
    let other = block.solve(block.rows.other())?;
    let octets = block.fragments.first()?.octets.len().saturating_mul(other.agree);
    // A damaged fragment agrees by neither version.
    if own.contradict.is_empty() || !other.contradict.is_empty() || octets < TELLING {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the coded fragments of FragIndex {frag_index} are made by the rows of version \
             {other_version}; the session is of version {version}, and the node rebuilds something else",
            frag_index = block.index,
            other_version = block.rows.other().name(),
            version = block.rows.name()
        ),
        "make coded fragments by the version of the node's package: ask with PackageVersionReq",
    );
    finding.add(fact!(
        "{request}: {command}",
        request = block.asked.cite(story),
        command = Value::Command(Box::new(block.asked.command.clone()))
    ));
    finding.add(fact!(
        "by version {other_version} {checks} that bring nothing new agree with the rest",
        other_version = block.rows.other().name(),
        checks = Value::count(other.agree, "coded fragment")
    ));
    for coded in own.contradict.iter().take(4) {
        finding.add(fact!(
            "{downlink}: N {n} does not agree by version {version}",
            downlink = coded.cite.clone(),
            n = coded.n,
            version = block.rows.name()
        ));
    }
    if let Some(status) = block.status
        && status.command.flag("MICError") == Some(true)
    {
        finding.add(fact!("{answer}: the node reports MICError", answer = status.cite(story)));
    }
    let bits = -8.0 * f64::from(u32::try_from(octets.min(64)).unwrap_or(64));
    finding.false_match = Some(bits.exp2());
    Some(finding)
}

const PAGE: &str = r"# fragment-parity-of-another-version
The sender makes coded fragments by another version of the package than the
node uses.

## What is seen
At the server: all fragments sent. At the node: it has enough of them, and
the block is garbage: FragSessionStatusAns says MICError, or the image is
refused. Nodes that lose nothing are well.

## Why it happens
Version 1 and version 2 choose the rows of coded fragments in nearly the same
way. In version 2 a bit that is drawn twice counts once, and another is
drawn. About half of all rows differ.

## How to be sure
The setup's length shows the session's version: 10 bytes in 1, 16 in 2. A
coded fragment is the sum of the fragments in its row. Solve the missing ones
out of the coded ones by both versions: those left over agree by the other
version, and not by the session's. A damaged fragment agrees by neither.

Rows that are the same in both versions show nothing.

## What to do
1. Ask with PackageVersionReq, and set the sender to that version.
2. Send the block again.

## Example
NbFrag 10. The coded fragment N 11 is the sum of fragments 3 and 6: the row of
version 1. The node, of version 2, takes it for the sum of 2, 3, 4, 6 and 10.

## Source
TS004-2.0.0, p. 31-32; the draw of 1.0.0 from device stacks.
";
