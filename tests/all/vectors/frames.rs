//! Checks of whole frames: fields, MIC, plaintext, the keys of a join, and the way back.

use std::collections::BTreeMap;

use handfast::{
    crypto::{
        DataMismatch, EncryptionKeys, IntegrityKeys, MicInput, Unseen, Verified, Verifier,
        block::FOptsText,
        cipher::{self, AcceptKey},
        derive, mic,
        mic::{JoinReqType, RejoinKey},
    },
    frame::{
        CfList, CfListType, DataFrame, DecodeError, Decoded, Direction, Fault, FaultKind, Field,
        Frame, JoinAccept, LenFrom, Mic, OpenedJoinAccept, RejoinBody, RejoinRequest,
        SealedJoinAccept, command, decode,
    },
    id::{DevEui, DevNonce, JoinEui},
    key::{
        Aes128Key, AppKey, AppSKey, FNwkSIntKey, JsEncKey, JsIntKey, McAppSKey, McNwkSKey, NwkKey,
        NwkSEncKey, NwkSKey, SNwkSIntKey,
    },
};
use serde::Deserialize;
use serde_json::{Value, json};

use super::{
    Check, Hex, Outcome, Remark, Text,
    crypto::{Rule, join_req_type, same_key},
    equal, holds, same,
};

/// A frame that reads to its end.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Whole {
    #[serde(rename = "region")]
    _region: Remark,
    #[serde(rename = "mac_version")]
    _mac_version: String,
    #[serde(rename = "group")]
    _group: Remark,
    #[serde(rename = "checked")]
    _checked: Remark,
    phy_hex: Hex,
    keys: Keys,
    #[serde(default)]
    context: Context,
    expect: Expect,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
struct Keys {
    AppKey: Option<Text<AppKey>>,
    NwkKey: Option<Text<NwkKey>>,
    JSIntKey: Option<Text<JsIntKey>>,
    NwkSKey: Option<Text<NwkSKey>>,
    FNwkSIntKey: Option<Text<FNwkSIntKey>>,
    SNwkSIntKey: Option<Text<SNwkSIntKey>>,
    NwkSEncKey: Option<Text<NwkSEncKey>>,
    AppSKey: Option<Text<AppSKey>>,
    McNwkSKey: Option<Text<McNwkSKey>>,
    McAppSKey: Option<Text<McAppSKey>>,
}

