//! Intake through its public door: captures good, damaged and hostile.

use std::io::{self, Read};

use handfast::{
    frame::Direction,
    id::Eui64,
    intake::{
        Capture, CodeRate, Crc, Damage, DatagramKind, Encoding, Event, HowFound, IntakeError, Item,
        Leg, Leniency, Lost, Outcome, Position, Remark, TextError, TxError, What, When, Within,
        datagram_events, frame_text,
    },
    radio::Modulation,
};
use proptest::prelude::*;

const ORCHARD: &str = include_str!("../../vectors/intake/orchard.ndjson");

fn items(text: impl AsRef<[u8]>) -> Vec<Item> {
    Capture::new(text.as_ref()).map(Result::unwrap).collect()
}

fn events(text: impl AsRef<[u8]>) -> Vec<Event> {
    let event = |item| match item {
        Item::Event(event) => event,
        other @ Item::PassedOver(_) => panic!("{other:?}"),
    };
    items(text).into_iter().map(event).collect()
}

/// The event of a line that says one thing.
fn one(text: &str) -> Event {
    let [event] = events(text).try_into().unwrap_or_else(|other| panic!("{text}: {other:?}"));
    event
}

/// The PUSH_DATA of a line, and the frames in it.
fn push(text: &str) -> (Event, Vec<Event>) {
    let mut all = events(text);
    let first = all.remove(0);
    assert_eq!(first.what, What::Asked(Leg::Push), "{text}");
    (first, all)
}

/// Why a line was not taken.
fn why(event: &Event) -> Option<&IntakeError> {
    match &event.gap()?.damage {
        Damage::All(why) => Some(why),
        _ => None,
    }
}

fn skipped(text: impl AsRef<[u8]>) -> IntakeError {
    match events(&text).as_slice() {
        [event] if event.place == Position::line(1) => why(event).unwrap().clone(),
        other => panic!("{other:?}"),
    }
}

fn remarks(event: &Event) -> Vec<String> {
    event.notes.iter().map(ToString::to_string).collect()
}

#[test]
fn a_capture_of_a_join_is_read_whole() {
    let read = events(ORCHARD);
    for event in &read {
        assert_eq!(remarks(event), Vec::<String>::new(), "{}", event.place);
    }
    let lines: Vec<_> = read.iter().map(|event| (event.place.number, event.place.index)).collect();
    assert_eq!(lines, [(1, 0), (1, 1), (2, 0), (3, 0), (4, 0), (5, 0), (5, 1), (6, 0), (7, 0)]);
    let request = &read[1];
    assert_eq!(read[0].what, What::Asked(Leg::Push));
    assert_eq!((read[0].time, read[0].wire.token), (request.time, Some(0x353C)));
    assert_eq!(request.time, Some("2026-04-18T06:10:03.210692Z".parse().unwrap()));
    assert_eq!(request.gateway.map(Eui64::hex), Some("020000fffea09442".into()));
    let uplink = request.heard().unwrap();
    assert_eq!((uplink.octets().len(), uplink.octets()[0]), (23, 0x00));
    assert_eq!(uplink.tmst, Some(369_601_898));
    assert_eq!(uplink.freq_hz, Some(868_300_000));
    assert_eq!(uplink.modulation, Some(Modulation::Lora { sf: 9, bw_khz: 125 }));
    assert_eq!(uplink.coding_rate, Some(CodeRate::by_name("4/5")));
    assert_eq!((uplink.chan, uplink.rssi, uplink.snr), (Some(1), Some(-84.0), Some(7.5)));
    assert_eq!(uplink.crc, Crc::Ok);

    let accept = read[2].ordered().unwrap();
    assert_eq!((accept.octets().len(), accept.octets()[0]), (17, 0x20));
    assert_eq!(accept.when, When::Counter(374_601_898));
    assert_eq!((accept.inverted, accept.no_crc), (Some(true), Some(true)));
    assert_eq!(accept.power_dbm, Some(14.0));

    assert_eq!(read[3].outcome().unwrap().error, TxError::None);
    assert_eq!(read[4].outcome().unwrap().error, TxError::None, "no JSON is success");
    let stat = read[6].status().unwrap();
    assert_eq!(stat.time, Some("2026-04-18T06:11:00Z".parse().unwrap()));
    assert_eq!((stat.rxnb, stat.ackr), (Some(3), Some(100.0)));
    assert_eq!(read[7].what, What::Asked(Leg::Pull));
    assert_eq!(read[8].what, What::Acknowledged(Leg::Pull));
}

