//! DevEUI and JoinEUI: byte orders, slips, values in each other's place.

use super::{
    Difference, DifferenceKind, Severity, Subject,
    fleet::Fleet,
    keys,
    relation::{Relation, eui_relation},
    words::{list, slip, spelt, the},
};
use crate::{
    explore::near_miss::{EuiName, Nature},
    id::Eui64,
    ladder::{CauseId, hits},
    roster::{
        Claim, ClaimKind,
        firmware::{ByteOrder, OrderFrom},
    },
};

/// What one place says an EUI is.
#[derive(Clone, Copy)]
struct Stated {
    claim: ClaimKind,
    eui: Eui64,
    order: ByteOrder,
    order_from: OrderFrom,
}

impl Stated {
    /// Returns whether the other says the same, in whatever order nothing tells.
    fn agrees(self, other: Self) -> bool {
        self.eui == other.eui || (self.unsure(other) && self.eui.bytes_reversed() == other.eui)
    }

    fn unsure(self, other: Self) -> bool {
        [self.order, other.order].contains(&ByteOrder::Unknown)
    }
}

pub(super) fn check(
    subject: &Subject,
    index: usize,
    fleet: &Fleet<'_>,
    found: &mut Vec<Difference>,
) {
    let all = MEMBERS.map(|member| stated(subject, member));
    let exchanged = exchanged(subject, &all, found);
    for (member, stated) in MEMBERS.into_iter().zip(&all) {
        for (first, second) in pairs(stated) {
            if exchanged.contains(&(first.claim, second.claim)) {
                continue;
            }
            let difference = between(subject, member, first, second, index, fleet);
            let Some(mut difference) = difference else { continue };
            let third = stated.iter().find(|s| s.claim != first.claim && s.claim != second.claim);
            if let Some(third) = third {
                let agrees: Vec<String> = [first, second]
                    .into_iter()
                    .filter(|side| side.agrees(*third))
                    .map(|side| the(side.claim).to_owned())
                    .collect();
                if !agrees.is_empty() {
                    let said = format!("{} agrees with {}", the(third.claim), list(agrees));
                    difference.evidence.push(said);
                }
            }
            found.push(difference);
        }
    }
    orders(subject, &all, found);
    for (kind, claim) in subject.node.claims() {
        equal(subject, kind, claim, found);
    }
}

fn stated(subject: &Subject, member: &'static str) -> Vec<Stated> {
    let eui = |claim: &Claim| match member {
        "dev-eui" => claim.dev_eui.map(|eui| eui.0),
        _ => claim.join_eui.map(|eui| eui.0),
    };
    subject
        .node
        .claims()
        .filter_map(|(claim, said)| {
            let (order, order_from) = match claim {
                ClaimKind::Firmware => subject.order(member),
                _ => (ByteOrder::Printed, OrderFrom::Form),
            };
            Some(Stated { claim, eui: eui(said)?, order, order_from })
        })
        .collect()
}

/// Returns the pairs to compare: firmware with record, and the label where it stands alone.
fn pairs(stated: &[Stated]) -> Vec<(Stated, Stated)> {
    let of = |claim| stated.iter().copied().find(|s| s.claim == claim);
    let (firmware, record) = (of(ClaimKind::Firmware), of(ClaimKind::Record));
    let mut pairs: Vec<_> = firmware.into_iter().zip(record).collect();
    let Some(label) = of(ClaimKind::Label) else { return pairs };
    match (firmware, record) {
        (Some(firmware), Some(record)) => {
            let agrees = label.agrees(firmware) || label.eui == record.eui;
            if !agrees || firmware.agrees(record) {
                pairs.push((label, record));
            }
        }
        // the one whose order may be unknown goes first
        (Some(other), None) | (None, Some(other)) => pairs.push((other, label)),
        (None, None) => {}
    }
    pairs
}

