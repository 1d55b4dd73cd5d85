//! Fields of a table, each read as what its column is.

use std::str::FromStr;

use base64::{
    Engine,
    alphabet::{STANDARD, URL_SAFE},
    engine::{DecodePaddingMode, GeneralPurpose, GeneralPurposeConfig},
};
use zeroize::Zeroizing;

use super::TableFaultKind;
use crate::{
    frame::MacVersion,
    id::IdError,
    key::{Aes128Key, KeyError},
    region::{ChannelMask, Plan},
    roster::{
        claim::{Activation, Class},
        value::most_sub_bands,
    },
    words::is_key_shaped,
};

/// Why a field is not what its column is.
pub(super) type Wrong = TableFaultKind;

/// Whether a field says that there is nothing.
pub(super) fn is_nothing(text: &str) -> bool {
    matches!(text.trim().to_ascii_lowercase().as_str(), "" | "null" | "none" | "n/a" | "-")
}

/// Returns a field without what people write differently.
pub(super) fn bare(text: &str) -> Zeroizing<String> {
    let kept = text.chars().filter(|c| !matches!(c, ' ' | '-' | ':' | '_'));
    Zeroizing::new(kept.flat_map(char::to_lowercase).collect())
}

pub(super) fn name(text: &str) -> Result<String, Wrong> {
    if text.chars().any(char::is_control) {
        return Err(Wrong::ControlCharacter);
    }
    if is_key_shaped(text) {
        return Err(Wrong::KeyAsName);
    }
    Ok(text.to_owned())
}

/// Reads an identifier in hex, or in base64 where that has its length.
pub(super) fn id<T: FromStr<Err = IdError>>(text: &str) -> Result<T, Wrong> {
    text.parse().or_else(|error| {
        // Hex with a digit too few or too many is base64 as well, of another length.
        let read = bytes(text).and_then(|hex| hex.parse().ok());
        read.ok_or(Wrong::Id(error))
    })
}

/// Reads a key in hex, or in base64 where that has its length.
pub(super) fn key<T: From<Aes128Key>>(text: &str) -> Result<T, Wrong> {
    let read = text.parse::<Aes128Key>().or_else(|error: KeyError| {
        // Hex with a digit that is none is base64 as well, of another length.
        let read = bytes(text).and_then(|hex| hex.parse().ok());
        read.ok_or(error)
    });
    read.map(T::from).map_err(Wrong::Key)
}

/// Returns the bytes of base64, or of a list of numbers, as hex digits.
fn bytes(text: &str) -> Option<Zeroizing<String>> {
    let text = text.trim();
    if text.len() > LONGEST {
        return None;
    }
    let bytes: Zeroizing<Vec<u8>> = if let Some(list) = text.strip_prefix('[') {
        let list = list.strip_suffix(']')?;
        let numbers: Result<Vec<u8>, _> = list.split(',').map(|byte| byte.trim().parse()).collect();
        Zeroizing::new(numbers.ok()?)
    } else {
        let config =
            GeneralPurposeConfig::new().with_decode_padding_mode(DecodePaddingMode::Indifferent);
        let alphabet = if text.contains(['-', '_']) { URL_SAFE } else { STANDARD };
        Zeroizing::new(GeneralPurpose::new(&alphabet, config).decode(text).ok()?)
    };
    Some(Zeroizing::new(hex::encode(bytes.as_slice())))
}

/// Reads a region's name with what servers add to it: `EU868`, `EU_863_870`, `US_902_928_SB_2`.
pub(super) fn region(text: &str) -> Result<(&'static Plan, Option<u8>), Wrong> {
    let words: Vec<&str> =
        text.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| !word.is_empty()).collect();
    let found = (1..=words.len().min(MOST_WORDS)).rev().find_map(|length| {
        let (name, rest) = words.split_at_checked(length)?;
        Some((Plan::by_name(&name.concat())?, rest))
    });
    let (plan, rest) = found.ok_or(Wrong::NoRegion)?;
    match rest {
        // A number behind the name may be a group of channels, or the rest of the band.
        [first, ..] if first.chars().all(|c| c.is_ascii_digit()) => Err(Wrong::NoRegion),
        _ => Ok((plan, band_of(rest).filter(|band| *band <= plan.sub_bands))),
    }
}

/// Returns the sub-band that words name: `band 2`, `SB2`, `sub band 2`.
fn band_of(words: &[&str]) -> Option<u8> {
    let joined = words.concat().to_ascii_lowercase();
    let number = ["subband", "fsb", "sb"].iter().find_map(|name| joined.strip_prefix(name))?;
    number.parse().ok().filter(|band| *band > 0)
}

