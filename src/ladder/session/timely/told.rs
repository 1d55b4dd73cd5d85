//! Faults of windows in words.

use super::{Case, Story};
use crate::{
    fact::{Fact, Value, fact},
    ladder::{
        finding::Finding,
        session::{
            aim::{Got, Setting, Test, Window},
            faults::{Fault, Why, up_hz, up_rate},
            words,
        },
    },
    trace::settings::By,
};

/// Downlinks that evidence names.
const NAMED: usize = 4;
/// A ping slot's length, microseconds.
const SLOT_US: i64 = 30_000;

fn wanted(test: &Test) -> Value {
    test.want.map_or(Value::Text("not known".into()), Got::value)
}

/// Returns what is wrong, in one sentence.
pub(in crate::ladder) fn heading(story: &Story<'_>, fault: &Fault) -> Fact {
    let Some((_, test)) = fault.misses.first() else { return "nothing is wrong".into() };
    let downlinks = Value::Count(fault.misses.len() as u64, "downlink");
    let (got, want) = (test.got.value(), wanted(test));
    let _ = story;
    match fault.setting {
        Setting::Delay => fact!(
            "{downlinks} not at a window's time: {delay} after the uplink, where RX1 opens after \
             {expected} and RX2 a second later",
            downlinks,
            delay = got,
            expected = rx1_of(test)
        ),
        Setting::Rx1Frequency => fact!(
            "{downlinks} in RX1 on another frequency than the one in force: {frequency} in place of \
             {expected}",
            downlinks,
            frequency = got,
            expected = want
        ),
        Setting::Rx1Rate => fact!(
            "{downlinks} in RX1 at another data rate than the one in force: {data_rate} in place of \
             {expected}",
            downlinks,
            data_rate = got,
            expected = want
        ),
        Setting::Rx2Frequency | Setting::OpenFrequency => fact!(
            "{downlinks} on another frequency than RX2's: {frequency} in place of {expected}",
            downlinks,
            frequency = got,
            expected = want
        ),
        Setting::Rx2Rate | Setting::OpenRate => fact!(
            "{downlinks} at another data rate than RX2's: {data_rate} in place of {expected}",
            downlinks,
            data_rate = got,
            expected = want
        ),
        Setting::Class => {
            fact!("{downlinks} sent as to class C, and the node is of class A", downlinks)
        }
        Setting::Slot => fact!(
            "{downlinks} outside the node's ping slots: {late} from the nearest one",
            downlinks,
            late = got
        ),
        Setting::PingFrequency => fact!(
            "{downlinks} in ping slots on another frequency: {frequency} in place of {expected}",
            downlinks,
            frequency = got,
            expected = want
        ),
        Setting::PingRate => fact!(
            "{downlinks} in ping slots at another data rate: {data_rate} in place of {expected}",
            downlinks,
            data_rate = got,
            expected = want
        ),
        Setting::Polarity => {
            fact!(
                "{downlinks} sent with the polarity of uplinks, so that no node hears them",
                downlinks
            )
        }
        Setting::Dwell => fact!(
            "{downlinks} longer than DownlinkDwellTime allows: {airtime} in place of {expected}",
            downlinks,
            airtime = got,
            expected = want
        ),
    }
}

/// RX1's time, where RX2's may be the one that was expected.
fn rx1_of(test: &Test) -> Value {
    wanted(test)
}

/// Returns a line for each of the first downlinks that contradict a setting.
pub(in crate::ladder) fn misses(story: &Story<'_>, fault: &Fault) -> Vec<Fact> {
    let told = fault.misses.iter().take(NAMED);
    let mut out: Vec<Fact> = told.map(|(place, test)| miss(story, *place, test)).collect();
    let more = fault.misses.len().saturating_sub(NAMED);
    if more > 0 {
        out.push(fact!("and {downlinks} more", downlinks = Value::Count(more as u64, "downlink")));
    }
    out
}

fn miss(story: &Story<'_>, place: usize, test: &Test) -> Fact {
    let Some(aim) = story.aims.get(place) else { return "a downlink".into() };
    let downlink = story.cite(aim.down);
    let uplink = aim.up.map(|up| story.cite(up)).unwrap_or_default();
    let (got, want) = (test.got.value(), wanted(test));
    let window = match aim.window {
        Window::Rx1 => "RX1",
        Window::Rx2 => "RX2",
        Window::Open => "RX2 of class C",
        Window::Ping => "a ping slot",
        Window::Elsewhere | Window::Unsaid => "no window",
    };
    match test.setting {
        Setting::Delay => {
            fact!("{downlink}: {delay} after the end of {uplink}", downlink, delay = got, uplink)
        }
        Setting::Rx1Frequency => fact!(
            "{downlink}: in RX1 of {uplink} on {frequency}; the uplink is on {uplink_frequency}, so RX1 \
             is on {expected}",
            downlink,
            uplink,
            frequency = got,
            uplink_frequency = Value::Frequency(up_hz(story, place).unwrap_or_default()),
            expected = want
        ),
        Setting::Rx1Rate => {
            if let Some(rate) = up_rate(story, place) {
                fact!(
                    "{downlink}: in RX1 of {uplink} at {data_rate}; the uplink is at {uplink_data_rate}, so \
             RX1 is at {expected}",
                    downlink,
                    uplink,
                    data_rate = got,
                    uplink_data_rate = rate,
                    expected = want
                )
            } else {
                fact!("{downlink}: in RX1 at {data_rate}", downlink, data_rate = got)
            }
        }
        Setting::Rx2Frequency | Setting::OpenFrequency | Setting::PingFrequency => fact!(
            "{downlink}: in {window} on {frequency}, in place of {expected}",
            downlink,
            window,
            frequency = got,
            expected = want
        ),
        Setting::Rx2Rate | Setting::OpenRate | Setting::PingRate => fact!(
            "{downlink}: in {window} at {data_rate}, in place of {expected}",
            downlink,
            window,
            data_rate = got,
            expected = want
        ),
        Setting::Class => fact!("{downlink}: sent when it came, not in a window", downlink),
        Setting::Slot => {
            let us = if let Got::Us(us) = test.got { us } else { 0 };
            let slots = us.saturating_add(us.signum() * SLOT_US / 2) / SLOT_US;
            fact!(
                "{downlink}: {late} after the start of the nearest ping slot, {slots} slots of 30 ms",
                downlink,
                late = got,
                slots
            )
        }
        Setting::Polarity => fact!("{downlink}: ipol is false", downlink),
        Setting::Dwell => fact!(
            "{downlink}: {airtime} on the air, {expected} are allowed",
            downlink,
            airtime = got,
            expected = want
        ),
    }
}

