//! The ten rungs, each with its state and what shows it.

use maud::{Markup, html};

use crate::{
    fact::Fact,
    ladder::{LadderName, RungView, State, Verdict},
    report::NodePage,
    words::sentence,
};

pub(super) fn section(node: &NodePage<'_>) -> Markup {
    html! {
        @if let Some(join) = &node.diagnosis.join {
            section {
                h3 { "The join ladder" }
                ol.ladder { @for rung in join.view() { (own(LadderName::Join, rung, node)) } }
            }
        }
        @if let Some(session) = &node.diagnosis.session {
            section {
                h3 { "The session ladder" }
                p.facts { "DevAddr " span.digits { (session.dev_addr) } }
                ol.ladder {
                    @for rung in session.ladder.view() { (own(LadderName::Session, rung, node)) }
                }
            }
        }
    }
}

fn own(ladder: LadderName, rung: RungView<'_>, node: &NodePage<'_>) -> Markup {
    step(ladder, rung, &node.diagnosis.causes, &|fact| node.words(fact))
}

/// A rung, and what to do about the causes that break it; `words` says a fact as the page does.
pub(super) fn step(
    ladder: LadderName,
    rung: RungView<'_>,
    causes: &[Verdict],
    words: &dyn Fn(&Fact) -> String,
) -> Markup {
    let judgement = rung.judgement;
    let state = judgement.state;
    let here = |v: &&Verdict| v.place.ladder() == ladder && v.place.rung() == rung.name;
    let causes = causes.iter().filter(here).filter(|_| state == State::Broken);
    html! {
        li class=(state.name()) {
            (drawing(state))
            div {
                p.rung {
                    span.number { (rung.number) } " "
                    strong { (rung.name) } " "
                    span.state { (state.name()) } " "
                    span.statement { (rung.statement) }
                }
                @for fact in &judgement.evidence { p.evidence { (words(fact)) } }
                @for verdict in causes {
                    p.remedy { code { (verdict.cause.id.name()) } ": " (sentence(&words(&verdict.remedy))) }
                }
            }
        }
    }
}

/// A rung between its two rails: whole, broken in the middle, or not there to be seen.
pub(super) fn drawing(state: State) -> Markup {
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
