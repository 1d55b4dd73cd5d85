//! The checks of a join: Join-Request, Join-Accept, Rejoin-Request.

use std::borrow::Cow;

use super::{
    Bound, Bunch, Context, KeyFindings, KeyRing, MicRule, MicVerdict, Opened, Problem, Proof,
    Source, Taken, Tried, Unchecked, Wrong,
};
use crate::{
    crypto::{
        cipher::{AcceptKey, open_join_accept},
        derive::{self, SessionKeys},
        mic::{self, JoinReqType, Mismatch, RejoinKey},
    },
    frame::{
        Field, JoinAccept, JoinRequest, MacVersion, OpenedJoinAccept, RejoinBody, RejoinRequest,
        SealedJoinAccept,
    },
    id::DevEui,
    key::{AppKey, JoinKey, JsEncKey, JsIntKey, NwkKey, SNwkSIntKey},
};

const ROOT_KEYS: &str = "AppKey (1.0.x) or NwkKey (1.1) of this node";

/// Keys tried in vain that count against the frame: those of the node itself, or of no named node.
#[derive(Default)]
struct Vain {
    tried: Vec<Tried>,
    first: Option<Box<Taken>>,
}

impl Vain {
    fn add(&mut self, tried: Tried, bunch: &Bunch, dev_eui: Option<DevEui>) {
        let own = tried.source.dev_eui;
        if own.is_none() || own == dev_eui {
            self.tried.push(tried);
            let asked = Bound { dev_eui, ..Bound::default() };
            self.first.get_or_insert_with(|| Box::new(Taken { asked, ..Taken::of(bunch) }));
        }
    }

    fn found(self, wanted: &'static str) -> KeyFindings {
        let verdict = if self.tried.is_empty() {
            MicVerdict::Unchecked(Unchecked::NoKey { wanted })
        } else {
            MicVerdict::Fails(self.tried)
        };
        KeyFindings { taken: self.first, ..KeyFindings::new(verdict) }
    }
}

fn holds(key: &'static str, source: &Source, rule: Option<MicRule>) -> MicVerdict {
    MicVerdict::Holds(Proof { key, source: source.clone(), rule })
}

fn other_node(key: &'static str, source: &Source, dev_eui: DevEui, at: usize) -> Option<Problem> {
    let other = source.dev_eui.is_some_and(|own| own != dev_eui);
    other.then(|| Problem {
        offset: at,
        field: Field::DevEui,
        what: Wrong::OtherNode { key, source: source.clone() },
    })
}

/// Reads a Join-Request.
pub(super) fn request(request: &JoinRequest, ring: &KeyRing, context: &Context) -> KeyFindings {
    let mut vain = Vain::default();
    for bunch in ring.nearest(Some(request.dev_eui), Some(request.join_eui)) {
        let app =
            bunch.app_key.as_ref().map(|k| (AppKey::NAME, mic::check_join_request(k, request)));
        let nwk =
            bunch.nwk_key.as_ref().map(|k| (NwkKey::NAME, mic::check_join_request(k, request)));
        // A 1.1 node signs with NwkKey; every other with AppKey, and nothing in the frame tells.
        let order = match context.mac_version.or(bunch.source.mac_version) {
            Some(MacVersion::V1_1) => [nwk, app],
            _ => [app, nwk],
        };
        for (key, check) in order.into_iter().flatten() {
            match check {
                Ok(()) => {
                    let mut found = KeyFindings::new(holds(key, &bunch.source, None));
                    found.taken = Some(Box::new(Taken::of(bunch)));
                    found.problems.extend(other_node(key, &bunch.source, request.dev_eui, 9));
                    return found;
                }
                Err(mismatch) => {
                    vain.add(tried(key, bunch, None, mismatch), bunch, Some(request.dev_eui));
                }
            }
        }
    }
    vain.found(ROOT_KEYS)
}

fn tried(
    key: &'static str,
    bunch: &Bunch,
    rule: Option<MicRule>,
    Mismatch { received, expected }: Mismatch,
) -> Tried {
    let source = bunch.source.clone();
    Tried { key, source, rule, expected, received, forwarding_half: false, near_only: false }
}

/// Returns JSIntKey of a bunch: as given, else derived for that node.
fn js_int_key(bunch: &Bunch, dev_eui: Option<DevEui>) -> Option<Cow<'_, JsIntKey>> {
    let given = bunch.js_int_key.as_ref().map(Cow::Borrowed);
    given.or_else(|| {
        let nwk_key = bunch.nwk_key.as_ref()?;
        Some(Cow::Owned(derive::js_int_key(nwk_key, dev_eui?)))
    })
}

