//! What a verdict rests on: words with typed values in them, and how sure it makes one.
//!
//! Rungs and causes state [`Fact`]s. [`crate::show`] words them: text prints the words, JSON gives
//! the words and the values, a page links the lines. A value that tells digits of a key is a
//! [`Secret`]; a renderer leaves it out unless it was asked to show keys.
//!
//! Facts are made in verdicts, never for every frame.

mod words;

use std::borrow::Cow;

use jiff::Timestamp;

use crate::{
    frame::command::Command,
    id::{DevAddr, Eui64, NetId},
    intake::Speaker,
    radio::Modulation,
    trace::{Attempt, Data, DataSeen, KeyRef, Line, Moment, Sending, Sighting},
};

pub use words::{Secrets, text, write, write_value};

/// How sure a verdict is.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub enum Certainty {
    /// The computation leaves no other explanation but a false match of stated probability.
    Certain,
    /// The evidence speaks for it. Something that was not captured could speak against it.
    Likely,
    /// It explains what was seen. Other things may explain it, too.
    Possible,
}

impl Certainty {
    /// Returns `certain`, `likely` or `possible`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Certain => "certain",
            Self::Likely => "likely",
            Self::Possible => "possible",
        }
    }

    /// Returns how sure a match is that would occur by chance with this probability.
    ///
    /// One MIC of 32 bits under one candidate is 2.3e-10, under the 4,000 candidates of a typing
    /// error 1e-6: that is where `certain` ends. Half a MIC (16 bits, 1.5e-5) is `likely`.
    pub fn of_probability(false_match: f64) -> Self {
        match false_match {
            p if p < 1e-6 => Self::Certain,
            p if p < 1e-3 => Self::Likely,
            _ => Self::Possible,
        }
    }
}

/// Words with typed values in them.
///
/// Made with the `fact!` macro: a template with `{name}` where a value goes, and the values.
#[derive(Clone, Debug, PartialEq)]
pub struct Fact {
    template: &'static str,
    values: Vec<(&'static str, Value)>,
    at: Vec<Cite>,
    said_by: Option<Speaker>,
}

impl Fact {
    /// Returns a fact of a template, whose values are still to be given.
    pub(crate) const fn new(template: &'static str) -> Self {
        Self { template, values: Vec::new(), at: Vec::new(), said_by: None }
    }

    /// Returns several facts as one, with `separator` between them.
    pub(crate) fn joined(facts: Vec<Self>, separator: &'static str) -> Self {
        let all = facts.into_iter().map(Value::from).collect();
        Self::new("{all}").with("all", Value::List(all, separator))
    }

    /// Gives the value of a name in the template.
    #[must_use]
    pub(crate) fn with(mut self, name: &'static str, value: impl Into<Value>) -> Self {
        self.values.push((name, value.into()));
        self
    }

    /// Names a place in the capture that shows it, and that the words do not name.
    #[must_use]
    pub(crate) fn at(mut self, cite: impl Into<Cite>) -> Self {
        self.at.push(cite.into());
        self
    }

    /// States that it rests on somebody's own words.
    #[must_use]
    pub(crate) const fn said_by(mut self, speaker: Speaker) -> Self {
        self.said_by = Some(speaker);
        self
    }

    /// Returns the template: words, with `{name}` where a value goes.
    pub const fn template(&self) -> &'static str {
        self.template
    }

