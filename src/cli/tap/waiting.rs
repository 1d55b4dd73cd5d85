//! What the tap waits for, and what to type into the gateway.

use std::net::{IpAddr, SocketAddr, UdpSocket};

use crate::{
    id::Eui64,
    ladder::gateway_slip,
    live::Board,
    roster::{Gateway, Roster},
    words::Count,
};

/// Returns what is waited for: where, whom, and how a gateway comes to send there. The first of two addresses is
/// taken for that of uplinks.
pub(super) fn words(locals: &[SocketAddr], roster: &Roster) -> Vec<String> {
    let Some(first) = locals.first() else { return Vec::new() };
    let last = locals.last().unwrap_or(first);
    let mut words = Vec::new();
    let whom = match (roster.gateways.as_slice(), roster.nodes.len()) {
        ([], 0) => "waiting for gateways".to_owned(),
        ([], nodes) => format!("waiting for gateways, and {}", Count(nodes, "node")),
        (gateways, nodes) => {
            format!("waiting for {}, and {}", names(gateways.iter()), Count(nodes, "node"))
        }
    };
    words.push(format!("{whom}: none was heard yet"));
    let host = match first.ip() {
        ip if ip.is_unspecified() => own_address(first),
        ip => Some(ip),
    };
    let host = host.map_or_else(|| "this machine's address".to_owned(), |ip| ip.to_string());
    words.push(format!(
        "in the gateway: server_address {host}, serv_port_up {}, serv_port_down {}",
        first.port(),
        last.port()
    ));
    if first.ip().is_loopback() {
        let other = own_address(first).map_or_else(|| "ADDRESS".to_owned(), |ip| ip.to_string());
        words.push(format!(
            "only a gateway on this machine reaches {}; for another one: --listen {other}:{}",
            first.ip(),
            first.port()
        ));
    }
    words
}

/// Returns the address from which this machine sends to others, which is where they reach it as a rule. Nothing
/// is sent: a UDP socket that is connected only looks for its way.
fn own_address(like: &SocketAddr) -> Option<IpAddr> {
    // Addresses for documentation (RFC 5737, RFC 3849): no host has them.
    let (any, far) = match like {
        SocketAddr::V4(_) => ("0.0.0.0:0", "192.0.2.1:9"),
        SocketAddr::V6(_) => ("[::]:0", "[2001:db8::1]:9"),
    };
    let socket = UdpSocket::bind(any).ok()?;
    socket.connect(far).ok()?;
    let own = socket.local_addr().ok()?.ip();
    (!own.is_unspecified() && !own.is_loopback()).then_some(own)
}

/// Returns what is to be said of a gateway whose EUI is a typing error away from one of the roster.
pub(super) fn near(sent: Eui64, roster: &Roster) -> Option<String> {
    if roster.gateways.iter().any(|gateway| gateway.eui == sent) {
        return None;
    }
    let mut near =
        roster.gateways.iter().filter_map(|own| Some((own, gateway_slip(sent, own.eui)?)));
    let (own, how) = near.next()?;
    Some(format!(
        "gateway {sent} is not on the roster, and near {}: {how} (see: handfast explain \
         gateway-registered-under-another-eui)",
        name(own)
    ))
}

/// Returns which gateways of the roster were not heard, if there are any.
pub(super) fn not_heard(board: &Board, roster: &Roster) -> Option<String> {
    let heard: Vec<Eui64> = board.gateways().map(|(eui, _)| eui).collect();
    let mut silent = roster.gateways.iter().filter(|own| !heard.contains(&own.eui)).peekable();
    silent.peek()?;
    Some(format!("not heard: {}", names(silent)))
}

fn name(gateway: &Gateway) -> String {
    match &gateway.name {
        Some(name) => format!("gateway {} ({name})", gateway.eui),
        None => format!("gateway {}", gateway.eui),
    }
}

fn names<'a>(gateways: impl Iterator<Item = &'a Gateway>) -> String {
    let all: Vec<String> = gateways.map(name).collect();
    let more = all.len().saturating_sub(MOST_NAMED);
    let named: Vec<String> = all.into_iter().take(MOST_NAMED).collect();
    match more {
        0 => named.join(", "),
        more => format!("{} and {}", named.join(", "), Count(more, "more gateway")),
    }
}

/// Gateways that are named.
const MOST_NAMED: usize = 6;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::roster;

    fn listed() -> Roster {
        let text = "[[gateway]]\neui = \"020000fffea01827\"\nname = \"barn\"\n";
        roster::parse(text, None).unwrap()
    }

    #[test]
    fn it_is_said_what_to_type_and_who_is_missing() {
        let locals = ["192.0.2.7:1700", "192.0.2.7:1701"].map(|at| at.parse().unwrap());
        let all = words(&locals, &listed()).join("\n");
        assert!(all.contains("gateway 02-00-00-FF-FE-A0-18-27 (barn)"), "{all}");
        let wanted = "server_address 192.0.2.7, serv_port_up 1700, serv_port_down 1701";
        assert!(all.contains(wanted) && !all.contains("--listen"), "{all}");
        let one = words(&["127.0.0.1:1700".parse().unwrap()], &Roster::default()).join("\n");
        assert!(one.contains("serv_port_up 1700, serv_port_down 1700"), "{one}");
        assert!(one.contains("only a gateway on this machine"), "{one}");
        let silent = not_heard(&Board::default(), &listed()).unwrap();
        assert!(silent.contains("(barn)"), "{silent}");
        assert_eq!(not_heard(&Board::default(), &Roster::default()), None);
    }

    #[test]
    fn an_eui_near_the_roster_s_is_told_and_others_are_not() {
        let told = near("020000FFFEA01828".parse().unwrap(), &listed()).unwrap();
        assert!(told.contains("(barn)") && told.contains("digit 16"), "{told}");
        for other in ["020000FFFEA01827", "020000FFFE5C3D94"] {
            assert_eq!(near(other.parse().unwrap(), &listed()), None);
        }
    }
}