/// What the frame itself does not say.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
struct Context {
    JoinEUI: Option<Text<JoinEui>>,
    DevEUI: Option<Text<DevEui>>,
    #[serde(alias = "RJcount0", alias = "RJcount1")]
    DevNonce: Option<u16>,
    JoinReqType: Option<String>,
    ConfFCnt: Option<u16>,
    TxDr: Option<u8>,
    TxCh: Option<u8>,
    FOptsRule: Option<Rule>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Expect {
    message: String,
    direction: Option<String>,
    fields: Value,
    /// Join-Accept: MHDR and what the key opens.
    decrypted_hex: Option<Hex>,
    /// The whole counter.
    fcnt32: Option<u32>,
    /// Whether the MIC holds; null where no key is known.
    mic_ok: Option<bool>,
    mic_key: Option<String>,
    mic_form: Option<String>,
    #[serde(default)]
    mic_fails_at_fcnt32: Vec<u32>,
    plaintext: Option<Plaintext>,
    derived: Option<BTreeMap<String, Text<Aes128Key>>>,
    #[serde(default)]
    faults: Vec<FaultItem>,
    /// What FOpts says, or FRMPayload on FPort 0.
    mac_commands: Option<Value>,
    /// For the test of the packages.
    #[serde(rename = "relay")]
    _relay: Remark,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
struct Plaintext {
    FRMPayload: Option<Hex>,
    FRMPayload_text: Option<String>,
    FOpts: Option<Hex>,
}

#[derive(Debug, Eq, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct FaultItem {
    field: String,
    at: [usize; 2],
    fault: String,
}

impl FaultItem {
    fn of(fault: &Fault) -> Self {
        let text = match fault.kind {
            FaultKind::RfuBits(bits) => format!("rfu-bits {bits:02x}"),
            FaultKind::Major(major) => format!("major {major}"),
            FaultKind::Length { found, .. } => format!("length {found}"),
            FaultKind::FOptsWithPort0 => "fopts-with-port-0".into(),
            FaultKind::EmptyPort0 => "empty-port-0".into(),
            FaultKind::ReservedPort(port) => format!("reserved-port {port}"),
            FaultKind::RejoinType(octet) => format!("rejoin-type {octet}"),
            FaultKind::CfListType(octet) => format!("cflist-type {octet}"),
            FaultKind::TooLong { found, .. } => format!("too-long {found}"),
            other => format!("unknown to this test: {other:?}"),
        };
        Self { field: fault.field.name().into(), at: [fault.at.start, fault.at.end], fault: text }
    }
}

impl Check for Whole {
    fn check(self) -> Outcome {
        let octets = &self.phy_hex.0;
        let decoded = decode(octets);
        equal("stopped", decoded.stopped, None)?;
        let frame = decoded.frame.as_ref().ok_or("no frame")?;
        let ftype = frame.mhdr().ftype();
        equal("message", ftype.name(), &self.expect.message)?;
        let direction = ftype.direction().map(|direction| direction.name().to_owned());
        equal("direction", direction, self.expect.direction.clone())?;
        same("bytes built again", frame.build(), octets)?;
        fields_cover(&decoded)?;

        let opened = self.opened(frame)?;
        let fields = fields_of(frame, opened.as_ref());
        equal("fields", &fields, &self.expect.fields)?;
        let more = opened.iter().flat_map(|opened| &opened.faults);
        let faults: Vec<_> = decoded.faults.iter().chain(more).map(FaultItem::of).collect();
        equal("faults", &faults, &self.expect.faults)?;

        match (frame, opened) {
            (Frame::Data(data), None) => self.data(data),
            (Frame::JoinAccept(sealed), Some(opened)) => self.join_accept(sealed, &opened),
            (Frame::JoinRequest(request), None) => {
                let holds = match (self.mic_key(), &self.keys) {
                    (Some("AppKey"), Keys { AppKey: Some(key), .. }) => {
                        Some(mic::check_join_request(&key.0, request).is_ok())
                    }
                    (Some("NwkKey"), Keys { NwkKey: Some(key), .. }) => {
                        Some(mic::check_join_request(&key.0, request).is_ok())
                    }
                    (None, _) => None,
                    (Some(other), _) => return Err(format!("no {other} for a Join-Request")),
                };
                equal("MIC", holds, self.expect.mic_ok)
            }
            (Frame::RejoinRequest(rejoin), None) => {
                equal("MIC", self.rejoin_mic(rejoin)?, self.expect.mic_ok)
            }
            (Frame::Proprietary(_), None) => equal("MIC", None, self.expect.mic_ok),
            _ => Err("only a Join-Accept is opened".into()),
        }
    }
}

impl Whole {
    fn mic_key(&self) -> Option<&str> {
        self.expect.mic_key.as_deref()
    }

    fn rejoin_mic(&self, rejoin: &RejoinRequest) -> Result<Option<bool>, String> {
        let key = match (self.mic_key(), &self.keys) {
            (None, _) => return Ok(None),
            (Some("SNwkSIntKey"), Keys { SNwkSIntKey: Some(key), .. }) => {
                RejoinKey::Session(&key.0)
            }
            (Some("JSIntKey"), Keys { JSIntKey: Some(key), .. }) => RejoinKey::JoinServer(&key.0),
            (Some(other), _) => return Err(format!("no {other} for a Rejoin-Request")),
        };
        Ok(Some(mic::check_rejoin_request(key, rejoin).is_ok()))
    }

    /// The frame inside a Join-Accept, under the root key or, after a rejoin, JSEncKey.
    fn opened(&self, frame: &Frame) -> Result<Option<OpenedJoinAccept>, String> {
        let Frame::JoinAccept(sealed) = frame else { return Ok(None) };
        let js_enc_key = self.js_enc_key()?;
        let key = self.accept_key(js_enc_key.as_ref())?;
        let opened = cipher::open_join_accept(key, sealed).ok_or("it does not open")?;
        let given = self.expect.decrypted_hex.as_ref().ok_or("no decrypted_hex")?;
        same("decrypted bytes", &opened.octets, &given.0)?;
        same("bytes of the opened accept", opened.accept.octets(), &given.0)?;
        equal("sealed again", &cipher::seal_join_accept(key, &opened.accept), sealed)?;
        Ok(Some(opened))
    }

    fn answers(&self) -> Result<JoinReqType, String> {
        self.context.JoinReqType.as_deref().map_or(Ok(JoinReqType::Join), join_req_type)
    }

