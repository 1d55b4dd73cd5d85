//! The tracer: copies, pairing, sessions and counters.
//!
//! The frames are made in `tests/all/common.rs`; what is tested here is how they are sorted.

use crate::common::*;
use handfast::{
    crypto::{
        block::UplinkContext,
        derive::{self, SessionKeys},
        mic,
    },
    frame::{DataFrame, FCtrl, FType, Frame, JoinRequest, Mic},
    id::{DevAddr, DevNonce, JoinNonce},
    intake::{Crc, Event, Outcome, TxError, What, When, Wire},
    key::{AppKey, NwkKey, NwkSKey},
    roster::{self},
    trace::{Delay, Rule, Tracer},
};

fn token(event: Event, token: u16) -> Event {
    let wire = Wire { token: Some(token), ..event.wire };
    Event { wire, ..event }
}

#[test]
fn one_transmission_heard_by_two_gateways_is_one_attempt() {
    let roster = roster();
    let octets = request(7);
    let trace = trace(
        &roster,
        &[
            heard(1, Some(0), Some(GATEWAY), Some(1_000_000), &octets),
            heard(2, Some(40_000), Some(OTHER), Some(77), &octets),
            // the same gateway again, 10 us and another channel away: a ghost
            heard(3, Some(45_000), Some(OTHER), Some(87), &octets),
        ],
    );
    let node = &trace.nodes[0];
    assert_eq!(node.attempts.len(), 1);
    assert_eq!(node.attempts[0].heard.sightings().count(), 3);
}

#[test]
fn the_same_octets_later_through_the_same_gateway_are_another_transmission() {
    let roster = roster();
    let octets = request(7);
    let later = heard(2, Some(9_000_000), Some(GATEWAY), Some(10_000_000), &octets);
    let first = heard(1, Some(0), Some(GATEWAY), Some(1_000_000), &octets);
    assert_eq!(trace(&roster, &[first, later]).nodes[0].attempts.len(), 2);
}

#[test]
fn a_datagram_recorded_at_both_ends_of_the_line_is_one() {
    let roster = roster();
    let asked = heard(1, Some(0), Some(GATEWAY), Some(1_000_000), &request(7));
    let down = |micros| sent(1, Some(micros), Some(GATEWAY), When::Immediate, &[0xE0, 1, 2]);
    let mut tracer = Tracer::new(&roster);
    // The second recorder's clock is 150 ms ahead; a third has the same again.
    for (source, late) in [(0, 0), (1, 150_000), (2, 10)] {
        let time = event(1, Some(late), None, asked.what.clone()).time;
        tracer.push(from(source, &token(Event { time, ..asked.clone() }, 1)));
        tracer.push(from(source, &token(down(1_000_000 + late), 2)));
        // The server sent the same once more, and each of them has both.
        tracer.push(from(source, &token(down(1_500_000 + late), 2)));
        tracer.push(from(source, &token(down(9_000_000 + late), 2)));
    }
    let trace = tracer.finish();
    let counts = trace.gateways[&Some(GATEWAY)].counts;
    assert_eq!((counts.heard, counts.ordered), (1, 3));
    assert_eq!(trace.nodes[0].attempts[0].heard.sightings().count(), 1);
}

#[test]
fn a_reception_with_a_bad_crc_is_counted_and_not_read() {
    let roster = roster();
    let mut bad = heard(1, Some(0), Some(GATEWAY), Some(1), &request(7));
    if let What::Heard(heard) = &mut bad.what {
        heard.crc = Crc::Bad;
    }
    let trace = trace(&roster, &[bad]);
    assert!(trace.nodes[0].attempts.is_empty());
    assert_eq!((trace.crc_bad, trace.frames), (1, 0));
}

