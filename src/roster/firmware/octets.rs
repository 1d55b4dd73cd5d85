//! An initialiser read as what its member wants.

use zeroize::Zeroizing;

use super::{
    ByteOrder, SourceFaultKind,
    literal::{digits, number},
    member::Member,
    names::{Meaning, region_in},
    value::{Entry, Literal},
};
use crate::{
    frame::MacVersion,
    id::{DevAddr, Eui64, NetId},
    key::Aes128Key,
    region::Plan,
    roster::{
        claim::{Activation, Class},
        value::most_sub_bands,
    },
};

/// What a source says.
#[derive(Clone, Debug)]
pub(super) enum Said {
    Eui(Eui64),
    Key(Aes128Key),
    DevAddr(DevAddr),
    NetId(NetId),
    MacVersion(MacVersion),
    Class(Class),
    Activation(Activation),
    Region(&'static Plan),
    SubBand(u8),
    ChannelMask(Vec<u16>),
    Name(String),
}

impl Said {
    pub(super) fn same_as(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Eui(a), Self::Eui(b)) => a == b,
            (Self::Key(a), Self::Key(b)) => a.same_as(b),
            (Self::DevAddr(a), Self::DevAddr(b)) => a == b,
            (Self::NetId(a), Self::NetId(b)) => a == b,
            (Self::MacVersion(a), Self::MacVersion(b)) => a == b,
            (Self::Class(a), Self::Class(b)) => a == b,
            (Self::Activation(a), Self::Activation(b)) => a == b,
            (Self::Region(a), Self::Region(b)) => a.name == b.name,
            (Self::SubBand(a), Self::SubBand(b)) => a == b,
            (Self::ChannelMask(a), Self::ChannelMask(b)) => a == b,
            (Self::Name(a), Self::Name(b)) => a == b,
            _ => false,
        }
    }
}

/// Why an initialiser is no value.
#[derive(Clone, Debug, Eq, PartialEq)]
pub(super) enum Problem {
    /// Something else is meant, or only the compiler knows.
    NoValue,
    Fault(SourceFaultKind),
}

/// Returns what an initialiser says for a member.
pub(super) fn said(
    meaning: &Meaning,
    value: &Literal<'_>,
    order: ByteOrder,
    identifier: &str,
) -> Result<Said, Problem> {
    match meaning.member {
        Member::Name => {
            word(value).filter(|name| !name.is_empty()).map(Said::Name).ok_or(Problem::NoValue)
        }
        Member::DevEui | Member::JoinEui => {
            let octets: [u8; 8] = octets(value, order)?;
            Ok(Said::Eui(Eui64::new(octets)))
        }
        Member::DevAddr => {
            octets::<4>(value, order).map(|o| Said::DevAddr(DevAddr(u32::from_be_bytes(o))))
        }
        Member::NetId => {
            let [a, b, c] = octets(value, order)?;
            NetId::new(u32::from_be_bytes([0, a, b, c])).map(Said::NetId).ok_or(Problem::NoValue)
        }
        Member::MacVersion => version(value).map(Said::MacVersion).ok_or(Problem::NoValue),
        Member::Class => class(value).map(Said::Class).ok_or(Problem::NoValue),
        Member::Activation => {
            activation(meaning, value, identifier).map(Said::Activation).ok_or(Problem::NoValue)
        }
        Member::Region => region(value, identifier).map(Said::Region).ok_or(Problem::NoValue),
        Member::SubBand => match value {
            Literal::Number(text) => number(text)
                .and_then(|n| u8::try_from(n).ok())
                .filter(|n| (1..=most_sub_bands()).contains(n))
                .map(Said::SubBand)
                .ok_or(Problem::NoValue),
            _ => Err(Problem::NoValue),
        },
        Member::ChannelMask => mask(value).map(Said::ChannelMask).ok_or(Problem::NoValue),
        _ => {
            let octets: Zeroizing<[u8; 16]> = Zeroizing::new(octets(value, order)?);
            Ok(Said::Key(Aes128Key::new(*octets)))
        }
    }
}

