//! Another host on the network that speaks with the address of a gateway or a server.

use handfast::{
    frame::MacVersion,
    ladder::{Findings, Options, Outcome, judge},
    region::Plan,
    roster,
    scenario::{Recording, Scene},
    trace::Tracer,
};
use jiff::SignedDuration;

use crate::support::recording::{Order, Shot, intact, items, pcap, shots};

const GATEWAY: [u8; 6] = [2, 0, 0, 0xA0, 0x18, 0x27];
const SERVER: [u8; 6] = [2, 0, 0, 0x21, 0xAE, 9];
const OTHER: [u8; 6] = [2, 0, 0, 0xB5, 0x61, 0x46];
const TIMES: usize = 20;

fn scene() -> Recording {
    let plan = Plan::by_name("EU868").unwrap();
    Scene::new(2026, plan).with(|probe| probe.version = MacVersion::V1_0_3).play()
}

/// A datagram, and the link-layer address that it comes from.
type Sent = ([u8; 6], Shot);

fn own(recording: &Recording) -> Vec<Sent> {
    let from = |shot: &Shot| if shot.from.port() == 1700 { SERVER } else { GATEWAY };
    shots(&recording.capture, false).into_iter().map(|shot| (from(&shot), shot)).collect()
}

/// The first datagram whose JSON has these words, as often again from another link-layer address, each time
/// with a token of its own.
fn repeated(all: &[Sent], words: &str, link: [u8; 6], change: impl Fn(&mut [u8])) -> Vec<Sent> {
    let has = |shot: &Shot| String::from_utf8_lossy(&shot.payload).contains(words);
    let (_, first) = all.iter().find(|(_, shot)| has(shot)).unwrap();
    let last = all.last().unwrap().1.at;
    let again = |n: usize| {
        let mut shot = first.clone();
        shot.at = last + SignedDuration::from_millis(10_000 + 1_500 * i64::try_from(n).unwrap());
        shot.payload[1..3].copy_from_slice(&[0xF0, u8::try_from(n).unwrap()]);
        change(&mut shot.payload);
        (link, shot)
    };
    (0..TIMES).map(again).collect()
}

fn judged(recording: &Recording, all: &[Sent]) -> Findings {
    let framed = |(link, shot): &Sent| {
        let to = if shot.to.port() == 1700 { SERVER } else { GATEWAY };
        (shot.at, [&to[..], link, &[8, 0], &shot.ip()].concat())
    };
    let packets: Vec<_> = all.iter().map(framed).collect();
    let roster = roster::parse(&recording.roster, None).unwrap();
    let mut tracer = Tracer::new(&roster);
    for event in intact(&items(&pcap(Order::Little, false, 1, &packets))) {
        tracer.push(event);
    }
    judge(&tracer.finish(), &roster, Options::default())
}

fn ids(findings: &Findings) -> Vec<&'static str> {
    let nodes = findings.nodes.iter().flat_map(|node| &node.causes);
    let all = findings.gateways.iter().flat_map(|gateway| &gateway.causes).chain(nodes);
    all.map(|verdict| verdict.cause.id.name()).collect()
}

/// Flips a bit of the MIC of a request in base64: 23 bytes are 31 letters, the MIC is in the last six.
fn forge(payload: &mut [u8]) {
    let member = b"\"data\":\"";
    let at = payload.windows(member.len()).position(|octets| octets == member).unwrap()
        + member.len()
        + 28;
    payload[at] = if payload[at] == b'A' { b'B' } else { b'A' };
}

#[test]
fn what_another_host_sends_is_told_and_left_out_of_the_nodes_own_attempts() {
    let recording = scene();
    let own = own(&recording);
    assert_eq!(ids(&judged(&recording, &own)), [""; 0]);
    let request = "\"size\":23";
    let answer = "\"txpk\"";
    let all = [
        (request, false, ["another-host-speaks-for-the-gateway", "join-request-replayed"]),
        (request, true, ["another-host-speaks-for-the-gateway", "join-requests-forged"]),
        (answer, false, ["another-host-speaks-for-the-server", "join-accept-replayed"]),
    ];
    for (words, forged, wanted) in all {
        let change = |payload: &mut [u8]| {
            if forged {
                forge(payload);
            }
        };
        let with = [own.clone(), repeated(&own, words, OTHER, change)].concat();
        let findings = judged(&recording, &with);
        assert_eq!(ids(&findings), wanted);
        assert_eq!(findings.nodes[0].outcome, Outcome::Joined);
        assert_eq!(findings.nodes[0].attempts, 1);
    }
}

#[test]
fn a_router_and_a_new_network_card_are_no_other_hosts() {
    let recording = scene();
    let own = own(&recording);
    for words in ["\"size\":23", "\"txpk\""] {
        let again = repeated(&own, words, OTHER, |_| {});
        // The link-layer address sends for a second address as well: it is a router's.
        let (_, mut second) = again[0].clone();
        second.from = "192.0.2.99:40123".parse().unwrap();
        let routed = [own.clone(), again.clone(), vec![(OTHER, second)]].concat();
        // All comes from one link-layer address: the gateway's, or the server's, own.
        let own_link = if words.contains("txpk") { SERVER } else { GATEWAY };
        let same = [own.clone(), repeated(&own, words, own_link, |_| {})].concat();
        for all in [routed, same] {
            let found = ids(&judged(&recording, &all));
            assert!(found.iter().all(|id| !id.starts_with("another-host")), "{found:?}");
            assert!(!found.contains(&"join-request-replayed"), "{found:?}");
            assert!(!found.contains(&"join-requests-forged"), "{found:?}");
            assert!(!found.contains(&"join-accept-replayed"), "{found:?}");
        }
    }
}
