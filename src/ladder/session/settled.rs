//! Rung 10, settled: MAC requests converge, and both sides hold the same settings.

use super::Case;
use crate::{
    fact::{Value, fact},
    ladder::rung::Judgement,
    trace::settings::Fate,
};

pub(super) fn judge(case: &Case<'_>, session: usize) -> Judgement {
    let Some(story) = case.story(session) else { return Judgement::open() };
    let all = &story.settings.exchanges;
    if all.is_empty() {
        return Judgement::unknown("no MAC request of the network is in the capture");
    }
    // Of each command the last word counts.
    let last = |name: &str| all.iter().rev().find(|exchange| exchange.name() == name);
    let mut names: Vec<&'static str> = Vec::new();
    for exchange in all {
        if !names.contains(&exchange.name()) {
            names.push(exchange.name());
        }
    }
    let open = |name: &&&str| last(name).is_none_or(|exchange| exchange.taken().is_none());
    let unsettled: Vec<&'static str> = names.iter().filter(open).copied().collect();
    if unsettled.is_empty() {
        return Judgement::proven(fact!(
            "the node took the last {requests} of each kind: {commands}",
            requests = Value::Count(names.len() as u64, "request"),
            commands = Value::list(names.iter().copied())
        ));
    }
    let fate = |name: &&'static str| match last(name).map(|exchange| &exchange.fate) {
        Some(Fate::Refused(_)) => fact!("{command} is refused", command = *name),
        Some(Fate::Unanswered { .. }) => fact!("{command} is not answered", command = *name),
        Some(Fate::NoAnswerDue) => fact!("{command} needs no answer", command = *name),
        _ => fact!("of {command} the capture does not show the answer", command = *name),
    };
    let facts = unsettled.iter().map(fate).collect();
    Judgement::unknown(crate::fact::Fact::joined(facts, "; "))
}
