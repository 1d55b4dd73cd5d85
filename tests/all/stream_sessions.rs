//! The sessions that the joins of a stream make.

use handfast::{
    crypto::{
        cipher::{AcceptKey, seal_join_accept},
        derive::{SessionKeys, session_1_0},
        mic,
    },
    frame::{
        DataFrame, DlSettings, FType, Frame, JoinAccept, JoinRequest, Mhdr, Mic, RxDelay, decode,
    },
    id::{DevAddr, DevNonce, JoinNonce, NetId},
    key::AppKey,
    reading::{Context, Key, KeyRing, MicVerdict, Reading, Sessions, Source},
};

const ADDR: DevAddr = DevAddr(0x0201_BBDA);

fn app_key(n: u8) -> AppKey {
    [n; 16].into()
}

fn request(n: u8, nonce: u16) -> Frame {
    let join_eui = "020000FFFE0B0001".parse().unwrap();
    let dev_eui = format!("020000FFFE0000{n:02X}").parse().unwrap();
    let mut request = JoinRequest::new(join_eui, dev_eui, DevNonce(nonce));
    request.mic = mic::join_request(&app_key(n), &request);
    Frame::JoinRequest(request)
}

fn accept(n: u8, join_nonce: u32, dev_addr: DevAddr) -> Frame {
    let mut accept = JoinAccept {
        mhdr: Mhdr::new(FType::JoinAccept),
        join_nonce: JoinNonce::new(join_nonce).unwrap(),
        net_id: NetId::new(1).unwrap(),
        dev_addr,
        dl_settings: DlSettings(0),
        rx_delay: RxDelay(1),
        cf_list: None,
        mic: Mic([0; 4]),
    };
    accept.mic = mic::join_accept_1_0(&app_key(n), &accept);
    Frame::JoinAccept(seal_join_accept(AcceptKey::join(&app_key(n)), &accept))
}

fn uplink(n: u8, join_nonce: u32, nonce: u16, dev_addr: DevAddr, fcnt: u16) -> Frame {
    let join_nonce = JoinNonce::new(join_nonce).unwrap();
    let keys = session_1_0(&app_key(n), join_nonce, NetId::new(1).unwrap(), DevNonce(nonce));
    let SessionKeys::V1_0 { nwk_s_key, .. } = keys else { panic!() };
    let mut frame = DataFrame::new(FType::UnconfirmedDataUp, dev_addr, fcnt);
    frame.mic = mic::data_1_0(&nwk_s_key, &frame, fcnt.into());
    Frame::Data(frame)
}

fn ring(nodes: &[u8]) -> KeyRing {
    let mut ring = KeyRing::default();
    for n in nodes {
        let dev_eui = Some(format!("020000FFFE0000{n:02X}").parse().unwrap());
        let source = Source { dev_eui, ..Source::new(&format!("probe-{n}"), "record") };
        ring.push(source, Key::App(app_key(*n)));
    }
    ring
}

fn read(memory: &mut Sessions, ring: &KeyRing, frame: &Frame) -> Reading {
    memory.read(decode(&frame.build()), ring, &Context::default())
}

fn node(reading: &Reading) -> Option<String> {
    match &reading.found.mic {
        MicVerdict::Holds(proof) => Some(proof.source.node.as_deref().unwrap().to_owned()),
        _ => None,
    }
}

#[test]
fn of_several_requests_the_one_whose_session_verifies_was_answered() {
    for answered in [17, 18, 19] {
        let (mut memory, ring) = (Sessions::default(), ring(&[1, 2]));
        for nonce in [17, 18, 19] {
            read(&mut memory, &ring, &request(1, nonce));
        }
        read(&mut memory, &ring, &request(2, 5));
        let opened = read(&mut memory, &ring, &accept(1, 7, ADDR));
        assert_eq!(node(&opened).as_deref(), Some("probe-1"));
        assert_eq!(memory.len(), 3);
        let data = read(&mut memory, &ring, &uplink(1, 7, answered, ADDR, 0));
        assert_eq!(node(&data).as_deref(), Some("probe-1"));
        assert_eq!(memory.len(), 1);
        // the same accept once more, from another gateway, opens the question no more
        read(&mut memory, &ring, &accept(1, 7, ADDR));
        assert_eq!(memory.len(), 1);
    }
}

#[test]
fn two_nodes_of_one_address_are_told_apart() {
    let (mut memory, ring) = (Sessions::default(), ring(&[1, 2]));
    for n in [1, 2] {
        read(&mut memory, &ring, &request(n, 5));
        read(&mut memory, &ring, &accept(n, 7, ADDR));
    }
    for n in [1, 2, 1] {
        let data = read(&mut memory, &ring, &uplink(n, 7, 5, ADDR, 3));
        assert_eq!(node(&data), Some(format!("probe-{n}")));
    }
}

#[test]
fn an_old_session_still_opens_what_comes_late() {
    let (mut memory, ring) = (Sessions::default(), ring(&[1]));
    for (nonce, join_nonce) in [(5, 7), (6, 8)] {
        read(&mut memory, &ring, &request(1, nonce));
        read(&mut memory, &ring, &accept(1, join_nonce, ADDR));
        assert!(node(&read(&mut memory, &ring, &uplink(1, join_nonce, nonce, ADDR, 0))).is_some());
    }
    assert!(node(&read(&mut memory, &ring, &uplink(1, 7, 5, ADDR, 1))).is_some());
}

#[test]
fn what_is_remembered_never_refutes() {
    let (mut memory, ring) = (Sessions::default(), ring(&[1]));
    read(&mut memory, &ring, &request(1, 5));
    read(&mut memory, &ring, &accept(1, 7, ADDR));
    let strange = read(&mut memory, &ring, &uplink(9, 7, 5, ADDR, 0));
    assert!(matches!(strange.found.mic, MicVerdict::Unchecked(_)) && !strange.is_faulty());
}

#[test]
fn an_accept_without_its_request_makes_no_session() {
    let (mut memory, ring) = (Sessions::default(), ring(&[1]));
    assert!(node(&read(&mut memory, &ring, &accept(1, 7, ADDR))).is_some());
    assert!(memory.is_empty());
}

#[test]
fn the_memory_is_bounded() {
    let (mut memory, ring) = (Sessions::default(), ring(&[1]));
    for i in 0..10_050u16 {
        read(&mut memory, &ring, &request(1, i));
        // one request open at a time keeps this test short
        memory.read(
            decode(&accept(1, 7, DevAddr(u32::from(i))).build()),
            &ring,
            &Context { dev_nonce: Some(DevNonce(i)), ..Context::default() },
        );
    }
    assert_eq!(memory.len(), 10_000);
}
