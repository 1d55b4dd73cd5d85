//! The websocket protocol between a station (a gateway) and its network server: one JSON object a
//! message, frames taken apart into their fields.
//!
//! | message | event |
//! |---------|-------|
//! | `jreq`, `updf`, `dndf`, `propdf`, `jacc` | the frame, heard, put together again |
//! | `dnmsg` | an order for RX1 and one for RX2, its alternative |
//! | `dnsched` | an order for each entry |
//! | `dntxed` | the outcome of the alternative that was sent |
//! | `router_config`, `version` | how the gateway is set up |
//! | another session in a counter | a statement that the counter began again |
//! | discovery | that it asks, and what the server answers |
//! | `timesync` and the like | none |
//!
//! Data rates are numbers: the plan that the server gave the gateway says what they are. The counter
//! is the lower half of `xtime`'s microseconds; another session in it is a station that started again.
//! Source: the protocol's document, and the station's own source where that says more
//! (gateway reference, section 4).

mod fields;
mod frame;
mod plan;

use std::collections::{BTreeMap, HashMap, VecDeque};

use serde_json::{Map, Value};

use self::fields::Fields;
use super::{
    envelope::Envelope,
    event::{
        Damage, Discovery, Event, Gap, GatewayPlan, Heard, Lost, Ordered, Outcome, Said, Setup,
        Speaker, Statement, StationVersion, What, When, Witness,
    },
    note::{Note, Notes, Remark, Within},
    text::printable,
};
use crate::{
    frame::{Decoded, Direction, Frame},
    id::Eui64,
    radio::Modulation,
    region::Plan,
};

/// What earlier messages say of the later ones.
#[derive(Debug, Default)]
pub(super) struct Station {
    /// The gateway that was last discovered.
    router: Option<Eui64>,
    gateways: HashMap<Option<Eui64>, Gateway>,
    sent: VecDeque<Sent>,
    /// The number of the last order.
    last_number: u32,
}

/// What is known of one gateway.
#[derive(Debug, Default)]
struct Gateway {
    plan: Option<Box<GatewayPlan>>,
    region: Option<&'static Plan>,
    /// The session of each radio unit's counter.
    sessions: BTreeMap<u8, u8>,
}

/// A downlink that its gateway may report as sent.
#[derive(Debug)]
struct Sent {
    gateway: Option<Eui64>,
    id: i64,
    ways: Vec<Way>,
}

/// One of its alternatives.
#[derive(Clone, Copy, Debug)]
struct Way {
    number: u32,
    dr: Option<u8>,
    freq_hz: Option<u32>,
    when: When,
}

/// What is said of a downlink beside its windows.
#[derive(Clone, Copy, Debug)]
struct Asked {
    id: Option<i64>,
    gone: bool,
}

impl Station {
    /// Takes a message; returns whether it is one of this protocol.
    pub(super) fn message(
        &mut self,
        message: &Map<String, Value>,
        envelope: &Envelope,
        out: &mut Vec<Event>,
    ) -> bool {
        let Some(kind) = message.get("msgtype").and_then(Value::as_str) else {
            return self.discovery(message, envelope, out);
        };
        // A recorder may have added when it came, and through which gateway.
        let time = envelope.time.or_else(|| fields::time(message.get("at")?));
        let gateway = envelope.gateway.or_else(|| fields::eui(message.get("gateway")?));
        let gateway = gateway.or(self.router);
        let envelope = &Envelope { time, gateway, ..envelope.clone() };
        if let Some(kind) = HEARD.into_iter().find(|heard| *heard == kind) {
            self.heard(kind, message, envelope, out);
            return true;
        }
        match kind {
            "router_config" => out.push(self.configured(message, envelope)),
            "version" => out.push(version(message, envelope)),
            "dnmsg" => self.asked(message, envelope, out),
            "dnsched" => self.scheduled(message, envelope, out),
            "dntxed" => out.push(self.was_sent(message, envelope)),
            "timesync" | "getxtime" | "runcmd" | "rmtsh" | "error" | "alarm" => {}
            _ => return false,
        }
        true
    }

