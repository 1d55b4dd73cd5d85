//! Rung 10, proven: the next uplink of the new DevAddr authenticates under the session keys that
//! the standard derives.

use super::{
    Judgement, Rung, State,
    case::{Case, LabelledRoot},
    cause::{Certainty, Finding, certainty_of},
    console::{Window, first_windows},
    misreading::{self, Heard, Join, SessionCase, Side},
    timely::asked_at,
    words::{channels, count, mhz, place, seconds},
};
use crate::{
    frame::{CfListType, DataFrame, Direction},
    id::DevNonce,
    radio::time_on_air,
    region::{ChannelMask, PlanKind},
    trace::{Answer, Attempt, Data, Origin, Rule, Session},
};

/// A margin from which a lost downlink is no longer ordinary, in dB.
const SOUND_MARGIN_DB: f32 = 10.0;

/// Sessions that began with the accepts of an attempt.
fn sessions_of<'a>(case: &Case<'a>, index: usize) -> impl Iterator<Item = &'a Session> {
    case.node
        .sessions
        .iter()
        .filter(move |s| matches!(s.origin, Origin::Accept { attempt, .. } if attempt == index))
}

/// Data of a session's address that authenticates under no key on hand.
fn unverified<'a>(case: &Case<'a>, session: &Session) -> Vec<&'a DataFrame> {
    let addr = session.dev_addr;
    case.node
        .unverified
        .iter()
        .filter(|data| matches!(data, Data::Up { .. }))
        .map(Data::frame)
        .filter(|frame| frame.dev_addr == addr)
        .collect()
}

/// Judges every attempt, after the rungs below.
pub(super) fn judge(case: &Case<'_>) -> Vec<Judgement> {
    let not_taken = not_taken_at(case);
    let deaf = late_windows(case).is_some() || !through_the_far(case).is_empty();
    let judge = |index| judge_one(case, index, deaf || not_taken.contains(&index));
    (0..case.node.attempts.len()).map(judge).collect()
}

/// `deaf`: the accepts were good, and the node asks again instead of sending data.
fn judge_one(case: &Case<'_>, index: usize, deaf: bool) -> Judgement {
    let mut told = None;
    let mut any = false;
    for session in sessions_of(case, index) {
        any = true;
        let lawful = session
            .uplinks()
            .filter(|(seen, _)| session.candidate_of(seen).is_some_and(|c| c.lawful))
            .collect::<Vec<_>>();
        if let Some((seen, _)) = lawful.first() {
            let rule = session.candidate_of(seen).map_or("", |c| c.rule.name());
            let mut words = format!(
                "{}: {} of DevAddr {} {} under the keys derived by the {rule} rule",
                place(seen.data.line(), seen.data.at()),
                count(lawful.len() + session.forgotten_up, "uplink"),
                session.dev_addr,
                if lawful.len() == 1 { "authenticates" } else { "authenticate" },
            );
            if lawful.iter().any(|(seen, _)| seen.held.half) {
                words.push_str(" (of some only the forwarding half of the MIC could be checked)");
            }
            return Judgement::proven(words);
        }
        if let Some((seen, _)) = session.uplinks().next() {
            let rule = session.candidate_of(seen).map_or("", |c| c.rule.name());
            told = Some(Judgement::broken(format!(
                "{}: data of DevAddr {} authenticates, but only under keys of the {rule} rule, \
                 which the accept does not ask for",
                seen.data.line(),
                session.dev_addr
            )));
            continue;
        }
        let failing = unverified(case, session);
        if !failing.is_empty() {
            told = Some(Judgement::broken(format!(
                "{} of DevAddr {} {} under no key derived from this accept",
                count(failing.len(), "uplink"),
                session.dev_addr,
                if failing.len() == 1 { "authenticates" } else { "authenticate" },
            )));
        }
    }
    if let Some(told) = told {
        return told;
    }
    if !any {
        return Judgement::unknown("no accept that opens, and with it no session to prove");
    }
    if led_away(case, index) {
        return Judgement::broken(
            "nothing of the new DevAddr came: the accept's CFList opens channels that the gateway \
             does not hear",
        );
    }
    if deaf {
        return Judgement::broken("no data of the new DevAddr: the node asks again instead");
    }
    if let Some(words) = data_filter(case, index) {
        return Judgement::broken(words);
    }
    let words = if case.asks_again(index) {
        "no data of the new DevAddr; the node asks again"
    } else {
        "no data of the new DevAddr in the capture yet"
    };
    Judgement::unknown(words)
}

