//! Proofs by every rule, halves, and what a proof opens.

use proptest::prelude::*;

use super::*;
use crate::{
    crypto::{
        EncryptionKeys,
        block::{FOptsRule, FOptsText},
        cipher, mic,
    },
    frame::{FCtrl, FOpts, FType, Payload},
    id::DevAddr,
    key::{AppSKey, NwkSEncKey},
};

const UPLINK: UplinkContext = UplinkContext { conf_fcnt: 0, tx_dr: 5, tx_ch: 2 };

fn f_nwk_s_int_key() -> FNwkSIntKey {
    FNwkSIntKey::from([1; 16])
}

fn s_nwk_s_int_key() -> SNwkSIntKey {
    SNwkSIntKey::from([2; 16])
}

fn by_1_1<'k>(forwarding: &'k FNwkSIntKey, serving: Option<&'k SNwkSIntKey>) -> IntegrityKeys<'k> {
    IntegrityKeys::V1_1 { forwarding: Some(forwarding), serving }
}

fn frame(ftype: FType, fcnt: u32) -> DataFrame {
    let [lo, hi, ..] = fcnt.to_le_bytes();
    let mut frame = DataFrame::new(ftype, DevAddr(0x0201_BBDA), u16::from_le_bytes([lo, hi]));
    frame.payload = Some(Payload { port: 1, frm: vec![7; 20] });
    frame
}

fn up_1_1(fcnt: u32) -> DataFrame {
    let mut frame = frame(FType::UnconfirmedDataUp, fcnt);
    frame.mic = mic::data_up_1_1(&s_nwk_s_int_key(), &f_nwk_s_int_key(), &frame, fcnt, &UPLINK);
    frame
}

fn check<'f>(
    keys: IntegrityKeys<'_>,
    frame: &'f DataFrame,
    counters: &[u32],
    unseen: &Unseen<'_>,
) -> Option<Result<Verified<&'f DataFrame>, DataMismatch>> {
    let counters = counters.iter().copied();
    Verifier::new(3, keys).check(&mut MicInput::of(frame), counters, unseen)
}

#[test]
fn the_proof_says_whose_key_and_which_counter() {
    let (key, fcnt) = (NwkSKey::from([9; 16]), 0x0002_0007);
    let mut frame = frame(FType::ConfirmedDataUp, fcnt);
    frame.mic = mic::data_1_0(&key, &frame, fcnt);
    let keys = IntegrityKeys::V1_0(&key);
    let counters = [7, 0x0001_0007, fcnt];
    let verified = check(keys, &frame, &counters, &Unseen::default()).unwrap().unwrap();
    let proof = verified.proof();
    assert_eq!((proof.claim(), proof.by(), proof.fcnt()), (3, SignedBy::NwkSKey, fcnt));

    let missed = check(keys, &frame, &counters[..2], &Unseen::default()).unwrap().unwrap_err();
    assert_eq!((missed.fcnt, missed.received), (7, frame.mic));
    assert_eq!(missed.expected, mic::data_1_0(&key, &frame, 7));
    assert_eq!(missed.half(), None);
    let untried = check(keys, &frame, &[], &Unseen::default()).unwrap().unwrap_err();
    assert_eq!(untried.expected, missed.expected);
}

#[test]
fn a_proof_fits_no_other_frame() {
    let frame = up_1_1(9);
    let (forwarding, serving) = (f_nwk_s_int_key(), s_nwk_s_int_key());
    let keys = by_1_1(&forwarding, Some(&serving));
    let verified = check(keys, &frame, &[9], &Unseen::default()).unwrap().unwrap();
    let (_, proof) = verified.into_parts();
    assert!(proof.of(frame.clone()).is_ok());
    let mut other = frame.clone();
    other.mic.0[3] ^= 1;
    assert!(proof.of(&other).is_err());
    assert!(proof.of(DataFrame { dev_addr: DevAddr(1), ..frame.clone() }).is_err());
    let down = DataFrame { mhdr: crate::frame::Mhdr::new(FType::UnconfirmedDataDown), ..frame };
    assert!(proof.of(&down).is_err());
}

