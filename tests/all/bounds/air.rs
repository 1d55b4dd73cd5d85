//! What the air and the node's own log tell, and how much of it is enough.

use handfast::{
    intake::{Event, Leg, TxError, What, When},
    ladder::Certainty,
    roster::{self, Roster},
};

use super::{causes, claims, names, verdict};
use crate::common::{
    self, GATEWAY, OTHER, ROOT, accept, ack, acknowledged, data, dev_eui, heard, join_eui, later,
    request, roster, sent, session,
};

const ADDR: u32 = 0x0201_0001;

/// Exchanges in full, none of them taken; the SNR at the gateway that sends, and at another.
fn in_vain(exchanges: u32, snr: f32, other: Option<f32>) -> Vec<Event> {
    let at = |mut heard: Event, snr: f32| {
        if let What::Heard(up) = &mut heard.what {
            up.snr = Some(snr);
        }
        heard
    };
    let mut all = Vec::new();
    for i in 0..exchanges {
        let second = 10 * (1 + i);
        let (line, micros, tmst) =
            (u64::from(10 * i), i64::from(second) * 1_000_000, second * 1_000_000);
        let asked = request(7 + u16::try_from(i).unwrap());
        all.push(at(heard(line + 1, Some(micros), Some(GATEWAY), Some(tmst), &asked), snr));
        if let Some(other) = other {
            let copy = heard(line + 2, Some(micros), Some(OTHER), Some(tmst), &asked);
            all.push(at(copy, other));
        }
        let slot = When::Counter(tmst + 5_000_000);
        all.push(sent(line + 3, Some(micros + 200_000), Some(GATEWAY), slot, &accept(ADDR + i)));
        all.push(ack(line + 4, micros + 201_000, TxError::None));
    }
    all
}

#[test]
fn good_accepts_are_good_from_ten_decibels_above_the_floor() {
    // SF9 is read from -12.5 dB on.
    let told = |snr| names(&verdict(&roster(), &in_vain(3, snr, None)));
    assert_eq!(told(-2.5), ["good-accepts-not-taken-by-the-node"]);
    assert_eq!(told(-2.6), [""; 0]);
}

#[test]
fn a_node_that_asks_again_twice_after_a_good_accept_did_not_take_it() {
    let told = |datagrams: &[Event]| {
        names(&verdict(&roster(), datagrams)).contains(&"good-accepts-not-taken-by-the-node")
    };
    let all = in_vain(3, 7.0, None);
    assert!(!told(&all[..4]), "one of them");
    assert!(!told(&in_vain(2, 7.0, None)), "it asks again once");
    assert!(told(&all[..7]), "twice, the last time in vain");
}

#[test]
fn a_gateway_is_far_below_five_decibels_and_ten_below_another() {
    let far = "accept-sent-through-the-far-gateway";
    let found = |exchanges, here: f32, there: f32| {
        let all = in_vain(exchanges, here - 12.5, Some(there - 12.5));
        causes(&verdict(&roster(), &all)).into_iter().find(|(id, _)| *id == far)
    };
    let told = |here, there| found(3, here, there).is_some();
    assert_eq!([told(4.5, 14.5), told(4.5, 14.25)], [true, false]);
    assert_eq!([told(4.75, 20.0), told(5.0, 20.0)], [true, false]);
    // Once it is chance.
    assert_eq!(found(1, 1.0, 20.0), None);
    assert_eq!(found(2, 1.0, 20.0), Some((far, Certainty::Likely)));
    assert_eq!(found(3, 1.0, 20.0), Some((far, Certainty::Certain)));
}

#[test]
fn a_window_a_tenth_of_a_second_late_is_late_and_half_a_second_early_is_early() {
    let told = |opens: &str| {
        let log = format!("log = ['0.0 ms tx done', '{opens} ms receive on RX1']");
        let told = verdict(&claims("EU868", &log, "mac-version = '1.0.3'"), &in_vain(2, 7.0, None));
        causes(&told).into_iter().find(|(id, _)| *id == "node-opens-its-window-late")
    };
    for opens in ["4500.0", "4900.0", "5000.0", "5100.0"] {
        assert_eq!(told(opens), None, "{opens}");
    }
    assert_eq!(told("4499.9").unwrap().1, Certainty::Likely);
    assert_eq!(told("5100.1").unwrap().1, Certainty::Certain);
}

