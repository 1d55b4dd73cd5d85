//! Frame counters: restarts, lost upper halves, downlinks that went back.

use std::collections::{BTreeMap, HashMap};

use crate::{
    fact::Certainty,
    frame::Direction,
    id::Eui64,
    ladder::{
        finding::Finding,
        session::Case,
        words::{count, place},
    },
    roster::Activation,
    trace::{Data, DataSeen, Line, Origin, Rule, Session},
};

/// A counter this near to its end may have rolled over in the frames that were not heard.
const NEAR_THE_END: u32 = 64_000;
/// A counter this low may have rolled over just before.
const NEAR_THE_START: u32 = 1_536;

fn ups(session: &Session) -> Vec<&DataSeen> {
    session.uplinks().map(|(seen, _)| seen).collect()
}

fn low(fcnt: u32) -> u32 {
    fcnt & 0xFFFF
}

/// Whether going from one counter to the next looks like the end of 16 bits.
fn at_the_end(before: u32, after: u32) -> bool {
    low(before) >= NEAR_THE_END && low(after) <= NEAR_THE_START
}

/// Whether the counter goes up with every uplink, as it does in nearly all sessions.
fn rises(session: &Session) -> bool {
    session.uplinks().map(|(seen, _)| seen.held.fcnt).is_sorted_by(|before, after| before < after)
}

/// A gateway, and its counter when it heard a frame.
type Reception = (Option<Eui64>, Option<u32>);

/// The uplinks of a session as each gateway heard them, without copies of what was heard before: what
/// comes late through another gateway, or stands here twice, was sent once.
fn by_gateway(session: &Session) -> BTreeMap<Option<Eui64>, Vec<&DataSeen>> {
    let mut known: HashMap<&[u8], Vec<Reception>> = HashMap::new();
    let mut out: BTreeMap<Option<Eui64>, Vec<&DataSeen>> = BTreeMap::new();
    for (seen, heard) in session.uplinks() {
        let earlier = known.entry(&heard.octets).or_default();
        for own in heard.sightings() {
            let again = |(gateway, tmst): &Reception| {
                *gateway == own.gateway && tmst.is_some() && own.tmst.is_some() && *tmst != own.tmst
            };
            if earlier.is_empty() || earlier.iter().any(again) {
                out.entry(own.gateway).or_default().push(seen);
            }
        }
        earlier.extend(heard.sightings().map(|own| (own.gateway, own.tmst)));
    }
    out
}

/// The first place where a session's uplink counter falls, as one gateway heard it, and what it heard
/// from there on. A frame that another one overtook is no fall: the next goes on above both.
fn fall(session: &Session) -> Option<(&DataSeen, Vec<&DataSeen>)> {
    if rises(session) {
        return None;
    }
    by_gateway(session).into_values().find_map(|all| {
        let place = all.windows(2).enumerate().find_map(|(i, pair)| match pair {
            [a, b] if b.held.fcnt < a.held.fcnt => {
                let next = all.get(i + 2);
                next.is_none_or(|next| next.held.fcnt <= a.held.fcnt).then_some(i)
            }
            _ => None,
        })?;
        Some((*all.get(place)?, all.get(place + 1..)?.to_vec()))
    })
}

/// Whether none of these frames is new: each is, octet for octet, one heard before, so that somebody may
/// have repeated it.
fn are_repeats(session: &Session, frames: &[&DataSeen]) -> bool {
    let mut first: HashMap<&[u8], Line> = HashMap::new();
    for (seen, heard) in session.uplinks() {
        first.entry(&heard.octets).or_insert_with(|| seen.data.line());
    }
    frames.iter().all(|seen| match &seen.data {
        Data::Up { heard, .. } => {
            first.get(&*heard.octets).is_some_and(|at| *at < seen.data.line())
        }
        Data::Down { .. } => true,
    })
}

