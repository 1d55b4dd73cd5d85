//! The input of the grammar, and the parsers that every layout is made of.
//!
//! An [`Input`] is the bytes that are left, how far from the first they are, and a log of the fields
//! that were read. A grammar is then a list of names in the order of the standard's table: each width
//! is that of the type, each error is made here, and what was read before an error stays in the log.
//!
//! | parser | reads |
//! |--------|-------|
//! | [`field`] | as many bytes as its type has |
//! | [`bytes`] | as many as something else says |
//! | [`rest`] | all |
//! | [`before_mic`] | the same, with the last four bytes out of reach |
//! | [`if_any`] | nothing, where nothing is left |

use core::{cell::RefCell, iter, slice};

use nom::{
    Err, IResult, Mode, Needed, Offset, OutputMode, PResult, Parser,
    bytes::complete::take,
    error::{ErrorKind, ParseError},
};

use super::{DecodeError, Field, Fields, LenFrom, Mic};

/// What a parser of this room returns.
pub(super) type Parsed<'a, T, E = DecodeError> = IResult<Input<'a>, T, E>;

/// The same in any of nom's modes.
pub(super) type Processed<'a, OM, T> = PResult<OM, Input<'a>, T, DecodeError>;

/// A parser of this room, for its value.
pub(super) trait Reads<'a, T>: Parser<Input<'a>, Output = T, Error = DecodeError> {}

impl<'a, T, P: Parser<Input<'a>, Output = T, Error = DecodeError>> Reads<'a, T> for P {}

/// Bytes, how far from the first byte they are, and the log of what was read of them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Input<'a> {
    octets: &'a [u8],
    offset: usize,
    log: Option<&'a Log<'a>>,
}

/// The fields that were read, each with where it was.
#[derive(Debug)]
pub(super) struct Log<'a>(RefCell<&'a mut Fields>);

impl<'a> Log<'a> {
    pub(super) const fn new(fields: &'a mut Fields) -> Self {
        Self(RefCell::new(fields))
    }
}

impl<'a> Input<'a> {
    /// Bytes of which no field is logged.
    pub(super) const fn new(octets: &'a [u8]) -> Self {
        Self { octets, offset: 0, log: None }
    }

    pub(super) const fn logged(octets: &'a [u8], log: &'a Log<'a>) -> Self {
        Self { octets, offset: 0, log: Some(log) }
    }

    pub(super) const fn octets(&self) -> &'a [u8] {
        self.octets
    }

    pub(super) const fn offset(&self) -> usize {
        self.offset
    }

    pub(super) const fn left(&self) -> usize {
        self.octets.len()
    }

    /// Logs that a field begins here; of no bytes there is nothing to log.
    fn log(&self, field: Field, len: usize) {
        if let Some(log) = self.log.filter(|_| len > 0) {
            log.0.borrow_mut().push(field, self.offset + len);
        }
    }
}

impl<'a> nom::Input for Input<'a> {
    type Item = u8;
    type Iter = iter::Copied<slice::Iter<'a, u8>>;
    type IterIndices = iter::Enumerate<Self::Iter>;

    fn input_len(&self) -> usize {
        self.octets.len()
    }

    fn take(&self, index: usize) -> Self {
        Self { octets: self.octets.take(index), ..*self }
    }

    fn take_from(&self, index: usize) -> Self {
        Self { octets: self.octets.take_from(index), offset: self.offset + index, ..*self }
    }

    fn take_split(&self, index: usize) -> (Self, Self) {
        (self.take_from(index), nom::Input::take(self, index))
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

impl Offset for Input<'_> {
    fn offset(&self, second: &Self) -> usize {
        second.offset - self.offset
    }
}

impl ParseError<Input<'_>> for DecodeError {
    /// The only parser of nom that fails by itself is `eof`: the others are named, and [`bytes`] says
    /// what they lack.
    fn from_error_kind(input: Input<'_>, _: ErrorKind) -> Self {
        Self::TooLong { offset: input.offset, left: input.left() }
    }

    fn append(_: Input<'_>, _: ErrorKind, other: Self) -> Self {
        other
    }
}

/// Reads a field of as many bytes as `read` takes, which the layout of the message asks for.
pub(super) fn field<'a, const N: usize, T, R: Fn([u8; N]) -> T>(
    name: Field,
    read: R,
) -> impl Reads<'a, T> {
    Fixed { name, read }
}

struct Fixed<R, const N: usize> {
    name: Field,
    read: R,
}

impl<'a, const N: usize, T, R: Fn([u8; N]) -> T> Parser<Input<'a>> for Fixed<R, N> {
    type Output = T;
    type Error = DecodeError;

