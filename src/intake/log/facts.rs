//! What stands beside a frame: radio, gateway, time, counters, as far as it can be understood.

use jiff::Timestamp;
use serde_json::Value;

use super::{
    super::{
        event::{CodeRate, Crc, When},
        stamp::{Stamp, seconds_since_1970, since_1970, stamp},
        text::base64_member,
        time::timestamp,
    },
    words::Meaning,
};
use crate::{
    id::{DevAddr, Eui64},
    radio::Modulation,
};

/// What is known of a frame beside its octets. What is nearer to it counts first.
#[derive(Clone, Debug, Default)]
pub(super) struct Facts {
    pub(super) freq_hz: Option<u32>,
    sf: Option<u8>,
    bw_khz: Option<u16>,
    modulation: Option<Modulation>,
    pub(super) coding_rate: Option<CodeRate>,
    pub(super) rssi: Option<f32>,
    pub(super) snr: Option<f32>,
    pub(super) crc: Option<Crc>,
    pub(super) gateway: Option<Eui64>,
    pub(super) time: Option<Timestamp>,
    /// Whether the time had no zone.
    pub(super) zoneless: bool,
    counter: Option<u32>,
    context: Option<u32>,
    pub(super) gps_ms: Option<u64>,
    delay_us: Option<u32>,
    at_once: bool,
    pub(super) power_dbm: Option<f32>,
    pub(super) inverted: Option<bool>,
    pub(super) size: Option<u64>,
    pub(super) id: Option<String>,
    pub(super) status: Option<String>,
    pub(super) dev_addr: Option<DevAddr>,
    pub(super) f_port: Option<u64>,
    pub(super) fcnt: Option<u64>,
    /// Whether the words of the line speak of the air.
    pub(super) of_the_air: bool,
}

impl Facts {
    /// Takes a member that has a meaning.
    pub(super) fn take(&mut self, meaning: Meaning, value: &Value) {
        match meaning {
            Meaning::Frame | Meaning::OnAir | Meaning::MaybeFrame | Meaning::Secret => {}
            Meaning::Frequency => set(&mut self.freq_hz, hertz(value)),
            Meaning::SpreadingFactor => {
                set(&mut self.sf, whole(value).filter(|sf| (5..=12).contains(sf)));
                // `sf` is at times the whole data rate.
                set(&mut self.modulation, data_rate(value));
            }
            Meaning::Bandwidth => set(&mut self.bw_khz, kilohertz(value)),
            Meaning::DataRate => set(&mut self.modulation, data_rate(value)),
            Meaning::CodeRate => set(&mut self.coding_rate, code_rate(value)),
            Meaning::Rssi => {
                set(&mut self.rssi, decimal(value).filter(|dbm| (-200.0..=30.0).contains(dbm)));
            }
            Meaning::Snr => {
                set(&mut self.snr, decimal(value).filter(|db| (-60.0..=60.0).contains(db)));
            }
            Meaning::Crc => set(&mut self.crc, crc(value)),
            Meaning::Gateway => set(&mut self.gateway, eui(value)),
            Meaning::Time => {
                let local = || match stamp(value.as_str()?) {
                    Some(Stamp::Local(time)) => Some(time),
                    _ => None,
                };
                if self.time.is_none() {
                    self.time = time(value).or_else(local);
                    self.zoneless = time(value).is_none();
                }
            }
            Meaning::Counter => set(&mut self.counter, whole(value)),
            Meaning::GpsTime => set(&mut self.gps_ms, whole(value)),
            Meaning::Delay => set(&mut self.delay_us, delay(value)),
            Meaning::Context => set(&mut self.context, context(value)),
            Meaning::AtOnce => self.at_once |= *value == Value::Bool(true) || value.is_object(),
            Meaning::Power => set(&mut self.power_dbm, decimal(value)),
            Meaning::Inverted => set(&mut self.inverted, value.as_bool()),
            Meaning::Size => set(&mut self.size, whole(value)),
            Meaning::Id => set(&mut self.id, id(value)),
            Meaning::Status => set(&mut self.status, word(value)),
            Meaning::DevAddr => {
                set(&mut self.dev_addr, value.as_str().and_then(|text| text.parse().ok()));
            }
            // A port of UDP is no FPort.
            Meaning::FPort => set(&mut self.f_port, whole(value).filter(|port| *port <= 255)),
            Meaning::FCnt => set(&mut self.fcnt, whole(value)),
        }
    }