    /// JSEncKey, where the accept answers a rejoin.
    fn js_enc_key(&self) -> Result<Option<JsEncKey>, String> {
        match (self.answers()?, &self.keys.NwkKey, &self.context.DevEUI) {
            (JoinReqType::Join, ..) => Ok(None),
            (_, Some(root), Some(dev_eui)) => Ok(Some(derive::js_enc_key(&root.0, dev_eui.0))),
            _ => Err("NwkKey and DevEUI are needed".into()),
        }
    }

    fn accept_key<'a>(&'a self, rejoin: Option<&'a JsEncKey>) -> Result<AcceptKey<'a>, String> {
        match (rejoin, &self.keys) {
            (Some(key), _) => Ok(AcceptKey::rejoin(key)),
            (None, Keys { NwkKey: Some(key), .. }) => Ok(AcceptKey::join(&key.0)),
            (None, Keys { AppKey: Some(key), .. }) => Ok(AcceptKey::join(&key.0)),
            _ => Err("no root key".into()),
        }
    }

    fn join_accept(&self, _sealed: &SealedJoinAccept, opened: &OpenedJoinAccept) -> Outcome {
        let accept = &opened.accept;
        let dev_nonce = self.context.DevNonce.map(DevNonce);
        let js_int_key = match (&self.keys.JSIntKey, &self.keys.NwkKey, &self.context.DevEUI) {
            (Some(key), ..) => Some(key.0.clone()),
            (None, Some(root), Some(eui)) => Some(derive::js_int_key(&root.0, eui.0)),
            _ => None,
        };
        let form = self.expect.mic_form.as_deref().and_then(|form| form.get(..3));
        let check = match (form, self.mic_key(), &self.keys) {
            (Some("1.0"), Some("AppKey"), Keys { AppKey: Some(key), .. }) => {
                mic::check_join_accept_1_0(&key.0, accept)
            }
            (Some("1.0"), Some("NwkKey"), Keys { NwkKey: Some(key), .. }) => {
                mic::check_join_accept_1_0(&key.0, accept)
            }
            (Some("1.1"), Some("JSIntKey"), _) => {
                let key = js_int_key.as_ref().ok_or("no JSIntKey")?;
                let join_eui = self.context.JoinEUI.as_ref().ok_or("no JoinEUI")?.0;
                let nonce = dev_nonce.ok_or("no DevNonce")?;
                mic::check_join_accept_1_1(key, self.answers()?, join_eui, nonce, accept)
            }
            _ => return Err("no rule for its MIC".into()),
        };
        equal("MIC", Some(check.is_ok()), self.expect.mic_ok)?;
        let Some(given) = &self.expect.derived else { return Ok(()) };
        self.derived(accept, js_int_key.as_ref(), dev_nonce.ok_or("no DevNonce")?, given)
    }

    fn derived(
        &self,
        accept: &JoinAccept,
        js_int_key: Option<&JsIntKey>,
        nonce: DevNonce,
        given: &BTreeMap<String, Text<Aes128Key>>,
    ) -> Outcome {
        let (join_nonce, net_id) = (accept.join_nonce, accept.net_id);
        let one_one = self.mic_key() == Some("JSIntKey");
        let session = match &self.keys {
            Keys { NwkKey: Some(root), AppKey, .. } if one_one => {
                let join_eui = self.context.JoinEUI.as_ref().ok_or("no JoinEUI")?.0;
                let app_key = AppKey.as_ref().map(|key| &key.0);
                derive::session_1_1(&root.0, app_key, join_nonce, join_eui, nonce)
            }
            Keys { NwkKey: Some(root), .. } => {
                derive::session_1_0(&root.0, join_nonce, net_id, nonce)
            }
            Keys { AppKey: Some(root), .. } => {
                derive::session_1_0(&root.0, join_nonce, net_id, nonce)
            }
            _ => return Err("no root key".into()),
        };
        let mut ours = session.named();
        ours.extend(js_int_key.map(|key| (JsIntKey::NAME, key.key())));
        let js_enc_key = match (&self.keys.NwkKey, &self.context.DevEUI) {
            (Some(root), Some(eui)) => Some(derive::js_enc_key(&root.0, eui.0)),
            _ => None,
        };
        ours.extend(js_enc_key.as_ref().map(|key| (JsEncKey::NAME, key.key())));
        for (name, theirs) in given {
            let (_, key) = ours.iter().find(|(n, _)| n == name).ok_or(format!("no {name}"))?;
            same_key(name, key, &theirs.0)?;
        }
        Ok(())
    }

