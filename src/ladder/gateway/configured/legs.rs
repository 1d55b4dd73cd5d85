//! Server and ports of a configuration against those registered.

use std::net::IpAddr;

use super::{letters, place};
use crate::{
    fact::{Fact, Value, fact},
    roster::{
        Gateway, GatewayConfig,
        gateway_config::{Server, Stated},
    },
};

/// How the file stands to the roster in server and ports.
#[derive(Clone, Debug, Default)]
pub(in crate::ladder) struct Legs {
    pub(in crate::ladder) server: Stand,
    pub(in crate::ladder) uplink: Stand,
    pub(in crate::ladder) downlink: Stand,
}

/// How one member stands to the roster's.
#[derive(Clone, Debug, Default)]
pub(in crate::ladder) enum Stand {
    /// One of the two does not state it.
    #[default]
    Open,
    Agrees(Fact),
    Differs(Fact),
    /// Both state it, in forms that cannot be compared.
    Unclear(Fact),
}

impl Stand {
    pub(super) const fn fact(&self) -> Option<&Fact> {
        match self {
            Self::Open => None,
            Self::Agrees(fact) | Self::Differs(fact) | Self::Unclear(fact) => Some(fact),
        }
    }
}

impl Legs {
    pub(super) fn of(config: &GatewayConfig, entry: &Gateway) -> Self {
        let named = |server: &&Server| {
            let address = server.address.as_ref().map(|address| bare(&address.value));
            address.is_some() && address == entry.server.as_deref().map(bare)
        };
        let registered = config.servers.iter().find(named);
        let Some(server) = registered.or(match config.servers.as_slice() {
            [only] => Some(only),
            _ => None,
        }) else {
            return Self { server: several(config, entry), ..Self::default() };
        };
        Self {
            server: address(server.address.as_ref(), entry.server.as_deref()),
            uplink: port(server.uplink_port.as_ref(), entry.uplink_port, &UPLINK),
            downlink: port(server.downlink_port.as_ref(), entry.downlink_port, &DOWNLINK),
        }
    }
}

/// A port's names in the file and on the roster.
struct PortNames {
    member: &'static str,
    roster: &'static str,
}

const UPLINK: PortNames = PortNames { member: "serv_port_up", roster: "uplink-port" };
const DOWNLINK: PortNames = PortNames { member: "serv_port_down", roster: "downlink-port" };

fn port(own: Option<&Stated<u16>>, registered: Option<u16>, names: &PortNames) -> Stand {
    let (Some(own), Some(registered)) = (own, registered) else { return Stand::Open };
    let (place, port) = (place(&own.place), own.value);
    let PortNames { member, roster } = *names;
    if port == registered {
        return Stand::Agrees(fact!(
            "{place}: {member} is {port}, as on the roster",
            place,
            member,
            port
        ));
    }
    Stand::Differs(fact!(
        "{place}: {member} is {port}, the roster's {roster} is {registered}",
        place,
        member,
        port,
        roster,
        registered
    ))
}

fn address(own: Option<&Stated<String>>, registered: Option<&str>) -> Stand {
    let (Some(own), Some(registered)) = (own, registered) else { return Stand::Open };
    let (place, server) = (place(&own.place), own.value.clone());
    let (ours, theirs) = (bare(&server), bare(registered));
    let registered = registered.to_owned();
    if ours == theirs {
        return Stand::Agrees(fact!(
            "{place}: server_address is {server}, as on the roster",
            place,
            server
        ));
    }
    if is_address(&ours) != is_address(&theirs) {
        return Stand::Unclear(fact!(
            "{place}: server_address is {server}, the roster's server is {registered}: whether that is the \
             same host only name resolution shows",
            place,
            server,
            registered
        ));
    }
    match letters::between(&ours, &theirs) {
        Some(how) => Stand::Differs(fact!(
            "{place}: server_address is {server}, the roster's server is {registered}: {how}",
            place,
            server,
            registered,
            how
        )),
        None => Stand::Differs(fact!(
            "{place}: server_address is {server}, the roster's server is {registered}",
            place,
            server,
            registered
        )),
    }
}

/// Several servers, none of which is the roster's by its name.
fn several(config: &GatewayConfig, entry: &Gateway) -> Stand {
    let stated: Vec<_> =
        config.servers.iter().filter_map(|server| server.address.as_ref()).collect();
    let (Some(first), Some(registered)) = (stated.first(), &entry.server) else {
        return Stand::Open;
    };
    let theirs = is_address(&bare(registered));
    let servers = Value::list(stated.iter().map(|own| own.value.clone()));
    let (place, registered) = (place(&first.place), registered.clone());
    if stated.iter().any(|own| is_address(&bare(&own.value)) != theirs) {
        return Stand::Unclear(fact!(
            "{place} and after: the servers are {servers}, the roster's is {registered}: whether one of \
             them is that host only name resolution shows",
            place,
            servers,
            registered
        ));
    }
    Stand::Differs(fact!(
        "{place} and after: the servers are {servers}, the roster's is {registered}",
        place,
        servers,
        registered
    ))
}

/// Returns a server's name without what makes no difference: case, a final dot, a scheme, a port.
fn bare(name: &str) -> String {
    let name = name.trim().to_ascii_lowercase();
    let name = name.split_once("://").map_or(name.as_str(), |(_, name)| name);
    let name = name.trim_end_matches('/');
    // An IPv6 address has colons of its own.
    let name = match name.split_once(':') {
        Some((host, port)) if port.chars().all(|c| c.is_ascii_digit()) => host,
        _ => name,
    };
    name.trim_end_matches('.').trim_matches(['[', ']']).to_owned()
}

/// Whether a server is given by an address. The gateway's own name for itself is one: a program there
/// passes on what it gets.
fn is_address(name: &str) -> bool {
    name == "localhost" || name.parse::<IpAddr>().is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_makes_no_difference_is_left_out_of_a_name() {
        for name in [
            "LNS.Orchard.Example",
            "lns.orchard.example.",
            "udp://lns.orchard.example:1700",
            "lns.orchard.example:1700",
        ] {
            assert_eq!(bare(name), "lns.orchard.example", "{name}");
        }
        assert_eq!(bare("2001:db8::1"), "2001:db8::1");
        assert!(is_address("2001:db8::1") && is_address("192.0.2.7") && !is_address("lns.example"));
    }
}
