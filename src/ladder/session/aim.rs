//! Where each downlink of a session is aimed, held against the settings in force.

mod slots;

use super::course::Course;
use crate::{
    fact::Value,
    frame::Direction,
    intake::When,
    ladder::join::{
        self,
        timely::{SAME_HZ, SAME_US},
    },
    radio::{Modulation, time_on_air},
    region::Plan,
    roster::Class,
    trace::{
        Sending, Sighting,
        settings::{Belief, Expected, Fit},
    },
};

/// A downlink answers an uplink of so many turns before at the most.
const TURNS: usize = 3;
/// RxDelay is 15 s at the most, and RX2 is a second later; what lies further off is meant for another
/// uplink.
const FARTHEST_US: i64 = 20_000_000;
/// GPS time in a datagram is in milliseconds.
const SAME_GPS_US: i64 = 2_000;

/// A window of the node.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(in crate::ladder) enum Window {
    /// RX1.
    Rx1,
    /// RX2.
    Rx2,
    /// RX2 of class C, which is always open.
    Open,
    /// A ping slot of class B.
    Ping,
    /// None.
    Elsewhere,
    /// The capture does not say when it is sent, or not by a clock that is known.
    Unsaid,
}

/// What is held against a setting.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub(in crate::ladder) enum Setting {
    Delay,
    Rx1Frequency,
    Rx1Rate,
    Rx2Frequency,
    Rx2Rate,
    OpenFrequency,
    OpenRate,
    Class,
    Slot,
    PingFrequency,
    PingRate,
    Polarity,
    Dwell,
}

/// A value that a downlink has, or is to have.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::ladder) enum Got {
    Us(i64),
    Hz(u32),
    Rate(Modulation),
    Plain,
}

impl Got {
    /// Returns it as evidence has it.
    pub(in crate::ladder) fn value(self) -> Value {
        match self {
            Self::Us(us) => Value::Micros(us),
            Self::Hz(hz) => Value::Frequency(hz),
            Self::Rate(rate) => Value::Rate(rate),
            Self::Plain => Value::Text("".into()),
        }
    }

    /// Returns whether both are the same, as exact as captures are.
    pub(in crate::ladder) fn same(self, other: Self) -> bool {
        match (self, other) {
            (Self::Us(a), Self::Us(b)) => a.abs_diff(b) <= u64::from(SAME_US),
            (Self::Hz(a), Self::Hz(b)) => a.abs_diff(b) < SAME_HZ,
            (Self::Rate(a), Self::Rate(b)) => a == b,
            _ => false,
        }
    }
}

/// One setting that a downlink is held against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::ladder) struct Test {
    pub(in crate::ladder) setting: Setting,
    pub(in crate::ladder) got: Got,
    pub(in crate::ladder) want: Option<Got>,
    pub(in crate::ladder) fit: Fit,
    /// Whether nothing else may hold.
    pub(in crate::ladder) sure: bool,
}

/// A downlink and its window.
#[derive(Clone, Debug)]
pub(in crate::ladder) struct Aim {
    /// Its place in the session's frames.
    pub(in crate::ladder) down: usize,
    /// The turn whose uplink it answers.
    pub(in crate::ladder) turn: Option<usize>,
    /// The transmission that its time counts from.
    pub(in crate::ladder) up: Option<usize>,
    /// Microseconds from the end of that transmission to the slot.
    pub(in crate::ladder) us: Option<i64>,
    pub(in crate::ladder) window: Window,
    pub(in crate::ladder) tests: Vec<Test>,
    /// Whether it has what both windows expect of RX1 but for the time, or of RX2.
    pub(in crate::ladder) looks_like: Option<Window>,
}

impl Aim {
    /// Returns whether it is aimed at a window that is known to be open, as that window expects it.
    pub(in crate::ladder) fn is_right(&self) -> bool {
        !self.tests.is_empty() && self.tests.iter().all(|test| test.fit == Fit::Yes)
    }

    /// Returns whether it is right, and no other setting may be in force.
    pub(in crate::ladder) fn is_surely_right(&self) -> bool {
        self.is_right() && self.tests.iter().all(|test| test.sure)
    }

    /// Returns whether something of it is known to be wrong.
    pub(in crate::ladder) fn is_wrong(&self) -> bool {
        self.tests.iter().any(|test| test.fit == Fit::No)
    }
}

/// Who the node is, as far as windows go.
struct Node<'s> {
    plan: &'static Plan,
    /// Its class, by its firmware or its own words.
    class: Option<Class>,
    /// The class on record.
    recorded: Option<Class>,
    beliefs: Vec<&'s Belief>,
}

