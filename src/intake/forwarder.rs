//! The JSON of the gateway's UDP protocol: `rxpk`, `txpk`, `txpk_ack`, `stat`.
//!
//! Members are read as the protocol's document names them; those that it does not name are passed
//! over, and one that is damaged takes nothing else with it.

use super::{
    datagram::{Crc, Datagram, Downlink, Kind, Stat, TxAck, TxError, Uplink, When},
    error::IntakeError,
    json::{Gather, Keep, Kept, List, Scalar, Shape, members, read},
    member::Member,
    note::{Notes, Place, Remark},
};
use crate::radio::Modulation;

/// Returns the datagram that a capture line holds.
pub(super) fn capture_line(text: &str, number: u64) -> Result<Datagram, IntakeError> {
    let mut line = Line::default();
    read(text, &mut line).map_err(|e| IntakeError::json(&e))?;
    if line.shape != Shape::Right {
        return Err(IntakeError::NotAnObject);
    }
    let mut notes = Notes::default();
    let mut say = Member { place: Place::Line, notes: &mut notes };
    say.repeated(line.repeated);
    let at = say.at("at", &line.at);
    let gateway = say.eui("gateway", &line.gateway);
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
    let mut datagram = body.read(kind, notes);
    datagram.line = number;
    datagram.at = at;
    datagram.gateway = gateway;
    datagram.token = token;
    Ok(datagram)
}

/// Returns the datagram of a kind whose JSON is given, as it follows the header on the wire.
///
/// `json` may be empty where the kind needs none: a TX_ACK without JSON reports success.
/// `line`, `at`, `gateway` and `token` are left for the caller, who has the header.
///
/// # Errors
///
/// [`IntakeError::NotUtf8`], [`IntakeError::Json`].
pub fn datagram_json(kind: Kind, json: &[u8]) -> Result<Datagram, IntakeError> {
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
        notes.push(Place::Line, "datagram", Remark::WrongType { wanted: "an object", found });
    }
    Ok(body.read(kind, notes))
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
        datagram: Body<'a> = "datagram",
        rxpk: Option<Box<List<Uplinks>>> = "rxpk",
        txpk: Option<Box<Kept<Downlink>>> = "txpk",
        txpk_ack: Option<Box<Kept<TxAck>>> = "txpk_ack",
        stat: Option<Box<Kept<Stat>>> = "stat",
    }
}

members! {
    /// The JSON of a datagram.
    Body<'a> {
        rxpk: List<Uplinks> = "rxpk",
        txpk: Kept<Downlink> = "txpk",
        txpk_ack: Kept<TxAck> = "txpk_ack",
        stat: Kept<Stat> = "stat",
    }
}

members! {
    /// An element of `rxpk`.
    Rxpk<'a> {
        data: Scalar<'a> = "data",
        size: Scalar<'a> = "size",
        tmst: Scalar<'a> = "tmst",
        tmms: Scalar<'a> = "tmms",
        time: Scalar<'a> = "time",
        freq: Scalar<'a> = "freq",
        datr: Scalar<'a> = "datr",
        codr: Scalar<'a> = "codr",
        chan: Scalar<'a> = "chan",
        rssi: Scalar<'a> = "rssi",
        lsnr: Scalar<'a> = "lsnr",
        stat: Scalar<'a> = "stat",
    }
}

members! {
    /// `txpk`.
    Txpk<'a> {
        data: Scalar<'a> = "data",
        size: Scalar<'a> = "size",
        imme: Scalar<'a> = "imme",
        tmst: Scalar<'a> = "tmst",
        tmms: Scalar<'a> = "tmms",
        time: Scalar<'a> = "time",
        freq: Scalar<'a> = "freq",
        datr: Scalar<'a> = "datr",
        codr: Scalar<'a> = "codr",
        powe: Scalar<'a> = "powe",
        ipol: Scalar<'a> = "ipol",
        ncrc: Scalar<'a> = "ncrc",
        nhdr: Scalar<'a> = "nhdr",
        prea: Scalar<'a> = "prea",
        rfch: Scalar<'a> = "rfch",
        fdev: Scalar<'a> = "fdev",
    }
}

members! {
    /// `txpk_ack`.
    Ack<'a> {
        error: Scalar<'a> = "error",
        warn: Scalar<'a> = "warn",
        value: Scalar<'a> = "value",
    }
}

members! {
    /// `stat`.
    Report<'a> {
        time: Scalar<'a> = "time",
        rxnb: Scalar<'a> = "rxnb",
        rxok: Scalar<'a> = "rxok",
        rxfw: Scalar<'a> = "rxfw",
        ackr: Scalar<'a> = "ackr",
        dwnb: Scalar<'a> = "dwnb",
        txnb: Scalar<'a> = "txnb",
        temp: Scalar<'a> = "temp",
    }
}

