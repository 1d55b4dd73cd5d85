//! The session: the settings of both sides, and its last downlinks drawn to scale.

use maud::{Markup, html};

use super::timeline::figure;
use crate::{
    report::{NodePage, SettingView},
    words::Count,
};

pub(super) fn section(node: &NodePage<'_>) -> Markup {
    let Some(session) = &node.session else { return html! {} };
    html! {
        @if !session.settings.is_empty() {
            section {
                h3 { "The settings of both sides" }
                p.facts {
                    "In the end of the session. What the server holds shows in its downlinks alone."
                }
                div {
                    table.settings {
                        thead {
                            tr {
                                th { "Setting" } th { "In force" } th { "Set by" }
                                th { "The server\u{2019}s last downlink" }
                            }
                        }
                        tbody { @for one in &session.settings { (setting(one)) } }
                    }
                }
            }
        }
        @if !session.downlinks.is_empty() {
            section {
                h3 { "The downlinks in time" }
                @for downlink in &session.downlinks { (figure(downlink)) }
                @if session.more > 0 {
                    p.facts { "Not drawn: " (Count(session.more, "more downlink")) "." }
                }
            }
        }
    }
}

fn setting(one: &SettingView) -> Markup {
    html! {
        tr.differ[one.differs] {
            th scope="row" { (one.name) }
            td data-l="In force" { (one.in_force) }
            td data-l="Set by" { (one.set_by) }
            td data-l="Server" {
                (one.server)
                @if one.differs { " " strong { "\u{2715} another value" } }
            }
        }
    }
}
