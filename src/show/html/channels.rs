//! The channels that a node used, drawn against those of the plan.

use maud::{Markup, html};

use super::{Scale, ticks};
use crate::{
    region::Megahertz,
    report::{Channels, Lane, LaneKind, NodePage},
};

pub(super) fn section(node: &NodePage<'_>) -> Markup {
    html! {
        @if let Some(channels) = &node.channels {
            section {
                h3 { "Channels" }
                figure {
                    (drawing(channels))
                    (table(channels))
                }
            }
        }
    }
}

fn drawing(channels: &Channels) -> Markup {
    let (low, high) = channels.span;
    let scale =
        Scale { from: Megahertz(low).get(), to: Megahertz(high).get(), margins: (3.0, 2.0) };
    let lanes = channels.lanes.iter().zip((0..).step_by(ROW as usize));
    let top = u32::try_from(channels.lanes.len()).unwrap_or_default() * ROW;
    let label = format!(
        "Frequencies from {} to {} MHz; the table below has the same.",
        Megahertz(low),
        Megahertz(high)
    );
    html! {
        svg.dial width="100%" height=(top + AXIS) role="img" aria-label=(label) {
            @for tick in ticks(scale.from, scale.to, 6.0) {
                @for (_, y) in lanes.clone() {
                    line.grid x1=(scale.x(tick)) x2=(scale.x(tick)) y1=(y + 20) y2=(y + 32) {}
                }
                text.tick x=(scale.x(tick)) y=(top + 15) { (tick_text(tick)) }
            }
            @for (one, y) in lanes { (lane(one, y, channels, scale)) }
        }
    }
}

fn lane(lane: &Lane, y: u32, channels: &Channels, scale: Scale) -> Markup {
    let (low, high) = channels.span;
    let inside = lane.marks.iter().filter(|(hz, ..)| (low..=high).contains(hz));
    html! {
        text.label x="0" y=(y + 14) { (lane.label) }
        line.track x1="0" x2="100%" y1=(y + 26) y2=(y + 26) {}
        @for (hz, count, off) in inside {
            @let x = scale.x(Megahertz(*hz).get());
            @match (lane.kind, off) {
                (LaneKind::Allowed, _) => line.allowed x1=(x) x2=(x) y1=(y + 19) y2=(y + 33) {},
                (LaneKind::Used, false) => circle.used cx=(x) cy=(y + 26) r=(radius(*count)) {},
                (LaneKind::Used, true) => svg x=(x) y=(y + 26) overflow="visible" {
                    path.off d="M-6 -6 L6 6 M6 -6 L-6 6" {}
                },
            }
        }
    }
}

/// More frames, a larger dot; by area, within reason.
fn radius(count: usize) -> String {
    let count = f64::from(u32::try_from(count).unwrap_or(u32::MAX));
    format!("{:.1}", (3.0 + 1.5 * count.sqrt()).min(9.0))
}

fn table(channels: &Channels) -> Markup {
    html! {
        table {
            thead { tr {
                th scope="col" { "MHz" }
                th scope="col" { "Requests" }
                th scope="col" { "Data" }
                th scope="col" {
                    @match channels.plan { Some(plan) => (plan.name), None => "No region is known" }
                }
            } }
            tbody { @for used in channels.uses.iter().take(MOST) {
                tr.off[used.off_plan] {
                    td data-l="MHz" { (Megahertz(used.freq_hz)) }
                    td data-l="Requests" { (used.requests) }
                    td data-l="Data" { (used.data) }
                    td data-l="Plan" {
                        @if used.off_plan { span.mark aria-hidden="true" { "\u{2715} " } }
                        (used.words)
                    }
                }
            } }
        }
        @if channels.uses.len() > MOST {
            p.facts { "And " (channels.uses.len() - MOST) " more." }
        }
    }
}

fn tick_text(tick: f64) -> String {
    let text = format!("{tick:.2}");
    text.strip_suffix('0').unwrap_or(&text).to_owned()
}

/// Pixels of a lane, and of the axis.
const ROW: u32 = 40;
const AXIS: u32 = 22;
/// Rows of the table.
const MOST: usize = 100;
