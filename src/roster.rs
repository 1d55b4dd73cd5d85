//! The roster: nodes with what each place claims about them, and the gateways.
//!
//! A node's credentials stand in up to three places: built into its firmware, on record with the
//! network, printed on its label. Each is a [`Claim`], and a join fails where they differ. A gateway's
//! own configuration is a claim, too: a [`GatewayConfig`].
//!
//! The file is TOML. [`parse`] and [`read_file`] refuse one with a fault; [`parse_intact`] and
//! [`read_file_intact`] return everything that can be read, and the faults: each with line, column and
//! member, and never a digit of a key.
//!
//! ```
//! let roster = handfast::roster::parse(
//!     r#"
//!     region = "EU868"
//!
//!     [[node]]
//!     name = "pear-row-3"
//!
//!     [node.firmware]
//!     dev-eui = "020000fffe001207"
//!     join-eui = "020000fffe00ffff"
//!     mac-version = "1.0.4"
//!     "#,
//!     None,
//! )?;
//! assert_eq!(roster.nodes[0].name, "pear-row-3");
//! assert_eq!(roster.plan_for(&roster.nodes[0]).map(|plan| plan.name), Some("EU868"));
//! # Ok::<(), handfast::roster::RosterError>(())
//! ```

mod claim;
mod damaged_key;
mod error;
mod file;
pub mod firmware;
pub mod fresh;
pub mod gateway_config;
mod json;
pub mod label;
mod member;
mod secret;
pub mod table;
mod value;
pub mod written;

use std::{
    fs::File,
    io::Read,
    path::{Path, PathBuf},
};

use zeroize::Zeroizing;

pub use claim::{Activation, Claim, Class, DevAddrPrefix, KeyReference};
pub use damaged_key::{DamagedKey, KeyDamage};
pub use error::{FaultKind, Position, RosterError, RosterFault, RosterWarning};
pub use gateway_config::GatewayConfig;
pub use label::{Label, LabelError};

use crate::{id::Eui64, intake::file_text, region::Plan};

/// Nodes and gateways, as one file states them.
#[derive(Clone, Debug, Default)]
pub struct Roster {
    /// The region of all that name none of their own.
    pub region: Option<&'static Plan>,
    /// The sub-band of a fixed channel plan, from 1.
    pub sub_band: Option<u8>,
    /// The nodes, in the order of the file.
    pub nodes: Vec<Node>,
    /// The gateways, in the order of the file.
    pub gateways: Vec<Gateway>,
    /// Configurations of gateways that are not on the roster.
    pub loose_configs: Vec<GatewayConfig>,
    /// Members of the roster itself that cannot be read: `region`, `sub-band`; `gateway` where one has
    /// no EUI that can be read.
    pub unread: Vec<&'static str>,
    /// What is allowed but looks like a typing error.
    pub warnings: Vec<RosterWarning>,
}

impl Roster {
    /// Returns what the roster says of gateways and region, without any node.
    #[cfg(feature = "live")]
    pub(crate) fn without_nodes(&self) -> Self {
        Self {
            region: self.region,
            sub_band: self.sub_band,
            gateways: self.gateways.clone(),
            ..Self::default()
        }
    }

    /// Returns the channel plan of a node: that of its record, else of its firmware, else of the
    /// roster, else the one that all gateways with a region have. `None` where one of them states a
    /// region that cannot be read: those after it do not speak for it.
    pub fn plan_for(&self, node: &Node) -> Option<&'static Plan> {
        for claim in [&node.record, &node.firmware].into_iter().flatten() {
            if claim.region.is_some() || claim.is_unread("region") {
                return claim.region;
            }
        }
        if self.region.is_some() || self.unread.contains(&"region") {
            return self.region;
        }
        self.only_gateway_plan()
    }

    fn only_gateway_plan(&self) -> Option<&'static Plan> {
        if self.gateways.iter().any(|gateway| gateway.unread.contains(&"region")) {
            return None;
        }
        let mut plans = self.gateways.iter().filter_map(|gateway| gateway.region);
        let first = plans.next()?;
        plans.all(|plan| plan.name == first.name).then_some(first)
    }
}

/// A roster of which everything intact was read.
#[derive(Clone, Debug)]
pub struct Intact {
    /// The roster.
    pub roster: Roster,
    /// What is wrong with the rest, in the order of the file.
    pub faults: Vec<RosterFault>,
    /// The file, where there is one.
    pub file: Option<PathBuf>,
}

impl Intact {
    /// Returns what is wrong, if anything is.
    pub fn error(&self) -> Option<RosterError> {
        let (file, faults) = (self.file.clone(), self.faults.clone());
        (!faults.is_empty()).then_some(RosterError { file, faults })
    }

    fn complete(self) -> Result<Roster, RosterError> {
        match self.error() {
            Some(error) => Err(error),
            None => Ok(self.roster),
        }
    }
}

/// A node and what is claimed about it.
#[derive(Clone, Debug, Default)]
pub struct Node {
    /// Its name; where the file gives none, its DevEUI or `node 1`.
    pub name: String,
    /// As built into the node.
    pub firmware: Option<Claim>,
    /// As registered with the network or join server.
    pub record: Option<Claim>,
    /// As printed on the node.
    pub label: Option<Claim>,
}

impl Node {
    /// Returns the claims that there are: firmware, record, label.
    pub fn claims(&self) -> impl Iterator<Item = (ClaimKind, &Claim)> {
        ClaimKind::ALL.into_iter().filter_map(|kind| self.claim(kind).map(|claim| (kind, claim)))
    }

