//! Frames, octet by octet. The script makes the octets answer pointer and keyboard; the table below
//! them says the same without it, and on paper.

use maud::{Markup, html};

use crate::{
    report::{FieldView, FrameOctets, FrameView, NodePage, Tone},
    words::Count,
};

pub(super) fn section(node: &NodePage<'_>) -> Markup {
    html! {
        @if !node.frames.is_empty() {
            section {
                h3 { "Frames, byte by byte" }
                @for one in &node.frames { (frame(one)) }
                @if node.more_frames > 0 {
                    p.facts {
                        "Not shown: " (Count(node.more_frames, "more frame")) "; "
                        code { "handfast read" } " reads all of a capture."
                    }
                }
            }
        }
    }
}

fn frame(frame: &FrameView) -> Markup {
    let class = match frame.tone {
        Tone::Good => "proven",
        Tone::Bad => "broken",
        Tone::Open => "unknown",
    };
    html! {
        section.frame {
            h4 { (frame.title) " " span.where { (frame.place) } }
            p.mic.(class) { (frame.mic) }
            @for part in &frame.parts { (octets(part, frame)) }
            @if !frame.problems.is_empty() {
                ul.problems { @for problem in &frame.problems { li { (problem) } } }
            }
        }
    }
}

fn octets(part: &FrameOctets, frame: &FrameView) -> Markup {
    let name = format!("{}, {}, {}", frame.title, frame.place, part.label);
    html! {
        div.octets data-name=(name) {
            p.part { (part.label) }
            div.strip {
                @for field in &part.fields {
                    span.field {
                        span.fname { (field.name) }
                        span.os { @for at in field.at.clone() {
                            span.o { (digits(part.all.get(at).copied().flatten())) }
                        } }
                    }
                }
            }
            p.say.idle { "Point at a byte, or walk with the arrow keys." }
            (table(&part.fields))
        }
    }
}

fn digits(octet: Option<u8>) -> String {
    octet.map_or_else(|| "\u{2022}\u{2022}".into(), |octet| format!("{octet:02X}"))
}

fn table(fields: &[FieldView]) -> Markup {
    html! {
        table.fields {
            thead { tr {
                th scope="col" { "Bytes" }
                th scope="col" { "Field" }
                th scope="col" { "Value" }
                th scope="col" { "Meaning" }
            } }
            tbody { @for field in fields {
                tr {
                    td data-l="Bytes" { (range(field)) }
                    td data-l="Field" { (field.name) }
                    td data-l="Value" { (field.value) }
                    td data-l="Meaning" { (field.meaning) }
                }
                @for bits in &field.bits {
                    tr.bits {
                        td data-l="Bytes" { (bits.place) }
                        td data-l="Field" { (bits.name) }
                        td data-l="Value" { (bits.digits) }
                        td data-l="Meaning" { (bits.meaning) }
                    }
                }
            } }
        }
    }
}

fn range(field: &FieldView) -> String {
    let last = field.at.end.saturating_sub(1);
    if last <= field.at.start {
        field.at.start.to_string()
    } else {
        format!("{}\u{2013}{last}", field.at.start)
    }
}
