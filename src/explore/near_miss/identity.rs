//! Identities that nearly match: the mistake between an EUI that was sent and one that is claimed.
//!
//! No search with odds: both values are known. But likeness is no proof. EUIs of one maker share
//! most of their digits, and two nodes of one box may differ in a single one. That the frame is
//! this node's is proved by its MIC under this node's key; then the relation says what is wrong.

use super::{MistakeClass, digits::Digits, mistake::Mistake, sink::Wanted};
use crate::{
    id::{DevEui, Eui64, JoinEui},
    key::Aes128Key,
};

/// Kinds of mistake that make an EUI of an EUI, nearest first.
const CLASSES: [MistakeClass; 13] = [
    MistakeClass::Same,
    MistakeClass::OctetsReversed,
    MistakeClass::Reordered,
    MistakeClass::OneDigit,
    MistakeClass::NeighboursExchanged,
    MistakeClass::OneDigitReversed,
    MistakeClass::Exchanged,
    MistakeClass::Substituted,
    MistakeClass::DigitsShifted,
    MistakeClass::OneOctet,
    MistakeClass::OctetsShifted,
    MistakeClass::LookAlikes,
    MistakeClass::TwoDigits,
];

/// Returns the nearest mistake that makes the EUI sent of the one claimed, if there is one.
///
/// [`Mistake::Same`] where they are equal; so a palindrome, which reads the same from both ends,
/// is never called reversed.
///
/// ```
/// use handfast::{id::Eui64, explore::near_miss::eui_relation};
///
/// let record: Eui64 = "020000FFFE5629F1".parse()?;
/// let sent: Eui64 = "020000FFFE5619F1".parse()?;
/// assert_eq!(
///     eui_relation(sent, record).unwrap().of_eui("the record's DevEUI"),
///     "digit 13: the record's DevEUI has 2 where the node sends 1"
/// );
/// # Ok::<(), handfast::id::IdError>(())
/// ```
pub fn eui_relation(sent: Eui64, claimed: Eui64) -> Option<Mistake> {
    if let Some(mistake) = maker_changed(sent, claimed) {
        return Some(mistake);
    }
    let value = Digits::of_eui(sent.octets()).value;
    let claimed = Digits::of_eui(claimed.octets());
    let mut wanted = Wanted { value, found: None };
    for class in CLASSES {
        for piece in class.pieces(claimed.len) {
            class.offer(claimed, piece, &mut wanted);
            if wanted.found.is_some() {
                return wanted.found;
            }
        }
    }
    None
}

/// Returns how one key was changed as a whole to make the other: reversed, turned, rotated, inverted.
///
/// [`Mistake::Same`] where they are equal.
pub fn key_change(used: &Aes128Key, claimed: &Aes128Key) -> Option<Mistake> {
    let value = Digits::of_key(*used.expose()).value;
    let claimed = Digits::of_key(*claimed.expose());
    let mut wanted = Wanted { value, found: None };
    for class in [MistakeClass::Same, MistakeClass::OctetsReversed, MistakeClass::Reordered] {
        class.offer(claimed, [0; 3], &mut wanted);
        if wanted.found.is_some() {
            return wanted.found;
        }
    }
    None
}

/// What a maker's software changes when it makes 64 bits of 48: the local bit, the middle.
fn maker_changed(sent: Eui64, claimed: Eui64) -> Option<Mistake> {
    const FILLERS: [[u8; 2]; 3] = [[0xFF, 0xFE], [0xFF, 0xFF], [0, 0]];
    let ([s0, s1, s2, s3, s4, s_rest @ ..], [c0, c1, c2, c3, c4, c_rest @ ..]) =
        (sent.octets(), claimed.octets());
    let used = [s3, s4];
    let claimed = [c3, c4];
    if ([s1, s2], s_rest) != ([c1, c2], c_rest) {
        return None;
    }
    let fillers = FILLERS.contains(&used) && FILLERS.contains(&claimed);
    match s0 ^ c0 {
        0 if used != claimed && fillers => Some(Mistake::MiddleFiller { claimed, used }),
        0x02 if used == claimed => Some(Mistake::LocalBit),
        _ => None,
    }
}

/// What was done to a node's two EUIs together.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum PairMistake {
    /// Each stands where the other belongs.
    Exchanged,
    /// Each stands where the other belongs, and both with their octets reversed.
    ExchangedAndReversed,
    /// The DevEUI stands in both places.
    DevEuiTwice,
    /// The JoinEUI stands in both places.
    JoinEuiTwice,
}

impl PairMistake {
    /// Returns its stable name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Exchanged => "swapped",
            Self::ExchangedAndReversed => "exchanged-and-bytes-reversed",
            Self::DevEuiTwice => "dev-eui-twice",
            Self::JoinEuiTwice => "join-eui-twice",
        }
    }

    /// Returns the sentence; `claim` names who claims, as "the record".
    pub fn sentence(self, claim: &str) -> String {
        let what = match self {
            Self::Exchanged => "DevEUI for JoinEUI and JoinEUI for DevEUI",
            Self::ExchangedAndReversed => {
                "DevEUI for JoinEUI and JoinEUI for DevEUI, the bytes of both reversed"
            }
            Self::DevEuiTwice => "DevEUI in both places",
            Self::JoinEuiTwice => "JoinEUI in both places",
        };
        format!("the node sends {claim}'s {what}")
    }
}

