//! Whole datagrams of the forwarder protocol, written as hex or base64.

use super::{
    super::{
        event::{Event, HowFound},
        forwarder,
        header::Header,
        text::base64_member,
    },
    Head,
};

/// Returns the events of the datagrams in a line of words; `None` where there is none.
pub(super) fn within(line: &str, head: &Head) -> Option<Vec<Event>> {
    let inside = |c: char| c.is_ascii_alphanumeric() || matches!(c, '+' | '/' | '-' | '_');
    let words = line.split(|c: char| !inside(c)).filter(|word| word.len() >= SHORTEST);
    let all: Vec<_> =
        words.filter_map(octets).filter_map(|o| events(&o, head)).take(MOST).collect();
    (!all.is_empty()).then(|| all.into_iter().flatten().collect())
}

/// Returns the events of octets that are a datagram with JSON; `None` for all else.
pub(super) fn events(octets: &[u8], head: &Head) -> Option<Vec<Event>> {
    let header = Header::read(octets).ok()?;
    if octets.get(header.json_at) != Some(&b'{') {
        return None;
    }
    let mut events = forwarder::wire_events(octets).ok()?;
    for event in &mut events {
        event.place = head.place;
        event.time = event.time.or(head.time);
        event.gateway = event.gateway.or(head.gateway);
        event.found = HowFound::Prefixed;
    }
    Some(events)
}

/// The protocol's version is the first octet: 1 or 2.
fn octets(word: &str) -> Option<Vec<u8>> {
    if word.starts_with("01") || word.starts_with("02") {
        return hex::decode(word).ok();
    }
    word.starts_with('A').then(|| base64_member(word).ok()).flatten().map(|(octets, _)| octets)
}

/// Characters of the shortest datagram with JSON, in base64.
const SHORTEST: usize = 24;
/// Datagrams of one line.
const MOST: usize = 8;

#[cfg(test)]
mod tests {
    use base64::{Engine, engine::general_purpose::STANDARD};

    use super::*;

    #[test]
    fn a_datagram_is_read_in_hex_and_in_base64_and_nothing_else_is_one() {
        let mut octets = vec![2, 0x11, 0x22, 0, 2, 0, 0, 0xFF, 0xFE, 0xA0, 0x94, 0x42];
        octets.extend(br#"{"rxpk":[{"tmst":5,"freq":868.1,"data":"QNq7AQKAAgACJyECna6vnuk="}]}"#);
        let frames = |line: &str| {
            let events = within(line, &Head::default()).unwrap_or_default();
            events.iter().filter(|event| event.frame().is_some()).count()
        };
        assert_eq!(frames(&format!("from 192.0.2.7: {}", hex::encode(&octets))), 1);
        assert_eq!(frames(&format!("datagram_base64={}", STANDARD.encode(&octets))), 1);
        let cut = octets[..octets.len() - 1].to_vec();
        octets[0] = 3;
        for line in
            [hex::encode(&octets), hex::encode(&cut), STANDARD.encode(&octets), String::new()]
        {
            assert_eq!(frames(&line), 0, "{line}");
        }
    }
}
