//! What a number out of a log or a label can be, and what it tells as such.

use alloc::{
    format,
    string::{String, ToString},
    vec,
    vec::Vec,
};
use core::fmt::Display;

use super::{Block, DevAddr, DevNonce, Eui64, NetId, NetIdType, Reading, dashed};
use crate::words::Count;

/// Why a text is no number that LoRaWAN has. Never holds a digit of the text.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum IdentifyError {
    /// A character that is neither a hex digit nor a separator.
    #[error("character {position} is not a hex digit")]
    NotHex {
        /// Position in the text, from 1.
        position: usize,
    },
    /// A number of digits that nothing has.
    #[error("{}: 4, 6, 8, 12, 16 or 32 are expected", Count(*.found, "hex digit"))]
    Length {
        /// Digits in the text.
        found: usize,
    },
}

/// All that a number can be.
#[derive(Clone, Debug, PartialEq)]
pub struct IdReport {
    /// Its hex digits.
    pub digits: usize,
    /// What it can be, the likeliest first.
    pub candidates: Vec<Candidate>,
}

/// One thing that a number can be.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// What it is then, as the standard spells it: `DevAddr`, `NetID`, `EUI-64`, `EUI-48`, `DevNonce`,
    /// `key`.
    pub kind: &'static str,
    /// In which order its octets were read.
    pub order: Order,
    /// Its printed form, most significant octet first; none of a key.
    pub value: Option<String>,
    /// What it tells.
    pub properties: Vec<Property>,
}

/// In which order the octets of a text are read.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Order {
    /// As people write: most significant octet first.
    Printed,
    /// As on the air: least significant octet first.
    Wire,
}

/// One thing that a number tells.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Property {
    /// Its name, as JSON prints it.
    pub name: &'static str,
    /// Its value.
    pub value: PropertyValue,
    /// The same for people.
    pub says: String,
}

/// The value of a [`Property`].
#[derive(Clone, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum PropertyValue {
    /// None.
    Null,
    /// Yes or no.
    Flag(bool),
    /// A number.
    Number(i64),
    /// A text.
    Text(String),
    /// NetIDs.
    NetIds(Vec<NetId>),
    /// A block of DevAddrs.
    Block(Block),
    /// Blocks of DevAddrs, each with the text that says so.
    Blocks(Vec<(Reading, Block)>),
}

macro_rules! values {
    ($($from:ty => $variant:ident;)*) => {$(
        impl From<$from> for PropertyValue {
            fn from(value: $from) -> Self {
                Self::$variant(value.into())
            }
        }
    )*};
}

values! {
    bool => Flag;
    u8 => Number;
    u16 => Number;
    u32 => Number;
    i32 => Number;
    &str => Text;
    String => Text;
    Vec<NetId> => NetIds;
    Block => Block;
    Vec<(Reading, Block)> => Blocks;
}

/// Returns all that a number can be, by its number of hex digits; `-`, `:` and spaces may stand between
/// octets, `0x` in front. Of 32 digits, which may be a key, nothing is repeated.
///
/// # Errors
///
/// When the text has other characters, or a number of digits that nothing in LoRaWAN has.
pub fn identify(text: &str) -> Result<IdReport, IdentifyError> {
    let octets = hex_octets(text)?;
    let backwards: Vec<u8> = octets.iter().rev().copied().collect();
    let both = [(Order::Printed, &octets), (Order::Wire, &backwards)];
    let candidates = match octets.len() {
        2 => each(both, |o| o.first_chunk().copied().map(|o| dev_nonce(u16::from_be_bytes(o)))),
        3 => each(both, |o| {
            o.first_chunk()
                .and_then(|[a, b, c]| NetId::new(u32::from_be_bytes([0, *a, *b, *c])))
                .map(net_id)
        }),
        4 => each(both, |o| {
            o.first_chunk().copied().map(|o| dev_addr(DevAddr(u32::from_be_bytes(o))))
        }),
        6 => each(both, |o| o.first_chunk().copied().map(eui48)),
        8 => each(both, |o| o.first_chunk().copied().map(|o| eui64(Eui64::new(o)))),
        16 => vec![key()],
        _ => return Err(IdentifyError::Length { found: octets.len() * 2 }),
    };
    Ok(IdReport { digits: octets.len() * 2, candidates })
}

