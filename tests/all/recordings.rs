//! Recorded packets through the one door for captures: link layers, clocks, damage, who talks to whom.

use std::{
    io::{self, Cursor, Read},
    sync::Arc,
};

use handfast::id::Eui64;
use handfast::intake::{
    Capture, Damage, DatagramKind, Ends, Event, Flaw, IntakeError, Item, Leg, LoraTap, Network,
    PacketError, PassedOver, Position, Sender, TxError, Unit, UnpackError, Unreachable, What,
};
use jiff::Timestamp;

mod damage;
mod packed;
mod talk;

use crate::support::recording::{
    LINKS, Ng, Order, RAW, Shot, events, gzip, intact, items, numbers, pcap, wire, zstd,
};

const EUI: &str = "020000fffea09442";
const OTHER: &str = "020000fffea09443";
const GATEWAY: &str = "192.0.2.7:40123";
const SERVER: &str = "192.0.2.1:1700";
const RXPK: &str =
    r#"{"rxpk":[{"tmst":369601898,"freq":868.3,"datr":"SF9BW125","data":"QNq7AQIAAQACx4c="}]}"#;
const TXPK: &str =
    r#"{"txpk":{"tmst":374601898,"freq":868.3,"datr":"SF9BW125","data":"YPF9vgIAAQACx4c="}}"#;
const LATE: &str = r#"{"txpk_ack":{"error":"TOO_LATE"}}"#;
const AT: &str = "2026-04-18T06:10:03.210692Z";

fn up(at: &str, token: u16, kind: DatagramKind, json: &str) -> Shot {
    Shot::new(at, GATEWAY, SERVER, &wire(2, token, kind, Some(EUI), json))
}

fn down(at: &str, token: u16, kind: DatagramKind, json: &str) -> Shot {
    Shot::new(at, SERVER, GATEWAY, &wire(2, token, kind, None, json))
}

/// Every identifier, in both versions, and a TX_ACK of the older document.
fn talk() -> Vec<Shot> {
    vec![
        up("2026-04-18T06:10:00.000001Z", 1, DatagramKind::PullData, ""),
        down("2026-04-18T06:10:00.1Z", 1, DatagramKind::PullAck, ""),
        up("2026-04-18T06:10:03Z", 0x7B22, DatagramKind::PushData, RXPK),
        down("2026-04-18T06:10:03.05Z", 0x7B22, DatagramKind::PushAck, ""),
        down("2026-04-18T06:10:03.2Z", 0x0384, DatagramKind::PullResp, TXPK),
        up("2026-04-18T06:10:03.201Z", 0x0384, DatagramKind::TxAck, LATE),
        down("2026-04-18T06:10:04Z", 5, DatagramKind::PullResp, TXPK),
        Shot::new(
            "2026-04-18T06:10:04.001Z",
            GATEWAY,
            SERVER,
            &wire(2, 5, DatagramKind::TxAck, None, LATE),
        ),
        Shot::new(
            "2026-04-18T06:10:05Z",
            GATEWAY,
            SERVER,
            &wire(1, 6, DatagramKind::PullData, Some(EUI), ""),
        ),
        Shot::new(
            "2026-04-18T06:10:06Z",
            SERVER,
            GATEWAY,
            &wire(1, 0, DatagramKind::PullResp, None, TXPK),
        ),
    ]
}

fn file(shots: &[Shot]) -> Vec<u8> {
    let packets: Vec<_> = shots.iter().map(|shot| (shot.at, shot.ip())).collect();
    pcap(Order::Little, true, RAW.number, &packets)
}

fn skipped(items: &[Item]) -> Vec<(u64, String)> {
    let damaged = |item: &Item| match item {
        Item::Event(event) => Some((event.place.number, event.gap()?.damage.to_string())),
        Item::PassedOver(_) => None,
    };
    items.iter().filter_map(damaged).collect()
}

/// Packets in all, of other protocols, fragments, and those recorded twice, where any were passed over.
fn passed(items: &[Item]) -> Option<[usize; 4]> {
    match items.last() {
        Some(Item::PassedOver(PassedOver::Packets { all, others, fragments, twice })) => {
            Some([*all, *others, *fragments, *twice])
        }
        _ => None,
    }
}

/// What an event says, in a word.
fn says(event: &Event) -> &'static str {
    match &event.what {
        What::Asked(Leg::Push) => "PUSH_DATA",
        What::Asked(Leg::Pull) => "PULL_DATA",
        What::Acknowledged(Leg::Push) => "PUSH_ACK",
        What::Acknowledged(Leg::Pull) => "PULL_ACK",
        What::Heard(_) => "heard",
        What::Ordered(_) => "ordered",
        What::Outcome(_) => "outcome",
        _ => "other",
    }
}

