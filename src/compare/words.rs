//! Words that several checks use.

use super::relation::{DigitMark, Relation};
use crate::roster::ClaimKind;

/// Returns `the firmware`, `the record` or `the label`.
pub(super) const fn the(claim: ClaimKind) -> &'static str {
    match claim {
        ClaimKind::Firmware => "the firmware",
        ClaimKind::Record => "the record",
        ClaimKind::Label => "the label",
    }
}

/// Returns a member's name as the standard spells it.
pub(super) fn spelt(member: &str) -> &'static str {
    SPELT.iter().find(|(name, _)| *name == member).map_or("value", |(_, spelt)| spelt)
}

/// Returns `digit 14 of 32 differs: the record has B, the firmware 8`.
pub(super) fn slip(relation: &Relation, first: &str, second: &str, digits: usize) -> String {
    match relation {
        Relation::Digits(marks) => differing(marks, first, second, digits),
        Relation::Exchanged([one, two]) => format!(
            "digits {} and {} of {digits} are swapped: {first} has {}{}, {second} {}{}",
            one.position, two.position, one.first, two.first, one.second, two.second
        ),
        Relation::SecondLacks { position } => format!(
            "{second} lacks digit {position} of {digits}, and all that follow have moved up"
        ),
        Relation::FirstLacks { position } => {
            format!("{first} lacks digit {position} of {digits}, and all that follow have moved up")
        }
        Relation::Reversed => "the bytes are in reverse order".into(),
        Relation::Changed(mistake) => {
            format!("{first} has {second}'s with {}", mistake.change().unwrap_or_default())
        }
        Relation::FirstIsText => format!("{first} has the characters of {second}'s as bytes"),
        Relation::SecondIsText => format!("{second} has the characters of {first}'s as bytes"),
        Relation::Same => "they are the same".into(),
        Relation::Unrelated => "they have no likeness".into(),
    }
}

fn differing(marks: &[DigitMark], first: &str, second: &str, digits: usize) -> String {
    if let [mark] = marks {
        return format!(
            "digit {} of {digits} differs: {}",
            mark.position,
            has(mark, first, second)
        );
    }
    let positions = list(marks.iter().map(|mark| mark.position.to_string()));
    let has = list(marks.iter().map(|mark| format!("{} for {}", mark.first, mark.second)));
    format!("digits {positions} of {digits} differ: {first} has {has} of {second}")
}

fn has(mark: &DigitMark, first: &str, second: &str) -> String {
    format!("{first} has {}, {second} {}", mark.first, mark.second)
}

/// Returns `a, b and c`.
pub(super) fn list(parts: impl IntoIterator<Item = String>) -> String {
    let mut parts: Vec<String> = parts.into_iter().collect();
    let Some(last) = parts.pop() else { return String::new() };
    if parts.is_empty() { last } else { format!("{} and {last}", parts.join(", ")) }
}

/// Returns the first names of so many, and how many more there are.
pub(super) fn names(first: &[String], total: usize) -> String {
    match total.saturating_sub(first.len()) {
        0 => list(first.iter().cloned()),
        more => format!("{} and {more} more", first.join(", ")),
    }
}

const SPELT: &[(&str, &str)] = &[
    ("dev-eui", "DevEUI"),
    ("join-eui", "JoinEUI"),
    ("app-key", "AppKey"),
    ("nwk-key", "NwkKey"),
    ("gen-app-key", "GenAppKey"),
    ("nwk-s-key", "NwkSKey"),
    ("app-s-key", "AppSKey"),
    ("f-nwk-s-int-key", "FNwkSIntKey"),
    ("s-nwk-s-int-key", "SNwkSIntKey"),
    ("nwk-s-enc-key", "NwkSEncKey"),
    ("dev-addr", "DevAddr"),
    ("net-id", "NetID"),
    ("mac-version", "MAC version"),
    ("region", "region"),
    ("sub-band", "sub-band"),
    ("channel-mask", "channel mask"),
    ("class", "class"),
    ("activation", "activation"),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_is_told_by_its_place() {
        let mark = |position, first, second| DigitMark { position, first, second };
        let one = Relation::Digits(vec![mark(14, 'B', '8')]);
        assert_eq!(
            slip(&one, "the record", "the firmware", 32),
            "digit 14 of 32 differs: the record has B, the firmware 8"
        );
        let two = Relation::Digits(vec![mark(1, 'B', '8'), mark(3, 'C', 'G')]);
        assert_eq!(
            slip(&two, "the record", "the firmware", 32),
            "digits 1 and 3 of 32 differ: the record has B for 8 and C for G of the firmware"
        );
        let two = ["a".to_owned(), "b".to_owned()];
        assert_eq!((names(&two, 2), names(&two, 6)), ("a and b".into(), "a, b and 4 more".into()));
    }
}
