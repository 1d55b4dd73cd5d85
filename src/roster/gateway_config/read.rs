//! Members of a configuration found by their names.

use super::{
    Chain, ChainName, ConfigFault, ConfigFaultKind, FilePlace, GatewayConfig, Radio, Server,
    Stated, put,
};
use crate::{
    id::Eui64,
    roster::json::{self, Json, JsonValue},
};

pub(super) fn read(name: &str, text: &str) -> Result<GatewayConfig, ConfigFault> {
    let document = json::parse(text).map_err(|error| ConfigFault {
        file: name.to_owned(),
        at: Some(error.at),
        member: "",
        kind: ConfigFaultKind::NoJson(error.wanted),
    })?;
    let config = GatewayConfig { files: vec![name.to_owned()], ..GatewayConfig::default() };
    let mut reader = ConfigReader { file: name, config, taken: 0 };
    reader.walk(&document);
    if reader.taken == 0 && reader.config.faults.is_empty() {
        let kind = ConfigFaultKind::Nothing;
        return Err(ConfigFault { file: name.to_owned(), at: None, member: "", kind });
    }
    reader.config.radios.sort_by_key(|radio| radio.number);
    reader.config.chains.sort_by_key(|chain| chain.name);
    Ok(reader.config)
}

struct ConfigReader<'t> {
    file: &'t str,
    config: GatewayConfig,
    /// Values that were of use.
    taken: usize,
}

impl ConfigReader<'_> {
    fn walk(&mut self, json: &Json) {
        for element in json.elements() {
            self.walk(element);
        }
        let mut server = Server::default();
        for (name, value) in json.members() {
            if let Some(number) = numbered(name, "radio_") {
                self.radio(number, value);
            } else if let Some(chain) = chain_name(name) {
                self.chain(chain, value);
            } else {
                self.member(name, value, &mut server);
                self.walk(value);
            }
        }
        let Server { address, uplink_port, downlink_port } = &server;
        if address.is_some() || uplink_port.is_some() || downlink_port.is_some() {
            self.config.servers.push(server);
        }
    }

    fn member(&mut self, name: &str, value: &Json, server: &mut Server) {
        match name.to_ascii_lowercase().as_str() {
            "gateway_id" => {
                let read = self.take("gateway_ID", value, EUI, eui);
                put(&mut self.config.eui, read);
            }
            "server_address" => put(
                &mut server.address,
                self.take("server_address", value, "a server's name or address in quotes", address),
            ),
            "serv_port_up" => {
                put(&mut server.uplink_port, self.take("serv_port_up", value, PORT, port));
            }
            "serv_port_down" => {
                put(&mut server.downlink_port, self.take("serv_port_down", value, PORT, port));
            }
            "keepalive_interval" => {
                let read = self.take("keepalive_interval", value, SECONDS, number);
                put(&mut self.config.keepalive_s, read);
            }
            "stat_interval" => {
                let read = self.take("stat_interval", value, SECONDS, number);
                put(&mut self.config.stat_interval_s, read);
            }
            "push_timeout_ms" => {
                let read = self.take("push_timeout_ms", value, "milliseconds", number);
                put(&mut self.config.push_timeout_ms, read);
            }
            "forward_crc_valid" => {
                let read = self.take("forward_crc_valid", value, FLAG, flag);
                put(&mut self.config.forward_crc_valid, read);
            }
            _ => {}
        }
    }

    fn radio(&mut self, number: u8, json: &Json) {
        let mut radio = Radio { number, ..Radio::default() };
        for (name, value) in json.members() {
            match name.to_ascii_lowercase().as_str() {
                "enable" => put(&mut radio.enable, self.take("enable", value, FLAG, flag)),
                "freq" => put(&mut radio.centre_hz, self.take("freq", value, HERTZ, hertz)),
                "tx_enable" => put(&mut radio.tx_enable, self.take("tx_enable", value, FLAG, flag)),
                "tx_freq_min" => {
                    put(&mut radio.tx_min_hz, self.take("tx_freq_min", value, HERTZ, hertz));
                }
                "tx_freq_max" => {
                    put(&mut radio.tx_max_hz, self.take("tx_freq_max", value, HERTZ, hertz));
                }
                _ => {}
            }
        }
        match self.config.radios.iter_mut().find(|own| own.number == number) {
            Some(own) => {
                own.overlay(radio);
                self.config.sets_twice = true;
            }
            None => self.config.radios.push(radio),
        }
    }

    fn chain(&mut self, chain: ChainName, json: &Json) {
        let mut read = Chain::new(chain);
        for (name, value) in json.members() {
            match name.to_ascii_lowercase().as_str() {
                "enable" => put(&mut read.enable, self.take("enable", value, FLAG, flag)),
                "radio" => {
                    put(&mut read.radio, self.take("radio", value, "a radio's number", number));
                }
                "if" => put(&mut read.offset_hz, self.take("if", value, HERTZ, number)),
                "bandwidth" => {
                    put(&mut read.bandwidth_hz, self.take("bandwidth", value, HERTZ, number));
                }
                _ => {}
            }
        }
        match self.config.chains.iter_mut().find(|own| own.name == chain) {
            Some(own) => {
                own.overlay(read);
                self.config.sets_twice = true;
            }
            None => self.config.chains.push(read),
        }
    }

    /// Takes a value that can be read, or notes that it cannot.
    fn take<T>(
        &mut self,
        member: &'static str,
        json: &Json,
        wanted: &'static str,
        read: fn(&JsonValue) -> Option<T>,
    ) -> Option<Stated<T>> {
        if let Some(value) = read(&json.value) {
            self.taken += 1;
            let file = self.file.rsplit(['/', '\\']).next().unwrap_or(self.file).to_owned();
            Some(Stated { value, place: FilePlace { file, line: json.at.line } })
        } else {
            if self.config.faults.len() < MOST_FAULTS {
                let kind = ConfigFaultKind::Wrong(wanted);
                let file = self.file.to_owned();
                self.config.faults.push(ConfigFault { file, at: Some(json.at), member, kind });
            }
            None
        }
    }
}

