//! What is wrong with the windows of a session's downlinks, setting by setting, and what explains it.

use std::collections::BTreeMap;

use super::aimed::Aimed;
use crate::{
    fact::Certainty,
    frame::{Direction, command::Command},
    ladder::{
        join,
        session::aim::{Aim, Got, Setting, Test, Window},
    },
    radio::Modulation,
    trace::{
        Origin,
        settings::{Belief, By, Exchange, Fate, Fit, Held},
    },
};

/// So many contradictions of one kind decide (two, where the node shows that it missed them): a server
/// may try another window once.
const DECIDE: usize = 3;
/// Requests that are looked back through for older values.
const OLDER: usize = 4;

/// Why a value is another than the one in force.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub(in crate::ladder) enum Why {
    /// It is the one before this exchange, which the node took.
    KeepsOld(usize),
    /// It is what this exchange asked for, which the node did not take.
    NotHeld(usize),
    /// It is the one on record.
    Record,
    /// It is that of this RX1DROffset.
    Offset(u8),
    /// It would be right without the dwell limit in force.
    Dwell,
    /// Nothing in sight has it.
    Plain,
}

/// Downlinks that contradict one setting in one way.
#[derive(Clone, Debug)]
pub(in crate::ladder) struct Fault {
    pub(in crate::ladder) setting: Setting,
    pub(in crate::ladder) why: Why,
    /// The downlinks, by their place in [`Aimed::aims`], each with the test that it fails.
    pub(in crate::ladder) misses: Vec<(usize, Test)>,
    pub(in crate::ladder) certainty: Certainty,
}

/// Returns the faults of a session's windows, those of the lower setting first.
pub(in crate::ladder::session) fn of(join: &join::Case<'_>, story: &Aimed<'_>) -> Vec<Fault> {
    let as_rx2 = takes_for_rx2(story);
    let plain = wrong_in_place(story);
    let mut by_setting: BTreeMap<Setting, Vec<(usize, Test)>> = BTreeMap::new();
    for (place, aim) in story.aims.iter().enumerate() {
        for test in tests(aim, as_rx2, &plain) {
            by_setting.entry(test.setting).or_default().push((place, test));
        }
    }
    let mut out = Vec::new();
    for (setting, tests) in by_setting {
        let misses: Vec<(usize, Test)> =
            tests.iter().filter(|(_, test)| test.fit == Fit::No).copied().collect();
        if misses.is_empty() || is_over(&tests) {
            continue;
        }
        if setting == Setting::Rx1Frequency && is_of_unknown_type(story) {
            continue;
        }
        // How long a frame may last is the law's: a node receives a longer one as well.
        if setting != Setting::Dwell && is_taken_all_the_same(story, &misses) {
            continue;
        }
        let mut by_why: BTreeMap<Why, Vec<(usize, Test)>> = BTreeMap::new();
        for (place, test) in once(story, misses) {
            let why = why(join, story, setting, place, &test);
            by_why.entry(why).or_default().push((place, test));
        }
        offsets(story, setting, &mut by_why);
        for (why, misses) in by_why {
            let certainty = certainty(story, setting, why, &misses);
            out.push(Fault { setting, why, misses, certainty });
        }
    }
    out
}

/// A downlink that has all of the other window but its time: is its time wrong, or all else? Where the
/// server sends to that window at the right time as well, all else; and where there is but one, whose time
/// is a window's.
fn takes_for_rx2(story: &Aimed<'_>) -> bool {
    let right = |aim: &Aim| aim.is_right() && aim.window == Window::Rx1;
    let as_rx1 = |aim: &&Aim| (aim.window, aim.looks_like) == (Window::Rx2, Some(Window::Rx1));
    story.aims.iter().any(right) || story.aims.iter().filter(as_rx1).count() < 2
}

/// Whether frequency or data rate are wrong.
fn is_off(aim: &Aim) -> bool {
    let own = |test: &&Test| !matches!(test.setting, Setting::Polarity | Setting::Dwell);
    aim.tests.iter().filter(own).any(|test| test.fit == Fit::No)
}

/// The windows in which downlinks are wrong that have nothing of the other window: what they have in
/// common with the others is that window.
fn wrong_in_place(story: &Aimed<'_>) -> Vec<Window> {
    let own = |aim: &&Aim| {
        matches!(aim.window, Window::Rx1 | Window::Rx2) && aim.looks_like.is_none() && is_off(aim)
    };
    story.aims.iter().filter(own).map(|aim| aim.window).collect()
}

