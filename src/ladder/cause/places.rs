//! Where on the ladders a cause stands.

use crate::ladder::{
    gateway, join,
    rung::{LadderName, Rungs},
    session,
};

/// A rung of one of the ladders.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub enum Place {
    /// Of a gateway's ladder.
    Gateway(gateway::Rung),
    /// Of the join ladder.
    Join(join::Rung),
    /// Of the session ladder.
    Session(session::Rung),
}

impl Place {
    /// Returns the ladder.
    pub const fn ladder(self) -> LadderName {
        match self {
            Self::Gateway(_) => LadderName::Gateway,
            Self::Join(_) => LadderName::Join,
            Self::Session(_) => LadderName::Session,
        }
    }

    /// Returns the rung of a node's join ladder that it decides: a join rung itself, or the one that
    /// a broken rung of the gateway leaves open.
    pub const fn carries(self) -> Option<join::Rung> {
        use gateway::Rung;
        match self {
            Self::Join(rung) => Some(rung),
            Self::Gateway(Rung::Hears | Rung::OnPlan) => Some(join::Rung::Heard),
            Self::Gateway(
                Rung::Speaks | Rung::Known | Rung::UplinkAcknowledged | Rung::DownlinkOpen,
            ) => Some(join::Rung::Answered),
            Self::Gateway(Rung::Clock | Rung::Sends) => Some(join::Rung::Sent),
            Self::Session(_) => None,
        }
    }

    /// Returns the rung's number on its ladder, from 1.
    pub fn number(self) -> usize {
        match self {
            Self::Gateway(rung) => rung.number(),
            Self::Join(rung) => rung.number(),
            Self::Session(rung) => rung.number(),
        }
    }

    /// Returns the rung's name.
    pub fn rung(self) -> &'static str {
        match self {
            Self::Gateway(rung) => rung.name(),
            Self::Join(rung) => rung.name(),
            Self::Session(rung) => rung.name(),
        }
    }
}
