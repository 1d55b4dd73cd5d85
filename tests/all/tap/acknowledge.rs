//! Without a server behind it: what the tap answers, what it shows, how it ends.

use std::process::Command;

use super::stage::{
    EUI, PULL_ACK, PULL_DATA, PULL_RESP, PUSH_ACK, PUSH_DATA, TX_ACK, Tap, from_gateway,
    from_server, heard, is_silent, receive, socket,
};

// Document of the gateway protocol, version 2: section 3.3 (PUSH_ACK: version, token, 01) and 5.3
// (PULL_ACK: version, token, 04); 4 octets each.
#[test]
fn a_gateway_is_acknowledged_octet_for_octet_and_nothing_else_is_sent() {
    let tap = Tap::start(&["--json"]);
    let gateway = socket();
    for version in [1, 2] {
        for (kind, json, answer) in
            [(PUSH_DATA, heard(7), PUSH_ACK), (PULL_DATA, String::new(), PULL_ACK)]
        {
            let mut octets = from_gateway(kind, 0x7B22, EUI, &json);
            octets[0] = version;
            gateway.send_to(&octets, tap.port).unwrap();
            let (got, from) = receive(&gateway);
            assert_eq!((got, from), (vec![version, 0x7B, 0x22, answer], tap.port));
        }
    }
    gateway.send_to(&from_gateway(TX_ACK, 1, EUI, ""), tap.port).unwrap();
    for kind in [PUSH_ACK, PULL_RESP, PULL_ACK] {
        gateway.send_to(&from_server(kind, 1, "{}"), tap.port).unwrap();
    }
    // The answer to this one would come after any other.
    gateway.send_to(&from_gateway(PULL_DATA, 0xFFFF, EUI, ""), tap.port).unwrap();
    assert_eq!(receive(&gateway).0, [2, 0xFF, 0xFF, PULL_ACK]);
    let ended = tap.interrupt();
    assert!(is_silent(&gateway));
    assert_eq!(ended.exit, Some(130));
    assert_eq!((ended.count("received"), ended.count("acknowledged")), (9, 5));
    assert_eq!((ended.count("misdirected"), ended.count("frames_up")), (3, 2));
}

#[test]
fn each_frame_is_a_line_of_80_columns_and_ctrl_c_ends_with_a_summary() {
    let mut tap = Tap::start(&["--region", "EU868"]);
    let gateway = socket();
    let stat = r#"{"stat":{"rxnb":4294967295,"rxok":4294967295,"rxfw":4294967295,"ackr":100.0,"dwnb":4294967295,"txnb":4294967295}}"#;
    for json in [heard(1).as_str(), stat] {
        gateway.send_to(&from_gateway(PUSH_DATA, 1, EUI, json), tap.port).unwrap();
    }
    let frame = tap.out_line(|line| line.contains("Join-Request"));
    assert!(frame.contains("9442 up   868.300 SF9") && frame.contains("-84/7.5"), "{frame}");
    assert!(frame.ends_with("Join-Request 020000fffe42000b"), "{frame}");
    tap.out_line(|line| line.contains("stat received 4294967295"));
    let ended = tap.interrupt();
    assert_eq!(ended.exit, Some(130), "{:?}", ended.err);
    assert!(ended.out.iter().all(|line| line.chars().count() <= 80), "{:?}", ended.out);
    let summary = ended.out.join("\n");
    assert!(summary.contains("1 gateway, 1 node; 2 datagrams at the port, 2 acknowledged"));
}

#[test]
fn it_ends_by_itself_after_so_many_datagrams_or_so_long() {
    let tap = Tap::start(&["--count", "3", "--json"]);
    let gateway = socket();
    for token in 0..5 {
        gateway.send_to(&from_gateway(PULL_DATA, token, EUI, ""), tap.port).unwrap();
    }
    assert_eq!(tap.end().count("received"), 3);
    assert_eq!(Tap::start(&["--for", "1s", "--json"]).end().count("received"), 0);
}

