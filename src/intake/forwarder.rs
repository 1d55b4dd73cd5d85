//! The gateway's UDP protocol: datagrams as on the wire, and as capture lines.
//!
//! Members are read as the protocol's document names them; those that it does not name are passed
//! over, and one that is damaged takes nothing else with it.
//!
//! | datagram | events |
//! |----------|--------|
//! | PUSH_DATA | the PUSH_DATA itself, each frame of `rxpk`, `stat` |
//! | PULL_DATA, PUSH_ACK, PULL_ACK | itself |
//! | PULL_RESP | `txpk`, or a gap where it has none |
//! | TX_ACK | `txpk_ack`, or a gap where it cannot be read |

mod members;

use self::members::Receptions;
use super::{
    envelope::Envelope,
    error::{IntakeError, WireError},
    event::{
        Closed, Damage, Event, Gap, Leg, Lost, Ordered, Outcome, Position, Sender, Stat, What, Wire,
    },
    header::{DatagramKind, Header},
    json::{List, Made, Scalar, Shape, members, read},
    member::Member,
    note::{Note, Notes, Remark, Within},
    text::printable,
};

/// Reads a capture line.
pub(super) fn capture_line(
    text: &str,
    place: Position,
    out: &mut Vec<Event>,
) -> Result<(), IntakeError> {
    let mut line = Line::default();
    read(text, &mut line).map_err(|e| IntakeError::json(&e))?;
    if line.shape != Shape::Right {
        return Err(IntakeError::NotAnObject);
    }
    let mut notes = Notes::default();
    let mut say = Member { within: Within::Line, notes: &mut notes };
    say.repeated(line.repeated);
    let time = say.at("at", &line.at);
    let gateway = say.eui("gateway", &line.gateway);
    if line.is_closing() {
        let what = What::Closed(Box::new(line.closed(&mut say)));
        let envelope = Envelope { time, gateway, ..Envelope::at(place) };
        out.push(Event { notes: notes.into_vec(), ..envelope.event(what) });
        return Ok(());
    }
    let token = say.token("token", &line.token);
    let stated = say.kind("kind", &line.kind);
    let body = &mut line.datagram;
    match body.shape {
        Shape::Right => {}
        Shape::Wrong(found) => {
            say.note("datagram", Remark::WrongType { wanted: "an object or null", found });
        }
        Shape::Absent => {
            body.rxpk = line.rxpk.map(|bare| *bare).unwrap_or_default();
            body.txpk = line.txpk.map(|bare| *bare).unwrap_or_default();
            body.txpk_ack = line.txpk_ack.map(|bare| *bare).unwrap_or_default();
            body.stat = line.stat.map(|bare| *bare).unwrap_or_default();
        }
    }
    let kind = stated.or_else(|| body.kind()).ok_or(IntakeError::NoDatagram)?;
    let wire = Wire { token, ..wire_of(kind) };
    body.events(kind, notes, &Envelope { time, gateway, wire, ..Envelope::at(place) }, out);
    Ok(())
}

/// Returns the events of a datagram of a kind whose JSON is given, as it follows the header on the wire.
///
/// `json` may be empty where the kind needs none: a TX_ACK without JSON reports success.
/// Position, time, gateway and token are left for the caller, who has the header.
///
/// # Errors
///
/// [`IntakeError::NotUtf8`], [`IntakeError::Json`].
pub fn datagram_events(kind: DatagramKind, json: &[u8]) -> Result<Vec<Event>, IntakeError> {
    body_events(kind, json, &Envelope { wire: wire_of(kind), ..Envelope::default() })
}

/// Returns the events of a datagram as it came off the wire; place and time are left for the caller.
///
/// # Errors
///
/// [`WireError`].
pub fn wire_events(octets: &[u8]) -> Result<Vec<Event>, WireError> {
    let header = Header::read(octets)?;
    let Header { version, token, kind, gateway, json_at: at } = header;
    let json = octets.get(at..).unwrap_or_default();
    // The protocol's version 1 leaves the octets of a PULL_RESP unused.
    let unused = version == 1 && kind == DatagramKind::PullResp;
    let token = (!unused).then_some(token);
    let wire = Wire { token, version: Some(version), ..wire_of(kind) };
    body_events(kind, json, &Envelope { gateway, wire, ..Envelope::default() })
        .map_err(|why| WireError::Json { at, why })
}

fn body_events(
    kind: DatagramKind,
    json: &[u8],
    envelope: &Envelope,
) -> Result<Vec<Event>, IntakeError> {
    let text = std::str::from_utf8(json)
        .map_err(|e| IntakeError::NotUtf8 { column: e.valid_up_to() + 1 })?
        // Some gateways count the closing zero of their string in.
        .trim_end_matches('\0');
    let mut body = Body::default();
    if !text.trim().is_empty() {
        read(text, &mut body).map_err(|e| IntakeError::json(&e))?;
    }
    let mut notes = Notes::default();
    if let Shape::Wrong(found) = body.shape {
        notes.push(Within::Line, "datagram", Remark::WrongType { wanted: "an object", found });
    }
    let mut out = Vec::new();
    body.events(kind, notes, envelope, &mut out);
    Ok(out)
}

