//! Members of a message, each read by itself; what is odd becomes a note.

use std::ops::RangeInclusive;

use jiff::Timestamp;
use serde_json::{Map, Value};

use super::super::{
    note::{Notes, Remark, Within},
    stamp::{seconds_since_1970, since_1970},
    text::frame_text,
    time::timestamp,
};
use crate::id::Eui64;

/// The members of one object.
pub(super) struct Fields<'a, 'n> {
    map: &'a Map<String, Value>,
    within: Within,
    pub(super) notes: &'n mut Notes,
}

impl<'a, 'n> Fields<'a, 'n> {
    pub(super) const fn new(
        map: &'a Map<String, Value>,
        within: Within,
        notes: &'n mut Notes,
    ) -> Self {
        Self { map, within, notes }
    }

    pub(super) fn note(&mut self, member: &'static str, remark: Remark) {
        self.notes.push(self.within, member, remark);
    }

    fn wrong(&mut self, member: &'static str, wanted: &'static str) {
        self.note(member, Remark::NotUnderstood { wanted });
    }

    /// Returns a member that is there.
    pub(super) fn get(&self, member: &str) -> Option<&'a Value> {
        self.map.get(member).filter(|value| !value.is_null())
    }

    pub(super) fn integer(
        &mut self,
        member: &'static str,
        range: RangeInclusive<i64>,
    ) -> Option<i64> {
        let number = self.get(member)?.as_i64().filter(|number| range.contains(number));
        if number.is_none() && self.get(member).and_then(Value::as_i64) != Some(0) {
            self.wrong(member, "a whole number in range");
        }
        number
    }

    pub(super) fn small(&mut self, member: &'static str) -> Option<u8> {
        self.integer(member, 0..=255).and_then(|number| number.try_into().ok())
    }

    /// Returns a frequency; 0 stands for none.
    pub(super) fn hertz(&mut self, member: &'static str) -> Option<u32> {
        let hertz = self.integer(member, 0..=i64::from(u32::MAX))?;
        u32::try_from(hertz).ok().filter(|hz| *hz > 0)
    }

    /// Returns the four octets of a number as they were on the wire: least significant first,
    /// whether it was printed with a sign or without.
    pub(super) fn four_octets(&mut self, member: &'static str) -> Option<[u8; 4]> {
        let range = i64::from(i32::MIN)..=i64::from(u32::MAX);
        let number = self.integer(member, range)?;
        let [a, b, c, d, ..] = number.to_le_bytes();
        Some([a, b, c, d])
    }

    pub(super) fn two_octets(&mut self, member: &'static str) -> Option<[u8; 2]> {
        let number = self.integer(member, 0..=i64::from(u16::MAX))?;
        u16::try_from(number).ok().map(u16::to_le_bytes)
    }

    #[expect(clippy::cast_possible_truncation, reason = "tenths of a dB fit with room to spare")]
    pub(super) fn decimal(&mut self, member: &'static str) -> Option<f32> {
        let number = self.get(member)?.as_f64().map(|number| number as f32);
        if number.is_none() {
            self.wrong(member, "a number");
        }
        number.filter(|number| number.is_finite())
    }

    /// Returns a time in seconds of UTC; 0 stands for none.
    pub(super) fn seconds(&mut self, member: &'static str) -> Option<Timestamp> {
        let seconds = self.get(member)?.as_f64().filter(|s| s.is_finite() && s.abs() < 1e11)?;
        #[expect(clippy::cast_possible_truncation, reason = "bounded just above")]
        let micros = (seconds * 1e6).round() as i64;
        Timestamp::from_microsecond(micros).ok().filter(|_| micros > 0)
    }

    pub(super) fn hex(&mut self, member: &'static str) -> Option<Vec<u8>> {
        let text = self.get(member)?.as_str();
        let octets = match text {
            Some("") => Some(Vec::new()),
            Some(text) => frame_text(&format!("hex:{text}")).ok().map(|text| text.octets),
            None => None,
        };
        if octets.is_none() {
            self.wrong(member, "pairs of hex digits");
        }
        octets
    }

    /// Returns an EUI that has a name of its own in each of the protocol's two spellings.
    pub(super) fn eui(&mut self, member: &'static str, other: &'static str) -> Option<Eui64> {
        let value = self.get(member).or_else(|| self.get(other))?;
        let eui = eui(value);
        if eui.is_none() {
            self.wrong(member, "an EUI");
        }
        eui
    }
}

/// Returns when a message came, as a capture line says it: in words, or counted from 1970.
pub(super) fn time(value: &Value) -> Option<Timestamp> {
    match value {
        Value::String(text) => timestamp(text),
        Value::Number(count) => match count.as_u64() {
            Some(count) => since_1970(count),
            None => seconds_since_1970(count.as_f64()?),
        },
        _ => None,
    }
}

/// Returns an EUI in any of the forms of the protocol: `01-02-03-04-05-06-07-08`, 16 digits, four
/// groups of 16 bits with `::` for zeros, a number.
pub(super) fn eui(value: &Value) -> Option<Eui64> {
    match value {
        Value::Number(number) => {
            let octets = number.as_u64().map(u64::to_be_bytes);
            octets.or_else(|| number.as_i64().map(i64::to_be_bytes)).map(Eui64::new)
        }
        Value::String(text) => text.parse().ok().or_else(|| id6(text)),
        _ => None,
    }
}

fn id6(text: &str) -> Option<Eui64> {
    let groups = |text: &str| -> Option<Vec<u16>> {
        if text.is_empty() {
            return Some(Vec::new());
        }
        let group = |group: &str| {
            let digits = (1..=4).contains(&group.len()) && !group.starts_with('+');
            u16::from_str_radix(group, 16).ok().filter(|_| digits)
        };
        text.split(':').map(group).collect()
    };
    let all = match text.split_once("::") {
        Some((head, tail)) => {
            let (mut head, tail) = (groups(head)?, groups(tail)?);
            let zeros = 4usize.checked_sub(head.len() + tail.len())?;
            head.extend(std::iter::repeat_n(0, zeros));
            head.extend(tail);
            head
        }
        None => groups(text)?,
    };
    let all: [u16; 4] = all.try_into().ok()?;
    let number = all.iter().fold(0u64, |number, group| number << 16 | u64::from(*group));
    Some(Eui64::new(number.to_be_bytes()))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Forms: gateway reference, section 4, conventions.
    #[test]
    fn an_eui_is_read_in_all_forms_of_the_protocol() {
        for (text, wanted) in [
            ("\"01-02-03-04-05-06-07-08\"", Some("0102030405060708")),
            ("\"0102030405060708\"", Some("0102030405060708")),
            ("\"102:304:506:708\"", Some("0102030405060708")),
            ("\"::1\"", Some("0000000000000001")),
            ("\"2::\"", Some("0002000000000000")),
            ("\"::\"", Some("0000000000000000")),
            ("\"2::fe:1\"", Some("0002000000fe0001")),
            ("144964032628459529", Some("0203040506070809")),
            ("-1", Some("ffffffffffffffff")),
            ("\"1:2:3\"", None),
            ("\"1:2:3:4:5\"", None),
            ("\"1::2:3:4:5\"", None),
            ("\"12345:0:0:0\"", None),
            ("\"\"", None),
            ("1.5", None),
            ("null", None),
        ] {
            let value: Value = serde_json::from_str(text).unwrap();
            assert_eq!(eui(&value).map(Eui64::hex).as_deref(), wanted, "{text}");
        }
    }
}