    fn check_mic<'a>(
        &self,
        data: &'a DataFrame,
        fcnt: u32,
    ) -> Result<Option<Result<Verified<&'a DataFrame>, DataMismatch>>, String> {
        let conf_fcnts: Vec<u16> = self.context.ConfFCnt.into_iter().collect();
        let mut unseen = Unseen { conf_fcnts: &conf_fcnts, ..Unseen::default() };
        let keys = match (self.mic_key(), &self.keys) {
            (None, _) => return Ok(None),
            (Some("NwkSKey"), Keys { NwkSKey: Some(key), .. }) => IntegrityKeys::V1_0(&key.0),
            (Some("McNwkSKey"), Keys { McNwkSKey: Some(key), .. }) => {
                IntegrityKeys::Multicast(&key.0)
            }
            (Some("SNwkSIntKey"), Keys { SNwkSIntKey: Some(key), .. })
                if data.direction() == Direction::Downlink =>
            {
                IntegrityKeys::V1_1 { forwarding: None, serving: Some(&key.0) }
            }
            (
                Some("SNwkSIntKey+FNwkSIntKey"),
                Keys { SNwkSIntKey: Some(serving), FNwkSIntKey: Some(forwarding), .. },
            ) => {
                let (Some(tx_dr), Some(tx_ch)) = (self.context.TxDr, self.context.TxCh) else {
                    return Err("TxDr and TxCh are needed".into());
                };
                unseen = Unseen { tx_drs: tx_dr..=tx_dr, tx_chs: tx_ch..=tx_ch, ..unseen };
                IntegrityKeys::V1_1 { forwarding: Some(&forwarding.0), serving: Some(&serving.0) }
            }
            (Some(other), _) => return Err(format!("no {other} for a data frame")),
        };
        let check = Verifier::new(0, keys).check(&mut MicInput::of(data), [fcnt], &unseen);
        check.map(Some).ok_or("its key does not sign what goes this way".into())
    }

    fn data(&self, data: &DataFrame) -> Outcome {
        let fcnt = self.expect.fcnt32.unwrap_or(u32::from(data.fcnt));
        equal("FCnt in fcnt32", fcnt & 0xFFFF, u32::from(data.fcnt))?;
        let check = self.check_mic(data, fcnt)?;
        equal("MIC", check.as_ref().map(Result::is_ok), self.expect.mic_ok)?;
        for &wrong in &self.expect.mic_fails_at_fcnt32 {
            let check = self.check_mic(data, wrong)?;
            equal("MIC under another counter", check.as_ref().map(Result::is_ok), Some(false))?;
        }
        let clear = self.plaintext(data, check.and_then(Result::ok))?;
        if let Some(given) = &self.expect.mac_commands {
            let commands = if data.fopts.is_empty() { clear.frm } else { clear.fopts };
            equal("MAC commands", &commands_of(&commands, data.direction()), given)?;
        }
        Ok(())
    }

    /// Checks what the frame says in clear, and returns it; without a key FOpts as sent.
    fn plaintext(
        &self,
        data: &DataFrame,
        verified: Option<Verified<&DataFrame>>,
    ) -> Result<Clear, String> {
        let mut out = Clear { frm: Vec::new(), fopts: data.fopts.octets().to_vec() };
        let Some(plaintext) = &self.expect.plaintext else { return Ok(out) };
        let verified = verified.ok_or("a plaintext, and no MIC that holds")?;
        let keys = EncryptionKeys {
            app_s_key: self.keys.AppSKey.as_ref().map(|key| &key.0),
            nwk_s_key: self.keys.NwkSKey.as_ref().map(|key| &key.0),
            nwk_s_enc_key: self.keys.NwkSEncKey.as_ref().map(|key| &key.0),
            mc_app_s_key: self.keys.McAppSKey.as_ref().map(|key| &key.0),
        };
        if let Some(given) = &plaintext.FRMPayload {
            let clear = cipher::payload(&verified, &keys).ok_or("no key for its FRMPayload")?;
            same("FRMPayload in clear", &clear.octets, &given.0)?;
            if let Some(text) = &plaintext.FRMPayload_text {
                equal("FRMPayload as text", String::from_utf8_lossy(&clear.octets), text.into())?;
            }
            out.frm = clear.octets;
        }
        if let Some(given) = &plaintext.FOpts {
            let text = match self.context.FOptsRule {
                Some(Rule::AsPublished) => FOptsText::AsPublished,
                _ => FOptsText::Amended,
            };
            let clear = cipher::fopts(&verified, &keys, text).ok_or("no key for its FOpts")?;
            same("FOpts in clear", &clear, &given.0)?;
            out.fopts = clear.into_owned();
        }
        Ok(out)
    }
}

