//! A gateway's own configuration as a claim: JSON with comments, as packet forwarders keep it.
//!
//! Members are found by their names at any depth, whatever the objects around them are called:
//! `gateway_ID`, `server_address`, `serv_port_up`, `serv_port_down`; the radios' centres (`radio_0`,
//! `radio_1`) and the chains' offsets from them (`chan_multiSF_0` and so on, `chan_Lora_std`). A channel
//! is the `freq` of its radio plus the `if` of its chain. A file may hold one part only; what is missing
//! is unknown, and a second file overrides members of the first.
//!
//! Names and meaning of the members: the gateway packet-forwarder protocol's companion configuration,
//! common practice.
//!
//! ```
//! use handfast::roster::GatewayConfig;
//!
//! let text = r#"{ "gateway_conf": { "gateway_ID": "020000FFFEA09442", "serv_port_up": 1700, } }"#;
//! let config = GatewayConfig::parse("gateway.json", text)?;
//! assert_eq!(config.eui.as_ref().map(|eui| eui.value.hex()).as_deref(), Some("020000fffea09442"));
//! # Ok::<(), handfast::roster::gateway_config::ConfigFault>(())
//! ```

mod chains;
mod read;

use std::{
    fmt,
    fs::File,
    io::{self, Read as _},
    path::{Path, PathBuf},
};

pub use chains::{Chain, ChainName, Channel, Radio, Reception};

use super::error::Position;
use crate::{id::Eui64, intake::file_text, words::Reason};

/// What a gateway's configuration says; whatever it does not say is `None` or empty.
#[derive(Clone, Debug, Default)]
pub struct GatewayConfig {
    /// The files that it was read from.
    pub files: Vec<String>,
    /// The EUI that the gateway sends.
    pub eui: Option<Stated<Eui64>>,
    /// The servers that it sends to; forwarders that know several have a list.
    pub servers: Vec<Server>,
    /// Seconds from one PULL_DATA to the next.
    pub keepalive_s: Option<Stated<u32>>,
    /// Seconds from one statistics message to the next.
    pub stat_interval_s: Option<Stated<u32>>,
    /// How long it waits for a PUSH_ACK, milliseconds.
    pub push_timeout_ms: Option<Stated<u32>>,
    /// Whether it forwards frames with a good CRC.
    pub forward_crc_valid: Option<Stated<bool>>,
    /// The radios, by number.
    pub radios: Vec<Radio>,
    /// The chains that receive, in order.
    pub chains: Vec<Chain>,
    /// Whether one file sets a radio or a chain twice, as for a gateway with two receiver boards: then
    /// which channels it receives is not judged.
    pub sets_twice: bool,
    /// Members whose value is of no use.
    pub faults: Vec<ConfigFault>,
}

/// A server that a gateway sends to.
#[derive(Clone, Debug, Default)]
pub struct Server {
    /// Its name or address.
    pub address: Option<Stated<String>>,
    /// Its UDP port for uplinks.
    pub uplink_port: Option<Stated<u16>>,
    /// Its UDP port for downlinks.
    pub downlink_port: Option<Stated<u16>>,
}

/// A value and where the file states it.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Stated<T> {
    /// The value.
    pub value: T,
    /// Where it is.
    pub place: FilePlace,
}

/// A place in a configuration: `gateway.json line 31`.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct FilePlace {
    /// The file's name, without its folder.
    pub file: String,
    /// The line, from 1.
    pub line: usize,
}

/// What is wrong with a configuration. Never holds a part of the file.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct ConfigFault {
    /// The file.
    pub file: String,
    /// Where; `None` where it is the whole file's.
    pub at: Option<Position>,
    /// The member; empty where there is none.
    pub member: &'static str,
    /// What is wrong.
    pub kind: ConfigFaultKind,
}

impl fmt::Display for ConfigFault {
    /// Prints `gateway.json:31:25: serv_port_up: ...`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(at) = self.at {
            write!(f, ":{at}")?;
        }
        if !self.member.is_empty() {
            write!(f, ": {}", self.member)?;
        }
        write!(f, ": {}", self.kind)
    }
}

impl std::error::Error for ConfigFault {}

/// What is wrong with a configuration, and what a right one looks like.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ConfigFaultKind {
    /// The file cannot be read.
    #[error("cannot be read: {}", Reason(*.0))]
    Unreadable(io::ErrorKind),
    /// A file too large to be a configuration.
    #[error("longer than {cap} bytes: no gateway's configuration is")]
    TooLarge {
        /// Bytes that a configuration may have.
        cap: u64,
    },
    /// No JSON.
    #[error("{0}")]
    NoJson(&'static str),
    /// A value of another type or range.
    #[error("{0} expected")]
    Wrong(&'static str),
    /// Nothing that is known.
    #[error(
        "nothing taken: looked for gateway_ID, server_address, serv_port_up, serv_port_down, radio_0, \
         chan_multiSF_0 and the like, at any depth"
    )]
    Nothing,
}

impl GatewayConfig {
    /// Reads a configuration from files, of which each overrides members of those before it.
    ///
    /// # Errors
    ///
    /// [`ConfigFault`] when a file cannot be read, is no JSON, or holds nothing that is known. A member
    /// of no use is in [`GatewayConfig::faults`].
    pub fn read_files(paths: &[PathBuf]) -> Result<Self, ConfigFault> {
        let mut all = Self::default();
        for path in paths {
            all.overlay(Self::read_file(path)?);
        }
        Ok(all)
    }

