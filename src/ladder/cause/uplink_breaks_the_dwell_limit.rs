//! Cause `uplink-breaks-the-dwell-limit`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, on_plan::frames, words},
    },
    trace::settings::By,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::UplinkBreaksTheDwellLimit,
    what: "uplinks are longer than UplinkDwellTime allows",
    places: &[Place::Session(session::Rung::OnPlan)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many uplinks decide.
const DECIDE: usize = 3;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let plan = story.plan?;
    // Too many bytes for the data rate, or a data rate that does not exist, is another fault.
    let oversize = frames::oversize(story, plan);
    let other = |place: usize| oversize.iter().any(|frame| frame.place == place);
    let own: Vec<_> = frames::over_dwell(story, plan)
        .into_iter()
        .filter(|long| long.sent.dr.is_some() && !other(long.sent.place))
        .collect();
    let first = own.first()?;
    let by_command = matches!(first.by, By::Exchange(_));
    let certainty = match own.len() {
        DECIDE.. if by_command => Certainty::Certain,
        2.. => Certainty::Likely,
        _ => Certainty::Possible,
    };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "{uplinks} of up to {airtime} on the air, where UplinkDwellTime allows {limit_ms} ms",
            uplinks = Value::Count(own.len() as u64, "uplink"),
            airtime = Value::About(own.iter().map(|long| long.us).max().unwrap_or_default()),
            limit_ms = plan.dwell.uplink_ms
        ),
        "choose data rate and length by the columns for dwell time; the limit ends with TXParamSetupReq, \
         where the law allows it",
    );
    match first.by {
        By::Exchange(place) => {
            if let Some(exchange) = story.settings.exchanges.get(place) {
                finding.add(words::request(story, exchange));
                finding.add(words::fate(story, exchange));
            }
        }
        _ => finding.add(fact!(
            "{region} begins with the limit, and no TXParamSetupReq is in the capture",
            region = plan.name
        )),
    }
    for long in own.iter().take(4) {
        finding.add(fact!(
            "{uplink}: {data_rate}, {airtime} on the air",
            uplink = story.cite(long.sent.place),
            data_rate = long.sent.rate,
            airtime = Value::About(long.us)
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# uplink-breaks-the-dwell-limit
The node sends frames that are longer than the dwell time limit allows.

## What is seen
At the server: nothing odd, or refused uplinks. At the regulator: a
transmitter that breaks the rules. At the node: nothing odd.

## Why it happens
AU915 begins with UplinkDwellTime 1: a frame may last 400 ms. AS923 depends
on the country; US915 has the limit by law. At SF11 and SF12 no frame is
that short. A node that was moved from another region keeps its slow data
rate.

## How to be sure
Compute the time on air from data rate and bytes. The limit is in force:
TXParamSetupReq with bit 4 set was answered (certain), or the plan begins
with it and no TXParamSetupReq came (likely: it may have come before the
capture). More than 400 ms, three times, decides.

In AS923 nothing is known before a TXParamSetupReq. More bytes than the data
rate allows is frame-size-over-the-limit.

## What to do
1. Use DR2 (AU915, AS923) or faster, and the columns for dwell time.
2. Send TXParamSetupReq with bit 4 clear, where the law allows it.

## Example
AU915, probe-33 at SF12BW125, 15 bytes: 1.32 s on the air. No
TXParamSetupReq since the join.

## Source
LoRaWAN 1.1, 5.9; RP002-1.0.4, AU915 and AS923, dwell time.
";