fn wire_of(kind: DatagramKind) -> Wire {
    let sender = if kind.is_from_gateway() { Sender::Gateway } else { Sender::Server };
    Wire { sender: Some(sender), ..Wire::default() }
}

members! {
    /// A line of a capture: an envelope around a datagram, or the datagram itself.
    ///
    /// Members of a bare datagram are boxed: they are rare, and the line is moved about.
    Line<'a> {
        at: Scalar<'a> = "at",
        gateway: Scalar<'a> = "gateway",
        kind: Scalar<'a> = "kind",
        token: Scalar<'a> = "token",
        code: Scalar<'a> = "code",
        reason: Scalar<'a> = "reason",
        datagram: Body<'a> = "datagram",
        rxpk: Option<Box<List<Receptions>>> = "rxpk",
        txpk: Option<Box<Made<Ordered>>> = "txpk",
        txpk_ack: Option<Box<Made<Outcome>>> = "txpk_ack",
        stat: Option<Box<Made<Stat>>> = "stat",
    }
}

members! {
    /// The JSON of a datagram.
    Body<'a> {
        rxpk: List<Receptions> = "rxpk",
        txpk: Made<Ordered> = "txpk",
        txpk_ack: Made<Outcome> = "txpk_ack",
        stat: Made<Stat> = "stat",
    }
}

impl Line<'_> {
    /// Returns whether it says that a websocket connection ended.
    fn is_closing(&self) -> bool {
        matches!(&self.kind, Scalar::Text(kind) if kind.eq_ignore_ascii_case("close"))
    }

    fn closed(&self, say: &mut Member<'_>) -> Closed {
        let code = say.small("code", &self.code);
        let reason = say.text("reason", &self.reason, "a text").filter(|text| !text.is_empty());
        let short = |text: &str| text.chars().take(LONGEST_REASON).collect::<String>();
        Closed { code, reason: reason.map(|text| printable(&short(text)).into_owned()) }
    }
}

impl Body<'_> {
    /// Returns the kind that its members are of.
    fn kind(&self) -> Option<DatagramKind> {
        if self.rxpk.shape != Shape::Absent || self.stat.shape != Shape::Absent {
            Some(DatagramKind::PushData)
        } else if self.txpk.shape != Shape::Absent {
            Some(DatagramKind::PullResp)
        } else if self.txpk_ack.shape != Shape::Absent {
            Some(DatagramKind::TxAck)
        } else {
            None
        }
    }

    /// Says what a datagram of that kind with these members says. What is odd goes with the first
    /// event, and what is lost is a gap of its own.
    fn events(
        &mut self,
        kind: DatagramKind,
        notes: Notes,
        envelope: &Envelope,
        out: &mut Vec<Event>,
    ) {
        let mut notes = self.notes(kind, notes);
        let head = match kind {
            DatagramKind::PushData => Some(What::Asked(Leg::Push)),
            DatagramKind::PullData => Some(What::Asked(Leg::Pull)),
            DatagramKind::PushAck => Some(What::Acknowledged(Leg::Push)),
            DatagramKind::PullAck => Some(What::Acknowledged(Leg::Pull)),
            DatagramKind::PullResp | DatagramKind::TxAck => None,
        };
        let first = out.len();
        out.extend(head.map(|what| envelope.event(what)));
        let gap = |lost, note| {
            let damage = Damage::Member(note);
            envelope.event(What::Gap(Box::new(Gap { lost, damage })))
        };
        for note in notes.extract_if(.., |note| note.loses_a_frame()) {
            let lost = if note.within == Within::Downlink { Lost::Downlink } else { Lost::Uplink };
            out.push(gap(lost, note));
        }
        for heard in std::mem::take(&mut self.rxpk.items.whole) {
            out.push(envelope.event(What::Heard(Box::new(heard))));
        }
        if let Some(ordered) = self.txpk.value.take() {
            out.push(envelope.event(What::Ordered(Box::new(ordered))));
        }
        if kind == DatagramKind::TxAck
            && let Some(outcome) = self.outcome()
        {
            out.push(envelope.event(What::Outcome(Box::new(outcome))));
        }
        if let Some(stat) = self.stat.value.take() {
            out.push(envelope.event(What::Status(Box::new(stat))));
        }
        // What such a datagram is for must not be missed in silence.
        let lost = match kind {
            DatagramKind::PullResp => Lost::Downlink,
            DatagramKind::TxAck => Lost::Outcome,
            _ => Lost::Uplink,
        };
        let says = |event: &Event| match (&event.what, lost) {
            (What::Ordered(_), Lost::Downlink) | (What::Outcome(_), Lost::Outcome) => true,
            (What::Gap(gap), _) => gap.lost == lost,
            _ => lost == Lost::Uplink,
        };
        if !out.iter().skip(first).any(says) {
            let note = if notes.is_empty() {
                let (within, member) = (Within::Line, "datagram");
                Note { within, member, remark: Remark::Missing(kind) }
            } else {
                notes.remove(0)
            };
            out.push(gap(lost, note));
        }
        if let Some(event) = out.get_mut(first) {
            event.notes = notes;
        }
    }

    /// Returns what is odd.
    fn notes(&mut self, kind: DatagramKind, mut notes: Notes) -> Vec<Note> {
        let mut say = Member { within: Within::Line, notes: &mut notes };
        say.repeated(self.repeated);
        let members = [
            ("rxpk", self.rxpk.shape, DatagramKind::PushData),
            ("stat", self.stat.shape, DatagramKind::PushData),
            ("txpk", self.txpk.shape, DatagramKind::PullResp),
            ("txpk_ack", self.txpk_ack.shape, DatagramKind::TxAck),
        ];
        for (member, shape, belongs) in members {
            if let Shape::Wrong(found) = shape {
                let wanted = if member == "rxpk" { "a list of objects" } else { "an object" };
                say.note(member, Remark::WrongType { wanted, found });
            } else if shape == Shape::Right && kind != belongs {
                say.note(member, Remark::Foreign(kind));
            }
        }
        let empty = self.kind().is_none();
        if empty && matches!(kind, DatagramKind::PushData | DatagramKind::PullResp) {
            say.note("datagram", Remark::Missing(kind));
        }
        let rxpk = &mut self.rxpk.items.notes;
        for of_member in
            [rxpk, &mut self.txpk.notes, &mut self.txpk_ack.notes, &mut self.stat.notes]
        {
            notes.append(of_member);
        }
        notes.into_vec()
    }

    /// A gateway that has nothing to complain of sends no JSON, or an empty object.
    fn outcome(&mut self) -> Option<Outcome> {
        let readable = !matches!(self.shape, Shape::Wrong(_));
        let untold = readable && self.txpk_ack.shape == Shape::Absent;
        if untold { Some(Outcome::default()) } else { self.txpk_ack.value.take() }
    }
}

