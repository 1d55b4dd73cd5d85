//! Captures that others published: every frame parses or is named as damaged, and verifies as
//! their source says.
//!
//! The two radio logs are MIT and stand in `vectors/captures`, with their source. The others have
//! no stated licence: they are read from the folder that `HANDFAST_CAPTURES` names.

use std::{
    collections::{BTreeMap, BTreeSet},
    env, fs,
    path::{Path, PathBuf},
};

use handfast::{
    crypto::mic,
    frame::{DataFrame, Frame, decode},
    intake::{Capture, Crc, Event, Item, PassedOver, TxError, What, When, frame_text},
    key::NwkSKey,
    ladder::{Certainty, Options, Outcome, diagnose},
    roster::{self, Roster},
    trace::Tracer,
};
use serde_json::Value;

/// The sample key of RFC 4493, under which the radio logs and the broker log are signed.
const SAMPLE: &str = "2b7e151628aed2a6abf7158809cf4f3c";

/// The events of a capture that has nothing else.
fn events(file: &[u8]) -> impl Iterator<Item = Event> {
    Capture::new(file).map(|item| match item.unwrap() {
        Item::Event(event) if event.gap().is_none() => event,
        other => panic!("{other:?}"),
    })
}

fn data(text: &str) -> DataFrame {
    match decode(&frame_text(text).unwrap().octets).frame {
        Some(Frame::Data(frame)) => frame,
        other => panic!("{text}: {other:?}"),
    }
}

/// Whether the MIC holds with the upper half of the counter at 0.
fn holds(key: &NwkSKey, frame: &DataFrame) -> bool {
    mic::data_1_0(key, frame, u32::from(frame.fcnt)) == frame.mic
}

#[test]
fn the_radio_logs_verify_but_for_one_line_each() {
    let key: NwkSKey = SAMPLE.parse().unwrap();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("vectors/captures");
    let mut seen = BTreeSet::new();
    for (name, lines, different) in
        [("radio-log-1.jsonl", 991, 484), ("radio-log-2.jsonl", 975, 485)]
    {
        let text = fs::read(folder.join(name)).unwrap();
        let frames: Vec<String> = events(&text)
            .map(|event| {
                assert!(event.time.is_some());
                let Some(up) = event.heard() else { panic!("{event:?}") };
                assert!(up.modulation.is_some() && up.rssi.is_some() && up.snr.is_some());
                format!("hex:{}", hex::encode(up.octets()))
            })
            .collect();
        assert_eq!(frames.len(), lines, "{name}");
        assert_eq!(frames.iter().collect::<BTreeSet<_>>().len(), different, "{name}");
        let failing: Vec<_> = frames.iter().filter(|f| !holds(&key, &data(f))).collect();
        assert_eq!(failing.len(), 1, "{name}");
        assert!(frames.iter().all(|f| decode(&frame_text(f).unwrap().octets).faults.is_empty()));
        seen.insert(name);
    }
    let files = fs::read_dir(folder).unwrap().map(|f| f.unwrap().file_name());
    for file in files.filter(|f| f != "README.md") {
        assert!(seen.contains(file.to_str().unwrap()), "{file:?} is not read by any test");
    }
}

#[test]
fn a_line_that_does_not_verify_is_another_line_with_octets_changed_on_the_way() {
    // The key is right; each failing frame differs from one that holds, of the same counter or its
    // neighbour, in a few octets: it was damaged and still taken by the receiver.
    let key: NwkSKey = SAMPLE.parse().unwrap();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("vectors/captures");
    for name in ["radio-log-1.jsonl", "radio-log-2.jsonl"] {
        let text = fs::read_to_string(folder.join(name)).unwrap();
        let frames: Vec<Vec<u8>> = text
            .lines()
            .map(|line| serde_json::from_str::<Value>(line).unwrap())
            .map(|line| hex::decode(line["payload"].as_str().unwrap()).unwrap())
            .collect();
        let whole = |octets: &Vec<u8>| matches!(decode(octets).frame, Some(Frame::Data(f)) if holds(&key, &f));
        let bad = frames.iter().find(|f| !whole(f)).unwrap();
        let bits = |a: &[u8], b: &[u8]| -> u32 {
            a.iter().zip(b).map(|(x, y)| (x ^ y).count_ones()).sum()
        };
        let nearest = frames
            .iter()
            .filter(|f| f.len() == bad.len() && whole(f))
            .map(|f| bits(f, bad))
            .min()
            .unwrap();
        assert!(nearest <= 24, "{name}: {nearest} bits from the nearest that holds");
    }
}