/// Returns what was done to a node's two EUIs together, if it was one of these mistakes.
///
/// Nothing can be told where both claimed EUIs are equal, or where all is as claimed.
pub fn pair_relation(sent: (DevEui, JoinEui), claimed: (DevEui, JoinEui)) -> Option<PairMistake> {
    let (sent_dev, sent_join) = (sent.0.0, sent.1.0);
    let (dev, join) = (claimed.0.0, claimed.1.0);
    if dev == join || (sent_dev, sent_join) == (dev, join) {
        return None;
    }
    if (sent_dev, sent_join) == (join, dev) {
        return Some(PairMistake::Exchanged);
    }
    if (sent_dev, sent_join) == (join.bytes_reversed(), dev.bytes_reversed())
        // else both were only reversed, each in its own place
        && join.bytes_reversed() != dev
    {
        return Some(PairMistake::ExchangedAndReversed);
    }
    match (sent_dev == sent_join, sent_dev) {
        (true, twice) if twice == dev => Some(PairMistake::DevEuiTwice),
        (true, twice) if twice == join => Some(PairMistake::JoinEuiTwice),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_mistake_between_two_euis_is_named() {
        let claimed = "020000FFFE5629F1".parse().unwrap();
        for (sent, wanted) in [
            ("020000FFFE5629F1", "known-value"),
            ("F12956FEFF000002", "bytes-reversed"),
            ("1F9265EFFF000020", "digits-reversed"),
            ("200000FFEF65921F", "nibbles-exchanged"),
            ("FE5629F1020000FF", "halves-exchanged"),
            ("20000FFFE5629F10", "rotated"),
            ("020000FFFE5619F1", "one-digit"),
            ("000000FFFE5629F1", "local-bit"),
            ("020000FFFF5629F1", "middle-octets"),
            ("020000FFFE6529F1", "neighbours-exchanged"),
            ("F11956FEFF000002", "one-digit-and-bytes-reversed"),
            ("020000FFFEF62951", "digits-exchanged"),
            ("020000FFFEF12956", "octets-exchanged"),
            ("020000DDDE5629D1", "substituted"),
            ("020000FFFE629F17", "digit-dropped"),
            ("020000FFFE55629F", "digit-doubled"),
            ("020000FFFE5A629F", "digit-inserted"),
            ("020000FFFEA729F1", "one-octet"),
            ("020000FFFE29F1A5", "octet-dropped"),
            ("020000FFFEA55629", "octet-inserted"),
            ("020000FFFE565629", "octet-doubled"),
            ("02D0D0FFFE5629F1", "look-alikes"),
            ("0200A0FFFE562AF1", "two-digits"),
            ("FFFFFFFFFFFFFFFF", ""),
        ] {
            let sent: Eui64 = sent.parse().unwrap();
            let name = eui_relation(sent, claimed).map_or("", |mistake| mistake.name());
            assert_eq!(name, wanted, "{sent}");
        }
    }

    #[test]
    fn a_middle_of_zeros_is_a_filler_too() {
        let [sent, claimed] =
            ["02000000005629F1", "020000FFFE5629F1"].map(|text| text.parse().unwrap());
        assert_eq!(
            eui_relation(sent, claimed).unwrap().of_eui("the record's DevEUI"),
            "bytes 4 and 5: the record's DevEUI has FFFE where the node sends 0000"
        );
    }

    #[test]
    fn a_palindrome_is_never_called_reversed() {
        let palindrome: Eui64 = "0011110000111100".parse().unwrap();
        assert_eq!(eui_relation(palindrome, palindrome), Some(Mistake::Same));
    }

    #[test]
    fn exchanged_euis_are_told_from_reversed_ones() {
        let eui = |text: &str| text.parse::<Eui64>().unwrap();
        let (dev, join) = (eui("020000FFFE5629F1"), eui("020000FFFE0B2126"));
        let relation = |a: Eui64, b: Eui64| {
            pair_relation((DevEui(a), JoinEui(b)), (DevEui(dev), JoinEui(join)))
        };
        assert_eq!(relation(dev, join), None);
        assert_eq!(relation(dev.bytes_reversed(), join.bytes_reversed()), None);
        assert_eq!(relation(join, dev), Some(PairMistake::Exchanged));
        assert_eq!(
            relation(join.bytes_reversed(), dev.bytes_reversed()),
            Some(PairMistake::ExchangedAndReversed)
        );
        assert_eq!(relation(dev, dev), Some(PairMistake::DevEuiTwice));
        assert_eq!(relation(join, join), Some(PairMistake::JoinEuiTwice));
        // equal EUIs can be exchanged without anybody seeing it
        let same = (DevEui(dev), JoinEui(dev));
        assert_eq!(pair_relation(same, same), None);
    }
}