    /// Takes what is farther off, where nothing nearer is known.
    pub(super) fn or(&mut self, far: &Self) {
        let Self { freq_hz, sf, bw_khz, modulation, coding_rate, rssi, snr, crc, .. } = far;
        set(&mut self.freq_hz, *freq_hz);
        set(&mut self.sf, *sf);
        set(&mut self.bw_khz, *bw_khz);
        set(&mut self.modulation, *modulation);
        set(&mut self.coding_rate, coding_rate.clone());
        set(&mut self.rssi, *rssi);
        set(&mut self.snr, *snr);
        set(&mut self.crc, *crc);
        set(&mut self.gateway, far.gateway);
        self.zoneless |= far.zoneless;
        set(&mut self.time, far.time);
        set(&mut self.counter, far.counter);
        set(&mut self.context, far.context);
        set(&mut self.gps_ms, far.gps_ms);
        set(&mut self.delay_us, far.delay_us);
        self.at_once |= far.at_once;
        set(&mut self.power_dbm, far.power_dbm);
        set(&mut self.inverted, far.inverted);
        set(&mut self.size, far.size);
        set(&mut self.id, far.id.clone());
        set(&mut self.status, far.status.clone());
        set(&mut self.dev_addr, far.dev_addr);
        set(&mut self.f_port, far.f_port);
        set(&mut self.fcnt, far.fcnt);
    }

    /// Returns the modulation, given whole or in its parts.
    pub(super) fn modulation(&self) -> Option<Modulation> {
        let parts = || Some(Modulation::Lora { sf: self.sf?, bw_khz: self.bw_khz? });
        self.modulation.or_else(parts)
    }

    /// Returns the gateway's counter: its own, or else what it gave as context.
    pub(super) fn tmst(&self) -> Option<u32> {
        self.counter.or(self.context)
    }

    /// Returns when a downlink is to go out. A delay counts from the uplink whose context it has; by
    /// itself it says nothing.
    pub(super) fn when(&self) -> When {
        if self.at_once {
            return When::Immediate;
        }
        match (self.counter, self.context, self.delay_us, self.gps_ms) {
            (Some(slot), _, None, _) => When::Counter(slot),
            (Some(end), _, Some(delay), _) | (None, Some(end), Some(delay), _) => {
                When::Counter(end.wrapping_add(delay))
            }
            (None, _, _, Some(gps)) => When::Gps(gps),
            (None, _, _, None) => When::Unsaid,
        }
    }

    /// Counts what only a radio knows.
    pub(super) fn radio(&self) -> u8 {
        let known = [
            self.freq_hz.is_some(),
            self.modulation().is_some() || self.sf.is_some(),
            self.rssi.is_some(),
            self.snr.is_some(),
            self.counter.is_some(),
            self.crc.is_some(),
            self.inverted.is_some(),
            self.of_the_air,
        ];
        known.into_iter().map(u8::from).sum()
    }

    /// Returns whether it tells of a reception by itself.
    pub(super) const fn is_reception(&self) -> bool {
        self.rssi.is_some() || self.snr.is_some() || self.gateway.is_some()
    }
}

fn set<T>(place: &mut Option<T>, value: Option<T>) {
    if place.is_none() {
        *place = value;
    }
}

/// Returns a number, written as one or as a text with or without its unit.
fn number(value: &Value) -> Option<f64> {
    let number = match value {
        Value::Number(number) => number.as_f64(),
        Value::String(text) => {
            let text = text.trim();
            let end = text.find(|c: char| !matches!(c, '0'..='9' | '.' | '-' | '+'));
            text.get(..end.unwrap_or(text.len()))?.parse().ok()
        }
        _ => None,
    };
    number.filter(|number| number.is_finite())
}