fn each(both: [(Order, &Vec<u8>); 2], read: impl Fn(&[u8]) -> Option<Candidate>) -> Vec<Candidate> {
    let read = |(order, octets): (Order, &Vec<u8>)| Some(Candidate { order, ..read(octets)? });
    let mut found: Vec<_> = both.into_iter().filter_map(read).collect();
    // A number that reads the same both ways is told once.
    found.dedup_by(|a, b| a.value == b.value);
    found
}

fn candidate(kind: &'static str, value: impl Display, properties: Vec<Property>) -> Candidate {
    Candidate { kind, order: Order::Printed, value: Some(value.to_string()), properties }
}

fn property(name: &'static str, value: impl Into<PropertyValue>, says: impl Display) -> Property {
    Property { name, value: value.into(), says: says.to_string() }
}

fn on_air(octets: &[u8]) -> Property {
    property("on_air", hex::encode(octets), format!("on the air {}", spaced(octets)))
}

fn dev_nonce(value: u16) -> Candidate {
    let properties = vec![
        property("number", value, format!("as a number {value}")),
        on_air(&DevNonce(value).to_wire()),
    ];
    candidate("DevNonce", format_args!("{value:04X}"), properties)
}

fn dev_addr(addr: DevAddr) -> Candidate {
    let mut properties = Vec::new();
    if let Some(parts) = addr.parts() {
        let kind = parts.net_id_type;
        properties.push(property(
            "type",
            kind.number,
            format!("prefix of NetID type {}, NwkAddr {:X}", kind.number, parts.nwk_addr),
        ));
        properties.push(property("nwk_id", parts.nwk_id, format!("NwkID {:X}", parts.nwk_id)));
        let ids: Vec<NetId> = addr.net_ids().collect();
        let shown: Vec<String> = ids.iter().take(SHOWN).map(NetId::to_string).collect();
        let more = match ids.len().saturating_sub(SHOWN) {
            0 => String::new(),
            n => format!(" and {n} more that share the NwkID"),
        };
        let first = ids.first().and_then(|id| id.block(Reading::Current));
        let says = format!("NetID {}{more}", shown.join(", "));
        properties.push(property("net_ids", ids, says));
        if let Some(block) = first {
            let says = format!("block {block}, {} to {}", block.first(), block.last());
            properties.push(property("block", block, says));
        }
    } else {
        let says = "begins with eight ones: of no NetID type";
        properties.push(property("type", PropertyValue::Null, says));
    }
    let seven = addr.top_seven_bits();
    properties.push(property(
        "top_seven_bits",
        seven,
        format!("LoRaWAN 1.0.x: from any NetID whose seven low bits are {seven:02X}"),
    ));
    if addr.is_experimental() {
        properties.push(property(
            "experimental",
            true,
            "free for experiments and private networks",
        ));
    }
    let signed = i32::from_be_bytes(addr.0.to_be_bytes());
    properties.push(property(
        "int32",
        signed,
        format!("{signed} where a station prints it as a signed number"),
    ));
    properties.push(on_air(&addr.to_wire()));
    candidate("DevAddr", addr, properties)
}

fn net_id(id: NetId) -> Candidate {
    let kind = NetIdType::of(id);
    let mut properties = vec![
        property("type", kind.number, format!("type {}, ID {:X}", kind.number, kind.id(id))),
        property("nwk_id", id.nwk_id(), format!("NwkID {:X}", id.nwk_id())),
    ];
    if id.rfu() != 0 {
        properties.push(property("rfu", id.rfu(), "RFU bits are set: no NetID that was assigned"));
    }
    let blocks = id.blocks();
    let says: Vec<String> = blocks.iter().map(|(r, b)| format!("{b} {r}")).collect();
    let says = format!("hands out DevAddrs of {}", says.join("; "));
    properties.push(property("blocks", blocks, says));
    if id.is_experimental() {
        properties.push(property(
            "experimental",
            true,
            "free for experiments and private networks",
        ));
    } else if id.is_experimental_in_1_1() {
        properties.push(property(
            "experimental",
            true,
            "free for experiments by LoRaWAN 1.1, 6.2.3",
        ));
    }
    properties.push(on_air(&id.to_wire()));
    candidate("NetID", id, properties)
}

fn eui48(octets: [u8; 6]) -> Candidate {
    let eui = Eui64::from_eui48(octets);
    let properties =
        vec![property("eui64", eui.hex(), format!("as a DevEUI {eui}, FF-FE in its middle"))];
    candidate("EUI-48", dashed(&octets), properties)
}

