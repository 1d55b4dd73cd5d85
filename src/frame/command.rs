//! MAC commands: what FOpts, or FRMPayload on FPort 0, asks and answers.
//!
//! A list of commands is CID, payload, CID, payload to its end. Lengths are nowhere on the air: each
//! follows from CID and direction, so a CID that nobody knows ends the reading of everything after it
//! (LoRaWAN 1.1, chapter 5).
//!
//! | octets | 1 | 0..26 | 1 | .. |
//! |--------|---|-------|---|----|
//! |        | CID | payload, fields least significant octet first | CID | .. |
//!
//! Everything here is made from one table, [`ROWS`]: decoding, composing, names, help, JSON, tests. A new
//! command is one row. Decryption of FOpts (1.1) and of FPort 0 is left to the caller, as is the rule
//! that the two places never carry commands in the same frame.
//!
//! ```
//! use handfast::frame::{Direction, command};
//!
//! let list = command::decode(&[0x02, 0x14, 0x03], Direction::Downlink, None);
//! assert_eq!(list.commands[0].to_string(), "LinkCheckAns: Margin 20 (20 dB above the demodulation floor), GwCnt 3");
//! ```

mod build;
mod fault;
mod kind;
mod layout;
pub mod package;
mod pair;
mod table;
mod text;

use alloc::{string::String, vec::Vec};
use core::{fmt, iter, ops::Range};

use nom::{
    Parser,
    bytes::complete::take,
    error::{ErrorKind, ParseError},
};

pub use build::{BuildError, Given, compose};
pub use fault::{Fault, Wrong};
pub use kind::{FieldKind, FieldValue};
pub use layout::{FieldSpec, Length, Refusal, Repeats, Role, Row};
pub use pair::{RefusedBit, answer_to, explain_refusal, request_of};
pub use text::from_text;

use super::input::{Input, array};
use crate::{
    frame::{Direction, MacVersion},
    words::Count,
};

/// Every MAC command of every version, both directions; of two layouts the newer one stands first.
pub static ROWS: &[Row] = table::ROWS;

/// Returns the row of a CID in a direction.
///
/// Where versions laid a command out differently, `version` picks; without it the newest layout is
/// taken. A command that the version does not have is still found, by the layout of one that has it:
/// see [`Row::is_in`].
pub fn row(cid: u8, direction: Direction, version: Option<MacVersion>) -> Option<&'static Row> {
    let fits = |r: &&Row| r.cid == cid && r.direction == direction;
    ROWS.iter().filter(fits).find(|r| r.is_in(version)).or_else(|| ROWS.iter().find(fits))
}

/// Returns the row of that name, letters of any case; of two layouts the one of `version`.
pub fn row_by_name(name: &str, version: Option<MacVersion>) -> Option<&'static Row> {
    let fits = |r: &&Row| r.name.eq_ignore_ascii_case(name);
    ROWS.iter().filter(fits).find(|r| r.is_in(version)).or_else(|| ROWS.iter().find(fits))
}

/// A decoded list of MAC commands, and what was left of it.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Commands {
    /// The version the list was read by.
    pub version: Option<MacVersion>,
    /// The commands, in the order sent.
    pub commands: Vec<Command>,
    /// What could not be split, if the list did not end cleanly.
    pub trailing: Option<Trailing>,
}

/// One MAC command.
#[derive(Clone, Eq, PartialEq)]
pub struct Command {
    /// The table's row it was read or made by.
    pub row: &'static Row,
    /// Where it stands in its list, CID included.
    pub at: Range<usize>,
    /// CID and payload as sent, RFU bits as they were.
    pub octets: Vec<u8>,
    /// Its fields, in the table's order.
    pub fields: Vec<Field>,
}

/// One field of a command.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Field {
    /// Its row in the table.
    pub spec: &'static FieldSpec,
    /// Its bits as a number, least significant first; 0 for a field of more than eight octets.
    pub raw: u64,
    /// Its value in engineering units.
    pub value: FieldValue,
    /// The version its meaning is told by.
    pub version: Option<MacVersion>,
}

