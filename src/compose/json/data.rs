//! Data frames out of JSON.

use serde_json::Value;

use super::{
    A_COUNTER, Draft, HEX, JsonError, JsonFault, Message, Remark, SIXTEEN_BITS,
    sheet::{hex_octets, id, number, text, wrong},
};
use crate::{
    compose::{DataOctets, DataRecipe, Recipe},
    crypto::{Scheme, block::UplinkContext},
    frame::{DataFrame, Direction, FCtrl, Frame, MacVersion, command},
    key::{AppSKey, FNwkSIntKey, McAppSKey, McNwkSKey, NwkSEncKey, NwkSKey},
    reading::KeyRole,
    show::json,
};

impl Message<'_> {
    pub(super) fn data(&self) -> Result<Draft, JsonError> {
        let was = match self.base.map(|base| &base.frame) {
            Some(Frame::Data(data)) => Some(data),
            _ => None,
        };
        let was_addr = was.map(|was| was.dev_addr);
        let dev_addr = self.sheet.field("DevAddr", "eight hex digits", id, was_addr)?;
        let ftype = self.mhdr.ftype();
        let mut recipe = DataRecipe::new(ftype, dev_addr, self.counter(was)?);
        recipe.mhdr = self.mhdr;
        recipe.scheme = self.scheme();
        recipe.fctrl = self.fctrl(was, ftype.direction())?;
        let context = |name, wanted| self.given.read(name, wanted, number);
        recipe.context = UplinkContext {
            conf_fcnt: self.given.read("context.conf_fcnt", SIXTEEN_BITS, number)?.unwrap_or(0),
            tx_dr: context("context.tx_dr", "a number up to 15")?.unwrap_or(0),
            tx_ch: context("context.tx_ch", "a number up to 255")?.unwrap_or(0),
        };
        let fopts_rule = self.given.member("plaintext.fopts_rule").and_then(text);
        recipe.fopts_as_published = fopts_rule == Some("as-published");
        recipe.payload_key =
            self.given.member("decrypted_with").and_then(text).and_then(payload_role);
        let mut remarks = Vec::new();

        let port = match self.sheet.changed("FPort") {
            None => was.and_then(DataFrame::port),
            Some(Value::Null) => None,
            Some(_) => self.sheet.read("FPort", "a number up to 255", number)?,
        };
        let scheme = recipe.scheme.or_else(|| self.keys.scheme());
        let clear = scheme != Some(Scheme::V1_1) && fopts_rule.is_none();
        let readable = clear || self.keys.nwk_s_enc_key.is_some();
        if !clear && recipe.scheme.is_none() {
            recipe.scheme = Some(Scheme::V1_1);
        }
        let was_fopts = was.map(|was| was.fopts.octets().to_vec());
        let has_fopts = was_fopts.as_ref().is_some_and(|fopts| !fopts.is_empty());
        let in_fopts = port != Some(0) || has_fopts;
        let fopts = Part { name: "FOpts", was: was_fopts, readable, in_clear: clear };
        recipe.fopts = self.part(&fopts, in_fopts, &mut remarks)?;
        if let Some(port) = port {
            let was = was.and_then(|was| was.payload.as_ref()).map(|payload| payload.frm.clone());
            let readable = recipe.payload_key(port, self.keys).is_ok();
            let frm = Part { name: "FRMPayload", was, readable, in_clear: false };
            recipe.payload = Some((port, self.part(&frm, !in_fopts, &mut remarks)?));
        }
        recipe.signature = self.signature(was.map(|was| {
            let mut with = Vec::new();
            was.put_signed(&mut with);
            (was.mic, with)
        }))?;
        Ok(Draft { recipe: Recipe::Data(recipe), remarks })
    }

    /// Brings `fields.FCnt` and `fcnt32` together: whichever was edited counts.
    fn counter(&self, was: Option<&DataFrame>) -> Result<u32, JsonError> {
        let whole: Option<u32> = self.given.read("fcnt32", A_COUNTER, number)?;
        let low: Option<u16> = match self.sheet.changed("FCnt") {
            None => was.map(|was| was.fcnt),
            Some(_) => self.sheet.read("FCnt", SIXTEEN_BITS, number)?,
        };
        let upper = |whole: u32| whole & 0xFFFF_0000;
        match (whole, low) {
            (Some(whole), None) => Ok(whole),
            (None, Some(low)) => Ok(low.into()),
            (Some(whole), Some(low)) if whole & 0xFFFF == u32::from(low) => Ok(whole),
            (Some(whole), Some(low)) => match (was.map(|was| was.fcnt), self.sheet.changed("FCnt"))
            {
                // FCnt is as it was, so the whole counter was edited.
                (Some(_), None) => Ok(whole),
                (Some(was), Some(_)) if whole & 0xFFFF == u32::from(was) => {
                    Ok(upper(whole) | u32::from(low))
                }
                _ => Err(JsonError::new("fields.FCnt", JsonFault::Contradicts("fcnt32"))),
            },
            (None, None) => Err(JsonError::new("fields.FCnt", JsonFault::Missing)),
        }
    }

    fn scheme(&self) -> Option<Scheme> {
        let rule = self.given.member("mic.rule").and_then(Value::as_str);
        match (self.signer()?, rule) {
            (NwkSKey::NAME, _) => Some(Scheme::V1_0),
            (McNwkSKey::NAME, _) => Some(Scheme::Multicast),
            (FNwkSIntKey::NAME, Some("1.0")) => Some(Scheme::V1_1OnV1_0),
            (_, Some("1.1")) => Some(Scheme::V1_1),
            _ => None,
        }
    }

    fn fctrl(
        &self,
        was: Option<&DataFrame>,
        direction: Option<Direction>,
    ) -> Result<FCtrl, JsonError> {
        let flags: &[(&str, u8)] = match direction {
            Some(Direction::Downlink) => &[("ADR", 0x80), ("ACK", 0x20), ("FPending", 0x10)],
            _ => &[("ADR", 0x80), ("ADRACKReq", 0x40), ("ACK", 0x20), ("ClassB", 0x10)],
        };
        let Some(given) = self.sheet.changed("FCtrl") else {
            return Ok(was.map(|was| was.fctrl).unwrap_or_default());
        };
        // Bits that this direction does not name stay as they were.
        let named = flags.iter().fold(0, |all, (_, bit)| all | bit);
        let mut octet = was.map_or(0, |was| was.fctrl.bits()) & !named;
        for (name, bit) in flags {
            let set = given.get(name).map_or(Some(false), Value::as_bool);
            let set =
                set.ok_or_else(|| wrong("FCtrl", "an object of flags such as {\"ADR\":true}"))?;
            octet |= if set { *bit } else { 0 };
        }
        Ok(FCtrl::new(octet))
    }

    /// Returns FOpts or FRMPayload: as edited, else of the plaintext or the commands, else as it was.
    fn part(
        &self,
        part: &Part,
        holds_commands: bool,
        remarks: &mut Vec<Remark>,
    ) -> Result<DataOctets, JsonError> {
        let sent = match self.sheet.given(part.name) {
            None => part.was.clone(),
            Some(_) => self.sheet.read(part.name, HEX, hex_octets)?,
        };
        if self.sheet.has_base && self.sheet.changed(part.name).is_some() {
            return Ok(DataOctets::AsSent(sent.unwrap_or_default()));
        }
        let plain = self.given.read(&format!("plaintext.{}", part.name), HEX, hex_octets)?;
        let commands = if holds_commands {
            self.commands(part, plain.as_deref(), sent.as_deref())?
        } else {
            None
        };
        match (commands.or(plain), sent) {
            (Some(plain), _) if part.readable => Ok(DataOctets::Plain(plain)),
            (Some(_), Some(sent)) => {
                remarks.push(Remark::PlaintextUnused { member: part.name });
                Ok(DataOctets::AsSent(sent))
            }
            (Some(plain), None) => Ok(DataOctets::Plain(plain)),
            (None, sent) => Ok(DataOctets::AsSent(sent.unwrap_or_default())),
        }
    }

    /// Returns whether the commands are those that other members hold, and so were not edited.
    fn says(&self, list: &Value) -> Result<bool, JsonError> {
        let direction = self.mhdr.ftype().direction().unwrap_or(Direction::Uplink);
        let versions = || std::iter::once(None).chain(MacVersion::ALL.into_iter().map(Some));
        let says = |octets: &Vec<u8>| {
            versions().any(|v| json::commands(&command::decode(octets, direction, v)) == *list)
        };
        let held = [
            self.given.read("plaintext.FOpts", HEX, hex_octets)?,
            self.given.read("plaintext.FRMPayload", HEX, hex_octets)?,
            self.sheet.read("FOpts", HEX, hex_octets)?,
        ];
        Ok(held.iter().flatten().any(says))
    }

    /// Returns the octets of `commands`, where they say something else than the plaintext.
    fn commands(
        &self,
        part: &Part,
        plain: Option<&[u8]>,
        sent: Option<&[u8]>,
    ) -> Result<Option<Vec<u8>>, JsonError> {
        let Some(list) = self.given.member("commands") else { return Ok(None) };
        let wanted = JsonFault::Wrong("a list of {\"name\":\"LinkCheckReq\",\"fields\":{}}");
        let items = list.as_array().ok_or_else(|| JsonError::new("commands", wanted))?;
        if self.says(list)? {
            return Ok(None);
        }
        // They were edited, unless the plaintext was.
        let was = self.base.and_then(|base| base.plaintext.get(part.name)).and_then(hex_octets);
        let as_it_was = |plain: &[u8]| {
            was.as_deref() == Some(plain) || part.in_clear && part.was.as_deref() == Some(plain)
        };
        if plain.is_some_and(|plain| !plain.is_empty() && !as_it_was(plain)) {
            return Err(JsonError::new("commands", JsonFault::Contradicts("plaintext")));
        }
        // A key among the fields is never printed, so that such a list cannot be built again.
        let hidden = |item: &Value| {
            let fields = item.get("fields").and_then(Value::as_object);
            let hidden = fields.is_some_and(|fields| fields.values().any(Value::is_null));
            hidden || item.get("octets").is_some_and(Value::is_null)
        };
        if sent.is_some() && items.iter().any(hidden) {
            return Ok(None);
        }
        let mut octets = Vec::new();
        for (place, item) in items.iter().enumerate() {
            octets.extend(one_command(place, item)?);
        }
        Ok(Some(octets))
    }
}

