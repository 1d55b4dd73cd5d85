//! A gateway's two clocks: that of its statistics, and the counter of its radio.

use jiff::Timestamp;

use crate::{
    intake::Stat,
    trace::{Moment, Spread},
};

/// Wall time and counter may differ by this much between two frames before the counter is called
/// restarted: crystals differ by some 50 ppm, and datagrams are late by some hundred milliseconds.
const CLOCK_SLACK_US: i64 = 3_000_000;
/// Radios that are told apart under one EUI.
const MOST_RADIOS: usize = 4;
/// Changes from one radio to another whose places are kept.
const MOST_CHANGES: usize = 8;

/// The time in a gateway's statistics less that of the capture.
#[derive(Clone, Debug, Default)]
pub struct StatClock {
    /// When each report was captured, and by how many microseconds its time is ahead.
    pub ahead: Spread<(Moment, i64)>,
    /// The least and the most of these.
    pub range: Option<(i64, i64)>,
}

impl StatClock {
    pub(super) fn report(&mut self, moment: Moment, stat: &Stat) {
        let (Some(at), Some(told)) = (moment.us(), stat.time.map(Timestamp::as_microsecond)) else {
            return;
        };
        let ahead = told - at;
        self.ahead.push((moment, ahead));
        let (low, high) = self.range.unwrap_or((ahead, ahead));
        self.range = Some((low.min(ahead), high.max(ahead)));
    }
}

/// The radios that send under one EUI, told apart by their counters.
///
/// Arrival less counter is a line that hardly moves. Another line is another radio, or the same one started
/// again: then the old line never comes back.
#[derive(Clone, Debug, Default)]
pub struct Radios {
    /// Each of them, in the order met.
    pub all: Vec<Radio>,
    /// How often a frame is of another radio than the one before it, and of one that was there before.
    pub returns: u64,
    /// The first of these: the frame before, and the frame.
    pub changes: Vec<(Moment, Moment)>,
    last: Option<(usize, Moment)>,
}

/// A radio, by the line of its counter.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Radio {
    /// Frames.
    pub frames: u64,
    /// The last frame's arrival less its counter, microseconds, modulo 2^32.
    pub offset: u32,
    /// The first frame, and the last.
    pub span: (Moment, Moment),
}

impl Radios {
    pub(super) fn heard(&mut self, moment: Moment, tmst: u32) {
        let Some(at) = moment.us() else { return };
        // Modulo 2^32 is what is wanted.
        let offset = u32::try_from(at.rem_euclid(1 << 32)).unwrap_or_default().wrapping_sub(tmst);
        let own = |radio: &Radio| {
            let passed = moment.since(radio.span.1).unwrap_or_default();
            let apart = i64::from(offset.wrapping_sub(radio.offset));
            near_zero(apart, passed)
        };
        let known = self.all.iter().position(own);
        let place = match known {
            Some(place) => place,
            None if self.all.len() < MOST_RADIOS => {
                self.all.push(Radio { frames: 0, offset, span: (moment, moment) });
                self.all.len() - 1
            }
            // A counter that starts again and again: the oldest line is over.
            None => {
                self.all.remove(0);
                self.all.push(Radio { frames: 0, offset, span: (moment, moment) });
                self.last = None;
                self.all.len() - 1
            }
        };
        if let Some(radio) = self.all.get_mut(place) {
            radio.frames += 1;
            radio.offset = offset;
            radio.span.1 = moment;
        }
        if let Some((before, last)) = self.last
            && before != place
        {
            self.returns += u64::from(known.is_some());
            if self.changes.len() < MOST_CHANGES {
                self.changes.push((last, moment));
            }
        }
        self.last = Some((place, moment));
    }
}

/// Whether `counted`, known modulo 2^32, can be what a counter says after `passed` microseconds.
pub(super) fn fits(passed: i64, counted: i64) -> bool {
    near_zero(passed - counted, passed)
}

/// Whether a difference, known modulo 2^32, is no more than two clocks have after `passed` microseconds.
fn near_zero(apart: i64, passed: i64) -> bool {
    const WRAP: i64 = 1 << 32;
    // One microsecond in 10 000 for the two clocks, on top of the slack.
    let slack = CLOCK_SLACK_US + passed.abs() / 10_000;
    if slack >= WRAP / 2 {
        return true;
    }
    let apart = apart.rem_euclid(WRAP);
    apart <= slack || WRAP - apart <= slack
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::Line;

    #[test]
    fn a_wrap_is_no_restart() {
        assert!(fits(14_000_000, i64::from(12_113_152u32.wrapping_sub(4_293_080_448))));
        assert!(fits((1 << 32) + 5_000_000, 5_000_000));
    }

    #[test]
    fn a_counter_that_begins_anew_is_a_restart() {
        assert!(!fits(20_000_000, i64::from(1_200_000u32.wrapping_sub(3_000_000_000))));
    }

    fn radios(frames: &[(i64, u32)]) -> Radios {
        let mut radios = Radios::default();
        for (order, (second, tmst)) in (0..).zip(frames) {
            let at = Timestamp::from_second(1_700_000_000 + second).ok();
            radios.heard(Moment { line: Line { order, ..Line::default() }, at }, *tmst);
        }
        radios
    }

    #[test]
    fn two_radios_take_turns_and_one_that_starts_again_does_not() {
        let second = |n: u32| n * 1_000_000;
        let two: Vec<_> = (0..8)
            .map(|n| (i64::from(n) * 10, second(if n % 2 == 0 { n * 10 } else { 2_000 + n * 10 })))
            .collect();
        let two = radios(&two);
        assert_eq!((two.all.len(), two.returns), (2, 6));
        let again =
            radios(&[(0, second(500)), (10, second(510)), (40, second(5)), (50, second(15))]);
        assert_eq!((again.all.len(), again.returns, again.changes.len()), (2, 0, 1));
        let wraps = radios(&[(0, u32::MAX - 5_000_000), (10, 5_000_000), (20, 15_000_000)]);
        assert_eq!((wraps.all.len(), wraps.returns), (1, 0));
    }
}
