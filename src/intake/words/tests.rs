//! A table of wordings: what is a statement, and what is none.

use super::*;
use crate::intake::event::{Count, Leg, Refusal, Subject, TxError};

const NODE: &str = "0200ddfffe5764ce";

fn said(text: &str) -> Vec<Statement> {
    let spoken = Speech::default().line(text, Position::line(1));
    spoken.into_iter().map(|one| one.said.what).collect()
}

fn refusal(text: &str) -> Option<Refusal> {
    match &said(&text.replace("NODE", NODE))[..] {
        [Statement::Refused(refusal)] => Some(*refusal),
        _ => None,
    }
}

#[test]
fn refusals_are_read_in_many_wordings() {
    let used = |text: &str| matches!(refusal(text), Some(Refusal::NonceUsed { .. }));
    for text in [
        "DevEUI NODE: DevNonce was used before by this device",
        "[NODE] checking the nonce failed: it is used already",
        "dev_eui=NODE err=DevNonceAlreadyUsed",
        "NODE: join refused, DevNonce 36963 was used already",
        "device NODE: duplicate DevNonce",
        "dev_eui=NODE dev_nonce has already been used",
        "NODE join rejected: DEVNONCE_REUSED",
    ] {
        assert!(used(text), "{text}: {:?}", refusal(text));
    }
    let small = |text: &str| match refusal(text) {
        Some(Refusal::NonceTooSmall { nonce, last }) => Some((nonce, last)),
        _ => None,
    };
    for text in [
        "dev_eui=NODE DevNonce is too small: got 9, last was 1313",
        "[NODE] DevNonce 9 is not higher than 1313",
        "NODE join rejected: nonce too low, received 9, expected more than 1313",
    ] {
        assert_eq!(small(text), Some((Some(9), Some(1_313))), "{text}");
    }
    for text in [
        "no entry for NODE",
        "looking up the device failed, no entry for NODE",
        "unknown device NODE, request dropped",
        "NODE;join;device not registered",
        "DevEUI NODE not found",
        "dev_eui=NODE error=UnknownDevice",
        "join refused: unknown DevEUI NODE",
    ] {
        assert_eq!(refusal(text), Some(Refusal::UnknownDevice), "{text}");
    }
    for text in [
        "device=NODE join refused: invalid MIC",
        "NODE MIC mismatch",
        "[NODE] MIC check failed",
        "dev_eui=NODE err=MIC_INVALID",
        "DevEUI NODE: the MIC does not match",
    ] {
        assert_eq!(refusal(text), Some(Refusal::MicInvalid), "{text}");
    }
}

#[test]
fn values_of_a_refusal_are_read() {
    let text =
        "DevEUI NODE: AppEUI differs, on the air 02001FFFFED6FCEA, on record 02001FFFFED6FCE3";
    let eui = |text: &str| text.parse().ok();
    let wanted = Refusal::JoinEuiDiffers {
        heard: eui("02001fffFed6fcea"),
        on_record: eui("02001ffffed6fce3"),
    };
    assert_eq!(refusal(text), Some(wanted));
    let text = "NODE JoinEUI mismatch: expected 02001FFFFED6FCE3, got 02001FFFFED6FCEA";
    assert_eq!(refusal(text), Some(wanted));
    let text = "dev_addr=029c59c8 uplink refused: frame counter too low, got 1, last 3658";
    assert_eq!(refusal(text), Some(Refusal::CounterTooLow { fcnt: Some(1), last: Some(3_658) }));
}

