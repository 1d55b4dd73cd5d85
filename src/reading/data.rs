//! The checks of a data frame: which session signed it, with which counter, and what it hides.

mod open;

use open::{commands, likely_key, open_fopts, package_commands, plain, unproven_plain};

use super::{
    Bunch, Context, CounterHint, KeyFindings, MicRule, MicVerdict, PlainFOpts, Problem, Proof,
    Searched, Taken, Tried, Unchecked, Wrong,
};
use crate::{
    crypto::{
        DataMismatch, MicInput, Scheme, SignedBy, Unseen, Verified, Verifier, block::UplinkContext,
    },
    frame::{DataFrame, Direction, Field, MacVersion},
    key::{FNwkSIntKey, SNwkSIntKey},
    trace::{Counters, Given, SEARCHES_OF_A_NODE},
};

const SESSION_KEYS: &str = "NwkSKey (1.0.x), or SNwkSIntKey and FNwkSIntKey (1.1), of this session";

/// Keys that may have signed a frame, and what their session's frames tell of its counter.
#[derive(Debug)]
pub(super) struct Session<'a> {
    pub(super) bunch: &'a Bunch,
    pub(super) counters: Counters,
    /// Searches that are left to whoever states the keys.
    pub(super) searches_left: u16,
    /// Whether a frame that its keys do not sign is wrong. What is only known from a stream proves and never
    /// refutes: the stream may lack a join.
    pub(super) refutes: bool,
}

impl<'a> Session<'a> {
    /// Returns the session that a source states.
    pub(super) fn stated(bunch: &'a Bunch) -> Self {
        let counters = bunch.counters.clone();
        Self { bunch, counters, searches_left: SEARCHES_OF_A_NODE, refutes: true }
    }
}

/// How a frame was proven.
struct Hit<'a> {
    bunch: &'a Bunch,
    verified: Verified<&'a DataFrame>,
    /// What was searched for B1 of a 1.1 uplink.
    searched: Option<Searched>,
}

/// Why one bunch did not prove it.
enum Miss {
    /// With the counter that it was computed with.
    Failed(Tried, u32),
    /// The counter is the one that the half of the MIC agrees with, if it does.
    Lacking(Unchecked, Option<u32>),
}

/// One session tried on a frame.
struct Trial<'f> {
    verifiers: Vec<Verifier>,
    input: MicInput<'f>,
    misses: Vec<DataMismatch>,
    /// Whether a 1.1 uplink was signed with another data rate than it was received at.
    other_rate: bool,
    /// Whether counters that are far were not tried.
    near_only: bool,
}

impl Trial<'_> {
    /// Looks whether any data rate makes the other half of the MIC hold, where the one received at does not.
    fn try_other_rates(&mut self, frame: &DataFrame, session: &Session<'_>, context: &Context) {
        let received_at = given(frame, session, context).tx_dr;
        if context.tx_dr.is_some() || received_at.is_none() {
            return;
        }
        let any = context.given(frame.fcnt);
        let conf_fcnts = session.counters.conf_fcnts(frame, &any);
        let unseen = any.unseen(&conf_fcnts);
        let mut both = self.misses.iter().filter(|miss| miss.by == SignedBy::BothIntegrityKeys);
        let Some(half) = both.find_map(DataMismatch::half) else { return };
        let input = &mut self.input;
        self.other_rate = self
            .verifiers
            .iter_mut()
            .any(|ready| ready.check(input, [half.fcnt()], &unseen).is_some_and(|it| it.is_ok()));
    }
}

/// What is known of a frame in a session beside its octets.
fn given(frame: &DataFrame, session: &Session<'_>, context: &Context) -> Given {
    let received_at = || {
        let plan = session.bunch.plan.filter(|_| frame.direction() == Direction::Uplink)?;
        plan.dr_of(Direction::Uplink, context.modulation?)
    };
    Given { tx_dr: context.tx_dr.or_else(received_at), ..context.given(frame.fcnt) }
}

