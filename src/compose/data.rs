//! Data frames: encrypted and signed by the rules of their version.

use super::{ComposeError, Signature, Step};
use crate::{
    crypto::{
        PayloadKey, PayloadRole, Scheme,
        block::{BlockFields, FOptsRule, FOptsText, UplinkContext},
        cipher,
        mic::{self, Signer},
    },
    frame::{DataFrame, Direction, FCtrl, FOpts, FType, Mhdr, Mic, Payload},
    id::DevAddr,
    key::{Aes128Key, FNwkSIntKey, McNwkSKey, NwkSEncKey, NwkSKey},
    reading::{Bunch, KeyRole},
};

/// A data frame to be encrypted and signed.
#[derive(Clone, Debug)]
pub struct DataRecipe {
    /// MHDR.
    pub mhdr: Mhdr,
    /// DevAddr, or McAddr of a multicast group.
    pub dev_addr: DevAddr,
    /// The flags of FCtrl; FOptsLen follows from FOpts.
    pub fctrl: FCtrl,
    /// The whole counter, of which FCnt is the low half.
    pub fcnt: u32,
    /// FOpts.
    pub fopts: DataOctets,
    /// FPort and FRMPayload, where they are to be sent.
    pub payload: Option<(u8, DataOctets)>,
    /// Where the MIC comes from.
    pub signature: Signature,
    /// Which keys sign and encrypt; when not told, the keys at hand decide.
    pub scheme: Option<Scheme>,
    /// What the MIC of 1.1 covers beside the frame itself; of a downlink ConfFCnt alone counts.
    pub context: UplinkContext,
    /// Whether FOpts of 1.1 are encrypted as first published, without the erratum of 2018.
    pub fopts_as_published: bool,
    /// The key of FRMPayload, where it is not the one that port and scheme ask for.
    pub payload_key: Option<KeyRole>,
}

/// Octets of a recipe.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum DataOctets {
    /// In clear, to be encrypted where the frame carries them encrypted.
    Plain(Vec<u8>),
    /// As they travel.
    AsSent(Vec<u8>),
}

impl DataRecipe {
    /// Returns a frame without flags, FOpts and payload, whose MIC is computed.
    pub const fn new(ftype: FType, dev_addr: DevAddr, fcnt: u32) -> Self {
        Self {
            mhdr: Mhdr::new(ftype),
            dev_addr,
            fctrl: FCtrl::new(0),
            fcnt,
            fopts: DataOctets::Plain(Vec::new()),
            payload: None,
            signature: Signature::Computed,
            scheme: None,
            context: UplinkContext { conf_fcnt: 0, tx_dr: 0, tx_ch: 0 },
            fopts_as_published: false,
            payload_key: None,
        }
    }

    fn direction(&self) -> Direction {
        self.mhdr.ftype().direction().unwrap_or(Direction::Uplink)
    }

    fn place(&self) -> BlockFields {
        let (direction, dev_addr) = (self.direction(), self.dev_addr);
        BlockFields { direction, dev_addr, fcnt: self.fcnt }
    }

    fn scheme(&self, keys: &Bunch) -> Option<Scheme> {
        self.scheme.or_else(|| keys.scheme())
    }

