//! The names of fields, where they stand, and what goes wrong when octets run out.

use core::{
    fmt,
    ops::{Deref, Range},
    slice,
};

use crate::words::Count;

/// A value and the octets it was read from, counted from the start of the PHYPayload.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Located<T> {
    /// Octets, first to one past the last.
    pub at: Range<usize>,
    /// What stood there.
    pub value: T,
}

/// The fields of a frame, in the order read: a slice, kept in place.
#[derive(Clone)]
pub struct Fields {
    list: [Located<Field>; Self::MAX],
    len: usize,
}

impl Fields {
    /// The most fields that a message has: a data frame with FOpts and FRMPayload, a Join-Accept with a
    /// CFList.
    const MAX: usize = 8;

    /// Returns where a field is, if it was read.
    pub fn place_of(&self, field: Field) -> Option<Range<usize>> {
        self.iter().find(|located| located.value == field).map(|located| located.at.clone())
    }

    /// Adds a field.
    pub(super) fn push(&mut self, value: Field, at: Range<usize>) {
        if let Some(slot) = self.list.get_mut(self.len) {
            *slot = Located { at, value };
            self.len += 1;
        }
    }
}

impl Default for Fields {
    fn default() -> Self {
        Self { list: [const { Located { at: 0..0, value: Field::Mhdr } }; Self::MAX], len: 0 }
    }
}

impl Deref for Fields {
    type Target = [Located<Field>];

    fn deref(&self) -> &Self::Target {
        self.list.get(..self.len).unwrap_or_default()
    }
}

impl<'a> IntoIterator for &'a Fields {
    type Item = &'a Located<Field>;
    type IntoIter = slice::Iter<'a, Located<Field>>;

    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

impl PartialEq for Fields {
    fn eq(&self, other: &Self) -> bool {
        **self == **other
    }
}

impl Eq for Fields {}

impl fmt::Debug for Fields {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list().entries(self).finish()
    }
}

macro_rules! fields {
    ($($name:ident $text:literal $doc:literal;)*) => {
        /// A field of a frame, under the standard's own name.
        #[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
        #[non_exhaustive]
        pub enum Field {
            $(#[doc = $doc] $name,)*
        }

        impl Field {
            /// Every field there is.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// Returns the name as the standard spells it.
            pub const fn name(self) -> &'static str {
                match self { $(Self::$name => $text,)* }
            }

            /// Returns in one sentence what the field is.
            pub const fn meaning(self) -> &'static str {
                match self { $(Self::$name => $doc,)* }
            }
        }
    };
}

fields! {
    Mhdr "MHDR" "message type and major version of the data format";
    JoinEui "JoinEUI" "identifier of the join server";
    DevEui "DevEUI" "identifier of the node";
    DevNonce "DevNonce" "the node's nonce for this join";
    Sealed "encrypted" "everything of a Join-Accept after the MHDR, encrypted";
    JoinNonce "JoinNonce" "the join server's nonce for this join";
    NetId "NetID" "identifier of the network";
    DevAddr "DevAddr" "address of the session";
    DlSettings "DLSettings" "receive windows of the session and the rule of its keys";
    RxDelay "RxDelay" "seconds from the end of an uplink to RX1";
    CfList "CFList" "channels of the session";
    RejoinType "RejoinType" "which of the Rejoin-Requests this is";
    RjCount0 "RJcount0" "counter of Rejoin-Requests of types 0 and 2";
    RjCount1 "RJcount1" "counter of Rejoin-Requests of type 1";
    FCtrl "FCtrl" "frame control: ADR, acknowledgement, length of FOpts";
    FCnt "FCnt" "the 16 low bits of the frame counter";
    FOpts "FOpts" "MAC commands in the header";
    FPort "FPort" "port: 0 for MAC commands, others for applications";
    FrmPayload "FRMPayload" "the payload, encrypted";
    Surplus "surplus" "octets beyond the layout of this message";
    Proprietary "payload" "content that the standard does not define";
    Mic "MIC" "message integrity code";
}

impl fmt::Display for Field {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// Who said how long a field is.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum LenFrom {
    /// The layout of the message.
    Layout,
    /// FOptsLen in FCtrl, with this value.
    FOptsLen(u8),
}

impl fmt::Display for LenFrom {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Layout => f.write_str("by the layout of the message"),
            Self::FOptsLen(n) => write!(f, "FOptsLen is {n}"),
        }
    }
}

/// Octets that cannot be split into fields.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DecodeError {
    /// Fewer octets than the field needs.
    #[error("{field} at octet {offset}: {} needed ({because}), {left} left", Count(*.needed, "octet"))]
    TooShort {
        /// The field that is cut.
        field: Field,
        /// Where it begins.
        offset: usize,
        /// Octets that it needs.
        needed: usize,
        /// Octets there are for it; the MIC that must follow is not counted.
        left: usize,
        /// What asks for so many.
        because: LenFrom,
    },
    /// Octets after the last field of a message whose length is fixed.
    #[error("{} at octet {offset}, where the message has ended", Count(*.left, "octet"))]
    TooLong {
        /// Where the message ended.
        offset: usize,
        /// Octets there are after it.
        left: usize,
    },
}

impl DecodeError {
    /// Returns the field at which reading stopped.
    pub const fn field(&self) -> Field {
        match self {
            Self::TooShort { field, .. } => *field,
            Self::TooLong { .. } => Field::Surplus,
        }
    }

    /// Returns the octet at which reading stopped.
    pub const fn offset(&self) -> usize {
        match self {
            Self::TooShort { offset, .. } | Self::TooLong { offset, .. } => *offset,
        }
    }
}