pub(super) fn filtered(case: &Case<'_>) -> Option<Finding> {
    let unseen = |i: &usize| sessions_of(case, *i).all(|session| session.frames.is_empty());
    let index = (0..case.node.attempts.len())
        .rev()
        .filter(unseen)
        .find(|i| Rung::ALL[..9].iter().all(|rung| case.state(*i, *rung) != State::Broken))?;
    let words = data_filter(case, index)?;
    let mut finding = Finding::new(
        Certainty::Certain,
        words,
        "add the network to NetID of the router_config that the server gives the gateway, or have the \
         server give addresses of a network that is there",
    );
    if let Some(session) = sessions_of(case, index).next() {
        let first = session.dev_addr.0 >> 25;
        finding.add(format!("DevAddr {}: the seven first bits are {first}", session.dev_addr));
    }
    for plan in case.trace.gateways.values().filter_map(|gateway| gateway.plan.as_deref()) {
        for id in plan.net_ids.iter().flatten().take(4) {
            finding.add(format!("passed on: NetID {id:06X}, the seven first bits {}", id & 0x3F));
        }
    }
    Some(finding)
}

/// Whether the gateways drop the data of the address given by their own setting.
fn data_filter(case: &Case<'_>, index: usize) -> Option<String> {
    let dev_addr = sessions_of(case, index).next()?.dev_addr;
    let gateways = case.all_drop(|plan| plan.passes_data(dev_addr))?;
    Some(format!(
        "by its router_config gateway {gateways} drops all data of DevAddr {dev_addr}: it is of none \
         of the networks in NetID"
    ))
}

// --- the node was led away ------------------------------------------------------------------

/// The channels that an accept's CFList opens and those that the gateway receives, where they
/// have none in common.
fn cflist_against_gateway(case: &Case<'_>, index: usize) -> Option<(Vec<u16>, Vec<u16>, [u8; 16])> {
    let plan = case.plan.filter(|p| p.kind == PlanKind::Fixed)?;
    let attempt = case.node.attempts.get(index)?;
    let opening = attempt.answers.iter().find_map(|a| case.own_opening(a))?;
    let list = opening.opened.accept.cf_list.filter(|l| l.kind() == CfListType::Masks)?;
    let words: Vec<u16> = list.masks().take(plan.mask_words()).collect();
    let opened: Vec<u16> = ChannelMask::from_words(&words).channels().collect();
    let mut theirs = Vec::new();
    for sighting in attempt.heard.sightings() {
        theirs.extend(case.gateway_channels(sighting.gateway)?);
    }
    theirs.sort_unstable();
    theirs.dedup();
    let apart = !theirs.is_empty() && !opened.iter().any(|c| theirs.contains(c));
    apart.then_some((opened, theirs, list.0))
}

fn led_away(case: &Case<'_>, index: usize) -> bool {
    sessions_of(case, index).all(|s| s.frames.is_empty())
        && cflist_against_gateway(case, index).is_some()
}

