//! Payloads: whose AppSKey, and commands in two places.

use crate::{
    crypto::{EncryptionKeys, cipher},
    explore::misreading::{self, Criterion, PayloadCase},
    fact::Certainty,
    frame::{FaultKind, MacVersion},
    key::AppSKey,
    ladder::{
        finding::Finding,
        join::proven,
        session::Case,
        words::{count, place},
    },
    trace::{Data, DataSeen, Origin, Session},
};

/// Data of a session that carries an application payload.
fn app_frames(session: &Session) -> Vec<&DataSeen> {
    session
        .uplinks()
        .map(|(seen, _)| seen)
        .filter(|seen| {
            seen.data.frame().payload.as_ref().is_some_and(|p| p.port > 0 && !p.frm.is_empty())
        })
        .collect()
}

/// How many leading octets all payloads share under a key.
fn common_head(frames: &[&DataSeen], key: &AppSKey) -> usize {
    let keys = EncryptionKeys { app_s_key: Some(key), ..EncryptionKeys::default() };
    let plain: Vec<Vec<u8>> = frames
        .iter()
        .filter_map(|seen| Some(cipher::payload(&seen.verified()?, &keys)?.octets))
        .collect();
    let Some((first, rest)) = plain.split_first() else { return 0 };
    first
        .iter()
        .enumerate()
        .take_while(|(i, octet)| rest.iter().all(|p| p.get(*i) == Some(*octet)))
        .count()
}

pub(in crate::ladder) fn application_key(case: &Case<'_>) -> Option<Finding> {
    let record = case.record()?;
    let kept = record.app_s_key.as_ref()?;
    for session in case.node.sessions.iter().rev() {
        if case.accept_of(session).is_none() {
            continue;
        }
        let Some((seen, _)) = session.uplinks().next() else { continue };
        let Some(candidate) = session.candidate_of(seen) else { continue };
        let Some(derived) = candidate.keys.app_s_key() else { continue };
        if derived.key().same_as(kept.key()) {
            return None;
        }
        // The record must otherwise be at this session: its address or its network key.
        let at_address = record.dev_addr == Some(session.dev_addr);
        let network = record.nwk_s_key.as_ref().is_some_and(|own| {
            candidate
                .keys
                .named()
                .iter()
                .any(|(name, key)| *name == "NwkSKey" && key.same_as(own.key()))
        });
        if !at_address && !network {
            continue;
        }
        let frames = app_frames(session);
        let by_derived = common_head(&frames, derived);
        let by_kept = common_head(&frames, kept);
        let sound = frames.len() >= 2 && by_derived > by_kept;
        let older = case.node.sessions.iter().find(|other| {
            other.dev_addr != session.dev_addr
                && other
                    .candidates
                    .iter()
                    .any(|c| c.keys.app_s_key().is_some_and(|k| k.key().same_as(kept.key())))
        });
        let certainty = if network && (sound || older.is_some()) {
            Certainty::Certain
        } else {
            Certainty::Likely
        };
        let mut finding = Finding::new(
            certainty,
            "the MIC holds under the session's network key, which the record has right; its AppSKey \
             is not the one derived from this join: payloads come out as noise",
            "hand the session's AppSKey to the application server again (or let the node join anew)",
        );
        finding.add(format!(
            "{}: data of DevAddr {} authenticates",
            place(seen.data.line(), seen.data.at()),
            session.dev_addr
        ));
        if sound {
            finding.add(format!(
                "{}: under the derived AppSKey all begin with the same {by_derived} octets, under \
                 the record's with {by_kept}: a message format shows under the derived key alone",
                count(frames.len(), "payload")
            ));
        }
        if let Some(older) = older {
            finding.add(format!(
                "the record's AppSKey is that of DevAddr {}, an earlier join",
                older.dev_addr
            ));
        }
        return Some(finding);
    }
    None
}