    #[inline]
    fn process<OM: OutputMode>(&mut self, input: Input<'a>) -> Processed<'a, OM, T> {
        let (rest, octets) = named(self.name, N, LenFrom::Layout, input)?;
        let octets = octets.first_chunk().expect("as many bytes as were asked for");
        Ok((rest, OM::Output::bind(|| (self.read)(*octets))))
    }
}

/// Reads a field of so many bytes.
pub(super) fn bytes<'a>(name: Field, count: usize, because: LenFrom) -> impl Reads<'a, &'a [u8]> {
    Counted { name, count, because }
}

struct Counted {
    name: Field,
    count: usize,
    because: LenFrom,
}

impl<'a> Parser<Input<'a>> for Counted {
    type Output = &'a [u8];
    type Error = DecodeError;

    #[inline]
    fn process<OM: OutputMode>(&mut self, input: Input<'a>) -> Processed<'a, OM, &'a [u8]> {
        let (rest, octets) = named(self.name, self.count, self.because, input)?;
        Ok((rest, OM::Output::bind(|| octets)))
    }
}

/// Reads all that is left, which may be nothing.
pub(super) fn rest<'a>(name: Field) -> impl Reads<'a, &'a [u8]> {
    All { name }
}

struct All {
    name: Field,
}

impl<'a> Parser<Input<'a>> for All {
    type Output = &'a [u8];
    type Error = DecodeError;

    #[inline]
    fn process<OM: OutputMode>(&mut self, input: Input<'a>) -> Processed<'a, OM, &'a [u8]> {
        let (rest, octets) = named(self.name, input.left(), LenFrom::Layout, input)?;
        Ok((rest, OM::Output::bind(|| octets)))
    }
}

/// Nothing here is tried in another way after it failed: every failure is final.
#[inline]
fn named<E>(
    field: Field,
    needed: usize,
    because: LenFrom,
    input: Input<'_>,
) -> Result<(Input<'_>, &[u8]), Err<DecodeError, E>> {
    let taken: Parsed<'_, Input<'_>, ()> = take(needed).parse(input);
    let Ok((rest, value)) = taken else {
        return Err(Err::Failure(cut(field, needed, because, input)));
    };
    input.log(field, needed);
    Ok((rest, value.octets))
}

#[cold]
fn cut(field: Field, needed: usize, because: LenFrom, input: Input<'_>) -> DecodeError {
    DecodeError::TooShort { field, offset: input.offset, needed, left: input.left(), because }
}

/// Reads so many bytes, which have no name in the log.
#[inline]
pub(super) fn array<'a, const N: usize, E: ParseError<Input<'a>>>(
    input: Input<'a>,
) -> Parsed<'a, [u8; N], E> {
    let (input, taken) = take(N).parse(input)?;
    Ok((input, *taken.octets.first_chunk().expect("as many bytes as were asked for")))
}

/// Reads with the last four bytes out of reach: they are the MIC.
pub(super) fn before_mic<'a, T>(parser: impl Reads<'a, T>) -> impl Reads<'a, T> {
    BeforeMic(parser)
}

struct BeforeMic<P>(P);

impl<'a, P: Parser<Input<'a>, Error = DecodeError>> Parser<Input<'a>> for BeforeMic<P> {
    type Output = P::Output;
    type Error = DecodeError;

    #[inline]
    fn process<OM: OutputMode>(&mut self, input: Input<'a>) -> Processed<'a, OM, P::Output> {
        let reach = input.left().saturating_sub(Mic::LEN);
        let (after, value) = self.0.process::<OM>(nom::Input::take(&input, reach))?;
        Ok((nom::Input::take_from(&input, after.offset - input.offset), value))
    }
}

/// Reads if anything is left.
pub(super) fn if_any<'a, T>(parser: impl Reads<'a, T>) -> impl Reads<'a, Option<T>> {
    IfAny(parser)
}

struct IfAny<P>(P);

impl<'a, P: Parser<Input<'a>, Error = DecodeError>> Parser<Input<'a>> for IfAny<P> {
    type Output = Option<P::Output>;
    type Error = DecodeError;

    #[inline]
    fn process<OM: OutputMode>(
        &mut self,
        input: Input<'a>,
    ) -> Processed<'a, OM, Option<P::Output>> {
        if input.left() == 0 {
            return Ok((input, OM::Output::bind(|| None)));
        }
        let (input, value) = self.0.process::<OM>(input)?;
        Ok((input, OM::Output::map(value, Some)))
    }
}

/// Reads bytes by a grammar; what the grammar leaves over is not looked at.
#[inline]
pub(super) fn parse<'a, T>(
    mut grammar: impl Reads<'a, T>,
    input: Input<'a>,
) -> Result<T, DecodeError> {
    match grammar.parse(input) {
        Ok((_, value)) => Ok(value),
        Err(Err::Error(stopped) | Err::Failure(stopped)) => Err(stopped),
        // The parsers here are complete: none asks for bytes that may still come.
        Err(Err::Incomplete(_)) => Err(DecodeError::from_error_kind(input, ErrorKind::Complete)),
    }
}