impl Node<'_> {
    /// Returns what fits best of all that may hold.
    fn test<T: PartialEq + Copy>(
        &self,
        setting: Setting,
        got: Got,
        expected: impl Fn(&Belief) -> Expected<T>,
        as_got: impl Fn(T) -> Got,
    ) -> Test {
        let mut told = Test { setting, got, want: None, fit: Fit::Unknown, sure: false };
        let first = |beliefs: &[&Belief]| beliefs.first().and_then(|belief| expected(belief).want);
        for (n, belief) in self.beliefs.iter().enumerate() {
            let expected = expected(belief);
            let fit = expected.fit(|value| as_got(*value).same(got));
            let want = expected.want.map(&as_got);
            if n == 0 || fit == Fit::Yes || told.fit == Fit::No && fit == Fit::Unknown {
                told = Test { fit, want: want.or(told.want), ..told };
            }
        }
        let alone = |belief: &&Belief| {
            let expected = expected(belief);
            // Ways to the same value are one.
            let no_other = expected.may.iter().all(|may| Some(may) == expected.want.as_ref());
            expected.sure && no_other && expected.want == first(&self.beliefs)
        };
        told.sure = self.beliefs.iter().all(alone);
        told
    }
}

/// Returns where each downlink of a session is aimed.
pub(super) fn all(join: &join::Case<'_>, story: &Course<'_>) -> Vec<Aim> {
    let Some(plan) = join.plan else { return Vec::new() };
    let recorded = join.record().and_then(|record| record.class);
    let mut out = Vec::new();
    let leads = story.settings.lead.iter().map(|place| (*place, None));
    let turns = story.turns().iter().enumerate();
    let others = turns.flat_map(|(n, turn)| turn.downs.iter().map(move |place| (*place, Some(n))));
    for (down, turn) in leads.chain(others) {
        if !story.in_use(down) {
            continue;
        }
        let Some(sending) = story.sending(down) else { continue };
        out.push(aim(story, plan, recorded, down, turn, sending));
    }
    out
}

fn aim(
    story: &Course<'_>,
    plan: &'static Plan,
    recorded: Option<Class>,
    down: usize,
    turn: Option<usize>,
    sending: &Sending,
) -> Aim {
    let mut aim = Aim {
        down,
        turn,
        up: None,
        us: None,
        window: Window::Unsaid,
        tests: Vec::new(),
        looks_like: None,
    };
    let found = turn.and_then(|turn| answered(story, turn, down, sending));
    if let Some(found) = &found {
        (aim.turn, aim.up, aim.us) = (Some(found.turn), Some(found.up), Some(found.us));
    }
    let Some(of) = aim.turn else { return aim };
    let mut beliefs = vec![story.at(of)];
    // What was asked since that uplink may hold already, or not yet.
    if story.settings.asked_in(of).any(|(_, exchange)| exchange.asked < down) {
        beliefs.push(story.at(of + 1));
    }
    let class = beliefs.first().and_then(|belief| belief.class.sure()).copied();
    let node = Node { plan, class, recorded, beliefs };
    let is_class_b = story.uplink(of).is_some_and(|frame| frame.fctrl.f_pending());
    match (sending.when, found) {
        (When::Counter(_) | When::Gps(_), Some(found)) if found.fits => {
            window(&mut aim, &node, found.sighting, sending);
        }
        (When::Gps(ms), _) => slots::ping(&mut aim, story, &node, sending, ms, is_class_b),
        (When::Counter(_), Some(found)) => {
            elsewhere(&mut aim, &node, found.sighting, sending, is_class_b);
        }
        (When::Immediate, _) => at_once(&mut aim, &node, sending),
        (When::Counter(_) | When::Unsaid, _) => {}
    }
    if let Some(inverted) = sending.inverted
        && aim.window != Window::Unsaid
    {
        let fit = if inverted { Fit::Yes } else { Fit::No };
        let setting = Setting::Polarity;
        aim.tests.push(Test { setting, got: Got::Plain, want: None, fit, sure: true });
    }
    dwell(&mut aim, &node, sending);
    aim
}

/// The transmission that a downlink's time counts from.
struct Meant<'a> {
    turn: usize,
    up: usize,
    sighting: &'a Sighting,
    us: i64,
    /// Whether it is at the delay of a window in force.
    fits: bool,
}