#[test]
fn two_pulls_without_an_answer_are_a_sign_and_three_are_sure() {
    let told = |pulls: u64| {
        let mut all = vec![later(1, &request(7)), acknowledged(2, 10_100_000, Leg::Push)];
        let at = |i: u64| i64::try_from(20 + 10 * i).unwrap() * 1_000_000;
        all.extend((0..pulls).map(|i| common::pull(3 + i, at(i))));
        let told = verdict(&roster(), &all);
        causes(&told).into_iter().find(|(id, _)| *id == "no-downlink-path-to-the-gateway")
    };
    let certainty = |pulls| told(pulls).map(|(_, certainty)| certainty);
    assert_eq!(
        [0, 1, 2, 3].map(certainty),
        [None, None, Some(Certainty::Likely), Some(Certainty::Certain)]
    );
}

/// The roster with a gateway that receives one channel.
fn one_channel() -> Roster {
    let text = format!(
        "region = 'EU868'\n[[gateway]]\neui = '{}'\nlistens = [868100000]\n[[node]]\nname = 'p'\n\
         [node.record]\ndev-eui = '{}'\njoin-eui = '{}'\napp-key = '{}'\nmac-version = '1.0.3'\n",
        GATEWAY.hex(),
        dev_eui().hex(),
        join_eui().hex(),
        hex::encode(ROOT)
    );
    roster::parse(&text, None).unwrap()
}

#[test]
fn less_than_two_thirds_of_four_frames_are_lost_on_other_channels() {
    let told = |counters: &[u32]| {
        let key = session(ADDR, 7);
        let slot = When::Counter(15_000_000);
        let mut all = vec![
            later(1, &request(7)),
            sent(2, Some(10_200_000), Some(GATEWAY), slot, &accept(ADDR)),
        ];
        all.extend((3..).zip(counters).map(|(line, fcnt)| later(line, &data(&key, ADDR, *fcnt))));
        names(&verdict(&one_channel(), &all)).contains(&"one-channel-gateway")
    };
    // 4 of 6, 4 of 7; 2 of 4, 2 of 3
    assert_eq!([told(&[0, 1, 3, 5]), told(&[0, 1, 3, 6])], [false, true]);
    assert_eq!([told(&[0, 3]), told(&[0, 2])], [true, false]);
}

#[test]
fn requests_in_two_strengths_that_count_by_themselves_are_of_two_nodes() {
    let told = |seen: &[(f32, u16)]| {
        let at = |(line, (rssi, nonce)): (u64, &(f32, u16))| {
            let mut heard = later(line, &request(*nonce));
            if let What::Heard(up) = &mut heard.what {
                up.rssi = Some(*rssi);
            }
            heard
        };
        let all: Vec<_> = (1..).zip(seen).map(at).collect();
        names(&verdict(&roster(), &all)).contains(&"two-nodes-share-one-identity")
    };
    let two =
        |near: [(f32, u16); 2], far: [(f32, u16); 2]| told(&[near[0], far[0], near[1], far[1]]);
    let (near, far) = ([(-60.0, 100), (-60.0, 101)], [(-80.0, 500), (-80.0, 501)]);
    assert!(two(near, far));
    // 15 dB apart
    assert!(two(near, [(-75.0, 500), (-75.0, 501)]));
    assert!(!two(near, [(-74.75, 500), (-74.75, 501)]));
    // each within 8 dB
    assert!(two([(-60.0, 100), (-67.75, 101)], [(-90.0, 500), (-90.0, 501)]));
    assert!(!two([(-60.0, 100), (-68.0, 101)], [(-90.0, 500), (-90.0, 501)]));
    // counting on by 1 to 4
    assert!(two([(-60.0, 100), (-60.0, 104)], far));
    assert!(!two([(-60.0, 100), (-60.0, 105)], far));
    // counters more than 8 apart
    assert!(two(near, [(-80.0, 110), (-80.0, 111)]));
    assert!(!two(near, [(-80.0, 109), (-80.0, 110)]));
    // four of them, which take turns at least twice
    assert!(told(&[near[0], far[0], far[1], near[1]]));
    assert!(!told(&[near[0], near[1], far[0], far[1]]));
    assert!(!told(&[near[0], far[0], near[1]]));
}
