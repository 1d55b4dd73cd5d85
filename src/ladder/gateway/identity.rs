//! The EUI of a gateway: on the roster, a typing error away from it, or shared.

use super::world::{World, has_spoken};
use crate::{
    explore::near_miss::{self, Mistake},
    id::Eui64,
    trace::{GatewayTrace, Moment},
};

/// Changes from one radio to another and back by which one EUI has two: a restart is one change, and its old line
/// never comes back.
const LEAST_RETURNS: u64 = 3;
/// Receptions that two gateways report alike by which they are one: a counter of 32 bits agrees by chance once in
/// four billion.
const LEAST_ALIKE: usize = 3;
/// Digits in which two EUIs may differ that one typing error makes of each other.
const MOST_DIGITS: usize = 2;

/// What the roster has to do with a gateway's EUI.
#[derive(Debug)]
pub(in crate::ladder) enum Known {
    /// The roster lists no gateway.
    Open,
    /// The capture names no gateway.
    Unnamed,
    /// It is on the roster.
    Listed,
    /// Two radios send under it.
    Shared,
    /// One radio sends under it and under another.
    Twins(Eui64, Vec<(Moment, Moment)>),
    /// A registered EUI that never speaks is a typing error away.
    Near(Near),
    /// The server refuses it, though it is on the roster.
    Refused,
    /// Nothing on the roster speaks, and this does.
    Unlisted,
    /// It is not on the roster, and a gateway that is speaks as well.
    Neighbour,
}

/// A registered EUI that is a typing error away.
#[derive(Clone, Debug)]
pub(in crate::ladder) struct Near {
    pub(in crate::ladder) registered: Eui64,
    /// How they differ.
    pub(in crate::ladder) how: String,
    /// The link-layer address of which the EUI that is sent is made, where the recording has it.
    pub(in crate::ladder) link: Option<[u8; 6]>,
    /// Whether the server refuses the EUI that is sent.
    pub(in crate::ladder) refused: bool,
}

impl Known {
    pub(super) fn of(world: &World<'_>, eui: Option<Eui64>, heard: Option<&GatewayTrace>) -> Self {
        let Some(eui) = eui else { return Self::Unnamed };
        let listed = world.lists(eui);
        let Some(heard) = heard else {
            return if listed { Self::Listed } else { Self::Open };
        };
        if heard.radios.returns >= LEAST_RETURNS {
            return Self::Shared;
        }
        if let Some((other, alike)) = twin(world, eui, heard) {
            return Self::Twins(other, alike);
        }
        let refused = heard.connections.refused.is_some() && heard.connections.welcomed == 0;
        if world.registered.contains(&eui) {
            let named = world.trace.gateways.contains_key(&Some(eui));
            return match (refused, named) {
                (true, _) => Self::Refused,
                (_, true) => Self::Listed,
                (_, false) => Self::Unnamed,
            };
        }
        if !has_spoken(heard) || world.registered.is_empty() {
            return Self::Open;
        }
        // A gateway whose EUI cannot be read may be this one.
        if world.roster.unread.contains(&"gateway") {
            return Self::Open;
        }
        if let Some(near) = near(world, eui, heard, refused) {
            return Self::Near(near);
        }
        if world.roster.gateways.is_empty() {
            return Self::Open;
        }
        let ours = world.speaking.iter().any(|sent| world.registered.contains(sent));
        if ours { Self::Neighbour } else { Self::Unlisted }
    }
}

/// Another gateway that reports the same receptions.
fn twin(
    world: &World<'_>,
    eui: Eui64,
    heard: &GatewayTrace,
) -> Option<(Eui64, Vec<(Moment, Moment)>)> {
    let others = world.trace.gateways.iter().filter(|(other, _)| **other != Some(eui));
    others
        .filter_map(|(other, trace)| Some(((*other)?, heard.receptions.same_as(&trace.receptions))))
        .find(|(_, alike)| alike.len() >= LEAST_ALIKE)
}

/// A registered EUI that never speaks, and that is a typing error away.
fn near(world: &World<'_>, eui: Eui64, heard: &GatewayTrace, refused: bool) -> Option<Near> {
    let silent = world.registered.iter().filter(|own| !world.speaking.contains(own));
    let mut found = silent.filter_map(|own| Some((*own, slip(eui, *own)?)));
    let (registered, how) = found.next()?;
    let link = heard.links.iter().copied().find(|link| is_made_of(eui, *link));
    Some(Near { registered, how, link, refused })
}

