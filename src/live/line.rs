//! A datagram as a capture line.

use std::fmt::Write as _;

use super::caught::Caught;
use crate::intake::datagram_json;

/// Writes a datagram as one line; says whether it can be one. Its JSON stays as it came, but for line
/// ends, so that nothing is lost that a reader of tomorrow may ask for.
pub(super) fn write(caught: &Caught, out: &mut Vec<u8>) -> bool {
    let begun = out.len();
    let header = caught.header;
    let mut head = format!("{{\"at\":\"{:.6}\"", caught.at);
    if let Some(gateway) = caught.gateway {
        let _ = write!(head, ",\"gateway\":\"{}\"", gateway.hex());
    }
    let _ = write!(head, ",\"kind\":\"{}\"", header.kind.name());
    // The protocol's version 1 leaves the octets of a PULL_RESP unused.
    if header.version != 1 || header.kind != crate::intake::Kind::PullResp {
        let _ = write!(head, ",\"token\":\"{:04x}\"", header.token);
    }
    out.extend_from_slice(head.as_bytes());
    let json = caught.octets.get(header.json_at..).unwrap_or_default();
    let json = trim_zeros(json).trim_ascii();
    if !json.is_empty() {
        // By itself: what ends its object early would add members to the line.
        // What readers would pass over as damaged has no place in a recording.
        if datagram_json(header.kind, json).is_err() || depth(json) > DEPTH {
            out.truncate(begun);
            return false;
        }
        out.extend_from_slice(b",\"datagram\":");
        out.extend_from_slice(json);
    }
    out.push(b'}');
    // Line ends of sound JSON stand between its members, where a space does as well.
    let line = out.get_mut(begun..).unwrap_or_default();
    for octet in line.iter_mut().filter(|octet| matches!(octet, b'\n' | b'\r')) {
        *octet = b' ';
    }
    out.push(b'\n');
    true
}

/// Returns how deep lists and objects of sound JSON lie in one another.
fn depth(json: &[u8]) -> usize {
    let (mut depth, mut deepest, mut in_text, mut escaped) = (0usize, 0, false, false);
    for octet in json {
        match (in_text, octet) {
            (true, _) if escaped => escaped = false,
            (true, b'\\') => escaped = true,
            (_, b'"') => in_text = !in_text,
            (false, b'[' | b'{') => {
                depth += 1;
                deepest = deepest.max(depth);
            }
            (false, b']' | b'}') => depth = depth.saturating_sub(1),
            _ => {}
        }
    }
    deepest
}

/// The protocol goes three deep. Many a reader of JSON ends at a hundred and more.
const DEPTH: usize = 64;

/// Some gateways count the closing zero of their text in.
fn trim_zeros(mut json: &[u8]) -> &[u8] {
    while let Some(rest) = json.strip_suffix(b"\0") {
        json = rest;
    }
    json
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        demo,
        intake::{CaptureLines, Datagram, Header, Item},
    };

    fn caught(octets: &[u8]) -> Caught {
        let here = "127.0.0.1:1700".parse().unwrap();
        let at = "2026-03-02T08:00:03.210692Z".parse().unwrap();
        let header = Header::read(octets).unwrap();
        Caught {
            at,
            peer: here,
            port: here,
            header,
            gateway: header.gateway,
            octets: octets.into(),
        }
    }

    fn read_back(line: &[u8]) -> Datagram {
        let mut items = CaptureLines::new(line);
        match (items.next(), items.next()) {
            (Some(Ok(Item::Datagram(datagram))), None) => datagram,
            other => panic!("{other:?}"),
        }
    }

    fn push(json: &str) -> Vec<u8> {
        [&[2, 0x35, 0x3C, 0, 2, 0, 0, 0xFF, 0xFE, 0xA0, 0x94, 0x42][..], json.as_bytes()].concat()
    }

    #[test]
    fn a_line_reads_back_to_the_datagram_that_was_met() {
        let mut met = 0;
        for line in demo::CAPTURE.lines() {
            let value: serde_json::Value = serde_json::from_str(line).unwrap();
            let body = value["datagram"].to_string();
            let octets = match value["kind"].as_str() {
                Some("PUSH_DATA") => push(&body),
                Some("PULL_RESP") => [&[2, 1, 2, 3][..], body.as_bytes()].concat(),
                Some("TX_ACK") => {
                    [&[2, 1, 2, 5, 1, 2, 3, 4, 5, 6, 7, 8][..], body.as_bytes()].concat()
                }
                _ => continue,
            };
            let caught = caught(&octets);
            let mut out = Vec::new();
            assert!(write(&caught, &mut out));
            let again = read_back(&out);
            assert_eq!(again, Datagram { line: 1, ..caught.datagram().unwrap() });
            met += 1;
        }
        assert!(met > 20, "{met}");
    }

    #[test]
    fn line_ends_and_closing_zeros_make_no_second_line() {
        let mut out = Vec::new();
        assert!(write(&caught(&push("\r\n{\"stat\":\r\n{\"rxnb\":2}}\n\0\0")), &mut out));
        assert_eq!(out.iter().position(|octet| *octet == b'\n'), Some(out.len() - 1));
        assert_eq!(read_back(&out).stat.unwrap().rxnb, Some(2));
    }

    #[test]
    fn depth_counts_what_is_no_text() {
        for (json, wanted) in [("[]", 1), ("{\"a[{\":[{}]}", 3), (r#"["\"[[",[]]"#, 2), ("7", 0)] {
            assert_eq!(depth(json.as_bytes()), wanted, "{json}");
        }
    }

    #[test]
    fn what_no_line_can_hold_leaves_nothing_behind() {
        let deep = |n: usize| format!("{{\"x\":{}{}}}", "[".repeat(n), "]".repeat(n));
        for json in [
            "{\"rxpk\":[]},\"kind\":\"PULL_RESP\",\"x\":{}",
            "{} {}",
            "{\"rxpk\":[",
            "{\"x\":\"a\nb\"}",
            deep(126).as_str(),
            deep(60_000).as_str(),
        ] {
            let mut out = b"before\n".to_vec();
            assert!(!write(&caught(&push(json)), &mut out), "{json:.40}");
            assert_eq!(out, b"before\n");
        }
        let mut out = Vec::new();
        assert!(write(&caught(&push(&deep(60))), &mut out));
        read_back(&out);
    }
}