    /// Discovery has no type: a station names itself, its server answers.
    fn discovery(
        &mut self,
        message: &Map<String, Value>,
        envelope: &Envelope,
        out: &mut Vec<Event>,
    ) -> bool {
        let Some(router) = message.get("router").and_then(fields::eui) else { return false };
        let known = ["muxs", "uri", "error"].iter().any(|name| message.contains_key(*name));
        // A station says its name alone; a recorder may have added when, and through which gateway.
        let alone = message.keys().all(|name| matches!(&**name, "router" | "at" | "gateway"));
        if !known && !alone {
            return false;
        }
        self.router = Some(router);
        let discovery = match message.get("error") {
            Some(error) if !error.is_null() && !message.contains_key("uri") => {
                let words = error.as_str().map_or_else(|| error.to_string(), str::to_owned);
                let short: String = words.chars().take(LONGEST_REASON).collect();
                Discovery::Refused { reason: printable(&short).into_owned() }
            }
            _ if known => Discovery::Answered,
            _ => Discovery::Asked,
        };
        let time = envelope.time.or_else(|| fields::time(message.get("at")?));
        let envelope = Envelope { time, gateway: Some(router), ..envelope.clone() };
        out.push(envelope.event(What::Setup(Box::new(Setup::Discovery(discovery)))));
        true
    }

    fn gateway(&mut self, eui: Option<Eui64>) -> Option<&mut Gateway> {
        if self.gateways.len() >= MOST_GATEWAYS && !self.gateways.contains_key(&eui) {
            return None;
        }
        Some(self.gateways.entry(eui).or_default())
    }

    /// The modulation of a data rate of a gateway, by the table that its server gave it.
    fn rate(&self, gateway: Option<Eui64>, dr: Option<u8>, way: Direction) -> Option<Modulation> {
        let known = self.gateways.get(&gateway)?;
        let dr = dr?;
        let table = known.plan.as_ref().filter(|plan| plan.rates.iter().any(Option::is_some));
        match table {
            Some(plan) => *plan.rates.get(usize::from(dr))?,
            None => known.region?.dr(way, dr),
        }
    }

    fn configured(&mut self, message: &Map<String, Value>, envelope: &Envelope) -> Event {
        let mut notes = Notes::default();
        let within = Within::Message("router_config");
        let plan = plan::read(&mut Fields::new(message, within, &mut notes));
        if let Some(known) = self.gateway(envelope.gateway) {
            known.region = plan.channels();
            known.plan = Some(Box::new(plan.clone()));
        }
        said(envelope, What::Setup(Box::new(Setup::Plan(plan))), notes)
    }

