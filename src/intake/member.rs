//! Single members: what each may be, and a note where it is not.

use jiff::Timestamp;

use super::{
    event::CodeRate,
    header::DatagramKind,
    json::Scalar,
    note::{Notes, Remark, Within},
    stamp::{Stamp, seconds_since_1970, since_1970, written},
    text::{base64_member, short_base64},
    time::timestamp,
};
use crate::{
    frame::{Decoded, decode},
    id::{Eui64, hex_octets},
    radio::Modulation,
};

/// Reads the members of one object and notes what is odd about them.
pub(super) struct Member<'n> {
    pub(super) within: Within,
    pub(super) notes: &'n mut Notes,
}

impl Member<'_> {
    pub(super) fn note(&mut self, member: &'static str, remark: Remark) {
        self.notes.push(self.within, member, remark);
    }

    pub(super) fn wrong(&mut self, member: &'static str, value: &Scalar<'_>, wanted: &'static str) {
        self.note(member, Remark::WrongType { wanted, found: value.type_name() });
    }

    pub(super) fn repeated(&mut self, member: Option<&'static str>) {
        if let Some(member) = member {
            self.note(member, Remark::Repeated);
        }
    }

    /// Reads a member that is there; says what is wrong with one of another type, or not understood.
    fn read<'v, T>(
        &mut self,
        member: &'static str,
        value: &'v Scalar<'_>,
        wanted: &'static str,
        read: impl FnOnce(&'v Scalar<'_>) -> Read<T>,
    ) -> Option<T> {
        if matches!(value, Scalar::Absent) {
            return None;
        }
        match read(value) {
            Read::Right(read) => return Some(read),
            Read::NotUnderstood => self.note(member, Remark::NotUnderstood { wanted }),
            Read::WrongType => self.wrong(member, value, wanted),
        }
        None
    }

    pub(super) fn text<'a>(
        &mut self,
        member: &'static str,
        value: &'a Scalar<'_>,
        wanted: &'static str,
    ) -> Option<&'a str> {
        self.read(member, value, wanted, |value| match value {
            Scalar::Text(text) => Read::Right(&**text),
            _ => Read::WrongType,
        })
    }

    pub(super) fn flag(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<bool> {
        self.read(member, value, "true or false", |value| match value {
            Scalar::Bool(flag) => Read::Right(*flag),
            _ => Read::WrongType,
        })
    }

    pub(super) fn decimal(
        &mut self,
        member: &'static str,
        value: &Scalar<'_>,
        wanted: &'static str,
    ) -> Option<f32> {
        #[expect(
            clippy::cast_possible_truncation,
            reason = "tenths of a dB fit with room to spare"
        )]
        let finite = |number: f64| Some(number as f32).filter(|number| number.is_finite());
        self.read(member, value, wanted, |value| match number(value) {
            Some(number) => finite(number).into(),
            None => Read::WrongType,
        })
    }

    pub(super) fn integer(
        &mut self,
        member: &'static str,
        value: &Scalar<'_>,
        wanted: &'static str,
        range: std::ops::RangeInclusive<i64>,
    ) -> Option<i64> {
        self.read(member, value, wanted, |value| {
            let number = match value {
                Scalar::Unsigned(number) => i64::try_from(*number).ok(),
                Scalar::Negative(number) => Some(*number),
                // Some gateways print every number with a decimal point.
                #[expect(clippy::cast_possible_truncation, reason = "whole and small, as checked")]
                Scalar::Float(number) if number.fract() == 0.0 && number.abs() < 9e15 => {
                    Some(*number as i64)
                }
                Scalar::Float(_) => None,
                _ => return Read::WrongType,
            };
            number.filter(|number| range.contains(number)).into()
        })
    }

    pub(super) fn counter(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<u32> {
        self.integer(member, value, "a 32-bit counter of microseconds", 0..=i64::from(u32::MAX))
            .and_then(|number| number.try_into().ok())
    }

    pub(super) fn milliseconds(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<u64> {
        self.integer(member, value, "milliseconds of GPS time", 0..=i64::MAX)
            .and_then(|number| number.try_into().ok())
    }

    pub(super) fn small(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<u16> {
        self.integer(member, value, "a number, 0 to 65535", 0..=i64::from(u16::MAX))
            .and_then(|number| number.try_into().ok())
    }

    pub(super) fn count(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<u64> {
        self.integer(member, value, "a count", 0..=i64::MAX)
            .and_then(|number| number.try_into().ok())
    }

    /// Reads megahertz.
    pub(super) fn hertz(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<u32> {
        let wanted = "a frequency in megahertz such as 868.1";
        self.read(member, value, wanted, |value| {
            let Some(number) = number(value) else { return Read::WrongType };
            let hertz = (number * 1e6).round();
            let right = hertz >= 1.0 && hertz <= f64::from(u32::MAX);
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "whole and in range, as checked"
            )]
            right.then_some(hertz as u32).into()
        })
    }

    pub(super) fn modulation(
        &mut self,
        member: &'static str,
        value: &Scalar<'_>,
    ) -> Option<Modulation> {
        let wanted = "a data rate such as \"SF7BW125\", or bits a second";
        self.read(member, value, wanted, |value| match value {
            Scalar::Unsigned(bit_rate) => {
                let bit_rate = u32::try_from(*bit_rate).ok();
                bit_rate.map(|bit_rate| Modulation::Fsk { bit_rate }).into()
            }
            Scalar::Text(text) => {
                text.parse().or_else(|_| text.to_ascii_uppercase().parse()).ok().into()
            }
            Scalar::Negative(_) | Scalar::Float(_) => Read::NotUnderstood,
            _ => Read::WrongType,
        })
    }

    pub(super) fn time(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<Timestamp> {
        self.read(member, value, A_TIME, |value| match value {
            Scalar::Text(text) => timestamp(text).into(),
            _ => Read::WrongType,
        })
    }

    /// Reads the time at which a line was written, in whatever form logs have it, too.
    pub(super) fn at(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<Timestamp> {
        let read = self.read(member, value, A_TIME, |value| match value {
            Scalar::Text(text) => {
                timestamp(text).map(Stamp::Utc).or_else(|| written(text.trim())).into()
            }
            Scalar::Unsigned(count) => since_1970(*count).map(Stamp::Utc).into(),
            Scalar::Float(seconds) => seconds_since_1970(*seconds).map(Stamp::Utc).into(),
            Scalar::Negative(_) => Read::NotUnderstood,
            _ => Read::WrongType,
        });
        let (time, remark) = match read? {
            Stamp::Utc(time) => return Some(time),
            Stamp::Local(time) => (Some(time), Remark::NoZone),
            Stamp::Clock => (None, Remark::NoDate),
        };
        self.note(member, remark);
        time
    }

    pub(super) fn eui(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<Eui64> {
        self.read(member, value, "an EUI of 16 hex digits", |value| match value {
            Scalar::Text(text) => text.parse().ok().into(),
            _ => Read::WrongType,
        })
    }

    pub(super) fn code_rate(
        &mut self,
        member: &'static str,
        value: &Scalar<'_>,
    ) -> Option<CodeRate> {
        let text = self.text(member, value, "a code rate such as \"4/5\"")?;
        Some(CodeRate::by_name(text))
    }

    pub(super) fn token(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<u16> {
        self.read(member, value, "a token of four hex digits", |value| match value {
            Scalar::Text(text) => hex_octets(text).ok().map(u16::from_be_bytes).into(),
            Scalar::Unsigned(number) => u16::try_from(*number).ok().into(),
            _ => Read::WrongType,
        })
    }

    pub(super) fn kind(
        &mut self,
        member: &'static str,
        value: &Scalar<'_>,
    ) -> Option<DatagramKind> {
        let wanted = "PUSH_DATA, PUSH_ACK, PULL_DATA, PULL_ACK, PULL_RESP or TX_ACK";
        self.read(member, value, wanted, |value| match value {
            Scalar::Text(name) => DatagramKind::by_name(name).into(),
            _ => Read::WrongType,
        })
    }

    /// Reads `data`, decodes the frame, and compares `size` with it.
    pub(super) fn frame(&mut self, data: &Scalar<'_>, size: &Scalar<'_>) -> Option<Decoded> {
        let mut buffer = [0; LONGEST];
        let frame = match data {
            Scalar::Text(text) if !text.trim().is_empty() => {
                match short_base64(text, &mut buffer) {
                    // Nearly every frame: without a copy that is thrown away.
                    Some(octets) => decode(octets),
                    None => decode(&self.careful_base64(text)?),
                }
            }
            Scalar::Absent | Scalar::Text(_) => {
                self.note("data", Remark::NoOctets);
                return None;
            }
            other => {
                self.wrong("data", other, "base64 of the frame");
                self.note("data", Remark::NoOctets);
                return None;
            }
        };
        let (stated, octets) = (self.count("size", size), frame.octets.len());
        if let Some(stated) = stated.filter(|stated| usize::try_from(*stated) != Ok(octets)) {
            self.note("size", Remark::Size { stated, octets });
        }
        Some(frame)
    }

    fn careful_base64(&mut self, text: &str) -> Option<Vec<u8>> {
        match base64_member(text) {
            Ok((octets, leniencies)) => {
                for leniency in leniencies {
                    self.note("data", Remark::Lenient(leniency));
                }
                Some(octets)
            }
            Err(why) => {
                self.note("data", Remark::Data(why));
                None
            }
        }
    }
}

/// What a value is.
enum Read<T> {
    Right(T),
    /// Out of range, or not what belongs there.
    NotUnderstood,
    /// Of another type.
    WrongType,
}

impl<T> From<Option<T>> for Read<T> {
    fn from(read: Option<T>) -> Self {
        read.map_or(Self::NotUnderstood, Self::Right)
    }
}

const fn number(value: &Scalar<'_>) -> Option<f64> {
    #[expect(clippy::cast_precision_loss, reason = "measurements are far below 2^53")]
    match value {
        Scalar::Float(number) => Some(*number),
        Scalar::Unsigned(number) => Some(*number as f64),
        Scalar::Negative(number) => Some(*number as f64),
        _ => None,
    }
}

const A_TIME: &str = "a time such as 2026-03-02T08:00:03.210692Z";
/// Bytes of the longest PHYPayload, and one more.
const LONGEST: usize = 256;
