//! Rung 2, on-plan: frequency and data rate are those of a join in the region and the gateway's
//! sub-band.

use std::collections::BTreeSet;

use crate::{
    fact::Certainty,
    frame::CfListType,
    ladder::{
        finding::Finding,
        join::{Case, Rung},
        rung::{Judgement, State},
        words::{beside, channels, count, mhz},
    },
    region::{ChannelMask, JoinFit, Plan, PlanKind, plans_joining_at},
    trace::{Attempt, Session},
};

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let Some(attempt) = case.node.attempts.get(index) else { return Judgement::open() };
    // The strongest reception: a ghost on another channel is not where the node sent.
    let seen = attempt.heard.best();
    let Some(plan) = case.plan else {
        return Judgement::unknown("no region is stated; give one with --region or in the roster");
    };
    let (Some(hz), Some(modulation)) = (seen.freq_hz, seen.modulation) else {
        return Judgement::unknown("the capture gives no frequency or no data rate");
    };
    let what = format!("{} {modulation}", mhz(hz));
    match plan.join_fit(hz, modulation) {
        JoinFit::Fits { channel } => within_sub_band(case, plan, attempt, channel, &what),
        JoinFit::Inexact { channel, offset_hz } if case.answers().next().is_some() => {
            within_sub_band(case, plan, attempt, channel, &what)
                .and(format!("{offset_hz} Hz off the grid: a synthesiser step of the gateway"))
        }
        JoinFit::Inexact { channel, offset_hz } => Judgement::broken(format!(
            "{what}: reported {offset_hz} Hz from channel {channel} of {}: on the channel, but not \
             to a server that compares exactly",
            plan.name
        )),
        JoinFit::WrongRate { channel } => Judgement::broken(format!(
            "{what}: channel {channel} of {}, but no join may use this data rate there",
            plan.name
        )),
        // A server that answers takes the request all the same: no wall, and no proof either.
        JoinFit::NotAJoinChannel { .. } | JoinFit::OffGrid { .. }
            if !attempt.answers.is_empty() =>
        {
            Judgement::unknown(format!(
                "{what}: no join channel of {}, and the server answered all the same",
                plan.name
            ))
        }
        JoinFit::NotAJoinChannel { channel } => Judgement::broken(format!(
            "{what}: channel {channel} of {} is not for joins",
            plan.name
        )),
        JoinFit::OffGrid { nearest, offset_hz } => Judgement::broken(format!(
            "{what}: {} channel {nearest} of {}, the nearest",
            beside(offset_hz),
            plan.name
        )),
        JoinFit::OutOfBand => {
            Judgement::broken(format!("{what}: outside the band of {}", plan.name))
        }
    }
}

fn within_sub_band(
    case: &Case<'_>,
    plan: &Plan,
    attempt: &Attempt,
    channel: u16,
    what: &str,
) -> Judgement {
    let told = format!("{what}: channel {channel} of {}", plan.name);
    let Some(own) = plan.sub_band(channel) else { return Judgement::proven(told) };
    let gateways: Vec<_> =
        attempt.heard.sightings().filter_map(|s| case.gateway(s.gateway)).collect();
    let bands: BTreeSet<u8> =
        gateways.iter().filter_map(|g| g.sub_band.or(case.roster.sub_band)).collect();
    if bands.is_empty() || bands.contains(&own) {
        return Judgement::proven(format!("{told}, sub-band {own}"));
    }
    let bands: Vec<String> = bands.iter().map(ToString::to_string).collect();
    Judgement::broken(format!(
        "{told}, sub-band {own}; the gateway's sub-band is {}",
        bands.join(", ")
    ))
}

/// Each attempt's frequency and modulation, as the strongest reception has them.
fn heard_at<'a>(
    case: &Case<'a>,
) -> impl Iterator<Item = (&'a Attempt, u32, crate::radio::Modulation)> {
    let joins = case.node.attempts.iter().filter(|attempt| attempt.ask.join().is_some());
    joins.filter_map(|attempt| {
        let best = attempt.heard.best();
        Some((attempt, best.freq_hz?, best.modulation?))
    })
}