/// Where the counter of a session that began with a join, or with a claim, began anew.
fn began_anew(case: &Case<'_>, claimed: bool) -> Option<Finding> {
    for session in &case.node.sessions {
        if matches!(session.origin, Origin::Claim(_)) != claimed {
            continue;
        }
        if let Some((before, rest)) = fall(session)
            && let Some(after) = rest.first()
        {
            if at_the_end(before.held.fcnt, after.held.fcnt)
                || before.held.fcnt - after.held.fcnt < 8 && rest.len() < 2
            {
                continue;
            }
            let mut finding = restart(session, before.held.fcnt, after, rest.len(), None);
            if are_repeats(session, &rest) {
                finding.certainty = Certainty::Possible;
                finding.false_match = None;
                finding.add(
                    "each of them is, octet for octet, a frame heard before: a node with one and the \
                     same reading that began to count anew, or somebody who repeats what he heard"
                        .to_owned(),
                );
            }
            return Some(finding);
        }
        // The last counter may be known from the record alone.
        let last = case.record().and_then(|r| r.last_fcnt_up);
        let all = ups(session);
        if let (Some(last), Some(first), Some(newest)) = (last, all.first(), all.last())
            && claimed
            && newest.held.fcnt < last
            && last - newest.held.fcnt > 8
            && first.held.fcnt <= 64
            && !at_the_end(last, first.held.fcnt)
        {
            return Some(restart(session, last, first, all.len(), Some(last)));
        }
    }
    None
}

pub(in crate::ladder) fn restarted(case: &Case<'_>) -> Option<Finding> {
    began_anew(case, true)
}

pub(in crate::ladder) fn restarted_after_a_join(case: &Case<'_>) -> Option<Finding> {
    began_anew(case, false)
}

fn restart(
    session: &Session,
    before: u32,
    after: &DataSeen,
    frames: usize,
    recorded: Option<u32>,
) -> Finding {
    let certainty =
        if recorded.is_none() || frames >= 2 { Certainty::Certain } else { Certainty::Likely };
    let mut finding = Finding::new(
        certainty,
        format!(
            "FCnt falls from {before} to {} while DevAddr {} and keys stay the same: the node began \
             to count anew, and the server takes its frames for repeats",
            after.held.fcnt, session.dev_addr
        ),
        match session.origin {
            Origin::Claim(_) => {
                "keep FCnt in non-volatile memory on the node, or let it join over the air; until \
                 then reset the counter on the server (with ABP keys that opens the door to replayed \
                 frames)"
            }
            Origin::Accept { .. } => {
                "let the node join anew after a restart, or keep FCnt with the session in non-volatile \
                 memory; do not reset the counter on the server"
            }
        },
    );
    finding.add(format!(
        "{}: FCnt {}, and its MIC holds",
        place(after.data.line(), after.data.at()),
        after.held.fcnt
    ));
    finding.add(format!("{before} is far from 65535: no rollover"));
    if recorded.is_some() {
        finding.add(format!("the record's last-fcnt-up is {before}"));
    }
    finding.add(format!("{} since then, counting on", count(frames, "frame")));
    finding.matched_by_chance(2.0, frames)
}

/// Two uplinks with one counter and different payloads, where the counter goes on.
pub(in crate::ladder) fn used_twice(case: &Case<'_>) -> Option<Finding> {
    let twice_or_late = case.node.sessions.iter().filter(|session| !rises(session));
    for session in twice_or_late.filter(|session| fall(session).is_none()) {
        let mut first: HashMap<u32, &DataSeen> = HashMap::new();
        let mut twice = Vec::new();
        for seen in ups(session) {
            let before = *first.entry(seen.held.fcnt).or_insert(seen);
            // The same payload is the same frame, sent again for want of an answer.
            if before.data.frame().payload != seen.data.frame().payload {
                twice.push((before, seen));
            }
        }
        let Some((_, seen)) = twice.first() else { continue };
        let fcnt = seen.held.fcnt;
        // That it happened is certain; a restart of which frames are lost looks the same.
        let mut finding = Finding::new(
            Certainty::Likely,
            format!(
                "2 frames with FCnt {fcnt} and different payloads: the server takes the first alone, and \
                 whoever hears both knows how they differ"
            ),
            "have the node's stack raise FCnt after each new frame; only the same frame may be sent \
             again with the same counter",
        );
        for (before, after) in twice.iter().take(4) {
            finding.add(format!(
                "{} and {}: FCnt {}, and both MICs hold",
                place(before.data.line(), before.data.at()),
                place(after.data.line(), after.data.at()),
                after.held.fcnt
            ));
        }
        return Some(finding.matched_by_chance(2.0, 2 * twice.len()));
    }
    None
}

