//! The shape of the table: rows, fields and the bits they stand in.

use alloc::{vec, vec::Vec};
use core::ptr;

use super::{
    Field,
    kind::{Coding, FLAG, FieldKind, FieldValue},
};
use crate::{
    frame::{Direction, MacVersion},
    id::DevAddr,
    key::Aes128Key,
};

/// One MAC command in one direction and layout.
#[derive(Debug)]
pub struct Row {
    /// CID, the first octet.
    pub cid: u8,
    /// Which way it travels.
    pub direction: Direction,
    /// Its name, as the standard spells it.
    pub name: &'static str,
    /// Whether it asks or answers.
    pub role: Role,
    /// Octets of its payload, the CID not counted.
    pub length: Length,
    /// Its fields. Bits that no field covers are RFU.
    pub fields: &'static [FieldSpec],
    /// The versions that have it in this layout.
    pub versions: &'static [MacVersion],
    /// Whether a node repeats it in every uplink, and until when.
    pub repeats: Repeats,
    /// What it does, in a sentence.
    pub what: &'static str,
    /// Document and chapter.
    pub source: &'static str,
    /// What about this row is not certain.
    pub doubt: Option<&'static str>,
}

/// Whether a command asks or answers.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Role {
    /// It asks, or announces.
    Request,
    /// It answers the command of the same CID in the other direction.
    Answer,
}

/// Octets of a payload.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum Length {
    /// Always so many.
    Fixed(u8),
    /// So many, and then as many as bits 4..0 of the first octet count (FilterListReq).
    Counted(u8),
    /// So many, and whatever is left of the list (DataFragment).
    Rest(u8),
    /// So many where the masked bits of the first octet are equal to that, and else one (answers that
    /// leave out what an error makes void).
    Whole {
        /// Octets of the whole payload.
        octets: u8,
        /// Bits of the first octet.
        mask: u8,
        /// What they are in a whole payload.
        equal: u8,
    },
    /// One, and so many for each of bits 3..0 of the first octet that is set (McGroupStatusAns).
    Each(u8),
}

/// Whether a node repeats a command in every uplink, so that a lost frame does not lose it.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum Repeats {
    /// Sent once.
    Never,
    /// In these versions repeated until a class A downlink arrives.
    UntilDownlink(&'static [MacVersion]),
    /// Repeated until the network confirms it.
    UntilConfirmed,
}

/// One field of a payload.
#[derive(Debug)]
pub struct FieldSpec {
    /// Its name, as the standard spells it.
    pub name: &'static str,
    /// First octet, from the octet after the CID.
    pub at: u8,
    /// Octets that the bits are counted in, least significant octet first.
    pub width: u8,
    /// Most significant bit.
    pub hi: u8,
    /// Least significant bit.
    pub lo: u8,
    /// What the bits are.
    pub kind: FieldKind,
    /// In a status octet: what it means when this bit is 0.
    pub refusal: Option<Refusal>,
}

/// What a node says with a status bit that is 0.
#[derive(Clone, Copy, Debug)]
pub struct Refusal {
    /// Fields of the request that it is about.
    pub about: &'static [&'static str],
    /// Why, in words.
    pub meaning: &'static str,
}

impl Length {
    /// Returns how many octets a payload that starts so needs.
    pub fn needed(self, payload: &[u8]) -> usize {
        match (self, payload.first()) {
            (Self::Counted(n), Some(first)) => usize::from(n) + usize::from(first & 0x1F),
            (Self::Rest(n), _) => payload.len().max(usize::from(n)),
            (Self::Whole { octets, mask, equal }, Some(first)) if first & mask == equal => {
                usize::from(octets)
            }
            (Self::Each(n), Some(first)) => {
                1 + usize::from(n) * usize::from(set_bits(first & 0x0F))
            }
            (Self::Fixed(_) | Self::Counted(_) | Self::Whole { .. } | Self::Each(_), _) => {
                self.least()
            }
        }
    }

