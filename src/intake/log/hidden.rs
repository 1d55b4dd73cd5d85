//! Frames within JSON, at any depth, with what stands about them.

use base64::{Engine, engine::general_purpose::STANDARD};
use serde_json::{Map, Value};

use super::{
    found::Found,
    plausible::is_plausible,
    words::{Meaning, meaning, of_key},
};
use crate::{
    intake::{Crc, TxError, text::frame_text, time::timestamp},
    radio::Modulation,
};

type Object = Map<String, Value>;

/// Returns the frames of a JSON value, and what gateways say of frames they were to send.
pub(super) fn search(value: &Value) -> Vec<Found> {
    let mut out = Vec::new();
    visit(value, &mut Vec::new(), None, &mut out);
    out
}

/// `place`: the place in the list that the value stands in.
fn visit<'v>(
    value: &'v Value,
    above: &mut Vec<&'v Object>,
    place: Option<u16>,
    out: &mut Vec<Found>,
) {
    match value {
        Value::Array(list) => {
            for (place, item) in (0..).zip(list) {
                visit(item, above, Some(place), out);
            }
        }
        Value::Object(object) => {
            above.push(object);
            let frame = object.iter().find_map(|(name, value)| frame_of(name, value));
            if let Some(octets) = frame {
                out.push(about(above, place, octets));
            } else if let Some(status) = status_of(above, object) {
                out.push(Found { status: Some(status), ..about(above, place, Vec::new()) });
            }
            for (name, inner) in object {
                if !of_key(name) && (inner.is_object() || inner.is_array()) {
                    visit(inner, above, place, out);
                }
            }
            above.pop();
        }
        _ => {}
    }
}

fn frame_of(name: &str, value: &Value) -> Option<Vec<u8>> {
    if meaning(name) != Some(Meaning::Frame) {
        return None;
    }
    let octets = frame_text(value.as_str()?).ok()?.octets;
    is_plausible(&octets).then_some(octets)
}

/// What a gateway says of one frame: an object within one with a token that has a status, and none
/// beside it. A frame that was not needed, since the one before was sent, was not refused.
fn status_of(above: &[&Object], object: &Object) -> Option<TxError> {
    above.iter().any(|o| o.keys().any(|n| meaning(n) == Some(Meaning::Token))).then_some(())?;
    let said = object.iter().find_map(|(name, value)| {
        (meaning(name) == Some(Meaning::Status)).then(|| value.as_str()).flatten()
    })?;
    match said {
        "OK" | "SENT" | "" => Some(TxError::None),
        "IGNORED" => None,
        other => Some(TxError::by_name(other)),
    }
}

/// What is said of a frame: in its own object, then in those that hold it.
fn about(above: &[&Object], place: Option<u16>, octets: Vec<u8>) -> Found {
    let say = Said { above };
    let token = say.number(Meaning::Token);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "the low half names it"
    )]
    let token = token.map(|n| (n as u64 as u16).wrapping_add(place.unwrap_or_default()));
    Found {
        octets,
        at: say.find(Meaning::Time, time_of),
        gateway: say.find(Meaning::Gateway, |value| value.as_str()?.parse().ok()),
        freq_hz: say.find(Meaning::Frequency, hertz_of),
        modulation: say.modulation(),
        rssi: say.decimal(Meaning::Rssi),
        snr: say.decimal(Meaning::Snr),
        crc: say.find(Meaning::Crc, crc_of).unwrap_or_default(),
        counter: say.counter(),
        delay_us: say.find(Meaning::Delay, micros_of),
        at_once: say.find(Meaning::AtOnce, |v| Some(v.is_object() || v == &Value::Bool(true)))
            == Some(true),
        power_dbm: say.decimal(Meaning::Power),
        inverted: say.find(Meaning::Inverted, Value::as_bool),
        token,
        status: None,
    }
}

struct Said<'s, 'v> {
    above: &'s [&'v Object],
}

impl Said<'_, '_> {
    /// The nearest member of a meaning that can be read.
    fn find<T>(&self, wanted: Meaning, read: impl Fn(&Value) -> Option<T> + Copy) -> Option<T> {
        self.above.iter().rev().find_map(|object| within(object, wanted, read, DEPTH))
    }

