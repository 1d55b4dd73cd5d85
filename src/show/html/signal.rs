//! RSSI and SNR of the receptions against the demodulation floor.

use maud::{Markup, html};

use super::{Scale, ticks};
use crate::report::{NodePage, Point, Signal};

pub(super) fn section(node: &NodePage<'_>) -> Markup {
    let signal = &node.signal;
    html! {
        @if !signal.points.is_empty() {
            section {
                h3 { "Signal" }
                p.note {
                    "A dot is a reception, in the order of the capture; the line under its SNR is the "
                    "least at which that data rate is read."
                }
                figure {
                    (panel(signal, &SNR))
                    (panel(signal, &RSSI))
                    @if signal.earlier > 0 {
                        p.facts { (signal.earlier) " earlier receptions are not drawn." }
                    }
                    details {
                        summary { "The numbers" }
                        (table(signal))
                    }
                }
            }
        }
    }
}

/// One of the two drawings.
struct Panel {
    title: &'static str,
    unit: &'static str,
    value: fn(&Point) -> Option<f32>,
    floor: fn(&Point) -> Option<f32>,
    height: u32,
    /// What the scale covers at least.
    least: (f32, f32),
}

static SNR: Panel = Panel {
    title: "SNR",
    unit: "dB",
    value: |point| point.snr,
    floor: |point| point.floor,
    height: 190,
    least: (-22.0, 10.0),
};

static RSSI: Panel = Panel {
    title: "RSSI",
    unit: "dBm",
    value: |point| point.rssi,
    floor: |_| None,
    height: 130,
    least: (-125.0, -70.0),
};

fn panel(signal: &Signal, panel: &Panel) -> Markup {
    let points = &signal.points;
    let values = || points.iter().flat_map(|p| [(panel.value)(p), (panel.floor)(p)]).flatten();
    let low = values().fold(panel.least.0, f32::min).max(-300.0);
    let high = values().fold(panel.least.1, f32::max).min(300.0);
    let y = |value: f32| {
        let share = f64::from((high - value) / (high - low).max(1.0)).clamp(0.0, 1.0);
        format!("{:.1}", f64::from(HEAD) + share * f64::from(panel.height - HEAD - 8))
    };
    let slots = f64::from(u32::try_from(points.len()).unwrap_or(u32::MAX));
    // A lone reception stands near the scale, not far out in the middle.
    let scale = Scale { from: 0.0, to: slots.max(8.0), margins: (11.0, 0.0) };
    let label = spoken(signal, panel);
    html! {
        svg.signal width="100%" height=(panel.height) role="img" aria-label=(label) {
            text.label x="0" y="12" { (panel.title) ", " (panel.unit) }
            @for tick in ticks(f64::from(low), f64::from(high), 4.0) {
                @let at = y(narrow(tick));
                line.grid x1="0" x2="100%" y1=(at) y2=(at) {}
                text.scale x="0" y=(at) dy="-3" { (tick_text(tick)) }
            }
            @for (point, slot) in points.iter().zip(0u32..) {
                (mark(point, panel, f64::from(slot), scale, &y))
            }
        }
    }
}

fn mark(
    point: &Point,
    panel: &Panel,
    slot: f64,
    scale: Scale,
    y: &dyn Fn(f32) -> String,
) -> Markup {
    let (left, middle, right) = (scale.x(slot + 0.15), scale.x(slot + 0.5), scale.x(slot + 0.85));
    let floor = (panel.floor)(point);
    let below = point.margin().is_some_and(|margin| margin < 0.0);
    html! {
        @if let Some(floor) = floor {
            line.floor x1=(left) x2=(right) y1=(y(floor)) y2=(y(floor)) {}
        }
        @if let Some(value) = (panel.value)(point) {
            @if let Some(floor) = floor {
                line.stem x1=(middle) x2=(middle) y1=(y(floor)) y2=(y(value)) {}
            }
            @if below && floor.is_some() {
                svg x=(middle) y=(y(value)) overflow="visible" {
                    path.off d="M-5 -5 L5 5 M5 -5 L-5 5" {}
                }
            } @else {
                circle.used cx=(middle) cy=(y(value)) r="4.5" {}
            }
        }
    }
}

fn tick_text(tick: f64) -> String {
    let text = format!("{tick:.0}");
    if text == "-0" { "0".into() } else { text.replace('-', "\u{2212}") }
}

fn spoken(signal: &Signal, panel: &Panel) -> String {
    let values: Vec<f32> = signal.points.iter().filter_map(|p| (panel.value)(p)).collect();
    let low = values.iter().copied().fold(f32::INFINITY, f32::min);
    let high = values.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    if values.is_empty() {
        return format!("{}: not said by the gateways.", panel.title);
    }
    let unit = panel.unit;
    format!("{}: {} receptions, {low} to {high} {unit}.", panel.title, values.len())
}

fn table(signal: &Signal) -> Markup {
    html! {
        table {
            thead { tr {
                th scope="col" { "Where" }
                th scope="col" { "What" }
                th scope="col" { "Data rate" }
                th scope="col" { "RSSI" }
                th scope="col" { "SNR" }
                th scope="col" { "Floor" }
                th scope="col" { "Margin" }
            } }
            tbody { @for point in &signal.points {
                tr {
                    td data-l="Where" {
                        (point.place)
                        @if let Some(eui) = point.gateway { ", " span.digits { (eui) } }
                    }
                    td data-l="What" { (point.what) }
                    td data-l="Data rate" {
                        @match point.modulation { Some(m) => (m), None => "not said" }
                    }
                    td data-l="RSSI" { (or_unsaid(point.rssi, "dBm")) }
                    td data-l="SNR" { (or_unsaid(point.snr, "dB")) }
                    td data-l="Floor" { (or_unsaid(point.floor, "dB")) }
                    td data-l="Margin" { (or_unsaid(point.margin(), "dB")) }
                }
            } }
        }
    }
}

fn or_unsaid(value: Option<f32>, unit: &str) -> String {
    value.map_or_else(|| "not said".into(), |value| format!("{value:.1} {unit}"))
}

/// Pixels above the highest value: the title, and the words of the scale.
const HEAD: u32 = 38;

#[expect(clippy::cast_possible_truncation, reason = "a scale of some hundred decibels")]
fn narrow(value: f64) -> f32 {
    value as f32
}
