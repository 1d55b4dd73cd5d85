//! Requests that the node refuses again and again.

use super::{Story, words};
use crate::{
    fact::{Certainty, Fact, fact},
    frame::command::{Command, FieldValue},
    ladder::finding::Finding,
    trace::settings::{Exchange, Fate},
};

/// The same refusal so often is no accident, and no correction comes.
pub(in crate::ladder) const AGAIN: usize = 3;
/// Exchanges that evidence names.
const NAMED: usize = 3;

/// Returns the refusals of one request at the end of a session: the same request each time, and not taken
/// since.
pub(in crate::ladder) fn of<'s>(story: &'s Story<'_>, name: &str) -> Vec<&'s Exchange> {
    let own = story.settings.exchanges.iter().rev().filter(|exchange| exchange.name() == name);
    let mut out: Vec<&Exchange> = Vec::new();
    for exchange in own {
        match exchange.fate {
            // What the node did not hear, or may have answered unheard, is no change of its mind.
            Fate::Doubtful | Fate::Open | Fate::NotSent | Fate::Unanswered { .. } => {}
            Fate::Refused(_) if out.first().is_none_or(|first| first.asks_as(exchange)) => {
                out.push(exchange);
            }
            _ => break,
        }
    }
    out.reverse();
    out
}

/// Whether an answer refuses by a bit of that name.
pub(in crate::ladder) fn refuses(exchange: &Exchange, bit: &str) -> bool {
    let clear = |answer: &Command| {
        answer.field(bit).is_some_and(|field| field.value == FieldValue::Flag(false))
    };
    exchange.refused().is_some_and(|answered| answered.commands.iter().any(clear))
}

/// Returns the finding on refusals, with what each bit says.
pub(in crate::ladder) fn finding(
    story: &Story<'_>,
    refused: &[&Exchange],
    summary: Fact,
    remedy: impl Into<Fact>,
) -> Option<Finding> {
    let first = refused.first()?;
    let mut finding = Finding::new(Certainty::Certain, summary, remedy);
    for exchange in refused.iter().take(NAMED) {
        finding.add(words::request(story, exchange));
        finding.add(words::fate(story, exchange));
    }
    if refused.len() > NAMED {
        finding.add(fact!("and so on, {times} times in all", times = refused.len()));
    }
    for bit in words::refused_bits(first) {
        finding.add(bit);
    }
    Some(finding)
}

/// Whether the node has ADR off in the uplinks that refuse, and takes the mask: then data rate and power
/// are its own choice.
pub(in crate::ladder) fn is_without_adr(story: &Story<'_>, refused: &[&Exchange]) -> bool {
    let off = |exchange: &&Exchange| {
        let at = exchange.refused().map(|answered| answered.at);
        at.and_then(|at| story.frame(at)).is_some_and(|frame| !frame.fctrl.adr())
    };
    refused.iter().all(off) && refused.iter().all(|e| !refuses(e, "ChannelMaskACK"))
}
