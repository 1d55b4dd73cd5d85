//! Kinds of fields: how bits become a value, and what the value means in words.

use alloc::{
    borrow::ToOwned,
    format,
    string::{String, ToString},
    vec::Vec,
};
use core::fmt;

use crate::{frame::MacVersion, id::DevAddr, key::Aes128Key};

/// The value of a field, in the unit that the standard counts in.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub enum FieldValue {
    /// One bit that says yes or no.
    Flag(bool),
    /// A number: an index, a code, a count, decibels.
    Number(i64),
    /// A frequency in hertz; on the wire 24 bits in steps of 100 Hz.
    Hertz(i64),
    /// ChMask: bit 0 is the first channel of the block.
    Mask(u16),
    /// DevAddr.
    Address(DevAddr),
    /// A key on its way to a relay.
    Key(Aes128Key),
    /// Octets as sent.
    Octets(Vec<u8>),
}

impl FieldValue {
    /// Returns the value as a number, in the unit that JSON prints; a flag is 0 or 1.
    pub fn number(&self) -> Option<i64> {
        match self {
            Self::Flag(set) => Some(i64::from(*set)),
            Self::Number(n) | Self::Hertz(n) => Some(*n),
            Self::Mask(mask) => Some(i64::from(*mask)),
            Self::Address(addr) => Some(i64::from(addr.0)),
            Self::Key(_) | Self::Octets(_) => None,
        }
    }
}

impl PartialEq for FieldValue {
    fn eq(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Flag(a), Self::Flag(b)) => a == b,
            (Self::Number(a), Self::Number(b)) | (Self::Hertz(a), Self::Hertz(b)) => a == b,
            (Self::Mask(a), Self::Mask(b)) => a == b,
            (Self::Address(a), Self::Address(b)) => a == b,
            (Self::Key(a), Self::Key(b)) => a.same_as(b),
            (Self::Octets(a), Self::Octets(b)) => a == b,
            _ => false,
        }
    }
}

impl Eq for FieldValue {}

impl fmt::Display for FieldValue {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flag(set) => f.write_str(if *set { "yes" } else { "no" }),
            Self::Number(n) => n.fmt(f),
            Self::Hertz(n) => write!(f, "{n} Hz"),
            Self::Mask(mask) => write!(f, "{mask:04x}"),
            Self::Address(addr) => addr.fmt(f),
            Self::Key(_) => f.write_str("hidden"),
            Self::Octets(octets) => f.write_str(&hex::encode(octets)),
        }
    }
}

/// What a field's bits are.
#[derive(Clone, Copy, Debug)]
pub struct FieldKind {
    /// How the bits become a value.
    pub(super) coding: Coding,
    /// What the value means, in words; empty where the number says it all.
    pub(super) says: fn(i64, Option<MacVersion>) -> String,
    /// Why the standard reserves the value, if it does.
    pub(super) reserved: fn(i64) -> Option<&'static str>,
}

#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Coding {
    /// One bit.
    Flag,
    /// An unsigned number.
    Number,
    /// Two's complement of the field's width.
    Signed,
    /// `scale * bits + add`.
    Line { scale: i64, add: i64 },
    /// Hundreds of hertz.
    Hertz,
    /// ChMask.
    Mask,
    /// DevAddr, four octets.
    Address,
    /// 16 octets.
    Key,
    /// Whatever is left of the payload.
    Octets,
}

const fn kind(coding: Coding, says: fn(i64, Option<MacVersion>) -> String) -> FieldKind {
    FieldKind { coding, says, reserved: never }
}

const fn number(says: fn(i64, Option<MacVersion>) -> String) -> FieldKind {
    kind(Coding::Number, says)
}

impl FieldKind {
    const fn but(mut self, reserved: fn(i64) -> Option<&'static str>) -> Self {
        self.reserved = reserved;
        self
    }
}

