//! A frame as people write it: hex with whatever separators, or base64.
//!
//! A text that is both valid hex of even length and valid base64 is hex; `hex:` or `base64:` in
//! front decides. What is accepted although it is not quite right is reported beside the octets,
//! as a [`Leniency`].

use std::{borrow::Cow, fmt};

use base64::{
    Engine,
    alphabet::STANDARD,
    engine::{DecodePaddingMode, GeneralPurpose, GeneralPurposeConfig},
};

use crate::words::Count;

/// The octets of a frame, and how they were written.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct FrameText {
    /// The octets in the order sent.
    pub octets: Vec<u8>,
    /// How they were written.
    pub encoding: Encoding,
    /// What was accepted although it is not quite right.
    pub leniencies: Vec<Leniency>,
}

/// How octets are written as text.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Encoding {
    /// Two hex digits an octet.
    Hex,
    /// Base64 (RFC 4648), either alphabet.
    Base64,
}

impl Encoding {
    /// Returns `hex` or `base64`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Hex => "hex",
            Self::Base64 => "base64",
        }
    }
}

/// What was accepted although it is not quite right.
#[derive(Clone, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum Leniency {
    /// Base64 without all of its `=`.
    MissingPadding,
    /// The last base64 character carries bits that belong to no octet: often a text cut short.
    StrayLastBits,
    /// Base64 that uses `+` or `/` and `-` or `_`.
    MixedAlphabets,
    /// Base64 broken into lines.
    LineBreaks,
    /// Read as base64, but all save one character are hex digits: perhaps hex with a slip.
    NearlyHex(Box<TextError>),
}

impl fmt::Display for Leniency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::MissingPadding => f.write_str("base64 without its padding"),
            Self::StrayLastBits => {
                f.write_str("the last base64 character has bits to spare: perhaps cut short")
            }
            Self::MixedAlphabets => f.write_str("base64 that mixes the alphabets of + / and - _"),
            Self::LineBreaks => f.write_str("base64 broken into lines"),
            Self::NearlyHex(why) => write!(f, "read as base64, yet nearly hex: {why}"),
        }
    }
}

/// Why a text is no frame. Positions are in characters of the text given, from 1.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TextError {
    /// Nothing but spaces, separators or a prefix.
    #[error("no bytes: the text is empty")]
    Empty,
    /// A character that is neither a hex digit nor a separator.
    #[error("character {position} is {found:?}: a hex digit or a separator expected")]
    NotHex {
        /// Where.
        position: usize,
        /// What stands there.
        found: char,
    },
    /// A separator between the two digits of an octet.
    #[error(
        "character {position} is {found:?}: the second hex digit of byte {octet} expected, \
         two digits make a byte"
    )]
    SplitOctet {
        /// Where.
        position: usize,
        /// What stands there.
        found: char,
        /// Which octet, from 0.
        octet: usize,
    },
    /// An odd number of hex digits.
    #[error("{}, an odd number: half of the last byte is missing", Count(*.digits, "hex digit"))]
    OddDigits {
        /// How many there are.
        digits: usize,
    },
    /// A character that base64 does not have.
    #[error(
        "character {position} is {found:?}: a base64 character (A-Z a-z 0-9 + / or - _) expected"
    )]
    NotBase64 {
        /// Where.
        position: usize,
        /// What stands there.
        found: char,
    },
    /// `=` before the end, or more of them than the length calls for.
    #[error("character {position} is out of place: `=` may only fill up the last four characters")]
    Padding {
        /// Where.
        position: usize,
    },
    /// A number of base64 characters that no octets give.
    #[error("{characters} base64 characters: one too many or one too few, no bytes give so many")]
    Length {
        /// How many there are, `=` left out.
        characters: usize,
    },
}

impl TextError {
    /// Returns what a right text looks like, for a line of its own.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::Empty => {
                "write a frame as hex (40 DA BB 01 02 ...) or as base64 (QNq7AQI...); \
                 hex: or base64: in front decides"
            }
            Self::NotHex { .. } | Self::SplitOctet { .. } | Self::OddDigits { .. } => {
                "hex looks like 40DABB0102, 40-DA-BB-01-02, 0x40DABB0102 or {0x40, 0xDA, 0xBB}; \
                 if this is base64, write base64: in front"
            }
            Self::NotBase64 { .. } | Self::Padding { .. } | Self::Length { .. } => {
                "base64 looks like QNq7AQIAAQACx4c= and goes in groups of four characters; \
                 if this is hex, write hex: in front"
            }
        }
    }
}

