//! What the words around octets say of them: what they are, how many, whether they are a secret.

use super::{
    bare,
    likely::{Label, is_lawful_alone},
    words::{self, Meaning, meaning},
};
use crate::frame::decode;

/// Returns whether octets by themselves may be a frame.
pub(in crate::intake) fn is_lawful_octets(octets: &[u8]) -> bool {
    is_lawful_alone(&decode(octets))
}

/// Returns whether words speak of a key.
pub(in crate::intake) fn speaks_of_a_secret(text: &str) -> bool {
    words::secret(text).is_some()
}

/// Returns what a line of words calls the octets of the next one.
pub(super) fn label(text: &str) -> Label {
    if speaks_of_a_secret(text) || bare::names_another_thing(text) {
        return Label::None;
    }
    let mut words = text.split(|c: char| !c.is_ascii_alphanumeric());
    let on_air = words.any(|word| meaning(word) == Some(Meaning::OnAir));
    bare::label(text).max(if on_air { Label::OnAir } else { Label::None })
}

/// Returns how many octets words state: `23 octets`, `(17 bytes)`, `phy[22]`.
pub(in crate::intake) fn stated_size(text: &str) -> Option<usize> {
    let cut = |c: char| !c.is_ascii_alphanumeric() && !matches!(c, '[' | ']' | '.');
    let mut before = "";
    for word in text.split(cut).filter(|word| !word.is_empty()) {
        if UNITS.iter().any(|unit| word.eq_ignore_ascii_case(unit))
            && let Ok(size) = before.parse()
        {
            return Some(size);
        }
        before = word;
    }
    let (_, inner) = text.rsplit_once('[')?;
    let named = text.trim_end_matches(inner).ends_with('[');
    inner.split_once(']').filter(|_| named)?.0.parse().ok()
}

const UNITS: [&str; 4] = ["octets", "octet", "bytes", "byte"];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_stated_in_words() {
        for (text, size) in [
            ("received 17 bytes:", Some(17)),
            ("Transmit buffer (23 bytes), SF9BW125", Some(23)),
            ("static const uint8_t phy[22] = {", Some(22)),
            ("868.1 MHz", None),
            ("1.5 bytes", None),
            ("list[]", None),
            ("bytes 23", None),
        ] {
            assert_eq!(stated_size(text), size, "{text}");
        }
    }

    #[test]
    fn a_line_names_the_octets_of_the_next() {
        for (text, wanted) in [
            ("packet of 17 bytes taken", Label::OnAir),
            ("static const uint8_t phy[22] = {", Label::Frame),
            ("CONFIRMED UPLINK FROM THE NODE:", Label::OnAir),
            ("static const uint8_t APPKEY[16] = {", Label::None),
            ("uplink from the node with the DevEUI", Label::None),
            ("the light blinks twice", Label::None),
            ("", Label::None),
        ] {
            assert_eq!(label(text), wanted, "{text}");
        }
    }
}