pub(in crate::ladder) fn another_region(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let strays: Vec<_> = heard_at(case)
        .filter(|(_, hz, m)| {
            matches!(plan.join_fit(*hz, *m), JoinFit::OutOfBand | JoinFit::OffGrid { .. })
        })
        .collect();
    let (_, hz, modulation) = *strays.first()?;
    let mut fitting: Vec<&Plan> = plans_joining_at(hz, modulation);
    fitting.retain(|other| {
        other.name != plan.name && strays.iter().all(|(_, hz, m)| other.join_fit(*hz, *m).is_fit())
    });
    let names: Vec<&str> = fitting.iter().map(|p| p.name).collect();
    let list: BTreeSet<String> = strays.iter().map(|(_, hz, _)| mhz(*hz)).collect();
    let list: Vec<String> = list.into_iter().collect();
    let on = list.join(", ");
    if names.is_empty() {
        return None;
    }
    let certainty = if list.len() > 1 { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        format!(
            "the node sends on {on}: join channels of {}, not of {}, which record and gateway follow",
            names.join(" or "),
            plan.name
        ),
        format!(
            "set the same region on node, record and gateway; check that the node's radio may be \
             used here at all (local rules decide). The record says {}",
            plan.name
        ),
    );
    for (attempt, hz, modulation) in strays.iter().take(4) {
        finding.add(format!("{}: {} {modulation}", attempt.line(), mhz(*hz)));
    }
    Some(finding)
}

pub(in crate::ladder) fn unlawful_data_rate(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let wrong: Vec<_> = heard_at(case)
        .filter_map(|(attempt, hz, m)| match plan.join_fit(hz, m) {
            JoinFit::WrongRate { channel } | JoinFit::NotAJoinChannel { channel } => {
                Some((attempt, hz, m, channel))
            }
            _ => None,
        })
        .collect();
    let (_, _, modulation, channel) = *wrong.first()?;
    // A server that answers takes it all the same.
    if wrong.iter().any(|(attempt, ..)| !attempt.answers.is_empty()) {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Likely,
        format!(
            "the node asks at {modulation} in channel {channel}; {} does not allow a join there",
            plan.name
        ),
        "compare the regional revision of the node's stack with the server's: join data rates \
         changed between revisions (AU915 among them)",
    );
    for (attempt, hz, m, _) in wrong.iter().take(4) {
        finding.add(format!("{}: {} {m}", attempt.line(), mhz(*hz)));
    }
    Some(finding)
}

/// The channels that the gateways of the capture receive, as far as roster or capture say.
fn receivers(case: &Case<'_>) -> Vec<u16> {
    let mut out: Vec<u16> = case
        .trace
        .gateways
        .keys()
        .filter_map(|eui| case.gateway_channels(*eui))
        .flatten()
        .collect();
    out.sort_unstable();
    out.dedup();
    out
}

/// The channels that a node may use in a session of a fixed plan, why, and whether that is stated:
/// the accept's masks, or else the mask built into it, or else all of the plan.
fn enabled(case: &Case<'_>, session: &Session, plan: &Plan) -> (Vec<u16>, &'static str, bool) {
    let masks = case
        .accept_of(session)
        .and_then(|accept| accept.cf_list)
        .filter(|list| list.kind() == CfListType::Masks);
    if let Some(list) = masks {
        let words: Vec<u16> = list.masks().take(plan.mask_words()).collect();
        let opened = ChannelMask::from_words(&words).channels().collect();
        return (opened, "the accept's CFList opens", true);
    }
    if let Some(words) = case.firmware().and_then(|f| f.channel_mask.as_ref()) {
        return (
            ChannelMask::from_words(words).channels().collect(),
            "the accept has no CFList, and the node's own mask opens",
            true,
        );
    }
    (plan.channels(), "the accept has no CFList: the plan opens", false)
}

