//! How it ended.

use super::{Rung, State, case::Case, cause::Verdict};

/// How a node's joining ended.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Outcome {
    /// Data authenticated under the keys of a join, at least once.
    Joined,
    /// An accept that the node can take was sent; no data yet.
    AcceptedUnproven,
    /// A rung is broken and no join proven.
    NeverJoined,
    /// Nothing of the node was heard.
    NotHeard,
    /// The evidence does not decide.
    CannotTell,
    /// Activation by personalisation: its data authenticates.
    Session,
    /// Activation by personalisation: its data does not authenticate.
    SessionBroken,
}

impl Outcome {
    /// Returns the name that JSON prints.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Joined => "joined",
            Self::AcceptedUnproven => "accepted-unproven",
            Self::NeverJoined => "never-joined",
            Self::NotHeard => "not-heard",
            Self::CannotTell => "cannot-tell",
            Self::Session => "session",
            Self::SessionBroken => "session-broken",
        }
    }

    /// Returns it as people say it: `never joined`.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Joined => "joined",
            Self::AcceptedUnproven => "accepted, unproven",
            Self::NeverJoined => "never joined",
            Self::NotHeard => "not heard",
            Self::CannotTell => "cannot tell",
            Self::Session => "in session",
            Self::SessionBroken => "session broken",
        }
    }
}

/// Causes whose evidence is that the node took the accept, and that its data cannot be seen.
const LED_AWAY: [&str; 2] = ["cflist-opens-the-wrong-channels", "gateway-filters-the-address"];

pub(super) fn of(case: &Case<'_>, causes: &[Verdict]) -> Outcome {
    let authentic_data = case.node.sessions.iter().any(|s| !s.frames.is_empty());
    if case.is_abp() {
        return match (authentic_data, case.node.unverified.is_empty()) {
            (true, _) => Outcome::Session,
            (false, false) => Outcome::SessionBroken,
            (false, true) => Outcome::NotHeard,
        };
    }
    if case.ever(Rung::Proven, State::Proven) {
        return Outcome::Joined;
    }
    if case.node.attempts.is_empty() {
        // Data without a join is of a session that began before the capture.
        return if authentic_data { Outcome::Session } else { Outcome::NotHeard };
    }
    let led_away = causes.iter().any(|v| LED_AWAY.contains(&v.cause.id));
    let whole = (0..case.judged.len()).any(|i| {
        Rung::ALL[..9].iter().all(|rung| case.state(i, *rung) == State::Proven)
            && (led_away || case.state(i, Rung::Proven) == State::Unknown)
    });
    let broken = Rung::ALL.iter().any(|rung| case.ever(*rung, State::Broken));
    match (broken, whole) {
        (_, true) if led_away || !broken => Outcome::AcceptedUnproven,
        (true, _) => Outcome::NeverJoined,
        (false, _) => Outcome::CannotTell,
    }
}