    /// Returns the values with their names, in the order of the template.
    pub fn values(&self) -> &[(&'static str, Value)] {
        &self.values
    }

    /// Returns the value of a name.
    pub fn value(&self, name: &str) -> Option<&Value> {
        self.values.iter().find(|(own, _)| *own == name).map(|(_, value)| value)
    }

    /// Returns the places in the capture that show it, in the order of its words.
    pub fn places(&self) -> Vec<&Cite> {
        let mut out = Vec::new();
        self.values.iter().for_each(|(_, value)| value.places(&mut out));
        for cite in &self.at {
            if !out.contains(&cite) {
                out.push(cite);
            }
        }
        out
    }

    /// Returns whose words it rests on, if it rests on somebody's words.
    pub const fn speaker(&self) -> Option<Speaker> {
        self.said_by
    }

    /// Returns the parts of the template: words, and the values between them.
    pub fn parts(&self) -> Vec<Part<'_>> {
        let mut out = Vec::new();
        let mut rest = self.template;
        while let Some(open) = rest.find('{') {
            let (words, tail) = rest.split_at(open);
            if !words.is_empty() {
                out.push(Part::Words(words));
            }
            let inside = tail.strip_prefix('{').unwrap_or_default();
            let Some((name, after)) = inside.split_once('}') else {
                rest = tail;
                break;
            };
            match self.value(name) {
                Some(value) => out.push(Part::Value(value)),
                // The macro does not compile without the value.
                None => out.push(Part::Words(name)),
            }
            rest = after;
        }
        if !rest.is_empty() {
            out.push(Part::Words(rest));
        }
        out
    }
}

/// A part of a fact.
#[derive(Clone, Copy, Debug)]
pub enum Part<'a> {
    /// Words as they are.
    Words(&'a str),
    /// A value, still to be worded.
    Value(&'a Value),
}

/// A place in a capture, with what finds it in other tools' files, too.
#[derive(Clone, Debug, Default, Eq, Hash, PartialEq)]
pub struct Cite {
    /// Source and line or packet.
    pub line: Line,
    /// When it was captured.
    pub time: Option<Timestamp>,
    /// The gateway.
    pub gateway: Option<Eui64>,
    /// The token of the datagram.
    pub token: Option<u16>,
    /// Whether the words give the time with the line.
    pub timed: bool,
}

impl Cite {
    /// Returns the place worded with its time: `line 3 (08:00:03Z)`.
    #[must_use]
    pub(crate) const fn with_time(mut self) -> Self {
        self.timed = true;
        self
    }
}

impl From<&Sighting> for Cite {
    fn from(seen: &Sighting) -> Self {
        let &Sighting { line, at: time, gateway, .. } = seen;
        Self { line, time, gateway, ..Self::default() }
    }
}

impl From<&Sending> for Cite {
    fn from(sending: &Sending) -> Self {
        let &Sending { line, at: time, gateway, token, .. } = sending;
        Self { line, time, gateway, token, timed: false }
    }
}

impl From<Moment> for Cite {
    fn from(moment: Moment) -> Self {
        Self { line: moment.line, time: moment.at, ..Self::default() }
    }
}

impl From<&Attempt> for Cite {
    /// The first reception of the request, worded with its time.
    fn from(attempt: &Attempt) -> Self {
        Self::from(attempt.heard.first()).with_time()
    }
}

impl From<&Data> for Cite {
    fn from(data: &Data) -> Self {
        match data {
            Data::Up { heard, .. } => heard.first().into(),
            Data::Down { sending, .. } => sending.into(),
        }
    }
}

impl From<&DataSeen> for Cite {
    fn from(seen: &DataSeen) -> Self {
        (&seen.data).into()
    }
}

impl From<Line> for Cite {
    fn from(line: Line) -> Self {
        Self { line, ..Self::default() }
    }
}

/// Digits of a key, and what is said where keys are not to be shown.
#[derive(Clone, PartialEq)]
pub struct Secret {
    shown: Box<Fact>,
    hidden: Box<Fact>,
}

impl Secret {
    /// Returns a secret: what tells digits, and what is said instead.
    pub(crate) fn new(shown: impl Into<Fact>, hidden: impl Into<Fact>) -> Self {
        Self { shown: Box::new(shown.into()), hidden: Box::new(hidden.into()) }
    }

    /// Returns the words that tell digits: for a user who asked to see keys.
    pub fn revealed(&self) -> &Fact {
        &self.shown
    }

    /// Returns the words that tell none.
    pub fn hidden(&self) -> &Fact {
        &self.hidden
    }
}

impl From<Secret> for Fact {
    fn from(secret: Secret) -> Self {
        Self::new("{digits}").with("digits", secret)
    }
}

impl std::fmt::Debug for Secret {
    /// Tells none of its digits.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Secret").field("hidden", &self.hidden).finish_non_exhaustive()
    }
}

