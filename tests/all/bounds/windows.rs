//! Accepts in time: what the gateway's word means, and which request they are of.

use handfast::{
    intake::{Capture, Event, Item, Leg, TxError, What, When},
    ladder::{Certainty, Options, State, diagnose, join::Rung},
    radio::Modulation,
    roster::Roster,
};

use super::{causes, claims, names, state, verdict};
use crate::common::{
    self, GATEWAY, accept, ack, acknowledged, heard, later, pull, request, sent, trace,
};
use crate::support::scene::words;

const ADDR: u32 = 0x0201_0001;
const LATE: &str = "downlink-reached-the-gateway-too-late";

/// The same with another modulation.
fn at_rate(mut sending: Event, modulation: Modulation) -> Event {
    if let What::Ordered(ordered) = &mut sending.what {
        ordered.modulation = Some(modulation);
    }
    sending
}

#[test]
fn a_refusal_sixty_milliseconds_before_the_slot_is_lateness_and_any_earlier_is_not() {
    let told = |ahead_us: i64| {
        let comes = 5_000_000 - ahead_us;
        let exchange = [
            heard(1, Some(0), Some(GATEWAY), Some(0), &request(7)),
            sent(2, Some(comes), Some(GATEWAY), When::Counter(5_000_000), &accept(ADDR)),
            ack(3, comes + 1_000, TxError::TooLate),
        ];
        let told = verdict(&common::roster(), &exchange);
        assert_eq!(state(&told, Rung::Sent), State::Broken);
        let late = |(id, certainty)| (id == LATE).then_some(certainty);
        causes(&told).into_iter().find_map(late)
    };
    // 52.5 ms is what the newer of the usual forwarders wants.
    assert_eq!([0, 2_500, 52_500, 60_000].map(told), [Some(Certainty::Certain); 4]);
    // Earlier than that it was late on a way that a capture taken at the server does not show.
    assert_eq!([60_001, 61_000, 1_000_000].map(told), [Some(Certainty::Likely); 3]);
}

#[test]
fn an_accept_is_as_long_on_the_air_as_a_downlink_without_crc() {
    // A downlink has no CRC on its payload (LoRaWAN 1.0.4, 3): 17 octets at SF12 are 35.25 symbols of
    // 32.768 ms with it left out, 40.25 with it.
    let roster = claims("AS923", "", "mac-version = '1.0.3'\ndownlink-dwell = true");
    let sf12 = Modulation::Lora { sf: 12, bw_khz: 125 };
    let answer = sent(2, Some(200_000), Some(GATEWAY), When::Counter(5_000_000), &accept(ADDR));
    let exchange = [heard(1, Some(0), Some(GATEWAY), Some(0), &request(7)), at_rate(answer, sf12)];
    let told = verdict(&roster, &exchange);
    let dwell =
        told.causes.iter().find(|v| v.cause.id.name() == "accept-too-long-for-the-dwell-limit");
    let summary = dwell.unwrap().summary.to_string();
    assert!(summary.contains("1155.1 ms") && summary.contains("400 ms"), "{summary}");
}

#[test]
fn whether_an_accept_passes_the_dwell_limit_goes_by_its_own_symbols() {
    // SF10BW125: of 26 octets 45.25 symbols without a CRC, 370.7 ms; 50.25 with it, 411.6 ms; of 27 octets
    // 50.25 either way. No accept has such a length; what is cut on its way may have it.
    let roster = claims("AS923", "", "mac-version = '1.0.3'\ndownlink-dwell = true");
    let timely = |octets: usize| {
        let mut frame = accept(ADDR);
        frame.resize(octets, 0xA5);
        let down = sent(2, Some(200_000), Some(GATEWAY), When::Counter(6_000_000), &frame);
        let mut down = at_rate(down, Modulation::Lora { sf: 10, bw_khz: 125 });
        if let What::Ordered(ordered) = &mut down.what {
            ordered.freq_hz = Some(923_200_000);
        }
        let request = heard(1, Some(0), Some(GATEWAY), Some(0), &request(7));
        state(&verdict(&roster, &[request, down]), Rung::Timely)
    };
    assert_eq!((timely(26), timely(27)), (State::Proven, State::Broken));
}

#[test]
fn a_slot_a_millisecond_off_is_the_window_s_and_two_are_not() {
    let timely = |slot: u32| {
        let exchange = [
            heard(1, Some(0), Some(GATEWAY), Some(0), &request(7)),
            sent(2, Some(200_000), Some(GATEWAY), When::Counter(slot), &accept(ADDR)),
        ];
        state(&verdict(&common::roster(), &exchange), Rung::Timely)
    };
    for slot in [4_999_000, 5_000_000, 5_001_000] {
        assert_eq!(timely(slot), State::Proven, "{slot}");
    }
    for slot in [4_998_999, 5_001_001, 5_500_000, 1_000_000, 7_000_000] {
        assert_eq!(timely(slot), State::Broken, "{slot}");
    }
}

#[test]
fn a_frequency_a_kilohertz_off_is_another() {
    let timely = |hz: u32| {
        let mut down =
            sent(2, Some(200_000), Some(GATEWAY), When::Counter(5_000_000), &accept(ADDR));
        if let What::Ordered(ordered) = &mut down.what {
            ordered.freq_hz = Some(hz);
        }
        let request = heard(1, Some(0), Some(GATEWAY), Some(0), &request(7));
        state(&verdict(&common::roster(), &[request, down]), Rung::Timely)
    };
    // RX1 is on the frequency of the request, 868.1 MHz.
    assert_eq!([868_100_000, 868_100_999, 868_099_001].map(timely), [State::Proven; 3]);
    assert_eq!([868_101_000, 868_099_000, 868_300_000].map(timely), [State::Broken; 3]);
}