#[test]
fn an_uplink_of_1_1_needs_both_halves() {
    let (forwarding, serving) = (f_nwk_s_int_key(), s_nwk_s_int_key());
    let frame = up_1_1(0x0001_0009);
    let counters = [9, 0x0001_0009];
    let known = Unseen { tx_drs: 5..=5, tx_chs: 2..=2, ..Unseen::default() };
    let both = by_1_1(&forwarding, Some(&serving));
    let verified = check(both, &frame, &counters, &known).unwrap().unwrap();
    assert_eq!(verified.proof().by(), SignedBy::BothIntegrityKeys);
    assert_eq!(verified.proof().uplink(), Some(UPLINK));

    let elsewhere = Unseen { tx_chs: 3..=3, ..known.clone() };
    let missed = check(both, &frame, &counters, &elsewhere).unwrap().unwrap_err();
    let half = missed.half().unwrap();
    assert!(half.is_half() && half.fcnt() == 0x0001_0009 && half.uplink().is_none());
    let context = UplinkContext { tx_ch: 3, ..UPLINK };
    let expected = mic::data_up_1_1(&serving, &forwarding, &frame, missed.fcnt, &context);
    assert_eq!((missed.fcnt, missed.expected), (0x0001_0009, expected));

    let alone = by_1_1(&forwarding, None);
    let missed = check(alone, &frame, &counters, &known).unwrap().unwrap_err();
    assert_eq!(missed.by, SignedBy::ForwardingHalf);
    assert_eq!((missed.expected, missed.half().is_some()), (frame.mic, true));
    let missed = check(alone, &frame, &[9], &known).unwrap().unwrap_err();
    assert_eq!((missed.expected.0[..2].to_vec(), missed.half()), (frame.mic.0[..2].to_vec(), None));
}

#[test]
fn a_counter_that_holds_beats_an_earlier_one_that_fits_half() {
    let (forwarding, serving) = (f_nwk_s_int_key(), s_nwk_s_int_key());
    let true_counter = 0x00A0_0009;
    let frame = up_1_1(true_counter);
    let [.., f0, f1] = frame.mic.0;
    let by_chance = (0..0x00A0_0000)
        .find(|fcnt| mic::forwarding_half(&forwarding, &frame, *fcnt) == [f0, f1])
        .unwrap();
    let keys = by_1_1(&forwarding, Some(&serving));
    let known = Unseen { tx_drs: 5..=5, tx_chs: 2..=2, ..Unseen::default() };
    let counters = [by_chance, true_counter];
    let verified = check(keys, &frame, &counters, &known).unwrap().unwrap();
    assert_eq!(verified.proof().fcnt(), true_counter);
}

#[test]
fn every_context_that_fits_is_found() {
    let (forwarding, serving) = (f_nwk_s_int_key(), s_nwk_s_int_key());
    let frame = up_1_1(9);
    let mut input = MicInput::of(&frame);
    let mut verifier = Verifier::new(0, by_1_1(&forwarding, Some(&serving)));
    let every = Unseen::default();
    assert_eq!(every.contexts(&frame).count(), 16 * 96);
    let found: Vec<_> = verifier.contexts(&mut input, 9, &every).collect();
    assert!(found.contains(&UPLINK));
    for context in found {
        let half = mic::serving_half(&serving, &frame, 9, &context);
        assert_eq!(half, frame.mic.0[..2]);
    }
}

#[test]
fn conf_fcnt_counts_in_an_acknowledgement_alone() {
    let serving = s_nwk_s_int_key();
    let keys = IntegrityKeys::V1_1 { forwarding: None, serving: Some(&serving) };
    let confirmed = Unseen { conf_fcnts: &[40, 41], ..Unseen::default() };
    let mut down = frame(FType::UnconfirmedDataDown, 3);
    down.mic = mic::data_down_1_1(&serving, &down, 3, 0);
    let verified = check(keys, &down, &[3], &confirmed).unwrap().unwrap();
    assert_eq!(verified.proof().conf_fcnt(), None);
    down.mic = mic::data_down_1_1(&serving, &down, 3, 41);
    assert!(check(keys, &down, &[3], &confirmed).unwrap().is_err());
    down.fctrl = FCtrl::new(0x20);
    for (conf, holds) in [(41, true), (0, true), (42, false)] {
        down.mic = mic::data_down_1_1(&serving, &down, 3, conf);
        let checked = check(keys, &down, &[3], &confirmed).unwrap();
        let found = checked.ok().and_then(|verified| verified.proof().conf_fcnt());
        assert_eq!(found, holds.then_some(conf));
    }
}

