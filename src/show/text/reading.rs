//! `read`: one block a frame, laid out octet by octet; or one line a frame.

mod columns;
mod line;
mod notes;

pub use line::brief;

use std::fmt;

use super::{Tone, paragraph, wrap};
use crate::{
    frame::Frame,
    intake::Crc,
    octet_rows::{count, rows},
    reading::Reading,
    region::Megahertz,
    show::{Input, Radio, Style},
};

/// The name of a frame above its block.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Heading<'a> {
    /// The only frame there is needs no name.
    None,
    /// One of several.
    Of(Input<'a>),
}

/// Writes a frame and what keys tell of it.
///
/// # Errors
/// When the writer fails.
pub fn reading(
    out: &mut dyn fmt::Write,
    heading: Heading<'_>,
    reading: &Reading,
    style: Style,
) -> fmt::Result {
    title(out, heading, reading, style)?;
    columns::write(out, &rows(reading), style)?;
    notes::write(out, reading, style)?;
    for problem in &reading.problems {
        let text = format!("byte {}, {}: {}", problem.offset, problem.field, problem.what);
        let (mark, tone) =
            if problem.is_remark() { ("  * ", Tone::Quiet) } else { ("  ! ", Tone::Bad) };
        paragraph(out, style, mark, tone, &text)?;
    }
    Ok(())
}

fn title(
    out: &mut dyn fmt::Write,
    heading: Heading<'_>,
    reading: &Reading,
    style: Style,
) -> fmt::Result {
    let decoded = &reading.decoded;
    let message = decoded.mhdr().map_or("nothing", |mhdr| mhdr.ftype().title());
    let mut parts = vec![capital(message)];
    // Data frames have their direction in the name, whole or cut.
    if !decoded.mhdr().is_some_and(|mhdr| mhdr.ftype().is_data()) {
        parts.extend(reading.direction.map(|way| way.name().to_owned()));
    }
    parts.extend(match &decoded.frame {
        Some(Frame::JoinRequest(request)) => Some(format!("DevEUI {}", request.dev_eui)),
        Some(Frame::RejoinRequest(request)) => {
            request.body.dev_eui().map(|dev_eui| format!("DevEUI {dev_eui}"))
        }
        Some(Frame::Data(data)) => Some(format!("DevAddr {}", data.dev_addr)),
        Some(Frame::JoinAccept(_) | Frame::Proprietary(_)) => None,
        None => Some("cut short".into()),
    });
    parts.push(count(&decoded.octets));
    let text = match heading {
        Heading::None => parts.join(", "),
        Heading::Of(input) => format!("{input}: {}", parts.join(", ")),
    };
    for line in wrap(&text, style.width) {
        writeln!(out, "{}", style.paint(Tone::Title, &line))?;
    }
    match heading {
        Heading::Of(Input { radio: Some(radio), .. }) => {
            paragraph(out, style, "  ", Tone::Quiet, &radio_words(radio))
        }
        _ => Ok(()),
    }
}

/// What the gateway says, in one line: who, when, where on the dial, how well.
fn radio_words(radio: &Radio) -> String {
    let crc = match radio.crc {
        Crc::Bad => Some("CRC BAD: these are not the bytes that were sent"),
        Crc::None => Some("no CRC"),
        Crc::Ok | Crc::Unknown => None,
    };
    let parts = [
        radio.gateway.map(|eui| format!("gateway {eui}")),
        radio.time.map(|time| time.to_string()),
        radio.frequency_hz.map(|hz| format!("{} MHz", Megahertz(hz))),
        radio.data_rate.map(|rate| rate.to_string()),
        radio.rssi_dbm.map(|dbm| format!("RSSI {dbm} dBm")),
        radio.snr_db.map(|db| format!("SNR {db} dB")),
        radio.power_dbm.map(|dbm| format!("to be sent with {dbm} dBm")),
        crc.map(str::to_owned),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().into_iter().flat_map(char::to_uppercase).chain(chars).collect()
}
