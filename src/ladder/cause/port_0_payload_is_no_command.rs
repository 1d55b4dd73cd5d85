//! Cause `port-0-payload-is-no-command`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::{
        finding::Finding,
        session::{self, Case, Story},
    },
    trace::settings::{Turn, Unread},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::Port0PayloadIsNoCommand,
    what: "what the node sends on FPort 0 is not a MAC command",
    places: &[Place::Session(session::Rung::Readable)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many frames decide.
const DECIDE: usize = 3;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own: Vec<usize> = story
        .turns()
        .iter()
        .map(Turn::first)
        .filter(|place| {
            let Some(frame) = story.frame(*place) else { return false };
            let Some(said) = story.settings.said.get(*place) else { return false };
            // Proprietary commands are what both sides agreed on.
            let unread = matches!(said.unread, Some(Unread::Unknown { cid }) if cid < 0x80);
            let empty = frame.payload.as_ref().is_none_or(|payload| payload.frm.is_empty());
            frame.port() == Some(0) && frame.fopts.is_empty() && !empty && unread
        })
        .collect();
    let all = story
        .turns()
        .iter()
        .filter(|turn| story.frame(turn.first()).is_some_and(|frame| frame.port() == Some(0)));
    if own.len() < DECIDE || own.len() * 2 < all.count() {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "{uplinks} on FPort 0 decrypt to no MAC command: the port is for MAC commands alone",
            uplinks = Value::Count(own.len() as u64, "uplink")
        ),
        "use another FPort, 1 to 223, for the application's data",
    );
    for place in own.iter().take(4) {
        let cid = match story.settings.said.get(*place).and_then(|said| said.unread.as_ref()) {
            Some(Unread::Unknown { cid }) => *cid,
            _ => continue,
        };
        finding.add(fact!(
            "{uplink}: {cid} is not the CID of a command",
            uplink = story.cite(*place),
            cid = Value::Bytes(vec![cid])
        ));
    }
    Some(finding)
}

const PAGE: &str = r#"# port-0-payload-is-no-command
The application sends its data on FPort 0, which is for MAC commands.

## What is seen
At the server: uplinks accepted, no application data; "unknown MAC command".
At the application: nothing. At the node: it sends as always.

## Why it happens
FPort 0 is taken for "no port" or for the first one. The payload there is
encrypted with the network key and never handed to an application.

## How to be sure
Decrypt FRMPayload of FPort 0 with NwkSKey (1.0.x) or NwkSEncKey (1.1). The
first byte, or what follows a known command, is not a CID of an uplink command
in any version; three frames and more.

If NwkSEncKey is wrong, all bytes come out as noise: check FOpts, too.
Proprietary CIDs (80 to FF) may be agreed on between both sides.

## What to do
1. Send application data on FPort 1 to 223.
2. Correct the port on the application server as well.

## Example
FPort 0, decrypted: 7B 22 74 22 3A 32 31 7D, the text of a JSON object. 7B
is not a MAC command.

## Source
LoRaWAN 1.0.4, p. 23 (FPort 0).
"#;
