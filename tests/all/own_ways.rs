//! Causes in which one side computes in a way of its own: each with frames made by hand from the
//! raw functions, and a near miss that must not trip it.

use crate::{common::*, support::scene};
use handfast::{
    crypto::{
        Signer, block,
        block::BlockFields,
        cipher::{AcceptKey, seal_join_accept},
        derive, encrypt_block,
        mic::{self, JoinReqType},
    },
    frame::{DataFrame, Direction, DlSettings, FType, Frame, JoinRequest, Mic, Payload},
    id::{DevAddr, DevNonce},
    intake::{Event, When},
    key::{Aes128Key, AppKey, NwkKey, NwkSKey},
    ladder::{Certainty, Diagnosis, Options, State, diagnose, join::Rung},
    roster::{self, Roster},
};

fn verdict(roster: &Roster, events: &[Event]) -> Diagnosis {
    diagnose(&trace(roster, events), roster, Options::default()).remove(0)
}

fn causes(diagnosis: &Diagnosis) -> Vec<(&'static str, Certainty)> {
    diagnosis.causes.iter().map(|v| (v.cause.id.name(), v.certainty)).collect()
}

fn signed_by(nonce: u16, input: impl Fn(&JoinRequest) -> Vec<u8>) -> Vec<u8> {
    let mut request = JoinRequest::new(join_eui(), dev_eui(), DevNonce(nonce));
    let [a, b, c, d, ..] = mic::cmac(&Aes128Key::new(ROOT), &input(&request));
    request.mic = Mic([a, b, c, d]);
    Frame::JoinRequest(request).build()
}

#[test]
fn a_request_signed_over_printed_eui_order_is_named() {
    // DevEUI goes into the MIC as printed, while the frame has it least octet first (LoRaWAN 1.0.4,
    // p. 45)
    let odd = |r: &JoinRequest| {
        let mut input = vec![0];
        input.extend(r.join_eui.to_wire());
        input.extend(r.dev_eui.0.octets());
        input.extend(r.dev_nonce.to_wire());
        input
    };
    let roster = roster();
    let frames = [later(1, &signed_by(7, odd)), later(2, &signed_by(8, odd))];
    let found = verdict(&roster, &frames);
    assert_eq!(causes(&found), [("join-request-signed-by-another-rule", Certainty::Certain)]);
    // noise in the MIC's place is no misreading
    let mut noise = JoinRequest::new(join_eui(), dev_eui(), DevNonce(7));
    noise.mic = Mic([1, 2, 3, 4]);
    let found = verdict(&roster, &[later(1, &Frame::JoinRequest(noise).build())]);
    assert_eq!(causes(&found), [("root-key-unrelated", Certainty::Possible)]);
}

/// A Join-Accept encrypted with AES encryption, which no node can turn back by encrypting.
fn encrypted_accept(dev_addr: u32) -> Vec<u8> {
    let mut accept = plain_accept(dev_addr);
    accept.mic = mic::join_accept_1_0(&AppKey::from(ROOT), &accept);
    let octets = accept.octets();
    let mut out = vec![octets[0]];
    for block in octets[1..].chunks_exact(16) {
        out.extend(encrypt_block(&Aes128Key::new(ROOT), block.try_into().unwrap()));
    }
    out
}

fn exchanges(accept: impl Fn(u32) -> Vec<u8>) -> Vec<Event> {
    let mut out = Vec::new();
    for i in 0..2u32 {
        let line = u64::from(i) * 20 + 1;
        let at = i64::try_from(line).unwrap() * 10_000_000;
        let tmst = u32::try_from(line).unwrap() * 10_000_000;
        out.push(later(line, &request(7 + u16::try_from(i).unwrap())));
        out.push(sent(
            line + 1,
            Some(at + 200_000),
            Some(GATEWAY),
            When::Counter(tmst + 5_000_000),
            &accept(0x0201_0001 + i),
        ));
    }
    out
}

