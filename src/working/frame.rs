//! The working of a frame that was read: its MIC, and all that its keys opened.

use super::{
    Sheet, cipher, cmac,
    desk::{Desk, Key, laid},
    keys,
};
use crate::{
    crypto::{
        block::{self, BlockFields},
        derive,
        mic::JoinReqType,
    },
    frame::{DataFrame, Decoded, Field, Frame, Mic, SealedJoinAccept},
    id::DevNonce,
    key::{Aes128Key, AppKey, FNwkSIntKey, JsEncKey, JsIntKey, NwkKey, NwkSEncKey, SNwkSIntKey},
    reading::{
        Bunch, KeyRole, MicRule, MicVerdict, Opened, Proof, Reading, Taken, Tried, Unchecked,
    },
};

/// Returns the working of all that was computed of a frame, in the order in which it is done: keys
/// that must be derived first, the MIC, what is decrypted, the session keys that come of it.
///
/// Nothing where no key was at hand. Of several keys under which a MIC fails, the first is worked out.
pub fn of_reading(reading: &Reading) -> Vec<Sheet> {
    let Some(taken) = reading.found.taken.as_deref() else { return Vec::new() };
    match &reading.decoded.frame {
        Some(Frame::JoinRequest(request)) => plain(reading, taken, "Join-Request", request.mic),
        Some(Frame::RejoinRequest(request)) => plain(reading, taken, "Rejoin-Request", request.mic),
        Some(Frame::JoinAccept(sealed)) => accept(reading, taken, sealed),
        Some(Frame::Data(data)) => data_sheets(reading, taken, data),
        Some(Frame::Proprietary(_)) | None => Vec::new(),
    }
}

/// The working of a data frame's MIC alone.
pub(super) fn of_mic(reading: &Reading) -> Vec<Sheet> {
    match (&reading.decoded.frame, reading.found.taken.as_deref()) {
        (Some(Frame::Data(data)), Some(taken)) => mics(reading, taken, data, &place(data, taken)),
        _ => Vec::new(),
    }
}

/// The name of the key that signs, and by which rule.
fn signer(verdict: &MicVerdict) -> Option<(&'static str, Option<MicRule>)> {
    match verdict {
        MicVerdict::Holds(Proof { key, rule, .. }) => Some((key, *rule)),
        MicVerdict::Fails(tried) => tried.first().map(|Tried { key, rule, .. }| (*key, *rule)),
        MicVerdict::Unchecked(Unchecked::NoValue { forwarding_half: true, .. }) => {
            Some((FNwkSIntKey::NAME, Some(MicRule::V1_1)))
        }
        MicVerdict::Unchecked(_) => None,
    }
}

fn key_of(keys: &Bunch, name: &str) -> Option<Aes128Key> {
    let role = KeyRole::ALL.iter().find(|role| role.name() == name)?;
    keys.key(*role).cloned()
}

/// A key of the bunch, or one of the join server's keys, whose derivation then comes first.
fn key_or_derived(taken: &Taken, name: &'static str, sheets: &mut Vec<Sheet>) -> Option<Aes128Key> {
    if let Some(key) = key_of(&taken.keys, name) {
        return Some(key);
    }
    let dev_eui = taken.asked.dev_eui?;
    let nwk_key = taken.keys.nwk_key.as_ref()?;
    let key = match name {
        JsIntKey::NAME => derive::js_int_key(nwk_key, dev_eui).key().clone(),
        JsEncKey::NAME => derive::js_enc_key(nwk_key, dev_eui).key().clone(),
        _ => return None,
    };
    sheets.push(keys::join_server_keys((NwkKey::NAME, nwk_key.key()), dev_eui, &[name]));
    Some(key)
}

/// The fields of a frame before its MIC, by name and length.
fn fields(decoded: &Decoded) -> Vec<(&'static str, usize, String)> {
    let fields = decoded.fields();
    let before = fields.iter().filter(|f| f.value != Field::Mic && !f.at.is_empty());
    before.map(|f| (f.value.name(), f.at.len(), String::new())).collect()
}

fn end(received: &[u8], computed: &[u8]) -> String {
    let spaced = |octets: &[u8]| {
        octets.iter().map(|octet| format!("{octet:02X}")).collect::<Vec<_>>().join(" ")
    };
    let verdict = if received == computed { "it holds" } else { "it FAILS" };
    format!("The frame says {}: {verdict}.", spaced(received))
}

