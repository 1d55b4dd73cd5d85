//! How one value could have come from another: the slips of hands and of programs.
//!
//! These are the few relations that two values side by side can show. [`eui_relation`] and
//! [`key_relation`] are the whole door of this file, so that a richer search can take its place.

use zeroize::Zeroizing;

use crate::{
    explore::near_miss::{Mistake, Nature, key_change},
    id::Eui64,
    key::Aes128Key,
};

/// A digit that differs.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct DigitMark {
    /// Which digit, from 1.
    pub position: usize,
    /// What the first side has there.
    pub first: char,
    /// What the second side has there.
    pub second: char,
}

/// What leads from the first value to the second.
#[derive(Clone, Debug, Eq, PartialEq)]
pub(super) enum Relation {
    Same,
    /// The octets in reverse order.
    Reversed,
    /// The first is the second changed as a whole in another way.
    Changed(Mistake),
    /// The first is the ASCII text of the second's first half, taken as octets.
    FirstIsText,
    /// The second is the ASCII text of the first's first half.
    SecondIsText,
    /// A few digits differ.
    Digits(Vec<DigitMark>),
    /// Two neighbouring digits are exchanged.
    Exchanged([DigitMark; 2]),
    /// The second lacks this digit of the first, and what follows has moved up.
    SecondLacks {
        position: usize,
    },
    /// The first lacks this digit of the second.
    FirstLacks {
        position: usize,
    },
    Unrelated,
}

impl Relation {
    /// Returns whether somebody who types could have made it.
    pub(super) const fn is_typing(&self) -> bool {
        matches!(self.nature(), Some(Nature::Typed))
    }

    /// Returns what was done to the value; `None` where the two have no likeness.
    pub(super) const fn nature(&self) -> Option<Nature> {
        Some(match self {
            Self::Same => Nature::Same,
            Self::Reversed => Nature::Turned,
            Self::Changed(mistake) => mistake.nature(),
            Self::FirstIsText | Self::SecondIsText => Nature::Text,
            Self::Digits(_)
            | Self::Exchanged(_)
            | Self::SecondLacks { .. }
            | Self::FirstLacks { .. } => Nature::Typed,
            Self::Unrelated => return None,
        })
    }

    /// Returns the digits to point at.
    pub(super) fn marks(&self) -> Vec<DigitMark> {
        match self {
            Self::Digits(marks) => marks.clone(),
            Self::Exchanged(marks) => marks.to_vec(),
            _ => Vec::new(),
        }
    }
}

/// Returns what leads from one EUI to the other.
pub(super) fn eui_relation(first: Eui64, second: Eui64) -> Relation {
    let (a, b) = (first.octets(), second.octets());
    if a == b {
        Relation::Same
    } else if first.bytes_reversed() == second {
        Relation::Reversed
    } else {
        typing(&a, &b, MOST_EUI_DIGITS).unwrap_or(Relation::Unrelated)
    }
}

/// Returns what leads from one key to the other.
pub(super) fn key_relation(first: &Aes128Key, second: &Aes128Key) -> Relation {
    let (a, b) = (first.expose(), second.expose());
    match key_change(first, second) {
        Some(Mistake::Same) => return Relation::Same,
        Some(Mistake::OctetsReversed) => return Relation::Reversed,
        Some(mistake) => return Relation::Changed(mistake),
        None => {}
    }
    if is_text_of(a, b) {
        Relation::FirstIsText
    } else if is_text_of(b, a) {
        Relation::SecondIsText
    } else {
        typing(a, b, MOST_KEY_DIGITS).unwrap_or(Relation::Unrelated)
    }
}

/// Returns whether the octets are the characters that the first half of the value is written with.
fn is_text_of(octets: &[u8; 16], value: &[u8; 16]) -> bool {
    let text = Zeroizing::new(hex::encode(value));
    let half = text.as_bytes().iter().take(16);
    octets.iter().zip(half).all(|(octet, c)| octet.to_ascii_lowercase() == *c)
}

