//! Slips of a hand: digits and octets wrong, exchanged, dropped, put in, or mistaken for another.

use super::{
    digits::{Digits, End, Unit},
    mistake::Mistake,
    sink::Sink,
};

/// One digit wrong.
pub(super) fn one_digit(claimed: Digits, sink: &mut impl Sink) {
    for at in 1..=claimed.len {
        for flip in 1..16 {
            sink.offer(claimed.flipped(Unit::Digit, at, flip), || {
                Mistake::OneDigit(claimed.changed(at, flip))
            });
        }
    }
}

/// One digit wrong and the octets reversed as well.
pub(super) fn one_digit_reversed(claimed: Digits, sink: &mut impl Sink) {
    for at in 1..=claimed.len {
        for flip in 1..16 {
            let candidate = claimed.reversed(claimed.flipped(Unit::Digit, at, flip));
            sink.offer(candidate, || Mistake::OneDigitReversed(claimed.changed(at, flip)));
        }
    }
}

/// Two neighbouring digits exchanged.
pub(super) fn neighbours(claimed: Digits, sink: &mut impl Sink) {
    for first in 1..claimed.len {
        sink.offer(claimed.exchanged(Unit::Digit, first, first + 1), || {
            Mistake::NeighboursExchanged { first }
        });
    }
}

/// Any two digits exchanged that are no neighbours, any two octets.
pub(super) fn exchanged(claimed: Digits, sink: &mut impl Sink) {
    for (unit, apart) in [(Unit::Octet, 1), (Unit::Digit, 2)] {
        for first in 1..=claimed.count(unit) {
            for second in first + apart..=claimed.count(unit) {
                sink.offer(claimed.exchanged(unit, first, second), || Mistake::Exchanged {
                    unit,
                    first,
                    second,
                });
            }
        }
    }
}

/// Every digit of one value replaced by one other value, where it stands more than once.
pub(super) fn substituted(claimed: Digits, sink: &mut impl Sink) {
    for from in 0..16 {
        let places: Vec<u8> =
            (1..=claimed.len).filter(|&at| claimed.unit(Unit::Digit, at) == from).collect();
        if places.len() < 2 {
            continue; // one digit wrong
        }
        for flip in 1..16 {
            let value = places.iter().fold(claimed.value, |value, &at| {
                Digits { value, ..claimed }.flipped(Unit::Digit, at, flip)
            });
            sink.offer(value, || Mistake::Substituted { claimed: from, used: from ^ flip });
        }
    }
}

/// One unit dropped and the gap closed, or one put in and the last pushed out; from either end.
pub(super) fn shifted(claimed: Digits, unit: Unit, sink: &mut impl Sink) {
    let last = claimed.count(unit);
    let highest = u8::MAX >> (8 - unit.bits());
    // Doubling before putting in just any unit: the nearer mistake names the candidate.
    for (lost, lost_at) in [(End::Last, last), (End::First, 1)] {
        let short = claimed.without(unit, lost_at);
        // positions move down by one where the first was lost
        let moved = u8::from(lost == End::First);
        for at in 1..last {
            let value = claimed.unit(unit, at + moved);
            sink.offer(claimed.with(short, unit, at, value), || Mistake::Doubled {
                unit,
                at: at + moved,
                lost,
            });
        }
    }
    for at in 1..=last {
        let short = claimed.without(unit, at);
        for (filled, filled_at) in [(End::Last, last), (End::First, 1)] {
            for with in 0..=highest {
                sink.offer(claimed.with(short, unit, filled_at, with), || Mistake::Dropped {
                    unit,
                    at,
                    filled,
                    with,
                });
            }
        }
    }
    for (lost, lost_at) in [(End::Last, last), (End::First, 1)] {
        let short = claimed.without(unit, lost_at);
        for at in 1..=last {
            for value in 0..=highest {
                sink.offer(claimed.with(short, unit, at, value), || Mistake::Inserted {
                    unit,
                    at,
                    value,
                    lost,
                });
            }
        }
    }
}

/// One octet wrong in both its digits.
pub(super) fn one_octet(claimed: Digits, sink: &mut impl Sink) {
    for at in 1..=claimed.count(Unit::Octet) {
        for flip in 0x11..=u8::MAX {
            if flip % 16 != 0 {
                let was = claimed.unit(Unit::Octet, at);
                sink.offer(claimed.flipped(Unit::Octet, at, flip), || Mistake::OneOctet {
                    at,
                    claimed: was,
                    used: was ^ flip,
                });
            }
        }
    }
}

/// Two digits wrong, the first of them at `first`.
pub(super) fn two_digits(claimed: Digits, first: u8, sink: &mut impl Sink) {
    for second in first + 1..=claimed.len {
        for a in 1..16 {
            let half = Digits { value: claimed.flipped(Unit::Digit, first, a), ..claimed };
            for b in 1..16 {
                sink.offer(half.flipped(Unit::Digit, second, b), || {
                    Mistake::TwoDigits([claimed.changed(first, a), claimed.changed(second, b)])
                });
            }
        }
    }
}

/// Three digits wrong, at these positions.
pub(super) fn three_digits(claimed: Digits, at: [u8; 3], sink: &mut impl Sink) {
    let [i, j, k] = at;
    for a in 1..16 {
        let one = Digits { value: claimed.flipped(Unit::Digit, i, a), ..claimed };
        for b in 1..16 {
            let two = Digits { value: one.flipped(Unit::Digit, j, b), ..claimed };
            for c in 1..16 {
                sink.offer(two.flipped(Unit::Digit, k, c), || {
                    Mistake::ThreeDigits([
                        claimed.changed(i, a),
                        claimed.changed(j, b),
                        claimed.changed(k, c),
                    ])
                });
            }
        }
    }
}