/// A value inside a fact.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Value {
    /// Words of the standard, of the trade, or as they were found, without control characters.
    Text(Cow<'static, str>),
    /// A place in the capture.
    Cite(Cite),
    /// A number without a unit.
    Number(i64),
    /// How many of a thing there are: `1 request`, `2 requests`.
    Count(u64, &'static str),
    /// A decimal number.
    Decimal(f64),
    /// A frequency, hertz.
    Frequency(u32),
    /// How far a frequency is from another, hertz: `13 Hz below`, `1.0 MHz above`.
    Offset(i64),
    /// Channels of a plan, rising: `8-15, 65`.
    Channels(Vec<u16>),
    /// Numbers as they came, each worded once: `7, 9 (3 times)`.
    Tally(Vec<u16>),
    /// Spreading factor and bandwidth, or bit rate.
    Rate(Modulation),
    /// A power, dBm.
    Dbm(f64),
    /// A ratio, dB.
    Db(f64),
    /// A duration, microseconds, with all its digits: `5.000000 s`.
    Micros(i64),
    /// A duration, microseconds, as people say it: `0.42 s`, `1.2 ms`, `3 min 20 s`.
    About(i64),
    /// How a clock stands to another, microseconds: `3 s ahead of`, `3 s behind`.
    Apart(i64),
    /// A moment.
    Time(Timestamp),
    /// An EUI-64.
    Eui(Eui64),
    /// A DevAddr.
    DevAddr(DevAddr),
    /// A NetID.
    NetId(NetId),
    /// Bytes in the order sent.
    Bytes(Vec<u8>),
    /// The probability of a false match.
    Probability(f64),
    /// A MAC command, worded with its fields.
    Command(Box<Command>),
    /// Digits of a key.
    Secret(Secret),
    /// Several values and what stands between them.
    List(Vec<Self>, &'static str),
    /// A fact within a fact.
    Fact(Box<Fact>),
}

impl Value {
    /// Returns a power that a radio reports, dBm.
    pub(crate) fn dbm(power: f32) -> Self {
        Self::Dbm(decimal(power))
    }

    /// Returns a ratio that a radio reports, dB.
    pub(crate) fn db(ratio: f32) -> Self {
        Self::Db(decimal(ratio))
    }

    /// Returns how many of a thing there are.
    pub(crate) fn count(n: usize, noun: &'static str) -> Self {
        Self::Count(u64::try_from(n).unwrap_or(u64::MAX), noun)
    }

    /// Returns the values with `, ` between them.
    pub(crate) fn list<V: Into<Self>>(values: impl IntoIterator<Item = V>) -> Self {
        Self::List(values.into_iter().map(Into::into).collect(), ", ")
    }

    fn places<'a>(&'a self, out: &mut Vec<&'a Cite>) {
        match self {
            Self::Cite(cite) if !out.contains(&cite) => out.push(cite),
            Self::List(values, _) => values.iter().for_each(|value| value.places(out)),
            Self::Fact(fact) => out.extend(fact.places()),
            Self::Secret(secret) => out.extend(secret.hidden.places()),
            _ => {}
        }
    }
}

/// A radio's number without the noise of its binary form: -84.2, not -84.19999694824219.
fn decimal(number: f32) -> f64 {
    (f64::from(number) * 100.0).round() / 100.0
}

macro_rules! value_from {
    ($($from:ty => |$x:ident| $make:expr;)*) => {$(
        impl From<$from> for Value {
            fn from($x: $from) -> Self {
                $make
            }
        }
    )*};
}

value_from! {
    &'static str => |x| Self::Text(x.into());
    String => |x| Self::Text(x.into());
    Cow<'static, str> => |x| Self::Text(x);
    Cite => |x| Self::Cite(x);
    Line => |x| Self::Cite(x.into());
    Moment => |x| Self::Cite(Cite::from(x).with_time());
    &Sighting => |x| Self::Cite(x.into());
    &Sending => |x| Self::Cite(x.into());
    &Attempt => |x| Self::Cite(x.into());
    KeyRef => |x| Self::Text(x.to_string().into());
    i64 => |x| Self::Number(x);
    i32 => |x| Self::Number(x.into());
    u8 => |x| Self::Number(x.into());
    u16 => |x| Self::Number(x.into());
    u32 => |x| Self::Number(x.into());
    u64 => |x| Self::Number(i64::try_from(x).unwrap_or(i64::MAX));
    usize => |x| Self::Number(i64::try_from(x).unwrap_or(i64::MAX));
    f64 => |x| Self::Decimal(x);
    Modulation => |x| Self::Rate(x);
    Timestamp => |x| Self::Time(x);
    Eui64 => |x| Self::Eui(x);
    crate::id::DevEui => |x| Self::Eui(x.0);
    crate::id::JoinEui => |x| Self::Eui(x.0);
    DevAddr => |x| Self::DevAddr(x);
    NetId => |x| Self::NetId(x);
    &Command => |x| Self::Command(Box::new(x.clone()));
    &DataSeen => |x| Self::Cite(x.into());
    Secret => |x| Self::Secret(x);
    Fact => |x| Self::Fact(Box::new(x));
}

impl From<&'static str> for Fact {
    /// A fact without values.
    fn from(words: &'static str) -> Self {
        Self::new("{words}").with("words", words)
    }
}

