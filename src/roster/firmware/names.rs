//! What an identifier of a source says about its value: a member, an order, a node.
//!
//! An identifier is taken apart into words (`lorawanDevEUI_2`: lorawan, dev, eui, 2). Words that
//! together are a member's name make it a value of that member; the words left over may tell the
//! order of its octets, that it is no value at all (`DEV_EUI_SIZE`), or which node it is of.

use super::{
    ByteOrder,
    member::{Member, NAMES},
};
use crate::region::Plan;

/// What an identifier says.
#[derive(Clone, Debug, Eq, PartialEq)]
pub(super) struct Meaning {
    pub(super) member: Member,
    /// The order that a word of the name tells.
    pub(super) order: Option<ByteOrder>,
    /// What is left of the name, for telling nodes apart.
    pub(super) tag: String,
    /// Whether the name itself says that over-the-air activation is meant, or the contrary.
    pub(super) activation_is_abp: bool,
}

/// Returns what an identifier says, if it names a member's value.
pub(super) fn meaning(identifier: &str) -> Option<Meaning> {
    let words = words(identifier);
    let (start, end, member, abp) = longest_match(&words)?;
    let rest: Vec<&str> = words
        .iter()
        .enumerate()
        .filter(|(i, _)| !(start..end).contains(i))
        .map(|(_, word)| word.as_str())
        .collect();
    if rest.iter().any(|word| NO_VALUE.contains(word)) {
        return None;
    }
    if member == Member::Name && !rest.is_empty() && rest.iter().any(|w| !is_number(w)) {
        return None;
    }
    let order = rest.iter().find_map(|word| order_word(word));
    Some(Meaning { member, order, tag: tag(&rest), activation_is_abp: abp })
}

/// Returns the region whose name is part of an identifier: `LORAWAN_REGION_EU868`.
pub(super) fn region_in(identifier: &str) -> Option<&'static Plan> {
    let words = words(identifier);
    (2..=words.len().min(4)).rev().find_map(|length| {
        words
            .windows(length)
            // numbers alone, and numbers first, are parts of a name at most
            .filter(|window| window.first().is_some_and(|word| !is_number(word)))
            .find_map(|window| Plan::by_name(&window.concat()))
    })
}

/// Returns what is left of any name without its common words, to tell nodes apart.
pub(super) fn tag_of(identifier: &str) -> String {
    let words = words(identifier);
    tag(&words.iter().map(String::as_str).collect::<Vec<_>>())
}

fn tag(words: &[&str]) -> String {
    words
        .iter()
        .filter(|word| order_word(word).is_none() && !COMMON.contains(word))
        .copied()
        .collect::<Vec<_>>()
        .join(" ")
}

/// Returns the order that words of a comment tell, unless they tell both.
pub(super) fn order_in(comment: &str) -> Option<ByteOrder> {
    let mut found = None;
    let words: Vec<String> = comment
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect();
    for (i, word) in words.iter().enumerate() {
        let next = words.get(i + 1).map_or("", String::as_str);
        let order = match (word.as_str(), next) {
            ("lsb" | "lsbf" | "lsbfirst" | "littleendian", _)
            | ("little", "endian")
            | ("least", "significant") => ByteOrder::Reversed,
            ("msb" | "msbf" | "msbfirst" | "bigendian", _)
            | ("big", "endian")
            | ("most", "significant") => ByteOrder::Printed,
            _ => continue,
        };
        if found.is_some_and(|found| found != order) {
            return None;
        }
        found = Some(order);
    }
    found
}

/// Returns the order that a word of a name says.
pub(super) fn order_word(word: &str) -> Option<ByteOrder> {
    match word {
        "lsb" | "le" | "lsbf" | "little" | "reversed" => Some(ByteOrder::Reversed),
        "msb" | "be" | "msbf" | "big" => Some(ByteOrder::Printed),
        _ => None,
    }
}

fn longest_match(words: &[String]) -> Option<(usize, usize, Member, bool)> {
    // no name of a member has more words; longer identifiers need not be looked at in full
    for length in (1..=words.len().min(LONGEST_NAME)).rev() {
        for (start, window) in words.windows(length).enumerate() {
            let joined = window.concat();
            let bare = joined.strip_suffix('s').unwrap_or(&joined);
            let row = NAMES.iter().find(|(name, _)| *name == joined || *name == bare);
            if let Some((name, member)) = row {
                return Some((start, start + length, *member, name.contains("abp")));
            }
        }
    }
    None
}