#[test]
fn accepts_encrypted_instead_of_decrypted_are_named() {
    let roster = roster();
    let found = verdict(&roster, &exchanges(encrypted_accept));
    assert_eq!(causes(&found), [("accept-made-by-another-rule", Certainty::Certain)]);
    // under another key altogether it is that, and no misreading
    let foreign = |addr| {
        let key = AppKey::from([0x77; 16]);
        let mut accept = plain_accept(addr);
        accept.mic = mic::join_accept_1_0(&key, &accept);
        Frame::JoinAccept(seal_join_accept(AcceptKey::join(&key), &accept)).build()
    };
    let found = verdict(&roster, &exchanges(foreign));
    assert_eq!(causes(&found), [("accept-for-another-key", Certainty::Certain)]);
}

/// A roster on which firmware and record say these versions, where they say any.
fn of_versions(firmware: Option<&str>, record: Option<&str>) -> Roster {
    let claim = |kind: &str, version: Option<&str>| {
        let version = version.map(|v| format!("mac-version = '{v}'\n")).unwrap_or_default();
        format!(
            "[node.{kind}]\ndev-eui = '{}'\njoin-eui = '{}'\napp-key = '{k}'\nnwk-key = '{k}'\n{version}",
            dev_eui().hex(),
            join_eui().hex(),
            k = hex::encode(ROOT)
        )
    };
    let text = format!(
        "region = 'EU868'\n[[node]]\nname = 'p'\n{}{}",
        claim("firmware", firmware),
        claim("record", record)
    );
    roster::parse(&text, None).unwrap()
}

/// Accepts by the rule of 1.0 or 1.1, with OptNeg as given.
fn accept_of(by_1_1: bool, opt_neg: bool) -> impl Fn(u32) -> Vec<u8> {
    move |addr| {
        let key = NwkKey::from(ROOT);
        let mut accept = plain_accept(addr);
        accept.dl_settings = DlSettings(u8::from(opt_neg) << 7);
        // The addresses count with the nonces of the requests.
        let nonce = DevNonce(7 + u16::try_from(addr - 0x0201_0001).unwrap());
        accept.mic = if by_1_1 {
            let js_int_key = derive::js_int_key(&key, dev_eui());
            mic::join_accept_1_1(&js_int_key, JoinReqType::Join, join_eui(), nonce, &accept)
        } else {
            mic::join_accept_1_0(&key, &accept)
        };
        Frame::JoinAccept(seal_join_accept(AcceptKey::join(&key), &accept)).build()
    }
}

#[test]
fn a_rule_and_opt_neg_are_judged_in_all_four_combinations() {
    const DISAGREE: &str = "accept-rule-and-opt-neg-disagree";
    const SAYS_1_1: &str = "server-says-1.1-node-is-1.0";
    for (by_1_1, opt_neg, of_1_1, of_1_0) in [
        (false, false, None, None),
        (true, true, None, Some(SAYS_1_1)),
        // No version takes the 1.1 rule with OptNeg 0.
        (true, false, Some(DISAGREE), Some(DISAGREE)),
        // A published server test does so for a 1.0.3 node, to which bit 7 is reserved.
        (false, true, Some(DISAGREE), None),
    ] {
        for (version, wanted) in [("1.1", of_1_1), ("1.0.3", of_1_0)] {
            let roster = of_versions(Some(version), Some(version));
            let found = verdict(&roster, &exchanges(accept_of(by_1_1, opt_neg)));
            let wanted: Vec<_> = wanted.map(|id| (id, Certainty::Certain)).into_iter().collect();
            assert_eq!(causes(&found), wanted, "{version}: rule 1.1 {by_1_1}, OptNeg {opt_neg}");
            let state = found.join_rung(Rung::Acceptable).unwrap().state;
            let good = if wanted.is_empty() { State::Proven } else { State::Broken };
            assert_eq!(state, good, "{version}: rule 1.1 {by_1_1}, OptNeg {opt_neg}");
        }
    }
}

