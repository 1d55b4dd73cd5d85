//! Exercises about the air: how long a frame takes, how long to be silent, how well it is heard.

use super::{Answer, Given, Made, Quantity, Question, Value};
use crate::{
    frame::Direction,
    radio::{
        Airtime, DutyCycle, LowDataRate, Modulation, demodulation_floor, duty_cycle_wait,
        link_margin, messages_per_hour,
    },
    scenario::Dice,
};

pub(super) fn time_on_air(dice: &mut Dice) -> Option<Made> {
    let sf = u8::try_from(dice.between(7, 12)).ok()?;
    let octets = dice.pick(&[23usize, 17, 14, 33, 51])?;
    let lawful = Airtime::lorawan(Direction::Uplink);
    let air = lawful.lora(sf, 125, octets)?;
    let duty = DutyCycle::new(dice.pick(&[10, 1, 100])?)?;
    let time = |air| Value::Quantity(Quantity::time(air));
    let mut answer = Answer::new(time(air));
    let others = [
        (
            Airtime { low_data_rate: LowDataRate::Off, ..lawful },
            octets,
            "SF11 and SF12 at 125 kHz use the low data rate optimisation: two bits less a symbol",
        ),
        (
            Airtime { low_data_rate: LowDataRate::On, ..lawful },
            octets,
            "the low data rate optimisation is for SF11 and SF12 at 125 kHz",
        ),
        (
            Airtime { crc: false, ..lawful },
            octets,
            "you left the CRC out; an uplink has one, a downlink has none",
        ),
        (lawful, octets - 4, "the MIC is on the air as well"),
    ];
    for (other, octets, why) in others {
        answer = answer.unless(time(other.lora(sf, 125, octets)?), why);
    }
    let wait = duty_cycle_wait(air, duty);
    let silent = Answer::new(time(wait)).unless(
        time(wait + air),
        "that is from the start of one frame to the start of the next: take the frame's own time off",
    );
    let hour = messages_per_hour(air, duty)?;
    let rate = Modulation::Lora { sf, bw_khz: 125 };
    let questions = vec![
        Question::new("Its time on air, in ms:", answer).because(format!(
            "8 symbols of preamble and 4.25 more, header, 4/5, CRC; a symbol is {} us",
            (1u32 << sf) * 8
        )),
        Question::new(
            format!("How long must the node be silent afterwards, at {duty} duty cycle, in ms?"),
            silent,
        )
        .because(format!("time on air times (1 / {duty} - 1)")),
        Question::new(
            format!("How many such frames fit an hour at {duty}?"),
            Answer::new(Value::Number(hour)).unless(
                Value::Number(hour + 1),
                "you rounded up: the last one does not fit completely",
            ),
        )
        .because(format!("{duty} of an hour, divided by the time on air, rounded down")),
    ];
    let given = vec![
        Given::value("uplink", format!("{octets} bytes of PHYPayload")),
        Given::value("data rate", rate.to_string()),
        Given::words("Coding rate 4/5, as LoRaWAN has it. Local rules say which duty cycle holds."),
    ];
    Some(Made { given, questions })
}

pub(super) fn link_margin_of(dice: &mut Dice) -> Option<Made> {
    let sf = u8::try_from(dice.between(8, 12)).ok()?;
    let floor = demodulation_floor(sf)?;
    // From 4 dB under the floor to 12 dB above it.
    let above = i16::try_from(dice.between(0, 160)).ok()? - 40;
    let snr = floor + f32::from(above) / 10.0;
    let margin = link_margin(snr, sf)?;
    let fast = link_margin(snr, 7)?;
    let decibels = |value: f32| Quantity::decibels(value).map(Value::Quantity);
    let answer = Answer::new(decibels(margin)?)
        .unless(decibels(snr + floor)?, "the floor is negative: take it off the SNR, do not add it")
        .unless(
            decibels(fast)?,
            "that is above the floor of SF7; each spreading factor has its own",
        );
    let reads = |margin: f32| Answer::new(Value::yes(margin >= 0.0));
    let choice = ["yes", "no"].map(str::to_owned);
    let questions = vec![
        Question::new(
            format!("By how many dB is it above the demodulation floor of SF{sf}?"),
            answer,
        )
        .because(format!("the floor of SF{sf} is {floor} dB: {snr:.1} - ({floor})")),
        Question::new("Can a receiver be expected to read it?", reads(margin))
            .among(choice.clone())
            .because("it can where the margin is not negative"),
        Question::new("And if it had come with this SNR at SF7?", reads(fast))
            .among(choice)
            .because(format!("the floor of SF7 is {} dB", demodulation_floor(7)?)),
    ];
    let given = vec![
        Given::words("A gateway's report of a frame:"),
        Given::value("data rate", Modulation::Lora { sf, bw_khz: 125 }.to_string()),
        Given::value("SNR", format!("{snr:.1} dB")),
    ];
    Some(Made { given, questions })
}
