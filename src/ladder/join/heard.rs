//! Rung 1, heard: a gateway received a Join-Request (or Rejoin-Request) of this node.

use crate::{
    fact::Certainty,
    frame::JoinRequest,
    ladder::{
        finding::Finding,
        join::Case,
        rung::Judgement,
        words::{channels, count, mhz, place, speaks_of_sending},
    },
    region::{ChannelMask, Plan},
};

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let Some(attempt) = case.node.attempts.get(index) else { return Judgement::open() };
    let first = attempt.heard.first();
    let gateways = attempt.heard.sightings().count();
    let kind = if attempt.ask.join().is_some() { "Join-Request" } else { "Rejoin-Request" };
    let mut words = vec![format!("{}: {kind}", place(first.line, first.at))];
    match (first.freq_hz, first.modulation) {
        (Some(hz), Some(modulation)) => words.push(format!("{} {modulation}", mhz(hz))),
        (Some(hz), None) => words.push(mhz(hz)),
        (None, _) => {}
    }
    words.extend(first.rssi.map(|rssi| format!("{rssi} dBm")));
    words.extend(first.snr.map(|snr| format!("SNR {snr} dB")));
    if gateways > 1 {
        words.push(format!("{} of it", count(gateways, "reception")));
    }
    Judgement::proven(words.join(", "))
}

/// The rung of a node that made no attempt.
pub(in crate::ladder) fn silence(case: &Case<'_>) -> Judgement {
    if let Some(heard) = case.node.misshapen.first() {
        return Judgement::broken(format!(
            "{}: {} octets that are no Join-Request",
            heard.first().line,
            heard.octets.len()
        ));
    }
    let lacks = &case.trace.lacks;
    Judgement::unknown(if lacks.uplinks > 0 || lacks.before.is_some() {
        "no Join-Request of this node in what was asked for of the capture"
    } else {
        "no Join-Request of this node in the capture"
    })
}

/// Nothing came through, and by the gateways' own setting nothing could.
pub(in crate::ladder) fn filtered(case: &Case<'_>) -> Option<Finding> {
    if !case.node.attempts.is_empty() || case.is_abp() {
        return None;
    }
    let words = join_filter(case)?;
    let mut finding = Finding::new(
        Certainty::Certain,
        words,
        "add the node's JoinEUI to the ranges that the server gives the gateway (JoinEui of \
         router_config), or correct the JoinEUI in the node",
    );
    if let Some(join_eui) = case.node.join_eui {
        finding.add(format!("the node's JoinEUI  {join_eui}"));
    }
    for plan in case.trace.gateways.values().filter_map(|gateway| gateway.plan.as_deref()) {
        for (from, to) in plan.join_euis.iter().flatten().take(4) {
            finding.add(format!("passed on           {from} to {to}"));
        }
    }
    Some(finding)
}

/// Whether the gateways drop this node's requests by their own setting.
fn join_filter(case: &Case<'_>) -> Option<String> {
    let join_eui = case.node.join_eui?;
    let gateways = case.all_drop(|plan| plan.passes_join(join_eui))?;
    Some(format!(
        "by its router_config gateway {gateways} drops every request whose JoinEUI is {join_eui}: \
         none can be in the capture"
    ))
}

/// The channels that the node uses, as its firmware claims them or as its own log shows them.
fn node_channels(case: &Case<'_>, plan: &Plan) -> Option<Vec<u16>> {
    let firmware = case.firmware()?;
    if let Some(words) = &firmware.channel_mask {
        return Some(ChannelMask::from_words(words).channels().collect());
    }
    if let Some(sub_band) = firmware.sub_band {
        return Some(plan.sub_band_channels(sub_band));
    }
    None
}

/// Frequencies in a node's console lines: every number followed by `MHz`.
pub(in crate::ladder) fn logged_frequencies(log: &[String]) -> Vec<u32> {
    let mut out = Vec::new();
    for line in log.iter().filter(|line| speaks_of_sending(line)) {
        let words: Vec<&str> = line.split_whitespace().collect();
        for pair in words.windows(2) {
            let [number, unit] = pair else { continue };
            if unit.trim_matches(|c: char| !c.is_alphanumeric()).eq_ignore_ascii_case("mhz")
                && let Ok(value) = number.parse::<f64>()
                && (100.0..=1_000.0).contains(&value)
            {
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "below 10^9"
                )]
                out.push((value * 1e6).round() as u32);
            }
        }
    }
    out
}

/// Whether the node's own log shows that it transmits.
fn known_to_transmit(case: &Case<'_>) -> bool {
    case.firmware().is_some_and(|f| f.log.iter().any(|line| speaks_of_sending(line)))
}

