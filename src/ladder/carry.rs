//! What a gateway's fault explains of a node: the gateway is told first, and the node is not blamed.
//!
//! | broken rung of the gateway | what it leaves open of the node |
//! |---|---|
//! | hears, on-plan | heard |
//! | speaks, known, uplink-acknowledged, downlink-open | answered |
//! | clock (a slow line), sends | sent |

use super::{
    cause::{CauseId, Place},
    gateway::{self, Rung as G},
    join::{self, Rung},
    rung::{Ladder, Rungs, State},
    verdict::Verdict,
};
use crate::{
    fact::{Certainty, Fact, fact},
    id::Eui64,
    trace::Attempt,
};

/// A gateway, and what was found wrong with it.
pub(super) struct Leg<'a> {
    pub(super) case: gateway::Case<'a>,
    pub(super) causes: Vec<Verdict>,
}

/// What a gateway's fault explains of a node.
pub(super) struct Carried {
    /// The lowest rung of the node's join ladder that it leaves open.
    rung: Rung,
    /// The gateways' faults, the one that bites first leading.
    verdicts: Vec<Verdict>,
    /// What is said on that rung.
    words: Fact,
}

/// Faults of a gateway's leg that stop no frame of a node.
const HARMLESS: [CauseId; 4] = [
    CauseId::AcknowledgementsLaterThanTheGatewayWaits,
    CauseId::AcknowledgementsLostInPart,
    CauseId::AcknowledgementsForOtherTokens,
    CauseId::OneGatewayUnderTwoEuis,
];

/// Causes of a node that say no more than that nothing was heard, or that no answer came.
const SUPERSEDED: [CauseId; 2] = [CauseId::NoAnswerFromTheServer, CauseId::NodeSilent];

/// Looks for the gateway's fault that explains why a node fails.
pub(super) fn explain(case: &join::Case<'_>, legs: &[Leg<'_>]) -> Option<Carried> {
    // Nobody looks for the reasons of a neighbour's node.
    if case.entry.is_none() && !case.roster.nodes.is_empty() {
        return None;
    }
    if case.node.attempts.is_empty() {
        return unheard(case, legs);
    }
    let joined = case.ladders.iter().rposition(|l| l.state(Rung::Proven) == State::Proven);
    let failing = joined.map_or(0, |last| last + 1)..case.ladders.len();
    let failing: Vec<(usize, &Attempt)> =
        case.node.attempts.iter().enumerate().filter(|(i, _)| failing.contains(i)).collect();
    // An answer that the options left out went through another gateway, perhaps.
    let whole = case.trace.lacks.downlinks == 0;
    let silent = whole.then(|| unanswered(&failing, legs)).flatten();
    silent.or_else(|| unsent(case, &failing, legs))
}

/// Nothing of the node was heard: none of its gateways can.
fn unheard(case: &join::Case<'_>, legs: &[Leg<'_>]) -> Option<Carried> {
    let silent = case.node.misshapen.is_empty()
        && case.node.unverified.is_empty()
        && case.node.sessions.iter().all(|session| session.frames.is_empty());
    if !silent {
        return None;
    }
    let named = case.record().map(|record| record.gateways.as_slice()).unwrap_or_default();
    let is_named = |leg: &&Leg<'_>| leg.case.eui.is_some_and(|eui| named.contains(&eui));
    let mut own: Vec<&Leg<'_>> = legs.iter().filter(is_named).collect();
    if own.is_empty() {
        own = legs.iter().collect();
    }
    carried(Rung::Heard, &own, |verdict, _| {
        let stops = matches!(verdict.place, Place::Gateway(G::Hears | G::OnPlan | G::Speaks));
        // Another gateway may be out of sight of the recorder.
        stops
            && (verdict.certainty != Certainty::Possible
                || verdict.cause.id != CauseId::GatewaySilent)
    })
}

