//! A session told in full, for reports: the settings of both sides in the end, and where its last downlinks went.
//!
//! What the node holds is what the capture shows to be in force. What the server holds shows only in its downlinks:
//! beside each setting stands what the last of them has.

use super::{
    Case, Story,
    aim::{Aim, Got, Setting, Window},
    words,
};
use crate::{
    fact::{Cite, Fact, Value, fact},
    frame::Direction,
    radio::{Modulation, time_on_air},
    region::Plan,
    roster::Class,
    trace::settings::{By, Fit, Held},
};

/// Downlinks that are told one by one.
const DOWNLINKS: usize = 6;
/// What is said of a setting that nothing in the capture tells.
const UNSHOWN: &str = "not in the capture";

/// The settings of a session in the end, and its last downlinks.
#[derive(Clone, Debug, Default)]
pub struct Account {
    /// The settings, in the order of the standard.
    pub settings: Vec<SettingTold>,
    /// The last downlinks, in order; those that miss their window come first to be told where they are many.
    pub downlinks: Vec<DownlinkTold>,
    /// How many more there are.
    pub more: usize,
}

/// One setting.
#[derive(Clone, Debug)]
pub struct SettingTold {
    /// Its name.
    pub name: &'static str,
    /// What is in force.
    pub in_force: Fact,
    /// Who set it.
    pub set_by: Fact,
    /// What the server's last downlink that shows it has.
    pub server: Option<Fact>,
    /// How that fits.
    pub fit: Fit,
}

/// One downlink, and the windows that were open for it.
#[derive(Clone, Debug)]
pub struct DownlinkTold {
    /// Where it is in the capture.
    pub at: Cite,
    /// The uplink that it answers.
    pub uplink: Option<Cite>,
    /// Microseconds from the end of that uplink to its slot.
    pub slot_us: Option<i64>,
    /// Microseconds from there to RX1 by the settings in force; RX2 is a second later.
    pub rx1_us: Option<i64>,
    /// How long it is on the air, microseconds; 0 where that is not known.
    pub air_us: i64,
    /// Its frequency, hertz.
    pub freq_hz: Option<u32>,
    /// Its modulation.
    pub modulation: Option<Modulation>,
    /// The window that it is aimed at.
    pub window: &'static str,
    /// Whether it is as that window expects it.
    pub fit: Fit,
    /// What it is not.
    pub wrong: Vec<Fact>,
    /// Whether the gateway refused it.
    pub refused: bool,
}

/// Returns the account of a session, by its place.
pub(in crate::ladder) fn of(case: &Case<'_>, session: usize) -> Option<Account> {
    let story = case.story(session)?;
    let (downlinks, more) = downlinks(story);
    Some(Account { settings: settings(case, story), downlinks, more })
}

fn settings(case: &Case<'_>, story: &Story<'_>) -> Vec<SettingTold> {
    let last = story.settings.last();
    let of = |name, in_force: Option<Fact>, set_by: By, setting: &[Setting]| {
        let shown = shown(story, setting);
        SettingTold {
            name,
            in_force: in_force.unwrap_or_else(|| UNSHOWN.into()),
            set_by: source(case, story, set_by),
            server: shown.map(|(got, _)| fact!("{value}", value = got.value())),
            fit: shown.map_or(Fit::Unknown, |(_, fit)| fit),
        }
    };
    let seconds = |s: &u8| Value::Fact(Box::new(fact!("{seconds} s", seconds = *s)));
    let down = |dr: &u8| rate(story.plan, Direction::Downlink, *dr);
    let up = |dr: &u8| rate(story.plan, Direction::Uplink, *dr);
    let number = |n: &u8| Value::from(*n);
    let mut out = vec![
        of("RX1 delay", held(&last.rx_delay, seconds), last.rx_delay.by(), &[Setting::Delay]),
        of("RX1DROffset", held(&last.rx1_offset, number), last.rx1_offset.by(), &[]),
        of(
            "RX2 frequency",
            held(&last.rx2_hz, |hz| Value::Frequency(*hz)),
            last.rx2_hz.by(),
            &[Setting::Rx2Frequency, Setting::OpenFrequency],
        ),
        of(
            "RX2 data rate",
            held(&last.rx2_rate, down),
            last.rx2_rate.by(),
            &[Setting::Rx2Rate, Setting::OpenRate],
        ),
    ];
    // The rest is told where somebody set it.
    let set = |by: By| !matches!(by, By::Plan | By::Nobody);
    let class = |class: &Class| Value::Text(class.name().into());
    let rows = [
        ("data rate", held(&last.rate, up), last.rate.by()),
        ("TXPower", held(&last.power, number), last.power.by()),
        ("NbTrans", held(&last.nb_trans, number), last.nb_trans.by()),
        ("MaxDCycle", held(&last.duty, number), last.duty.by()),
        (
            "channels enabled",
            held(&last.mask, |mask| Value::Channels(mask.channels().collect())),
            last.mask.by(),
        ),
        ("class", held(&last.class, class), last.class.by()),
        ("ping slot periodicity", held(&last.ping_period, number), last.ping_period.by()),
        ("ping slot data rate", held(&last.ping_rate, down), last.ping_rate.by()),
    ];
    let rows = rows.into_iter().filter(|(_, _, by)| set(*by));
    out.extend(rows.map(|(name, in_force, by)| of(name, in_force, by, &[])));
    out
}

