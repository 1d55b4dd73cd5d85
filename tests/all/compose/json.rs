//! Frames built from what `read` prints: back again octet for octet, and edited.

use handfast::{
    compose::{DataOctets, DataRecipe, JoinRequestRecipe, Recipe, Remark, from_json},
    crypto::{Scheme, block::UplinkContext, mic::JoinReqType},
    frame::{CfList, FCtrl, FType, Mhdr, RxDelay, decode},
    id::DevNonce,
    reading::{Bound, Bunch, Context, KeyRing, read},
    show::{Input, json},
};
use proptest::prelude::*;
use serde_json::{Value, json};

use super::{
    ACCEPT_1_0, ACCEPT_1_1, ACCEPT_LIST, ACCEPT_OF_REJOIN, DOWNLINK_1_0, DOWNLINK_1_1,
    DOWNLINK_1_1_ACK, REJOIN_0, REJOIN_1, REQUEST_1_0, REQUEST_1_1, UPLINK_1_0, UPLINK_1_1, accept,
    bound, built, data, group, request, roots_1_0, roots_1_1, session_1_0, session_1_1,
};

fn shown(octets: &[u8], keys: &Bunch, context: &Context) -> Value {
    let mut ring = KeyRing::default();
    ring.add(keys.clone());
    let mut text = String::new();
    json::reading(&mut text, &Input::default(), &read(decode(octets), &ring, context)).unwrap();
    serde_json::from_str(&text).unwrap()
}

/// Reads and composes again, with the same keys and without any.
fn there_and_back(octets: &[u8], keys: &Bunch, context: &Context) -> Result<(), TestCaseError> {
    let shown = shown(octets, keys, context);
    for keys in [keys, &Bunch::default()] {
        let draft = from_json(&shown, keys);
        let draft = draft.map_err(|error| TestCaseError::fail(format!("{error} in {shown}")))?;
        let again = draft.recipe.compose(keys);
        let again = again.map_err(|error| TestCaseError::fail(format!("{error} of {shown}")))?;
        prop_assert_eq!(hex::encode(again), hex::encode(octets), "{}", shown);
    }
    Ok(())
}

fn joined(nonce: u16) -> Context {
    let Bound { join_eui, dev_eui, dev_nonce } = bound(nonce);
    Context { join_eui, dev_eui, dev_nonce, ..Context::default() }
}

#[test]
fn read_and_compose_undo_one_another_on_the_worked_examples() {
    let conf = |n| Context { conf_fcnt: Some(n), ..Context::default() };
    let none = Context::default();
    for (frame, keys, context) in [
        (REQUEST_1_0, roots_1_0(), &none),
        (REQUEST_1_0, roots_1_1(), &none),
        (REQUEST_1_1, roots_1_1(), &none),
        (ACCEPT_LIST, roots_1_0(), &none),
        (ACCEPT_LIST, roots_1_1(), &none),
        (ACCEPT_1_0, roots_1_0(), &none),
        (ACCEPT_1_1, roots_1_1(), &joined(0x0102)),
        (ACCEPT_1_1, roots_1_1(), &none),
        (ACCEPT_OF_REJOIN, roots_1_1(), &joined(1)),
        (UPLINK_1_0, session_1_0(), &none),
        (DOWNLINK_1_0, session_1_0(), &none),
        (DOWNLINK_1_0, session_1_1(), &none),
        (UPLINK_1_1, session_1_1(), &conf(7)),
        (UPLINK_1_1, session_1_1(), &none),
        (DOWNLINK_1_1, session_1_1(), &none),
        (DOWNLINK_1_1_ACK, session_1_1(), &conf(1)),
        (REJOIN_0, session_1_1(), &none),
        (REJOIN_1, roots_1_1(), &none),
    ] {
        there_and_back(&hex::decode(frame).unwrap(), &keys, context).unwrap();
    }
}

fn keys() -> impl Strategy<Value = Bunch> {
    let all = || {
        let mut all = session_1_1();
        all.nwk_s_key = session_1_0().nwk_s_key;
        Bunch { app_key: roots_1_0().app_key, nwk_key: roots_1_1().nwk_key, ..all }
    };
    // Every subset of what may be at hand.
    any::<[bool; 9]>().prop_map(move |has| {
        let all = all();
        let group = group();
        Bunch {
            app_key: all.app_key.filter(|_| has[0]),
            nwk_key: all.nwk_key.filter(|_| has[1]),
            nwk_s_key: all.nwk_s_key.filter(|_| has[2]),
            app_s_key: all.app_s_key.filter(|_| has[3]),
            f_nwk_s_int_key: all.f_nwk_s_int_key.filter(|_| has[4]),
            s_nwk_s_int_key: all.s_nwk_s_int_key.filter(|_| has[5]),
            nwk_s_enc_key: all.nwk_s_enc_key.filter(|_| has[6]),
            mc_nwk_s_key: group.mc_nwk_s_key.filter(|_| has[7]),
            mc_app_s_key: group.mc_app_s_key.filter(|_| has[8]),
            ..Bunch::default()
        }
    })
}