fn js_enc_key(bunch: &Bunch, dev_eui: Option<DevEui>) -> Option<Cow<'_, JsEncKey>> {
    let given = bunch.js_enc_key.as_ref().map(Cow::Borrowed);
    given.or_else(|| {
        let nwk_key = bunch.nwk_key.as_ref()?;
        Some(Cow::Owned(derive::js_enc_key(nwk_key, dev_eui?)))
    })
}

/// Reads a Rejoin-Request with the keys of this session, or else with all of the ring.
pub(super) fn rejoin(request: &RejoinRequest, ring: &KeyRing, own: Option<&Bunch>) -> KeyFindings {
    let (wanted, dev_eui, join_eui) = match request.body {
        RejoinBody::Network { dev_eui, .. } => ("SNwkSIntKey of the node's session", dev_eui, None),
        RejoinBody::JoinServer { dev_eui, join_eui, .. } => {
            ("NwkKey or JSIntKey of this node", dev_eui, Some(join_eui))
        }
        RejoinBody::Rfu(_) => return KeyFindings::new(MicVerdict::Unchecked(Unchecked::NoRule)),
    };
    let mut vain = Vain::default();
    let all = own.is_none().then(|| ring.nearest(Some(dev_eui), join_eui));
    for bunch in own.into_iter().chain(all.into_iter().flatten()) {
        let js_int = js_int_key(bunch, Some(dev_eui));
        let (name, key) = if join_eui.is_some() {
            (JsIntKey::NAME, js_int.as_deref().map(RejoinKey::JoinServer))
        } else {
            (SNwkSIntKey::NAME, bunch.s_nwk_s_int_key.as_ref().map(RejoinKey::Session))
        };
        let Some(key) = key else { continue };
        let Err(mismatch) = mic::check_rejoin_request(key, request) else {
            let mut found = KeyFindings::new(holds(name, &bunch.source, Some(MicRule::V1_1)));
            let asked = Bound { dev_eui: Some(dev_eui), ..Bound::default() };
            found.taken = Some(Box::new(Taken { asked, ..Taken::of(bunch) }));
            let at = if join_eui.is_some() { 10 } else { 5 };
            found.problems.extend(other_node(name, &bunch.source, dev_eui, at));
            return found;
        };
        vain.add(tried(name, bunch, Some(MicRule::V1_1), mismatch), bunch, Some(dev_eui));
    }
    vain.found(wanted)
}

/// One reading of a Join-Accept: a key that opens it, and a rule and key that may sign it.
struct Attempt<'a> {
    opener: &'static str,
    opened: OpenedJoinAccept,
    signer: &'static str,
    rule: MicRule,
    answers: Option<JoinReqType>,
    check: Result<(), Mismatch>,
    bunch: &'a Bunch,
}

/// Reads a Join-Accept: under every root key, by both rules, whatever OptNeg says.
pub(super) fn accept<'a>(
    sealed: &SealedJoinAccept,
    bunches: impl Iterator<Item = &'a Bunch>,
    context: &Context,
) -> KeyFindings {
    if !sealed.is_whole() {
        return KeyFindings::new(MicVerdict::Unchecked(Unchecked::NotWholeBlocks));
    }
    let mut vain = Vain::default();
    let mut lacking = None;
    for bunch in bunches {
        for attempt in attempts(sealed, bunch, context) {
            let Err(mismatch) = attempt.check else { return opened(attempt, context) };
            let tried = tried(attempt.signer, bunch, Some(attempt.rule), mismatch);
            vain.add(tried, bunch, context.dev_eui);
        }
        if lacking.is_none() {
            lacking = lacking_values(bunch, context);
        }
    }
    match lacking {
        Some(why) => KeyFindings::new(MicVerdict::Unchecked(why)),
        None => vain.found(ROOT_KEYS),
    }
}

fn attempts<'a>(
    sealed: &SealedJoinAccept,
    bunch: &'a Bunch,
    context: &Context,
) -> Vec<Attempt<'a>> {
    let mut out = Vec::new();
    let app = bunch.app_key.as_ref();
    out.extend(app.and_then(|key| plain_attempt(AppKey::NAME, key, sealed, bunch)));
    let nwk = bunch.nwk_key.as_ref();
    out.extend(nwk.and_then(|key| plain_attempt(NwkKey::NAME, key, sealed, bunch)));

    let dev_eui = context.dev_eui.or(bunch.source.dev_eui);
    let join_eui = context.join_eui.or(bunch.source.join_eui);
    let (Some(js_int), Some(join_eui), Some(nonce)) =
        (js_int_key(bunch, dev_eui), join_eui, context.dev_nonce)
    else {
        return out;
    };
    let mut add = |opener, key, answers| {
        let Some(opened) = open_join_accept(key, sealed) else { return };
        let accept = &opened.accept;
        let check = mic::check_join_accept_1_1(&js_int, answers, join_eui, nonce, accept);
        let (signer, rule, answers) = (JsIntKey::NAME, MicRule::V1_1, Some(answers));
        out.push(Attempt { opener, opened, signer, rule, answers, check, bunch });
    };
    if let Some(key) = nwk {
        add(NwkKey::NAME, AcceptKey::join(key), JoinReqType::Join);
    }
    if let Some(key) = js_enc_key(bunch, dev_eui) {
        for kind in 0..=2 {
            add(JsEncKey::NAME, AcceptKey::rejoin(&key), JoinReqType::Rejoin(kind));
        }
    }
    out
}

