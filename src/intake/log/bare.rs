//! Labelled in a line of words: hex in one piece or octet by octet, base64 behind a label.

use super::{
    super::{octets, text::base64_member},
    likely::Label,
    words,
};

/// Labelled in a line, and what names them.
#[derive(Debug, PartialEq)]
pub(super) struct Labelled {
    pub(super) octets: Vec<u8>,
    pub(super) label: Label,
}

/// Returns all that may be a frame by its form alone; `named` says what the text before octets calls them.
pub(super) fn find(line: &str, called: &dyn Fn(&str, &[u8]) -> Label) -> Vec<Labelled> {
    let mut out = Vec::new();
    let mut at = 0;
    // Where the last value of the line ended: what is behind it speaks of the next.
    let mut ended = 0;
    let secret = words::secret(line);
    while let Some(run) = next_run(line, at) {
        // `\\x40` begins with its stroke.
        let start = run - usize::from(line.get(..run).is_some_and(|text| text.ends_with('\\')));
        let rest = line.get(start..).unwrap_or_default();
        let before = line.get(..start).unwrap_or_default();
        let named = || base64(rest).filter(|(octets, _)| called(before, octets) > Label::None);
        let found =
            grouped(rest).or_else(|| in_one_piece(rest)).or_else(|| decimals(rest)).or_else(named);
        // Always behind the run, so that it ends.
        at = (start + found.as_ref().map_or_else(|| word(rest), |(_, len)| *len)).max(run + 1);
        let between = line.get(ended..start).unwrap_or_default();
        if found.is_some() || is_value(line.get(start..at).unwrap_or_default()) {
            ended = at;
        }
        if let Some((octets, _)) = found {
            let label = called(before, &octets);
            // A word that speaks of a key rules out what it names, whatever has the length of a key, and
            // all that nothing else names.
            let is_secret = secret.is_some_and(|end| end <= start)
                && (label == Label::None
                    || octets.len() == KEY
                    || words::secret(between).is_some());
            let other = is_secret || names_another_thing(before);
            let after = line.get(at..).unwrap_or_default();
            if label < Label::Frame && other || is_cut(before, after) {
                continue;
            }
            out.push(Labelled { octets, label });
            if out.len() == MOST {
                break;
            }
        }
    }
    out
}

/// The place of the next letter or digit that begins a word.
fn next_run(line: &str, from: usize) -> Option<usize> {
    let octets = line.as_bytes();
    (from..octets.len()).find(|at| {
        let before = at.checked_sub(1).and_then(|before| octets.get(before));
        octets.get(*at).is_some_and(u8::is_ascii_alphanumeric)
            && before.is_none_or(|c| !c.is_ascii_alphanumeric())
    })
}

/// Length of what is base64 by its letters, at the beginning; `None` where no frame is so long.
fn run(text: &str) -> Option<usize> {
    let inside = |c: &u8| c.is_ascii_alphanumeric() || matches!(c, b'+' | b'/' | b'_' | b'-');
    let end = text.bytes().take(2 * MAX + 1).take_while(inside).count();
    let padding = text.get(end..)?.bytes().take(2).take_while(|c| *c == b'=');
    Some(end + padding.count()).filter(|len| *len <= 2 * MAX)
}

/// Length of the word at the beginning.
fn word(text: &str) -> usize {
    text.find(|c: char| !c.is_ascii_alphanumeric()).unwrap_or(text.len())
}

/// `40DABB0102...` or `0x40DABB...`; returns the octets and the characters taken.
fn in_one_piece(text: &str) -> Option<(Vec<u8>, usize)> {
    let bare = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")).unwrap_or(text);
    let len = bare.find(|c: char| !c.is_ascii_alphanumeric()).unwrap_or(bare.len());
    let digits = bare.get(..len)?;
    let is_hex = digits.bytes().all(|c| c.is_ascii_hexdigit());
    // A long number is digits alone; a frame of twelve octets is hardly ever.
    let is_number = digits.bytes().all(|c| c.is_ascii_digit());
    if !is_hex || is_number || !(2 * MIN..=2 * MAX).contains(&len) {
        return None;
    }
    Some((hex::decode(digits).ok()?, len + text.len() - bare.len()))
}

/// `40 DA BB 01 02 ...`, `0x40, 0xDA, ...`, `\\x40\\xDA...`, with one separator throughout.
fn grouped(text: &str) -> Option<(Vec<u8>, usize)> {
    octets::run(text).filter(|(octets, _)| octets.len() >= MIN)
}

fn base64(text: &str) -> Option<(Vec<u8>, usize)> {
    let len = run(text)?;
    let word = text.get(..len)?;
    let of = |test: fn(&u8) -> bool| word.bytes().any(|c| test(&c));
    // A word of a language is of one case and without digits.
    let mixed = of(u8::is_ascii_lowercase) && of(u8::is_ascii_uppercase) && of(u8::is_ascii_digit);
    if !mixed || len < 16 {
        return None;
    }
    base64_member(word).ok().map(|(octets, _)| (octets, len))
}

