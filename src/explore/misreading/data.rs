//! The MIC of data frames, by a recipe.

use std::ops::Range;

use super::{
    derive::Keys,
    recipe::{Conf, DataRecipe, Halves, Len, Recipe, Rule, Slot},
};
use crate::{
    crypto::{Block, cipher::decrypt_unproven},
    frame::{DataFrame, Direction},
};

/// A data frame as it was heard, with what its own octets do not tell.
#[derive(Clone, Copy, Debug)]
pub struct Heard<'a> {
    /// The frame.
    pub frame: &'a DataFrame,
    /// The whole 32-bit counter, as the session counts.
    ///
    /// A MIC does not tell a counter that restarted from one whose upper half is lost: the
    /// sequence of FCnt does, and has to be judged first.
    pub fcnt: u32,
    /// Low half of the counter of the last confirmed frame from the other side, if it is known.
    pub conf_fcnt: Option<u16>,
    /// Data rate index of an uplink, if it is known.
    pub tx_dr: Option<u8>,
    /// Channel index of an uplink as the node numbers it; no gateway tells it.
    pub tx_ch: Option<u8>,
}

impl Heard<'_> {
    /// Returns the direction of the frame.
    pub fn direction(&self) -> Direction {
        self.frame.direction()
    }

    /// Whether the serving half of a 1.1 uplink's MIC can be computed, the channel searched for.
    fn serving_is_known(&self) -> bool {
        self.tx_dr.is_some() && (!self.frame.fctrl.ack() || self.conf_fcnt.is_some())
    }

    /// Whether anything of the MIC can be computed by the standard's way.
    pub(super) fn is_testable(&self, rule: Rule) -> bool {
        let needs_conf =
            rule == Rule::V1_1 && self.direction() == Direction::Downlink && self.frame.fctrl.ack();
        !needs_conf || self.conf_fcnt.is_some()
    }
}

/// Channel numbers that a node may have: 96 in the largest plan (CN470).
const CHANNELS: u8 = 96;

/// What a comparison of MICs says.
#[derive(Debug)]
pub(super) struct Held {
    /// Bits compared, less those that the search for a channel costs.
    pub(super) bits: f64,
    /// What was computed.
    pub(super) macs: Vec<u8>,
}

/// Returns what holds of a frame's MIC under these keys, if it does.
pub(super) fn held(recipe: &Recipe, keys: &Keys, heard: &Heard<'_>) -> Option<Held> {
    let r = &recipe.data;
    let message = message(recipe, keys, heard)?;
    let conf = conf(r, heard);
    let up = heard.direction() == Direction::Uplink;
    match (r.rule, up) {
        (Rule::V1_0, _) => {
            let conf = if r.conf_in_b0 { conf? } else { 0 };
            whole(r, keys, r.forwarding, heard, conf, &message)
        }
        (Rule::V1_1, false) => whole(r, keys, r.down, heard, conf?, &message),
        (Rule::V1_1, true) => halves(r, keys, heard, conf, &message),
    }
}

/// Returns how many bits of a frame's MIC hold under these keys although the whole does not: a
/// mistake that changes the other half of a 1.1 uplink's MIC gains no evidence from this one.
pub(super) fn held_in_part(recipe: &Recipe, keys: &Keys, heard: &Heard<'_>) -> f64 {
    if recipe.data.rule == Rule::V1_0 || heard.direction() == Direction::Downlink {
        return 0.0;
    }
    let (r, received) = (&recipe.data, heard.frame.mic.0);
    let Some(message) = message(recipe, keys, heard) else { return 0.0 };
    let fits = |context, slot, at: Range<usize>| {
        let mac = mac(r, keys, slot, &block(r, heard, context, &message), &message);
        mac.is_some_and(|mac| received.get(at) == Some(r.mic.half(mac).as_slice()))
    };
    let forwarding = fits((0, 0, 0), r.forwarding, 2..4);
    let contexts = contexts(r, heard, conf(r, heard));
    let serving = contexts.into_iter().any(|context| fits(context, r.serving, 0..2));
    16.0 * (f64::from(u8::from(forwarding)) + f64::from(u8::from(serving)))
}

fn whole(
    r: &DataRecipe,
    keys: &Keys,
    slot: Slot,
    heard: &Heard<'_>,
    conf: u16,
    message: &[u8],
) -> Option<Held> {
    let mac = mac(r, keys, slot, &block(r, heard, (conf, 0, 0), message), message)?;
    let mic = r.mic.whole(mac);
    (mic == heard.frame.mic.0).then(|| Held { bits: 32.0, macs: mac.to_vec() })
}

fn halves(
    r: &DataRecipe,
    keys: &Keys,
    heard: &Heard<'_>,
    conf: Option<u16>,
    message: &[u8],
) -> Option<Held> {
    let received = heard.frame.mic.0;
    let b0_conf = if r.conf_in_b0 { conf? } else { 0 };
    let b0 = block(r, heard, (b0_conf, 0, 0), message);
    let forwarding = mac(r, keys, r.forwarding, &b0, message)?;
    if !fits(laid(r, forwarding, None), received) {
        return None;
    }
    let mut macs = forwarding.to_vec();
    let contexts = contexts(r, heard, conf);
    if contexts.is_empty() {
        // A recipe must not win by asking for what nobody knows where the standard does not.
        return (!heard.serving_is_known()).then_some(Held { bits: 16.0, macs });
    }
    // Channels that nobody told apart are so many chances of an accident.
    let bits = 32.0 - f64::from(u32::try_from(contexts.len()).unwrap_or(u32::MAX)).log2();
    let serving = contexts.into_iter().find_map(|context| {
        let serving = mac(r, keys, r.serving, &block(r, heard, context, message), message)?;
        fits(laid(r, forwarding, Some(serving)), received).then_some(serving)
    })?;
    // Exchanging keys and exchanging halves may come to the same two CMACs.
    macs.extend(serving);
    if serving < forwarding {
        macs.rotate_left(16);
    }
    Some(Held { bits, macs })
}

