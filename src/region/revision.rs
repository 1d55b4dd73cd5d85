//! The revisions of the regional parameters, oldest first.

use std::fmt;

use crate::frame::MacVersion;

/// One published revision of the regional parameters.
///
/// Ordered by age, so that `revision <= Revision::Rp1_0_2B` asks "that one or older".
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub enum Revision {
    /// Chapter 7 of LoRaWAN 1.0.1 (2016).
    Lorawan1_0_1,
    /// Regional Parameters V1.0 (July 2016), companion of LoRaWAN 1.0.2.
    Rp1_0,
    /// Regional Parameters 1.0.2 revision B (2017).
    Rp1_0_2B,
    /// Regional Parameters 1.0.3 revision A (2018), and those of LoRaWAN 1.1.
    Rp1_0_3A,
    /// RP002-1.0.0 (2019).
    Rp002_1_0_0,
    /// RP002-1.0.1 (2020).
    Rp002_1_0_1,
    /// RP002-1.0.2.
    Rp002_1_0_2,
    /// RP002-1.0.3 (2021).
    Rp002_1_0_3,
    /// RP002-1.0.4 (2022).
    Rp002_1_0_4,
    /// RP002-1.0.5 (2025).
    Rp002_1_0_5,
}

impl Revision {
    /// Every revision, oldest first.
    pub const ALL: [Self; 10] = [
        Self::Lorawan1_0_1,
        Self::Rp1_0,
        Self::Rp1_0_2B,
        Self::Rp1_0_3A,
        Self::Rp002_1_0_0,
        Self::Rp002_1_0_1,
        Self::Rp002_1_0_2,
        Self::Rp002_1_0_3,
        Self::Rp002_1_0_4,
        Self::Rp002_1_0_5,
    ];

    /// The newest revision, which the tables follow where nothing else is said.
    pub const LATEST: Self = Self::Rp002_1_0_5;

    /// Returns the revision's name: `RP002-1.0.4`, `RP 1.0.2rB`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Lorawan1_0_1 => "LoRaWAN 1.0.1",
            Self::Rp1_0 => "RP V1.0",
            Self::Rp1_0_2B => "RP 1.0.2rB",
            Self::Rp1_0_3A => "RP 1.0.3revA",
            Self::Rp002_1_0_0 => "RP002-1.0.0",
            Self::Rp002_1_0_1 => "RP002-1.0.1",
            Self::Rp002_1_0_2 => "RP002-1.0.2",
            Self::Rp002_1_0_3 => "RP002-1.0.3",
            Self::Rp002_1_0_4 => "RP002-1.0.4",
            Self::Rp002_1_0_5 => "RP002-1.0.5",
        }
    }

    /// Returns the revision that a text names, in the spellings people use.
    ///
    /// Case, spaces, `-`, `_` and `.` do not count: `RP002-1.0.4`, `rp2 1.0.4`, `1.0.2rB`,
    /// `RP 1.0.3 revA`. A bare `1.0.2` or `1.0.3` is a LoRaWAN version, not a revision, and
    /// names the revision that came with it ([`Self::companion_of`]); `1.0.4` too, since the
    /// RP002 series is always written with its number.
    pub fn by_name(name: &str) -> Option<Self> {
        let bare: String = name
            .chars()
            .filter(|c| !matches!(c, ' ' | '-' | '_' | '.'))
            .map(|c| c.to_ascii_lowercase())
            .collect();
        if let Some(version) = MacVersion::by_name(name.trim()) {
            return Some(Self::companion_of(version));
        }
        if let Some(rest) = bare.strip_prefix("rp002").or_else(|| bare.strip_prefix("rp2")) {
            return Self::ALL.into_iter().find(|r| {
                r.name().strip_prefix("RP002-").map(|n| n.replace('.', "")) == Some(rest.into())
            });
        }
        match bare.strip_prefix("rp").unwrap_or(&bare) {
            "lorawan101" => Some(Self::Lorawan1_0_1),
            "v10" | "10" => Some(Self::Rp1_0),
            "102rb" | "102b" | "102revb" => Some(Self::Rp1_0_2B),
            "103ra" | "103a" | "103reva" | "11ra" | "11a" | "11reva" => Some(Self::Rp1_0_3A),
            _ => None,
        }
    }

    /// Returns the newest revision that was published for a LoRaWAN version.
    ///
    /// What the version alone can tell, and no proof: firmware may follow an older or a newer
    /// revision, so a verdict that hangs on this must say so. For LoRaWAN 1.0.4 the newest of
    /// all is meant: the reference names none of its own.
    pub const fn companion_of(version: MacVersion) -> Self {
        match version {
            MacVersion::V1_0_0 | MacVersion::V1_0_1 => Self::Lorawan1_0_1,
            MacVersion::V1_0_2 => Self::Rp1_0_2B,
            MacVersion::V1_0_3 | MacVersion::V1_1 => Self::Rp1_0_3A,
            MacVersion::V1_0_4 => Self::LATEST,
        }
    }
}

impl fmt::Display for Revision {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// Since when a row of a table exists.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Since {
    /// In every revision from RP 1.0.2rB on, or earlier.
    Always,
    /// New in this revision.
    In(Revision),
    /// Seen in this revision; whether an older one had it was not seen.
    InOrBefore(Revision),
}

impl fmt::Display for Since {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Always => Ok(()),
            Self::In(r) => r.fmt(f),
            Self::InOrBefore(r) => write!(f, "{r} or earlier"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_revision_answers_to_its_name() {
        for r in Revision::ALL {
            assert_eq!(Revision::by_name(r.name()), Some(r));
        }
    }

    #[test]
    fn a_lorawan_version_names_its_companion() {
        assert_eq!(Revision::by_name("1.0.2"), Some(Revision::Rp1_0_2B));
        assert_eq!(Revision::by_name("1.0.2rB"), Some(Revision::Rp1_0_2B));
        assert_eq!(Revision::by_name("rp2 1.0.3"), Some(Revision::Rp002_1_0_3));
        assert_eq!(Revision::by_name("RP002-1.0.9"), None);
        assert_eq!(Revision::by_name("nonsense"), None);
    }
}
