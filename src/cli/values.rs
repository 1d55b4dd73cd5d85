//! Values of options, each with an error that shows what a right one looks like.

use std::{fmt, str::FromStr, time::Duration};

use crate::{
    frame::MacVersion,
    id::{DevAddr, DevEui, DevNonce, Eui64, JoinEui, JoinNonce, NetId},
    intake::frame_text,
    reading::CounterHint,
    region::Plan,
};

fn like<T>(text: &str, example: &str) -> Result<T, String>
where
    T: FromStr,
    T::Err: fmt::Display,
{
    text.parse().map_err(|error| format!("{error}; {example}"))
}

/// Reads a DevEUI.
pub(super) fn dev_eui(text: &str) -> Result<DevEui, String> {
    like(text, "a right one is 02-00-00-FF-FE-1A-2B-3C, as printed on the node")
}

/// Reads a gateway's EUI.
pub(super) fn gateway(text: &str) -> Result<Eui64, String> {
    like(text, "a right one is 02-00-00-FF-FE-A0-94-42, most significant byte first")
}

/// Reads the name of a channel plan.
pub(super) fn plan(text: &str) -> Result<&'static Plan, String> {
    Plan::by_name(text).ok_or_else(|| {
        let known: Vec<&str> = Plan::all().iter().map(|plan| plan.name).collect();
        format!("no channel plan is called so; there are {}", known.join(", "))
    })
}

/// Reads a time such as `90s`, `10m`, `2h`; a bare number is of seconds.
pub(super) fn duration(text: &str) -> Result<Duration, String> {
    let wrong = || "a right one is 90s, 10m, 2h or 3d".to_owned();
    let (number, seconds) = with_suffix(text, &[('s', 1), ('m', 60), ('h', 3_600), ('d', 86_400)]);
    let number: u64 = number.parse().map_err(|_| wrong())?;
    number.checked_mul(seconds).filter(|s| *s > 0).map(Duration::from_secs).ok_or_else(wrong)
}

/// Reads a size in bytes such as `100M`.
pub(super) fn size(text: &str) -> Result<u64, String> {
    let wrong = || "a right one is 500k, 100M or 2G, bytes by thousands".to_owned();
    let units = [('k', 1_000), ('K', 1_000), ('M', 1_000_000), ('G', 1_000_000_000)];
    let (number, unit) = with_suffix(text, &units);
    let number: u64 = number.parse().map_err(|_| wrong())?;
    number.checked_mul(unit).filter(|size| *size > 0).ok_or_else(wrong)
}

/// Returns a number's text without its unit, and the unit, 1 where there is none.
fn with_suffix<'a>(text: &'a str, units: &[(char, u64)]) -> (&'a str, u64) {
    let found = units.iter().find_map(|(name, unit)| Some((text.strip_suffix(*name)?, *unit)));
    found.unwrap_or((text, 1))
}

/// Reads a JoinEUI.
pub(super) fn join_eui(text: &str) -> Result<JoinEui, String> {
    like(text, "a right one is 02-00-00-FF-FE-0B-00-01, most significant byte first")
}

/// Reads a DevAddr.
pub(super) fn dev_addr(text: &str) -> Result<DevAddr, String> {
    like(text, "a right one is 0201BBDA, most significant byte first")
}

/// Reads a NetID.
pub(super) fn net_id(text: &str) -> Result<NetId, String> {
    like(text, "a right one is 000001, most significant byte first")
}

/// Reads a MAC version.
pub(super) fn mac_version(text: &str) -> Result<MacVersion, String> {
    MacVersion::by_name(text).ok_or_else(|| {
        let names: Vec<_> = MacVersion::ALL.into_iter().map(MacVersion::name).collect();
        format!("one of {}", names.join(", "))
    })
}

/// Reads a number, decimal or with `0x` in front. A number that could be either is refused.
fn number(text: &str) -> Result<u64, String> {
    let hex = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X"));
    if let Some(digits) = hex {
        return u64::from_str_radix(digits, 16).map_err(|_| "not a hex number".into());
    }
    let has_letters = text.bytes().any(|b| b.is_ascii_alphabetic());
    if has_letters && text.bytes().all(|b| b.is_ascii_hexdigit()) {
        return u64::from_str_radix(text, 16).map_err(|_| "not a hex number".into());
    }
    if text.len() > 1 && text.starts_with('0') {
        let stripped = text.trim_start_matches('0');
        return Err(format!("decimal or hex? write {stripped} or 0x{text}"));
    }
    text.parse().map_err(|_| "not a number; write 258 or 0x0102".into())
}

fn bounded<T: TryFrom<u64>>(text: &str, most: &str) -> Result<T, String> {
    T::try_from(number(text)?).map_err(|_| format!("at most {most}"))
}

/// Reads a DevNonce or an RJcount.
pub(super) fn dev_nonce(text: &str) -> Result<DevNonce, String> {
    bounded(text, "65535").map(DevNonce)
}

/// Reads a JoinNonce.
pub(super) fn join_nonce(text: &str) -> Result<JoinNonce, String> {
    bounded::<u32>(text, "16777215")
        .and_then(|value| JoinNonce::new(value).ok_or_else(|| "at most 16777215".into()))
}

/// Reads a frame counter, all of it or its upper half.
pub(super) fn counter(text: &str) -> Result<CounterHint, String> {
    bounded(text, "4294967295").map(CounterHint)
}

/// Reads a complete frame counter.
pub(super) fn whole_counter(text: &str) -> Result<u32, String> {
    bounded(text, "4294967295")
}

/// Reads a ChMask word.
pub(super) fn mask(text: &str) -> Result<u16, String> {
    let digits = text.trim();
    let whole = digits.len() == 4;
    (u16::from_str_radix(digits, 16).ok().filter(|_| whole))
        .ok_or_else(|| "a ChMask word is four hex digits, such as 00FF".into())
}

/// Reads bytes in hex, as many as there are.
pub(super) fn octets(text: &str) -> Result<OctetsArg, String> {
    if text.trim().is_empty() {
        return Ok(OctetsArg::default());
    }
    let text = text.trim();
    let text = if text.starts_with("hex:") { text.into() } else { format!("hex:{text}") };
    match frame_text(&text) {
        Ok(text) => Ok(OctetsArg(text.octets)),
        Err(error) => Err(format!("{error}; bytes are hex in the order sent, such as 016700E1")),
    }
}

/// Bytes of an option: a type of its own, for clap takes a `Vec` for many values.
#[derive(Clone, Debug, Default, Eq, PartialEq)]
pub struct OctetsArg(pub Vec<u8>);

/// Reads a number of 16 bits.
pub(super) fn sixteen_bits(text: &str) -> Result<u16, String> {
    bounded(text, "65535")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_decimal_unless_it_says_otherwise() {
        assert_eq!(number("258"), Ok(258));
        assert_eq!(number("0x0102"), Ok(258));
        assert_eq!(number("00A1B2"), Ok(0xA1B2));
        assert_eq!(number("0102"), Err("decimal or hex? write 102 or 0x0102".into()));
        assert_eq!(number("0"), Ok(0));
        assert!(number("many").is_err());
    }

    #[test]
    fn bounds_are_named() {
        assert_eq!(dev_nonce("65536"), Err("at most 65535".into()));
        assert_eq!(join_nonce("0x1000000"), Err("at most 16777215".into()));
    }
}
