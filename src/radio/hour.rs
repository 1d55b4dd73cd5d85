//! The busiest hour: the greatest sum of what begins within any hour.

use std::{collections::VecDeque, time::Duration};

use jiff::Timestamp;

/// The hour in which the most was sent.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct BusiestHour {
    /// The first transmission of that hour.
    pub from: Timestamp,
    /// Time on air of all that began within the hour.
    pub airtime: Duration,
}

/// The transmissions of the last hour, and the busiest hour so far.
///
/// Holds as many transmissions as an hour has. Time stamps of several gateways are a little out of
/// order: one that lies back by less than [`JITTER_US`] counts as the latest. One that lies back by
/// more begins another capture, and the hour begins anew: nothing is summed that did not fall into
/// one hour.
#[derive(Clone, Debug, Default)]
pub(crate) struct Hours {
    last_hour: VecDeque<(i64, Duration)>,
    sum: Duration,
    busiest: Option<(i64, Duration)>,
}

impl Hours {
    pub(crate) fn add(&mut self, at: Timestamp, airtime: Duration) {
        let mut at = at.as_microsecond();
        if let Some(&(latest, _)) = self.last_hour.back()
            && at < latest
        {
            if latest - at > JITTER_US {
                self.last_hour.clear();
                self.sum = Duration::ZERO;
            } else {
                at = latest;
            }
        }
        while let Some(&(first, gone)) = self.last_hour.front()
            && at - first >= HOUR_US
        {
            self.last_hour.pop_front();
            self.sum = self.sum.saturating_sub(gone);
        }
        self.last_hour.push_back((at, airtime));
        self.sum = self.sum.saturating_add(airtime);
        if self.busiest.is_none_or(|(_, most)| self.sum > most) {
            let from = self.last_hour.front().map_or(at, |(first, _)| *first);
            self.busiest = Some((from, self.sum));
        }
    }

    pub(crate) fn busiest(&self) -> Option<BusiestHour> {
        let (from, airtime) = self.busiest?;
        Some(BusiestHour { from: Timestamp::from_microsecond(from).ok()?, airtime })
    }
}

const HOUR_US: i64 = 3_600_000_000;
const JITTER_US: i64 = 60_000_000;

#[cfg(test)]
mod tests {
    use super::*;

    fn busiest(sent: &[(i64, u64)]) -> Option<(i64, u64)> {
        let mut hours = Hours::default();
        for (second, millis) in sent {
            hours.add(Timestamp::from_second(*second).unwrap(), Duration::from_millis(*millis));
        }
        hours.busiest().map(|b| (b.from.as_second(), b.airtime.as_millis().try_into().unwrap()))
    }

    #[test]
    fn the_busiest_hour_begins_anywhere() {
        assert_eq!(busiest(&[]), None);
        assert_eq!(busiest(&[(0, 100), (1800, 200), (3599, 300)]), Some((0, 600)));
        // a whole hour later is the next hour
        assert_eq!(busiest(&[(0, 100), (1800, 200), (3600, 300)]), Some((1800, 500)));
        assert_eq!(busiest(&[(0, 500), (9000, 200), (9100, 200)]), Some((0, 500)));
    }

    #[test]
    fn a_late_copy_of_the_clock_stays_in_its_hour_and_another_day_is_another_hour() {
        assert_eq!(busiest(&[(100, 100), (98, 100), (3699, 100)]), Some((100, 300)));
        assert_eq!(busiest(&[(90_000, 100), (0, 200), (90_001, 300)]), Some((90_001, 300)));
    }
}