    fn heard(
        &mut self,
        kind: &'static str,
        message: &Map<String, Value>,
        envelope: &Envelope,
        out: &mut Vec<Event>,
    ) {
        let mut notes = Notes::default();
        let mut fields = Fields::new(message, Within::Message(kind), &mut notes);
        let octets = match kind {
            "jreq" => frame::join_request(&mut fields),
            "updf" | "dndf" => frame::data(&mut fields),
            "propdf" | "jacc" => fields.hex("FRMPayload").ok_or("FRMPayload"),
            // Its members are those of a Join-Request, which no Rejoin-Request has.
            _ => Err(""),
        };
        let dr = fields.small("DR");
        let freq_hz = fields.hertz("Freq");
        let empty = Map::new();
        let info = message.get("upinfo").and_then(Value::as_object).unwrap_or(&empty);
        let mut info = Fields::new(info, Within::Message("upinfo"), fields.notes);
        let xtime = info.integer("xtime", 0..=i64::MAX);
        if xtime.is_some_and(|xtime| self.begins_again(envelope.gateway, xtime)) {
            let (by, what) = (Speaker::Gateway, Statement::CounterRestarted);
            let statement = Said { by, about: None, what, words: None };
            out.push(envelope.event(What::Said(Box::new(statement))));
        }
        let octets = match octets {
            Ok(octets) => octets,
            Err(member) => {
                let remark = if member.is_empty() { Remark::NoOctets } else { Remark::Needed };
                let note = Note { within: Within::Message(kind), member, remark };
                out.push(lost(envelope, Lost::Uplink, note, notes));
                return;
            }
        };
        let heard = Heard {
            tmst: xtime.map(counter),
            tmms: info.integer("gpstime", 1..=i64::MAX).and_then(milliseconds),
            time: info.seconds("rxtime"),
            freq_hz,
            modulation: self.rate(envelope.gateway, dr, Direction::Uplink),
            rssi: info.decimal("rssi"),
            snr: info.decimal("snr"),
            ..Heard::new(&octets)
        };
        let plan = self.gateways.get(&envelope.gateway).and_then(|known| known.plan.as_ref());
        if let Some(remark) = plan.and_then(|plan| filtered(plan, &heard.frame)) {
            notes.push(Within::Message(kind), "", remark);
        }
        out.push(said(envelope, What::Heard(Box::new(heard)), notes));
    }

    /// Remembers the session of a counter; returns whether it is another than before.
    fn begins_again(&mut self, gateway: Option<Eui64>, xtime: i64) -> bool {
        let (unit, now) = session(xtime);
        let Some(known) = self.gateway(gateway) else { return false };
        known.sessions.insert(unit, now).is_some_and(|before| before != now)
    }

    /// Returns whether a slot is of a session of the counter that is over, with a note if it is.
    fn is_gone(
        &self,
        kind: &'static str,
        envelope: &Envelope,
        xtime: Option<i64>,
        notes: &mut Notes,
    ) -> bool {
        let gone = xtime.is_some_and(|xtime| {
            let (unit, session) = session(xtime);
            let known = self.gateways.get(&envelope.gateway);
            known.and_then(|known| known.sessions.get(&unit)).is_some_and(|now| *now != session)
        });
        if gone {
            notes.push(Within::Message(kind), "xtime", Remark::Told(OTHER_SESSION));
        }
        gone
    }

    /// `dnmsg`: the station picks the window itself, RX1 where it can.
    fn asked(&mut self, message: &Map<String, Value>, envelope: &Envelope, out: &mut Vec<Event>) {
        let mut notes = Notes::default();
        let within = Within::Message("dnmsg");
        let mut fields = Fields::new(message, within, &mut notes);
        let Some(octets) = fields.hex("pdu") else {
            let note = Note { within, member: "pdu", remark: Remark::Needed };
            return out.push(lost(envelope, Lost::Downlink, note, notes));
        };
        let class = fields.integer("dC", 0..=2).unwrap_or_default();
        // 0 is sent as 1, as RxDelay of a Join-Accept means it.
        let delay = fields.integer("RxDelay", 0..=15).map(|s| s.max(1));
        let xtime = fields.integer("xtime", 1..=i64::MAX);
        let gps = fields.integer("gpstime", 1..=i64::MAX).and_then(milliseconds);
        let rx1 = (fields.small("RX1DR"), fields.hertz("RX1Freq"));
        let rx2 = (fields.small("RX2DR"), fields.hertz("RX2Freq"));
        let slot = (fields.small("DR"), fields.hertz("Freq"));
        let after = |seconds: i64| {
            let at = xtime.map(|xtime| counter(xtime).wrapping_add(microseconds(seconds)));
            at.map_or(When::Unsaid, When::Counter)
        };
        let first = delay.map_or(When::Unsaid, after);
        let second = match class {
            CLASS_C => When::Immediate,
            _ => delay.map_or(When::Unsaid, |s| after(s + 1)),
        };
        let at_gps = gps.map_or(When::Unsaid, When::Gps);
        let windows = [(rx1, first), (rx2, second), (slot, at_gps)];
        let mut ways: Vec<_> = windows.into_iter().filter(|((_, hz), _)| hz.is_some()).collect();
        if ways.is_empty() {
            ways.push((slot, first));
        }
        let gone = self.is_gone("dnmsg", envelope, xtime, &mut notes);
        let asked = Asked { id: id_of(message), gone };
        self.alternatives(&octets, &ways, asked, envelope, notes, out);
    }

