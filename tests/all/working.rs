//! The working comes to what is computed: each sheet's last octets are those of `crypto`.
//!
//! `vectors/check_working.py` does every step of it again with another AES.

use handfast::{
    crypto::{
        block::{BlockFields, FOptsRule, UplinkContext},
        cipher::{self, AcceptKey},
        derive,
        mic::{self, JoinReqType, RejoinKey},
    },
    frame::{
        CfList, DataFrame, DlSettings, FOpts, FType, Frame, JoinAccept, JoinRequest, Mhdr, Mic,
        Payload, RejoinBody, RejoinRequest, RxDelay, decode,
    },
    id::{DevAddr, DevEui, DevNonce, JoinEui, JoinNonce, NetId},
    key::{AppKey, AppSKey, FNwkSIntKey, NwkKey, NwkSEncKey, NwkSKey, SNwkSIntKey},
    key_sheet::{Join10, Join11, KeySheet, Multicast, Nonce},
    reading::{Bunch, Context, CounterHint, Key, KeyRing, MicVerdict, Reading, Source, read},
    working::{Sheet, of_reading},
};
use proptest::{collection::vec, prelude::*};

fn reading(frame: &Frame, keys: Vec<Key>, context: &Context) -> Reading {
    let mut ring = KeyRing::default();
    let mut bunch = Bunch { source: Source::default(), ..Bunch::default() };
    for key in keys {
        bunch.put(key);
    }
    ring.add(bunch);
    read(decode(&frame.build()), &ring, context)
}

fn sheet<'a>(sheets: &'a [Sheet], title: &str) -> &'a Sheet {
    let titles: Vec<_> = sheets.iter().map(|sheet| &sheet.title).collect();
    sheets
        .iter()
        .find(|sheet| sheet.title.starts_with(title))
        .unwrap_or_else(|| panic!("no {title} in {titles:?}"))
}

fn key_of(sheets: &[Sheet], name: &str) -> String {
    hex::encode(sheets.iter().find_map(|sheet| sheet.output(name)).unwrap())
}

fn frame(
    ftype: FType,
    addr: u32,
    fcnt: u32,
    fopts: &[u8],
    payload: Option<(u8, &[u8])>,
) -> DataFrame {
    let [low, high, ..] = fcnt.to_le_bytes();
    let mut frame = DataFrame::new(ftype, DevAddr(addr), u16::from_le_bytes([low, high]));
    frame.fopts = FOpts::new(fopts).unwrap();
    frame.payload = payload.map(|(port, frm)| Payload { port, frm: frm.to_vec() });
    frame
}

fn way() -> impl Strategy<Value = FType> {
    prop_oneof![Just(FType::UnconfirmedDataUp), Just(FType::ConfirmedDataDown)]
}

