//! Single members: what each may be, and a note where it is not.

use jiff::Timestamp;

use super::{
    datagram::{CodeRate, Kind},
    json::Scalar,
    log::{Stamp, stamp},
    note::{Notes, Place, Remark},
    text::base64_member,
    time::timestamp,
};
use crate::{
    id::{Eui64, hex_octets},
    radio::Modulation,
};

/// Reads the members of one object and notes what is odd about them.
pub(super) struct Member<'n> {
    pub(super) place: Place,
    pub(super) notes: &'n mut Notes,
}

impl Member<'_> {
    pub(super) fn note(&mut self, member: &'static str, remark: Remark) {
        self.notes.push(self.place, member, remark);
    }

    pub(super) fn wrong(&mut self, member: &'static str, value: &Scalar<'_>, wanted: &'static str) {
        self.note(member, Remark::WrongType { wanted, found: value.type_name() });
    }

    pub(super) fn repeated(&mut self, member: Option<&'static str>) {
        if let Some(member) = member {
            self.note(member, Remark::Repeated);
        }
    }

    pub(super) fn text<'a>(
        &mut self,
        member: &'static str,
        value: &'a Scalar<'_>,
        wanted: &'static str,
    ) -> Option<&'a str> {
        match value {
            Scalar::Text(text) => Some(text),
            Scalar::Absent => None,
            other => {
                self.wrong(member, other, wanted);
                None
            }
        }
    }

    pub(super) fn flag(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<bool> {
        match value {
            Scalar::Bool(flag) => Some(*flag),
            Scalar::Absent => None,
            other => {
                self.wrong(member, other, "true or false");
                None
            }
        }
    }

    fn number(
        &mut self,
        member: &'static str,
        value: &Scalar<'_>,
        wanted: &'static str,
    ) -> Option<f64> {
        #[expect(clippy::cast_precision_loss, reason = "measurements are far below 2^53")]
        match value {
            Scalar::Float(number) => Some(*number),
            Scalar::Unsigned(number) => Some(*number as f64),
            Scalar::Negative(number) => Some(*number as f64),
            Scalar::Absent => None,
            other => {
                self.wrong(member, other, wanted);
                None
            }
        }
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
        let number = self.number(member, value, wanted)? as f32;
        if number.is_finite() {
            return Some(number);
        }
        self.note(member, Remark::NotUnderstood { wanted });
        None
    }

    pub(super) fn integer(
        &mut self,
        member: &'static str,
        value: &Scalar<'_>,
        wanted: &'static str,
        range: std::ops::RangeInclusive<i64>,
    ) -> Option<i64> {
        let number = match value {
            Scalar::Unsigned(number) => i64::try_from(*number).ok(),
            Scalar::Negative(number) => Some(*number),
            // Some gateways print every number with a decimal point.
            #[expect(clippy::cast_possible_truncation, reason = "whole and small, as checked")]
            Scalar::Float(number) if number.fract() == 0.0 && number.abs() < 9e15 => {
                Some(*number as i64)
            }
            Scalar::Float(_) => None,
            Scalar::Absent => return None,
            other => {
                self.wrong(member, other, wanted);
                return None;
            }
        };
        let number = number.filter(|number| range.contains(number));
        if number.is_none() {
            self.note(member, Remark::NotUnderstood { wanted });
        }
        number
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
        let hertz = (self.number(member, value, wanted)? * 1e6).round();
        if hertz >= 1.0 && hertz <= f64::from(u32::MAX) {
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "whole and in range, as checked"
            )]
            return Some(hertz as u32);
        }
        self.note(member, Remark::NotUnderstood { wanted });
        None
    }

    pub(super) fn modulation(
        &mut self,
        member: &'static str,
        value: &Scalar<'_>,
    ) -> Option<Modulation> {
        let wanted = "a data rate such as \"SF7BW125\", or bits a second";
        let modulation = match value {
            Scalar::Absent => return None,
            Scalar::Unsigned(bit_rate) => {
                u32::try_from(*bit_rate).ok().map(|bit_rate| Modulation::Fsk { bit_rate })
            }
            Scalar::Text(text) => text.parse().or_else(|_| text.to_ascii_uppercase().parse()).ok(),
            Scalar::Negative(_) | Scalar::Float(_) => None,
            other => {
                self.wrong(member, other, wanted);
                return None;
            }
        };
        if modulation.is_none() {
            self.note(member, Remark::NotUnderstood { wanted });
        }
        modulation
    }

    pub(super) fn time(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<Timestamp> {
        let wanted = "a time such as 2026-03-02T08:00:03.210692Z";
        let text = self.text(member, value, wanted)?;
        let time = timestamp(text);
        if time.is_none() {
            self.note(member, Remark::NotUnderstood { wanted });
        }
        time
    }

    /// Reads the time at which a line was written, in whatever form logs have it, too.
    pub(super) fn at(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<Timestamp> {
        let wanted = "a time such as 2026-03-02T08:00:03.210692Z";
        let read = match value {
            Scalar::Absent => return None,
            Scalar::Text(text) => match timestamp(text) {
                Some(time) => return Some(time),
                None => written(text.trim()),
            },
            Scalar::Unsigned(count) => since_1970(*count).map(Stamp::Utc),
            Scalar::Float(seconds) => seconds_since_1970(*seconds).map(Stamp::Utc),
            Scalar::Negative(_) => None,
            other => {
                self.wrong(member, other, wanted);
                return None;
            }
        };
        let (time, remark) = match read {
            Some(Stamp::Utc(time)) => return Some(time),
            Some(Stamp::Local(time)) => (Some(time), Remark::NoZone),
            Some(Stamp::Clock) => (None, Remark::NoDate),
            None => (None, Remark::NotUnderstood { wanted }),
        };
        self.note(member, remark);
        time
    }

    pub(super) fn eui(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<Eui64> {
        let wanted = "an EUI of 16 hex digits";
        let eui = match value {
            Scalar::Absent => return None,
            Scalar::Text(text) => text.parse().ok(),
            other => {
                self.wrong(member, other, wanted);
                return None;
            }
        };
        if eui.is_none() {
            self.note(member, Remark::NotUnderstood { wanted });
        }
        eui
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
        let wanted = "a token of four hex digits";
        let token = match value {
            Scalar::Absent => return None,
            Scalar::Text(text) => hex_octets(text).ok().map(u16::from_be_bytes),
            Scalar::Unsigned(number) => u16::try_from(*number).ok(),
            other => {
                self.wrong(member, other, wanted);
                return None;
            }
        };
        if token.is_none() {
            self.note(member, Remark::NotUnderstood { wanted });
        }
        token
    }

    pub(super) fn kind(&mut self, member: &'static str, value: &Scalar<'_>) -> Option<Kind> {
        let wanted = "PUSH_DATA, PUSH_ACK, PULL_DATA, PULL_ACK, PULL_RESP or TX_ACK";
        let name = self.text(member, value, wanted)?;
        let kind = Kind::by_name(name);
        if kind.is_none() {
            self.note(member, Remark::NotUnderstood { wanted });
        }
        kind
    }

    /// Reads `data`, and holds `size` against it.
    pub(super) fn octets(&mut self, data: &Scalar<'_>, size: &Scalar<'_>) -> Option<Vec<u8>> {
        let octets = match data {
            Scalar::Text(text) if !text.trim().is_empty() => match base64_member(text) {
                Ok((octets, leniencies)) => {
                    for leniency in leniencies {
                        self.note("data", Remark::Lenient(leniency));
                    }
                    octets
                }
                Err(why) => {
                    self.note("data", Remark::Data(why));
                    return None;
                }
            },
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
        let stated = self.count("size", size);
        if let Some(stated) = stated.filter(|stated| usize::try_from(*stated) != Ok(octets.len())) {
            self.note("size", Remark::Size { stated, octets: octets.len() });
        }
        Some(octets)
    }
}

/// Reads a time that is all of a text, or a count from 1970 in digits.
fn written(text: &str) -> Option<Stamp> {
    if !text.starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    if let Ok(count) = text.parse() {
        return since_1970(count).map(Stamp::Utc);
    }
    // Other counts than a clock's have a point, too: `1772438403.3`.
    if let Ok(seconds) = text.parse() {
        return seconds_since_1970(seconds).map(Stamp::Utc);
    }
    stamp(text)
}

/// Returns the time of a count from 1970 whose size tells its unit: seconds to nanoseconds.
fn since_1970(count: u64) -> Option<Timestamp> {
    let signed = i64::try_from(count).ok()?;
    match count {
        1_000_000_000..=9_999_999_999 => Timestamp::from_second(signed).ok(),
        1_000_000_000_000..=9_999_999_999_999 => Timestamp::from_millisecond(signed).ok(),
        1_000_000_000_000_000..=9_999_999_999_999_999 => Timestamp::from_microsecond(signed).ok(),
        1_000_000_000_000_000_000.. => Timestamp::from_nanosecond(i128::from(count)).ok(),
        _ => None,
    }
}

/// Returns the time of seconds, or of milliseconds where there are as many, with a fraction.
fn seconds_since_1970(count: f64) -> Option<Timestamp> {
    let seconds = if (1e12..1e13).contains(&count) { count / 1e3 } else { count };
    let seconds = Some(seconds).filter(|s| (1e9..1e10).contains(s))?;
    #[expect(clippy::cast_possible_truncation, reason = "bounded just above")]
    Timestamp::from_microsecond((seconds * 1e6).round() as i64).ok()
}