    /// Returns the key that FRMPayload of a port is encrypted with, if it is at hand.
    pub(super) fn payload_key<'a>(
        &self,
        port: u8,
        keys: &'a Bunch,
    ) -> Result<PayloadKey<'a>, ComposeError> {
        let role = match self.payload_key {
            Some(KeyRole::McAppS) => PayloadRole::McAppSKey,
            Some(KeyRole::NwkSEnc) => PayloadRole::NwkSEncKey,
            Some(KeyRole::NwkS) => PayloadRole::NwkSKey,
            Some(_) => PayloadRole::AppSKey,
            None => self.scheme(keys).unwrap_or(Scheme::V1_0).payload_role(port),
        };
        let wanted = match role {
            PayloadRole::NwkSKey => "NwkSKey (1.0.x) or NwkSEncKey (1.1)",
            role => role.name(),
        };
        let key = keys.encryption_keys().payload_key(role);
        key.ok_or_else(|| ComposeError::missing(Step::EncryptPayload, vec![wanted]))
    }

    pub(super) fn frame(&self, keys: &Bunch) -> Result<DataFrame, ComposeError> {
        let fopts = self.fopts(keys)?;
        let octets = fopts.len();
        let fopts = FOpts::new(fopts).ok_or(ComposeError::FOptsTooLong { octets })?;
        let payload = match &self.payload {
            None => None,
            Some((port, DataOctets::AsSent(frm))) => {
                Some(Payload { port: *port, frm: frm.clone() })
            }
            Some((port, DataOctets::Plain(plain))) => {
                let frm = if plain.is_empty() {
                    Vec::new()
                } else {
                    cipher::encrypt_payload(self.payload_key(*port, keys)?, &self.place(), plain)
                };
                Some(Payload { port: *port, frm })
            }
        };
        let [low, high, ..] = self.fcnt.to_le_bytes();
        let mut frame = DataFrame {
            mhdr: self.mhdr,
            dev_addr: self.dev_addr,
            fctrl: self.fctrl,
            fcnt: u16::from_le_bytes([low, high]),
            fopts,
            payload,
            mic: Mic([0; 4]),
        };
        let mut signed = Vec::new();
        frame.put_signed(&mut signed);
        frame.mic = self.signature.mic(&signed, || self.sign(&frame, &signed, keys))?;
        Ok(frame)
    }

    fn fopts(&self, keys: &Bunch) -> Result<Vec<u8>, ComposeError> {
        let plain = match &self.fopts {
            DataOctets::AsSent(octets) => return Ok(octets.clone()),
            DataOctets::Plain(plain) if plain.is_empty() => return Ok(Vec::new()),
            DataOctets::Plain(plain) => plain,
        };
        // Without a scheme nobody knows whether FOpts travel in clear; the MIC will ask for keys.
        if !self.scheme(keys).is_some_and(Scheme::encrypts_fopts) {
            return Ok(plain.clone());
        }
        let Some(key) = &keys.nwk_s_enc_key else {
            return Err(ComposeError::missing(Step::EncryptFOpts, vec![NwkSEncKey::NAME]));
        };
        let port = self.payload.as_ref().map(|(port, _)| *port);
        let text =
            if self.fopts_as_published { FOptsText::AsPublished } else { FOptsText::Amended };
        let rule = FOptsRule::of(text, self.direction(), port);
        // What is too long is kept whole, so that its length can be told.
        Ok(cipher::encrypt_fopts(key, &self.place(), rule, plain))
    }

    fn sign(&self, frame: &DataFrame, signed: &[u8], keys: &Bunch) -> Result<Mic, ComposeError> {
        let missing = |wanted| ComposeError::missing(Step::Sign, wanted);
        let by_1_0 = |key: Option<&Aes128Key>, wanted| match key {
            Some(key) => Ok(Signer::new(key).data(&self.place(), signed)),
            None => Err(missing(vec![wanted])),
        };
        let session = "NwkSKey (1.0.x), or SNwkSIntKey and FNwkSIntKey (1.1)";
        match self.scheme(keys).ok_or_else(|| missing(vec![session]))? {
            Scheme::V1_0 => by_1_0(keys.nwk_s_key.as_ref().map(NwkSKey::key), NwkSKey::NAME),
            Scheme::V1_1OnV1_0 => {
                by_1_0(keys.f_nwk_s_int_key.as_ref().map(FNwkSIntKey::key), FNwkSIntKey::NAME)
            }
            Scheme::Multicast => {
                by_1_0(keys.mc_nwk_s_key.as_ref().map(McNwkSKey::key), McNwkSKey::NAME)
            }
            Scheme::V1_1 => {
                let serving = keys.s_nwk_s_int_key.as_ref();
                let serving = serving.ok_or_else(|| missing(vec!["SNwkSIntKey"]))?;
                if self.direction() == Direction::Downlink {
                    let conf_fcnt = if self.fctrl.ack() { self.context.conf_fcnt } else { 0 };
                    return Ok(mic::data_down_1_1(serving, frame, self.fcnt, conf_fcnt));
                }
                let forwarding = keys.f_nwk_s_int_key.as_ref();
                let forwarding = forwarding.ok_or_else(|| missing(vec![FNwkSIntKey::NAME]))?;
                Ok(mic::data_up_1_1(serving, forwarding, frame, self.fcnt, &self.context))
            }
        }
    }
}