/// A MIC over the octets of the frame and nothing else.
fn plain(reading: &Reading, taken: &Taken, message: &str, received: Mic) -> Vec<Sheet> {
    let mut sheets = Vec::new();
    let Some((name, _)) = signer(&reading.found.mic) else { return sheets };
    let Some(key) = key_or_derived(taken, name, &mut sheets) else { return sheets };
    let signed = reading.decoded.frame.as_ref().map(Frame::signed).unwrap_or_default();
    let mut desk = Desk::new(format!("MIC of the {message} under {name}"));
    desk.join("M", laid(&signed, &fields(&reading.decoded)), "the message");
    cmac::sign(&mut desk, Key { name, key: &key }, "MIC", 0..Mic::LEN);
    let computed = desk.part("MIC").octets;
    sheets.push(desk.done(end(&received.0, &computed)));
    sheets
}

fn accept(reading: &Reading, taken: &Taken, sealed: &SealedJoinAccept) -> Vec<Sheet> {
    let mut sheets = Vec::new();
    let Some((name, rule)) = signer(&reading.found.mic) else { return sheets };
    let opened = reading.found.accept.as_ref();
    // By the rule of 1.0.x one key opens and signs; of what fails that rule is tried first.
    let outer = opened.map_or(name, |opened| opened.key);
    let Some(key) = key_or_derived(taken, outer, &mut sheets) else { return sheets };
    let mut parts =
        vec![("JoinNonce", 3), ("NetID", 3), ("DevAddr", 4), ("DLSettings", 1), ("RxDelay", 1)];
    if sealed.sealed.len() > 16 {
        parts.push(("CFList", 16));
    }
    let body: usize = parts.iter().map(|(_, len)| len).sum();
    let all = [parts.as_slice(), &[("MIC", Mic::LEN)]].concat();
    let sheet = cipher::accept(Key { name: outer, key: &key }, &sealed.sealed, &all);
    let clear = sheet.output("plaintext").unwrap_or_default().to_vec();
    sheets.push(sheet);

    let Some(key) = key_or_derived(taken, name, &mut sheets) else { return sheets };
    let (signed, received) = clear.split_at(body.min(clear.len()));
    let mut octets = Vec::new();
    let mut names: Vec<(&str, usize, String)> = Vec::new();
    if let (Some(MicRule::V1_1), Some(opened)) = (rule, opened) {
        front(opened, taken, &mut octets, &mut names);
    }
    octets.push(sealed.mhdr.0);
    names.push(("MHDR", 1, String::new()));
    octets.extend(signed);
    names.extend(parts.into_iter().map(|(name, len)| (name, len, String::new())));
    let mut desk = Desk::new(format!("MIC of the Join-Accept under {name}"));
    desk.join("M", laid(&octets, &names), "the message");
    cmac::sign(&mut desk, Key { name, key: &key }, "MIC", 0..Mic::LEN);
    let computed = desk.part("MIC").octets;
    sheets.push(desk.done(end(received, &computed)));
    sheets.extend(opened.and_then(|opened| session(opened, taken, rule)));
    sheets
}

/// What stands in front of a Join-Accept in the MIC of 1.1.
fn front(
    opened: &Opened,
    taken: &Taken,
    octets: &mut Vec<u8>,
    names: &mut Vec<(&'static str, usize, String)>,
) {
    let (Some(answers), Some(join_eui), Some(nonce)) =
        (opened.answers, taken.asked.join_eui, taken.asked.dev_nonce)
    else {
        return;
    };
    octets.push(answers.octet());
    octets.extend(join_eui.to_wire());
    octets.extend(nonce.to_wire());
    let answered = match answers {
        JoinReqType::Join => "it answers a Join-Request".to_owned(),
        JoinReqType::Rejoin(kind) => format!("it answers a Rejoin-Request of type {kind}"),
    };
    names.extend([
        ("JoinReqType", 1, answered),
        ("JoinEUI", 8, format!("{join_eui}, last byte first")),
        (nonce_name(answers), 2, format!("{nonce}, last byte first")),
    ]);
}

const fn nonce_name(answers: JoinReqType) -> &'static str {
    match answers {
        JoinReqType::Join => "DevNonce",
        JoinReqType::Rejoin(1) => "RJcount1",
        JoinReqType::Rejoin(_) => "RJcount0",
    }
}

/// The session keys that a Join-Accept makes, where all that they are made of is known.
fn session(opened: &Opened, taken: &Taken, rule: Option<MicRule>) -> Option<Sheet> {
    opened.session.as_ref()?;
    let nonce: DevNonce = taken.asked.dev_nonce?;
    let accept = &opened.accept.accept;
    let keys = &taken.keys;
    if rule == Some(MicRule::V1_1) {
        let nwk_key = keys.nwk_key.as_ref()?;
        let app_key = keys.app_key.as_ref().map(|key| (AppKey::NAME, key.key()));
        let join_eui = taken.asked.join_eui?;
        let name = opened.answers.map_or("DevNonce", nonce_name);
        let nwk = (NwkKey::NAME, nwk_key.key());
        return Some(keys::session_1_1(nwk, app_key, accept.join_nonce, join_eui, (name, nonce)));
    }
    let root = key_of(keys, opened.key)?;
    Some(keys::session_1_0((opened.key, &root), accept.join_nonce, accept.net_id, nonce))
}