/// Requests without an answer, through gateways whose way to the server is broken.
fn unanswered(failing: &[(usize, &Attempt)], legs: &[Leg<'_>]) -> Option<Carried> {
    let silent: Vec<&Attempt> =
        failing.iter().map(|(_, a)| *a).filter(|a| a.answers.is_empty()).collect();
    let last = silent.last()?.line();
    let first = silent.first()?.line();
    // What was asked last must have been answered neither.
    if failing.last().is_some_and(|(_, attempt)| attempt.line() > last) {
        return None;
    }
    let own = through(silent.iter().flat_map(|a| a.heard.sightings()).map(|s| s.gateway), legs)?;
    carried(Rung::Answered, &own, |verdict, leg| {
        let place = verdict.place;
        let way = matches!(place, Place::Gateway(G::UplinkAcknowledged | G::DownlinkOpen));
        let name = matches!(place, Place::Gateway(G::Speaks | G::Known));
        name || way && leg.case.loses(first.order)
    })
}

/// Accepts that a gateway did not send, for reasons of its own.
fn unsent(
    case: &join::Case<'_>,
    failing: &[(usize, &Attempt)],
    legs: &[Leg<'_>],
) -> Option<Carried> {
    let open = |(index, attempt): &&(usize, &Attempt)| {
        !attempt.answers.is_empty()
            && case.state(*index, Rung::Timely) != State::Broken
            && case.state(*index, Rung::Sent) != State::Proven
    };
    let unsent: Vec<&Attempt> = failing.iter().filter(open).map(|(_, attempt)| *attempt).collect();
    if unsent.is_empty() || unsent.last()?.line() != failing.last()?.1.line() {
        return None;
    }
    let sendings = unsent.iter().flat_map(|a| a.answers_sent()).map(|a| a.sending.gateway);
    let own = through(sendings, legs)?;
    carried(Rung::Sent, &own, |verdict, _| match verdict.place {
        Place::Gateway(G::Sends) => verdict.cause.id != CauseId::GatewayHasNoGpsTime,
        Place::Gateway(G::Clock) => verdict.cause.id == CauseId::BackhaulTooSlowForTheWindows,
        Place::Gateway(G::DownlinkOpen) => {
            verdict.cause.id == CauseId::GatewayAsksForDownlinksTooSeldom
        }
        _ => false,
    })
}

/// The gateways of some frames; `None` where one of them is not known.
fn through<'l, 'a>(
    gateways: impl Iterator<Item = Option<Eui64>>,
    legs: &'l [Leg<'a>],
) -> Option<Vec<&'l Leg<'a>>> {
    let mut euis: Vec<Option<Eui64>> = gateways.collect();
    euis.sort_unstable();
    euis.dedup();
    let found: Vec<&Leg<'a>> = euis
        .iter()
        .filter_map(|eui| {
            let own = |leg: &&Leg<'_>| leg.case.eui == *eui;
            // A capture that names no gateway is told under the roster's only one.
            let only = || legs.first().filter(|_| eui.is_none() && legs.len() == 1);
            legs.iter().find(own).or_else(only)
        })
        .collect();
    (!found.is_empty() && found.len() == euis.len()).then_some(found)
}

/// The faults of gateways, where each of them has one that explains it.
fn carried(
    rung: Rung,
    own: &[&Leg<'_>],
    explains: impl Fn(&Verdict, &Leg<'_>) -> bool,
) -> Option<Carried> {
    let mut verdicts: Vec<Verdict> = Vec::new();
    let mut words = None;
    for leg in own {
        let found = leg.causes.iter().find(|verdict| {
            let Place::Gateway(place) = verdict.place else { return false };
            let broken = leg.case.is_broken(place);
            broken && !HARMLESS.contains(&verdict.cause.id) && explains(verdict, leg)
        })?;
        let Place::Gateway(place) = found.place else { return None };
        words.get_or_insert_with(|| {
            fact!(
                "{gateway}: rung {rung} of the gateway's ladder is broken ({cause}); this is the gateway's leg, not \
                 the node's fault",
                gateway = leg.case.title(),
                rung = place.name(),
                cause = found.cause.id.name()
            )
        });
        if verdicts.iter().all(|told| told.cause.id != found.cause.id) {
            verdicts.push(found.clone());
        }
    }
    Some(Carried { rung, verdicts, words: words? })
}

impl Carried {
    /// Puts the gateways' faults before the node's own causes, and leaves out of these what they explain.
    pub(super) fn lead(&self, causes: &mut Vec<Verdict>) {
        causes.retain(|own| {
            let same = self.verdicts.iter().any(|verdict| verdict.cause.id == own.cause.id);
            let above = match own.place {
                Place::Join(rung) => rung >= self.rung && own.cause.is_residual(),
                Place::Gateway(_) | Place::Session(_) => false,
            };
            !same && !above && !SUPERSEDED.contains(&own.cause.id)
        });
        causes.splice(0..0, self.verdicts.iter().cloned());
    }

    /// Leaves open what the gateway's fault explains. What is proven stays proven.
    pub(super) fn leave_open(&self, ladder: &mut Ladder<Rung>) {
        let mut said = false;
        for rung in Rung::ALL.iter().copied().filter(|rung| *rung >= self.rung) {
            let judgement = &mut ladder[rung];
            if judgement.state == State::Proven {
                continue;
            }
            judgement.state = State::Unknown;
            if !said {
                judgement.evidence.insert(0, self.words.clone());
                said = true;
            }
        }
    }
}

/// Leaves to the gateways' ladder what is broken there, where a cause of the node's says so: the node's rung
/// reads unknown, and says which gateway it is.
pub(super) fn leave_broken(ladder: &mut Ladder<Rung>, causes: &[Verdict], legs: &[Leg<'_>]) {
    for verdict in causes {
        let Place::Gateway(own) = verdict.place else { continue };
        let Some(rung) = verdict.place.carries() else { continue };
        let broken = legs.iter().find(|leg| leg.case.is_broken(own));
        let Some(broken) = broken.filter(|_| ladder.state(rung) == State::Broken) else { continue };
        ladder[rung].state = State::Unknown;
        ladder[rung].add(fact!(
            "{gateway}: rung {rung} of the gateway's ladder is broken ({cause})",
            gateway = broken.case.title(),
            rung = own.name(),
            cause = verdict.cause.id.name()
        ));
    }
}