/// Takes an identifier apart: at `_`, where capitals begin, and between letters and digits.
pub(super) fn words(identifier: &str) -> Vec<String> {
    let characters: Vec<char> = identifier.chars().take(LONGEST_IDENTIFIER).collect();
    let mut words = vec![String::new()];
    for (i, c) in characters.iter().enumerate() {
        let before = i.checked_sub(1).and_then(|i| characters.get(i));
        let after = characters.get(i + 1);
        let breaks = before.is_some_and(|b| {
            (b.is_lowercase() && c.is_uppercase())
                || (b.is_uppercase() && c.is_uppercase() && after.is_some_and(|a| a.is_lowercase()))
                || b.is_ascii_digit() != c.is_ascii_digit()
        });
        if breaks || !c.is_alphanumeric() {
            words.push(String::new());
        }
        if c.is_alphanumeric()
            && let Some(word) = words.last_mut()
        {
            word.extend(c.to_lowercase());
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

fn is_number(word: &str) -> bool {
    word.chars().all(|c| c.is_ascii_digit())
}

/// Words beside a member's name that make it something about the value, not the value.
const NO_VALUE: &[&str] = &[
    "size",
    "sizeof",
    "len",
    "length",
    "count",
    "offset",
    "index",
    "idx",
    "pos",
    "position",
    "slot",
    "type",
    "cmd",
    "command",
    "max",
    "min",
    "flag",
    "valid",
    "eeprom",
    "flash",
    "address",
    "addr",
    "nvm",
    "crc",
    "hash",
    "get",
    "set",
    "read",
    "write",
    "print",
    "callback",
    "cb",
    "mc",
    "multicast",
    "error",
    "err",
    "fail",
    "bits",
    "present",
    "mask",
    "id",
    "ptr",
    "h",
];

/// Words that many names have and that tell no node from another.
const COMMON: &[&str] = &[
    "lorawan",
    "lora",
    "lw",
    "wan",
    "my",
    "the",
    "default",
    "cfg",
    "config",
    "conf",
    "secret",
    "credential",
    "credentials",
    "otaa",
    "abp",
    "const",
    "static",
    "k",
    "g",
    "s",
    "m",
    "p",
    "hex",
    "str",
    "string",
    "bytes",
    "octets",
    "array",
    "arr",
    "buf",
    "buffer",
    "data",
    "value",
    "val",
    "node",
    "nodes",
    "device",
    "devices",
    "dev",
    "params",
    "parameters",
    "settings",
    "keys",
    "table",
    "list",
    "first",
    "endian",
    "t",
];

const LONGEST_NAME: usize = 8;
const LONGEST_IDENTIFIER: usize = 128;

#[cfg(test)]
mod tests {
    use super::*;

    fn told(identifier: &str) -> Option<(Member, Option<ByteOrder>, String)> {
        meaning(identifier).map(|m| (m.member, m.order, m.tag))
    }

    #[test]
    fn trade_names_in_every_spelling_are_known() {
        for (identifier, member) in [
            ("dev_eui", Member::DevEui),
            ("DEVEUI", Member::DevEui),
            ("devEui", Member::DevEui),
            ("LORAWAN_DEVICE_EUI", Member::DevEui),
            ("s_DevEUI", Member::DevEui),
            ("APPEUI", Member::JoinEui),
            ("JoinEui", Member::JoinEui),
            ("APPKEY", Member::AppKey),
            ("genAppKey", Member::GenAppKey),
            ("GEN_APP_KEY", Member::GenAppKey),
            ("nwk_key", Member::NwkKey),
            ("NwkSKey", Member::NwkSKey),
            ("nwk_s_key", Member::NwkSKey),
            ("FNwkSIntKey", Member::FNwkSIntKey),
            ("f_nwk_s_int_key", Member::FNwkSIntKey),
            ("NWKSENCKEY", Member::NwkSEncKey),
            ("app_s_key", Member::AppSKey),
            ("DevAddr", Member::DevAddr),
            ("LORAWAN_REGION", Member::Region),
        ] {
            assert_eq!(told(identifier), Some((member, None, String::new())), "{identifier}");
        }
    }

    #[test]
    fn what_is_about_a_value_is_no_value() {
        for identifier in [
            "DEV_EUI_SIZE",
            "APP_KEY_ADDR",
            "get_dev_eui",
            "mc_app_s_key",
            "DEV_EUI_H",
            "eui",
            "key",
            "file_name",
            "APPKEY_CRC",
        ] {
            assert_eq!(told(identifier), None, "{identifier}");
        }
    }

    #[test]
    fn suffixes_tell_order_and_node() {
        let lsb = Some(ByteOrder::Reversed);
        assert_eq!(told("DEV_EUI_LSB"), Some((Member::DevEui, lsb, String::new())));
        assert_eq!(told("appEuiLE2"), Some((Member::JoinEui, lsb, "2".into())));
        assert_eq!(told("DEV_EUI_1"), Some((Member::DevEui, None, "1".into())));
        assert_eq!(told("devEui2"), Some((Member::DevEui, None, "2".into())));
        assert_eq!(told("NODE_A_APPKEY"), Some((Member::AppKey, None, "a".into())));
        assert_eq!(told("dev_euis"), Some((Member::DevEui, None, String::new())));
    }

    #[test]
    fn a_comment_that_tells_both_orders_tells_none() {
        assert_eq!(
            order_in("// little-endian: the least significant octet leads"),
            Some(ByteOrder::Reversed)
        );
        assert_eq!(order_in("/* MSB */"), Some(ByteOrder::Printed));
        assert_eq!(order_in("// lsb here, msb there"), None);
        assert_eq!(order_in("// a little more endian"), None);
    }
}
