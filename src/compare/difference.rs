//! What is told about one difference.

use super::{Subject, relation::DigitMark};
use crate::{ladder::CauseId, roster::ClaimKind};

/// How much a difference matters.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub enum Severity {
    /// Something is wrong, whatever else is true.
    Fault,
    /// Something is wrong unless a thing that is not known here makes it right.
    Doubt,
    /// Worth knowing.
    Note,
}

impl Severity {
    /// Returns `fault`, `doubt` or `note`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Fault => "fault",
            Self::Doubt => "doubt",
            Self::Note => "note",
        }
    }
}

macro_rules! kinds {
    ($($(#[$doc:meta])* $kind:ident $name:literal;)*) => {
        /// What kind of difference it is.
        #[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
        #[non_exhaustive]
        pub enum DifferenceKind {
            $($(#[$doc])* $kind,)*
        }

        impl DifferenceKind {
            /// Every kind.
            pub const ALL: &'static [Self] = &[$(Self::$kind,)*];

            /// Returns the name that JSON has.
            pub const fn name(self) -> &'static str {
                match self {
                    $(Self::$kind => $name,)*
                }
            }
        }
    };
}

kinds! {
    /// An EUI is the other's with its octets reversed.
    EuiReversed "eui-reversed";
    /// It is, and nothing tells in which order the node's stack wants it.
    EuiOrderUnknown "eui-order-unknown";
    /// An EUI is a slip of typing away from the other.
    EuiTypedWrong "eui-typed-wrong";
    /// Two EUIs of no likeness.
    EuiDiffers "eui-differs";
    /// DevEUI and JoinEUI stand in each other's place.
    EuisExchanged "euis-exchanged";
    /// DevEUI and JoinEUI are the same.
    EuisEqual "euis-equal";
    /// The DevEUI of another node.
    EuiOfAnotherNode "eui-of-another-node";
    /// An EUI that is no real number.
    EuiReserved "eui-reserved";
    /// A key is the other's with its octets, digits or words in another order.
    KeyReversed "key-reversed";
    /// A key is the other's rotated, or with its bits inverted or mirrored.
    KeyTransformed "key-transformed";
    /// A key is a slip of typing away from the other.
    KeyTypedWrong "key-typed-wrong";
    /// A key is the text of the other, taken as octets.
    KeyTextAsOctets "key-text-as-octets";
    /// Two keys of no likeness.
    KeyDiffers "key-differs";
    /// A root key stands in the other root key's place.
    KeyInWrongSlot "key-in-wrong-slot";
    /// A session key stands where a root key belongs.
    SessionKeyAsRoot "session-key-as-root";
    /// A key of another node.
    KeyOfAnotherNode "key-of-another-node";
    /// A published sample key, or one made up at the keyboard.
    KeyIsSample "key-is-sample";
    /// Two keys that should be different are the same.
    KeysEqual "keys-equal";
    /// One root key for several nodes.
    KeyShared "key-shared";
    /// One DevEUI for several nodes.
    DevEuiShared "dev-eui-shared";
    /// One DevAddr for several nodes.
    DevAddrShared "dev-addr-shared";
    /// A value that the version or the activation needs is not there.
    ValueMissing "value-missing";
    /// The MAC versions differ.
    VersionDiffers "version-differs";
    /// The regions differ.
    RegionDiffers "region-differs";
    /// The sub-bands differ.
    SubBandDiffers "sub-band-differs";
    /// The channels in use do not fit.
    ChannelsDiffer "channels-differ";
    /// The classes differ.
    ClassDiffers "class-differs";
    /// One side joins over the air, the other does not.
    ActivationDiffers "activation-differs";
    /// The DevAddrs differ.
    DevAddrDiffers "dev-addr-differs";
    /// The DevAddr is none of the network's.
    DevAddrOutside "dev-addr-outside";
    /// The NetIDs differ.
    NetIdDiffers "net-id-differs";
}

/// What one place says.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Side {
    /// The place.
    pub claim: ClaimKind,
    /// The member, as the roster spells it.
    pub member: &'static str,
    /// The node, where it is another than the one reported on.
    pub node: Option<String>,
    /// The value; none where it is a key or missing.
    pub value: Option<String>,
    /// Where it stands in a source or a table.
    pub at: Option<String>,
}

/// One difference, or one value that looks wrong by itself.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Difference {
    /// What kind it is.
    pub kind: DifferenceKind,
    /// How much it matters.
    pub severity: Severity,
    /// The cause of a failed join that it would be.
    pub cause: Option<CauseId>,
    /// The member it is about.
    pub member: &'static str,
    /// What the places say.
    pub sides: Vec<Side>,
    /// The digits that differ between the first two sides.
    pub marks: Vec<DigitMark>,
    /// What is wrong, in one sentence without a full stop.
    pub summary: String,
    /// What speaks for it.
    pub evidence: Vec<String>,
    /// What to do.
    pub remedy: String,
}

impl Difference {
    pub(super) fn new(
        kind: DifferenceKind,
        severity: Severity,
        member: &'static str,
        summary: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self {
            kind,
            severity,
            cause: None,
            member,
            sides: Vec::new(),
            marks: Vec::new(),
            summary: summary.into(),
            evidence: Vec::new(),
            remedy: remedy.into(),
        }
    }

    pub(super) fn cause(mut self, cause: Option<CauseId>) -> Self {
        self.cause = cause;
        self
    }

    pub(super) fn marks(mut self, marks: Vec<DigitMark>) -> Self {
        self.marks = marks;
        self
    }

    pub(super) fn evidence(mut self, evidence: impl IntoIterator<Item = String>) -> Self {
        self.evidence.extend(evidence);
        self
    }

    /// Adds what a place of this node says, a key without its value.
    pub(super) fn side(
        mut self,
        subject: &Subject,
        claim: ClaimKind,
        member: &'static str,
        value: Option<String>,
    ) -> Self {
        let at = subject.at(claim, member);
        self.sides.push(Side { claim, member, node: None, value, at });
        self
    }

    /// Adds what a place of another node says.
    pub(super) fn other(
        mut self,
        node: &Subject,
        claim: ClaimKind,
        member: &'static str,
        value: Option<String>,
    ) -> Self {
        let at = node.at(claim, member);
        let node = Some(node.node.name.clone());
        self.sides.push(Side { claim, member, node, value, at });
        self
    }
}
