//! What to capture or to look up next: for every rung that the evidence leaves open.

use super::{
    join::{Case, Rung, proven},
    outcome::Outcome,
    rung::{Ladder, State},
    verdict::Verdict,
};
use crate::fact::{Certainty, Fact};

/// Steps that would decide, the most telling first.
pub(super) fn steps(
    case: &Case<'_>,
    outcome: Outcome,
    ladder: Option<&Ladder<Rung>>,
    causes: &[Verdict],
) -> Vec<Fact> {
    words(case, outcome, ladder, causes).into_iter().map(Fact::from).collect()
}

fn words(
    case: &Case<'_>,
    outcome: Outcome,
    ladder: Option<&Ladder<Rung>>,
    causes: &[Verdict],
) -> Vec<String> {
    let mut out = Vec::new();
    let decided = matches!(outcome, Outcome::Joined | Outcome::Session);
    let sure = causes.iter().any(|v| v.certainty == Certainty::Certain);
    if decided || sure {
        return out;
    }
    if case.entry.is_none() {
        let dev_eui = case.node.dev_eui.map(|e| e.to_string()).unwrap_or_default();
        out.push(format!(
            "put {dev_eui} on the roster with its root key, and the MIC, the nonces and the answers \
             can be checked"
        ));
        return out;
    }
    let is = |rung, state| ladder.is_some_and(|ladder| ladder.state(rung) == state);
    let open = |rung| is(rung, State::Unknown);
    if outcome == Outcome::NotHeard {
        out.extend(unheard(case));
        return out;
    }
    if outcome == Outcome::SessionBroken {
        out.push(
            "compare the session's DevAddr and keys on the node with those on record, digit by \
             digit"
                .into(),
        );
        return out;
    }
    if case.plan.is_none() {
        out.push("state the region: region = \"...\" in the roster, or --region".into());
    }
    if open(Rung::Identified) && case.record().is_none() {
        out.push("add the record's dev-eui, join-eui and root key to the roster".into());
    }
    if open(Rung::Authentic) && case.reference().is_none() {
        out.push(
            "add the root key: app-key (1.0.x) or nwk-key (1.1), as the firmware and as the record \
             have it"
                .into(),
        );
    }
    if open(Rung::Fresh) {
        if case.record_version().is_none() {
            out.push("add the record's mac-version: it decides the rule for DevNonce".into());
        } else if case.record().is_some_and(|r| r.last_dev_nonce.is_none()) {
            out.push("look up the last DevNonce that the server took: last-dev-nonce".into());
        }
    }
    if open(Rung::Answered) && case.trace.lacks.downlinks > 0 {
        out.push("ask for all gateways and messages: downlinks were left out".into());
    } else if open(Rung::Answered) {
        out.push(
            if case.trace.gateways.values().any(|g| g.counts.push_data + g.counts.heard > 0) {
                "capture the downlink side too (PULL_RESP and TX_ACK of the same gateway), until \
                 at least 7 s after a request"
                    .to_owned()
            } else {
                "capture at the gateway's UDP port, both directions".to_owned()
            },
        );
    }
    let answered = is(Rung::Answered, State::Proven);
    if open(Rung::Timely) && answered && case.plan.is_some() {
        out.push(
            "capture at the gateway's UDP port, or take its server's log with counters and delays: \
             only they tell whether the accept was aimed at a window"
                .into(),
        );
    }
    if open(Rung::Sent) && answered {
        out.push("capture the gateway's TX_ACK, or its log of refused downlinks".into());
    }
    if open(Rung::Acceptable) && answered {
        out.push(
            "add the firmware's root key and mac-version: they decide what the node can open"
                .into(),
        );
    }
    let climbed = ladder.is_some_and(|ladder| {
        let below = |(rung, _): &(Rung, _)| *rung != Rung::Proven;
        ladder.iter().filter(below).all(|(_, judgement)| judgement.state == State::Proven)
    });
    if climbed && open(Rung::Proven) {
        let console = if proven::receiving::own_windows(case).is_empty() {
            "; the node's own log of its receive windows would decide as well"
        } else {
            ""
        };
        out.push(format!(
            "keep capturing until the node's first data under the new DevAddr, or until it asks \
             again{console}"
        ));
    }
    out
}

fn unheard(case: &Case<'_>) -> Vec<String> {
    let mut out = Vec::new();
    let lacks = &case.trace.lacks;
    if lacks.uplinks > 0 || lacks.before.is_some() {
        out.push("ask for the whole capture: the node may be in what was left out".into());
        return out;
    }
    if case.trace.frames > 0 && case.trace.gateways.values().all(|g| g.counts.is_empty()) {
        out.push(
            "capture at the gateway's UDP port: a log, or a list of frames, does not show what was \
             not heard"
                .into(),
        );
        return out;
    }
    if !case.trace.gateways.is_empty() && !case.hears_gateways() {
        out.push("capture the uplink side too (PUSH_DATA of the same gateway)".into());
        return out;
    }
    let logged = case.firmware().is_some_and(|f| !f.log.is_empty());
    if !logged {
        out.push(
            "make sure that the node transmits while you capture: its console log, or a second \
             receiver beside it"
                .into(),
        );
    }
    if case.trace.frames == 0 {
        out.push("check with a node known to work that this gateway hears anything at all".into());
    }
    let listens =
        case.roster.gateways.iter().any(|g| !g.listens.is_empty() || g.sub_band.is_some())
            || case.trace.gateways.keys().any(|eui| !case.listens(*eui).is_empty());
    if !listens {
        out.push(
            "state the gateway's sub-band or channels in the roster (sub-band, listens)".into(),
        );
    }
    if case.firmware().is_some_and(|f| f.channel_mask.is_none() && f.sub_band.is_none()) {
        out.push("state the node's channels in the roster (channel-mask)".into());
    }
    out
}
