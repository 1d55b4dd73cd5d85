//! The airtime of captures, invented here; every time on air is one of `vectors/radio`, where its
//! source stands beside it.

use std::time::Duration;

use base64::{Engine, prelude::BASE64_STANDARD};
use handfast::{
    airtime::{CaptureAirtime, Meter, Passed},
    demo,
    intake::{Capture, Item},
    region::Plan,
    roster::{self, Roster},
    show::{Style, airtime::capture},
};
use proptest::prelude::*;
use serde_json::{Value as Json, json};

/// `join-sf12-23` and the like of `lorawan-airtimes.json`.
const JOIN_SF12_US: u64 = 1_482_752;
const JOIN_SF10_US: u64 = 370_688;
/// `sf9-13`: 13 octets up, published by a network operator.
const DATA_SF9_13_US: u64 = 164_864;
/// `join-sf9-17`: a Join-Accept of 17 octets, down.
const ACCEPT_SF9_US: u64 = 164_864;

const JOIN: &str = "0001000bfeff0000023c2b1afeff00000202012e269cf5";

fn data(len: usize, fcnt: u16) -> Vec<u8> {
    let mut octets = vec![0x40, 0x07, 0x12, 0x00, 0x02, 0x00];
    octets.extend(fcnt.to_le_bytes());
    octets.push(1);
    octets.resize(len, 0xA5);
    octets
}

fn join(nonce: u16) -> Vec<u8> {
    let mut octets = hex::decode(JOIN).unwrap();
    octets[17..19].copy_from_slice(&nonce.to_le_bytes());
    octets
}

/// A frame heard at that second of a day.
fn up(second: u32, gateway: u8, mhz: f64, datr: &str, octets: &[u8]) -> String {
    let (h, m, s) = (second / 3600 % 24, second / 60 % 60, second % 60);
    let day = 4 + second / 86_400;
    json!({
        "at": format!("2026-05-{day:02}T{h:02}:{m:02}:{s:02}Z"),
        "gateway": format!("020000fffe0000{gateway:02x}"),
        "kind": "PUSH_DATA",
        "datagram": {"rxpk": [{
            "freq": mhz, "datr": datr, "codr": "4/5", "stat": 1, "data": BASE64_STANDARD.encode(octets),
        }]},
    })
    .to_string()
}

fn down(second: u32, token: u16, error: Option<&str>) -> String {
    let at = format!("2026-05-04T00:{:02}:{:02}Z", second / 60, second % 60);
    let (gateway, token) = ("020000fffe000001", format!("{token:04x}"));
    let asked = json!({
        "at": at, "gateway": gateway, "token": token, "kind": "PULL_RESP",
        "datagram": {"txpk": {
            "imme": true, "freq": 869.525, "datr": "SF9BW125", "codr": "4/5", "ncrc": true,
            "data": BASE64_STANDARD.encode([0x20; 17]),
        }},
    });
    let Some(error) = error else { return asked.to_string() };
    let ack = json!({
        "at": at, "gateway": gateway, "token": token, "kind": "TX_ACK",
        "datagram": {"txpk_ack": {"error": error}},
    });
    format!("{asked}\n{ack}")
}

fn measured(lines: &[String], region: Option<&str>, roster: &Roster) -> CaptureAirtime {
    let text = lines.join("\n");
    let mut meter = Meter::new(roster, region.map(|name| Plan::by_name(name).unwrap()));
    for item in Capture::new(text.as_bytes()) {
        match item.unwrap() {
            Item::Event(event) => meter.push(&event),
            other @ Item::PassedOver(_) => panic!("{other:?}"),
        }
    }
    meter.finish()
}

fn in_region(region: &str, lines: &[String]) -> CaptureAirtime {
    measured(lines, Some(region), &Roster::default())
}

fn names(report: &CaptureAirtime) -> Vec<&'static str> {
    report.nodes[0].account.passed().iter().map(Passed::name).collect()
}

const fn micros(micros: u64) -> Duration {
    Duration::from_micros(micros)
}

