//! All ladders climbed, and what comes of it: outcomes, causes, next steps.

use jiff::Timestamp;

use super::{
    Options,
    carry::{self, Leg},
    cause::{CAUSES, Cause, Place},
    gateway, join, next,
    outcome::{self, GatewayOutcome, Outcome},
    rung::{Judgement, Ladder, LadderName, State},
    session,
    subject::Subject,
    verdict::{Verdict, ordered},
};
use crate::{
    fact::{Certainty, Fact},
    id::{DevAddr, DevEui, Eui64, JoinEui},
    parallel,
    region::Plan,
    roster::Roster,
    trace::{NodeTrace, Trace},
};

/// What there is to say of a capture.
#[derive(Clone, Debug)]
pub struct Findings {
    /// Of each gateway: those of the roster, then the others in the order of their EUI.
    pub gateways: Vec<GatewayDiagnosis>,
    /// Of each node: those of the roster in its order, then strangers.
    pub nodes: Vec<Diagnosis>,
}

/// What there is to say of one gateway.
#[derive(Clone, Debug)]
pub struct GatewayDiagnosis {
    /// Its EUI; `None` where the capture names none.
    pub eui: Option<Eui64>,
    /// Its name on the roster.
    pub name: Option<String>,
    /// How it stands.
    pub outcome: GatewayOutcome,
    /// Its ladder.
    pub ladder: Ladder<gateway::Rung>,
    /// Why it broke; the cause that bites first leads.
    pub causes: Vec<Verdict>,
    /// What to capture or to look up next.
    pub next: Vec<Fact>,
}

impl GatewayDiagnosis {
    /// Returns whether something is wrong with this gateway.
    pub fn has_fault(&self) -> bool {
        !self.causes.is_empty() || self.ladder.first_broken().is_some()
    }
}

/// What there is to say of one node.
#[derive(Clone, Debug)]
pub struct Diagnosis {
    /// Its place in [`Trace::nodes`].
    pub place: usize,
    /// Which of its attempts the join ladder is of, by its place in the node's; `None` where it made
    /// none.
    pub told: Option<usize>,
    /// Its name on the roster; `None` for a stranger.
    pub name: Option<String>,
    /// DevEUI, as heard or else as claimed.
    pub dev_eui: Option<DevEui>,
    /// JoinEUI, likewise.
    pub join_eui: Option<JoinEui>,
    /// The address by which words name it, where nothing else of it is known.
    pub dev_addr: Option<DevAddr>,
    /// The channel plan against which it was judged.
    pub plan: Option<&'static Plan>,
    /// How it ended.
    pub outcome: Outcome,
    /// The join ladder of the attempt that matters most; `None` for a node that does not join.
    pub join: Option<Ladder<join::Rung>>,
    /// The session that matters most.
    pub session: Option<SessionDiagnosis>,
    /// Why it broke; the cause that bites first leads.
    pub causes: Vec<Verdict>,
    /// What to capture or to look up next.
    pub next: Vec<Fact>,
    /// Whether the node is a neighbour's: on no roster, while there is one.
    pub stranger: bool,
    /// Attempts that came to nothing: a rung broke, or the node asked again after a good accept.
    pub in_vain: usize,
    /// How many attempts to join there were.
    pub attempts: usize,
    /// How many data frames authenticated.
    pub data: usize,
    /// How many of the attempts and of the data frames were counted, but not kept to be judged:
    /// those that were many and alike.
    pub forgotten: (usize, usize),
    /// What was before was not judged.
    pub before: Option<Timestamp>,
}

/// The ladder of one session.
#[derive(Clone, Debug)]
pub struct SessionDiagnosis {
    /// Its address.
    pub dev_addr: DevAddr,
    /// Its place in [`NodeTrace::sessions`].
    pub place: usize,
    /// Its ladder.
    pub ladder: Ladder<session::Rung>,
}

impl Diagnosis {
    /// Returns the lowest rung that is broken, of the join ladder before the session's.
    pub fn first_broken(&self) -> Option<Place> {
        let join = self.join.as_ref().and_then(Ladder::first_broken).map(Place::Join);
        let session = || self.session.as_ref()?.ladder.first_broken().map(Place::Session);
        join.or_else(session)
    }

