//! Join-Request, Join-Accept and Rejoin-Request out of JSON.

use serde_json::Value;

use super::{
    AN_EUI, Draft, JsonError, Message, Remark, SIXTEEN_BITS,
    sheet::{hex_octets, id, number, text, wrong},
};
use crate::{
    compose::{AcceptRecipe, JoinRequestRecipe, Recipe, Signature},
    crypto::mic::JoinReqType,
    frame::{
        CfList, DlSettings, Frame, JoinAccept, JoinRequest, Mic, RejoinBody, RejoinRequest,
        RxDelay, SealedJoinAccept,
    },
    id::{DevNonce, JoinNonce},
    key::{AppKey, NwkKey},
    reading::{Bound, KeyRole, MicRule},
};

impl Message<'_> {
    fn nonce(&self, name: &str, was: Option<DevNonce>) -> Result<DevNonce, JsonError> {
        let read = |value: &Value| number(value).map(DevNonce);
        self.sheet.field(name, SIXTEEN_BITS, read, was)
    }

    pub(super) fn join_request(&self) -> Result<Draft, JsonError> {
        let was = match self.base.map(|base| &base.frame) {
            Some(Frame::JoinRequest(request)) => Some(request),
            _ => None,
        };
        let request = JoinRequest {
            mhdr: self.mhdr,
            join_eui: self.sheet.field("JoinEUI", AN_EUI, id, was.map(|w| w.join_eui))?,
            dev_eui: self.sheet.field("DevEUI", AN_EUI, id, was.map(|w| w.dev_eui))?,
            dev_nonce: self.nonce("DevNonce", was.map(|w| w.dev_nonce))?,
            surplus: was.map(|w| w.surplus.clone()).unwrap_or_default(),
            mic: Mic::default(),
        };
        let signature = self.signature(was.map(|was| {
            let mut with = Vec::new();
            was.put_signed(&mut with);
            (was.mic, with)
        }))?;
        let signer = role(self.signer());
        Ok(Draft::whole(Recipe::JoinRequest(JoinRequestRecipe { request, signature, signer })))
    }

    pub(super) fn rejoin_request(&self) -> Result<Draft, JsonError> {
        let was = match self.base.map(|base| &base.frame) {
            Some(Frame::RejoinRequest(request)) => Some(request),
            _ => None,
        };
        let kind = was.map(|was| was.body.rejoin_type());
        let kind: u8 = self.sheet.field("RejoinType", "a number up to 255", number, kind)?;
        let body = was.map(|was| &was.body);
        let dev_eui = body.and_then(RejoinBody::dev_eui);
        let dev_eui = || self.sheet.field("DevEUI", AN_EUI, id, dev_eui);
        let count = |name| self.nonce(name, body.and_then(RejoinBody::count));
        let body = match kind {
            0 | 2 => {
                let net_id = match body {
                    Some(RejoinBody::Network { net_id, .. }) => Some(*net_id),
                    _ => None,
                };
                RejoinBody::Network {
                    keys_only: kind == 2,
                    net_id: self.sheet.field("NetID", A_NET_ID, id, net_id)?,
                    dev_eui: dev_eui()?,
                    count: count("RJcount0")?,
                }
            }
            1 => {
                let join_eui = match body {
                    Some(RejoinBody::JoinServer { join_eui, .. }) => Some(*join_eui),
                    _ => None,
                };
                RejoinBody::JoinServer {
                    join_eui: self.sheet.field("JoinEUI", AN_EUI, id, join_eui)?,
                    dev_eui: dev_eui()?,
                    count: count("RJcount1")?,
                }
            }
            other => RejoinBody::Rfu(other),
        };
        let surplus = was.map(|was| was.surplus.clone()).unwrap_or_default();
        let signature = self.signature(was.map(|was| {
            let mut with = Vec::new();
            was.put_signed(&mut with);
            (was.mic, with)
        }))?;
        let request = RejoinRequest { mhdr: self.mhdr, body, surplus, mic: Mic::default() };
        Ok(Draft::whole(Recipe::RejoinRequest(request, signature)))
    }

    pub(super) fn join_accept(&self) -> Result<Draft, JsonError> {
        let sealed = match self.base.map(|base| &base.frame) {
            Some(Frame::JoinAccept(sealed)) => Some(sealed),
            _ => None,
        };
        let has_fields = self.sheet.given("JoinNonce").is_some();
        let keys = self.keys;
        let has_key = keys.app_key.is_some() || keys.nwk_key.is_some() || keys.js_enc_key.is_some();
        if let Some(sealed) = sealed.filter(|_| !has_fields || !has_key) {
            return Ok(self.as_sealed(sealed, has_fields));
        }
        let was = self.base.and_then(|base| base.opened.as_ref());
        let accept = self.accept(was)?;
        let signature = if sealed.is_some() && was.is_none() {
            // Sealed under another key: nothing of the old MIC counts.
            Signature::Computed
        } else {
            self.signature(was.map(|was| (was.mic, was.signed())))?
        };
        let answers =
            self.given.read("context.join_req_type", "\"ff\", \"00\", \"01\" or \"02\"", answer)?;
        let context = self.given.context()?;
        let recipe = Recipe::JoinAccept(AcceptRecipe {
            accept,
            signature,
            rule: match self.given.member("mic.rule").and_then(Value::as_str) {
                Some("1.0") => Some(MicRule::V1_0),
                Some("1.1") => Some(MicRule::V1_1),
                _ => None,
            },
            answers: answers.unwrap_or(JoinReqType::Join),
            bound: Bound {
                join_eui: context.join_eui,
                dev_eui: context.dev_eui,
                dev_nonce: context.dev_nonce,
            },
            root: role(self.given.member("decrypted_with").and_then(text)),
        });
        // What the new keys cannot seal is sent as it was.
        match sealed.filter(|_| was.is_none() && recipe.compose(keys).is_err()) {
            Some(sealed) => Ok(self.as_sealed(sealed, true)),
            None => Ok(Draft::whole(recipe)),
        }
    }

    fn as_sealed(&self, sealed: &SealedJoinAccept, has_fields: bool) -> Draft {
        let sealed = SealedJoinAccept { mhdr: self.mhdr, sealed: sealed.sealed.clone() };
        let remarks = if has_fields { vec![Remark::AcceptUnopened] } else { Vec::new() };
        Draft { recipe: Recipe::SealedJoinAccept(sealed), remarks }
    }

    fn accept(&self, was: Option<&JoinAccept>) -> Result<JoinAccept, JsonError> {
        let nonce = |value: &Value| number(value).and_then(JoinNonce::new);
        let dl_settings = |value: &Value| {
            let offset: u8 = number(value.get("RX1DROffset")?).filter(|n| *n < 8)?;
            let rx2: u8 = number(value.get("RX2DataRate")?).filter(|n| *n < 16)?;
            let opt_neg = value.get("OptNeg").map_or(Some(false), Value::as_bool)?;
            Some(DlSettings(u8::from(opt_neg) << 7 | offset << 4 | rx2))
        };
        let delay = |value: &Value| number(value).map(RxDelay);
        let sheet = &self.sheet;
        let cf_list = match sheet.changed("CFList") {
            None => was.and_then(|was| was.cf_list),
            Some(Value::Null) => None,
            Some(list) => Some(cf_list(list)?),
        };
        Ok(JoinAccept {
            mhdr: self.mhdr,
            join_nonce: sheet.field("JoinNonce", A_JOIN_NONCE, nonce, was.map(|w| w.join_nonce))?,
            net_id: sheet.field("NetID", A_NET_ID, id, was.map(|w| w.net_id))?,
            dev_addr: sheet.field("DevAddr", "eight hex digits", id, was.map(|w| w.dev_addr))?,
            dl_settings: sheet.field(
                "DLSettings",
                DL_SETTINGS,
                dl_settings,
                was.map(|w| w.dl_settings),
            )?,
            rx_delay: sheet.field(
                "RxDelay",
                "a number up to 255",
                delay,
                was.map(|w| w.rx_delay),
            )?,
            cf_list,
            mic: Mic::default(),
        })
    }
}