#[test]
fn a_transmission_that_two_gateways_hear_is_on_the_air_once() {
    let (first, second) = (data(13, 1), data(13, 2));
    let report = in_region(
        "EU868",
        &[
            up(0, 1, 868.1, "SF9BW125", &first),
            up(0, 2, 868.1, "SF9BW125", &first),
            up(60, 1, 867.1, "SF9BW125", &second),
            // the node repeats the frame: NbTrans
            up(70, 1, 868.3, "SF9BW125", &second),
        ],
    );
    let [node] = &report.nodes[..] else { panic!("{report:?}") };
    let account = &node.account;
    assert_eq!((account.transmissions, account.receptions), (3, 4));
    assert_eq!(account.airtime, micros(3 * DATA_SF9_13_US));
    let duty: Vec<_> =
        account.duty().iter().map(|used| (used.band.permille(), used.airtime)).collect();
    assert_eq!(duty, [(10, micros(DATA_SF9_13_US)), (10, micros(2 * DATA_SF9_13_US))]);
    assert!(!report.passes_a_limit());
}

#[test]
fn requests_to_join_pass_duty_cycle_and_back_off_at_the_twenty_fifth_of_an_hour() {
    let asked = |count: u32, apart: u32| -> Vec<String> {
        (0..count)
            .map(|i| up(i * apart, 1, 868.1, "SF12BW125", &join(u16::try_from(i).unwrap())))
            .collect()
    };
    let lawful = in_region("EU868", &asked(24, 140));
    assert_eq!(names(&lawful), [""; 0]);
    let report = in_region("EU868", &asked(25, 140));
    assert_eq!(names(&report), ["duty-cycle", "join-back-off"]);
    let account = &report.nodes[0].account;
    assert_eq!(account.busiest().unwrap().airtime, micros(25 * JOIN_SF12_US));
    // one every four minutes is within 1% of every hour, and still too many for ten of them
    let report = in_region("EU868", &asked(50, 240));
    assert_eq!(names(&report), ["join-back-off"]);
    let spans = report.nodes[0].account.back_off.spans();
    let used: Vec<_> = spans.iter().map(|span| (span.name, span.used)).collect();
    assert_eq!(
        used,
        [("first hour", micros(15 * JOIN_SF12_US)), ("next ten hours", micros(35 * JOIN_SF12_US))]
    );
}

#[test]
fn a_day_after_the_eleventh_hour_has_five_requests_at_sf12() {
    let late = |count: u16| -> Vec<String> {
        let asked = (0..count)
            .map(|i| up(12 * 3600 + u32::from(i) * 600, 1, 868.1, "SF12BW125", &join(i + 1)));
        std::iter::once(up(0, 1, 868.1, "SF12BW125", &join(0))).chain(asked).collect()
    };
    assert_eq!(names(&in_region("EU868", &late(5))), [""; 0]);
    assert_eq!(names(&in_region("EU868", &late(6))), ["join-back-off"]);
}

#[test]
fn a_long_frame_passes_the_dwell_limit_where_it_always_holds() {
    let asked = |octets: &[u8]| vec![up(0, 1, 903.9, "SF10BW125", octets)];
    let lawful = in_region("US915", &asked(&join(1)));
    let dwell = lawful.nodes[0].account.dwell().copied().unwrap();
    assert_eq!((dwell.held, dwell.over), (1, 0));
    assert_eq!(lawful.nodes[0].account.longest, micros(JOIN_SF10_US));
    // 35 octets: a row more of the payload than 400 ms hold, and more than DR0 may carry
    assert_eq!(names(&in_region("US915", &asked(&data(35, 1)))), ["dwell", "payload"]);
    // AU915 has the limit only while UplinkDwellTime is 1
    let report = in_region("AU915", &[up(0, 1, 916.8, "SF12BW125", &join(1))]);
    assert_eq!(report.nodes[0].account.dwell().unwrap().over, 1);
    assert_eq!(names(&report), [""; 0]);
}

#[test]
fn a_payload_longer_than_its_data_rate_may_carry_is_named() {
    let report = in_region(
        "EU868",
        &[
            up(0, 1, 868.1, "SF12BW125", &data(64, 1)),
            up(200, 1, 868.1, "SF12BW125", &data(65, 2)),
            up(400, 1, 868.1, "SF7BW125", &data(65, 3)),
        ],
    );
    let over: Vec<_> = report.nodes[0].account.oversize().copied().collect();
    let [over] = over[..] else { panic!("{over:?}") };
    assert_eq!((over.dr, over.most, over.frames, over.longest), (0, 59, 1, 60));
}

