//! Exercises about receive windows: when, on which frequency, at which data rate.

use super::{Answer, Given, Made, Quantity, Question, Value, stage::Stage};
use crate::{
    frame::{Direction, FType},
    radio::Modulation,
    region::{Plan, Window},
    scenario::{Dice, join_rates},
};

/// The second by which data's RX1 follows when RxDelay says nothing else.
const SECOND_US: u32 = 1_000_000;

pub(super) fn join(dice: &mut Dice) -> Option<Made> {
    let name = dice.pick(&["EU868", "US915", "AU915", "AS923-1", "IN865"])?;
    let plan = Plan::by_name(name)?;
    let stage = Stage::new(dice, name, |_| {})?;
    let up = stage.first_heard(FType::JoinRequest)?;
    let (hz, rate) = (up.freq_hz?, up.modulation?);
    let ended = near_a_wrap(dice, up.tmst?);
    let (rx1, rx2) = (plan.join_rx1(hz, rate)?, plan.join_rx2(hz));
    let delays = [plan.delays.join_accept_1_s, plan.delays.join_accept_2_s];
    let [first, second] = delays.map(|s| u32::from(s) * SECOND_US);
    let counter = counter(ended, first)
        .unless(
            Value::Number(ended.wrapping_add(SECOND_US).into()),
            "one second is the delay of data; a Join-Accept comes after JOIN_ACCEPT_DELAY1",
        )
        .unless(Value::Number(ended.wrapping_add(second).into()), "that is RX2");
    let questions = vec![
        Question::new("The gateway's counter at the start of RX1:", counter).because(format!(
            "{ended} + {first} (JOIN_ACCEPT_DELAY1, {} s), modulo 2^32",
            first / SECOND_US
        )),
        Question::new("RX1's frequency:", rx1_frequency(plan, hz, rx1, rx2))
            .because(frequency_rule(plan, hz, rx1)),
        Question::new("RX1's data rate:", rate_answer(plan, rx1, rate, rx2))
            .because(format!("{rate} up, RX1DROffset 0 for a Join-Accept: DR{} down", rx1.dr)),
        Question::new(
            "RX2's frequency:",
            Answer::new(Value::Quantity(Quantity::hertz(rx2.freq_hz)))
                .unless(Value::Quantity(Quantity::hertz(rx1.freq_hz)), "that is RX1's"),
        )
        .because(format!(
            "{} sets it: {} MHz, DR{}",
            plan.name,
            megahertz(rx2.freq_hz),
            rx2.dr
        )),
    ];
    let mut given = vec![Given::words("A gateway's report of a Join-Request:")];
    given.extend(report(plan, hz, rate, ended));
    Some(Made { given, questions })
}

pub(super) fn data(dice: &mut Dice) -> Option<Made> {
    let name = dice.pick(&["EU868", "US915", "AU915", "IN865"])?;
    let plan = Plan::by_name(name)?;
    let stage = Stage::new(dice, name, |probe| probe.uplinks = 2)?;
    let is_data = |m: crate::frame::Mhdr| m.ftype().is_data();
    let up = stage.heard().find(|heard| heard.frame.mhdr().is_some_and(is_data))?;
    let hz = up.freq_hz?;
    let dr = dice.pick(&join_rates(plan))?;
    let rate = plan.dr(Direction::Uplink, dr)?;
    let ended = near_a_wrap(dice, up.tmst?);
    let (rx_delay, offset) = (dice.pick(&[0u8, 1, 2, 5])?, dice.pick(&[0u8, 1, 2, 3])?);
    let seconds = u32::from(rx_delay.max(1));
    let rx1 = plan.rx1(hz, rate, offset, false)?;
    let counter = counter(ended, seconds * SECOND_US)
        .unless(Value::Number(ended.into()), "RxDelay 0 means one second, as 1 does")
        .unless(
            Value::Number(ended.wrapping_add((seconds + 1) * SECOND_US).into()),
            "that is RX2, a second after RX1",
        )
        .unless(
            Value::Number(ended.wrapping_add(5 * SECOND_US).into()),
            "five seconds are for a Join-Accept; data follows RxDelay",
        );
    let unshifted = plan.rx1(hz, rate, 0, false);
    let mut answer = Answer::new(rate_value(rx1));
    if let Some(unshifted) = unshifted {
        answer = answer.unless(rate_value(unshifted), "you left RX1DROffset out");
    }
    let raised = plan.rx1_dr(dr.saturating_add(offset), 0, false);
    let raised = raised
        .and_then(|dr| Some(Window { dr, modulation: plan.dr(Direction::Downlink, dr)?, ..rx1 }));
    if let Some(raised) = raised {
        answer =
            answer.unless(rate_value(raised), "you added RX1DROffset; it makes the rate slower");
    }
    let questions = vec![
        Question::new("The gateway's counter at the start of RX1:", counter)
            .because(format!("{ended} + {seconds} s, modulo 2^32")),
        Question::new("RX1's frequency:", rx1_frequency(plan, hz, rx1, plan.rx2()))
            .because(frequency_rule(plan, hz, rx1)),
        Question::new("RX1's data rate:", answer).because(format!(
            "DR{dr} up with RX1DROffset {offset}: DR{} down, {}",
            rx1.dr, rx1.modulation
        )),
    ];
    let mut given = vec![Given::words("A gateway's report of a data frame, class A:")];
    given.extend(report(plan, hz, rate, ended));
    given.push(Given::value("RxDelay of the Join-Accept", rx_delay.to_string()));
    given.push(Given::value("RX1DROffset of the Join-Accept", offset.to_string()));
    Some(Made { given, questions })
}