/// Returns who set what the downlinks contradict: the accept, or a request with its answer.
pub(in crate::ladder) fn source(case: &Case<'_>, story: &Story<'_>, fault: &Fault) -> Vec<Fact> {
    let Some((place, _)) = fault.misses.first() else { return Vec::new() };
    let Some(turn) = story.aims.get(*place).and_then(|aim| aim.turn) else { return Vec::new() };
    let now = story.at(turn);
    let by = match fault.setting {
        Setting::Delay => now.rx_delay.by(),
        Setting::Rx1Rate => now.rx1_offset.by(),
        Setting::Rx2Frequency | Setting::OpenFrequency => now.rx2_hz.by(),
        Setting::Rx2Rate | Setting::OpenRate => now.rx2_rate.by(),
        Setting::PingFrequency => now.ping_hz.by(),
        Setting::PingRate => now.ping_rate.by(),
        Setting::Dwell => now.down_dwell.by(),
        Setting::Rx1Frequency | Setting::Class | Setting::Slot | Setting::Polarity => By::Nobody,
    };
    match by {
        By::Exchange(exchange) => of_exchange(story, exchange),
        By::Accept => by_accept(case, story),
        By::Plan | By::Firmware | By::Node | By::Nobody => Vec::new(),
    }
}

/// Returns an exchange as evidence: the request, and what became of it.
pub(in crate::ladder) fn of_exchange(story: &Story<'_>, exchange: usize) -> Vec<Fact> {
    let Some(exchange) = story.settings.exchanges.get(exchange) else { return Vec::new() };
    vec![words::request(story, exchange), words::fate(story, exchange)]
}

fn by_accept(case: &Case<'_>, story: &Story<'_>) -> Vec<Fact> {
    let Some(accept) = case.accept_of(story.session) else { return Vec::new() };
    let Some(at) = words::accept_at(case, story) else { return Vec::new() };
    vec![fact!(
        "{accept}: the accept gives RxDelay {rx_delay} s, RX1DROffset {rx1_dr_offset}, RX2DataRate \
         {rx2_data_rate}",
        accept = at,
        rx_delay = accept.rx_delay.seconds(),
        rx1_dr_offset = accept.dl_settings.rx1_dr_offset(),
        rx2_data_rate = accept.dl_settings.rx2_data_rate()
    )]
}

/// Returns the finding of the first fault that a cause is about, with the evidence of all of them.
pub(in crate::ladder) fn finding(
    case: &Case<'_>,
    story: &Story<'_>,
    is_own: impl Fn(&Fault) -> bool,
    remedy: impl Into<Fact>,
) -> Option<Finding> {
    let own: Vec<&Fault> = story.faults.iter().filter(|fault| is_own(fault)).collect();
    let first = own.iter().min_by_key(|fault| fault.certainty)?;
    let mut finding = Finding::new(first.certainty, heading(story, first), remedy);
    for fact in source(case, story, first) {
        finding.add(fact);
    }
    for fault in &own {
        if let (Why::KeepsOld(exchange) | Why::NotHeld(exchange), true) =
            (fault.why, std::ptr::eq(*fault, *first))
        {
            for fact in of_exchange(story, exchange) {
                if !finding.evidence.contains(&fact) {
                    finding.add(fact);
                }
            }
        }
        for fact in misses(story, fault) {
            finding.add(fact);
        }
    }
    if let Some(fact) = seen_by_the_node(story, first) {
        finding.add(fact);
    }
    Some(finding)
}

/// Cause `downlink-polarity-not-inverted`.
pub(in crate::ladder) fn polarity(case: &Case<'_>, story: &Story<'_>) -> Option<Finding> {
    let own = |fault: &Fault| fault.setting == Setting::Polarity;
    finding(case, story, own, "send every downlink to nodes with ipol true")
}

/// What the node shows of the downlinks that it missed.
fn seen_by_the_node(story: &Story<'_>, fault: &Fault) -> Option<Fact> {
    let missed = fault.misses.iter().filter_map(|(place, _)| {
        let down = story.aims.get(*place)?.down;
        match story.shown.get(down)? {
            super::super::Shown::Missed(at) => Some(*at),
            _ => None,
        }
    });
    let all: Vec<usize> = missed.collect();
    let at = all.first()?;
    Some(fact!(
        "{uplink}: the node shows that it missed {missed} of them: no ACK, or a repeat",
        uplink = story.cite(*at),
        missed = all.len()
    ))
}
