//! Cause `channel-mask-refused`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Fact, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, refusals},
    },
    region::{ChannelMask, MaskRefusal},
    trace::settings::Exchange,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ChannelMaskRefused,
    what: "the node refuses the same LinkADRReq again and again",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let all = refusals::of(story, "LinkADRReq");
    let own: Vec<&Exchange> =
        all.into_iter().filter(|exchange| refusals::refuses(exchange, "ChannelMaskACK")).collect();
    if own.len() < refusals::AGAIN {
        return None;
    }
    let last = *own.last()?;
    let mut finding = refusals::finding(
        story,
        &own,
        fact!(
            "the server asks for the same channel mask again and again, and the node refuses it {times} \
             times; nothing of the request is carried out",
            times = own.len()
        ),
        "define the channels first (CFList or NewChannelReq), then set the mask; or ask only for channels \
         that the node has",
    )?;
    if let Some(fact) = reason(story, last) {
        finding.add(fact);
    }
    Some(finding)
}

/// What the mask asks for and the node does not have.
fn reason(story: &Story<'_>, exchange: &Exchange) -> Option<Fact> {
    let plan = story.plan?;
    let now = story.at(exchange.turn?);
    let defined = now.defined(plan);
    // A block ends with what counts.
    match now.masked(plan, story.version(), &exchange.requests) {
        Ok(mask) if mask.is_empty() => Some("the mask leaves no channel enabled".into()),
        Ok(_) => None,
        Err(MaskRefusal::Undefined { .. }) => {
            let asked = asked(exchange)?;
            let missing = asked.channels().filter(|channel| !defined.contains(*channel));
            let missing = ChannelMask::from_channels(missing);
            Some(fact!(
                "asked for: channels {asked}; the node has {defined}, so {missing} are not defined",
                asked = asked.list(),
                defined = defined.list(),
                missing = missing.list()
            ))
        }
        Err(refusal) => Some(fact!("{refusal}", refusal = refusal.to_string())),
    }
}

/// The channels of a mask that counts sixteen of them from 0.
fn asked(exchange: &Exchange) -> Option<ChannelMask> {
    let request = exchange.requests.last()?;
    let word = u16::try_from(request.number("ChMask")?).ok()?;
    let block = usize::try_from(request.number("ChMaskCntl")?).ok().filter(|block| *block < 5)?;
    let mut words = vec![0; block];
    words.push(word);
    Some(ChannelMask::from_words(&words))
}

const PAGE: &str = r#"# channel-mask-refused
The server sends the same LinkADRReq again and again, and the node refuses
its channel mask each time.

## What is seen
At the server: ADR never settles; each uplink is followed by a downlink. At
the node: a LinkADRAns in every frame, more airtime, shorter battery life.
Data does arrive.

## Why it happens
The mask enables a channel that the node does not have, or leaves none. In
EU868 a node begins with three channels; the others come by CFList or
NewChannelReq. In fixed plans ChMaskCntl gives the mask another meaning. One
refused part voids the complete command, rate and power included.

## How to be sure
Pair LinkADRReq and LinkADRAns of one session. Status bits: 2 power, 1 data
rate, 0 channel mask; 07 is all accepted, 06 mask refused, 05 data rate, 03
power. Build the node's channels (defaults + CFList + NewChannelReq answered
with 03) and mark the bits of the mask without a channel. Same request, same
refusal, three times, and such a bit found: certain.

"ADR is broken" and "the node drops downlinks" are wrong: it answers each.
Several LinkADRReq in one frame are one block and must be judged together:
ChMaskCntl 7 then 0 is allowed where 0 alone would not do. If no such bit is
found, compare the data rate range of the channels.

## What to do
1. Define the channels first: CFList at the next join, or NewChannelReq with
   frequencies allowed at the place.
2. Then send the mask; or ask only for channels that exist.
3. Let the server stop after some refusals.

## Example
EU868, accept without CFList: channels 0, 1, 2. LinkADRReq 50 FF00 01: DR5,
mask 00FF, NbTrans 1. Answer 06, nine times. Bits 3 to 7 name channels that
the node does not have. Mask 0007 is answered with 07.

## Source
LoRaWAN 1.0.3, p. 25; 1.0.4, p. 31; RP002-1.0.1, Table 8 (EU868) and
Table 15 (US915) for ChMaskCntl.
"#;