/// Returns how many octets a value has that could be an EUI or a key, whatever it is called.
pub(super) fn candidate_octets(value: &Literal<'_>) -> Option<usize> {
    match value {
        Literal::List(entries) if matches!(entries.len(), 8 | 16) => {
            let all = entries.iter().all(|entry| octet(&entry.value).is_some());
            // runs of zeros and small numbers are tables of all kinds
            let large = entries.iter().filter_map(|e| octet(&e.value)).any(|o| o > 0x1F);
            (all && large).then_some(entries.len())
        }
        Literal::Text { octets, escaped: true } if matches!(octets.len(), 8 | 16) => {
            Some(octets.len())
        }
        Literal::Text { octets, escaped: false } => {
            let hex =
                octets.iter().all(|o| o.is_ascii_hexdigit() || matches!(o, b'-' | b':' | b' '));
            let digits = octets.iter().filter(|o| o.is_ascii_hexdigit()).count();
            (hex && matches!(digits, 16 | 32)).then_some(digits / 2)
        }
        _ => None,
    }
}

/// Reads exactly `N` octets, and turns them where they stand reversed.
fn octets<const N: usize>(value: &Literal<'_>, order: ByteOrder) -> Result<[u8; N], Problem> {
    let mut read: [u8; N] = match value {
        Literal::List(entries) => match entries.as_slice() {
            [Entry { value: inner @ (Literal::List(_) | Literal::Text { .. }), .. }] => {
                return octets(inner, order);
            }
            _ => from_list(entries)?,
        },
        Literal::Text { octets, escaped } => from_text(octets, *escaped)?,
        Literal::Number(text) => from_number(text)?,
        Literal::Open => return Err(Problem::Fault(SourceFaultKind::OpenBrace)),
        Literal::Character(_) | Literal::Word(_) | Literal::Other => return Err(Problem::NoValue),
    };
    if order == ByteOrder::Reversed {
        read.reverse();
    }
    Ok(read)
}

fn octet(value: &Literal<'_>) -> Option<u8> {
    match value {
        Literal::Number(text) => number(text).and_then(|n| u8::try_from(n).ok()),
        Literal::Character(octet) => Some(*octet),
        _ => None,
    }
}