pub(super) fn cflist_wrong_channels(case: &Case<'_>) -> Option<Finding> {
    let Some(index) = (0..case.node.attempts.len()).find(|i| led_away(case, *i)) else {
        return frequencies_unheard(case);
    };
    let (opened, theirs, octets) = cflist_against_gateway(case, index)?;
    let plan = case.plan?;
    let want = ChannelMask::from_channels(theirs.iter().copied()).padded(plan.mask_words());
    let words: Vec<String> = want.words().iter().map(|w| format!("{w:04X}")).collect();
    let swapped: Vec<u8> = {
        let mut s: Vec<u8> = octets.to_vec();
        s.chunks_exact_mut(2).take(7).for_each(<[u8]>::reverse);
        s
    };
    let mut finding = Finding::new(
        Certainty::Certain,
        format!(
            "the accept's CFList opens {}; the gateway hears {} alone, and nothing arrives after \
             the join",
            told(&opened),
            channels(&theirs)
        ),
        format!(
            "send the masks {} (each travels least significant byte first), or no CFList",
            words.join(" ")
        ),
    );
    finding.add(format!("CFList {}", hex::encode(octets)));
    let turned: Vec<u16> = swapped
        .chunks_exact(2)
        .take(plan.mask_words())
        .filter_map(|c| Some(u16::from_le_bytes(c.try_into().ok()?)))
        .collect();
    let turned: Vec<u16> = ChannelMask::from_words(&turned).channels().collect();
    if !turned.is_empty() && turned.iter().all(|c| theirs.contains(c)) {
        finding.add(format!(
            "with the bytes of each mask exchanged it would open channels {}: a byte order slip",
            channels(&turned)
        ));
    }
    let silent = case.node.attempts.len();
    finding.add(format!("{} joined, no data of any of the addresses given", count(silent, "time")));
    Some(finding)
}

/// A CFList of frequencies that the gateway does not receive, and the frames lost on them.
fn frequencies_unheard(case: &Case<'_>) -> Option<Finding> {
    for session in &case.node.sessions {
        let Some(list) = case.accept_of(session).and_then(|a| a.cf_list) else { continue };
        if list.kind() != CfListType::Frequencies {
            continue;
        }
        let Some((_, heard)) = session.uplinks().next() else { continue };
        let listens = case.listens(heard.first().gateway);
        let opened: Vec<u32> = list.frequencies().filter(|hz| *hz > 0).collect();
        let unheard: Vec<u32> = opened.iter().filter(|hz| !listens.contains(hz)).copied().collect();
        let Some((received, sent)) = super::on_plan::received_share(session) else { continue };
        // One listened channel has a cause of its own.
        if listens.len() < 2 || unheard.is_empty() || sent < 8 || received * 4 > sent * 3 {
            continue;
        }
        let list: Vec<String> = unheard.iter().map(|hz| mhz(*hz)).collect();
        let mut finding = Finding::new(
            Certainty::Likely,
            format!(
                "the accept's CFList opens {}, which the gateway does not receive: {received} of {sent} \
                 frames came",
                list.join(", ")
            ),
            "send the frequencies that the gateway receives, or set the gateway to those of the list",
        );
        finding.add(format!(
            "{} of the list's {} frequencies are unheard",
            unheard.len(),
            opened.len()
        ));
        return Some(finding);
    }
    None
}

fn told(opened: &[u16]) -> String {
    if opened.is_empty() { "no channel".into() } else { format!("channels {}", channels(opened)) }
}

// --- derivations ----------------------------------------------------------------------------

