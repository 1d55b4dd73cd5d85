//! A relay that leads back to itself, in any disguise, carries nothing twice; a flood costs no gateway.

use std::{
    net::{SocketAddr, UdpSocket},
    process::Command,
    time::Duration,
};

use super::stage::{
    EUI, PULL_ACK, PULL_DATA, PUSH_DATA, Tap, from_gateway, from_server, heard, is_silent, receive,
    socket,
};

/// A port that is free, for a tap that must know it before it begins.
fn free_port() -> u16 {
    UdpSocket::bind("0.0.0.0:0").unwrap().local_addr().unwrap().port()
}

/// An address of this machine that is not loopback; the tests of CI may have none.
fn other_address() -> Option<std::net::IpAddr> {
    let socket = UdpSocket::bind("0.0.0.0:0").ok()?;
    // No datagram is sent by that.
    socket.connect("192.0.2.1:9").ok()?;
    Some(socket.local_addr().ok()?.ip())
}

#[test]
fn a_relay_onto_the_tap_itself_is_refused_by_whatever_address() {
    let port = free_port();
    let mut pairs = vec![
        (format!("127.0.0.1:{port}"), format!("127.0.0.1:{port}")),
        (format!("127.0.0.1:{port}"), format!("localhost:{port}")),
        (format!("127.0.0.1:{port}"), format!("0.0.0.0:{port}")),
        (format!("127.0.0.1:{port}"), format!("[::ffff:127.0.0.1]:{port}")),
        (format!("0.0.0.0:{port}"), format!("127.0.0.1:{port}")),
        (format!("0.0.0.0:{port}"), format!("127.3.2.1:{port}")),
        (format!("0.0.0.0:{port}"), format!("0.0.0.0:{port}")),
    ];
    if let Some(own) = other_address() {
        pairs.push((format!("0.0.0.0:{port}"), format!("{own}:{port}")));
    }
    if UdpSocket::bind("[::1]:0").is_ok() {
        pairs.push((format!("[::1]:{port}"), format!("[::]:{port}")));
        pairs.push((format!("[::]:{port}"), format!("[::1]:{port}")));
    }
    for (listen, relay) in pairs {
        let run = Command::new(env!("CARGO_BIN_EXE_handfast"))
            .args(["tap", "--listen", &listen, "--relay", &relay, "--for", "1s"])
            .output()
            .unwrap();
        let words = String::from_utf8_lossy(&run.stderr).into_owned();
        assert_eq!(run.status.code(), Some(2), "{listen} {relay}: {words}");
        assert!(words.contains("is the address of the tap itself"), "{listen} {relay}: {words}");
    }
}

#[test]
fn two_taps_in_a_ring_carry_a_datagram_around_once() {
    let port = free_port();
    // The first one's server is the second, whose server is the first.
    let first = Tap::start(&["--relay", &format!("127.0.0.1:{port}"), "--json"]);
    let first_at = first.port.to_string();
    let mut second = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args([
            "tap",
            "--listen",
            &format!("127.0.0.1:{port}"),
            "--relay",
            &first_at,
            "--for",
            "3s",
            "--json",
        ])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::null())
        .spawn()
        .unwrap();
    while UdpSocket::bind(("127.0.0.1", port)).is_ok() {
        std::thread::sleep(Duration::from_millis(10));
    }
    let gateway = socket();
    let mut first = first;
    gateway.send_to(&from_gateway(PUSH_DATA, 1, EUI, &heard(1)), first.port).unwrap();
    let said = first.out_line(|line| line.contains("\"event\":\"port\""));
    assert!(said.contains("\"state\":\"returned\"") && said.contains("LEADS BACK"), "{said}");
    second.wait().unwrap();
    let ended = first.interrupt();
    assert!(ended.count("received") <= 10, "{}", ended.count("received"));
    assert_eq!(ended.count("returned"), 1);
}

#[test]
fn what_is_no_datagram_of_the_protocol_is_handed_on_from_new_addresses_too() {
    let (server, stranger) = (socket(), socket());
    let at = server.local_addr().unwrap().to_string();
    let tap = Tap::start(&["--relay", &at, "--json"]);
    stranger.send_to(b"hello", tap.port).unwrap();
    let (got, peer) = receive(&server);
    assert_eq!(got, b"hello");
    server.send_to(b"who are you", peer).unwrap();
    assert_eq!(receive(&stranger).0, b"who are you");
    tap.interrupt();
    // Where only some gateways are listened to, it is of none of them.
    let tap = Tap::start(&["--relay", &at, "--allow", "020000fffea09442", "--json"]);
    stranger.send_to(b"hello", tap.port).unwrap();
    stranger.send_to(&from_gateway(PULL_DATA, 1, EUI, ""), tap.port).unwrap();
    assert_eq!(receive(&server).0, from_gateway(PULL_DATA, 1, EUI, ""));
    tap.interrupt();
}

#[test]
fn an_eui_is_said_to_be_no_proof() {
    let mut tap = Tap::start(&["--allow", "020000fffea09442"]);
    tap.err_line(|line| line.contains("caution: --allow"));
    tap.interrupt();
}

/// Datagrams from made-up ports come as fast as they can; a gateway that speaks all the while is answered.
#[test]
fn a_flood_of_ports_takes_no_gateway_from_its_server() {
    let (server, gateway) = (socket(), socket());
    let at = server.local_addr().unwrap().to_string();
    let tap = Tap::start(&["--relay", &at, "--json"]);
    let pull = |token| from_gateway(PULL_DATA, token, EUI, "");
    gateway.send_to(&pull(1), tap.port).unwrap();
    let (_, peer) = receive(&server);
    for stranger in 0..3_000u16 {
        let flood = UdpSocket::bind("127.0.0.1:0").unwrap();
        let [high, low] = stranger.to_be_bytes();
        let eui = [2, 0, 0, 0xFF, 0xFE, 0xAA, high, low];
        flood.send_to(&from_gateway(PULL_DATA, stranger, eui, ""), tap.port).unwrap();
    }
    server.send_to(&from_server(PULL_ACK, 1, ""), peer).unwrap();
    assert_eq!(receive(&gateway).0, from_server(PULL_ACK, 1, ""));
    gateway.send_to(&pull(2), tap.port).unwrap();
    let peers: Vec<SocketAddr> = std::iter::repeat_with(|| receive(&server))
        .find(|(octets, _)| *octets == pull(2))
        .map(|(_, peer)| peer)
        .into_iter()
        .collect();
    assert_eq!(peers, [peer], "it keeps its socket towards the server");
    let ended = tap.interrupt();
    assert!(ended.count("not_admitted") > 0, "one address brings new ones only so fast");
    assert!(is_silent(&gateway));
}