/// What is left of a list that did not end cleanly. The octets are kept.
#[derive(Clone, Eq, PartialEq)]
pub struct Trailing {
    /// From the CID that could not be read to the end of the list.
    pub at: Range<usize>,
    /// That CID.
    pub cid: u8,
    /// The octets, the CID first.
    pub octets: Vec<u8>,
    /// Why they could not be split.
    pub why: Why,
}

/// Why the reading of a list stopped.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Why {
    /// A CID below 0x80 that no version assigns: its length, and so everything after it, is unknown.
    Unknown,
    /// A CID of 0x80 to 0xFF: proprietary, its length known to its maker alone. No fault.
    Proprietary,
    /// A known command whose payload runs over the end of the list.
    Cut {
        /// The command.
        row: &'static Row,
        /// Payload octets it needs, as far as is known.
        needed: usize,
        /// Payload octets there are.
        left: usize,
    },
}

/// Splits a list of MAC commands.
///
/// `octets` is FOpts or the FRMPayload of FPort 0, decrypted. `direction` decides the layouts (0x05 has
/// one octet of payload going up and four coming down), `version` those few that changed; without it
/// the newest layout is taken. Never fails: what cannot be split is in [`Commands::trailing`].
pub fn decode(octets: &[u8], direction: Direction, version: Option<MacVersion>) -> Commands {
    split(octets, version, |cid| row(cid, direction, version))
}

/// Splits a list of commands, each by the row of its CID.
fn split(
    octets: &[u8],
    version: Option<MacVersion>,
    row_of: impl Fn(u8) -> Option<&'static Row>,
) -> Commands {
    let mut commands = Vec::new();
    let mut input = Input::new(octets);
    let mut one = command(version, row_of);
    let mut stopped = None;
    while input.left() > 0 {
        match one.parse(input) {
            Ok((rest, command)) => {
                commands.push(command);
                input = rest;
            }
            Err(nom::Err::Error(why) | nom::Err::Failure(why)) => {
                stopped = Some(why);
                break;
            }
            Err(nom::Err::Incomplete(_)) => break,
        }
    }
    let trailing = stopped.and_then(|Stopped { at, why }| {
        let octets = octets.get(at..).unwrap_or_default().to_vec();
        let cid = *octets.first()?;
        Some(Trailing { at: at..at + octets.len(), cid, octets, why })
    });
    Commands { version, commands, trailing }
}

/// CID 1 | payload, as long as the row of CID and direction says.
fn command<'a>(
    version: Option<MacVersion>,
    row_of: impl Fn(u8) -> Option<&'static Row>,
) -> impl Parser<Input<'a>, Output = Command, Error = Stopped> {
    move |input: Input<'a>| {
        let at = input.offset();
        let stopped = |why| nom::Err::Failure(Stopped { at, why });
        let (payload, [cid]) = array(input)?;
        let unknown = if cid >= FIRST_PROPRIETARY { Why::Proprietary } else { Why::Unknown };
        let row = row_of(cid).ok_or(stopped(unknown))?;
        let needed = row.length.needed(payload.octets());
        let cut = Why::Cut { row, needed, left: payload.left() };
        let (after, payload) =
            take::<_, _, Stopped>(needed).parse(payload).map_err(|_| stopped(cut))?;
        let present = row.fields_of(payload.octets());
        let fields = present.map(|spec| spec.read(payload.octets(), version)).collect();
        let octets = input.octets().get(..=needed).unwrap_or_default().to_vec();
        Ok((after, Command { row, at: at..after.offset(), octets, fields }))
    }
}

/// Where the reading of a list stopped, and why.
struct Stopped {
    at: usize,
    why: Why,
}

impl ParseError<Input<'_>> for Stopped {
    /// A list ends well where no CID follows: that is no failure, and nobody asks why.
    fn from_error_kind(input: Input<'_>, _: ErrorKind) -> Self {
        Self { at: input.offset(), why: Why::Unknown }
    }

    fn append(_: Input<'_>, _: ErrorKind, other: Self) -> Self {
        other
    }
}

/// Returns the octets of a list of commands, in order; the reverse of [`decode`].
pub fn encode(commands: &[Command]) -> Vec<u8> {
    commands.iter().flat_map(|c| c.octets.iter().copied()).collect()
}