fn tests(aim: &Aim, right_rx1: bool, plain: &[Window]) -> Vec<Test> {
    let wrong = is_off(aim);
    let misplaced = match (aim.window, aim.looks_like) {
        (Window::Rx2, Some(Window::Rx1)) => wrong && !right_rx1,
        (Window::Rx1, Some(Window::Rx2)) => wrong,
        _ => false,
    };
    if !misplaced || plain.contains(&aim.window) {
        return aim.tests.clone();
    }
    let late = aim.tests.iter().filter(|test| test.setting == Setting::Delay).map(|test| {
        // The window that it looks like opens a second before, or after.
        let second = if aim.window == Window::Rx2 { -1_000_000 } else { 1_000_000 };
        let want = match test.want {
            Some(Got::Us(us)) => Some(Got::Us(us + second)),
            other => other,
        };
        Test { fit: Fit::No, want, ..*test }
    });
    let others = aim
        .tests
        .iter()
        .filter(|test| matches!(test.setting, Setting::Polarity | Setting::Dwell))
        .copied();
    late.chain(others).collect()
}

/// Whether a fault is of the past: the last downlinks are right.
fn is_over(tests: &[(usize, Test)]) -> bool {
    let right_since = tests.iter().rev().take_while(|(_, test)| test.fit != Fit::No);
    right_since.filter(|(_, test)| test.fit == Fit::Yes).count() >= 2
}

/// Whether the node's windows depend on a join channel that nobody knows: CN470's plans of 20 and 26 MHz
/// tell the kind of a node by it (regions reference, join channels of CN470), and a session that is built in
/// has none.
fn is_of_unknown_type(story: &Aimed<'_>) -> bool {
    let is_built_in = matches!(story.session.origin, Origin::Claim(_));
    is_built_in && story.plan.is_some_and(|plan| plan.name.starts_with("CN470-2"))
}

/// Whether the node received downlinks that contradict what is in force: then it is not in force.
fn is_taken_all_the_same(story: &Aimed<'_>, misses: &[(usize, Test)]) -> bool {
    let down = |place: usize| story.aims.get(place).map(|aim| aim.down);
    let shown = |place: usize| down(place).and_then(|down| story.shown.get(down));
    misses.iter().any(|(place, _)| shown(*place).is_some_and(|shown| shown.is_received()))
}

/// The same frame, ordered twice, is one downlink.
fn once(story: &Aimed<'_>, misses: Vec<(usize, Test)>) -> Vec<(usize, Test)> {
    let octets = |place: usize| {
        let aim = story.aims.get(place)?;
        story.sending(aim.down).map(|sending| &sending.octets)
    };
    let mut out: Vec<(usize, Test)> = Vec::with_capacity(misses.len());
    for (place, test) in misses {
        let known = out.iter().rev().take(4).any(|(own, _)| octets(*own) == octets(place));
        if !known {
            out.push((place, test));
        }
    }
    out
}

fn certainty(story: &Aimed<'_>, setting: Setting, why: Why, misses: &[(usize, Test)]) -> Certainty {
    let is_missed = |(place, _): &&(usize, Test)| {
        let down = story.aims.get(*place).map(|aim| aim.down);
        down.and_then(|down| story.shown.get(down)).is_some_and(|shown| shown.is_missed())
    };
    let shown = misses.iter().filter(is_missed).count();
    let by_count = match misses.len() {
        DECIDE.. => Certainty::Certain,
        2 if shown > 0 => Certainty::Certain,
        2 => Certainty::Likely,
        _ => Certainty::Possible,
    };
    let exchange = |place: usize| story.settings.exchanges.get(place);
    match why {
        Why::KeepsOld(_) if misses.len() >= 2 => Certainty::Certain,
        Why::NotHeld(place) => match exchange(place).map(|exchange| &exchange.fate) {
            Some(Fate::Refused(_)) => by_count,
            // A request may have been taken and not answered.
            _ => by_count.max(Certainty::Likely),
        },
        Why::Offset(_) if up_rates(story, misses).len() < 2 => by_count.max(Certainty::Likely),
        // What is said of a firmware may be wrong; the node's own word is not.
        _ if setting == Setting::Class && !says_its_class(story, misses) => {
            by_count.max(Certainty::Likely)
        }
        Why::KeepsOld(_) | Why::Record | Why::Offset(_) | Why::Dwell | Why::Plain => by_count,
    }
}

