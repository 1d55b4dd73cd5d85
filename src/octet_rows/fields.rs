//! What the octets of a field say, as people write it, and in a few words what that means.

use crate::{
    frame::{
        CfList, CfListType, Direction, DlSettings, FCtrl, Field, Frame, Mhdr, RejoinBody, RxDelay,
    },
    id::{DevAddr, DevNonce, Eui64, JoinNonce, NetId},
    reading::{MicRule, MicVerdict, Reading},
    region::Megahertz,
};

/// Returns value and meaning of a field. The MIC's are the verdict's to say.
pub(crate) fn value_and_note(reading: &Reading, field: Field, octets: &[u8]) -> (String, String) {
    let first = octets.first().copied().unwrap_or_default();
    match field {
        Field::Mhdr => (Mhdr(first).ftype().title().into(), major(Mhdr(first))),
        Field::JoinEui => (eui(octets), "join server".into()),
        Field::DevEui => (eui(octets), "node".into()),
        Field::DevNonce => (dev_nonce(octets), "the node's nonce".into()),
        Field::JoinNonce => (join_nonce(octets), "the server's nonce".into()),
        Field::NetId => {
            let id = octets.try_into().map(NetId::from_wire);
            (id.map(|id| id.to_string()).unwrap_or_default(), "network".into())
        }
        Field::DevAddr => {
            let addr = octets.try_into().map(DevAddr::from_wire);
            (addr.map(|addr| addr.to_string()).unwrap_or_default(), "address of the session".into())
        }
        Field::DlSettings => dl_settings(DlSettings(first)),
        Field::RxDelay => (format!("{} s", RxDelay(first).seconds()), "from uplink to RX1".into()),
        Field::CfList => octets.try_into().map(|list| cf_list(CfList(list))).unwrap_or_default(),
        Field::RejoinType => (first.to_string(), rejoin(reading)),
        Field::RjCount0 | Field::RjCount1 => (short(octets), "count of these requests".into()),
        Field::FCtrl => fctrl(first, reading.direction),
        Field::FCnt => (short(octets), whole_counter(reading)),
        Field::FOpts => (count(octets), fopts(reading).into()),
        Field::FPort => (first.to_string(), port(first).into()),
        Field::FrmPayload => (count(octets), payload(reading)),
        Field::Sealed => (count(octets), "all fields and the MIC".into()),
        Field::Surplus => (count(octets), "not part of this message".into()),
        Field::Proprietary => (count(octets), "no layout known".into()),
        Field::Mic => (String::new(), String::new()),
    }
}

pub(crate) fn count(octets: &[u8]) -> String {
    let n = octets.len();
    format!("{n} {}", if n == 1 { "byte" } else { "bytes" })
}

fn eui(octets: &[u8]) -> String {
    octets.try_into().map(|octets| Eui64::from_wire(octets).to_string()).unwrap_or_default()
}

fn short(octets: &[u8]) -> String {
    octets.try_into().map(|o| DevNonce::from_wire(o).to_string()).unwrap_or_default()
}

fn dev_nonce(octets: &[u8]) -> String {
    let nonce = octets.try_into().map(DevNonce::from_wire);
    nonce.map(|DevNonce(n)| format!("{n} ({n:#06x})")).unwrap_or_default()
}

fn join_nonce(octets: &[u8]) -> String {
    let nonce = octets.try_into().map(JoinNonce::from_wire);
    nonce.map(|n| format!("{} (0x{})", n.get(), n.hex())).unwrap_or_default()
}

fn major(mhdr: Mhdr) -> String {
    match mhdr.major() {
        0 => "LoRaWAN R1".into(),
        other => format!("Major {other}"),
    }
}

fn dl_settings(settings: DlSettings) -> (String, String) {
    let opt_neg = u8::from(settings.opt_neg());
    let (offset, rx2) = (settings.rx1_dr_offset(), settings.rx2_data_rate());
    let note = if settings.opt_neg() { "a 1.1 server" } else { "a 1.0.x server" };
    (format!("OptNeg {opt_neg}, RX1DROffset {offset}, RX2DataRate {rx2}"), note.into())
}

