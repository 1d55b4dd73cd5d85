//! Cause `linkadr-answers-do-not-match`.

use super::{Cause, CauseId, Check, Kind, Place};
use crate::{
    fact::{Certainty, Value, fact},
    frame::MacVersion,
    ladder::{
        finding::Finding,
        session::{self, Case, Story},
    },
    trace::settings::{Answered, Exchange},
};

pub(super) const CAUSE: Cause = Cause {
    id: CauseId::LinkadrAnswersDoNotMatch,
    what: "a block of LinkADRReq gets another number of answers than the version asks for",
    places: &[Place::Session(session::Rung::Settled)],
    kind: Kind::Exact,
    checks: &[Check::Session(check)],
    page: PAGE,
};

/// So many blocks decide.
const DECIDE: usize = 3;
/// FOpts has 15 bytes: what is nearly full may have been cut.
const NEARLY_FULL: u8 = 13;

fn check(_: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let version = story.version()?;
    let due = |exchange: &Exchange| match version {
        MacVersion::V1_1 => 1,
        _ => exchange.requests.len(),
    };
    let full =
        |place: usize| story.frame(place).is_none_or(|frame| frame.fopts.len() >= NEARLY_FULL);
    let answered: Vec<(&Exchange, &Answered)> = story
        .settings
        .exchanges
        .iter()
        .filter(|exchange| exchange.name() == "LinkADRReq")
        .filter_map(|exchange| Some((exchange, exchange.answer()?)))
        .collect();
    let own: Vec<&(&Exchange, &Answered)> = answered
        .iter()
        .rev()
        .take_while(|(exchange, answer)| answer.commands.len() != due(exchange) && !full(answer.at))
        .collect();
    let (exchange, answer) = own.last()?;
    if own.len() < DECIDE {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Likely,
        fact!(
            "a block of {requests} gets {answers}, where LoRaWAN {version} has {due}: node and server \
             count by different versions",
            requests = Value::Count(exchange.requests.len() as u64, "LinkADRReq"),
            answers = Value::Count(answer.commands.len() as u64, "LinkADRAns"),
            version = version.name(),
            due = due(exchange)
        ),
        "use one version on both sides: 1.0.x answers each LinkADRReq, 1.1 answers a block once",
    );
    for (exchange, answer) in own.iter().rev().take(3) {
        finding.add(session::words::request(story, exchange));
        finding.add(fact!(
            "{uplink}: {answers}",
            uplink = story.cite(answer.at),
            answers = session::words::commands(&answer.commands)
        ));
    }
    Some(finding)
}

const PAGE: &str = r"# linkadr-answers-do-not-match
A block of LinkADRReq gets another number of answers than the version asks
for.

## What is seen
At the server: the commands are taken for unanswered and sent again, though
the node does as it is told. At the node: the same answers again and again.

## Why it happens
Up to 1.0.4 a node answers each LinkADRReq of a block, all alike. In 1.1 it
answers the complete block once. A node stack that is 1.1 in its keys and
1.0.x in its commands, or the other way round, confuses the server.

## How to be sure
Count the LinkADRReq in one downlink that follow each other, and the
LinkADRAns in the next uplink. Three blocks with another number than the
version has: likely.

FOpts has 15 bytes: a list that is cut there is no fault. A single
LinkADRReq has one answer in every version.

## What to do
1. Use one version on server and node.
2. Or send one LinkADRReq at a time, where one is enough.

## Example
US915, LoRaWAN 1.1. LinkADRReq with ChMaskCntl 7 and one with 0, in one
downlink. The node answers 03 07 03 07; 1.1 has one answer. The server asks
again, five times.

## Source
LoRaWAN 1.0.3, p. 25; 1.0.4, p. 31; 1.1, 5.3.
";