/// Returns the octets of a frame written as hex or base64.
///
/// Hex: digits in any case; spaces, `-`, `:`, `,`, `;`, `.` and brackets between octets; `0x` or
/// `\x` in front of the whole or of each octet. Base64: either alphabet, padded or not.
///
/// ```
/// use handfast::intake::{Encoding, frame_text};
///
/// let frame = frame_text("{0x40, 0xDA, 0xBB}")?;
/// assert_eq!(frame.octets, [0x40, 0xDA, 0xBB]);
/// assert_eq!(frame_text("QNq7").map(|f| f.encoding)?, Encoding::Base64);
/// # Ok::<(), handfast::intake::TextError>(())
/// ```
///
/// # Errors
///
/// [`TextError`] when the text is neither, saying which character is wrong as the encoding that
/// the text resembles more.
pub fn frame_text(text: &str) -> Result<FrameText, TextError> {
    let body = text.trim_start();
    if let Some(hex) = strip_prefix_any_case(body, "hex:") {
        return hex_octets(hex, characters_before(text, hex)).map(FrameText::hex);
    }
    if let Some(base64) = strip_prefix_any_case(body, "base64:") {
        let first = characters_before(text, base64);
        return base64_octets(base64.trim_end(), first, Wrapped::Spaces);
    }
    let first = characters_before(text, body);
    let not_hex = match hex_octets(body, first) {
        Ok(octets) => return Ok(FrameText::hex(octets)),
        Err(TextError::Empty) => return Err(TextError::Empty),
        Err(error) => error,
    };
    match base64_octets(body.trim_end(), first, Wrapped::Lines) {
        Ok(mut frame) => {
            if misfits_of_hex(body) <= 1 && frame.octets.len() > 2 {
                frame.leniencies.push(Leniency::NearlyHex(Box::new(not_hex)));
            }
            Ok(frame)
        }
        Err(not_base64) => {
            let resembles_hex = misfits_of_hex(body) * 4 <= body.chars().count();
            Err(if resembles_hex { not_hex } else { not_base64 })
        }
    }
}

impl FrameText {
    const fn hex(octets: Vec<u8>) -> Self {
        Self { octets, encoding: Encoding::Hex, leniencies: Vec::new() }
    }
}

/// Reads the base64 of a capture, where nothing but base64 is expected.
pub(super) fn base64_member(text: &str) -> Result<(Vec<u8>, Vec<Leniency>), TextError> {
    // Most captures are strictly right; the careful way is for those that are not.
    if let Ok(octets) = STRICT.decode(text) {
        return Ok((octets, Vec::new()));
    }
    let body = text.trim();
    base64_octets(body, characters_before(text, body), Wrapped::Spaces)
        .map(|frame| (frame.octets, frame.leniencies))
}

/// Reads strict base64 of no more than the buffer's bytes; `None` for all else.
pub(super) fn short_base64<'b>(text: &str, buffer: &'b mut [u8]) -> Option<&'b [u8]> {
    let len = STRICT.decode_slice(text, buffer).ok()?;
    buffer.get(..len)
}

/// Where white space inside base64 is forgiven.
#[derive(Clone, Copy, Eq, PartialEq)]
enum Wrapped {
    /// Only around line ends: a text of words separated by spaces is no base64.
    Lines,
    /// Anywhere: somebody said that it is base64.
    Spaces,
}

fn hex_octets(text: &str, first: usize) -> Result<Vec<u8>, TextError> {
    // White space at the very end splits nothing: the digits were odd.
    let text = text.trim_end();
    let mut octets = Vec::with_capacity(text.len() / 2);
    let mut high = None;
    let mut characters = text.chars().enumerate().peekable();
    while let Some((i, found)) = characters.next() {
        let position = first + i + 1;
        let prefix = high.is_none()
            && matches!(found, '0' | '\\')
            && characters.next_if(|(_, next)| matches!(next, 'x' | 'X')).is_some();
        if prefix {
            continue;
        }
        let digit = found.to_digit(16).and_then(|d| u8::try_from(d).ok());
        match (digit, high) {
            (Some(digit), None) => high = Some(digit << 4),
            (Some(digit), Some(half)) => {
                octets.push(half | digit);
                high = None;
            }
            (None, _) if !separates_octets(found) => {
                return Err(TextError::NotHex { position, found });
            }
            (None, None) => {}
            (None, Some(_)) => {
                return Err(TextError::SplitOctet { position, found, octet: octets.len() });
            }
        }
    }
    match high {
        Some(_) => Err(TextError::OddDigits { digits: 2 * octets.len() + 1 }),
        None if octets.is_empty() => Err(TextError::Empty),
        None => Ok(octets),
    }
}

