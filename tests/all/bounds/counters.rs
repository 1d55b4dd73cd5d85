//! Frame counters: what is late is no restart, and what has fallen is one.

use handfast::{
    crypto::{block, cipher, derive, derive::SessionKeys, mic},
    frame::{DataFrame, DlSettings, FType, Frame, JoinAccept, JoinRequest, Payload},
    id::{DevAddr, DevNonce},
    intake::{Event, What, When},
    key::{AppKey, NwkKey, NwkSKey},
    ladder::Certainty,
    roster::{self, Roster},
};

use super::{causes, names, verdict};
use crate::common::{
    self, GATEWAY, ROOT, accept, data, dev_eui, join_eui, later, plain_accept, request, sent,
    session,
};

const ADDR: u32 = 0x0201_0001;

/// A join, and uplinks with these counters.
fn counted(counters: &[u32]) -> Vec<Event> {
    let key = session(ADDR, 7);
    let mut all = vec![
        later(1, &request(7)),
        sent(2, Some(10_200_000), Some(GATEWAY), When::Counter(15_000_000), &accept(ADDR)),
    ];
    all.extend((3..).zip(counters).map(|(line, fcnt)| later(line, &data(&key, ADDR, *fcnt))));
    all
}

fn told(counters: &[u32]) -> Vec<(&'static str, Certainty)> {
    causes(&verdict(&common::roster(), &counted(counters)))
}

const RESTARTED: &str = "counter-restarted-in-a-joined-session";

#[test]
fn a_frame_that_another_overtook_is_no_restart() {
    // The next one goes on above both.
    assert_eq!(told(&[0, 1, 2, 4, 3, 5, 6]), []);
    assert_eq!(told(&[0, 40, 39, 41, 42, 43]), []);
    // It does not.
    assert_eq!(told(&[0, 40, 1, 2, 3]), [(RESTARTED, Certainty::Certain)]);
    assert_eq!(told(&[0, 40, 39, 40, 41]), [(RESTARTED, Certainty::Certain)]);
}

#[test]
fn one_last_frame_that_fell_by_little_decides_nothing_and_by_eight_it_does() {
    assert_eq!(told(&[0, 20, 13]), []);
    assert_eq!(told(&[0, 20, 12])[0].0, RESTARTED);
    // Two of them are no frame that came late.
    assert_eq!(told(&[0, 20, 13, 14])[0].0, RESTARTED);
}

#[test]
fn a_counter_that_falls_near_its_end_lost_its_upper_half() {
    let lost = "counter-upper-half-lost-at-rollover";
    for (before, after, cause) in [
        (64_000, 1_536, lost),
        (63_999, 1_536, RESTARTED),
        (64_000, 1_537, RESTARTED),
        (65_535, 0, lost),
    ] {
        let found = told(&[before - 1, before, after, after + 1]);
        assert_eq!(found, [(cause, Certainty::Certain)], "{before} {after}");
    }
}

/// A 1.1 join; the node has one AppKey, the record another.
fn modern_join(app_key: &AppKey) -> (String, Vec<Event>) {
    let nwk = NwkKey::from(ROOT);
    let mut accept: JoinAccept = plain_accept(ADDR);
    accept.dl_settings = DlSettings(0x80);
    let mut asked = JoinRequest::new(join_eui(), dev_eui(), DevNonce(7));
    asked.mic = mic::join_request(&nwk, &asked);
    let keys = derive::session_1_1(&nwk, Some(app_key), accept.join_nonce, join_eui(), DevNonce(7));
    let SessionKeys::V1_1 { f_nwk_s_int_key, s_nwk_s_int_key, app_s_key, .. } = &keys else {
        panic!("{keys:?}")
    };
    let int_key = derive::js_int_key(&nwk, dev_eui());
    accept.mic =
        mic::join_accept_1_1(&int_key, mic::JoinReqType::Join, join_eui(), DevNonce(7), &accept);
    let sealed = cipher::seal_join_accept(cipher::AcceptKey::join(&nwk), &accept);
    let mut all = vec![
        later(1, &Frame::JoinRequest(asked).build()),
        sent(
            2,
            Some(10_200_000),
            Some(GATEWAY),
            When::Counter(15_000_000),
            &Frame::JoinAccept(sealed).build(),
        ),
    ];
    // The first uplinks, which announce the session with RekeyInd, are not in the capture.
    for fcnt in 5..8u16 {
        let mut frame = DataFrame::new(FType::UnconfirmedDataUp, DevAddr(ADDR), fcnt);
        frame.payload = Some(Payload { port: 2, frm: vec![1, 2, 3] });
        let context = block::UplinkContext { conf_fcnt: 0, tx_dr: 3, tx_ch: 0 };
        frame.mic =
            mic::data_up_1_1(s_nwk_s_int_key, f_nwk_s_int_key, &frame, fcnt.into(), &context);
        all.push(later(u64::from(fcnt), &Frame::Data(frame).build()));
    }
    (app_s_key.as_ref().unwrap().key().revealed(), all)
}