fn eui64(eui: Eui64) -> Candidate {
    let mut properties: Vec<Property> =
        eui.remarks().iter().map(|r| property("remark", r.to_string(), r)).collect();
    properties.push(on_air(&eui.to_wire()));
    candidate("EUI-64", eui, properties)
}

fn key() -> Candidate {
    let says = "32 digits: perhaps a key. It is not repeated here; a key that was pasted anywhere \
                should be taken for known";
    Candidate {
        kind: "key",
        order: Order::Printed,
        value: None,
        properties: vec![property("caution", says, says)],
    }
}

fn spaced(octets: &[u8]) -> String {
    octets.iter().map(|o| format!("{o:02X}")).collect::<Vec<_>>().join(" ")
}

/// Reads as many octets as a text has, 64 digits at most.
fn hex_octets(text: &str) -> Result<Vec<u8>, IdentifyError> {
    let skipped = if text.starts_with("0x") || text.starts_with("0X") { 2 } else { 0 };
    let mut digits = Vec::new();
    let mut found = 0usize;
    for (i, c) in text.chars().enumerate().skip(skipped) {
        if matches!(c, '-' | ':' | ' ') && found.is_multiple_of(2) {
            continue;
        }
        let digit = c.to_digit(16).ok_or(IdentifyError::NotHex { position: i + 1 })?;
        found += 1;
        if found <= MOST_DIGITS {
            digits.push(u8::try_from(digit).unwrap_or_default());
        }
    }
    if found > MOST_DIGITS || !found.is_multiple_of(2) {
        return Err(IdentifyError::Length { found });
    }
    Ok(digits.chunks_exact(2).map(|pair| pair.iter().fold(0, |acc, d| (acc << 4) | d)).collect())
}

/// NetIDs listed for people; JSON has them all.
const SHOWN: usize = 4;

/// More digits than this are counted, not kept.
const MOST_DIGITS: usize = 64;

#[cfg(test)]
mod tests {
    use super::*;

    fn kinds(text: &str) -> Vec<(&'static str, Option<String>)> {
        identify(text).unwrap().candidates.into_iter().map(|c| (c.kind, c.value)).collect()
    }

    #[test]
    fn the_number_of_digits_says_what_a_number_can_be() {
        let some = |text: &str| Some(text.to_owned());
        assert_eq!(kinds("0102"), [("DevNonce", some("0102")), ("DevNonce", some("0201"))]);
        assert_eq!(kinds("000001"), [("NetID", some("000001")), ("NetID", some("010000"))]);
        assert_eq!(
            kinds("0201BBDA"),
            [("DevAddr", some("0201BBDA")), ("DevAddr", some("DABB0102"))]
        );
        assert_eq!(kinds("02-00-00-1a-2b-3c")[0], ("EUI-48", some("02-00-00-1A-2B-3C")));
        let euis = kinds("3C2B1AFEFF000002");
        assert_eq!(euis[1].1, some("02-00-00-FF-FE-1A-2B-3C"));
        // the same both ways is told once
        assert_eq!(kinds("00000000").len(), 1);
    }

    #[test]
    fn a_key_is_not_repeated() {
        let report = identify("2B7E151628AED2A6ABF7158809CF4F3C").unwrap();
        assert_eq!(report.candidates.len(), 1);
        assert!(!format!("{report:?}").to_uppercase().contains("2B7E"));
    }

    #[test]
    fn what_is_no_number_says_why() {
        assert_eq!(identify("0201BBD"), Err(IdentifyError::Length { found: 7 }));
        assert_eq!(identify("0201BBDG"), Err(IdentifyError::NotHex { position: 8 }));
        assert_eq!(identify(""), Err(IdentifyError::Length { found: 0 }));
        assert_eq!(identify(&"0".repeat(1000)), Err(IdentifyError::Length { found: 1000 }));
    }

    #[test]
    fn an_address_tells_its_networks() {
        let report = identify("0x00012E43").unwrap();
        let says: Vec<_> =
            report.candidates[0].properties.iter().map(|f| f.says.as_str()).collect();
        assert!(says.contains(&"NetID 000000"), "{says:?}");
        assert!(says.contains(&"block 00000000/7, 00000000 to 01FFFFFF"), "{says:?}");
        let report = identify("E0000001").unwrap();
        let property =
            |name| report.candidates[0].properties.iter().find(|f| f.name == name).unwrap();
        assert_eq!(property("int32").value, PropertyValue::Number(-536_870_911));
        let PropertyValue::NetIds(ids) = &property("net_ids").value else { panic!() };
        assert_eq!(ids.len(), 1024);
    }
}