/// Says how the EUI that a gateway sends differs from one that is registered, where one mistake makes one of the
/// other.
pub(crate) fn slip(sent: Eui64, registered: Eui64) -> Option<String> {
    if sent == registered {
        return None;
    }
    if let Some(words) = filler(sent, registered) {
        return Some(words);
    }
    // All these mistakes leave most digits as they are, in whatever order: few EUIs pass this.
    if digits_apart(sent, registered) > MOST_DIGITS {
        return None;
    }
    let mistake = near_miss::eui_relation(sent, registered)?;
    match mistake {
        Mistake::Same | Mistake::Substituted { .. } | Mistake::Rotated { .. } => None,
        mistake => Some(mistake.of_gateway("the registered EUI")),
    }
}

/// The two bytes that make 64 bits of a link-layer address, put in at another place.
fn filler(sent: Eui64, registered: Eui64) -> Option<String> {
    let places = |eui: Eui64| {
        let octets = eui.octets();
        (0..=6_usize).filter_map(move |at| {
            let (head, tail) = octets.split_at(at);
            let (filler, rest) = tail.split_at_checked(2)?;
            let is_filler = matches!(filler, [0xFF, 0xFE | 0xFF]);
            is_filler.then(|| (at, hex::encode_upper(filler), [head, rest].concat()))
        })
    };
    places(registered).find_map(|(own_at, own, link)| {
        let (at, used, _) = places(sent).find(|(at, _, other)| *other == link && *at != own_at)?;
        let after = |at: usize| match at {
            0 => "before its first byte".to_owned(),
            1 => "after one byte".to_owned(),
            6 => "after its last byte".to_owned(),
            n => format!("after {n} bytes"),
        };
        Some(format!(
            "the registered EUI has {own} in the link-layer address {}, the gateway sends {used} {}",
            after(own_at),
            after(at)
        ))
    })
}

/// How many digits two EUIs do not have in common, in whatever order.
fn digits_apart(a: Eui64, b: Eui64) -> usize {
    let count = |eui: Eui64| {
        let mut digits = [0_usize; 16];
        for octet in eui.octets() {
            for digit in [octet >> 4, octet & 0xF] {
                if let Some(count) = digits.get_mut(usize::from(digit)) {
                    *count += 1;
                }
            }
        }
        digits
    };
    let apart = count(a).iter().zip(count(b)).map(|(a, b)| a.abs_diff(b)).sum::<usize>();
    apart / 2
}

/// Returns a link-layer address as people write it.
pub(in crate::ladder) fn link_layer(octets: [u8; 6]) -> String {
    octets.map(|octet| format!("{octet:02X}")).join(":")
}

/// Whether an EUI is made of a link-layer address: its six bytes with two more anywhere.
pub(super) fn is_made_of(eui: Eui64, link: [u8; 6]) -> bool {
    let [first, rest @ ..] = link;
    // The local bit is turned over in some.
    let turned = {
        let mut turned = [first ^ 0x02, 0, 0, 0, 0, 0];
        turned.iter_mut().skip(1).zip(rest).for_each(|(to, octet)| *to = octet);
        turned
    };
    let octets = eui.octets();
    (0..=6).any(|at| {
        let (head, tail) = octets.split_at(at);
        let without = head.iter().chain(tail.iter().skip(2));
        without.clone().eq(&link) || without.eq(&turned)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mistakes_that_people_make_with_an_eui_are_named_and_others_are_not() {
        let sent: Eui64 = "020000FFFEA01827".parse().unwrap();
        for (registered, words) in [
            ("020000FFFEA01828", "digit 16"),
            ("020000FFFEA01872", "swapped"),
            ("2718A0FEFF000002", "reversed"),
            ("020000FFFFA01827", "FFFF"),
            ("0200FFFE00A01827", "after 2 bytes"),
            ("020000A01827FFFE", "after its last byte"),
            ("FFFE020000A01827", "before its first byte"),
            ("020000FFFEA31829", "digit"),
        ] {
            let how = slip(sent, registered.parse().unwrap()).unwrap_or_default();
            assert!(how.contains(words), "{registered}: {how}");
        }
        for registered in ["020000FFFEA01827", "020000FFFE5C3D94", "020000FFFE018A72"] {
            assert_eq!(slip(sent, registered.parse().unwrap()), None, "{registered}");
        }
    }

    #[test]
    fn an_eui_is_made_of_a_link_layer_address_wherever_the_two_bytes_are() {
        let link = [0x02, 0x00, 0x00, 0xA0, 0x18, 0x27];
        for text in ["020000FFFEA01827", "0200FFFE00A01827", "020000A01827FFFE", "000000FFFEA01827"]
        {
            assert!(is_made_of(text.parse().unwrap(), link), "{text}");
        }
        for text in ["020000FFFEA01828", "020100FFFEA01827"] {
            assert!(!is_made_of(text.parse().unwrap(), link), "{text}");
        }
    }
}
