//! Cause `application-key-out-of-step`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Cite, Fact, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story, keys, payloads},
    },
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::ApplicationKeyOutOfStep,
    what: "the application has another AppSKey than the one derived",
    places: &[Place::Session(session::Rung::Readable)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

fn check(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    joined(case, story).or_else(|| built_in(case, story))
}

fn remedy() -> Fact {
    "give the session's AppSKey to the application server again, or let the node join again".into()
}

/// A joined session: the AppSKey follows from the accept.
fn joined(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let out = payloads::out_of_step(case, story)?;
    let (seen, _) = story.session.uplinks().next()?;
    let kept = case.record()?.app_s_key.as_ref()?;
    let older = case.node.sessions.iter().find(|other| {
        other.dev_addr != story.session.dev_addr
            && other
                .candidates
                .iter()
                .any(|c| c.keys.app_s_key().is_some_and(|key| key.key().same_as(kept.key())))
    });
    let sure = out.reads.is_some() || out.network && older.is_some();
    let certainty = if sure { Certainty::Certain } else { Certainty::Likely };
    let frames = payloads::of(story).len() as u64;
    let mut finding = Finding::new(
        certainty,
        "the MIC holds under the session's network key; the AppSKey on record is not the one derived from \
         this join: payloads come out as noise",
        remedy(),
    )
    .and(fact!(
        "{uplink}: data of DevAddr {dev_addr} authenticates",
        uplink = Cite::from(seen).with_time(),
        dev_addr = story.session.dev_addr
    ));
    match out.reads {
        Some(payloads::Reads::Text(bytes)) => finding.add(fact!(
            "{payloads} read as text under the derived AppSKey, {bytes} bytes in all, and as noise under the \
             record's",
            payloads = Value::Count(frames, "payload"),
            bytes
        )),
        Some(payloads::Reads::Head(bytes)) => finding.add(fact!(
            "{payloads} begin with the same {bytes} bytes under the derived AppSKey, and with different ones \
             under the record's",
            payloads = Value::Count(frames, "payload"),
            bytes
        )),
        Some(payloads::Reads::Nothing) | None => {}
    }
    if let Some(older) = older {
        finding.add(fact!(
            "the record's AppSKey is that of DevAddr {dev_addr}, an earlier join",
            dev_addr = older.dev_addr
        ));
    }
    Some(finding)
}

/// A session that is built in: two claims state it, and do not agree.
fn built_in(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let wrong = keys::app_key(case, story)?;
    if !matches!(wrong.how, keys::How::Unrelated) {
        return None;
    }
    let firmware = case.firmware()?.app_s_key.as_ref()?;
    let frames = payloads::of(story);
    let reads = payloads::reads(&frames, firmware) != payloads::Reads::Nothing;
    let finding = Finding::new(
        if reads { Certainty::Certain } else { Certainty::Likely },
        "node and record agree on the network key and have different AppSKeys: payloads come out as noise",
        "enter the node's AppSKey on record",
    );
    Some(finding.and(wrong.words()))
}

const PAGE: &str = r#"# application-key-out-of-step
The MIC is good, but the record's AppSKey belongs to another join, so the
payload opens as noise.

## What is seen
At the server: frames accepted, counters good. At the application: values
that jump without sense, or a decoder that fails. It began with a join. At
the node and gateway: all in order.

## Why it happens
NwkSKey checks the MIC, AppSKey opens the payload, and they are often kept
in two places. The application side still has the AppSKey of an earlier
join, or of another accept in a series, or in 1.1 one derived from the wrong
root (NwkKey or a zero AppKey).

## How to be sure
The MIC holds under the session's network key; so counter, DevAddr and join
are right. Derive AppSKey from each accept seen and decrypt: one gives sound
text in every frame, the record's does not. Say what "sound" means: a known
package, a decoder that reads to the last byte, a fixed first byte.
Decryption has no check of its own, so one short payload fits something by
chance; take several.

"Key wrong" as a whole is false: half of it is right. A wrong decoder gives
steady, wrong numbers; a wrong key gives new noise with each frame, even
when the value stays. A lost upper half of FCnt would break the MIC as well.

## What to do
1. Hand the AppSKey of the latest join to the application side.
2. Or let the node join again, with the delivery of keys checked.
3. In 1.1 make sure that AppSKey comes from AppKey.
4. Frames stored meanwhile can be opened later with the right key.

## Example
Probe-07, FCnt 0, payload C72D2470. AppSKey of the latest accept
(DevNonce 5, JoinNonce 42) opens it as 01 67 00E1: channel 1, temperature,
22.5 degrees. The record's key, from the join before (DevNonce 4,
JoinNonce 41), gives 50E60057.

## Source
LoRaWAN 1.0.4, p. 24-25 and 46; 1.1, 4.3.3 and 6.2.3; the criterion for
sound text is practice.
"#;