#[test]
fn of_two_requests_that_an_accept_may_answer_it_answers_the_newer() {
    // Nobody has their keys, and at once says nothing of a window.
    let other = |nonce: u16| {
        let mut octets = request(nonce);
        octets[9..17].copy_from_slice(&[0x5A; 8]);
        octets
    };
    let exchange = [
        heard(1, Some(0), Some(GATEWAY), Some(0), &request(7)),
        heard(2, Some(4_000_000), Some(GATEWAY), Some(4_000_000), &other(9)),
        sent(3, Some(4_500_000), Some(GATEWAY), When::Immediate, &accept(ADDR)),
    ];
    let roster = Roster::default();
    let all = diagnose(&trace(&roster, &exchange), &roster, Options::default());
    let answered: Vec<State> = all.iter().map(|told| state(told, Rung::Answered)).collect();
    assert_eq!(all.len(), 2);
    assert_eq!(all[0].dev_eui, Some(common::dev_eui()));
    assert_ne!(answered[0], State::Proven);
    assert_eq!(answered[1], State::Proven);
}

#[test]
fn an_accept_comes_within_twenty_seconds_of_its_request() {
    let answered = |micros: i64| {
        let exchange = [
            heard(1, Some(0), Some(GATEWAY), None, &request(7)),
            sent(2, Some(micros), Some(GATEWAY), When::Immediate, &accept(ADDR)),
        ];
        state(&verdict(&common::roster(), &exchange), Rung::Answered) == State::Proven
    };
    assert_eq!([0, 5_000_000, 20_000_000].map(answered), [true; 3]);
    assert!(!answered(20_000_001));
}

#[test]
fn of_causes_on_one_rung_the_surer_leads() {
    // Nobody said that the second came late; that the first was refused the gateway says itself.
    let late = [
        later(1, &request(7)),
        sent(2, Some(10_200_000), Some(GATEWAY), When::Counter(15_000_000), &accept(ADDR)),
        ack(3, 10_201_000, TxError::TxPower),
        later(4, &request(8)),
        sent(5, Some(45_500_000), Some(GATEWAY), When::Counter(45_000_000), &accept(ADDR + 1)),
    ];
    let found = causes(&verdict(&common::roster(), &late));
    let (power, late) =
        ("gateway-refuses-the-power-asked-for", "downlink-reached-the-gateway-too-late");
    assert_eq!(found[..2], [(power, Certainty::Certain), (late, Certainty::Likely)]);
}

#[test]
fn a_warning_that_says_none_is_no_warning() {
    let told = |warn: &str| {
        let line = format!(
            r#"{{"at":"2026-01-01T00:00:00.3Z","kind":"TX_ACK","token":"0001","gateway":"{}","datagram":{{"txpk_ack":{{"error":"NONE","warn":"{warn}"}}}}}}"#,
            GATEWAY.hex()
        );
        let item = Capture::new(line.as_bytes()).next().unwrap().unwrap();
        let Item::Event(said) = item else { panic!("{item:?}") };
        let mut down =
            sent(2, Some(200_000), Some(GATEWAY), When::Counter(5_000_000), &accept(ADDR));
        down.wire.token = Some(1);
        let request = heard(1, Some(0), Some(GATEWAY), Some(0), &request(7));
        let told = verdict(&common::roster(), &[request, down, said]);
        assert_eq!(state(&told, Rung::Sent), State::Proven);
        words(&told.join_rung(Rung::Sent).unwrap().evidence).contains("warning")
    };
    assert!(told("TX_POWER") && told("TOO_LATE"));
    assert!(!told("NONE") && !told("none"));
}

#[test]
fn an_accept_sent_at_once_half_a_second_off_may_be_in_a_window() {
    let timely = |micros: i64| {
        let exchange = [
            heard(1, Some(0), Some(GATEWAY), None, &request(7)),
            sent(2, Some(micros), Some(GATEWAY), When::Immediate, &accept(ADDR)),
        ];
        state(&verdict(&common::roster(), &exchange), Rung::Timely)
    };
    // The capture's clock is too coarse to say more.
    assert_eq!([4_500_000, 5_000_000, 5_500_000, 6_500_000].map(timely), [State::Unknown; 4]);
    assert_eq!([0, 4_499_999, 6_500_001].map(timely), [State::Broken; 3]);
}

#[test]
fn a_capture_that_ends_with_the_second_window_shows_that_no_accept_came() {
    let told = |ends: i64| {
        let capture = [
            pull(1, -2_000_000),
            acknowledged(2, -1_900_000, Leg::Pull),
            heard(3, Some(0), Some(GATEWAY), None, &request(7)),
            pull(4, ends),
        ];
        state(&verdict(&common::roster(), &capture), Rung::Answered)
    };
    assert_eq!([told(5_999_999), told(6_000_000)], [State::Unknown, State::Broken]);
}

#[test]
fn a_slot_beyond_the_wrap_is_refused_in_time_or_late_by_sixty_milliseconds() {
    // The counter wraps a second after the request.
    let told = |ahead_us: i64| {
        let asked = 0u32.wrapping_sub(1_000_000);
        let comes = 5_000_000 - ahead_us;
        let slot = When::Counter(asked.wrapping_add(5_000_000));
        let exchange = [
            heard(1, Some(0), Some(GATEWAY), Some(asked), &request(7)),
            sent(2, Some(comes), Some(GATEWAY), slot, &accept(ADDR)),
            ack(3, comes + 1_000, TxError::TooLate),
        ];
        names(&verdict(&common::roster(), &exchange))
    };
    assert_eq!(told(59_999), [LATE]);
    assert_eq!(told(60_001), ["gateway-mishandles-its-counter-wrap"]);
    assert_eq!(told(60_000), [LATE], "on the line: late on the way, which is likely");
}
