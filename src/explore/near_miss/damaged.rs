//! A key with one digit too few, one too many, or one that cannot be read: all that it may be is tried.
//!
//! | digits | candidates |
//! |--------|------------|
//! | 31 | each of 16 digits at each of 32 places: 512 |
//! | 32, one of them unreadable | 16 |
//! | 33 | each one left out: 33 |

use super::{Certainty, Target, kernel::Message, odds};
use crate::{frame::Mic, key::Aes128Key};

/// The key that a damaged one is, as frames prove it.
#[derive(Clone, Debug)]
pub struct Completed {
    /// The key. Mute in `Debug`.
    pub key: Aes128Key,
    /// Which digit was put in, read or left out, from 1. Of equal neighbours it is the first.
    pub at: usize,
    /// How many distinct frames it signs.
    pub frames: usize,
    /// How many candidates there are.
    pub tried: u64,
    /// How many of them would sign the frames by accident.
    pub odds: f64,
    /// What these odds allow to say.
    pub certainty: Certainty,
}

/// Returns the only completion that signs every target; `None` where none or several do, or where more
/// than one digit is damaged. Each digit is 0 to 15, `None` where it cannot be read.
pub fn complete(digits: &[Option<u8>], targets: &[Target]) -> Option<Completed> {
    let mut frames: Vec<(Message, Mic)> = Vec::with_capacity(targets.len());
    for target in targets {
        let frame = (Message::new(&target.signed), target.mic);
        // A copy of a frame is no second witness.
        if !frames.contains(&frame) {
            frames.push(frame);
        }
    }
    if frames.is_empty() {
        return None;
    }
    let candidates = candidates(digits);
    let signs = |key: &u128| {
        frames.iter().all(|(message, mic)| message.mic_under(key.to_be_bytes()) == *mic)
    };
    let mut fitting = candidates.iter().filter(|(_, key)| signs(key));
    let &(at, key) = fitting.next()?;
    // A digit put in next to an equal one gives the same key: that is no second one.
    if fitting.any(|(_, other)| *other != key) {
        return None;
    }
    let tried = candidates.len() as u64;
    let odds = odds(tried, frames.len());
    let (frames, certainty) = (frames.len(), Certainty::of_probability(odds));
    Some(Completed { key: Aes128Key::new(key.to_be_bytes()), at, frames, tried, odds, certainty })
}

/// All keys that the digits may be, each with the place of the digit that was damaged.
fn candidates(digits: &[Option<u8>]) -> Vec<(usize, u128)> {
    let unreadable = digits.iter().position(Option::is_none);
    let number = |digits: &[Option<u8>]| {
        digits.iter().flatten().fold(0, |value: u128, digit| value << 4 | u128::from(digit & 0xF))
    };
    let with = |at: usize, digit: u8, put_in: &dyn Fn(&mut Vec<Option<u8>>)| {
        let mut digits = digits.to_vec();
        put_in(&mut digits);
        digits.insert(at, Some(digit));
        (at + 1, number(&digits))
    };
    match (digits.len(), unreadable) {
        (DIGITS, Some(at)) => (0..16)
            .map(|digit| {
                with(at, digit, &|digits| {
                    digits.remove(at);
                })
            })
            .filter(|_| digits.iter().flatten().count() + 1 == DIGITS)
            .collect(),
        (len, None) if len + 1 == DIGITS => (0..DIGITS)
            .flat_map(|at| (0..16).map(move |digit| (at, digit)))
            .map(|(at, digit)| with(at, digit, &|_| ()))
            .collect(),
        (len, None) if len == DIGITS + 1 => (0..len)
            .map(|at| {
                let mut digits = digits.to_vec();
                digits.remove(at);
                (at + 1, number(&digits))
            })
            .collect(),
        _ => Vec::new(),
    }
}

/// Hex digits of a key.
const DIGITS: usize = 32;

#[cfg(test)]
mod tests {
    use super::*;

    const KEY: u128 = 0x5a0c_11d2_e37f_4b88_96a1_c0de_face_0147;

    fn targets() -> Vec<Target> {
        [&b"orchard row 1"[..], b"orchard row 2"]
            .map(|signed| Target {
                signed: signed.to_vec(),
                mic: Message::new(signed).mic_under(KEY.to_be_bytes()),
            })
            .to_vec()
    }

    fn digits() -> Vec<Option<u8>> {
        KEY.to_be_bytes().into_iter().flat_map(|o| [Some(o >> 4), Some(o & 0xF)]).collect()
    }

    #[test]
    fn one_damaged_digit_anywhere_is_completed() {
        for at in 0..32 {
            let mut short = digits();
            short.remove(at);
            let mut unreadable = digits();
            unreadable[at] = None;
            let mut long = digits();
            long.insert(at, Some(9));
            for (damaged, tried) in [(short, 512), (unreadable, 16), (long, 33)] {
                let found = complete(&damaged, &targets()).unwrap();
                assert!(found.key.same_as(&Aes128Key::new(KEY.to_be_bytes())), "{at}");
                assert_eq!((found.frames, found.tried), (2, tried), "{at}");
                assert_eq!(found.certainty, Certainty::Certain);
            }
        }
    }

    #[test]
    fn two_damaged_digits_are_not_and_no_frame_proves_nothing() {
        let mut damaged = digits();
        damaged[3] = None;
        assert!(complete(&damaged, &[]).is_none());
        damaged[9] = None;
        assert!(complete(&damaged, &targets()).is_none());
        assert!(complete(&digits(), &targets()).is_none());
        assert!(complete(&[], &targets()).is_none());
    }

    #[test]
    fn another_key_is_not_completed() {
        let mut other = digits();
        other.swap(0, 5);
        other.remove(20);
        assert!(complete(&other, &targets()).is_none());
    }
}
