//! Frames that hide in lines of text, and lines that only look as if.

use handfast::{
    intake::{CaptureLines, Datagram, IntakeError, Item, Kind, Remark, When, bare_frame},
    ladder::{Ladder, Options, State, diagnose, join::Rung},
    radio::Modulation,
    trace::Tracer,
};

use crate::{common, support::scene};

// Frames of vectors/crypto/reference-examples.json.
const REQUEST: &str = "0001000bfeff0000023c2b1afeff00000202012e269cf5";
const UPLINK: &str = "40dabb0102800200022721029daeaf9ee9";
const ACCEPT: &str = "20d94acfd06540984f241461506659c3aaadb5152aaff250202fba28e71693051d";

fn items(text: &str) -> Vec<Item> {
    CaptureLines::new(text.as_bytes()).map(Result::unwrap).collect()
}

fn one(text: &str) -> Datagram {
    match items(text).as_slice() {
        [Item::Datagram(datagram)] => datagram.clone(),
        other => panic!("{text}: {other:?}"),
    }
}

fn octets(datagram: &Datagram) -> String {
    let up = datagram.rxpk.first().map(|up| &up.octets);
    hex::encode(up.or(datagram.txpk.as_ref().map(|down| &down.octets)).unwrap())
}

fn guessed(datagram: &Datagram) -> bool {
    datagram.notes.iter().any(|note| note.remark == Remark::Guessed)
}

#[test]
fn a_frame_is_found_behind_a_word_that_speaks_of_one() {
    for line in [
        format!("2026-03-02T08:00:00Z gateway rx payload={UPLINK} rssi=-80"),
        format!("[2026-03-02 08:00:00] lora: uplink <{UPLINK}>"),
        format!("frame: {}", UPLINK.to_uppercase()),
        "rx 40 da bb 01 02 80 02 00 02 27 21 02 9d ae af 9e e9 (17 octets)".to_owned(),
        "Mar 2 08:00:00 shed forwarder: data \"QNq7AQKAAgACJyECna6vnuk=\"".to_owned(),
    ] {
        let datagram = one(&line);
        assert_eq!(octets(&datagram), UPLINK, "{line}");
        assert!(guessed(&datagram), "{line}");
        assert_eq!(datagram.kind, Kind::PushData);
    }
    // The length of a Join-Request is rare enough to need no word.
    assert_eq!(octets(&one(&format!("heard at noon: {REQUEST}"))), REQUEST);
}

#[test]
fn what_only_looks_like_a_frame_is_left() {
    for line in [
        "app key 2b7e151628aed2a6abf7158809cf4f3c",
        // It would be a data frame by its first octet and its length.
        "AppKey: 40dabb0102800200022721029daeaf9e",
        "rx AppKey=40dabb0102800200022721029daeaf9e",
        "nwk_s_key 40 da bb 01 02 80 02 00 02 27 21 02 9d ae af 9e",
        "session 40dabb0102800200022721029daeaf9ee9 opened",
        "uplink from 020000fffe1a2b3c",
        "received 1234567890123456789012345678",
        "the quick brown fox payload jumps over the lazy dog again and again",
        "payload=0000000000000000000000000000",
        "{\"key\":{\"payload\":\"40dabb0102800200022721029daeaf9ee9\"}}",
        "{\"id\":\"40dabb0102800200022721029daeaf9ee9\"}",
        // Another FPort stands beside it: what the node's application sent.
        "decoded uplink: {\"payload\":\"40dabb0102800200022721029daeaf9ee9\",\"fPort\":3}",
        "{\"type\":\"uplink\",\"payload\":\"40dabb0102800200022721029daeaf9ee9\",\"rssi\":-70,\"port\":3}",
        "uplink correlation 40dabb0102800200022721029daeaf9ee9 rssi=-80 snr=7",
        "{\"log\":\"AppKey 40dabb0102800200022721029daeaf9ee9 rx -80 dBm\\n\"}",
        "{\"key\":{\"log\":\"rx 40dabb0102800200022721029daeaf9ee9\"}}",
    ] {
        let found = items(line);
        assert!(!found.iter().any(|i| matches!(i, Item::Datagram(_))), "{line}: {found:?}");
    }
}