/// Reads a version: `1.0.3`, `MAC_V1_0_3`, `LoRaWAN 1.0.2 rev B`, `1.1`, `1.1.0`.
pub(super) fn version(text: &str) -> Result<MacVersion, Wrong> {
    let choices = "1.0.0, 1.0.1, 1.0.2, 1.0.3, 1.0.4, 1.1";
    let numbers: Vec<&str> =
        text.split(|c: char| !c.is_ascii_digit()).filter(|part| !part.is_empty()).take(4).collect();
    let found = match numbers.as_slice() {
        ["1", "1"] | ["1", "1", "0" | "1"] => Some(MacVersion::V1_1),
        ["1", "0", patch] => MacVersion::by_name(&format!("1.0.{patch}")),
        _ => None,
    };
    found.ok_or(Wrong::NotOneOf { choices })
}

pub(super) fn class(text: &str) -> Result<Class, Wrong> {
    let last = text.rsplit([' ', '_']).next().unwrap_or_default();
    let found = Class::ALL.into_iter().find(|class| class.name().eq_ignore_ascii_case(last));
    found.ok_or(Wrong::NotOneOf { choices: "A, B, C" })
}

pub(super) fn activation(text: &str) -> Result<Activation, Wrong> {
    let found = Activation::ALL.into_iter().find(|a| a.name().eq_ignore_ascii_case(text));
    found.ok_or(Wrong::NotOneOf { choices: "OTAA, ABP" })
}

pub(super) fn flag(text: &str) -> Result<bool, Wrong> {
    match text.to_ascii_lowercase().as_str() {
        "true" | "yes" | "1" => Ok(true),
        "false" | "no" | "0" => Ok(false),
        _ => Err(Wrong::NotOneOf { choices: "true, false" }),
    }
}

pub(super) fn sub_band(text: &str) -> Result<u8, Wrong> {
    let most = most_sub_bands();
    let found = text.parse().ok().filter(|n| (1..=most).contains(n));
    found.ok_or(Wrong::Number { most: most.into() })
}

pub(super) fn mask(text: &str) -> Result<Vec<u16>, Wrong> {
    let mask: Result<ChannelMask, _> = text.parse();
    mask.map(|mask| mask.words().to_vec())
        .map_err(|_| Wrong::NotOneOf { choices: "ChMask words such as FF00 0000" })
}

pub(super) fn nonce(text: &str) -> Result<u16, Wrong> {
    text.parse().map_err(|_| Wrong::Number { most: u16::MAX.into() })
}

pub(super) fn nonces(text: &str) -> Result<Vec<u16>, Wrong> {
    let list = text.trim().trim_matches(['[', ']']);
    let all = list.split([',', ' ']).map(str::trim).filter(|one| !one.is_empty());
    all.map(nonce).collect()
}

/// Words of the longest name of a region.
const MOST_WORDS: usize = 4;
/// Characters of a key in any form: sixteen numbers in a list.
const LONGEST: usize = 128;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::id::DevEui;

    #[test]
    fn an_identifier_is_hex_base64_or_a_list() {
        for text in [
            "020000fffe001207",
            "02-00-00-FF-FE-00-12-07",
            "AgAA//4AEgc=",
            "AgAA__4AEgc",
            "[2,0,0,255,254,0,18,7]",
        ] {
            assert_eq!(id::<DevEui>(text).unwrap().hex(), "020000fffe001207", "{text}");
        }
        assert_eq!(
            id::<DevEui>("020000fffe00120"),
            Err(Wrong::Id(IdError::Length { found: 15, wanted: 16 }))
        );
    }

    #[test]
    fn a_key_is_hex_or_base64() {
        for text in ["5A0C11D2E37F4B8896A1C0DEFACE0147", "WgwR0uN/S4iWocDe+s4BRw=="] {
            let read: Aes128Key = key(text).unwrap();
            assert_eq!(read.revealed(), "5a0c11d2e37f4b8896a1c0deface0147", "{text}");
        }
    }

    #[test]
    fn a_region_may_have_underscores_and_a_sub_band() {
        for (text, name, band) in [
            ("EU868", "EU868", None),
            ("EU_863_870", "EU868", None),
            ("US_902_928_SB_2", "US915", Some(2)),
            ("us915_sb2", "US915", Some(2)),
            ("AU_915_928_SUB_BAND_6", "AU915", Some(6)),
            ("AS_923_2", "AS923-2", None),
            ("EU_863_870_ORCHARD", "EU868", None),
        ] {
            let (plan, found) = region(text).unwrap_or_else(|error| panic!("{text}: {error}"));
            assert_eq!((plan.name, found), (name, band), "{text}");
        }
        for text in ["MOON1", "EU_868_7", ""] {
            assert!(region(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_version_may_have_underscores() {
        for (text, wanted) in [
            ("1.0.3", MacVersion::V1_0_3),
            ("MAC_V1_0_3", MacVersion::V1_0_3),
            ("LoRaWAN 1.0.2 rev B", MacVersion::V1_0_2),
            ("LORAWAN_1_1_0", MacVersion::V1_1),
            ("1.1", MacVersion::V1_1),
        ] {
            assert_eq!(version(text), Ok(wanted), "{text}");
        }
        for text in ["1.0", "2.1.0", "", "1.0.9"] {
            assert!(version(text).is_err(), "{text}");
        }
    }
}