/// The rule of 1.0.x, which a 1.1 node keeps on a 1.0 server: one key opens and signs.
fn plain_attempt<'a>(
    name: &'static str,
    key: &impl JoinKey,
    sealed: &SealedJoinAccept,
    bunch: &'a Bunch,
) -> Option<Attempt<'a>> {
    let opened = open_join_accept(AcceptKey::join(key), sealed)?;
    let check = mic::check_join_accept_1_0(key, &opened.accept);
    let rule = MicRule::V1_0;
    Some(Attempt { opener: name, opened, signer: name, rule, answers: None, check, bunch })
}

/// Returns what the rule of 1.1 lacks, where a key for it is at hand.
fn lacking_values(bunch: &Bunch, context: &Context) -> Option<Unchecked> {
    let source = &bunch.source;
    let key = match (&bunch.nwk_key, &bunch.js_enc_key) {
        (Some(_), _) => NwkKey::NAME,
        (None, Some(_)) => JsEncKey::NAME,
        (None, None) => return None,
    };
    // The keys of a node that the accept is not known to be for say nothing by failing.
    if source.dev_eui.is_some() && source.dev_eui != context.dev_eui {
        return None;
    }
    let has_dev_eui = bunch.js_int_key.is_some() || context.dev_eui.or(source.dev_eui).is_some();
    let has_join_eui = context.join_eui.or(source.join_eui).is_some();
    let wants = [
        ("DevEUI", has_dev_eui),
        ("JoinEUI", has_join_eui),
        ("DevNonce", context.dev_nonce.is_some()),
    ];
    let missing: Vec<_> = wants.iter().filter(|(_, has)| !has).map(|(name, _)| *name).collect();
    let source = source.clone();
    (!missing.is_empty()).then_some(Unchecked::NoValue {
        key,
        source,
        missing,
        forwarding_half: false,
    })
}

fn opened(attempt: Attempt<'_>, context: &Context) -> KeyFindings {
    let mut found =
        KeyFindings::new(holds(attempt.signer, &attempt.bunch.source, Some(attempt.rule)));
    let opened = attempt.opened;
    let opt_neg = opened.accept.dl_settings.opt_neg();
    found.problems.extend(opened.faults.iter().map(Problem::from));
    if opt_neg != (attempt.rule == MicRule::V1_1) {
        let what = Wrong::OptNeg { rule: attempt.rule };
        found.problems.push(Problem { offset: 11, field: Field::DlSettings, what });
    }
    let session = session(attempt.opener, attempt.rule, &opened.accept, attempt.bunch, context);
    let answers = attempt.answers;
    let source = &attempt.bunch.source;
    let asked = Bound {
        join_eui: context.join_eui.or(source.join_eui),
        dev_eui: context.dev_eui.or(source.dev_eui),
        dev_nonce: context.dev_nonce,
    };
    let bound = answers.is_some().then_some(asked);
    found.taken = Some(Box::new(Taken { asked, ..Taken::of(attempt.bunch) }));
    found.accept = Some(Opened { accept: opened, key: attempt.opener, answers, bound, session });
    found
}

/// Returns the session keys by the rule that the MIC follows, where the nonces are known.
fn session(
    root: &str,
    rule: MicRule,
    accept: &JoinAccept,
    bunch: &Bunch,
    context: &Context,
) -> Option<SessionKeys> {
    let nonce = context.dev_nonce?;
    match rule {
        MicRule::V1_0 if root == AppKey::NAME => {
            let key = bunch.app_key.as_ref()?;
            Some(derive::session_1_0(key, accept.join_nonce, accept.net_id, nonce))
        }
        MicRule::V1_0 => {
            let key = bunch.nwk_key.as_ref()?;
            Some(derive::session_1_0(key, accept.join_nonce, accept.net_id, nonce))
        }
        MicRule::V1_1 => {
            let join_eui = context.join_eui.or(bunch.source.join_eui)?;
            let (nwk_key, app_key) = (bunch.nwk_key.as_ref()?, bunch.app_key.as_ref());
            Some(derive::session_1_1(nwk_key, app_key, accept.join_nonce, join_eui, nonce))
        }
    }
}
