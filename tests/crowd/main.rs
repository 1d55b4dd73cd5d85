//! A thousand gateways behind one relay. A test of its own, since each takes a socket here and in the tap, and
//! systems often give a process a thousand and twenty-four.

#[expect(dead_code, reason = "the other tests of the tap use the rest")]
#[path = "../all/tap/stage.rs"]
mod stage;

use std::{collections::HashMap, net::UdpSocket};

use stage::{PULL_ACK, PULL_DATA, Tap, from_gateway, from_server, is_silent, receive, socket};

#[test]
fn a_thousand_gateways_are_a_thousand_peers_and_each_gets_its_own_answers() {
    let server = socket();
    let tap = Tap::start(&["--json", "--relay", &server.local_addr().unwrap().to_string()]);
    let gateways: Vec<UdpSocket> = (0..1_000).map(|_| socket()).collect();
    let mut peers = HashMap::new();
    // A few at a time: the server's own buffer is not what is tested.
    for (chunk, sockets) in gateways.chunks(50).enumerate() {
        for (i, gateway) in sockets.iter().enumerate() {
            let number = u16::try_from(chunk * 50 + i).unwrap();
            let [high, low] = number.to_be_bytes();
            let eui = [2, 0, 0, 0xFF, 0xFE, 0, high, low];
            gateway.send_to(&from_gateway(PULL_DATA, number, eui, ""), tap.port).unwrap();
        }
        for _ in sockets {
            let (got, from) = receive(&server);
            let number = u16::from_be_bytes([got[1], got[2]]);
            assert!(peers.insert(from, number).is_none(), "{from} speaks for two gateways");
        }
    }
    assert_eq!(peers.len(), 1_000);
    for (number, (peer, token)) in peers.iter().enumerate() {
        server.send_to(&from_server(PULL_ACK, *token, ""), peer).unwrap();
        if number % 50 == 49 {
            // Let it drain.
            let last = &gateways[usize::from(*token)];
            assert_eq!(receive(last).0, from_server(PULL_ACK, *token, ""));
            server.send_to(&from_server(PULL_ACK, *token, ""), peer).unwrap();
        }
    }
    for (number, gateway) in (0..).zip(&gateways) {
        assert_eq!(receive(gateway).0, from_server(PULL_ACK, number, ""));
        assert!(is_silent(gateway));
    }
    let ended = tap.interrupt();
    assert_eq!((ended.count("gateways"), ended.count("not_sent")), (1_000, 0));
}