#[test]
fn a_bare_datagram_is_taken_and_its_kind_inferred() {
    for (text, wanted) in [
        (r#"{"rxpk":[{"data":"QNq7AQ=="}]}"#, "asked heard"),
        (r#"{"stat":{}}"#, "asked status"),
        (r#"{"txpk":{"data":"QNq7AQ=="}}"#, "ordered"),
        (r#"{"txpk_ack":{"error":"TOO_LATE"}}"#, "outcome"),
        (r#"{"datagram":{"txpk_ack":{"error":"too_late"}}}"#, "outcome"),
        (r#"{"kind":"tx_ack"}"#, "outcome"),
        (r#"{"kind":"PULL_DATA","datagram":null}"#, "asked"),
        (r#"{"at":"2026-04-18T08:10:03+02:00","rxpk":[{"data":"QNq7AQ=="}]}"#, "asked heard"),
        ("  { \"stat\" : { } }  ", "asked status"),
    ] {
        let read = events(text);
        let said = |event: &Event| match event.what {
            What::Asked(_) => "asked",
            What::Heard(_) => "heard",
            What::Ordered(_) => "ordered",
            What::Outcome(_) => "outcome",
            What::Status(_) => "status",
            _ => "other",
        };
        assert_eq!(read.iter().map(said).collect::<Vec<_>>().join(" "), wanted, "{text}");
        assert!(read.iter().all(|event| event.notes.is_empty()), "{text}");
    }
    let late = one(r#"{"txpk_ack":{"error":"TOO_LATE"}}"#);
    assert_eq!(late.outcome().unwrap().error, TxError::TooLate);
}

#[test]
fn the_end_of_a_websocket_connection_is_an_event() {
    let text = r#"{"at":"2026-07-15T17:18:35Z","gateway":"020000fffe4b070a","kind":"close","code":1008,"reason":"policy\u001b"}"#;
    let event = one(text);
    assert_eq!(event.gateway.map(Eui64::hex), Some("020000fffe4b070a".into()));
    assert_eq!(event.time, Some("2026-07-15T17:18:35Z".parse().unwrap()));
    let What::Closed(closed) = &event.what else { panic!("{event:?}") };
    assert_eq!((closed.code, closed.reason.as_deref()), (Some(1008), Some("policy\\u{1b}")));
    let bare = one(r#"{"kind":"CLOSE","code":"x"}"#);
    let What::Closed(closed) = &bare.what else { panic!("{bare:?}") };
    assert_eq!((closed.code, &closed.reason), (None, &None));
    assert_eq!(remarks(&bare), ["code: a number, 0 to 65535 expected, found a text"]);
}

#[test]
fn every_word_of_a_tx_ack_is_kept() {
    let read = |text: &str| {
        let event = one(text);
        if event.outcome().is_none() {
            assert_eq!(event.gap().unwrap().lost, Lost::Outcome, "{text}");
        }
        event.outcome().cloned()
    };
    let ack = |json: &str| read(&format!(r#"{{"txpk_ack":{json}}}"#));
    assert_eq!(ack(r#"{"error":"GPS_UNLOCKED"}"#).unwrap().error, TxError::GpsUnlocked);
    let odd = ack(r#"{"error":"RADIO_ASLEEP"}"#).unwrap().error;
    assert_eq!(odd, TxError::Other("RADIO_ASLEEP".into()));
    let warned = ack(r#"{"warn":"TX_POWER","value":20}"#).unwrap();
    assert_eq!(
        (warned.error, warned.warn, warned.value),
        (TxError::None, Some(TxError::TxPower), Some(20.0))
    );
    assert_eq!(ack("{}"), Some(Outcome::default()));
    assert_eq!(ack(r#"{"error":7}"#), None, "what cannot be read is not a success");
    assert_eq!(ack("7"), None);
    assert_eq!(read(r#"{"kind":"TX_ACK","datagram":7}"#), None);
    assert!(read(r#"{"kind":"TX_ACK","datagram":{}}"#).is_some());
}

#[test]
fn frequencies_are_rounded_to_the_nearest_hertz() {
    for (megahertz, hertz) in [
        ("868.1", Some(868_100_000)),
        ("916.799987", Some(916_799_987)),
        ("916.7999996", Some(916_800_000)),
        ("902.3", Some(902_300_000)),
        ("2403", Some(2_403_000_000)),
        ("868100000", None),
        ("-868.1", None),
        ("0", None),
        ("\"868.1\"", None),
    ] {
        let text = format!(r#"{{"rxpk":[{{"freq":{megahertz},"data":"QNq7AQ=="}}]}}"#);
        let (first, frames) = push(&text);
        assert_eq!(frames[0].heard().unwrap().freq_hz, hertz, "{megahertz}");
        assert_eq!(first.notes.len(), usize::from(hertz.is_none()), "{megahertz}");
    }
}

#[test]
fn fsk_and_lora_data_rates_are_told_apart() {
    let datr = |json: &str| {
        let (first, frames) = push(&format!(r#"{{"rxpk":[{{"datr":{json},"data":"QNq7AQ=="}}]}}"#));
        (frames[0].heard().unwrap().modulation, first.notes.len())
    };
    assert_eq!(datr("\"SF7BW125\""), (Some(Modulation::Lora { sf: 7, bw_khz: 125 }), 0));
    assert_eq!(datr("\"sf12bw500\""), (Some(Modulation::Lora { sf: 12, bw_khz: 500 }), 0));
    assert_eq!(datr("50000"), (Some(Modulation::Fsk { bit_rate: 50_000 }), 0));
    for wrong in ["\"SF99BW125\"", "\"fast\"", "-1", "1.5", "true", "[7]", "{}", "5000000000"] {
        assert_eq!(datr(wrong), (None, 1), "{wrong}");
    }
    assert_eq!(datr("null"), (None, 0));
}

#[test]
fn when_to_send_is_one_of_four() {
    let when = |json: &str| {
        one(&format!(r#"{{"txpk":{{{json}"data":"YPF9vg=="}}}}"#)).ordered().unwrap().when
    };
    assert_eq!(when(r#""imme":true,"tmst":5,"#), When::Immediate);
    assert_eq!(when(r#""imme":false,"tmst":5,"#), When::Counter(5));
    assert_eq!(when(r#""tmst":4294967295,"#), When::Counter(u32::MAX));
    assert_eq!(when(r#""tmms":1456000000000,"#), When::Gps(1_456_000_000_000));
    assert_eq!(when(""), When::Unsaid);
    assert_eq!(when(r#""tmst":4294967296,"#), When::Unsaid);
}

#[test]
fn the_time_of_a_line_is_read_in_the_forms_that_logs_have() {
    let read = |at: &str| {
        let (first, frames) = push(&format!(r#"{{"at":{at},"rxpk":[{{"data":"QNq7AQ=="}}]}}"#));
        assert_eq!((frames.len(), frames[0].time), (1, first.time), "{at}");
        first
    };
    // Seconds since 1970 of each: `date -u -d 2026-03-02T08:00:03Z +%s`.
    for (at, wanted, notes) in [
        (r#""2026-03-02T08:00:03Z""#, "2026-03-02T08:00:03Z", &[][..]),
        (r#""2026-03-02T08:00:03""#, "2026-03-02T08:00:03Z", &[Remark::NoZone]),
        (r#""2026-03-02 08:00:03,25""#, "2026-03-02T08:00:03.25Z", &[Remark::NoZone]),
        (r#""2026-03-02 09:00:03 +0100""#, "2026-03-02T08:00:03Z", &[]),
        ("1772438403", "2026-03-02T08:00:03Z", &[]),
        ("1772438403.5", "2026-03-02T08:00:03.5Z", &[]),
        ("1772438403210", "2026-03-02T08:00:03.21Z", &[]),
        ("1772438403210692", "2026-03-02T08:00:03.210692Z", &[]),
        (r#""1772438403""#, "2026-03-02T08:00:03Z", &[]),
        (r#""1772438403.5""#, "2026-03-02T08:00:03.5Z", &[]),
    ] {
        let event = read(at);
        assert_eq!(event.time, Some(wanted.parse().unwrap()), "{at}");
        let remarks: Vec<_> = event.notes.iter().map(|note| note.remark.clone()).collect();
        assert_eq!(remarks, notes, "{at}");
    }
    let clock = read(r#""08:00:03""#);
    assert_eq!((clock.time, remarks(&clock).len()), (None, 1));
    assert_eq!(clock.notes[0].remark, Remark::NoDate);
    let not_understood = "at: a time such as 2026-03-02T08:00:03.210692Z expected";
    for at in ["-1772438403", "17", "1e300", "18446744073709551615", r#""soon""#, r#""""#] {
        let event = read(at);
        assert_eq!(event.time, None, "{at}");
        assert_eq!(remarks(&event), [not_understood], "{at}");
    }
    for at in ["true", "[1]", "{}"] {
        let found = remarks(&read(at));
        assert!(found[0].starts_with(&format!("{not_understood}, found ")), "{found:?}");
    }
    // A line without more than that is a capture's all the same, and makes no log of it.
    let text = r#"{"at":"2026-03-02T08:00:03","kind":"PULL_DATA","token":"353c"}"#;
    let read = events(format!("{text}\nno line of a capture\n"));
    assert_eq!((read.len(), &read[0].what), (2, &What::Asked(Leg::Pull)));
    assert!(read[1].place == Position::line(2) && why(&read[1]).is_some(), "{read:?}");
}

#[test]
fn a_member_of_a_wrong_type_takes_nothing_else_with_it() {
    let text = r#"{"at":5,"gateway":"0200","token":true,"kind":["PUSH_DATA"],"datagram":{"rxpk":[
        {"tmst":"soon","freq":868.1,"chan":-1,"rssi":{"a":[1]},"lsnr":[[]],"stat":9,"time":"noon",
         "codr":5,"size":5,"data":"QNq7AQ=="},
        17, null, {"data":5}, {"data":""}, {"freq":868.3}, {"data":"QNq7A"}, {"data":"QNq7AQ"}
        ],"stat":[1],"extra":{"deep":[[[]]]}}}"#
        .replace('\n', " ");
    let (first, rest) = push(&text);
    assert_eq!((first.time, first.gateway, first.wire.token), (None, None, None));
    let frames: Vec<_> = rest.iter().filter_map(Event::heard).collect();
    assert_eq!(frames.len(), 2);
    assert_eq!(frames[0].freq_hz, Some(868_100_000));
    assert_eq!(frames[0].octets(), [0x40, 0xDA, 0xBB, 0x01]);
    let gaps: Vec<_> = rest.iter().filter_map(Event::gap).collect();
    let damage = gaps.iter().map(|gap| gap.damage.to_string());
    let all = remarks(&first).into_iter().chain(damage).collect::<Vec<_>>().join("\n");
    for line in [
        "at: a time such as 2026-03-02T08:00:03.210692Z expected",
        "gateway: an EUI of 16 hex digits expected",
        "token: a token of four hex digits expected, found true or false",
        "stat: an object expected, found a list",
        "rxpk[0].tmst: a 32-bit counter of microseconds expected, found a text",
        "rxpk[0].chan: a number, 0 to 65535 expected",
        "rxpk[0].rssi: a number of dBm expected, found an object",
        "rxpk[0].lsnr: a number of dB expected, found a list",
        "rxpk[0].stat: 1, 0 or -1 expected",
        "rxpk[0].size: 5 bytes stated, data has 4",
        "rxpk[1]: an object expected, found a number",
        "rxpk[2]: an object expected, found null",
        "rxpk[3].data: base64 of the frame expected, found a number",
        "rxpk[4].data: no bytes: the frame is left out",
        "rxpk[5].data: no bytes: the frame is left out",
        "rxpk[7].data: base64 without its padding",
    ] {
        assert!(all.contains(line), "{line}\nis not in\n{all}");
    }
    let lost = gaps.iter().filter_map(|gap| match &gap.damage {
        Damage::Member(note) => Some((gap.lost, note.within)),
        _ => None,
    });
    let wanted = [1, 2, 3, 4, 5, 6].map(|place| (Lost::Uplink, Within::Uplink(place)));
    assert_eq!(lost.collect::<Vec<_>>(), wanted);
}

#[test]
fn the_last_of_several_members_counts_and_is_remarked_on() {
    let (first, frames) = push(
        r#"{"kind":"PULL_RESP","kind":"PUSH_DATA","rxpk":[{"data":"QNq7AQ==","data":"QA==","x":1,"x":2}],"datagram":null}"#,
    );
    assert_eq!(frames[0].heard().unwrap().octets(), [0x40]);
    assert_eq!(first.notes.iter().filter(|n| n.remark == Remark::Repeated).count(), 2);
}

#[test]
fn a_member_of_another_kind_is_taken_and_remarked_on() {
    let read = events(r#"{"kind":"PULL_RESP","datagram":{"rxpk":[{"data":"QNq7AQ=="}]}}"#);
    assert!(read[0].heard().is_some());
    // What a PULL_RESP is for is missing.
    let gap = read[1].gap().unwrap();
    assert_eq!((read.len(), gap.lost), (2, Lost::Downlink));
    assert_eq!(gap.damage.to_string(), "rxpk: does not belong in PULL_RESP");
    let event = one(r#"{"kind":"PUSH_DATA"}"#);
    assert_eq!(remarks(&event), ["datagram: PUSH_DATA without content"]);
    let event = one(r#"{"kind":"PULL_RESP"}"#);
    let gap = event.gap().unwrap();
    assert_eq!(gap.damage.to_string(), "datagram: PULL_RESP without content");
    assert_eq!(gap.lost, Lost::Downlink);
}

#[test]
fn damaged_lines_are_named_and_all_others_kept() {
    let text = b"\xEF\xBB\xBF\r\n\
        {\"stat\":{}}\r\n\
        {\"stat\":{}\r\n\
        \t \r\n\
        {\"stat\" {}}\n\
        [{\"stat\":{}}]\n\
        \"40DABB\"\n\
        {\"at\":\"2026-04-18T06:10:03Z\"}\n\
        {\"stat\":{}} {}\n\
        {\"stat\":\"\xFF\"}\n\
        40 DA BB\n\
        40 DA B\n\
        QNq7AQ==\r\n\
        {0x40, 0xDA}";
    let lines: Vec<_> = events(text)
        .iter()
        .filter(|event| event.place.index == 0)
        .map(|event| {
            let words = match (event.frame(), why(event)) {
                (Some(frame), _) => format!("{:02x?}", frame.octets),
                (None, Some(why)) => why.to_string(),
                (None, None) => "datagram".to_owned(),
            };
            (event.place.number, words)
        })
        .collect();
    let expected = [
        (2, "datagram"),
        (3, "column 10: the line ends before its JSON does"),
        (5, "column 9: expected `:`"),
        (6, "one JSON object a line expected"),
        (7, "one JSON object a line expected"),
        (8, "no datagram: neither `kind` nor rxpk, txpk, txpk_ack or stat"),
        (9, "column 13: trailing characters"),
        (10, "column 10: not UTF-8 text"),
        (11, "[40, da, bb]"),
        (
            12,
            "neither JSON nor a frame: 5 hex digits, an odd number: half of the last byte is missing",
        ),
        (13, "[40, da, bb, 01]"),
        (14, "[40, da]"),
    ];
    for (found, expected) in lines.iter().zip(expected) {
        assert_eq!((found.0, found.1.as_str()), expected);
    }
    assert_eq!(lines.len(), expected.len());
}

#[test]
fn an_empty_capture_has_no_items() {
    for text in ["", "\n", "\r\n\r\n", "\u{feff}", "   "] {
        assert_eq!(items(text), [], "{text:?}");
    }
}

#[test]
fn a_line_cut_at_any_octet_is_skipped_or_whole_and_never_more() {
    let line = ORCHARD.lines().next().unwrap();
    for cut in 1..line.len() {
        let text = format!("{}\n{line}\n", &line[..cut]);
        let read = events(&text);
        let [cut_line, push, heard] = &read[..] else { panic!("cut at {cut}: {read:?}") };
        assert!(matches!(why(cut_line), Some(IntakeError::Cut { .. })), "cut at {cut}: {read:?}");
        assert_eq!(
            (cut_line.place, push.place),
            (Position::line(1), Position::line(2)),
            "cut at {cut}"
        );
        assert!(heard.heard().is_some(), "cut at {cut}");
    }
}

#[test]
fn a_huge_line_is_skipped_within_bounds() {
    // an endless line of which nothing is kept, and a good one after it
    let mut text = io::repeat(b'4').take(64 << 20).chain(&b"\n{\"stat\":{}}\n"[..]);
    let read: Vec<_> = Capture::new(&mut text).map(Result::unwrap).collect();
    let [Item::Event(long), Item::Event(push), Item::Event(_)] = &read[..] else {
        panic!("{read:?}")
    };
    assert_eq!(why(long), Some(&IntakeError::TooLong { cap: 1_048_576 }));
    assert_eq!((long.place, push.place), (Position::line(1), Position::line(2)));
}

#[test]
fn a_line_of_many_empty_elements_keeps_few_notes() {
    let text = format!(r#"{{"rxpk":[{}{{"data":"QA=="}}]}}"#, "{},".repeat(300_000));
    let (first, rest) = push(&text);
    assert_eq!(rest.iter().filter(|event| event.heard().is_some()).count(), 1);
    assert!(rest.len() < 100);
    assert!(matches!(first.notes.last().unwrap().remark, Remark::More(n) if n > 299_000));
}

#[test]
fn a_depth_bomb_does_not_crash() {
    for bomb in [
        "[".repeat(500_000),
        "{\"a\":".repeat(150_000),
        format!("{{\"rxpk\":{}", "[".repeat(500_000)),
        format!("{{\"stat\":{}", "{\"stat\":".repeat(90_000)),
        format!("{{\"datagram\":{}", "{\"datagram\":".repeat(80_000)),
    ] {
        let read = events(&bomb);
        assert!(read.len() == 1 && why(&read[0]).is_some(), "{}", &bomb[..20]);
    }
    // a deep member that nobody reads is passed over
    let deep = format!(r#"{{"stat":{{}},"x":{}{}}}"#, "[".repeat(100_000), "]".repeat(100_000));
    assert!(push(&deep).1[0].status().is_some());
}

#[test]
fn damaged_json_says_which_column() {
    assert_eq!(skipped(r#"{"rxpk":[{"data":"QA=="},,]}"#).to_string(), "column 26: expected value");
    assert!(matches!(skipped(r#"{"rxpk":[{"freq":1e999}]}"#), IntakeError::Json { .. }));
    assert!(matches!(skipped(r#"{"kind":"\ud800"}"#), IntakeError::Json { .. }));
    assert_eq!(skipped("{"), IntakeError::Cut { column: 1 });
    assert!(!skipped("{").hint().is_empty());
}

#[test]
fn the_stream_s_own_error_ends_the_capture() {
    struct Broken;
    impl Read for Broken {
        fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
            Err(io::Error::other("unplugged"))
        }
    }
    let mut lines = Capture::new(b"40DABB0102800200022721029DAEAF9EE9\n40".chain(Broken));
    let first = lines.next();
    let Some(Ok(Item::Event(event))) = &first else { panic!("{first:?}") };
    assert_eq!((event.found, event.place), (HowFound::Alone, Position::line(1)));
    assert!(matches!(lines.next(), Some(Err(_))));
    assert!(lines.next().is_none());
}

#[test]
fn read_sees_every_frame_with_its_line_and_direction() {
    let text = format!("40DABB\n{ORCHARD}\nnonsense !\n{{\"rxpk\":[{{}},{{\"data\":\"QA\"}}]}}\n");
    let read = events(&text);
    let frames: Vec<_> = read
        .iter()
        .filter(|event| event.frame().is_some())
        .map(|event| (event.place.number, event.direction()))
        .collect();
    assert_eq!(
        frames,
        [
            (2, Some(Direction::Uplink)),
            (3, Some(Direction::Downlink)),
            (11, Some(Direction::Uplink)),
        ]
    );
    // Three octets are no frame, and that is told.
    assert!(why(&read[0]).is_some(), "{:?}", read[0]);
    assert!(read.iter().any(|event| event.place.number == 10 && why(event).is_some()));
    let odd = read.iter().filter(|event| event.place.number == 11);
    assert_eq!(
        odd.map(|event| event.notes.len() + usize::from(event.gap().is_some())).sum::<usize>(),
        2
    );
}

#[test]
fn the_json_of_a_datagram_is_read_by_its_kind() {
    let read = |kind, json: &[u8]| datagram_events(kind, json);
    let ack = read(DatagramKind::TxAck, b"").unwrap();
    assert_eq!(ack[0].outcome().unwrap().error, TxError::None);
    let push = read(DatagramKind::PushData, b"{\"stat\":{\"rxnb\":2}}\0").unwrap();
    assert_eq!(push[1].status().unwrap().rxnb, Some(2));
    assert!(read(DatagramKind::PushData, b"\xFF").is_err());
    assert!(read(DatagramKind::PushData, b"{").is_err());
    assert_eq!(read(DatagramKind::PushData, b"[]").unwrap()[0].notes.len(), 2);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_text_is_a_frame_or_an_error(text in any::<String>()) {
        let _ = frame_text(&text);
    }

    #[test]
    fn text_near_to_hex_or_base64_never_panics(
        text in r"(hex:|base64:|0x)?[0-9a-fA-FxX{}\[\],:;=+/_\\ \r\nzß-]{0,40}"
    ) {
        let _ = frame_text(&text);
        let _ = items(&text);
    }

    #[test]
    fn any_octets_are_read_without_panic(octets in any::<Vec<u8>>()) {
        let _ = items(&octets);
    }

    #[test]
    fn a_capture_with_one_octet_changed_is_read_without_panic(
        at in 0..ORCHARD.len(), octet in any::<u8>()
    ) {
        let mut octets = ORCHARD.as_bytes().to_vec();
        octets[at] = octet;
        let read = items(&octets);
        let whole = read.iter().filter_map(|item| match item {
            Item::Event(event) if event.gap().is_none() => Some(event.place.number),
            _ => None,
        });
        let lines = whole.collect::<std::collections::BTreeSet<_>>().len();
        // a changed octet may break a line or split it, but never the lines beside it
        prop_assert!(lines >= 5);
    }

    #[test]
    fn hex_comes_back_however_it_is_separated(
        octets in prop::collection::vec(any::<u8>(), 1..64),
        separator in prop::sample::select(vec!["", " ", "-", ":", ", ", ", 0x", "\r\n"]),
        upper in any::<bool>(),
    ) {
        let digits: Vec<_> = octets
            .iter()
            .map(|o| if upper { format!("{o:02X}") } else { format!("{o:02x}") })
            .collect();
        let frame = frame_text(&digits.join(separator)).unwrap();
        prop_assert_eq!(frame.octets, octets);
        prop_assert_eq!(frame.encoding, Encoding::Hex);
    }

    #[test]
    fn base64_comes_back_in_either_alphabet_padded_or_not(
        octets in prop::collection::vec(any::<u8>(), 1..64),
        url in any::<bool>(),
        padded in any::<bool>(),
    ) {
        use base64::{Engine, engine::general_purpose::{STANDARD, STANDARD_NO_PAD, URL_SAFE, URL_SAFE_NO_PAD}};
        let text = match (url, padded) {
            (false, true) => STANDARD.encode(&octets),
            (false, false) => STANDARD_NO_PAD.encode(&octets),
            (true, true) => URL_SAFE.encode(&octets),
            (true, false) => URL_SAFE_NO_PAD.encode(&octets),
        };
        let frame = frame_text(&format!("base64:{text}")).unwrap();
        prop_assert_eq!(frame.octets, octets);
        prop_assert!(frame.leniencies.iter().all(|l| *l == Leniency::MissingPadding && !padded));
    }

    #[test]
    fn an_error_points_into_the_text(text in r"[0-9a-f zZ*=]{0,20}") {
        let length = text.chars().count();
        match frame_text(&text) {
            Err(TextError::NotHex { position, found } | TextError::NotBase64 { position, found }
                | TextError::SplitOctet { position, found, .. }) => {
                prop_assert_eq!(text.chars().nth(position - 1), Some(found));
            }
            Err(TextError::Padding { position }) => prop_assert!(position <= length),
            _ => {}
        }
    }
}
