//! Cause `multicast-counter-outside-the-range`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, groups},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::MulticastCounterOutsideTheRange,
    what: "the counter of a multicast group's frames is not among those that are valid",
    places: &[Place::Session(session::Rung::Fresh)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    groups::of(case, story).iter().find_map(|group| {
        let (first, end) = group.counters;
        let all = group.frames(case);
        let counted: Vec<_> = all.iter().filter_map(|sent| Some((sent, sent.fcnt()?))).collect();
        let outside = |fcnt: u32| !(first..end).contains(&fcnt);
        if !counted.last().is_some_and(|(_, fcnt)| outside(*fcnt)) {
            return None;
        }
        let own: Vec<_> = counted.iter().filter(|(_, fcnt)| outside(*fcnt)).collect();
        let mut finding = Finding::new(
            Certainty::Certain,
            fact!(
                "{frames} for multicast group {group} (McAddr {mc_addr}) count {fcnt}; valid are \
                 {min_mc_fcnt} and above, below {max_mc_fcnt}",
                frames = Value::count(own.len(), "frame"),
                group = group.id,
                mc_addr = group.addr,
                fcnt = own.last().map_or(0, |(_, fcnt)| *fcnt),
                min_mc_fcnt = first,
                max_mc_fcnt = end
            ),
            "set up the group again, with a new McKey and counters that leave room",
        );
        finding.add(fact!(
            "{request}: McGroupSetupReq, minMcFCnt {min_mc_fcnt}, maxMcFCnt {max_mc_fcnt}",
            request = group.asked.cite(story),
            min_mc_fcnt = first,
            max_mc_fcnt = end
        ));
        for (sent, fcnt) in own.iter().take(4) {
            finding.add(fact!("{downlink}: FCnt {fcnt}", downlink = sent.cite(), fcnt = *fcnt));
        }
        Some(finding.matched_by_chance(groups::TRIED, own.len()))
    })
}

const PAGE: &str = r"# multicast-counter-outside-the-range
The counter of a group's frames is below minMcFCnt, or at or above
maxMcFCnt.

## What is seen
At the server: frames sent to the group. At the nodes: dropped, since the
counter is not valid.

## Why it happens
The life of a group is bounded: its counters run out. Or the server began to
count at 0 though the group was made with a higher minMcFCnt.

## How to be sure
McGroupSetupReq has both bounds. The MIC of the frames holds under the
group's McNwkSKey with a counter outside them. That counter is computed, not
read: all 32 bits of it are in the MIC.

## What to do
1. Set up the group again: new key, new bounds.
2. Let the server count from minMcFCnt.

## Example
minMcFCnt 0, maxMcFCnt 100. Frames with the counters 100 to 103 hold under
the group's key, and no probe takes them.

## Source
TS005-2.0.0, p. 11.
";
