//! The clock package: what the node asks, and what the server answers.

use super::{Story, groups, packages::Said};
use crate::frame::command::package::CLOCK_PORT;

/// Requests that an answer may be to.
const REMEMBERED: usize = 4;

/// An AppTimeAns, and what it answers.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Answer<'s> {
    pub(in crate::ladder) said: &'s Said,
    /// The last request before it.
    pub(in crate::ladder) last: &'s Said,
    /// The request whose token it has.
    pub(in crate::ladder) request: Option<&'s Said>,
}

impl Answer<'_> {
    /// Returns by how much it sets the node's clock above GPS time, seconds.
    pub(in crate::ladder) fn off_s(&self, story: &Story<'_>) -> Option<i64> {
        let request = self.request?;
        let gps_s = groups::gps_ms(story.seen(request.place)?.data.at()?)? / 1_000;
        Some(request.number("DeviceTime") + self.said.number("TimeCorrection") - gps_s)
    }
}

/// Returns the answers of a session, in order.
pub(in crate::ladder) fn answers<'s>(story: &'s Story<'_>) -> Vec<Answer<'s>> {
    let mut out = Vec::new();
    let mut asked: Vec<&Said> = Vec::new();
    for said in &story.packages {
        if said.is(CLOCK_PORT, "AppTimeReq") {
            asked.push(said);
        } else if said.is(CLOCK_PORT, "AppTimeAns") && story.went_out(said.place) {
            let Some(last) = asked.last().copied() else { continue };
            let token = said.number("TokenAns");
            let own = |request: &&&Said| request.number("TokenReq") == token;
            let request = asked.iter().rev().take(REMEMBERED).find(own).copied();
            out.push(Answer { said, last, request });
        }
    }
    out
}
