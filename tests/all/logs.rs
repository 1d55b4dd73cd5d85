//! Frames that hide in lines of text, and lines that only look as if.

use handfast::{
    intake::{Capture, CaptureOptions, Event, Item, Leg, PassedOver, Position, Remark, What, When},
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
    Capture::new(text.as_bytes()).map(Result::unwrap).collect()
}

/// The events of a text, what is damaged left out.
fn intact(text: &str) -> Vec<Event> {
    let whole = |item| match item {
        Item::Event(event) if event.gap().is_none() => Some(event),
        _ => None,
    };
    items(text).into_iter().filter_map(whole).collect()
}

/// The lines that are damaged.
fn damaged(items: &[Item]) -> Vec<u64> {
    let damaged = |item: &Item| match item {
        Item::Event(event) => event.gap().map(|_| event.place.number),
        Item::PassedOver(_) => None,
    };
    items.iter().filter_map(damaged).collect()
}

/// The only event of a text; that of a frame where a PUSH_DATA is around it.
fn one(text: &str) -> Event {
    let mut items = items(text);
    items.retain(|item| !matches!(item, Item::Event(e) if e.what == What::Asked(Leg::Push)));
    match items.as_slice() {
        [Item::Event(event)] if event.gap().is_none() => event.clone(),
        other => panic!("{text}: {other:?}"),
    }
}

fn octets(event: &Event) -> String {
    hex::encode(&event.frame().unwrap().octets)
}

fn strictly(text: &[u8]) -> Vec<Item> {
    let options = CaptureOptions { strict: true, ..CaptureOptions::default() };
    Capture::open(text, options).map(Result::unwrap).collect()
}

#[test]
fn a_frame_is_found_behind_a_word_that_speaks_of_one() {
    for line in [
        format!("2026-03-02T08:00:00Z gateway rx payload={UPLINK} rssi=-80"),
        format!("[2026-03-02 08:00:00] lora: uplink <{UPLINK}>"),
        format!("frame: {}", UPLINK.to_uppercase()),
        "rx 40 da bb 01 02 80 02 00 02 27 21 02 9d ae af 9e e9 (17 bytes)".to_owned(),
        "Mar 2 08:00:00 shed forwarder: data \"QNq7AQKAAgACJyECna6vnuk=\"".to_owned(),
    ] {
        let event = one(&line);
        assert_eq!(octets(&event), UPLINK, "{line}");
        assert!(event.found.is_in_text(), "{line}");
        assert!(event.heard().is_some());
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
        assert_eq!(intact(line), [], "{line}");
    }
}

#[test]
fn json_at_any_depth_gives_what_stands_about_the_frame() {
    let line = format!(
        "orchard/gateway/020000fffea09442/up {{\"event\":{{\"phyPayload\":\"{UPLINK}\",\
         \"radio\":{{\"frequency\":868100000,\"lora\":{{\"bandwidth\":125000,\"spreadingFactor\":9}}}},\
         \"rx\":{{\"rssi\":-84,\"snr\":7.5,\"time\":\"2026-03-02T08:00:00Z\",\"tmst\":5}}}}}}"
    );
    let event = one(&line);
    assert_eq!(event.gateway, Some("020000fffea09442".parse().unwrap()));
    assert_eq!(event.time, Some("2026-03-02T08:00:00Z".parse().unwrap()));
    let up = event.heard().unwrap();
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
    // What became of a downlink that the log does not show is nobody's.
    let passed = PassedOver::Lines { first: 3, lines: 1 };
    assert_eq!(items(&text).last(), Some(&Item::PassedOver(passed)));
    let found = intact(&text);
    let ordered: Vec<_> = found.iter().filter_map(Event::ordered).collect();
    let outcomes: Vec<_> = found.iter().filter_map(Event::outcome).collect();
    assert_eq!((found.len(), ordered.len(), outcomes.len()), (4, 2, 2));
    let numbers: Vec<_> = ordered.iter().map(|order| order.number.unwrap()).collect();
    assert_ne!(numbers[0], numbers[1]);
    assert!(outcomes.iter().map(|outcome| outcome.number.unwrap()).eq(numbers));
    let ways: Vec<_> = ordered.iter().map(|order| order.alternative).collect();
    assert_eq!(ways, [false, true]);
    let when: Vec<_> = ordered.iter().map(|order| order.when).collect();
    assert_eq!(when, [When::Counter(5_000_005), When::Counter(6_000_005)]);
    let errors: Vec<_> = outcomes.iter().map(|outcome| outcome.error.name()).collect();
    assert_eq!(errors, ["COLLISION_PACKET", "NONE"]);
}