#[test]
fn a_downlink_that_its_gateway_refused_was_never_on_the_air() {
    let report = in_region(
        "EU868",
        &[down(0, 1, Some("NONE")), down(1, 2, Some("TOO_LATE")), down(2, 3, None)],
    );
    let [gateway] = &report.gateways[..] else { panic!("{report:?}") };
    assert_eq!((gateway.account.transmissions, gateway.refused), (2, 1));
    assert_eq!(gateway.account.airtime, micros(2 * ACCEPT_SF9_US));
    let duty = gateway.account.duty();
    assert_eq!(duty[0].band.permille(), 100);
}

#[test]
fn without_a_region_nothing_is_called_a_fault_and_without_times_no_hour_is_told() {
    let mut line: Json =
        serde_json::from_str(&up(0, 1, 868.1, "SF12BW125", &data(200, 1))).unwrap();
    line.as_object_mut().unwrap().remove("at");
    let report = measured(&[line.to_string()], None, &Roster::default());
    assert!(!report.passes_a_limit());
    assert_eq!(report.nodes[0].account.busiest(), None);
    let mut shown = String::new();
    capture::text(&report, Style::PLAIN, &mut shown).unwrap();
    assert!(shown.contains("no time stamps") && shown.contains("give --region"), "{shown}");
}

#[test]
fn a_rate_without_a_formula_is_counted_and_not_guessed() {
    let lines = [up(0, 1, 868.1, "SF5BW125", &data(13, 1))];
    let report = in_region("EU868", &lines);
    let account = &report.nodes[0].account;
    assert_eq!((account.transmissions, account.untimed), (1, 1));
    assert_eq!(account.airtime, Duration::ZERO);
}

#[test]
fn data_after_a_join_that_the_roster_opens_is_the_nodes() {
    let roster = roster::parse(demo::ROSTER, None).unwrap();
    let lines: Vec<_> = demo::CAPTURE.lines().map(String::from).collect();
    let report = measured(&lines, None, &roster);
    let both = report
        .nodes
        .iter()
        .filter(|node| node.name.is_some() && node.dev_addr.is_some() && node.account.requests > 0);
    assert!(both.count() > 0, "{report:?}");
}

#[test]
fn the_page_reads_at_80_columns() {
    let mut lines = vec![up(0, 1, 868.1, "SF12BW125", &join(7))];
    lines.push(up(2, 2, 868.1, "SF12BW125", &join(7)));
    lines.push(down(5, 1, Some("NONE")));
    let report = in_region("EU868", &lines);
    let mut shown = String::new();
    capture::text(&report, Style::PLAIN, &mut shown).unwrap();
    assert_eq!(
        shown,
        "\
2026-05-04 00:00:00 UTC to 2026-05-04 00:00:05 UTC
EU868: below 1% on the default channels; otherwise the ETSI sub-band
Local rules decide what is allowed; the limits below are those that the regional
parameters print. What no gateway heard is not counted.

DevEUI 02-00-00-FF-FE-1A-2B-3C
  EU868
  sent      1 transmission, a request to join; a copy by another gateway
  airtime   1.483 s; busiest hour 1.483 s, from 2026-05-04 00:00:00 UTC
  duty      M 868.0-868.6 MHz, 1%: busiest hour 1.483 s of 36 s
  back-off  first hour: 1.483 s of 36 s for requests to join

gateway 02-00-00-FF-FE-00-00-01
  EU868
  sent      1 transmission
  airtime   0.165 s; busiest hour 0.165 s, from 2026-05-04 00:00:05 UTC
  duty      P 869.4-869.65 MHz, 10%: busiest hour 0.165 s of 360 s

The join back-off counts from when a node is switched on: here from the first
request heard. A node that was switched off and on in between may begin again.
"
    );
    let mut shown = String::new();
    capture::json(&report, &mut shown).unwrap();
    let objects: Vec<Json> = shown.lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert_eq!(objects[0]["node"]["dev_eui"], "020000fffe1a2b3c");
    assert_eq!(objects[0]["airtime_us"], JOIN_SF12_US);
    assert_eq!(objects[0]["duty_cycle"][0]["allowed_us"], 36_000_000);
    assert_eq!(objects[1]["gateway"]["eui"], "020000fffe000001");
    assert_eq!(objects[1]["refused"], 0);
}

