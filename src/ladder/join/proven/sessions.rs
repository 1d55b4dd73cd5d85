//! The sessions that an attempt began, and what of them does not verify.

use crate::{
    frame::DataFrame,
    ladder::join::Case,
    trace::{Data, Line, Origin, Session},
};

/// Sessions that began with the accepts of an attempt.
pub(super) fn sessions_of<'a>(
    case: &Case<'a>,
    index: usize,
) -> impl Iterator<Item = &'a Session> + use<'a> {
    case.node
        .sessions
        .iter()
        .filter(move |s| matches!(s.origin, Origin::Accept { attempt, .. } if attempt == index))
}

/// Where the first uplink of a session's address stands that no key on hand verifies.
pub(super) fn first_unverified(case: &Case<'_>, session: &Session) -> Option<Line> {
    let own = case.node.unverified.iter().filter(|data| data.frame().dev_addr == session.dev_addr);
    own.filter_map(Data::heard).map(|heard| heard.first().line).min()
}

/// Data of a session's address that authenticates under no key on hand.
pub(super) fn unverified<'a>(case: &Case<'a>, session: &Session) -> Vec<&'a DataFrame> {
    let addr = session.dev_addr;
    case.node
        .unverified
        .iter()
        .filter(|data| matches!(data, Data::Up { .. }))
        .map(Data::frame)
        .filter(|frame| frame.dev_addr == addr)
        .collect()
}
