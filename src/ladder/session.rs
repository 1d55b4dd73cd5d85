//! The session ladder: whether data goes both ways, and whether both sides hold the same settings.
//!
//! | # | rung | holds when |
//! |---|---|---|
//! | 1 | heard | its uplinks reach a gateway, with margin |
//! | 2 | authentic | they verify under the session's keys |
//! | 3 | fresh | the counters rise as the version wants, both ways |
//! | 4 | on-plan | channels, data rates, sizes, dwell time and duty cycle are those in force |
//! | 5 | readable | the payload decrypts under the AppSKey on record |
//! | 6 | answered | what asks for an answer gets one |
//! | 7 | timely | downlinks are aimed at the windows that the settings in force open |
//! | 8 | sent | a gateway took them |
//! | 9 | received | the node shows that it got them |
//! | 10 | settled | MAC requests converge, and both sides hold the same settings |

mod account;
pub(super) mod adr;
pub(super) mod aim;
mod aimed;
pub(super) mod away;
mod case;
pub(super) mod clock;
pub(super) mod copies;
pub(super) mod counting;
mod course;
pub(super) mod device_time;
pub(super) mod duty;
pub(super) mod faults;
pub(super) mod fragments;
pub(super) mod groups;
pub(super) mod keys;
pub(super) mod leaps;
pub(super) mod losses;
pub(super) mod old;
pub(super) mod packages;
pub(super) mod payloads;
pub(super) mod reach;
pub(super) mod refusals;
pub(super) mod rejoins;
mod shown;
pub(super) mod signed;
mod story;
pub(super) mod strays;
pub(super) mod told;
pub(super) mod words;

use super::{
    join,
    rung::{Rungs, rungs},
};

pub(super) use account::of as account;
pub use account::{Account, DownlinkTold, SettingTold};
pub(super) use case::Case;
pub(super) use shown::Shown;
pub(super) use story::Story;

rungs! {
    Session: Case<'_> =>
    heard Heard "heard", "its uplinks reach a gateway, with margin";
    authentic Authentic "authentic", "they verify under the session's keys";
    fresh Fresh "fresh", "the counters rise, both ways";
    on_plan OnPlan "on-plan", "channels, data rates, sizes and dwell time are those in force";
    readable Readable "readable", "the payload decrypts under the AppSKey on record";
    answered Answered "answered", "what asks for an answer gets one";
    timely Timely "timely", "downlinks are aimed at the windows in force";
    sent Sent "sent", "a gateway took them";
    received Received "received", "the node shows that it got them";
    settled Settled "settled", "both sides hold the same settings";
}

/// Judges the sessions of a node whose joins are judged.
pub(super) fn climb(join: join::Case<'_>) -> Case<'_> {
    let mut case = Case::new(join);
    for rung in Rung::ALL {
        for session in 0..case.ladders.len() {
            let judgement = rung.judge(&case, session);
            if let Some(ladder) = case.ladders.get_mut(session) {
                ladder[*rung] = judgement;
            }
        }
    }
    told::amend(&mut case);
    case
}