#[test]
fn json_at_any_depth_gives_what_stands_about_the_frame() {
    let line = format!(
        "orchard/gateway/020000fffea09442/up {{\"event\":{{\"phyPayload\":\"{UPLINK}\",\
         \"radio\":{{\"frequency\":868100000,\"lora\":{{\"bandwidth\":125000,\"spreadingFactor\":9}}}},\
         \"rx\":{{\"rssi\":-84,\"snr\":7.5,\"time\":\"2026-03-02T08:00:00Z\",\"tmst\":5}}}}}}"
    );
    let datagram = one(&line);
    assert_eq!(datagram.gateway, Some("020000fffea09442".parse().unwrap()));
    assert_eq!(datagram.at, Some("2026-03-02T08:00:00Z".parse().unwrap()));
    let up = &datagram.rxpk[0];
    assert_eq!(
        (up.freq_hz, up.tmst, up.rssi, up.snr),
        (Some(868_100_000), Some(5), Some(-84.0), Some(7.5))
    );
    assert_eq!(up.modulation, Some(Modulation::Lora { sf: 9, bw_khz: 125 }));
}

#[test]
fn two_alternatives_of_a_downlink_and_what_became_of_them() {
    let text = format!(
        "{{\"downlinkId\":7,\"items\":[\
         {{\"phyPayload\":\"{ACCEPT}\",\"frequency\":868100000,\"context\":\"AAAABQ==\",\"timing\":{{\"delay\":\"5s\"}}}},\
         {{\"phyPayload\":\"{ACCEPT}\",\"frequency\":869525000,\"context\":\"AAAABQ==\",\"timing\":{{\"delay\":\"6s\"}}}}]}}\n\
         {{\"downlinkId\":7,\"items\":[{{\"status\":\"COLLISION_PACKET\"}},{{\"status\":\"OK\"}}]}}\n\
         {{\"downlinkId\":8,\"items\":[{{\"status\":\"OK\"}},{{\"status\":\"IGNORED\"}}]}}\n"
    );
    let mut found = Vec::new();
    for item in items(&text) {
        match item {
            Item::Datagram(datagram) => found.push(datagram),
            // What became of a downlink that the log does not show is nobody's.
            Item::Passed { first: 3, lines: 1 } => {}
            other => panic!("{other:?}"),
        }
    }
    let kinds: Vec<_> = found.iter().map(|d| d.kind).collect();
    assert_eq!(kinds, [Kind::PullResp, Kind::PullResp, Kind::TxAck, Kind::TxAck]);
    let tokens: Vec<_> = found.iter().map(|d| d.token.unwrap()).collect();
    assert_eq!(tokens[..2], tokens[2..]);
    assert_ne!(tokens[0], tokens[1]);
    let ways: Vec<_> = found.iter().filter_map(|d| Some(d.txpk.as_ref()?.alternative)).collect();
    assert_eq!(ways, [false, true]);
    let when: Vec<_> = found.iter().filter_map(|d| Some(d.txpk.as_ref()?.when)).collect();
    assert_eq!(when, [When::Counter(5_000_005), When::Counter(6_000_005)]);
    let errors: Vec<_> =
        found.iter().filter_map(|d| Some(d.ack.as_ref()?.error.name().to_owned())).collect();
    assert_eq!(errors, ["COLLISION_PACKET", "NONE"]);
}

#[test]
fn the_protocols_json_is_read_after_a_prefix() {
    let ours =
        r#"{"rxpk":[{"tmst":5,"freq":868.1,"datr":"SF7BW125","data":"QNq7AQKAAgACJyECna6vnuk="}]}"#;
    let line = format!("2026-03-02 08:00:00.250 INFO [up] 020000fffea09442 PUSH_DATA {ours}");
    let datagram = one(&line);
    assert_eq!((octets(&datagram).as_str(), datagram.rxpk[0].tmst), (UPLINK, Some(5)));
    assert_eq!(datagram.gateway, Some("020000fffea09442".parse().unwrap()));
    // A time without a zone is said to be one.
    assert_eq!(datagram.at, Some("2026-03-02T08:00:00.25Z".parse().unwrap()));
    assert!(datagram.notes.iter().any(|note| note.remark == Remark::NoZone));
}