/// How many frames of a session there were, by its counters, and how many came.
///
/// A counter that falls began anew or lost its upper half: what was sent in between, nobody knows.
pub(in crate::ladder) fn received_share(session: &Session) -> Option<(u32, u32)> {
    let mut counters = session.uplinks().map(|(seen, _)| seen.held.fcnt);
    let first = counters.next()?;
    // A session that began with the accept begins to count at 0.
    let before = match session.origin {
        crate::trace::Origin::Accept { .. } => first,
        crate::trace::Origin::Claim(_) => 0,
    };
    let (mut last, mut came, mut sent) = (first, 1, before + 1);
    for fcnt in counters {
        if fcnt != last {
            came += 1;
            sent += fcnt.checked_sub(last).unwrap_or(1);
        }
        last = fcnt;
    }
    Some((came, sent))
}

pub(in crate::ladder) fn outside_sub_band(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan.filter(|p| p.kind == PlanKind::Fixed)?;
    let theirs = receivers(case);
    // A gateway of one channel has no sub-band.
    if theirs.len() < 2 {
        return None;
    }
    let outside: Vec<_> = case.broken_at(Rung::OnPlan).collect();
    let stray = outside.iter().find_map(|(_, attempt)| {
        let best = attempt.heard.best();
        let fit = plan.join_fit(best.freq_hz?, best.modulation?);
        match fit {
            JoinFit::Fits { channel } | JoinFit::Inexact { channel, .. } => {
                (!theirs.contains(&channel)).then_some((channel, *attempt))
            }
            _ => None,
        }
    });
    if let Some((channel, attempt)) = stray {
        let mut finding = Finding::new(
            Certainty::Likely,
            format!(
                "the node asks in channel {channel} (sub-band {}); the gateway is set to channels {}",
                plan.sub_band(channel).unwrap_or_default(),
                channels(&theirs)
            ),
            "limit the node to the gateway's sub-band, or set the gateway to the node's",
        );
        finding.add(format!("{}: channel {channel}", attempt.line()));
        return Some(finding);
    }
    for session in case.node.sessions.iter().rev() {
        let Some((received, sent)) = received_share(session) else { continue };
        let (own, why, stated) = enabled(case, session, plan);
        let common = own.iter().filter(|c| theirs.contains(c)).count();
        let lost = sent >= 8 && received * 2 < sent;
        if !lost || common == 0 || common * 2 >= own.len() {
            continue;
        }
        // What came must be what the channels in common explain, neither far more nor far less:
        // else the counter jumped, or frames are lost for another reason.
        let (heard, expected) = (received as usize * own.len(), sent as usize * common);
        if heard * 4 < expected || heard > expected * 2 {
            continue;
        }
        let mut finding = Finding::new(
            if stated { Certainty::Certain } else { Certainty::Likely },
            format!(
                "the node hops over {} channels, the gateway hears {common} of them: {received} of \
                 {sent} frames came",
                own.len()
            ),
            format!(
                "limit the node to the gateway's channels ({}): by its own mask, or by a CFList of \
                 type 1 or LinkADRReq from the server",
                channels(&theirs)
            ),
        );
        finding.add(format!("{why} channels {}", channels(&own)));
        finding.add(format!("the gateway receives channels {}", channels(&theirs)));
        finding.add(format!(
            "expected share {common} of {}, observed {received} of {sent} by the frame counter",
            own.len()
        ));
        if let Some((_, heard)) = session.uplinks().last()
            && let (Some(rssi), Some(margin)) = (heard.best().rssi, heard.best().margin())
        {
            finding
                .add(format!("what comes is strong: {rssi} dBm, {margin:.1} dB above the floor"));
        }
        return Some(finding);
    }
    None
}

