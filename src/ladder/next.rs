//! What to capture or to look up next: one step for each thing that the evidence leaves open, the
//! most telling first.

use super::{
    join::{Case, Rung, proven, told},
    outcome::Outcome,
    rung::{Ladder, Rungs, State},
    verdict::Verdict,
};
use crate::fact::{Certainty, Fact, fact};

/// What is left open, and what would decide it.
fn step(open: &'static str, what: impl Into<Fact>) -> Fact {
    fact!("{open}: {step}", open, step = what.into())
}

/// The steps for a node, whose ladder is the one that is shown.
pub(super) fn steps(
    case: &Case<'_>,
    outcome: Outcome,
    ladder: Option<&Ladder<Rung>>,
    causes: &[Verdict],
) -> Vec<Fact> {
    let decided = matches!(outcome, Outcome::Joined | Outcome::Session);
    let sure = causes.iter().any(|v| v.certainty == Certainty::Certain);
    if decided || sure {
        return Vec::new();
    }
    let said = told::next(case);
    if !said.is_empty() {
        return said;
    }
    if case.entry.is_none() {
        return vec![step("whether its request is good", unlisted(case))];
    }
    match outcome {
        Outcome::NotHeard => return unheard(case),
        Outcome::CannotTell if case.trace.lacks.is_text() && is_unheard(case) => {
            return unheard(case);
        }
        Outcome::SessionBroken => {
            return vec![step(
                "why its data does not verify",
                "compare the session's DevAddr and keys on the node with those on record, digit by \
                 digit",
            )];
        }
        _ => {}
    }
    let mut out = request_side(case, ladder);
    out.extend(answer_side(case, ladder));
    let broken = ladder.and_then(Ladder::first_broken).filter(|_| causes.is_empty());
    out.extend(broken.map(why_broken));
    if out.is_empty() && causes.is_empty() {
        out.push(step(
            "what happens next",
            "capture both directions at the gateway for at least three attempts to join",
        ));
    }
    out
}

fn unlisted(case: &Case<'_>) -> Fact {
    let what = "on the roster with its root key, and the MIC, the nonces and the answers can be \
                checked";
    if let Some(dev_eui) = case.node.dev_eui {
        fact!("put {dev_eui} {what}", dev_eui, what)
    } else {
        fact!("put it {what}", what)
    }
}

/// What the ladder leaves open of the request.
fn request_side(case: &Case<'_>, ladder: Option<&Ladder<Rung>>) -> Vec<Fact> {
    let open = |rung| ladder.is_some_and(|ladder| ladder.state(rung) == State::Unknown);
    let mut out = Vec::new();
    if case.plan.is_none() {
        out.push(step(
            "whether frequency, data rate and windows are right",
            "state the region (region = \"...\" in the roster, or --region)",
        ));
    }
    if open(Rung::Identified) && case.record().is_none() {
        out.push(step(
            "whether DevEUI and JoinEUI are right",
            "add the record's dev-eui, join-eui and root key to the roster",
        ));
    }
    if open(Rung::Authentic) && case.reference().is_none() {
        out.push(step(
            "whether the MIC holds",
            "add the root key: app-key (1.0.x) or nwk-key (1.1), as the firmware and as the record \
             have it",
        ));
    }
    if open(Rung::Fresh) {
        let fresh = "whether DevNonce is acceptable";
        if case.record_version().is_none() {
            out.push(step(fresh, "add the record's mac-version: it decides the rule"));
        } else if case.record().is_some_and(|r| r.last_dev_nonce.is_none()) {
            out.push(step(
                fresh,
                "look up the last DevNonce that the server took (last-dev-nonce)",
            ));
        }
    }
    out
}