fn cf_list(list: CfList) -> (String, String) {
    match list.kind() {
        CfListType::Frequencies => {
            let mhz: Vec<_> = list
                .frequencies()
                .filter(|&hz| hz != 0)
                .map(|hz| Megahertz(hz).to_string())
                .collect();
            let note = if mhz.is_empty() { "no further channel" } else { "MHz: further channels" };
            (mhz.join(" "), note.into())
        }
        CfListType::Masks => {
            let masks: Vec<_> = list.masks().map(|mask| format!("{mask:04X}")).collect();
            (masks.join(" "), format!("channels {}", channels(list)))
        }
        CfListType::Rfu(kind) => (format!("CFListType {kind}"), "reserved".into()),
    }
}

/// The channels whose bits are set: `8-15, 65`.
fn channels(list: CfList) -> String {
    let bits = (0u16..).step_by(16).zip(list.masks());
    let runs = runs(bits.flat_map(|(first, mask)| bits_of(first, mask)));
    if runs.is_empty() { "none".into() } else { runs }
}

/// The channels of a mask whose first bit is that channel.
pub(super) fn bits_of(first: u16, mask: u16) -> impl Iterator<Item = u16> {
    (0..16).filter(move |bit| mask >> bit & 1 == 1).map(move |bit| first + bit)
}

/// Rising numbers with their neighbours joined: `8-15, 65`; nothing where there are none.
pub(super) fn runs(numbers: impl Iterator<Item = u16>) -> String {
    let mut runs: Vec<(u16, u16)> = Vec::new();
    for channel in numbers {
        match runs.last_mut() {
            Some((_, end)) if *end + 1 == channel => *end = channel,
            _ => runs.push((channel, channel)),
        }
    }
    let runs: Vec<_> =
        runs.iter().map(|(a, b)| if a == b { a.to_string() } else { format!("{a}-{b}") }).collect();
    runs.join(", ")
}

fn rejoin(reading: &Reading) -> String {
    match &reading.decoded.frame {
        Some(Frame::RejoinRequest(request)) => match request.body {
            RejoinBody::Network { keys_only: false, .. } => "session and radio settings again",
            RejoinBody::Network { keys_only: true, .. } => "keys again",
            RejoinBody::JoinServer { .. } => "to be found again",
            RejoinBody::Rfu(_) => "reserved",
        },
        _ => "",
    }
    .into()
}

fn fctrl(octet: u8, direction: Option<Direction>) -> (String, String) {
    let flags = FCtrl::new(octet);
    let bit = |set: bool| u8::from(set);
    let (adr, ack, fourth) = (bit(flags.adr()), bit(flags.ack()), bit(flags.f_pending()));
    let value = if direction == Some(Direction::Downlink) {
        format!("ADR {adr} ACK {ack} FPending {fourth}")
    } else {
        let request = bit(flags.adr_ack_req());
        format!("ADR {adr} ADRACKReq {request} ACK {ack} ClassB {fourth}")
    };
    (value, format!("FOptsLen {}", octet & 0x0F))
}

fn whole_counter(reading: &Reading) -> String {
    match reading.found.fcnt32 {
        Some(whole) if whole > 0xFFFF => format!("full counter {whole} ({whole:#010x})"),
        Some(_) => "the full counter".into(),
        None => "16 bits of 32".into(),
    }
}

fn fopts(reading: &Reading) -> &'static str {
    match (&reading.found.mic, &reading.found.fopts) {
        (MicVerdict::Holds(proof), None) if proof.rule == Some(MicRule::V1_1) => {
            "encrypted under NwkSEncKey"
        }
        (_, Some(fopts)) if fopts.rule.is_some() => "encrypted under NwkSEncKey",
        (_, Some(_)) => "MAC commands",
        (_, None) => "MAC commands; in 1.1 encrypted",
    }
}

const fn port(port: u8) -> &'static str {
    match port {
        0 => "MAC commands",
        1..=223 => "application",
        224 => "test protocol",
        225 => "multi-package access",
        226 => "relay",
        227.. => "reserved",
    }
}

fn payload(reading: &Reading) -> String {
    let Some(Frame::Data(data)) = &reading.decoded.frame else { return String::new() };
    let key = match (&reading.found.payload, data.port()) {
        (Some(plain), _) => plain.key,
        (None, Some(0)) => "NwkSKey (1.0.x) or NwkSEncKey (1.1)",
        (None, _) => "AppSKey",
    };
    format!("encrypted under {key}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn channels_are_told_as_runs() {
        assert_eq!(channels(CfList::of_masks(&[0xFF00, 0, 0, 0, 2])), "8-15, 65");
        assert_eq!(channels(CfList::of_masks(&[])), "none");
    }
}
