//! Where a frame was found, and what the gateway says of it, as a report names them.

use std::fmt;

use jiff::Timestamp;

use crate::{
    id::Eui64,
    intake::{Crc, Event, HowFound, Unit, What},
    radio::Modulation,
    words::Visible,
};

/// Where a frame was found, as a report names it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Input<'a> {
    /// The name of the input: `argument`, `stdin`, a file.
    pub name: &'a str,
    /// The place of the frame in that input, from 0.
    pub index: usize,
    /// The line or packet of that input, from 1, where it has any.
    pub line: Option<u64>,
    /// What `line` counts.
    pub unit: Unit,
    /// What the gateway says of it.
    pub radio: Option<&'a Radio>,
}

impl fmt::Display for Input<'_> {
    /// Prints `argument 1`, `trace.txt, line 3, frame 2`: people count from 1.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", Visible::text(self.name))?;
        let number = self.index + 1;
        match self.line {
            None if self.name == "argument" => write!(f, " {number}"),
            None => write!(f, ", frame {number}"),
            Some(line) => {
                let guessed = self.radio.is_some_and(|radio| radio.guessed);
                let guessed = if guessed { " (guessed)" } else { "" };
                write!(f, ", {} {line}, frame {number}{guessed}", self.unit)
            }
        }
    }
}

/// What a gateway says of a frame beside its octets.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Radio {
    /// The gateway.
    pub gateway: Option<Eui64>,
    /// When it heard the frame, or was told to send it.
    pub time: Option<Timestamp>,
    /// Centre frequency, hertz.
    pub frequency_hz: Option<u32>,
    /// Data rate.
    pub data_rate: Option<Modulation>,
    /// Power of the channel, dBm.
    pub rssi_dbm: Option<f32>,
    /// Signal to noise ratio, dB.
    pub snr_db: Option<f32>,
    /// Power to send with, dBm.
    pub power_dbm: Option<f32>,
    /// What the concentrator says of the CRC.
    pub crc: Crc,
    /// Whether it was found in text that states no format, and guessed to be a frame.
    pub guessed: bool,
}

impl Radio {
    /// Returns what was said of an event's frame, if anything was.
    pub fn of(event: &Event) -> Option<Self> {
        if event.found == HowFound::Alone {
            return None;
        }
        let guessed = event.found.is_in_text();
        let heard = Self { gateway: event.gateway, guessed, ..Self::default() };
        match &event.what {
            What::Heard(up) => Some(Self {
                time: up.time.or(event.time),
                frequency_hz: up.freq_hz,
                data_rate: up.modulation,
                rssi_dbm: up.rssi,
                snr_db: up.snr,
                crc: up.crc,
                ..heard
            }),
            What::Ordered(down) => Some(Self {
                time: event.time.or(down.time),
                frequency_hz: down.freq_hz,
                data_rate: down.modulation,
                power_dbm: down.power_dbm,
                ..heard
            }),
            _ => None,
        }
    }
}