#[test]
fn an_accept_is_paired_by_the_counter_across_its_wrap() {
    let roster = roster();
    let asked = u32::MAX - 1_000_000;
    let trace = trace(
        &roster,
        &[
            heard(1, Some(0), Some(GATEWAY), Some(asked), &request(7)),
            heard(2, Some(900_000), Some(GATEWAY), Some(asked + 900_000), &request(8)),
            sent(
                3,
                Some(1_000_000),
                Some(GATEWAY),
                When::Counter(asked.wrapping_add(5_000_000)),
                &accept(0x0201_0001),
            ),
        ],
    );
    let attempts = &trace.nodes[0].attempts;
    assert_eq!(attempts[0].answers.len(), 1, "the slot is 5 s after the first request");
    assert!(matches!(attempts[0].answers[0].delay, Delay::Counter { us: 5_000_000, .. }));
    assert!(attempts[1].answers.is_empty());
}

#[test]
fn without_counter_and_clock_the_key_pairs_the_accept() {
    let roster = roster();
    let mut stranger =
        JoinRequest::new(join_eui(), "020000fffe5c71e9".parse().unwrap(), DevNonce(1));
    stranger.mic = Mic([1, 2, 3, 4]);
    let stranger = Frame::JoinRequest(stranger).build();
    let trace = trace(
        &roster,
        &[
            heard(1, None, None, None, &request(7)),
            heard(2, None, None, None, &stranger),
            sent(3, None, None, When::Unsaid, &accept(0x0201_0001)),
            heard(4, None, None, None, &data(&session(0x0201_0001, 7), 0x0201_0001, 0)),
        ],
    );
    assert_eq!(trace.nodes[0].attempts[0].answers.len(), 1);
    assert!(trace.nodes[1].attempts[0].answers.is_empty());
    assert_eq!(trace.nodes[0].sessions[0].frames.len(), 1);
}

#[test]
fn an_acknowledgement_finds_its_downlink_by_token_and_gateway() {
    let roster = roster();
    let ack = |line, number, gateway| {
        let outcome = Outcome { error: TxError::TooLate, ..Outcome::default() };
        let micros = i64::try_from(line).unwrap() * 1_000;
        let what = What::Outcome(Box::new(outcome));
        token(event(line, Some(micros), Some(gateway), what), number)
    };
    let trace = trace(
        &roster,
        &[
            heard(1, Some(0), Some(GATEWAY), Some(0), &request(7)),
            token(sent(2, Some(1_000), Some(GATEWAY), When::Counter(5_000_000), &accept(1)), 11),
            ack(3, 11, OTHER),
            ack(4, 12, GATEWAY),
        ],
    );
    assert!(trace.nodes[0].attempts[0].answers[0].sending.ack.is_none());
}

#[test]
fn counters_go_on_across_the_rollover_and_are_found_after_a_gap() {
    let roster = roster();
    let key = session(0x0201_0001, 7);
    let counters = [65_534u32, 65_535, 65_536, 65_700, 3 * 65_536 + 9, 3 * 65_536 + 10];
    let frames: Vec<Event> = counters
        .iter()
        .zip(3..)
        .map(|(fcnt, line)| later(line, &data(&key, 0x0201_0001, *fcnt)))
        .collect();
    let trace = joined(&roster, &frames);
    let session = &trace.nodes[0].sessions[0];
    let found: Vec<u32> = session.frames.iter().map(|f| f.held.fcnt).collect();
    assert_eq!(found, counters);
}

#[test]
fn a_counter_that_begins_anew_is_found_at_its_low_value() {
    let roster = roster();
    let key = session(0x0201_0001, 7);
    let counters = [4_181u32, 4_182, 0, 1];
    let frames: Vec<Event> = counters
        .iter()
        .zip(3..)
        .map(|(fcnt, line)| later(line, &data(&key, 0x0201_0001, *fcnt)))
        .collect();
    let trace = joined(&roster, &frames);
    let found: Vec<u32> = trace.nodes[0].sessions[0].frames.iter().map(|f| f.held.fcnt).collect();
    assert_eq!(found, counters);
}

