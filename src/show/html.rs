//! A report as one page: a file of its own, with style, script and drawings inside.
//!
//! | file | part |
//! |------|------|
//! | `overview` | what was captured, and the nodes with how they ended |
//! | `causes` | why, with the evidence, and what to do |
//! | `gateways` | each gateway with its ladder |
//! | `ladder` | the ten rungs |
//! | `claims` | what each place states, one above the other |
//! | `timeline` | an attempt to join, drawn to scale |
//! | `channels` | the channels used against the plan |
//! | `signal` | RSSI and SNR against the demodulation floor |
//! | `octets` | frames, octet by octet |
//! | `ticket` | a paragraph to paste |
//! | `strangers` | what was heard that is on no roster |
//!
//! Everything that comes from a roster or a capture goes through the template, which escapes it.
//! The page's policy lets nothing run but its own script, named by its hash, and nothing be loaded.
//!
//! Drawings place their parts in hundredths of their width, so that they fit a phone and a sheet of
//! paper with letters of the same size.

mod causes;
mod channels;
mod claims;
mod gateways;
mod ladder;
mod octets;
mod overview;
mod session;
mod signal;
mod strangers;
mod ticket;
mod timeline;

use std::fmt;

use base64::{Engine, engine::general_purpose::STANDARD};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use sha2::{Digest, Sha256};

use crate::{
    report::{NodePage, Report},
    words::visible_lines,
};

const STYLE: &str = include_str!("html/report.css");
const SCRIPT: &str = include_str!("html/report.js");

/// Writes the report as an HTML file.
///
/// # Errors
/// Whatever the writer says.
pub fn report(report: &Report<'_>, out: &mut dyn fmt::Write) -> fmt::Result {
    out.write_str(&visible_lines(&page(report).into_string()))
}

fn page(report: &Report<'_>) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy());
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="referrer" content="no-referrer";
                meta name="generator" content={ "Handfast " (env!("CARGO_PKG_VERSION")) };
                title { (title(report)) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                (overview::header(report))
                main {
                    (gateways::section(report))
                    @for (i, node) in report.nodes.iter().enumerate() {
                        (article(i, node))
                    }
                    (strangers::section(report))
                }
                (overview::footer())
                script { (PreEscaped(SCRIPT)) }
            }
        }
    }
}

/// Nothing is loaded, nothing is sent, and nothing runs but what this program wrote.
fn policy() -> String {
    let hash = |text: &str| STANDARD.encode(Sha256::digest(text.as_bytes()));
    format!(
        "default-src 'none'; style-src 'sha256-{}'; script-src 'sha256-{}'; base-uri 'none'; \
         form-action 'none'",
        hash(STYLE),
        hash(SCRIPT)
    )
}

fn title(report: &Report<'_>) -> String {
    match report.nodes.as_slice() {
        [one] => format!("Join report: {}", one.name),
        _ => "Join report".into(),
    }
}

fn article(place: usize, node: &NodePage<'_>) -> Markup {
    let id = anchor(place);
    html! {
        article id=(id) aria-labelledby={ (id) "-name" } {
            (overview::node_head(&id, node))
            (causes::section(node))
            (ticket::section(&id, node))
            (ladder::section(node))
            (claims::section(node))
            (timeline::section(node))
            (session::section(node))
            (channels::section(node))
            (signal::section(node))
            (octets::section(node))
            p.back { a href="#top" { "To the list of nodes" } }
        }
    }
}

/// The name of a node's part in the page, which a roster has no part in.
fn anchor(place: usize) -> String {
    format!("node-{}", place + 1)
}

/// A place in a drawing, in hundredths of its width.
#[derive(Clone, Copy)]
struct Scale {
    from: f64,
    to: f64,
    /// What is kept free at the left and at the right, in hundredths.
    margins: (f64, f64),
}

impl Scale {
    fn at(self, value: f64) -> f64 {
        let span = (self.to - self.from).max(f64::EPSILON);
        let (left, right) = self.margins;
        let place = left + (value - self.from) / span * (100.0 - left - right);
        place.clamp(0.0, 100.0)
    }

    fn x(self, value: f64) -> String {
        format!("{:.2}%", self.at(value))
    }

    /// The width from one value to another; a hair where there is next to none.
    fn width(self, from: f64, to: f64) -> String {
        format!("{:.2}%", (self.at(to) - self.at(from)).max(0.4))
    }
}

/// Marks at round values, `most` of them or a few less.
fn ticks(from: f64, to: f64, most: f64) -> Vec<f64> {
    if to <= from {
        return Vec::new();
    }
    let rough = (to - from) / most;
    let power = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].map(|m| m * power);
    let step = step.into_iter().find(|step| *step >= rough).unwrap_or(power * 10.0);
    let mut tick = (from / step).ceil() * step;
    let mut out = Vec::new();
    while tick <= to && out.len() < 64 {
        out.push(tick);
        tick += step;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_few() {
        assert_eq!(ticks(0.0, 10.0, 5.0), [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]);
        let megahertz = ticks(866.9, 869.6, 6.0);
        assert!(megahertz.len() <= 6 && megahertz.len() > 3, "{megahertz:?}");
        assert!(ticks(5.0, 5.0, 5.0).is_empty());
    }

    #[test]
    fn a_scale_never_leaves_the_drawing() {
        let scale = Scale { from: 0.0, to: 10.0, margins: (10.0, 0.0) };
        assert_eq!(scale.x(5.0), "55.00%");
        assert_eq!(scale.x(1e12), "100.00%");
        let flat = Scale { from: 1.0, to: 1.0, margins: (0.0, 0.0) };
        assert!(flat.at(1.0).is_finite());
    }

    #[test]
    fn style_and_script_load_nothing() {
        for text in [STYLE, SCRIPT] {
            assert!(!text.contains("://") && !text.contains("url(") && !text.contains("@import"));
            assert!(!text.contains("</"), "it would end its own element");
        }
    }
}
