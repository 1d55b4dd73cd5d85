//! Cause `accepted-mask-leads-away-from-the-gateway`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, away, reach, words},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::AcceptedMaskLeadsAwayFromTheGateway,
    what: "a request sets channels that no gateway hears, and the node falls silent",
    places: &[Place::Session(session::Rung::Heard)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many intervals without an uplink are silence.
const SILENT: i64 = 3;

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let away = away::last(case, story)?;
    if story.ends.is_some() {
        return None;
    }
    let silence = reach::goes_on_us(case, story, away.down);
    let interval = away::interval_us(story).unwrap_or(60_000_000);
    if silence < interval.saturating_mul(SILENT) {
        return None;
    }
    let hz = |all: &[u32]| Value::list(all.iter().copied().take(9).map(Value::Frequency));
    Some(
        Finding::new(
            if away.stated { Certainty::Likely } else { Certainty::Possible },
            fact!(
                "the downlink leaves the node {left} alone, which no gateway here receives, and nothing of \
                 the node came since",
                left = hz(&away.left)
            ),
            "set the mask of the gateway's own sub-band; the node needs a reset, or 64 + n x 32 uplinks \
             until it opens all channels by itself",
        )
        .and(fact!(
            "{downlink}: {request}",
            downlink = story.cite(away.down),
            request = words::commands(&away::requests(&away.asked))
        ))
        .and(fact!(
            "the gateways receive {frequencies}",
            frequencies = hz(&away.heard)
        ))
        .and(fact!(
            "the node sent every {interval}; the capture goes on for {silence} after that downlink, and the \
             answer itself is not in it",
            interval = Value::About(interval),
            silence = Value::About(silence)
        )),
    )
}

const PAGE: &str = r"# accepted-mask-leads-away-from-the-gateway
The server sets channels that the gateway does not hear. The node obeys and
is gone.

## What is seen
At the server: a LinkADRReq or NewChannelReq that is never answered, and
then no data. At the gateway: everything else is heard. At the node: it
sends as always, on the new channels.

## Why it happens
The mask of another sub-band, ChMaskCntl in a wrong order (7 must come
first), a profile for gateways with 16 channels, or new channels that the
gateway was not set to. A node applies the request before it answers, so the
answer itself is not heard.

## How to be sure
Compute the channels that are left after the request. Compare with what the
gateways receive (roster `listens` or `sub-band`, `router_config`). None in
common, and nothing of the node from that downlink on, while the gateway
still reports: likely. The capture shows the request and the silence, not
the node.

A request that leaves one heard channel does not silence a node. If the node
refuses, see channel-mask-refused.

## What to do
1. Set the mask of the gateway's sub-band on the server.
2. Reset the node, or wait: after 64 + n x 32 uplinks without a downlink it
   opens all channels again.

## Example
AU915, gateway on sub-band 2. LinkADRReq with ChMaskCntl 7 and then 1: mask
00FF, channels 16 to 23 and 66. The last word of probe-30 is the uplink
before.

## Source
LoRaWAN 1.0.4, p. 31, 4.3.1.1 (back-off, from memory); RP002-1.0.4,
ChMaskCntl.
";
