//! What each place states of a node, one above the other, with the digits that differ marked.

use maud::{Markup, html};

use crate::{
    report::{Member, NodePage, ShownValue, Standing},
    words::sentence,
};

pub(super) fn section(node: &NodePage<'_>) -> Markup {
    let (both, alone): (Vec<&Member>, Vec<&Member>) =
        node.members.iter().partition(|member| member.standing != Standing::Alone);
    html! {
        @if !node.members.is_empty() {
            section {
                h3 { "What each place states" }
                dl.claims {
                    @for one in both.iter().filter(|m| m.standing == Standing::Differ) {
                        (member(one))
                    }
                    @for one in both.iter().filter(|m| m.standing == Standing::Alike) {
                        (member(one))
                    }
                }
                @if !alone.is_empty() {
                    p.facts {
                        "Stated in one place only: "
                        @for (i, one) in alone.iter().enumerate() {
                            @if i > 0 { "; " }
                            (one.name)
                            @for (place, value) in &one.lines {
                                " " (text(value)) " (" (place) ")"
                            }
                        }
                        "."
                    }
                }
            }
        }
    }
}

fn member(member: &Member) -> Markup {
    let places: Vec<&str> = member.lines.iter().map(|(place, _)| *place).collect();
    html! {
        @if member.standing == Standing::Differ {
            div.differ {
                dt { (member.name) " " span.standing { (member.standing.words()) } }
                @for (place, value) in &member.lines {
                    dd { span.place { (place) } (shown(value)) }
                }
                @if let Some(words) = &member.words { dd.words { (sentence(words)) } }
            }
        } @else {
            div.alike {
                dt { (member.name) }
                @if let Some((_, value)) = member.lines.first() { dd { (shown(value)) } }
                dd.standing { (places.join(", ")) " " (member.standing.words()) }
            }
        }
    }
}

fn shown(value: &ShownValue) -> Markup {
    match value {
        ShownValue::Text(text) => html! { span.value { (text) } },
        ShownValue::Digits { digits, marks } => {
            html! { span.value.digits { (cells(digits.chars(), marks)) } }
        }
        ShownValue::Masked { marks } if marks.is_empty() => html! { span.value { "not shown" } },
        ShownValue::Masked { marks } => html! {
            span.value.digits.masked {
                span aria-hidden="true" { (cells(std::iter::repeat_n('\u{2022}', KEY_DIGITS), marks)) }
                span.unseen { "a key, not shown" }
            }
        },
    }
}

/// Digits in octets, some of them marked.
fn cells(digits: impl Iterator<Item = char>, marks: &[usize]) -> Markup {
    html! {
        @for (i, digit) in digits.enumerate() {
            @if i > 0 && i % 2 == 0 { wbr; span.gap { } }
            @if marks.contains(&(i + 1)) { mark { (digit.to_ascii_uppercase()) } }
            @else { (digit.to_ascii_uppercase()) }
        }
    }
}

fn text(value: &ShownValue) -> String {
    match value {
        ShownValue::Text(text) => text.clone(),
        ShownValue::Digits { digits, .. } => digits.to_ascii_uppercase(),
        ShownValue::Masked { .. } => "a key, not shown".into(),
    }
}

const KEY_DIGITS: usize = 32;
