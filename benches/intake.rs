//! How fast a capture is read end to end, beside the JSON reader alone on the same lines.
//!
//! `cargo bench --bench intake`
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

#[path = "common/measure.rs"]
mod measure;

use handfast::intake::{Capture, Item};
use measure::seconds;
use serde::{Deserialize, de::IgnoredAny};

const ORCHARD: &str = include_str!("../vectors/intake/orchard.ndjson");

/// The members of a line as a reader takes them that checks nothing and copies nothing.
#[derive(Deserialize)]
struct Line<'a> {
    at: Option<&'a str>,
    gateway: Option<&'a str>,
    kind: Option<&'a str>,
    token: Option<&'a str>,
    #[serde(borrow)]
    datagram: Option<Bare<'a>>,
}

#[derive(Deserialize)]
struct Bare<'a> {
    #[serde(borrow, default)]
    rxpk: Vec<Packet<'a>>,
    #[serde(borrow)]
    txpk: Option<Packet<'a>>,
}

#[derive(Deserialize)]
struct Packet<'a> {
    tmst: Option<u32>,
    freq: Option<f64>,
    chan: Option<u8>,
    rfch: Option<u8>,
    stat: Option<i8>,
    modu: Option<&'a str>,
    #[serde(rename = "datr")]
    _datr: Option<IgnoredAny>,
    codr: Option<&'a str>,
    rssi: Option<i16>,
    lsnr: Option<f32>,
    powe: Option<i8>,
    ipol: Option<bool>,
    size: Option<usize>,
    data: Option<&'a str>,
}

impl Line<'_> {
    /// Looks at every member, so that none is read for nothing.
    fn members(&self) -> usize {
        let texts = [self.at, self.gateway, self.kind, self.token];
        let packets = self.datagram.iter().flat_map(|d| d.rxpk.iter().chain(&d.txpk));
        texts.iter().flatten().count() + packets.map(Packet::members).sum::<usize>()
    }
}

impl Packet<'_> {
    fn members(&self) -> usize {
        let texts = [self.modu, self.codr, self.data];
        let rest = [
            self.tmst.is_some(),
            self.freq.is_some(),
            self.chan.is_some(),
            self.rfch.is_some(),
            self.stat.is_some(),
            self.rssi.is_some(),
            self.lsnr.is_some(),
            self.powe.is_some(),
            self.ipol.is_some(),
            self.size.is_some(),
        ];
        texts.iter().flatten().count() + rest.iter().filter(|there| **there).count()
    }
}

fn main() {
    let capture = ORCHARD.repeat(200);
    let lines = capture.lines().count();
    let [intake, typed, value] = seconds([
        &mut || {
            let events = Capture::new(capture.as_bytes()).map(|item| match item {
                Ok(Item::Event(event)) => {
                    event.frame().map_or(0, |frame| frame.fields().len() as u64)
                }
                _ => 0,
            });
            events.sum()
        },
        &mut || {
            let lines = capture.lines().map(serde_json::from_str::<Line<'_>>);
            lines.map_while(Result::ok).map(|line| line.members() as u64).sum()
        },
        &mut || {
            let lines = capture.lines().map(serde_json::from_str::<serde_json::Value>);
            lines.map_while(Result::ok).count() as u64
        },
    ]);
    #[expect(clippy::cast_precision_loss, reason = "counts are small")]
    let per = |what: &str, seconds: f64| {
        let (lines, octets) = (lines as f64, capture.len() as f64);
        println!(
            "{what:44} {:8.1} ns a line, {:7.1} MB/s",
            seconds / lines * 1e9,
            octets / seconds / 1e6
        );
    };
    assert!(capture.lines().all(|line| serde_json::from_str::<Line<'_>>(line).is_ok()));
    println!("{lines} lines, {} octets", capture.len());
    per("capture lines into events, frames decoded", intake);
    per("serde_json alone, typed and borrowed", typed);
    per("serde_json alone, into a Value", value);
    println!("end to end: {:.2} of the typed JSON rate", typed / intake);
    println!("end to end: {:.2} of the Value JSON rate", value / intake);
}