fn report(plan: &Plan, hz: u32, rate: Modulation, ended: u32) -> Vec<Given> {
    vec![
        Given::value("channel plan", plan.name),
        Given::value("frequency", format!("{} MHz", megahertz(hz))),
        Given::value("data rate", rate.to_string()),
        Given::value("counter at the end of the frame", format!("{ended} us")),
    ]
}

/// A counter that may turn over before the window opens.
fn near_a_wrap(dice: &mut Dice, tmst: u32) -> u32 {
    if dice.once_in(3) { u32::MAX - dice.below(900_000) } else { tmst }
}

fn counter(ended: u32, delay_us: u32) -> Answer {
    let unwrapped = u64::from(ended) + u64::from(delay_us);
    Answer::new(Value::Number(ended.wrapping_add(delay_us).into())).unless(
        Value::Number(unwrapped),
        "the counter has 32 bits: it goes on from 0 after 4294967295",
    )
}

fn rx1_frequency(plan: &Plan, up_hz: u32, rx1: Window, rx2: Window) -> Answer {
    let frequency = |hz| Value::Quantity(Quantity::hertz(hz));
    Answer::new(frequency(rx1.freq_hz))
        .unless(
            frequency(up_hz),
            format!(
                "{} has channels of its own for downlinks: RX1 is not where the uplink was",
                plan.name
            ),
        )
        .unless(frequency(rx2.freq_hz), "that is RX2's")
}

fn frequency_rule(plan: &Plan, up_hz: u32, rx1: Window) -> String {
    if rx1.freq_hz == up_hz {
        return "RX1 is on the uplink's frequency".to_owned();
    }
    let channel = plan.nearest_uplink(up_hz, None).map(|hit| hit.channel).unwrap_or_default();
    format!(
        "uplink channel {channel} is answered on downlink channel {}: {} MHz",
        channel % 8,
        megahertz(rx1.freq_hz)
    )
}

fn rate_answer(plan: &Plan, rx1: Window, up: Modulation, rx2: Window) -> Answer {
    let mut answer = Answer::new(rate_value(rx1));
    if let Some(dr) = plan.dr_of(Direction::Uplink, up) {
        let same = Window { dr, modulation: up, ..rx1 };
        answer = answer.unless(
            rate_value(same),
            "that is the uplink's; RX1's follows from it by the plan's table",
        );
    }
    answer.unless(rate_value(rx2), "that is RX2's")
}

/// A data rate, by its name or by its number.
fn rate_value(window: Window) -> Value {
    let dr = window.dr;
    Value::Word {
        word: window.modulation.to_string(),
        also: vec![format!("DR{dr}"), dr.to_string()],
    }
}

fn megahertz(hz: u32) -> String {
    let text = format!("{}.{:06}", hz / 1_000_000, hz % 1_000_000);
    let end = text.trim_end_matches('0');
    if end.ends_with('.') { format!("{end}0") } else { end.to_owned() }
}
