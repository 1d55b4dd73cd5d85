//! Cause `multicast-to-another-address`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, groups},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::MulticastToAnotherAddress,
    what: "frames are signed with a multicast group's key and carry another address",
    places: &[Place::Session(session::Rung::Received)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    groups::of(case, story).iter().find_map(|group| {
        let own = group.misaddressed(case);
        let first = own.first()?;
        let mut finding = Finding::new(
            Certainty::Certain,
            fact!(
                "{frames} carry DevAddr {other_dev_addr} and are signed with the key of multicast group \
                 {group}, whose McAddr is {mc_addr}",
                frames = Value::count(own.len(), "frame"),
                other_dev_addr = first.frame.dev_addr,
                group = group.id,
                mc_addr = group.addr
            ),
            "set the group's McAddr in the server to that of its McGroupSetupReq, or set up the group \
             again with the address that is used",
        );
        finding.add(fact!(
            "{request}: McGroupSetupReq, McAddr {mc_addr}; the node took it",
            request = group.asked.cite(story),
            mc_addr = group.addr
        ));
        for sent in own.iter().take(4) {
            finding.add(fact!(
                "{downlink}: DevAddr {other_dev_addr}, FCnt {fcnt}; the MIC holds under the group's \
                 McNwkSKey",
                downlink = sent.cite(),
                other_dev_addr = sent.frame.dev_addr,
                fcnt = sent.fcnt().unwrap_or_default()
            ));
        }
        Some(finding.matched_by_chance(groups::TRIED, own.len()))
    })
}

const PAGE: &str = r"# multicast-to-another-address
Frames for a multicast group carry an address that the group does not have.

## What is seen
At the server: frames sent to the group. At the gateway: taken and sent. At
the nodes: dropped, since the address is none of theirs.

## Why it happens
The group has one address in McGroupSetupReq and another in the server's
table: a digit typed wrong, a byte order turned round, or two groups mixed
up.

## How to be sure
Compute the group's McNwkSKey from McKey_encrypted. The MIC of the frames
holds under it with the address as sent, and McGroupSetupReq has another
McAddr, which the node took.

A group that was set up again may have a new address: the last one that the
node took counts.

## What to do
1. Correct the group's address in the server, or
2. set up the group again with the address that is used.

## Example
McGroupSetupReq gives probe-21 the McAddr 11A10001. Four frames to 11A10011
hold under the group's key.

## Source
TS005-2.0.0, p. 10-12.
";