#[test]
fn the_protocols_json_is_read_after_a_prefix() {
    let ours =
        r#"{"rxpk":[{"tmst":5,"freq":868.1,"datr":"SF7BW125","data":"QNq7AQKAAgACJyECna6vnuk="}]}"#;
    let line = format!("2026-03-02 08:00:00.250 INFO [up] 020000fffea09442 PUSH_DATA {ours}");
    let event = one(&line);
    assert_eq!((octets(&event).as_str(), event.heard().unwrap().tmst), (UPLINK, Some(5)));
    assert_eq!(event.gateway, Some("020000fffea09442".parse().unwrap()));
    // A time without a zone is said to be one.
    assert_eq!(event.time, Some("2026-03-02T08:00:00.25Z".parse().unwrap()));
    assert!(intact(&line)[0].notes.iter().any(|note| note.remark == Remark::NoZone));
}

#[test]
fn in_a_log_other_lines_are_passed_and_in_a_capture_they_are_damage() {
    let log = format!("forwarder 3 started\nrx payload {UPLINK}\n\nheap 17 kB free\n{{\"cut\":\n");
    let found = items(&log);
    assert_eq!((found.len(), damaged(&found)), (3, vec![5]));
    assert_eq!(intact(&log)[0].place, Position::line(2));
    let passed = PassedOver::Lines { first: 1, lines: 2 };
    assert_eq!(found[2], Item::PassedOver(passed));
    let capture = "{\"kind\":\"PULL_DATA\"}\nheap 17 kB free\n";
    assert_eq!((items(capture).len(), damaged(&items(capture))), (2, vec![2]));
    // Text without any frame is no capture.
    let text = items("heap 17 kB free\nheap 16 kB free\n");
    assert_eq!((text.len(), damaged(&text)), (1, vec![1]));
}

#[test]
fn strictly_nothing_is_guessed() {
    let text = format!("rx payload {UPLINK}\n{REQUEST}\n");
    let found = strictly(text.as_bytes());
    assert_eq!((found.len(), damaged(&found)), (2, vec![1]));
    let Item::Event(frame) = &found[1] else { panic!("{found:?}") };
    assert_eq!((octets(frame).as_str(), frame.place), (REQUEST, Position::line(2)));
}

