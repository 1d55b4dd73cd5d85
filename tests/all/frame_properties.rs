//! What holds for every frame there can be, and for every run of octets that is none.

use handfast::{
    crypto::{
        block::UplinkContext,
        cipher::{self, AcceptKey},
        mic::{self, JoinReqType, RejoinKey},
    },
    frame::{
        CfList, DataFrame, Decoded, Direction, DlSettings, FCtrl, FOpts, FType, Frame, JoinAccept,
        JoinRequest, Mhdr, Mic, Payload, Proprietary, RejoinBody, RejoinRequest, RxDelay,
        SealedJoinAccept, decode,
    },
    id::{DevAddr, DevEui, DevNonce, JoinEui, JoinNonce, NetId},
    key::{Aes128Key, AppKey, FNwkSIntKey, JsIntKey, NwkSKey, SNwkSIntKey},
};
use proptest::{
    collection::vec,
    option,
    prelude::*,
    test_runner::{Config, FileFailurePersistence},
};

/// What both sides know of a node.
#[derive(Clone, Debug)]
struct Known {
    /// Whether the session is one of LoRaWAN 1.1.
    one_one: bool,
    root: AppKey,
    js_int_key: JsIntKey,
    nwk_s_key: NwkSKey,
    f_nwk_s_int_key: FNwkSIntKey,
    s_nwk_s_int_key: SNwkSIntKey,
    join_eui: JoinEui,
    dev_nonce: DevNonce,
    fcnt_high: u16,
    context: UplinkContext,
}

fn known() -> impl Strategy<Value = Known> {
    let key = any::<[u8; 16]>;
    let keys = (key(), key(), key(), key(), key());
    let join = (any::<[u8; 8]>(), any::<u16>());
    let session = (any::<u16>(), any::<u16>(), 0..16u8, 0..96u8);
    (any::<bool>(), keys, join, session).prop_map(|(one_one, keys, join, session)| {
        let (conf_fcnt, tx_dr, tx_ch) = (session.1, session.2, session.3);
        Known {
            one_one,
            root: keys.0.into(),
            js_int_key: keys.1.into(),
            nwk_s_key: keys.2.into(),
            f_nwk_s_int_key: keys.3.into(),
            s_nwk_s_int_key: keys.4.into(),
            join_eui: JoinEui::from_wire(join.0),
            dev_nonce: DevNonce(join.1),
            fcnt_high: session.0,
            context: UplinkContext { conf_fcnt, tx_dr, tx_ch },
        }
    })
}

impl Known {
    fn data_mic(&self, data: &DataFrame) -> Mic {
        let fcnt = u32::from(self.fcnt_high) << 16 | u32::from(data.fcnt);
        match data.direction() {
            _ if !self.one_one => mic::data_1_0(&self.nwk_s_key, data, fcnt),
            Direction::Uplink => mic::data_up_1_1(
                &self.s_nwk_s_int_key,
                &self.f_nwk_s_int_key,
                data,
                fcnt,
                &self.context,
            ),
            Direction::Downlink => {
                mic::data_down_1_1(&self.s_nwk_s_int_key, data, fcnt, self.context.conf_fcnt)
            }
        }
    }

    fn rejoin_mic(&self, rejoin: &RejoinRequest) -> Mic {
        let key = match rejoin.body {
            RejoinBody::JoinServer { .. } => RejoinKey::JoinServer(&self.js_int_key),
            _ => RejoinKey::Session(&self.s_nwk_s_int_key),
        };
        mic::rejoin_request(key, rejoin)
    }

    fn accept_mic(&self, accept: &JoinAccept) -> Mic {
        if self.one_one {
            let (join_eui, nonce) = (self.join_eui, self.dev_nonce);
            mic::join_accept_1_1(&self.js_int_key, JoinReqType::Join, join_eui, nonce, accept)
        } else {
            mic::join_accept_1_0(&self.root, accept)
        }
    }

    /// Whether octets are a whole frame whose MIC holds under these keys.
    fn believes(&self, octets: &[u8]) -> bool {
        match decode(octets).frame {
            None | Some(Frame::Proprietary(_)) => false,
            Some(Frame::JoinRequest(request)) => {
                mic::check_join_request(&self.root, &request).is_ok()
            }
            Some(Frame::RejoinRequest(rejoin)) => self.rejoin_mic(&rejoin) == rejoin.mic,
            Some(Frame::Data(data)) => self.data_mic(&data) == data.mic,
            Some(Frame::JoinAccept(sealed)) => {
                cipher::open_join_accept(AcceptKey::join(&self.root), &sealed)
                    .is_some_and(|opened| self.accept_mic(&opened.accept) == opened.accept.mic)
            }
        }
    }

