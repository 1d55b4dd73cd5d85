//! How it ended.

use super::{
    cause::{CauseId, Place},
    gateway,
    join::{self, Rung},
    rung::State,
    session,
    verdict::Verdict,
};

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

/// How a gateway stands.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum GatewayOutcome {
    /// It speaks, and both flows to its server work.
    Working,
    /// A rung of its ladder is broken.
    Broken,
    /// It is on the roster, and nothing of it is in the capture.
    Silent,
    /// The evidence does not decide.
    CannotTell,
}

impl GatewayOutcome {
    /// Returns the name that JSON prints.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Working => "working",
            Self::Broken => "broken",
            Self::Silent => "silent",
            Self::CannotTell => "cannot-tell",
        }
    }

    /// Returns it as people say it: `cannot tell`.
    pub const fn words(self) -> &'static str {
        match self {
            Self::CannotTell => "cannot tell",
            other => other.name(),
        }
    }
}

pub(super) fn of_gateway(case: &gateway::Case<'_>) -> GatewayOutcome {
    use gateway::Rung;
    let carries = [Rung::Speaks, Rung::UplinkAcknowledged, Rung::DownlinkOpen];
    if case.heard.is_none() {
        let unnamed = matches!(case.speaks, gateway::speaks::Speaks::Unnamed);
        return if unnamed { GatewayOutcome::CannotTell } else { GatewayOutcome::Silent };
    }
    if case.ladder.first_broken().is_some() {
        return GatewayOutcome::Broken;
    }
    if carries.iter().all(|rung| case.ladder.state(*rung) == State::Proven) {
        return GatewayOutcome::Working;
    }
    GatewayOutcome::CannotTell
}

/// Causes whose evidence is that the node took the accept, and that its data cannot be seen.
const LED_AWAY: [CauseId; 2] =
    [CauseId::CflistOpensTheWrongChannels, CauseId::GatewayFiltersTheAddress];

pub(super) fn of(session: &session::Case<'_>, causes: &[Verdict]) -> Outcome {
    let case: &join::Case<'_> = session;
    let authentic_data = case.node.sessions.iter().any(|s| !s.frames.is_empty());
    let broken = causes.iter().any(|v| matches!(v.place, Place::Session(_)));
    let in_session = if broken { Outcome::SessionBroken } else { Outcome::Session };
    if case.is_abp() {
        return match (authentic_data, case.node.unverified.is_empty()) {
            (true, _) => in_session,
            (false, false) => Outcome::SessionBroken,
            (false, true) => Outcome::NotHeard,
        };
    }
    if case.ever(Rung::Proven, State::Proven) {
        return Outcome::Joined;
    }
    if case.node.attempts.is_empty() {
        // Data without a join is of a session that began before the capture.
        return if authentic_data { in_session } else { Outcome::NotHeard };
    }
    let led_away = causes.iter().any(|v| LED_AWAY.contains(&v.cause.id));
    // Everything below the last rung holds, and the last one is open, or broken by being led away.
    let complete = case.ladders.iter().any(|ladder| {
        ladder.iter().all(|(rung, judgement)| match rung {
            Rung::Proven => led_away || judgement.state == State::Unknown,
            _ => judgement.state == State::Proven,
        })
    });
    let broken = case.ladders.iter().any(|ladder| ladder.first_broken().is_some());
    match (broken, complete) {
        (_, true) if led_away || !broken => Outcome::AcceptedUnproven,
        (true, _) => Outcome::NeverJoined,
        (false, _) => Outcome::CannotTell,
    }
}