    /// Returns the join ladder's judgement of a rung.
    pub fn join_rung(&self, rung: join::Rung) -> Option<&Judgement> {
        self.join.as_ref().map(|ladder| &ladder[rung])
    }

    /// Returns whether something is wrong with this node. What a neighbour's node lacks is not.
    pub fn has_fault(&self) -> bool {
        let broken = !self.stranger && self.first_broken().is_some();
        broken || !self.causes.is_empty() || self.outcome == Outcome::JoinFailing
    }

    /// Returns whether it is proven to work, as far as anything was looked at, and nothing speaks
    /// against it.
    pub fn is_fine(&self) -> bool {
        let works = matches!(self.outcome, Outcome::Joined | Outcome::Session);
        works && !self.has_fault() && self.in_vain == 0
    }
}

/// Climbs the ladders of every gateway and every node of a trace.
pub fn judge(trace: &Trace, roster: &Roster, options: Options<'_>) -> Findings {
    let legs = legs(trace, roster, options);
    let wide = wide_searches(trace);
    let of = |place, node: &NodeTrace| {
        let subject = Subject::new(trace, roster, node, options, wide.contains(&place));
        of_node(subject, place, &legs)
    };
    let nodes = parallel::in_order(&trace.nodes, of);
    Findings { gateways: legs.into_iter().map(of_gateway).collect(), nodes }
}

/// Climbs the ladders of every node of a trace: those of the roster first, then strangers.
pub fn diagnose(trace: &Trace, roster: &Roster, options: Options<'_>) -> Vec<Diagnosis> {
    judge(trace, roster, options).nodes
}

/// Climbs the ladders of the node at one place of [`Trace::nodes`].
pub fn diagnose_node(
    trace: &Trace,
    roster: &Roster,
    place: usize,
    options: Options<'_>,
) -> Option<Diagnosis> {
    let node = trace.nodes.get(place)?;
    let wide = wide_searches(trace).contains(&place);
    // The trace of one node has only a part of what its gateways do: nothing is said of them.
    Some(of_node(Subject::new(trace, roster, node, options, wide), place, &[]))
}

/// Nodes around whose keys the widest search is made in one run. It takes the better part of a
/// second: a long roster of wrong keys is to stay quick.
const WIDE_SEARCHES: usize = 8;

/// The places of the first nodes whose requests no key of theirs signs.
fn wide_searches(trace: &Trace) -> Vec<usize> {
    let fails = |node: &NodeTrace| {
        let own = |at: &crate::trace::KeyRef| Some(at.node) == node.index;
        node.index.is_some() && node.attempts.iter().any(|a| !a.holds_under.iter().any(own))
    };
    let all = trace.nodes.iter().enumerate();
    all.filter(|(_, node)| fails(node)).map(|(place, _)| place).take(WIDE_SEARCHES).collect()
}

/// Every gateway of roster and capture, and what is wrong with it.
fn legs<'a>(trace: &'a Trace, roster: &'a Roster, options: Options<'_>) -> Vec<Leg<'a>> {
    let world = gateway::World::new(trace, roster, options.plan);
    world.euis().into_iter().map(|eui| leg(&world, eui)).collect()
}

/// One gateway, and what is wrong with it.
fn leg<'a>(world: &gateway::World<'a>, eui: Option<Eui64>) -> Leg<'a> {
    let case = gateway::climb(world, eui);
    let found = CAUSES.iter().filter_map(|cause| {
        let finding = cause.on_gateway(&case)?;
        let place = gateway_place(cause, |rung| case.is_broken(rung))?;
        Some(Verdict::new(cause, place, finding))
    });
    let causes = ordered(found.collect());
    Leg { case, causes }
}

/// Climbs the ladder of every gateway whose own configuration is at hand, without any capture: rungs that
/// only a capture proves are unknown.
pub fn configured(roster: &Roster, plan: Option<&'static Plan>) -> Vec<GatewayDiagnosis> {
    let listed = roster.gateways.iter().filter(|gateway| gateway.config.is_some());
    let listed = listed.map(|gateway| gateway.eui);
    let loose = roster.loose_configs.iter().filter_map(|config| Some(config.eui.as_ref()?.value));
    let trace = Trace::default();
    let world = gateway::World::without_capture(&trace, roster, plan);
    let of = |eui| {
        let mut diagnosis = of_gateway(leg(&world, Some(eui)));
        diagnosis.next.clear();
        if diagnosis.ladder.first_broken().is_some() {
            diagnosis.outcome = GatewayOutcome::Broken;
        } else {
            diagnosis.outcome = GatewayOutcome::CannotTell;
            diagnosis.next.push(
                "record the traffic of this gateway, both directions and both ports, for a minute or \
                 more: `handfast diagnose` judges the rest from it"
                    .into(),
            );
        }
        diagnosis
    };
    listed.chain(loose).map(of).collect()
}

