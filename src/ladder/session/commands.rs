//! MAC commands that are refused, and options that are read by different rules.

use crate::{
    crypto::{EncryptionKeys, block::FOptsText, cipher, derive::SessionKeys},
    explore::misreading::{self, FOptsCase, Heard},
    fact::Certainty,
    frame::{
        CfListType, DataFrame, Direction,
        command::{self, Command, Commands},
    },
    ladder::{
        finding::Finding,
        session::Case,
        words::{channels, count, place},
    },
    region::{ChannelMask, Plan, PlanKind},
    trace::{Candidate, DataSeen, Session},
};

/// The same refusal so often is a loop, and no accident.
const LOOP: usize = 2;

/// The MAC commands of a frame that travel in clear: FOpts of 1.0.x.
pub(in crate::ladder) fn in_clear(frame: &DataFrame) -> Commands {
    command::decode(frame.fopts.octets(), frame.direction(), None)
}

/// The MAC commands of a frame, decrypted with the session's keys where they are encrypted.
fn commands_of(session: &Session, seen: &DataSeen) -> Commands {
    let frame = seen.data.frame();
    let keys = session.candidate_of(seen).map(|c| EncryptionKeys::from(&c.keys));
    let octets = seen.verified().zip(keys).and_then(|(verified, keys)| {
        if frame.port() == Some(0) && frame.fopts.is_empty() {
            return Some(cipher::payload(&verified, &keys)?.octets);
        }
        Some(cipher::fopts(&verified, &keys, FOptsText::Amended)?.into_owned())
    });
    command::decode(&octets.unwrap_or_default(), frame.direction(), None)
}

/// The channels that a node can have in a dynamic plan, as far as the capture shows.
fn defined(case: &Case<'_>, session: &Session, plan: &Plan) -> Vec<u16> {
    let mut out: Vec<u16> = plan.channels();
    if plan.kind == PlanKind::Fixed {
        return out;
    }
    let list = case.accept_of(session).and_then(|a| a.cf_list);
    if let Some(list) = list.filter(|l| l.kind() == CfListType::Frequencies)
        && let Some(rule) = &plan.cflist.frequencies
    {
        let used = list.frequencies().enumerate().filter(|(_, hz)| *hz > 0);
        out.extend(
            used.filter_map(|(i, _)| Some(u16::from(rule.first_channel) + u16::try_from(i).ok()?)),
        );
    }
    out
}

pub(in crate::ladder) fn mask_refused(case: &Case<'_>) -> Option<Finding> {
    for session in &case.node.sessions {
        let mut asked: Option<(Command, &DataSeen)> = None;
        let mut refusals: Vec<(Command, Command, &DataSeen)> = Vec::new();
        for seen in &session.frames {
            for command in commands_of(session, seen).commands {
                match command.name() {
                    "LinkADRReq" => asked = Some((command, seen)),
                    "LinkADRAns" => {
                        let mask_ok = command.octets.get(1).is_some_and(|o| o & 1 != 0);
                        if let (false, Some((request, at))) = (mask_ok, &asked) {
                            refusals.push((request.clone(), command, at));
                        }
                    }
                    _ => {}
                }
            }
        }
        let Some((request, answer, first)) = refusals.first() else { continue };
        let same = refusals
            .iter()
            .filter(|(r, a, _)| r.octets == request.octets && a.octets == answer.octets);
        let times = same.count();
        if times < LOOP {
            continue;
        }
        let mut finding = Finding::new(
            Certainty::Certain,
            format!(
                "the server asks for the same channel mask again and again, the node refuses it \
                 {times} times; nothing of the request is carried out"
            ),
            "define the channels first (CFList or NewChannelReq), then mask; or ask for a mask of \
             channels that the node has",
        );
        finding.add(format!("{}: {request}", place(first.data.line(), first.data.at())));
        finding.add(format!("the answer: {answer}"));
        for bit in command::explain_refusal(request, answer) {
            finding.add(format!("bit {} ({}): {}", bit.bit, bit.name, bit.meaning));
        }
        if let Some(plan) = case.plan {
            let own = defined(case, session, plan);
            if let Some(mask) = request.octets.get(2..4).and_then(|o| <[u8; 2]>::try_from(o).ok()) {
                let word = u16::from_le_bytes(mask);
                let wanted: Vec<u16> = ChannelMask::from_words(&[word]).channels().collect();
                let missing: Vec<u16> =
                    wanted.iter().filter(|c| !own.contains(c)).copied().collect();
                finding.add(format!(
                    "asked for: channels {}; the node has {}{}",
                    channels(&wanted),
                    channels(&own),
                    if missing.is_empty() {
                        String::new()
                    } else {
                        format!("; without {}", channels(&missing))
                    }
                ));
            }
        }
        return Some(finding);
    }
    None
}

pub(in crate::ladder) fn fopts_rule(case: &Case<'_>) -> Option<Finding> {
    for session in &case.node.sessions {
        let of_1_1 = |c: &Candidate| match &c.keys {
            SessionKeys::V1_1 { nwk_s_enc_key, .. } => Some(nwk_s_enc_key.clone()),
            SessionKeys::V1_0 { .. } => None,
        };
        let with: Vec<(&DataSeen, _)> = session
            .frames
            .iter()
            .filter(|seen| !seen.data.frame().fopts.is_empty())
            .filter_map(|seen| Some((seen, of_1_1(session.candidate_of(seen)?)?)))
            .collect();
        let Some((_, key)) = with.first() else { continue };
        let frames: Vec<Heard<'_>> = with
            .iter()
            .take(16)
            .map(|(seen, _)| Heard {
                frame: seen.data.frame(),
                fcnt: seen.held.fcnt,
                conf_fcnt: seen.held.context.map(|c| c.conf_fcnt),
                tx_dr: seen.held.context.map(|c| c.tx_dr),
                tx_ch: seen.held.context.map(|c| c.tx_ch),
            })
            .collect();
        let parses = |octets: &[u8], direction: Direction| {
            let list = command::decode(octets, direction, None);
            list.trailing.is_none() && !list.commands.is_empty() && list.faults().is_empty()
        };
        let answer = misreading::explore_fopts(&FOptsCase {
            nwk_s_enc_key: key.key(),
            integrity_keys: None,
            frames: &frames,
            parses: &parses,
        });
        let Some(found) = answer.findings().first() else { continue };
        let what: Vec<&str> = found.mistakes.iter().map(|row| row.what).collect();
        let who = match found.side {
            misreading::Side::Node => "the node",
            misreading::Side::Server => "the server",
            misreading::Side::CannotTell { .. } => "the sender",
        };
        // Where both sides follow the older text they agree, and nothing is lost.
        if matches!(found.side, misreading::Side::CannotTell { .. }) {
            continue;
        }
        let certainty = Certainty::of_probability(found.odds);
        let mut finding = Finding::new(
            certainty,
            format!("FOpts parse as MAC commands only if {who} {}", what.join(", and ")),
            "bring node and server to the same text: LoRaWAN 1.1 with the erratum on FOpts \
             encryption of January 2018",
        );
        finding.add(format!("{} with FOpts, MIC good", count(found.held, "frame")));
        finding.false_match = Some(found.odds);
        return Some(finding);
    }
    None
}
