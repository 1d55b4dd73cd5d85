//! Cause `cflist-opens-the-wrong-channels`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Fact, Value, fact},
    frame::CfListType,
    ladder::{
        finding::Finding,
        join::{
            self, Case, on_plan,
            proven::away::{channels_apart, led_away},
        },
    },
    region::ChannelMask,
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::CflistOpensTheWrongChannels,
    what: "the CFList leads the node away from the gateway",
    places: &[Place::Join(join::Rung::Proven)],
    kind: Kind::Exact,
    checks: &[Check::Join(check)],
    page: PAGE,
};

fn check(case: &Case<'_>) -> Option<Finding> {
    let Some(index) = (0..case.node.attempts.len()).find(|i| led_away(case, *i)) else {
        return frequencies_unheard(case);
    };
    let apart = channels_apart(case, index)?;
    let plan = case.plan?;
    let want = ChannelMask::from_channels(apart.received.iter().copied()).padded(plan.mask_words());
    let masks = want.words().iter().map(|w| Value::from(format!("{w:04X}"))).collect();
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the accept's CFList opens {opened}; the gateway hears {received} alone, and nothing \
             arrives after the join",
            opened = if apart.opened.is_empty() {
                Fact::from("no channel")
            } else {
                fact!("channels {opened}", opened = Value::Channels(apart.opened.clone()))
            },
            received = Value::Channels(apart.received.clone())
        ),
        fact!(
            "send the masks {masks} (each travels least significant byte first), or no CFList",
            masks = Value::List(masks, " ")
        ),
    );
    finding.add(fact!("CFList {cf_list}", cf_list = Value::Bytes(apart.list.0.to_vec())));
    let turned: Vec<u16> =
        apart.list.masks().take(plan.mask_words()).map(u16::swap_bytes).collect();
    let turned: Vec<u16> = ChannelMask::from_words(&turned).channels().collect();
    if !turned.is_empty() && turned.iter().all(|c| apart.received.contains(c)) {
        finding.add(fact!(
            "with the bytes of each mask swapped it would open channels {swapped}: the byte order is \
             wrong",
            swapped = Value::Channels(turned)
        ));
    }
    finding.add(fact!(
        "joined {times}, no data of any of the addresses given",
        times = Value::count(case.node.attempts.len(), "time")
    ));
    Some(finding)
}

/// A CFList of frequencies that the gateway does not receive, and the frames lost on them.
fn frequencies_unheard(case: &Case<'_>) -> Option<Finding> {
    for session in &case.node.sessions {
        let Some(list) = case.accept_of(session).and_then(|a| a.cf_list) else { continue };
        if list.kind() != CfListType::Frequencies {
            continue;
        }
        let Some((_, heard)) = session.uplinks().next() else { continue };
        let listens = case.listens(heard.first().gateway);
        let opened: Vec<u32> = list.frequencies().filter(|hz| *hz > 0).collect();
        let unheard: Vec<u32> = opened.iter().filter(|hz| !listens.contains(hz)).copied().collect();
        let Some((received, sent)) = on_plan::received_share(session) else { continue };
        // One listened channel has a cause of its own.
        if listens.len() < 2 || unheard.is_empty() || sent < 8 || received * 4 > sent * 3 {
            continue;
        }
        let (n, of) = (unheard.len(), opened.len());
        let mut finding = Finding::new(
            Certainty::Likely,
            fact!(
                "the accept's CFList opens {frequencies}, which the gateway does not receive: \
                 {received} of {sent} frames came",
                frequencies = Value::list(unheard.into_iter().map(Value::Frequency)),
                received,
                sent
            ),
            "send the frequencies that the gateway receives, or set the gateway to those of the list",
        );
        finding.add(fact!(
            "{unheard} of the list's {listed} frequencies are unheard",
            unheard = n,
            listed = of
        ));
        return Some(finding);
    }
    None
}

const PAGE: &str = r#"# cflist-opens-the-wrong-channels
The CFList of the accept leads the node to channels that the gateway does
not receive.

## What is seen
At the node: joined; it sends and gets nothing back. At the gateway: the
request was heard, the data is not. At the server: a session without
uplinks; after some time the node joins again, and again falls silent.

## Why it happens
The masks were written with the wrong sub-band, or with the bytes of each
mask swapped: ChMask is 16 bits, least significant byte first, so
channels 8 to 15 are 00 FF on the air, not FF 00. In type 0 lists the
frequencies were meant for another gateway, or group.

## How to be sure
Open the accept, decode the list and intersect it with the gateway's
channels, the 500 kHz word (ChMask4) included. An empty intersection and no
data after several joins is as good as certain. Then swap the bytes of
each mask: if that gives the gateway's sub-band, it names the typing error.

A partly wrong list loses a share of frames, not all. "Keys differ" is not
shown by silence: there is no frame whose MIC could fail. A node of regional
parameters 1.0.2 ignores the list. In dynamic plans the default channels
stay open, so the node is still heard on them.

## What to do
1. Let the server send the gateway's masks: for sub-band 2 the 16 bytes
   00FF 0000 0000 0000 0200 0000000000 01.
2. Let the node join again; an old session keeps its wrong mask.
3. Check the same masks in LinkADRReq, which often come from one setting.

## Example
US915, gateway on channels 8 to 15 and 65. The list in the accept begins
FF00 ... 0200: ChMask0 = 00FF, channels 0 to 7; ChMask4 = 0002, channel 65.
Of 200 data frames not one is heard, since the probe does not use DR4.
Written 00FF it is ChMask0 = FF00: all are.

## Source
RP002-1.0.4, 2.3.1-2.3.2; RP002-1.0.1, 2.5.4; LoRaWAN 1.0.4 (byte order).
"#;