// --- captures outside the repository ----------------------------------------------------------

fn outside(name: &str) -> Vec<u8> {
    let folder: PathBuf = env::var_os("HANDFAST_CAPTURES").expect("HANDFAST_CAPTURES").into();
    fs::read(folder.join(name)).unwrap()
}

#[test]
#[ignore = "the capture's licence is not stated: set HANDFAST_CAPTURES"]
fn every_frame_of_the_broker_log_verifies() {
    let key: NwkSKey = SAMPLE.parse().unwrap();
    let log = outside("server-gateway-events-1.log");
    let mut up = Vec::new();
    let mut down = Vec::new();
    let mut acks = 0;
    for item in Capture::new(log.as_slice()) {
        let event = match item.unwrap() {
            Item::Event(event) => event,
            // state of the gateways
            Item::PassedOver(PassedOver::Lines { lines: 7, .. }) => continue,
            other @ Item::PassedOver(_) => panic!("{other:?}"),
        };
        assert!(event.gateway.is_some(), "{event:?}");
        match &event.what {
            What::Heard(heard) => {
                assert!(heard.modulation.is_some() && heard.tmst.is_some() && heard.crc == Crc::Ok);
                up.push(hex::encode(heard.octets()));
            }
            What::Ordered(told) => {
                assert!(matches!(told.when, When::Counter(_)) && told.inverted == Some(true));
                down.push(hex::encode(told.octets()));
            }
            What::Outcome(outcome) => acks += usize::from(outcome.error != TxError::None),
            other => panic!("{other:?}"),
        }
    }
    // 89 whose both alternatives were refused, and 2 where the second one went out
    assert_eq!(acks, 2 * 89 + 2);
    // the counts of the captures' README, computed by an independent script
    assert_eq!((up.len(), down.len()), (2_908, 5_044));
    assert_eq!(up.iter().collect::<BTreeSet<_>>().len(), 2_511);
    assert_eq!(down.iter().collect::<BTreeSet<_>>().len(), 2_460);
    let mut addresses = BTreeSet::new();
    for (frames, name) in [(&up, "confirmed-data-up"), (&down, "unconfirmed-data-down")] {
        for text in frames {
            let frame = data(&format!("hex:{text}"));
            assert_eq!(frame.mhdr.ftype().name(), name);
            assert!(holds(&key, &frame), "{text}");
            addresses.insert(frame.dev_addr);
        }
    }
    assert_eq!(addresses.len(), 730);
}

/// Feeds a capture to a tracer, and counts frames by type.
fn replay(
    file: &[u8],
    roster: &Roster,
) -> (Vec<handfast::ladder::Diagnosis>, BTreeMap<&'static str, usize>) {
    let mut tracer = Tracer::new(roster);
    let mut types = BTreeMap::new();
    for item in Capture::new(file) {
        let event = match item.unwrap() {
            Item::Event(event) => event,
            Item::PassedOver(PassedOver::Packets { twice: 0, fragments: 0, .. }) => continue,
            other @ Item::PassedOver(_) => panic!("{other:?}"),
        };
        if let Some(frame) = event.frame() {
            assert!(frame.stopped.is_none(), "{frame:02x?}");
            *types.entry(frame.mhdr().unwrap().ftype().name()).or_default() += 1;
        }
        assert!(event.gateway.is_some(), "{}", event.place);
        tracer.push(event);
    }
    (diagnose(&tracer.finish(), roster, Options::default()), types)
}

