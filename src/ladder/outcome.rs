//! How it ended.

use super::{
    cause::{CauseId, Place},
    gateway,
    join::{
        self, Rung, accepts, answered,
        told::{End, Words},
    },
    rung::State,
    session,
    verdict::Verdict,
};

/// How a node's joining ended.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Outcome {
    /// Data authenticated under the keys of a join, and no later attempt fails.
    Joined,
    /// A join was proven, and an attempt after the last one fails.
    JoinFailing,
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
    /// Every outcome, those that work first.
    pub const ALL: &'static [Self] = &[
        Self::Joined,
        Self::Session,
        Self::AcceptedUnproven,
        Self::CannotTell,
        Self::NotHeard,
        Self::JoinFailing,
        Self::SessionBroken,
        Self::NeverJoined,
    ];

    /// Returns whether the node does not work at all, as far as the capture shows.
    pub const fn is_down(self) -> bool {
        matches!(self, Self::NeverJoined | Self::SessionBroken | Self::JoinFailing)
    }

    /// Returns the name that JSON prints.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Joined => "joined",
            Self::JoinFailing => "join-failing",
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
            Self::JoinFailing => "joined before, fails now",
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
    /// Every outcome, the one that works first.
    pub const ALL: &'static [Self] = &[Self::Working, Self::CannotTell, Self::Silent, Self::Broken];

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
        let unnamed = matches!(case.speaks, gateway::voice::Speaks::Unnamed);
        let open = unnamed || case.trace.lacks.is_text();
        return if open { GatewayOutcome::CannotTell } else { GatewayOutcome::Silent };
    }
    if case.ladder.first_broken().is_some() {
        return GatewayOutcome::Broken;
    }
    if carries.iter().all(|rung| case.ladder.state(*rung) == State::Proven) {
        return GatewayOutcome::Working;
    }
    GatewayOutcome::CannotTell
}

/// Of text it is not known what it leaves out.
fn unheard(case: &join::Case<'_>) -> Outcome {
    if case.trace.lacks.is_text() { Outcome::CannotTell } else { Outcome::NotHeard }
}

/// Causes whose evidence is that the node took the accept, and that its data cannot be seen.
const LED_AWAY: [CauseId; 2] =
    [CauseId::CflistOpensTheWrongChannels, CauseId::GatewayFiltersTheAddress];

pub(super) fn of(session: &session::Case<'_>, causes: &[Verdict]) -> Outcome {
    let case: &join::Case<'_> = session;
    let authentic_data = case.node.sessions.iter().any(|s| !s.frames.is_empty());
    let broken = causes.iter().any(|v| matches!(v.place, Place::Session(_)));
    let in_session = if broken { Outcome::SessionBroken } else { Outcome::Session };
    let words = Words::of(&case.node.told);
    let refused = session::told::is_refused(&case.node.told);
    if case.is_abp() {
        if !authentic_data && case.node.unverified.is_empty() && !case.node.told.is_empty() {
            return match words.end {
                _ if refused => Outcome::SessionBroken,
                End::Data(_) => Outcome::Session,
                _ => Outcome::CannotTell,
            };
        }
        return match (authentic_data, case.node.unverified.is_empty()) {
            (true, _) => in_session,
            (false, false) => Outcome::SessionBroken,
            (false, true) => unheard(case),
        };
    }
    if case.last_join().is_some() {
        let fails = case.last_run().any(|index| answered::is_seen_to_fail(case, index));
        return if fails { Outcome::JoinFailing } else { Outcome::Joined };
    }
    if !case.asks_to_join() {
        // Data without a join is of a session that began before the capture.
        return match words.end {
            _ if authentic_data => in_session,
            _ if case.node.told.is_empty() => unheard(case),
            End::Joined(_) => Outcome::Joined,
            End::Refused(_) | End::Failed(_) if words.joined_before => Outcome::JoinFailing,
            End::Refused(_) | End::Failed(_) => Outcome::NeverJoined,
            End::Accepted(_) => Outcome::AcceptedUnproven,
            _ if refused => Outcome::SessionBroken,
            End::Data(_) => Outcome::Session,
            End::Open => Outcome::CannotTell,
        };
    }
    let led_away = causes.iter().any(|v| LED_AWAY.contains(&v.cause.id));
    // An accept that holds rungs 7 and 9, of an attempt of which nothing else breaks but by being led
    // away.
    let accepted = |index: usize| {
        let unbroken = case.ladders.get(index).is_some_and(|ladder| match ladder.first_broken() {
            None => true,
            Some(rung) => led_away && rung == Rung::Proven,
        });
        unbroken && accepts::has_good(case, index)
    };
    let all = 0..case.ladders.len();
    let broken = case.ladders.iter().any(|ladder| ladder.first_broken().is_some());
    // What came before a good accept at last is over, unless it is known to come again.
    let at_last = all.clone().last().is_some_and(accepted) && causes.iter().all(|v| v.caution);
    if at_last || all.clone().any(accepted) && (led_away || !broken) {
        return Outcome::AcceptedUnproven;
    }
    if broken { Outcome::NeverJoined } else { Outcome::CannotTell }
}
