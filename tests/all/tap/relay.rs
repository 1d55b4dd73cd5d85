//! Between a gateway and a server: nothing is changed, nothing is added, nobody waits for the other.

use std::net::UdpSocket;

use super::stage::{
    EUI, PULL_ACK, PULL_DATA, PULL_RESP, PUSH_ACK, PUSH_DATA, TX_ACK, Tap, from_gateway,
    from_server, heard, is_refused, is_silent, receive, socket,
};

fn relay(server: &UdpSocket) -> Tap {
    Tap::start(&["--json", "--relay", &server.local_addr().unwrap().to_string()])
}

#[test]
fn both_ways_pass_byte_for_byte_and_nothing_is_added() {
    let (server, gateway) = (socket(), socket());
    let tap = relay(&server);
    let odd_json = "{\"rxpk\" : [ ],\r\n \"x\":\"\\u00e9\u{e9}\", \"stat\":{ }}\0";
    let up = [
        from_gateway(PULL_DATA, 1, EUI, ""),
        from_gateway(PUSH_DATA, 2, EUI, &heard(1)),
        from_gateway(PUSH_DATA, 3, EUI, odd_json),
        from_gateway(PUSH_DATA, 4, EUI, "{\"rxpk\":[{"),
        from_gateway(PUSH_DATA, 5, EUI, &format!("{{\"x\":\"{}\"}}", "a".repeat(60_000))),
        from_gateway(TX_ACK, 6, EUI, r#"{"txpk_ack":{"error":"TOO_LATE"}}"#),
        [&[2, 0, 7, TX_ACK][..], br#"{"txpk_ack":{"error":"NONE"}}"#].concat(),
        // What the tap does not understand it leaves to the server, once it knows who speaks.
        vec![9, 9, 9],
        vec![],
    ];
    let down = [
        from_server(PULL_ACK, 1, ""),
        from_server(PUSH_ACK, 2, ""),
        from_server(PULL_RESP, 0x1234, r#"{"txpk":{"imme":true,"data":"YA=="}}"#),
        from_server(PULL_RESP, 0x1235, "no JSON"),
        [from_server(PULL_ACK, 1, ""), EUI.to_vec()].concat(),
        vec![0xFF; 1_400],
        vec![],
    ];
    let mut peer = None;
    for octets in &up {
        gateway.send_to(octets, tap.port).unwrap();
        let (got, from) = receive(&server);
        assert_eq!(&got, octets);
        assert_eq!(*peer.get_or_insert(from), from, "one gateway, one address");
        assert_ne!(from, tap.port);
    }
    for octets in &down {
        server.send_to(octets, peer.unwrap()).unwrap();
        let (got, from) = receive(&gateway);
        assert_eq!((&got, from), (octets, tap.port));
    }
    let ended = tap.interrupt();
    assert!(is_silent(&server) && is_silent(&gateway), "the tap says nothing of its own");
    assert_eq!(ended.exit, Some(130));
    assert_eq!((ended.count("relayed_up"), ended.count("relayed_down")), (9, 7));
    assert_eq!(ended.count("acknowledged"), 0);
}

#[test]
fn a_server_that_is_away_is_told_and_met_again_and_a_gateway_may_restart() {
    let server = socket();
    let mut tap = relay(&server);
    let gateway = socket();
    gateway.send_to(&from_gateway(PULL_DATA, 1, EUI, ""), tap.port).unwrap();
    let (_, peer) = receive(&server);
    server.send_to(&from_server(PULL_ACK, 1, ""), peer).unwrap();
    receive(&gateway);
    let at = server.local_addr().unwrap();
    drop(server);
    for token in 2..6 {
        gateway.send_to(&from_gateway(PUSH_DATA, token, EUI, &heard(1)), tap.port).unwrap();
    }
    // The gateway's side goes on: its frames are shown, whoever answers.
    for _ in 2..6 {
        tap.out_line(|line| line.contains(r#""event":"frame""#));
    }
    tap.out_line(|line| line.contains(r#""event":"server""#) && line.contains("false"));

    let server = UdpSocket::bind(at).unwrap();
    server.set_read_timeout(Some(std::time::Duration::from_secs(120))).unwrap();
    let again = from_gateway(PUSH_DATA, 6, EUI, &heard(2));
    gateway.send_to(&again, tap.port).unwrap();
    let (got, same) = receive(&server);
    assert_eq!((got, same), (again, peer), "the first datagram after a refusal is not lost");
    server.send_to(&from_server(PUSH_ACK, 6, ""), peer).unwrap();
    assert_eq!(receive(&gateway).0, from_server(PUSH_ACK, 6, ""));
    tap.out_line(|line| line.contains(r#""event":"server""#) && line.contains("true"));

    // The gateway comes back from another port: another peer, and the answers go there.
    let restarted = socket();
    drop(gateway);
    restarted.send_to(&from_gateway(PULL_DATA, 7, EUI, ""), tap.port).unwrap();
    let (_, other) = receive(&server);
    assert_ne!(other, peer);
    server.send_to(&from_server(PULL_ACK, 7, ""), other).unwrap();
    // What is still sent to the old address meets nobody, and stops nothing.
    for _ in 0..3 {
        if let Err(error) = server.send_to(&from_server(PULL_RESP, 8, "{}"), peer) {
            assert!(is_refused(&error), "{error}");
        }
    }
    server.send_to(&from_server(PULL_RESP, 9, "{}"), other).unwrap();
    assert_eq!(receive(&restarted).0, from_server(PULL_ACK, 7, ""));
    assert_eq!(receive(&restarted).0, from_server(PULL_RESP, 9, "{}"));
    assert_eq!(tap.interrupt().exit, Some(130));
}

#[test]
fn loss_and_another_order_pass_as_they_are() {
    let (server, gateway) = (socket(), socket());
    let tap = relay(&server);
    let tokens: Vec<u16> = (0..60).collect();
    for token in &tokens {
        let octets = from_gateway(PUSH_DATA, *token, EUI, &heard(u32::from(*token)));
        gateway.send_to(&octets, tap.port).unwrap();
    }
    let mut peer = None;
    for token in &tokens {
        let (got, from) = receive(&server);
        assert_eq!(u16::from_be_bytes([got[1], got[2]]), *token, "the order is kept");
        peer = Some(from);
    }
    // This server loses every third, and answers the others the last one first, one of them twice.
    let mut answered: Vec<u16> = tokens.iter().rev().copied().filter(|t| t % 3 != 0).collect();
    answered.push(1);
    for token in &answered {
        server.send_to(&from_server(PUSH_ACK, *token, ""), peer.unwrap()).unwrap();
    }
    for token in &answered {
        assert_eq!(receive(&gateway).0, from_server(PUSH_ACK, *token, ""));
    }
    let ended = tap.interrupt();
    assert!(is_silent(&gateway), "what the server lost nobody makes up for");
    assert_eq!(ended.count("relayed_down"), answered.len() as u64);
}
