//! Two ports, one for uplinks and one for downlinks; who is waited for, and what to type into the gateway.

use std::net::SocketAddr;

use super::stage::{
    EUI, PULL_ACK, PULL_DATA, PULL_RESP, PUSH_ACK, PUSH_DATA, Tap, from_gateway, from_server,
    heard, receive, socket,
};

const LOCAL: &str = "127.0.0.1:0";

fn doors(tap: &Tap) -> [SocketAddr; 2] {
    let second = tap.second.unwrap();
    assert_ne!(tap.port, second);
    [tap.port, second]
}

#[test]
fn each_port_answers_what_it_was_sent() {
    let tap = Tap::start(&["--listen", LOCAL, "--json"]);
    let [up, down] = doors(&tap);
    let gateway = socket();
    gateway.send_to(&from_gateway(PUSH_DATA, 0x0102, EUI, &heard(7)), up).unwrap();
    assert_eq!(receive(&gateway), (vec![2, 1, 2, PUSH_ACK], up));
    gateway.send_to(&from_gateway(PULL_DATA, 0x0304, EUI, ""), down).unwrap();
    assert_eq!(receive(&gateway), (vec![2, 3, 4, PULL_ACK], down));
    let ended = tap.interrupt();
    assert_eq!(ended.exit, Some(130), "{:?}", ended.err);
    assert_eq!((ended.count("received"), ended.count("acknowledged")), (2, 2));
}

#[test]
fn a_relay_answers_each_socket_of_a_gateway_from_the_port_that_it_sends_to() {
    let server = socket();
    let relay = server.local_addr().unwrap().to_string();
    let tap = Tap::start(&["--listen", LOCAL, "--relay", &relay, "--json"]);
    let [up, down] = doors(&tap);
    let [uplinks, downlinks] = [socket(), socket()];
    for (gateway, kind, answer, door) in
        [(&uplinks, PUSH_DATA, PUSH_ACK, up), (&downlinks, PULL_DATA, PULL_RESP, down)]
    {
        gateway.send_to(&from_gateway(kind, 5, EUI, ""), door).unwrap();
        let (_, from) = receive(&server);
        let octets = from_server(answer, 5, "");
        server.send_to(&octets, from).unwrap();
        assert_eq!(receive(gateway), (octets, door));
    }
    assert_eq!(tap.interrupt().count("relayed_down"), 2);
}

#[test]
fn more_than_two_ports_are_refused() {
    let three = ["tap", "--listen", LOCAL, "--listen", LOCAL, "--listen", LOCAL];
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_handfast"));
    let run = command.args(three).output().unwrap();
    assert_eq!(run.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&run.stderr).contains("one address, or two"));
}

#[test]
fn who_is_waited_for_what_to_type_and_who_never_came_is_said() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("tap-waits");
    std::fs::create_dir_all(&folder).unwrap();
    let roster = folder.join("orchard.toml");
    let text = "[[gateway]]\neui = \"020000fffea09443\"\nname = \"barn\"\n";
    std::fs::write(&roster, text).unwrap();
    let mut tap = Tap::start(&["--roster", roster.to_str().unwrap()]);
    tap.err_line(|line| line.contains("waiting for gateway 02-00-00-FF-FE-A0-94-43 (barn)"));
    let port = format!("serv_port_up {0}, serv_port_down {0}", tap.port.port());
    tap.err_line(|line| line.contains("server_address 127.0.0.1"));
    // A digit away from the roster's.
    let gateway = socket();
    gateway.send_to(&from_gateway(PULL_DATA, 1, EUI, ""), tap.port).unwrap();
    receive(&gateway);
    tap.err_line(|line| line.contains("is not on the roster"));
    let ended = tap.interrupt();
    let said = ended.err.join(" ").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains(&port), "{said}");
    assert!(said.contains("near gateway 02-00-00-FF-FE-A0-94-43 (barn): "), "{said}");
    assert!(said.contains("not heard: gateway 02-00-00-FF-FE-A0-94-43 (barn)"), "{said}");
}