fn numbered(name: &str, start: &str) -> Option<u8> {
    let head = name.get(..start.len()).filter(|head| head.eq_ignore_ascii_case(start))?;
    name.get(head.len()..)?.parse().ok()
}

fn chain_name(name: &str) -> Option<ChainName> {
    if name.eq_ignore_ascii_case("chan_lora_std") {
        return Some(ChainName::Lora);
    }
    if name.eq_ignore_ascii_case("chan_fsk") {
        return Some(ChainName::Fsk);
    }
    numbered(name, "chan_multisf_").map(ChainName::MultiRate)
}

fn eui(value: &JsonValue) -> Option<Eui64> {
    match value {
        JsonValue::Text(text) => text.trim().parse().ok(),
        _ => None,
    }
}

fn address(value: &JsonValue) -> Option<String> {
    match value {
        JsonValue::Text(text) => {
            let text = text.trim();
            let fits = |c: char| !c.is_whitespace() && !c.is_control();
            (!text.is_empty() && text.chars().all(fits)).then(|| text.to_owned())
        }
        _ => None,
    }
}

/// Reads a number, also as a text: forwarders take both.
fn number<T: std::str::FromStr>(value: &JsonValue) -> Option<T> {
    match value {
        JsonValue::Number(text) | JsonValue::Text(text) => text.trim().parse().ok(),
        _ => None,
    }
}

fn port(value: &JsonValue) -> Option<u16> {
    number(value).filter(|port| *port != 0)
}

/// Reads a frequency; one in megahertz is no frequency of a radio.
fn hertz(value: &JsonValue) -> Option<u32> {
    number(value).filter(|hz| (100_000_000..=3_000_000_000).contains(hz))
}

const fn flag(value: &JsonValue) -> Option<bool> {
    match value {
        JsonValue::Bool(flag) => Some(*flag),
        _ => None,
    }
}

const EUI: &str = "16 hex digits in quotes";
const PORT: &str = "a number from 1 to 65535";
const SECONDS: &str = "a number of seconds";
const FLAG: &str = "true or false";
const HERTZ: &str = "a number of hertz";
/// Faults reported together.
const MOST_FAULTS: usize = 50;
