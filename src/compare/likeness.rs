//! How two keys stand to each other, for eyes that may not see a digit of either.

use super::{
    relation::{Relation, key_relation},
    sample,
};
use crate::key::Aes128Key;

/// What two keys have to do with each other, in places and words.
#[derive(Clone, Debug, Eq, PartialEq)]
pub(crate) struct Likeness {
    /// The digits that differ, from 1, where the rest agrees.
    ///
    /// None where the keys are no slip apart: which digits of two unlike keys agree by chance would
    /// tell whoever knows one of them digits of the other.
    pub(crate) places: Vec<usize>,
    /// The same in words, as the end of a sentence that begins with the two.
    pub(crate) words: String,
}

/// Returns what two keys have to do with each other; `None` where they are the same.
pub(crate) fn key_likeness(
    [first, second]: [&Aes128Key; 2],
    [of_first, of_second]: [&str; 2],
) -> Option<Likeness> {
    let relation = key_relation(first, second);
    if relation == Relation::Same {
        return None;
    }
    // Everybody knows a sample: places that differ from it would tell all the other digits.
    let sample = [(first, of_first), (second, of_second)]
        .into_iter()
        .find_map(|(key, of)| Some((of, sample::of_key(key)?)));
    if let Some((of, what)) = sample {
        let words = format!("differ: the {of} has {what}");
        return Some(Likeness { places: Vec::new(), words });
    }
    let places: Vec<usize> = relation.marks().iter().map(|mark| mark.position).collect();
    let lacks = |who: &str, position| {
        format!("differ: the {who} lacks digit {position} of 32, and what follows has moved up")
    };
    let words = match (&relation, places.as_slice()) {
        (Relation::Exchanged(_), [one, two]) => {
            format!("have digits {one} and {two} of 32 swapped")
        }
        (_, [one]) => format!("differ in digit {one} of 32"),
        (_, [first @ .., last]) => {
            let first: Vec<String> = first.iter().map(ToString::to_string).collect();
            format!("differ in digits {} and {last} of 32", first.join(", "))
        }
        (Relation::Reversed, _) => "have their bytes in reverse order".into(),
        (Relation::Changed(mistake), _) => format!(
            "are one key changed: the {of_first} has the {of_second}'s with {}",
            mistake.change().unwrap_or_default()
        ),
        (Relation::FirstIsText, _) => {
            format!("differ: the {of_first} has the characters of the {of_second}'s as bytes")
        }
        (Relation::SecondIsText, _) => {
            format!("differ: the {of_second} has the characters of the {of_first}'s as bytes")
        }
        (Relation::SecondLacks { position }, _) => lacks(of_second, *position),
        (Relation::FirstLacks { position }, _) => lacks(of_first, *position),
        _ => "differ, and have no likeness".into(),
    };
    Some(Likeness { places, words })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn likeness(first: &str, second: &str) -> Option<Likeness> {
        let (first, second) = (first.parse().unwrap(), second.parse().unwrap());
        key_likeness([&first, &second], ["firmware", "record"])
    }

    const KEY: &str = "e7404c0774d8270b9b62b50c9ffd13dd";

    #[test]
    fn a_slip_is_told_by_its_places() {
        assert_eq!(likeness(KEY, KEY), None);
        let slip = likeness(KEY, "e7404c07748d270b9b62b50c9ffd13dd").unwrap();
        assert_eq!(slip.places, [11, 12]);
        assert_eq!(slip.words, "have digits 11 and 12 of 32 swapped");
        let slip = likeness(KEY, "f7404c0774d8270b9b62b50c9ffd13de").unwrap();
        assert_eq!(slip.words, "differ in digits 1 and 32 of 32");
    }

    #[test]
    fn unlike_keys_and_samples_have_no_places() {
        // 16 digits of the two agree; which ones is nobody's business.
        let half = likeness(KEY, "e7404c0774d8270b0000000000000000").unwrap();
        assert_eq!((half.places.len(), half.words.as_str()), (0, "differ, and have no likeness"));
        let sample =
            likeness("2b7e151628aed2a6abf7158809cf4f3c", "2b7e151628aed2a6abf7158809cf4f3d");
        let sample = sample.unwrap();
        assert!(sample.places.is_empty(), "{sample:?}");
        assert!(sample.words.starts_with("differ: the firmware has "), "{sample:?}");
        // The other side's sample tells as much.
        let other =
            likeness("2b7e151628aed2a6abf7158809cf4f3d", "2b7e151628aed2a6abf7158809cf4f3c");
        let other = other.unwrap();
        assert!(other.places.is_empty(), "{other:?}");
        assert!(other.words.starts_with("differ: the record has "), "{other:?}");
        let turned = likeness(KEY, "dd13fd9f0cb5629b0b27d874074c40e7").unwrap();
        assert_eq!(
            (turned.places.len(), turned.words.as_str()),
            (0, "have their bytes in reverse order")
        );
    }
}
