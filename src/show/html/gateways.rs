//! Each gateway: how it stands, why, and its ladder.

use maud::{Markup, html};

use super::{causes::cause, ladder::step};
use crate::{
    fact::Fact,
    ladder::{GatewayDiagnosis, GatewayOutcome, LadderName},
    report::Report,
    words::{Count, sentence},
};

/// Gateways that are told of in full: those with a fault go first.
const MOST: usize = 50;

pub(super) fn section(report: &Report<'_>) -> Markup {
    let mut all: Vec<&GatewayDiagnosis> = report.gateways.iter().collect();
    if all.len() > MOST {
        all.sort_by_key(|gateway| !gateway.has_fault());
    }
    html! {
        @for (i, gateway) in all.iter().take(MOST).enumerate() {
            (article(i, gateway))
        }
        @if all.len() > MOST {
            p.facts { "Not shown: " (Count(all.len() - MOST, "more gateway")) "." }
        }
    }
}

/// A sentence on how the gateways stand, for the head of the page.
pub(super) fn lead(report: &Report<'_>) -> Markup {
    let all = report.gateways;
    let faulty = all.iter().filter(|gateway| gateway.has_fault()).count();
    let working = |gateway: &&GatewayDiagnosis| gateway.outcome == GatewayOutcome::Working;
    let open = all.len() - faulty - all.iter().filter(working).count();
    html! {
        @if !all.is_empty() {
            p.facts {
                (Count(all.len(), "gateway"))
                @if faulty > 0 { "; something is wrong with " (faulty) "." }
                @else if open > 0 { "; the capture does not decide about " (open) "." }
                @else { ", and nothing wrong found with what is in the capture." }
            }
        }
    }
}

fn article(place: usize, gateway: &GatewayDiagnosis) -> Markup {
    let id = format!("gateway-{}", place + 1);
    let ladder = gateway.ladder.view();
    // Of a gateway that is not in the capture there is one thing to say.
    let is_absent = gateway.outcome == GatewayOutcome::Silent && gateway.causes.is_empty();
    html! {
        article.gateway id=(id) aria-labelledby={ (id) "-name" } {
            h2 id={ (id) "-name" } { span.name { (name(gateway)) } " " (outcome(gateway)) }
            @if let (Some(eui), true) = (gateway.eui, gateway.name.is_some()) {
                p.facts { "EUI " span.digits { (eui) } }
            }
            @for (i, verdict) in gateway.causes.iter().enumerate() { (cause(i, verdict, &Fact::to_string)) }
            @if !gateway.next.is_empty() {
                section.next {
                    h3 { "What would decide" }
                    ul { @for step in &gateway.next { li { (sentence(&step.to_string())) } } }
                }
            }
            section {
                h3 { "The gateway's ladder" }
                ol.ladder {
                    @for rung in ladder.take(if is_absent { 1 } else { usize::MAX }) {
                        (step(LadderName::Gateway, rung, &gateway.causes, &Fact::to_string))
                    }
                }
            }
        }
    }
}

pub(super) fn name(gateway: &GatewayDiagnosis) -> String {
    match (&gateway.name, gateway.eui) {
        (Some(name), _) => format!("Gateway {name}"),
        (None, Some(eui)) => format!("Gateway {eui}"),
        (None, None) => "A gateway without a name".into(),
    }
}

/// How it stands, with a mark that does not rest on colour.
fn outcome(gateway: &GatewayDiagnosis) -> Markup {
    let (class, mark) = match (gateway.outcome, gateway.has_fault()) {
        (GatewayOutcome::Working, false) => ("proven", "\u{2713}"),
        (_, false) => ("unknown", "?"),
        (_, true) => ("broken", "\u{2715}"),
    };
    html! {
        span.outcome.(class) {
            span.mark aria-hidden="true" { (mark) }
            " " (gateway.outcome.words())
        }
    }
}
