//! The websocket protocol between a station (a gateway) and its network server: one JSON object a
//! message, frames taken apart into their fields.
//!
//! | message | becomes |
//! |---------|---------|
//! | `jreq`, `updf`, `dndf`, `propdf`, `jacc` | PUSH_DATA with the frame put together again |
//! | `dnmsg` | a PULL_RESP for RX1 and one for RX2, its alternative |
//! | `dnsched` | a PULL_RESP for each entry |
//! | `dntxed` | TX_ACK for the alternative that was sent |
//! | `router_config` | PULL_ACK with the gateway's plan |
//! | discovery, `version`, `timesync` and the like | nothing; discovery names the gateway |
//!
//! Data rates are numbers: the plan that the server gave the gateway says what they are. The counter
//! is the lower half of `xtime`'s microseconds; another session in it is a station that began anew.
//! Source: the protocol's document, and the station's own source where that says more
//! (gateway reference, section 4).

mod fields;
mod frame;
mod plan;

use std::collections::{BTreeMap, HashMap, VecDeque};

use jiff::Timestamp;
use serde_json::{Map, Value};

use self::fields::Fields;
pub(super) use self::plan::region;
use super::{
    datagram::{Datagram, Downlink, Found, GatewayPlan, Kind, TxAck, Uplink, When},
    note::{Notes, Place, Remark},
};
use crate::{
    frame::{Direction, Frame, decode},
    id::Eui64,
    radio::Modulation,
    region::Plan,
};

/// What stands around a message: its line, and what a prefix says.
#[derive(Clone, Copy, Debug)]
pub(super) struct Around {
    pub(super) line: u64,
    pub(super) at: Option<Timestamp>,
    pub(super) gateway: Option<Eui64>,
    pub(super) found: Found,
}

/// What earlier messages say of the later ones.
#[derive(Debug, Default)]
pub(super) struct Station {
    /// The gateway that was last discovered.
    router: Option<Eui64>,
    gateways: HashMap<Option<Eui64>, Gateway>,
    sent: VecDeque<Sent>,
    token: u16,
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
    token: u16,
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
    /// Returns the datagrams that a message stands for; `None` where it is none of this protocol.
    pub(super) fn message(
        &mut self,
        message: &Map<String, Value>,
        around: Around,
    ) -> Option<Vec<Datagram>> {
        let Some(kind) = message.get("msgtype").and_then(Value::as_str) else {
            return self.discovery(message);
        };
        let around = Around { gateway: around.gateway.or(self.router), ..around };
        if let Some(kind) = HEARD.into_iter().find(|heard| *heard == kind) {
            return Some(vec![self.heard(kind, message, around)]);
        }
        let datagrams = match kind {
            "router_config" => vec![self.configured(message, around)],
            "dnmsg" => self.asked(message, around),
            "dnsched" => self.scheduled(message, around),
            "dntxed" => vec![self.was_sent(message, around)],
            "version" | "timesync" | "getxtime" | "runcmd" | "rmtsh" | "error" | "alarm" => vec![],
            _ => return None,
        };
        Some(datagrams)
    }