#[test]
fn in_a_log_other_lines_are_passed_and_in_a_capture_they_are_damage() {
    let log = format!("forwarder 3 started\nrx payload {UPLINK}\n\nheap 17 kB free\n{{\"cut\":\n");
    let found = items(&log);
    assert!(
        matches!(
            found.as_slice(),
            [
                Item::Datagram(Datagram { line: 2, .. }),
                Item::Skipped { line: 5, .. },
                Item::Passed { first: 1, lines: 2 }
            ]
        ),
        "{found:?}"
    );
    let capture = "{\"kind\":\"PULL_DATA\"}\nheap 17 kB free\n";
    assert!(matches!(
        items(capture).as_slice(),
        [Item::Datagram(_), Item::Skipped { line: 2, .. }]
    ));
    // Text without any frame is no capture.
    assert!(matches!(
        items("heap 17 kB free\nheap 16 kB free\n").as_slice(),
        [Item::Skipped { line: 1, .. }]
    ));
}

#[test]
fn strictly_nothing_is_guessed() {
    let text = format!("rx payload {UPLINK}\n{REQUEST}\n");
    let found: Vec<_> = CaptureLines::strict(text.as_bytes()).map(Result::unwrap).collect();
    assert!(matches!(
        found.as_slice(),
        [Item::Skipped { line: 1, .. }, Item::Frame { line: 2, .. }]
    ));
}

#[test]
fn where_only_order_is_known_no_delay_is_claimed() {
    let roster = common::roster();
    let mut tracer = Tracer::new(&roster);
    let key = common::session(0x0201_0001, 7);
    let frames =
        [common::request(7), common::accept(0x0201_0001), common::data(&key, 0x0201_0001, 0)];
    for (line, octets) in (1..).zip(&frames) {
        tracer.push(0, &bare_frame(octets.clone(), line));
    }
    let all = diagnose(&tracer.finish(), &roster, Options::default());
    let node = &all[0];
    let state = |rung: Rung| node.join_rung(rung).unwrap().state;
    assert_eq!(state(Rung::Proven), State::Proven);
    assert_eq!((state(Rung::OnPlan), state(Rung::Timely)), (State::Unknown, State::Unknown));
    assert!(node.causes.is_empty(), "{:?}", node.causes);
    let rungs = node.join.iter().flat_map(Ladder::view);
    let words: String = rungs.map(|rung| scene::words(&rung.judgement.evidence)).collect();
    assert!(!words.contains(" us ") && !words.contains(" s after"), "{words}");
}

#[test]
fn a_request_alone_among_bare_frames_blames_nobody() {
    let roster = common::roster();
    let mut tracer = Tracer::new(&roster);
    for line in 1..=3 {
        let nonce = u16::try_from(line).unwrap();
        tracer.push(0, &bare_frame(common::request(nonce), line));
    }
    let all = diagnose(&tracer.finish(), &roster, Options::default());
    assert!(
        all[0].causes.iter().all(|v| v.certainty != handfast::ladder::Certainty::Certain),
        "{:?}",
        all[0].causes
    );
    assert!(!all[0].next.is_empty());
}

#[test]
fn every_cut_and_any_octets_are_read_without_harm() {
    let line = format!(
        "2026-03-02T08:00:00Z x {{\"a\":[{{\"phyPayload\":\"{UPLINK}\",\"sf\":9,\"bw\":125,\"time\":1e9}}],\"é\":1}} rx {UPLINK}"
    );
    for cut in (0..line.len()).filter(|at| line.is_char_boundary(*at)) {
        let _ = items(&line[..cut]);
    }
    for bomb in [
        "[".repeat(100_000),
        "{\"a\":".repeat(50_000),
        "rx ".repeat(100_000),
        "40 ".repeat(100_000),
    ] {
        let _ = items(&format!("x {bomb}"));
    }
}

#[test]
fn a_word_of_a_queue_is_no_word_of_the_air() {
    let down = format!(
        "{{\"downlinkId\":7,\"phyPayload\":\"{ACCEPT}\",\"gatewayId\":\"020000fffea09442\"}}\n"
    );
    let acks = |line: &str| {
        let text = down.clone() + line + "\n";
        let datagrams = items(&text).into_iter().filter_map(|item| match item {
            Item::Datagram(datagram) => datagram.ack,
            _ => None,
        });
        datagrams.map(|ack| ack.error.name().to_owned()).collect::<Vec<_>>()
    };
    for line in [
        "{\"downlinkId\":7,\"status\":\"QUEUED\"}",
        "{\"downlinkId\":7,\"status\":\"OK\"}",
        "{\"downlinkId\":7,\"error\":\"gateway not connected\"}",
        "{\"downlinkId\":8,\"status\":\"TOO_LATE\"}",
    ] {
        assert_eq!(acks(line), Vec::<String>::new(), "{line}");
    }
    assert_eq!(acks("{\"downlinkId\":7,\"status\":\"TOO_LATE\"}"), ["TOO_LATE"]);
    assert_eq!(acks("{\"downlinkId\":7,\"status\":\"sent\"}"), ["NONE"]);
    assert_eq!(acks("{\"downlinkId\":7,\"items\":[{\"status\":\"OK\"}]}"), ["NONE"]);
}