pub(super) fn ignores_fallback(case: &Case<'_>) -> Option<Finding> {
    let found = case.node.sessions.iter().find_map(|session| {
        let accept = case.accept_of(session)?;
        let unlawful: Vec<_> = session
            .uplinks()
            .filter(|(seen, _)| {
                session.candidate_of(seen).is_some_and(|c| c.rule == Rule::V1_1 && !c.lawful)
            })
            .collect();
        (!accept.dl_settings.opt_neg() && !unlawful.is_empty()).then_some((session, unlawful))
    });
    let (session, frames) = found?;
    let half = frames.iter().all(|(seen, _)| seen.held.half);
    if half && frames.len() < 2 {
        return None;
    }
    let mut finding = Finding::new(
        Certainty::Certain,
        "OptNeg is 0 in the accept, so that the 1.0 rule derives the keys; the node's data \
         authenticates by the 1.1 rule only: it ignores the fallback",
        "mend the node's stack: with OptNeg 0 it derives NwkSKey and AppSKey from NwkKey by the 1.0 \
         rule; or register the node on a server that speaks 1.1",
    );
    for (seen, _) in frames.iter().take(4) {
        let context = seen.held.context.map_or("forwarding half alone".to_owned(), |c| {
            format!("TxDr {}, TxCh {}, ConfFCnt {}", c.tx_dr, c.tx_ch, c.conf_fcnt)
        });
        finding.add(format!(
            "{}: FCnt {} of DevAddr {} holds by the 1.1 rule ({context})",
            seen.data.line(),
            seen.held.fcnt,
            session.dev_addr
        ));
    }
    Some(finding.odds(1_600.0, frames.len()))
}

/// What the explorer of misread standards finds for a session whose data fails.
fn explored(case: &Case<'_>) -> Option<(usize, misreading::Finding)> {
    for (index, attempt) in case.node.attempts.iter().enumerate() {
        for session in sessions_of(case, index) {
            // Downlinks that authenticate say nothing of the node's derivation.
            if session.uplinks().next().is_some() {
                continue;
            }
            let failing = unverified(case, session);
            if failing.is_empty() {
                continue;
            }
            if let Some(found) = explore(case, attempt, session, &failing) {
                return Some((index, found));
            }
        }
    }
    None
}

fn explore(
    case: &Case<'_>,
    attempt: &Attempt,
    session: &Session,
    failing: &[&DataFrame],
) -> Option<misreading::Finding> {
    let frames: Vec<(&DataFrame, u32)> =
        failing.iter().map(|frame| (*frame, u32::from(frame.fcnt))).collect();
    as_case(case, attempt, session, &frames, |session| {
        misreading::explore_session(session).findings().first().cloned()
    })
}

