//! Cause `gateway-airtime-over-the-limit`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    ladder::{
        finding::Finding,
        gateway::{
            Case, Rung,
            sends::{SendFault, about, faults},
        },
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::GatewayAirtimeOverTheLimit,
    what: "the gateway's own downlinks take more of the air than its region allows",
    places: &[Place::Gateway(Rung::Sends)],
    kind: Kind::Exact,
    checks: &[Check::Gateway(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let heard = case.heard?;
    let found = faults(case, heard).into_iter().find_map(|fault| match fault {
        SendFault::Airtime(band, plan, from, airtime) => Some((band, plan, from, airtime)),
        _ => None,
    });
    let (band, plan, from, airtime) = found?;
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "{gateway} is ordered to send for {airtime} within an hour in {band}, where {share} of the time is allowed",
            gateway = case.title(),
            airtime = about(airtime),
            band = band.name(plan),
            share = band.percent()
        ),
        "use RX2 in a band with a larger share, fewer confirmed frames, and spread downlinks over several gateways",
    );
    finding.add(fact!(
        "the hour begins at {from}; the share is {limit} in an hour",
        from,
        limit = about(band.hourly())
    ));
    finding.add("downlinks that the gateway refused are not counted");
    Some(finding)
}

const PAGE: &str = r"# gateway-airtime-over-the-limit
The gateway's own downlinks take more of the air in an hour than the share of
its band.

## What is seen
At the gateway: many downlinks, in some programs refused from some moment on.
At the server: downlinks that fail. At the nodes: answers that stay away in
busy hours.

## Why it happens
A gateway is one transmitter and has one share for all of its nodes. Confirmed
uplinks, MAC commands that are repeated, and downlinks at slow data rates use
it up.

## How to be sure
Sum up the time on air of all downlinks of the gateway in a sub-band, within
any hour. Above the share the limit is passed. Downlinks that it refused do
not count. Local rules decide; some gateways have other permits: so it is
likely, no more.

## What to do
1. Answer in RX2 where that is in a band with a larger share (EU868: 869.525
   MHz, 10 %).
2. Use fewer confirmed frames.
3. Let ADR make the data rates faster.
4. Add a gateway.

## Example
EU868, RX1 on 868.1 to 868.5 MHz: 42 s on air in an hour, where 36 s (1 %) are
allowed. Every probe sends confirmed frames.

## Source
RP002-1.0.4, 2.4; limits of the regulator, as `handfast plan` shows them.
";
