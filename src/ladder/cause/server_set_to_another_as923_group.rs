//! Cause `server-set-to-another-as923-group`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            missed::{self, Astray},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ServerSetToAnotherAs923Group,
    what: "the accept's frequency is that of another AS923 group",
    places: &[Place::Join(join::Rung::Timely)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let wrong = missed::frequency(case, None, |why| matches!(why, Astray::Group(..)));
    let &(attempt, answer, (got, _)) = wrong.first()?;
    let (group, offset) = missed::other_group(plan, attempt, answer)?;
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the accept goes out on {frequency}, {offset} where {region} has its window: the server \
             follows {group}",
            frequency = Value::Frequency(got),
            offset = Value::Offset(offset),
            region = plan.name,
            group = group.name
        ),
        fact!(
            "set the server's region to {region}, as node and gateway have it",
            region = plan.name
        ),
    );
    missed::tell_frequencies(&mut finding, &wrong);
    Some(finding)
}

const PAGE: &str = r#"# server-set-to-another-as923-group
The accept's frequency is that of another AS923 group than the node's.

## What is seen
At the gateway: requests on the join channels of one group, accepts by a
constant distance away. At the server: accept sent. At the node: windows
empty.

## Why it happens
AS923 is one plan with four offsets: group 1 at 0, group 2 at -1.80, group 3
at -6.60, group 4 at -5.90 MHz. Join channels, RX2, beacon and ping slot
move with the offset; frequencies in CFList and MAC commands are absolute
and do not. Server, gateway and node must be set to the same group, and
"AS923" alone means group 1.

## How to be sure
The request's frequency gives the node's group: 923.2/923.4 (1), 921.4/921.6
(2), 916.6/916.8 (3), 917.3/917.5 MHz (4). The accept's RX2 frequency gives
the server's: 923.2, 921.4, 916.6, 917.3 MHz. If they differ by exactly the
distance of two groups, in every accept, it is this.

RX1 in AS923 is the request's own frequency, so a server that copies it is
right in RX1 by accident and wrong in RX2 only; the node then joins now and
then. A CFList with frequencies of another group is a fault of the same
setting. An offset of a few hertz is reporting.

## What to do
1. Find the group that is allowed where the nodes stand; it goes by country.
2. Set node, gateway and server to it.
3. Check the CFList for absolute frequencies of that group's band.
4. Do not transmit in a group that is not allowed there.

## Example
Orchard in a group 3 country. Probe-04 asks at 916.8 MHz SF10. The accept at
6 s is on 923.2 MHz: 923.2 - 916.6 = 6.6 MHz above the RX2 of group 3. The
server's profile says "AS923".

## Source
RP002-1.0.1, 2.10, 2.10.4 (CFList) and 2.10.9 (groups 1 to 3); group 4:
later revisions.
"#;