/// Makes a [`Fact`]: a template, the values of the names in it, and further places that show it.
///
/// ```ignore
/// fact!("{request}: the MIC fails under {key}", request = attempt.cite(), key; at: answer.cite())
/// ```
/// A name without `=` is the variable of that name. A name that the template lacks, and a place of
/// the template without a value, do not compile.
macro_rules! fact {
    ($template:literal $(, $name:ident $(= $value:expr)?)* $(,)? $(; at: $($at:expr),+ $(,)?)?) => {{
        // The compiler holds the names against the template; a constant sees no local variable.
        const _: fn() = || {
            let _ = ::std::format_args!($template $(, $name = "")*);
        };
        $crate::fact::Fact::new($template)
            $(.with(stringify!($name), fact!(@value $name $(, $value)?)))*
            $($(.at($at))+)?
    }};
    (@value $name:ident) => { $name };
    (@value $name:ident, $value:expr) => { $value };
}

pub(crate) use fact;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::Position;

    fn line(number: u64) -> Line {
        Line { place: Position::line(number), ..Line::default() }
    }

    #[test]
    fn places_are_those_of_the_words_and_those_given() {
        let request = Cite::from(line(3));
        let fact = fact!("{request}: answered by {accept}", request, accept = line(5); at: line(6), line(5));
        let numbers: Vec<u64> = fact.places().iter().map(|cite| cite.line.place.number).collect();
        assert_eq!(numbers, [3, 5, 6]);
    }

    #[test]
    fn parts_are_words_and_values_in_order() {
        let fact = fact!("DevNonce {nonce} is used", nonce = 7_u16);
        let parts = fact.parts();
        assert!(matches!(
            parts.as_slice(),
            [Part::Words("DevNonce "), Part::Value(Value::Number(7)), Part::Words(" is used")]
        ));
    }

    #[test]
    fn a_secret_is_mute() {
        let secret = Secret::new("digit 3 is a, not b", "digit 3 differs");
        assert!(!format!("{secret:?}").contains("not b"));
    }

    #[test]
    fn certainty_ends_at_the_candidates_of_a_typing_error() {
        assert_eq!(Certainty::of_probability(9.9e-7), Certainty::Certain);
        assert_eq!(Certainty::of_probability(1e-6), Certainty::Likely);
        assert_eq!(Certainty::of_probability(9.9e-4), Certainty::Likely);
        assert_eq!(Certainty::of_probability(1e-3), Certainty::Possible);
    }
}
