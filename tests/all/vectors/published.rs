//! Checks of frames that others publish with their keys, through the room that reads frames.

use handfast::{
    frame::{Frame, MacVersion, RejoinBody, decode},
    id::{DevAddr, DevEui, JoinEui, NetId},
    key::Aes128Key,
    reading::{Context, CounterHint, KeyRing, KeyRole, MicVerdict, Reading, Source, read},
};
use serde::Deserialize;

use super::{Check, Hex, Outcome, Remark, Text, equal, holds, same};

/// A frame, its keys, and what its publisher says of it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Published {
    message: String,
    phy_hex: Hex,
    keys: std::collections::BTreeMap<String, Text<Aes128Key>>,
    /// The whole counter.
    fcnt: Option<u32>,
    version: Option<String>,
    tx_dr: Option<u8>,
    tx_ch: Option<u8>,
    conf_fcnt: Option<u16>,
    #[serde(rename = "path")]
    _path: Remark,
    /// Whether the publisher gives the plaintext with its octets in reverse order.
    #[serde(default)]
    reversed: bool,
    expect: Expect,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(non_snake_case, reason = "the standard spells them so")]
struct Expect {
    mic: bool,
    plaintext: Option<Hex>,
    commands: Option<Vec<String>>,
    fopts_len: Option<u8>,
    JoinNonce: Option<u32>,
    NetID: Option<Text<NetId>>,
    DevAddr: Option<Text<DevAddr>>,
    JoinEUI: Option<Text<JoinEui>>,
    DevEUI: Option<Text<DevEui>>,
    DevNonce: Option<u16>,
    RJcount: Option<u16>,
    cflist: Option<Hex>,
    fault: Option<String>,
}

impl Check for Published {
    fn check(self) -> Outcome {
        let octets = &self.phy_hex.0;
        let decoded = decode(octets);
        same("bytes built again", decoded.frame.as_ref().ok_or("no frame")?.build(), octets)?;
        let mut ring = KeyRing::default();
        for (name, key) in &self.keys {
            let role = KeyRole::ALL.iter().find(|role| role.name() == name);
            let role = role.ok_or_else(|| format!("no key is called {name}"))?;
            ring.push(Source::default(), role.of(key.0.clone()));
        }
        let mac_version = match self.version.as_deref() {
            None => None,
            Some("1.1") => Some(MacVersion::V1_1),
            Some(other) => return Err(format!("version {other}")),
        };
        let context = Context {
            mac_version,
            tx_dr: self.tx_dr,
            tx_ch: self.tx_ch,
            conf_fcnt: self.conf_fcnt,
            ..Context::default()
        };
        // Nobody says the counter: it is searched. Then it is said.
        let said = Context { fcnt: self.fcnt.map(CounterHint), ..context.clone() };
        for context in [context, said] {
            let reading = read(decode(octets), &ring, &context);
            let is_proven = matches!(reading.found.mic, MicVerdict::Holds(_));
            equal("MIC", is_proven, self.expect.mic)?;
            if is_proven && self.fcnt.is_some() {
                equal("counter", reading.found.fcnt32, self.fcnt)?;
            }
            self.fields(&reading)?;
            self.clear(&reading)?;
        }
        Ok(())
    }
}

impl Published {
    fn fields(&self, reading: &Reading) -> Outcome {
        let frame = reading.decoded.frame.as_ref().ok_or("no frame")?;
        let expect = &self.expect;
        match frame {
            Frame::Data(data) => {
                let up = data.direction() == handfast::frame::Direction::Uplink;
                equal("message", self.message.as_str(), if up { "data-up" } else { "data-down" })?;
                if let Some(len) = expect.fopts_len {
                    equal("length of FOpts", data.fopts.len(), len)?;
                }
            }
            Frame::JoinRequest(request) => {
                equal("message", self.message.as_str(), "join-request")?;
                let given = |eui: bool| holds("an identifier", eui);
                given(expect.JoinEUI.as_ref().is_none_or(|own| own.0 == request.join_eui))?;
                given(expect.DevEUI.as_ref().is_none_or(|own| own.0 == request.dev_eui))?;
                given(expect.DevNonce.is_none_or(|own| own == request.dev_nonce.0))?;
            }
            Frame::RejoinRequest(request) => {
                equal("message", self.message.as_str(), "rejoin-request")?;
                let (RejoinBody::Network { count, .. } | RejoinBody::JoinServer { count, .. }) =
                    request.body
                else {
                    return Err("no allowed type of Rejoin-Request".into());
                };
                equal("RJcount", Some(count.0), expect.RJcount)?;
            }
            Frame::JoinAccept(_) => {
                equal("message", self.message.as_str(), "join-accept")?;
                let opened = reading.found.accept.as_ref().ok_or("it does not open")?;
                let accept = &opened.accept.accept;
                let same_if = |what: &str, is: bool| holds(what, is);
                same_if(
                    "JoinNonce",
                    expect.JoinNonce.is_none_or(|own| own == accept.join_nonce.get()),
                )?;
                same_if("NetID", expect.NetID.as_ref().is_none_or(|own| own.0 == accept.net_id))?;
                same_if(
                    "DevAddr",
                    expect.DevAddr.as_ref().is_none_or(|own| own.0 == accept.dev_addr),
                )?;
                if let Some(given) = &expect.cflist {
                    same("CFList", accept.cf_list.ok_or("no CFList")?.0, &given.0)?;
                }
            }
            Frame::Proprietary(_) => return Err("a frame of nobody's kind".into()),
        }
        Ok(())
    }

    fn clear(&self, reading: &Reading) -> Outcome {
        let expect = &self.expect;
        match (expect.fault.as_deref(), reading.problems.iter().any(|p| !p.is_remark())) {
            (Some("FOpts and FPort 0 together"), true) | (None, _) => {}
            (Some(other), _) => return Err(format!("{other}: not seen")),
        }
        if let Some(given) = &expect.plaintext {
            let clear = reading.found.payload.as_ref().map(|plain| plain.octets.clone());
            let mut clear = clear.unwrap_or_default();
            if self.reversed {
                clear.reverse();
            }
            same("FRMPayload in clear", clear, &given.0)?;
        }
        if let Some(given) = &expect.commands {
            let list = reading.found.commands.as_ref().ok_or("no commands")?;
            let named: Vec<_> =
                list.commands.commands.iter().map(|command| command.name().to_owned()).collect();
            equal("commands", &named, given)?;
        }
        Ok(())
    }
}
