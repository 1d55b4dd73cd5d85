//! Rung 5, clock: the statistics' time fits the capture's, the counter is steady, and the delay to the server fits
//! the windows.

use super::{
    Case,
    clocks::{ClockFault, SLOW_US, round_trip},
};
use crate::{
    fact::{Value, fact},
    ladder::rung::Judgement,
};

pub(super) fn judge(case: &Case<'_>, _: usize) -> Judgement {
    let Some(heard) = case.heard else {
        return Judgement::unknown("nothing of it is in the capture");
    };
    let mut faults = case.clock.iter().map(ClockFault::fact);
    if let Some(first) = faults.next() {
        return faults.fold(Judgement::broken(first), Judgement::and);
    }
    let mut known = Vec::new();
    if let Some((low, high)) = heard.clock.range {
        let apart = low.abs().max(high.abs());
        // Statistics tell whole seconds.
        known.push(if apart < 1_000_000 {
            "its statistics' time agrees with the capture's to the second".into()
        } else {
            fact!(
                "its statistics' time agrees with the capture's to {within}",
                within = Value::About(apart)
            )
        });
    }
    let [radio] = heard.radios.all.as_slice() else {
        return match known.into_iter().next() {
            Some(fact) => Judgement::proven(fact),
            None => Judgement::unknown("no statistics and fewer than two frames with a counter"),
        };
    };
    if radio.frames >= 2 {
        known.push(fact!(
            "its counter keeps time over {frames}",
            frames = Value::Count(radio.frames, "frame")
        ));
    }
    if let Some(us) = round_trip(heard).filter(|us| *us >= SLOW_US) {
        return Judgement::unknown(fact!(
            "a round trip of {delay} leaves little time for a window at 1 s",
            delay = Value::About(us)
        ));
    }
    let mut known = known.into_iter();
    match known.next() {
        Some(first) => known.fold(Judgement::proven(first), Judgement::and),
        None => Judgement::unknown("no statistics and fewer than two frames with a counter"),
    }
}

/// Whether the line is too slow for the windows: then late acknowledgements are a part of that.
pub(super) fn is_slow(case: &Case<'_>) -> bool {
    case.clock.iter().any(|fault| matches!(fault, ClockFault::Slow(_)))
}