    fn alternatives(
        &mut self,
        octets: &[u8],
        ways: &[(Tuned, When)],
        Asked { id, gone }: Asked,
        envelope: &Envelope,
        mut notes: Notes,
        out: &mut Vec<Event>,
    ) {
        let mut sent = Vec::new();
        for (alternative, ((dr, freq_hz), when)) in ways.iter().enumerate() {
            let number = self.next_number();
            let (dr, freq_hz, when) = (*dr, *freq_hz, *when);
            sent.push(Way { number, dr, freq_hz, when });
            let ordered = Ordered {
                when,
                freq_hz,
                modulation: self.rate(envelope.gateway, dr, Direction::Downlink),
                alternative: alternative > 0,
                gone,
                number: Some(number),
                ..Ordered::new(octets)
            };
            let what = What::Ordered(Box::new(ordered));
            out.push(said(envelope, what, std::mem::take(&mut notes)));
        }
        if let Some(id) = id {
            self.sent.push_back(Sent { gateway: envelope.gateway, id, ways: sent });
            if self.sent.len() > MOST_SENT {
                self.sent.pop_front();
            }
        }
    }

    fn scheduled(
        &mut self,
        message: &Map<String, Value>,
        envelope: &Envelope,
        out: &mut Vec<Event>,
    ) {
        let entries = message.get("schedule").and_then(Value::as_array);
        for entry in entries.into_iter().flatten().filter_map(Value::as_object) {
            let mut notes = Notes::default();
            let within = Within::Message("dnsched");
            let mut fields = Fields::new(entry, within, &mut notes);
            let Some(octets) = fields.hex("pdu") else {
                let note = Note { within, member: "pdu", remark: Remark::Needed };
                out.push(lost(envelope, Lost::Downlink, note, notes));
                continue;
            };
            let xtime = fields.integer("xtime", 1..=i64::MAX);
            let gps = fields.integer("gpstime", 1..=i64::MAX).and_then(milliseconds);
            let when = xtime
                .map(counter)
                .map(When::Counter)
                .or(gps.map(When::Gps))
                .unwrap_or(When::Unsaid);
            let way = ((fields.small("DR"), fields.hertz("Freq")), when);
            let gone = self.is_gone("dnsched", envelope, xtime, &mut notes);
            let asked = Asked { id: id_of(entry), gone };
            self.alternatives(&octets, &[way], asked, envelope, notes, out);
        }
    }

    /// `dntxed`: which of the alternatives went out shows in its frequency, rate and time.
    fn was_sent(&mut self, message: &Map<String, Value>, envelope: &Envelope) -> Event {
        let mut notes = Notes::default();
        let mut fields = Fields::new(message, Within::Message("dntxed"), &mut notes);
        let id = id_of(message);
        let (dr, hz) = (fields.small("DR"), fields.hertz("Freq"));
        let at = fields.integer("xtime", 1..=i64::MAX).map(counter);
        let asked = self
            .sent
            .iter()
            .rposition(|sent| sent.gateway == envelope.gateway && Some(sent.id) == id)
            .and_then(|place| self.sent.remove(place));
        let way = asked.and_then(|asked| {
            let apart = |way: &Way| match (way.when, at) {
                (When::Counter(slot), Some(at)) => slot.wrapping_sub(at).min(at.wrapping_sub(slot)),
                _ => u32::MAX,
            };
            let misfits = |way: &Way| {
                u8::from(hz.is_some() && way.freq_hz != hz) + u8::from(dr.is_some() && way.dr != dr)
            };
            asked.ways.into_iter().min_by_key(|way| (misfits(way), apart(way)))
        });
        // A report of what was asked before the log began must not go to another downlink.
        let number = way.map_or_else(|| self.next_number(), |way| way.number);
        let (number, by) = (Some(number), Witness::Station);
        let outcome = Outcome { number, by, ..Outcome::default() };
        said(envelope, What::Outcome(Box::new(outcome)), notes)
    }