    /// The octets of a frame, signed; a Join-Accept is sealed as well.
    fn signed(&self, message: Message) -> Vec<u8> {
        match message {
            Message::JoinRequest(mut request) => {
                request.mic = mic::join_request(&self.root, &request);
                Frame::JoinRequest(request).build()
            }
            Message::RejoinRequest(mut rejoin) => {
                rejoin.mic = self.rejoin_mic(&rejoin);
                Frame::RejoinRequest(rejoin).build()
            }
            Message::Data(mut data) => {
                data.mic = self.data_mic(&data);
                Frame::Data(data).build()
            }
            Message::JoinAccept(mut accept) => {
                accept.mic = self.accept_mic(&accept);
                let key = AcceptKey::join(&self.root);
                Frame::JoinAccept(cipher::seal_join_accept(key, &accept)).build()
            }
        }
    }
}

/// A message that has a MIC, before it is signed.
#[derive(Clone, Debug)]
enum Message {
    JoinRequest(JoinRequest),
    RejoinRequest(RejoinRequest),
    Data(DataFrame),
    JoinAccept(JoinAccept),
}

fn message() -> impl Strategy<Value = Message> {
    prop_oneof![
        join_request().prop_map(Message::JoinRequest),
        rejoin_request().prop_map(Message::RejoinRequest),
        data_frame().prop_map(Message::Data),
        join_accept().prop_map(Message::JoinAccept),
    ]
}

/// A frame of any type; its MIC, if any, is random.
fn frame() -> impl Strategy<Value = Frame> {
    let sealed = (mhdr(&[FType::JoinAccept]), vec(any::<u8>(), 16..40));
    let proprietary = (mhdr(&[FType::Proprietary]), vec(any::<u8>(), 0..40));
    prop_oneof![
        join_request().prop_map(Frame::JoinRequest),
        rejoin_request().prop_map(Frame::RejoinRequest),
        data_frame().prop_map(Frame::Data),
        sealed.prop_map(|(mhdr, sealed)| Frame::JoinAccept(SealedJoinAccept { mhdr, sealed })),
        proprietary.prop_map(|(mhdr, payload)| Frame::Proprietary(Proprietary { mhdr, payload })),
    ]
}

fn mhdr(types: &'static [FType]) -> impl Strategy<Value = Mhdr> {
    (proptest::sample::select(types), 0..32u8)
        .prop_map(|(ftype, low)| Mhdr(Mhdr::new(ftype).0 | low))
}

fn mic() -> impl Strategy<Value = Mic> {
    any::<[u8; 4]>().prop_map(Mic)
}

fn surplus() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![3 => Just(Vec::new()), 1 => vec(any::<u8>(), 1..9)]
}

fn join_eui() -> impl Strategy<Value = JoinEui> {
    any::<[u8; 8]>().prop_map(JoinEui::from_wire)
}

fn dev_eui() -> impl Strategy<Value = DevEui> {
    any::<[u8; 8]>().prop_map(DevEui::from_wire)
}

prop_compose! {
    fn join_request()(
        mhdr in mhdr(&[FType::JoinRequest]),
        join_eui in join_eui(),
        dev_eui in dev_eui(),
        nonce in any::<u16>(),
        surplus in surplus(),
        mic in mic(),
    ) -> JoinRequest {
        JoinRequest { mhdr, join_eui, dev_eui, dev_nonce: DevNonce(nonce), surplus, mic }
    }
}

fn rejoin_body() -> impl Strategy<Value = RejoinBody> {
    let network = (any::<bool>(), any::<[u8; 3]>(), dev_eui(), any::<u16>()).prop_map(
        |(keys_only, net_id, dev_eui, count)| {
            let (net_id, count) = (NetId::from_wire(net_id), DevNonce(count));
            RejoinBody::Network { keys_only, net_id, dev_eui, count }
        },
    );
    let join_server =
        (join_eui(), dev_eui(), any::<u16>()).prop_map(|(join_eui, dev_eui, count)| {
            RejoinBody::JoinServer { join_eui, dev_eui, count: DevNonce(count) }
        });
    prop_oneof![3 => network, 3 => join_server, 1 => (3..=u8::MAX).prop_map(RejoinBody::Rfu)]
}

prop_compose! {
    fn rejoin_request()(
        mhdr in mhdr(&[FType::RejoinRequest]),
        body in rejoin_body(),
        surplus in surplus(),
        mic in mic(),
    ) -> RejoinRequest {
        RejoinRequest { mhdr, body, surplus, mic }
    }
}

const DATA: &[FType] = &[
    FType::UnconfirmedDataUp,
    FType::UnconfirmedDataDown,
    FType::ConfirmedDataUp,
    FType::ConfirmedDataDown,
];

prop_compose! {
    fn data_frame()(
        mhdr in mhdr(DATA),
        dev_addr in any::<u32>(),
        fctrl in any::<u8>(),
        fcnt in any::<u16>(),
        fopts in vec(any::<u8>(), 0..16),
        payload in option::of((any::<u8>(), vec(any::<u8>(), 0..40))),
        mic in mic(),
    ) -> DataFrame {
        DataFrame {
            mhdr,
            dev_addr: DevAddr(dev_addr),
            fctrl: FCtrl::new(fctrl),
            fcnt,
            fopts: FOpts::new(fopts).expect("at most 15 bytes"),
            payload: payload.map(|(port, frm)| Payload { port, frm }),
            mic,
        }
    }
}

