//! A `[[gateway]]` of the file.

use super::{Band, FaultKind, Tree, Value, Walk, in_order, join, known_as, unread_without};
use crate::{
    id::Eui64,
    roster::{Gateway, from_base, gateway_config::GatewayConfig},
};

impl Walk<'_> {
    /// Reads a gateway; one whose EUI cannot be read is nobody's.
    pub(super) fn gateway(
        &mut self,
        path: &str,
        index: usize,
        value: &Tree<'_>,
    ) -> Option<Gateway> {
        let table = Value(value.get_ref()).table("a table [[gateway]]");
        let table = self.take(path, value, table)?;
        let mut gateway = Gateway::default();
        let mut eui: Option<Option<Eui64>> = None;
        let mut band = None;
        for (name, value) in in_order(table) {
            let member = join(path, name.get_ref());
            let asked = Value(value.get_ref());
            let Some(known) = GATEWAY_MEMBERS.into_iter().find(|known| known == name.get_ref())
            else {
                let meant = self.unknown(path, name, GATEWAY_MEMBERS);
                gateway.unread.extend(known_as(meant, &GATEWAY_MEMBERS));
                continue;
            };
            let read = match known {
                "eui" => {
                    let example = "16 hex digits in quotes such as \"020000fffea09442\"";
                    let read = self.take(&member, value, asked.id(example));
                    eui = Some(read);
                    read.is_some()
                }
                "name" => {
                    gateway.name = self.take(&member, value, asked.name());
                    gateway.name.is_some()
                }
                "server" => {
                    gateway.server = self.take(&member, value, asked.server());
                    gateway.server.is_some()
                }
                "uplink-port" => {
                    gateway.uplink_port = self.take(&member, value, asked.number(1, PORTS));
                    gateway.uplink_port.is_some()
                }
                "downlink-port" => {
                    gateway.downlink_port = self.take(&member, value, asked.number(1, PORTS));
                    gateway.downlink_port.is_some()
                }
                "config" => {
                    let read = self.config(asked);
                    gateway.config = self.take(&member, value, read);
                    gateway.config.is_some()
                }
                "region" => {
                    gateway.region = self.take(&member, value, asked.region());
                    gateway.region.is_some()
                }
                "sub-band" => {
                    gateway.sub_band = self.take(&member, value, asked.sub_band());
                    band = Some(Band::of_gateway(value.span(), path, index));
                    gateway.sub_band.is_some()
                }
                _ => {
                    let read = asked.list("a list of frequencies in hertz", Value::hertz);
                    let read = self.take(&member, value, read);
                    let is_read = read.is_some();
                    gateway.listens = read.unwrap_or_default();
                    is_read
                }
            };
            unread_without(&mut gateway.unread, known, read);
        }
        if eui.is_none() {
            self.fault(path, &value.span(), FaultKind::Missing { member: "eui" });
        }
        gateway.eui = eui??;
        self.bands.extend(band);
        Some(gateway)
    }

    /// Reads the gateway's own configuration: one file, or several of which a later one overrides.
    fn config(&self, value: Value<'_>) -> Result<GatewayConfig, FaultKind> {
        let paths = value.texts("the path of a file, or a list of paths, in quotes")?;
        let paths: Vec<_> = paths.into_iter().map(|path| from_base(self.base, path)).collect();
        GatewayConfig::read_files(&paths).map_err(|fault| FaultKind::Config(Box::new(fault)))
    }
}

const GATEWAY_MEMBERS: [&str; 9] = [
    "eui",
    "name",
    "server",
    "uplink-port",
    "downlink-port",
    "config",
    "region",
    "sub-band",
    "listens",
];
/// UDP ports are numbers of 16 bits; 0 is nobody's.
const PORTS: u64 = 0xFFFF;