pub(super) const FLAG: FieldKind = kind(Coding::Flag, quiet);
pub(super) const NUMBER: FieldKind = number(quiet);
pub(super) const MASK: FieldKind = kind(Coding::Mask, channels);
pub(super) const ADDRESS: FieldKind = kind(Coding::Address, quiet);
pub(super) const KEY: FieldKind = kind(Coding::Key, quiet);
pub(super) const SIGNED_SECONDS: FieldKind = kind(Coding::Signed, |n, _| format!("{n} s"));
pub(super) const SIGNED_DBM: FieldKind = kind(Coding::Signed, |n, _| format!("{n} dBm"));
pub(super) const SECONDS: FieldKind = number(|n, _| format!("{n} s"));
pub(super) const OCTETS: FieldKind = kind(Coding::Octets, quiet);
pub(super) const FREQUENCY: FieldKind = kind(Coding::Hertz, |hz, _| megahertz(hz));
pub(super) const FREQUENCY_OR_OFF: FieldKind =
    kind(Coding::Hertz, |hz, _| if hz == 0 { "channel off".into() } else { megahertz(hz) });
pub(super) const FREQUENCY_OR_PLAN: FieldKind =
    kind(
        Coding::Hertz,
        |hz, _| {
            if hz == 0 { "back to the plan's default".into() } else { megahertz(hz) }
        },
    );

pub(super) const MINOR: FieldKind = number(|n, _| format!("LoRaWAN 1.{n}"))
    .but(|n| (n == 0).then_some("0 is not a version that has this command"));
pub(super) const MARGIN: FieldKind = number(|n, _| format!("{n} dB above the demodulation floor"))
    .but(|n| (n == 255).then_some("255 is reserved"));
pub(super) const DATA_RATE: FieldKind = number(|n, _| format!("DR{n}"));
pub(super) const DATA_RATE_OR_KEEP: FieldKind = number(|n, version| match (n, version) {
    (15, None) => "keep the current one; before 1.0.4 RFU".into(),
    (15, Some(v)) if v >= MacVersion::V1_0_4 => "keep the current one".into(),
    _ => format!("DR{n}"),
});
pub(super) const TX_POWER: FieldKind = number(|n, version| match (n, version) {
    (15, None) => "keep the current one; before 1.0.4 RFU".into(),
    (15, Some(v)) if v >= MacVersion::V1_0_4 => "keep the current one".into(),
    _ => format!("power index {n} of the region"),
});
pub(super) const CH_MASK_CNTL: FieldKind = number(|n, _| match n {
    0 => "ChMask is for channels 0-15".into(),
    _ => "meaning set by the region".into(),
});
pub(super) const NB_TRANS: FieldKind = number(|n, version| match (n, version) {
    (0, Some(MacVersion::V1_1)) => "keep the current one".into(),
    (0, Some(_)) => "default, 1 transmission".into(),
    (0, None) => "1.0.x: default, 1 transmission; 1.1: keep".into(),
    (_, Some(v)) if v < MacVersion::V1_0_4 => "transmissions of each unconfirmed uplink".into(),
    _ => "transmissions of each uplink".into(),
});
pub(super) const MAX_DUTY_CYCLE: FieldKind = number(|n, _| match n {
    0 => "no limit from the network".into(),
    _ => format!("1/{} of the time, {}%", power(n), short(100.0 / as_float(power(n)))),
});
pub(super) const RX1_DR_OFFSET: FieldKind = NUMBER;
pub(super) const DELAY: FieldKind =
    number(|n, _| format!("RX1 after {} s, RX2 1 s later", n.max(1)));
pub(super) const DWELL: FieldKind =
    number(|n, _| if n == 0 { "no limit" } else { "400 ms" }.to_owned());
pub(super) const MAX_EIRP: FieldKind = number(|n, _| match max_eirp_dbm(n) {
    Some(dbm) => format!("{dbm} dBm"),
    None => String::new(),
});
pub(super) const ADR_LIMIT: FieldKind =
    number(|n, _| format!("ADR_ACK_LIMIT {} uplinks", power(n)));
pub(super) const ADR_DELAY: FieldKind =
    number(|n, _| format!("ADR_ACK_DELAY {} uplinks", power(n)));