    /// Returns the octets that are always there.
    pub fn least(self) -> usize {
        match self {
            Self::Fixed(n) | Self::Counted(n) | Self::Rest(n) => usize::from(n),
            Self::Whole { .. } | Self::Each(_) => 1,
        }
    }
}

fn set_bits(octet: u8) -> u8 {
    (0..8).map(|bit| octet >> bit & 1).sum()
}

impl Row {
    /// Returns whether the version has this command in this layout; true where no version is named.
    pub fn is_in(&self, version: Option<MacVersion>) -> bool {
        version.is_none_or(|v| self.versions.contains(&v))
    }

    /// Returns whether a node of that version repeats the command in every uplink for a while.
    pub fn is_repeated(&self, version: MacVersion) -> bool {
        match self.repeats {
            Repeats::Never => false,
            Repeats::UntilDownlink(versions) => versions.contains(&version),
            Repeats::UntilConfirmed => true,
        }
    }

    /// Returns whether the payload carries a key.
    pub fn holds_a_key(&self) -> bool {
        self.fields.iter().any(|f| f.kind.coding == Coding::Key)
    }

    /// Returns the fields that stand in a payload: a short form lacks some.
    pub(super) fn fields_of(&self, payload: &[u8]) -> impl Iterator<Item = &'static FieldSpec> {
        let short = matches!(self.length, Length::Whole { .. }).then_some(payload.len());
        self.fields.iter().filter(move |spec| short.is_none_or(|len| usize::from(spec.at) < len))
    }

    /// Returns the bits that fields cover, one octet for each octet that is always there.
    pub(crate) fn known_bits(&self) -> Vec<u8> {
        let mut known = vec![0u8; self.length.least()];
        for field in self.fields {
            if field.is_bits() {
                field.put(&mut known, u64::MAX);
            } else {
                known
                    .iter_mut()
                    .skip(field.at.into())
                    .take(field.width.into())
                    .for_each(|o| *o = 0xFF);
            }
        }
        known
    }

    pub(super) const fn new(
        cid: u8,
        direction: Direction,
        name: &'static str,
        role: Role,
        len: u8,
    ) -> Self {
        Self {
            cid,
            direction,
            name,
            role,
            length: Length::Fixed(len),
            fields: &[],
            versions: &MacVersion::ALL,
            repeats: Repeats::Never,
            what: "",
            source: "",
            doubt: None,
        }
    }

    pub(super) const fn fields(mut self, fields: &'static [FieldSpec]) -> Self {
        self.fields = fields;
        self
    }

    pub(super) const fn versions(mut self, versions: &'static [MacVersion]) -> Self {
        self.versions = versions;
        self
    }

    pub(super) const fn repeats(mut self, repeats: Repeats) -> Self {
        self.repeats = repeats;
        self
    }

    pub(super) const fn says(mut self, what: &'static str, source: &'static str) -> Self {
        self.what = what;
        self.source = source;
        self
    }

    pub(super) const fn counted(mut self) -> Self {
        self.length = Length::Counted(self.length.least_const());
        self
    }

    pub(super) const fn long(mut self, length: Length) -> Self {
        self.length = length;
        self
    }

    pub(super) const fn doubt(mut self, doubt: &'static str) -> Self {
        self.doubt = Some(doubt);
        self
    }
}

impl Length {
    const fn least_const(self) -> u8 {
        match self {
            Self::Fixed(n) | Self::Counted(n) | Self::Rest(n) => n,
            Self::Whole { .. } | Self::Each(_) => 1,
        }
    }
}

impl PartialEq for Row {
    /// Rows are the same only if they are the same row of the table.
    fn eq(&self, other: &Self) -> bool {
        ptr::eq(self, other)
    }
}

impl Eq for Row {}

impl PartialEq for FieldSpec {
    /// Fields are the same only if they are the same place in the table.
    fn eq(&self, other: &Self) -> bool {
        ptr::eq(self, other)
    }
}

impl Eq for FieldSpec {}