const fn separates_octets(c: char) -> bool {
    matches!(c, '-' | ':' | ',' | ';' | '.' | '{' | '}' | '[' | ']' | '(' | ')')
        || c.is_whitespace()
}

fn base64_octets(text: &str, first: usize, wrapped: Wrapped) -> Result<FrameText, TextError> {
    let mut digits = String::with_capacity(text.len());
    let mut padding = 0usize;
    let mut alphabets = (false, false);
    let mut leniencies = Vec::new();
    let lines_allowed = wrapped == Wrapped::Spaces || text.contains('\n');
    for (i, found) in text.chars().enumerate() {
        let position = first + i + 1;
        match found {
            '=' => {
                padding += 1;
                if padding > 2 {
                    return Err(TextError::Padding { position });
                }
            }
            c if c.is_whitespace() && lines_allowed => {
                if !leniencies.contains(&Leniency::LineBreaks) {
                    leniencies.push(Leniency::LineBreaks);
                }
            }
            '+' | '/' | '-' | '_' | 'A'..='Z' | 'a'..='z' | '0'..='9' => {
                if padding > 0 {
                    return Err(TextError::Padding { position });
                }
                alphabets.0 |= matches!(found, '+' | '/');
                alphabets.1 |= matches!(found, '-' | '_');
                digits.push(match found {
                    '-' => '+',
                    '_' => '/',
                    other => other,
                });
            }
            _ => return Err(TextError::NotBase64 { position, found }),
        }
    }
    let characters = digits.len();
    let wanted = match characters % 4 {
        0 => 0,
        1 => return Err(TextError::Length { characters }),
        rest => 4 - rest,
    };
    if characters == 0 {
        return Err(TextError::Empty);
    }
    if padding > wanted {
        return Err(TextError::Padding { position: first + text.chars().count() });
    }
    if padding < wanted {
        leniencies.push(Leniency::MissingPadding);
    }
    if alphabets == (true, true) {
        leniencies.push(Leniency::MixedAlphabets);
    }
    let octets = if let Ok(octets) = STRICT_UNPADDED.decode(&digits) {
        octets
    } else {
        leniencies.push(Leniency::StrayLastBits);
        LENIENT.decode(&digits).map_err(|_| TextError::Length { characters })?
    };
    Ok(FrameText { octets, encoding: Encoding::Base64, leniencies })
}

/// Counts the characters that no hex text has.
fn misfits_of_hex(text: &str) -> usize {
    text.chars().filter(|c| !c.is_ascii_hexdigit() && !separates_octets(*c)).count()
}

fn strip_prefix_any_case<'t>(text: &'t str, prefix: &str) -> Option<&'t str> {
    let (head, rest) = text.split_at_checked(prefix.len())?;
    head.eq_ignore_ascii_case(prefix).then_some(rest)
}

/// Counts the characters of `text` before its part `part`, which must reach the end of it or
/// be trimmed there alone.
fn characters_before(text: &str, part: &str) -> usize {
    let octets = part.as_ptr().addr().saturating_sub(text.as_ptr().addr());
    text.get(..octets).map_or(0, |head| head.chars().count())
}

/// Returns the text as found in an error: control characters must not reach a terminal.
pub(super) fn printable(text: &str) -> Cow<'_, str> {
    if text.chars().any(char::is_control) {
        Cow::Owned(text.escape_debug().to_string())
    } else {
        Cow::Borrowed(text)
    }
}

const CONFIG: GeneralPurposeConfig =
    GeneralPurposeConfig::new().with_decode_padding_mode(DecodePaddingMode::Indifferent);
const STRICT: GeneralPurpose = base64::engine::general_purpose::STANDARD;
const STRICT_UNPADDED: GeneralPurpose = GeneralPurpose::new(&STANDARD, CONFIG);
const LENIENT: GeneralPurpose =
    GeneralPurpose::new(&STANDARD, CONFIG.with_decode_allow_trailing_bits(true));

/// Returns a text without what colours it on a terminal.
pub(crate) fn without_colours(text: &str) -> Cow<'_, str> {
    if !text.contains(COLOUR) {
        return text.into();
    }
    let mut parts = text.split(COLOUR);
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let part = part.trim_start_matches(|c: char| c.is_ascii_digit() || c == ';');
        out += part.strip_prefix(|c: char| c.is_ascii_alphabetic()).unwrap_or(part);
    }
    out.into()
}

