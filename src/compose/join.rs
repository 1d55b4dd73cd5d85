//! Join-Request, Join-Accept and Rejoin-Request: signed, and the accept sealed.

use std::borrow::Cow;

use super::{ComposeError, Signature, Step};
use crate::{
    crypto::{
        cipher::{AcceptKey, seal_join_accept},
        derive,
        mic::{self, JoinReqType, RejoinKey},
    },
    frame::{JoinAccept, JoinRequest, Mic, RejoinBody, RejoinRequest, SealedJoinAccept},
    id::DevEui,
    key::{AppKey, JsEncKey, JsIntKey, NwkKey},
    reading::{Bound, Bunch, KeyRole, MicRule},
};

/// A Join-Request to be signed; its own MIC counts for nothing.
#[derive(Clone, Debug)]
pub struct JoinRequestRecipe {
    /// The request.
    pub request: JoinRequest,
    /// Where its MIC comes from.
    pub signature: Signature,
    /// The key that signs: AppKey or NwkKey. When not told, NwkKey where it is at hand.
    pub signer: Option<KeyRole>,
}

/// A Join-Accept to be signed and sealed; its own MIC counts for nothing.
#[derive(Clone, Debug)]
pub struct AcceptRecipe {
    /// The fields.
    pub accept: JoinAccept,
    /// Where its MIC comes from.
    pub signature: Signature,
    /// The rule of its MIC; when not told, OptNeg decides.
    pub rule: Option<MicRule>,
    /// What it answers: JSEncKey seals the answer of a Rejoin-Request.
    pub answers: JoinReqType,
    /// What the rule of 1.1 covers beside the accept itself.
    pub bound: Bound,
    /// The root key of the rule of 1.0.x: AppKey, or NwkKey of a 1.1 node on a 1.0 server. When not
    /// told, NwkKey where it is at hand.
    pub root: Option<KeyRole>,
}

/// A root key in its role.
#[derive(Clone, Copy)]
enum Root<'a> {
    App(&'a AppKey),
    Nwk(&'a NwkKey),
}

/// Returns the root key of that role, or, when none is told, the one that is at hand.
fn root(keys: &Bunch, role: Option<KeyRole>, step: Step) -> Result<Root<'_>, ComposeError> {
    let app = || keys.app_key.as_ref().map(Root::App);
    let nwk = || keys.nwk_key.as_ref().map(Root::Nwk);
    let (found, wanted) = match role {
        Some(KeyRole::App) => (app(), AppKey::NAME),
        Some(KeyRole::Nwk) => (nwk(), NwkKey::NAME),
        _ => (nwk().or_else(app), "AppKey (1.0.x) or NwkKey (1.1)"),
    };
    found.ok_or_else(|| ComposeError::missing(step, vec![wanted]))
}

fn js_int_key(keys: &Bunch, dev_eui: Option<DevEui>) -> Option<Cow<'_, JsIntKey>> {
    let derived = || Some(Cow::Owned(derive::js_int_key(keys.nwk_key.as_ref()?, dev_eui?)));
    keys.js_int_key.as_ref().map(Cow::Borrowed).or_else(derived)
}

fn js_enc_key(keys: &Bunch, dev_eui: Option<DevEui>) -> Option<Cow<'_, JsEncKey>> {
    let derived = || Some(Cow::Owned(derive::js_enc_key(keys.nwk_key.as_ref()?, dev_eui?)));
    keys.js_enc_key.as_ref().map(Cow::Borrowed).or_else(derived)
}