    fn number(&self, wanted: Meaning) -> Option<f64> {
        self.find(wanted, Value::as_f64)
    }

    #[expect(clippy::cast_possible_truncation, reason = "tenths of a dB fit with room to spare")]
    fn decimal(&self, wanted: Meaning) -> Option<f32> {
        self.number(wanted).map(|n| n as f32).filter(|n| n.is_finite())
    }

    fn modulation(&self) -> Option<Modulation> {
        let text = self.find(Meaning::DataRate, |value| value.as_str()?.parse().ok());
        text.or_else(|| {
            let sf = self.find(Meaning::SpreadingFactor, Value::as_u64)?;
            let bandwidth = self.find(Meaning::Bandwidth, Value::as_u64)?;
            let khz = if bandwidth >= 1_000 { bandwidth / 1_000 } else { bandwidth };
            format!("SF{sf}BW{khz}").parse().ok()
        })
    }

    /// A counter, or an opaque context of four octets, which is one (common practice).
    fn counter(&self) -> Option<u32> {
        let stated = self.find(Meaning::Counter, |value| u32::try_from(value.as_u64()?).ok());
        stated.or_else(|| {
            let octets = self.find(Meaning::Context, |v| STANDARD.decode(v.as_str()?).ok())?;
            Some(u32::from_be_bytes(octets.try_into().ok()?))
        })
    }
}

/// Looks in an object and in those that it holds, but not in lists: their items are others.
fn within<T>(
    object: &Object,
    wanted: Meaning,
    read: impl Fn(&Value) -> Option<T> + Copy,
    depth: u8,
) -> Option<T> {
    let own = object.iter().filter(|(name, _)| meaning(name) == Some(wanted));
    own.map(|(_, value)| value).find_map(read).or_else(|| {
        let deeper = depth.checked_sub(1)?;
        object.values().filter_map(Value::as_object).find_map(|o| within(o, wanted, read, deeper))
    })
}

/// Objects within objects that are looked into for what is said of a frame.
const DEPTH: u8 = 6;

fn time_of(value: &Value) -> Option<jiff::Timestamp> {
    match value {
        Value::String(text) => timestamp(text),
        Value::Number(number) => {
            let number = number.as_f64()?;
            // Seconds or milliseconds since 1970, from 2001 to 2286.
            let seconds = match number {
                1e9..1e10 => number,
                1e12..1e13 => number / 1e3,
                _ => return None,
            };
            #[expect(clippy::cast_possible_truncation, reason = "below 2^53 microseconds")]
            jiff::Timestamp::from_microsecond((seconds * 1e6).round() as i64).ok()
        }
        _ => None,
    }
}

/// Hertz, or megahertz where the number is small.
fn hertz_of(value: &Value) -> Option<u32> {
    let number = match value {
        Value::String(text) => text.parse().ok()?,
        other => other.as_f64()?,
    };
    let hertz = if number < 10_000.0 { number * 1e6 } else { number };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "in range")]
    (1e8..4.2e9).contains(&hertz).then(|| hertz.round() as u32)
}

/// Microseconds of `"5s"`, `"500ms"`, or a number of seconds.
fn micros_of(value: &Value) -> Option<u32> {
    let seconds = match value {
        Value::String(text) => match text.strip_suffix("ms") {
            Some(ms) => ms.parse::<f64>().ok()? / 1e3,
            None => text.strip_suffix('s')?.parse().ok()?,
        },
        other => other.as_f64()?,
    };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "in range")]
    (0.0..=4_000.0).contains(&seconds).then(|| (seconds * 1e6).round() as u32)
}

fn crc_of(value: &Value) -> Option<Crc> {
    Some(match value {
        Value::Bool(true) => Crc::Ok,
        Value::Bool(false) => Crc::Bad,
        Value::String(text) if text.ends_with("OK") => Crc::Ok,
        Value::String(text) if text.contains("BAD") => Crc::Bad,
        Value::String(text) if text.contains("NO") => Crc::None,
        _ => return None,
    })
}