fn whole<T: TryFrom<u64>>(value: &Value) -> Option<T> {
    let number = match value {
        Value::Number(number) => number.as_u64(),
        Value::String(text) => text.trim().parse().ok(),
        _ => None,
    };
    number?.try_into().ok()
}

#[expect(clippy::cast_possible_truncation, reason = "tenths of a dB fit with room to spare")]
fn decimal(value: &Value) -> Option<f32> {
    number(value).map(|number| number as f32).filter(|number| number.is_finite())
}

/// Returns hertz: megahertz, kilohertz and hertz differ so much that the number says which it is.
pub(super) fn hertz(value: &Value) -> Option<u32> {
    let number = number(value)?;
    let scale = match number {
        100.0..4_000.0 => 1e6,
        100_000.0..4_000_000.0 => 1e3,
        100_000_000.0..4_000_000_000.0 => 1.0,
        _ => return None,
    };
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "between 10^8 and 4 * 10^9"
    )]
    Some((number * scale).round() as u32)
}

fn kilohertz(value: &Value) -> Option<u16> {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "between 100 and 500 000"
    )]
    let number = number(value).filter(|n| (100.0..=500_000.0).contains(n))?.round() as u32;
    [125, 250, 500]
        .into_iter()
        .find(|khz| number == u32::from(*khz) || number == u32::from(*khz) * 1_000)
}

/// Returns a data rate as the trade writes it; a number alone is an index, and no rate.
pub(super) fn data_rate(value: &Value) -> Option<Modulation> {
    let text = value.as_str()?;
    let bare: String = text.chars().filter(|c| !matches!(c, ' ' | '_' | '/')).collect();
    let bare = bare.to_ascii_uppercase();
    bare.parse().or_else(|_| bare.trim_end_matches("KHZ").parse()).ok()
}

/// `4/5`, and what becomes of it in names of constants: `CR_4_5`.
fn code_rate(value: &Value) -> Option<CodeRate> {
    let mut digits = value.as_str()?.chars().filter(char::is_ascii_digit);
    let (over, under) = (digits.next()?, digits.next()?);
    let rate = CodeRate::by_name(&format!("{over}/{under}"));
    rate.lora().map(|_| rate)
}

fn crc(value: &Value) -> Option<Crc> {
    match value {
        Value::Bool(true) => Some(Crc::Ok),
        Value::Bool(false) => Some(Crc::Bad),
        Value::Number(number) => match number.as_i64()? {
            1 => Some(Crc::Ok),
            0 => Some(Crc::None),
            -1 => Some(Crc::Bad),
            _ => None,
        },
        Value::String(text) => match text.to_ascii_uppercase().trim_start_matches("CRC_") {
            "OK" | "GOOD" => Some(Crc::Ok),
            "BAD" | "FAIL" | "FAILED" | "ERROR" => Some(Crc::Bad),
            "NO_CRC" | "NONE" => Some(Crc::None),
            _ => None,
        },
        _ => None,
    }
}

/// Returns an EUI of 16 digits; a shorter or longer name of a gateway says nothing.
pub(super) fn eui(value: &Value) -> Option<Eui64> {
    let text = value.as_str()?;
    text.parse().ok().or_else(|| text.rsplit(['-', '_', '/']).next()?.parse().ok())
}

/// Returns a time of RFC 3339, or one counted from 1970 in a unit that its size tells.
pub(super) fn time(value: &Value) -> Option<Timestamp> {
    // Seconds could be anything, a counter of microseconds to begin with.
    let counted = |count: u64| since_1970(count).filter(|_| count >= 1_000_000_000_000);
    match value {
        Value::String(text) => timestamp(text).or_else(|| counted(text.parse().ok()?)),
        Value::Number(number) => match number.as_u64() {
            Some(count) => counted(count),
            None => seconds_since_1970(number.as_f64()?),
        },
        _ => None,
    }
}

