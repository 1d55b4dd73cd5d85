//! Which key of which claim: references into the roster.

use crate::{
    key::{Aes128Key, AppKey, JoinKey, NwkKey},
    roster::{Claim, ClaimKind, Node, Roster},
};

/// The name under which a claim keeps a root key.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub enum Role {
    /// AppKey.
    AppKey,
    /// NwkKey.
    NwkKey,
}

impl Role {
    /// Returns the key's name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::AppKey => AppKey::NAME,
            Self::NwkKey => NwkKey::NAME,
        }
    }
}

/// A root key of a claim of a node.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub struct KeyRef {
    /// The node's place on the roster.
    pub node: usize,
    /// The claim.
    pub claim: ClaimKind,
    /// The name under which the claim keeps it.
    pub role: Role,
}

impl KeyRef {
    /// Returns the key.
    pub fn resolve<'r>(&self, roster: &'r Roster) -> Option<RootKey<'r>> {
        let claim = roster.nodes.get(self.node)?.claim(self.claim)?;
        root_key(claim, self.role)
    }
}

impl std::fmt::Display for KeyRef {
    /// Prints `the record's AppKey`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "the {}'s {}", self.claim.name(), self.role.name())
    }
}

/// A root key under either name.
#[derive(Clone, Copy, Debug)]
pub enum RootKey<'r> {
    /// AppKey.
    App(&'r AppKey),
    /// NwkKey.
    Nwk(&'r NwkKey),
}

impl RootKey<'_> {
    /// Returns the key without its role.
    pub fn key(&self) -> &Aes128Key {
        match self {
            Self::App(key) => key.join_key(),
            Self::Nwk(key) => key.join_key(),
        }
    }
}

/// Which rule of the standard made a MIC or a key.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Rule {
    /// LoRaWAN 1.0.x, or 1.1 with OptNeg 0.
    V1_0,
    /// LoRaWAN 1.1.
    V1_1,
}

impl Rule {
    /// Returns `1.0` or `1.1`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::V1_0 => "1.0",
            Self::V1_1 => "1.1",
        }
    }
}

/// Returns the root key that a claim keeps under that name.
pub(crate) fn root_key(claim: &Claim, role: Role) -> Option<RootKey<'_>> {
    match role {
        Role::AppKey => claim.app_key.as_ref().map(RootKey::App),
        Role::NwkKey => claim.nwk_key.as_ref().map(RootKey::Nwk),
    }
}

/// Returns every root key of a node, record and firmware first, with where it stands.
pub(crate) fn root_keys(index: usize, node: &Node) -> Vec<(KeyRef, RootKey<'_>)> {
    let mut out = Vec::new();
    for claim_kind in [ClaimKind::Record, ClaimKind::Firmware, ClaimKind::Label] {
        let Some(claim) = node.claim(claim_kind) else { continue };
        for role in [Role::AppKey, Role::NwkKey] {
            if let Some(key) = root_key(claim, role) {
                out.push((KeyRef { node: index, claim: claim_kind, role }, key));
            }
        }
    }
    out
}
