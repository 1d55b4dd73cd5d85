//! A key's text that was taken for the key itself: 16 characters instead of 32 digits.

use super::{digits::Digits, mistake::Mistake, sink::Sink};
use crate::key::Aes128Key;

/// Which 16 octets a program took from a key's text.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum TextForm {
    /// The first 16 characters.
    First,
    /// The first 15 characters and the zero that ends a string.
    FirstEnded,
    /// The last 16 characters.
    Last,
    /// The first 16 characters of a text with `0x` in front.
    Prefixed,
    /// The first 16 characters of a text with a separator between octets.
    Separated(char),
    /// The other way round: the claim is text, and the key the 8 octets it spells, twice.
    SpelledTwice,
    /// The other way round: the claim is text, and the key the 8 octets it spells, then zeros.
    SpelledThenZeros,
    /// The other way round: the claim is text, and the key zeros, then the 8 octets it spells.
    ZerosThenSpelled,
}

impl TextForm {
    /// Returns what was taken of the key that `claim` names.
    pub fn text(self, claim: &str, letters: Letters) -> String {
        let taken = |what: &str| {
            format!("{what} of the text of {claim} ({}), taken as bytes", letters.text())
        };
        match self {
            Self::First => taken("the first 16 characters"),
            Self::FirstEnded => taken("the first 15 characters and a zero"),
            Self::Last => taken("the last 16 characters"),
            Self::Prefixed => taken("0x and the first 14 characters"),
            Self::Separated(c) => taken(&format!("the first 16 characters, '{c}' between bytes,")),
            Self::SpelledTwice => format!("the bytes that the characters of {claim} spell, twice"),
            Self::SpelledThenZeros => {
                format!("the bytes that the characters of {claim} spell, then zeros")
            }
            Self::ZerosThenSpelled => {
                format!("zeros, then the bytes that the characters of {claim} spell")
            }
        }
    }
}

/// Whether a text has its letters as `ABCDEF` or as `abcdef`.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Letters {
    /// `ABCDEF`.
    Upper,
    /// `abcdef`.
    Lower,
}

impl Letters {
    /// Returns the words for it.
    pub const fn text(self) -> &'static str {
        match self {
            Self::Upper => "upper-case letters",
            Self::Lower => "lower-case letters",
        }
    }

    pub(super) fn hex(self, octets: &[u8]) -> String {
        match self {
            Self::Upper => hex::encode_upper(octets),
            Self::Lower => hex::encode(octets),
        }
    }
}

/// Returns whether a key's octets are themselves the characters of hex digits: then most likely
/// its text was cut in half and taken for the key, and the other half is nowhere to be had.
pub fn looks_like_text(key: &Aes128Key) -> bool {
    key.expose().iter().all(u8::is_ascii_hexdigit)
}

/// Offers every text of a key, and what a claim that is text itself would spell.
pub(super) fn offer(claimed: Digits, sink: &mut impl Sink) {
    let octets = claimed.octets();
    for letters in [Letters::Upper, Letters::Lower] {
        let text = letters.hex(&octets);
        let mut take = |form: TextForm, text: &str| {
            let value = Digits::number(&text.bytes().take(16).collect::<Vec<_>>());
            sink.offer(value, || Mistake::TextAsOctets { form, letters });
        };
        take(TextForm::First, &text);
        take(TextForm::Last, text.get(16..).unwrap_or_default());
        let ended: String = text.chars().take(15).chain(['\0']).collect();
        take(TextForm::FirstEnded, &ended);
        take(TextForm::Prefixed, &format!("0x{text}"));
        for separator in [' ', '-', ':'] {
            take(TextForm::Separated(separator), &separated(&text, separator));
        }
    }
    let spelled = std::str::from_utf8(&octets).ok().and_then(|text| hex::decode(text).ok());
    if let Some(half) = spelled {
        let zeros = vec![0; half.len()];
        for (form, [a, b]) in [
            (TextForm::SpelledTwice, [&half, &half]),
            (TextForm::SpelledThenZeros, [&half, &zeros]),
            (TextForm::ZerosThenSpelled, [&zeros, &half]),
        ] {
            let letters = Letters::Lower;
            sink.offer(Digits::number(&[a.as_slice(), b].concat()), || Mistake::TextAsOctets {
                form,
                letters,
            });
        }
    }
}

fn separated(text: &str, separator: char) -> String {
    let mut out = String::with_capacity(48);
    for (i, c) in text.chars().enumerate() {
        if i > 0 && i % 2 == 0 {
            out.push(separator);
        }
        out.push(c);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_of_hex_characters_looks_like_text() {
        assert!(looks_like_text(&Aes128Key::new(*b"2B7E151628AED2A6")));
        assert!(!looks_like_text(&Aes128Key::new([0x2B; 16].map(|x| x & 0xF))));
    }

    #[test]
    fn separators_stand_between_octets_only() {
        assert_eq!(separated("2B7E15", '-'), "2B-7E-15");
    }
}