/// What begins a colour: control sequence introducer.
const COLOUR: &str = "\u{1b}[";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hex_takes_every_separator_that_people_use() {
        for text in [
            "40DABB",
            "40 da bb",
            "40-DA-BB",
            "40:da:bb",
            "40,da,bb",
            "0x40DABB",
            "0x40 0xDA 0xBB",
            "0x400xDA0xBB",
            "{0x40, 0xDA, 0xBB}",
            "{ 0x40, 0xDA, 0xBB, };",
            "[0x40,0xda,0xbb]",
            r"\x40\xda\xbb",
            "hex:40dabb",
            "HEX: 40DA BB",
            "  40dabb\r\n",
        ] {
            let frame = frame_text(text).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert_eq!(frame, FrameText::hex(vec![0x40, 0xDA, 0xBB]), "{text}");
        }
    }

    #[test]
    fn base64_is_taken_padded_or_not_in_both_alphabets() {
        let octets = vec![0xFB, 0xEF, 0xBE, 0xFF];
        for (text, leniencies) in [
            ("++++/w==", vec![]),
            ("----_w==", vec![]),
            ("++++/w", vec![Leniency::MissingPadding]),
            ("++++/w=", vec![Leniency::MissingPadding]),
            ("++++_w==", vec![Leniency::MixedAlphabets]),
            ("++++/x==", vec![Leniency::StrayLastBits]),
            ("base64:++++/w==", vec![]),
            ("++++\n/w==\n", vec![Leniency::LineBreaks]),
        ] {
            let frame = frame_text(text).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert_eq!(
                frame,
                FrameText { octets: octets.clone(), encoding: Encoding::Base64, leniencies },
                "{text}"
            );
        }
    }

    #[test]
    fn a_text_that_is_both_is_hex_unless_the_prefix_says_otherwise() {
        assert_eq!(frame_text("40dabb01").unwrap().octets, [0x40, 0xDA, 0xBB, 0x01]);
        let frame = frame_text("base64:40dabb01").unwrap();
        assert_eq!((frame.octets.len(), frame.encoding), (6, Encoding::Base64));
        // odd: only base64 is left, and said to be nearly hex
        let frame = frame_text("40dabb0").unwrap();
        assert_eq!(frame.encoding, Encoding::Base64);
        assert!(
            frame
                .leniencies
                .contains(&Leniency::NearlyHex(Box::new(TextError::OddDigits { digits: 7 })))
        );
    }

    #[test]
    fn hex_with_one_slip_is_never_taken_for_base64_in_silence() {
        let frame = frame_text("40dabb01O2000100").unwrap();
        assert_eq!(frame.encoding, Encoding::Base64);
        let slip = TextError::NotHex { position: 9, found: 'O' };
        assert_eq!(frame.leniencies, [Leniency::NearlyHex(Box::new(slip))]);
    }

    #[test]
    fn errors_name_the_character() {
        for (text, error) in [
            ("", TextError::Empty),
            (" \r\n", TextError::Empty),
            ("hex:", TextError::Empty),
            ("base64: ", TextError::Empty),
            ("{}", TextError::Empty),
            ("0x", TextError::Empty),
            ("40 da bg 00", TextError::NotHex { position: 8, found: 'g' }),
            ("  40 da bß", TextError::NotHex { position: 10, found: 'ß' }),
            ("40 d ab", TextError::SplitOctet { position: 5, found: ' ', octet: 1 }),
            ("40 da b", TextError::OddDigits { digits: 5 }),
            ("hex:40dab", TextError::OddDigits { digits: 5 }),
            ("hex:4zda", TextError::NotHex { position: 6, found: 'z' }),
            ("QNq7AQI*", TextError::NotBase64 { position: 8, found: '*' }),
            ("sensor in row nine", TextError::NotBase64 { position: 7, found: ' ' }),
            ("QN=q", TextError::Padding { position: 4 }),
            ("QNq7=", TextError::Padding { position: 5 }),
            ("zzzzz", TextError::Length { characters: 5 }),
        ] {
            let found = frame_text(text).unwrap_err();
            assert_eq!(found, error, "{text:?}");
            assert!(!found.hint().is_empty());
        }
    }

    #[test]
    fn a_control_character_is_printed_escaped() {
        let error = frame_text("40 \u{1b}[2J").unwrap_err();
        assert!(!error.to_string().contains('\u{1b}'), "{error}");
        assert_eq!(printable("a\u{1b}b"), "a\\u{1b}b");
    }
}