    fn next_number(&mut self) -> u32 {
        self.last_number = self.last_number.wrapping_add(1);
        self.last_number
    }
}

/// Data rate and frequency of a window.
type Tuned = (Option<u8>, Option<u32>);

fn said(envelope: &Envelope, what: What, notes: Notes) -> Event {
    Event { notes: notes.into_vec(), ..envelope.event(what) }
}

fn lost(envelope: &Envelope, lost: Lost, note: Note, notes: Notes) -> Event {
    said(envelope, What::Gap(Box::new(Gap { lost, damage: Damage::Member(note) })), notes)
}

/// `version`: what the station says about itself.
fn version(message: &Map<String, Value>, envelope: &Envelope) -> Event {
    let text = |member| {
        let text = message.get(member).and_then(Value::as_str)?;
        Some(printable(&text.chars().take(LONGEST_VERSION).collect::<String>()).into_owned())
    };
    let protocol = message.get("protocol").and_then(Value::as_u64);
    let version = StationVersion {
        protocol: protocol.and_then(|number| number.try_into().ok()),
        station: text("station"),
        features: text("features"),
    };
    envelope.event(What::Setup(Box::new(Setup::Version(version))))
}

/// What the gateway's own filter does to a frame.
fn filtered(plan: &GatewayPlan, frame: &Decoded) -> Option<Remark> {
    match frame.frame.as_ref()? {
        Frame::JoinRequest(request) if !plan.passes_join(request.join_eui) => {
            Some(Remark::Told(JOIN_FILTERED))
        }
        Frame::Data(data) if !plan.passes_data(data.dev_addr) => Some(Remark::Told(DATA_FILTERED)),
        _ => None,
    }
}

/// The number by which a report finds its downlink.
fn id_of(message: &Map<String, Value>) -> Option<i64> {
    message.get("diid").or_else(|| message.get("seqno"))?.as_i64()
}

/// The lower half of the microseconds, bits 47 to 0.
const fn counter(xtime: i64) -> u32 {
    let [.., a, b, c, d] = xtime.to_be_bytes();
    u32::from_be_bytes([a, b, c, d])
}

/// The radio unit, bits 62 to 56, and the session of its counter, bits 55 to 48.
const fn session(xtime: i64) -> (u8, u8) {
    let [unit, session, ..] = xtime.to_be_bytes();
    (unit, session)
}

fn milliseconds(microseconds: i64) -> Option<u64> {
    u64::try_from(microseconds / 1_000).ok()
}

fn microseconds(seconds: i64) -> u32 {
    u32::try_from(seconds * 1_000_000).unwrap_or_default()
}

/// Messages of what a station heard. `rejoin` has the members of a Join-Request.
const HEARD: [&str; 6] = ["jreq", "rejoin", "updf", "dndf", "propdf", "jacc"];
const CLASS_C: i64 = 2;
const MOST_GATEWAYS: usize = 4_096;
const MOST_SENT: usize = 4_096;
/// Characters of a version or a list of features that are kept.
const LONGEST_VERSION: usize = 64;
/// Characters of a server's reason that are kept.
const LONGEST_REASON: usize = 120;
const OTHER_SESSION: &str =
    "of a session that is gone: the station began again since, and drops this downlink";
const JOIN_FILTERED: &str =
    "this JoinEUI is outside JoinEui of router_config: with that in force the station drops it";
const DATA_FILTERED: &str =
    "this DevAddr is outside NetID of router_config: with that in force the station drops it";