fn octets(most: usize) -> impl Strategy<Value = Vec<u8>> {
    proptest::collection::vec(any::<u8>(), 0..most)
}

fn data_recipe() -> impl Strategy<Value = DataRecipe> {
    let ftype = prop_oneof![
        Just(FType::UnconfirmedDataUp),
        Just(FType::ConfirmedDataUp),
        Just(FType::UnconfirmedDataDown),
        Just(FType::ConfirmedDataDown),
    ];
    let fopts = prop_oneof![octets(16), Just(vec![0x02]), Just(vec![0x03, 0x07])];
    let payload = proptest::option::of((prop_oneof![Just(0u8), any::<u8>()], octets(40)));
    let context = (any::<u16>(), 0..16u8, 0..96u8);
    let rest = (any::<u8>(), 0..0x0100_0000u32, any::<bool>(), 0..8u8);
    (ftype, fopts, payload, context, rest).prop_map(|(ftype, fopts, payload, context, rest)| {
        let (fctrl, fcnt, published, mhdr) = rest;
        let mut recipe = data(ftype, fctrl, fcnt);
        recipe.mhdr = Mhdr(recipe.mhdr.0 | mhdr);
        recipe.fopts = DataOctets::Plain(fopts);
        recipe.payload = payload.map(|(port, frm)| (port, DataOctets::Plain(frm)));
        let (conf_fcnt, tx_dr, tx_ch) = context;
        let conf_fcnt = if recipe.fctrl.ack() { conf_fcnt } else { 0 };
        recipe.context = UplinkContext { conf_fcnt, tx_dr, tx_ch };
        recipe.fopts_as_published = published;
        recipe
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn any_octets_that_decode_whole_come_back(mhdr in any::<u8>(), rest in octets(60), keys in keys()) {
        let octets = [&[mhdr][..], &rest].concat();
        if decode(&octets).frame.is_some() {
            there_and_back(&octets, &keys, &Context::default())?;
        }
    }

    #[test]
    fn data_of_any_session_comes_back(
        recipe in data_recipe(),
        scheme in 0..4usize,
        reader in keys(),
        hinted in any::<bool>(),
    ) {
        let mut recipe = recipe;
        let (scheme, keys) = [
            (Scheme::V1_0, session_1_0()),
            (Scheme::V1_1, session_1_1()),
            (Scheme::V1_1OnV1_0, session_1_1()),
            (Scheme::Multicast, group()),
        ][scheme].clone();
        recipe.scheme = Some(scheme);
        let octets = Recipe::Data(recipe.clone()).compose(&keys).unwrap();
        let context = Context {
            conf_fcnt: Some(recipe.context.conf_fcnt).filter(|_| hinted),
            ..Context::default()
        };
        there_and_back(&octets, &keys, &context)?;
        there_and_back(&octets, &reader, &context)?;
    }

    #[test]
    fn join_accepts_with_any_bits_come_back(
        settings in any::<u8>(),
        delay in any::<u8>(),
        list in proptest::option::of(any::<[u8; 16]>()),
        answers in 0..4u8,
        keys in keys(),
    ) {
        let mut recipe = accept(settings, list.map(CfList));
        recipe.accept.rx_delay = RxDelay(delay);
        recipe.bound = bound(0x0102);
        recipe.answers = if answers < 3 { JoinReqType::Rejoin(answers) } else { JoinReqType::Join };
        let octets = Recipe::JoinAccept(recipe).compose(&roots_1_1()).unwrap();
        for context in [joined(0x0102), Context::default()] {
            there_and_back(&octets, &roots_1_1(), &context)?;
            there_and_back(&octets, &keys, &context)?;
        }
    }
}

fn edited(frame: &str, keys: &Bunch, edit: impl Fn(&mut Value)) -> Result<String, String> {
    let mut shown = shown(&hex::decode(frame).unwrap(), keys, &Context::default());
    edit(&mut shown);
    let draft = from_json(&shown, keys).map_err(|error| error.to_string())?;
    draft.recipe.compose(keys).map(hex::encode).map_err(|error| error.to_string())
}

#[test]
fn an_edited_frame_is_encrypted_and_signed_anew() {
    let keys = session_1_0();
    let plain = |text: &str| {
        let mut up = data(FType::UnconfirmedDataUp, 0x80, 0x0001_0002);
        up.payload = Some((2, DataOctets::Plain(hex::decode(text).unwrap())));
        up
    };
    let frame = edited(UPLINK_1_0, &keys, |f| f["plaintext"]["FRMPayload"] = json!("016700e2"));
    assert_eq!(frame, Ok(built(&Recipe::Data(plain("016700e2")), &keys)));
    let mut next = plain("016700e1");
    next.fcnt = 0x0001_0003;
    let expected = Ok(built(&Recipe::Data(next), &keys));
    assert_eq!(edited(UPLINK_1_0, &keys, |f| f["fields"]["FCnt"] = json!(3)), expected);
    assert_eq!(edited(UPLINK_1_0, &keys, |f| f["fcnt32"] = json!(65539)), expected);
    let mut adr = plain("016700e1");
    adr.fctrl = FCtrl::new(0);
    let frame = edited(UPLINK_1_0, &keys, |f| f["fields"]["FCtrl"]["ADR"] = json!(false));
    assert_eq!(frame, Ok(built(&Recipe::Data(adr), &keys)));
    let mut down = data(FType::UnconfirmedDataDown, 0xA0, 5);
    down.payload = Some((0, DataOctets::Plain(hex::decode("0340070001").unwrap())));
    let frame = edited(DOWNLINK_1_0, &keys, |f| {
        f["commands"][0]["fields"]["DataRate"] = json!(4);
    });
    assert_eq!(frame, Ok(built(&Recipe::Data(down), &keys)));
    let frame = edited(REQUEST_1_0, &roots_1_0(), |f| f["fields"]["DevNonce"] = json!(259));
    let mut other = request();
    other.dev_nonce = DevNonce(259);
    let other = Recipe::JoinRequest(JoinRequestRecipe::new(other));
    assert_eq!(frame, Ok(built(&other, &roots_1_0())));
}

#[test]
fn a_mic_that_is_edited_stays_as_it_is() {
    let frame = edited(REQUEST_1_0, &roots_1_0(), |f| f["fields"]["MIC"] = json!("00000000"));
    assert_eq!(frame.unwrap(), REQUEST_1_0.replace("2e269cf5", "00000000"));
}

#[test]
fn what_cannot_be_told_or_done_is_an_error() {
    let none = Bunch::default();
    let frame = edited(REQUEST_1_0, &none, |f| f["fields"]["DevNonce"] = json!(259));
    assert_eq!(frame.unwrap_err(), "the MIC needs AppKey (1.0.x) or NwkKey (1.1)");
    let frame = edited(UPLINK_1_0, &session_1_0(), |f| {
        f["fields"]["FCnt"] = json!(3);
        f["fcnt32"] = json!(4);
    });
    assert_eq!(frame.unwrap_err(), "fields.FCnt: contradicts fcnt32: leave one of them out");
    let error = |object: Value| from_json(&object, &none).unwrap_err().to_string();
    assert_eq!(error(json!(7)), "an object expected");
    assert_eq!(error(json!({})), "message: missing");
    assert_eq!(
        error(json!({"message": "join-request", "fields": {"JoinEUI": "02"}})),
        "fields.JoinEUI: 16 hex digits in quotes expected"
    );
    assert_eq!(
        error(json!({"PHYPayload": "4001"})),
        "PHYPayload: DevAddr at byte 1: 4 bytes needed (by the layout of the message), 1 left"
    );
}

#[test]
fn plaintext_without_its_key_leaves_the_frame_as_it_is_and_says_so() {
    let shown = shown(&hex::decode(UPLINK_1_0).unwrap(), &session_1_0(), &Context::default());
    let draft = from_json(&shown, &Bunch::default()).unwrap();
    assert_eq!(draft.remarks, [Remark::PlaintextUnused { member: "FRMPayload" }]);
    assert_eq!(built(&draft.recipe, &Bunch::default()), UPLINK_1_0);
}

#[test]
fn a_frame_may_be_written_by_hand() {
    let frame = json!({"message": "unconfirmed-data-down", "fcnt32": 5,
        "fields": {"DevAddr": "0201bbda", "FCtrl": {"ADR": true, "ACK": true}, "FPort": 0},
        "commands": [{"name": "LinkADRReq", "fields": {"DataRate": 5, "TXPower": 0,
            "ChMask": "0007", "ChMaskCntl": 0, "NbTrans": 1}}]});
    let keys = session_1_0();
    assert_eq!(built(&from_json(&frame, &keys).unwrap().recipe, &keys), DOWNLINK_1_0);
    let accept = json!({"message": "join-accept", "fields": {"JoinNonce": 41394, "NetID": "000001",
        "DevAddr": "0201bbda", "DLSettings": {"RX1DROffset": 0, "RX2DataRate": 3}, "RxDelay": 1,
        "CFList": {"type": 0, "frequencies":
            [867_100_000, 867_300_000, 867_500_000, 867_700_000, 867_900_000]}}});
    let keys = roots_1_0();
    assert_eq!(built(&from_json(&accept, &keys).unwrap().recipe, &keys), ACCEPT_LIST);
}
