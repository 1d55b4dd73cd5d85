//! Head and foot of the page, the list of nodes, and the head of a node.

use maud::{Markup, html};

use super::{anchor, gateways};
use crate::{
    ladder::{Diagnosis, Ladder, Outcome, Rungs, State, join},
    report::{NodePage, Report},
    show::headline,
    words::Count,
};

pub(super) fn header(report: &Report<'_>) -> Markup {
    let told = report.nodes.iter().map(|node| node.diagnosis);
    let all = told.chain(report.listed.iter().map(|(_, diagnosis)| *diagnosis));
    html! {
        header #top {
            h1 { "Join report" }
            p.lead { (headline::of_all(all, report.about.is_empty())) }
            (captured(report))
            (gateways::lead(report))
            @if report.shows_keys {
                p.caution role="note" {
                    strong { "This file holds keys." }
                    " Anyone who has it can read and forge the frames of these nodes. Keep it as you "
                    "would keep the keys."
                }
            }
            @if !report.nodes.is_empty() {
                (list(report))
            }
        }
    }
}

fn captured(report: &Report<'_>) -> Markup {
    let about = &report.about;
    html! {
        p.facts {
            @if let Some((from, to)) = about.span {
                "Captured " (from.strftime("%Y-%m-%d %H:%M:%S")) " to "
                @if from.strftime("%F").to_string() == to.strftime("%F").to_string() {
                    (to.strftime("%H:%M:%S UTC"))
                } @else {
                    (to.strftime("%Y-%m-%d %H:%M:%S UTC"))
                }
                "; "
            }
            (count(about.frames, "frame")) " read"
            @if about.crc_bad > 0 {
                ", " (count(about.crc_bad, "reception")) " with a bad CRC passed over"
            }
            @if about.stray_accepts > 0 {
                ", " (Count(about.stray_accepts, "Join-Accept"))
                " that answer no request in the capture"
            }
            "."
        }
    }
}

pub(super) fn count(n: u64, noun: &'static str) -> String {
    Count(usize::try_from(n).unwrap_or(usize::MAX), noun).to_string()
}

fn list(report: &Report<'_>) -> Markup {
    html! {
        nav aria-label="Nodes" {
            ol.nodes {
                @for (i, node) in report.nodes.iter().enumerate() {
                    li {
                        a href={ "#" (anchor(i)) } { (node.name) }
                        (line(node.diagnosis))
                    }
                }
                @for (name, diagnosis) in report.listed.iter().take(MOST_LISTED) {
                    li { span.name { (name) } (line(diagnosis)) }
                }
            }
            @if !report.listed.is_empty() {
                p.facts {
                    "Of these, " (report.nodes.len()) " are below, those with a fault first"
                    @if report.listed.len() > MOST_LISTED {
                        ", and " (report.listed.len() - MOST_LISTED) " more are not even listed"
                    }
                    "; " code { "handfast diagnose" } " prints all."
                }
            }
        }
    }
}

/// How a node ended, its ladder at a glance, and why.
fn line(diagnosis: &Diagnosis) -> Markup {
    html! {
        " "
        (outcome(diagnosis))
        span.strips aria-hidden="true" {
            span.pips {
                @for rung in diagnosis.join.iter().flat_map(Ladder::view) {
                    i class=(rung.judgement.state.name()) {}
                }
            }
            @if let Some(session) = &diagnosis.session {
                span.pips.of-session {
                    @for rung in session.ladder.view() {
                        i class=(rung.judgement.state.name()) {}
                    }
                }
            }
        }
        span.why { (why(diagnosis)) }
    }
}

fn why(diagnosis: &Diagnosis) -> String {
    match (diagnosis.causes.first(), diagnosis.first_broken()) {
        (Some(verdict), _) => verdict.cause.what.to_owned(),
        (None, Some(rung)) => format!("broken at rung {}, {}", rung.number(), rung.rung()),
        (None, None) => String::new(),
    }
}

/// How it ended, with a mark that does not rest on colour.
pub(super) fn outcome(diagnosis: &Diagnosis) -> Markup {
    let (class, mark) = match diagnosis.outcome {
        _ if diagnosis.is_fine() => ("proven", "\u{2713}"),
        Outcome::Joined | Outcome::Session if !diagnosis.has_fault() => ("unknown", "?"),
        Outcome::CannotTell | Outcome::AcceptedUnproven | Outcome::NotHeard => ("unknown", "?"),
        _ => ("broken", "\u{2715}"),
    };
    html! {
        span.outcome.(class) {
            span.mark aria-hidden="true" { (mark) }
            " " (diagnosis.outcome.words())
        }
    }
}

pub(super) fn node_head(id: &str, node: &NodePage<'_>) -> Markup {
    let diagnosis = node.diagnosis;
    html! {
        h2 id={ (id) "-name" } { span.name { (node.name) } " " (outcome(diagnosis)) }
        p.facts {
            @if let Some(eui) = diagnosis.dev_eui {
                "DevEUI " span.digits { (eui) } ", "
            }
            @if let Some(eui) = diagnosis.join_eui {
                "JoinEUI " span.digits { (eui) } ", "
            }
            @if let Some(plan) = diagnosis.plan { (plan.name) ", " }
            (Count(diagnosis.attempts, "attempt")) " to join, "
            (Count(diagnosis.data, "data frame")) " authenticated"
            @if let Some(words) = node.forgotten() { ", " (words) }
        }
    }
}

pub(super) fn footer() -> Markup {
    html! {
        footer {
            h2 { "How to read this" }
            p {
                "A join climbs ten rungs, or stops at one: each is one statement that a capture can "
                "prove. "
                @for (i, state) in [State::Proven, State::Broken, State::Unknown].iter().enumerate() {
                    @if i > 0 { ", " }
                    em { (state.name()) }
                    @match state {
                        State::Proven => " means that the evidence shows it to hold",
                        State::Broken => " that the evidence shows it not to hold",
                        State::Unknown => " that the evidence does not decide",
                    }
                }
                ". The first broken rung is the leg to fix; rung " (join::Rung::Proven.number())
                " is reached when data under the new address authenticates. "
                em { "Certain" } " means that a computation leaves nothing but an accident of the "
                "probability stated."
            }
            p {
                "Made by Handfast " (env!("CARGO_PKG_VERSION"))
                ". This file loads nothing and sends nothing."
            }
        }
    }
}

/// Lines of a list that people still read.
const MOST_LISTED: usize = 1_000;
