//! Rung 2, on-plan: frequency and data rate are those of a join in the region and the gateway's
//! sub-band.

mod foreign;

use std::collections::BTreeSet;

use crate::{
    fact::{Fact, Value, fact},
    ladder::{join::Case, rung::Judgement},
    radio::Modulation,
    region::{JoinFit, Plan},
    trace::{Attempt, Session},
};

pub(in crate::ladder) use foreign::{Foreign, States};

pub(in crate::ladder) fn judge(case: &Case<'_>, index: usize) -> Judgement {
    let Some(attempt) = case.node.attempts.get(index) else { return Judgement::open() };
    // The strongest reception: a ghost on another channel is not where the node sent.
    let seen = attempt.heard.best();
    let Some(plan) = case.plan else {
        return Judgement::unknown("no region is stated; give one with --region or in the roster");
    };
    let (Some(hz), Some(data_rate)) = (seen.freq_hz, seen.modulation) else {
        return Judgement::unknown("the capture gives no frequency or no data rate");
    };
    let judgement = judge_by(case, plan, attempt, hz, data_rate);
    match case.stated.filter(|stated| stated.name != plan.name) {
        Some(stated) => judgement.and(fact!(
            "the region stated is {stated_region}: the node asks by {region}, and the server answers \
             by it",
            stated_region = stated.name,
            region = plan.name
        )),
        None => judgement,
    }
}

fn judge_by(
    case: &Case<'_>,
    plan: &Plan,
    attempt: &Attempt,
    hz: u32,
    data_rate: Modulation,
) -> Judgement {
    let sent = fact!("{frequency} {data_rate}", frequency = Value::Frequency(hz), data_rate);
    let region = plan.name;
    match plan.join_fit(hz, data_rate) {
        JoinFit::Fits { channel } => within_sub_band(case, plan, attempt, channel, sent),
        JoinFit::Inexact { channel, offset_hz } if case.answers().next().is_some() => {
            within_sub_band(case, plan, attempt, channel, sent).and(fact!(
                "{offset} the channel: a synthesiser step of the gateway",
                offset = Value::Offset(offset_hz)
            ))
        }
        JoinFit::Inexact { channel, offset_hz } => Judgement::broken(fact!(
            "{sent}: reported {offset} channel {channel} of {region}: on the channel, but not to a \
             server that compares exactly",
            sent,
            offset = Value::Offset(offset_hz),
            channel,
            region
        )),
        JoinFit::WrongRate { channel } => Judgement::broken(fact!(
            "{sent}: channel {channel} of {region}, but no join may use this data rate there",
            sent,
            channel,
            region
        )),
        // A server that answers takes the request all the same: no wall, and no proof either.
        JoinFit::NotAJoinChannel { .. } | JoinFit::OffGrid { .. }
            if !attempt.answers.is_empty() =>
        {
            Judgement::unknown(fact!(
                "{sent}: not a join channel of {region}, and the server answered all the same",
                sent,
                region
            ))
        }
        JoinFit::NotAJoinChannel { channel } => Judgement::broken(fact!(
            "{sent}: channel {channel} of {region} is not for joins",
            sent,
            channel,
            region
        )),
        JoinFit::OffGrid { nearest, offset_hz } => Judgement::broken(fact!(
            "{sent}: {offset} channel {channel} of {region}, the nearest",
            sent,
            offset = Value::Offset(offset_hz),
            channel = nearest,
            region
        )),
        JoinFit::OutOfBand => {
            Judgement::broken(fact!("{sent}: outside the band of {region}", sent, region))
        }
    }
}

fn within_sub_band(
    case: &Case<'_>,
    plan: &Plan,
    attempt: &Attempt,
    channel: u16,
    sent: Fact,
) -> Judgement {
    let on = fact!("{sent}: channel {channel} of {region}", sent, channel, region = plan.name);
    let Some(own) = plan.sub_band(channel) else { return Judgement::proven(on) };
    let gateways: Vec<_> =
        attempt.heard.sightings().filter_map(|s| case.gateway(s.gateway)).collect();
    let bands: BTreeSet<u8> =
        gateways.iter().filter_map(|g| g.sub_band.or(case.roster.sub_band)).collect();
    if bands.is_empty() || bands.contains(&own) {
        return Judgement::proven(fact!("{on}, sub-band {sub_band}", on, sub_band = own));
    }
    Judgement::broken(fact!(
        "{on}, sub-band {sub_band}; the gateway's sub-band is {gateway_sub_band}",
        on,
        sub_band = own,
        gateway_sub_band = Value::list(bands)
    ))
}

/// Each attempt's frequency and modulation, as the strongest reception has them.
pub(in crate::ladder) fn heard_at<'a>(
    case: &Case<'a>,
) -> impl Iterator<Item = (&'a Attempt, u32, Modulation)> {
    let joins = case.node.attempts.iter().filter(|attempt| attempt.ask.join().is_some());
    joins.filter_map(|attempt| {
        let best = attempt.heard.best();
        Some((attempt, best.freq_hz?, best.modulation?))
    })
}

/// A request, and where it was heard.
pub(in crate::ladder) fn heard_fact(attempt: &Attempt, hz: u32, data_rate: Modulation) -> Fact {
    fact!(
        "{request}: {frequency} {data_rate}",
        request = attempt,
        frequency = Value::Frequency(hz),
        data_rate
    )
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
