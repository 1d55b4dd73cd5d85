//! A log that ends anywhere: what is whole before the end is used, what is cut is no frame.

use std::fs;

use handfast::intake::{Capture, Damage, Event, HowFound, Item};

use crate::support::written;

fn items(text: &str) -> Vec<Item> {
    Capture::new(text.as_bytes()).map(Result::unwrap).collect()
}

/// Whether it says something that a format states or that was found in a log.
fn is_said(event: &Event) -> bool {
    event.found != HowFound::Alone
        && event.gap().is_none_or(|gap| matches!(gap.damage, Damage::Member(_)))
}

fn octets(event: &Event) -> Option<&Vec<u8>> {
    Some(&event.frame()?.octets)
}

fn joined() -> String {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/vectors/join/jf-02/capture.ndjson");
    let all = fs::read_to_string(path).unwrap();
    all.lines().take(8).flat_map(|line| [line, "\n"]).collect()
}

/// Cuts a log at every octet.
fn cut_everywhere(what: &str, text: &str) {
    let event = |item| match item {
        Item::Event(event) if is_said(&event) => Some(event),
        _ => None,
    };
    let whole: Vec<Event> = items(text).into_iter().filter_map(event).collect();
    let frames: Vec<_> = whole.iter().filter_map(octets).collect();
    assert!(frames.len() >= 2, "{what}");
    for cut in 0..=text.len() {
        let part = &text[..cut];
        let lines = u64::try_from(part.matches('\n').count()).unwrap();
        let read = items(part);
        let mut before = whole.iter().filter(|event| event.place.number <= lines);
        let said = |item: &Item| matches!(item, Item::Event(event) if is_said(event));
        let found = read.iter().filter(|item| said(item)).count();
        for item in &read {
            let Item::Event(event) = item else { continue };
            let number = event.place.number;
            if is_said(event) && number <= lines {
                assert_eq!(Some(event), before.next(), "{what}, cut at {cut}");
            } else if is_said(event) {
                // What is found in the line that is cut is whole all the same.
                let known = octets(event).is_none_or(|frame| frames.contains(&frame));
                assert!(known, "{what}, cut at {cut}: {event:?}");
            } else if let Some(frame) = octets(event) {
                // The beginning of a word may be octets as well: it takes three lines to show a log.
                assert_eq!(number, lines + 1, "{what}, cut at {cut}");
                assert!(number <= 3 && frame.len() < 12, "{what}, cut at {cut}");
            } else {
                // Where nothing was found at all, the first line stands for all.
                assert!(number == lines + 1 || found == 0, "{what}, cut at {cut}");
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
