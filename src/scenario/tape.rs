//! The tape: datagrams with their times, written as capture lines in the order of arrival.

use base64::{Engine, engine::general_purpose::STANDARD};
use jiff::Timestamp;
use serde::Serialize;

use crate::{id::Eui64, intake::DatagramKind, radio::Modulation};

/// When the world begins: microseconds since 1970, 11 April 2026, 06:30 UTC.
const BEGINS_US: i64 = 1_775_889_000_000_000;

/// Datagrams as they come.
#[derive(Debug, Default)]
pub(super) struct Tape {
    lines: Vec<(u64, String)>,
}

#[derive(Serialize)]
struct Line<'a> {
    at: String,
    gateway: String,
    kind: &'static str,
    token: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    datagram: Option<Body<'a>>,
}

/// What a datagram carries.
#[derive(Serialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Body<'a> {
    Rxpk(Vec<Rxpk>),
    Txpk(Txpk),
    TxpkAck(TxpkAck<'a>),
    Stat(StatBody),
}

#[derive(Serialize)]
pub(super) struct Rxpk {
    pub(super) tmst: u32,
    pub(super) freq: f64,
    pub(super) stat: i8,
    pub(super) modu: &'static str,
    pub(super) datr: String,
    pub(super) codr: &'static str,
    pub(super) rssi: i32,
    pub(super) lsnr: f64,
    pub(super) size: usize,
    pub(super) data: String,
}

#[derive(Serialize)]
pub(super) struct Txpk {
    pub(super) imme: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) tmst: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) tmms: Option<u64>,
    pub(super) freq: f64,
    pub(super) powe: u8,
    pub(super) modu: &'static str,
    pub(super) datr: String,
    pub(super) codr: &'static str,
    pub(super) ipol: bool,
    pub(super) size: usize,
    pub(super) data: String,
    pub(super) ncrc: bool,
}

#[derive(Serialize)]
pub(super) struct TxpkAck<'a> {
    pub(super) error: &'a str,
}

#[derive(Serialize)]
pub(super) struct StatBody {
    pub(super) time: String,
    pub(super) rxnb: u32,
    pub(super) rxok: u32,
    pub(super) rxfw: u32,
    pub(super) ackr: f64,
    pub(super) dwnb: u32,
    pub(super) txnb: u32,
}

impl Tape {
    /// Takes a datagram that passes at `at` microseconds of the world.
    pub(super) fn push(
        &mut self,
        at: u64,
        gateway: Eui64,
        kind: DatagramKind,
        token: u16,
        datagram: Option<Body<'_>>,
    ) {
        let line = Line {
            at: clock(at).to_string(),
            gateway: gateway.hex(),
            kind: kind.name(),
            token: format!("{token:04x}"),
            datagram,
        };
        // A line of numbers and texts always becomes JSON.
        self.lines.push((at, serde_json::to_string(&line).unwrap_or_default()));
    }

    /// Takes a line as it is.
    pub(super) fn raw(&mut self, at: u64, line: String) {
        self.lines.push((at, line));
    }

    /// Returns when the last datagram passed.
    pub(super) fn ends(&self) -> u64 {
        self.lines.iter().map(|(at, _)| *at).max().unwrap_or_default()
    }

    /// Returns the lines in the order of arrival.
    pub(super) fn text(mut self) -> String {
        self.lines.sort_by_key(|(at, _)| *at);
        self.lines.into_iter().fold(String::new(), |out, (_, line)| out + &line + "\n")
    }
}

/// Returns the wall clock at a time of the world.
pub(super) fn clock(at: u64) -> Timestamp {
    let at = BEGINS_US.saturating_add_unsigned(at);
    Timestamp::from_microsecond(at).unwrap_or(Timestamp::UNIX_EPOCH)
}

/// Returns the wall clock as a gateway's report prints it.
pub(super) fn report_clock(at: u64) -> String {
    clock(at).strftime("%Y-%m-%d %H:%M:%S GMT").to_string()
}

pub(super) fn base64(octets: &[u8]) -> String {
    STANDARD.encode(octets)
}

pub(super) const fn modu(modulation: Modulation) -> &'static str {
    match modulation {
        Modulation::Lora { .. } => "LORA",
        Modulation::Fsk { .. } => "FSK",
        Modulation::LrFhss { .. } => "LR-FHSS",
    }
}