pub(in crate::ladder) fn upper_half_lost(case: &Case<'_>) -> Option<Finding> {
    let bits = case.record().and_then(|r| r.fcnt_bits);
    for session in &case.node.sessions {
        let all = ups(session);
        // The node counts on, the server has 16 bits.
        let rolled = all.iter().find(|s| s.held.fcnt > 0xFFFF);
        if let (Some(rolled), Some(16)) = (rolled, bits) {
            let beyond = all.iter().filter(|s| s.held.fcnt > 0xFFFF).count();
            let mut finding = Finding::new(
                Certainty::Certain,
                "after 65535 the node counts on in 32 bits, the server in 16: from the rollover on \
                 every MIC fails on the server",
                "set the record to 32-bit counters",
            );
            finding.add(format!(
                "{}: FCnt field {}, the MIC holds with {} and fails with {}",
                place(rolled.data.line(), rolled.data.at()),
                low(rolled.held.fcnt),
                rolled.held.fcnt,
                low(rolled.held.fcnt)
            ));
            finding.add(format!(
                "{} beyond 65535; the record's fcnt-bits is 16",
                count(beyond, "frame")
            ));
            return Some(finding.matched_by_chance(2.0, beyond));
        }
        // The node forgets the upper half.
        let last = case.record().and_then(|r| r.last_fcnt_up);
        let seen = fall(session)
            .and_then(|(a, rest)| Some((a.held.fcnt, *rest.first()?)))
            .filter(|(a, b)| at_the_end(*a, b.held.fcnt));
        let known = all
            .first()
            .filter(|_| matches!(session.origin, Origin::Claim(_)))
            .and_then(|first| Some((last?, *first)))
            .filter(|(last, first)| first.held.fcnt < *last && at_the_end(*last, first.held.fcnt));
        if let Some((before, after)) = seen.or(known) {
            let frames = all.iter().filter(|s| s.data.line() >= after.data.line()).count();
            let mut finding = Finding::new(
                Certainty::Certain,
                format!(
                    "after {} the node counts from {} in 16 bits, where the MIC wants {}: it lost \
                     the upper half of its counter at the rollover",
                    before,
                    after.held.fcnt,
                    (before | 0xFFFF) + 1 + low(after.held.fcnt)
                ),
                "have the node count in 32 bits (the frame carries the low 16); until then let it \
                 join anew before the rollover",
            );
            finding.add(format!(
                "{}: the MIC holds with {}, not with {}",
                place(after.data.line(), after.data.at()),
                after.held.fcnt,
                (before | 0xFFFF) + 1 + low(after.held.fcnt)
            ));
            return Some(finding.matched_by_chance(2.0, frames));
        }
    }
    None
}

/// The first downlink whose counter is below the one before of the same counter: 1.1 has two,
/// 1.0.x one.
fn falls<'s>(session: &Session, downs: &[&'s DataSeen]) -> Option<(u32, &'s DataSeen)> {
    let mut last = [None; 2];
    for down in downs {
        let of_1_1 = session.candidate_of(down).is_some_and(|c| c.rule == Rule::V1_1);
        let app = of_1_1 && down.data.frame().port().is_some_and(|port| port > 0);
        let [network, application] = &mut last;
        let counter = if app { application } else { network };
        if let Some(before) = counter.filter(|before| down.held.fcnt < *before) {
            return Some((before, down));
        }
        *counter = Some(down.held.fcnt);
    }
    None
}

pub(in crate::ladder) fn downlink_back(case: &Case<'_>) -> Option<Finding> {
    let kept = case.firmware().and_then(|f| f.last_fcnt_down);
    for session in &case.node.sessions {
        let downs: Vec<&DataSeen> =
            session.frames.iter().filter(|s| matches!(s.data, Data::Down { .. })).collect();
        let claimed = matches!(session.origin, Origin::Claim(_))
            || case.record().and_then(|r| r.activation) == Some(Activation::Abp);
        let against_node =
            kept.filter(|_| claimed || session.frames.len() == downs.len()).and_then(|kept| {
                Some((kept, *downs.iter().find(|d| d.held.fcnt <= kept)?, "the node's last"))
            });
        let within =
            falls(session, &downs).map(|(last, down)| (last, down, "an earlier downlink's"));
        let Some((last, down, whose)) = against_node.or(within) else { continue };
        debug_assert_eq!(down.data.frame().direction(), Direction::Downlink);
        let mut finding = Finding::new(
            Certainty::Certain,
            format!(
                "the downlink has FCntDown {}, not above {last}, {whose}: the node drops it as a \
                 repeat",
                down.held.fcnt
            ),
            "carry the downlink counter over when a session moves between servers, or let the node \
             join anew",
        );
        finding.add(format!(
            "{}: its MIC holds with {}: keys and address are right",
            place(down.data.line(), down.data.at()),
            down.held.fcnt
        ));
        if let Some(next) = case.record().and_then(|r| r.next_fcnt_down) {
            finding.add(format!("the record's next-fcnt-down is {next}"));
        }
        return Some(finding.matched_by_chance(1.0, 1));
    }
    None
}