/// What a data frame says once decrypted.
struct Clear {
    frm: Vec<u8>,
    fopts: Vec<u8>,
}

/// MAC commands as JSON, the octets after each CID as hex.
fn commands_of(octets: &[u8], direction: Direction) -> Value {
    let list = command::decode(octets, direction, None);
    let known = list.commands.iter().map(|command| {
        let payload = hex::encode(command.payload());
        json!({ "cid": command.cid(), "name": command.name(), "payload_hex": payload })
    });
    let trailing = list.trailing.iter().map(|trailing| {
        let rest = hex::encode(trailing.octets.get(1..).unwrap_or_default());
        json!({ "cid": trailing.cid, "name": trailing.name(), "rest_hex": rest })
    });
    known.chain(trailing).collect()
}

/// Checks that the fields stand one after another, from the first octet to the last.
fn fields_cover(decoded: &Decoded) -> Outcome {
    let mut next = 0;
    for field in &decoded.fields() {
        equal(field.value.name(), field.at.start, next)?;
        next = field.at.end;
    }
    equal("end of the last field", next, decoded.octets.len())
}

/// The fields as JSON, spelt as the standard spells them.
fn fields_of(frame: &Frame, opened: Option<&OpenedJoinAccept>) -> Value {
    let mhdr = hex::encode([frame.mhdr().0]);
    match frame {
        Frame::JoinRequest(request) => json!({
            "MHDR": mhdr,
            "JoinEUI": request.join_eui.hex(),
            "DevEUI": request.dev_eui.hex(),
            "DevNonce": request.dev_nonce.0,
            "MIC": request.mic.hex(),
        }),
        Frame::RejoinRequest(rejoin) => {
            let (body, mic) = (&rejoin.body, rejoin.mic.hex());
            let kind = body.rejoin_type();
            match body {
                RejoinBody::Network { net_id, dev_eui, count, .. } => json!({
                    "MHDR": mhdr, "RejoinType": kind, "NetID": net_id.hex(),
                    "DevEUI": dev_eui.hex(), "RJcount0": count.0, "MIC": mic,
                }),
                RejoinBody::JoinServer { join_eui, dev_eui, count } => json!({
                    "MHDR": mhdr, "RejoinType": kind, "JoinEUI": join_eui.hex(),
                    "DevEUI": dev_eui.hex(), "RJcount1": count.0, "MIC": mic,
                }),
                RejoinBody::Rfu(_) => json!({ "MHDR": mhdr, "RejoinType": kind, "MIC": mic }),
            }
        }
        Frame::JoinAccept(_) => opened.map_or(Value::Null, |opened| accept_fields(&opened.accept)),
        Frame::Data(data) => {
            let mut fields = json!({
                "MHDR": mhdr,
                "DevAddr": data.dev_addr.hex(),
                "FCtrl": fctrl_fields(data),
                "FCnt": data.fcnt,
                "FOpts": hex::encode(data.fopts.octets()),
                "MIC": data.mic.hex(),
            });
            if let Some(payload) = &data.payload {
                fields["FPort"] = payload.port.into();
                fields["FRMPayload"] = hex::encode(&payload.frm).into();
            }
            fields
        }
        Frame::Proprietary(_) => json!({ "MHDR": mhdr }),
    }
}

fn fctrl_fields(data: &DataFrame) -> Value {
    let (fctrl, len) = (data.fctrl, data.fopts.len());
    match data.direction() {
        Direction::Uplink => json!({
            "ADR": fctrl.adr(), "ADRACKReq": fctrl.adr_ack_req(), "ACK": fctrl.ack(),
            "ClassB": fctrl.f_pending(), "FOptsLen": len,
        }),
        Direction::Downlink => json!({
            "ADR": fctrl.adr(), "ACK": fctrl.ack(), "FPending": fctrl.f_pending(),
            "FOptsLen": len,
        }),
    }
}

fn accept_fields(accept: &JoinAccept) -> Value {
    let dl = accept.dl_settings;
    let mut fields = json!({
        "MHDR": hex::encode([accept.mhdr.0]),
        "JoinNonce": accept.join_nonce.get(),
        "NetID": accept.net_id.hex(),
        "DevAddr": accept.dev_addr.hex(),
        "DLSettings": {
            "OptNeg": dl.opt_neg(), "RX1DROffset": dl.rx1_dr_offset(),
            "RX2DataRate": dl.rx2_data_rate(),
        },
        "RxDelay": accept.rx_delay.0,
        "MIC": accept.mic.hex(),
    });
    if let Some(list) = accept.cf_list {
        let mut json = cf_list_fields(list);
        json["octets_hex"] = hex::encode(list.0).into();
        fields["CFList"] = json;
    }
    fields
}

