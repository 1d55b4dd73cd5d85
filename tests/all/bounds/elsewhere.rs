//! Limits outside the ladder: sheets, reports, captures, labels, airtime.

use std::time::Duration;

use handfast::{
    airtime::Meter,
    intake::{Crc, Damage, IntakeError, Item, UnpackError, When},
    ladder::{Options, diagnose},
    lesson::{Answer, Level, Mark, Order, Quantity, Value},
    report::{self, Report},
    roster::{Label, LabelError},
    show::markdown,
};

use crate::{
    common::{self, GATEWAY, accept, data, later, request, sent, session, trace},
    support::recording::{gzip, intact, items},
};

#[test]
fn a_time_is_right_within_half_a_part_in_a_hundred_and_half_a_millisecond() {
    let is_right = |micros: u64, text: &str| {
        let answer = Answer::new(Value::Quantity(Quantity::time(Duration::from_micros(micros))));
        answer.mark(text) == Mark::Right
    };
    for (micros, right, wrong) in [
        // half a part in a hundred
        (1_000_000, ["1000", "995", "1005 ms", "1.005 s"], ["994.9", "1005.1", "1.006 s", "990"]),
        // half a millisecond
        (20_000, ["20", "19.5", "20.5", "20500 us"], ["19.4", "20.6", "25", "15"]),
    ] {
        assert!(right.iter().all(|text| is_right(micros, text)), "{micros}");
        assert!(!wrong.iter().any(|text| is_right(micros, text)), "{micros}");
    }
    // A frequency is exact to the hertz.
    let answer = Answer::new(Value::Quantity(Quantity::hertz(868_100_000)));
    assert_eq!(answer.mark("868.1 MHz"), Mark::Right);
    assert_ne!(answer.mark("868100001 Hz"), Mark::Right);
}

/// The report, as Markdown, of a node that sent so many frames after its join.
fn report_of(uplinks: u32) -> String {
    let key = session(0x0201_0001, 7);
    let mut all = vec![
        later(1, &request(7)),
        sent(2, Some(10_200_000), Some(GATEWAY), When::Counter(15_000_000), &accept(0x0201_0001)),
    ];
    all.extend((0..uplinks).map(|i| later(3 + u64::from(i), &data(&key, 0x0201_0001, i))));
    let roster = common::roster();
    let trace = trace(&roster, &all);
    let told = diagnose(&trace, &roster, Options::default());
    let report = Report::new(&told, &trace, &roster, report::Options { show_keys: false });
    let mut text = String::new();
    markdown::report(&report, &mut text).unwrap();
    text
}

#[test]
fn a_report_draws_forty_receptions_of_a_node_and_counts_the_earlier() {
    for (uplinks, drawn, earlier) in [(39, 40, None), (40, 40, Some("1 ")), (100, 40, Some("61 "))]
    {
        let text = report_of(uplinks);
        let (_, part) = text.split_once("| SNR |").or_else(|| text.split_once("SNR")).unwrap();
        let rows = part.lines().filter(|line| {
            line.starts_with('|') && (line.contains("| data |") || line.contains("| request |"))
        });
        assert_eq!(rows.count(), drawn, "{uplinks}");
        let told = text.lines().find(|line| line.contains("earlier reception"));
        assert_eq!(
            told.map(|line| line.split_inclusive(' ').next().unwrap()),
            earlier,
            "{uplinks}"
        );
    }
}

#[test]
fn a_report_lays_out_three_data_frames_and_counts_the_others() {
    // The request and the accept are laid out as well.
    for (uplinks, laid_out, more) in [(2, 2, false), (3, 3, false), (4, 3, true)] {
        let text = report_of(uplinks);
        let titles = text.lines().filter(|line| line.starts_with("**Unconfirmed"));
        assert_eq!(titles.count(), laid_out, "{uplinks}");
        assert_eq!(text.contains("Not shown: "), more, "{uplinks}");
    }
}