/// ConfFCnt, or nothing where the recipe asks for one that is not known.
fn conf(r: &DataRecipe, heard: &Heard<'_>) -> Option<u16> {
    let known = heard.conf_fcnt;
    match r.conf {
        Conf::LeftOut => Some(0),
        Conf::WithoutAckToo => known,
        _ if !heard.frame.fctrl.ack() => Some(0),
        Conf::OneMore => known.map(|conf| conf.wrapping_add(1)),
        Conf::OneLess => known.map(|conf| conf.wrapping_sub(1)),
        Conf::Standard => known,
    }
}

/// Every ConfFCnt, TxDr and TxCh that B1 may hold; none when the serving half cannot be computed.
fn contexts(r: &DataRecipe, heard: &Heard<'_>, conf: Option<u16>) -> Vec<(u16, u8, u8)> {
    let tx_dr = if r.tx_dr_zero { Some(0) } else { heard.tx_dr };
    let tx_ch = if r.tx_ch_zero { Some(0) } else { heard.tx_ch };
    let (Some(conf), Some(tx_dr)) = (conf, tx_dr) else { return Vec::new() };
    let channels = tx_ch.map_or(0..CHANNELS, |ch| ch..ch.saturating_add(1));
    let laid = |ch| if r.tx_exchanged { (conf, ch, tx_dr) } else { (conf, tx_dr, ch) };
    channels.map(laid).collect()
}

/// The MIC of a 1.1 uplink, as far as it is known.
fn laid(r: &DataRecipe, forwarding: Block, serving: Option<Block>) -> [Option<u8>; 4] {
    let [_, _, f2, f3, ..] = forwarding;
    let [f0, f1] = match r.halves {
        Halves::Overlaid => [f2, f3],
        Halves::Standard | Halves::Exchanged => r.mic.half(forwarding),
    };
    let [s0, s1] = serving.map_or([None; 2], |mac| r.mic.half(mac).map(Some));
    let (f0, f1) = (Some(f0), Some(f1));
    r.mic.laid(match r.halves {
        Halves::Standard | Halves::Overlaid => [s0, s1, f0, f1],
        Halves::Exchanged => [f0, f1, s0, s1],
    })
}

fn fits(known: [Option<u8>; 4], received: [u8; 4]) -> bool {
    known.iter().zip(received).all(|(known, received)| known.is_none_or(|octet| octet == received))
}

fn mac(r: &DataRecipe, keys: &Keys, slot: Slot, block: &Block, message: &[u8]) -> Option<Block> {
    let key = keys.slot(slot)?;
    let block: &[u8] = if r.has_block { block } else { &[] };
    Some(r.mic.mac(key, &[block, message].concat()))
}

/// B0, or B1 where TxDr and TxCh are given.
fn block(r: &DataRecipe, heard: &Heard<'_>, context: (u16, u8, u8), message: &[u8]) -> Block {
    let (conf, dr, ch) = context;
    let [conf_lo, conf_hi] = conf.to_le_bytes();
    let dir = heard.direction().octet() ^ u8::from(r.dir_inverted);
    let [a0, a1, a2, a3] = r.dev_addr.of(heard.frame.dev_addr.to_wire());
    let fcnt = counter(heard.fcnt, r.low_half);
    let [f0, f1, f2, f3] = r.fcnt.of(fcnt.to_le_bytes());
    let len = match r.len {
        Len::Msg => message.len(),
        Len::WithMic => message.len() + 4,
        Len::Zero => 0,
    };
    // Longer than 255 octets is not lawful.
    let len = u8::try_from(len & 0xFF).unwrap_or_default();
    [r.first, conf_lo, conf_hi, dr, ch, dir, a0, a1, a2, a3, f0, f1, f2, f3, 0, len]
}

fn message(recipe: &Recipe, keys: &Keys, heard: &Heard<'_>) -> Option<Vec<u8>> {
    let r = &recipe.data;
    let mut signed = Vec::with_capacity(64);
    match &heard.frame.payload {
        Some(payload) if r.over_plaintext => {
            let slot = if payload.port == 0 { Slot::NetworkEnc } else { Slot::App };
            let mut frame = heard.frame.clone();
            let frm = decrypt_unproven(heard.frame, keys.slot(slot)?, heard.fcnt);
            frame.payload.iter_mut().for_each(|payload| payload.frm.clone_from(&frm));
            frame.put_signed(&mut signed);
        }
        _ => heard.frame.put_signed(&mut signed),
    }
    let (&mhdr, rest) = signed.split_first()?;
    let mut message = r.mhdr.octets(mhdr);
    message.extend(rest);
    Some(message)
}

/// Returns a counter, or what is left of it when its upper half is lost.
pub(super) const fn counter(fcnt: u32, low_half: bool) -> u32 {
    if low_half { fcnt & 0xFFFF } else { fcnt }
}