pub(super) const GPS_SECONDS: FieldKind = number(|n, _| {
    u32::try_from(n).map(|s| crate::gps::GpsTime::from_seconds(s).to_string()).unwrap_or_default()
});
pub(super) const FRACTION: FieldKind = number(|n, _| format!("{} s", short(as_float(n) / 256.0)));
pub(super) const REJOIN_PERIOD: FieldKind =
    number(|n, _| format!("{} s and up to 32 s more between tries", 32 * power(n)));
// That 1 asks for type 0 too is from memory.
pub(super) const REJOIN_TYPE: FieldKind = number(|n, _| match n {
    0 | 1 => "Rejoin-Request type 0".into(),
    2 => "Rejoin-Request type 2".into(),
    _ => String::new(),
})
.but(|n| (n > 2).then_some("is RFU above 2"));
pub(super) const MAX_TIME: FieldKind = number(|n, _| format!("{} s", power(n + 10)));
pub(super) const MAX_COUNT: FieldKind = number(|n, _| format!("{} uplinks", power(n + 4)));
pub(super) const PERIODICITY: FieldKind = number(|n, _| {
    let every = if n == 0 { "every second".to_owned() } else { format!("every {} s", power(n)) };
    format!("a ping slot {every}")
});
pub(super) const BATTERY: FieldKind = number(|n, _| match n {
    0 => "external power".into(),
    255 => "not measured".into(),
    _ => format!("{:.0} % of the range 1 to 254", 100.0 * as_float(n - 1) / 253.0),
});
pub(super) const SIGNED_MARGIN: FieldKind =
    kind(Coding::Signed, |n, _| format!("{n} dB SNR of the DevStatusReq"));
// The unit is from memory: no source at hand gives it.
pub(super) const BEACON_DELAY: FieldKind =
    number(|n, _| format!("next beacon within {} ms", (n + 1) * 30));
pub(super) const CLASS: FieldKind = number(|n, _| match n {
    0 => "class A".into(),
    2 => "class C".into(),
    _ => String::new(),
})
.but(|n| (n != 0 && n != 2).then_some("is RFU unless 0 or 2"));

// What the certification protocol (TS009) counts apart: its classes, intervals and kinds of frames.
pub(super) const TEST_CLASS: FieldKind = number(|n, _| {
    choose(&["class A", "class B", "class C"], n).copied().unwrap_or_default().to_owned()
});
pub(super) const TEST_PERIOD: FieldKind = number(|n, _| match n {
    0 => "the node's own".into(),
    _ => match choose(&[0, 5, 10, 20, 30, 40, 50, 60, 120, 240, 480], n) {
        Some(seconds) => format!("every {seconds} s"),
        None => String::new(),
    },
});
pub(super) const TEST_FRAMES: FieldKind = number(|n, _| {
    choose(&["as before", "unconfirmed", "confirmed"], n).copied().unwrap_or_default().to_owned()
});

pub(super) const CAD_PERIOD: FieldKind =
    number(|n, _| match choose(&[1000, 500, 250, 100, 50, 20], n) {
        Some(ms) => format!("{ms} ms"),
        None => String::new(),
    })
    .but(|n| (n > 5).then_some("is RFU above 5"));
pub(super) const ACK_OFFSET: FieldKind =
    number(|n, _| match choose(&[0, 200, 400, 800, 1600, 3200], n) {
        Some(khz) => format!("{khz} kHz"),
        None => String::new(),
    })
    .but(|n| (n > 5).then_some("is RFU above 5"));
pub(super) const START_STOP: FieldKind =
    number(|n, _| if n == 0 { "stop relaying" } else { "relay" }.to_owned());
// Words for the codes 0..3 are from memory.
pub(super) const ACTIVATION: FieldKind = number(|n, _| {
    choose(&["relay mode off", "relay mode on", "dynamic", "the node decides"], n)
        .copied()
        .unwrap_or_default()
        .to_owned()
});
pub(super) const SMART_LEVEL: FieldKind = number(|n, _| format!("{} uplinks", 8 * power(n)));
// Words for the codes 0..2 are from memory.
pub(super) const FILTER_ACTION: FieldKind = number(|n, _| {
    choose(&["no rule", "forward", "filter out"], n).copied().unwrap_or_default().to_owned()
})
.but(|n| (n > 2).then_some("is RFU above 2"));
pub(super) const FILTER_LENGTH: FieldKind =
    number(quiet).but(|n| (n > 16).then_some("is above 16, the bytes of JoinEUI and DevEUI"));