/// Numbers up to 255, which are not all of two digits.
fn decimals(text: &str) -> Option<(Vec<u8>, usize)> {
    octets::decimals(text).filter(|(octets, _)| octets.len() >= MIN)
}

/// Whether a word is the value of something: a number of eight digits or more, an identifier.
fn is_value(word: &str) -> bool {
    word.len() >= 8 && word.bytes().all(|c| c.is_ascii_hexdigit())
}

/// Returns what names the octets behind a text.
pub(super) fn label(before: &str) -> Label {
    name(before).map_or(Label::None, Label::of)
}

/// Whether the word before octets names something that is no frame.
pub(super) fn names_another_thing(before: &str) -> bool {
    let Some(name) = name(before) else { return false };
    let small = name.to_ascii_lowercase();
    let known = words::meaning(name).is_some_and(|_| Label::of(name) == Label::None);
    known || small.ends_with("id") || OTHERS.iter().any(|word| small.contains(word))
}

/// The last word of a text, forms of writing left out.
fn name(before: &str) -> Option<&str> {
    let near = tail(before);
    let mut words = near.rsplit(|c: char| !c.is_ascii_alphanumeric() && !matches!(c, '_' | '-'));
    let is_number = |word: &str| word.bytes().all(|c| c.is_ascii_digit());
    words.find(|word| !is_number(word) && !WRITING.contains(&&*word.to_lowercase()))
}

/// Whether octets go on where the line, or whoever wrote it, left off.
fn is_cut(before: &str, after: &str) -> bool {
    let left_off = after.starts_with("...") || after.starts_with('\u{2026}');
    left_off || after.is_empty() && before.ends_with(['"', '\''])
}

fn tail(text: &str) -> &str {
    let mut from = text.len().saturating_sub(TAIL);
    while !text.is_char_boundary(from) {
        from += 1;
    }
    text.get(from..).unwrap_or_default()
}

const WRITING: &[&str] =
    &["hex", "base64", "b64", "octet", "octets", "byte", "bytes", "of", "is", "0x", "-", "_"];
/// What stands in the names of other octets.
const OTHERS: &[&str] = &[
    "eui",
    "addr",
    "nonce",
    "uuid",
    "hash",
    "sha",
    "mic",
    "session",
    "cert",
    "signature",
    "crc",
    "correlation",
    "trace",
    "span",
    "token",
    "ticket",
    "digest",
    "fingerprint",
    "commit",
    "etag",
];
/// Labelled of a line before a frame in which its name is looked for.
const TAIL: usize = 48;
/// Octets of a key.
const KEY: usize = 16;
/// Labelled of a frame.
const MIN: usize = 12;
const MAX: usize = 255;
/// Frames in one line.
const MOST: usize = 16;

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: &str = "40dabb0102800200022721029daeaf9ee9";

    fn found(line: &str) -> Vec<(Label, String)> {
        find(line, &|before, _| label(before))
            .into_iter()
            .map(|f| (f.label, hex::encode(f.octets)))
            .collect()
    }

    #[test]
    fn octets_are_found_however_they_are_written() {
        let spaced = "40 DA BB 01 02 80 02 00 02 27 21 02 9D AE AF 9E E9";
        for (line, label) in [
            (format!("08:00:03.210 rx: {FRAME}"), Label::OnAir),
            (format!("rx (hex) {} rssi -84", FRAME.to_uppercase()), Label::OnAir),
            (format!("payload=0x{FRAME};"), Label::Maybe),
            (format!("PHYPayload: {spaced} (17 bytes)"), Label::Frame),
            (format!("PHYPayload {}", spaced.replace(' ', "-")), Label::Frame),
            (format!("<{}>", spaced.replace(' ', ":")), Label::None),
            ("uplink QNq7AQKAAgACJyECna6vnuk= SF7BW125".to_owned(), Label::OnAir),
        ] {
            assert_eq!(found(&line), [(label, FRAME.to_owned())], "{line}");
        }
    }

    #[test]
    fn keys_words_and_numbers_are_no_octets() {
        for line in [
            "AppKey: 2b7e151628aed2a6abf7158809cf4f3c",
            "key 2B 7E 15 16 28 AE D2 A6 AB F7 15 88 09 CF 4F 3C",
            "nwk_s_key=2b7e151628aed2a6abf7158809cf4f3c rx",
            "session keys derived, NwkSKey then 60dabb0102800200022721029daeaf9ee9",
            "rx DevEUI 020000fffe001207",
            "rx counter 123456789012345678901234",
            "rx thequickbrownfoxjumpsoverthelazydog",
            "packet 02:00:00:ff:fe:a0:94:42",
            "rx 40dabb0102800200022721029daeaf9eeg",
            "request-id=40dabb0102800200022721029daeaf9ee9",
            "gateway session 40dabb0102800200022721029daeaf9ee9",
            "rx 40dabb0102800200022721029daeaf...",
            "phyPayload=40dabb0102800200022721029daeaf\u{2026} (17 bytes)",
            "rx {\"phyPayload\":\"40dabb0102800200022721029daeaf",
            "rx data 'QNq7AQKAAgACJyECna6v",
            "",
        ] {
            assert_eq!(found(line), [], "{line}");
        }
    }
}