fn between(
    subject: &Subject,
    member: &'static str,
    first: Stated,
    second: Stated,
    index: usize,
    fleet: &Fleet<'_>,
) -> Option<Difference> {
    if first.agrees(second) {
        return None;
    }
    // where nothing tells the order, the nearer of both readings is the one meant
    let mut relation = eui_relation(first.eui, second.eui);
    let mut shown = first.eui;
    let mut backwards = false;
    if first.unsure(second) && !relation.is_typing() {
        let turned = eui_relation(first.eui.bytes_reversed(), second.eui);
        if turned.is_typing() {
            relation = turned;
            shown = first.eui.bytes_reversed();
            backwards = true;
        }
    }
    let (a, b) = (the(first.claim), the(second.claim));
    let name = spelt(member);
    let sides = |difference: Difference| {
        difference.side(subject, first.claim, member, Some(shown.to_string())).side(
            subject,
            second.claim,
            member,
            Some(second.eui.to_string()),
        )
    };
    if member == "dev-eui"
        && let Some((node, side)) = [first, second]
            .into_iter()
            .find_map(|side| fleet.other_with_dev_eui(side.eui, index).map(|node| (node, side)))
    {
        let summary =
            format!("{} has the DevEUI of another node, {}", the(side.claim), node.node.name);
        let remedy = format!("give {} its own DevEUI", subject.node.name);
        let difference = Difference::new(
            DifferenceKind::EuiOfAnotherNode,
            Severity::Fault,
            member,
            summary,
            remedy,
        );
        return Some(sides(difference));
    }
    let how = slip(&relation, a, b, 16);
    let mut difference = match &relation {
        Relation::Reversed => Difference::new(
            DifferenceKind::EuiReversed,
            Severity::Fault,
            member,
            format!("{a} has the {name} of {b} with its bytes in reverse order"),
            format!("turn one of the two, so that both mean {}", likelier(first.eui)),
        )
        .cause(cause(member, Nature::Turned)),
        relation if relation.is_typing() => Difference::new(
            DifferenceKind::EuiTypedWrong,
            Severity::Fault,
            member,
            format!("the {name} of {a} and of {b} are a typing error apart: {how}"),
            "look at the node or its label, and fix the one that is wrong".to_owned(),
        )
        .cause(cause(member, Nature::Typed))
        .marks(relation.marks()),
        _ => unrelated(member, first, second),
    };
    if backwards {
        difference.evidence.push(format!("{a}'s bytes are in reverse order here"));
    }
    for side in [first, second] {
        if let (ByteOrder::Reversed, Relation::Reversed) = (side.order, &relation) {
            let from = side.order_from;
            difference.evidence.push(format!(
                "{} has it marked as least significant byte first ({from}), yet it is most \
                 significant first",
                the(side.claim)
            ));
        }
    }
    if member == "dev-eui" && subject.loosely_matched && !keys::same_root(subject) {
        difference.severity = Severity::Doubt;
        difference.evidence.push("no name and no key says that both are of one node".into());
    }
    if member == "join-eui" {
        difference.evidence.push("a server that does not check JoinEUI lets it pass".into());
    }
    Some(sides(difference))
}

fn unrelated(member: &'static str, first: Stated, second: Stated) -> Difference {
    let (a, b) = (the(first.claim), the(second.claim));
    let name = spelt(member);
    let summary = format!("the {name} of {a} and of {b} have no likeness");
    let remedy = format!("find out which {name} the node sends, and register that one");
    if member == "dev-eui" {
        return Difference::new(
            DifferenceKind::EuiDiffers,
            Severity::Fault,
            member,
            summary,
            remedy,
        )
        .cause(Some(CauseId::IdentityNotOnRecord));
    }
    let zero = [first, second].into_iter().any(|side| side.eui == Eui64::default());
    // a zero JoinEUI is what servers that ask for none are given
    let severity = if zero { Severity::Note } else { Severity::Doubt };
    Difference::new(DifferenceKind::EuiDiffers, severity, member, summary, remedy)
        .cause(Some(CauseId::IdentityNotOnRecord).filter(|_| !zero))
}

/// Looks for DevEUI and JoinEUI in each other's place; returns the pairs where they are.
fn exchanged(
    subject: &Subject,
    [dev, join]: &[Vec<Stated>; 2],
    found: &mut Vec<Difference>,
) -> Vec<(ClaimKind, ClaimKind)> {
    let of = |all: &[Stated], claim| all.iter().copied().find(|s| s.claim == claim);
    let mut pairs = Vec::new();
    for (first, second) in [
        (ClaimKind::Firmware, ClaimKind::Record),
        (ClaimKind::Label, ClaimKind::Record),
        (ClaimKind::Label, ClaimKind::Firmware),
    ] {
        let (Some(dev_a), Some(dev_b)) = (of(dev, first), of(dev, second)) else { continue };
        let (join_a, join_b) = (of(join, first), of(join, second));
        let crossed = |a: Option<Stated>, b: Option<Stated>| match (a, b) {
            (Some(a), Some(b)) => Some(a.agrees(b)),
            _ => None,
        };
        let ways = [crossed(Some(dev_a), join_b), crossed(join_a, Some(dev_b))];
        if dev_a.agrees(dev_b) || !ways.contains(&Some(true)) || ways.contains(&Some(false)) {
            continue;
        }
        pairs.push((first, second));
        pairs.push((second, first));
        // where the label takes part, it only agrees with one of the two
        if pairs.len() > 2 {
            continue;
        }
        let (a, b) = (the(first), the(second));
        let mut difference = Difference::new(
            DifferenceKind::EuisExchanged,
            Severity::Fault,
            "dev-eui",
            format!("DevEUI and JoinEUI of {a} are in each other's place in {b}"),
            format!("swap the two in {b} or in {a}; on a label, DevEUI is the second EUI"),
        )
        .cause(Some(CauseId::DevEuiAndJoinEuiExchanged));
        for (member, one, other) in
            [("dev-eui", Some(dev_a), Some(dev_b)), ("join-eui", join_a, join_b)]
        {
            for side in [one, other].into_iter().flatten() {
                difference =
                    difference.side(subject, side.claim, member, Some(side.eui.to_string()));
            }
        }
        found.push(difference);
    }
    pairs
}

