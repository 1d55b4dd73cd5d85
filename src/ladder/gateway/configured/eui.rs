//! Whether a configuration is this gateway's, and whether its EUI is the registered one.

use super::place;
use crate::{
    explore::near_miss::{self, Mistake},
    fact::{Fact, fact},
    id::Eui64,
    ladder::gateway::World,
    roster::{Gateway, GatewayConfig},
};

/// How the EUI of a file is to the roster's.
#[derive(Clone, Debug)]
pub(in crate::ladder) enum Identity {
    /// The file states none.
    Open,
    /// It is the same.
    Agrees(Fact),
    /// A typing error makes one of the other.
    Near(Fact),
    /// The roster's EUI speaks in the capture, and the file's does not.
    NotInForce(Fact),
    /// It is another one.
    Unlike(Fact),
    /// The roster has gateways, and none that it resembles.
    NotListed(Fact),
}

impl Identity {
    pub(super) fn of(world: &World<'_>, config: &GatewayConfig, entry: Option<&Gateway>) -> Self {
        let Some(stated) = &config.eui else { return Self::Open };
        let (place, eui) = (place(&stated.place), stated.value);
        let Some(entry) = entry else {
            // A gateway whose EUI cannot be read may be this one.
            if world.roster.gateways.is_empty() || world.roster.unread.contains(&"gateway") {
                return Self::Open;
            }
            return Self::NotListed(fact!(
                "{place}: gateway_ID {eui} is not on the roster, and is near none that is",
                place,
                eui
            ));
        };
        let registered = entry.eui;
        if eui == registered {
            return Self::Agrees(fact!("{place}: gateway_ID {eui} is on the roster", place, eui));
        }
        if world.hears(registered) && !world.hears(eui) {
            return Self::NotInForce(fact!(
                "the gateway sends as {registered}, which the roster has; {place}: gateway_ID is {eui}",
                registered,
                place,
                eui
            ));
        }
        // Where both are on the air, they are two gateways.
        let both = world.hears(registered) && world.hears(eui);
        match resemblance(eui, registered).filter(|_| !both && !world.lists(eui)) {
            Some(how) => Self::Near(fact!(
                "{place}: gateway_ID is {eui}, the roster has {registered}: {how}",
                place,
                eui,
                registered,
                how
            )),
            None => Self::Unlike(fact!(
                "{place}: gateway_ID is {eui}, the roster has {registered}: it may be another gateway's \
                 file, and the rest of it is not compared",
                place,
                eui,
                registered
            )),
        }
    }
}

/// Returns how a gateway's EUI comes of a registered one by a mistake that people make.
fn resemblance(own: Eui64, registered: Eui64) -> Option<String> {
    let mistake = near_miss::eui_relation(own, registered);
    if let Some(mistake) = mistake.filter(|mistake| *mistake != Mistake::Same) {
        return Some(mistake.of_eui("the roster's EUI").replace("the node sends", "the file has"));
    }
    let of_registered = addresses(registered);
    let address = addresses(own).into_iter().find(|address| of_registered.contains(address))?;
    let address: Vec<String> = address.iter().map(|byte| format!("{byte:02X}")).collect();
    Some(format!("both are made of the MAC address {}, one of them wrongly", address.join(":")))
}

/// Returns the MAC addresses that an EUI may have been made of: six of its bytes, without FF FE or FF FF
/// in the middle, where it belongs, or where it is seen by mistake (after two bytes, at either end).
fn addresses(eui: Eui64) -> Vec<[u8; 6]> {
    const PLACES: [usize; 4] = [3, 2, 0, 6];
    let bytes = eui.octets();
    let filler = |at: usize| matches!(bytes.get(at..at + 2), Some([0xFF, 0xFE | 0xFF]));
    PLACES
        .into_iter()
        .filter(|at| filler(*at))
        .filter_map(|at| {
            let rest = bytes.iter().enumerate().filter(|(i, _)| *i < at || *i > at + 1);
            rest.map(|(_, byte)| *byte).collect::<Vec<_>>().try_into().ok()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn eui(text: &str) -> Eui64 {
        text.parse().unwrap()
    }

    #[test]
    fn an_eui_made_wrongly_of_a_mac_address_is_known() {
        let right = eui("020C4CFFFE50F1F9");
        for wrong in
            ["020C4CFFFF50F1F9", "020CFFFE4C50F1F9", "FFFE020C4C50F1F9", "020C4C50F1F9FFFE"]
        {
            assert!(resemblance(eui(wrong), right).is_some(), "{wrong}");
        }
        assert_eq!(resemblance(eui("020CFFFE4C50F1F8"), right), None);
        assert_eq!(resemblance(eui("0200000000000001"), right), None);
    }
}