/// Reads a data frame with the keys of sessions that may be its own, and says which of them it is.
///
/// Counters that are near are tried in all of them before any is searched farther.
pub(super) fn data(
    frame: &DataFrame,
    sessions: &mut [Session<'_>],
    context: &Context,
) -> (KeyFindings, Option<usize>) {
    let mut trials = Vec::with_capacity(sessions.len());
    for (place, session) in sessions.iter_mut().enumerate() {
        let keys = session.bunch.integrity_keys().enumerate();
        let mut verifiers: Vec<_> = keys.map(|(i, keys)| Verifier::new(i, keys)).collect();
        let mut input = MicInput::of(frame);
        let given = given(frame, session, context);
        match session.counters.near(&mut verifiers, &mut input, frame, &given) {
            Ok(verified) => {
                let misses = Vec::new();
                let mut trial =
                    Trial { verifiers, input, misses, other_rate: false, near_only: false };
                return (held(frame, session, &mut trial, verified, context), Some(place));
            }
            Err(misses) => {
                trials.push(Trial {
                    verifiers,
                    input,
                    misses,
                    other_rate: false,
                    near_only: false,
                });
            }
        }
    }
    for (place, (session, trial)) in sessions.iter_mut().zip(&mut trials).enumerate() {
        let given = given(frame, session, context);
        trial.near_only =
            given.fcnts.is_empty() && (session.counters.is_spent() || session.searches_left == 0);
        let Trial { verifiers, input, misses, .. } = trial;
        let left = &mut session.searches_left;
        match session.counters.far(verifiers, input, frame, &given, left) {
            Ok(verified) => {
                return (held(frame, session, trial, verified, context), Some(place));
            }
            Err(halves) => {
                for half in halves {
                    let same = misses.iter_mut().find(|miss| miss.by == half.by);
                    if let Some(miss) = same.filter(|miss| miss.half().is_none()) {
                        *miss = half;
                    }
                }
                trial.try_other_rates(frame, session, context);
            }
        }
    }
    (missed(frame, sessions, &trials, context), None)
}

/// What is known of a frame, with what it acknowledges by the frames of its session.
fn of_session(frame: &DataFrame, session: &Session<'_>, context: &Context) -> Context {
    let given = given(frame, session, context);
    let conf_fcnts = session.counters.conf_fcnts(frame, &given);
    Context { conf_fcnt: conf_fcnts.first().copied(), tx_dr: given.tx_dr, ..context.clone() }
}

fn held(
    frame: &DataFrame,
    session: &mut Session<'_>,
    trial: &mut Trial<'_>,
    verified: Verified<&DataFrame>,
    context: &Context,
) -> KeyFindings {
    let given = given(frame, session, context);
    let conf_fcnts = session.counters.conf_fcnts(frame, &given);
    let context = of_session(frame, session, context);
    let unseen = given.unseen(&conf_fcnts);
    let ready = trial.verifiers.get_mut(verified.proof().claim());
    let searched =
        ready.and_then(|ready| searched(&verified, ready, &mut trial.input, &unseen, &context));
    session.counters.take(frame, verified.proof());
    proven(frame, &Hit { bunch: session.bunch, verified, searched }, &context)
}

/// What is said of a frame that no session's keys sign.
fn missed(
    frame: &DataFrame,
    sessions: &[Session<'_>],
    trials: &[Trial<'_>],
    context: &Context,
) -> KeyFindings {
    let mut vain = Vec::new();
    let mut lacking = None;
    let mut failed = None;
    for (session, trial) in sessions.iter().zip(trials) {
        let bunch = session.bunch;
        let context = of_session(frame, session, context);
        for miss in misses(frame, bunch, trial, &context) {
            let by_half =
                matches!(miss, Miss::Lacking(Unchecked::NoValue { forwarding_half: true, .. }, _));
            if !session.refutes && !by_half {
                continue;
            }
            match miss {
                Miss::Failed(tried, fcnt) => {
                    vain.push(tried);
                    failed.get_or_insert_with(|| taken(frame, bunch, fcnt, &context));
                }
                Miss::Lacking(why, fcnt) => {
                    lacking.get_or_insert((why, fcnt, bunch));
                }
            }
        }
    }
    let (mic, fcnt) = match (&lacking, vain.is_empty()) {
        (Some((why, fcnt, _)), _) => (MicVerdict::Unchecked(why.clone()), *fcnt),
        (None, false) => (MicVerdict::Fails(vain), None),
        (None, true) => (MicVerdict::Unchecked(Unchecked::NoKey { wanted: SESSION_KEYS }), None),
    };
    let by_half = lacking.as_ref().map(|(.., bunch)| *bunch);
    let stated = sessions.iter().filter(|session| session.refutes).map(|session| session.bunch);
    let bunches: Vec<&Bunch> = by_half.into_iter().chain(stated).collect();
    let half = lacking.and_then(|(_, fcnt, bunch)| Some(taken(frame, bunch, fcnt?, context)));
    let mut found = KeyFindings { taken: half.or(failed), ..KeyFindings::new(mic) };
    if matches!(found.mic, MicVerdict::Unchecked(_)) {
        unproven(frame, &bunches, context, fcnt, &mut found);
    }
    found
}

/// What one bunch did not prove.
fn misses(frame: &DataFrame, bunch: &Bunch, trial: &Trial<'_>, context: &Context) -> Vec<Miss> {
    let mut misses = Vec::new();
    if frame.direction() == Direction::Uplink
        && bunch.s_nwk_s_int_key.is_some()
        && bunch.f_nwk_s_int_key.is_none()
    {
        let (key, missing) = (SNwkSIntKey::NAME, vec![FNwkSIntKey::NAME]);
        misses.push(Miss::Lacking(no_value(bunch, key, missing, false), None));
    }
    // A 1.1 node's key taken for an NwkSKey: a miss says nothing new.
    let own = trial.misses.iter().filter(|miss| miss.by != SignedBy::FNwkSIntKeyAsNwkSKey);
    misses.extend(own.map(|mismatch| match mismatch.half().filter(|_| trial.other_rate) {
        Some(half) => {
            let lacks = no_value(bunch, mismatch.by.name(), vec!["TxDr"], true);
            Miss::Lacking(lacks, Some(half.fcnt()))
        }
        None => miss(frame, bunch, context, trial.near_only, mismatch),
    }));
    misses
}

fn miss(
    frame: &DataFrame,
    bunch: &Bunch,
    context: &Context,
    near_only: bool,
    mismatch: &DataMismatch,
) -> Miss {
    let DataMismatch { by, fcnt, expected, received, .. } = *mismatch;
    let half = mismatch.half().map(|half| half.fcnt());
    let lacks_conf_fcnt = frame.fctrl.ack() && context.conf_fcnt.is_none();
    match by {
        SignedBy::ForwardingHalf if half.is_some() => {
            let missing = vec![SNwkSIntKey::NAME];
            Miss::Lacking(no_value(bunch, by.name(), missing, true), half)
        }
        SignedBy::BothIntegrityKeys if lacks_conf_fcnt && half.is_some() => {
            Miss::Lacking(no_value(bunch, by.name(), vec!["ConfFCnt"], true), half)
        }
        SignedBy::SNwkSIntKey if lacks_conf_fcnt => {
            Miss::Lacking(no_value(bunch, by.name(), vec!["ConfFCnt"], false), None)
        }
        _ => {
            let (key, source) = (by.name(), bunch.source.clone());
            let (rule, forwarding_half) = (Some(rule_of(by)), half.is_some());
            let tried = Tried { key, source, rule, expected, received, forwarding_half, near_only };
            Miss::Failed(tried, fcnt)
        }
    }
}

fn no_value(
    bunch: &Bunch,
    key: &'static str,
    missing: Vec<&'static str>,
    forwarding_half: bool,
) -> Unchecked {
    Unchecked::NoValue { key, source: bunch.source.clone(), missing, forwarding_half }
}

const fn rule_of(by: SignedBy) -> MicRule {
    match by.scheme() {
        Scheme::V1_1 => MicRule::V1_1,
        Scheme::V1_0 | Scheme::V1_1OnV1_0 | Scheme::Multicast => MicRule::V1_0,
    }
}

/// What a frame was computed with, for whoever wants to see the working.
fn taken(frame: &DataFrame, bunch: &Bunch, fcnt: u32, context: &Context) -> Box<Taken> {
    let uplink = given_context(frame, context);
    Box::new(Taken { fcnt, conf_fcnt: uplink.conf_fcnt, uplink, ..Taken::of(bunch) })
}

fn given_context(frame: &DataFrame, context: &Context) -> UplinkContext {
    UplinkContext {
        conf_fcnt: context.conf_fcnt.filter(|_| frame.fctrl.ack()).unwrap_or_default(),
        tx_dr: context.tx_dr.unwrap_or_default(),
        tx_ch: context.tx_ch.unwrap_or_default(),
    }
}

/// Says what of B1 was found by search, and how many others would have fitted as well.
fn searched(
    verified: &Verified<&DataFrame>,
    ready: &mut Verifier,
    input: &mut MicInput<'_>,
    unseen: &Unseen<'_>,
    context: &Context,
) -> Option<Searched> {
    let found = verified.proof().uplink()?;
    let all_given = context.tx_dr.is_some() && context.tx_ch.is_some();
    if all_given && found == given_context(verified.frame(), context) {
        return None;
    }
    let tried = unseen.contexts(verified.frame()).count();
    let fit = ready.contexts(input, verified.proof().fcnt(), unseen).count();
    Some(Searched::UplinkContext { found, tried, fit })
}

fn proven(frame: &DataFrame, hit: &Hit<'_>, context: &Context) -> KeyFindings {
    let Hit { bunch, verified, .. } = hit;
    let proof = verified.proof();
    let (fcnt, rule) = (proof.fcnt(), rule_of(proof.by()));
    let mut found = KeyFindings::new(MicVerdict::Holds(Proof {
        key: proof.by().name(),
        source: bunch.source.clone(),
        rule: Some(rule),
    }));
    found.fcnt32 = Some(fcnt);
    found.conf_fcnt = proof.conf_fcnt();
    found.uplink_context = proof.uplink();
    found.searched.extend(hit.searched);
    found.taken = Some(Box::new(Taken {
        fcnt,
        conf_fcnt: proof.conf_fcnt().unwrap_or_default(),
        uplink: proof.uplink().unwrap_or_default(),
        ..Taken::of(bunch)
    }));
    counter_words(frame, fcnt, context, &mut found);
    found.payload = plain(verified, bunch);
    if !frame.fopts.is_empty() {
        found.fopts = match rule {
            MicRule::V1_0 => Some(PlainFOpts { octets: frame.fopts.octets().to_vec(), rule: None }),
            MicRule::V1_1 => open_fopts(verified, bunch, &mut found.problems),
        };
    }
    let by_rule = match rule {
        MicRule::V1_0 => context.mac_version.or(bunch.source.mac_version),
        MicRule::V1_1 => Some(MacVersion::V1_1),
    };
    commands(frame, by_rule, &mut found);
    package_commands(frame, &mut found);
    found
}

/// Says where the counter comes from, when it is not simply what the frame carries.
fn counter_words(frame: &DataFrame, fcnt: u32, context: &Context, found: &mut KeyFindings) {
    match context.fcnt {
        Some(hint) if hint.counters(frame.fcnt).any(|c| c == fcnt) => {}
        // A hint about another frame of the same input is no hint about this one.
        Some(CounterHint(given)) if given > 0xFFFF && given & 0xFFFF != u32::from(frame.fcnt) => {}
        Some(CounterHint(given)) => {
            let what = Wrong::CounterGiven { given, found: fcnt };
            found.problems.push(Problem { offset: 6, field: Field::FCnt, what });
        }
        None => {
            let found_half = u16::try_from(fcnt >> 16).unwrap_or_default();
            if found_half != 0 {
                found.searched.push(Searched::UpperHalf { found: found_half });
            }
        }
    }
}

/// Reads what needs no proof, and says that it has none.
fn unproven(
    frame: &DataFrame,
    bunches: &[&Bunch],
    context: &Context,
    fcnt: Option<u32>,
    found: &mut KeyFindings,
) {
    let fcnt = fcnt.unwrap_or_else(|| context.first_counter(frame.fcnt));
    let key = bunches.iter().find_map(|bunch| Some((bunch, likely_key(frame, bunch)?)));
    if let Some((bunch, (name, key))) = key {
        found.payload = unproven_plain(frame, fcnt, name, key);
        found.taken.get_or_insert_with(|| taken(frame, bunch, fcnt, context));
    }
    if found.payload.is_some() {
        found.fcnt32 = Some(fcnt);
    }
    let stated = || bunches.iter().find_map(|b| b.source.dev_addr.and(b.source.mac_version));
    commands(frame, context.mac_version.or_else(stated), found);
}