fn rate(plan: Option<&Plan>, way: Direction, dr: u8) -> Value {
    let modulation = plan.and_then(|plan| plan.dr(way, dr));
    let name = Value::Text(format!("DR{dr}").into());
    match modulation {
        Some(modulation) => Value::List(vec![name, Value::Rate(modulation)], ", "),
        None => name,
    }
}

/// What holds, and what may hold as well; `None` where nothing is known.
fn held<T>(held: &Held<T>, value: impl Fn(&T) -> Value) -> Option<Fact> {
    let own = value(held.value()?);
    let sure = if held.is_known() { "" } else { "; commands may be missing since then" };
    if held.maybe().is_empty() {
        return Some(fact!("{value}{sure}", value = own, sure));
    }
    let maybe = Value::List(held.maybe().iter().map(value).collect(), ", ");
    Some(fact!(
        "{value}; or {maybe}: the fate of a request is not known{sure}",
        value = own,
        maybe,
        sure
    ))
}

fn source(case: &Case<'_>, story: &Story<'_>, by: By) -> Fact {
    match by {
        By::Plan => "the channel plan".into(),
        By::Accept => match words::accept_at(case, story) {
            Some(accept) => fact!("the accept, {accept}", accept),
            None => "the accept".into(),
        },
        By::Exchange(place) => match story.settings.exchanges.get(place) {
            Some(exchange) => fact!(
                "{request}, {downlink}",
                request = words::commands(&exchange.requests),
                downlink = story.cite(exchange.asked)
            ),
            None => "a MAC request".into(),
        },
        By::Firmware => "the firmware".into(),
        By::Node => "the node's own command".into(),
        By::Nobody => UNSHOWN.into(),
    }
}

/// What the last downlink that shows one of some settings has, and how it fits.
fn shown(story: &Story<'_>, settings: &[Setting]) -> Option<(Got, Fit)> {
    let tests = story.aims.iter().rev().flat_map(|aim| aim.tests.iter().map(move |t| (aim, t)));
    let mut own = tests.filter(|(aim, test)| {
        // The time of a downlink in RX2 says nothing of RX1's that its own does not.
        settings.contains(&test.setting)
            && (test.setting != Setting::Delay || aim.window != Window::Rx2)
    });
    own.next().map(|(_, test)| (test.got, test.fit))
}

fn downlinks(story: &Story<'_>) -> (Vec<DownlinkTold>, usize) {
    let mut places: Vec<usize> = (0..story.aims.len()).collect();
    let wrong = |place: &usize| story.aims.get(*place).is_some_and(Aim::is_wrong);
    places.sort_by_key(|place| (!wrong(place), std::cmp::Reverse(*place)));
    let more = places.len().saturating_sub(DOWNLINKS);
    places.truncate(DOWNLINKS);
    places.sort_unstable();
    let told = places.into_iter().filter_map(|place| downlink(story, story.aims.get(place)?));
    (told.collect(), more)
}

fn downlink(story: &Story<'_>, aim: &Aim) -> Option<DownlinkTold> {
    let sending = story.sending(aim.down)?;
    let air = sending
        .modulation
        .and_then(|modulation| time_on_air(modulation, sending.octets.len(), Direction::Downlink));
    let fit = if aim.is_wrong() {
        Fit::No
    } else if aim.is_right() {
        Fit::Yes
    } else {
        Fit::Unknown
    };
    let wrong = aim.tests.iter().filter(|test| test.fit == Fit::No).map(|test| {
        let want = test.want.map_or(Value::Text(UNSHOWN.into()), Got::value);
        let name = name_of(test.setting);
        match test.got {
            Got::Plain => fact!("{setting}", setting = name),
            got => {
                fact!("{setting} {got}, expected {want}", setting = name, got = got.value(), want)
            }
        }
    });
    Some(DownlinkTold {
        at: story.cite(aim.down),
        uplink: aim.up.map(|up| story.cite(up)),
        slot_us: aim.us,
        rx1_us: aim.turn.and_then(|turn| story.at(turn).rx1_delay_us().want),
        air_us: air.and_then(|air| i64::try_from(air.as_micros()).ok()).unwrap_or_default(),
        freq_hz: sending.freq_hz,
        modulation: sending.modulation,
        window: match aim.window {
            Window::Rx1 => "RX1",
            Window::Rx2 => "RX2",
            Window::Open => "RX2 of class C",
            Window::Ping => "a ping slot",
            Window::Elsewhere => "no window",
            Window::Unsaid => "a time that the capture does not say",
        },
        fit,
        wrong: wrong.collect(),
        refused: !story.went_out(aim.down),
    })
}

const fn name_of(setting: Setting) -> &'static str {
    match setting {
        Setting::Delay => "delay",
        Setting::Rx1Frequency
        | Setting::Rx2Frequency
        | Setting::OpenFrequency
        | Setting::PingFrequency => "frequency",
        Setting::Rx1Rate | Setting::Rx2Rate | Setting::OpenRate | Setting::PingRate => "data rate",
        Setting::Class => "sent as to class C, and the node is of class A",
        Setting::Slot => "distance to the nearest ping slot",
        Setting::Polarity => "chirps not inverted, so that no node hears it",
        Setting::Dwell => "time on air",
    }
}