    /// Adds lines of the node's own console to what its firmware claims; what may be a key is left out
    /// of them.
    pub fn add_console<'l>(&mut self, lines: impl IntoIterator<Item = &'l str>) {
        let firmware = self.firmware.get_or_insert_default();
        firmware.log.extend(lines.into_iter().map(crate::words::log_line));
    }

    /// Returns the room for what that place claims.
    pub const fn claim_mut(&mut self, kind: ClaimKind) -> &mut Option<Claim> {
        match kind {
            ClaimKind::Firmware => &mut self.firmware,
            ClaimKind::Record => &mut self.record,
            ClaimKind::Label => &mut self.label,
        }
    }

    /// Returns the claim of that place.
    pub const fn claim(&self, kind: ClaimKind) -> Option<&Claim> {
        match kind {
            ClaimKind::Firmware => self.firmware.as_ref(),
            ClaimKind::Record => self.record.as_ref(),
            ClaimKind::Label => self.label.as_ref(),
        }
    }
}

/// The place that claims something about a node.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub enum ClaimKind {
    /// As built into the node.
    Firmware,
    /// As registered with the network or join server.
    Record,
    /// As printed on the node.
    Label,
}

impl ClaimKind {
    /// Every place.
    pub const ALL: [Self; 3] = [Self::Firmware, Self::Record, Self::Label];

    /// Returns `firmware`, `record` or `label`, as the roster and JSON spell it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Firmware => "firmware",
            Self::Record => "record",
            Self::Label => "label",
        }
    }
}

/// A gateway, as registered.
#[derive(Clone, Debug, Default)]
pub struct Gateway {
    /// Its EUI.
    pub eui: Eui64,
    /// What people call it.
    pub name: Option<String>,
    /// The name or address of the server that it is to send to.
    pub server: Option<String>,
    /// The server's UDP port for uplinks.
    pub uplink_port: Option<u16>,
    /// The server's UDP port for downlinks.
    pub downlink_port: Option<u16>,
    /// The gateway's own configuration.
    pub config: Option<GatewayConfig>,
    /// Its region, where it has one of its own.
    pub region: Option<&'static Plan>,
    /// Its sub-band of a fixed channel plan, from 1.
    pub sub_band: Option<u8>,
    /// The frequencies that it receives on, hertz; empty where not stated.
    pub listens: Vec<u32>,
    /// Members that are stated and cannot be read.
    pub unread: Vec<&'static str>,
}

/// Returns the roster in that file.
///
/// A file that holds keys and that everybody on this machine may read gives a warning.
///
/// # Errors
///
/// [`RosterError`] with every fault found: in reading the file, in its TOML, in its members.
pub fn read_file(path: &Path) -> Result<Roster, RosterError> {
    read_file_intact(path)?.complete()
}

/// Returns everything intact of the roster in that file.
///
/// # Errors
///
/// [`RosterError`] when the file cannot be read, or its TOML is damaged in more than a value.
pub fn read_file_intact(path: &Path) -> Result<Intact, RosterError> {
    let named = |mut error: RosterError| {
        error.file = Some(path.to_owned());
        error
    };
    let whole = |kind| named(RosterError::whole(kind));
    let file = File::open(path).map_err(|e| whole(FaultKind::Unreadable(e.kind())))?;
    let mut octets = Zeroizing::new(Vec::new());
    file.take(SIZE_CAP + 1)
        .read_to_end(&mut octets)
        .map_err(|e| whole(FaultKind::Unreadable(e.kind())))?;
    if octets.len() as u64 > SIZE_CAP {
        return Err(whole(FaultKind::TooLarge { cap: SIZE_CAP }));
    }
    let text = file_text(&octets).map_err(|e| whole(FaultKind::not_utf8(&octets, e)))?;
    let (mut intact, holds_keys) = file::read(&text, path.parent()).map_err(named)?;
    if holds_keys && readable_by_all(path) {
        intact.roster.warnings.push(RosterWarning::ReadableByAll { path: path.to_owned() });
    }
    intact.file = Some(path.to_owned());
    Ok(intact)
}

/// Returns the roster that a text holds. `base` is where paths of key files start, by default the
/// working directory.
///
/// # Errors
///
/// [`RosterError`] with every fault found: in its TOML, or else in its members.
pub fn parse(text: &str, base: Option<&Path>) -> Result<Roster, RosterError> {
    parse_intact(text, base)?.complete()
}

/// Returns everything intact of the roster that a text holds.
///
/// # Errors
///
/// [`RosterError`] when its TOML is damaged in more than a value.
pub fn parse_intact(text: &str, base: Option<&Path>) -> Result<Intact, RosterError> {
    file::read(text, base).map(|(intact, _)| intact)
}

/// Returns whether everybody on this machine may read the file; false where that is unknown,
/// and on systems without Unix permissions.
pub fn readable_by_all(path: &Path) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        path.metadata().is_ok_and(|about| about.permissions().mode() & 0o004 != 0)
    }
    #[cfg(not(unix))]
    {
        let _ = path;
        false
    }
}

/// Returns a path of the roster, which starts in the roster's own folder.
fn from_base(base: Option<&Path>, path: &str) -> PathBuf {
    base.map_or_else(|| PathBuf::from(path), |base| base.join(path))
}

/// Octets that a roster may have.
const SIZE_CAP: u64 = 16 << 20;
