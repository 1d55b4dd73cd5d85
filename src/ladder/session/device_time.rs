//! DeviceTimeAns, held against the time of the uplink that asked.

use super::{Story, answered::asks};
use crate::{
    fact::{Fact, Value, fact},
    gps::GpsTime,
};

/// A time that the server gave.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Answer {
    /// Place of the downlink.
    down: usize,
    /// The turn that asked.
    turn: usize,
    /// What it said, seconds.
    seconds: i64,
    /// How far that is above GPS time at the end of the uplink, milliseconds.
    pub(in crate::ladder) off_ms: i64,
}

impl Answer {
    pub(in crate::ladder) fn fact(&self, story: &Story<'_>) -> Fact {
        fact!(
            "{downlink}: DeviceTimeAns {seconds} s for {uplink}, {off} from GPS time",
            downlink = story.cite(self.down),
            seconds = self.seconds,
            uplink = story.cite_turn(self.turn),
            off = Value::About(self.off_ms.saturating_mul(1_000))
        )
    }
}

/// Returns the times that the server gave in a session.
pub(in crate::ladder) fn answers(story: &Story<'_>) -> Vec<Answer> {
    let mut out = Vec::new();
    for (number, turn) in story.turns().iter().enumerate() {
        for down in story.downs_of(turn) {
            let said = story.settings.said.get(down);
            let Some(answer) = said.and_then(|said| said.command("DeviceTimeAns")) else {
                continue;
            };
            let (Some(seconds), Some(fraction)) =
                (answer.number("Seconds"), answer.number("Fraction"))
            else {
                continue;
            };
            // The uplink that asked is this one, or the one before.
            let asks = |turn: usize| asks::says(story, turn, "DeviceTimeReq");
            let asked = if asks(number) {
                number
            } else if number > 0 && asks(number - 1) {
                number - 1
            } else {
                continue;
            };
            let Some(gps_ms) = gps_ms(story, asked) else { continue };
            let told_ms = seconds * 1_000 + fraction * 1_000 / 256;
            out.push(Answer { down, turn: asked, seconds, off_ms: told_ms - gps_ms });
        }
    }
    out
}

/// GPS time at the end of a turn's uplink, milliseconds: by the gateway's receiver, or else by the
/// capture's clock.
fn gps_ms(story: &Story<'_>, turn: usize) -> Option<i64> {
    let place = story.turns().get(turn)?.first();
    let heard = story.heard(place)?;
    if let Some(ms) = heard.sightings().find_map(|sighting| sighting.tmms) {
        return i64::try_from(ms).ok();
    }
    let at = heard.at()?;
    let seconds = i64::from(GpsTime::from_utc(at)?.seconds());
    Some(seconds * 1_000 + i64::from(at.subsec_millisecond()))
}

/// Unix time less GPS time: 6 January 1980, with and without the 18 leap seconds since.
const UNIX_LESS_GPS_S: [i64; 2] = [315_964_800, 315_964_782];
/// The capture's clock may be off by this.
const CLOCK_S: i64 = 60;

/// Whether a time that is so many seconds above GPS time counts from 1970.
pub(in crate::ladder) fn is_by_unix_time(apart_s: i64) -> bool {
    UNIX_LESS_GPS_S.iter().any(|epoch| (apart_s - epoch).abs() <= CLOCK_S)
}
