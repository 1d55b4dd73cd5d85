//! Cause `uplink-at-a-rate-the-channel-does-not-allow`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, on_plan::frames},
    },
    radio::Modulation,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::UplinkAtARateTheChannelDoesNotAllow,
    what: "uplinks have a data rate that their channel, or the plan, does not have",
    places: &[Place::Session(session::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many uplinks decide.
const DECIDE: usize = 3;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let plan = story.plan?;
    let wrong = |sent: &frames::Sent| {
        let outside =
            sent.dr.zip(sent.range).is_some_and(|(dr, (low, high))| !(low..=high).contains(&dr));
        let unknown = sent.dr.is_none()
            && matches!(sent.rate, Modulation::Lora { .. })
            && sent.has_channel != Some(false);
        // On no channel of the node's it is another fault.
        unknown || outside && sent.is_on_plan == Some(false) && sent.has_channel == Some(true)
    };
    let own: Vec<_> = frames::all(story, plan).into_iter().filter(wrong).collect();
    let first = own.first()?;
    let certainty = match own.len() {
        DECIDE.. => Certainty::Certain,
        2 => Certainty::Likely,
        _ => Certainty::Possible,
    };
    let summary = if let (Some(dr), Some((low, high))) = (first.dr, first.range) {
        fact!(
            "{uplinks} on {frequency} at DR{dr} ({data_rate}), and the channel has DR{lowest} to \
         DR{highest}",
            uplinks = Value::Count(own.len() as u64, "uplink"),
            frequency = Value::Frequency(first.hz),
            dr,
            data_rate = first.rate,
            lowest = low,
            highest = high
        )
    } else {
        fact!(
            "{uplinks} at {data_rate}, a data rate that {region} does not have for uplinks",
            uplinks = Value::Count(own.len() as u64, "uplink"),
            data_rate = first.rate,
            region = plan.name
        )
    };
    let mut finding = Finding::new(
        certainty,
        summary,
        "correct the data rate in the node, or give it a channel whose DrRange has it",
    );
    for sent in own.iter().take(4) {
        finding.add(fact!(
            "{uplink}: {frequency}, {data_rate}",
            uplink = story.cite(sent.place),
            frequency = Value::Frequency(sent.hz),
            data_rate = sent.rate
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# uplink-at-a-rate-the-channel-does-not-allow
The node sends at a data rate that its channel does not have, or the region
does not.

## What is seen
At the server: uplinks refused, or answered at a wrong rate in RX1. At the
gateway: heard, if it listens for that rate. At the node: nothing odd.

## Why it happens
A channel of a CFList has DR0 to DR5: FSK, 250 kHz and LR-FHSS need a
NewChannelReq with a wider DrRange. In fixed plans the channels of 125 kHz
and of 500 kHz have rates of their own. A data rate set by its spreading
factor, as in another region, may not exist at all.

## How to be sure
Take the channel of the frequency and its range: from the plan, the CFList
or NewChannelReq. Take the data rate's number from the plan's uplink table.
Outside the range, or in no table: three uplinks decide.

An uplink on a frequency that is not a channel of the node is
uplink-on-a-channel-not-given.

## What to do
1. Correct the data rate in the node, or the range of LinkADRReq on the
   server.
2. Give the node a channel with a wider DrRange, where the plan allows it.

## Example
EU868. 867.1 MHz came with the CFList, so DR0 to DR5. probe-32 sends there
at SF7BW250, which is DR6.

## Source
RP002-1.0.4, p. 28 (CFList), data rates of the plan; LoRaWAN 1.1, 5.6.
";