impl Body<'_> {
    /// Returns the kind that its members are of.
    fn kind(&self) -> Option<Kind> {
        if self.rxpk.shape != Shape::Absent || self.stat.shape != Shape::Absent {
            Some(Kind::PushData)
        } else if self.txpk.shape != Shape::Absent {
            Some(Kind::PullResp)
        } else if self.txpk_ack.shape != Shape::Absent {
            Some(Kind::TxAck)
        } else {
            None
        }
    }

    fn read(&mut self, kind: Kind, mut notes: Notes) -> Datagram {
        let mut say = Member { place: Place::Line, notes: &mut notes };
        say.repeated(self.repeated);
        let empty = self.kind().is_none();
        let members = [
            ("rxpk", self.rxpk.shape, Kind::PushData),
            ("stat", self.stat.shape, Kind::PushData),
            ("txpk", self.txpk.shape, Kind::PullResp),
            ("txpk_ack", self.txpk_ack.shape, Kind::TxAck),
        ];
        for (member, shape, belongs) in members {
            if let Shape::Wrong(found) = shape {
                let wanted = if member == "rxpk" { "a list of objects" } else { "an object" };
                say.note(member, Remark::WrongType { wanted, found });
            } else if shape == Shape::Right && kind != belongs {
                say.note(member, Remark::Foreign(kind));
            }
        }
        if empty && matches!(kind, Kind::PushData | Kind::PullResp) {
            say.note("datagram", Remark::Missing(kind));
        }
        let rxpk = &mut self.rxpk.items.notes;
        for of_member in
            [rxpk, &mut self.txpk.notes, &mut self.txpk_ack.notes, &mut self.stat.notes]
        {
            notes.append(of_member);
        }
        // A gateway that has nothing to complain of sends no JSON, or an empty object.
        let readable = !matches!(self.shape, Shape::Wrong(_));
        let untold = kind == Kind::TxAck && readable && self.txpk_ack.shape == Shape::Absent;
        let ack = if untold { Some(TxAck::default()) } else { self.txpk_ack.value.take() };
        Datagram {
            rxpk: std::mem::take(&mut self.rxpk.items.whole),
            // Most have none, and its room is large.
            txpk: if self.txpk.value.is_some() { self.txpk.value.take() } else { None },
            ack,
            stat: if self.stat.value.is_some() { self.stat.value.take() } else { None },
            notes: notes.into_vec(),
            ..Datagram::new(kind)
        }
    }
}

/// What is kept of `rxpk`.
#[derive(Debug, Default)]
pub(super) struct Uplinks {
    whole: Vec<Uplink>,
    notes: Notes,
}

impl Gather for Uplinks {
    type Element<'de> = Rxpk<'de>;

    fn take(&mut self, index: usize, element: &Rxpk<'_>) {
        if let Some(uplink) = element.read(index, &mut self.notes) {
            if self.whole.is_empty() {
                // Nearly every datagram has one; a vector that grows by itself begins with four.
                self.whole.reserve_exact(1);
            }
            self.whole.push(uplink);
        }
    }
}

impl Rxpk<'_> {
    fn read(&self, index: usize, notes: &mut Notes) -> Option<Uplink> {
        let mut say = Member { place: Place::Uplink(index), notes };
        if self.shape != Shape::Right {
            let found = if let Shape::Wrong(found) = self.shape { found } else { "null" };
            say.note("", Remark::WrongType { wanted: "an object", found });
            return None;
        }
        say.repeated(self.repeated);
        let octets = say.octets(&self.data, &self.size)?;
        let crc = match say.integer("stat", &self.stat, "1, 0 or -1", -1..=1) {
            Some(1) => Crc::Ok,
            Some(0) => Crc::None,
            Some(_) => Crc::Bad,
            None => Crc::Unknown,
        };
        Some(Uplink {
            octets,
            tmst: say.counter("tmst", &self.tmst),
            tmms: say.milliseconds("tmms", &self.tmms),
            time: say.time("time", &self.time),
            freq_hz: say.hertz("freq", &self.freq),
            modulation: lr_fhss(&self.datr, &self.codr)
                .or_else(|| say.modulation("datr", &self.datr)),
            coding_rate: say.code_rate("codr", &self.codr),
            chan: say.small("chan", &self.chan),
            rssi: say.decimal("rssi", &self.rssi, "a number of dBm"),
            snr: say.decimal("lsnr", &self.lsnr, "a number of dB"),
            crc,
            index,
        })
    }
}