pub(in crate::ladder) fn commands_twice(case: &Case<'_>) -> Option<Finding> {
    let version = case.record_version().or(case.node_version());
    let twice: Vec<&DataSeen> = case
        .node
        .sessions
        .iter()
        .flat_map(|s| &s.frames)
        .filter(|seen| {
            let frame = seen.data.frame();
            frame.port() == Some(0) && !frame.fopts.is_empty()
        })
        .collect();
    let first = twice.first()?;
    // 1.0.4 words the rule otherwise: servers differ.
    let certainty = match version {
        Some(v) if v < MacVersion::V1_0_4 || v == MacVersion::V1_1 => Certainty::Certain,
        Some(_) => return None,
        None => Certainty::Possible,
    };
    let mut finding = Finding::new(
        certainty,
        format!(
            "MAC commands stand in FOpts and on FPort 0 in one frame, which {} forbids: the \
             receiver drops the frame",
            version.map_or("the standard".to_owned(), |v| format!("LoRaWAN {}", v.name()))
        ),
        "send MAC commands in FOpts or on FPort 0, never in both places of one frame",
    );
    for seen in twice.iter().take(4) {
        finding.add(format!(
            "{}: FOptsLen {}, FPort 0, FCnt {}; the MIC holds",
            place(seen.data.line(), seen.data.at()),
            seen.data.frame().fopts.len(),
            seen.held.fcnt
        ));
    }
    finding.add(FaultKind::FOptsWithPort0.to_string());
    let _ = first;
    Some(finding)
}

pub(in crate::ladder) fn too_long(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    let all = case.node.sessions.iter().flat_map(|s| &s.frames);
    let mut long = Vec::new();
    for seen in all {
        let frame = seen.data.frame();
        let modulation = match &seen.data {
            Data::Up { heard, .. } => heard.best().modulation,
            Data::Down { sending, .. } => sending.modulation,
        };
        let Some(dr) = modulation.and_then(|m| plan.dr_of(frame.direction(), m)) else { continue };
        let Some((most, _)) = plan.max_payload(frame.direction(), dr, false, false) else {
            continue;
        };
        // FHDR is 7 octets and FOpts; FPort is one.
        let payload = frame.payload.as_ref().map_or(0, |p| 1 + p.frm.len());
        let octets = 7 + usize::from(frame.fopts.len()) + payload;
        if octets > usize::from(most) {
            long.push((seen, octets, most, modulation));
        }
    }
    let (_, octets, most, modulation) = *long.first()?;
    let rate = modulation.map(|m| m.to_string()).unwrap_or_default();
    let mut finding = Finding::new(
        Certainty::Certain,
        format!(
            "a MACPayload of {octets} octets at {rate}, where {} allows {most}: the receiver drops \
             the frame",
            plan.name
        ),
        "send less in a frame, or at a faster data rate; the limit counts FHDR, FOpts and FPort as \
         well",
    );
    for (seen, octets, most, _) in long.iter().take(4) {
        finding.add(format!(
            "{}: {octets} octets of MACPayload, {most} at the most",
            place(seen.data.line(), seen.data.at())
        ));
    }
    Some(finding)
}

/// Octets of text that noise does not make by accident.
const TELLING_TEXT: usize = 12;

pub(in crate::ladder) fn another_cipher(case: &Case<'_>) -> Option<Finding> {
    for session in &case.node.sessions {
        let Origin::Accept { attempt, .. } = session.origin else { continue };
        let frames: Vec<(&crate::frame::DataFrame, u32)> = app_frames(session)
            .into_iter()
            .map(|seen| (seen.data.frame(), seen.held.fcnt))
            .collect();
        let octets: usize =
            frames.iter().filter_map(|(f, _)| f.payload.as_ref()).map(|p| p.frm.len()).sum();
        if octets < TELLING_TEXT {
            continue;
        }
        let attempt = case.node.attempts.get(attempt)?;
        let criterion = Criterion::PrintableAscii;
        let found = proven::derived::as_case(case, attempt, session, &frames, |session| {
            let answer = misreading::explore_payload(&PayloadCase {
                session: *session,
                at_hand: None,
                criterion,
            });
            answer.findings().first().cloned()
        });
        let Some(found) = found else { continue };
        if found.mistakes.first().is_none_or(|row| row.cause != "payload-encrypted-by-another-rule")
        {
            continue;
        }
        let what: Vec<&str> = found.mistakes.iter().map(|row| row.what).collect();
        let mut finding = Finding::new(
            Certainty::of_probability(found.odds),
            format!(
                "the MIC holds, and the payload reads only if the node {}",
                what.join(", and ")
            ),
            "mend the encryption of FRMPayload on the node: the key stream of AppSKey, blocks A_i \
             from i = 1, the whole counter",
        );
        finding.add(format!("the criterion: {}", criterion.name()));
        for row in &found.mistakes {
            finding.add(format!("the standard: {}", row.standard));
        }
        finding.add(format!("it holds for {}", count(found.held, "payload")));
        finding.false_match = Some(found.odds);
        return Some(finding);
    }
    None
}