impl Commands {
    /// Returns the octets of the list, what could not be split included.
    pub fn encode(&self) -> Vec<u8> {
        let mut octets = encode(&self.commands);
        if let Some(trailing) = &self.trailing {
            octets.extend_from_slice(&trailing.octets);
        }
        octets
    }
}

impl fmt::Display for Commands {
    /// Prints one command a line, without a newline at the end.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut between = "";
        for command in &self.commands {
            write!(f, "{between}{command}")?;
            between = "\n";
        }
        match &self.trailing {
            Some(trailing) => write!(f, "{between}{trailing}"),
            None => Ok(()),
        }
    }
}

impl Command {
    /// Returns the CID.
    pub fn cid(&self) -> u8 {
        self.row.cid
    }

    /// Returns the name as the standard spells it.
    pub fn name(&self) -> &'static str {
        self.row.name
    }

    /// Returns the field of that name.
    pub fn field(&self, name: &str) -> Option<&Field> {
        self.fields.iter().find(|f| f.spec.name == name)
    }

    /// Returns the number that a field holds, in the unit that JSON prints; a flag is 0 or 1.
    pub fn number(&self, name: &str) -> Option<i64> {
        self.field(name).and_then(|f| f.value.number())
    }

    /// Returns whether a one-bit field is set.
    pub fn flag(&self, name: &str) -> Option<bool> {
        self.number(name).map(|n| n != 0)
    }

    /// Returns the payload, without the CID.
    pub fn payload(&self) -> &[u8] {
        self.octets.get(1..).unwrap_or_default()
    }

    /// Returns the RFU bits that are set, one octet for each octet of the payload.
    pub fn rfu(&self) -> Vec<u8> {
        let known = self.row.known_bits();
        let known = known.iter().copied().chain(iter::repeat(0xFF));
        self.payload().iter().zip(known).map(|(octet, known)| octet & !known).collect()
    }
}

impl fmt::Debug for Command {
    /// Leaves out the octets: those of UpdateUplinkListReq hold a key.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut out = f.debug_struct(self.row.name);
        out.field("at", &self.at);
        for field in &self.fields {
            out.field(field.spec.name, &field.value);
        }
        out.field("rfu", &self.rfu()).finish_non_exhaustive()
    }
}

impl fmt::Display for Command {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())?;
        for (i, field) in self.fields.iter().enumerate() {
            write!(f, "{}{field}", if i == 0 { ": " } else { ", " })?;
        }
        Ok(())
    }
}

impl Field {
    /// Returns the name, as the standard spells it.
    pub fn name(&self) -> &'static str {
        self.spec.name
    }

    /// Returns what the value means, or nothing where the value says it all.
    pub fn meaning(&self) -> Option<String> {
        let text = (self.spec.kind.says)(self.value.number()?, self.version);
        (!text.is_empty()).then_some(text)
    }
}

impl fmt::Display for Field {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.spec.name, self.value)?;
        match self.meaning() {
            Some(meaning) => write!(f, " ({meaning})"),
            None => Ok(()),
        }
    }
}

impl Trailing {
    /// Returns the command's name, if it is known.
    pub fn name(&self) -> Option<&'static str> {
        match self.why {
            Why::Cut { row, .. } => Some(row.name),
            Why::Unknown | Why::Proprietary => None,
        }
    }
}

impl fmt::Debug for Trailing {
    /// Leaves out the octets, which may be part of a key.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut out = f.debug_struct("Trailing");
        out.field("at", &self.at).field("cid", &self.cid).field("why", &self.why);
        out.finish_non_exhaustive()
    }
}

impl fmt::Display for Trailing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (cid, unread) = (self.cid, Count(self.octets.len(), "byte"));
        match self.why {
            Why::Unknown => write!(f, "unknown command {cid:02X}: {unread} unread"),
            Why::Proprietary => write!(f, "proprietary command {cid:02X}: {unread} unread"),
            Why::Cut { row, needed, left } => {
                let needed = Count(needed, "byte");
                write!(f, "{} cut short: {needed} needed, {left} left", row.name)
            }
        }
    }
}

/// From this CID on commands are proprietary (LoRaWAN 1.1, chapter 5).
const FIRST_PROPRIETARY: u8 = 0x80;
