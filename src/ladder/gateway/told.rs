//! What is said in words of a gateway: its own figures, downlinks that it refuses, what a server says of it.

use super::{Case, Rung};
use crate::{
    fact::{Certainty, Cite, Fact, fact},
    intake::{Count, Leg, Speaker, Statement, TxError},
    ladder::{
        finding::Finding,
        rung::{Judgement, Rungs, State},
    },
    trace::Told,
};

/// Receptions without a good CRC that are no noise.
const LEAST: u64 = 10;

/// A statement as evidence: who says it, where, and the words.
pub(in crate::ladder) fn says(told: &Told) -> Fact {
    let speaker = told.said.by;
    let words = told.said.words.as_deref().unwrap_or_default().to_owned();
    let fact = fact!(
        "the {speaker} says ({place}): {words}",
        speaker = speaker.name(),
        place = Cite::from(told.moment),
        words
    );
    fact.said_by(speaker)
}

fn told<'a>(case: &Case<'a>) -> &'a [Told] {
    case.heard.map(|heard| &heard.told[..]).unwrap_or_default()
}

/// What a flow's figures say.
struct Share<'a> {
    /// Datagrams that were sent, and how many of them were acknowledged.
    sent: u64,
    acknowledged: f64,
    first: &'a Told,
    reports: usize,
}

fn share<'a>(case: &Case<'a>, of: Leg) -> Option<Share<'a>> {
    let reports = told(case).iter().filter_map(|one| match one.said.what {
        Statement::Counted(Count::Acknowledged(leg, sent, share)) if leg == of && sent > 0 => {
            Some((one, sent, share))
        }
        _ => None,
    });
    let mut all: Option<Share<'a>> = None;
    for (one, sent, share) in reports {
        let whole = all.get_or_insert(Share { sent: 0, acknowledged: 0.0, first: one, reports: 0 });
        whole.sent += sent;
        whole.reports += 1;
        #[expect(clippy::cast_precision_loss, reason = "a count of datagrams")]
        let acknowledged = sent as f64 * share / 100.0;
        whole.acknowledged += acknowledged;
    }
    all
}

/// Whether none of a flow is acknowledged, in more than one report: the first may be of the time of the start.
fn is_silent(share: &Share<'_>) -> bool {
    share.acknowledged == 0.0 && share.reports >= 2 && share.sent >= 3
}

/// Receptions counted, those with a good CRC, and the first report.
fn received<'a>(case: &Case<'a>) -> Option<(u64, f64, &'a Told)> {
    let mut all: Option<(u64, f64, &Told)> = None;
    for one in told(case) {
        let Statement::Counted(Count::Received(frames, share)) = one.said.what else { continue };
        let whole = all.get_or_insert((0, 0.0, one));
        whole.0 += frames;
        #[expect(clippy::cast_precision_loss, reason = "a count of frames")]
        let good = frames as f64 * share / 100.0;
        whole.1 += good;
    }
    all
}

type Unsent<'a> = (&'a Told, &'a TxError, Option<(u32, u32)>);

/// A downlink that the gateway says it does not send.
fn unsent<'a>(case: &Case<'a>) -> Option<Unsent<'a>> {
    told(case).iter().find_map(|one| match &one.said.what {
        Statement::NotSent { error, counters } => Some((one, error, *counters)),
        _ => None,
    })
}

fn one<'a>(case: &Case<'a>, is: impl Fn(&Statement) -> bool) -> Option<&'a Told> {
    told(case).iter().find(|told| is(&told.said.what))
}

/// Sets what is said beside what is computed.
pub(in crate::ladder) fn amend(case: &mut Case<'_>) {
    for rung in Rung::ALL {
        case.ladder[*rung] = amended(case, *rung, case.ladder[*rung].clone());
    }
}

fn amended(case: &Case<'_>, rung: Rung, judged: Judgement) -> Judgement {
    if told(case).is_empty() {
        return judged;
    }
    let said = match rung {
        Rung::Speaks => told(case)
            .iter()
            .find(|one| one.said.by == Speaker::Gateway)
            .map(|one| Judgement::proven(says(one))),
        Rung::Known => one(case, |what| *what == Statement::UnknownGateway)
            .map(|one| Judgement::broken(says(one))),
        Rung::UplinkAcknowledged => share(case, Leg::Push).as_ref().and_then(judge_share),
        Rung::DownlinkOpen => match one(case, |what| *what == Statement::NoDownlinkPath) {
            Some(one) => Some(Judgement::broken(says(one))),
            None => share(case, Leg::Pull).as_ref().and_then(judge_share),
        },
        Rung::Hears => received(case).and_then(|(frames, good, first)| {
            if good > 0.0 {
                Some(Judgement::proven(says(first)))
            } else {
                (frames >= LEAST).then(|| Judgement::broken(says(first)))
            }
        }),
        Rung::OnPlan => one(case, |what| matches!(what, Statement::OneChannel { .. }))
            .map(|one| Judgement::broken(says(one))),
        Rung::Sends => unsent(case).map(|(one, ..)| Judgement::broken(says(one))),
        Rung::Clock => None,
    };
    let Some(mut said) = said else { return judged };
    // The words may be all that there is of it.
    let only_words = rung == Rung::Speaks
        && case.heard.is_some_and(|heard| {
            heard.counts.is_empty() && heard.stats.is_empty() && heard.connections.messages == 0
        });
    match (judged.state, said.state) {
        _ if only_words => said,
        (State::Unknown, _) => said,
        (own, other) if own == other => said.evidence.into_iter().fold(judged, Judgement::and),
        // A plan is computed of what is heard: one channel alone explains it.
        _ => {
            let words = std::mem::take(&mut said.evidence);
            judged.and(fact!("this does not agree: {said}", said = Fact::joined(words, "; ")))
        }
    }
}

