//! Checks of the cryptography: primitives, MICs, key streams and keys.

use handfast::{
    crypto::{
        block::{self, BlockFields, FOptsRule, UplinkContext},
        cipher, decrypt_block, derive, encrypt_block,
        mic::{self, JoinReqType},
        wrap,
    },
    frame::{DataFrame, Direction, Frame, JoinAccept, Mic, decode},
    id::{DevAddr, DevEui, DevNonce, JoinEui, JoinNonce, NetId},
    key::{
        Aes128Key, AppKey, AppSKey, FNwkSIntKey, GenAppKey, JsIntKey, Kek, McKeKey, McKey,
        McRootKey, NwkKey, NwkSEncKey, SNwkSIntKey,
    },
};
use serde::Deserialize;

use super::{Check, Hex, Outcome, Text, equal, holds, same};

type Key = Text<Aes128Key>;

/// Checks that a key has the value given, without ever printing it by itself.
pub(super) fn same_key(what: &str, ours: &Aes128Key, theirs: &Aes128Key) -> Outcome {
    if ours.same_as(theirs) {
        Ok(())
    } else {
        Err(format!("{what}: ours {}, given {}", ours.revealed(), theirs.revealed()))
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Ecb {
    key: Key,
    plaintext: Hex,
    ciphertext: Hex,
}

impl Check for Ecb {
    fn check(self) -> Outcome {
        let (plain, sealed) = (self.plaintext.array()?, self.ciphertext.array()?);
        same("ciphertext", encrypt_block(&self.key.0, plain), sealed)?;
        same("plaintext", decrypt_block(&self.key.0, sealed), plain)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Ctr {
    key: Key,
    initial_counter: Hex,
    plaintext: Hex,
    ciphertext: Hex,
}

impl Check for Ctr {
    fn check(self) -> Outcome {
        let first = u128::from_be_bytes(self.initial_counter.array()?);
        let stream =
            (0u128..).flat_map(|i| encrypt_block(&self.key.0, first.wrapping_add(i).to_be_bytes()));
        let ours: Vec<u8> = self.plaintext.0.iter().zip(stream).map(|(a, b)| a ^ b).collect();
        same("ciphertext", ours, self.ciphertext.0)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "RFC 4493 spells them so")]
pub(super) struct Subkeys {
    key: Key,
    aes_of_zero: Hex,
    K1: Hex,
    K2: Hex,
}

impl Check for Subkeys {
    fn check(self) -> Outcome {
        let (l, k1, k2) = mic::subkeys(&self.key.0);
        same("L", l, self.aes_of_zero.0)?;
        same("K1", k1, self.K1.0)?;
        same("K2", k2, self.K2.0)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Cmac {
    key: Key,
    message: Hex,
    mac: Hex,
}

impl Check for Cmac {
    fn check(self) -> Outcome {
        same("CMAC", mic::cmac(&self.key.0, &self.message.0), self.mac.0)?;
        let mut signer = handfast::crypto::Signer::new(&self.key.0);
        let (head, tail) = self.message.0.split_at(self.message.0.len() / 3);
        let whole = signer.cmac(&[&self.message.0]);
        same("CMAC of two parts", signer.cmac(&[head, tail]), whole)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the published name")]
pub(super) struct WycheproofCmac {
    #[serde(rename = "tcId")]
    _tc_id: u32,
    comment: String,
    key: Key,
    msg: Hex,
    tag: Hex,
    result: String,
    #[serde(rename = "flags")]
    _flags: Vec<String>,
    tagSize: usize,
}

impl Check for WycheproofCmac {
    fn check(self) -> Outcome {
        let ours = mic::cmac(&self.key.0, &self.msg.0);
        let ours = ours.get(..self.tagSize / 8).ok_or("a tag longer than a block")?;
        let equal = ours == self.tag.0;
        match self.result.as_str() {
            "valid" => holds(&format!("a valid tag ({})", self.comment), equal),
            "invalid" => holds(&format!("refusing {}", self.comment), !equal),
            other => Err(format!("result {other}")),
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct KeyWrap {
    kek: Text<Kek>,
    key: Hex,
    wrapped: Hex,
}

impl Check for KeyWrap {
    fn check(self) -> Outcome {
        let wrapped = wrap::wrap_data(&self.kek.0, &self.key.0).map_err(|e| e.to_string())?;
        same("wrapped", wrapped, &self.wrapped.0)?;
        let key = wrap::unwrap(&self.kek.0, &self.wrapped.0).map_err(|e| e.to_string())?;
        same_key("unwrapped", &key, &Aes128Key::new(self.key.array()?))
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WycheproofWrap {
    #[serde(rename = "tcId")]
    _tc_id: u32,
    comment: String,
    key: Text<Kek>,
    msg: Hex,
    ct: Hex,
    result: String,
    flags: Vec<String>,
}

impl Check for WycheproofWrap {
    fn check(self) -> Outcome {
        let unwrapped = wrap::unwrap_data(&self.key.0, &self.ct.0);
        match self.result.as_str() {
            "valid" => {
                same("unwrapped", unwrapped.map_err(|e| e.to_string())?, &self.msg.0)?;
                let wrapped = wrap::wrap_data(&self.key.0, &self.msg.0);
                same("wrapped", wrapped.map_err(|e| e.to_string())?, &self.ct.0)
            }
            // RFC 3394 wraps 128 bits and more; a library may take 64, and ours does not.
            "acceptable" if self.flags == ["ShortKey"] => {
                holds("refusing to unwrap 64 bits", unwrapped.is_err())
            }
            "invalid" => {
                holds(&format!("refusing to unwrap: {}", self.comment), unwrapped.is_err())?;
                if self.flags == ["WrongDataSize"] || self.flags == ["EmptyKey"] {
                    let wrapped = wrap::wrap_data(&self.key.0, &self.msg.0);
                    holds(&format!("refusing to wrap: {}", self.comment), wrapped.is_err())?;
                }
                Ok(())
            }
            other => Err(format!("result {other}")),
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct MicInput {
    key: Key,
    #[serde(rename = "frame")]
    _frame: String,
    cmac_input: Hex,
    mic: Hex,
}

impl Check for MicInput {
    fn check(self) -> Outcome {
        let mut signer = handfast::crypto::Signer::new(&self.key.0);
        same("MIC", signer.mic(&[&self.cmac_input.0]).0, self.mic.0)
    }
}

fn data_frame(msg: &[u8], mic: [u8; 4]) -> Result<DataFrame, String> {
    let octets = [msg, &mic].concat();
    match decode(&octets).frame {
        Some(Frame::Data(data)) => Ok(data),
        _ => Err("no data frame".into()),
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
pub(super) struct MicUp {
    FNwkSIntKey: Text<FNwkSIntKey>,
    SNwkSIntKey: Text<SNwkSIntKey>,
    ConfFCnt: u16,
    TxDr: u8,
    TxCh: u8,
    DevAddr: Text<DevAddr>,
    FCntUp: u32,
    msg: Hex,
    B1: Hex,
    mic: Hex,
}

impl Check for MicUp {
    fn check(self) -> Outcome {
        let context =
            UplinkContext { conf_fcnt: self.ConfFCnt, tx_dr: self.TxDr, tx_ch: self.TxCh };
        let place = BlockFields {
            direction: Direction::Uplink,
            dev_addr: self.DevAddr.0,
            fcnt: self.FCntUp,
        };
        same("B1", block::b1(&place, &context, self.msg.0.len()), self.B1.0)?;
        let frame = data_frame(&self.msg.0, self.mic.array()?)?;
        equal("DevAddr", frame.dev_addr, self.DevAddr.0)?;
        let (serving, forwarding) = (&self.SNwkSIntKey.0, &self.FNwkSIntKey.0);
        let ours = mic::data_up_1_1(serving, forwarding, &frame, self.FCntUp, &context);
        same("MIC", ours.0, self.mic.0)
    }
}

fn direction(dir: u8) -> Result<Direction, String> {
    match dir {
        0 => Ok(Direction::Uplink),
        1 => Ok(Direction::Downlink),
        other => Err(format!("Dir {other}")),
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
pub(super) struct FrmPayload {
    key: Key,
    Dir: u8,
    DevAddr: Text<DevAddr>,
    FCnt: u32,
    A1: Option<Hex>,
    plaintext: Hex,
    ciphertext: Hex,
}

impl Check for FrmPayload {
    fn check(self) -> Outcome {
        let dev_addr = self.DevAddr.0;
        let place = BlockFields { direction: direction(self.Dir)?, dev_addr, fcnt: self.FCnt };
        if let Some(a1) = self.A1 {
            same("A_1", block::a(&place, 1), a1.0)?;
        }
        let key = AppSKey::from(self.key.0.clone());
        let ours = cipher::encrypt_payload((&key).into(), &place, &self.plaintext.0);
        same("ciphertext", &ours, self.ciphertext.0)?;
        let back = cipher::encrypt_payload((&key).into(), &place, &ours);
        same("plaintext", back, self.plaintext.0)
    }
}

/// Which text of 1.1 encrypts FOpts, as vectors name it.
#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Rule {
    AsPublished,
    Erratum,
    ErratumAppCounter,
}

impl From<Rule> for FOptsRule {
    fn from(rule: Rule) -> Self {
        match rule {
            Rule::AsPublished => Self::AsPublished,
            Rule::Erratum => Self::Erratum,
            Rule::ErratumAppCounter => Self::ErratumAppCounter,
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
pub(super) struct FOpts {
    NwkSEncKey: Text<NwkSEncKey>,
    Dir: u8,
    DevAddr: Text<DevAddr>,
    FCnt: u32,
    block: Option<Hex>,
    plaintext: Hex,
    ciphertext: Hex,
    rule: Rule,
}

impl Check for FOpts {
    fn check(self) -> Outcome {
        let dev_addr = self.DevAddr.0;
        let place = BlockFields { direction: direction(self.Dir)?, dev_addr, fcnt: self.FCnt };
        if let Some(a) = self.block {
            same("A", block::a_fopts(&place, self.rule.into()), a.0)?;
        }
        let key = &self.NwkSEncKey.0;
        let ours = cipher::encrypt_fopts(key, &place, self.rule.into(), &self.plaintext.0);
        same("ciphertext", ours, &self.ciphertext.0)?;
        let back = cipher::encrypt_fopts(key, &place, self.rule.into(), &self.ciphertext.0);
        same("plaintext", back, self.plaintext.0)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
pub(super) struct Blocks {
    Dir: u8,
    DevAddr: Text<DevAddr>,
    FCnt: u32,
    #[serde(default)]
    ConfFCnt: u16,
    #[serde(default)]
    TxDr: u8,
    #[serde(default)]
    TxCh: u8,
    len: usize,
    B0: Hex,
    B1: Option<Hex>,
    A1: Option<Hex>,
    A_FOpts: Option<Hex>,
    FOptsRule: Option<Rule>,
}

impl Check for Blocks {
    fn check(self) -> Outcome {
        let dev_addr = self.DevAddr.0;
        let place = BlockFields { direction: direction(self.Dir)?, dev_addr, fcnt: self.FCnt };
        // Only a 1.1 downlink has ConfFCnt in B0.
        let conf_fcnt = if self.Dir == 1 { self.ConfFCnt } else { 0 };
        same("B0", block::b0(&place, conf_fcnt, self.len), self.B0.0)?;
        if let Some(b1) = self.B1 {
            let context =
                UplinkContext { conf_fcnt: self.ConfFCnt, tx_dr: self.TxDr, tx_ch: self.TxCh };
            same("B1", block::b1(&place, &context, self.len), b1.0)?;
        }
        if let Some(a1) = self.A1 {
            same("A_1", block::a(&place, 1), a1.0)?;
        }
        match (self.A_FOpts, self.FOptsRule) {
            (Some(a), Some(rule)) => same("A", block::a_fopts(&place, rule.into()), a.0),
            (None, None) => Ok(()),
            _ => Err("A_FOpts and FOptsRule go together".into()),
        }
    }
}

/// JoinReqType, written as its octet.
pub(super) fn join_req_type(octet: &str) -> Result<JoinReqType, String> {
    match octet {
        "ff" => Ok(JoinReqType::Join),
        "00" => Ok(JoinReqType::Rejoin(0)),
        "01" => Ok(JoinReqType::Rejoin(1)),
        "02" => Ok(JoinReqType::Rejoin(2)),
        other => Err(format!("JoinReqType {other}")),
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
pub(super) struct AcceptMic {
    JSIntKey: Option<Text<JsIntKey>>,
    NwkKey: Option<Text<NwkKey>>,
    DevEUI: Option<Text<DevEui>>,
    JoinReqType: String,
    JoinEUI: Text<JoinEui>,
    nonce: u16,
    body: Hex,
    mic: Hex,
    #[serde(default)]
    mic_fails_with_nonce: Vec<u16>,
}

impl Check for AcceptMic {
    fn check(self) -> Outcome {
        let octets = [&[0x20], self.body.0.as_slice(), &self.mic.0].concat();
        let opened = JoinAccept::read_opened(&octets).map_err(|error| error.to_string())?;
        same("bytes built again", opened.accept.octets(), octets)?;
        let key = match (self.JSIntKey, self.NwkKey, self.DevEUI) {
            (Some(key), None, None) => key.0,
            (None, Some(key), Some(dev_eui)) => derive::js_int_key(&key.0, dev_eui.0),
            _ => return Err("JSIntKey, or NwkKey and DevEUI".into()),
        };
        let answers = join_req_type(&self.JoinReqType)?;
        let of = |nonce| {
            let nonce = DevNonce(nonce);
            mic::join_accept_1_1(&key, answers, self.JoinEUI.0, nonce, &opened.accept)
        };
        let given = Mic(self.mic.array()?);
        equal("MIC", of(self.nonce), given)?;
        for nonce in self.mic_fails_with_nonce {
            holds(&format!("a mismatch with nonce {nonce}"), of(nonce) != given)?;
        }
        Ok(())
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
pub(super) struct Session10 {
    AppKey: Option<Text<AppKey>>,
    NwkKey: Option<Text<NwkKey>>,
    JoinNonce: u32,
    NetID: Text<NetId>,
    DevNonce: u16,
    block_01: Option<Hex>,
    #[serde(alias = "FNwkSIntKey")]
    NwkSKey: Key,
    AppSKey: Key,
}

impl Check for Session10 {
    fn check(self) -> Outcome {
        let join_nonce = JoinNonce::new(self.JoinNonce).ok_or("JoinNonce has 24 bits")?;
        let (net_id, dev_nonce) = (self.NetID.0, DevNonce(self.DevNonce));
        if let Some(given) = self.block_01 {
            same("block 01", derive::block_1_0(1, join_nonce, net_id, dev_nonce), given.0)?;
        }
        let keys = match (self.AppKey, self.NwkKey) {
            (Some(root), None) => derive::session_1_0(&root.0, join_nonce, net_id, dev_nonce),
            (None, Some(root)) => derive::session_1_0(&root.0, join_nonce, net_id, dev_nonce),
            _ => return Err("one root key".into()),
        };
        named(&keys, &[("NwkSKey", &self.NwkSKey.0), ("AppSKey", &self.AppSKey.0)])
    }
}

/// Checks that a session has just these keys.
fn named(keys: &derive::SessionKeys, given: &[(&str, &Aes128Key)]) -> Outcome {
    let ours = keys.named();
    equal("keys", ours.len(), given.len())?;
    for (name, theirs) in given {
        let (_, key) = ours.iter().find(|(n, _)| n == name).ok_or(format!("no {name}"))?;
        same_key(name, key, theirs)?;
    }
    Ok(())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
pub(super) struct Session11 {
    NwkKey: Text<NwkKey>,
    AppKey: Text<AppKey>,
    JoinNonce: u32,
    JoinEUI: Text<JoinEui>,
    DevNonce: u16,
    block_01: Option<Hex>,
    FNwkSIntKey: Key,
    SNwkSIntKey: Key,
    NwkSEncKey: Key,
    AppSKey: Key,
}

impl Check for Session11 {
    fn check(self) -> Outcome {
        let join_nonce = JoinNonce::new(self.JoinNonce).ok_or("JoinNonce has 24 bits")?;
        let (join_eui, nonce) = (self.JoinEUI.0, DevNonce(self.DevNonce));
        if let Some(given) = self.block_01 {
            same("block 01", derive::block_1_1(1, join_nonce, join_eui, nonce), given.0)?;
        }
        let (nwk_key, app_key) = (&self.NwkKey.0, Some(&self.AppKey.0));
        named(
            &derive::session_1_1(nwk_key, app_key, join_nonce, join_eui, nonce),
            &[
                ("FNwkSIntKey", &self.FNwkSIntKey.0),
                ("SNwkSIntKey", &self.SNwkSIntKey.0),
                ("NwkSEncKey", &self.NwkSEncKey.0),
                ("AppSKey", &self.AppSKey.0),
            ],
        )
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
pub(super) struct JoinServerKeys {
    NwkKey: Text<NwkKey>,
    DevEUI: Text<DevEui>,
    JSIntKey: Key,
    JSEncKey: Key,
}

impl Check for JoinServerKeys {
    fn check(self) -> Outcome {
        let (root, dev_eui) = (&self.NwkKey.0, self.DevEUI.0);
        same_key("JSIntKey", derive::js_int_key(root, dev_eui).key(), &self.JSIntKey.0)?;
        same_key("JSEncKey", derive::js_enc_key(root, dev_eui).key(), &self.JSEncKey.0)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
pub(super) struct RelayKey {
    NwkSEncKey_or_NwkSKey: Key,
    RootWorSKey: Key,
}

impl Check for RelayKey {
    fn check(self) -> Outcome {
        let ours = derive::root_wor_s_key(&self.NwkSEncKey_or_NwkSKey.0);
        same_key("RootWorSKey", &ours, &self.RootWorSKey.0)
    }
}

/// One step of the multicast chain, or all of them.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
pub(super) struct Multicast {
    GenAppKey: Option<Text<GenAppKey>>,
    AppKey: Option<Text<AppKey>>,
    McRootKey: Option<Text<McRootKey>>,
    McKEKey: Option<Text<McKeKey>>,
    McKey: Option<Text<McKey>>,
    McKey_encrypted: Option<Hex>,
    McAddr: Option<Text<DevAddr>>,
    McAppSKey: Option<Key>,
    McNwkSKey: Option<Key>,
    #[serde(rename = "rule")]
    _rule: super::Remark,
}

impl Check for Multicast {
    fn check(self) -> Outcome {
        let mut steps = 0;
        let root = match (&self.GenAppKey, &self.AppKey) {
            (Some(key), None) => Some(derive::mc_root_key_1_0(&key.0)),
            (None, Some(key)) => Some(derive::mc_root_key_1_1(&key.0)),
            (None, None) => None,
            _ => return Err("one root key".into()),
        };
        if let (Some(root), Some(given)) = (root, &self.McRootKey) {
            same_key("McRootKey", root.key(), given.0.key())?;
            steps += 1;
        }
        if let (Some(root), Some(given)) = (&self.McRootKey, &self.McKEKey) {
            same_key("McKEKey", derive::mc_ke_key(&root.0).key(), given.0.key())?;
            steps += 1;
        }
        if let (Some(kek), Some(key), Some(sealed)) =
            (&self.McKEKey, &self.McKey, &self.McKey_encrypted)
        {
            same_key("McKey", derive::mc_key(&kek.0, sealed.array()?).key(), key.0.key())?;
            same("McKey_encrypted", derive::mc_key_encrypted(&kek.0, &key.0), &sealed.0)?;
            steps += 1;
        }
        if let (Some(key), Some(addr), Some(app), Some(nwk)) =
            (&self.McKey, &self.McAddr, &self.McAppSKey, &self.McNwkSKey)
        {
            same_key("McAppSKey", derive::mc_app_s_key(&key.0, addr.0).key(), &app.0)?;
            same_key("McNwkSKey", derive::mc_nwk_s_key(&key.0, addr.0).key(), &nwk.0)?;
            steps += 1;
        }
        holds("at least one step", steps > 0)
    }
}

/// The ping slot of Class B is a block under a key of zeros (LoRaWAN 1.0.4, 13.5).
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
pub(super) struct PingOffset {
    beacon_time: u32,
    DevAddr: Text<DevAddr>,
    pingPeriod: u16,
    pingOffset: u16,
}

impl Check for PingOffset {
    fn check(self) -> Outcome {
        let mut input = [0; 16];
        input[..4].copy_from_slice(&self.beacon_time.to_le_bytes());
        input[4..8].copy_from_slice(&self.DevAddr.0.to_wire());
        let [a, b, ..] = encrypt_block(&Aes128Key::new([0; 16]), input);
        equal("pingOffset", u16::from_le_bytes([a, b]) % self.pingPeriod, self.pingOffset)
    }
}
