//! The names of fields, where they stand, and what goes wrong when octets run out.

use core::{fmt, ops::Range};

use crate::words::Count;

/// A value and the octets it was read from, counted from the start of the PHYPayload.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Located<T> {
    /// Octets, first to one past the last.
    pub at: Range<usize>,
    /// What stood there.
    pub value: T,
}

/// The fields of a frame, in the order read. Each begins where the one before it ends.
#[derive(Clone, Copy, Eq, PartialEq)]
pub struct Fields {
    names: [Field; Self::MAX],
    ends: [usize; Self::MAX],
    len: usize,
}

impl Fields {
    /// The most fields that a message has: a data frame with FOpts and FRMPayload, a Join-Accept with a
    /// CFList.
    const MAX: usize = 8;

    /// Returns how many there are.
    pub const fn len(&self) -> usize {
        self.len
    }

    /// Returns whether not even the first was read.
    pub const fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// Returns every field and where it is.
    pub const fn iter(&self) -> FieldsIter<'_> {
        FieldsIter { fields: self, next: 0, start: 0 }
    }

    /// Returns where a field is, if it was read.
    pub fn place_of(&self, field: Field) -> Option<Range<usize>> {
        self.iter().find(|located| located.value == field).map(|located| located.at)
    }

    /// Adds a field, up to the offset of its end.
    pub(super) fn push(&mut self, field: Field, end: usize) {
        if let (Some(name), Some(at)) = (self.names.get_mut(self.len), self.ends.get_mut(self.len))
        {
            (*name, *at) = (field, end);
            self.len += 1;
        }
    }
}

impl Default for Fields {
    fn default() -> Self {
        Self { names: [Field::Mhdr; Self::MAX], ends: [0; Self::MAX], len: 0 }
    }
}

impl<'a> IntoIterator for &'a Fields {
    type Item = Located<Field>;
    type IntoIter = FieldsIter<'a>;

    fn into_iter(self) -> FieldsIter<'a> {
        self.iter()
    }
}

impl fmt::Debug for Fields {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list().entries(self).finish()
    }
}

/// The fields of a frame one after the other, and where each is.
#[derive(Clone, Debug)]
pub struct FieldsIter<'a> {
    fields: &'a Fields,
    next: usize,
    start: usize,
}

impl Iterator for FieldsIter<'_> {
    type Item = Located<Field>;

    fn next(&mut self) -> Option<Located<Field>> {
        let Fields { names, ends, len } = self.fields;
        let value = *names.get(..*len)?.get(self.next)?;
        let end = *ends.get(self.next)?;
        let at = self.start..end;
        (self.next, self.start) = (self.next + 1, end);
        Some(Located { at, value })
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
    Surplus "surplus" "bytes beyond the layout of this message";
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
    #[error("{field} at byte {offset}: {} needed ({because}), {left} left", Count(*.needed, "byte"))]
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
    #[error("{} at byte {offset}, where the message has ended", Count(*.left, "byte"))]
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