/// FOpts or FRMPayload.
struct Part {
    name: &'static str,
    /// As sent in `PHYPayload`.
    was: Option<Vec<u8>>,
    /// Whether what encrypts it is at hand.
    readable: bool,
    /// Whether it travels in clear.
    in_clear: bool,
}

fn one_command(place: usize, item: &Value) -> Result<Vec<u8>, JsonError> {
    let error = |fault| JsonError::new(&format!("commands[{place}]"), fault);
    if let Some(octets) = item.get("octets") {
        return hex_octets(octets).ok_or_else(|| error(JsonFault::Wrong(HEX)));
    }
    let wanted = "an object with a name and fields";
    let name = item.get("name").and_then(text).ok_or_else(|| error(JsonFault::Wrong(wanted)))?;
    let none = serde_json::Map::new();
    let fields = match item.get("fields") {
        None => &none,
        Some(fields) => fields.as_object().ok_or_else(|| error(JsonFault::Wrong(wanted)))?,
    };
    let command = json::command_from(name, None, fields);
    Ok(command.map_err(|fault| error(JsonFault::Command(fault)))?.octets)
}

fn payload_role(name: &str) -> Option<KeyRole> {
    match name {
        AppSKey::NAME => Some(KeyRole::AppS),
        NwkSKey::NAME => Some(KeyRole::NwkS),
        NwkSEncKey::NAME => Some(KeyRole::NwkSEnc),
        McAppSKey::NAME => Some(KeyRole::McAppS),
        _ => None,
    }
}