    fn read_file(path: &Path) -> Result<Self, ConfigFault> {
        let name = path.display().to_string();
        let fault = |kind| ConfigFault { file: name.clone(), at: None, member: "", kind };
        let unreadable = |error: io::Error| fault(ConfigFaultKind::Unreadable(error.kind()));
        let mut bytes = Vec::new();
        let file = File::open(path).map_err(unreadable)?;
        file.take(SIZE_CAP + 1).read_to_end(&mut bytes).map_err(unreadable)?;
        if bytes.len() as u64 > SIZE_CAP {
            return Err(fault(ConfigFaultKind::TooLarge { cap: SIZE_CAP }));
        }
        // A comment may be in an older encoding.
        match file_text(&bytes) {
            Ok(text) => Self::parse(&name, &text),
            Err(_) => Self::parse(&name, &String::from_utf8_lossy(&bytes)),
        }
    }

    /// Reads a configuration from a text; `name` is what its file is called.
    ///
    /// # Errors
    ///
    /// As [`GatewayConfig::read_files`].
    pub fn parse(name: &str, text: &str) -> Result<Self, ConfigFault> {
        read::read(name, text)
    }

    /// Puts what a second configuration says in place of what this one says.
    fn overlay(&mut self, over: Self) {
        let Self { files, eui, servers, keepalive_s, stat_interval_s, push_timeout_ms, .. } = over;
        self.files.extend(files);
        self.sets_twice |= over.sets_twice;
        self.faults.extend(over.faults);
        put(&mut self.eui, eui);
        put(&mut self.keepalive_s, keepalive_s);
        put(&mut self.stat_interval_s, stat_interval_s);
        put(&mut self.push_timeout_ms, push_timeout_ms);
        put(&mut self.forward_crc_valid, over.forward_crc_valid);
        match (self.servers.as_mut_slice(), servers.as_slice()) {
            (_, []) => {}
            ([own], [_]) => {
                for server in servers {
                    put(&mut own.address, server.address);
                    put(&mut own.uplink_port, server.uplink_port);
                    put(&mut own.downlink_port, server.downlink_port);
                }
            }
            // Which of several a later one overrides is not said: the later list counts.
            _ => self.servers = servers,
        }
        for radio in over.radios {
            match self.radios.iter_mut().find(|own| own.number == radio.number) {
                Some(own) => own.overlay(radio),
                None => self.radios.push(radio),
            }
        }
        for chain in over.chains {
            match self.chains.iter_mut().find(|own| own.name == chain.name) {
                Some(own) => own.overlay(chain),
                None => self.chains.push(chain),
            }
        }
    }

    /// Returns the files' names as people list them.
    pub fn name(&self) -> String {
        self.files.join(" and ")
    }
}

/// Puts a value where it belongs, if it is stated.
fn put<T>(own: &mut Option<T>, over: Option<T>) {
    if over.is_some() {
        *own = over;
    }
}

/// Bytes that a configuration may have: those that gateways ship with have some ten thousand.
const SIZE_CAP: u64 = 1 << 20;

#[cfg(test)]
mod tests {
    use super::*;

    fn config(text: &str) -> GatewayConfig {
        GatewayConfig::parse("gateway.json", text).unwrap_or_else(|fault| panic!("{fault}"))
    }

    #[test]
    fn members_are_found_at_any_depth_and_name_their_line() {
        let config = config(
            "/* north shed */\n{ \"any\": [{\n \"gateway_ID\": \"020000FFFEA09442\", // label\n \
             \"server_address\": \"lns.orchard.example\",\n \"serv_port_up\": 1680,\n}]}",
        );
        assert_eq!(config.eui.as_ref().unwrap().place.line, 3);
        let [server] = config.servers.as_slice() else { panic!("{config:?}") };
        assert_eq!(server.address.as_ref().unwrap().value, "lns.orchard.example");
        assert_eq!(server.uplink_port.as_ref().unwrap().value, 1680);
        assert!(server.downlink_port.is_none());
    }

    #[test]
    fn a_second_file_overrides_members_of_the_first() {
        let mut first = config(
            r#"{"serv_port_up": 1700, "serv_port_down": 1700, "radio_0": {"enable": true, "freq": 867500000},
                "chan_multiSF_0": {"enable": true, "radio": 0, "if": 0}}"#,
        );
        first.overlay(config(r#"{"serv_port_up": 1680, "chan_multiSF_0": {"enable": false}}"#));
        let server = first.servers.first().unwrap();
        assert_eq!(server.uplink_port.as_ref().unwrap().value, 1680);
        assert_eq!(server.downlink_port.as_ref().unwrap().value, 1700);
        let channels = first.channels();
        let [channel] = channels.as_slice() else { panic!("{channels:?}") };
        assert_eq!(channel.hz, Some(867_500_000));
        assert!(matches!(channel.reception, Reception::ChainOff(_)));
    }

    #[test]
    fn a_value_of_no_use_is_named_and_the_rest_is_read() {
        let config =
            config("{\"serv_port_up\": 70000,\n\"gateway_ID\": \"02\", \"serv_port_down\": 1700}");
        let faults: Vec<_> = config.faults.iter().map(ToString::to_string).collect();
        assert_eq!(
            faults,
            [
                "gateway.json:1:18: serv_port_up: a number from 1 to 65535 expected",
                "gateway.json:2:15: gateway_ID: 16 hex digits in quotes expected",
            ]
        );
        assert!(config.servers.first().unwrap().downlink_port.is_some());
    }

    #[test]
    fn nothing_taken_says_what_was_looked_for() {
        let fault = GatewayConfig::parse("x.json", "{\"colour\": 1}").unwrap_err();
        assert!(fault.to_string().starts_with("x.json: nothing taken: looked for gateway_ID,"));
        let fault = GatewayConfig::parse("x.json", "{\n \"a\" 1}").unwrap_err();
        assert_eq!(fault.to_string(), "x.json:2:6: a colon expected after the member's name");
    }
}
