//! Whose a datagram is, what is no datagram of the protocol, what was recorded twice.

use super::*;

/// Cuts the datagram of an IPv4 packet into two fragments at a multiple of eight octets.
fn fragments(ip: &[u8], at: usize) -> [Vec<u8>; 2] {
    let (header, body) = ip.split_at(20);
    let make = |part: &[u8], flags: u16| {
        let mut out = header.to_vec();
        out[2..4].copy_from_slice(&u16::try_from(20 + part.len()).unwrap().to_be_bytes());
        out[4..6].copy_from_slice(&[0x12, 0x34]);
        out[6..8].copy_from_slice(&flags.to_be_bytes());
        out.extend_from_slice(part);
        out
    };
    [make(&body[..at], 0x2000), make(&body[at..], u16::try_from(at / 8).unwrap())]
}

#[test]
fn fragments_are_named_and_counted() {
    let at: Timestamp = AT.parse().unwrap();
    let [first, rest] = fragments(&up(AT, 1, DatagramKind::PushData, RXPK).ip(), 64);
    let whole = up(AT, 2, DatagramKind::PushData, RXPK).ip();
    let stranger = Shot::new(AT, GATEWAY, SERVER, &[b'x'; 200]).ip();
    let [others, _] = fragments(&stranger, 64);
    let all: Vec<_> = [first, rest, whole, others].map(|packet| (at, packet)).into();
    let got = items(&pcap(Order::Little, false, RAW.number, &all));
    assert_eq!(numbers(&intact(&got)), [3]);
    let words = "the first IP fragment of a PUSH_DATA: datagrams in pieces are not put together";
    // file header, packet header, headers of IP and UDP
    let place = 24 + 16 + 28;
    assert_eq!(skipped(&got), [(1, format!("byte {place}: {words}"))]);
    assert_eq!(passed(&got), Some([4, 0, 3, 0]));
}

#[test]
fn other_protocols_are_passed_over_and_counted() {
    let at: Timestamp = AT.parse().unwrap();
    let udp = |payload: &[u8]| Shot::new(AT, GATEWAY, SERVER, payload).ip();
    let mut tcp = udp(b"1234567890123456");
    tcp[9] = 6;
    let others = [
        udp(b""),
        udp(b"\x02"),
        udp(b"\x02\x00\x00\x01"), // four octets, to no gateway
        udp(b"\x02\x00\x00\x00\x02\0\0\xff\xfe\xa0\x94\x42 no object"),
        udp(b"\x02\x00\x00\x02\x02\0\0\xff\xfe\xa0\x94\x42\x01"), // longer than a PULL_DATA
        udp(b"\x03\x00\x00\x02\x02\0\0\xff\xfe\xa0\x94\x42"),     // version 3
        udp(b"\x02\x00\x00\x03{1}"),
        tcp,
        vec![0x45, 0],
        vec![],
    ];
    let count = others.len();
    let packets: Vec<_> = others.into_iter().map(|packet| (at, packet)).collect();
    let got = items(&pcap(Order::Little, false, RAW.number, &packets));
    assert_eq!((got.len(), passed(&got)), (1, Some([count, count, 0, 0])));
    // and on any port that the protocol is spoken, it is read
    let odd = Shot::new(
        AT,
        "192.0.2.7:53",
        "192.0.2.1:5353",
        &wire(2, 1, DatagramKind::PushData, Some(EUI), RXPK),
    );
    assert_eq!(numbers(&events(&file(&[odd]))), [1]);
}

#[test]
fn what_was_recorded_twice_is_taken_once() {
    let ms = |ms: u32| format!("2026-04-18T06:10:03.{ms:03}Z");
    let resp = |at: &str| down(at, 7, DatagramKind::PullResp, TXPK);
    let push = |at: &str| up(at, 1, DatagramKind::PushData, RXPK);
    // in and out of one host: the same packet within a moment
    let got = items(&file(&[push(&ms(0)), push(&ms(0)), resp(&ms(100)), resp(&ms(101))]));
    assert_eq!(numbers(&intact(&got)), [1, 3]);
    assert_eq!(passed(&got), Some([4, 0, 0, 2]));
    // half a second later it was sent again
    assert_eq!(numbers(&events(&file(&[push(&ms(0)), push(&ms(500))]))).len(), 2);
    // translated on its way into a container
    let inside = Shot { to: "172.16.0.2:1700".parse().unwrap(), ..push(&ms(0)) };
    let back = Shot { from: "172.16.0.2:1700".parse().unwrap(), ..resp(&ms(100)) };
    let got = items(&file(&[push(&ms(0)), inside, back, resp(&ms(100))]));
    assert_eq!((numbers(&intact(&got)).len(), passed(&got)), (2, Some([4, 0, 0, 2])));
    // two gateways that get the same octets are two
    let other = Shot { to: "192.0.2.8:40123".parse().unwrap(), ..resp(&ms(100)) };
    assert_eq!(numbers(&events(&file(&[resp(&ms(100)), other]))).len(), 2);
    // without times: side by side
    let mut ng = Ng::new(Order::Little);
    ng.interface(RAW.number, None, 0);
    ng.simple(&push(&ms(0)).ip());
    ng.simple(&push(&ms(0)).ip());
    assert_eq!(numbers(&intact(&items(&ng.out))).len(), 1);
}

