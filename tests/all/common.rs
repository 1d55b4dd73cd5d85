//! Capture lines and frames for tests: one node, its root key, a gateway or two.
//!
//! Frames are built and signed with the library's own functions, which `vectors.rs` holds
//! against published values.

use handfast::{
    crypto::{
        cipher::{AcceptKey, seal_join_accept},
        derive::{self, SessionKeys},
        mic,
    },
    frame::{
        DataFrame, DlSettings, FType, Frame, JoinAccept, JoinRequest, Mhdr, Mic, Payload, RxDelay,
    },
    id::{DevAddr, DevEui, DevNonce, Eui64, JoinEui, JoinNonce, NetId},
    intake::{Crc, Event, Heard, Leg, Ordered, Outcome, Position, TxError, What, When},
    key::{AppKey, NwkSKey},
    radio::Modulation,
    roster::{self, Roster},
    trace::{Trace, Tracer},
};

/// A key that nobody guesses: a published one is a fault of its own.
pub(crate) const ROOT: [u8; 16] =
    *b"\x7c\x19\xe4\x52\x0d\xb3\x8f\x61\xa2\x46\xd8\x05\x93\x2e\xf7\x6b";
pub(crate) const GATEWAY: Eui64 = Eui64::new([2, 0, 0, 0xff, 0xfe, 0xa0, 0, 1]);
pub(crate) const OTHER: Eui64 = Eui64::new([2, 0, 0, 0xff, 0xfe, 0xa0, 0, 2]);
pub(crate) const RATE: Modulation = Modulation::Lora { sf: 9, bw_khz: 125 };

pub(crate) fn dev_eui() -> DevEui {
    "020000fffe0a0001".parse().unwrap()
}

pub(crate) fn join_eui() -> JoinEui {
    "020000fffe0b0001".parse().unwrap()
}

pub(crate) fn roster() -> Roster {
    roster::parse(
        &format!(
            "region = 'EU868'\n[[node]]\nname = 'probe-01'\n[node.record]\ndev-eui = '{}'\n\
             join-eui = '{}'\napp-key = '{}'\nmac-version = '1.0.3'\n",
            dev_eui().hex(),
            join_eui().hex(),
            hex::encode(ROOT)
        ),
        None,
    )
    .unwrap()
}

pub(crate) fn event(line: u64, micros: Option<i64>, gateway: Option<Eui64>, what: What) -> Event {
    let start = 1_767_225_600_000_000;
    let time = micros.map(|us| jiff::Timestamp::from_microsecond(start + us).unwrap());
    Event { time, gateway, ..Event::new(Position::line(line), what) }
}

/// The same in another capture.
pub(crate) fn from(source: u16, event: &Event) -> Event {
    Event { place: Position { source, ..event.place }, ..event.clone() }
}

pub(crate) fn heard(
    line: u64,
    micros: Option<i64>,
    gateway: Option<Eui64>,
    tmst: Option<u32>,
    octets: &[u8],
) -> Event {
    let heard = Heard {
        tmst,
        freq_hz: Some(868_100_000),
        modulation: Some(RATE),
        rssi: Some(-80.0),
        snr: Some(7.0),
        crc: Crc::Ok,
        ..Heard::new(octets)
    };
    event(line, micros, gateway, What::Heard(Box::new(heard)))
}

pub(crate) fn sent(
    line: u64,
    micros: Option<i64>,
    gateway: Option<Eui64>,
    when: When,
    octets: &[u8],
) -> Event {
    let ordered = Ordered {
        when,
        freq_hz: Some(868_100_000),
        modulation: Some(RATE),
        power_dbm: Some(14.0),
        inverted: Some(true),
        no_crc: Some(true),
        ..Ordered::new(octets)
    };
    event(line, micros, gateway, What::Ordered(Box::new(ordered)))
}

/// What the gateway says of an order to send.
pub(crate) fn ack(line: u64, micros: i64, error: TxError) -> Event {
    let outcome = Outcome { error, ..Outcome::default() };
    event(line, Some(micros), Some(GATEWAY), What::Outcome(Box::new(outcome)))
}

/// A PULL_DATA.
pub(crate) fn pull(line: u64, micros: i64) -> Event {
    event(line, Some(micros), Some(GATEWAY), What::Asked(Leg::Pull))
}

/// A PUSH_ACK or PULL_ACK.
pub(crate) fn acknowledged(line: u64, micros: i64, leg: Leg) -> Event {
    event(line, Some(micros), Some(GATEWAY), What::Acknowledged(leg))
}

pub(crate) fn request(nonce: u16) -> Vec<u8> {
    let mut request = JoinRequest::new(join_eui(), dev_eui(), DevNonce(nonce));
    request.mic = mic::join_request(&AppKey::from(ROOT), &request);
    Frame::JoinRequest(request).build()
}

pub(crate) fn plain_accept(dev_addr: u32) -> JoinAccept {
    JoinAccept {
        mhdr: Mhdr::new(FType::JoinAccept),
        join_nonce: JoinNonce::new(0xA1B2).unwrap(),
        net_id: NetId::new(1).unwrap(),
        dev_addr: DevAddr(dev_addr),
        dl_settings: DlSettings(0),
        rx_delay: RxDelay(1),
        cf_list: None,
        mic: Mic([0; 4]),
    }
}

pub(crate) fn accept(dev_addr: u32) -> Vec<u8> {
    let key = AppKey::from(ROOT);
    let mut accept = plain_accept(dev_addr);
    accept.mic = mic::join_accept_1_0(&key, &accept);
    Frame::JoinAccept(seal_join_accept(AcceptKey::join(&key), &accept)).build()
}

pub(crate) fn session(dev_addr: u32, nonce: u16) -> NwkSKey {
    let accept = plain_accept(dev_addr);
    let key = AppKey::from(ROOT);
    match derive::session_1_0(&key, accept.join_nonce, accept.net_id, DevNonce(nonce)) {
        SessionKeys::V1_0 { nwk_s_key, .. } => nwk_s_key,
        SessionKeys::V1_1 { .. } => unreachable!(),
    }
}

#[expect(clippy::cast_possible_truncation, reason = "the frame carries the low half")]
pub(crate) fn data(key: &NwkSKey, dev_addr: u32, fcnt: u32) -> Vec<u8> {
    let mut frame = DataFrame::new(FType::UnconfirmedDataUp, DevAddr(dev_addr), fcnt as u16);
    frame.payload = Some(Payload { port: 2, frm: vec![1, 2, 3] });
    frame.mic = mic::data_1_0(key, &frame, fcnt);
    Frame::Data(frame).build()
}

pub(crate) fn trace(roster: &Roster, events: &[Event]) -> Trace {
    let mut tracer = Tracer::new(roster);
    events.iter().cloned().for_each(|event| tracer.push(event));
    tracer.finish()
}

pub(crate) fn joined(roster: &Roster, more: &[Event]) -> Trace {
    let mut all = vec![
        heard(1, Some(0), Some(GATEWAY), Some(0), &request(7)),
        sent(2, Some(200_000), Some(GATEWAY), When::Counter(5_000_000), &accept(0x0201_0001)),
    ];
    all.extend_from_slice(more);
    trace(roster, &all)
}

pub(crate) fn later(line: u64, octets: &[u8]) -> Event {
    let seconds = 10 * line;
    heard(
        line,
        Some(i64::try_from(seconds).unwrap() * 1_000_000),
        Some(GATEWAY),
        Some(u32::try_from(seconds).unwrap() * 1_000_000),
        octets,
    )
}