fn of_gateway(Leg { case, causes }: Leg<'_>) -> GatewayDiagnosis {
    let sure = causes.iter().any(|verdict| verdict.certainty == Certainty::Certain);
    GatewayDiagnosis {
        eui: case.eui,
        name: case.entry.and_then(|entry| entry.name.clone()),
        outcome: outcome::of_gateway(&case),
        next: gateway::next::steps(&case, sure),
        ladder: case.ladder,
        causes,
    }
}

fn of_node(subject: Subject<'_>, place: usize, legs: &[Leg<'_>]) -> Diagnosis {
    let mut session = session::climb(join::climb(subject));
    let mut causes = causes(&session);
    break_rungs(&mut session, &causes);
    let join: &join::Case<'_> = &session;
    let carried = carry::explain(join, legs);
    if let Some(carried) = &carried {
        carried.lead(&mut causes);
    }
    let outcome = match outcome::of(&session, &causes) {
        Outcome::CannotTell if carried.is_some() => Outcome::NeverJoined,
        outcome => outcome,
    };
    let lead = causes.iter().filter(|v| !v.caution).find_map(|v| v.place.carries());
    let told = join.telling_attempt(lead);
    let join_ladder = (!join.is_abp()).then(|| match told.and_then(|i| join.ladders.get(i)) {
        Some(ladder) => {
            let mut ladder = ladder.clone();
            ladder.tally_others(&join.ladders, told, "attempt");
            ladder
        }
        None => join::told::ladder(join).unwrap_or_else(|| silence(join, &causes)),
    });
    let join_ladder = join_ladder.map(|mut ladder| {
        match &carried {
            Some(carried) => carried.leave_open(&mut ladder),
            None => carry::leave_broken(&mut ladder, &causes, legs),
        }
        ladder
    });
    let session_told = session_told(&session);
    let next = next::steps(join, outcome, join_ladder.as_ref(), &causes);
    Diagnosis {
        place,
        told,
        name: join.entry.map(|entry| entry.name.clone()),
        dev_eui: join.node.dev_eui,
        join_eui: join.node.join_eui,
        dev_addr: join.node.dev_addr,
        plan: join.plan,
        outcome,
        join: join_ladder,
        session: session_told,
        causes,
        next,
        stranger: join.entry.is_none() && !join.roster.nodes.is_empty(),
        in_vain: (0..join.ladders.len()).filter(|i| came_to_nothing(join, *i)).count(),
        attempts: join.node.attempts.total(),
        data: join.node.data_frames(),
        forgotten: join.node.forgotten(),
        before: join.trace.lacks.before,
    }
}

/// Whether an attempt broke, or the node asked again after a good accept instead of sending data.
fn came_to_nothing(case: &join::Case<'_>, index: usize) -> bool {
    let broken = case.ladders.get(index).is_some_and(|ladder| ladder.first_broken().is_some());
    let proven = case.state(index, join::Rung::Proven) == State::Proven;
    broken || !proven && case.asks_again(index) && join::accepts::has_good(case, index)
}

/// The join ladder of a node that made no attempt.
fn silence(case: &join::Case<'_>, causes: &[Verdict]) -> Ladder<join::Rung> {
    let broken = causes.iter().find(|v| v.place == Place::Join(join::Rung::Heard));
    Ladder::of(|rung| match (rung, broken) {
        (join::Rung::Heard, Some(verdict)) => Judgement::broken(verdict.summary.clone()),
        (join::Rung::Heard, None) => join::heard::silence(case),
        _ => Judgement::unknown("nothing was heard"),
    })
}

/// Returns the account of the session that a diagnosis tells of: the settings of both sides, and the last
/// downlinks. The diagnosis is of this trace and roster.
pub fn session_account(
    trace: &Trace,
    roster: &Roster,
    diagnosis: &Diagnosis,
) -> Option<session::Account> {
    let told = diagnosis.session.as_ref()?;
    let node = trace.nodes.get(diagnosis.place)?;
    let options = Options { plan: diagnosis.plan, ..Options::default() };
    let subject = Subject::new(trace, roster, node, options, false);
    session::account(&session::climb(join::climb(subject)), told.place)
}

