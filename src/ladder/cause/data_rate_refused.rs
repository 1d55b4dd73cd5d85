//! Cause `data-rate-refused`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::fact,
    frame::Direction,
    ladder::{
        finding::Finding,
        session::{self, Case, Story, refusals},
    },
    trace::settings::Exchange,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::DataRateRefused,
    what: "the node refuses the data rate of the same LinkADRReq again and again",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let all = refusals::of(story, "LinkADRReq");
    let own: Vec<&Exchange> =
        all.into_iter().filter(|exchange| refusals::refuses(exchange, "DataRateACK")).collect();
    if own.len() < refusals::AGAIN || refusals::is_without_adr(story, &own) {
        return None;
    }
    let last = *own.last()?;
    let rate = last.requests.last().and_then(|request| request.number("DataRate"))?;
    let mut finding = refusals::finding(
        story,
        &own,
        fact!(
            "the server asks for DR{rate} again and again, and the node refuses it {times} times; nothing \
             of the request is carried out",
            rate,
            times = own.len()
        ),
        "ask for a data rate that an enabled channel allows and that the node's version has",
    )?;
    if let (Some(plan), Ok(dr)) = (story.plan, u8::try_from(rate)) {
        match plan.dr(Direction::Uplink, dr) {
            Some(modulation) => finding.add(fact!(
                "DR{rate} is {data_rate} in {region}; an enabled channel must allow it",
                rate,
                data_rate = modulation,
                region = plan.name
            )),
            None => {
                finding.add(fact!(
                    "{region} has no DR{rate} for uplinks",
                    region = plan.name,
                    rate
                ));
            }
        }
    }
    Some(finding)
}

const PAGE: &str = r#"# data-rate-refused
The server asks for a data rate in each LinkADRReq that the node cannot use,
and the node refuses each time.

## What is seen
At the server: ADR never settles; every uplink is followed by a downlink. At
the node: LinkADRAns in every frame. Data does arrive.

## Why it happens
No enabled channel allows this data rate: channels of a CFList have DR0 to
DR5, those of NewChannelReq what it says, those of fixed plans what the plan
says. The data rate exists only in a newer revision (LR-FHSS). Or the radio
cannot do it (DR6 needs 250 kHz). One refused part voids the complete command.

## How to be sure
Pair LinkADRReq and LinkADRAns. Status bit 1 is 0 (05, or 01 and 04 with
others). The same request, the same refusal, three times, and not taken
since: certain.

Refused once or twice and then corrected is not a fault. A node with ADR off
refuses rate and power by right: adr-command-with-adr-off. Up to 1.0.3 a
DataRate of 15 is no "keep".

## What to do
1. Ask for a data rate within the enabled channels' range.
2. Or give the node channels that allow it, by NewChannelReq.
3. Let the server stop after some refusals.

## Example
US915, mask 8-15. LinkADRReq DR6, which is LR-FHSS; the 125 kHz channels
have DR0 to DR3. Answer 05, five times.

## Source
LoRaWAN 1.0.4, p. 31; 1.0.3, p. 25; RP002-1.0.4, data rates of the plan.
"#;