prop_compose! {
    fn join_accept()(
        mhdr in mhdr(&[FType::JoinAccept]),
        join_nonce in any::<[u8; 3]>(),
        net_id in any::<[u8; 3]>(),
        dev_addr in any::<u32>(),
        dl_settings in any::<u8>(),
        rx_delay in any::<u8>(),
        cf_list in option::of(any::<[u8; 16]>()),
        mic in mic(),
    ) -> JoinAccept {
        JoinAccept {
            mhdr,
            join_nonce: JoinNonce::from_wire(join_nonce),
            net_id: NetId::from_wire(net_id),
            dev_addr: DevAddr(dev_addr),
            dl_settings: DlSettings(dl_settings),
            rx_delay: RxDelay(rx_delay),
            cf_list: cf_list.map(CfList),
            mic,
        }
    }
}

/// Any octets; short ones more often, since that is where lengths matter.
fn noise() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![vec(any::<u8>(), 0..48), vec(any::<u8>(), 48..300)]
}

/// Whether the fields stand one after another from the first octet on; returns where they end.
fn covered(decoded: &Decoded) -> Result<usize, TestCaseError> {
    let mut next = 0;
    for field in &decoded.fields() {
        prop_assert_eq!(field.at.start, next, "{}", field.value);
        prop_assert!(field.at.end > field.at.start, "{} is empty", field.value);
        next = field.at.end;
    }
    prop_assert!(next <= decoded.octets.len());
    Ok(next)
}

fn config(cases: u32) -> Config {
    let persistence = FileFailurePersistence::WithSource("regressions");
    Config { cases, failure_persistence: Some(Box::new(persistence)), ..Config::default() }
}

proptest! {
    #![proptest_config(config(4096))]

    #[test]
    fn any_octets_decode_and_what_decodes_whole_builds_back(octets in noise()) {
        let decoded = decode(&octets);
        let end = covered(&decoded)?;
        prop_assert_eq!(decoded.frame.is_some(), decoded.stopped.is_none());
        if let Some(frame) = &decoded.frame {
            prop_assert_eq!(frame.build(), &octets[..]);
            prop_assert_eq!(end, octets.len());
        }
        if let Some(stopped) = decoded.stopped {
            prop_assert_eq!(stopped.offset(), end);
        }
        for fault in &decoded.faults {
            prop_assert!(fault.at.start < fault.at.end && fault.at.end <= octets.len());
            prop_assert!(!fault.kind.to_string().is_empty());
        }
    }

    #[test]
    fn any_octets_open_or_say_why_not(octets in noise()) {
        if let Ok(opened) = JoinAccept::read_opened(&octets) {
            prop_assert!(matches!(octets.len(), 17 | 33));
            prop_assert_eq!(opened.accept.octets(), &octets[..]);
        }
    }

    #[test]
    fn a_typed_frame_is_the_same_after_the_air(frame in frame()) {
        let octets = frame.build();
        let decoded = decode(&octets);
        prop_assert_eq!(covered(&decoded)?, octets.len());
        prop_assert_eq!(decoded.stopped, None);
        prop_assert_eq!(decoded.frame, Some(frame));
    }

    #[test]
    fn a_join_accept_opens_as_it_was_sealed(accept in join_accept(), key in any::<[u8; 16]>()) {
        let root = AppKey::from(Aes128Key::new(key));
        let sealed = cipher::seal_join_accept(AcceptKey::join(&root), &accept);
        prop_assert!(sealed.is_whole());
        let opened = cipher::open_join_accept(AcceptKey::join(&root), &sealed);
        prop_assert_eq!(opened.map(|opened| opened.accept), Some(accept));
    }
}

proptest! {
    #![proptest_config(config(256))]

    #[test]
    fn a_signed_frame_is_believed_and_no_cut_of_it_is(known in known(), message in message()) {
        let octets = known.signed(message);
        prop_assert!(known.believes(&octets));
        for cut in 0..octets.len() {
            let short = decode(&octets[..cut]);
            if let Some(stopped) = short.stopped {
                prop_assert!(stopped.offset() <= cut);
            }
            prop_assert!(!known.believes(&octets[..cut]), "cut at {}", cut);
        }
    }

    #[test]
    fn one_flipped_bit_is_a_mismatch(known in known(), message in message()) {
        let octets = known.signed(message);
        prop_assert!(known.believes(&octets));
        for bit in 0..octets.len() * 8 {
            let mut flipped = octets.clone();
            flipped[bit / 8] ^= 1 << (bit % 8);
            prop_assert!(!known.believes(&flipped), "bit {} of byte {}", bit % 8, bit / 8);
        }
    }
}