/// Characters of the reason that are kept: a close frame has room for 123 bytes (RFC 6455, 5.5).
const LONGEST_REASON: usize = 123;

#[cfg(test)]
mod tests {
    use super::*;

    const EUI: [u8; 8] = [2, 0, 0, 0xFF, 0xFE, 0xA0, 0x94, 0x42];

    fn from_gateway(version: u8, identifier: u8, json: &str) -> Vec<u8> {
        [&[version, 0x7B, 0x22, identifier][..], &EUI, json.as_bytes()].concat()
    }

    fn only(octets: &[u8]) -> Event {
        let [event] = wire_events(octets).unwrap().try_into().unwrap();
        event
    }

    #[test]
    fn a_tx_ack_of_the_older_document_has_its_json_at_octet_4() {
        let json = r#"{"txpk_ack":{"error":"TOO_LATE"}}"#;
        let old = only(&[&[2, 1, 2, 5][..], json.as_bytes()].concat());
        let new = only(&from_gateway(2, 5, json));
        assert_eq!(old.what, new.what);
        assert_eq!((old.gateway, old.wire.token), (None, Some(0x0102)));
        assert_eq!(only(&[2, 1, 2, 5]).outcome(), Some(&Outcome::default()));
    }

    #[test]
    fn json_is_read_where_the_header_ends_even_if_a_token_holds_a_brace() {
        let json = r#"{"rxpk":[{"freq":868.1,"data":"QNq7AQIAAQACx4c="}]}"#;
        let events = wire_events(&from_gateway(2, 0, json)).unwrap();
        assert_eq!((events.len(), events[1].wire.token), (2, Some(0x7B22)));
        assert_eq!(events[0].what, What::Asked(Leg::Push));
        assert_eq!(events[1].heard().unwrap().octets().len(), 11);
        let cut = wire_events(&from_gateway(2, 0, &json[..20])).unwrap_err();
        assert!(matches!(cut, WireError::Json { at: 12, .. }), "{cut}");
    }

    #[test]
    fn what_a_datagram_is_for_is_there_or_a_gap() {
        for (kind, json, lost) in [
            (DatagramKind::PullResp, "", Lost::Downlink),
            (DatagramKind::PullResp, r#"{"txpk":7}"#, Lost::Downlink),
            (DatagramKind::PullResp, r#"{"txpk":{"data":"*"}}"#, Lost::Downlink),
            (DatagramKind::PullResp, r#"{"stat":{}}"#, Lost::Downlink),
            (DatagramKind::TxAck, r#"{"txpk_ack":{"error":7}}"#, Lost::Outcome),
            (DatagramKind::TxAck, "7", Lost::Outcome),
            (DatagramKind::PushData, r#"{"rxpk":[{"data":"*"}]}"#, Lost::Uplink),
        ] {
            let events = datagram_events(kind, json.as_bytes()).unwrap();
            let gaps: Vec<_> = events.iter().filter_map(Event::gap).collect();
            assert_eq!(gaps.len(), 1, "{kind:?} {json}: {events:?}");
            assert_eq!(gaps[0].lost, lost, "{kind:?} {json}");
        }
    }
}