/// LR-FHSS says the width of its channel in `datr` and its coding rate in `codr`: `M0CW137` and `1/3`
/// (common practice of forwarders; the protocol's text is older than LR-FHSS).
fn lr_fhss(datr: &Scalar<'_>, codr: &Scalar<'_>) -> Option<Modulation> {
    let (Scalar::Text(datr), Scalar::Text(codr)) = (datr, codr) else { return None };
    let ocw_khz = datr.strip_prefix("M0CW")?.parse().ok()?;
    let cr_thirds = match codr.as_ref() {
        "1/3" => 1,
        "2/3" | "4/6" => 2,
        _ => return None,
    };
    Some(Modulation::LrFhss { cr_thirds, ocw_khz })
}

impl Keep for Downlink {
    type Raw<'de> = Txpk<'de>;

    fn keep(raw: &Txpk<'_>, notes: &mut Notes) -> (Option<Self>, Shape) {
        let shape = raw.shape;
        (raw.read(notes), shape)
    }
}

impl Txpk<'_> {
    fn read(&self, notes: &mut Notes) -> Option<Downlink> {
        if self.shape != Shape::Right {
            return None;
        }
        let mut say = Member { place: Place::Downlink, notes };
        say.repeated(self.repeated);
        let octets = say.octets(&self.data, &self.size)?;
        let at_once = say.flag("imme", &self.imme) == Some(true);
        let counter = say.counter("tmst", &self.tmst);
        let gps = say.milliseconds("tmms", &self.tmms);
        let when = match (at_once, counter, gps) {
            (true, ..) => When::Immediate,
            (false, Some(counter), _) => When::Counter(counter),
            (false, None, Some(gps)) => When::Gps(gps),
            (false, None, None) => When::Unsaid,
        };
        let wanted = "hertz, 0 to 4294967295";
        Some(Downlink {
            octets,
            when,
            time: say.time("time", &self.time),
            freq_hz: say.hertz("freq", &self.freq),
            modulation: say.modulation("datr", &self.datr),
            coding_rate: say.code_rate("codr", &self.codr),
            power_dbm: say.decimal("powe", &self.powe, "a number of dBm"),
            inverted: say.flag("ipol", &self.ipol),
            no_crc: say.flag("ncrc", &self.ncrc),
            no_header: say.flag("nhdr", &self.nhdr),
            preamble: say.small("prea", &self.prea),
            rf_chain: say.small("rfch", &self.rfch),
            deviation_hz: say
                .integer("fdev", &self.fdev, wanted, 0..=i64::from(u32::MAX))
                .and_then(|hz| hz.try_into().ok()),
            ..Downlink::default()
        })
    }
}

impl Keep for TxAck {
    type Raw<'de> = Ack<'de>;

    fn keep(raw: &Ack<'_>, notes: &mut Notes) -> (Option<Self>, Shape) {
        let shape = raw.shape;
        (raw.read(notes), shape)
    }
}

impl Ack<'_> {
    fn read(&self, notes: &mut Notes) -> Option<TxAck> {
        if self.shape != Shape::Right {
            return None;
        }
        let mut say = Member { place: Place::Ack, notes };
        say.repeated(self.repeated);
        let wanted = "a word such as \"TOO_LATE\"";
        // An error that cannot be read is no success.
        if !matches!(self.error, Scalar::Absent | Scalar::Text(_)) {
            say.wrong("error", &self.error, wanted);
            return None;
        }
        let error = say.text("error", &self.error, wanted).map_or(TxError::None, TxError::by_name);
        let warn = say.text("warn", &self.warn, wanted).map(TxError::by_name);
        let value = say.decimal("value", &self.value, "a number");
        let warn = warn.filter(|warn| *warn != TxError::None);
        Some(TxAck { error, warn, value, ..TxAck::default() })
    }
}

impl Keep for Stat {
    type Raw<'de> = Report<'de>;

    fn keep(raw: &Report<'_>, notes: &mut Notes) -> (Option<Self>, Shape) {
        let shape = raw.shape;
        (raw.read(notes), shape)
    }
}

impl Report<'_> {
    fn read(&self, notes: &mut Notes) -> Option<Stat> {
        if self.shape != Shape::Right {
            return None;
        }
        let mut say = Member { place: Place::Stat, notes };
        say.repeated(self.repeated);
        Some(Stat {
            time: say.time("time", &self.time),
            rxnb: say.count("rxnb", &self.rxnb),
            rxok: say.count("rxok", &self.rxok),
            rxfw: say.count("rxfw", &self.rxfw),
            ackr: say.decimal("ackr", &self.ackr, "a number of per cent"),
            dwnb: say.count("dwnb", &self.dwnb),
            txnb: say.count("txnb", &self.txnb),
            temp: say.decimal("temp", &self.temp, "a number of degrees Celsius"),
        })
    }
}
