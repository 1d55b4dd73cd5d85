//! Cause `command-unknown-to-the-node`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, fact},
    frame::command::Command,
    ladder::{
        finding::Finding,
        session::{self, Case, Story},
    },
    trace::settings::{Exchange, Fate, Unread},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::CommandUnknownToTheNode,
    what: "a command that the node's region or version does not have is sent again and again",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many decide.
const DECIDE: usize = 3;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    not_of_the_version(story).or_else(|| not_of_the_region(story))
}

/// A command of another version: the node does not know its length, and reads nothing after it.
fn not_of_the_version(story: &Story<'_>) -> Option<Finding> {
    let version = story.version()?;
    let mut own: Vec<(usize, &Command, &Vec<Command>)> = Vec::new();
    for (place, said) in story.settings.said.iter().enumerate() {
        if let Some(Unread::Foreign { command, behind }) = &said.unread
            && story.went_out(place)
        {
            own.push((place, command, behind));
        }
    }
    let (_, command, behind) = *own.first()?;
    if own.len() < 2 {
        return None;
    }
    let certainty = if own.len() >= DECIDE { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "{request} is not a command of LoRaWAN {version}: the node does not know its length, and reads \
             neither it nor what comes after it",
            request = command.name(),
            version = version.name()
        ),
        "leave the command out for this node, or set its version on record",
    );
    if !behind.is_empty() {
        finding.add(fact!(
            "after it and never read: {commands}",
            commands = session::words::commands(behind)
        ));
    }
    for (place, command, _) in own.iter().take(4) {
        finding.add(fact!(
            "{downlink}: {request}",
            downlink = story.cite(*place),
            request = *command
        ));
    }
    Some(finding)
}

/// A command that the plan does not have: the node drops it without an answer.
fn not_of_the_region(story: &Story<'_>) -> Option<Finding> {
    let plan = story.plan?;
    let own: Vec<&Exchange> = story
        .settings
        .exchanges
        .iter()
        .filter(|exchange| {
            matches!(exchange.fate, Fate::NoAnswerDue) && exchange.name() != "ForceRejoinReq"
        })
        .collect();
    let first = *own.first()?;
    let again = own.iter().filter(|exchange| exchange.asks_as(first)).count();
    if again < 2 {
        return None;
    }
    let certainty = if again >= DECIDE { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        fact!(
            "{request} does not exist in {region}: the node drops it without an answer, and the server \
             sends it {times} times",
            request = first.name(),
            region = plan.name,
            times = again
        ),
        "leave the command out for nodes of this region",
    );
    for exchange in own.iter().take(3) {
        finding.add(session::words::request(story, exchange));
    }
    Some(finding)
}

const PAGE: &str = r"# command-unknown-to-the-node
The server sends a command that this region or this version does not have,
and waits for an answer that cannot come.

## What is seen
At the server: a command that stays pending; every uplink is followed by a
downlink. At the node: nothing; commands after it in the same frame have no
effect either.

## Why it happens
Channels of fixed plans are numbered by the plan: NewChannelReq and
DlChannelReq do not exist there. TXParamSetupReq is for AS923 and AU915
alone. Commands of 1.1 (CIDs 01, 0B, 0C, 0E, 0F, 20) are unknown to 1.0.x
nodes; 09 and 0A came with 1.0.2, 0D with 1.0.3. A CID does not say the
length of its command: a node that does not know it stops reading there.

## How to be sure
Take the node's plan and version, and look the CID up. The same command
three times without an answer, and no other reason: certain. What comes
after a command of another version in the same frame is never read.

Without the node's version nothing can be said of versions. A known command
that is not answered is mac-command-never-answered.

## What to do
1. Leave the command out; in fixed plans use LinkADRReq for channels.
2. Set region and version on record as the node has them.
3. Send new commands last in a frame.

## Example
LoRaWAN 1.0.3. FOpts 0E 00 00, then LinkADRReq. 0E is unknown to 1.0.3:
LinkADRReq is never read, and never answered.

## Source
LoRaWAN 1.1, chapter 5 (unknown commands), 5.6, 5.7, 5.9; 1.0.4, p. 27.
";