pub(super) const BUCKET: FieldKind = number(|n, _| match choose(&[1, 2, 4, 12], n) {
    Some(factor) => format!("{factor} x the rate"),
    None => String::new(),
});
pub(super) const RATE_6: FieldKind =
    number(|n, _| if n == 63 { "no limit".into() } else { "an hour".into() });
pub(super) const RATE_7: FieldKind =
    number(|n, _| if n == 127 { "no limit".into() } else { "an hour".into() });
pub(super) const UPLINK_LIST_ACTION: FieldKind =
    number(|n, _| if n == 0 { "read its counter" } else { "remove it" }.to_owned());
pub(super) const RELAY_RSSI: FieldKind =
    kind(Coding::Line { scale: -1, add: -15 }, |n, _| format!("{n} dBm"));
pub(super) const RELAY_SNR: FieldKind =
    kind(Coding::Line { scale: 1, add: -20 }, |n, _| format!("{n} dB"));

pub(super) const TIME_OUT: FieldKind = number(|n, _| format!("{} s", power(n)));
pub(super) const TIME_OUT_BEACONS: FieldKind = number(|n, _| format!("{} s", 128 * power(n)));
pub(super) const FRAGMENT_DELAY: FieldKind = number(|n, _| format!("up to {} s", power(n + 4)));
pub(super) const REBOOT_SECONDS: FieldKind =
    number(|n, _| if n == 0 { "immediately".into() } else { String::new() });
pub(super) const TIME_TO_START: FieldKind = number(|n, _| match n {
    0xFF_FFFF => "farther away than 2^24 - 1 s".into(),
    _ => format!("{n} s"),
});
pub(super) const IMAGE: FieldKind = number(|n, _| {
    let words = ["no image", "corrupt, or its signature fails", "for another hardware", "valid"];
    choose(&words, n).copied().unwrap_or_default().to_owned()
});
pub(super) const PACKAGE: FieldKind = number(|n, _| {
    super::package::by_identifier(n).map(|package| package.name.to_owned()).unwrap_or_default()
});

/// Returns the Max EIRP in dBm that an index 0..15 of TXParamSetupReq stands for (LoRaWAN 1.1, 5.9).
pub(crate) fn max_eirp_dbm(index: i64) -> Option<i64> {
    choose(&[8, 10, 12, 13, 14, 16, 18, 20, 21, 24, 26, 27, 29, 30, 33, 36], index).copied()
}

fn quiet(_: i64, _: Option<MacVersion>) -> String {
    String::new()
}

const fn never(_: i64) -> Option<&'static str> {
    None
}

fn choose<T>(of: &[T], index: i64) -> Option<&T> {
    of.get(usize::try_from(index).ok()?)
}

fn power(exponent: i64) -> i64 {
    // Exponents come from fields of at most four bits, plus ten.
    u32::try_from(exponent).ok().and_then(|e| 1i64.checked_shl(e)).unwrap_or(i64::MAX)
}

#[expect(clippy::cast_precision_loss, reason = "fields have at most 32 bits")]
fn as_float(n: i64) -> f64 {
    n as f64
}

/// Prints with as many decimals as are needed, six at most.
fn short(x: f64) -> String {
    let text = format!("{x:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn megahertz(hz: i64) -> String {
    format!("{} MHz", short(as_float(hz) / 1e6))
}

fn channels(mask: i64, _: Option<MacVersion>) -> String {
    let set: Vec<String> =
        (0..16).filter(|bit| mask >> bit & 1 == 1).map(|bit| bit.to_string()).collect();
    match set.len() {
        0 => "no bit set".into(),
        16 => "all bits set".into(),
        1 => format!("bit {}", set.concat()),
        _ => format!("bits {}", set.join(" ")),
    }
}