#[test]
fn a_shared_address_is_told_apart_by_the_key() {
    let two = roster::parse(
        "region = 'EU868'\n\
         [[node]]\nname = 'a'\n[node.record]\nactivation = 'ABP'\ndev-addr = '02010001'\n\
         nwk-s-key = '11111111111111111111111111111111'\n\
         [[node]]\nname = 'b'\n[node.record]\nactivation = 'ABP'\ndev-addr = '02010001'\n\
         nwk-s-key = '22222222222222222222222222222222'\n",
        None,
    )
    .unwrap();
    let (a, b) = (NwkSKey::from([0x11; 16]), NwkSKey::from([0x22; 16]));
    let trace = trace(
        &two,
        &[
            later(1, &data(&a, 0x0201_0001, 5)),
            later(2, &data(&b, 0x0201_0001, 9)),
            later(3, &data(&a, 0x0201_0001, 6)),
        ],
    );
    let count = |i: usize| trace.nodes[i].sessions[0].frames.len();
    assert_eq!((count(0), count(1)), (2, 1));
}

#[test]
fn what_no_key_verifies_is_kept_apart() {
    let roster = roster();
    let wrong = data(&NwkSKey::from([9; 16]), 0x0201_0001, 0);
    let trace = joined(&roster, &[later(3, &wrong)]);
    assert!(trace.nodes[0].sessions[0].frames.is_empty());
    assert_eq!(trace.nodes[0].unverified.len(), 1);
    let foreign = data(&NwkSKey::from([9; 16]), 0x0301_0001, 0);
    assert_eq!(joined(&roster, &[later(3, &foreign)]).foreign_data[&DevAddr(0x0301_0001)], 1);
}

#[test]
fn the_unknown_context_of_a_1_1_uplink_is_searched() {
    // the worked example of a 1.1 session: root keys, JoinNonce and identity invented
    let (nwk, app) = (NwkKey::from([0x31; 16]), AppKey::from([0x32; 16]));
    let keys =
        derive::session_1_1(&nwk, Some(&app), JoinNonce::new(5).unwrap(), join_eui(), DevNonce(1));
    let SessionKeys::V1_1 { f_nwk_s_int_key: f, s_nwk_s_int_key: s, nwk_s_enc_key: e, .. } = &keys
    else {
        unreachable!()
    };
    let roster = roster::parse(
        &format!(
            "[[node]]\nname = 'c'\n[node.record]\nmac-version = '1.1'\nactivation = 'ABP'\n\
             dev-addr = '02010001'\nf-nwk-s-int-key = '{}'\ns-nwk-s-int-key = '{}'\n\
             nwk-s-enc-key = '{}'\n",
            f.key().revealed(),
            s.key().revealed(),
            e.key().revealed()
        ),
        None,
    )
    .unwrap();
    let context = UplinkContext { conf_fcnt: 0, tx_dr: 3, tx_ch: 71 };
    let mut frame = DataFrame::new(FType::UnconfirmedDataUp, DevAddr(0x0201_0001), 4);
    frame.mic = mic::data_up_1_1(s, f, &frame, 4, &context);
    // a confirmed downlink, and the uplink that acknowledges it
    let mut down = DataFrame::new(FType::ConfirmedDataDown, DevAddr(0x0201_0001), 21);
    down.mic = mic::data_down_1_1(s, &down, 21, 0);
    let mut ack = DataFrame::new(FType::UnconfirmedDataUp, DevAddr(0x0201_0001), 5);
    ack.fctrl = FCtrl::new(0x20);
    let acked = UplinkContext { conf_fcnt: 21, tx_dr: 3, tx_ch: 2 };
    ack.mic = mic::data_up_1_1(s, f, &ack, 5, &acked);
    let trace = trace(
        &roster,
        &[
            later(1, &Frame::Data(frame).build()),
            sent(2, Some(20_500_000), Some(GATEWAY), When::Counter(1), &Frame::Data(down).build()),
            later(3, &Frame::Data(ack).build()),
        ],
    );
    let session = &trace.nodes[0].sessions[0];
    let ups: Vec<_> = session.uplinks().map(|(seen, _)| seen.held).collect();
    assert_eq!(ups.len(), 2);
    assert!(ups.iter().all(|held| !held.half));
    assert_eq!(session.candidates[0].rule, Rule::V1_1);
    // 16 bits against some thousand contexts: the one found verifies, and ConfFCnt is the ACK's
    assert_eq!(ups[1].context.unwrap().conf_fcnt, 21);
}