/// Whether the node itself announced its class, by DeviceModeInd.
fn says_its_class(story: &Aimed<'_>, misses: &[(usize, Test)]) -> bool {
    let turns = misses.iter().filter_map(|(place, _)| story.aims.get(*place)?.turn);
    turns.into_iter().all(|turn| story.at(turn).class.by() == By::Node)
}

/// The uplink data rates that downlinks answer.
fn up_rates(story: &Aimed<'_>, misses: &[(usize, Test)]) -> Vec<Modulation> {
    let mut out = Vec::new();
    for (place, _) in misses {
        if let Some(rate) = up_rate(story, *place)
            && !out.contains(&rate)
        {
            out.push(rate);
        }
    }
    out
}

/// The data rate of the uplink that a downlink answers.
pub(in crate::ladder) fn up_rate(story: &Aimed<'_>, aim: usize) -> Option<Modulation> {
    let up = story.aims.get(aim)?.up?;
    story.heard(up)?.best().modulation
}

/// The frequency of the uplink that a downlink answers.
pub(in crate::ladder) fn up_hz(story: &Aimed<'_>, aim: usize) -> Option<u32> {
    let up = story.aims.get(aim)?.up?;
    story.heard(up)?.best().freq_hz
}

/// What a downlink would have by other settings than those in force.
fn has(story: &Aimed<'_>, setting: Setting, place: usize, test: &Test, by: &Belief) -> bool {
    let Some(plan) = story.plan else { return false };
    let Some(aim) = story.aims.get(place) else { return false };
    let is = |got: Got| got.same(test.got);
    match setting {
        Setting::Delay => {
            let delay = by.rx1_delay_us().want;
            // It is known which window is meant where frequency and data rate show it.
            let second = match (aim.window, aim.looks_like) {
                (_, Some(Window::Rx1)) => [Some(0), None],
                (_, Some(Window::Rx2)) => [Some(1_000_000), None],
                _ => [Some(0), Some(1_000_000)],
            };
            second.into_iter().flatten().any(|s| delay.is_some_and(|us| is(Got::Us(us + s))))
        }
        Setting::Rx1Frequency => {
            let up = up_hz(story, place).zip(up_rate(story, place));
            up.and_then(|(hz, rate)| by.rx1_hz(plan, hz, rate).want)
                .is_some_and(|hz| is(Got::Hz(hz)))
        }
        Setting::Rx1Rate => {
            let rate = up_rate(story, place).and_then(|rate| by.rx1_rate(plan, rate).want);
            rate.is_some_and(|rate| is(Got::Rate(rate)))
        }
        Setting::Rx2Frequency | Setting::OpenFrequency => {
            by.rx2_freq().want.is_some_and(|hz| is(Got::Hz(hz)))
        }
        Setting::Rx2Rate | Setting::OpenRate => {
            by.rx2_modulation(plan).want.is_some_and(|rate| is(Got::Rate(rate)))
        }
        Setting::PingFrequency => by.ping_hz.value().is_some_and(|hz| match hz {
            // The plan's own, whichever of its channels.
            0 => true,
            hz => is(Got::Hz(*hz)),
        }),
        Setting::PingRate => {
            let rate = by.ping_rate.value().and_then(|dr| plan.dr(Direction::Downlink, *dr));
            rate.is_some_and(|rate| is(Got::Rate(rate)))
        }
        Setting::Class | Setting::Slot | Setting::Polarity | Setting::Dwell => false,
    }
}

/// Who set what a setting has at a turn.
fn set_by(story: &Aimed<'_>, setting: Setting, place: usize, belief: &Belief) -> By {
    let rx1 = || {
        let hz = up_hz(story, place)?;
        let mut channels = belief.channels_at(hz);
        channels.find_map(|(index, _)| Some(belief.moved.get(&index)?.by()))
    };
    match setting {
        Setting::Delay => belief.rx_delay.by(),
        Setting::Rx1Frequency => rx1().unwrap_or(By::Plan),
        Setting::Rx1Rate => match (belief.rx1_offset.by(), belief.down_dwell.by()) {
            (By::Exchange(a), By::Exchange(b)) => By::Exchange(a.max(b)),
            (By::Exchange(a), _) | (_, By::Exchange(a)) => By::Exchange(a),
            (own, _) => own,
        },
        Setting::Rx2Frequency | Setting::OpenFrequency => belief.rx2_hz.by(),
        Setting::Rx2Rate | Setting::OpenRate => belief.rx2_rate.by(),
        Setting::PingFrequency => belief.ping_hz.by(),
        Setting::PingRate => belief.ping_rate.by(),
        Setting::Class | Setting::Slot | Setting::Polarity | Setting::Dwell => By::Nobody,
    }
}