/// Returns the latest transmission to which the delay of a window leads, or else the nearest one before.
fn answered<'a>(
    story: &Course<'a>,
    turn: usize,
    down: usize,
    sending: &Sending,
) -> Option<Meant<'a>> {
    let mut nearest: Option<Meant<'a>> = None;
    for number in (0..=turn).rev().take(TURNS) {
        let Some(own) = story.turns().get(number) else { continue };
        for up in own.sent.iter().rev().copied().filter(|up| *up < down) {
            let Some(heard) = story.heard(up) else { continue };
            for sighting in heard.sightings() {
                let (us, slack) = match sending.when {
                    When::Counter(_) => match sending.slot_after(sighting) {
                        Some(us) => (i64::from(us), i64::from(SAME_US)),
                        None => continue,
                    },
                    When::Gps(_) => match sending.gps_after(sighting) {
                        Some(ms) => (ms.saturating_mul(1_000), SAME_GPS_US),
                        None => continue,
                    },
                    When::Immediate | When::Unsaid => continue,
                };
                let apart = sending.arrival_after(sighting);
                let meant = (0..=FARTHEST_US).contains(&us)
                    && apart.is_none_or(|apart| (0..=FARTHEST_US).contains(&apart));
                if !meant {
                    continue;
                }
                let delays = story.at(number).rx1_delay_us();
                let near = |delay: &i64| {
                    [*delay, delay + 1_000_000]
                        .iter()
                        .any(|d| us.abs_diff(*d) <= slack.unsigned_abs())
                };
                let fits = delays.want.iter().chain(&delays.may).any(near);
                let found = Meant { turn: number, up, sighting, us, fits };
                if fits {
                    return Some(found);
                }
                if nearest.as_ref().is_none_or(|held| us < held.us) {
                    nearest = Some(found);
                }
            }
        }
    }
    nearest
}

/// The tests of RX1's frequency and data rate.
fn rx1(node: &Node<'_>, up: &Sighting, sending: &Sending) -> Vec<Test> {
    let mut out = Vec::new();
    let (Some(up_hz), Some(up_rate)) = (up.freq_hz, up.modulation) else { return out };
    let plan = node.plan;
    if let Some(hz) = sending.freq_hz {
        let expected = |belief: &Belief| belief.rx1_hz(plan, up_hz, up_rate);
        out.push(node.test(Setting::Rx1Frequency, Got::Hz(hz), expected, Got::Hz));
    }
    if let Some(rate) = sending.modulation {
        let expected = |belief: &Belief| belief.rx1_rate(plan, up_rate);
        out.push(node.test(Setting::Rx1Rate, Got::Rate(rate), expected, Got::Rate));
    }
    out
}

/// The tests of RX2's frequency and data rate, as class A has it, or as class C.
fn rx2(node: &Node<'_>, sending: &Sending, open: bool) -> Vec<Test> {
    let mut out = Vec::new();
    let (frequency, rate) = if open {
        (Setting::OpenFrequency, Setting::OpenRate)
    } else {
        (Setting::Rx2Frequency, Setting::Rx2Rate)
    };
    if let Some(hz) = sending.freq_hz {
        out.push(node.test(frequency, Got::Hz(hz), Belief::rx2_freq, Got::Hz));
    }
    if let Some(modulation) = sending.modulation {
        let expected = |belief: &Belief| belief.rx2_modulation(node.plan);
        out.push(node.test(rate, Got::Rate(modulation), expected, Got::Rate));
    }
    out
}

fn hold(tests: &[Test]) -> bool {
    !tests.is_empty() && tests.iter().all(|test| test.fit == Fit::Yes)
}

