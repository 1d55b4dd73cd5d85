//! Why a node does not join, what shows it, and what to do.

use maud::{Markup, html};

use crate::{fact::Fact, ladder::Verdict, report::NodePage, show::headline, words::sentence};

pub(super) fn section(node: &NodePage<'_>) -> Markup {
    html! {
        @if let Some(words) = headline::of_node(node.diagnosis) {
            p.summary { (words) }
        }
        @for (i, verdict) in node.diagnosis.causes.iter().enumerate() {
            (cause(i, verdict, &|fact| node.words(fact)))
        }
        @if !node.diagnosis.next.is_empty() {
            section.next {
                h3 { "What would decide" }
                ul { @for step in &node.diagnosis.next { li { (sentence(&node.words(step))) } } }
            }
        }
    }
}

/// A cause at its place; `words` says a fact as the page does.
pub(super) fn cause(place: usize, verdict: &Verdict, words: &dyn Fn(&Fact) -> String) -> Markup {
    html! {
        section.cause {
            h3 { @if place == 0 { "Why" } @else { "And" } }
            p.summary { (sentence(&words(&verdict.summary))) }
            p.facts {
                code { (verdict.cause.id.name()) } ", " (verdict.certainty.name())
                @if let Some(p) = verdict.false_match.filter(|p| *p > 0.0) {
                    ", false-match probability " (format!("{p:.0e}"))
                }
            }
            p.remedy { strong { "What to do. " } (sentence(&words(&verdict.remedy))) }
            @if !verdict.evidence.is_empty() {
                ul.evidence { @for line in &verdict.evidence { li { (words(line)) } } }
            }
        }
    }
}
