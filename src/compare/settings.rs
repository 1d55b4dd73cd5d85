//! Version, region, channels, class, activation, and the addresses of a session.

use super::{Context, Difference, DifferenceKind, Severity, Subject, missing::is_otaa, slot};
use crate::{
    frame::MacVersion,
    ladder::CauseId,
    region::{ChannelMask, Plan, PlanKind},
    roster::{Activation, Claim, ClaimKind, Class},
};

pub(super) fn check(subject: &Subject, context: &Context, found: &mut Vec<Difference>) {
    for (kind, claim) in subject.node.claims() {
        address_of(subject, kind, claim, found);
    }
    let (firmware, record) = (subject.node.firmware.as_ref(), subject.node.record.as_ref());
    if let (Some(firmware), Some(record)) = (firmware, record) {
        let pair = Pair { subject, firmware, record };
        pair.version(found);
        pair.class(found);
        pair.activation(found);
        pair.addresses(found);
    }
    channels(subject, context, found);
}

struct Pair<'s> {
    subject: &'s Subject,
    firmware: &'s Claim,
    record: &'s Claim,
}

impl Pair<'_> {
    fn sides(
        &self,
        difference: Difference,
        member: &'static str,
        values: (String, String),
    ) -> Difference {
        difference.side(self.subject, ClaimKind::Firmware, member, Some(values.0)).side(
            self.subject,
            ClaimKind::Record,
            member,
            Some(values.1),
        )
    }

    fn version(&self, found: &mut Vec<Difference>) {
        let (Some(a), Some(b)) = (self.firmware.mac_version, self.record.mac_version) else {
            return;
        };
        if a == b {
            return;
        }
        let counts = |version: MacVersion| version.counts_dev_nonces();
        let (severity, cause, why) = match (a == MacVersion::V1_1, b == MacVersion::V1_1) {
            (false, true) => (
                Severity::Fault,
                Some(CauseId::ServerSays11NodeIs10),
                "the server answers by the 1.1 rule, which the node cannot check",
            ),
            (true, false) => (
                Severity::Doubt,
                None,
                "a 1.1 node falls back to 1.0.x if its stack does what the standard asks",
            ),
            _ if !counts(a) && counts(b) => (
                Severity::Fault,
                Some(CauseId::RandomNonceAgainstACountingServer),
                "the node's DevNonces are random, the server takes only growing ones",
            ),
            _ if counts(a) && !counts(b) => (
                Severity::Note,
                None,
                "the server looks for DevNonces used before and takes growing ones, too",
            ),
            _ => (Severity::Note, None, "the join is the same in both"),
        };
        let summary = format!("the firmware is LoRaWAN {}, the record says {}", a.name(), b.name());
        let remedy = format!("set the record to {}, if that is what the stack does", a.name());
        let difference = Difference::new(
            DifferenceKind::VersionDiffers,
            severity,
            "mac-version",
            summary,
            remedy,
        )
        .cause(cause)
        .evidence([why.to_owned()]);
        found.push(self.sides(difference, "mac-version", (a.name().into(), b.name().into())));
    }

    fn class(&self, found: &mut Vec<Difference>) {
        let (Some(a), Some(b)) = (self.firmware.class, self.record.class) else { return };
        if a == b {
            return;
        }
        let (severity, why) = match b {
            Class::A => (Severity::Note, "the server waits for an uplink before it sends"),
            _ => (Severity::Fault, "the server sends at times when the node does not listen"),
        };
        let summary = format!("the firmware is class {}, the record says {}", a.name(), b.name());
        let remedy = format!("set the record to class {}", a.name());
        let difference =
            Difference::new(DifferenceKind::ClassDiffers, severity, "class", summary, remedy)
                .evidence([why.to_owned()]);
        found.push(self.sides(difference, "class", (a.name().into(), b.name().into())));
    }

    fn activation(&self, found: &mut Vec<Difference>) {
        let (a, b) = (activation(self.firmware), activation(self.record));
        let (Some((a, a_stated)), Some((b, b_stated))) = (a, b) else { return };
        if a == b {
            return;
        }
        // what one side only shows by the keys it states may be told in part
        let sure = a_stated && b_stated;
        let severity = if sure { Severity::Fault } else { Severity::Doubt };
        let (summary, cause) = if a == Activation::Otaa {
            (
                "the node joins over the air, the record holds a session by personalisation",
                Some(CauseId::NodeJoinsOverTheAirRecordIsAbp),
            )
        } else {
            ("the node has its session built in, the record waits for a join", None)
        };
        let remedy = "set the same activation on both sides, with the keys that it needs";
        let difference = Difference::new(
            DifferenceKind::ActivationDiffers,
            severity,
            "activation",
            summary,
            remedy,
        )
        .cause(cause);
        found.push(self.sides(difference, "activation", (a.name().into(), b.name().into())));
    }

    fn addresses(&self, found: &mut Vec<Difference>) {
        if let (Some(a), Some(b)) = (self.firmware.dev_addr, self.record.dev_addr)
            && a != b
        {
            // an address that a join gave is gone with the next one
            let otaa = is_otaa(self.subject) == Some(true);
            let severity = if otaa { Severity::Note } else { Severity::Fault };
            let reversed = a.0 == b.0.swap_bytes();
            let summary = if reversed {
                "the firmware has the DevAddr of the record with its bytes in reverse order"
            } else {
                "the DevAddr of the firmware and of the record differ"
            };
            let remedy = "enter the same DevAddr on both sides";
            let difference = Difference::new(
                DifferenceKind::DevAddrDiffers,
                severity,
                "dev-addr",
                summary,
                remedy,
            );
            found.push(self.sides(difference, "dev-addr", (a.to_string(), b.to_string())));
        }
        if let (Some(a), Some(b)) = (self.firmware.net_id, self.record.net_id)
            && a != b
        {
            let summary = "the NetID of the firmware and of the record differ";
            let remedy = "a node learns its NetID from the Join-Accept; only sessions by \
                          personalisation have it built in";
            let difference = Difference::new(
                DifferenceKind::NetIdDiffers,
                Severity::Note,
                "net-id",
                summary,
                remedy,
            );
            found.push(self.sides(difference, "net-id", (a.to_string(), b.to_string())));
        }
    }
}