#[test]
fn every_identifier_of_both_versions_is_read_with_its_gateway_and_token() {
    let all = events(&file(&talk()));
    let got: Vec<_> = all
        .iter()
        .map(|event| {
            let place = event.place;
            assert_eq!(place.unit, Unit::Packet);
            assert_eq!(event.gateway.map(Eui64::hex).as_deref(), Some(EUI));
            (place.number, place.index, says(event), event.wire.token)
        })
        .collect();
    let wanted = [
        (1, 0, "PULL_DATA", Some(1)),
        (2, 0, "PULL_ACK", Some(1)),
        (3, 0, "PUSH_DATA", Some(0x7B22)),
        (3, 1, "heard", Some(0x7B22)),
        (4, 0, "PUSH_ACK", Some(0x7B22)),
        (5, 0, "ordered", Some(0x0384)),
        (6, 0, "outcome", Some(0x0384)),
        (7, 0, "ordered", Some(5)),
        (8, 0, "outcome", Some(5)),
        (9, 0, "PULL_DATA", Some(6)),
        (10, 0, "ordered", None),
    ];
    assert_eq!(got, wanted);
    assert_eq!(all[2].time, Some("2026-04-18T06:10:03Z".parse().unwrap()));
    assert_eq!(all[3].heard().unwrap().octets().len(), 11);
    assert_eq!(all[6].outcome().unwrap().error, TxError::TooLate);
    assert_eq!(all[8].outcome().unwrap().error, TxError::TooLate);
}

#[test]
fn an_event_names_the_datagram_that_carried_it() {
    let (gateway, server) = (GATEWAY.parse().unwrap(), SERVER.parse().unwrap());
    let shots = [talk().remove(0), talk().remove(9)];
    let packets: Vec<_> = shots.iter().map(|shot| (shot.at, LINKS[0].packet(&shot.ip()))).collect();
    let all = events(&pcap(Order::Little, true, LINKS[0].number, &packets));
    // The addresses of the link layer are those of `support/recording.rs`.
    let link = Some([[2, 0, 0, 0, 0, 7], [2, 0, 0, 0, 0, 1]]);
    let wire = &all[0].wire;
    assert_eq!((wire.sender, wire.version), (Some(Sender::Gateway), Some(2)));
    assert_eq!(wire.ends, Some(Arc::new(Ends { link, from: gateway, to: server })));
    let wire = &all[1].wire;
    assert_eq!((wire.sender, wire.version, wire.token), (Some(Sender::Server), Some(1), None));
    assert_eq!(wire.ends, Some(Arc::new(Ends { link, from: server, to: gateway })));
}

/// Without what only Ethernet has.
fn unlinked(events: Vec<Event>) -> Vec<Event> {
    let unlinked = |mut event: Event| {
        let ends = event.wire.ends.take().unwrap();
        event.wire.ends = Some(Arc::new(Ends { link: None, ..(*ends).clone() }));
        event
    };
    events.into_iter().map(unlinked).collect()
}

#[test]
fn every_link_layer_carries_the_same_datagrams() {
    let wanted = events(&file(&talk()));
    for link in LINKS {
        for order in [Order::Big, Order::Little] {
            for nanos in [true, false] {
                let packets: Vec<_> =
                    talk().iter().map(|shot| (shot.at, link.packet(&shot.ip()))).collect();
                let got = unlinked(events(&pcap(order, nanos, link.number, &packets)));
                assert_eq!(got, wanted, "{} {order:?} {nanos}", link.name);
            }
        }
    }
}

#[test]
fn version_6_of_ip_carries_the_same_datagrams() {
    let v6 = |shot: &Shot| {
        let v6 = |at: std::net::SocketAddr| {
            format!("[2001:db8::{}]:{}", at.ip().to_string().rsplit('.').next().unwrap(), at.port())
        };
        Shot {
            from: v6(shot.from).parse().unwrap(),
            to: v6(shot.to).parse().unwrap(),
            ..shot.clone()
        }
    };
    let shots: Vec<Shot> = talk().iter().map(v6).collect();
    let wanted = events(&file(&shots));
    assert_eq!(wanted.len(), events(&file(&talk())).len());
    for link in LINKS {
        let packets: Vec<_> = shots.iter().map(|shot| (shot.at, link.packet(&shot.ip()))).collect();
        let got = unlinked(events(&pcap(Order::Big, true, link.number, &packets)));
        assert_eq!(got, wanted, "{}", link.name);
    }
}

