//! Cause `multicast-keys-differ`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, groups},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::MulticastKeysDiffer,
    what: "frames for a multicast group are not signed with the key that the node was given",
    places: &[Place::Session(session::Rung::Received)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many decide.
const DECIDE: usize = 2;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    groups::of(case, story).iter().find_map(|group| {
        // AppKey in the place of GenAppKey is a guess, which proves nothing when it fails.
        if !group.has_stated_keys() {
            return None;
        }
        let all = group.frames(case);
        if all.is_empty() || all.iter().any(|sent| sent.fcnt().is_some()) {
            return None;
        }
        let sure = all.len() >= DECIDE;
        let mut finding = Finding::new(
            if sure { Certainty::Certain } else { Certainty::Likely },
            fact!(
                "{frames} carry the McAddr {mc_addr} of multicast group {group}, and no MIC holds under \
                 the key that the node was given for it",
                frames = Value::count(all.len(), "frame"),
                mc_addr = group.addr,
                group = group.id
            ),
            "set up the group again, so that the server and all its nodes have one McKey",
        );
        finding.add(fact!(
            "{request}: McGroupSetupReq with the group's McKey; the node took it",
            request = group.asked.cite(story)
        ));
        for sent in all.iter().take(4) {
            finding.add(fact!("{downlink}: the MIC fails", downlink = sent.cite()));
        }
        Some(finding)
    })
}

const PAGE: &str = r"# multicast-keys-differ
The frames of a multicast group are signed with another key than the node
was given.

## What is seen
At the server: frames sent to the group. At the node: dropped, MIC wrong.
Other nodes of the group may receive them.

## Why it happens
The group's key was renewed in the server and not in this node; or McKey was
encrypted for another node, or under another root key.

## How to be sure
The root is GenAppKey (1.0.x) or AppKey (1.1). It makes McKEKey; with it
McKey_encrypted of the last McGroupSetupReq makes McKey, and McKey makes
McNwkSKey. Under that no frame of the group's address holds, with any
counter that is valid.

If no GenAppKey is stated this cannot be computed: AppKey is only a guess
for it.

## What to do
1. Set up the group again on this node.
2. Compare GenAppKey in the node and on the server.

## Example
probe-22 takes a group with McAddr 11A10002. Three frames to it fail under
its McNwkSKey; probe-23, set up a day later, takes them.

## Source
TS005-2.0.0, p. 10-11.
";