/// Returns how a place says that the session comes about, and whether it says so in words.
fn activation(claim: &Claim) -> Option<(Activation, bool)> {
    if let Some(stated) = claim.activation {
        return Some((stated, true));
    }
    let root = claim.app_key.is_some() || claim.nwk_key.is_some();
    let session = slot::SESSION.iter().any(|slot| (slot.key)(claim).is_some());
    match (root, session) {
        (true, _) => Some((Activation::Otaa, false)),
        (false, true) => Some((Activation::Abp, false)),
        (false, false) => None,
    }
}

/// Looks whether a DevAddr is one of its network's.
fn address_of(subject: &Subject, kind: ClaimKind, claim: &Claim, found: &mut Vec<Difference>) {
    let Some(addr) = claim.dev_addr else { return };
    let record = subject.node.record.as_ref();
    let net_id = claim.net_id.or_else(|| record?.net_id);
    let prefix = claim.dev_addr_prefix.or_else(|| record?.dev_addr_prefix);
    let outside_net_id = net_id.filter(|net_id| net_id.owns(addr).is_none());
    let outside_prefix = prefix.filter(|prefix| !prefix.contains(addr));
    let whose = match (outside_net_id, outside_prefix) {
        (Some(net_id), _) => format!("of NetID {net_id}"),
        (None, Some(prefix)) => format!("of the range {:08X}/{}", prefix.value(), prefix.bits()),
        (None, None) => return,
    };
    let summary = format!("the DevAddr of {} is none {whose}", super::words::the(kind));
    let remedy = "take a DevAddr of the network's own range";
    let mut difference = Difference::new(
        DifferenceKind::DevAddrOutside,
        Severity::Fault,
        "dev-addr",
        summary,
        remedy,
    )
    .cause(Some(CauseId::DevAddrOutsideTheServersRange))
    .side(subject, kind, "dev-addr", Some(addr.to_string()));
    if let Some(net_id) = outside_net_id {
        let holder = if claim.net_id.is_some() { kind } else { ClaimKind::Record };
        difference = difference.side(subject, holder, "net-id", Some(net_id.to_string()));
    }
    found.push(difference);
}

/// Looks at regions, sub-bands and channel masks.
fn channels(subject: &Subject, context: &Context, found: &mut Vec<Difference>) {
    let (firmware, record) = (subject.node.firmware.as_ref(), subject.node.record.as_ref());
    let own = |claim: Option<&Claim>| claim.and_then(|claim| claim.region);
    let served = own(record).or(context.region);
    if let (Some(a), Some(b)) = (own(firmware), served)
        && a.name != b.name
    {
        found.push(regions(subject, a, b, own(record).is_some()));
        // masks of two plans cannot be compared
        return;
    }
    let Some(plan) = own(firmware).or(served) else { return };
    let mask_of =
        |claim: Option<&Claim>| claim?.channel_mask.as_deref().map(ChannelMask::from_words);
    for (kind, mask) in
        [(ClaimKind::Firmware, mask_of(firmware)), (ClaimKind::Record, mask_of(record))]
    {
        if let Some(mask) = mask {
            found.extend(lawful(subject, kind, plan, &mask));
        }
    }
    let banded = |n: Option<u8>| {
        let channels = plan.sub_band_channels(n?);
        (!channels.is_empty()).then(|| ChannelMask::from_channels(channels))
    };
    let node_band = firmware.and_then(|claim| claim.sub_band);
    let served_band = record.and_then(|claim| claim.sub_band).or(context.sub_band);
    let node = mask_of(firmware).or_else(|| banded(node_band));
    let gateway = mask_of(record).or_else(|| banded(served_band));
    let (Some(node), Some(gateway)) = (node, gateway) else { return };
    if node.is_empty() || gateway.is_empty() {
        return;
    }
    let by_band = mask_of(firmware).is_none() && mask_of(record).is_none();
    found.extend(overlap(subject, &node, &gateway, by_band, plan));
}