fn cf_list(value: &Value) -> Result<CfList, JsonError> {
    let wanted = "{\"type\":0,\"frequencies\":[...]} with hertz in steps of 100, or \
                  {\"type\":1,\"masks\":[\"00ff\",...]}";
    let read = || {
        let list = |name| value.get(name).and_then(Value::as_array);
        match value.get("type").and_then(Value::as_u64)? {
            0 => {
                let lawful = |hz: &u32| hz.is_multiple_of(100) && hz / 100 < 1 << 24;
                let hz: Option<Vec<u32>> =
                    list("frequencies")?.iter().map(|v| number(v).filter(lawful)).collect();
                hz.filter(|hz| hz.len() <= 5).map(|hz| CfList::of_frequencies(&hz))
            }
            1 => {
                let mask = |value: &Value| {
                    let octets = hex_octets(value)?.try_into().ok()?;
                    Some(u16::from_be_bytes(octets))
                };
                let masks: Option<Vec<u16>> = list("masks")?.iter().map(mask).collect();
                masks.filter(|masks| masks.len() <= 7).map(|masks| CfList::of_masks(&masks))
            }
            kind => {
                let octets: [u8; 16] = hex_octets(value.get("octets")?)?.try_into().ok()?;
                let list = CfList(octets);
                (u64::from(*octets.last()?) == kind).then_some(list)
            }
        }
    };
    read().ok_or_else(|| wrong("CFList", wanted))
}

fn answer(value: &Value) -> Option<JoinReqType> {
    match value.as_str()? {
        "ff" => Some(JoinReqType::Join),
        "00" => Some(JoinReqType::Rejoin(0)),
        "01" => Some(JoinReqType::Rejoin(1)),
        "02" => Some(JoinReqType::Rejoin(2)),
        _ => None,
    }
}

fn role(name: Option<&str>) -> Option<KeyRole> {
    match name? {
        AppKey::NAME => Some(KeyRole::App),
        NwkKey::NAME => Some(KeyRole::Nwk),
        _ => None,
    }
}

const A_NET_ID: &str = "six hex digits in quotes";
const A_JOIN_NONCE: &str = "a number up to 16777215";
const DL_SETTINGS: &str = "{\"OptNeg\":false,\"RX1DROffset\":0,\"RX2DataRate\":0}";
