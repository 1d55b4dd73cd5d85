//! GPS time, in which beacons and DeviceTimeAns count, and its way to UTC.
//!
//! GPS time counts seconds since 6 January 1980 00:00:00 UTC and knows no leap seconds, so it runs
//! ahead of UTC by one second for each leap second since then. The table ends with the step of
//! 1 January 2017; none has been announced for any date before 28 June 2027.

use core::fmt;

#[cfg(feature = "std")]
use jiff::Timestamp;

/// An instant of GPS time: whole seconds, modulo 2^32 on the air.
#[derive(Clone, Copy, Debug, Default, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub struct GpsTime(u32);

impl GpsTime {
    /// Returns the instant of that many seconds after 6 January 1980 00:00:00.
    pub const fn from_seconds(seconds: u32) -> Self {
        Self(seconds)
    }

    /// Returns the GPS time of an instant of UTC, or none before 1980 and after 2116.
    #[cfg(feature = "std")]
    pub fn from_utc(utc: Timestamp) -> Option<Self> {
        let unix = utc.as_second();
        let leap = STEPS.iter().filter(|step| **step <= unix).count();
        let gps = unix - GPS_EPOCH_UNIX + i64::try_from(leap).unwrap_or_default();
        u32::try_from(gps).ok().map(Self)
    }

    /// Returns the seconds since 6 January 1980 00:00:00.
    pub const fn seconds(self) -> u32 {
        self.0
    }

    /// Returns by how many seconds GPS time is ahead of UTC at this instant.
    ///
    /// Instants after the table's last step have its value, 18: a leap second announced later is
    /// not in it.
    pub fn leap_seconds(self) -> i64 {
        let unix_without_leap = i64::from(self.0) + GPS_EPOCH_UNIX;
        let passed =
            (1i64..).zip(STEPS).filter(|(leap, step)| *step + leap <= unix_without_leap).count();
        i64::try_from(passed).unwrap_or_default()
    }

    /// Returns the instant in UTC. The leap second itself falls on the second that follows it, since
    /// Unix time has no room for it.
    #[cfg(feature = "std")]
    pub fn utc(self) -> Option<Timestamp> {
        Timestamp::from_second(self.unix()).ok()
    }

    /// Returns the instant in seconds since 1 January 1970 00:00:00 UTC.
    fn unix(self) -> i64 {
        i64::from(self.0) + GPS_EPOCH_UNIX - self.leap_seconds()
    }
}

impl fmt::Display for GpsTime {
    /// Prints UTC as RFC 3339.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let unix = self.unix();
        let (year, month, day) = date(unix.div_euclid(DAY_S));
        let second = unix.rem_euclid(DAY_S);
        let (hour, minute, second) = (second / 3_600, second / 60 % 60, second % 60);
        write!(f, "{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}Z")
    }
}

/// Returns year, month and day of a number of days since 1 January 1970.
///
/// Counted in years that begin in March, so that a leap day ends its year: the months before then have
/// the same lengths in every year. Good from 1980 to 2116, all the years that GPS time has here.
fn date(days: i64) -> (i64, i64, i64) {
    // 1 March 1968 began four years of which the last day was a leap day.
    let days = days + MARCH_1968;
    // 2100 is no leap year: from its 29 February on all is a day further.
    let days = if days < NO_LEAP_DAY { days } else { days + 1 };
    let (cycle, day) = (days / FOUR_YEARS, days % FOUR_YEARS);
    let year_of_cycle = (day / 365).min(3);
    let day = day - 365 * year_of_cycle;
    // March to July and August to December have 31, 30, 31, 30, 31 days; so have January and February
    // as far as they go.
    let month = (5 * day + 2) / 153;
    let day = day - (153 * month + 2) / 5 + 1;
    let year = 1968 + 4 * cycle + year_of_cycle;
    if month < 10 { (year, month + 3, day) } else { (year + 1, month - 9, day) }
}

const DAY_S: i64 = 86_400;
const FOUR_YEARS: i64 = 1_461;
/// Days from 1 March 1968 to 1 January 1970.
const MARCH_1968: i64 = 671;
/// Days from 1 March 1968 to 1 March 2100, where four years have no leap day.
const NO_LEAP_DAY: i64 = 33 * FOUR_YEARS - 1;

/// 6 January 1980 00:00:00 UTC in Unix seconds.
const GPS_EPOCH_UNIX: i64 = 315_964_800;

/// Unix seconds of every instant at which GPS time moved one more second ahead of UTC, that is of the
/// midnight after each leap second. Source: IERS Bulletin C and common practice.
static STEPS: [i64; 18] = [
    362_793_600,   // 1981-07-01
    394_329_600,   // 1982-07-01
    425_865_600,   // 1983-07-01
    489_024_000,   // 1985-07-01
    567_993_600,   // 1988-01-01
    631_152_000,   // 1990-01-01
    662_688_000,   // 1991-01-01
    709_948_800,   // 1992-07-01
    741_484_800,   // 1993-07-01
    773_020_800,   // 1994-07-01
    820_454_400,   // 1996-01-01
    867_715_200,   // 1997-07-01
    915_148_800,   // 1999-01-01
    1_136_073_600, // 2006-01-01
    1_230_768_000, // 2009-01-01
    1_341_100_800, // 2012-07-01
    1_435_708_800, // 2015-07-01
    1_483_228_800, // 2017-01-01
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_published_device_time_is_its_utc() {
        // LoRaWAN 1.1, 5.12: 12 Feb 2016 14:24:31 UTC is 1139322288 GPS seconds, 17 leap seconds.
        let time = GpsTime::from_seconds(1_139_322_288);
        assert_eq!(time.leap_seconds(), 17);
        assert_eq!(time.to_string(), "2016-02-12T14:24:31Z");
        assert_eq!(GpsTime::from_utc("2016-02-12T14:24:31Z".parse().unwrap()), Some(time));
    }

    #[test]
    fn a_time_reads_as_a_calendar_says() {
        // every third hour and a bit of every year that there is, and both sides of the end
        let seconds = (0..u32::MAX).step_by(10_007).chain([u32::MAX]);
        for seconds in seconds {
            let time = GpsTime::from_seconds(seconds);
            assert_eq!(time.to_string(), time.utc().unwrap().to_string(), "{seconds}");
        }
    }

    #[test]
    fn every_step_is_a_midnight_in_january_or_july() {
        for step in STEPS {
            let text = Timestamp::from_second(step).unwrap().to_string();
            assert!(
                text.ends_with("-01-01T00:00:00Z") || text.ends_with("-07-01T00:00:00Z"),
                "{text}"
            );
        }
    }

    #[test]
    fn time_runs_on_through_every_leap_second() {
        for step in STEPS {
            let after = GpsTime::from_utc(Timestamp::from_second(step).unwrap()).unwrap();
            assert_eq!(after.utc().unwrap().as_second(), step);
            let leap = GpsTime::from_seconds(after.seconds() - 1);
            assert_eq!(leap.leap_seconds() + 1, after.leap_seconds());
            let before = GpsTime::from_seconds(after.seconds() - 2);
            assert_eq!(before.utc().unwrap().as_second(), step - 1);
        }
        assert_eq!(GpsTime::from_seconds(0).to_string(), "1980-01-06T00:00:00Z");
        assert_eq!(GpsTime::from_seconds(u32::MAX).leap_seconds(), 18);
    }
}