pub(in crate::ladder) fn channel_plans_do_not_overlap(case: &Case<'_>) -> Option<Finding> {
    if !case.node.attempts.is_empty() || case.is_abp() {
        return None;
    }
    let plan = case.plan?;
    let mut theirs = Vec::new();
    let mut theirs_hz = Vec::new();
    for eui in case.trace.gateways.keys().filter(|eui| case.is_described(**eui)) {
        theirs.extend(case.gateway_channels(*eui)?);
        theirs_hz.extend(case.listens(*eui));
    }
    if theirs.is_empty() && theirs_hz.is_empty() {
        return None;
    }
    theirs.sort_unstable();
    theirs.dedup();
    let log = case.firmware().map(|f| logged_frequencies(&f.log)).unwrap_or_default();
    let (own, shown, common) = if let Some(own) = node_channels(case, plan) {
        let common = own.iter().any(|c| theirs.contains(c));
        (format!("channels {}", channels(&own)), !own.is_empty(), common)
    } else {
        let common = log.iter().any(|hz| {
            theirs_hz.contains(hz)
                || plan
                    .nearest_uplink(*hz, None)
                    .is_some_and(|hit| hit.offset_hz.abs() < 1_000 && theirs.contains(&hit.channel))
        });
        let list: Vec<String> = log.iter().map(|hz| mhz(*hz)).collect();
        (list.join(", "), !log.is_empty(), common)
    };
    if !shown || common {
        return None;
    }
    let listens = channels(&theirs);
    let mut finding = Finding::new(
        Certainty::Certain,
        format!(
            "the node uses {own}, the gateway listens to channels {listens} of {}: none in common",
            plan.name
        ),
        "set node and gateway to the same sub-band: give the node the channel mask of the \
         gateway's sub-band, or the gateway the node's",
    );
    finding.add(format!("node: {own}"));
    finding.add(format!("gateway: channels {listens}"));
    for (eui, gateway) in &case.trace.gateways {
        let received = gateway.counted_rx;
        if let (Some(eui), false) = (eui, gateway.stats.is_empty()) {
            finding.add(format!("gateway {eui}'s own counters: {received} frames received"));
        }
    }
    Some(finding)
}

pub(in crate::ladder) fn node_silent(case: &Case<'_>) -> Option<Finding> {
    let silent = case.node.attempts.is_empty()
        && case.node.misshapen.is_empty()
        && case.node.sessions.iter().all(|s| s.frames.is_empty())
        && case.node.unverified.is_empty();
    if join_filter(case).is_some() {
        return None;
    }
    if !silent || case.is_abp() || !known_to_transmit(case) || !case.hears_gateways() {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Likely,
        "the node's log shows that it transmits, and no gateway of the capture received anything \
         of it",
        "on the node check antenna and its connection (never transmit into an open antenna port), \
         the radio's frequency, sync word (public, 0x34) and polarity; then repeat within sight of \
         the gateway, but not closer than a few metres",
    );
    for line in case.firmware().into_iter().flat_map(|f| &f.log).take(4) {
        finding.add(format!("node's log: {line}"));
    }
    let received: u64 = case.trace.gateways.values().map(|gateway| gateway.crc_good).sum();
    let received = usize::try_from(received).unwrap_or(usize::MAX);
    finding.add(format!("other nodes' frames: {}", count(received, "reception")));
    Some(finding)
}

pub(in crate::ladder) fn wrong_length(case: &Case<'_>) -> Option<Finding> {
    let heard = case.node.misshapen.first()?;
    let n = heard.octets.len();
    let mut finding = Finding::new(
        Certainty::Certain,
        format!(
            "the node sends a Join-Request of {n} octets instead of {}; servers drop it unread",
            JoinRequest::LEN
        ),
        "mend the frame in the node's stack: MHDR 1, JoinEUI 8, DevEUI 8, DevNonce 2, MIC 4 octets",
    );
    for heard in &case.node.misshapen {
        let octets = &heard.octets;
        finding.add(format!(
            "{}: {} octets: {}",
            heard.first().line,
            octets.len(),
            hex::encode(octets)
        ));
    }
    Some(finding)
}

pub(in crate::ladder) fn only_bad_crc(case: &Case<'_>) -> Option<Finding> {
    let nothing = case.node.attempts.is_empty()
        && case.node.sessions.iter().all(|s| s.frames.is_empty())
        && case.trace.frames == 0;
    if !nothing || case.trace.crc_bad < 3 || case.is_abp() || case.entry.is_none() {
        return None;
    }
    Some(Finding::new(
        Certainty::Possible,
        format!(
            "the gateway received {} frames, every one with a bad CRC: nothing may be read from them",
            case.trace.crc_bad
        ),
        "compare sync word (public network, 0x34) and polarity of node and gateway; then move the \
         node out of the way of other transmitters and repeat",
    ))
}
