//! An attempt to join, drawn to scale: the request, the windows, the accept and what fell outside.

use std::fmt::Write;

use maud::{Markup, html};

use super::{Scale, ticks};
use crate::{
    report::{Bar, Exchange, Fit, NodePage, Shape},
    words::Count,
};

pub(super) fn section(node: &NodePage<'_>) -> Markup {
    html! {
        @if !node.exchanges.is_empty() {
            section {
                h3 { "The exchange in time" }
                @for exchange in &node.exchanges { (figure(exchange)) }
                @if node.more_attempts > 0 {
                    p.facts { "Not drawn: " (Count(node.more_attempts, "more attempt")) "." }
                }
            }
        }
    }
}

pub(super) fn figure(exchange: &Exchange) -> Markup {
    html! {
        figure {
            figcaption {
                (exchange.title)
                @if exchange.told { span.told { "the ladder is about this one" } }
            }
            (drawing(exchange))
            @for note in &exchange.notes { p.note { (note) } }
        }
    }
}

fn drawing(exchange: &Exchange) -> Markup {
    let (from, to) = exchange.scale;
    let scale = Scale { from: seconds(from), to: seconds(to), margins: (0.0, 0.0) };
    let mut top = 0;
    let rows: Vec<(u32, &Bar)> = exchange
        .bars
        .iter()
        .map(|bar| {
            let y = top;
            top += if bar.wrong.is_empty() { ROW } else { ROW + LINE };
            (y, bar)
        })
        .collect();
    let height = top + AXIS;
    // Labels of seconds need room: no more than ten.
    let ticks = ticks(scale.from, scale.to, 10.0);
    html! {
        svg.time width="100%" height=(height) role="img" aria-label=(spoken(exchange)) {
            @for (y, bar) in rows {
                @for (opens, closes) in &exchange.windows {
                    rect.band x=(scale.x(seconds(*opens))) y=(y + 20)
                        width=(scale.width(seconds(*opens), seconds(*closes))) height="16" {}
                }
                @for tick in &ticks {
                    line.grid x1=(scale.x(*tick)) x2=(scale.x(*tick)) y1=(y + 20) y2=(y + 36) {}
                }
                (row(y, bar, scale))
            }
            @for tick in &ticks {
                text.tick x=(scale.x(*tick)) y=(top + 12) { (tick_text(*tick)) }
            }
        }
    }
}

fn row(y: u32, bar: &Bar, scale: Scale) -> Markup {
    let beyond = seconds(bar.from) > scale.to;
    let class = match (bar.shape, bar.fit) {
        (Shape::Window, _) => "window",
        (_, Fit::Plain) => "plain",
        (_, Fit::Inside) => "inside",
        (_, Fit::Outside) => "outside",
        (_, Fit::Unsent) => "unsent",
    };
    let (from, to) = (seconds(bar.from), seconds(bar.to));
    html! {
        text.label x="0" y=(y + 15) { (bar.label) }
        text.detail x="100%" y=(y + 15) { (bar.detail) }
        line.track x1="0" x2="100%" y1=(y + 28) y2=(y + 28) {}
        @if beyond {
            text.beyond x="100%" y=(y + 33) { "beyond the scale \u{2192}" }
        } @else if bar.shape == Shape::Moment {
            svg x=(scale.x(from)) y=(y + 28) overflow="visible" {
                path.moment.(class) d="M0 -7 L6 0 L0 7 L-6 0 Z" {}
            }
        } @else {
            rect.bar.(class) x=(scale.x(from)) y=(y + 22) width=(scale.width(from, to)) height="12" {}
        }
        @if !bar.wrong.is_empty() {
            text.wrong x="0" y=(y + ROW + 6) { "\u{2715} " (bar.wrong.join("; ")) }
        }
    }
}

/// The drawing in words, for those who do not see it.
fn spoken(exchange: &Exchange) -> String {
    let bars = exchange.bars.iter().map(|bar| {
        let mut words = format!("{}: {}", bar.label, bar.detail);
        if !bar.wrong.is_empty() {
            let _ = write!(words, " ({} {})", bar.fit.words(), bar.wrong.join("; "));
        }
        words
    });
    format!("Times after the end of the uplink. {}.", bars.collect::<Vec<_>>().join(". "))
}

fn tick_text(tick: f64) -> String {
    let text = format!("{tick:.1}");
    let text = text.strip_suffix(".0").unwrap_or(&text);
    if text == "0" || text == "-0" {
        "0".into()
    } else {
        format!("{} s", text.replace('-', "\u{2212}"))
    }
}

#[expect(clippy::cast_precision_loss, reason = "microseconds of some seconds")]
fn seconds(us: i64) -> f64 {
    us as f64 / 1e6
}

/// Pixels from one row to the next, of the line under it, and of the axis.
const ROW: u32 = 44;
const LINE: u32 = 24;
const AXIS: u32 = 22;
