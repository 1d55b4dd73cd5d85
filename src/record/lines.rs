//! Datagrams as capture lines.

use std::io::{self, Write};

use jiff::Timestamp;

use crate::{
    id::Eui64,
    intake::{DatagramKind, datagram_events},
};

/// Writes datagrams as capture lines, the JSON of each as it came.
///
/// Octets that are no JSON that readers take, or one deeper than any datagram, are kept as well: in hex, as the member `octets`, which readers pass over.
///
/// ```
/// use handfast::{intake::DatagramKind, record::CaptureLineWriter};
///
/// let mut lines = CaptureLineWriter::new(Vec::new());
/// let at = "2026-04-18T06:10:03.210692Z".parse()?;
/// lines.write(Some(at), Some("020000fffea09442".parse()?), DatagramKind::PullData, Some(0x353C), b"")?;
/// assert_eq!(
///     String::from_utf8(lines.into_inner())?,
///     "{\"at\":\"2026-04-18T06:10:03.210692Z\",\"gateway\":\"020000fffea09442\",\
///      \"kind\":\"PULL_DATA\",\"token\":\"353c\"}\n"
/// );
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct CaptureLineWriter<W> {
    writer: W,
    line: Vec<u8>,
}

impl<W: Write> CaptureLineWriter<W> {
    /// Returns a writer; nothing is written yet.
    pub const fn new(writer: W) -> Self {
        Self { writer, line: Vec::new() }
    }

    /// Writes one line.
    ///
    /// # Errors
    ///
    /// Those of the stream.
    pub fn write(
        &mut self,
        at: Option<Timestamp>,
        gateway: Option<Eui64>,
        kind: DatagramKind,
        token: Option<u16>,
        json: &[u8],
    ) -> io::Result<()> {
        self.line.clear();
        self.line.push(b'{');
        if let Some(at) = at {
            write!(self.line, "\"at\":\"{at}\",")?;
        }
        if let Some(gateway) = gateway {
            write!(self.line, "\"gateway\":\"{}\",", gateway.hex())?;
        }
        write!(self.line, "\"kind\":\"{}\"", kind.name())?;
        if let Some(token) = token {
            write!(self.line, ",\"token\":\"{token:04x}\"")?;
        }
        // Some gateways count the closing zero of their string in.
        let json = trim_zeros(json).trim_ascii();
        if !json.is_empty() && is_readable(kind, json) {
            self.line.extend_from_slice(b",\"datagram\":");
            // In JSON a line end stands between members alone.
            let flat = |octet: &u8| if matches!(octet, b'\n' | b'\r') { b' ' } else { *octet };
            self.line.extend(json.iter().map(flat));
        } else if !json.is_empty() {
            write!(self.line, ",\"octets\":\"{}\"", hex::encode(json))?;
        }
        self.line.extend_from_slice(b"}\n");
        self.writer.write_all(&self.line)
    }

    /// Returns the stream.
    pub const fn get_ref(&self) -> &W {
        &self.writer
    }

    /// Returns the stream, to flush or sync it.
    pub const fn get_mut(&mut self) -> &mut W {
        &mut self.writer
    }

    /// Returns the stream.
    pub fn into_inner(self) -> W {
        self.writer
    }
}

/// Returns whether a line that holds it reads back, with the tools of others, too.
fn is_readable(kind: DatagramKind, json: &[u8]) -> bool {
    datagram_events(kind, json).is_ok() && depth(json) <= DEPTH
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

/// Some gateways count the closing zero of their text in.
fn trim_zeros(mut json: &[u8]) -> &[u8] {
    while let Some(rest) = json.strip_suffix(b"\0") {
        json = rest;
    }
    json
}

/// The protocol goes three deep. Many a reader of JSON ends at a hundred and more.
const DEPTH: usize = 64;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::{Capture, Event, Item, Leg, Note, What};

    fn line(kind: DatagramKind, json: &[u8]) -> String {
        let mut lines = CaptureLineWriter::new(Vec::new());
        lines.write(None, None, kind, Some(0x000A), json).unwrap();
        String::from_utf8(lines.into_inner()).unwrap()
    }

    fn events(text: &str) -> Vec<Event> {
        let event = |item| match item {
            Ok(Item::Event(event)) => event,
            other => panic!("{other:?}"),
        };
        Capture::new(text.as_bytes()).map(event).collect()
    }

    #[test]
    fn a_line_reads_back_to_the_datagram() {
        let json = b"{\"rxpk\":[\r\n{\"freq\":868.1,\"data\":\"QNq7AQIAAQACx4c=\"}]}\0";
        let text = line(DatagramKind::PushData, json);
        assert_eq!(text.matches('\n').count(), 1);
        let events = events(&text);
        assert_eq!((&events[0].what, events[0].wire.token), (&What::Asked(Leg::Push), Some(10)));
        assert_eq!(events[1].heard().unwrap().octets().len(), 11);
        assert!(events.len() == 2 && events.iter().all(|event| event.notes.is_empty()));
    }

    #[test]
    fn what_is_no_json_is_kept_and_takes_no_other_line_with_it() {
        let text = line(DatagramKind::PushData, b"{\"rxpk\":[{\"freq\n");
        assert!(text.contains("\"octets\":\"7b227278706b223a5b7b2266726571\""), "{text}");
        let events = events(&text);
        let notes: Vec<_> = events[0].notes.iter().map(Note::to_string).collect();
        assert_eq!(notes, ["datagram: PUSH_DATA without content"]);
    }

    #[test]
    fn depth_counts_what_is_no_text() {
        for (json, wanted) in [("[]", 1), ("{\"a[{\":[{}]}", 3), (r#"["\"[[",[]]"#, 2), ("7", 0)] {
            assert_eq!(depth(json.as_bytes()), wanted, "{json}");
        }
    }

    #[test]
    fn what_would_damage_a_line_or_add_to_it_is_kept_as_octets() {
        let deep = |n: usize| format!("{{\"x\":{}{}}}", "[".repeat(n), "]".repeat(n));
        for json in [
            "{\"rxpk\":[]},\"kind\":\"PULL_RESP\",\"x\":{}",
            "{} {}",
            "{\"rxpk\":[",
            "{\"x\":\"a\nb\"}",
            "{\"rxpk\":[{\"size\":1e999}]}",
            deep(126).as_str(),
            deep(60_000).as_str(),
        ] {
            let mut lines = CaptureLineWriter::new(Vec::new());
            lines.write(None, None, DatagramKind::PushData, None, json.as_bytes()).unwrap();
            let line: serde_json::Value = serde_json::from_slice(lines.get_ref()).unwrap();
            assert_eq!(line["kind"], "PUSH_DATA");
            assert_eq!(line["octets"].as_str(), Some(hex::encode(json).as_str()), "{json:.40}");
            assert!(line.get("datagram").is_none());
        }
        let mut lines = CaptureLineWriter::new(Vec::new());
        lines
            .write(None, None, DatagramKind::PushData, None, b"\r\n{\"stat\":\r\n{}}\n\0\0")
            .unwrap();
        assert_eq!(lines.into_inner(), b"{\"kind\":\"PUSH_DATA\",\"datagram\":{\"stat\":  {}}}\n");
    }
}
