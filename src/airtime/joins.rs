//! Requests to join against the standard's back-off.

use std::time::Duration;

use jiff::Timestamp;

use crate::radio::JOIN_BACK_OFF;

/// How long requests to join were on the air, in each span of the back-off.
///
/// The spans begin when a node is switched on. A capture does not show that: they are counted from
/// the first request heard, as if it were the first one sent. A node that was switched off and on
/// again in between may begin anew, which no capture shows either.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct BackOff {
    first: Option<Timestamp>,
    used: [Duration; 2],
    day: i64,
    today: Duration,
    busiest_day: Duration,
}

/// What was used of a span.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct SpanUse {
    /// Which span: `first hour`, `next ten hours`, `busiest day after`.
    pub name: &'static str,
    /// Time on air of the requests in it.
    pub used: Duration,
    /// Time on air that the standard allows.
    pub allowed: Duration,
}

impl SpanUse {
    /// Returns whether more was used than the standard allows.
    pub fn is_passed(&self) -> bool {
        self.used > self.allowed
    }
}

impl BackOff {
    pub(super) fn add(&mut self, at: Timestamp, airtime: Duration) {
        let first = *self.first.get_or_insert(at);
        let since = (at.as_second() - first.as_second()).max(0);
        let [hour, ten, _] = JOIN_BACK_OFF;
        let ends = [hour, ten].map(|span| seconds(span.to.unwrap_or_default()));
        if let Some(used) =
            ends.iter().position(|end| since < *end).and_then(|span| self.used.get_mut(span))
        {
            *used = used.saturating_add(airtime);
            return;
        }
        let day = (since - ends[1]) / DAY_S;
        if day != self.day {
            (self.day, self.today) = (day, Duration::ZERO);
        }
        self.today = self.today.saturating_add(airtime);
        self.busiest_day = self.busiest_day.max(self.today);
    }

    /// Returns the first request heard.
    pub const fn first(&self) -> Option<Timestamp> {
        self.first
    }

    /// Returns the spans in which requests were heard.
    pub fn spans(&self) -> Vec<SpanUse> {
        let [hour, ten] = self.used;
        let names = ["first hour", "next ten hours", "busiest day after"];
        let used = [hour, ten, self.busiest_day];
        names
            .into_iter()
            .zip(used)
            .zip(JOIN_BACK_OFF)
            .map(|((name, used), span)| SpanUse { name, used, allowed: span.airtime })
            .filter(|span| !span.used.is_zero())
            .collect()
    }
}

fn seconds(time: Duration) -> i64 {
    i64::try_from(time.as_secs()).unwrap_or(i64::MAX)
}

const DAY_S: i64 = 86_400;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn requests_are_counted_in_the_spans_of_the_standard() {
        let mut back_off = BackOff::default();
        let hour = 3600;
        for at in [0, hour - 1, hour, 10 * hour, 11 * hour, 34 * hour, 35 * hour, 36 * hour] {
            let at = Timestamp::from_second(1_000_000 + at).unwrap();
            back_off.add(at, Duration::from_secs(5));
        }
        let spans = back_off.spans();
        let told: Vec<_> =
            spans.iter().map(|s| (s.name, s.used.as_secs(), s.is_passed())).collect();
        assert_eq!(
            told,
            [
                ("first hour", 10, false),
                ("next ten hours", 10, false),
                ("busiest day after", 10, true)
            ]
        );
    }
}
