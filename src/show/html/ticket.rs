//! A paragraph to paste, and a button that copies it.

use maud::{Markup, html};

use crate::report::NodePage;

pub(super) fn section(id: &str, node: &NodePage<'_>) -> Markup {
    html! {
        section.ticket {
            h3 { "For the ticket" }
            p id={ (id) "-ticket" } { (node.ticket) }
            button type="button" hidden data-copy={ (id) "-ticket" }
                aria-label={ "Copy the paragraph on " (node.name) } { "Copy" }
        }
    }
}