#[test]
fn a_dev_addr_beside_a_payload_may_stand_in_either_order() {
    let frames = |stated: &str| {
        let line =
            format!(r#"{{"payload":"40dabb0102800200022721029daeaf9ee9","devaddr":"{stated}"}}"#);
        intact(&items(line.as_bytes())).iter().filter(|event| event.frame().is_some()).count()
    };
    // As printed, and as sent.
    assert_eq!((frames("0201BBDA"), frames("dabb0102")), (1, 1));
    // Another one's: what is called payload here is the application's.
    assert_eq!((frames("0201BBDB"), frames("dbbb0102"), frames("0102BBDA")), (0, 0, 0));
}

#[test]
fn a_capture_may_be_packed_three_times_over() {
    let line = br#"{"kind":"PULL_DATA","gateway":"020000fffea00001","token":"0001"}"#;
    let packed = |times: usize| (0..times).fold(line.to_vec(), |inner, _| gzip(&inner));
    for times in 0..=3 {
        assert_eq!(intact(&items(&packed(times))).len(), 1, "{times}");
    }
    let got = items(&packed(4));
    let [Item::Event(event)] = &got[..] else { panic!("{got:?}") };
    let why = &event.gap().unwrap().damage;
    assert_eq!(*why, Damage::All(IntakeError::Unpack(UnpackError::Nested(3))));
}

#[test]
fn an_optional_part_of_a_label_has_a_value() {
    let label = "LW:D0:020000FFFE00FFFF:020000fffe001207:0A0B0C0D";
    for letter in ['O', 'S', 'P'] {
        assert!(format!("{label}:{letter}1").parse::<Label>().is_ok(), "{letter}");
    }
    for letter in ["O", "S", "P", "C", ""] {
        let error = format!("{label}:{letter}").parse::<Label>();
        assert_eq!(error, Err(LabelError::Letter { position: 50 }), "{letter}");
    }
    assert!(format!("{label}:S:X1").parse::<Label>().is_err());
}

#[test]
fn a_node_that_joined_anew_is_named_by_its_new_address() {
    let roster = common::roster();
    let (old, new) = (0x0201_0001, 0x0201_0002);
    let joined = |line: u64, nonce: u16, addr: u32| {
        let at = 10 * line;
        let micros = i64::try_from(at).unwrap() * 1_000_000;
        let slot = u32::try_from(at + 5).unwrap() * 1_000_000;
        [
            later(line, &request(nonce)),
            sent(
                line + 1,
                Some(micros + 200_000),
                Some(GATEWAY),
                When::Counter(slot),
                &accept(addr),
            ),
            later(line + 2, &data(&session(addr, nonce), addr, 0)),
        ]
    };
    let mut meter = Meter::new(&roster, None);
    for event in joined(1, 7, old).iter().chain(&joined(10, 8, new)) {
        assert!(event.heard().is_none_or(|heard| heard.crc == Crc::Ok));
        meter.push(event);
    }
    let report = meter.finish();
    let [node] = &report.nodes[..] else { panic!("{report:?}") };
    assert_eq!(node.dev_addr.unwrap().0, new);
    assert_eq!((node.account.requests, node.account.transmissions), (2, 4));
}

#[test]
fn an_address_that_a_join_gives_anew_is_the_node_s_that_joined() {
    let addr = 0x0201_0001;
    let text = format!(
        "region = 'EU868'\n[[node]]\nname = 'built-in'\n[node.record]\nactivation = 'ABP'\n\
         dev-addr = '{addr:08x}'\n[[node]]\nname = 'probe-01'\n[node.record]\ndev-eui = '{}'\n\
         join-eui = '{}'\napp-key = '{}'\n",
        common::dev_eui().hex(),
        common::join_eui().hex(),
        hex::encode(common::ROOT)
    );
    let roster = handfast::roster::parse(&text, None).unwrap();
    let mut meter = Meter::new(&roster, None);
    for event in [
        later(1, &data(&session(addr, 7), addr, 0)),
        later(2, &request(7)),
        sent(3, Some(20_200_000), Some(GATEWAY), When::Counter(25_000_000), &accept(addr)),
        later(4, &data(&session(addr, 7), addr, 1)),
    ] {
        meter.push(&event);
    }
    let report = meter.finish();
    let counted: Vec<_> = report
        .nodes
        .iter()
        .map(|node| (node.name.as_deref(), node.account.transmissions))
        .collect();
    assert_eq!(counted, [(Some("built-in"), 1), (Some("probe-01"), 2)]);
}

#[test]
fn what_is_called_a_frame_is_one_of_12_to_255_octets() {
    let frames = |octets: usize| {
        let mut frame = hex::decode("40dabb0102800200").unwrap();
        frame.resize(octets, 0xA5);
        if octets > 12 {
            frame[8] = 2;
        }
        let line = format!(r#"{{"phyPayload":"{}"}}"#, hex::encode(frame));
        intact(&items(line.as_bytes())).iter().filter(|event| event.frame().is_some()).count()
    };
    assert_eq!([12, 13, 255].map(frames), [1; 3]);
    assert_eq!([11, 256].map(frames), [0; 2]);
}

#[test]
fn a_lesson_has_one_to_sixty_exercises() {
    let count = |count| Order::new(1, Level::Fields, count).map(Order::count);
    assert_eq!([count(1), count(60)], [Some(1), Some(60)]);
    assert_eq!([count(0), count(61)], [None, None]);
}