/// The ladder of the session that matters most.
fn session_told(case: &session::Case<'_>) -> Option<SessionDiagnosis> {
    let place = case.telling_session()?;
    let mut ladder = case.ladders.get(place)?.clone();
    ladder.tally_others(&case.ladders, Some(place), "session");
    Some(SessionDiagnosis { dev_addr: case.session(place)?.dev_addr, place, ladder })
}

/// Returns the causes at work, the one that bites first leading.
fn causes(session: &session::Case<'_>) -> Vec<Verdict> {
    let join: &join::Case<'_> = session;
    let mut found = Vec::new();
    for cause in CAUSES {
        if let Some(finding) = cause.on_join(join) {
            let broken = |rung| join.ever(rung, State::Broken);
            // A gateway's fault that explains the node's is told of the node, on the gateway's ladder.
            let place = join_place(cause, broken)
                .or_else(|| gateway_place(cause, |_| false))
                .or_else(|| session_place(cause, |_| false));
            found.extend(place.map(|place| Verdict::new(cause, place, finding)));
        }
        found.extend(in_sessions(session, cause));
    }
    ordered(found)
}

/// A cause at work in sessions: told once, of the session in which it is surest, and of them the last.
#[expect(clippy::similar_names, reason = "a case and a cause are what they are")]
fn in_sessions(case: &session::Case<'_>, cause: &'static Cause) -> Option<Verdict> {
    let mut surest: Option<Verdict> = None;
    for (story, rungs) in case.stories.iter().zip(&case.ladders) {
        let Some(finding) = cause.on_session(case, story) else { continue };
        let broken = |rung| rungs.state(rung) == State::Broken;
        let Some(place) = session_place(cause, broken) else { continue };
        let verdict = Verdict::new(cause, place, finding);
        let mut sessions = surest.as_ref().map(|held| held.sessions.clone()).unwrap_or_default();
        sessions.push(story.place);
        if surest.as_ref().is_none_or(|held| verdict.certainty <= held.certainty) {
            surest = Some(verdict);
        }
        if let Some(told) = &mut surest {
            told.sessions = sessions;
        }
    }
    surest
}

/// Breaks the rungs that causes break, each in the ladders of its own sessions.
fn break_rungs(case: &mut session::Case<'_>, causes: &[Verdict]) {
    for verdict in causes {
        let Place::Session(rung) = verdict.place else { continue };
        for session in &verdict.sessions {
            let Some(ladder) = case.ladders.get_mut(*session) else { continue };
            if ladder.state(rung) != State::Broken {
                // What seemed to prove it is no evidence of what breaks it.
                ladder[rung] = Judgement::broken(verdict.summary.clone());
            }
        }
    }
}

/// Of several places the one that is broken in this case, or else the lowest.
fn place_of<R: Copy>(rungs: &[R], broken: impl Fn(R) -> bool) -> Option<R> {
    rungs.iter().copied().find(|rung| broken(*rung)).or(rungs.first().copied())
}

fn gateway_place(cause: &Cause, broken: impl Fn(gateway::Rung) -> bool) -> Option<Place> {
    let rungs: Vec<_> = cause
        .places_on(LadderName::Gateway)
        .filter_map(|place| if let Place::Gateway(rung) = place { Some(rung) } else { None })
        .collect();
    place_of(&rungs, broken).map(Place::Gateway)
}

fn join_place(cause: &Cause, broken: impl Fn(join::Rung) -> bool) -> Option<Place> {
    let rungs: Vec<_> = cause
        .places_on(LadderName::Join)
        .filter_map(|place| if let Place::Join(rung) = place { Some(rung) } else { None })
        .collect();
    place_of(&rungs, broken).map(Place::Join)
}

fn session_place(cause: &Cause, broken: impl Fn(session::Rung) -> bool) -> Option<Place> {
    let rungs: Vec<_> = cause
        .places_on(LadderName::Session)
        .filter_map(|place| if let Place::Session(rung) = place { Some(rung) } else { None })
        .collect();
    place_of(&rungs, broken).map(Place::Session)
}