/// Judges EUIs of the firmware that are the record's backwards and whose order nothing tells.
fn orders(subject: &Subject, all: &[Vec<Stated>; 2], found: &mut Vec<Difference>) {
    let reading = |stated: &[Stated]| {
        let firmware = stated.iter().copied().find(|s| s.order == ByteOrder::Unknown)?;
        let other = stated.iter().copied().find(|s| {
            s.order != ByteOrder::Unknown && (s.eui == firmware.eui || s.agrees(firmware))
        })?;
        // the same both ways tells nothing
        let palindrome = firmware.eui == firmware.eui.bytes_reversed();
        (!palindrome).then_some((firmware, other, firmware.eui != other.eui))
    };
    let readings: Vec<_> = MEMBERS
        .into_iter()
        .zip(all)
        .filter_map(|(member, stated)| reading(stated).map(|reading| (member, reading)))
        .collect();
    let forwards = readings.iter().any(|(_, (.., backwards))| !backwards);
    let all_backwards = readings.len() > 1 && !forwards;
    for (member, (firmware, other, _)) in readings.iter().filter(|(_, (.., b))| *b) {
        let (a, name) = (the(other.claim), spelt(member));
        let turned = firmware.eui.bytes_reversed();
        let difference = if forwards {
            Difference::new(
                DifferenceKind::EuiReversed,
                Severity::Fault,
                member,
                format!("of the firmware's two EUIs only {name} is in reverse order"),
                format!("write both EUIs in the order that the stack expects; {name} is {turned}"),
            )
            .cause(cause(member, Nature::Turned))
            .evidence(["whichever order its stack expects, one of the two is wrong".to_owned()])
        } else {
            let severity = if all_backwards { Severity::Note } else { Severity::Doubt };
            Difference::new(
                DifferenceKind::EuiOrderUnknown,
                severity,
                member,
                format!("the firmware has the {name} of {a} with its bytes in reverse order"),
                "look up which order the node's stack expects, and say so in the source: a comment \
                 or a name with LSB or MSB is read here",
            )
            .evidence([format!(
                "right if the stack expects the least significant byte first, else {name} is sent \
                 backwards; {}",
                firmware.order_from
            )])
        };
        found.push(
            difference.side(subject, firmware.claim, member, Some(firmware.eui.to_string())).side(
                subject,
                other.claim,
                member,
                Some(other.eui.to_string()),
            ),
        );
    }
}

fn equal(subject: &Subject, kind: ClaimKind, claim: &Claim, found: &mut Vec<Difference>) {
    let (Some(dev), Some(join)) = (claim.dev_eui, claim.join_eui) else { return };
    if dev.0 == join.0 {
        let summary = format!("DevEUI and JoinEUI of {} are the same", the(kind));
        let remedy = "allowed, but often one was copied into the other's place";
        found.push(
            Difference::new(DifferenceKind::EuisEqual, Severity::Note, "join-eui", summary, remedy)
                .side(subject, kind, "dev-eui", Some(dev.to_string()))
                .side(subject, kind, "join-eui", Some(join.to_string())),
        );
    }
}

/// Returns the reading that looks like an EUI made from a MAC address, else the one given.
fn likelier(eui: Eui64) -> Eui64 {
    let made = |eui: Eui64| matches!(eui.octets(), [_, _, _, 0xFF, 0xFE | 0xFF, ..]);
    if made(eui.bytes_reversed()) && !made(eui) { eui.bytes_reversed() } else { eui }
}

/// Returns the cause that a mistake in an EUI means.
fn cause(member: &str, nature: Nature) -> Option<CauseId> {
    let name = if member == "join-eui" { EuiName::JoinEui } else { EuiName::DevEui };
    hits::eui(nature, name)
}

const MEMBERS: [&str; 2] = ["dev-eui", "join-eui"];
