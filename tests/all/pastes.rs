//! What people paste when they ask: JSON over several lines, dumps, lists, tables, mails. Each form
//! with what only looks like it.

use std::fmt::Write as _;

use handfast::{
    intake::{Capture, Damage, Event, IntakeError, Item},
    ladder::{GatewayOutcome, Options, Outcome, judge},
    trace::{Trace, Tracer},
};

use crate::common;

// Frames of vectors/crypto/reference-examples.json.
const REQUEST: &str = "0001000bfeff0000023c2b1afeff00000202012e269cf5";
const UPLINK: &str = "40dabb0102800200022721029daeaf9ee9";
const UPLINK_64: &str = "QNq7AQKAAgACJyECna6vnuk=";

fn events(text: &str) -> Vec<Event> {
    let events = Capture::new(text.as_bytes()).map(Result::unwrap).filter_map(|item| match item {
        Item::Event(event) => Some(event),
        Item::PassedOver(_) => None,
    });
    events.collect()
}

/// The frames of a text: first line, last line, octets.
fn frames(text: &str) -> Vec<(u64, u64, String)> {
    let frame = |event: Event| {
        let octets = hex::encode(&event.frame()?.octets);
        Some((event.place.number, event.place.line_to().unwrap_or(event.place.number), octets))
    };
    events(text).into_iter().filter_map(frame).collect()
}

fn is_found(text: &str, lines: (u64, u64), octets: &str) {
    assert_eq!(frames(text), [(lines.0, lines.1, octets.to_owned())], "{text}");
}

fn pairs(octets: &str, mark: &str, between: &str) -> String {
    let octets = octets
        .as_bytes()
        .chunks(2)
        .map(|pair| format!("{mark}{}{}", pair[0] as char, pair[1] as char));
    octets.collect::<Vec<_>>().join(between)
}

/// A dump of rows of sixteen, each behind the same words.
fn dump(octets: &[u8], before: &str, decimal: bool) -> String {
    let mut out = String::new();
    for (row, part) in octets.chunks(16).enumerate() {
        let place = if decimal { format!("{:04}", 16 * row) } else { format!("{:04x}", 16 * row) };
        let digits = pairs(&hex::encode(part), "", " ");
        let shown: String =
            part.iter().map(|c| if c.is_ascii_graphic() { char::from(*c) } else { '.' }).collect();
        writeln!(out, "{before}{place}  {digits:<47}  |{shown}|").unwrap();
    }
    out
}

#[test]
fn json_over_several_lines_is_one_message() {
    let pretty = format!(
        "{{\n  \"phy_payload\": \"{UPLINK_64}\",\n  \"radio\": {{\n    \"frequency\": 868100000\n  }}\n}}\n"
    );
    is_found(&pretty, (1, 6), UPLINK);
    is_found(
        &format!("Hello,\nmy server has this:\n\n{pretty}\nand then nothing\n"),
        (4, 9),
        UPLINK,
    );
    // A list of messages has a place for each.
    let both = frames(&format!("[\n{},\n{}]\n", pretty.trim_end(), pretty));
    assert_eq!(both.iter().map(|f| (f.0, f.1)).collect::<Vec<_>>(), [(2, 7), (8, 13)]);
    // A mail that quotes it broke a line within a text.
    let mail = format!("> > up {{\"phy_pay\n> > load\":\"{UPLINK_64}\",\"rssi\"\n> > :-80}}\n");
    is_found(&mail, (1, 3), UPLINK);
    // Times and numbers before every line.
    let mut timed = String::new();
    for (n, line) in pretty.lines().enumerate() {
        writeln!(timed, "12:00:0{n} | {line}").unwrap();
    }
    is_found(&timed, (1, 6), UPLINK);
    for (text, lines) in [
        (pretty.replace('"', "\u{201D}"), (1, 6)),
        (format!("up {{&quot;phyPayload&quot;:&quot;{UPLINK_64}&quot;}} &lt;ok&gt;"), (1, 1)),
        (format!("{{\"freq\":868.1,\"datr\":\"SF7BW125\",\"data\":\"{UPLINK_64}\"}}}}"), (1, 1)),
    ] {
        is_found(&text, lines, UPLINK);
    }
}

#[test]
fn json_that_is_cut_takes_no_line_behind_it_along() {
    let whole = format!("{{\"rxpk\":[{{\"tmst\":5,\"data\":\"{UPLINK_64}\"}}]}}");
    for cut in ["{\"rxpk\":[{\"tmst\":5,", "{\"rxpk\":[{\"data\":\"QNq7", "{", "up {\"rxpk\":["] {
        let text = format!("{whole}\n{cut}\n{whole}\n");
        let lines: Vec<_> = frames(&text).into_iter().map(|f| (f.0, f.1)).collect();
        assert_eq!(lines, [(1, 1), (3, 3)], "{cut}");
        let gaps = events(&text)
            .iter()
            .filter(|e| e.gap().is_some())
            .map(|e| e.place.number)
            .collect::<Vec<_>>();
        assert_eq!(gaps, [2], "{cut}");
    }
    // Something else than brackets behind it is damage still.
    assert_eq!(frames(&format!("{{\"phyPayload\":\"{UPLINK_64}\"}} {{}}")), []);
}