fn why(
    join: &join::Case<'_>,
    story: &Aimed<'_>,
    setting: Setting,
    place: usize,
    test: &Test,
) -> Why {
    let Some(turn) = story.aims.get(place).and_then(|aim| aim.turn) else { return Why::Plain };
    let now = story.at(turn);
    if setting == Setting::Dwell {
        return Why::Dwell;
    }
    if setting == Setting::Rx1Rate && is_right_without_dwell(story, place, test, now) {
        return Why::Dwell;
    }
    // Older values, from the newest request on.
    let mut by = set_by(story, setting, place, now);
    for _ in 0..OLDER {
        let By::Exchange(exchange) = by else { break };
        let Some(asked) = story.settings.exchanges.get(exchange).and_then(|e| e.turn) else {
            break;
        };
        let before = story.at(asked);
        if has(story, setting, place, test, before) {
            return Why::KeepsOld(exchange);
        }
        by = set_by(story, setting, place, before);
    }
    let down = story.aims.get(place).map_or(usize::MAX, |aim| aim.down);
    let asked = story.settings.exchanges.iter().enumerate().rev();
    for (number, exchange) in asked.filter(|(_, exchange)| exchange.asked < down) {
        let not_taken = matches!(exchange.fate, Fate::Refused(_) | Fate::Unanswered { .. });
        if not_taken && asks_for(story, setting, place, test, exchange) {
            return Why::NotHeld(number);
        }
    }
    if is_on_record(join, story, setting, place, test, now) {
        return Why::Record;
    }
    Why::Plain
}

fn is_right_without_dwell(story: &Aimed<'_>, place: usize, test: &Test, now: &Belief) -> bool {
    let (Some(plan), Some(up)) = (story.plan, up_rate(story, place)) else { return false };
    let Some(up_dr) = plan.dr_of(Direction::Uplink, up) else { return false };
    let limited = now.down_dwell.sure() == Some(&true);
    let free = now.rx1_offset.value().and_then(|offset| plan.rx1_dr(up_dr, *offset, false));
    let rate = free.and_then(|dr| plan.dr(Direction::Downlink, dr));
    limited && rate.is_some_and(|rate| Got::Rate(rate).same(test.got))
}

fn number<T: TryFrom<i64>>(request: &Command, field: &str) -> Option<T> {
    T::try_from(request.number(field)?).ok()
}

/// Whether a request asks for what a downlink has.
fn asks_for(
    story: &Aimed<'_>,
    setting: Setting,
    place: usize,
    test: &Test,
    exchange: &Exchange,
) -> bool {
    let Some(request) = exchange.requests.first() else { return false };
    let Some(turn) = story.aims.get(place).and_then(|aim| aim.turn) else { return false };
    let mut other = story.at(turn).clone();
    match (setting, request.name()) {
        (Setting::Delay, "RXTimingSetupReq") => {
            let Some(del) = number::<u8>(request, "Del") else { return false };
            other.rx_delay = Held::stated(del.max(1));
        }
        (Setting::Rx1Rate, "RXParamSetupReq") => {
            let Some(offset) = number(request, "RX1DROffset") else { return false };
            other.rx1_offset = Held::stated(offset);
        }
        (Setting::Rx1Rate, "TXParamSetupReq") => {
            let Some(dwell) = request.flag("DownlinkDwellTime") else { return false };
            other.down_dwell = Held::stated(dwell);
        }
        (Setting::Rx2Frequency | Setting::OpenFrequency, "RXParamSetupReq") => {
            let Some(hz) = number(request, "Frequency") else { return false };
            other.rx2_hz = Held::stated(hz);
        }
        (Setting::Rx2Rate | Setting::OpenRate, "RXParamSetupReq") => {
            let Some(rate) = number(request, "RX2DataRate") else { return false };
            other.rx2_rate = Held::stated(rate);
        }
        (Setting::Rx1Frequency, "DlChannelReq") => {
            let (Some(index), Some(hz)) =
                (number(request, "ChIndex"), number(request, "Frequency"))
            else {
                return false;
            };
            other.moved.insert(index, Held::stated(hz));
        }
        (Setting::PingFrequency, "PingSlotChannelReq") => {
            let Some(hz) = number::<u32>(request, "Frequency").filter(|hz| *hz > 0) else {
                return false;
            };
            other.ping_hz = Held::stated(hz);
        }
        (Setting::PingRate, "PingSlotChannelReq") => {
            let Some(rate) = number(request, "DR") else { return false };
            other.ping_rate = Held::stated(rate);
        }
        _ => return false,
    }
    has(story, setting, place, test, &other)
}

