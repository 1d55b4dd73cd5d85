//! Intake through its public door: captures good, damaged and hostile.

use std::io::{self, BufReader, Read};

use handfast::{
    frame::Direction,
    id::Eui64,
    intake::{
        CaptureLines, CodeRate, Crc, Datagram, Encoding, IntakeError, Item, Kind, Leniency, Origin,
        Place, Remark, TextError, TextItem, TextLines, TxError, When, datagram_json, frame_text,
    },
    radio::Modulation,
};
use proptest::prelude::*;

const ORCHARD: &str = include_str!("../../vectors/intake/orchard.ndjson");

fn items(text: impl AsRef<[u8]>) -> Vec<Item> {
    CaptureLines::new(text.as_ref()).map(Result::unwrap).collect()
}

fn one(text: &str) -> Datagram {
    match items(text).as_slice() {
        [Item::Datagram(datagram)] => datagram.clone(),
        other => panic!("{text}: {other:?}"),
    }
}

fn skipped(text: impl AsRef<[u8]>) -> IntakeError {
    match items(&text).as_slice() {
        [Item::Skipped { line: 1, why }] => why.clone(),
        other => panic!("{other:?}"),
    }
}

fn remarks(datagram: &Datagram) -> Vec<String> {
    datagram.notes.iter().map(ToString::to_string).collect()
}

#[test]
fn a_capture_of_a_join_is_read_whole() {
    let read = items(ORCHARD);
    assert_eq!(read.len(), 7);
    let datagrams: Vec<_> = read
        .into_iter()
        .map(|item| match item {
            Item::Datagram(datagram) => datagram,
            other => panic!("{other:?}"),
        })
        .collect();
    for datagram in &datagrams {
        assert_eq!(remarks(datagram), Vec::<String>::new(), "line {}", datagram.line);
    }
    let request = &datagrams[0];
    assert_eq!((request.line, request.kind, request.token), (1, Kind::PushData, Some(0x353C)));
    assert_eq!(request.at, Some("2026-04-18T06:10:03.210692Z".parse().unwrap()));
    assert_eq!(request.gateway.map(Eui64::hex), Some("020000fffea09442".into()));
    let uplink = &request.rxpk[0];
    assert_eq!((uplink.octets.len(), uplink.octets[0]), (23, 0x00));
    assert_eq!(uplink.tmst, Some(369_601_898));
    assert_eq!(uplink.freq_hz, Some(868_300_000));
    assert_eq!(uplink.modulation, Some(Modulation::Lora { sf: 9, bw_khz: 125 }));
    assert_eq!(uplink.coding_rate, Some(CodeRate::by_name("4/5")));
    assert_eq!((uplink.chan, uplink.rssi, uplink.snr), (Some(1), Some(-84.0), Some(7.5)));
    assert_eq!((uplink.crc, uplink.index), (Crc::Ok, 0));

    let accept = datagrams[1].txpk.as_ref().unwrap();
    assert_eq!(datagrams[1].kind, Kind::PullResp);
    assert_eq!((accept.octets.len(), accept.octets[0]), (17, 0x20));
    assert_eq!(accept.when, When::Counter(374_601_898));
    assert_eq!((accept.inverted, accept.no_crc), (Some(true), Some(true)));
    assert_eq!(accept.power_dbm, Some(14.0));

    assert_eq!(datagrams[2].ack.as_ref().unwrap().error, TxError::None);
    assert_eq!(datagrams[3].ack.as_ref().unwrap().error, TxError::None, "no JSON is success");
    let stat = datagrams[4].stat.as_ref().unwrap();
    assert_eq!(stat.time, Some("2026-04-18T06:11:00Z".parse().unwrap()));
    assert_eq!((stat.rxnb, stat.ackr), (Some(3), Some(100.0)));
    assert_eq!(datagrams[5].kind, Kind::PullData);
    assert_eq!(datagrams[6].kind, Kind::PullAck);
}

