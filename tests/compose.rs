//! Frames built from fields and keys, and from what `read` prints.

use handfast::{
    compose::{
        AcceptRecipe, ComposeError, DataRecipe, JoinRequestRecipe, Octets, Recipe, Remark, Scheme,
        Signature, Step, from_json,
    },
    crypto::{block::UplinkContext, mic::JoinReqType},
    frame::{
        CfList, DlSettings, FCtrl, FType, JoinAccept, JoinRequest, Mhdr, Mic, RejoinBody,
        RejoinRequest, RxDelay, decode,
    },
    id::{DevNonce, JoinNonce, NetId},
    reading::{Bound, Bunch, Context, KeyRing, read},
    show::{Input, json},
};
use proptest::prelude::*;
use serde_json::{Value, json};

const APP_KEY: &str = "2B7E151628AED2A6ABF7158809CF4F3C";
const NWK_KEY: &str = "00112233445566778899AABBCCDDEEFF";
const REQUEST_1_0: &str = "0001000bfeff0000023c2b1afeff00000202012e269cf5";
const REQUEST_1_1: &str = "0001000bfeff0000023c2b1afeff00000202018afbf774";
const ACCEPT_LIST: &str = "20d94acfd06540984f241461506659c3aaadb5152aaff250202fba28e71693051d";
const ACCEPT_1_0: &str = "20f0d8c267f0b6fad6bf86b96a1617a9eb";
const ACCEPT_1_1: &str = "2052af301bca7be931c662cdda61cb6739";
const ACCEPT_OF_REJOIN: &str = "208db08cab02d8dedd56a23fea6ea304bc";
const UPLINK_1_0: &str = "40dabb0102800200022721029daeaf9ee9";
const DOWNLINK_1_0: &str = "60dabb0102a00500007efc0f41fe4bd10617";
const UPLINK_1_1: &str = "40dabb0102220100ed41023b6c5dda8cdc0aef";
const DOWNLINK_1_1: &str = "60dabb0102020000ae01d0ea01de";
const DOWNLINK_1_1_ACK: &str = "60dabb010221090014029a08496394";
const REJOIN_0: &str = "c0000100003c2b1afeff0000020100623efa5b";
const REJOIN_1: &str = "c00101000bfeff0000023c2b1afeff00000201003a1dae15";

fn roots_1_0() -> Bunch {
    Bunch { app_key: APP_KEY.parse().ok(), ..Bunch::default() }
}

fn roots_1_1() -> Bunch {
    Bunch { nwk_key: NWK_KEY.parse().ok(), ..roots_1_0() }
}

fn session_1_0() -> Bunch {
    Bunch {
        nwk_s_key: "4BFD96BCE7BDA8054D563C80486C0390".parse().ok(),
        app_s_key: "4C4ADDCE1783C8B89B98C1B43AD17E09".parse().ok(),
        ..Bunch::default()
    }
}

fn session_1_1() -> Bunch {
    Bunch {
        f_nwk_s_int_key: "D7CBEEC26F99D59820EBB411DD1E4EEC".parse().ok(),
        s_nwk_s_int_key: "AC70BCE4F43A128378AEB3702AEED5DD".parse().ok(),
        nwk_s_enc_key: "FAEBAE13DA4F4D4C1B1393C7A7A34C81".parse().ok(),
        app_s_key: "24EC05F37545D6566A7B28941A197B3F".parse().ok(),
        ..Bunch::default()
    }
}

fn group() -> Bunch {
    Bunch {
        mc_nwk_s_key: Some([7; 16].into()),
        mc_app_s_key: Some([8; 16].into()),
        ..Bunch::default()
    }
}

fn built(recipe: &Recipe, keys: &Bunch) -> String {
    hex::encode(recipe.compose(keys).unwrap())
}

fn request() -> JoinRequest {
    let join_eui = "020000FFFE0B0001".parse().unwrap();
    JoinRequest::new(join_eui, "020000FFFE1A2B3C".parse().unwrap(), DevNonce(0x0102))
}

fn accept(dl_settings: u8, cf_list: Option<CfList>) -> AcceptRecipe {
    AcceptRecipe::new(JoinAccept {
        mhdr: Mhdr::new(FType::JoinAccept),
        join_nonce: JoinNonce::new(0xA1B2).unwrap(),
        net_id: NetId::new(1).unwrap(),
        dev_addr: "0201BBDA".parse().unwrap(),
        dl_settings: DlSettings(dl_settings),
        rx_delay: RxDelay(1),
        cf_list,
        mic: Mic::default(),
    })
}

fn data(ftype: FType, fctrl: u8, fcnt: u32) -> DataRecipe {
    let mut data = DataRecipe::new(ftype, "0201BBDA".parse().unwrap(), fcnt);
    data.fctrl = FCtrl::new(fctrl);
    data
}

fn bound(nonce: u16) -> Bound {
    Bound {
        join_eui: "020000FFFE0B0001".parse().ok(),
        dev_eui: "020000FFFE1A2B3C".parse().ok(),
        dev_nonce: Some(DevNonce(nonce)),
    }
}