#[test]
fn keys_that_sign_nothing_this_way_say_nothing() {
    let (forwarding, serving) = (f_nwk_s_int_key(), s_nwk_s_int_key());
    let (up, down) = (up_1_1(1), frame(FType::UnconfirmedDataDown, 1));
    let only = Unseen::default();
    let without = IntegrityKeys::V1_1 { forwarding: None, serving: Some(&serving) };
    assert!(check(without, &up, &[1], &only).is_none());
    assert!(check(by_1_1(&forwarding, None), &down, &[1], &only).is_none());
    let group = McNwkSKey::from([5; 16]);
    assert!(check(IntegrityKeys::Multicast(&group), &up, &[1], &only).is_none());
    assert!(check(IntegrityKeys::Multicast(&group), &down, &[1], &only).is_some());
}

proptest! {
    #[test]
    fn what_was_encrypted_comes_back_under_the_key_that_the_proof_asks_for(
        port in any::<u8>(), clear in proptest::collection::vec(any::<u8>(), 0..50),
        high in any::<u16>(), down in any::<bool>(), one_one in any::<bool>(),
    ) {
        let fcnt = u32::from(high) << 16 | 5;
        let ftype = if down { FType::UnconfirmedDataDown } else { FType::UnconfirmedDataUp };
        let (network, enc) = (NwkSKey::from([9; 16]), NwkSEncKey::from([3; 16]));
        let app = AppSKey::from([4; 16]);
        let (forwarding, serving) = (f_nwk_s_int_key(), s_nwk_s_int_key());
        let keys = EncryptionKeys {
            app_s_key: Some(&app),
            nwk_s_key: Some(&network),
            nwk_s_enc_key: Some(&enc),
            mc_app_s_key: None,
        };
        let mut sent = frame(ftype, fcnt);
        let place = MicInput::of(&sent).place(fcnt);
        let key = match (port, one_one) {
            (0, false) => (&network).into(),
            (0, true) => (&enc).into(),
            (1.., _) => (&app).into(),
        };
        let frm = cipher::encrypt_payload(key, &place, &clear);
        sent.payload = Some(Payload { port, frm });
        let commands = [2, 3];
        let rule = FOptsRule::of(FOptsText::Amended, sent.direction(), Some(port));
        let encrypted = cipher::encrypt_fopts(&enc, &place, rule, &commands);
        sent.fopts = FOpts::new(if one_one { encrypted } else { commands.to_vec() }).unwrap();
        sent.mic = match (one_one, down) {
            (false, _) => mic::data_1_0(&network, &sent, fcnt),
            (true, true) => mic::data_down_1_1(&serving, &sent, fcnt, 0),
            (true, false) => mic::data_up_1_1(&serving, &forwarding, &sent, fcnt, &UPLINK),
        };
        let integrity = if one_one {
            by_1_1(&forwarding, Some(&serving))
        } else {
            IntegrityKeys::V1_0(&network)
        };
        let known = Unseen { tx_drs: 5..=5, tx_chs: 2..=2, ..Unseen::default() };
        let verified = check(integrity, &sent, &[fcnt], &known).unwrap().unwrap();
        prop_assert_eq!(cipher::payload(&verified, &keys).unwrap().octets, clear);
        let fopts = cipher::fopts(&verified, &keys, FOptsText::Amended).unwrap();
        prop_assert_eq!(&fopts[..], &commands[..]);
        let keyless = EncryptionKeys::default();
        prop_assert!(cipher::payload(&verified, &keyless).is_none());
        let fopts = cipher::fopts(&verified, &keyless, FOptsText::Amended);
        prop_assert_eq!(fopts.is_none(), one_one);
    }
}
