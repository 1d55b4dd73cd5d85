//! Copies of one transmission, and what is another one.

use handfast::{
    airtime::Meter,
    id::Eui64,
    intake::{TxError, When},
    ladder::join::Rung,
};

use super::{names, verdict};
use crate::common::{
    self, GATEWAY, OTHER, accept, ack, data, heard, later, request, sent, session,
};

const ADDR: u32 = 0x0201_0001;

/// How many requests two receptions so far apart are.
fn requests(gateway: Eui64, apart_us: i64) -> usize {
    let tmst = |us: i64| Some(u32::try_from(us).unwrap());
    let two = [
        heard(1, Some(0), Some(GATEWAY), tmst(0), &request(7)),
        heard(2, Some(apart_us), Some(gateway), tmst(apart_us), &request(7)),
    ];
    verdict(&common::roster(), &two).attempts
}

/// How many data frames.
fn frames(gateway: Eui64, apart_us: i64, counted_us: u32) -> usize {
    let octets = data(&session(ADDR, 7), ADDR, 0);
    let at = 100_000_000;
    let tmst = 100_000_000;
    let all = [
        later(1, &request(7)),
        sent(2, Some(10_200_000), Some(GATEWAY), When::Counter(15_000_000), &accept(ADDR)),
        heard(3, Some(at), Some(GATEWAY), Some(tmst), &octets),
        heard(4, Some(at + apart_us), Some(gateway), Some(tmst + counted_us), &octets),
    ];
    verdict(&common::roster(), &all).data
}

#[test]
fn another_gateway_s_copy_comes_within_two_seconds_and_of_a_request_within_thirty() {
    assert_eq!([0, 2_000_000].map(|us| frames(OTHER, us, 7)), [1, 1]);
    assert_eq!([2_000_001, 30_000_000].map(|us| frames(OTHER, us, 7)), [2, 2]);
    assert_eq!([0, 2_000_001, 30_000_000].map(|us| requests(OTHER, us)), [1; 3]);
    assert_eq!(requests(OTHER, 30_000_001), 2);
}

#[test]
fn one_gateway_hears_a_frame_twice_within_a_millisecond_of_its_counter() {
    assert_eq!([frames(GATEWAY, 0, 1_000), frames(GATEWAY, 500_000, 1_000)], [1, 1]);
    assert_eq!([frames(GATEWAY, 0, 1_001), frames(GATEWAY, 500_001, 1_000)], [2, 2]);
    // Within a second no node asks twice.
    assert_eq!([requests(GATEWAY, 999_999), requests(GATEWAY, 1_000_000)], [1, 2]);
}

#[test]
fn a_counter_fits_the_clock_within_three_seconds_and_a_ten_thousandth() {
    // Refused as early, and then the counter stands where 100 s do not bring it.
    let restarted = |counted_us: u32| {
        let said = ack(3, 210_000, TxError::TooEarly);
        let all = [
            heard(1, Some(0), Some(GATEWAY), Some(0), &request(7)),
            sent(2, Some(200_000), Some(GATEWAY), When::Counter(5_000_000), &accept(ADDR)),
            said,
            heard(4, Some(100_000_000), Some(GATEWAY), Some(counted_us), &request(8)),
        ];
        let told = verdict(&common::roster(), &all);
        names(&told).contains(&"gateway-counter-restarted-between-request-and-accept")
    };
    assert_eq!([100_000_000, 103_010_000, 96_990_000].map(restarted), [false; 3]);
    assert_eq!([103_010_001, 96_989_999, 10_000_000].map(restarted), [true; 3]);
}

#[test]
fn slots_that_touch_do_not_collide() {
    // 17 octets at SF9 without CRC are 164,864 us on the air.
    let collides = |apart_us: u32| {
        let other = |nonce: u16| {
            let mut octets = request(nonce);
            octets[9..17].copy_from_slice(&[0x5A; 8]);
            octets
        };
        let said = ack(5, 400_000, TxError::CollisionPacket);
        let tmst = 5_000_000 + apart_us;
        let at = i64::from(apart_us);
        let all = [
            heard(1, Some(0), Some(GATEWAY), Some(0), &other(9)),
            heard(2, Some(at), Some(GATEWAY), Some(apart_us), &request(7)),
            sent(3, Some(300_000), Some(GATEWAY), When::Counter(5_000_000), &[0x20; 17]),
            sent(4, Some(390_000), Some(GATEWAY), When::Counter(tmst), &accept(ADDR)),
            said,
        ];
        let roster = common::roster();
        let trace = common::trace(&roster, &all);
        let told =
            handfast::ladder::diagnose(&trace, &roster, handfast::ladder::Options::default());
        let answered = told
            .iter()
            .all(|told| super::state(told, Rung::Answered) == handfast::ladder::State::Proven);
        assert!(answered, "{apart_us}");
        names(&told[0]).contains(&"accepts-of-nodes-joining-in-step-collide")
    };
    assert!(collides(164_863) && collides(50_000));
    assert!(!collides(164_864) && !collides(200_000));
}

#[test]
fn an_accept_teaches_an_address_within_twenty_seconds() {
    let nodes = |micros: i64| {
        let roster = common::roster();
        let mut meter = Meter::new(&roster, None);
        for event in [
            heard(1, Some(0), Some(GATEWAY), None, &request(7)),
            sent(2, Some(micros), Some(GATEWAY), When::Immediate, &accept(ADDR)),
            heard(3, Some(60_000_000), Some(GATEWAY), None, &data(&session(ADDR, 7), ADDR, 0)),
        ] {
            meter.push(&event);
        }
        meter.finish().nodes.len()
    };
    assert_eq!([0, 20_000_000].map(nodes), [1, 1]);
    assert_eq!(nodes(20_000_001), 2);
}

#[test]
fn a_frame_up_to_a_minute_back_is_of_the_same_hour() {
    let busiest = |back_us: i64| {
        let roster = common::roster();
        let mut meter = Meter::new(&roster, None);
        for (line, at, nonce) in [(1, 500_000_000, 7), (2, 500_000_000 - back_us, 8)] {
            meter.push(&heard(line, Some(at), Some(GATEWAY), None, &request(nonce)));
        }
        let report = meter.finish();
        let account = &report.nodes[0].account;
        (account.busiest().unwrap().airtime, account.airtime)
    };
    let (hour, all) = busiest(60_000_000);
    assert_eq!(hour, all);
    let (hour, all) = busiest(60_000_001);
    assert_eq!(hour * 2, all);
}
