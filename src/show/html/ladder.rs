//! The ten rungs, each with its state and what shows it.

use maud::{Markup, html};

use crate::{
    ladder::{RungReport, State},
    report::NodePage,
    words::sentence,
};

pub(super) fn section(node: &NodePage<'_>) -> Markup {
    html! {
        section {
            h3 { "The ladder" }
            ol.ladder { @for rung in &node.diagnosis.rungs { (step(rung, node)) } }
        }
    }
}

fn step(report: &RungReport, node: &NodePage<'_>) -> Markup {
    let RungReport { rung, judgement } = report;
    let state = judgement.state;
    let causes = node.causes.iter().filter(|v| v.rung == Some(*rung) && state == State::Broken);
    html! {
        li class=(state.name()) {
            (drawing(state))
            div {
                p.rung {
                    span.number { (rung.number()) } " "
                    strong { (rung.name()) } " "
                    span.state { (state.name()) } " "
                    span.statement { (rung.statement()) }
                }
                @for line in &judgement.evidence { p.evidence { (line) } }
                @for verdict in causes {
                    p.remedy { code { (verdict.cause.id) } ": " (sentence(&verdict.remedy)) }
                }
            }
        }
    }
}

/// A rung between its two rails: whole, broken in the middle, or not there to be seen.
fn drawing(state: State) -> Markup {
    html! {
        span.rails aria-hidden="true" {
            svg width="40" height="24" viewBox="0 0 40 24" {
                @match state {
                    State::Proven => path d="M2 12 H38" {},
                    State::Broken => path d="M2 9 L16 14 l-2 4 M38 9 L25 15 l3 3" {},
                    State::Unknown => path.dotted d="M2 12 H38" {},
                }
            }
        }
    }
}