#[test]
fn the_session_s_app_s_key_comes_of_the_app_key_that_the_node_has() {
    let (node, record) = ([0x11; 16], [0x22; 16]);
    let told = |kept: &str, frames: &[Event]| {
        let claim = |app_key: [u8; 16]| {
            format!(
                "dev-eui = '{}'\njoin-eui = '{}'\nmac-version = '1.1'\nnwk-key = '{}'\n\
                 app-key = '{}'\n",
                dev_eui().hex(),
                join_eui().hex(),
                hex::encode(ROOT),
                hex::encode(app_key)
            )
        };
        let text = format!(
            "region = 'EU868'\n[[node]]\nname = 'p'\n[node.firmware]\n{}[node.record]\n{}\
             dev-addr = '{ADDR:08x}'\napp-s-key = '{kept}'\n",
            claim(node),
            claim(record)
        );
        names(&verdict(&roster::parse(&text, None).unwrap(), frames))
    };
    let (of_node, frames) = modern_join(&AppKey::from(node));
    let (of_record, _) = modern_join(&AppKey::from(record));
    assert_ne!(of_node, of_record);
    let out_of_step = |kept| told(kept, &frames).contains(&"application-key-out-of-step");
    assert!(!out_of_step(&of_node));
    assert!(out_of_step(&of_record));
}

/// A node that has its session built in, with further members of its two sides.
fn built_in(firmware: &str, record: &str) -> Roster {
    let claim = format!(
        "dev-eui = '{}'\nactivation = 'ABP'\nmac-version = '1.0.3'\ndev-addr = '{ADDR:08x}'\n\
         nwk-s-key = '{}'\n",
        dev_eui().hex(),
        hex::encode([0x33; 16])
    );
    let text = format!(
        "region = 'EU868'\n[[node]]\nname = 'p'\n[node.firmware]\n{claim}{firmware}\n\
         [node.record]\n{claim}{record}\n"
    );
    roster::parse(&text, None).unwrap()
}

#[test]
fn a_counter_far_below_the_record_s_began_anew() {
    let key = NwkSKey::from([0x33; 16]);
    let restarted = "abp-counter-restarted";
    let found = |last: u32, counters: &[u32]| {
        let frames: Vec<_> =
            (1..).zip(counters).map(|(line, fcnt)| later(line, &data(&key, ADDR, *fcnt))).collect();
        causes(&verdict(&built_in("", &format!("last-fcnt-up = {last}")), &frames))
    };
    let told = |last, counters: [u32; 2]| found(last, &counters).iter().any(|c| c.0 == restarted);
    // More than eight below, and begun at 64 at the most.
    assert_eq!([told(9, [0, 1]), told(10, [0, 1])], [false, true]);
    assert_eq!([told(1_000, [64, 65]), told(1_000, [65, 66])], [true, false]);
    // The record was read afterwards, or the capture is newer.
    assert_eq!([told(1, [0, 1]), told(1, [2, 3])], [false, false]);
    // One frame may have come late.
    assert_eq!(found(1_000, &[0]), [(restarted, Certainty::Likely)]);
    assert_eq!(found(1_000, &[0, 1]), [(restarted, Certainty::Certain)]);
    // Near the end of 16 bits it is another story.
    assert_eq!([told(63_999, [0, 1]), told(64_000, [0, 1])], [true, false]);
}

#[test]
fn a_downlink_counter_that_is_the_node_s_last_went_back() {
    let key = NwkSKey::from([0x33; 16]);
    let told = |kept: u32| {
        let mut frame = DataFrame::new(FType::UnconfirmedDataDown, DevAddr(ADDR), 20);
        frame.payload = Some(Payload { port: 2, frm: vec![1] });
        frame.mic = mic::data_1_0(&key, &frame, 20);
        let frames = [
            later(1, &data(&key, ADDR, 5)),
            sent(
                2,
                Some(10_200_000),
                Some(GATEWAY),
                When::Counter(11_000_000),
                &Frame::Data(frame).build(),
            ),
        ];
        let roster = built_in(&format!("last-fcnt-down = {kept}"), "");
        names(&verdict(&roster, &frames)).contains(&"downlink-counter-went-back")
    };
    assert_eq!([told(19), told(20), told(21)], [false, true, true]);
}

#[test]
fn a_data_downlink_a_millisecond_off_is_in_its_window() {
    let told = |slot_us: u32| {
        let key = session(ADDR, 7);
        let mut frame = DataFrame::new(FType::UnconfirmedDataDown, DevAddr(ADDR), 0);
        frame.mic = mic::data_1_0(&key, &frame, 0);
        let down = Frame::Data(frame).build();
        let mut all = counted(&[0]);
        let slot = When::Counter(30_000_000 + slot_us);
        let mut sending = sent(4, Some(30_200_000), Some(GATEWAY), slot, &down);
        if let What::Ordered(ordered) = &mut sending.what
            && (1_900_000..2_100_000).contains(&slot_us)
        {
            // RX2 of EU868 (RP002-1.0.4, 2.4.7).
            ordered.freq_hz = Some(869_525_000);
            ordered.modulation = "SF12BW125".parse().ok();
        }
        all.push(sending);
        names(&verdict(&common::roster(), &all)).contains(&"server-forgets-the-delay-it-gave")
    };
    // RxDelay 1: RX1 a second after, RX2 two.
    assert_eq!([999_000, 1_001_000, 1_999_000, 2_001_000].map(told), [false; 4]);
    assert_eq!([998_999, 1_001_001, 3_000_000, 5_000_000].map(told), [true; 4]);
    // Too far off to be meant for that uplink.
    assert_eq!([20_000_000, 20_000_001].map(told), [true, false]);
}