#[test]
fn every_clock_of_an_interface_tells_the_same_time() {
    // A time that each of these units can tell: whole seconds and a half.
    let at: Timestamp = "2026-04-18T06:10:03.5Z".parse().unwrap();
    for order in [Order::Big, Order::Little] {
        for resolution in [None, Some(3), Some(6), Some(9), Some(0x81), Some(0x8A), Some(0x9F)] {
            for offset in [0, 1_776_000_000, -3_600] {
                let mut ng = Ng::new(order);
                ng.interface(RAW.number, resolution, offset);
                ng.packet(0, at, &up(AT, 1, DatagramKind::PushData, RXPK).ip());
                let got = events(&ng.out);
                assert_eq!(got[0].time, Some(at), "{order:?} {resolution:?} {offset}");
            }
        }
    }
}

#[test]
fn sections_of_either_order_have_interfaces_of_their_own() {
    let push = |token| up(AT, token, DatagramKind::PushData, RXPK).ip();
    let at: Timestamp = AT.parse().unwrap();
    let mut first = Ng::new(Order::Little);
    first.interface(1, Some(6), 0);
    first.interface(RAW.number, Some(9), 0);
    first.packet(1, at, &push(1));
    first.block(4, b"names of hosts: passed over......");
    first.block(5, &[0; 16]);
    first.packet(0, at, &LINKS[0].packet(&push(2)));
    let mut second = Ng::new(Order::Big);
    second.interface(276, Some(6), 0);
    second.packet(0, at, &LINKS[4].packet(&push(3)));
    second.simple(&LINKS[4].packet(&push(4)));
    let got = events(&[first.out, second.out.clone()].concat());
    let heard = got.iter().filter(|event| event.heard().is_some());
    let got: Vec<_> = heard.map(|e| (e.place.number, e.wire.token, e.time)).collect();
    assert_eq!(
        got,
        [
            (1, Some(1), Some(at)),
            (2, Some(2), Some(at)),
            (3, Some(3), Some(at)),
            (4, Some(4), None)
        ]
    );
    // interface 1 belonged to the section before
    let second_only = [Ng::new(Order::Little).out, second.out].concat();
    assert_eq!(numbers(&events(&second_only)).len(), 2);
    let mut third = Ng::new(Order::Little);
    third.interface(RAW.number, Some(6), 0);
    let mut lost = Ng::new(Order::Little);
    lost.interface(RAW.number, Some(6), 0);
    lost.interface(RAW.number, Some(6), 0);
    let start = lost.out.len();
    lost.packet(1, at, &push(5));
    third.out.extend_from_slice(&lost.out[start..]);
    let why = skipped(&items(&third.out));
    assert_eq!(why.len(), 1);
    assert!(why[0].1.contains("interface 1, which this section does not describe"), "{why:?}");
}

fn ng_of(shots: &[Shot], order: Order) -> (Vec<u8>, Vec<usize>) {
    let mut ng = Ng::new(order);
    ng.interface(1, Some(9), 0);
    let mut ends = vec![ng.out.len()];
    for shot in shots {
        ng.packet(0, shot.at, &LINKS[0].packet(&shot.ip()));
        ends.push(ng.out.len());
    }
    (ng.out, ends)
}

#[test]
fn frames_in_loratap_come_as_what_a_gateway_would_have_said() {
    let at: Timestamp = AT.parse().unwrap();
    let header = LoraTap {
        freq_hz: Some(868_300_000),
        gateway: Some(EUI.parse().unwrap()),
        counter: Some(369_601_898),
        inverted: Some(false),
        ..LoraTap::default()
    };
    let up = [&header.octets()[..], b"\x40uplink"].concat();
    let down = [&LoraTap { inverted: Some(true), ..header }.octets()[..], b"\x60downlink"].concat();
    // version 0: the first 15 octets, with their length
    let mut short = [&header.octets()[..15], b"\x40uplink"].concat();
    short[0] = 0;
    short[3] = 15;
    let packets = [up, down, short, vec![9, 0, 0, 0, 1]].map(|packet| (at, packet));
    let got = items(&pcap(Order::Big, true, 270, &packets));
    let kinds: Vec<_> = intact(&got)
        .iter()
        .map(|event| (event.place.number, says(event), event.gateway.is_some()))
        .collect();
    assert_eq!(
        kinds,
        [(1, "heard", true), (2, "ordered", true), (2, "outcome", true), (3, "heard", false)]
    );
    // 24 octets of file header, 16 before each packet: 58, 60 and 38 octets come before the fourth
    assert_eq!(skipped(&got)[0].1, "byte 196: 15 bytes of LoRaTap header needed, 5 left");
}

#[test]
fn what_is_no_recording_is_text() {
    for text in ["\n\r\r\n{\"stat\":{}}\n", "{\"stat\":{}}", "QNq7AQIAAQACx4c=\n", ""] {
        let got = items(text.as_bytes());
        assert_eq!(skipped(&got), [], "{text:?}");
    }
    let first = Capture::new(&b"{\"stat\":{}}"[..]).next();
    let Some(Ok(Item::Event(event))) = first else { panic!("{first:?}") };
    assert_eq!(event.place, Position::line(1));
}
