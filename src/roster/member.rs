//! The members of a claim: one table, a row each.

use super::{
    claim::{Activation, Claim, Class, DevAddrPrefix},
    error::FaultKind,
    value::{Value, ValueFault},
};
use crate::{frame::MacVersion, id::DevAddr, key::KeyError, words::log_line};

/// A member of a claim and how it is read.
pub(super) struct Member {
    pub(super) name: &'static str,
    pub(super) read: fn(&mut Claim, Value<'_>) -> Result<(), ValueFault>,
}

/// A key of a claim: also as `-file` and as `-env`.
pub(super) struct KeyMember {
    pub(super) name: &'static str,
    pub(super) set: fn(&mut Claim, &str) -> Result<(), KeyError>,
}

macro_rules! rows {
    ($($name:literal $field:ident = $read:expr;)*) => {
        &[$(Member {
            name: $name,
            read: |claim, value| {
                let read: fn(Value<'_>) -> Result<_, ValueFault> = $read;
                claim.$field = read(value)?;
                Ok(())
            },
        },)*]
    };
}

macro_rules! keys {
    ($($name:literal $field:ident;)*) => {
        &[$(KeyMember {
            name: $name,
            set: |claim, text| {
                claim.$field = Some(text.trim().parse()?);
                Ok(())
            },
        },)*]
    };
}

/// Every member of a claim that is no key.
pub(super) static MEMBERS: &[Member] = rows! {
    "dev-eui" dev_eui = |v| Ok(Some(v.id(EUI)?));
    "join-eui" join_eui = |v| Ok(Some(v.id(EUI)?));
    "mac-version" mac_version = |v| Ok(Some(mac_version(v)?));
    "activation" activation = |v| {
        Ok(Some(v.one_of(&Activation::ALL, Activation::name, "\"OTAA\", \"ABP\"")?))
    };
    "class" class = |v| Ok(Some(v.one_of(&Class::ALL, Class::name, "\"A\", \"B\", \"C\"")?));
    "region" region = |v| Ok(Some(v.region()?));
    "sub-band" sub_band = |v| Ok(Some(v.sub_band()?));
    "channel-mask" channel_mask = |v| Ok(Some(channel_mask(v)?));
    "last-join-nonce" last_join_nonce = |v| Ok(Some(v.number(0, BITS_24)?));
    "last-fcnt-down" last_fcnt_down = |v| Ok(Some(v.number(0, BITS_32)?));
    "log" log = |v| {
        v.list("a list of texts", |v| v.text("a text in quotes").map(log_line))
    };
    "net-id" net_id = |v| Ok(Some(v.id("six hex digits in quotes such as \"000001\"")?));
    "gateways" gateways = |v| v.list("a list of EUIs", |v| v.id(EUI));
    "last-dev-nonce" last_dev_nonce = |v| Ok(Some(v.number(0, BITS_16)?));
    "used-dev-nonces" used_dev_nonces = |v| v.list("a list of numbers", |v| v.number(0, BITS_16));
    "next-join-nonce" next_join_nonce = |v| Ok(Some(v.number(0, BITS_24)?));
    "last-fcnt-up" last_fcnt_up = |v| Ok(Some(v.number(0, BITS_32)?));
    "next-fcnt-down" next_fcnt_down = |v| Ok(Some(v.number(0, BITS_32)?));
    "fcnt-bits" fcnt_bits = |v| match v.number(0, BITS_32)? {
        bits @ (16 | 32) => Ok(Some(bits)),
        _ => Err(FaultKind::NotOneOf { choices: "16, 32" }.into()),
    };
    "rx1-delay" rx1_delay = |v| Ok(Some(v.number(0, 15)?));
    "rx1-dr-offset" rx1_dr_offset = |v| Ok(Some(v.number(0, 7)?));
    "rx2-data-rate" rx2_data_rate = |v| Ok(Some(v.number(0, 15)?));
    "rx2-frequency" rx2_frequency = |v| Ok(Some(v.hertz()?));
    "downlink-dwell" downlink_dwell = |v| Ok(Some(v.flag()?));
    "dev-addr-prefix" dev_addr_prefix = |v| Ok(Some(dev_addr_prefix(v)?));
    "regional-parameters" regional_parameters = |v| Ok(Some(v.name()?));
    "qr" qr = |v| Ok(Some(qr(v)?));
    "dev-addr" dev_addr = |v| {
        Ok(Some(v.id("eight hex digits in quotes such as \"020c76ca\"")?))
    };
};

/// Every key of a claim.
pub(super) static KEYS: &[KeyMember] = keys! {
    "app-key" app_key;
    "nwk-key" nwk_key;
    "gen-app-key" gen_app_key;
    "nwk-s-key" nwk_s_key;
    "app-s-key" app_s_key;
    "f-nwk-s-int-key" f_nwk_s_int_key;
    "s-nwk-s-int-key" s_nwk_s_int_key;
    "nwk-s-enc-key" nwk_s_enc_key;
};

/// Where a key of the roster comes from.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum KeySource {
    Here,
    File,
    Env,
}

impl KeySource {
    pub(super) const ALL: [(&'static str, Self); 3] =
        [("", Self::Here), ("-file", Self::File), ("-env", Self::Env)];
}

/// Returns the key that a member's name means, and where it comes from.
pub(super) fn key_member(name: &str) -> Option<(&'static KeyMember, KeySource)> {
    KEYS.iter().find_map(|key| {
        let suffix = name.strip_prefix(key.name)?;
        let (_, source) = KeySource::ALL.into_iter().find(|(known, _)| *known == suffix)?;
        Some((key, source))
    })
}

fn mac_version(value: Value<'_>) -> Result<MacVersion, FaultKind> {
    let choices = "\"1.0.0\", \"1.0.1\", \"1.0.2\", \"1.0.3\", \"1.0.4\", \"1.1\"";
    MacVersion::by_name(value.text(choices)?.trim()).ok_or(FaultKind::NotOneOf { choices })
}

fn channel_mask(value: Value<'_>) -> Result<Vec<u16>, FaultKind> {
    let text = value.text("ChMask words such as \"FF00 0000 0000 0000 0002\"")?;
    let mut words = Vec::new();
    for text in text.split([' ', ',', '-', ':']).filter(|word| !word.is_empty()) {
        let word = words.len() + 1;
        let digits = text.len() == 4 && text.chars().all(|c| c.is_ascii_hexdigit());
        if !digits || word > MOST_MASKS {
            return Err(FaultKind::ChannelMask { word });
        }
        let mask = u16::from_str_radix(text, 16).map_err(|_| FaultKind::ChannelMask { word })?;
        words.push(mask);
    }
    if words.is_empty() { Err(FaultKind::ChannelMask { word: 1 }) } else { Ok(words) }
}

fn dev_addr_prefix(value: Value<'_>) -> Result<DevAddrPrefix, FaultKind> {
    let text = value.text("a DevAddr and a number of bits such as \"02000000/7\"")?;
    let (addr, bits) = text.split_once('/').ok_or(FaultKind::Prefix)?;
    let addr: DevAddr = addr.trim().parse().map_err(|_| FaultKind::Prefix)?;
    let bits = bits.trim().parse().map_err(|_| FaultKind::Prefix)?;
    DevAddrPrefix::new(addr.0, bits).ok_or(FaultKind::Prefix)
}

fn qr(value: Value<'_>) -> Result<String, FaultKind> {
    let text = value.text("an identification string such as \"LW:D0:...\"")?.trim();
    text.parse::<super::Label>().map_err(FaultKind::Label)?;
    Ok(text.to_owned())
}

const EUI: &str = "16 hex digits in quotes such as \"020000fffe001207\"";
const BITS_16: u64 = 0xFFFF;
const BITS_24: u64 = 0xFF_FFFF;
const BITS_32: u64 = 0xFFFF_FFFF;
/// Words of 16 channels that the largest plan has: 72 channels, and one word to spare.
const MOST_MASKS: usize = 6;

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn no_two_members_share_a_name() {
        let names: BTreeSet<_> =
            MEMBERS.iter().map(|m| m.name).chain(KEYS.iter().map(|k| k.name)).collect();
        assert_eq!(names.len(), MEMBERS.len() + KEYS.len());
    }

    #[test]
    fn a_key_has_three_names() {
        for key in KEYS {
            for (suffix, source) in KeySource::ALL {
                let (found, from) = key_member(&format!("{}{suffix}", key.name)).unwrap();
                assert_eq!((found.name, from), (key.name, source));
            }
        }
        assert!(key_member("app-key-").is_none());
        assert!(key_member("app-keys").is_none());
    }
}