impl FieldSpec {
    /// Reads the field out of a payload that is long enough.
    pub(super) fn read(&'static self, payload: &[u8], version: Option<MacVersion>) -> Field {
        let octets = payload.get(self.at.into()..).unwrap_or_default();
        let raw = if self.is_bits() { self.take(octets) } else { 0 };
        Field { spec: self, raw, value: self.value(raw, octets), version }
    }

    fn value(&self, raw: u64, octets: &[u8]) -> FieldValue {
        let number = i64::try_from(raw).unwrap_or(i64::MAX);
        match self.kind.coding {
            Coding::Flag => FieldValue::Flag(raw != 0),
            Coding::Signed if raw >> (self.hi - self.lo) == 1 => {
                FieldValue::Number(number - self.size())
            }
            Coding::Number | Coding::Signed => FieldValue::Number(number),
            Coding::Line { scale, add } => FieldValue::Number(scale * number + add),
            Coding::Hertz => FieldValue::Hertz(number * 100),
            Coding::Mask => FieldValue::Mask(u16::try_from(raw).unwrap_or(u16::MAX)),
            Coding::Address => FieldValue::Address(DevAddr(u32::try_from(raw).unwrap_or(u32::MAX))),
            Coding::Key => {
                let key = octets.first_chunk().copied().unwrap_or_default();
                FieldValue::Key(Aes128Key::new(key))
            }
            Coding::Octets => FieldValue::Octets(octets.to_vec()),
        }
    }

    /// Returns whether the field is a number of bits, not a string of octets.
    pub(crate) const fn is_bits(&self) -> bool {
        !matches!(self.kind.coding, Coding::Key | Coding::Octets)
    }

    /// Returns how many values the bits can have.
    pub(super) const fn size(&self) -> i64 {
        1i64 << (self.hi - self.lo + 1)
    }

    /// Returns the field's bits out of the octets that start with it.
    fn take(&self, octets: &[u8]) -> u64 {
        let whole = octets
            .iter()
            .take(self.width.into())
            .rev()
            .fold(0u64, |acc, octet| (acc << 8) | u64::from(*octet));
        (whole >> self.lo) & self.mask()
    }

    /// Sets the field's bits in a payload; bits of `raw` beyond the field are dropped.
    pub(super) fn put(&self, payload: &mut [u8], raw: u64) {
        let bits = (raw & self.mask()) << self.lo;
        let octets = payload.iter_mut().skip(self.at.into()).take(self.width.into());
        for (octet, set) in octets.zip(bits.to_le_bytes()) {
            *octet |= set;
        }
    }

    const fn mask(&self) -> u64 {
        (1u64 << (self.hi - self.lo + 1)) - 1
    }
}

/// A field of whole octets.
pub(super) const fn whole(name: &'static str, at: u8, width: u8, kind: FieldKind) -> FieldSpec {
    bits(name, at, width, width.saturating_mul(8).saturating_sub(1), 0, kind)
}

/// Bits `hi..lo` of `width` octets.
pub(super) const fn bits(
    name: &'static str,
    at: u8,
    width: u8,
    hi: u8,
    lo: u8,
    kind: FieldKind,
) -> FieldSpec {
    FieldSpec { name, at, width, hi, lo, kind, refusal: None }
}

/// A bit of a status octet: 1 agrees, 0 refuses.
pub(super) const fn ack(
    name: &'static str,
    bit: u8,
    about: &'static [&'static str],
    meaning: &'static str,
) -> FieldSpec {
    let mut field = bits(name, 0, 1, bit, bit, FLAG);
    field.refusal = Some(Refusal { about, meaning });
    field
}

/// A command of the network.
pub(super) const fn down(cid: u8, name: &'static str, role: Role, len: u8) -> Row {
    Row::new(cid, Direction::Downlink, name, role, len)
}

/// A command of the node.
pub(super) const fn up(cid: u8, name: &'static str, role: Role, len: u8) -> Row {
    Row::new(cid, Direction::Uplink, name, role, len)
}