#[test]
fn where_only_order_is_known_no_delay_is_claimed() {
    let roster = common::roster();
    let mut tracer = Tracer::new(&roster);
    let key = common::session(0x0201_0001, 7);
    let frames =
        [common::request(7), common::accept(0x0201_0001), common::data(&key, 0x0201_0001, 0)];
    for (line, octets) in (1..).zip(&frames) {
        tracer.push(Event::bare(Position::line(line), octets));
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
        tracer.push(Event::bare(Position::line(line), &common::request(nonce)));
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
        let all = intact(&text);
        let outcomes = all.iter().filter_map(Event::outcome);
        outcomes.map(|outcome| outcome.error.name().to_owned()).collect::<Vec<_>>()
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
    let event = one(&format!("<14>Mar  2 09:00:03 shed recorder: {line}"));
    assert_eq!((&event.what, event.wire.token), (&What::Asked(Leg::Pull), Some(0x353C)));
    assert_eq!(event.time, Some("2026-03-02T08:00:03Z".parse().unwrap()));
    // What stands around it in other JSON belongs to it, too.
    let line = format!(
        r#"{{"time":"2026-03-02T08:00:03Z","gatewayEui":"020000fffea09442","message":{}}}"#,
        r#"{"rxpk":[{"tmst":5,"data":"QNq7AQKAAgACJyECna6vnuk="}]}"#
    );
    let event = one(&line);
    assert_eq!(event.gateway, Some("020000fffea09442".parse().unwrap()));
    assert_eq!(event.time, Some("2026-03-02T08:00:03Z".parse().unwrap()));
    // A container's log keeps lines of JSON as text.
    let text = serde_json::to_string(&line).unwrap();
    let event = one(&format!("{{\"log\":{text},\"stream\":\"stdout\"}}"));
    assert_eq!(event.heard().unwrap().tmst, Some(5));
}

#[test]
fn each_gateway_that_heard_a_frame_is_a_reception() {
    let line = format!(
        "{{\"phyPayload\":\"{UPLINK}\",\"frequency\":868100000,\"receptions\":[\
         {{\"gatewayId\":\"020000fffea09442\",\"rssi\":-84}},{{\"gatewayId\":\"020000fffea09443\",\"rssi\":-90}}]}}"
    );
    let heard: Vec<_> = intact(&line)
        .iter()
        .map(|event| {
            let heard = event.heard().unwrap();
            (event.gateway.unwrap().hex(), heard.rssi, heard.freq_hz)
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
    let all = intact(&text);
    assert_eq!((all.len(), items(&text).len()), (2, 2));
    for event in all {
        assert_eq!(event.time, None);
        assert!(event.notes.iter().any(|note| note.remark == Remark::NoDate));
    }
}

#[test]
fn a_log_is_told_from_a_capture_by_what_comes_first() {
    let frame =
        |n: u64| format!("{{\"rxpk\":[{{\"tmst\":{n},\"data\":\"QNq7AQKAAgACJyECna6vnuk=\"}}]}}\n");
    let damage = |text: &str| damaged(&items(text)).len();
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
        tracer.push(Event::bare(Position::line(line), &octets));
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
        let event = one(&line);
        assert_eq!(octets(&event), UPLINK, "{line}");
        assert_eq!(event.time, Some("2026-03-02T08:00:03.25Z".parse().unwrap()), "{line}");
        assert_eq!(event.gateway, Some("020000fffea09442".parse().unwrap()), "{line}");
        assert!(!event.notes.iter().any(|note| note.remark == Remark::NoDate), "{line}");
        let strict = strictly(line.as_bytes());
        assert_eq!(damaged(&strict).len(), strict.len(), "{line}");
    }
    // A layer more than containers and journals make is not looked into.
    let mut line = format!("rx {UPLINK}");
    for _ in 0..5 {
        line = serde_json::json!({"log": format!("x {line}")}).to_string();
    }
    let found = items(&line);
    assert_eq!((found.len(), damaged(&found)), (1, vec![1]));
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
fn text_of_two_octets_a_character_is_read() {
    let text = format!("started\r\nrx payload {UPLINK}\r\n");
    let wide = |octets: fn(u16) -> [u8; 2], mark: &str| -> Vec<u8> {
        mark.encode_utf16().chain(text.repeat(3).encode_utf16()).flat_map(octets).collect()
    };
    for mark in ["\u{feff}", ""] {
        for octets in [wide(u16::to_le_bytes, mark), wide(u16::to_be_bytes, mark)] {
            let events = Capture::new(&octets[..]).filter_map(|item| match item.unwrap() {
                Item::Event(event) => Some(event),
                Item::PassedOver(_) => None,
            });
            let lines: Vec<_> = events.map(|event| event.place).collect();
            assert_eq!(lines, [2, 4, 6].map(Position::line));
        }
    }
}