/// Whether a downlink has what is on record, and what no default has.
fn is_on_record(
    join: &join::Case<'_>,
    story: &Aimed<'_>,
    setting: Setting,
    place: usize,
    test: &Test,
    now: &Belief,
) -> bool {
    let (Some(record), Some(plan)) = (join.record(), story.plan) else { return false };
    let mut other = now.clone();
    let mut default = now.clone();
    match setting {
        Setting::Delay => {
            let Some(delay) = record.rx1_delay else { return false };
            other.rx_delay = Held::stated(delay.max(1));
            default.rx_delay = Held::stated(1);
        }
        Setting::Rx1Rate => {
            let Some(offset) = record.rx1_dr_offset else { return false };
            other.rx1_offset = Held::stated(offset);
            default.rx1_offset = Held::stated(0);
        }
        Setting::Rx2Rate | Setting::OpenRate => {
            let Some(rate) = record.rx2_data_rate else { return false };
            other.rx2_rate = Held::stated(rate);
            default.rx2_rate = Held::stated(plan.rx2_default.dr);
        }
        Setting::Rx2Frequency | Setting::OpenFrequency => {
            let Some(hz) = record.rx2_frequency else { return false };
            other.rx2_hz = Held::stated(hz);
            default.rx2_hz = Held::stated(plan.rx2().freq_hz);
        }
        _ => return false,
    }
    has(story, setting, place, test, &other) && !has(story, setting, place, test, &default)
}

/// Data rates of RX1 that nothing explains: is one RX1DROffset behind all of them?
fn offsets(story: &Aimed<'_>, setting: Setting, by_why: &mut BTreeMap<Why, Vec<(usize, Test)>>) {
    if setting != Setting::Rx1Rate {
        return;
    }
    let Some(misses) = by_why.get(&Why::Plain) else { return };
    let Some(plan) = story.plan else { return };
    let mut common: Option<Vec<u8>> = None;
    for (place, test) in misses {
        let turn = story.aims.get(*place).and_then(|aim| aim.turn);
        let (Some(turn), Some(up), Got::Rate(down)) = (turn, up_rate(story, *place), test.got)
        else {
            return;
        };
        let giving = story.at(turn).offsets_giving(plan, up, down);
        common = Some(match common {
            None => giving,
            Some(held) => held.into_iter().filter(|offset| giving.contains(offset)).collect(),
        });
    }
    let common = common.unwrap_or_default();
    // Zero, as if nobody had given any; or what somebody gave.
    let in_force = story.settings.last().rx1_offset.value().copied();
    let stated = story
        .settings
        .exchanges
        .iter()
        .filter_map(|exchange| number::<u8>(exchange.requests.first()?, "RX1DROffset"));
    let given = story.settings.at(0).rx1_offset.value().copied();
    let known: Vec<u8> = stated.chain(given).chain([0]).filter(|o| Some(*o) != in_force).collect();
    let of_rx2 = |(place, test): &(usize, Test)| {
        let turn = story.aims.get(*place).and_then(|aim| aim.turn);
        let rx2 = turn.and_then(|turn| story.at(turn).rx2_modulation(plan).want);
        rx2.is_some_and(|rate| Got::Rate(rate).same(test.got))
    };
    let told = known.iter().copied().find(|offset| common.contains(offset)).or_else(|| {
        let several = up_rates(story, misses).len() >= 2 && !misses.iter().all(of_rx2);
        several.then(|| common.first().copied()).flatten()
    });
    if let Some(offset) = told
        && let Some(misses) = by_why.remove(&Why::Plain)
    {
        by_why.insert(Why::Offset(offset), misses);
    }
}
