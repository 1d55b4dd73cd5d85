//! What is said in words of a node's joining: where no frame decides, a rung rests on it.
//!
//! What is computed stands, whatever is said. Only a DevNonce that nothing is known against is
//! refused by a server's word: the server knows what it took before.

pub(in crate::ladder) mod console;

use super::{Case, Rung};
use crate::{
    explore::near_miss::{self, Mistake},
    fact::{Certainty, Fact, Value, fact},
    frame::MacVersion,
    id::Eui64,
    intake::{Refusal, Speaker, Statement},
    ladder::{
        finding::Finding,
        gateway::told::says,
        rung::{Judgement, Ladder, State},
    },
    trace::Told,
};

/// How a node's joining ended, by what is said.
#[derive(Debug)]
pub(in crate::ladder) enum End<'a> {
    /// Nothing is said that tells.
    Open,
    /// It was refused, each time for such a reason.
    Refused(Vec<(&'a Told, Refusal)>),
    Accepted(&'a Told),
    /// Data came after the accept, or the node says so itself.
    Joined(&'a Told),
    /// The node says that its join failed.
    Failed(&'a Told),
    /// Data came, and nothing is said of a join.
    Data(&'a Told),
}

/// What is said of a node, in short.
#[derive(Debug)]
pub(in crate::ladder) struct Words<'a> {
    /// Who received a request first.
    pub(in crate::ladder) asked: Option<&'a Told>,
    pub(in crate::ladder) accepted: Option<&'a Told>,
    pub(in crate::ladder) end: End<'a>,
    /// Whether it joined before that.
    pub(in crate::ladder) joined_before: bool,
}

impl<'a> Words<'a> {
    pub(in crate::ladder) fn of(told: &'a [Told]) -> Self {
        let mut words = Words { asked: None, accepted: None, end: End::Open, joined_before: false };
        // What a server says after it refused a request is a consequence.
        let mut refused = None;
        for one in told {
            match &one.said.what {
                Statement::Asked => {
                    words.asked.get_or_insert(one);
                    refused = None;
                    if matches!(words.end, End::Accepted(_)) {
                        words.end = End::Open;
                    }
                }
                Statement::Refused(Refusal::CounterTooLow { .. }) => {}
                Statement::Refused(refusal) => {
                    words.asked.get_or_insert(one);
                    let kind = std::mem::discriminant(refusal);
                    if *refused.get_or_insert(kind) != kind {
                        continue;
                    }
                    words.joined_before |= matches!(words.end, End::Joined(_));
                    if let End::Refused(all) = &mut words.end {
                        all.push((one, *refusal));
                    } else {
                        words.end = End::Refused(vec![(one, *refusal)]);
                    }
                }
                Statement::Accepted { .. } | Statement::AcceptSent => {
                    words.asked.get_or_insert(one);
                    words.accepted = Some(one);
                    words.end = End::Accepted(one);
                }
                Statement::UplinkTaken { .. } => match words.end {
                    End::Accepted(_) => words.end = End::Joined(one),
                    End::Open => words.end = End::Data(one),
                    _ => {}
                },
                Statement::Joined { .. } => words.end = End::Joined(one),
                Statement::JoinFailed => {
                    words.joined_before |= matches!(words.end, End::Joined(_));
                    words.end = End::Failed(one);
                }
                _ => {}
            }
        }
        words
    }
}

/// The ladder of a node of which no request is in the capture, as far as words tell.
pub(in crate::ladder) fn ladder(case: &Case<'_>) -> Option<Ladder<Rung>> {
    if case.node.told.is_empty() {
        return None;
    }
    let words = Words::of(&case.node.told);
    let unsaid = "no frame shows it, and nobody says it";
    let mut ladder = Ladder::of(|_| Judgement::unknown(unsaid));
    if let Some((told, _)) = console::off_plan(case) {
        ladder[Rung::OnPlan] = Judgement::broken(says(told));
    }
    if let Some(asked) = words.asked {
        ladder[Rung::Heard] = Judgement::proven(says(asked));
    }
    match words.end {
        End::Refused(all) => {
            for (told, refusal) in all {
                let rung = rung_of(refusal);
                if ladder.state(rung) == State::Broken {
                    ladder[rung].add(says(told));
                } else {
                    ladder[rung] = Judgement::broken(says(told));
                }
            }
        }
        End::Accepted(told) => prove(&mut ladder, told),
        End::Joined(told) => {
            prove(&mut ladder, words.accepted.unwrap_or(told));
            ladder[Rung::Heard] = Judgement::proven(says(words.asked.unwrap_or(told)));
            ladder[Rung::Proven] = Judgement::proven(says(told));
        }
        End::Failed(told) => ladder[Rung::Proven] = Judgement::broken(says(told)),
        End::Data(told) => ladder[Rung::Heard] = Judgement::unknown(says(told)),
        End::Open => {
            if let Some(told) = case.node.told.first()
                && words.asked.is_none()
            {
                ladder[Rung::Heard] = Judgement::unknown(says(told));
            }
        }
    }
    Some(ladder)
}

/// What a server that accepts a request has looked at.
fn prove(ladder: &mut Ladder<Rung>, told: &Told) {
    for rung in [Rung::Identified, Rung::Authentic, Rung::Fresh, Rung::Answered] {
        ladder[rung] = Judgement::proven(says(told));
    }
}

const fn rung_of(refusal: Refusal) -> Rung {
    match refusal {
        Refusal::NonceUsed { .. } | Refusal::NonceTooSmall { .. } => Rung::Fresh,
        Refusal::MicInvalid => Rung::Authentic,
        _ => Rung::Identified,
    }
}

/// Sets what is said of an attempt beside what is computed.
pub(super) fn amend(case: &Case<'_>, rung: Rung, index: usize, judged: Judgement) -> Judgement {
    let Some((told, _)) = refused(case, index).filter(|(_, refusal)| rung_of(*refusal) == rung)
    else {
        return judged;
    };
    let answered = case.node.attempts.get(index).is_some_and(|attempt| !attempt.answers.is_empty());
    match judged.state {
        State::Broken => judged.and(says(told)),
        State::Unknown => Judgement { state: State::Broken, ..judged }.and(says(told)),
        State::Proven if rung == Rung::Fresh && !answered => {
            Judgement::broken(says(told)).and(fact!(
                "the capture shows nothing against it: {shown}",
                shown = Fact::joined(judged.evidence, "; ")
            ))
        }
        State::Proven => judged.and(fact!("this does not agree: {said}", said = says(told))),
    }
}

/// What a server says of an attempt, before the next one.
fn refused<'a>(case: &Case<'a>, index: usize) -> Option<(&'a Told, Refusal)> {
    let attempts = &case.node.attempts;
    let from = attempts.get(index)?.line().order;
    let to = attempts.get(index + 1).map_or(u64::MAX, |next| next.line().order);
    case.node.told.iter().filter(|told| (from..to).contains(&told.moment.line.order)).find_map(
        |told| match told.said.what {
            Statement::Refused(Refusal::CounterTooLow { .. }) => None,
            Statement::Refused(refusal) => Some((told, refusal)),
            _ => None,
        },
    )
}

/// The refusals that no frame explains: of attempts whose rung breaks by words, or of a node that made none.
fn unexplained<'a>(case: &Case<'a>) -> Vec<(&'a Told, Refusal)> {
    if case.node.attempts.is_empty() {
        return match Words::of(&case.node.told).end {
            End::Refused(all) => all,
            _ => Vec::new(),
        };
    }
    let broken = |index: usize| {
        let (told, refusal) = refused(case, index)?;
        let rung = rung_of(refusal);
        // What is computed breaks it without these words.
        let computed = rung.judge(case, index).state == State::Broken;
        (case.state(index, rung) == State::Broken && !computed).then_some((told, refusal))
    };
    case.last_run().filter_map(broken).collect()
}

/// A finding that rests on words.
fn finding(
    certainty: Certainty,
    summary: Fact,
    remedy: &'static str,
    all: &[(&Told, Refusal)],
) -> Option<Finding> {
    if all.is_empty() {
        return None;
    }
    let told = all.iter().take(MOST_TOLD).map(|(told, _)| says(told));
    Some(told.fold(Finding::new(certainty, summary, remedy), Finding::and))
}

const CAPTURE: &str = "capture the Join-Request itself, and put the root keys of node and record on the roster: then it is computed";

/// The server does not know the DevEUI, and no claim is near it.
pub(in crate::ladder) fn unknown_device(case: &Case<'_>) -> Option<Finding> {
    let all = of_kind(case, |refusal| matches!(refusal, Refusal::UnknownDevice));
    let dev_eui = case.node.dev_eui?;
    finding(
        Certainty::Likely,
        fact!("the server says that it does not know DevEUI {dev_eui}", dev_eui),
        "register the DevEUI that the node sends, or give the node the one on record; if it is a neighbour's, it needs \
         nothing",
        &all,
    )
}

/// The server does not know the DevEUI, and one claim is nearly it, or the same backwards.
pub(in crate::ladder) fn near_device(case: &Case<'_>, reversed: bool) -> Option<Finding> {
    let all = of_kind(case, |refusal| matches!(refusal, Refusal::UnknownDevice));
    if all.is_empty() {
        // The roster is long, and nobody asks.
        return None;
    }
    let sent = case.node.dev_eui?.0;
    let mut near = case.roster.nodes.iter().filter_map(|node| {
        let own = node.claims().find_map(|(_, claim)| claim.dev_eui)?.0;
        is_near(sent, own, reversed).then_some((node, own))
    });
    let (node, claimed) = near.next().filter(|_| near.next().is_none())?;
    let how =
        if reversed { "the same read backwards, byte by byte" } else { "a typing error away" };
    finding(
        Certainty::Likely,
        fact!(
            "the server says that it does not know DevEUI {sent}; that of {node}, {claimed}, is {how}",
            sent,
            node = node.name.clone(),
            claimed,
            how
        ),
        "compare both with the label, and correct the one that differs",
        &all,
    )
}

fn is_near(sent: Eui64, own: Eui64, reversed: bool) -> bool {
    match near_miss::eui_relation(sent, own) {
        None | Some(Mistake::Same) => false,
        Some(Mistake::OctetsReversed) => reversed,
        Some(_) => !reversed,
    }
}

/// The JoinEUI heard is not the one on record.
pub(in crate::ladder) fn join_eui(case: &Case<'_>, reversed: bool) -> Option<Finding> {
    let all = of_kind(case, |refusal| matches!(refusal, Refusal::JoinEuiDiffers { .. }));
    let values = all.iter().find_map(|(_, refusal)| match refusal {
        Refusal::JoinEuiDiffers { heard, on_record } => {
            let record = on_record.or_else(|| Some(case.record()?.join_eui?.0));
            Some(((*heard)?, record?))
        }
        _ => None,
    });
    let Some((heard, on_record)) = values else {
        // Without both values it is open what is wrong with it.
        let summary = Fact::from("the server says that the JoinEUI is not the one on record");
        return finding(Certainty::Possible, summary, CAPTURE, &all).filter(|_| !reversed);
    };
    let turned = heard.bytes_reversed() == on_record;
    if heard == on_record || turned != reversed {
        return None;
    }
    let (certainty, how) = if turned {
        (Certainty::Likely, "the one read backwards is the other")
    } else if is_near(heard, on_record, false) {
        (Certainty::Likely, "a typing error makes the one of the other")
    } else {
        (Certainty::Possible, "no typing error makes the one of the other")
    };
    finding(
        certainty,
        fact!(
            "the server says that it heard JoinEUI {heard}, and {on_record} is on record: {how}",
            heard,
            on_record,
            how
        ),
        "give node and record the same JoinEUI",
        &all,
    )
}

/// The server says that the MIC fails: a root key is wrong, and no frame is there to say which.
pub(in crate::ladder) fn mic(case: &Case<'_>) -> Option<Finding> {
    let all = of_kind(case, |refusal| matches!(refusal, Refusal::MicInvalid));
    finding(
        Certainty::Possible,
        "the server says that the MIC does not hold: the node's root key may not be the one on record".into(),
        CAPTURE,
        &all,
    )
}

/// Which of the rules of a DevNonce was broken.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(in crate::ladder) enum NonceFault {
    /// Drawn at random, and repeated.
    Repeated,
    /// It counts, and began anew.
    Restarted,
    /// Drawn at random, against a server that wants it to count.
    Drawn,
}

/// The server refuses the DevNonce.
pub(in crate::ladder) fn nonce(case: &Case<'_>, fault: NonceFault) -> Option<Finding> {
    let small = of_kind(case, |refusal| matches!(refusal, Refusal::NonceTooSmall { .. }));
    let used = of_kind(case, |refusal| matches!(refusal, Refusal::NonceUsed { .. }));
    let version = case.record_version().or(case.node_version());
    let counts = version.map(MacVersion::counts_dev_nonces);
    let nonces: Vec<u16> = small
        .iter()
        .filter_map(|(_, refusal)| match refusal {
            Refusal::NonceTooSmall { nonce, .. } => *nonce,
            _ => None,
        })
        .collect();
    let rises = nonces.len() >= 2
        && nonces.windows(2).all(|w| matches!(w, [a, b] if (1..16).contains(&b.wrapping_sub(*a))));
    let jumps = nonces.len() >= 3 && nonces.windows(2).any(|w| matches!(w, [a, b] if b < a));
    let possible = Certainty::Possible;
    let (certainty, all, what) = match (fault, small.is_empty()) {
        (NonceFault::Restarted, false) if jumps => return None,
        (NonceFault::Restarted, false) => {
            let sure = if rises { Certainty::Likely } else { possible };
            (
                sure,
                small,
                "it does not rise above the last that was taken: the node's count began again",
            )
        }
        (NonceFault::Drawn, false) if rises => return None,
        (NonceFault::Drawn, false) => {
            let sure = if jumps { Certainty::Likely } else { possible };
            (sure, small, "it is not above the last that was taken: the node may draw it at random")
        }
        (NonceFault::Repeated, true) if counts == Some(true) => return None,
        (NonceFault::Repeated, true) => {
            let sure = if counts == Some(false) { Certainty::Likely } else { possible };
            (sure, used, "it was used before: the node may draw the same again after each reset")
        }
        (NonceFault::Restarted, true) if counts == Some(true) => {
            (Certainty::Likely, used, "it was used before: the node's count began again")
        }
        (NonceFault::Restarted | NonceFault::Drawn, true) | (NonceFault::Repeated, false) => {
            return None;
        }
    };
    let mut finding = finding(
        certainty,
        fact!("the server refuses the DevNonce: {what}", what),
        "state the record's mac-version and last DevNonce, and capture two requests with a reset of the node between \
         them; to recover, let the server forget the nonces of this node",
        &all,
    )?;
    if nonces.len() >= 2 {
        finding.add(fact!(
            "DevNonces refused, in this order: {dev_nonces}",
            dev_nonces = Value::Tally(nonces)
        ));
    }
    Some(finding)
}

fn of_kind<'a>(case: &Case<'a>, is: impl Fn(&Refusal) -> bool) -> Vec<(&'a Told, Refusal)> {
    unexplained(case).into_iter().filter(|(_, refusal)| is(refusal)).collect()
}

/// What to capture next where words alone decide.
pub(in crate::ladder) fn next(case: &Case<'_>) -> Vec<Fact> {
    if case.node.told.is_empty() || !case.node.attempts.is_empty() {
        return Vec::new();
    }
    if case.trace.gateways.is_empty()
        && case.node.told.iter().all(|told| told.said.by == Speaker::Node)
    {
        return vec![
            "what the gateway hears and sends: capture both directions at the gateway while the node tries, next to this \
             console"
                .into(),
        ];
    }
    let open = match Words::of(&case.node.told).end {
        End::Refused(_) => "whether the server is right, and why it refuses",
        End::Joined(_) | End::Data(_) => return Vec::new(),
        _ => "where it stops",
    };
    vec![fact!(
        "{open}: capture both directions at the gateway, so that the Join-Request itself and what answers it can be \
         checked under the root keys on the roster",
        open
    )]
}

/// Statements of one kind that are quoted.
const MOST_TOLD: usize = 4;