#[test]
fn a_cut_message_costs_no_more_than_its_lines() {
    let text = "{\"a\":[\n".repeat(20_000);
    assert_eq!(events(&text).len(), 20_000);
}

#[test]
fn dumps_are_joined_row_by_row() {
    let request = hex::decode(REQUEST).unwrap();
    for (before, decimal) in
        [("", false), ("12:42:22.307 | ", false), ("  ", true), ("[05:25:20.1] ", true)]
    {
        is_found(&dump(&request, before, decimal), (1, 2), REQUEST);
        let uplink = dump(&hex::decode(UPLINK).unwrap(), before, decimal);
        is_found(&format!("{before}received 17 bytes:\n{uplink}"), (2, 3), UPLINK);
        // Nothing says that it was on the air.
        assert_eq!(frames(&uplink), [], "{uplink}");
        assert_eq!(frames(&format!("the AppKey, then a frame of zeros\n{uplink}")), []);
    }
    // A row is missing.
    let rows = dump(&[&request[..], &request[..]].concat(), "", false);
    let kept: Vec<&str> = rows.lines().filter(|row| !row.starts_with("0010")).collect();
    let lacking = kept.join("\n") + "\n";
    assert_eq!(frames(&lacking), []);
}

#[test]
fn a_packet_of_the_network_in_a_dump_is_its_datagram() {
    let json = format!("{{\"rxpk\":[{{\"tmst\":5,\"freq\":868.1,\"data\":\"{UPLINK_64}\"}}]}}");
    let mut datagram = vec![2, 0x11, 0x22, 0, 2, 0, 0, 0xFF, 0xFE, 0xA0, 0x94, 0x42];
    datagram.extend(json.as_bytes());
    let len = u16::try_from(datagram.len() + 8).unwrap().to_be_bytes();
    let mut packet = vec![0x45, 0, 0, 0, 0, 0, 0, 0, 64, 17, 0, 0, 10, 0, 0, 1, 10, 0, 0, 2];
    packet.extend([0x9A, 0x12, 0x06, 0xA4, len[0], len[1], 0, 0]);
    packet.extend(&datagram);
    let rows = u64::try_from(packet.len().div_ceil(16)).unwrap();
    is_found(
        &format!("IP 10.0.0.1 > 10.0.0.2\n{}", dump(&packet, "\t0x", false)),
        (2, rows + 1),
        UPLINK,
    );
    is_found(&format!("from 10.0.0.1: {}", hex::encode(&datagram)), (1, 1), UPLINK);
    // TCP.
    packet[9] = 6;
    assert_eq!(frames(&dump(&packet, "\t0x", false)), []);
}

#[test]
fn lists_of_octets_are_read_in_every_writing() {
    let decimal = hex::decode(UPLINK).unwrap().iter().map(ToString::to_string).collect::<Vec<_>>();
    for list in [
        format!("frame: [{}]", pairs(UPLINK, "", ", ")),
        format!("frame {{ {} }}", pairs(UPLINK, "0x", ", ")),
        format!("frame \"{}\"", pairs(UPLINK, "\\x", "")),
        format!("frame {}", pairs(UPLINK, "", "   ")),
        format!("frame: {}", decimal.join(",")),
        format!("frame: [{}]", decimal.join(", ")),
    ] {
        is_found(&list, (1, 1), UPLINK);
        // Without the word it may be anything.
        assert_eq!(frames(&list.replace("frame", "spi write")), [], "{list}");
    }
    // The line before says what it is; the name of a key says that it is none.
    is_found(&format!("UPLINK OF THE NODE:\n{}", decimal.join(",")), (2, 2), UPLINK);
    is_found(&format!("my server takes no packet like this:\n\"{UPLINK_64}\"\n"), (2, 2), UPLINK);
    assert_eq!(frames(&format!("AppKey of the frame:\n{}", decimal.join(","))), []);
    assert_eq!(frames(&format!("my words\n\"{UPLINK_64}\"\n")), []);
    // An address that another frame has names it.
    let both = format!("frame: {}\nthen\n{}\n", decimal.join(","), decimal.join(","));
    assert_eq!(frames(&both).len(), 2);
}

