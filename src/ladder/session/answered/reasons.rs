//! Why what asks for an answer gets none, where another fault says it.

use super::{
    super::{Case, Story, keys, leaps, old, strays},
    asks::{self, Asked},
};

/// So many confirmed uplinks in vain, and the server says nothing at all.
const MUTE: usize = 3;
/// ADR_ACK_DELAY.
const ADR_ACK_DELAY: usize = 32;

/// Whether a fault of the session is known for which the server drops the node's uplinks, or sends its
/// answers elsewhere.
pub(in crate::ladder) fn are_known(case: &Case<'_>, story: &Story<'_>) -> bool {
    leaps::up(story).is_some()
        || story.settings.published
        || !old::downs(case, story).is_empty()
        || keys::network_key(case, story).is_some()
        || strays::address_typed_wrong(case, story).is_some()
}

/// Whether no downlink comes at all since the first of some turns: then that is the fault, and not the
/// one answer that is missing.
pub(in crate::ladder) fn is_mute(case: &Case<'_>, story: &Story<'_>, open: &[usize]) -> bool {
    let in_vain = |kind| asks::in_vain(case, story, kind).len();
    asks::downs_in(story, open) == 0
        && (in_vain(Asked::Ack) >= MUTE || in_vain(Asked::Downlink) > ADR_ACK_DELAY)
}