fn typing(a: &[u8], b: &[u8], most: usize) -> Option<Relation> {
    let (a, b) = (digits(a), digits(b));
    let marks: Vec<DigitMark> = a
        .iter()
        .zip(b.iter())
        .enumerate()
        .filter(|(_, (x, y))| x != y)
        .map(|(i, (x, y))| DigitMark { position: i + 1, first: shown(*x), second: shown(*y) })
        .collect();
    if let [one, two] = marks.as_slice() {
        let neighbours = one.position + 1 == two.position;
        if neighbours && one.first == two.second && one.second == two.first {
            return Some(Relation::Exchanged([*one, *two]));
        }
    }
    if marks.len() <= most {
        return Some(Relation::Digits(marks));
    }
    let start = marks.first()?.position - 1;
    let moved = |longer: &[u8], shorter: &[u8]| {
        let lost = longer.get(start + 1..)?;
        let kept = shorter.get(start..shorter.len().checked_sub(1)?)?;
        // what was moved must be long enough not to fit by accident
        (lost == kept && lost.len() >= LEAST_MOVED).then_some(start + 1)
    };
    moved(&a, &b)
        .map(|position| Relation::SecondLacks { position })
        .or_else(|| moved(&b, &a).map(|position| Relation::FirstLacks { position }))
}

fn digits(octets: &[u8]) -> Zeroizing<Vec<u8>> {
    Zeroizing::new(octets.iter().flat_map(|octet| [octet >> 4, octet & 0xF]).collect())
}

fn shown(digit: u8) -> char {
    char::from_digit(u32::from(digit), 16).unwrap_or('?').to_ascii_uppercase()
}

const MOST_EUI_DIGITS: usize = 2;
const MOST_KEY_DIGITS: usize = 3;
const LEAST_MOVED: usize = 3;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::explore::near_miss::Order;

    fn eui(a: &str, b: &str) -> Relation {
        eui_relation(a.parse().unwrap(), b.parse().unwrap())
    }

    fn key(a: &str, b: &str) -> Relation {
        key_relation(&a.parse().unwrap(), &b.parse().unwrap())
    }

    const EUI: &str = "020000fffe1a2b3c";
    const KEY: &str = "5a0c11d2e37f4b8896a1c0deface0147";

    #[test]
    fn every_slip_is_known_and_more_is_unrelated() {
        assert_eq!(eui(EUI, EUI), Relation::Same);
        assert_eq!(eui(EUI, "3c2b1afeff000002"), Relation::Reversed);
        let mark = |position, first, second| DigitMark { position, first, second };
        assert_eq!(eui(EUI, "020000fffe1a2b3d"), Relation::Digits(vec![mark(16, 'C', 'D')]));
        assert_eq!(
            eui(EUI, "020000fffea12b3c"),
            Relation::Exchanged([mark(11, '1', 'A'), mark(12, 'A', '1')])
        );
        assert_eq!(eui(EUI, "020000fffea02b3d"), Relation::Unrelated, "three digits");
        assert_eq!(eui(EUI, "020000fffe12b3c0"), Relation::SecondLacks { position: 12 });
        assert_eq!(eui("020000fffe12b3c0", EUI), Relation::FirstLacks { position: 12 });
    }

    #[test]
    fn keys_have_slips_of_their_own() {
        assert_eq!(key(KEY, "4701cefadec0a196884b7fe3d2110c5a"), Relation::Reversed);
        let changed = |order| Relation::Changed(Mistake::Reordered(order));
        assert_eq!(key(KEY, "a5c0112d3ef7b488691a0cedafec1074"), changed(Order::Nibbles));
        assert_eq!(key(KEY, "d2110c5a884b7fe3dec0a1964701cefa"), changed(Order::OctetsIn32));
        assert_eq!(key(KEY, "a5f3ee2d1c80b477695e3f210531feb8"), changed(Order::Inverted));
        let rotated = Relation::Changed(Mistake::Rotated { digits: 3 });
        assert_eq!(key("c11d2e37f4b8896a1c0deface01475a0", KEY), rotated);
        let text = hex::encode("5A0C11D2E37F4B88");
        assert_eq!(key(&text, KEY), Relation::FirstIsText);
        assert_eq!(key(KEY, &text), Relation::SecondIsText);
        assert!(
            matches!(key(KEY, "5b0c11d2e37f4b8896a1c0deface0100"), Relation::Digits(m) if m.len() == 3)
        );
        assert_eq!(key(KEY, "5b0c11d2e37f4b8896a1c0deface1000"), Relation::Unrelated);
        assert_eq!(key(KEY, "00112233445566778899aabbccddee00"), Relation::Unrelated);
    }
}