/// A downlink at the delay of RX1 or of RX2.
fn window(aim: &mut Aim, node: &Node<'_>, up: &Sighting, sending: &Sending) {
    let us = aim.us.unwrap_or_default();
    let slack = u64::from(SAME_US).max(SAME_GPS_US.unsigned_abs());
    let mut at = Vec::new();
    for belief in &node.beliefs {
        let delays = belief.rx1_delay_us();
        for delay in delays.want.into_iter().chain(delays.may) {
            if us.abs_diff(delay) <= slack {
                at.push((Window::Rx1, delay));
            }
            if us.abs_diff(delay + 1_000_000) <= slack {
                at.push((Window::Rx2, delay + 1_000_000));
            }
        }
    }
    let (first, second) = (rx1(node, up, sending), rx2(node, sending, false));
    let sure = node.beliefs.iter().all(|belief| {
        let delays = belief.rx1_delay_us();
        delays.sure && delays.may.is_empty()
    });
    let delay = |fit, want| Test {
        setting: Setting::Delay,
        got: Got::Us(us),
        want: Some(Got::Us(want)),
        fit,
        sure: sure && node.beliefs.len() == 1,
    };
    let of = |window: Window| if window == Window::Rx1 { first.clone() } else { second.clone() };
    // Of two windows that may be meant, the one whose frequency and rate fit.
    let best = at.iter().find(|(window, _)| hold(&of(*window))).or(at.first()).copied();
    let Some((own, want)) = best else { return };
    aim.window = own;
    aim.tests = of(own);
    aim.tests.insert(0, delay(Fit::Yes, want));
    if hold(&of(own)) {
        return;
    }
    // In class C RX2 is open at any time.
    if node.class == Some(Class::C) && own == Window::Rx1 && hold(&second) {
        aim.window = Window::Open;
        aim.tests = rx2(node, sending, true);
        return;
    }
    // All of the other window but its time.
    let other = if own == Window::Rx1 { (Window::Rx2, &second) } else { (Window::Rx1, &first) };
    if hold(other.1) {
        aim.looks_like = Some(other.0);
    }
}

/// A downlink by the gateway's counter at no window's delay.
fn elsewhere(aim: &mut Aim, node: &Node<'_>, up: &Sighting, sending: &Sending, is_class_b: bool) {
    let open = rx2(node, sending, true);
    if node.class == Some(Class::C) {
        aim.window = Window::Open;
        aim.tests = open;
        return;
    }
    // A ping slot by the counter: only a clock that is true to 15 ms would tell.
    if is_class_b {
        return;
    }
    let us = aim.us.unwrap_or_default();
    let first = rx1(node, up, sending);
    let second = rx2(node, sending, false);
    // The server takes it for class C.
    if node.recorded == Some(Class::C) && hold(&open) && !hold(&first) {
        aim.window = Window::Elsewhere;
        let fit = if node.class == Some(Class::A) { Fit::No } else { Fit::Unknown };
        let setting = Setting::Class;
        aim.tests = vec![Test { setting, got: Got::Plain, want: None, fit, sure: false }];
        return;
    }
    aim.looks_like = match (hold(&first), hold(&second)) {
        (true, _) => Some(Window::Rx1),
        (false, true) => Some(Window::Rx2),
        (false, false) => None,
    };
    let expected = |belief: &Belief| belief.rx1_delay_us();
    let test = node.test(Setting::Delay, Got::Us(us), expected, Got::Us);
    // The other window's delay is as good, and neither is this one.
    let mut test = Test { fit: if test.fit == Fit::Yes { Fit::Unknown } else { test.fit }, ..test };
    // Nobody says that the node is not in class C, where RX2 is open at any time.
    if node.class.is_none() && hold(&open) && !hold(&first) {
        test.fit = Fit::Unknown;
    }
    aim.window = if test.fit == Fit::Unknown { Window::Unsaid } else { Window::Elsewhere };
    aim.tests = vec![test];
}

/// A downlink that is sent as soon as it comes.
fn at_once(aim: &mut Aim, node: &Node<'_>, sending: &Sending) {
    match (node.class, node.recorded) {
        (Some(Class::C), _) => {
            aim.window = Window::Open;
            aim.tests = rx2(node, sending, true);
        }
        (Some(Class::A), Some(Class::C)) => {
            aim.window = Window::Elsewhere;
            let setting = Setting::Class;
            let fit = Fit::No;
            aim.tests = vec![Test { setting, got: Got::Plain, want: None, fit, sure: false }];
        }
        _ => {}
    }
}

/// The dwell limit, where TXParamSetupReq set it.
fn dwell(aim: &mut Aim, node: &Node<'_>, sending: &Sending) {
    let limit = node.plan.dwell.downlink_ms;
    let Some(rate) = sending.modulation.filter(|_| limit > 0 && aim.window != Window::Unsaid)
    else {
        return;
    };
    let in_force = |belief: &&Belief| belief.down_dwell.sure() == Some(&true);
    if !node.beliefs.iter().all(in_force) {
        return;
    }
    let air = time_on_air(rate, sending.octets.len(), Direction::Downlink);
    let Some(us) = air.and_then(|air| i64::try_from(air.as_micros()).ok()) else { return };
    let fit = if us > i64::from(limit) * 1_000 { Fit::No } else { Fit::Yes };
    let want = Some(Got::Us(i64::from(limit) * 1_000));
    let setting = Setting::Dwell;
    aim.tests.push(Test { setting, got: Got::Us(us), want, fit, sure: true });
}