#[test]
fn a_bare_datagram_is_taken_and_its_kind_inferred() {
    for (text, kind) in [
        (r#"{"rxpk":[{"data":"QNq7AQ=="}]}"#, Kind::PushData),
        (r#"{"stat":{}}"#, Kind::PushData),
        (r#"{"txpk":{"data":"QNq7AQ=="}}"#, Kind::PullResp),
        (r#"{"txpk_ack":{"error":"TOO_LATE"}}"#, Kind::TxAck),
        (r#"{"datagram":{"txpk_ack":{"error":"too_late"}}}"#, Kind::TxAck),
        (r#"{"kind":"tx_ack"}"#, Kind::TxAck),
        (r#"{"kind":"PULL_DATA","datagram":null}"#, Kind::PullData),
        (r#"{"at":"2026-04-18T08:10:03+02:00","rxpk":[{"data":"QNq7AQ=="}]}"#, Kind::PushData),
        ("  { \"stat\" : { } }  ", Kind::PushData),
    ] {
        let datagram = one(text);
        assert_eq!(datagram.kind, kind, "{text}");
        assert_eq!(remarks(&datagram), Vec::<String>::new(), "{text}");
    }
    assert_eq!(one(r#"{"txpk_ack":{"error":"TOO_LATE"}}"#).ack.unwrap().error, TxError::TooLate);
}

#[test]
fn every_word_of_a_tx_ack_is_kept() {
    let ack = |json: &str| one(&format!(r#"{{"txpk_ack":{json}}}"#)).ack;
    assert_eq!(ack(r#"{"error":"GPS_UNLOCKED"}"#).unwrap().error, TxError::GpsUnlocked);
    let odd = ack(r#"{"error":"RADIO_ASLEEP"}"#).unwrap().error;
    assert_eq!(odd, TxError::Other("RADIO_ASLEEP".into()));
    let warned = ack(r#"{"warn":"TX_POWER","value":20}"#).unwrap();
    assert_eq!(
        (warned.error, warned.warn, warned.value),
        (TxError::None, Some(TxError::TxPower), Some(20.0))
    );
    assert_eq!(ack("{}").unwrap().error, TxError::None);
    assert_eq!(ack(r#"{"error":7}"#), None, "what cannot be read is no success");
    assert_eq!(ack("7"), None);
    assert_eq!(one(r#"{"kind":"TX_ACK","datagram":7}"#).ack, None);
    assert!(one(r#"{"kind":"TX_ACK","datagram":{}}"#).ack.is_some());
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
        let datagram = one(&format!(r#"{{"rxpk":[{{"freq":{megahertz},"data":"QNq7AQ=="}}]}}"#));
        assert_eq!(datagram.rxpk[0].freq_hz, hertz, "{megahertz}");
        assert_eq!(datagram.notes.len(), usize::from(hertz.is_none()), "{megahertz}");
    }
}

#[test]
fn fsk_and_lora_data_rates_are_told_apart() {
    let datr = |json: &str| {
        let datagram = one(&format!(r#"{{"rxpk":[{{"datr":{json},"data":"QNq7AQ=="}}]}}"#));
        (datagram.rxpk[0].modulation, datagram.notes.len())
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
    let when =
        |json: &str| one(&format!(r#"{{"txpk":{{{json}"data":"YPF9vg=="}}}}"#)).txpk.unwrap().when;
    assert_eq!(when(r#""imme":true,"tmst":5,"#), When::Immediate);
    assert_eq!(when(r#""imme":false,"tmst":5,"#), When::Counter(5));
    assert_eq!(when(r#""tmst":4294967295,"#), When::Counter(u32::MAX));
    assert_eq!(when(r#""tmms":1456000000000,"#), When::Gps(1_456_000_000_000));
    assert_eq!(when(""), When::Unsaid);
    assert_eq!(when(r#""tmst":4294967296,"#), When::Unsaid);
}

#[test]
fn the_time_of_a_line_is_read_in_the_forms_that_logs_have() {
    let read = |at: &str| one(&format!(r#"{{"at":{at},"rxpk":[{{"data":"QNq7AQ=="}}]}}"#));
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
        let datagram = read(at);
        assert_eq!(datagram.at, Some(wanted.parse().unwrap()), "{at}");
        let remarks: Vec<_> = datagram.notes.iter().map(|note| note.remark.clone()).collect();
        assert_eq!(remarks, notes, "{at}");
    }
    let clock = read(r#""08:00:03""#);
    assert_eq!((clock.at, remarks(&clock).len()), (None, 1));
    assert_eq!(clock.notes[0].remark, Remark::NoDate);
    let not_understood = "at: a time such as 2026-03-02T08:00:03.210692Z expected";
    for at in ["-1772438403", "17", "1e300", "18446744073709551615", r#""soon""#, r#""""#] {
        let datagram = read(at);
        assert_eq!((datagram.at, datagram.rxpk.len()), (None, 1), "{at}");
        assert_eq!(remarks(&datagram), [not_understood], "{at}");
    }
    for at in ["true", "[1]", "{}"] {
        let found = remarks(&read(at));
        assert!(found[0].starts_with(&format!("{not_understood}, found ")), "{found:?}");
    }
    // A line without more than that is a capture's all the same, and makes no log of it.
    let text = r#"{"at":"2026-03-02T08:00:03","kind":"PULL_DATA","token":"353c"}"#;
    let read = items(format!("{text}\nno line of a capture\n"));
    assert!(matches!(&read[..], [Item::Datagram(_), Item::Skipped { line: 2, .. }]), "{read:?}");
}

#[test]
fn a_member_of_a_wrong_type_takes_nothing_else_with_it() {
    let text = r#"{"at":5,"gateway":"0200","token":true,"kind":["PUSH_DATA"],"datagram":{"rxpk":[
        {"tmst":"soon","freq":868.1,"chan":-1,"rssi":{"a":[1]},"lsnr":[[]],"stat":9,"time":"noon",
         "codr":5,"size":5,"data":"QNq7AQ=="},
        17, null, {"data":5}, {"data":""}, {"freq":868.3}, {"data":"QNq7A"}, {"data":"QNq7AQ"}
        ],"stat":[1],"extra":{"deep":[[[]]]}}}"#
        .replace('\n', " ");
    let datagram = one(&text);
    assert_eq!(datagram.kind, Kind::PushData);
    assert_eq!((datagram.at, datagram.gateway, datagram.token), (None, None, None));
    assert_eq!(datagram.rxpk.iter().map(|u| u.index).collect::<Vec<_>>(), [0, 7]);
    assert_eq!(datagram.rxpk[0].freq_hz, Some(868_100_000));
    assert_eq!(datagram.rxpk[0].octets, [0x40, 0xDA, 0xBB, 0x01]);
    let all = remarks(&datagram).join("\n");
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
        "rxpk[0].size: 5 octets stated, data has 4",
        "rxpk[1]: an object expected, found a number",
        "rxpk[2]: an object expected, found null",
        "rxpk[3].data: base64 of the frame expected, found a number",
        "rxpk[4].data: no octets: the frame is left out",
        "rxpk[5].data: no octets: the frame is left out",
        "rxpk[7].data: base64 without its padding",
    ] {
        assert!(all.contains(line), "{line}\nis not in\n{all}");
    }
    let lost: Vec<_> =
        datagram.notes.iter().filter(|n| n.loses_a_frame()).map(|n| n.place).collect();
    assert_eq!(lost, [1, 2, 3, 4, 5, 6].map(Place::Uplink));
}

#[test]
fn the_last_of_several_members_counts_and_is_remarked_on() {
    let datagram = one(
        r#"{"kind":"PULL_RESP","kind":"PUSH_DATA","rxpk":[{"data":"QNq7AQ==","data":"QA==","x":1,"x":2}],"datagram":null}"#,
    );
    assert_eq!(datagram.kind, Kind::PushData);
    assert_eq!(datagram.rxpk[0].octets, [0x40]);
    assert_eq!(datagram.notes.iter().filter(|n| n.remark == Remark::Repeated).count(), 2);
}

#[test]
fn a_member_of_another_kind_is_taken_and_remarked_on() {
    let datagram = one(r#"{"kind":"PULL_RESP","datagram":{"rxpk":[{"data":"QNq7AQ=="}]}}"#);
    assert_eq!((datagram.kind, datagram.rxpk.len()), (Kind::PullResp, 1));
    assert_eq!(remarks(&datagram), ["rxpk: does not belong in PULL_RESP"]);
    let datagram = one(r#"{"kind":"PUSH_DATA"}"#);
    assert_eq!(remarks(&datagram), ["datagram: PUSH_DATA without content"]);
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
    let read = items(text);
    let lines: Vec<_> = read
        .iter()
        .map(|item| match item {
            Item::Datagram(datagram) => (datagram.line, "datagram".to_owned()),
            Item::Frame { line, frame } => (*line, format!("{:02x?}", frame.octets)),
            Item::Skipped { line, why } => (*line, why.to_string()),
            Item::Passed { first, lines } => (*first, format!("{lines} passed")),
            Item::PassedOver(_) => panic!("{item:?}"),
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
            "neither JSON nor a frame: 5 hex digits, an odd number: half of the last octet is missing",
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
        let read = items(&text);
        assert!(
            matches!(
                read.as_slice(),
                [
                    Item::Skipped { line: 1, why: IntakeError::Cut { .. } },
                    Item::Datagram(Datagram { line: 2, .. })
                ]
            ),
            "cut at {cut}: {read:?}"
        );
    }
}

#[test]
fn a_huge_line_is_skipped_within_bounds() {
    // an endless line of which nothing is kept, and a good one after it
    let mut text = io::repeat(b'4').take(64 << 20).chain(&b"\n{\"stat\":{}}\n"[..]);
    let read: Vec<_> = CaptureLines::new(BufReader::new(&mut text)).map(Result::unwrap).collect();
    assert!(matches!(
        read.as_slice(),
        [
            Item::Skipped { line: 1, why: IntakeError::TooLong { cap: 1_048_576 } },
            Item::Datagram(Datagram { line: 2, .. })
        ]
    ));
}

#[test]
fn a_line_of_many_empty_elements_keeps_few_notes() {
    let text = format!(r#"{{"rxpk":[{}{{"data":"QA=="}}]}}"#, "{},".repeat(300_000));
    let datagram = one(&text);
    assert_eq!(datagram.rxpk.len(), 1);
    assert!(datagram.notes.len() < 100);
    assert!(matches!(datagram.notes.last().unwrap().remark, Remark::More(n) if n > 299_000));
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
        let read = items(&bomb);
        assert!(matches!(read.as_slice(), [Item::Skipped { .. }]), "{}", &bomb[..20]);
    }
    // a deep member that nobody reads is passed over
    let deep = format!(r#"{{"stat":{{}},"x":{}{}}}"#, "[".repeat(100_000), "]".repeat(100_000));
    assert_eq!(one(&deep).kind, Kind::PushData);
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
    let stream = BufReader::new(b"40DABB\n40".chain(Broken));
    let mut lines = CaptureLines::new(stream);
    assert!(matches!(lines.next(), Some(Ok(Item::Frame { line: 1, .. }))));
    assert!(matches!(lines.next(), Some(Err(_))));
    assert!(lines.next().is_none());
}

#[test]
fn read_sees_every_frame_with_its_line_and_direction() {
    let text = format!("40DABB\n{ORCHARD}\nnonsense !\n{{\"rxpk\":[{{}},{{\"data\":\"QA\"}}]}}\n");
    let read: Vec<_> = TextLines::new(text.as_bytes()).map(Result::unwrap).collect();
    let frames: Vec<_> = read
        .iter()
        .filter_map(|item| match item {
            TextItem::Frame(frame) => Some((frame.line, frame.index, frame.direction())),
            _ => None,
        })
        .collect();
    assert_eq!(
        frames,
        [
            (1, 0, None),
            (2, 0, Some(Direction::Uplink)),
            (3, 0, Some(Direction::Downlink)),
            (11, 0, Some(Direction::Uplink)),
        ]
    );
    assert!(matches!(read[0], TextItem::Frame(ref f) if matches!(f.origin, Origin::Text(_))));
    assert!(read.iter().any(|i| matches!(i, TextItem::Skipped { line: 10, .. })));
    assert_eq!(read.iter().filter(|i| matches!(i, TextItem::Noted { line: 11, .. })).count(), 2);
}

#[test]
fn the_json_of_a_datagram_is_read_by_its_kind() {
    let datagram = datagram_json(Kind::TxAck, b"").unwrap();
    assert_eq!(datagram.ack.unwrap().error, TxError::None);
    let datagram = datagram_json(Kind::PushData, b"{\"stat\":{\"rxnb\":2}}\0").unwrap();
    assert_eq!(datagram.stat.unwrap().rxnb, Some(2));
    assert!(datagram_json(Kind::PushData, b"\xFF").is_err());
    assert!(datagram_json(Kind::PushData, b"{").is_err());
    assert_eq!(datagram_json(Kind::PushData, b"[]").unwrap().notes.len(), 2);
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
        let _ = TextLines::new(octets.as_slice()).count();
    }

    #[test]
    fn a_capture_with_one_octet_changed_is_read_without_panic(
        at in 0..ORCHARD.len(), octet in any::<u8>()
    ) {
        let mut octets = ORCHARD.as_bytes().to_vec();
        octets[at] = octet;
        let whole = items(&octets).iter().filter(|i| matches!(i, Item::Datagram(_))).count();
        // a changed octet may break a line or split it, but never the lines beside it
        prop_assert!(whole >= 5);
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
