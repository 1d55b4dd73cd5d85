//! A datagram as a capture line.

use serde::de::IgnoredAny;

use super::caught::Caught;

/// Writes a datagram as one line; says whether it can be one. Its JSON stays as it came, but for line
/// ends, so that nothing is lost that a reader of tomorrow may ask for.
pub(super) fn write(caught: &Caught, out: &mut Vec<u8>) -> bool {
    let begun = out.len();
    let header = caught.header;
    let mut head = format!("{{\"at\":\"{:.6}\"", caught.at);
    if let Some(gateway) = caught.gateway {
        head.push_str(&format!(",\"gateway\":\"{}\"", gateway.hex()));
    }
    head.push_str(&format!(",\"kind\":\"{}\"", header.kind.name()));
    // The protocol's version 1 leaves the octets of a PULL_RESP unused.
    if header.version != 1 || header.kind != crate::intake::Kind::PullResp {
        head.push_str(&format!(",\"token\":\"{:04x}\"", header.token));
    }
    out.extend_from_slice(head.as_bytes());
    let json = caught.octets.get(header.json_at..).unwrap_or_default();
    let json = trim_zeros(json).trim_ascii();
    if !json.is_empty() {
        // By itself, too: what ends its object early would add members to the line.
        if !is_json(json) {
            out.truncate(begun);
            return false;
        }
        out.extend_from_slice(b",\"datagram\":");
        out.extend_from_slice(json);
    }
    out.push(b'}');
    let line = out.get_mut(begun..).unwrap_or_default();
    if !is_json(line) {
        out.truncate(begun);
        return false;
    }
    // Line ends of sound JSON stand between its members, where a space does as well.
    for octet in line.iter_mut().filter(|octet| matches!(octet, b'\n' | b'\r')) {
        *octet = b' ';
    }
    out.push(b'\n');
    true
}

fn is_json(octets: &[u8]) -> bool {
    std::str::from_utf8(octets).is_ok_and(|text| serde_json::from_str::<IgnoredAny>(text).is_ok())
}

/// Some gateways count the closing zero of their text in.
fn trim_zeros(mut json: &[u8]) -> &[u8] {
    while let Some(rest) = json.strip_suffix(b"\0") {
        json = rest;
    }
    json
}