pub(in crate::ladder) fn one_channel_gateway(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let mut narrow = None;
    for (eui, trace) in &case.trace.gateways {
        if !case.is_described(*eui) {
            continue;
        }
        let listens = case.listens(*eui);
        let unsaid = listens.is_empty()
            && case.gateway(*eui).is_none_or(|gateway| gateway.sub_band.is_none())
            && trace.heard_hz.len() == 1
            && trace.crc_good >= 5;
        match (listens.as_slice(), unsaid) {
            ([one], _) => narrow = Some((eui, Some(*one), Certainty::Certain)),
            (_, true) => {
                narrow = Some((eui, trace.heard_hz.keys().next().copied(), Certainty::Likely));
            }
            _ => return None,
        }
    }
    let (eui, hz, certainty) = narrow?;
    let hz = hz?;
    let shares: Vec<(u32, u32)> = case
        .node
        .sessions
        .iter()
        .filter_map(received_share)
        .filter(|(_, sent)| *sent >= 4)
        .collect();
    let lossy = shares.iter().find(|(came, sent)| came * 3 < sent * 2);
    let joining_in_vain = case.node.attempts.len() >= 2
        && case.node.sessions.iter().all(|s| s.frames.is_empty())
        && case.ever(Rung::Answered, State::Proven);
    if lossy.is_none() && !(joining_in_vain && certainty == Certainty::Certain) {
        return None;
    }
    let lossy = lossy.copied().or(shares.last().copied());
    let certainty = if lossy.is_some() { certainty } else { Certainty::Possible };
    let mut finding = Finding::new(
        certainty,
        format!(
            "the gateway receives {} alone, the plan {} has more channels: most of what the node \
             sends is lost",
            mhz(hz),
            plan.name
        ),
        "use a gateway that hears the whole plan; a receiver of one channel serves no node that \
         hops",
    );
    if let Some(eui) = eui {
        finding.add(format!("gateway {eui}: {} and nothing else", mhz(hz)));
    }
    if let Some((came, sent)) = lossy {
        finding.add(format!("{came} of {sent} frames came, by the frame counter"));
    }
    Some(finding)
}

pub(in crate::ladder) fn inexact_frequency(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let inexact: Vec<_> = heard_at(case)
        .filter_map(|(attempt, hz, m)| match plan.join_fit(hz, m) {
            JoinFit::Inexact { channel, offset_hz } => Some((attempt, hz, channel, offset_hz)),
            _ => None,
        })
        .collect();
    let (_, hz, channel, offset) = *inexact.first()?;
    if inexact.iter().any(|(attempt, ..)| !attempt.answers.is_empty()) {
        return None;
    }
    let good = (0..case.ladders.len()).all(|i| {
        [Rung::Identified, Rung::Authentic].iter().all(|r| case.state(i, *r) != State::Broken)
    });
    if !good {
        return None;
    }
    let said = |line: &&String| {
        let line = line.to_lowercase();
        line.contains("channel") || line.contains("frequency")
    };
    let log: Vec<&String> =
        case.record().map(|r| r.log.iter().filter(said).collect()).unwrap_or_default();
    let certainty = if log.is_empty() { Certainty::Likely } else { Certainty::Certain };
    let mut finding = Finding::new(
        certainty,
        format!(
            "the gateway reports {}, {} Hz {} channel {channel} of {}; a server that compares \
             exactly drops the frame",
            mhz(hz),
            offset.abs(),
            if offset < 0 { "below" } else { "above" },
            plan.name
        ),
        "round the frequency to the channel grid in the gateway's forwarder (or in the server's \
         intake)",
    );
    finding.add(format!(
        "{} unanswered, each off the grid by less than 1 kHz: the node is on its channel",
        count(inexact.len(), "request")
    ));
    for line in log {
        finding.add(format!("server's log: {line}"));
    }
    Some(finding)
}
