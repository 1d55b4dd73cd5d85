//! One paragraph that says it all, to be pasted where people keep their tickets.

use std::fmt::Write;

use crate::{
    fact::{Fact, Secrets, text},
    ladder::{Diagnosis, Outcome, Verdict},
    trace::NodeTrace,
    words::{Count, sentence},
};

pub(super) fn of(diagnosis: &Diagnosis, name: &str, secrets: Secrets, node: &NodeTrace) -> String {
    let mut parts = vec![format!("{}: {}.", who(diagnosis, name), how(diagnosis))];
    let words = |fact: &Fact| sentence(&text(fact, secrets));
    match diagnosis.causes.as_slice() {
        [first, others @ ..] => {
            let id = first.cause.id;
            parts.push(words(&first.summary));
            parts.push(format!("({id}, {}{}.)", first.certainty.name(), odds(first)));
            parts.push(format!("To do: {}", words(&first.remedy)));
            if !others.is_empty() {
                let ids: Vec<&str> = others.iter().map(|v| v.cause.id.name()).collect();
                parts.push(format!("Also found: {}.", ids.join(", ")));
            }
        }
        [] => {
            if let Some(step) = diagnosis.next.first() {
                parts.push(format!("What would decide: {}", words(step)));
            }
        }
    }
    if let Some(seen) = seen(node, diagnosis.told) {
        parts.push(seen);
    }
    parts.push(format!("Handfast {}.", env!("CARGO_PKG_VERSION")));
    parts.join(" ")
}

fn who(diagnosis: &Diagnosis, name: &str) -> String {
    let eui = diagnosis.dev_eui.map(|eui| eui.to_string()).filter(|eui| eui != name);
    let mut inside: Vec<String> = eui.map(|eui| format!("DevEUI {eui}")).into_iter().collect();
    inside.extend(diagnosis.plan.map(|plan| plan.name.to_owned()));
    if inside.is_empty() { name.to_owned() } else { format!("{name} ({})", inside.join(", ")) }
}

fn how(diagnosis: &Diagnosis) -> String {
    let mut words = diagnosis.outcome.words().to_owned();
    if diagnosis.outcome != Outcome::Joined
        && let Some(rung) = diagnosis.first_broken()
    {
        let _ = write!(words, "; rung {} ({}) is broken", rung.number(), rung.rung());
    } else if diagnosis.is_fine() && diagnosis.outcome == Outcome::Joined {
        let _ = write!(
            words,
            "; nothing wrong found in {} and {}",
            Count(diagnosis.attempts, "attempt"),
            Count(diagnosis.data, "data frame")
        );
    }
    words
}

fn odds(verdict: &Verdict) -> String {
    match verdict.false_match {
        Some(p) if p > 0.0 => format!(", false-match probability {p:.0e}"),
        _ => String::new(),
    }
}

/// Where in the capture to look.
fn seen(node: &NodeTrace, told: Option<usize>) -> Option<String> {
    let attempt = node.attempts.get(told?)?;
    let at = attempt.heard.at().map(|at| at.strftime(", %Y-%m-%d %H:%M:%SZ").to_string());
    Some(format!("Seen in {} of the capture{}.", attempt.line(), at.unwrap_or_default()))
}
