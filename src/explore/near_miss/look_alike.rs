//! Digits that look alike on a label or a screen, several of them at once.

use super::{
    digits::{Digits, Unit},
    mistake::Mistake,
    sink::Sink,
};

/// Pairs that eyes mistake for each other: printed, scratched, or written by hand.
const PAIRS: [[u8; 2]; 15] = [
    [0x8, 0xB],
    [0x0, 0xD],
    [0x6, 0xB],
    [0x1, 0x7],
    [0xE, 0xF],
    [0x0, 0xC],
    [0x3, 0x8],
    [0x5, 0x6],
    [0x0, 0x8],
    [0x4, 0x9],
    [0xC, 0xE],
    [0xB, 0xD],
    [0x6, 0x8],
    [0x4, 0xA],
    [0x3, 0x5],
];

/// More places of one pair than this are only tried in twos and threes: 2 to this many candidates.
const MOST_PLACES: usize = 12;

/// Offers the mistakes whose first wrong digit stands at `first`: any number of digits of one
/// pair, and any two or three digits whatever their pairs.
pub(super) fn offer(claimed: Digits, first: u8, sink: &mut impl Sink) {
    let seen = claimed.unit(Unit::Digit, first);
    for pair in PAIRS {
        if pair.contains(&seen) {
            of_one_pair(claimed, first, pair, sink);
        }
    }
    let later: Vec<(u8, u8)> =
        (first + 1..=claimed.len).flat_map(|at| flips(claimed, at)).collect();
    for one in flips(claimed, first) {
        for (i, &two) in later.iter().enumerate() {
            try_flips(claimed, &[one, two], sink);
            for &three in later.iter().skip(i + 1).filter(|three| three.0 != two.0) {
                try_flips(claimed, &[one, two, three], sink);
            }
        }
    }
}

/// Four and more digits that belong to one pair; fewer are among the twos and threes.
fn of_one_pair(claimed: Digits, first: u8, pair: [u8; 2], sink: &mut impl Sink) {
    let [a, b] = pair;
    let later: Vec<u8> = (first + 1..=claimed.len)
        .filter(|&at| pair.contains(&claimed.unit(Unit::Digit, at)))
        .collect();
    if later.len() >= MOST_PLACES {
        return;
    }
    for subset in 0u32..1 << later.len() {
        if subset.count_ones() >= 3 {
            let chosen = later.iter().enumerate().filter(|(i, _)| subset >> i & 1 == 1);
            let flips: Vec<(u8, u8)> =
                std::iter::once((first, a ^ b)).chain(chosen.map(|(_, &at)| (at, a ^ b))).collect();
            try_flips(claimed, &flips, sink);
        }
    }
}

/// Which flips turn the digit at a position into one that looks like it.
fn flips(claimed: Digits, at: u8) -> impl Iterator<Item = (u8, u8)> {
    let seen = claimed.unit(Unit::Digit, at);
    PAIRS.into_iter().filter(move |pair| pair.contains(&seen)).map(move |[a, b]| (at, a ^ b))
}

fn try_flips(claimed: Digits, flips: &[(u8, u8)], sink: &mut impl Sink) {
    let value = flips.iter().fold(claimed.value, |value, &(at, flip)| {
        Digits { value, ..claimed }.flipped(Unit::Digit, at, flip)
    });
    sink.offer(value, || {
        Mistake::LookAlikes(flips.iter().map(|&(at, flip)| claimed.changed(at, flip)).collect())
    });
}

#[cfg(test)]
mod tests {
    use super::{super::sink::Counter, *};

    fn candidates(value: u128) -> u64 {
        let mut counter = Counter::default();
        for first in 1..=32 {
            offer(Digits { value, len: 32 }, first, &mut counter);
        }
        counter.0
    }

    #[test]
    fn the_candidates_stay_few_whatever_the_key() {
        assert!(candidates(0x2b7e_1516_28ae_d2a6_abf7_1588_09cf_4f3c) < 60_000);
        for same in 0..16u8 {
            let worst = candidates(u128::from_be_bytes([same * 0x11; 16]));
            assert!(worst < 400_000, "{same:X}: {worst}");
        }
        assert!(candidates(0x8b8b_8b8b_8b8b_8b8b_0606_0606_0606_0606) < 400_000);
    }

    #[test]
    fn no_two_pairs_are_the_same() {
        for (i, [a, b]) in PAIRS.iter().enumerate() {
            assert!(a < b);
            assert!(!PAIRS[i + 1..].contains(&[*a, *b]));
        }
    }
}