fn cf_list_fields(list: CfList) -> Value {
    match list.kind() {
        CfListType::Frequencies => {
            json!({ "type": 0, "frequencies": list.frequencies().collect::<Vec<_>>() })
        }
        CfListType::Masks => {
            let masks: Vec<_> = list.masks().map(|mask| format!("{mask:04x}")).collect();
            json!({ "type": 1, "masks": masks })
        }
        CfListType::Rfu(octet) => json!({ "type": octet }),
    }
}

/// A Join-Accept known only as the node printed it, decrypted.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Opened {
    opened_hex: Hex,
    fields: Value,
}

impl Check for Opened {
    fn check(self) -> Outcome {
        let opened = JoinAccept::read_opened(&self.opened_hex.0).map_err(|e| e.to_string())?;
        equal("fields", accept_fields(&opened.accept), self.fields)?;
        equal("faults", opened.faults.len(), 0)?;
        same("bytes built again", opened.accept.octets(), self.opened_hex.0)
    }
}

/// A frame that cannot be read to its end.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Damaged {
    phy_hex: Hex,
    /// Names of the fields read before.
    read: Vec<String>,
    stopped: Stopped,
}

#[derive(Debug, Eq, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Stopped {
    field: String,
    offset: usize,
    needed: usize,
    left: usize,
    because: String,
}

impl Check for Damaged {
    fn check(self) -> Outcome {
        let decoded = decode(&self.phy_hex.0);
        holds("having no frame", decoded.frame.is_none())?;
        let fields = decoded.fields();
        let names = fields.iter().map(|field| field.value.name());
        equal("fields read", names.collect::<Vec<_>>(), self.read.iter().map(|n| &**n).collect())?;
        let Some(DecodeError::TooShort { field, offset, needed, left, because }) = decoded.stopped
        else {
            return Err(format!("stopped: {:?}", decoded.stopped));
        };
        let because = match because {
            LenFrom::Layout => "layout".into(),
            LenFrom::FOptsLen(len) => format!("FOptsLen {len}"),
            other => format!("unknown to this test: {other:?}"),
        };
        let ours = Stopped { field: field.name().into(), offset, needed, left, because };
        equal("stopped", ours, self.stopped)
    }
}

/// FCtrl alone.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FCtrlItem {
    octet: Hex,
    direction: String,
    fields: Value,
}

impl Check for FCtrlItem {
    fn check(self) -> Outcome {
        let [octet] = self.octet.array()?;
        let mhdr = if self.direction == "up" { 0x40 } else { 0x60 };
        let options = usize::from(octet & 0x0F);
        let mut octets = vec![mhdr, 4, 3, 2, 1, octet, 0, 0];
        octets.extend(vec![2; options + Mic::LEN]);
        let decoded = decode(&octets);
        let Some(Frame::Data(data)) = &decoded.frame else { return Err("no data frame".into()) };
        equal("direction", data.direction().name(), &*self.direction)?;
        same("FCtrl", decoded.octets_of(Field::FCtrl).unwrap_or_default(), [octet])?;
        equal("fields", fctrl_fields(data), self.fields)
    }
}

/// CFList alone, both ways.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct CfListItem {
    octets: Hex,
    r#type: u8,
    masks: Option<Vec<String>>,
    frequencies: Option<Vec<u32>>,
}

impl Check for CfListItem {
    fn check(self) -> Outcome {
        let list = CfList(self.octets.array()?);
        let ours = cf_list_fields(list);
        let (given, built) = match (self.masks, self.frequencies) {
            (Some(masks), None) => {
                let words: Result<Vec<_>, _> =
                    masks.iter().map(|mask| u16::from_str_radix(mask, 16)).collect();
                let built = CfList::of_masks(&words.map_err(|error| error.to_string())?);
                (json!({ "type": self.r#type, "masks": masks }), built)
            }
            (None, Some(hz)) => {
                let built = CfList::of_frequencies(&hz);
                (json!({ "type": self.r#type, "frequencies": hz }), built)
            }
            _ => return Err("masks or frequencies".into()),
        };
        equal("CFList", ours, given)?;
        same("bytes built again", built.0, list.0)
    }
}
