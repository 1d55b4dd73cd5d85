//! Frames built from fields and keys.

mod json;

use handfast::{
    compose::{
        AcceptRecipe, ComposeError, DataOctets, DataRecipe, JoinRequestRecipe, Recipe, Signature,
        Step,
    },
    crypto::{block::UplinkContext, mic::JoinReqType},
    frame::{
        CfList, DlSettings, FCtrl, FType, JoinAccept, JoinRequest, Mhdr, Mic, RejoinBody,
        RejoinRequest, RxDelay,
    },
    id::{DevNonce, JoinNonce, NetId},
    reading::{Bound, Bunch},
};

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
    up.payload = Some((2, DataOctets::Plain(hex::decode("016700e1").unwrap())));
    assert_eq!(built(&Recipe::Data(up), &session_1_0()), UPLINK_1_0);
    let mut down = data(FType::UnconfirmedDataDown, 0xA0, 5);
    down.payload = Some((0, DataOctets::Plain(hex::decode("0350070001").unwrap())));
    assert_eq!(built(&Recipe::Data(down), &session_1_0()), DOWNLINK_1_0);

    let mut up = data(FType::UnconfirmedDataUp, 0x20, 1);
    up.context = UplinkContext { conf_fcnt: 7, tx_dr: 5, tx_ch: 2 };
    up.fopts = DataOctets::Plain(vec![0x0B, 0x01]);
    up.payload = Some((2, DataOctets::Plain(hex::decode("016700e1").unwrap())));
    assert_eq!(built(&Recipe::Data(up.clone()), &session_1_1()), UPLINK_1_1);
    up.fopts_as_published = true;
    assert!(built(&Recipe::Data(up), &session_1_1()).starts_with("40dabb010222010065ee02"));
    let mut down = data(FType::UnconfirmedDataDown, 0, 0);
    down.fopts = DataOctets::Plain(vec![0x0B, 0x01]);
    assert_eq!(built(&Recipe::Data(down), &session_1_1()), DOWNLINK_1_1);
    let mut down = data(FType::UnconfirmedDataDown, 0x20, 9);
    down.context.conf_fcnt = 1;
    down.fopts = DataOctets::Plain(vec![0x06]);
    down.payload = Some((2, DataOctets::Plain(vec![0xAA])));
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
    up.payload = Some((2, DataOctets::Plain(vec![1])));
    let network = Bunch { app_s_key: None, ..session_1_0() };
    assert_eq!(
        missing(&Recipe::Data(up.clone()), &network),
        "the encryption of FRMPayload needs AppSKey"
    );
    up.fopts = DataOctets::Plain(vec![2; 16]);
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
