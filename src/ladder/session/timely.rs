//! Rung 7, timely: downlinks are aimed at the windows that the settings in force open.

pub(in crate::ladder) mod told;

use super::{
    Case, Story,
    aim::{Aim, Window},
};
use crate::{
    fact::{Fact, Value, fact},
    ladder::rung::Judgement,
};

pub(super) fn judge(case: &Case<'_>, session: usize) -> Judgement {
    let Some(story) = case.story(session) else { return Judgement::open() };
    if let Some(fault) = story.faults.first() {
        let mut judgement = Judgement::broken(told::heading(story, fault));
        for fact in told::misses(story, fault).into_iter().take(2) {
            judgement.add(fact);
        }
        return judgement;
    }
    if story.aims.is_empty() {
        return Judgement::unknown("no downlink of the session is in the capture");
    }
    if story.aims.iter().any(|aim| aim.is_wrong() && is_taken(story, aim)) {
        return Judgement::unknown(
            "the node shows that it received downlinks outside the settings as replayed: they were \
             changed in frames that are not in the capture",
        );
    }
    let right: Vec<&Aim> = story.aims.iter().filter(|aim| aim.is_right()).collect();
    if right.is_empty() {
        return Judgement::unknown(
            "the settings in force, or the times of the downlinks, are not in the capture",
        );
    }
    let parts: Vec<Fact> = [
        (Window::Rx1, "RX1"),
        (Window::Rx2, "RX2"),
        (Window::Open, "RX2 of class C"),
        (Window::Ping, "ping slots"),
    ]
    .into_iter()
    .filter_map(|(window, name)| {
        let n = right.iter().filter(|aim| aim.window == window).count();
        (n > 0).then(|| fact!("{n} in {window}", n, window = name))
    })
    .collect();
    Judgement::proven(fact!(
        "{downlinks} of {all} by the settings in force: {windows}",
        downlinks = Value::Count(right.len() as u64, "downlink"),
        all = story.aims.len(),
        windows = Fact::joined(parts, ", ")
    ))
}

/// Whether the node shows that it received a downlink.
fn is_taken(story: &Story<'_>, aim: &Aim) -> bool {
    story.shown.get(aim.down).is_some_and(|shown| shown.is_received())
}