fn gateways(shots: &[Shot]) -> Vec<Option<String>> {
    let all = events(&file(shots));
    let first = all.iter().filter(|event| event.place.index == 0);
    first.map(|event| event.gateway.map(Eui64::hex)).collect()
}

#[test]
fn a_pull_resp_gets_the_gateway_that_pulls_at_its_address() {
    let one = Some(EUI.to_owned());
    let two = Some(OTHER.to_owned());
    let second = "2026-04-18T06:10:09Z";
    let at = |from: &str, eui: &str, kind, json: &str| {
        Shot::new(AT, from, SERVER, &wire(2, 1, kind, Some(eui), json))
    };
    let resp = |to: &str, token| {
        Shot::new(AT, SERVER, to, &wire(2, token, DatagramKind::PullResp, None, TXPK))
    };
    // two gateways behind one address translation, each at its port
    let nat = [
        at("192.0.2.7:5001", EUI, DatagramKind::PullData, ""),
        at("192.0.2.7:5002", OTHER, DatagramKind::PullData, ""),
        resp("192.0.2.7:5002", 8),
        resp("192.0.2.7:5001", 9),
    ];
    assert_eq!(gateways(&nat), [one.clone(), two.clone(), two.clone(), one.clone()]);
    // the recording begins before the first PULL_DATA: what comes later tells
    let later = [resp(GATEWAY, 8), at(GATEWAY, EUI, DatagramKind::PullData, "").at(second)];
    assert_eq!(gateways(&later), [one.clone(), one.clone()]);
    let acked = [
        resp(GATEWAY, 8),
        Shot::new(second, GATEWAY, SERVER, &wire(2, 8, DatagramKind::TxAck, Some(EUI), "")),
    ];
    assert_eq!(gateways(&acked), [one.clone(), one.clone()]);
    // PUSH_DATA from another socket of the same host, and nothing else
    let pushed =
        [at("192.0.2.7:5001", EUI, DatagramKind::PushData, RXPK), resp("192.0.2.7:5009", 8)];
    assert_eq!(gateways(&pushed), [one.clone(), one.clone()]);
    // several gateways pull from one port: its TX_ACK tells, and without one nothing does
    let shared = [
        at(GATEWAY, EUI, DatagramKind::PullData, ""),
        at(GATEWAY, OTHER, DatagramKind::PullData, ""),
        resp(GATEWAY, 8),
        resp(GATEWAY, 9),
        Shot::new(second, GATEWAY, SERVER, &wire(2, 8, DatagramKind::TxAck, Some(OTHER), "")),
    ];
    assert_eq!(gateways(&shared), [one, two.clone(), two.clone(), None, two]);
    assert_eq!(gateways(&[resp(GATEWAY, 8)]), [None]);
}

#[test]
fn datagrams_that_wait_for_their_gateway_keep_their_order_and_are_bounded() {
    let shots: Vec<Shot> = (0..1_000u16)
        .map(|n| {
            let to = format!("192.0.2.7:{}", 1_000 + n);
            Shot::new(AT, SERVER, &to, &wire(2, n, DatagramKind::PullResp, None, TXPK))
        })
        .collect();
    let got = events(&file(&shots));
    assert!(got.iter().map(|event| event.place.number).eq(1..=1_000));
    // and those are handed on long before the end
    let stream = Cursor::new(file(&shots)).chain(packed::Failing);
    assert_eq!(Capture::new(stream).take_while(Result::is_ok).count(), 1_000);
}

/// An ICMP error about a packet, of which it repeats IP header and ports (RFC 792).
fn icmp(by: &str, code: u8, original: &[u8]) -> Vec<u8> {
    let shot = Shot::new(AT, by, GATEWAY, &[0; 8]);
    let body = [&[3, code, 0, 0, 0, 0, 0, 0][..], &original[..28]].concat();
    let mut out = shot.ip()[..20].to_vec();
    out[9] = 1;
    out[2..4].copy_from_slice(&u16::try_from(20 + body.len()).unwrap().to_be_bytes());
    [out, body].concat()
}

#[test]
fn an_icmp_error_about_a_gateway_s_datagram_is_an_event_and_another_is_not() {
    let at: Timestamp = AT.parse().unwrap();
    let pull = up(AT, 1, DatagramKind::PullData, "").ip();
    let stranger = Shot::new(AT, "192.0.2.9:53", "192.0.2.8:53", &[b'x'; 20]).ip();
    for (by, code, what) in [
        (SERVER, 3, Unreachable::Port),
        ("192.0.2.3:0", 1, Unreachable::Host),
        ("192.0.2.3:0", 13, Unreachable::Prohibited),
        ("192.0.2.3:0", 4, Unreachable::Other(4)),
    ] {
        let packets = [pull.clone(), icmp(by, code, &pull), icmp(by, code, &stranger)];
        let packets = packets.map(|packet| (at, packet));
        let got = items(&pcap(Order::Little, true, RAW.number, &packets));
        let [_, said] = intact(&got).try_into().unwrap();
        let by = by.parse::<std::net::SocketAddr>().unwrap().ip();
        let (from, to) = (GATEWAY.parse().unwrap(), SERVER.parse().unwrap());
        assert_eq!(said.what, What::Network(Box::new(Network::Unreachable { by, what, from, to })));
        assert_eq!((said.place, said.gateway), (Position::packet(2), EUI.parse().ok()));
        assert_eq!(passed(&got), Some([3, 1, 0, 0]));
    }
}