#[test]
fn capture_lines_behind_a_prefix_keep_what_they_say() {
    let line = r#"{"at":"2026-03-02T08:00:03Z","gateway":"020000fffea09442","kind":"PULL_DATA","token":"353c"}"#;
    let datagram = one(&format!("<14>Mar  2 09:00:03 shed recorder: {line}"));
    assert_eq!((datagram.kind, datagram.token), (Kind::PullData, Some(0x353C)));
    assert_eq!(datagram.at, Some("2026-03-02T08:00:03Z".parse().unwrap()));
    // What stands around it in other JSON belongs to it, too.
    let line = format!(
        r#"{{"time":"2026-03-02T08:00:03Z","gatewayEui":"020000fffea09442","message":{}}}"#,
        r#"{"rxpk":[{"tmst":5,"data":"QNq7AQKAAgACJyECna6vnuk="}]}"#
    );
    let datagram = one(&line);
    assert_eq!(datagram.gateway, Some("020000fffea09442".parse().unwrap()));
    assert_eq!(datagram.at, Some("2026-03-02T08:00:03Z".parse().unwrap()));
    // A container's log keeps lines of JSON as text.
    let text = serde_json::to_string(&line).unwrap();
    let datagram = one(&format!("{{\"log\":{text},\"stream\":\"stdout\"}}"));
    assert_eq!(datagram.rxpk[0].tmst, Some(5));
}

