//! An input for nom that knows its offset, and a reader that keeps where every field stood.

use std::{iter, slice};

use nom::{IResult, Needed, Parser, bytes::complete::take, error::Error};

use super::{DecodeError, Field, LenFrom, Located};

/// Octets of a frame, and how far from its first octet they stand.
#[derive(Clone, Copy, Debug)]
pub(super) struct Input<'a> {
    octets: &'a [u8],
    offset: usize,
}

impl<'a> nom::Input for Input<'a> {
    type Item = u8;
    type Iter = iter::Copied<slice::Iter<'a, u8>>;
    type IterIndices = iter::Enumerate<Self::Iter>;

    fn input_len(&self) -> usize {
        self.octets.len()
    }

    fn take(&self, index: usize) -> Self {
        Self { octets: self.octets.take(index), offset: self.offset }
    }

    fn take_from(&self, index: usize) -> Self {
        Self { octets: self.octets.take_from(index), offset: self.offset + index }
    }

    fn take_split(&self, index: usize) -> (Self, Self) {
        (self.take_from(index), self.take(index))
    }

    fn position<P: Fn(u8) -> bool>(&self, predicate: P) -> Option<usize> {
        self.octets.iter().position(|&b| predicate(b))
    }

    fn iter_elements(&self) -> Self::Iter {
        self.octets.iter().copied()
    }

    fn iter_indices(&self) -> Self::IterIndices {
        self.iter_elements().enumerate()
    }

    fn slice_index(&self, count: usize) -> Result<usize, Needed> {
        self.octets.slice_index(count)
    }
}

/// Reads fields one after another and keeps the range of each.
#[derive(Debug)]
pub(super) struct Reader<'a> {
    input: Input<'a>,
    pub(super) fields: Vec<Located<Field>>,
}

impl<'a> Reader<'a> {
    pub(super) fn new(octets: &'a [u8]) -> Self {
        Self { input: Input { octets, offset: 0 }, fields: Vec::with_capacity(10) }
    }

    /// Octets not yet read.
    pub(super) fn left(&self) -> usize {
        self.input.octets.len()
    }

    /// Reads `N` octets, which the layout of the message asks for.
    pub(super) fn fixed<const N: usize>(&mut self, field: Field) -> Result<[u8; N], DecodeError> {
        let octets = self.octets(field, N, 0, LenFrom::Layout)?;
        Ok(octets.try_into().expect("as many octets as were asked for"))
    }

    /// Reads `count` octets before the last `keep`, which belong to what follows.
    pub(super) fn octets(
        &mut self,
        field: Field,
        count: usize,
        keep: usize,
        because: LenFrom,
    ) -> Result<&'a [u8], DecodeError> {
        let offset = self.input.offset;
        let left = self.left().saturating_sub(keep);
        let taken: IResult<_, _, Error<_>> = take(count).parse(self.input.limited(left));
        let Ok((_, value)) = taken else {
            return Err(DecodeError::TooShort { field, offset, needed: count, left, because });
        };
        self.input = nom::Input::take_from(&self.input, count);
        if count > 0 {
            self.fields.push(Located { at: offset..offset + count, value: field });
        }
        Ok(value.octets)
    }

    /// Reads all but the last `keep` octets; an empty rest leaves no field.
    pub(super) fn rest(&mut self, field: Field, keep: usize) -> &'a [u8] {
        let count = self.left().saturating_sub(keep);
        self.octets(field, count, keep, LenFrom::Layout).unwrap_or_default()
    }
}

impl Input<'_> {
    fn limited(&self, count: usize) -> Self {
        nom::Input::take(self, count.min(self.octets.len()))
    }
}