fn judge_share(share: &Share<'_>) -> Option<Judgement> {
    if share.acknowledged > 0.0 {
        return Some(Judgement::proven(says(share.first)));
    }
    is_silent(share).then(|| Judgement::broken(says(share.first)))
}

/// Nothing that it sends is acknowledged, in neither flow, by its own figures.
pub(in crate::ladder) fn never_answered(case: &Case<'_>) -> Option<Finding> {
    let (up, down) = (share(case, Leg::Push)?, share(case, Leg::Pull)?);
    if !is_silent(&up) || !is_silent(&down) || !case.is_broken(Rung::UplinkAcknowledged) {
        return None;
    }
    let finding = Finding::new(
        Certainty::Likely,
        fact!(
            "by its own figures nothing that {gateway} sends is acknowledged: {push_data} PUSH_DATA and {pull_data} \
             PULL_DATA",
            gateway = case.title(),
            push_data = up.sent,
            pull_data = down.sent
        ),
        "check the server's address, both ports and the firewall; capture at the server to see whether the datagrams \
         arrive there",
    );
    Some(finding.and(says(up.first)).and(says(down.first)))
}

/// The uplink flow alone is not acknowledged.
pub(in crate::ladder) fn uplink_unanswered(case: &Case<'_>) -> Option<Finding> {
    let (up, down) = (share(case, Leg::Push)?, share(case, Leg::Pull)?);
    if !is_silent(&up) || down.acknowledged == 0.0 || !case.is_broken(Rung::UplinkAcknowledged) {
        return None;
    }
    let finding = Finding::new(
        Certainty::Likely,
        fact!(
            "by its own figures none of {push_data} PUSH_DATA of {gateway} is acknowledged, while PULL_DATA is",
            push_data = up.sent,
            gateway = case.title()
        ),
        "check the server's port for uplinks",
    );
    Some(finding.and(says(up.first)).and(says(down.first)))
}

/// All that it receives has a bad CRC, by its own figures.
pub(in crate::ladder) fn only_bad_crc(case: &Case<'_>) -> Option<Finding> {
    let (frames, good, first) = received(case)?;
    if good > 0.0 || frames < LEAST || !case.is_broken(Rung::Hears) {
        return None;
    }
    let finding = Finding::new(
        Certainty::Likely,
        fact!(
            "by its own figures {gateway} received {receptions} transmissions, and not one with a good CRC",
            gateway = case.title(),
            receptions = frames
        ),
        "compare sync word (public network, 0x34) and polarity of nodes and gateway; move a node to 5 to 20 m from \
         the gateway and try again",
    );
    Some(finding.and(says(first)))
}

/// It says that it receives one channel alone.
pub(in crate::ladder) fn one_channel(case: &Case<'_>) -> Option<Finding> {
    let told = one(case, |what| matches!(what, Statement::OneChannel { .. }))?;
    let plan = case.plan.filter(|_| case.is_broken(Rung::OnPlan))?;
    let finding = Finding::new(
        Certainty::Likely,
        fact!(
            "{gateway} says that it receives one channel alone, and {region} has several: what nodes send on the \
             others is lost",
            gateway = case.title(),
            region = plan.name
        ),
        "use a gateway that receives all channels of the plan; a node kept to one channel and data rate is a test, and \
         no network",
    );
    Some(finding.and(says(told)))
}

/// A downlink came when its slot was past, by the words of the gateway and the counters beside them.
pub(in crate::ladder) fn too_late(case: &Case<'_>) -> Option<Finding> {
    let (told, error, counters) = unsent(case)?;
    // Half the counter's range ahead is behind.
    let past =
        counters.map(|(slot, counter)| counter.wrapping_sub(slot)).filter(|past| *past < 1 << 31);
    let (certainty, summary) = match (error, past) {
        (TxError::TooEarly | TxError::TooLate, Some(past)) => (
            Certainty::Likely,
            fact!(
                "a downlink came to {gateway} {delay} after its slot, by the counters that are next to the refusal \
                 ({error}; many gateways say TOO_EARLY of a slot that is past)",
                gateway = case.title(),
                delay = crate::fact::Value::About(i64::from(past)),
                error = error.name().to_owned()
            ),
        ),
        (TxError::TooLate, None) if counters.is_none() => (
            Certainty::Likely,
            fact!(
                "{gateway} says that a downlink came too late for its slot",
                gateway = case.title()
            ),
        ),
        _ => return None,
    };
    let finding = Finding::new(
        certainty,
        summary,
        "measure the way between server and gateway (PUSH_DATA to PUSH_ACK), and let the server send earlier, or use a \
         faster line",
    );
    Some(finding.and(says(told)))
}

/// The server says that no gateway takes downlinks.
pub(in crate::ladder) fn no_path(case: &Case<'_>) -> Option<Finding> {
    let told = one(case, |what| *what == Statement::NoDownlinkPath)
        .filter(|_| case.is_broken(Rung::DownlinkOpen))?;
    let finding = Finding::new(
        Certainty::Likely,
        fact!(
            "the server says that it has no way to send a downlink through {gateway}",
            gateway = case.title()
        ),
        "see whether PULL_DATA leaves the gateway, and whether PULL_ACK comes back",
    );
    Some(finding.and(says(told)))
}

/// The server says that it does not know the gateway.
pub(in crate::ladder) fn unknown(case: &Case<'_>) -> Option<Finding> {
    let told = one(case, |what| *what == Statement::UnknownGateway)
        .filter(|_| case.is_broken(Rung::Known))?;
    let finding = Finding::new(
        Certainty::Likely,
        fact!("the server says that it does not know {gateway}", gateway = case.title()),
        "register the EUI that the gateway sends",
    );
    Some(finding.and(says(told)))
}