/// What the ladder leaves open of the answer.
fn answer_side(case: &Case<'_>, ladder: Option<&Ladder<Rung>>) -> Vec<Fact> {
    let is = |rung, state| ladder.is_some_and(|ladder| ladder.state(rung) == state);
    let open = |rung| is(rung, State::Unknown);
    let mut out = Vec::new();
    if open(Rung::Answered) {
        out.push(step("whether the server answered", downlink_side(case)));
    }
    let answered = is(Rung::Answered, State::Proven);
    if open(Rung::Timely) && answered && case.plan.is_some() {
        out.push(step(
            "whether the accept was aimed at a window",
            "capture at the gateway's UDP port, or take its server's log with counters and delays",
        ));
    }
    if open(Rung::Sent) && answered {
        out.push(step(
            "whether the gateway sent the accept",
            "capture the gateway's TX_ACK, or its log of refused downlinks",
        ));
    }
    if open(Rung::Acceptable) && answered {
        out.push(step(
            "whether the node can open the accept",
            "add the firmware's root key and mac-version",
        ));
    }
    let climbed = [Rung::Timely, Rung::Acceptable].into_iter().all(|r| is(r, State::Proven));
    if climbed && open(Rung::Proven) {
        let more = if proven::receiving::own_windows(case).is_empty() {
            "; the node's own log of its receive windows would decide as well"
        } else {
            ""
        };
        out.push(step(
            "whether the node took the accept",
            fact!(
                "keep capturing until its first data under the new DevAddr, or until it asks \
                 again{more}",
                more
            ),
        ));
    }
    out
}

fn downlink_side(case: &Case<'_>) -> &'static str {
    if case.trace.lacks.downlinks > 0 {
        "ask for all gateways and messages: downlinks were left out"
    } else if case.trace.gateways.values().any(|g| g.counts.push_data + g.counts.heard > 0) {
        "capture the downlink side too (PULL_DATA, PULL_ACK, PULL_RESP and TX_ACK of the same \
         gateway), until at least 7 s after a request; the server's log of that time decides, too"
    } else {
        "capture at the gateway's UDP port, both directions"
    }
}

/// What would show why a rung is broken of which no cause is known.
fn why_broken(rung: Rung) -> Fact {
    match rung {
        Rung::Answered => step(
            "why no answer came",
            "look into the server's log at the time of the request, network server and join server",
        ),
        rung => fact!(
            "why it stops at rung {number}, {rung}: compare the logs of node, gateway and server at \
             that time",
            number = rung.number(),
            rung = rung.name()
        ),
    }
}

fn is_unheard(case: &Case<'_>) -> bool {
    !case.asks_to_join() && case.node.sessions.iter().all(|session| session.frames.is_empty())
}

fn unheard(case: &Case<'_>) -> Vec<Fact> {
    const HEARD: &str = "whether a gateway hears the node";
    let lacks = &case.trace.lacks;
    if lacks.uplinks > 0 || lacks.before.is_some() {
        return vec![step(HEARD, "ask for the complete capture: it may be in what was left out")];
    }
    let frames = case.trace.frames > 0;
    if lacks.is_text() || frames && case.trace.gateways.values().all(|g| g.counts.is_empty()) {
        return vec![step(
            HEARD,
            "capture at the gateway's UDP port: a log, or a list of frames, does not show what was \
             not heard",
        )];
    }
    if !case.trace.gateways.is_empty() && !case.hears_gateways() {
        return vec![step(HEARD, "capture the uplink side too (PUSH_DATA of the same gateway)")];
    }
    let mut out = Vec::new();
    if case.firmware().is_none_or(|f| f.log.is_empty()) {
        out.push(step(
            "whether the node transmits",
            "look at its console while you capture, or listen with a second receiver next to it",
        ));
    }
    if case.trace.frames == 0 {
        out.push(step(
            "whether this gateway hears anything at all",
            "check with a node that is known to work",
        ));
    }
    let listens =
        case.roster.gateways.iter().any(|g| !g.listens.is_empty() || g.sub_band.is_some())
            || case.trace.gateways.keys().any(|eui| !case.listens(*eui).is_empty());
    let channels = "whether node and gateway share channels";
    if !listens {
        out.push(step(
            channels,
            "state the gateway's sub-band or channels in the roster (sub-band, listens)",
        ));
    }
    if case.firmware().is_some_and(|f| f.channel_mask.is_none() && f.sub_band.is_none()) {
        out.push(step(channels, "state the node's channels in the roster (channel-mask)"));
    }
    if out.is_empty() {
        out.push(step(HEARD, "capture for longer, with the node next to the gateway"));
    }
    out
}