#[test]
fn only_gateways_that_are_allowed_are_listened_to() {
    let other = [2, 0, 0, 0xFF, 0xFE, 0, 0, 1];
    let tap = Tap::start(&["--json", "--allow", "02-00-00-FF-FE-A0-94-42"]);
    let (stranger, gateway) = (socket(), socket());
    stranger.send_to(&from_gateway(PUSH_DATA, 1, other, &heard(1)), tap.port).unwrap();
    // A TX_ACK of the older form names no gateway; nobody vouches for this one.
    stranger.send_to(&[2, 0, 1, TX_ACK], tap.port).unwrap();
    gateway.send_to(&from_gateway(PUSH_DATA, 2, EUI, &heard(2)), tap.port).unwrap();
    assert_eq!(receive(&gateway).0, [2, 0, 2, PUSH_ACK]);
    let ended = tap.interrupt();
    assert!(is_silent(&stranger));
    assert_eq!((ended.count("not_allowed"), ended.count("frames_up")), (2, 1));
    assert!(!ended.out.iter().any(|line| line.contains("020000fffe000001")));
}

#[test]
fn a_node_whose_key_is_wrong_is_told_while_it_asks() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/src/demo/");
    let roster = folder.to_owned() + "orchard.toml";
    let mut tap = Tap::start(&["--json", "--roster", &roster]);
    let gateway = socket();
    let capture = std::fs::read_to_string(folder.to_owned() + "orchard.ndjson").unwrap();
    let pushes = capture.lines().filter_map(|line| {
        let line: serde_json::Value = serde_json::from_str(line).unwrap();
        (line["kind"] == "PUSH_DATA").then(|| line["datagram"].to_string())
    });
    for json in pushes {
        gateway.send_to(&from_gateway(PUSH_DATA, 1, EUI, &json), tap.port).unwrap();
        assert_eq!(receive(&gateway).0, [2, 0, 1, PUSH_ACK]);
    }
    // The cause that the README shows for the demo's probe-03.
    let told = tap.out_line(|line| {
        line.contains(r#""event":"ladder""#) && line.contains(r#""name":"probe-03""#)
    });
    let told: serde_json::Value = serde_json::from_str(&told).unwrap();
    assert_eq!(told["outcome"], "never-joined");
    assert_eq!(told["causes"][0]["id"], "app-key-typed-wrong");
    assert_eq!(tap.interrupt().exit, Some(1), "a fault was found");
}

#[test]
fn a_wrong_usage_is_told_and_ends_with_2() {
    let taken = socket();
    let taken = taken.local_addr().unwrap().to_string();
    for (args, wanted) in [
        (vec!["--listen", &taken], "cannot listen at 127.0.0.1:"),
        (vec!["--listen", "127.0.0.1:0", "--relay", "nowhere"], "write HOST:PORT"),
        (vec!["--listen", "127.0.0.1:9", "--relay", "127.0.0.1:9"], "the tap itself"),
        (vec!["--allow", "7"], "a right one is 02-00-00-FF-FE-A0-94-42"),
        (vec!["--rotate", "10M"], "--record"),
        (vec!["--lines", "--json"], "cannot be used with"),
        (vec!["--region", "EU86"], "there are EU868, US915"),
        (vec!["--record", "x", "--rotate", "much"], "100M"),
        (vec!["--for", "0"], "90s"),
        (vec!["--listen", "127.0.0.1:0", "--record", "/"], "cannot record to /"),
    ] {
        let run = Command::new(env!("CARGO_BIN_EXE_handfast")).arg("tap").args(&args).output();
        let run = run.unwrap();
        let err = String::from_utf8(run.stderr).unwrap();
        let words = err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains(wanted), "{args:?}: {err}");
        assert_eq!(run.status.code(), Some(2), "{args:?}");
    }
}