#[test]
fn a_join_is_composed_from_its_fields() {
    let recipe = Recipe::JoinRequest(JoinRequestRecipe::new(request()));
    assert_eq!(built(&recipe, &roots_1_0()), REQUEST_1_0);
    assert_eq!(built(&recipe, &roots_1_1()), REQUEST_1_1);
    let hz = [867_100_000, 867_300_000, 867_500_000, 867_700_000, 867_900_000];
    let list = Some(CfList::of_frequencies(&hz));
    assert_eq!(built(&Recipe::JoinAccept(accept(3, list)), &roots_1_0()), ACCEPT_LIST);
    assert_eq!(built(&Recipe::JoinAccept(accept(3, None)), &roots_1_0()), ACCEPT_1_0);
    let mut modern = accept(0x83, None);
    modern.bound = bound(0x0102);
    assert_eq!(built(&Recipe::JoinAccept(modern.clone()), &roots_1_1()), ACCEPT_1_1);
    modern.bound = bound(1);
    modern.answers = JoinReqType::Rejoin(0);
    assert_eq!(built(&Recipe::JoinAccept(modern), &roots_1_1()), ACCEPT_OF_REJOIN);
}

#[test]
fn rejoin_requests_are_composed_from_their_fields() {
    let dev_eui = "020000FFFE1A2B3C".parse().unwrap();
    let rejoin = |body| {
        let mhdr = Mhdr::new(FType::RejoinRequest);
        let request = RejoinRequest { mhdr, body, surplus: Vec::new(), mic: Mic::default() };
        Recipe::RejoinRequest(request, Signature::Computed)
    };
    let net_id = NetId::new(1).unwrap();
    let body = RejoinBody::Network { keys_only: false, net_id, dev_eui, count: DevNonce(1) };
    assert_eq!(built(&rejoin(body), &session_1_1()), REJOIN_0);
    let join_eui = "020000FFFE0B0001".parse().unwrap();
    let body = RejoinBody::JoinServer { join_eui, dev_eui, count: DevNonce(1) };
    assert_eq!(built(&rejoin(body), &roots_1_1()), REJOIN_1);
}

#[test]
fn data_is_composed_from_its_fields() {
    let mut up = data(FType::UnconfirmedDataUp, 0x80, 0x0001_0002);
    up.payload = Some((2, Octets::Plain(hex::decode("016700e1").unwrap())));
    assert_eq!(built(&Recipe::Data(up), &session_1_0()), UPLINK_1_0);
    let mut down = data(FType::UnconfirmedDataDown, 0xA0, 5);
    down.payload = Some((0, Octets::Plain(hex::decode("0350070001").unwrap())));
    assert_eq!(built(&Recipe::Data(down), &session_1_0()), DOWNLINK_1_0);

    let mut up = data(FType::UnconfirmedDataUp, 0x20, 1);
    up.context = UplinkContext { conf_fcnt: 7, tx_dr: 5, tx_ch: 2 };
    up.fopts = Octets::Plain(vec![0x0B, 0x01]);
    up.payload = Some((2, Octets::Plain(hex::decode("016700e1").unwrap())));
    assert_eq!(built(&Recipe::Data(up.clone()), &session_1_1()), UPLINK_1_1);
    up.fopts_as_published = true;
    assert!(built(&Recipe::Data(up), &session_1_1()).starts_with("40dabb010222010065ee02"));
    let mut down = data(FType::UnconfirmedDataDown, 0, 0);
    down.fopts = Octets::Plain(vec![0x0B, 0x01]);
    assert_eq!(built(&Recipe::Data(down), &session_1_1()), DOWNLINK_1_1);
    let mut down = data(FType::UnconfirmedDataDown, 0x20, 9);
    down.context.conf_fcnt = 1;
    down.fopts = Octets::Plain(vec![0x06]);
    down.payload = Some((2, Octets::Plain(vec![0xAA])));
    assert_eq!(built(&Recipe::Data(down), &session_1_1()), DOWNLINK_1_1_ACK);
}

#[test]
fn what_is_missing_is_named() {
    let missing = |recipe: &Recipe, keys: &Bunch| recipe.compose(keys).unwrap_err().to_string();
    let mut up = data(FType::UnconfirmedDataUp, 0, 1);
    assert_eq!(
        missing(&Recipe::Data(up.clone()), &Bunch::default()),
        "the MIC needs NwkSKey (1.0.x), or SNwkSIntKey and FNwkSIntKey (1.1)"
    );
    up.payload = Some((2, Octets::Plain(vec![1])));
    let network = Bunch { app_s_key: None, ..session_1_0() };
    assert_eq!(
        missing(&Recipe::Data(up.clone()), &network),
        "the encryption of FRMPayload needs AppSKey"
    );
    up.fopts = Octets::Plain(vec![2; 16]);
    assert_eq!(
        Recipe::Data(up).compose(&session_1_0()),
        Err(ComposeError::FOptsTooLong { octets: 16 })
    );
    assert_eq!(
        Recipe::JoinAccept(accept(0x83, None)).compose(&roots_1_1()),
        Err(ComposeError::Missing {
            step: Step::Sign,
            wanted: vec!["DevEUI", "JoinEUI", "DevNonce"]
        })
    );
}

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
        recipe.fopts = Octets::Plain(fopts);
        recipe.payload = payload.map(|(port, frm)| (port, Octets::Plain(frm)));
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
        up.payload = Some((2, Octets::Plain(hex::decode(text).unwrap())));
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
    down.payload = Some((0, Octets::Plain(hex::decode("0340070001").unwrap())));
    let frame = edited(DOWNLINK_1_0, &keys, |f| {
        f["mac_commands"][0]["fields"]["DataRate"] = json!(4);
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
        error(json!({"phy_payload": "4001"})),
        "phy_payload: DevAddr at octet 1: 4 octets needed (by the layout of the message), 1 left"
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
        "mac_commands": [{"name": "LinkADRReq", "fields": {"DataRate": 5, "TXPower": 0,
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
