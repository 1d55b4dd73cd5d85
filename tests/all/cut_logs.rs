//! A log that ends anywhere: what is whole before the end is used, what is cut is no frame.

use std::fs;

use handfast::intake::{CaptureLines, Datagram, Item};

use crate::support::written;

fn items(text: &str) -> Vec<Item> {
    CaptureLines::new(text.as_bytes()).map(Result::unwrap).collect()
}

fn datagrams(text: &str) -> Vec<Datagram> {
    let datagram = |item| match item {
        Item::Datagram(datagram) => Some(datagram),
        _ => None,
    };
    items(text).into_iter().filter_map(datagram).collect()
}

fn frames(datagram: &Datagram) -> Vec<&Vec<u8>> {
    let up = datagram.rxpk.iter().map(|up| &up.octets);
    up.chain(datagram.txpk.iter().map(|down| &down.octets)).collect()
}

fn joined() -> String {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/vectors/join/jf-02/capture.ndjson");
    let all = fs::read_to_string(path).unwrap();
    all.lines().take(8).flat_map(|line| [line, "\n"]).collect()
}

/// Cuts a log at every octet.
fn cut_everywhere(what: &str, text: &str) {
    let whole = datagrams(text);
    assert!(whole.iter().filter(|d| !frames(d).is_empty()).count() >= 2, "{what}");
    let octets: Vec<_> = whole.iter().flat_map(frames).collect();
    for cut in 0..=text.len() {
        let part = &text[..cut];
        let lines = u64::try_from(part.matches('\n').count()).unwrap();
        let read = items(part);
        let mut before = whole.iter().filter(|datagram| datagram.line <= lines);
        let found = read.iter().filter(|item| matches!(item, Item::Datagram(_))).count();
        for item in &read {
            match item {
                Item::Datagram(datagram) if datagram.line <= lines => {
                    assert_eq!(Some(datagram), before.next(), "{what}, cut at {cut}");
                }
                // What is found in the line that is cut is whole all the same.
                Item::Datagram(datagram) => {
                    assert!(
                        frames(datagram).iter().all(|frame| octets.contains(frame)),
                        "{what}, cut at {cut}: {datagram:?}"
                    );
                }
                // Where nothing was found at all, the first line stands for all.
                Item::Skipped { line, .. } => {
                    assert!(*line == lines + 1 || found == 0, "{what}, cut at {cut}");
                }
                Item::Passed { .. } => {}
                // The beginning of a word may be octets as well: it takes three lines to show a log.
                Item::Frame { line, frame } if *line == lines + 1 => {
                    assert!(*line <= 3 && frame.octets.len() < 12, "{what}, cut at {cut}");
                }
                other => panic!("{what}, cut at {cut}: {other:?}"),
            }
        }
        assert_eq!(before.next(), None, "{what}, cut at {cut}");
    }
}

#[test]
fn a_station_log_may_end_anywhere() {
    cut_everywhere("messages", &written::station(&joined(), |_| String::new()));
    cut_everywhere("messages behind a time", &written::station(&joined(), written::head));
}

#[test]
fn a_forwarder_log_may_end_anywhere() {
    cut_everywhere("a forwarder's log", &written::forwarder_log(&joined(), written::head));
}

#[test]
fn a_log_of_events_may_end_anywhere() {
    cut_everywhere("events", &written::events(&joined()));
    let behind = written::events(&joined()).replace("{\"level", "2026-03-02T08:00:00Z up {\"level");
    cut_everywhere("events behind a time", &behind);
    let texts = behind.lines().map(|line| serde_json::json!({"log": line}).to_string() + "\n");
    cut_everywhere("events in texts", &texts.collect::<String>());
}