fn place(data: &DataFrame, taken: &Taken) -> BlockFields {
    BlockFields { direction: data.direction(), dev_addr: data.dev_addr, fcnt: taken.fcnt }
}

fn data_sheets(reading: &Reading, taken: &Taken, data: &DataFrame) -> Vec<Sheet> {
    let place = place(data, taken);
    let mut sheets = mics(reading, taken, data, &place);
    let found = &reading.found;
    if let Some(rule) = found.fopts.as_ref().and_then(|fopts| fopts.rule)
        && let Some(key) = key_of(&taken.keys, NwkSEncKey::NAME)
    {
        let key = Key { name: NwkSEncKey::NAME, key: &key };
        sheets.push(cipher::fopts(key, &place, rule, data.fopts.octets()));
    }
    if let (Some(plain), Some(payload)) = (&found.payload, &data.payload)
        && let Some(key) = key_of(&taken.keys, plain.key)
    {
        sheets.push(cipher::payload(Key { name: plain.key, key: &key }, &place, &payload.frm));
    }
    sheets
}

/// Which block stands in front of the message, and which octets of the CMAC are taken.
struct Half {
    key: &'static str,
    uplink: bool,
    at: std::ops::Range<usize>,
}

fn mics(reading: &Reading, taken: &Taken, data: &DataFrame, place: &BlockFields) -> Vec<Sheet> {
    let Some((name, rule)) = signer(&reading.found.mic) else { return Vec::new() };
    let by_1_1 = rule == Some(MicRule::V1_1);
    let up = place.direction == crate::frame::Direction::Uplink;
    let serving = Half { key: SNwkSIntKey::NAME, uplink: true, at: 0..2 };
    let forwarding = Half { key: FNwkSIntKey::NAME, uplink: false, at: 2..4 };
    let halves = match (by_1_1 && up, name) {
        (true, FNwkSIntKey::NAME) => vec![forwarding],
        (true, _) => vec![serving, forwarding],
        (false, key) => vec![Half { key, uplink: false, at: 0..4 }],
    };
    let msg = Frame::Data(data.clone()).signed();
    let mut sheets = Vec::new();
    for half in halves {
        let Some(key) = key_of(&taken.keys, half.key) else { continue };
        let octets = match half.at.len() {
            2 => format!("MIC bytes {} and {}", half.at.start, half.at.end - 1),
            _ => "MIC".to_owned(),
        };
        let mut desk = Desk::new(format!("{octets} of the data frame under {}", half.key));
        let first = if half.uplink {
            let b1 = block::b1(place, &taken.uplink, msg.len());
            desk.join("B1", b_parts(&b1, place, Some(taken), msg.len(), true), "");
            "B1"
        } else {
            let conf = if by_1_1 && !up { taken.conf_fcnt } else { 0 };
            let b0 = block::b0(place, conf, msg.len());
            let shown = (by_1_1 && !up).then_some(taken);
            desk.join("B0", b_parts(&b0, place, shown, msg.len(), false), "");
            "B0"
        };
        let mut parts = vec![desk.part(first)];
        parts.extend(laid(&msg, &fields(&reading.decoded)));
        desk.join("M", parts, "the message");
        cmac::sign(&mut desk, Key { name: half.key, key: &key }, "MIC", 0..half.at.len());
        let computed = desk.part("MIC").octets;
        let received = data.mic.0.get(half.at).unwrap_or_default();
        sheets.push(desk.done(end(received, &computed)));
    }
    sheets
}

/// The parts of B0 or B1; `taken` where ConfFCnt counts.
fn b_parts(
    block: &[u8],
    place: &BlockFields,
    taken: Option<&Taken>,
    len: usize,
    is_b1: bool,
) -> Vec<super::Part> {
    let empty = String::new;
    let mut names = vec![("49", 1, empty())];
    match taken {
        None => names.push(("zeros", 4, empty())),
        Some(taken) => {
            let conf = if is_b1 { taken.uplink.conf_fcnt } else { taken.conf_fcnt };
            let note = if conf == 0 { empty() } else { format!("{conf}, last byte first") };
            names.push(("ConfFCnt", 2, note));
            if is_b1 {
                let uplink = taken.uplink;
                names.push(("TxDr", 1, format!("DR{}", uplink.tx_dr)));
                names.push(("TxCh", 1, format!("channel {}", uplink.tx_ch)));
            } else {
                names.push(("zeros", 2, empty()));
            }
        }
    }
    names.extend(cipher::place_parts(place));
    names.push(("00", 1, empty()));
    names.push(("len", 1, format!("{len} bytes from MHDR to before the MIC")));
    laid(block, &names)
}
