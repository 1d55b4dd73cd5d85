//! Nodes and addresses that are on no roster, and the gateways that heard it all.

use maud::{Markup, html};

use super::overview::count;
use crate::{
    report::{GatewayLine, Report, Stranger},
    words::Count,
};

pub(super) fn section(report: &Report<'_>) -> Markup {
    html! {
        @if !report.strangers.is_empty() || !report.foreign.is_empty() {
            article.strangers aria-labelledby="strangers" {
                h2 #strangers { "Heard, and on no roster" }
                @if !report.strangers.is_empty() { (strangers(&report.strangers)) }
                @if !report.foreign.is_empty() { (foreign(report)) }
                @if report.unlisted != (0, 0) {
                    p.facts {
                        "Too many to list: " (count(report.unlisted.0, "request")) " and "
                        (count(report.unlisted.1, "data frame")) " more."
                    }
                }
            }
        }
        @if !report.about.gateways.is_empty() {
            article.gateways aria-labelledby="gateways" {
                h2 #gateways { "Gateways" }
                (gateways(&report.about.gateways))
            }
        }
    }
}

fn strangers(all: &[Stranger]) -> Markup {
    html! {
        p {
            (Count(all.len(), "node")) " asked to join. No matter whose they are, their keys are not at "
            "hand, and no more can be said of them than what they send in the open."
        }
        table {
            thead { tr {
                th scope="col" { "DevEUI" }
                th scope="col" { "JoinEUI" }
                th scope="col" { "Requests" }
                th scope="col" { "Heard" }
                th scope="col" { "Strongest" }
            } }
            tbody { @for one in all.iter().take(MOST) {
                tr {
                    td data-l="DevEUI" { span.digits { (or_none(one.dev_eui)) } }
                    td data-l="JoinEUI" { span.digits { (or_none(one.join_eui)) } }
                    td data-l="Requests" { (one.attempts) ", " (one.answered) " answered" }
                    td data-l="Heard" {
                        @match (one.first, one.last) {
                            (Some(first), Some(last)) if first != last => {
                                (first.strftime("%H:%M:%S")) " to " (last.strftime("%H:%M:%SZ"))
                            }
                            (Some(first), _) => (first.strftime("%H:%M:%SZ")),
                            _ => "at no known time",
                        }
                    }
                    td data-l="Strongest" {
                        @if let Some(rssi) = one.rssi { (rssi) " dBm" } @else { "not said" }
                    }
                }
            } }
        }
        @if all.len() > MOST { p.facts { "And " (all.len() - MOST) " more." } }
    }
}

fn or_none(value: Option<impl std::fmt::Display>) -> String {
    value.map_or_else(|| "none".into(), |value| value.to_string())
}

fn foreign(report: &Report<'_>) -> Markup {
    let all = &report.foreign;
    html! {
        p {
            "Data under " (Count(all.len(), "DevAddr")) " that no key at hand belongs to: "
            @for (i, (addr, n)) in all.iter().take(MOST).enumerate() {
                @if i > 0 { ", " }
                span.digits { (addr) } " (" (count(*n, "frame")) ")"
            }
            @if all.len() > MOST { ", and " (all.len() - MOST) " more" }
            "."
        }
    }
}

fn gateways(all: &[GatewayLine]) -> Markup {
    html! {
        table {
            thead { tr {
                th scope="col" { "Gateway" }
                th scope="col" { "Frames heard" }
                th scope="col" { "Bad CRC" }
                th scope="col" { "Counter began again" }
            } }
            tbody { @for one in all.iter().take(MOST) {
                tr {
                    td data-l="Gateway" {
                        @if let Some(name) = &one.name { (name) " " }
                        span.digits { (or_none(one.eui)) }
                    }
                    td data-l="Frames heard" { (one.frames) }
                    td data-l="Bad CRC" { (one.crc_bad) }
                    td data-l="Counter began again" { (Count(one.restarts, "time")) }
                }
            } }
        }
        @if all.len() > MOST { p.facts { "And " (all.len() - MOST) " more." } }
    }
}

/// Rows of a table that people still read.
const MOST: usize = 200;