/// Hands a session, and all that its keys can come from, to an explorer.
pub(super) fn as_case<T>(
    case: &Case<'_>,
    attempt: &Attempt,
    session: &Session,
    frames: &[(&DataFrame, u32)],
    with: impl FnOnce(&SessionCase<'_>) -> Option<T>,
) -> Option<T> {
    let Origin::Accept { answer, .. } = session.origin else { return None };
    let opening = case.own_opening(attempt.answers.get(answer)?)?;
    let roots = case.known_roots();
    let root = roots.iter().find(|r| r.at == opening.key)?;
    let others: Vec<_> =
        roots.iter().filter(|r| r.at != opening.key).map(LabelledRoot::as_known).collect();
    let other_nonces: Vec<DevNonce> = case
        .node
        .attempts
        .iter()
        .filter(|a| a.line() != attempt.line())
        .filter_map(|a| a.ask.nonce())
        .collect();
    let other_joins: Vec<Join> = case
        .answers()
        .filter(|(_, a, _)| a.line() != attempt.line())
        .filter_map(|(_, a, answer)| {
            let accept = &case.own_opening(answer)?.opened.accept;
            Some(Join {
                join_nonce: accept.join_nonce,
                net_id: accept.net_id,
                dev_nonce: a.ask.nonce()?,
            })
        })
        .collect();
    let frames: Vec<Heard<'_>> = frames
        .iter()
        .take(8)
        .map(|(frame, fcnt)| Heard {
            frame,
            fcnt: *fcnt,
            conf_fcnt: None,
            tx_dr: None,
            tx_ch: None,
        })
        .collect();
    let session = SessionCase {
        root: root.as_known(),
        others: &others,
        accept: &opening.opened.accept,
        accept_rule: match opening.rule {
            Rule::V1_0 => misreading::Rule::V1_0,
            Rule::V1_1 => misreading::Rule::V1_1,
        },
        join_eui: attempt.ask.join_eui().unwrap_or_default(),
        dev_eui: attempt.ask.dev_eui()?,
        dev_nonce: attempt.ask.nonce()?,
        other_nonces: &other_nonces,
        other_joins: &other_joins,
        frames: &frames,
    };
    with(&session)
}

pub(super) fn another_rule(case: &Case<'_>) -> Option<Finding> {
    if ignores_fallback(case).is_some() {
        return None;
    }
    if let Some(finding) = lawless_1_0(case) {
        return Some(finding);
    }
    misread(case, "session-keys-derived-by-another-rule", "derivation")
}

pub(super) fn data_rule(case: &Case<'_>) -> Option<Finding> {
    if ignores_fallback(case).is_some() || lawless_1_0(case).is_some() {
        return None;
    }
    misread(case, "data-signed-by-another-rule", "MIC")
}

/// The first data verifies under a mistake that means this cause before any other.
fn misread(case: &Case<'_>, id: &str, thing: &str) -> Option<Finding> {
    let (index, found) = explored(case)?;
    if found.mistakes.first().is_none_or(|row| row.cause != id) {
        return None;
    }
    let what: Vec<&str> = found.mistakes.iter().map(|row| row.what).collect();
    let who = match found.side {
        Side::Node => "the node",
        Side::Server => "the server",
        Side::CannotTell { .. } => "one side (which one, the evidence does not decide)",
    };
    let certainty = match certainty_of(found.odds) {
        Certainty::Certain if !found.is_of_one_cause() => Certainty::Likely,
        certainty => certainty,
    };
    let mut finding = Finding::new(
        certainty,
        format!(
            "the accept is good, and the first data verifies only if {who} {}",
            what.join(", and ")
        ),
        format!(
            "mend the {thing} on the side named; `handfast keys` shows what the standard derives"
        ),
    );
    for row in &found.mistakes {
        finding.add(format!("the standard: {}", row.standard));
        finding.add(format!("what is seen of it: {}", row.seen));
    }
    if let Some(attempt) = case.node.attempts.get(index) {
        finding.add(format!("join of {}: {} held", attempt.line(), count(found.held, "uplink")));
    }
    finding.add(format!("{} ways of reading the standard tried", found.tried));
    finding.odds = Some(found.odds);
    Some(finding)
}

/// OptNeg is 1, yet the data verifies by the 1.0 rule.
fn lawless_1_0(case: &Case<'_>) -> Option<Finding> {
    let found = case.node.sessions.iter().find_map(|session| {
        let accept = case.accept_of(session)?;
        let unlawful: Vec<_> = session
            .uplinks()
            .filter(|(seen, _)| {
                session.candidate_of(seen).is_some_and(|c| c.rule == Rule::V1_0 && !c.lawful)
            })
            .collect();
        (accept.dl_settings.opt_neg() && !unlawful.is_empty()).then_some((session, unlawful))
    });
    let (session, frames) = found?;
    let mut finding = Finding::new(
        Certainty::Certain,
        "OptNeg is 1 in the accept, so that the 1.1 rule derives the keys; the node's data \
         authenticates by the 1.0 rule only",
        "mend the node's stack (with OptNeg 1 the 1.1 rule derives the keys), or set the record to \
         the version that the node has",
    );
    for (seen, _) in frames.iter().take(4) {
        finding.add(format!(
            "{}: FCnt {} of DevAddr {} holds by the 1.0 rule",
            seen.data.line(),
            seen.held.fcnt,
            session.dev_addr
        ));
    }
    Some(finding.odds(2.0, frames.len()))
}

// --- the node's receive side ----------------------------------------------------------------

/// The accept on air, against the node's first window: how late the windows open, and the longest
/// accept among those missed.
fn late_windows(case: &Case<'_>) -> Option<(Vec<Window>, f64)> {
    let firmware = case.firmware()?;
    let mut windows = first_windows(&firmware.log);
    // RX1 of data opens after 1 s by default: unless a join is named it is no window of one.
    windows.retain(|w| w.of_join || (w.after_us - 1_000_000).abs() > 100_000);
    if windows.is_empty() {
        return None;
    }
    // A window that opens within the preamble still catches the frame; 40 ms is five symbols of
    // the slowest rate's preamble short of none.
    let off = windows.iter().all(|w| (w.after_us - 5_000_000).abs() > 100_000);
    if !off {
        return None;
    }
    let air = case
        .answers()
        .filter_map(|(_, _, answer)| {
            let sending = &answer.sending;
            let octets = sending.octets.len();
            let air = time_on_air(sending.modulation?, octets, Direction::Downlink)?;
            Some(air.as_secs_f64())
        })
        .fold(0.0, f64::max);
    (air > 0.0).then_some((windows, air))
}

pub(super) fn window_late(case: &Case<'_>) -> Option<Finding> {
    if case.ever(Rung::Proven, State::Proven) || !climbs_to_acceptable(case) {
        return None;
    }
    let (windows, air) = late_windows(case)?;
    let first = windows.first()?;
    let error = first.after_us - 5_000_000;
    let same = windows.iter().all(|w| (w.after_us - first.after_us).abs() < 5_000);
    let mut finding = Finding::new(
        Certainty::Certain,
        format!(
            "the node's log opens its first window {} after the end of transmission, {} too {}; \
             the accept was on air from 5.000 s for {air:.3} s",
            seconds(first.after_us),
            seconds(error.abs()),
            if error > 0 { "late" } else { "early" }
        ),
        "have the node count the 5 s from the end of transmission (the radio's interrupt), by a \
         clock whose error is known",
    );
    for window in windows.iter().take(4) {
        finding.add(format!(
            "node's log: {} after tx done: {}",
            seconds(window.after_us),
            window.line
        ));
    }
    if same && windows.len() > 1 {
        finding.add(
            "the same error each time: a constant in the code, not a drifting clock".to_owned(),
        );
    }
    Some(finding)
}

/// Whether rungs 1 to 9 hold for any attempt.
fn climbs_to_acceptable(case: &Case<'_>) -> bool {
    (0..case.node.attempts.len()).any(|i| climbed(case, i))
}

/// Whether rungs 2 to 9 of an attempt hold, as far as anything can be said of the first of them.
fn climbed(case: &Case<'_>, index: usize) -> bool {
    let request = [Rung::OnPlan, Rung::Identified, Rung::Authentic];
    let answer = [Rung::Timely, Rung::Sent, Rung::Acceptable];
    request.iter().all(|rung| case.state(index, *rung) != State::Broken)
        && answer.iter().all(|rung| case.state(index, *rung) == State::Proven)
}

/// The good answer of an attempt: taken by the gateway and aimed at a window.
fn good_answer<'a>(case: &Case<'a>, attempt: &'a Attempt) -> Option<&'a Answer> {
    attempt.answers.iter().find(|answer| {
        answer.sending.taken() && super::timely::misses(case, attempt, answer).is_empty()
    })
}

/// Attempts whose accept was good in every way, at a sound margin through the gateway that sent
/// it, and after which the node asked again without any data.
fn not_taken_at(case: &Case<'_>) -> Vec<usize> {
    let n = case.node.attempts.len();
    let proven = case.node.sessions.iter().any(|s| s.uplinks().next().is_some())
        || case.node.unverified.iter().any(|d| matches!(d, Data::Up { .. }));
    if proven {
        return Vec::new();
    }
    let good: Vec<usize> = (0..n)
        .filter(|i| climbed(case, *i))
        .filter(|i| {
            case.node.attempts.get(*i).is_some_and(|attempt| {
                good_answer(case, attempt)
                    .and_then(|answer| asked_at(attempt, answer).margin())
                    .is_some_and(|margin| margin >= SOUND_MARGIN_DB)
            })
        })
        .collect();
    let asked_again = good.iter().filter(|i| case.asks_again(**i)).count();
    if asked_again >= 2 || (good.len() >= 3 && asked_again >= 1) { good } else { Vec::new() }
}

pub(super) fn not_taken(case: &Case<'_>) -> Option<Finding> {
    let good = not_taken_at(case);
    if good.is_empty() {
        return None;
    }
    let margins: Vec<f32> = good
        .iter()
        .filter_map(|i| {
            let attempt = case.node.attempts.get(*i)?;
            asked_at(attempt, good_answer(case, attempt)?).margin()
        })
        .collect();
    let least = margins.iter().copied().fold(f32::MAX, f32::min);
    let mut finding = Finding::new(
        Certainty::Likely,
        format!(
            "{} were right in delay, frequency, data rate and polarity, taken by the gateway, and \
             open with the node's own key; the node asks again: what is left is its receive side",
            count(good.len(), "Join-Accept")
        ),
        "look at the node: timing of its receive windows, antenna switch in receive, oscillator, \
         sync word and polarity of its receiver. Which of them, this capture cannot tell",
    );
    for i in good.iter().take(4) {
        if let Some(attempt) = case.node.attempts.get(*i)
            && let Some(answer) = good_answer(case, attempt)
        {
            let us = answer.delay.slot_us().unwrap_or_default();
            let on = answer.sending.freq_hz.map(mhz).unwrap_or_default();
            finding.add(format!(
                "{}: {} after the request, {on}, acknowledged",
                answer.sending.line,
                seconds(us)
            ));
        }
    }
    finding.add(format!("link margin of the requests: {least:.1} dB at the least"));
    finding.add(
        "would decide: the node's own log of its windows, a logic trace of its radio, a try beside \
         a second gateway (not closer than a few metres)"
            .to_owned(),
    );
    Some(finding)
}

/// Attempts whose accept went out through a gateway with much less margin than another that heard
/// the request: the answer, the margin there, the best margin.
fn through_the_far(case: &Case<'_>) -> Vec<(usize, f32, f32)> {
    let proven = case.node.sessions.iter().any(|s| s.uplinks().next().is_some());
    if proven {
        return Vec::new();
    }
    let far: Vec<(usize, f32, f32)> = case
        .node
        .attempts
        .iter()
        .enumerate()
        .filter(|(i, _)| climbed(case, *i))
        .filter_map(|(i, attempt)| {
            let answer = good_answer(case, attempt)?;
            let used = asked_at(attempt, answer);
            let best = attempt.heard.best();
            let (here, there) = (used.margin()?, best.margin()?);
            (best.gateway != used.gateway && here < 5.0 && there - here >= 10.0)
                .then_some((i, here, there))
        })
        .collect();
    if far.len() >= 2 { far } else { Vec::new() }
}

pub(super) fn far_gateway(case: &Case<'_>) -> Option<Finding> {
    let far = through_the_far(case);
    let &(index, here, there) = far.first()?;
    let attempt = case.node.attempts.get(index)?;
    let used = asked_at(attempt, good_answer(case, attempt)?);
    let best = attempt.heard.best();
    let name = |g: Option<crate::id::Eui64>| g.map_or("?".to_owned(), |g| g.to_string());
    let mut finding = Finding::new(
        if far.len() >= 3 { Certainty::Certain } else { Certainty::Likely },
        format!(
            "every accept goes out through gateway {}, {here:.1} dB above the floor, though gateway \
             {} hears the node {there:.1} dB above it",
            name(used.gateway),
            name(best.gateway)
        ),
        "have the server choose the gateway by link margin (SNR less the floor of the spreading \
         factor), and check the far gateway's RSSI offset",
    );
    for (i, here, there) in far.iter().take(4) {
        if let Some(attempt) = case.node.attempts.get(*i) {
            finding.add(format!(
                "{}: margin {here:.1} dB at the gateway used, {there:.1} dB at the other",
                attempt.line()
            ));
        }
    }
    Some(finding)
}
