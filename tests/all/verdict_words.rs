//! What a verdict says in words is true of the case at hand, and all that is known is said.

use crate::common;

use std::fmt::Write as _;

use common::*;
use handfast::{
    crypto::mic,
    frame::{Frame, JoinRequest},
    id::DevNonce,
    intake::{Event, What},
    key::AppKey,
    ladder::{Diagnosis, Options, diagnose, join::Rung},
    roster::{self, Roster},
};

fn verdict(roster: &Roster, events: &[Event]) -> Diagnosis {
    diagnose(&trace(roster, events), roster, Options::default()).remove(0)
}

#[test]
fn rung_one_prints_what_is_known_of_the_signal() {
    let told = |rssi, snr| {
        let mut heard = heard(1, Some(0), Some(GATEWAY), Some(0), &request(7));
        if let What::Heard(heard) = &mut heard.what {
            (heard.rssi, heard.snr) = (rssi, snr);
        }
        let verdict = verdict(&roster(), &[heard]);
        verdict.join_rung(Rung::Heard).unwrap().evidence[0].to_string()
    };
    assert!(told(Some(-84.0), Some(7.5)).ends_with(", -84 dBm, SNR 7.5 dB"));
    assert!(told(Some(-84.0), None).ends_with("SF9BW125, -84 dBm"));
    assert!(told(None, Some(7.5)).ends_with("SF9BW125, SNR 7.5 dB"));
    assert!(told(None, None).ends_with("SF9BW125"));
}

#[test]
fn that_nothing_of_the_server_was_captured_decides_nothing() {
    let heard = heard(1, Some(0), Some(GATEWAY), Some(0), &request(7));
    let verdict = verdict(&roster(), &[heard]);
    let said = verdict.join_rung(Rung::Answered).unwrap().evidence[0].to_string();
    assert!(said.contains("that side was not captured"), "{said}");
}

/// The node's key, and that key with its second digit typed wrong.
const TRUE_KEY: [u8; 16] = *b"\xd2\x30\x6c\x9b\x9a\x5f\x88\x01\x62\x08\x10\x3f\x7e\x8a\x07\xa6";
const SLIP: [u8; 16] = *b"\xd3\x30\x6c\x9b\x9a\x5f\x88\x01\x62\x08\x10\x3f\x7e\x8a\x07\xa6";

/// What is said of a node that signs with [`TRUE_KEY`] while the roster states these keys.
fn slip(firmware: Option<[u8; 16]>, record: Option<[u8; 16]>) -> (Vec<String>, String) {
    let mut text = "region = 'EU868'\n[[node]]\nname = 'probe-01'\n".to_owned();
    for (claim, key) in [("firmware", firmware), ("record", record)] {
        if let Some(key) = key {
            let (dev_eui, join_eui, key) = (dev_eui().hex(), join_eui().hex(), hex::encode(key));
            write!(
                text,
                "[node.{claim}]\ndev-eui = '{dev_eui}'\njoin-eui = '{join_eui}'\n\
                 app-key = '{key}'\nmac-version = '1.0.3'\n"
            )
            .unwrap();
        }
    }
    let mut request = JoinRequest::new(join_eui(), dev_eui(), DevNonce(7));
    request.mic = mic::join_request(&AppKey::from(TRUE_KEY), &request);
    let octets = Frame::JoinRequest(request).build();
    let heard = heard(1, Some(0), Some(GATEWAY), Some(0), &octets);
    let verdict = verdict(&roster::parse(&text, None).unwrap(), &[heard]);
    let cause = &verdict.causes[0];
    assert_eq!(cause.cause.id.name(), "app-key-typed-wrong");
    (cause.evidence.iter().map(ToString::to_string).collect(), cause.remedy.to_string())
}

#[test]
fn a_typing_slip_says_which_side_gets_which_key() {
    let stale = "what the roster says of the firmware is not what is in the node";
    // The firmware's key is the node's: the record is mended.
    let (evidence, remedy) = slip(Some(TRUE_KEY), Some(SLIP));
    assert!(remedy.starts_with("enter on record the firmware's AppKey, which the frames agree"));
    assert!(!evidence.iter().any(|said| said.contains(stale)), "{evidence:?}");
    // Both state the same, and the node has another.
    let (evidence, remedy) = slip(Some(SLIP), Some(SLIP));
    assert!(remedy.starts_with("give the node the AppKey that is on record, or enter on"));
    assert!(evidence.iter().any(|said| said.contains(stale)), "{evidence:?}");
    // Nothing is said of the firmware, and nothing can be wrong with it.
    let (evidence, remedy) = slip(None, Some(SLIP));
    assert!(remedy.starts_with("give the node the AppKey that is on record, or enter on"));
    assert!(!evidence.iter().any(|said| said.contains(stale)), "{evidence:?}");
    // There is no record.
    let (evidence, remedy) = slip(Some(SLIP), None);
    assert!(remedy.starts_with("give the node the AppKey that is on the roster"), "{remedy}");
    assert!(evidence.iter().any(|said| said.contains(stale)), "{evidence:?}");
}