#[test]
fn a_list_that_was_broken_is_joined() {
    let (head, tail) = (&UPLINK[..16], &UPLINK[16..]);
    let array = format!(
        "static const uint8_t phy[17] = {{\n  {},\n  {},\n}};\n",
        pairs(head, "0x", ", "),
        pairs(&tail[..16], "0x", ", "),
    );
    let array = array.replace("\n};", &format!("\n  0x{} }};", &tail[16..]));
    is_found(&array, (2, 4), UPLINK);
    is_found(
        &format!(
            "{}\n{}\n{}\n",
            pairs(&REQUEST[..16], "\\x", ""),
            pairs(&REQUEST[16..32], "\\x", ""),
            pairs(&REQUEST[32..], "\\x", "")
        ),
        (1, 3),
        REQUEST,
    );
    // The words state the size.
    let long = format!("{UPLINK}00112233");
    let wrapped = format!("raw: {}\n  {}\n", pairs(UPLINK, "", " "), pairs("00112233", "", " "));
    is_found(&format!("uplink of 21 bytes, 868.1 MHz\n{wrapped}"), (2, 3), &long);
    is_found(&format!("uplink of 17 bytes, 868.1 MHz\n{wrapped}"), (2, 2), UPLINK);
    // A key is none, and so are identifiers below one another.
    assert_eq!(frames(&array.replace("phy", "APPKEY")), []);
    assert_eq!(frames(&"00:00:00:ff:fe:9c:a1:9c;\n".repeat(15)), []);
    assert_eq!(frames(&"020070FFFE7ADC10\n".repeat(15)), []);
}

#[test]
fn a_line_that_names_a_key_hides_only_the_key() {
    let key = "40dabb0102800200022721029daeaf9e";
    for name in ["final frame", "request", "phy"] {
        is_found(
            &format!("root key: {key}, DevEUI: 0200c9fffe85ff54, {name}: {REQUEST}"),
            (1, 1),
            REQUEST,
        );
    }
    for line in [
        format!("AppKey: {key}, NwkKey: {key}"),
        format!("frame, AppKey: {key}"),
        format!("AppKey of the frame {key}"),
        format!("AppKey {UPLINK}"),
    ] {
        assert_eq!(frames(&line), [], "{line}");
    }
}

#[test]
fn a_table_is_read_by_the_names_of_its_columns() {
    let head = "gw,time,freq_hz,sf,rssi,hex";
    let row = format!("0200000000a09442,2026-03-02T08:00:00Z,868100000,SF9,-64,{UPLINK}");
    let table = format!("{head}\n{row}\n");
    is_found(&table, (2, 2), UPLINK);
    let event = events(&table).into_iter().find(|event| event.heard().is_some()).unwrap();
    let received = event.heard().unwrap();
    assert_eq!((received.freq_hz, received.rssi), (Some(868_100_000), Some(-64.0)));
    assert_eq!(event.time, Some("2026-03-02T08:00:00Z".parse().unwrap()));
    assert_eq!(frames(&table.replace("hex", "app_key")), []);
}

#[test]
fn words_identifiers_and_registers_are_no_frames() {
    for text in [
        "OK\nnot joined\n",
        "WAIT_CHANNEL\nSENDNOW1\nOtaaJoinRequestSent0\naaaaaaaaaaaaaaaaaaaaaaaa\n",
        "A0 : 0xe57687a8  A1 : 0x64ff8932  A2 : 0x4ca159a4  A3 : 0x73aaebae\n",
        "AT+KEY=40:f7:3c:3e:7e:37:d9:0d:86:f1:cb:7e:c2:72:46:6b\nOK\n",
        "40:00:cc:fc:42:b5 40:00:d4:15:00:fb\n",
        "020070fffe7adc10\n",
    ] {
        assert_eq!(frames(text), [], "{text}");
        assert!(events(text).iter().all(|event| event.gap().is_some()), "{text}");
    }
    // It is told why.
    let [only] = &events("020070fffe7adc10\n")[..] else { panic!("one gap") };
    assert_eq!(only.gap().unwrap().damage, Damage::All(IntakeError::NoFrame { octets: 8 }));
    // A damaged frame alone is shown as what there is of it.
    assert_eq!(frames(&REQUEST[..44]).len(), 1);
}

fn trace(text: &str) -> Trace {
    let roster = common::roster();
    let mut tracer = Tracer::new(&roster);
    for event in events(text) {
        tracer.push(event);
    }
    tracer.finish()
}

#[test]
fn of_text_alone_nobody_says_that_a_node_was_not_heard() {
    let roster = common::roster();
    let judged = |text: &str| {
        let trace = trace(text);
        let found = judge(&trace, &roster, Options::default());
        let nodes: Vec<_> = found.nodes.iter().map(|node| node.outcome).collect();
        let gateways: Vec<_> = found.gateways.iter().map(|gateway| gateway.outcome).collect();
        (nodes, gateways)
    };
    let (nodes, gateways) = judged("the server says that the MIC is invalid\n");
    assert!(!nodes.is_empty() && nodes.iter().all(|outcome| *outcome == Outcome::CannotTell));
    assert!(gateways.iter().all(|outcome| *outcome == GatewayOutcome::CannotTell));
    // A recording shows what was not there.
    let (nodes, _) = judged("{\"kind\":\"PULL_DATA\",\"gateway\":\"020000fffea09442\"}\n");
    assert!(nodes.contains(&Outcome::NotHeard), "{nodes:?}");
}