/// Names what a key of the join server would be made of.
fn join_server_key(keys: &Bunch, name: &'static str, dev_eui: Option<DevEui>) -> Vec<&'static str> {
    match (&keys.nwk_key, dev_eui) {
        (None, _) => vec![name],
        (Some(_), None) => vec!["DevEUI"],
        (Some(_), Some(_)) => Vec::new(),
    }
}

impl JoinRequestRecipe {
    /// Returns a recipe that computes the MIC.
    pub const fn new(request: JoinRequest) -> Self {
        Self { request, signature: Signature::Computed, signer: None }
    }

    pub(super) fn frame(&self, keys: &Bunch) -> Result<JoinRequest, ComposeError> {
        let mut request = self.request.clone();
        let mut signed = Vec::new();
        request.put_signed(&mut signed);
        request.mic = self.signature.mic(&signed, || {
            Ok(match root(keys, self.signer, Step::Sign)? {
                Root::App(key) => mic::join_request(key, &request),
                Root::Nwk(key) => mic::join_request(key, &request),
            })
        })?;
        Ok(request)
    }
}

impl AcceptRecipe {
    /// Returns the answer of a Join-Request, its MIC computed by the rule that OptNeg announces.
    pub const fn new(accept: JoinAccept) -> Self {
        Self {
            accept,
            signature: Signature::Computed,
            rule: None,
            answers: JoinReqType::Join,
            bound: Bound { join_eui: None, dev_eui: None, dev_nonce: None },
            root: None,
        }
    }

    /// Returns the rule of the MIC.
    fn rule(&self) -> MicRule {
        let by_fields = match self.answers {
            JoinReqType::Join if !self.accept.dl_settings.opt_neg() => MicRule::V1_0,
            JoinReqType::Join | JoinReqType::Rejoin(_) => MicRule::V1_1,
        };
        self.rule.unwrap_or(by_fields)
    }

    pub(super) fn frame(&self, keys: &Bunch) -> Result<SealedJoinAccept, ComposeError> {
        let mut accept = self.accept.clone();
        accept.mic = self.signature.mic(&accept.signed(), || self.sign(&accept, keys))?;
        if let JoinReqType::Rejoin(_) = self.answers {
            let key = js_enc_key(keys, self.bound.dev_eui).ok_or_else(|| {
                let wanted = join_server_key(keys, "NwkKey or JSEncKey", self.bound.dev_eui);
                ComposeError::missing(Step::Seal, wanted)
            })?;
            return Ok(seal_join_accept(AcceptKey::rejoin(&key), &accept));
        }
        let role = match self.rule() {
            MicRule::V1_0 => self.root,
            MicRule::V1_1 => Some(KeyRole::Nwk),
        };
        Ok(match root(keys, role, Step::Seal)? {
            Root::App(key) => seal_join_accept(AcceptKey::join(key), &accept),
            Root::Nwk(key) => seal_join_accept(AcceptKey::join(key), &accept),
        })
    }

    fn sign(&self, accept: &JoinAccept, keys: &Bunch) -> Result<Mic, ComposeError> {
        if self.rule() == MicRule::V1_0 {
            return Ok(match root(keys, self.root, Step::Sign)? {
                Root::App(key) => mic::join_accept_1_0(key, accept),
                Root::Nwk(key) => mic::join_accept_1_0(key, accept),
            });
        }
        let Bound { join_eui, dev_eui, dev_nonce } = self.bound;
        let (Some(key), Some(join_eui), Some(nonce)) =
            (js_int_key(keys, dev_eui), join_eui, dev_nonce)
        else {
            let mut wanted = Vec::new();
            if keys.js_int_key.is_none() {
                wanted = join_server_key(keys, "NwkKey or JSIntKey", dev_eui);
            }
            wanted.extend(join_eui.is_none().then_some("JoinEUI"));
            wanted.extend(dev_nonce.is_none().then_some("DevNonce"));
            return Err(ComposeError::missing(Step::Sign, wanted));
        };
        Ok(mic::join_accept_1_1(&key, self.answers, join_eui, nonce, accept))
    }
}

/// Returns a Rejoin-Request with its MIC.
pub(super) fn rejoin(
    request: &RejoinRequest,
    signature: &Signature,
    keys: &Bunch,
) -> Result<RejoinRequest, ComposeError> {
    let mut request = request.clone();
    let mut signed = Vec::new();
    request.put_signed(&mut signed);
    let missing = |wanted| Err(ComposeError::missing(Step::Sign, vec![wanted]));
    request.mic = signature.mic(&signed, || match request.body {
        RejoinBody::Network { .. } => match &keys.s_nwk_s_int_key {
            Some(key) => Ok(mic::rejoin_request(RejoinKey::Session(key), &request)),
            None => missing("SNwkSIntKey"),
        },
        RejoinBody::JoinServer { dev_eui, .. } => match js_int_key(keys, Some(dev_eui)) {
            Some(key) => Ok(mic::rejoin_request(RejoinKey::JoinServer(&key), &request)),
            None => missing("NwkKey or JSIntKey"),
        },
        RejoinBody::Rfu(_) => missing("a MIC that is given: no key signs a reserved type"),
    })?;
    Ok(request)
}