fn from_list<const N: usize>(entries: &[Entry<'_>]) -> Result<[u8; N], Problem> {
    let numbers = entries.iter().all(|entry| match &entry.value {
        Literal::Number(text) => number(text).is_some(),
        Literal::Character(_) => true,
        _ => false,
    });
    if !numbers || entries.is_empty() {
        return Err(Problem::NoValue);
    }
    let characters = entries.iter().all(|e| matches!(e.value, Literal::Character(_)));
    if characters && entries.len() >= 2 * N {
        let text: Zeroizing<Vec<u8>> =
            Zeroizing::new(entries.iter().filter_map(|e| octet(&e.value)).collect());
        let text = text.strip_suffix(b"\0").unwrap_or(&text);
        return from_text(text, false);
    }
    if entries.len() != N {
        let kind = SourceFaultKind::Octets { found: entries.len(), wanted: N };
        return Err(Problem::Fault(kind));
    }
    let mut octets = [0; N];
    for (i, (to, entry)) in octets.iter_mut().zip(entries).enumerate() {
        let kind = SourceFaultKind::NotAnOctet { element: i + 1 };
        *to = octet(&entry.value).ok_or(Problem::Fault(kind))?;
    }
    Ok(octets)
}

/// Reads a text: its digits, or its very octets where it is written with escapes.
fn from_text<const N: usize>(text: &[u8], escaped: bool) -> Result<[u8; N], Problem> {
    if escaped {
        let kind = SourceFaultKind::Octets { found: text.len(), wanted: N };
        return text.try_into().map_err(|_| Problem::Fault(kind));
    }
    if text.is_empty() {
        return Err(Problem::NoValue);
    }
    let mut octets = [0; N];
    let mut digits = 0usize;
    let mut rest = text;
    let mut position = 0usize;
    while let Some((c, after)) = rest.split_first() {
        let digit = char::from(*c).to_digit(16).and_then(|d| u8::try_from(d).ok());
        let prefix = digits.is_multiple_of(2) && matches!(rest, [b'0', b'x' | b'X', ..]);
        position += 1;
        rest = after;
        if prefix {
            position += 1;
            rest = rest.get(1..).unwrap_or_default();
        } else if let Some(digit) = digit {
            if let Some(octet) = octets.get_mut(digits / 2) {
                *octet = (*octet << 4) | digit;
            }
            digits += 1;
        } else if !(digits.is_multiple_of(2)
            && matches!(c, b' ' | b'-' | b':' | b',' | b';' | b'.' | b'{' | b'}'))
        {
            // sixteen characters that are no digits are the octets of a key
            return text
                .try_into()
                .map_err(|_| Problem::Fault(SourceFaultKind::NotHex { position }));
        }
    }
    if digits == 2 * N {
        Ok(octets)
    } else {
        Err(Problem::Fault(SourceFaultKind::Digits { found: digits, wanted: 2 * N }))
    }
}

/// Reads a number with all its digits; a small one is a number of something else.
fn from_number<const N: usize>(text: &str) -> Result<[u8; N], Problem> {
    let hex = text.get(..2).is_some_and(|prefix| prefix.eq_ignore_ascii_case("0x"));
    let value = number(text).ok_or(Problem::NoValue)?;
    let digits = digits(text).0.len();
    // the value of a session is a number of four octets at most, and 0 says that there is none
    let whole = if N == 8 { digits >= 2 * N || value > u64::from(u32::MAX) } else { hex };
    if !hex || N > 8 || !whole {
        return Err(Problem::NoValue);
    }
    let bits = u32::try_from(8 * N).unwrap_or(u32::MAX);
    if bits < u64::BITS && value >> bits != 0 {
        return Err(Problem::Fault(SourceFaultKind::TooManyBits { bits }));
    }
    let all = value.to_be_bytes();
    all.last_chunk::<N>().copied().ok_or(Problem::NoValue)
}

fn word(value: &Literal<'_>) -> Option<String> {
    match value {
        Literal::Text { octets, escaped: false } => {
            let text = String::from_utf8_lossy(octets);
            (!text.chars().any(char::is_control)).then(|| text.into_owned())
        }
        Literal::Word(word) | Literal::Number(word) => Some((*word).to_owned()),
        Literal::Character(c) => Some(char::from(*c).to_string()),
        _ => None,
    }
}

/// Reads `"1.0.4"`, `LORAWAN_VERSION_1_0_4`, 0x01000400.
fn version(value: &Literal<'_>) -> Option<MacVersion> {
    if let Literal::Number(text) = value
        && let Some(number) = number(text).filter(|n| *n > 0xFF_FFFF)
    {
        let [.., major, minor, patch, _] = number.to_be_bytes();
        return named_version(&format!("{major}.{minor}.{patch}"));
    }
    let text = word(value)?;
    let digits: Vec<&str> =
        text.split(|c: char| !c.is_ascii_digit()).filter(|part| !part.is_empty()).collect();
    named_version(&digits.join("."))
}

fn named_version(name: &str) -> Option<MacVersion> {
    MacVersion::by_name(name)
}

/// Reads `'A'`, `"A"`, `CLASS_A`.
fn class(value: &Literal<'_>) -> Option<Class> {
    let text = word(value)?;
    let last = text.rsplit(['_', ' ']).next()?;
    Class::ALL.into_iter().find(|class| class.name().eq_ignore_ascii_case(last))
}

fn activation(meaning: &Meaning, value: &Literal<'_>, identifier: &str) -> Option<Activation> {
    let text = word(value).unwrap_or_default().to_ascii_uppercase();
    let named = |text: &str| {
        let words: Vec<&str> = text.split(|c: char| !c.is_ascii_alphanumeric()).collect();
        Activation::ALL.into_iter().find(|a| words.contains(&a.name()))
    };
    let flag = match text.as_str() {
        "1" | "TRUE" => true,
        "0" | "FALSE" => false,
        "" if matches!(value, Literal::Other) => true,
        _ => return named(&text),
    };
    // `ACTIVATION 1` is a number of somebody's own
    let about = identifier.to_ascii_uppercase();
    let is_flag = about.contains("USE") || about.contains("AIR");
    let abp = meaning.activation_is_abp == flag;
    is_flag.then_some(if abp { Activation::Abp } else { Activation::Otaa })
}

/// Reads `"EU868"`, `LORAWAN_REGION_EU868`, or `#define REGION_EU868`.
fn region(value: &Literal<'_>, identifier: &str) -> Option<&'static Plan> {
    match value {
        Literal::Other | Literal::Number("1") | Literal::Word("true") => region_in(identifier),
        _ => {
            let text = word(value)?;
            Plan::by_name(&text).or_else(|| region_in(&text))
        }
    }
}

fn mask(value: &Literal<'_>) -> Option<Vec<u16>> {
    let Literal::List(entries) = value else { return None };
    if entries.is_empty() || entries.len() > MOST_MASKS {
        return None;
    }
    entries
        .iter()
        .map(|entry| match entry.value {
            Literal::Number(text) => number(text).and_then(|n| u16::try_from(n).ok()),
            _ => None,
        })
        .collect()
}

/// Words of 16 channels that the largest plan has: 72 channels, and one word to spare.
const MOST_MASKS: usize = 6;
