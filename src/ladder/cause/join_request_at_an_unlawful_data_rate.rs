//! Cause `join-request-at-an-unlawful-data-rate`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        join::{
            self, Case,
            on_plan::{heard_at, heard_fact},
        },
    },
    region::JoinFit,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::JoinRequestAtAnUnlawfulDataRate,
    what: "the data rate is not one that a join may use on this channel",
    places: &[Place::Join(join::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

/// Requests that are quoted.
const QUOTED: usize = 4;

fn check(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let wrong: Vec<_> = heard_at(case)
        .filter_map(|(attempt, hz, m)| match plan.join_fit(hz, m) {
            JoinFit::WrongRate { channel } | JoinFit::NotAJoinChannel { channel } => {
                Some((attempt, hz, m, channel))
            }
            _ => None,
        })
        .collect();
    let (_, _, data_rate, channel) = *wrong.first()?;
    // A server that answers takes it all the same.
    if wrong.iter().any(|(attempt, ..)| !attempt.answers.is_empty()) {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "the node asks at {data_rate} in channel {channel}; {region} does not allow a join there",
            data_rate,
            channel,
            region = plan.name
        ),
        "compare the regional revision of the node's stack with the server's: join data rates \
         changed between revisions (AU915 among them)",
    );
    for (attempt, hz, data_rate, _) in wrong.iter().take(QUOTED) {
        finding.add(heard_fact(attempt, *hz, *data_rate));
    }
    Some(finding)
}

const PAGE: &str = r#"# join-request-at-an-unlawful-data-rate
The Join-Request came on a join channel, but at a data rate that a join may
not use there.

## What is seen
At the gateway: a good reception on a join frequency, at an unusual
spreading factor or bandwidth. At the server: a complaint about the data
rate, or silence; some servers answer all the same, at an RX1 data rate that
node and server may count differently. At the node: attempts without answer.

## Why it happens
The join data rates are part of the regional plan. US915 allows DR0
(SF10/125 kHz) on channels 0 to 63 and DR4 (SF8/500 kHz) on 64 to 71. AU915
has DR2 (SF10/125) and DR6 (SF8/500). AS923 allows DR2 to DR5, EU868 DR0 to
DR5. Firmware that keeps the last ADR rate for the join, or counts by
another region or revision, breaks the rule: AU915 uplink numbers moved by
two with 1.0.2 revision B.

## How to be sure
Compare spreading factor and bandwidth, not DR numbers. Then look at the
revision in the node's record: AU915 nodes of 1.0.2 revision B join at DR0
(SF12/125), allowed for them and not allowed from 1.0.3 on. AS923 nodes up
to 1.0.2 revision B join at DR2 only. Without the revision say "not allowed
under the plan named", no more.

A time on air above a dwell limit is a second sign: 23 bytes take 1.483 s
at SF12/125, far above 400 ms, and 0.371 s at SF10/125. If the node is
answered all the same, this is not what keeps it out.

## What to do
1. Set the join data rate in the firmware by the plan of its region and
   revision; do not carry the ADR rate over into a join.
2. Register the node's true regional parameters revision.
3. Where a dwell limit holds, stop transmitting above it; local rules
   decide.

## Example
US915. Probe-11 is heard three times at 904.3 MHz, SF7/125 kHz, which is
DR3. The frequency is channel 10, a join channel, but only DR0 (SF10) is
allowed there for a join. Its log shows "DR 3 (stored)". With the stored
rate ignored it joins at SF10.

## Source
RP002-1.0.1, 2.5.2 (US915), 2.8.2 (AU915), 2.10 Table 60 (AS923), 2.4
(EU868); Regional Parameters 1.0.2 revision B, 2.5.2.
"#;