    /// Discovery has no type: a station names itself, its server answers.
    fn discovery(&mut self, message: &Map<String, Value>) -> Option<Vec<Datagram>> {
        let router = fields::eui(message.get("router")?)?;
        let known = ["muxs", "uri", "error"].iter().any(|name| message.contains_key(*name));
        if !known && message.len() > 1 {
            return None;
        }
        self.router = Some(router);
        Some(vec![])
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

    fn configured(&mut self, message: &Map<String, Value>, around: Around) -> Datagram {
        let mut notes = Notes::default();
        let plan = Box::new(plan::read(&mut Fields::new(
            message,
            Place::Message("router_config"),
            &mut notes,
        )));
        if let Some(known) = self.gateway(around.gateway) {
            known.region = plan.channels();
            known.plan = Some(plan.clone());
        }
        Datagram { plan: Some(plan), ..around.datagram(Kind::PullAck, notes) }
    }

    fn heard(
        &mut self,
        kind: &'static str,
        message: &Map<String, Value>,
        around: Around,
    ) -> Datagram {
        let mut notes = Notes::default();
        let mut fields = Fields::new(message, Place::Message(kind), &mut notes);
        let octets = match kind {
            "jreq" => frame::join_request(&mut fields),
            "updf" | "dndf" => frame::data(&mut fields),
            "propdf" | "jacc" => fields.hex("FRMPayload").ok_or("FRMPayload"),
            // Its members are those of a Join-Request, which no Rejoin-Request has.
            _ => Err(""),
        };
        let octets = match octets {
            Ok(octets) => Some(octets),
            Err(member) => {
                let remark = if member.is_empty() { Remark::NoOctets } else { Remark::Needed };
                fields.note(member, remark);
                None
            }
        };
        let dr = fields.small("DR");
        let freq_hz = fields.hertz("Freq");
        let empty = Map::new();
        let info = message.get("upinfo").and_then(Value::as_object).unwrap_or(&empty);
        let mut info = Fields::new(info, Place::Message("upinfo"), fields.notes);
        let xtime = info.integer("xtime", 0..=i64::MAX);
        let restarted = xtime.is_some_and(|xtime| self.goes_on(around.gateway, xtime));
        let uplink = octets.map(|octets| Uplink {
            octets,
            tmst: xtime.map(counter),
            tmms: info.integer("gpstime", 1..=i64::MAX).and_then(milliseconds),
            time: info.seconds("rxtime"),
            freq_hz,
            modulation: self.rate(around.gateway, dr, Direction::Uplink),
            rssi: info.decimal("rssi"),
            snr: info.decimal("snr"),
            ..Uplink::default()
        });
        if let Some(up) = &uplink
            && let Some(plan) = self.gateways.get(&around.gateway).and_then(|g| g.plan.as_ref())
            && let Some(remark) = filtered(plan, &up.octets)
        {
            notes.push(Place::Message(kind), "", remark);
        }
        let rxpk = uplink.into_iter().collect();
        Datagram { rxpk, restarted, ..around.datagram(Kind::PushData, notes) }
    }

    /// Remembers the session of a counter; returns whether it is another than before.
    fn goes_on(&mut self, gateway: Option<Eui64>, xtime: i64) -> bool {
        let (unit, now) = session(xtime);
        let Some(known) = self.gateway(gateway) else { return false };
        known.sessions.insert(unit, now).is_some_and(|before| before != now)
    }

    /// Returns whether a slot is of a session of the counter that is over, with a note if it is.
    fn is_gone(
        &self,
        kind: &'static str,
        around: Around,
        xtime: Option<i64>,
        notes: &mut Notes,
    ) -> bool {
        let gone = xtime.is_some_and(|xtime| {
            let (unit, session) = session(xtime);
            let known = self.gateways.get(&around.gateway);
            known.and_then(|known| known.sessions.get(&unit)).is_some_and(|now| *now != session)
        });
        if gone {
            notes.push(Place::Message(kind), "xtime", Remark::Told(OTHER_SESSION));
        }
        gone
    }

    /// `dnmsg`: the station picks the window itself, RX1 where it can.
    fn asked(&mut self, message: &Map<String, Value>, around: Around) -> Vec<Datagram> {
        let mut notes = Notes::default();
        let mut fields = Fields::new(message, Place::Message("dnmsg"), &mut notes);
        let Some(octets) = fields.hex("pdu") else {
            fields.note("pdu", Remark::Needed);
            return vec![around.datagram(Kind::PullResp, notes)];
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
        let gone = self.is_gone("dnmsg", around, xtime, &mut notes);
        let asked = Asked { id: id_of(message), gone };
        self.alternatives(&octets, &ways, asked, around, notes)
    }

    fn alternatives(
        &mut self,
        octets: &[u8],
        ways: &[(Tuned, When)],
        Asked { id, gone }: Asked,
        around: Around,
        mut notes: Notes,
    ) -> Vec<Datagram> {
        let mut sent = Vec::new();
        let mut out = Vec::new();
        for (alternative, ((dr, freq_hz), when)) in ways.iter().enumerate() {
            let token = self.next_token();
            let (dr, freq_hz, when) = (*dr, *freq_hz, *when);
            sent.push(Way { token, dr, freq_hz, when });
            let down = Downlink {
                octets: octets.to_vec(),
                when,
                freq_hz,
                modulation: self.rate(around.gateway, dr, Direction::Downlink),
                alternative: alternative > 0,
                gone,
                ..Downlink::default()
            };
            let datagram = around.datagram(Kind::PullResp, std::mem::take(&mut notes));
            out.push(Datagram { token: Some(token), txpk: Some(down), ..datagram });
        }
        if let Some(id) = id {
            self.sent.push_back(Sent { gateway: around.gateway, id, ways: sent });
            if self.sent.len() > MOST_SENT {
                self.sent.pop_front();
            }
        }
        out
    }

    fn scheduled(&mut self, message: &Map<String, Value>, around: Around) -> Vec<Datagram> {
        let entries = message.get("schedule").and_then(Value::as_array);
        let mut out = Vec::new();
        for entry in entries.into_iter().flatten().filter_map(Value::as_object) {
            let mut notes = Notes::default();
            let mut fields = Fields::new(entry, Place::Message("dnsched"), &mut notes);
            let Some(octets) = fields.hex("pdu") else {
                fields.note("pdu", Remark::Needed);
                out.push(around.datagram(Kind::PullResp, notes));
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
            let gone = self.is_gone("dnsched", around, xtime, &mut notes);
            let asked = Asked { id: id_of(entry), gone };
            out.extend(self.alternatives(&octets, &[way], asked, around, notes));
        }
        out
    }

    /// `dntxed`: which of the alternatives went out shows in its frequency, rate and time.
    fn was_sent(&mut self, message: &Map<String, Value>, around: Around) -> Datagram {
        let mut notes = Notes::default();
        let mut fields = Fields::new(message, Place::Message("dntxed"), &mut notes);
        let id = id_of(message);
        let (dr, hz) = (fields.small("DR"), fields.hertz("Freq"));
        let at = fields.integer("xtime", 1..=i64::MAX).map(counter);
        let asked = self
            .sent
            .iter()
            .rposition(|sent| sent.gateway == around.gateway && Some(sent.id) == id)
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
        let token = way.map_or_else(|| self.next_token(), |way| way.token);
        let ack = Some(TxAck { reported: true, ..TxAck::default() });
        Datagram { token: Some(token), ack, ..around.datagram(Kind::TxAck, notes) }
    }

    fn next_token(&mut self) -> u16 {
        self.token = self.token.wrapping_add(1);
        self.token
    }
}

/// Data rate and frequency of a window.
type Tuned = (Option<u8>, Option<u32>);

impl Around {
    pub(super) fn datagram(self, kind: Kind, notes: Notes) -> Datagram {
        Datagram {
            line: self.line,
            at: self.at,
            gateway: self.gateway,
            found: self.found,
            notes: notes.into_vec(),
            ..Datagram::new(kind)
        }
    }
}

/// What the gateway's own filter does to a frame.
fn filtered(plan: &GatewayPlan, octets: &[u8]) -> Option<Remark> {
    match decode(octets).frame? {
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
const OTHER_SESSION: &str =
    "of a session that is gone: the station began anew since, and drops this downlink";
const JOIN_FILTERED: &str =
    "this JoinEUI is outside JoinEui of router_config: with that in force the station drops it";
const DATA_FILTERED: &str =
    "this DevAddr is outside NetID of router_config: with that in force the station drops it";