fn handfast(input: &str, args: &[&str]) -> (Option<i32>, String, String) {
    let mut command = assert_cmd::Command::cargo_bin("handfast").unwrap();
    let output = command.arg("airtime").args(args).write_stdin(input).output().unwrap();
    let text = |octets: Vec<u8>| String::from_utf8(octets).unwrap();
    (output.status.code(), text(output.stdout), text(output.stderr))
}

#[test]
fn the_exit_status_says_whether_a_limit_is_passed() {
    let fine = up(0, 1, 868.1, "SF12BW125", &data(64, 1));
    let over = up(0, 1, 868.1, "SF12BW125", &data(65, 1));
    let eu868 = ["--capture", "-", "--region", "EU868"];
    assert_eq!(handfast(&fine, &eu868).0, Some(0));
    let (exit, shown, _) = handfast(&over, &eu868);
    assert_eq!(exit, Some(1));
    assert!(shown.contains("the longest 60: PASSED\n"), "{shown}");
    assert_eq!(handfast(&over, &["--capture", "-"]).0, Some(0));
    let (exit, shown, words) = handfast(&format!("{{\"rx\n{fine}"), &eu868);
    assert_eq!(exit, Some(2));
    assert!(words.contains("standard input, line 1"), "{words}");
    assert!(shown.contains("1 transmission\n"), "{shown}");
    let (exit, _, words) = handfast(&fine, &["--capture", "-", "--region", "EU86"]);
    assert_eq!(exit, Some(2));
    assert!(words.contains("no channel plan is called so;\n  there are EU868, US915"), "{words}");
    let (exit, shown, _) = handfast(&over, &["--capture", "-", "--region", "EU868", "--json"]);
    let object: Json = serde_json::from_str(&shown).unwrap();
    assert_eq!((exit, &object["passed"]), (Some(1), &json!(["payload"])));
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_capture_is_too_odd(
        lines in prop::collection::vec(
            (
                any::<i64>(), any::<u8>(), any::<u32>(), 0u8..20, any::<u16>(),
                prop::collection::vec(any::<u8>(), 0..40), any::<bool>(), any::<Option<u16>>(),
            ),
            0..40,
        ),
        region in prop::sample::select(Plan::all()),
    ) {
        use handfast::intake::{DatagramKind, datagram_events};
        let roster = roster::parse(demo::ROSTER, None).unwrap();
        let mut meter = Meter::new(&roster, Some(region));
        for (at, gateway, hz, sf, bw, octets, up, token) in lines {
            let mhz = f64::from(hz) / 1e6;
            let packet = json!({
                "freq": mhz, "datr": format!("SF{sf}BW{bw}"), "data": BASE64_STANDARD.encode(octets),
                "imme": true, "prea": bw, "codr": format!("4/{sf}"),
            });
            let (kind, body) = match (up, sf) {
                (_, 0) => (DatagramKind::TxAck, json!({"txpk_ack": {"error": "TX_FREQ"}})),
                (true, _) => (DatagramKind::PushData, json!({"rxpk": [packet]})),
                (false, _) => (DatagramKind::PullResp, json!({"txpk": packet})),
            };
            let events = datagram_events(kind, body.to_string().as_bytes()).unwrap();
            let at = jiff::Timestamp::from_microsecond(at % 400_000_000_000_000_000).ok();
            let gateway = Some(handfast::id::Eui64::new([gateway; 8]));
            for mut event in events {
                (event.time, event.gateway, event.wire.token) = (at, gateway, token);
                meter.push(&event);
            }
        }
        let report = meter.finish();
        let mut shown = String::new();
        capture::text(&report, Style::PLAIN, &mut shown).unwrap();
        prop_assert!(shown.lines().all(|line| line.chars().count() <= 80), "{}", shown);
        capture::json(&report, &mut shown).unwrap();
    }
}