fn regions(subject: &Subject, a: &Plan, b: &Plan, recorded: bool) -> Difference {
    let whose = if recorded { "the record" } else { "the server's side" };
    let summary = format!("the firmware is built for {}, {whose} for {}", a.name, b.name);
    let group = a.name.starts_with("AS923") && b.name.starts_with("AS923");
    // one name, several plans: which one is meant may not have been asked
    let namesakes = a.common_name == b.common_name;
    let (severity, cause) = match (namesakes, group) {
        (_, true) => (Severity::Fault, Some(CauseId::ServerSetToAnotherAs923Group)),
        (true, false) => (Severity::Doubt, Some(CauseId::NodeTransmitsInAnotherRegion)),
        (false, false) => (Severity::Fault, Some(CauseId::NodeTransmitsInAnotherRegion)),
    };
    let remedy = "set region and group alike on node, gateway and server";
    let mut difference =
        Difference::new(DifferenceKind::RegionDiffers, severity, "region", summary, remedy)
            .cause(cause)
            .side(subject, ClaimKind::Firmware, "region", Some(a.name.into()));
    if recorded {
        difference = difference.side(subject, ClaimKind::Record, "region", Some(b.name.into()));
    }
    if namesakes && !group {
        difference.evidence.push(format!("both are called {}", a.common_name));
    }
    difference
}

/// Looks at one mask by itself.
fn lawful(
    subject: &Subject,
    kind: ClaimKind,
    plan: &Plan,
    mask: &ChannelMask,
) -> Option<Difference> {
    let the = super::words::the(kind);
    let (severity, summary, remedy) = if mask.is_empty() {
        let summary = format!("the channel mask of {the} enables no channel");
        (Severity::Fault, summary, "enable the channels that the gateway listens to".to_owned())
    } else if plan.kind == PlanKind::Fixed {
        let all = ChannelMask::of_plan(plan);
        let beyond = ChannelMask::from_channels(mask.channels().filter(|c| !all.contains(*c)));
        if beyond.is_empty() {
            return None;
        }
        let summary = format!(
            "the channel mask of {the} enables channels that {} does not have: {}",
            plan.name,
            beyond.list()
        );
        (Severity::Doubt, summary, format!("{} has channels {}", plan.name, all.list()))
    } else {
        return None;
    };
    let difference =
        Difference::new(DifferenceKind::ChannelsDiffer, severity, "channel-mask", summary, remedy);
    Some(difference.side(subject, kind, "channel-mask", Some(mask.to_string())))
}

/// Compares the channels of the node with those that it is served on.
fn overlap(
    subject: &Subject,
    node: &ChannelMask,
    gateway: &ChannelMask,
    by_band: bool,
    plan: &Plan,
) -> Option<Difference> {
    let common = node.channels().filter(|channel| gateway.contains(*channel)).count();
    let lost = node.len() - common;
    if lost == 0 {
        return None;
    }
    let (kind, member) = if by_band {
        (DifferenceKind::SubBandDiffers, "sub-band")
    } else {
        (DifferenceKind::ChannelsDiffer, "channel-mask")
    };
    let fixed = plan.kind == PlanKind::Fixed;
    let (severity, cause, summary) = if common == 0 {
        let summary = "none of the firmware's channels is one that the record names".to_owned();
        (Severity::Fault, CauseId::ChannelPlansDoNotOverlap, summary)
    } else {
        // many nodes hop everywhere until a Join-Accept narrows them
        let summary = format!(
            "{lost} of the firmware's {} channels are none that the record names",
            node.len()
        );
        (Severity::Doubt, CauseId::NodeHopsOutsideTheGatewaySubBand, summary)
    };
    let remedy = format!("give the node the channels {}", gateway.list());
    let mut difference = Difference::new(kind, severity, member, summary, remedy)
        .cause(Some(cause).filter(|_| fixed || common == 0))
        .side(subject, ClaimKind::Firmware, member, Some(node.list()))
        .side(subject, ClaimKind::Record, member, Some(gateway.list()));
    let swapped: Vec<u16> = node.words().iter().map(|word| word.swap_bytes()).collect();
    let words = node.words().len().max(gateway.words().len());
    if ChannelMask::from_words(&swapped).padded(words) == gateway.padded(words) {
        let said = "they agree once the two bytes of each word are swapped".to_owned();
        difference.evidence.push(said);
    }
    Some(difference)
}
