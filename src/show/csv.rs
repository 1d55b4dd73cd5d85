//! `read --csv`: a table (RFC 4180) of frames, one row each.

use std::fmt;

use crate::{
    frame::{Direction, Field, Frame, command::Command},
    id::{Eui64, JoinEui},
    intake::Unit,
    reading::{CommandList, MicVerdict, Reading},
    show::Input,
    words::Visible,
};

/// The columns; numbers are decimal, octets are hex in the order sent, EUIs most significant first.
const COLUMNS: [&str; 26] = [
    "input",
    "line",
    "time",
    "gateway",
    "frequency_hz",
    "data_rate",
    "rssi_dbm",
    "snr_db",
    "message",
    "direction",
    "dev_eui",
    "join_eui",
    "dev_nonce",
    "dev_addr",
    "fcnt",
    "fcnt32",
    "fport",
    "mic",
    "key",
    "node",
    "claim",
    "plaintext",
    "commands",
    "problems",
    "PHYPayload",
    "guessed",
];

/// Writes the line of column names.
///
/// # Errors
/// When the writer fails.
pub fn head(out: &mut dyn fmt::Write) -> fmt::Result {
    row(out, &COLUMNS.map(String::from))
}

/// Writes the row of a frame.
///
/// # Errors
/// When the writer fails.
pub fn reading(out: &mut dyn fmt::Write, input: &Input<'_>, reading: &Reading) -> fmt::Result {
    let (decoded, found) = (&reading.decoded, &reading.found);
    let radio = input.radio.copied().unwrap_or_default();
    let eui = |field| {
        let octets: Option<[u8; 8]> = decoded.octets_of(field)?.try_into().ok();
        octets.map(|octets| Eui64::from_wire(octets).hex())
    };
    let two = |field| {
        let octets: Option<[u8; 2]> = decoded.octets_of(field)?.try_into().ok();
        octets.map(u16::from_le_bytes)
    };
    let data = match &decoded.frame {
        Some(Frame::Data(data)) => Some(data),
        _ => None,
    };
    let opened = found.accept.as_ref().map(|opened| &opened.accept.accept);
    let dev_addr = data.map(|data| data.dev_addr).or(opened.map(|accept| accept.dev_addr));
    let (mic, key, source) = match &found.mic {
        MicVerdict::Holds(proof) => ("holds", Some(proof.key), Some(&proof.source)),
        MicVerdict::Fails(tried) => {
            let first = tried.first();
            ("fails", first.map(|tried| tried.key), first.map(|tried| &tried.source))
        }
        MicVerdict::Unchecked(_) => ("unchecked", None, None),
    };
    // A command that carries a key is not told by the back door.
    let secret = found.commands.as_ref().is_some_and(CommandList::holds_a_key);
    let plaintext = found.payload.as_ref().filter(|_| !secret).map(|p| hex::encode(&p.octets));
    let commands = found.commands.as_ref().map(|list| {
        let names: Vec<&str> = list.commands.commands.iter().map(Command::name).collect();
        names.join(" ")
    });
    let problems: Vec<String> = reading
        .problems
        .iter()
        .map(|problem| {
            format!("{} at byte {}: {}", problem.field.name(), problem.offset, problem.what)
        })
        .collect();
    let place = input.line.map(|line| match input.unit {
        Unit::Line => line.to_string(),
        Unit::Packet => format!("packet {line}"),
    });
    row(
        out,
        &[
            input.name.to_owned(),
            text(place),
            text(radio.time),
            text(radio.gateway.map(Eui64::hex)),
            text(radio.frequency_hz),
            text(radio.data_rate),
            text(radio.rssi_dbm),
            text(radio.snr_db),
            text(decoded.mhdr().map(|mhdr| mhdr.ftype().name())),
            text(reading.direction.map(Direction::name)),
            text(eui(Field::DevEui)),
            text(eui(Field::JoinEui).or(context_eui(found.accept.as_ref()))),
            text(two(Field::DevNonce)),
            text(dev_addr.map(|addr| format!("{:08x}", addr.0))),
            text(data.map(|data| data.fcnt)),
            text(found.fcnt32),
            text(data.and_then(crate::frame::DataFrame::port)),
            mic.to_owned(),
            text(key),
            text(source.and_then(|source| source.node.as_deref())),
            text(source.and_then(|source| source.claim.as_deref())),
            text(plaintext),
            text(commands),
            problems.join("; "),
            hex::encode(&decoded.octets),
            radio.guessed.to_string(),
        ],
    )
}

fn context_eui(opened: Option<&crate::reading::Opened>) -> Option<String> {
    opened?.bound?.join_eui.map(JoinEui::hex)
}

fn text(value: Option<impl ToString>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

fn row(out: &mut dyn fmt::Write, cells: &[String; COLUMNS.len()]) -> fmt::Result {
    for (i, cell) in cells.iter().enumerate() {
        if i > 0 {
            out.write_char(',')?;
        }
        // A spreadsheet takes a cell that begins so for a formula: names come from rosters, and files
        // are called as they are. A number stays one.
        let begins = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
        let formula = begins && cell.parse::<f64>().is_err();
        let cell = &Visible::text(cell).to_string();
        if formula || cell.contains([',', '"', '\n', '\r']) {
            let quote = if formula { "'" } else { "" };
            write!(out, "\"{quote}{}\"", cell.replace('"', "\"\""))?;
        } else {
            out.write_str(cell)?;
        }
    }
    out.write_str("\r\n")
}