#[test]
fn each_gateway_that_heard_a_frame_is_a_reception() {
    let line = format!(
        "{{\"phyPayload\":\"{UPLINK}\",\"frequency\":868100000,\"receptions\":[\
         {{\"gatewayId\":\"020000fffea09442\",\"rssi\":-84}},{{\"gatewayId\":\"020000fffea09443\",\"rssi\":-90}}]}}"
    );
    let heard: Vec<_> = items(&line)
        .into_iter()
        .map(|item| match item {
            Item::Datagram(d) => (d.gateway.unwrap().hex(), d.rxpk[0].rssi, d.rxpk[0].freq_hz),
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(
        heard,
        [
            ("020000fffea09442".to_owned(), Some(-84.0), Some(868_100_000)),
            ("020000fffea09443".to_owned(), Some(-90.0), Some(868_100_000)),
        ]
    );
}

#[test]
fn a_clock_without_a_date_gives_order_and_no_time() {
    let text = format!("08:00:03.210 rx {REQUEST}\n08:00:08.100 tx {ACCEPT}\n");
    for item in items(&text) {
        let Item::Datagram(datagram) = item else { panic!("{item:?}") };
        assert_eq!(datagram.at, None);
        assert!(datagram.notes.iter().any(|note| note.remark == Remark::NoDate));
    }
}

#[test]
fn a_log_is_told_from_a_capture_by_what_comes_first() {
    let frame =
        |n: u64| format!("{{\"rxpk\":[{{\"tmst\":{n},\"data\":\"QNq7AQKAAgACJyECna6vnuk=\"}}]}}\n");
    let damage =
        |text: &str| items(text).iter().filter(|i| matches!(i, Item::Skipped { .. })).count();
    // Words that begin a file, and are many, are a log's.
    let log = "started\nradio ready, 8 channels\nlistening on 192.0.2.7\nuptime 5 s\n";
    assert_eq!(damage(&format!("{log}{}{log}", frame(5))), 0);
    // One damaged line at the head of a capture is damage.
    assert_eq!(damage(&format!("one line lost\n{}{}heap low\n", frame(5), frame(6))), 2);
    // Whoever begins with a brace means JSON, in a log as well.
    assert_eq!(damage(&format!("{log}{}{{\"rxpk\":[\n{log}", frame(5))), 1);
    // Thousands of lines without anything are told once.
    assert_eq!(damage(&"nothing here\n".repeat(5_000)), 1);
}

#[test]
fn an_accept_among_bare_frames_is_whose_key_opens_it() {
    // A node that is known, and somebody else's accept after its request.
    let roster = common::roster();
    let mut tracer = Tracer::new(&roster);
    let frames = [common::request(7), hex::decode(ACCEPT).unwrap()];
    for (line, octets) in (1..).zip(frames) {
        tracer.push(0, &bare_frame(octets, line));
    }
    let all = diagnose(&tracer.finish(), &roster, Options::default());
    let state = |rung: Rung| all[0].join_rung(rung).unwrap().state;
    assert_eq!((state(Rung::Answered), state(Rung::Acceptable)), (State::Unknown, State::Unknown));
    assert!(all[0].causes.is_empty(), "{:?}", all[0].causes);
}

#[test]
fn lines_of_text_in_json_are_read_as_lines() {
    let inner = format!("08:59:59 gw 020000fffea09442 rx payload={UPLINK} rssi=-80\\n");
    for line in [
        format!(r#"{{"log":"{inner}","stream":"stdout","time":"2026-03-02T08:00:03.25Z"}}"#),
        format!(r#"{{"__REALTIME_TIMESTAMP":"1772438403250000","MESSAGE":"{inner}"}}"#),
        format!(
            r#"{{"msg":"{{\"log\":\"rx {UPLINK}\"}}","ts":1772438403250,"gw":"020000fffea09442"}}"#
        ),
        format!(
            r#"{{"time":"2026-03-02T08:00:03.25Z","gateway":"020000fffea09442","log":"INFO up {{\"phyPayload\":\"{UPLINK}\"}}"}}"#
        ),
    ] {
        let datagram = one(&line);
        assert_eq!(octets(&datagram), UPLINK, "{line}");
        assert_eq!(datagram.at, Some("2026-03-02T08:00:03.25Z".parse().unwrap()), "{line}");
        assert_eq!(datagram.gateway, Some("020000fffea09442".parse().unwrap()), "{line}");
        assert!(!datagram.notes.iter().any(|note| note.remark == Remark::NoDate), "{line}");
        let strict = CaptureLines::strict(line.as_bytes()).map(Result::unwrap);
        assert!(strict.into_iter().all(|item| matches!(item, Item::Skipped { .. })), "{line}");
    }
    // A layer more than containers and journals make is not looked into.
    let mut line = format!("rx {UPLINK}");
    for _ in 0..5 {
        line = serde_json::json!({"log": format!("x {line}")}).to_string();
    }
    assert!(matches!(items(&line).as_slice(), [Item::Skipped { line: 1, .. }]));
}

#[test]
fn colours_spaces_and_marks_do_not_hide_a_frame() {
    for line in [
        format!(
            "\u{1b}[1;32mINFO\u{1b}[0m \u{1b}[1mrx\u{1b}[0m payload=\u{1b}[33m{UPLINK}\u{1b}[0m"
        ),
        format!("\u{1b}[2m2026-03-02T08:00:00Z\u{1b}[0m \u{1b}[36mphyPayload\u{1b}[0m={UPLINK}"),
        format!("{}{{\"phyPayload\":\"{UPLINK}\"}}", "\u{1b}[32m*\u{1b}[0m ".repeat(9)),
        format!("[7] [] {{}} up {{\"phyPayload\":\"{UPLINK}\"}}"),
        "{\"PHY_PAYLOAD\":\"QNq7AQKAAgAC JyECna6vnuk\"}".to_owned(),
        format!("2026-03-02T08:00:00Z\trx\t{UPLINK}\t-80 dBm\r"),
    ] {
        assert_eq!(octets(&one(&line)), UPLINK, "{line:?}");
    }
}

#[test]
fn text_of_two_octets_a_character_is_named() {
    let text = format!("rx payload {UPLINK}\n");
    let wide = |octets: fn(u16) -> [u8; 2]| -> Vec<u8> {
        "\u{feff}".encode_utf16().chain(text.repeat(3).encode_utf16()).flat_map(octets).collect()
    };
    for octets in [wide(u16::to_le_bytes), wide(u16::to_be_bytes)] {
        for lines in [CaptureLines::new(&octets[..]), CaptureLines::strict(&octets[..])] {
            let first = lines.map(Result::unwrap).next();
            assert_eq!(first, Some(Item::Skipped { line: 1, why: IntakeError::Utf16 }));
        }
    }
}
