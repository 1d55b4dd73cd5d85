//! The two halves of a 1.1 uplink's MIC: octets 3 and 4 are signed over B0 by FNwkSIntKey, octets 1
//! and 2 over B1 by SNwkSIntKey. Which of both holds, and under which key?

use super::{
    Why,
    data::few_counters,
    pool::{Part, Pool},
};
use crate::{
    crypto::{block::UplinkContext, mic},
    explore::near_miss::{Certainty, Known},
    frame::DataFrame,
    key::Aes128Key,
    reading::{Context, KeyRole},
    trace::HALVES_OF_1_1,
};

/// Half a MIC has 16 bits: when more than this is tried a hit says nothing.
const MOST_ODDS: f64 = 0.01;

/// The half of the MIC that a key was found to sign.
struct Half<'k> {
    key: Known<'k>,
    role: KeyRole,
    fcnt: u32,
    tried: u64,
}

pub(super) fn halves(frame: &DataFrame, pool: &Pool<'_>, context: &Context) -> Option<Why> {
    let why = match forwarding(frame, pool, context) {
        Some(half) => by_forwarding(frame, pool, context, &half),
        None => by_serving(frame, pool, context)?,
    };
    (why.odds <= MOST_ODDS).then_some(why)
}

/// The session keys at hand that may be of this frame's session.
fn keys<'p, 'k>(pool: &'p Pool<'k>) -> impl Iterator<Item = (KeyRole, &'p Known<'k>)> {
    let own = pool.keys().filter(|(given, _)| given.part != Part::Foreign);
    own.map(|(given, known)| (given.role, known)).filter(|(role, _)| role.is_of_session())
}

/// Returns the key that signed octets 3 and 4: any with a likely counter, else FNwkSIntKey with all.
///
/// Each of both kinds is counted whole, wherever in it the hit stands.
fn forwarding<'k>(frame: &DataFrame, pool: &Pool<'k>, context: &Context) -> Option<Half<'k>> {
    let [.., r2, r3] = frame.mic.0;
    let few = few_counters(frame, context);
    let searched = (0..u32::from(HALVES_OF_1_1)).map(|high| high << 16 | u32::from(frame.fcnt));
    let more: Vec<_> = searched.filter(|fcnt| !few.contains(fcnt)).collect();
    let likely: Vec<_> = keys(pool).flat_map(|key| few.iter().map(move |&f| (key, f))).collect();
    let own = keys(pool).filter(|(role, _)| *role == KeyRole::FNwkSInt);
    let far: Vec<_> = own.flat_map(|key| more.iter().map(move |&f| (key, f))).collect();
    let mut tried = 0;
    for kind in [likely, far] {
        tried += count(kind.len());
        for ((role, known), fcnt) in kind {
            if mic::forwarding_half(&known.key.clone().into(), frame, fcnt) == [r2, r3] {
                return Some(Half { key: known.clone(), role, fcnt, tried });
            }
        }
    }
    None
}

/// Octets 3 and 4 hold: says under what, and looks for the key of the others.
fn by_forwarding(frame: &DataFrame, pool: &Pool<'_>, context: &Context, half: &Half<'_>) -> Why {
    let Half { key: Known { label, .. }, role, fcnt, tried } = half;
    let contexts = contexts(context, frame);
    if *role == KeyRole::FNwkSInt {
        return own_half_holds(frame, pool, &contexts, half);
    }
    // Two keys exchanged, or one that stands for all. Any key with any context would always fit.
    let partner = match role {
        KeyRole::SNwkSInt => KeyRole::FNwkSInt,
        other => *other,
    };
    let first =
        format!("by the rule of 1.1, bytes 3 and 4 of the MIC hold under {label} (counter {fcnt})");
    for (_, known) in keys(pool).filter(|(role, _)| *role == partner) {
        if let Some(uplink) = serving(frame, known.key, *fcnt, &contexts) {
            let (dr, ch) = (uplink.tx_dr, uplink.tx_ch);
            let what =
                format!("{first}, bytes 1 and 2 under {} (TxDr {dr}, TxCh {ch})", known.label);
            let mut why = Why::of(what, None, tried.saturating_mul(count(contexts.len())));
            // Each half alone has 16 bits.
            why.certainty = why.certainty.max(Certainty::Likely);
            return why;
        }
    }
    Why::of_half(format!("{first}, bytes 1 and 2 under no key given"), *tried)
}

/// Octets 3 and 4 hold under FNwkSIntKey, as they should; the others do not under SNwkSIntKey.
fn own_half_holds(
    frame: &DataFrame,
    pool: &Pool<'_>,
    contexts: &[UplinkContext],
    half: &Half<'_>,
) -> Why {
    let Half { key: Known { label, .. }, fcnt, tried, .. } = half;
    let first = format!("bytes 3 and 4 of the MIC hold under {label} (counter {fcnt})");
    // Where data rate or channel were to be searched, too, chance alone would fit.
    if contexts.len() == 1 {
        let others = keys(pool).count();
        let signer = keys(pool).find(|(_, k)| serving(frame, k.key, *fcnt, contexts).is_some());
        if let Some((_, known)) = signer {
            let what = format!("{first}, bytes 1 and 2 under {}", known.label);
            return Why::of_half(what, tried.saturating_add(count(others)));
        }
    }
    let what = format!(
        "{first}, bytes 1 and 2 do not under SNwkSIntKey: the key is another, or ConfFCnt, TxDr or \
         TxCh"
    );
    Why::of_half(what, *tried)
}

/// Octets 3 and 4 hold under nothing: do the others, under SNwkSIntKey?
fn by_serving(frame: &DataFrame, pool: &Pool<'_>, context: &Context) -> Option<Why> {
    let (contexts, few) = (contexts(context, frame), few_counters(frame, context));
    let own: Vec<_> = keys(pool).filter(|(role, _)| *role == KeyRole::SNwkSInt).collect();
    let tried = count(own.len() * few.len() * contexts.len());
    for (_, known) in own {
        for &counter in &few {
            if let Some(uplink) = serving(frame, known.key, counter, &contexts) {
                let what = format!(
                    "bytes 1 and 2 of the MIC hold under {} (counter {counter}, TxDr {}, TxCh {}), \
                     bytes 3 and 4 under no key given: FNwkSIntKey is another",
                    known.label, uplink.tx_dr, uplink.tx_ch
                );
                return Some(Why::of_half(what, tried));
            }
        }
    }
    None
}

fn count(of: usize) -> u64 {
    u64::try_from(of).unwrap_or(u64::MAX)
}

fn serving(
    frame: &DataFrame,
    key: &Aes128Key,
    fcnt: u32,
    contexts: &[UplinkContext],
) -> Option<UplinkContext> {
    let [r0, r1, ..] = frame.mic.0;
    let key = key.clone().into();
    let fits = |context: &&UplinkContext| mic::serving_half(&key, frame, fcnt, context) == [r0, r1];
    contexts.iter().find(fits).copied()
}

/// What B1 may hold: as given, where it is.
fn contexts(context: &Context, frame: &DataFrame) -> Vec<UplinkContext> {
    let conf_fcnt = context.conf_fcnt.filter(|_| frame.fctrl.ack()).unwrap_or_default();
    let data_rates = context.tx_dr.map_or(0..=15, |dr| dr..=dr);
    let channels = context.tx_ch.map_or(0..=95, |ch| ch..=ch);
    data_rates
        .flat_map(|tx_dr| channels.clone().map(move |tx_ch| (tx_dr, tx_ch)))
        .map(|(tx_dr, tx_ch)| UplinkContext { conf_fcnt, tx_dr, tx_ch })
        .collect()
}