/// Returns microseconds: `1s`, `5.000s`, `1000ms`; of a number alone its size tells the unit.
fn delay(value: &Value) -> Option<u32> {
    let number = number(value)?;
    let text = value.as_str().map(|text| text.trim().to_ascii_lowercase());
    let scale = match text.as_deref() {
        Some(text) if text.ends_with("ms") => 1e3,
        Some(text) if text.ends_with("us") => 1.0,
        Some(text) if text.ends_with('s') => 1e6,
        _ => match number {
            0.0..=16.0 => 1e6,
            100.0..=16_000.0 => 1e3,
            100_000.0..=16_000_000.0 => 1.0,
            _ => return None,
        },
    };
    let micros = (number * scale).round();
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "positive and below 2^32, as checked"
    )]
    (0.0..=16e6).contains(&micros).then_some(micros as u32)
}

/// Returns the counter that a context of four octets holds, most significant first. Others are the
/// gateway's own affair.
fn context(value: &Value) -> Option<u32> {
    let text = value.as_str().filter(|text| text.len() == 8)?;
    let octets: [u8; 4] = match base64_member(text) {
        Ok((octets, _)) if octets.len() == 4 => octets.try_into().ok()?,
        _ => crate::id::hex_octets(text).ok()?,
    };
    Some(u32::from_be_bytes(octets))
}

fn id(value: &Value) -> Option<String> {
    match value {
        Value::Number(number) => Some(number.to_string()),
        _ => word(value).filter(|text| !text.is_empty()),
    }
}

/// Returns a text that may be an identifier or a word: it is copied again and again.
fn word(value: &Value) -> Option<String> {
    value.as_str().filter(|text| text.len() <= LONGEST).map(str::to_owned)
}

/// Octets of an identifier: a UUID has 36.
const LONGEST: usize = 64;

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn frequencies_are_read_in_every_unit() {
        for value in [json!(868.1), json!("868.1 MHz"), json!(868_100), json!(868_100_000)] {
            assert_eq!(hertz(&value), Some(868_100_000), "{value}");
        }
        for value in [json!(0), json!(7), json!(-868.1), json!(50_000), json!(null), json!("x")] {
            assert_eq!(hertz(&value), None, "{value}");
        }
    }

    #[test]
    fn delays_and_data_rates_are_read_as_people_write_them() {
        for value in [json!("5s"), json!("5.000000s"), json!("5000 ms"), json!(5), json!(5000)] {
            assert_eq!(delay(&value), Some(5_000_000), "{value}");
        }
        assert_eq!(delay(&json!(5_000_000)), Some(5_000_000));
        assert_eq!(delay(&json!("later")), None);
        for value in
            [json!("SF7BW125"), json!("SF7 BW125"), json!("sf7/bw125"), json!("SF7BW125kHz")]
        {
            assert_eq!(data_rate(&value), Some(Modulation::Lora { sf: 7, bw_khz: 125 }), "{value}");
        }
        assert_eq!(data_rate(&json!(5)), None);
    }

    #[test]
    fn a_number_is_a_time_only_where_its_size_says_so() {
        let wanted = Some("2026-03-02T08:00:03.25Z".parse().unwrap());
        for value in [
            json!("2026-03-02T08:00:03.25Z"),
            json!("2026-03-02T09:00:03.25+01:00"),
            json!(1_772_438_403.25),
            json!(1_772_438_403_250u64),
            json!(1_772_438_403_250_000u64),
            json!(1_772_438_403_250_000_000u64),
        ] {
            assert_eq!(time(&value), wanted, "{value}");
        }
        for value in [json!(1_772_438_403u64), json!(4_000_000_000u64), json!("noon"), json!(0.5)] {
            assert_eq!(time(&value), None, "{value}");
        }
    }

    #[test]
    fn a_context_of_four_octets_is_a_counter() {
        assert_eq!(context(&json!("ZLHevQ==")), Some(0x64B1_DEBD));
        assert_eq!(context(&json!("64b1debd")), Some(0x64B1_DEBD));
        assert_eq!(context(&json!("ZLHevWSx")), None);
    }
}
