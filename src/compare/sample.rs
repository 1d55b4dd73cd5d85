//! Values that are no real values: reserved ones, samples of standards, patterns of a keyboard.

use super::{
    Difference, DifferenceKind, Severity, Subject,
    slot::{ROOTS, SESSION},
    words::{spelt, the},
};
use crate::{
    id::EuiRemark,
    key::Aes128Key,
    ladder::CauseId,
    roster::{ClaimKind, firmware::ByteOrder},
};

/// Returns what sample a key is, if it is one.
pub(super) fn of_key(key: &Aes128Key) -> Option<&'static str> {
    let octets = key.expose();
    if *octets == [0; 16] {
        return Some("all zeros");
    }
    if *octets == [0xFF; 16] {
        return Some("all ones");
    }
    if let Some((_, name)) = PUBLISHED.iter().find(|(sample, _)| sample == octets) {
        return Some(name);
    }
    let [first, second, ..] = *octets;
    let step = second.wrapping_sub(first);
    let mut neighbours = octets.iter().zip(octets.iter().skip(1));
    if neighbours.all(|(a, b)| b.wrapping_sub(*a) == step) {
        return Some(if step == 0 { "one byte sixteen times" } else { "a key that counts" });
    }
    let (head, tail) = octets.split_at(8);
    if head == tail {
        let [first, second, ..] = *octets;
        let step = second.wrapping_sub(first);
        let counts = head.iter().zip(head.iter().skip(1)).all(|(a, b)| b.wrapping_sub(*a) == step);
        return Some(if counts { "a key that counts twice" } else { "the same eight bytes twice" });
    }
    None
}

pub(super) fn check(subject: &Subject, found: &mut Vec<Difference>) {
    keys(subject, found);
    euis(subject, found);
}

/// Tells of samples that no difference told of: both sides have them, or there is one side only.
fn keys(subject: &Subject, found: &mut Vec<Difference>) {
    for slot in ROOTS.iter().chain(&SESSION) {
        let told =
            found.iter().any(|d| d.kind == DifferenceKind::KeyIsSample && d.member == slot.member);
        let sides: Vec<_> = subject
            .node
            .claims()
            .filter_map(|(kind, claim)| Some((kind, of_key((slot.key)(claim)?)?)))
            .collect();
        let Some((_, what)) = sides.first().copied().filter(|_| !told) else { continue };
        let name = spelt(slot.member);
        let places: Vec<String> = sides.iter().map(|(kind, _)| the(*kind).to_owned()).collect();
        let summary = format!("the {name} of {} is {what}", super::words::list(places));
        let remedy = "take a key of random digits for every node";
        let mut difference = Difference::new(
            DifferenceKind::KeyIsSample,
            Severity::Doubt,
            slot.member,
            summary,
            remedy,
        )
        .evidence(["it may work as long as both sides have it, but it is not a secret".into()]);
        // The same value on both sides, or on the only side that is known: a join works with it.
        if ROOTS.iter().any(|root| root.member == slot.member) {
            difference = difference.cause(Some(CauseId::FirmwareStillUsesASampleKey));
        }
        for (kind, _) in sides {
            difference = difference.side(subject, kind, slot.member, None);
        }
        found.push(difference);
    }
}

fn euis(subject: &Subject, found: &mut Vec<Difference>) {
    let mut told: Vec<(&str, String)> = Vec::new();
    for (kind, claim) in subject.node.claims() {
        let dev = claim.dev_eui.map(|eui| ("dev-eui", eui.0));
        let join = claim.join_eui.map(|eui| ("join-eui", eui.0));
        for (member, eui) in dev.into_iter().chain(join) {
            let remarks = eui.remarks();
            let Some(remark) = remarks.iter().find(|remark| is_odd(remark)) else { continue };
            // the group bit may be any bit of an EUI whose order is wrong or not known
            let turned =
                found.iter().any(|d| d.kind == DifferenceKind::EuiReversed && d.member == member);
            let unsure = turned
                || (kind == ClaimKind::Firmware && subject.order(member).0 == ByteOrder::Unknown);
            if unsure && !eui.bytes_reversed().remarks().iter().any(is_odd) {
                continue;
            }
            let value = eui.to_string();
            if told.contains(&(member, value.clone())) {
                continue;
            }
            let severity = match (member, remark) {
                // zero is what servers that ask for no JoinEUI are given
                ("join-eui", EuiRemark::AllZero) => continue,
                ("join-eui", _) => Severity::Note,
                _ => Severity::Doubt,
            };
            let summary = format!("the {} of {} is {remark}", spelt(member), the(kind));
            let summary = summary.replace(" is it counts", " counts");
            let remedy = "look at the node or its label for the EUI that it was given";
            told.push((member, value.clone()));
            found.push(
                Difference::new(DifferenceKind::EuiReserved, severity, member, summary, remedy)
                    .side(subject, kind, member, Some(value)),
            );
        }
    }
}

fn is_odd(remark: &EuiRemark) -> bool {
    matches!(
        remark,
        EuiRemark::AllZero
            | EuiRemark::AllOnes
            | EuiRemark::Group
            | EuiRemark::OneOctet(_)
            | EuiRemark::Counting { .. }
            | EuiRemark::TwoHalves
            | EuiRemark::Text(_)
    )
}

/// Keys that standards print.
const PUBLISHED: &[([u8; 16], &str)] = &[
    (
        *b"\x2b\x7e\x15\x16\x28\xae\xd2\xa6\xab\xf7\x15\x88\x09\xcf\x4f\x3c",
        "the sample key of FIPS 197 and RFC 4493",
    ),
    (
        *b"\x00\x01\x02\x03\x04\x05\x06\x07\x08\x09\x0a\x0b\x0c\x0d\x0e\x0f",
        "the sample key of FIPS 197, counting up",
    ),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn samples_are_known_and_real_keys_are_not() {
        for (text, sample) in [
            ("00000000000000000000000000000000", true),
            ("ffffffffffffffffffffffffffffffff", true),
            ("2b7e151628aed2a6abf7158809cf4f3c", true),
            ("000102030405060708090a0b0c0d0e0f", true),
            ("0102030405060708090a0b0c0d0e0f10", true),
            ("00112233445566778899aabbccddeeff", true),
            ("11223344556677881122334455667788", true),
            ("0123456789abcdef0123456789abcdef", true),
            ("a5a5a5a5a5a5a5a5a5a5a5a5a5a5a5a5", true),
            ("5a0c11d2e37f4b8896a1c0deface0147", false),
            ("2b7e151628aed2a6abf7158809cf4f3d", false),
            ("0102030405060708090a0b0c0d0e0f11", false),
        ] {
            assert_eq!(of_key(&text.parse().unwrap()).is_some(), sample, "{text}");
        }
    }
}