const TESTBED: &str = r#"
region = "EU868"
[[node]]
name = "testbed"
[node.record]
dev-eui = "83717b8a131c5173"
join-eui = "0000000000000000"
app-key = "e0500f4e614a81fe29341e17a7eb8e1b"
mac-version = "1.0.3"
"#;

#[test]
#[ignore = "the capture's licence is not stated: set HANDFAST_CAPTURES"]
fn a_real_join_with_its_data_is_proven_from_the_wire() {
    let roster = roster::parse(TESTBED, None).unwrap();
    let (all, types) = replay(&outside("udp-forwarder-normal.pcap"), &roster);
    let counted: Vec<_> = types.into_iter().collect();
    assert_eq!(
        counted,
        [
            ("confirmed-data-up", 129),
            ("join-accept", 1),
            ("join-request", 1),
            ("unconfirmed-data-down", 129)
        ]
    );
    assert_eq!(all.len(), 1);
    assert_eq!(all[0].outcome, Outcome::Joined);
    assert_eq!(all[0].data, 258, "every data frame authenticates");
    // The testbed sends as fast as it can, which passes the duty cycle; nothing else is wrong.
    let sure = all[0].causes.iter().filter(|v| v.certainty == Certainty::Certain);
    assert_eq!(sure.map(|v| v.cause.id.name()).collect::<Vec<_>>(), ["duty-cycle-exceeded"]);
}

#[test]
#[ignore = "the capture's licence is not stated: set HANDFAST_CAPTURES"]
fn a_real_capture_with_replayed_requests_is_read_whole() {
    let roster = roster::parse(TESTBED, None).unwrap();
    let (all, types) = replay(&outside("udp-forwarder-join-request-replay.pcap"), &roster);
    let counted: Vec<_> = types.into_iter().collect();
    assert_eq!(
        counted,
        [
            ("confirmed-data-up", 75),
            ("join-accept", 31),
            ("join-request", 230),
            ("unconfirmed-data-down", 40)
        ]
    );
    let node = all.iter().find(|d| d.name.as_deref() == Some("testbed")).unwrap();
    assert_eq!(node.outcome, Outcome::Joined);
    // 6 uplinks belong to a session that began before the capture
    assert_eq!(node.data, 75 + 40 - 6);
}

#[test]
#[ignore = "the capture's licence is not stated: set HANDFAST_CAPTURES"]
fn without_keys_nothing_is_certain_of_a_real_capture() {
    for name in ["udp-forwarder-normal.pcap", "udp-forwarder-join-request-replay.pcap"] {
        let roster = Roster::default();
        let (all, _) = replay(&outside(name), &roster);
        for verdict in all.iter().flat_map(|d| &d.causes) {
            assert_ne!(
                verdict.certainty,
                Certainty::Certain,
                "{name}: {}",
                verdict.cause.id.name()
            );
        }
    }
}

#[test]
#[ignore = "the capture's licence is not stated: set HANDFAST_CAPTURES"]
fn what_another_host_sends_accuses_no_node() {
    let roster = roster::parse(TESTBED, None).unwrap();
    for (name, told, wanted) in [
        ("udp-forwarder-join-request-replay.pcap", "join-request-replayed", 30),
        ("udp-forwarder-join-request-flood.pcap", "join-requests-forged", 17),
        ("udp-forwarder-join-accept-replay.pcap", "join-accept-replayed", 14),
        ("udp-forwarder-pull-data-flood.pcap", "", 18),
    ] {
        let (all, _) = replay(&outside(name), &roster);
        let node = all.iter().find(|d| d.name.as_deref() == Some("testbed")).unwrap();
        assert_eq!(node.outcome, Outcome::Joined, "{name}");
        assert_eq!(node.attempts, wanted, "{name}");
        let ids: Vec<_> = node.causes.iter().map(|v| v.cause.id.name()).collect();
        assert!(told.is_empty() || ids.contains(&told), "{name}: {ids:?}");
        assert!(ids.iter().all(|id| !id.ends_with("by-another-rule")), "{name}: {ids:?}");
    }
}