fn hint(fcnt: u32) -> Context {
    Context { fcnt: Some(CounterHint(fcnt)), ..Context::default() }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_join_request_comes_to_its_mic_right_or_wrong(
        key in any::<[u8; 16]>(), join in any::<[u8; 8]>(), dev in any::<[u8; 8]>(),
        nonce in any::<u16>(), slip in any::<bool>(),
    ) {
        let key = AppKey::from(key);
        let mut request =
            JoinRequest::new(JoinEui::from_wire(join), DevEui::from_wire(dev), DevNonce(nonce));
        let computed = mic::join_request(&key, &request);
        request.mic = computed;
        if slip {
            request.mic.0[3] ^= 1;
        }
        let found = reading(&Frame::JoinRequest(request), vec![Key::App(key)], &Context::default());
        let sheets = of_reading(&found);
        prop_assert_eq!(sheets[0].result(), computed.0);
        prop_assert_eq!(sheets[0].end.contains("FAILS"), slip);
    }

    #[test]
    fn data_of_1_0_comes_to_mic_and_payload(
        keys in any::<[[u8; 16]; 2]>(), way in way(), addr in any::<u32>(), fcnt in any::<u32>(),
        port in any::<u8>(), frm in vec(any::<u8>(), 1..100),
    ) {
        let [network, app] = keys;
        let (network, app) = (NwkSKey::from(network), AppSKey::from(app));
        let mut data = frame(way, addr, fcnt, &[], Some((port, &frm)));
        data.mic = mic::data_1_0(&network, &data, fcnt);
        let of_port = if port == 0 { network.key() } else { app.key() };
        let clear = cipher::decrypt_unproven(&data, of_port, fcnt);
        let computed = data.mic;
        let keys = vec![Key::NwkS(network), Key::AppS(app)];
        let sheets = of_reading(&reading(&Frame::Data(data), keys, &hint(fcnt)));
        prop_assert_eq!(sheet(&sheets, "MIC").result(), computed.0);
        prop_assert_eq!(sheet(&sheets, "FRMPayload").result(), clear);
    }

    #[test]
    fn data_of_1_1_comes_to_both_halves_and_fopts(
        keys in any::<[[u8; 16]; 3]>(), addr in any::<u32>(), fcnt in any::<u32>(),
        conf in any::<u16>(), rate in 0..16u8, channel in 0..96u8, ack in any::<bool>(),
    ) {
        let [serving, forwarding, encrypting] = keys;
        let (serving, forwarding) = (SNwkSIntKey::from(serving), FNwkSIntKey::from(forwarding));
        let encrypting = NwkSEncKey::from(encrypting);
        let mut data = frame(FType::UnconfirmedDataUp, addr, fcnt, &[], None);
        let place = BlockFields { direction: data.direction(), dev_addr: data.dev_addr, fcnt };
        // LinkCheckReq: a list that is lawful by the erratum's text and likely by no other
        let sent = cipher::encrypt_fopts(&encrypting, &place, FOptsRule::Erratum, &[2, 2, 2, 2]);
        data.fopts = FOpts::new(sent).unwrap();
        data.fctrl = handfast::frame::FCtrl::new(if ack { 0x20 } else { 0 });
        let conf_fcnt = if ack { conf } else { 0 };
        let uplink = UplinkContext { conf_fcnt, tx_dr: rate, tx_ch: channel };
        data.mic = mic::data_up_1_1(&serving, &forwarding, &data, fcnt, &uplink);
        let computed = data.mic.0;
        let context =
            Context { conf_fcnt: Some(conf), tx_dr: Some(rate), tx_ch: Some(channel), ..hint(fcnt) };
        let keys = vec![Key::SNwkSInt(serving), Key::FNwkSInt(forwarding), Key::NwkSEnc(encrypting)];
        let found = reading(&Frame::Data(data), keys, &context);
        prop_assert!(matches!(found.found.mic, MicVerdict::Holds(_)));
        let sheets = of_reading(&found);
        prop_assert_eq!(sheet(&sheets, "MIC bytes 0 and 1").result(), &computed[..2]);
        prop_assert_eq!(sheet(&sheets, "MIC bytes 2 and 3").result(), &computed[2..]);
        prop_assert_eq!(sheet(&sheets, "FOpts").result(), [2, 2, 2, 2]);
    }

    #[test]
    fn a_1_1_downlink_comes_to_its_mic(
        key in any::<[u8; 16]>(), addr in any::<u32>(), fcnt in any::<u32>(), conf in any::<u16>(),
    ) {
        let key = SNwkSIntKey::from(key);
        let mut data = frame(FType::UnconfirmedDataDown, addr, fcnt, &[], None);
        data.fctrl = handfast::frame::FCtrl::new(0x20);
        data.mic = mic::data_down_1_1(&key, &data, fcnt, conf);
        let computed = data.mic;
        let context = Context { conf_fcnt: Some(conf), ..hint(fcnt) };
        let sheets = of_reading(&reading(&Frame::Data(data), vec![Key::SNwkSInt(key)], &context));
        prop_assert_eq!(sheets[0].result(), computed.0);
    }

    #[test]
    fn a_join_accept_is_opened_and_makes_the_session(
        keys in any::<[[u8; 16]; 2]>(), by_1_1 in any::<bool>(), answers in 0..4u8,
        nonce in any::<u16>(), dev in any::<[u8; 8]>(), join in any::<[u8; 8]>(),
        addr in any::<u32>(), list in any::<Option<[u8; 16]>>(), settings in any::<u8>(),
    ) {
        let (app, nwk) = (AppKey::from(keys[0]), NwkKey::from(keys[1]));
        let (dev_eui, join_eui) = (DevEui::from_wire(dev), JoinEui::from_wire(join));
        let (nonce, join_nonce) = (DevNonce(nonce), JoinNonce::new(0x00A1_B2C3).unwrap());
        let opt_neg = if by_1_1 { 0x80 } else { 0 };
        let mut accept = JoinAccept {
            mhdr: Mhdr::new(FType::JoinAccept),
            join_nonce,
            net_id: NetId::new(1).unwrap(),
            dev_addr: DevAddr(addr),
            dl_settings: DlSettings(settings & 0x7F | opt_neg),
            rx_delay: RxDelay(1),
            cf_list: list.map(CfList),
            mic: Mic([0; 4]),
        };
        let (js_int, js_enc) = (derive::js_int_key(&nwk, dev_eui), derive::js_enc_key(&nwk, dev_eui));
        let req = if answers == 3 { JoinReqType::Join } else { JoinReqType::Rejoin(answers) };
        let session = if by_1_1 {
            accept.mic = mic::join_accept_1_1(&js_int, req, join_eui, nonce, &accept);
            derive::session_1_1(&nwk, Some(&app), join_nonce, join_eui, nonce)
        } else {
            accept.mic = mic::join_accept_1_0(&app, &accept);
            derive::session_1_0(&app, join_nonce, accept.net_id, nonce)
        };
        let key = match (by_1_1, req) {
            (false, _) => AcceptKey::join(&app),
            (true, JoinReqType::Join) => AcceptKey::join(&nwk),
            (true, JoinReqType::Rejoin(_)) => AcceptKey::rejoin(&js_enc),
        };
        let sealed = cipher::seal_join_accept(key, &accept);
        let context = Context {
            dev_eui: Some(dev_eui),
            join_eui: Some(join_eui),
            dev_nonce: Some(nonce),
            ..Context::default()
        };
        let all = vec![Key::App(app.clone()), Key::Nwk(nwk.clone())];
        let found = reading(&Frame::JoinAccept(sealed), all, &context);
        let sheets = of_reading(&found);
        let opened = sheet(&sheets, "Join-Accept turned round");
        prop_assert_eq!(opened.output("plaintext").unwrap(), &accept.octets()[1..]);
        prop_assert_eq!(sheet(&sheets, "MIC of the Join-Accept").result(), accept.mic.0);
        for (name, key) in session.named() {
            prop_assert_eq!(key_of(&sheets, name), key.revealed());
        }
    }

    #[test]
    fn a_rejoin_request_comes_to_its_mic(
        key in any::<[u8; 16]>(), dev in any::<[u8; 8]>(), join in any::<[u8; 8]>(),
        count in any::<u16>(), to_join_server in any::<bool>(),
    ) {
        let (dev_eui, join_eui) = (DevEui::from_wire(dev), JoinEui::from_wire(join));
        let count = DevNonce(count);
        let body = if to_join_server {
            RejoinBody::JoinServer { join_eui, dev_eui, count }
        } else {
            let net_id = NetId::new(1).unwrap();
            RejoinBody::Network { keys_only: false, net_id, dev_eui, count }
        };
        let mhdr = Mhdr::new(FType::RejoinRequest);
        let mut request = RejoinRequest { mhdr, body, surplus: Vec::new(), mic: Mic([0; 4]) };
        let (nwk, serving) = (NwkKey::from(key), SNwkSIntKey::from(key));
        let js_int = derive::js_int_key(&nwk, dev_eui);
        let signer = if to_join_server {
            RejoinKey::JoinServer(&js_int)
        } else {
            RejoinKey::Session(&serving)
        };
        request.mic = mic::rejoin_request(signer, &request);
        let computed = request.mic;
        let keys = vec![if to_join_server { Key::Nwk(nwk) } else { Key::SNwkSInt(serving) }];
        let found = reading(&Frame::RejoinRequest(request), keys, &Context::default());
        let sheets = of_reading(&found);
        prop_assert_eq!(sheet(&sheets, "MIC").result(), computed.0);
    }

    #[test]
    fn every_key_of_a_sheet_is_what_its_working_comes_to(
        keys in any::<[[u8; 16]; 3]>(), euis in any::<[[u8; 8]; 2]>(), nonce in any::<u16>(),
        addr in any::<u32>(), encrypted in any::<Option<[u8; 16]>>(),
    ) {
        let (app, nwk) = (AppKey::from(keys[0]), NwkKey::from(keys[1]));
        let [dev, join] = euis;
        let (join_nonce, net_id) = (JoinNonce::new(7).unwrap(), NetId::new(0x13).unwrap());
        let dev_nonce = DevNonce(nonce);
        let join_10 = Join10 { join_nonce, net_id, dev_nonce };
        let join_eui = JoinEui::from_wire(join);
        let mut sheet = KeySheet::default();
        sheet.add_1_0(&app, join_10);
        sheet.add_1_1_on_1_0(&nwk, join_10);
        let nonce = Nonce::RjCount(dev_nonce);
        sheet.add_1_1(&nwk, Some(&app), Join11 { join_nonce, join_eui, nonce });
        sheet.add_join_server_keys(&nwk, DevEui::from_wire(dev));
        for (gen_app_key, app_key) in [(Some(keys[2].into()), None), (None, Some(app))] {
            sheet.add_multicast(&Multicast {
                gen_app_key,
                app_key,
                mc_key_encrypted: encrypted,
                mc_key: encrypted.is_none().then(|| keys[2].into()),
                mc_addr: Some(DevAddr(addr)),
            });
        }
        prop_assert_eq!(sheet.parts.len(), 6);
        for part in &sheet.parts {
            let working = part.working.as_ref().unwrap();
            for (name, key) in &part.keys {
                // On a 1.0 server one key stands for three.
                let name = if part.title.contains("1.1 node on a 1.0") && *name != "AppSKey" {
                    "NwkSKey"
                } else {
                    name
                };
                let output = working.output(name).map(hex::encode);
                prop_assert_eq!(output, Some(key.revealed()), "{} of {}", name, part.title);
            }
        }
    }
}