#[test]
fn the_reserved_bit_is_mentioned_to_a_1_0_node_and_open_where_no_version_is_stated() {
    let found = verdict(&of_versions(Some("1.0.3"), None), &exchanges(accept_of(false, true)));
    let told = scene::words(&found.join_rung(Rung::Acceptable).unwrap().evidence);
    assert!(told.contains("bit 7 of DLSettings is set; it is reserved for a 1.0.3 node"), "{told}");
    // The record's version stands in for the node's, and nothing is certain.
    let found = verdict(&of_versions(None, Some("1.1")), &exchanges(accept_of(false, true)));
    assert_eq!(causes(&found), [("accept-rule-and-opt-neg-disagree", Certainty::Likely)]);
    let found = verdict(&of_versions(None, None), &exchanges(accept_of(false, true)));
    assert!(causes(&found).is_empty(), "{:?}", causes(&found));
    assert_eq!(found.join_rung(Rung::Acceptable).unwrap().state, State::Unknown);
}

fn uplink(key: &NwkSKey, fcnt: u16, count_the_mic: bool) -> Vec<u8> {
    let mut frame = DataFrame::new(FType::UnconfirmedDataUp, DevAddr(0x0201_0001), fcnt);
    frame.payload = Some(Payload { port: 2, frm: vec![9, 8, 7] });
    let msg = Frame::Data(frame.clone()).signed();
    let place = BlockFields {
        direction: Direction::Uplink,
        dev_addr: frame.dev_addr,
        fcnt: u32::from(fcnt),
    };
    let len = msg.len() + if count_the_mic { 4 } else { 0 };
    frame.mic = Signer::new(key.key()).mic(&[&block::b0(&place, 0, len), &msg]);
    Frame::Data(frame).build()
}

#[test]
fn a_mic_whose_length_counts_the_mic_is_named() {
    let roster = roster();
    let key = session(0x0201_0001, 7);
    let after = |count| {
        let mut all = exchanges(accept);
        all.truncate(2);
        all.push(later(5, &uplink(&key, 0, count)));
        all.push(later(6, &uplink(&key, 1, count)));
        all
    };
    let found = verdict(&roster, &after(true));
    assert_eq!(causes(&found), [("data-signed-by-another-rule", Certainty::Certain)]);
    assert!(causes(&verdict(&roster, &after(false))).is_empty());
}

#[test]
fn a_payload_in_clear_is_named_when_it_is_text() {
    let roster = roster();
    let key = session(0x0201_0001, 7);
    let after = |texts: [&[u8]; 2]| {
        let mut all = exchanges(accept);
        all.truncate(2);
        for (i, text) in (0u16..).zip(texts) {
            let mut frame = DataFrame::new(FType::UnconfirmedDataUp, DevAddr(0x0201_0001), i);
            frame.payload = Some(Payload { port: 2, frm: text.to_vec() });
            frame.mic = mic::data_1_0(&key, &frame, u32::from(i));
            all.push(later(5 + u64::from(i), &Frame::Data(frame).build()));
        }
        all
    };
    let found = verdict(&roster, &after([b"moist=41 temp=17", b"moist=42 temp=17"]));
    assert_eq!(causes(&found)[0].0, "payload-encrypted-by-another-rule");
    let noise: [&[u8]; 2] = [&[0x91; 16], &[0xE3; 16]];
    assert!(causes(&verdict(&roster, &after(noise))).is_empty());
}

#[test]
fn a_payload_over_the_limit_of_its_data_rate_is_named() {
    // EU868 DR3 (SF9BW125): M is 123 octets (RP002-1.0.1, table 10)
    let roster = roster();
    let key = session(0x0201_0001, 7);
    let after = |octets: usize| {
        let mut all = exchanges(accept);
        all.truncate(2);
        let mut frame = DataFrame::new(FType::UnconfirmedDataUp, DevAddr(0x0201_0001), 0);
        frame.payload = Some(Payload { port: 2, frm: vec![0xA5; octets] });
        frame.mic = mic::data_1_0(&key, &frame, 0);
        all.push(later(5, &Frame::Data(frame).build()));
        all
    };
    assert!(causes(&verdict(&roster, &after(115))).is_empty());
    let found = verdict(&roster, &after(116));
    assert_eq!(causes(&found), [("frame-size-over-the-limit", Certainty::Certain)]);
}