#[test]
fn what_is_denied_asked_supposed_or_set_is_no_event() {
    for text in [
        "[NODE] DevNonce 35555 is new, not used",
        "NODE: DevNonce was never used before",
        "DevEUI NODE: MIC is valid",
        "NODE: no MIC error",
        "device NODE is not unknown",
        "NODE mic_invalid=0 unknown_device=false",
        "dev_eui=NODE keys stored, no error",
        "If the JoinEUI of NODE does not match, is the request dropped or refused?",
        "I think DevNonce was used before by NODE",
        "Could a DevNonce of NODE be used twice?",
        "2026-03-01T00:00:00Z config: reject_unknown_devices=true check_mic=true dev_nonce_reuse=deny",
        "invalid MIC",
        "a refusal such as invalid MIC",
        "device not registered",
        "NODE DevNonce = 18084",
        "last DevNonce below is for NODE",
    ] {
        let text = text.replace("NODE", NODE);
        let refused = said(&text).into_iter().any(|what| matches!(what, Statement::Refused(_)));
        assert!(!refused, "{text}: {:?}", said(&text));
    }
}

#[test]
fn accepts_and_data_are_read() {
    let one = |text: &str| said(&text.replace("NODE", NODE)).into_iter().next();
    let dev_addr = "02f4bc51".parse().ok();
    assert_eq!(
        one("[NODE] join accepted, DevAddr 02f4bc51"),
        Some(Statement::Accepted { dev_addr })
    );
    assert_eq!(one("NODE join-accept sent"), Some(Statement::AcceptSent));
    assert_eq!(one("DevEUI NODE: request to join, looking up the record"), Some(Statement::Asked));
    assert_eq!(one("device=NODE JoinRequest taken in"), Some(Statement::Asked));
    assert_eq!(
        one("02f4bc51 uplink, FCnt 1, port 2"),
        Some(Statement::UplinkTaken { fcnt: Some(1) })
    );
    assert_eq!(one("NODE join not accepted"), None);
    assert_eq!(one("join accepted"), None);
}

#[test]
fn the_node_of_a_statement_is_the_one_named() {
    let about = |text: &str| {
        Speech::default().line(text, Position::line(1)).pop().and_then(|one| one.said.about)
    };
    let node = Some(Subject::DevEui(crate::id::DevEui(NODE.parse().unwrap())));
    for text in [
        "gateway 020000fffea09442: device 0200ddfffe5764ce: invalid MIC",
        "join of 02-00-DD-FF-FE-57-64-CE refused: invalid MIC",
    ] {
        assert_eq!(about(text), node, "{text}");
    }
}

#[test]
fn a_gateway_s_words_are_read() {
    let at = |text: &str| said(&format!("10:00:00 {text}"));
    assert_eq!(
        at("downlink refused: TOO_LATE"),
        [Statement::NotSent { error: TxError::TooLate, counters: None }]
    );
    assert_eq!(
        at("PUSH_DATA 2 out, 0.00 % acknowledged"),
        [Statement::Counted(Count::Acknowledged(Leg::Push, 2, 0.0))]
    );
    assert_eq!(
        at("down: pull_data=3 pull_ack=100.00% pull_resp=0 tx=0 tx_fail=0"),
        [
            Statement::Counted(Count::Acknowledged(Leg::Pull, 3, 100.0)),
            Statement::Counted(Count::Ordered(0))
        ]
    );
    assert_eq!(
        at("[stat] rf packets 38; CRC ok 0.00 %"),
        [Statement::Counted(Count::Received(38, 0.0))]
    );
    assert_eq!(
        at("receiver stays on 868.1 MHz, SF7, this channel only"),
        [Statement::OneChannel { freq_hz: 868_100_000 }]
    );
    for text in [
        "downlink was not too late",
        "TOO_LATE is what a gateway says",
        "is 0.00 % acknowledged a fault?",
    ] {
        assert_eq!(at(text), [], "{text}");
    }
    // Without a time it is prose.
    assert_eq!(said("downlink refused: TOO_LATE"), []);
}

#[test]
fn keys_are_not_repeated() {
    let text = format!("{NODE}: invalid MIC under 2b7e151628aed2a6abf7158809cf4f3c");
    let words = Speech::default()
        .line(&text, Position::line(1))
        .pop()
        .and_then(|one| one.said.words)
        .unwrap();
    assert!(!words.contains("2b7e1516"), "{words}");
}
